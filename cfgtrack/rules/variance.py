"""Variances: approved exceptions. A finding under one is shown apart, never hidden, and comes back when it ends.

A variance names instances of findings by their fingerprints, and excuses those and no other, once as many people have
approved as the rule needs (`_enough`). What was approved before fingerprints were of instances excuses what it named
then (`Older`); where it named nothing exactly, it is `Void`.
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field, replace
from typing import NamedTuple, TypeVar

from cfgtrack.model.action import APPROVE, BEGIN, END
from cfgtrack.model.approval import Hands, as_named, as_written, fault_of_approval
from cfgtrack.model.event import Entry
from cfgtrack.rules.approved import Approval, Approved, Fact, Standing, Withdrawal
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

    `end` None means until further notice. `by` approved it, `recorder` wrote that down, and `people` are both, each by
    the one name that a person has; it was decided at `happened`, and is known from `known` on. `checked`: whether the
    plant said by then who may approve. What was taken back (`withdrawal`) excuses nothing and is told. `planned`: how
    often the plan breaks them of which it was approved; 0: they had been broken.
    """

    id: str
    by: str
    reason: str
    start: int
    fingerprints: frozenset[str] = frozenset()
    end: int | None = None
    older: Older | None = None
    recorder: str = ""
    happened: int = 0
    known: int = 0
    people: frozenset[str] = frozenset()
    approver: str = ""
    checked: bool = False
    withdrawal: Withdrawal | None = None
    planned: int = 0
    may: Callable[[Iterable[str]], str | None] = field(default=lambda _: None, compare=False, repr=False)

    def to(self, span: _Span, finding: Finding, subjects: Sequence[str]) -> Standing:
        """Return what it is to an instance of a finding, about `subjects`, that lasts for a span."""
        if self.withdrawal is not None:
            return Standing.WITHDRAWN
        if not may_approve(finding.approvers, self.approver, self.by) or self.may(subjects) is not None:
            return Standing.NOT_HIS
        if self.start <= span.first and (self.end is None or span.last < self.end):
            return Standing.RUNS
        if span.is_now:
            return Standing.NOT_YET if span.first < self.start else Standing.RAN_OUT
        return Standing.NOT_THROUGHOUT

    def is_before(self, blow: _Blow) -> bool:
        """Return whether it was known, and ran, when the rule was broken."""
        return self.known <= blow.time and self.start <= blow.time

    def was_of_another(self, blow: _Blow) -> bool:
        """Return whether what it was given of had been broken before, and this was broken anew after it was given."""
        given = min(self.happened, self.known)
        before = sum(time < blow.time and (not self.planned or time > given) for time in blow.times)
        return blow.time > given and before >= max(self.planned, 1)

    def told(self, standing: Standing, blow: _Blow) -> Approval:
        """Return it as a finding tells it that was broken at a blow."""
        doer = blow.doer
        recorder = "" if self.recorder == self.by else self.recorder
        return Approval(
            self.id,
            self.by,
            recorder,
            self.reason,
            self.happened,
            self.known,
            self.start,
            self.end,
            standing,
            self.checked,
            bool(doer) and as_written(doer) == as_written(self.approver),
            self.withdrawal,
            blow.time if standing == Standing.RUNS and self.was_of_another(blow) else None,
        )


class _Blow(NamedTuple):
    """What broke an instance: at `time`, by what `doer` did ("" for nobody); `times`: each time that it was broken."""

    time: int
    doer: str
    times: Sequence[int]


class _Span(NamedTuple):
    """What is asked about: from `first` to `last`, both in it; `is_now`: the moment of the question alone."""

    first: int
    last: int
    is_now: bool


def _span(finding: Finding, at: int | None) -> _Span:
    if at is not None and finding.is_open:
        return _Span(at, at, True)
    last = finding.time if finding.until is None else max(finding.time, finding.until - 1)
    return _Span(finding.time, last, False)


@dataclass(frozen=True, slots=True)
class Void:
    """An approval that excuses nothing: the event, who approved it, and why it is void."""

    event: str
    by: str
    why: str


