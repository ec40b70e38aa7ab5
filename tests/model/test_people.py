"""People, roles and permissions: who may do which kind of thing to which part of the plant."""

from __future__ import annotations

from itertools import product

import pytest

from cfgtrack.model.action import Action
from cfgtrack.model.event import Event
from cfgtrack.model.part import Node, Part, Port
from cfgtrack.model.people import (
    ROLES,
    WRITING,
    Area,
    Permission,
    Person,
    done_on,
    has_roles,
    kinds_of,
    may,
    who_may,
)
from cfgtrack.model.plant import Place, Plant, Unit

PUMP = Part(
    "pump",
    tags=frozenset({"rotating"}),
    ports={"A": Port("A", "valve", loop="L1"), "B": Port("B", "plug", tags=frozenset({"hot"}))},
    nodes={"VOL": Node("VOL", "fluid", loop="L2")},
)


def plant(people: dict[str, Person] | None = None, *permissions: Permission) -> Plant:
    """Return a plant of two pumps in two halls, with people."""
    return Plant(
        parts={"pump": PUMP},
        units={
            "P-1": Unit("P-1", "pump", home="BAY-1", loop="L0"),
            "P-2": Unit("P-2", "pump", tags=frozenset({"spare"})),
        },
        places={
            one.id: one
            for one in (
                Place("EAST"),
                Place("BAY-1", parent="EAST"),
                Place("WEST"),
                Place("ANN", mobile=True),
            )
        },
        people=people or {},
        permissions={one.id: one for one in permissions},
    )


THINGS = (
    "P-1",
    "P-1:A",
    "P-1:B",
    "P-1:VOL",
    "P-2",
    "P-2:A",
    "P-2:B",
    "P-2:VOL",
    "EAST",
    "BAY-1",
    "WEST",
    "X",
    "X:A",
)

AREAS: dict[Area, set[str]] = {
    Area(): {*THINGS} - {"X", "X:A"},
    Area(ids=("P-1",)): {"P-1", "P-1:A", "P-1:B", "P-1:VOL"},
    Area(ids=("P-1:A", "WEST")): {"P-1:A", "WEST"},
    Area(ids=("P-?",)): {t for t in THINGS if t.startswith("P-")},
    Area(ids=("*:B",)): {"P-1:B", "P-2:B"},
    Area(ids=("P_1", "P%", "P.1")): set(),
    Area(parts=("pu*",)): {t for t in THINGS if t.startswith("P-")},
    Area(kinds=("valve",)): {"P-1:A", "P-2:A"},
    Area(places=("EAST",)): {"EAST", "BAY-1", "P-1", "P-1:A", "P-1:B", "P-1:VOL"},
    Area(places=("W*",)): {"WEST"},
    Area(loops=("L0",)): {"P-1", "P-1:B"},
    Area(loops=("L1", "L2")): {"P-1:A", "P-1:VOL", "P-2:A", "P-2:VOL"},
    Area(tags=("rotating",)): {t for t in THINGS if t.startswith("P-")},
    Area(tags=("spare",)): {"P-2", "P-2:A", "P-2:B", "P-2:VOL"},
    Area(tags=("hot",)): {"P-1:B", "P-2:B"},
    Area(kinds=("plug",), places=("EAST",)): {"P-1:B"},
}
"""Parts of the plant, and what lies in each: by hand."""


@pytest.mark.parametrize("area", AREAS)
def test_what_lies_in_an_area(area: Area) -> None:
    """A unit or place is meant with all that is inside it; every field must match, any value of one will do."""
    assert {thing for thing in THINGS if area.covers(plant(), thing)} == AREAS[area]


def test_roles_and_permissions_enumerated() -> None:
    """Every set of two roles, every kind and thing, with and without a permission: as a page of plain code has it."""
    for roles in {frozenset(two) for two in product(("", *ROLES), repeat=2)}:
        mine = roles - {""}
        people = {"ANN": Person("ANN", roles=mine), "BOSS": Person("BOSS", roles=frozenset({"administer"}))}
        for who, kinds in product(("ANN", "record", "BEN"), ((), ("record",), ("record", "correct"))):
            rule = Permission("p", (who,), kinds, Area(places=("EAST",)))
            for kind, thing in product(ROLES, ("P-1:A", "P-2:A")):
                able = kind in mine or (kind == "look" and bool(mine))
                confined = kind in kinds and (who == "ANN" or who in mine)
                allowed = able and not (confined and thing.startswith("P-2"))
                assert (may(plant(people, rule), "ANN", kind, [thing]) is None) == allowed, (
                    mine,
                    who,
                    kinds,
                    kind,
                )


def test_without_roles_everybody_may_do_everything() -> None:
    """A person who only has a key says nothing about who may do what."""
    found = plant({"ANN": Person("ANN", key="ed25519:00")})
    assert not has_roles(found)
    assert all(may(found, name, kind, ["P-1"]) is None for name in ("ANN", "", "X") for kind in ROLES)


def test_a_refusal_says_who_what_and_who_else() -> None:
    """It names him, the role or the thing that is outside, and up to five who could; else who can give the role."""
    people = {
        "ANN": Person("ANN", roles=frozenset({"record"})),
        "BEN": Person("BEN", roles=frozenset({"administer"})),
    }
    people |= {f"C-{n}": Person(f"C-{n}", roles=frozenset({"correct"})) for n in range(7)}
    east = Permission("east", ("record",), ("record",), Area(places=("EAST",)))
    found = plant(people, east)
    assert may(found, "DAN", "record") == "DAN is no person of this plant; ANN could"
    assert may(found, "", "record") == "nobody says who does it; ANN could"
    assert (
        may(found, "ANN", "correct")
        == "ANN hasn't the role correct; C-0, C-1, C-2, C-3, C-4 and 2 more could"
    )
    assert may(found, "ANN", "approve") == "ANN hasn't the role approve; nobody may: BEN can give the role"
    why = "ANN may not record what is done to P-2; nobody may: BEN can give the role"
    assert may(found, "ANN", "record", ["P-1", "P-2"]) == why
    assert who_may(found, "record", ["P-1"]) == ["ANN"]


def test_of_which_kind_an_action_is() -> None:
    """What corrects something needs what that needed, where it was more than to record."""
    done, approval, load = (
        Action("E", "open", (), 0),
        Action("A", "approve", (), 0),
        Action("D", "revise", (), 0),
    )
    start, moved = Action("I", "as-found", (), 0, initial=True), Action("initial:P-1@x", "as-found", (), 0)
    withdrawal = Action("W", "withdraw", (), 0)
    assert [kinds_of(one) for one in (done, approval, load, start, moved)] == [
        ("record",), ("approve",), ("define",), ("define",), ("define",),
    ]  # fmt: skip
    assert kinds_of(withdrawal, done) == kinds_of(done, done) == ("correct",)
    assert kinds_of(withdrawal, approval) == kinds_of(approval, approval) == ("approve",)
    assert kinds_of(withdrawal, load) == kinds_of(load, load) == kinds_of(withdrawal, start) == ("define",)
    assert kinds_of(approval, done) == ("correct", "approve")
    assert set(WRITING) == {*ROLES} - {"look", "define", "administer"}


def test_what_an_event_is_about() -> None:
    """All that it writes, and where it puts that; no people and machines."""
    event = Event("E", "place", ("P-1",), 0, place="WEST", moved=("P-2", "ANN"), by="ANN", parted=("P-2:A",))
    assert done_on(plant(), event, event.written) == ["P-1", "P-2", "P-2:A", "WEST"]
