"""Two revisions of a sequence: which steps were added, dropped, moved, changed; what is broken in one and not the
other.

Steps are one where they have one id. Where nobody gave one an id it is called by its place, which every insertion
shifts: such steps are one where they say the same on the same track, in the same turn.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from difflib import SequenceMatcher
from typing import ClassVar

from cfgtrack.analysis.check import CheckReport
from cfgtrack.analysis.verdict import Margin
from cfgtrack.model.sequence import Sequence as Proposal
from cfgtrack.model.sequence import Step
from cfgtrack.model.time import SECOND, format_duration, format_instant
from cfgtrack.rules.breach import words
from cfgtrack.rules.finding import SEVERITIES, Finding

ALL_MARGINS = 1_000_000
"""So many margins are compared: all."""


@dataclass(frozen=True, slots=True)
class SteppedTold:
    """A step of one of two revisions: what it is called, where it stands, what is done."""

    step: str
    outing: str
    track: str
    action: str


@dataclass(frozen=True, slots=True)
class Differs:
    """What differs of one thing, in words: `what`, as it was `before` and is `after`."""

    what: str
    before: str
    after: str


@dataclass(frozen=True, slots=True)
class StepChanged:
    """A step that is otherwise. `was`: what it is called in the first, where that is another name."""

    step: str
    was: str | None
    action: str
    differs: tuple[Differs, ...]


@dataclass(frozen=True, slots=True)
class MarginChanged:
    """The least that is left of a clock or budget, in both, in seconds; None where it isn't met, or not started."""

    rule: str
    subject: str
    before_seconds: float | None
    after_seconds: float | None


@dataclass(frozen=True, slots=True)
class FindingTold:
    """A finding that only one of two revisions has: which rule, how bad, at which step, and what is wrong."""

    told: ClassVar[tuple[str, ...]] = ("category",)

    fingerprints: tuple[str, ...]
    rule: str
    severity: int
    step: str | None
    headline: str

    @property
    def category(self) -> str | None:
        """The severity in its word; None for a step that can't be done."""
        return SEVERITIES.get(self.severity)


@dataclass(frozen=True, slots=True)
class ClockLeft:
    """A clock that only one of two revisions leaves running: of a rule, for an item."""

    rule: str
    subject: str


@dataclass(frozen=True, slots=True)
class Comparison:
    """What differs between two revisions: steps `added`, `dropped`, `moved` (on their track), `changed`; `outings`.

    Of what is judged: the findings `gained` and `lost`, instance by instance; the clocks that are left running in the
    second alone (`left_running`) and in the first alone (`stopped`); and the clocks' `margins`.
    """

    told: ClassVar[tuple[str, ...]] = ("same", "changes")

    added: tuple[SteppedTold, ...]
    dropped: tuple[SteppedTold, ...]
    moved: tuple[SteppedTold, ...]
    changed: tuple[StepChanged, ...]
    outings: tuple[Differs, ...]
    gained: tuple[FindingTold, ...] = ()
    lost: tuple[FindingTold, ...] = ()
    left_running: tuple[ClockLeft, ...] = ()
    stopped: tuple[ClockLeft, ...] = ()
    margins: tuple[MarginChanged, ...] = ()

    @property
    def same(self) -> bool:
        """Whether the steps and outings are the same."""
        return not (self.added or self.dropped or self.moved or self.changed or self.outings)

    @property
    def changes(self) -> int:
        """How many steps are added, dropped, moved or changed."""
        return (
            len(self.added)
            + len(self.dropped)
            + len({*(s.step for s in self.moved), *(s.step for s in self.changed)})
        )


def compared(one: Proposal, other: Proposal, before: CheckReport, after: CheckReport) -> Comparison:
    """Return what differs between two revisions of a sequence, each with what a check found of it."""
    return replace(
        steps_compared(one, other),
        gained=tuple(_only_in(after.counted, before.counted)),
        lost=tuple(_only_in(before.counted, after.counted)),
        left_running=tuple(_left_in(after, before)),
        stopped=tuple(_left_in(before, after)),
        margins=tuple(_margins(before.margins, after.margins)),
    )


def steps_compared(one: Proposal, other: Proposal) -> Comparison:
    """Return what differs between the steps and outings of two sequences; nothing is judged."""
    pairs = dict(_pairs(one, other))
    first = {step.id: step for step in one.steps}
    back = {y: first[x] for x, y in pairs.items()}
    return Comparison(
        tuple(_told(step) for step in other.steps if step.id not in back),
        tuple(_told(step) for step in one.steps if step.id not in pairs),
        tuple(_told(step) for step in _moved(one, other, pairs)),
        tuple(_changed(other, back, {a.id: b for b, a in back.items()})),
        tuple(_outings(one, other)),
    )


def _told(step: Step) -> SteppedTold:
    return SteppedTold(step.id, step.outing, step.track, words(step.action))


# --- which step is which ----------------------------------------------------------------------------------------------


def _pairs(one: Proposal, other: Proposal) -> Iterator[tuple[str, str]]:
    """Yield the ids of steps that are one in both, as they are called in each."""
    mine, theirs = _named(one), _named(other)
    for name in mine & theirs:
        yield name, name
    tracks = dict.fromkeys((s.outing, s.track) for s in (*one.steps, *other.steps))
    for outing, track in tracks:
        left, right = (
            [s for s in p.steps if (s.outing, s.track) == (outing, track) and s.id not in some]
            for p, some in ((one, mine), (other, theirs))
        )
        match = SequenceMatcher(
            None, [words(s.action) for s in left], [words(s.action) for s in right], False
        )
        for a, b, size in match.get_matching_blocks():
            yield from ((left[a + i].id, right[b + i].id) for i in range(size))


