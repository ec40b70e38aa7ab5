"""Names and addresses that aren't there are told in one form, with near names."""

import string

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cfgtrack.model.trouble import NoAnswer
from cfgtrack.model.unknown import (
    ANYTHING,
    MOVABLE,
    OWNER,
    PLACE,
    PORT,
    THING,
    expect_thing,
    near,
    no_such,
    unknown,
)
from tests.model.test_possibility import PLANT

MANY = [f"UNIT-{number:04d}" for number in range(0, 9000, 7)]


@given(
    name=st.text(string.ascii_uppercase + "-", min_size=8, max_size=12),
    place=st.integers(0, 7),
    slip=st.sampled_from("xZ7-"),
    kind=st.sampled_from(["drop", "add", "change", "swap"]),
    others=st.sampled_from([0, 50, len(MANY)]),
)
def test_one_slip_is_near(name, place, slip, kind, others):
    """A name typed with one slip is among the near names, in a plant of any size and in either case."""
    start, rest = name[:place], name[place:]
    typed = {
        "drop": start + rest[1:],
        "add": start + slip + rest,
        "change": start + slip + rest[1:],
        "swap": start + rest[1:2] + rest[:1] + rest[2:],
    }[kind]
    assert name in near(typed.lower(), [*MANY[:others], name])


def test_nothing_near():
    """A name unlike any other has no near names, and then those known are listed, where they are few."""
    assert near("QQQ", ["PUMP-1"]) == ()
    assert no_such("unit", "QQQ", ["PUMP-1"]) == "there is no unit QQQ; known: PUMP-1"
    assert no_such("unit", "PUNP-1", ["PUMP-1"]) == "there is no unit PUNP-1; near names: PUMP-1"
    assert no_such("unit", "QQQ", MANY) == "there is no unit QQQ"


ASKED = [
    ("X:F", PORT, ""),
    ("X", MOVABLE, ""),
    ("ANN", MOVABLE, ""),
    ("ANN", PLACE, ""),
    ("BAY", PLACE, ""),
    ("X:F", THING, ""),
    ("box", ANYTHING, ""),
    ("Q:F", PORT, "there is no unit or place Q"),
    ("XX", PORT, "there is no unit or place XX"),
    ("BAYY", THING, "there is no unit or place BAYY; near names: BAY"),
    ("BAYY", PLACE, "there is no place BAYY; near names: BAY"),
    ("hoze", ANYTHING, "there is no unit, place or part hoze; near names: hose"),
    ("H:F", PORT, "H has no port F; it has P, S"),
    ("H:F", THING, "H has no port or node F; it has P, S"),
    ("H", PORT, "H is a unit, not a port; it has P, S"),
    ("H:P", MOVABLE, "H:P is a port, not a unit or mobile place"),
    ("BAY", MOVABLE, "BAY is a place, not a unit or mobile place"),
    ("X", PLACE, "X is a unit, not a place"),
    ("H:P", OWNER, "H:P is a port, not a unit or place"),
    ("hose", THING, "hose is a part, not a unit, place, port, contact or node; its units: H"),
]


@pytest.mark.parametrize(("address", "wanted", "why"), ASKED)
def test_an_address_is_of_a_wanted_sort_or_it_is_said_why_not(address, wanted, why):
    """One look-up tells the owner that isn't there from the port that isn't, and both from what is something else."""
    assert unknown(PLANT, address, wanted).startswith(why)
    assert bool(unknown(PLANT, address, wanted)) == bool(why)


def test_what_is_not_there_has_no_answer():
    """Asked for, an address of nothing is told with the one code."""
    expect_thing(PLANT, "X:F")
    with pytest.raises(NoAnswer, match=r"^X:FF: unknown: X has no port or node FF; it has F, G, R"):
        expect_thing(PLANT, "X:FF")