def variance_of(
    entry: Entry,
    hands: Callable[[Entry], Hands] = lambda entry: as_named(entry.event),
    withdrawal: Withdrawal | None = None,
) -> Variance | Void:
    """Return the variance that an `approve` event holds, or why it is void. `withdrawal`: what took it back."""
    event = entry.event
    if event.action != APPROVE:
        raise ValueError(f"{event.action} is no approval")
    body = event.body or {}
    why, older = fault_of_approval(event), None
    if not why and "fingerprints" not in body:
        older = Older(body.get("rule") or "", body.get("fingerprint") or "", tuple(event.subjects))
        why = _why_void(older)
    if not why and not (event.by or "").strip():
        why = "it doesn't say who approved it"
    whose = hands(entry)
    why = why or whose.why_not
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
        recorder=event.recorder or "",
        happened=event.happened,
        known=entry.known,
        people=whose.people,
        approver=whose.approver,
        checked=whose.checked,
        withdrawal=withdrawal,
        planned=body.get("planned", 0),
        may=whose.may,
    )


def _why_void(older: Older) -> str:
    if older.fingerprint:
        return ""
    if not older.subjects:
        return f"it is of all that rule {older.rule} finds: name the findings"
    patterns = [s for s in older.subjects if re.search(r"[*?\[]", s)]
    return f"it is of whatever fits {' '.join(patterns)}: name the findings" if patterns else ""


def nobody(_finding: Finding) -> str:
    """Say of a finding that nobody is known to have broken it."""
    return ""


Times = Callable[[str], Sequence[int]]
"""Tells when an instance was ever broken, by its fingerprint."""


def times_of(findings: Iterable[Finding]) -> Times:
    """Return what tells when each instance of findings was broken: looked through once somebody asks."""
    found: dict[str, list[int]] = {}
    unread = iter(findings)

    def times(code: str) -> Sequence[int]:
        for finding in unread:
            for one in finding.fingerprints:
                found.setdefault(one, []).append(finding.time)
        return found.get(code, ())

    return times


def under_variance(
    findings: Iterable[Finding],
    variances: Sequence[Variance],
    *,
    at: int | None = None,
    began: int | None = None,
    doer: Callable[[Finding], str] = nobody,
    times: Times | None = None,
) -> tuple[list[Finding], list[Finding]]:
    """Return (findings that stand, findings under a variance, which name it): a finding's instances may part ways.

    `at` is the moment that is asked about (microseconds): what is broken and not put right yet is under a variance
    while that runs, whenever it broke; what is over only when it was broken at no instant outside it. Either way by as
    many people as its rule needs. `began`: when it was broken, where its own time is not that; `doer` tells who did
    what broke it, by the one name that a person has. `times`: when they were ever broken; None: these are all that ever
    were. Each tells what was approved of it, whether it is excused or not.
    """
    plain: list[Finding] = []
    excused: list[Finding] = []
    asked = list(findings)
    if not variances or not asked:
        return asked, excused
    codes = older_fingerprints(asked) if any(v.older is not None for v in variances) else [""] * len(asked)
    naming, ever = _naming(variances), times or times_of(asked)
    for finding, code in zip(asked, codes, strict=True):
        for part, approved in shared_out(
            finding, _approving(finding, naming, code, _Asked(at, began, doer, ever))
        ):
            if approved is None:
                plain.append(part)
            elif approved.excuses:
                excused.append(replace(part, variance=approved.approvals[0].event, approved=approved))
            else:
                plain.append(replace(part, approved=approved))
    return plain, excused


Who = TypeVar("Who")


def shared_out(finding: Finding, who: Callable[[str], Who | None]) -> list[tuple[Finding, Who | None]]:
    """Return a finding in parts, by what `who` says of the fingerprint of each instance: the first one's part first."""
    shares: list[tuple[Who | None, list[str]]] = []
    for code in finding.fingerprints:
        whose = who(code)
        codes = next((codes for other, codes in shares if other == whose), None)
        if codes is None:
            shares.append((whose, [code]))
        else:
            codes.append(code)
    if len(shares) < 2:
        return [(finding, whose) for whose, _ in shares] or [(finding, None)]
    parts = ((finding.only(codes), whose) for whose, codes in shares)
    return [(part, whose) for part, whose in parts if part is not None]