def _named(proposal: Proposal) -> set[str]:
    """Return the ids of the steps that somebody gave an id: others are called by their outing, track and turn."""
    turns, found = Counter[tuple[str, str]](), set[str]()
    for step in proposal.steps:
        at = (step.outing, step.track)
        turns[at] += 1
        if step.id != f"{step.outing}.{step.track}.{turns[at]}":
            found.add(step.id)
    return found


# --- what differs -----------------------------------------------------------------------------------------------------


def _moved(one: Proposal, other: Proposal, pairs: dict[str, str]) -> Iterator[Step]:
    """Yield the fewest steps whose turn on their track is another: all others keep theirs."""
    before = _turns(one)
    back = {y: x for x, y in pairs.items()}
    for track, steps in _tracks(other).items():
        mine = [s for s in steps if s.id in back and before[back[s.id]][0] == track]
        kept = set(_longest_rising([before[back[s.id]][1] for s in mine]))
        yield from (step for i, step in enumerate(mine) if i not in kept)


def _tracks(proposal: Proposal) -> dict[tuple[str, str], list[Step]]:
    out = defaultdict[tuple[str, str], list[Step]](list)
    for step in proposal.steps:
        out[step.outing, step.track].append(step)
    return out


def _turns(proposal: Proposal) -> dict[str, tuple[tuple[str, str], int]]:
    return {s.id: (track, i) for track, steps in _tracks(proposal).items() for i, s in enumerate(steps)}


def _longest_rising(numbers: Sequence[int]) -> list[int]:
    """Return where the longest run of rising numbers stands.

    >>> _longest_rising([0, 3, 1, 2])
    [0, 2, 3]
    """
    best: list[list[int]] = []
    for i, number in enumerate(numbers):
        before = max((run for run in best if numbers[run[-1]] < number), key=len, default=[])
        best.append([*before, i])
    return max(best, key=len, default=[])


def _changed(other: Proposal, back: dict[str, Step], names: dict[str, str]) -> Iterator[StepChanged]:
    for step in other.steps:
        before = back.get(step.id)
        if before is None:
            continue
        differs = tuple(_differs(before, step, names))
        if differs:
            yield StepChanged(
                step.id, before.id if before.id != step.id else None, words(step.action), differs
            )


def _differs(before: Step, after: Step, names: dict[str, str]) -> Iterator[Differs]:
    waits = sorted(names.get(name, name) for name in before.after)
    for what, was, now in (
        ("outing", before.outing, after.outing),
        ("track", before.track, after.track),
        ("action", _done(before), _done(after)),
        ("doer", before.action.by or "", after.action.by or ""),
        ("takes", _takes(before), _takes(after)),
        ("waits for", ", ".join(waits), ", ".join(sorted(after.after))),
    ):
        if was != now:
            yield Differs(what, was, now)


def _done(step: Step) -> str:
    values = (f"{name}={quantity}" for name, quantity in step.action.values.items())
    return " ".join([words(step.action), *values])


def _takes(step: Step) -> str:
    low, likely, high = map(format_duration, step.takes)
    return likely if low == high else f"{low}, {likely}, {high}"


def _outings(one: Proposal, other: Proposal) -> Iterator[Differs]:
    before, after = ({outing.id: outing for outing in p.outings} for p in (one, other))
    for name in dict.fromkeys((*before, *after)):
        was, now = before.get(name), after.get(name)
        if was is None or now is None:
            yield Differs(f"outing {name}", "there" if was else "", "there" if now else "")
            continue
        for what, a, b in (("start", was.start, now.start), ("budget", was.budget, now.budget)):
            tell = format_instant if what == "start" else format_duration
            if a != b:
                yield Differs(f"{what} of {name}", "" if a is None else tell(a), "" if b is None else tell(b))


def _left_in(one: CheckReport, other: CheckReport) -> Iterator[ClockLeft]:
    """Yield the clocks that one leaves running, and the other doesn't."""
    known = {(clock.rule, clock.subject) for clock in other.left_running}
    names = dict.fromkeys((clock.rule, clock.subject) for clock in one.left_running)
    yield from (ClockLeft(*name) for name in names if name not in known)


def _only_in(findings: Iterable[Finding], others: Iterable[Finding]) -> Iterator[FindingTold]:
    """Yield what of some findings isn't among others, instance by instance, however often each comes."""
    spare = Counter(code for finding in others for code in finding.fingerprints)
    for finding in findings:
        codes = []
        for code in finding.fingerprints:
            if spare[code]:
                spare[code] -= 1
            else:
                codes.append(code)
        part = finding.only(codes)
        if part is not None:
            yield FindingTold(part.fingerprints, part.rule, part.severity, part.step, part.headline)


def _margins(before: Sequence[Margin], after: Sequence[Margin]) -> Iterator[MarginChanged]:
    """Yield the clocks and budgets of which another time is left, those that have less now first."""
    was, now = _least(before), _least(after)
    found = [
        MarginChanged(*name, _seconds(was.get(name)), _seconds(now.get(name)))
        for name in dict.fromkeys((*was, *now))
        if was.get(name) != now.get(name)
    ]
    found.sort(key=lambda one: (one.after_seconds or 0) - (one.before_seconds or 0))
    yield from found


def _least(margins: Sequence[Margin]) -> dict[tuple[str, str], int]:
    out: dict[tuple[str, str], int] = {}
    for one in margins:
        name = (one.rule, one.subject)
        out[name] = min(one.left, out.get(name, one.left))
    return out


def _seconds(left: int | None) -> float | None:
    return None if left is None else left / SECOND
