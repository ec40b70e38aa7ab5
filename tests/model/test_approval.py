"""Whose hands an approval went through: a person is one, whatever he is called, and the plant says who may approve."""

from __future__ import annotations

from typing import Any

import pytest

from cfgtrack.files.definition import parse_definition
from cfgtrack.model.action import APPROVE, Action
from cfgtrack.model.approval import as_named, hands_of, person_named
from cfgtrack.model.plant import Plant
from cfgtrack.model.signature import Signed

NOBODY = """
[[place]]
id = "CART"
aliases = ["=M+1"]
mobile = true
[[place]]
id = "EAST"
[[place]]
id = "WEST"
"""
PEOPLE = (
    NOBODY
    + """
[[person]]
id = "ANN"
roles = ["approve"]
user = "ann_db"
[[person]]
id = "BEN"
roles = ["record", "approve"]
place = "CART"
[[person]]
id = "CY"
roles = ["record"]
[[permission]]
id = "east-alone"
who = ["ANN"]
may = ["approve"]
on = { place = "EAST" }
"""
)


def plant(text: str) -> Plant:
    """Return the plant of a definition."""
    return parse_definition({"plant.toml": text}).plant()


def approval(by: str | None = "ANN", **more: Any) -> Action:
    """Return an approval by somebody."""
    return Action("E", APPROVE, (), 0, by=by, body={"fingerprints": ["a" * 12]}, **more)


@pytest.mark.parametrize("name", ["BEN", "CART", "=M+1"])
def test_a_person_is_one(name: str) -> None:
    """By his id, by the place that he is, and by what that is called he is the same person."""
    assert person_named(plant(PEOPLE), name) == "BEN"
    assert hands_of(plant(PEOPLE), approval(name)).people == {"ben"}


def test_a_place_is_one_where_nobody_is_named() -> None:
    """Where the plant names nobody, a place that moves is one by its id and by what it is called."""
    assert (
        hands_of(plant(NOBODY), approval("=M+1")).people == hands_of(plant(NOBODY), approval("cart")).people
    )


def test_names_that_differ_in_blanks_and_capitals_are_one() -> None:
    """Nobody is two by the way in which his name is written."""
    assert as_named(approval(" Ann  Lee ")).people == as_named(approval("ann lee")).people == {"ann lee"}


def test_every_hand_counts() -> None:
    """A hand in it has who approved, who wrote it down, who signed, and whom the server's login is bound to."""
    signed = Signed("CY", "ed25519:" + "0" * 64, "j", {}, "0" * 128)
    event = approval("BEN", recorder="clerk", signed=signed)
    assert hands_of(plant(PEOPLE), event).people == {"ben", "clerk", "cy"}
    assert hands_of(plant(PEOPLE), event, "ann_db").people == {"ben", "clerk", "cy", "ann"}
    assert hands_of(plant(PEOPLE), event, "somebody_db").people == {"ben", "clerk", "cy"}


def test_nobody_is_checked_where_nobody_has_a_role() -> None:
    """Where it isn't told who may approve, everybody may, and that nobody was checked is known."""
    hands = hands_of(plant(NOBODY), approval("anybody"))
    assert (hands.checked, hands.why_not, hands.may(["EAST"])) == (False, "", None)


@pytest.mark.parametrize(
    ("by", "why"), [("CY", "hasn't the role approve"), ("DOT", "is no person of this plant")]
)
def test_who_may_not(by: str, why: str) -> None:
    """Who hasn't the role may not, nor who is no person of the plant."""
    hands = hands_of(plant(PEOPLE), approval(by))
    assert hands.checked
    assert why in hands.why_not


def test_what_lies_elsewhere_is_not_his() -> None:
    """Who may approve in one part of the plant may not elsewhere; who isn't confined may everywhere."""
    ann, ben = (hands_of(plant(PEOPLE), approval(by)) for by in ("ANN", "BEN"))
    assert (ann.why_not, ben.why_not) == ("", "")
    assert ann.may(["EAST"]) is None
    assert "WEST" in (ann.may(["EAST", "WEST"]) or "")
    assert ben.may(["EAST", "WEST"]) is None
