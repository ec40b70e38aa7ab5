"""The present: what is now, what is believed of a clock, and which times that people say are asked about.

Nothing here reads a clock: what it says is handed in. All times are microseconds since 1970, UTC, or spans of them.

- When something becomes *known* is what a clock says, and later than the last write (`stamp`). Where there is a server
  its clock is the one, else the console's. One that is further ahead than the plant allows may be wrong by years, and
  a `known` can't be taken back: so it must be accepted, by the day that it says. Of one that is behind nothing is lost:
  `known` goes on from the last write, and the event says so. A server is nobody's console: its clock is marked, not
  refused.
- *Known now* is everything that the journal holds, whoever's clock stamped it. Known at a time that somebody names is
  what the record's stamps say, whichever clock asks.
- *Now*, for a question, is what the clock says, or the record where that is later: what is written has happened.
  What is said to have happened a little later still counts with it, as watches differ. What is said to happen later
  than that is nobody's now: it counts when its time has come. Where now isn't what the clock says, or the clock is far
  ahead of the record, the answer says so (`Now.time_note`). Where the record is further ahead of the clock than a plant
  allows one of them is wrong, and nobody can tell which (`Now.is_unsure`): the clock was set back, or the record was
  written to by one that was ahead. Then now is asked for.
- What the *record* says of now is the latest that a clock said which wrote to it (`written`): of a write that was
  behind the one before it that is not its `known`, which goes on from that one. Who finds out that an event was
  recorded by a clock that was ahead withdraws or corrects it because of a `WRONG_CLOCK`: then its stamp counts no more,
  nor do those that were believed for its sake.
- What people say of when something *happened* is taken as it is, unless it is hardly so (`doubts`): then it is asked.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from cfgtrack.model.time import DAY, HOUR, MINUTE, SECOND, format_duration, format_instant, is_instant

NOTICED = SECOND
"""By less than this no clock is said to be behind: so much it may be set back to be right, or two may differ."""

NOTABLE = 2 * MINUTE
"""By so much two clocks, or a clock and now, may differ before anybody is told."""

WRONG_CLOCK = "wrong clock"
"""So begins the reason of whoever takes back an event because the clock was wrong by which it was recorded."""


def blames_clock(reason: str | None) -> bool:
    """Return whether something is taken back because the clock was wrong by which it was recorded.

    >>> blames_clock("Wrong clock: a year fast"), blames_clock("the other pump")
    (True, False)
    """
    return (reason or "").lstrip().lower().startswith(WRONG_CLOCK)


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


def own_reading(known: int, off: int) -> int:
    """Return what the clock said by which an event was recorded: where it was behind it isn't when it became known."""
    return known + off if off < 0 else known


@dataclass(frozen=True, slots=True)
class Written:
    """What a record says of now: the `latest` that a clock said which wrote to it, and what the `last` one said.

    `event` is the first one by which the record is further than this clock, where it is: "" for none.
    """

    latest: int = 0
    last: int = 0
    event: str = ""


@dataclass(frozen=True, slots=True)
class Stamped:
    """What an event says of its clock; `is_wrong` where somebody has said that the clock was."""

    id: str
    known: int
    off: int
    is_wrong: bool = False


def written(before: int, stamps: Iterable[Stamped], clock: int) -> Written:
    """Return what a record says of now, of which all that is known by `before` counts, and of `stamps` what may.

    A wrong stamp doesn't, nor what comes after it, until a clock is behind or its jump is accepted: it was believed
    for the wrong one's sake.
    """
    latest, last, event, believed = before, before, "", True
    for one in stamps:
        last = own_reading(one.known, one.off)
        believed = not one.is_wrong and (believed or one.off != 0)
        if believed and last > latest:
            latest = last
            event = event or (one.id if last > clock else "")
    return Written(latest, last, event)


@dataclass(frozen=True, slots=True)
class Now:
    """What is now, `at`, by a `clock` and what is `written`; a plant allows a clock to be so far off, `most`."""

    at: int
    clock: int
    written: Written
    most: int
    whose: str = "this clock"

    @property
    def is_unsure(self) -> bool:
        """Whether the record is further ahead of the clock than is allowed."""
        return self.written.latest - self.clock > self.most

    @property
    def time_note(self) -> str:
        """What is to be told of now, "" for nothing."""
        if self.at - self.clock > NOTABLE:
            by = "THE LAST WRITE" if self.at <= self.written.latest else "THE LAST EVENT"
            return f"NOW BY {by}, {size_of(self.at - self.clock)} AFTER {self.whose.upper()}"
        behind = self.clock - self.written.last
        if self.written.last and behind > self.most:
            return f"NOW BY {self.whose.upper()}, {size_of(behind)} AFTER THAT OF THE LAST WRITE"
        return ""

    def why_unsure(self) -> str:
        """Return what is to be said where a question about now isn't answered."""
        by = f", by event {self.written.event}" if self.written.event else ""
        return (
            f"say which time is meant: {self.whose} says {format_instant(self.clock)}, and the record was written to"
            f" {size_of(self.written.latest - self.clock)} later, at {format_instant(self.written.latest)}{by}: one of"
            " them is wrong. If it is this clock, set it; if it was the other's, withdraw or correct that event,"
            f" --reason '{WRONG_CLOCK}'"
        )


def now(clock: int, written: Written) -> int:
    """Return what is now by a clock, in a journal of which so much is written."""
    return max(clock, written.latest)


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


def mark_of(off: int, known: int) -> str:
    """Return in words what an event says of the clock by which it was recorded, "" where it says nothing.

    Two clocks differ: which of them is wrong it doesn't say.

    >>> mark_of(-3_600_000_000, 7_200_000_000)
    'two clocks differ by 1 h: 1970-01-01T01:00:00Z here, 1970-01-01T02:00:00Z at the write before'
    >>> mark_of(400 * DAY, 401 * DAY)
    'the clock, 1971-02-06T00:00:00Z, was 400 d ahead of the write before, 1970-01-02T00:00:00Z, and believed'
    """
    here, before = own_reading(known, off) // SECOND * SECOND, (known - max(off, 0)) // SECOND * SECOND
    if not off or not is_instant(here) or not is_instant(before):
        return "" if not off else "the clock was off"
    said = format_instant(here), format_instant(before)
    if off < 0:
        return f"two clocks differ by {size_of(off)}: {said[0]} here, {said[1]} at the write before"
    return f"the clock, {said[0]}, was {size_of(off)} ahead of the write before, {said[1]}, and believed"


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
    """What a time is held against: what is `now`, by whose clock where not by this one, and what is recorded by then.

    `last`: when the last event on hardware happened, `handover`: the initial configuration; None where there is none.
    Further `ahead` of now, or further behind the last event than `late`, hardly anything is said to have happened.
    """

    now: int
    ahead: int
    late: int
    last: int | None = None
    handover: int | None = None
    by: str = ""


def doubts(happened: int, record: Record) -> Iterator[str]:
    """Yield why a time that somebody says is hardly right, a sentence each."""
    wrong: list[str] = []
    if happened > record.now + record.ahead:
        by = f" ({record.by})" if record.by else ""
        wrong.append(f"{size_of(happened - record.now)} after now, {format_instant(record.now)}{by}")
    if record.handover is not None and happened < record.handover:
        before = size_of(record.handover - happened)
        wrong.append(f"{before} before the initial configuration, {format_instant(record.handover)}")
    elif record.last is not None and happened < record.last - record.late:
        wrong.append(
            f"{size_of(record.last - happened)} before the last event, {format_instant(record.last)}"
        )
    yield from (f"{format_instant(happened)} is {why}" for why in wrong)


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
