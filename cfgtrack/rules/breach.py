"""Breaches as the engine notes them, and how they become findings: one cause, one finding."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace
from typing import TYPE_CHECKING, NamedTuple

from cfgtrack.model.action import Action
from cfgtrack.model.event import Event
from cfgtrack.rules.finding import Finding, Reason

if TYPE_CHECKING:
    from cfgtrack.rules.rule import Rule


class Breach(NamedTuple):
    """One instance of a rule broken once. `event` broke it (None: time did, or it was so from the start)."""

    rule: Rule
    it: str | None
    time: int
    since: int
    reasons: tuple[Reason, ...]
    event: Event | None = None
    deadline: int | None = None
    trigger: str = ""
    no_verdict: bool = False


def words(action: Action) -> str:
    """Return an action in short words, for findings."""
    said = [action.action, *action.subjects]
    if action.outing is not None and not action.subjects:
        said.append(action.outing)
    if action.place is not None and len(action.subjects) == 1:
        said += ["at", action.place]
    return " ".join(said)


def gather(breaches: Iterable[Breach], ended: Mapping[int, int]) -> list[Finding]:
    """Return breaches as findings: those of one rule with one cause are one finding. `ended`: number to when it ended.

    Sorted by time, then severity, rule and subjects.
    """
    blows: dict[tuple[object, ...], dict[int | None, list[Breach]]] = {}
    for number, breach in enumerate(breaches):
        event = breach.event.id if breach.event is not None else None
        key = (breach.rule.id, breach.time, breach.since, event, breach.trigger, breach.no_verdict)
        blows.setdefault(key, {}).setdefault(ended.get(number), []).append(breach)
    findings = [_finding(blow, until) for blow in blows.values() for until in blow]
    findings.sort(key=lambda f: (f.time, f.severity, f.rule, f.subjects))
    return findings


def _cause(breaches: Iterable[Breach]) -> tuple[str, ...]:
    """Return what broke a rule at one blow, and all that it broke, whatever has been put right since.

    What cut a path is known by the cut links, whoever did it; anything else by the action, or by the clock.
    """
    first, *_ = group = list(breaches)
    broken = (r for b in group for r in b.reasons if r.code == "no-path")
    cut = [name for r in broken for name in r.links] if first.rule.mode.blames_links else []
    what = cut or (
        [first.event.action, *first.event.subjects] if first.event is not None else [first.trigger]
    )
    items = {b.it for b in group if b.it is not None} or {
        s for b in group for r in b.reasons for s in r.beyond
    }
    return (*sorted(set(what)), "", *sorted(items))


def _finding(blow: Mapping[int | None, list[Breach]], until: int | None) -> Finding:
    group = sorted(blow[until], key=lambda b: b.it or "")
    first = group[0]
    rule, event = first.rule, first.event
    reasons = _merge(r for b in group for r in b.reasons)
    subjects = tuple(dict.fromkeys(b.it for b in group if b.it is not None))
    if not subjects:
        subjects = tuple(dict.fromkeys(s for r in reasons for s in r.beyond))
    return Finding(
        rule=rule.id,
        title=rule.title,
        severity=rule.severity,
        mode=rule.mode.key,
        subjects=subjects,
        time=first.time,
        since=first.since,
        reasons=reasons,
        until=until,
        event=event.id if event is not None else None,
        action=words(event) if event is not None else "",
        hazard=rule.hazard,
        source=rule.source,
        deadline=first.deadline,
        trigger=first.trigger,
        no_verdict=first.no_verdict,
        cause=_cause(b for part in blow.values() for b in part),
    )


def _merge(reasons: Iterable[Reason]) -> tuple[Reason, ...]:
    """Merge reasons that say the same of different items."""
    merged: dict[tuple[str, str, tuple[str, ...]], Reason] = {}
    for reason in reasons:
        key = (reason.code, reason.text, reason.links)
        known = merged.get(key)
        if known is None:
            merged[key] = reason
        else:
            merged[key] = replace(
                known,
                beyond=tuple(dict.fromkeys((*known.beyond, *reason.beyond))),
                cures=tuple(dict.fromkeys((*known.cures, *reason.cures))),
            )
    return tuple(merged.values())
