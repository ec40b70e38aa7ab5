"""How long steps take, and for which durations a clock has the least left: the arithmetic, without any rule.

A clock that starts at one point of a plan and is met at another has the least left where what leads to its end is slow
and what leads to its start is quick. What leads to both moves both: it is to be slow where it is on the way that
decides when the clock is met, and quick elsewhere. So the worst case is one way through the plan to the clock's end
that is slow throughout, while all else that leads to its start is quick; which way that is has to be tried.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from heapq import heappop, heappush

from cfgtrack.model.sequence import NEVER, Schedule

LOW, LIKELY, HIGH = 0, 1, 2

MOST_WAYS = 512
"""How many ways through a plan to the end of a clock are tried at most."""

_START = -1
"""Stands for the fixed times at which outings start, where a way may begin that no step leads to."""


@dataclass(frozen=True, slots=True)
class Widest:
    """How far apart two points can get, and what each point takes then. `is_sure`: every way was tried, or need not be.

    `bound` is a limit that they can't get beyond.
    """

    gap: int
    takes: tuple[int, ...]
    bound: int
    is_sure: bool


class Durations:
    """The durations of a schedule, and how far they can drive two of its points apart."""

    def __init__(self, schedule: Schedule) -> None:
        self.schedule = schedule
        self.low, self.likely, self.high = (schedule.at_pace(pace) for pace in (LOW, LIKELY, HIGH))
        self._quick, self._slow = schedule.times(self.low), schedule.times(self.high)
        self._varies = sum(1 << i for i, (a, _, b) in enumerate(schedule.takes) if a < b)
        self._above: list[int] = []
        for number, before in enumerate(schedule.before):
            above = 1 << number
            for p in before:
                above |= self._above[p]
            self._above.append(above)

    def leads_to(self, point: int) -> int:
        """Return the points that lead to one, itself included, as a set of bits."""
        return self._above[point]

    def bound(self, start: int, end: int) -> int | None:
        """Return a time that `end` is never further behind `start` than; None where it is never behind it."""
        leaves = self._leaves(start, end)
        return max(self._reach(start, leaves).values()) if leaves else None

    def widest(self, start: int, end: int, beyond: int) -> Widest | None:
        """Return how far `end` can be behind `start`; None where it is never behind it.

        Every way is tried only where they might get further apart than `beyond`, and haven't in the first ways tried.
        """
        leaves = self._leaves(start, end)
        if not leaves:
            return None
        reach = self._reach(start, leaves)
        by_reach = sorted(reach, key=lambda p: -reach[p])
        bound = reach[by_reach[0]]
        found = self._climbed(start, end, by_reach[0])
        for point in by_reach[1:8]:
            if reach[point] > found[0]:
                found = max(found, self._climbed(start, end, point), key=_gap)
        ways = 0
        for point in by_reach:
            if found[0] > beyond or reach[point] <= beyond:
                break
            for way in self._ways(point):
                ways += 1
                if ways > MOST_WAYS:
                    return Widest(*found, bound, is_sure=False)
                found = max(found, self._spread(start, end, way), key=_gap)
        return Widest(*found, bound, is_sure=True)

    def sparing(self, end: int, takes: Sequence[int]) -> tuple[int, ...]:
        """Return durations as `takes` but quick wherever that is not on the way that decides when `end` is.

        Where a clock starts with the last of several points, this is worse; where it is met by the first, the other.
        """
        return self._mixed(self._deciding(end, self.schedule.times(takes)), quick=-1)

    def early(self, points: Iterable[int], start: int, takes: Sequence[int]) -> tuple[int, ...]:
        """Return durations as `takes` but quick in all that leads to some points and not to `start`."""
        quick = 0
        for point in points:
            quick |= self._above[point]
        quick &= ~self._above[start]
        return tuple(
            low if quick >> i & 1 else took for i, (low, took) in enumerate(zip(self.low, takes, strict=True))
        )

    # --- ways through the plan ---

    def _leaves(self, start: int, end: int) -> dict[int, int]:
        """Return the points, of those that lead to `start`, that ways to `end` leave from, and how long they then take.

        The longest at most: from the point's time on, or for a way that begins at an outing's fixed start, from 0 on.
        """
        shared, before, high = self._above[start], self.schedule.before, self.high
        if shared >> end & 1:
            return {}
        leaves: dict[int, int] = {}
        longest = {end: high[end]}
        waiting = [-end]
        while waiting:
            point = -heappop(waiting)
            span = longest[point]
            floor = self.schedule.floor[point]
            if floor != NEVER:
                leaves[_START] = max(leaves.get(_START, NEVER), floor + span)
            for p in before[point]:
                if shared >> p & 1:
                    leaves[p] = max(leaves.get(p, span), span)
                else:
                    if p not in longest:
                        heappush(waiting, -p)
                    longest[p] = max(longest.get(p, 0), span + high[p])
        return leaves

    def _reach(self, start: int, leaves: dict[int, int]) -> dict[int, int]:
        """Return for each point that ways leave from how far `end` can then be behind `start` at most."""
        before, low = self.schedule.before, self.low
        last = min((p for p in leaves if p != _START), default=start)
        longest = {start: 0}
        waiting = [-start]
        while waiting and -waiting[0] > last:
            point = -heappop(waiting)
            span = longest[point] + low[point]
            for p in before[point]:
                if p not in longest:
                    heappush(waiting, -p)
                longest[p] = max(longest.get(p, 0), span)
        return {p: span - (self._quick[start] if p == _START else longest[p]) for p, span in leaves.items()}

    def _climbed(self, start: int, end: int, point: int) -> tuple[int, tuple[int, ...]]:
        """Begin with the slowest way to a point, and go on with the way that then decides, while that gets further."""
        way = 0 if point == _START else self._deciding(point, self._slow)
        best = self._spread(start, end, way)
        while True:
            way = self._deciding(end, self.schedule.times(best[1]))
            found = self._spread(start, end, way)
            if found[0] <= best[0]:
                return best
            best = found

    def _deciding(self, point: int, times: Sequence[int]) -> int:
        """Return the points on a way that decides when a point is, as a set of bits."""
        way, before = 0, self.schedule.before
        while True:
            way |= 1 << point
            latest = max(before[point], key=lambda p: times[p], default=None)
            if latest is None or times[latest] < self.schedule.floor[point]:
                return way
            point = latest

    def _ways(self, point: int) -> Iterator[int]:
        """Yield every way to a point, as a set of bits; those that differ in nothing that varies once."""
        seen = set[int]()
        if point == _START:
            yield 0
            return
        waiting = [(point, 0)]
        while waiting:
            at, way = waiting.pop()
            way |= 1 << at
            further = self.schedule.before[at] if self._above[at] & self._varies & ~way else []
            if not further or self.schedule.floor[at] != NEVER:
                varying = way & self._varies
                if varying not in seen:
                    seen.add(varying)
                    yield way
            waiting += [(p, way) for p in further]

    def _spread(self, start: int, end: int, way: int) -> tuple[int, tuple[int, ...]]:
        """Return how far two points are apart with a way slow and all else that leads to `start` quick."""
        takes = self._mixed(way, quick=self._above[start])
        times = self.schedule.times(takes)
        return times[end] - times[start], takes

    def _mixed(self, way: int, *, quick: int) -> tuple[int, ...]:
        """Return durations: low of the points in `quick` that aren't on a way, high of the rest."""
        quick &= ~way
        return tuple(
            low if quick >> i & 1 else high
            for i, (low, high) in enumerate(zip(self.low, self.high, strict=True))
        )


def _gap(found: tuple[int, tuple[int, ...]]) -> int:
    return found[0]
