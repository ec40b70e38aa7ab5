"""A time axis: where a moment stands, and the round moments that are written on it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from cfgtrack.model.time import DAY, HOUR, MINUTE, SECOND, format_instant

_STEPS = (
    *(n * SECOND for n in (1, 5, 15, 30)),
    *(n * MINUTE for n in (1, 2, 5, 10, 15, 30)),
    *(n * HOUR for n in (1, 2, 3, 6, 12)),
    *(n * DAY for n in (1, 2, 7, 14, 28, 91, 364)),
)


@dataclass(frozen=True, slots=True)
class Axis:
    """A span of time, from `x` on to the right, with so many microseconds a point."""

    start: int
    end: int
    x: float
    per_point: float

    @property
    def right(self) -> float:
        """Where the span ends."""
        return self.at(self.end)

    def at(self, time: int) -> float:
        """Return where a moment stands; one outside of the span at the nearer end."""
        return self.x + (min(max(time, self.start), self.end) - self.start) / self.per_point

    def ticks(self, apart: float) -> Iterator[int]:
        """Yield the round moments within the span, no nearer than so many points to each other."""
        step = next((s for s in _STEPS if s / self.per_point >= apart), _STEPS[-1])
        first = -(-self.start // step) * step
        yield from range(first, self.end + 1, step)


def clock_time(time: int) -> str:
    """Return the time of day in UTC, to the minute, and to the second where it isn't a whole minute."""
    text = format_instant(time - time % SECOND)[11:19]
    return text[:5] if text.endswith(":00") else text


def day_of(time: int) -> str:
    """Return the date in UTC."""
    return format_instant(time)[:10]


def moment(time: int, day: str = "") -> str:
    """Return a moment in UTC: its date, unless that is the `day` given, and its time of day."""
    said = day_of(time)
    return clock_time(time) if said == day else f"{said} {clock_time(time)}"


def depths(places: Sequence[tuple[float, float]], gap: float = 2.0) -> list[int]:
    """Return in which row each label goes that hangs from a point by a line, given its (left, width) in order.

    A label ends to the right of where it hangs. Whichever hangs over the next ones goes deeper than these, so no line
    runs through a text, and no two texts meet.
    """
    out = [0] * len(places)
    for i in range(len(places) - 1, -1, -1):
        left, width = places[i]
        under = [out[j] + 1 for j in range(i + 1, len(places)) if places[j][0] < left + width + gap]
        out[i] = max(under, default=0)
    return out


def rows_of(extents: Sequence[tuple[float, float]], gap: float = 4.0) -> list[int]:
    """Return in which row each of some extents (left, right), in order, goes so that none meet: the first free one."""
    ends: list[float] = []
    out: list[int] = []
    for left, right in extents:
        row = next((i for i, end in enumerate(ends) if end + gap <= left), len(ends))
        if row == len(ends):
            ends.append(right)
        ends[row] = right
        out.append(row)
    return out
