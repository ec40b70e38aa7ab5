"""What is now, what is believed of a clock, and which times are asked about, against a page of plain words."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cfgtrack.model.present import (
    Hours,
    Now,
    Record,
    Stamp,
    Stamped,
    Written,
    day_of,
    doubts,
    mark_of,
    now,
    outside,
    size_of,
    stamp,
    written,
)
from cfgtrack.model.time import DAY, HOUR, MINUTE, SECOND, parse_instant

NOON = parse_instant("2031-05-01T12:00:00Z")
MOST = 27 * DAY

CLOCKS = {
    "right": (NOON + HOUR, Stamp(NOON + HOUR)),
    "as far ahead as may be": (NOON + MOST, Stamp(NOON + MOST)),
    "further": (NOON + MOST + 1, Stamp(NOON + MOST + 1, MOST + 1)),
    "a year": (NOON + 365 * DAY, Stamp(NOON + 365 * DAY, 365 * DAY)),
    "the same": (NOON, Stamp(NOON + 1)),
    "a little behind": (NOON - SECOND + 1, Stamp(NOON + 1)),
    "behind": (NOON - SECOND, Stamp(NOON + 1, -SECOND)),
    "long behind": (0, Stamp(NOON + 1, -NOON)),
}


@pytest.mark.parametrize("case", CLOCKS)
def test_stamp(case: str) -> None:
    """A clock stamps what is written, unless it is behind: then it goes on from the last write, and that is marked."""
    clock, wanted = CLOCKS[case]
    assert stamp(clock, NOON, most=MOST) == wanted
    assert stamp(clock, NOON, most=MOST).jumps == (clock > NOON + MOST)


def test_the_first_write() -> None:
    """The first write has nothing to be compared with: the clock is believed."""
    assert stamp(5, None, most=0) == Stamp(5)


@given(st.lists(st.tuples(st.integers(-(10**15), 10**15), st.integers(0, 10**14)), min_size=2))
def test_known_increases(clocks: list[tuple[int, int]]) -> None:
    """Whatever clocks say, what is written later is known later; what says nothing of its clock was stamped by it."""
    last: int | None = None
    for clock, most in clocks:
        found = stamp(clock, last, most=most)
        assert last is None or found.known > last
        assert found.off or found.known - SECOND < clock <= found.known
        last = found.known


def test_now() -> None:
    """What is written has happened: now is never before it, however slow this clock is."""
    assert [now(NOON, Written(NOON + by)) for by in (HOUR, -HOUR)] == [NOON + HOUR, NOON]


FAST = NOON + 365 * DAY
JUMP, MORE = Stamped("jump", FAST, 365 * DAY), Stamped("more", FAST + HOUR, 0)
RIGHT = Stamped("right", FAST + HOUR + 1, -365 * DAY)
DEAD = Stamped("dead", NOON + 1, -NOON)
WRONG = Stamped("jump", FAST, 365 * DAY, is_wrong=True)

WRITTEN = {
    "a clock was believed": ([JUMP], (FAST, FAST, "jump")),
    "and written by again": ([JUMP, MORE], (FAST + HOUR, FAST + HOUR, "jump")),
    "then by a right one": ([JUMP, RIGHT], (FAST, NOON + HOUR + 1, "jump")),
    "it was wrong": ([WRONG, MORE], (NOON, FAST + HOUR, "")),
    "it was wrong, says a right one": ([WRONG, MORE, RIGHT], (NOON + HOUR + 1, NOON + HOUR + 1, "right")),
    "a dead one": ([DEAD], (NOON, 1, "")),
}


@pytest.mark.parametrize("case", WRITTEN)
def test_written(case: str) -> None:
    """What a record says of now is the latest that counts of what clocks said, not where `known` was pushed to."""
    stamps, wanted = WRITTEN[case]
    assert written(NOON, stamps, NOON) == Written(*wanted)


ASKED = {
    "they agree": (0, 0, False, ""),
    "a watch": (MINUTE, MINUTE, False, ""),
    "twenty days": (20 * DAY, 20 * DAY, False, "NOW BY THE LAST WRITE, 20 d AFTER THIS CLOCK"),
    "a year": (365 * DAY, 365 * DAY, True, "NOW BY THE LAST WRITE, 365 d AFTER THIS CLOCK"),
    "a lull": (-20 * DAY, -20 * DAY, False, ""),
    "a long lull": (-40 * DAY, -40 * DAY, False, "NOW BY THIS CLOCK, 40 d AFTER THAT OF THE LAST WRITE"),
    "a dead clock wrote": (0, -9000 * DAY, False, "NOW BY THIS CLOCK, 9000 d AFTER THAT OF THE LAST WRITE"),
}


@pytest.mark.parametrize("case", ASKED)
def test_what_is_told_of_now(case: str) -> None:
    """Now is told where it isn't what the clock says; further ahead than a plant allows it is nobody's to tell."""
    latest, last, unsure, told = ASKED[case]
    record = Written(NOON + latest, NOON + last)
    found = Now(now(NOON, record), NOON, record, MOST)
    assert (found.is_unsure, found.time_note) == (unsure, told)


RECORD = Record(NOON, ahead=30 * MINUTE, late=14 * DAY, last=NOON - DAY, handover=NOON - 100 * DAY)

TIMES = {
    "now": (NOON, ""),
    "by a watch that is fast": (NOON + 30 * MINUTE, ""),
    "an hour that was meant as local time": (NOON + HOUR, "1 h after now"),
    "next year": (NOON + 365 * DAY, "365 d after now"),
    "caught up hours later": (NOON - 30 * HOUR, ""),
    "caught up days later": (NOON - 14 * DAY, ""),
    "last month": (NOON - 31 * DAY, "30 d before the last event"),
    "before all": (NOON - 101 * DAY, "1 d before the initial configuration"),
}


@pytest.mark.parametrize("case", TIMES)
def test_doubts(case: str) -> None:
    """What is hardly so is said with how far it is off; what people do every day isn't asked about."""
    happened, wanted = TIMES[case]
    found = list(doubts(happened, RECORD))
    assert len(found) == bool(wanted)
    assert all(wanted in one for one in found)


