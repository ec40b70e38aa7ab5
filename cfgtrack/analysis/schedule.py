"""The schedule of a sequence as people really do it: who does what when, what is critical, how much float the rest has.

A track is a list of work, and one person may have several. A doer does one thing at a time: of the steps that he
could begin he takes the one that he can begin first, and at a tie the one that is written first. That is settled
once, with likely durations, and kept whatever the steps then take, as people keep to an order that was agreed on.
So it is a wait like any other (`one_at_a_time`), and all that is known of waits holds: longest ways, floats, worst
mixes, samples.

>>> round(probability_within(29.0, 24.0, 25.0), 4)
0.8413
"""

from __future__ import annotations

from collections import defaultdict, deque
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from math import inf, sqrt
from statistics import NormalDist

from cfgtrack.analysis.duration_model import Takes, expected, variance
from cfgtrack.model.sequence import Deadlock, Schedule, Step
from cfgtrack.model.sequence import Sequence as Proposal


@dataclass(frozen=True, slots=True)
class DoerWait:
    """That a step waits for another because one doer does both, in two tracks."""

    step: str
    waits_for: str
    doer: str


def one_at_a_time(proposal: Proposal) -> tuple[Proposal, tuple[DoerWait, ...]]:
    """Return a proposal in which every doer does one thing at a time, with the waits that this took.

    Raises Deadlock where steps wait for each other.
    """
    written = {step.id: number for number, step in enumerate(proposal.steps)}
    waits: list[DoerWait] = []
    for outing in proposal.outings:
        waits += _in_outing(proposal.tracks(outing.id), written)
    if not waits:
        return proposal, ()
    more: defaultdict[str, list[str]] = defaultdict(list)
    for wait in waits:
        more[wait.step].append(wait.waits_for)
    steps = (replace(s, after=(*s.after, *more[s.id])) if s.id in more else s for s in proposal.steps)
    return replace(proposal, steps=tuple(steps)), tuple(waits)


def _in_outing(tracks: Mapping[str, list[Step]], written: Mapping[str, int]) -> Iterable[DoerWait]:
    """Yield the waits of one outing: its steps are taken up one after the other, whichever can begin first."""
    here = {step.id for steps in tracks.values() for step in steps}
    waiting = {track: deque(steps) for track, steps in tracks.items() if steps}
    ends: dict[str, int] = {}
    free_track: dict[str, int] = {}
    last_of: dict[str, Step] = {}
    while waiting:
        ready: list[tuple[int, int, str]] = []
        for track, steps in waiting.items():
            step = steps[0]
            ahead = [one for one in step.after if one in here]
            if all(one in ends for one in ahead):
                last = last_of.get(step.action.by or "")
                begin = max(
                    free_track.get(track, 0), ends[last.id] if last else 0, *(ends[a] for a in ahead), 0
                )
                ready.append((begin, written[step.id], track))
        if not ready:
            raise Deadlock(tuple(steps[0].id for steps in waiting.values()))
        begin, _, track = min(ready)
        step = waiting[track].popleft()
        if not waiting[track]:
            del waiting[track]
        doer = step.action.by
        if doer:
            last = last_of.get(doer)
            if last is not None and last.track != track and last.id not in step.after:
                yield DoerWait(step.id, last.id, doer)
            last_of[doer] = step
        ends[step.id] = free_track[track] = begin + step.takes[1]


# --- longest ways and floats --------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Room:
    """When a step starts and ends at the earliest, and how much later it may without making its outing later (`total`).

    `free` is how much later without moving anything else.
    """

    start: float
    end: float
    total: float
    free: float


class Ways:
    """The longest ways through a schedule, given what each of its points takes. `times`: when each is."""

    def __init__(self, schedule: Schedule, takes: Sequence[float]) -> None:
        self.schedule, self.takes = schedule, takes
        self.times: list[float] = []
        for floor, before, span in zip(schedule.floor, schedule.before, takes, strict=True):
            self.times.append(max([floor, *(self.times[p] for p in before)]) + span)

    def rooms(self, outing: str) -> dict[int, Room]:
        """Return the room of each step of an outing, by its point."""
        begin, over = self.schedule.spans[outing]
        latest = [inf] * (over + 1)
        soonest = [inf] * (over + 1)
        latest[over] = self.times[over]
        out: dict[int, Room] = {}
        for point in range(over, begin, -1):
            end, span = self.times[point], self.takes[point]
            if point != over:
                start = end - span
                out[point] = Room(start, end, latest[point] - end, soonest[point] - end)
            for p in self.schedule.before[point]:
                latest[p] = min(latest[p], latest[point] - span)
                soonest[p] = min(soonest[p], end - span)
        return out

    def critical(self, outing: str) -> tuple[int, ...]:
        """Return the points of the steps on the longest way through an outing, in order.

        Of several that are equally long the one is told whose last steps are written first.
        """
        begin, point = self.schedule.spans[outing]
        way: list[int] = []
        while True:
            ahead = [p for p in self.schedule.before[point] if p > begin]
            start = self.times[point] - self.takes[point]
            ahead = [p for p in ahead if self.times[p] == max(self.times[q] for q in ahead)]
            if not ahead or self.times[ahead[0]] < start:
                return tuple(reversed(way))
            point = min(ahead, key=lambda p: self.schedule.written[p])
            way.append(point)


def expected_times(schedule: Schedule) -> list[float]:
    """Return what each point takes as PERT expects."""
    return [expected(takes) for takes in schedule.takes]


def way_variance(steps: Iterable[Takes]) -> float:
    """Return PERT's variance of the time that steps that follow each other take: they are independent."""
    return sum(map(variance, steps))


def probability_within(limit: float, mean: float, square: float) -> float:
    """Return PERT's probability that a way that takes `mean`, with variance `square`, takes `limit` at most.

    By the normal distribution, for a way of many steps; what other ways do is left out, so it is too good where these
    are nearly as long.
    """
    if square <= 0:
        return float(mean <= limit)
    return NormalDist(mean, sqrt(square)).cdf(limit)
