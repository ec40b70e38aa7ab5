"""What is now, what is believed of a clock, and which times are asked about, against a page of plain words."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cfgtrack.model.present import Hours, Record, Stamp, day_of, doubts, mark_of, now, outside, size_of, stamp
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
    assert (now(NOON, NOON + HOUR), now(NOON, NOON - HOUR)) == (NOON + HOUR, NOON)


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
    assert mark_of(0) == ""
