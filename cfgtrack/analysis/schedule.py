"""The schedule of a sequence as people really do it: who does what when, what is critical, how much float the rest has.

>>> round(probability_within(29.0, 24.0, 25.0), 4)
0.8413
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from math import inf, sqrt
from statistics import NormalDist

from cfgtrack.analysis.duration_model import Takes, expected, variance
from cfgtrack.model.sequence import Schedule

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
