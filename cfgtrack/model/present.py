"""The present: what is now, what is believed of a clock, and which times that people say are asked about.

Nothing here reads a clock: what it says is handed in. All times are microseconds since 1970, UTC, or spans of them.

- When something becomes *known* is what a clock says, and later than the last write (`stamp`). Where there is a server
  its clock is the one, else the console's. One that is further ahead than the plant allows may be wrong by years, and
  a `known` can't be taken back: so it must be accepted, by the day that it says. Of one that is behind nothing is lost:
  `known` goes on from the last write, and the event says so. A server is nobody's console: its clock is marked, not
  refused.
- *Known now* is everything that the journal holds, whoever's clock stamped it.
- *Now*, for a question, is what the clock says, or the last write where that is later: what is written has happened.
  What is said to have happened a little later still counts with it, as watches differ. What is said to happen later
  than that is nobody's now: it counts when its time has come.
- What people say of when something *happened* is taken as it is, unless it is hardly so (`doubts`): then it is asked.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from cfgtrack.model.time import DAY, HOUR, MINUTE, SECOND, format_duration, format_instant

NOTICED = SECOND
"""By less than this no clock is said to be behind: so much it may be set back to be right, or two may differ."""


@dataclass(frozen=True, slots=True)
class Stamp:
    """When the next event becomes `known`, and by how much the clock is `off` the last write, where it is to be told.

    `off` is positive where the clock is further ahead than is allowed, negative where it is behind; else 0.
    """

    known: int
    off: int = 0

    @property
    def jumps(self) -> bool:
        """Whether the clock is further ahead than is allowed."""
        return self.off > 0


def stamp(clock: int, last: int | None, *, most: int) -> Stamp:
    """Return when the next event becomes known by a clock, after a last write, which it may be `most` ahead of."""
    if last is None:
        return Stamp(clock)
    off = clock - last
    if off > most or off <= -NOTICED:
        return Stamp(max(clock, last + 1), off)
    return Stamp(max(clock, last + 1))


def now(clock: int, written: int) -> int:
    """Return what is now by a clock, in a journal that was last written to at `written`."""
    return max(clock, written)


def day_of(instant: int) -> str:
    """Return the day of an instant, in UTC: by its name a jump of the clock is accepted."""
    return format_instant(instant)[:10]


def size_of(span: int) -> str:
    """Return a span as people say it: as precisely as is of use.

    >>> size_of(90_061_000_001), size_of(400 * DAY + 5 * HOUR), size_of(1)
    ('1 d 1 h', '400 d', '0 s')
    """
    span = abs(span)
    for least, unit in ((10 * DAY, DAY), (DAY, HOUR), (HOUR, MINUTE)):
        if span >= least:
            return format_duration(span // unit * unit)
    return format_duration(span // SECOND * SECOND)


def mark_of(off: int) -> str:
    """Return in words what an event says of the clock by which it was recorded, "" where it says nothing.

    >>> mark_of(-3_600_000_000), mark_of(400 * DAY)
    ('the clock was 1 h behind the last write', 'the clock was 400 d ahead of the last write, and believed')
    """
    if not off:
        return ""
    return f"the clock was {size_of(off)} " + (
        "behind the last write" if off < 0 else "ahead of the last write, and believed"
    )


@dataclass(frozen=True, slots=True)
class Hours:
    """When an outing began, and ended, None where it hasn't yet, or has begun again since."""

    outing: str
    began: int
    ended: int | None = None

    def begun(self, at: int) -> Hours:
        """Return the hours of an outing that begins, too, at an instant."""
        ended = self.ended if self.ended is not None and self.ended >= at else None
        return Hours(self.outing, min(self.began, at), ended)

    def over(self, at: int) -> Hours:
        """Return the hours of an outing that ends, too, at an instant."""
        return Hours(self.outing, self.began, at if self.ended is None else max(self.ended, at))


@dataclass(frozen=True, slots=True)
class Record:
    """What a time is held against: what is `now`, and what is recorded by then.

    `last`: when the last event on hardware happened, `handover`: the initial configuration; None where there is none.
    Further `ahead` of now, or further behind the last event than `late`, hardly anything is said to have happened.
    """

    now: int
    ahead: int
    late: int
    last: int | None = None
    handover: int | None = None


def doubts(happened: int, record: Record) -> Iterator[str]:
    """Yield why a time that somebody says is hardly right, a sentence each."""
    said = format_instant(happened)
    if happened > record.now + record.ahead:
        yield f"{said} is {size_of(happened - record.now)} after now, {format_instant(record.now)}"
    if record.handover is not None and happened < record.handover:
        before = size_of(record.handover - happened)
        yield f"{said} is {before} before the initial configuration, {format_instant(record.handover)}"
    elif record.last is not None and happened < record.last - record.late:
        yield f"{said} is {size_of(record.last - happened)} before the last event, {format_instant(record.last)}"


def outside(happened: int, hours: Hours) -> Iterator[str]:
    """Yield why what happened then hardly happened in an outing of these hours."""
    if happened < hours.began:
        yield (
            f"{format_instant(happened)} is {size_of(hours.began - happened)} before outing {hours.outing} began,"
            f" {format_instant(hours.began)}"
        )
    elif hours.ended is not None and happened > hours.ended:
        yield (
            f"{format_instant(happened)} is {size_of(happened - hours.ended)} after outing {hours.outing} ended,"
            f" {format_instant(hours.ended)}"
        )
