"""Breaches as the engine notes them, and how they become findings: one event and one cause, one finding."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING, Any, NamedTuple, Self

from cfgtrack.model.action import END, Action, plain_words
from cfgtrack.rules.condition import Part
from cfgtrack.rules.finding import Finding, Instance, Reason, fingerprint

if TYPE_CHECKING:
    from cfgtrack.rules.mode import Mode
    from cfgtrack.rules.rule import Rule


def words(action: Action) -> str:
    """Return an action in short words, for findings."""
    said = plain_words(action)
    if action.outing is not None and not action.subjects:
        said.append(action.outing)
    if action.place is not None and len(action.subjects) == 1:
        said += ["at", action.place]
    return " ".join(said)


class Deed(NamedTuple):
    """What of an event a breach remembers: its id, in words, and what it did whoever did it and whenever."""

    id: str
    words: str
    what: tuple[str, ...]

    @classmethod
    def of(cls, event: Action) -> Self:
        """Return what is remembered of an event. Which half of a pair was named first makes no difference."""
        where = () if event.place is None else ("at", event.place, event.facing or "")
        outing = (event.outing or "",) if event.action == END else ()
        return cls(event.id, words(event), (event.action, *sorted(event.subjects), *where, *outing))

    def remembered(self) -> list[Any]:
        """Return it as JSON has it."""
        return [self.id, self.words, list(self.what)]

    @classmethod
    def recalled(cls, told: list[Any]) -> Self:
        """Return the deed that was told."""
        event_id, said, what = told
        return cls(event_id, said, tuple(what))


class Deeds:
    """Gives what is remembered of events, worked out once for one that breaks rules for many."""

    def __init__(self) -> None:
        self._last: tuple[Action, Deed] | None = None

    def __call__(self, event: Action) -> Deed:
        """Return what is remembered of an event."""
        if self._last is None or self._last[0] is not event:
            self._last = event, Deed.of(event)
        return self._last[1]


class Breach(NamedTuple):
    """One instance of a rule broken once: of the item `it` of its scope, the `part` (see `Part`).

    `items` fall short in it. `deed` broke it (None: time did, or it was so from the start); `cause` is what broke it,
    whoever did it and whenever: links that were cut, an action's words, or what started a clock. `ends` are the ends at
    which what must hold by them did not.
    """

    rule: Rule
    it: str | None
    part: Part
    items: tuple[str, ...]
    time: int
    since: int
    reasons: tuple[Reason, ...]
    cause: tuple[str, ...]
    deed: Deed | None = None
    deadline: int | None = None
    trigger: str = ""
    ends: tuple[int, ...] = ()
    no_verdict: bool = False

    @property
    def whom(self) -> str | None:
        """The item that a clock of it is of; None where it is of nobody."""
        if self.it is not None:
            return self.it
        return self.part[0] if self.part and not self.part[0].startswith("#") else None

    def instance(self) -> Instance:
        """Return for whom the rule is broken, with the code that says so."""
        who = ("" if self.it is None else self.it, *self.part)
        subjects = self.items if self.it is None else (self.it,)
        if not subjects:
            subjects = tuple(dict.fromkeys(s for r in self.reasons for s in r.beyond))
        code = fingerprint(self.rule.id, self.rule.mode.key, who, self.cause)
        return Instance(code, subjects, self.reasons)

    def remembered(self) -> list[Any]:
        """Return it as JSON has it; `recalled` is the way back."""
        return [
            self.rule.id,
            self.it,
            list(self.part),
            list(self.items),
            self.time,
            self.since,
            [reason.remembered() for reason in self.reasons],
            list(self.cause),
            None if self.deed is None else self.deed.remembered(),
            self.deadline,
            self.trigger,
            list(self.ends),
            self.no_verdict,
        ]

    @classmethod
    def recalled(cls, told: list[Any], rule: Rule) -> Self:
        """Return the breach of a rule that `told` has told."""
        _, it, part, items, time, since, reasons, cause, deed, deadline, trigger, ends, no_verdict = told
        return cls(
            rule,
            it,
            tuple(part),
            tuple(items),
            time,
            since,
            tuple(map(Reason.recalled, reasons)),
            tuple(cause),
            None if deed is None else Deed.recalled(deed),
            deadline,
            trigger,
            tuple(ends),
            no_verdict,
        )


def cause_of(mode: Mode, reasons: Iterable[Reason], deed: Deed | None, trigger: str) -> tuple[str, ...]:
    """Return what broke a rule: of a path the links that were cut; of anything else the action, or the clock."""
    cut = [r.links for r in reasons if r.code == "no-path"] if mode.blames_links else []
    names = cut[0] if len(cut) == 1 else tuple(name for links in set(cut) for name in links)
    if len(names) > 1:
        names = tuple(sorted(set(names)))
    return names or (deed.what if deed is not None else (trigger,))


def gather(breaches: Iterable[tuple[Breach, int | None]]) -> list[Finding]:
    """Return breaches, each with when it was put right, as findings: those of one rule, event and cause are one.

    Sorted by time, then severity, rule and subjects.
    """
    blows: dict[tuple[object, ...], list[Breach]] = {}
    for breach, until in breaches:
        b, deed = breach, breach.deed.id if breach.deed is not None else None
        key = (b.rule.id, b.time, b.since, deed, b.trigger, b.cause, b.ends, b.no_verdict, until)
        blows.setdefault(key, []).append(breach)
    findings = [_finding(blow, until) for (*_, until), blow in blows.items()]
    findings.sort(key=lambda f: (f.time, f.severity, f.rule, f.subjects))
    return findings


def _finding(blow: list[Breach], until: Any) -> Finding:
    group = sorted(blow, key=lambda b: (b.it or "", b.part))
    first = group[0]
    rule, deed = first.rule, first.deed
    return Finding.of(
        tuple(breach.instance() for breach in group),
        rule=rule.id,
        title=rule.title,
        severity=rule.severity,
        mode=rule.mode.key,
        time=first.time,
        since=first.since,
        until=until,
        event=deed.id if deed is not None else None,
        action=deed.words if deed is not None else "",
        hazard=rule.hazard,
        source=rule.source,
        deadline=first.deadline,
        trigger=first.trigger,
        ends=first.ends,
        no_verdict=first.no_verdict,
        approvals=rule.approvals,
        approvers=rule.approvers,
    )
