"""Which durations are the worst: the mix with which a clock has the least left, and what a finding hinges on."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from heapq import nsmallest
from itertools import pairwise, product, starmap
from typing import NamedTuple

from cfgtrack.analysis.durations import Durations
from cfgtrack.analysis.trial import BUDGET, BUDGET_TITLE, OVERLAP, Met, Run, Trial, limit_of, names_of
from cfgtrack.analysis.verdict import A_MIX, ALL_HIGH, ALL_LOW, AS_LIKELY, SEVERAL, Margin
from cfgtrack.rules.finding import Finding
from cfgtrack.rules.rule import RuleSet

MOST_MIXES = 24
"""With how many mixes of durations a proposal is judged at most, besides likely, all low and all high ones."""

MOST_TRIES = 16
"""How many times a proposal is judged anew at most to find the steps that findings hinge on."""

CLOSEST = 3
"""How many margins are told, where nobody asks for more."""


class Pair(NamedTuple):
    """Two points of a schedule: a clock starts at one and is met at the other."""

    start: int
    end: int


Clocks = dict[tuple[str, str], None]
"""Clocks, each by its rule and item."""

ClockName = tuple[str, str, int]
"""A clock by its rule, its item and the point that it starts at, -1 for one that ran before."""


class Mixes:
    """A trial with all the sets of durations that matter. `runs`: likely ones first.

    `untried`: for how many pairs of points a mix would have been needed that wasn't tried, for there were too many.
    """

    def __init__(self, trial: Trial, rules: RuleSet) -> None:
        self.trial = trial
        self.schedule = trial.schedule
        self.durations = Durations(trial.schedule)
        self.titles = {rule.id: rule.title for rule in rules.rules}
        self.runs: list[Run] = []
        self.untried = 0
        self._taken: set[tuple[int, ...]] = set()
        self._clocks: defaultdict[Pair, dict[int, Clocks]] = defaultdict(dict)
        self._bounds: dict[Pair, int | None] = {}
        self._starts: defaultdict[tuple[str, str], set[int]] = defaultdict(set)
        self._ends: defaultdict[tuple[str, str], set[int]] = defaultdict(set)
        self._broken: set[tuple[int, str, str]] = set()
        self._tries = 0
        # One thing after the other, in an order that no duration changes.
        before, steps = self.schedule.before, self.schedule.steps
        begins = {begin for begin, _ in self.schedule.spans.values()}
        self._over = len(steps) - 1
        self._is_line = all(i in begins or i - 1 in before[i] for i in range(len(steps)))
        self._kept: dict[tuple[tuple[int, ...], int], bool] = {}

    def judge_all(self) -> None:
        """Judge with likely, all low and all high durations, then with mixes that are worse for some clock."""
        d = self.durations
        paces: dict[tuple[int, ...], str] = {}
        for takes, mix in ((d.likely, AS_LIKELY), (d.low, ALL_LOW), (d.high, ALL_HIGH)):
            paces.setdefault(takes, mix)
        if len(paces) == 1:
            self._judge(AS_LIKELY, d.likely, once=True)
            return
        self.trial.expect(paces)
        waiting = [self._judge(mix, takes) for takes, mix in paces.items()]
        self._learn(waiting)
        if any(map(self._is_tied, waiting)):
            self._learn([self.trial.judge(A_MIX, self._untied())])
        while waiting:
            self._learn(waiting)
            fresh = dict.fromkeys(pair for run in waiting for pair in self._take_in(run))
            waiting = [run for pair in fresh for run in self._worsened(pair)]

    def _judge(self, mix: str, takes: tuple[int, ...], *, once: bool = False) -> Run:
        run = self.trial.judge(mix, takes, once=once)
        self.runs.append(run)
        self._taken.add(takes)
        for finding in run.new:
            if limit_of(finding) is not None:
                for point in run.points.get(finding.since, ()):
                    self._broken.update((point, finding.rule, subject) for subject in finding.subjects)
        return run

    def _learn(self, runs: Iterable[Run]) -> None:
        """Take in at which points each clock starts and is met: of those at one instant, nobody knows which it was."""
        for run in runs:
            for clock in run.met:
                for time, alone in ((clock.started, self._starts), (clock.met, self._ends)):
                    points = run.points.get(time, ())
                    if len(points) == 1:
                        alone[clock.rule, clock.subject].add(points[0])

    def _is_tied(self, run: Run) -> bool:
        """Return whether a clock of a run starts or is met at an instant at which several steps end."""
        return any(len(points) > 1 for clock in run.met for points in self.points(run, clock))

    def points(self, run: Run, clock: Met) -> tuple[Sequence[int], Sequence[int]]:
        """Return at which points a clock may have started, and been met: of those seen to do it alone, else of all."""
        name = clock.rule, clock.subject
        starts: Sequence[int] = run.points.get(clock.started, ())
        ends: Sequence[int] = run.points.get(clock.met, ())
        if len(starts) > 1:
            starts = _sole(starts, self._starts[name])
        if len(ends) > 1:
            ends = _sole(ends, self._ends[name])
        return starts, ends

    def _untied(self) -> tuple[int, ...]:
        """Return likely durations, each longer by some microseconds of its own: hardly two steps end at one instant."""
        return tuple(
            takes if step is None else takes + number
            for number, (step, takes) in enumerate(
                zip(self.schedule.steps, self.durations.likely, strict=True), 1
            )
        )

    def _take_in(self, run: Run) -> Iterator[Pair]:
        """Take in the clocks of a run; yield the points between which one ran that wasn't known there.

        One that is left running runs to the end: where that comes late enough it has run out.
        """
        left = [
            (Met(c.rule, c.subject, c.started, run.end, c.deadline), [self._over])
            for c in run.clocks
            if c.deadline is not None
        ]
        for clock, ends in (*((one, None) for one in dict.fromkeys(run.met)), *left):
            limit = clock.deadline - clock.started
            starts, met = self.points(run, clock)
            for pair in starmap(Pair, product(starts, met if ends is None else ends)):
                clocks = self._clocks[pair].setdefault(limit, {})
                if (clock.rule, clock.subject) not in clocks:
                    clocks[clock.rule, clock.subject] = None
                    yield pair

    def _worsened(self, pair: Pair) -> Iterator[Run]:
        """Yield the runs with the mixes that are worse than any before for clocks that run between two points."""
        limits = (n for n, clocks in self._clocks[pair].items() if not self._are_broken(pair, clocks))
        limit = min(limits, default=None)
        bound = self._bound(pair)
        if limit is not None and bound is not None and bound > limit:
            for takes in self._worst(pair, limit):
                yield from self._judge_new(takes)
                if self._are_broken(pair, self._clocks[pair][limit]):
                    break
        alike = self._alike(pair)
        early = [one.end for one in (pair, *alike) if not self.durations.leads_to(one.end) >> pair.start & 1]
        others = [end for end in early if end != pair.end]
        for end in others:
            yield from self._passing(pair, [end])
        if len(others) > 1:
            yield from self._passing(pair, others)
        for other in alike if pair.end in early else ():
            yield from self._passing(other, [pair.end])
        # Where what meets the clock may come before what starts it, the clock is met by nothing.
        turned = Pair(pair.end, pair.start)
        for takes in self._worst(turned, 0 if self._is_written_so(pair) else -1):
            yield from self._judge_new(takes)
            if others:
                yield from self._judge_new(self.durations.early(early, pair.start, takes))
            break

    def _alike(self, pair: Pair) -> list[Pair]:
        """Return the other pairs of points between which a clock of one pair ran that starts at the same point."""
        mine = {clock for clocks in self._clocks[pair].values() for clock in clocks}
        same = (one for one in self._clocks if one.start == pair.start and one.end != pair.end)
        return [one for one in same if any(not mine.isdisjoint(some) for some in self._clocks[one].values())]

    def _passing(self, pair: Pair, ends: Sequence[int]) -> Iterator[Run]:
        """Yield the run with the worst mix for a clock in which what else meets it comes before it starts."""
        for limit, clocks in self._clocks[pair].items():
            bound = self._bound(pair)
            if bound is None or bound <= limit or self._are_broken(pair, clocks):
                continue
            widest = self.durations.widest(*pair, limit)
            if widest is None or widest.gap <= limit:
                continue
            takes = self.durations.early(ends, pair.start, widest.takes)
            times = self.schedule.times(takes)
            over = times[pair.end] - times[pair.start] > limit
            if over and all(times[end] <= times[pair.start] for end in ends):
                if len(self.runs) < MOST_MIXES:
                    yield from self._judge_new(takes)
                else:
                    self.untried += 1

    def _worst(self, pair: Pair, limit: int) -> tuple[tuple[int, ...], ...]:
        """Return mixes in which the second of two points is later than the first by more than a limit, the worst."""
        widest = self.durations.widest(*pair, limit)
        if widest is None or (widest.gap <= limit and widest.is_sure):
            return ()
        if widest.gap <= limit or len(self.runs) >= MOST_MIXES:
            self.untried += 1
            return ()
        return widest.takes, self.durations.sparing(pair.end, widest.takes)

    def _judge_new(self, takes: tuple[int, ...]) -> Iterator[Run]:
        if takes not in self._taken:
            yield self._judge(A_MIX, takes)

    def _is_written_so(self, pair: Pair) -> bool:
        """Return whether of two points the first is the first at one instant too: as they are written."""
        written = self.schedule.written
        return written[pair.start] <= written[pair.end]

    def _are_broken(self, pair: Pair, clocks: Clocks) -> bool:
        """Return whether all these clocks have been found to run out when they start at the first of two points."""
        return all((pair.start, *clock) in self._broken for clock in clocks)

    def _bound(self, pair: Pair) -> int | None:
        if pair not in self._bounds:
            self._bounds[pair] = self.durations.bound(*pair)
        return self._bounds[pair]

    # --- margins ---

    def margins(self, most: int = CLOSEST) -> list[Margin]:
        """Return the closest margins of clocks that are met and of budgets, over all durations."""
        found = [*self._budgets(), *self.least_of_clocks(most).values()]
        found.sort(key=lambda margin: (margin.left, margin.rule, margin.subject))
        return found[:most]

    def _budgets(self) -> Iterator[Margin]:
        for outing in self.trial.proposal.outings:
            if outing.budget is None:
                continue
            left: list[tuple[int, str]] = []
            for run in self.runs:
                begin, end = self.trial.span(outing, run.layout)
                left.append((outing.budget - (end - begin), run.mix))
            least = min(left, key=lambda one: one[0])
            if least[0] >= 0:
                yield Margin(BUDGET, BUDGET_TITLE, outing.id, *least)

    def least_of_clocks(self, most: int) -> dict[ClockName, Margin]:
        """Return for each clock that is met the least that is left then.

        Mixes that weren't judged are taken in, of those clocks that may be among so many of the closest.
        """
        least: dict[ClockName, Margin] = {}
        for run in self.runs:
            for clock in run.met:
                start, end = (next(iter(some), None) for some in self.points(run, clock))
                name = (clock.rule, clock.subject, -1 if start is None else start)
                self._lessen(least, name, clock.deadline - clock.met, run.mix, end)
        if len(self.runs) > 1:
            self._with_mixes(least, most)
        return least

    def _with_mixes(self, least: dict[ClockName, Margin], most: int) -> None:
        """Take in what a mix leaves that wasn't judged, of those clocks that may be among the closest."""
        slacks = [
            (limit - bound, pair, limit)
            for pair, limits in self._clocks.items()
            if pair.end != self._over and (bound := self._bound(pair)) is not None
            for limit in limits
        ]
        closest = _closest(least.values(), most)
        for slack, pair, limit in sorted(slacks):
            if len(closest) == most and slack >= closest[-1]:
                return
            if slack < 0 and self._are_broken(pair, self._clocks[pair][limit]):
                continue
            names = [(*clock, pair.start) for clock in self._clocks[pair][limit]]
            if all(name in least and least[name].left <= slack for name in names):
                continue
            widest = self.durations.widest(*pair, limit)
            if widest is not None and widest.is_sure and widest.gap <= limit:
                for name in names:
                    self._lessen(least, name, limit - widest.gap, A_MIX, pair.end)
                closest = _closest(least.values(), most)

    def _lessen(
        self,
        least: dict[ClockName, Margin],
        name: ClockName,
        left: int,
        mix: str,
        end: int | None,
    ) -> None:
        if name not in least or left < least[name].left:
            rule, subject, _ = name
            step = None if end is None else self.schedule.steps[end]
            met = None if step is None else step.id
            least[name] = Margin(rule, self.titles[rule], subject, left, mix, met)

    # --- which step makes the difference ---

    def hinge(self, run: Run, finding: Finding) -> str | None:
        """Return the step that, were it to take as long as is likely, would take a finding away; `SEVERAL` for none.

        None where there were too many to try.
        """
        likely = self.durations.likely
        ran = _between(run, finding)
        # Where all is one line, nothing before a clock or after it changes how long it runs.
        points = range(ran.start + 1, ran.end + 1) if ran and self._is_line else range(len(likely))
        changed = [i for i in points if run.takes[i] != likely[i]]
        changed.sort(key=lambda i: -abs(run.takes[i] - likely[i]))
        is_sure = True
        for i in changed:
            gone = self._is_gone(run, finding, i)
            if gone:
                step = self.schedule.steps[i]
                assert step is not None
                return step.id
            is_sure = is_sure and gone is not None
        return SEVERAL if is_sure else None

    def _is_gone(self, run: Run, finding: Finding, point: int) -> bool | None:
        """Return whether a finding doesn't come where one point takes as long as is likely; None: not tried.

        By arithmetic where that tells: of a budget, and of a clock while all comes in the same order.
        """
        likely = self.durations.likely[point]
        takes = (*run.takes[:point], likely, *run.takes[point + 1 :])
        if finding.rule in (BUDGET, OVERLAP):
            layout = self.schedule.lay_out(takes)
            found = self.trial.too_long(layout) if finding.rule == BUDGET else self.trial.overlapping(layout)
            return not {*names_of(finding)} & {name for one in found for name in names_of(one)}
        ran, limit = _between(run, finding), limit_of(finding)
        if ran is not None and limit is not None and self._keeps_order(run, point, takes):
            over = run.times[ran.end] - run.times[ran.start] - limit
            leads = self.durations.leads_to(ran.end) | self.durations.leads_to(ran.start)
            if over > abs(run.takes[point] - likely) or not leads >> point & 1:
                return False
            if self._is_line:
                return over <= run.takes[point] - likely
            times = self.schedule.times(takes)
            return times[ran.end] - times[ran.start] <= limit
        if takes not in self.trial.judged:
            if self._tries >= MOST_TRIES:
                return None
            self._tries += 1
        codes = {*finding.fingerprints}
        there, still = (
            sum(code in codes for one in found.new for code in one.fingerprints)
            for found in (run, self.trial.judge(A_MIX, takes))
        )
        return still <= there - len(codes)

    def _keeps_order(self, run: Run, point: int, takes: tuple[int, ...]) -> bool:
        """Return whether with another duration of a point all comes in the order of a run, ties included."""
        found = self._kept.get((run.takes, point))
        if found is None and self._is_line:
            found = self._kept[run.takes, point] = bool(run.takes[point]) == bool(takes[point])
        if found is None:
            times = self.schedule.times(takes)
            ranked = sorted(range(len(times)), key=run.times.__getitem__)
            found = all(
                times[a] < times[b] if run.times[a] < run.times[b] else times[a] == times[b]
                for a, b in pairwise(ranked)
            )
            self._kept[run.takes, point] = found
        return found


def _sole(points: Sequence[int], alone: set[int]) -> Sequence[int]:
    """Return of the points at one instant those that were seen to do it alone, with other durations; else all."""
    return [point for point in points if point in alone] or points


def _closest(margins: Iterable[Margin], most: int) -> list[int]:
    """Return the least that is left, the least first."""
    return nsmallest(most, (margin.left for margin in margins))


def _between(run: Run, finding: Finding) -> Pair | None:
    """Return between which two points a clock ran too long, where these are known."""
    if limit_of(finding) is None:
        return None
    start = run.points.get(finding.since, [])
    end = [len(run.times) - 1] if finding.until is None else run.points.get(finding.until, [])
    return Pair(start[0], end[0]) if len(start) == 1 and len(end) == 1 else None