class _Asked(NamedTuple):
    """What is asked of findings: at which moment, when they were and ever were broken, by whom: `under_variance`."""

    at: int | None
    began: int | None
    doer: Callable[[Finding], str]
    times: Times


def _naming(variances: Sequence[Variance]) -> Callable[[Finding, str, Sequence[str], str], list[Variance]]:
    """Return what tells the variances that name an instance of a finding, by its code, subjects and older code."""
    by_code: dict[str, list[tuple[int, Variance]]] = {}
    older = [(number, one) for number, one in enumerate(variances) if one.older is not None]
    for number, one in enumerate(variances):
        for code in one.fingerprints if one.older is None else ():
            by_code.setdefault(code, []).append((number, one))

    def naming(finding: Finding, code: str, subjects: Sequence[str], older_code: str) -> list[Variance]:
        found = list(by_code.get(code, ()))
        found += ((n, v) for n, v in older if v.older and v.older.names(finding, subjects, older_code))
        return [one for _, one in sorted(found, key=lambda pair: pair[0])]

    return naming


def _approving(
    finding: Finding,
    naming: Callable[[Finding, str, Sequence[str], str], list[Variance]],
    older: str,
    asked: _Asked,
) -> Callable[[str], Approved | None]:
    """Return what tells, of the instance with a fingerprint, what was approved of it."""
    about = {one.fingerprint: one.subjects for one in finding.instances}
    span, broken = _span(finding, asked.at), finding.time if asked.began is None else asked.began

    def approving(code: str) -> Approved | None:
        named = [] if finding.mode == NEVER_EXCUSED else naming(finding, code, about[code], older)
        if not named:
            return None
        standing = [(one, one.to(span, finding, about[code])) for one in named]
        return _approved(standing, finding.approvals, _Blow(broken, asked.doer(finding), asked.times(code)))

    return approving


def _approved(standing: Sequence[tuple[Variance, Standing]], needs: int, blow: _Blow) -> Approved:
    """Return what variances, each with what it is to an instance that was broken at a blow, make of it.

    What was given of this very time goes before what was given of an earlier one: who approves it again has seen it.
    """
    every = [one for one, how in standing if how == Standing.RUNS]
    of_this = [one for one in every if not one.was_of_another(blow)]
    tried = (
        (some, fact)
        for running in (of_this, every)
        for some, fact in (
            ([one for one in running if one.is_before(blow)], Fact.BEFORE),
            (running, Fact.AFTER),
        )
    )
    for among, fact in tried:
        enough = _enough(among, needs)
        if enough:
            together = sorted(enough, key=lambda one: one.known)
            return Approved(needs, True, fact, tuple(one.told(Standing.RUNS, blow) for one in together))
    return Approved(needs, False, None, tuple(one.told(how, blow) for one, how in standing))


def may_approve(approvers: Sequence[str], *names: str) -> bool:
    """Return whether somebody, by any of his names, is one of those to whom a rule leaves it; none: anybody may."""
    theirs = {as_written(name) for name in names}
    return not approvers or any(as_written(one) in theirs for one in approvers)


def _enough(running: Sequence[Variance], needs: int) -> tuple[Variance, ...]:
    """Return variances by so many people as are needed, those that run longest together; none where there aren't.

    Nobody has a hand in two of them: not as who approved, nor as who wrote it down.
    """
    longest = sorted(running, key=lambda one: (one.end is None, one.end or 0), reverse=True)
    if needs == 1:
        return tuple(longest[:1])
    first: dict[frozenset[str], Variance] = {}
    for one in longest:
        if one.people:
            first.setdefault(one.people, one)
    each = list(first.values())
    for number, one in enumerate(each):
        other = next((other for other in each[:number] if not other.people & one.people), None)
        if other is not None:
            return other, one
    return ()


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