def test_a_young_record() -> None:
    """Where nothing is recorded yet, only the future is unlikely."""
    young = Record(NOON, ahead=0, late=0)
    assert list(doubts(0, young)) == []
    assert len(list(doubts(NOON + 1, young))) == 1


def test_outside() -> None:
    """What happened in an outing happened in its hours, both ends included; one that goes on has no end."""
    hours = Hours("W1", NOON, NOON + HOUR)
    said = {at: list(outside(at, hours)) for at in (NOON - 1, NOON, NOON + HOUR, NOON + HOUR + 1)}
    assert [len(one) for one in said.values()] == [1, 0, 0, 1]
    assert list(outside(NOON + DAY, Hours("W1", NOON))) == []


def test_hours() -> None:
    """An outing that begins again after its end goes on; begun or ended twice, it is the widest of it."""
    hours = Hours("W1", NOON).over(NOON + HOUR)
    assert hours.begun(NOON + 2 * HOUR) == Hours("W1", NOON)
    assert hours.begun(NOON - HOUR).over(NOON) == Hours("W1", NOON - HOUR, NOON + HOUR)


def test_words() -> None:
    """A jump is accepted by the day that the clock says; sizes are as precise as is of use."""
    assert day_of(NOON - 1) == "2031-05-01"
    assert [size_of(n) for n in (0, -90 * SECOND, HOUR + SECOND, 26 * HOUR, 11 * DAY + HOUR)] == [
        "0 s",
        "1 min 30 s",
        "1 h",
        "1 d 2 h",
        "11 d",
    ]
    assert mark_of(0, NOON) == ""
    assert mark_of(10**300, NOON) == mark_of(-(10**300), NOON) == "the clock was off"
