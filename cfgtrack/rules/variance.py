"""Variances: approved exceptions. A finding under one is shown apart, never hidden, and comes back when it ends.

A variance names instances of findings by their fingerprints, and excuses those and no other. What was approved before
fingerprints were of instances excuses what it named then (`Older`); where it named nothing exactly, it is `Void`.
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from typing import TypeVar

from cfgtrack.model.action import APPROVE, BEGIN, END
from cfgtrack.model.approval import fault_of_approval
from cfgtrack.model.event import Event
from cfgtrack.rules.finding import Finding
from cfgtrack.rules.selection import fits

NEVER_EXCUSED = "possible"
"""The mode of what no variance excuses: a step that can't be done."""


@dataclass(frozen=True, slots=True)
class Older:
    """What an approval named before fingerprints were of instances: a rule for exact subjects, or a whole finding."""

    rule: str = ""
    fingerprint: str = ""
    subjects: tuple[str, ...] = ()

    def names(self, finding: Finding, subjects: Sequence[str], older: str) -> bool:
        """Return whether it names an instance of a finding, about `subjects`; `older` is the finding's older code."""
        if self.rule and self.rule != finding.rule:
            return False
        if self.fingerprint:
            whole = not self.subjects or all(fits(s, self.subjects) for s in finding.subjects)
            return whole and self.fingerprint == older
        return bool(subjects) and set(subjects) <= set(self.subjects)


@dataclass(frozen=True, slots=True)
class Variance:
    """An exception to the instances of findings that have these `fingerprints`. It counts in [`start`, `end`).

    `end` None means until further notice.
    """

    id: str
    by: str
    reason: str
    start: int
    fingerprints: frozenset[str] = frozenset()
    end: int | None = None
    older: Older | None = None

    def runs(self, finding: Finding, *, at: int | None = None) -> bool:
        """Return whether it counts for as long as a finding is asked about (see `under_variance`)."""
        first = last = at if at is not None and finding.is_open else finding.time
        if finding.until is not None:
            last = max(first, finding.until - 1)
        return self.start <= first and (self.end is None or last < self.end)


@dataclass(frozen=True, slots=True)
class Void:
    """An approval that excuses nothing: the event, who approved it, and why it is void."""

    event: str
    by: str
    why: str


def variance_of(event: Event) -> Variance | Void:
    """Return the variance that an `approve` event holds, or why it is void."""
    if event.action != APPROVE:
        raise ValueError(f"{event.action} is no approval")
    body = event.body or {}
    why, older = fault_of_approval(event), None
    if not why and "fingerprints" not in body:
        older = Older(body.get("rule") or "", body.get("fingerprint") or "", tuple(event.subjects))
        why = _why_void(older)
    if why:
        return Void(event.id, event.by or "", why)
    start, end = body.get("start"), body.get("end")
    return Variance(
        id=event.id,
        by=event.by or "",
        reason=event.reason or "",
        start=event.happened if start is None else start,
        fingerprints=frozenset(body.get("fingerprints", ())),
        end=end,
        older=older,
    )


def _why_void(older: Older) -> str:
    if older.fingerprint:
        return ""
    if not older.subjects:
        return f"it is of all that rule {older.rule} finds: name the findings"
    patterns = [s for s in older.subjects if re.search(r"[*?\[]", s)]
    return f"it is of whatever fits {' '.join(patterns)}: name the findings" if patterns else ""


def variances_of(events: Iterable[Event]) -> tuple[tuple[Variance, ...], tuple[Void, ...]]:
    """Return the variances that `approve` events hold, and those of them that are void."""
    found = [variance_of(event) for event in events]
    return (
        tuple(one for one in found if isinstance(one, Variance)),
        tuple(one for one in found if isinstance(one, Void)),
    )


def under_variance(
    findings: Iterable[Finding], variances: Sequence[Variance], *, at: int | None = None
) -> tuple[list[Finding], list[Finding]]:
    """Return (findings that stand, findings under a variance, which name it): a finding's instances may part ways.

    `at` is the moment that is asked about (microseconds): what is broken and not put right yet is under a variance
    while that runs, whenever it broke; what is over only when it was broken at no instant outside it.
    """
    plain: list[Finding] = []
    excused: list[Finding] = []
    asked = list(findings)
    codes = older_fingerprints(asked) if any(v.older is not None for v in variances) else [""] * len(asked)
    for finding, code in zip(asked, codes, strict=True):
        for part, variance in shared_out(finding, _covering(finding, variances, code, at)):
            if variance is None:
                plain.append(part)
            else:
                excused.append(replace(part, variance=variance.id))
    return plain, excused


Who = TypeVar("Who")


def shared_out(finding: Finding, who: Callable[[str], Who | None]) -> list[tuple[Finding, Who | None]]:
    """Return a finding in parts, by what `who` says of the fingerprint of each instance: the first one's part first."""
    shares: list[tuple[Who | None, list[str]]] = []
    for code in finding.fingerprints:
        whose = who(code)
        codes = next((codes for other, codes in shares if other is whose), None)
        if codes is None:
            shares.append((whose, [code]))
        else:
            codes.append(code)
    if len(shares) < 2:
        return [(finding, whose) for whose, _ in shares] or [(finding, None)]
    parts = ((finding.only(codes), whose) for whose, codes in shares)
    return [(part, whose) for part, whose in parts if part is not None]


def _covering(
    finding: Finding, variances: Sequence[Variance], older: str, at: int | None
) -> Callable[[str], Variance | None]:
    """Return what tells the first variance that covers the instance with a fingerprint."""
    possible = finding.mode != NEVER_EXCUSED
    running = [v for v in variances if v.runs(finding, at=at)] if possible else []
    about = {one.fingerprint: one.subjects for one in finding.instances} if running else {}

    def covers(variance: Variance, code: str) -> bool:
        if variance.older is not None:
            return variance.older.names(finding, about[code], older)
        return code in variance.fingerprints

    return lambda code: next((v for v in running if covers(v, code)), None)


# --- fingerprints of before ---------------------------------------------------------------------------------------


def older_fingerprints(findings: Sequence[Finding]) -> list[str]:
    """Return of each finding the fingerprint that it had when one was of all that an event broke of a rule at once."""
    blows: dict[object, list[Finding]] = {}
    for f in findings:
        blows.setdefault(_blow(f), []).append(f)
    codes = {blow: _older_fingerprint(parts) for blow, parts in blows.items()}
    return [codes[_blow(f)] for f in findings]


def _blow(f: Finding) -> tuple[object, ...]:
    return (f.rule, f.time, f.since, f.event, f.trigger, f.no_verdict)


def _older_fingerprint(parts: Sequence[Finding]) -> str:
    first = parts[0]
    items = sorted({s for part in parts for s in part.subjects})
    cause = [*_what_broke(parts), "", *items]
    if first.deadline is not None and first.mode == "by":  # an outing over its budget
        cause = items
    what = "\n".join([first.rule, first.mode, *sorted(cause)])
    return hashlib.sha256(what.encode()).hexdigest()[:12]


def _what_broke(parts: Sequence[Finding]) -> list[str]:
    """Return the links that were cut, else the action and its subjects, else what started the clock."""
    first = parts[0]
    lost = (r for part in parts for r in part.reasons if r.code == "no-path" and first.mode != "at")
    cut = {name for reason in lost for name in reason.links}
    if cut or not first.action:
        return sorted(cut) or [first.trigger]
    action, *said = first.action.split(" ")
    subjects = [] if action in (BEGIN, END) else said[:-2] if said[1:2] == ["at"] else said
    return sorted({action, *subjects})
