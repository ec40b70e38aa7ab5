"""An event has nobody judged whom it can't concern: nobody is overlooked either way, so this is its cost alone."""

from __future__ import annotations

import pytest

from cfgtrack.model.action import Action
from cfgtrack.model.configuration import Configuration
from cfgtrack.model.part import InternalLink, Node, Part, Port
from cfgtrack.model.plant import Place, Plant, Unit
from cfgtrack.rules.condition import Condition
from cfgtrack.rules.engine import Engine
from cfgtrack.rules.match import ActionMatch
from cfgtrack.rules.rule import Rule, RuleSet
from cfgtrack.rules.selection import Selection
from cfgtrack.rules.what.all import All
from cfgtrack.rules.what.not_ import Not
from cfgtrack.rules.what.path import Path
from cfgtrack.rules.what.status import Status
from cfgtrack.rules.when.always import Always
from cfgtrack.rules.when.within import Within
from tests.happening import happened
from tests.rules.worlds import KINDS, MEDIA, START


def boxes() -> Configuration:
    """Return three boxes on a shelf: A's tube is open to B's, C's is free, and each has its tank over its valve."""
    box = Part(
        "box",
        ports={n: Port(n, k) for n, k in (("F", "tube"), ("V", "valve"), ("S", "switch"))},
        nodes={
            "vol": Node("vol", "fluid", litres=1.0),
            "tank": Node("tank", "fluid", roles=frozenset({"expansion"})),
            "bus": Node("bus", "power", roles=frozenset({"source"})),
            "lamp": Node("lamp", "power", roles=frozenset({"load"})),
        },
        links=(
            InternalLink("vol", "F"),
            InternalLink("vol", "tank", "V"),
            InternalLink("bus", "lamp", "S"),
        ),
    )
    places = {"SHELF": Place("SHELF"), "RACK": Place("RACK", tags=frozenset({"store"}))}
    now = Configuration(Plant(MEDIA, KINDS, {"box": box}, {u: Unit(u, "box") for u in "ABC"}, places))
    for said in (
        "place A",
        "place B",
        "place C",
        "mate A:F B:F",
        "open A:F",
        "open B:F",
        "open A:V",
        "open C:V",
    ):
        do(now, said)
    return now


def do(now: Configuration, said: str) -> None:
    """Do what the words say."""
    now.apply(happened(now, action(said)))


def action(said: str) -> Action:
    """Return the action that words say: a unit is put on the shelf, if they don't say where."""
    verb, *subjects = said.split()
    place = None if verb != "place" else subjects.pop() if len(subjects) > 1 else "SHELF"
    return Action(said, verb, tuple(subjects), START, place=place)


IT, TANK, BUS = Selection(of="it"), Selection(expansion=True), Selection(source=True)
TUBES, VOLUMES, UNITS = (
    Selection(kinds=("tube",)),
    Selection(liquid=True, expansion=False),
    Selection(what=("unit",)),
)
OPEN = Status(IT, ("open",))
STORED = Selection(kinds=("tube",), at=("#store",))
ALL_TUBES, ALL_VOLUMES = "A:F B:F C:F", "A:vol B:vol C:vol"


def of(reference: str) -> Status:
    """Return a condition on what belongs to the item."""
    return Status(Selection(of=reference), ("open",))


ROOM, LIT = Path("fluid", IT, TANK), Path("power", IT, BUS)
OTHERS = tuple(
    Rule(medium, "", "", 1, "none", Always(), Path(medium, UNITS, UNITS), UNITS) for medium in MEDIA
)
"""Rules for whose sake every medium is followed."""

AFFECTED: list[tuple[Condition, Selection, str, str]] = [
    # what is done to an item, and to its mate
    (OPEN, TUBES, "shut A:F", "A:F B:F"),
    (OPEN, TUBES, "shut A:V", ""),
    (OPEN, TUBES, "inspect C:F", "C:F"),
    (OPEN, TUBES, "inspect C", "C:F"),
    (OPEN, TUBES, "place C RACK", "C:F"),
    (Not(All((OPEN, OPEN))), TUBES, "shut A:V", ""),
    (Not(All((OPEN, OPEN))), TUBES, "inspect A", "A:F"),
    # what belongs to it
    (of("unit of it"), TUBES, "shut A:V", "A:F"),
    (of("ports of it"), TUBES, "shut A:V", "A:F"),
    (of("nodes of it"), TUBES, "shut A:V", "A:F"),
    (of("ports of it"), UNITS, "shut A:V", "A"),
    (of("peer of it"), TUBES, "shut A:V", ""),
    (of("peer of it"), TUBES, "shut A:F", "A:F B:F"),
    (of("peer of it"), TUBES, "inspect A", "A:F B:F"),
    (OPEN, TUBES, "inspect A", "A:F"),
    (of("place of it"), TUBES, "inspect C", ALL_TUBES),
    (Status(UNITS, (), ("RACK",)), TUBES, "inspect C", ALL_TUBES),
    # where it stands
    (OPEN, STORED, "place C RACK", "C:F"),
    (OPEN, STORED, "shut C:V", "C:F"),
    # who has lost a way, or gained one
    (ROOM, VOLUMES, "open B:V", ""),
    (ROOM, VOLUMES, "shut C:V", "C:vol"),
    (ROOM, VOLUMES, "shut A:V", "A:vol B:vol"),
    (ROOM, VOLUMES, "shut A:F", "B:vol"),
    (ROOM, VOLUMES, "switch-on C:S", ""),
    (ROOM, VOLUMES, "inspect C:V", ""),
    (ROOM, TUBES, "inspect A", "A:F"),
    (LIT, Selection(load=True), "switch-on C:S", "C:lamp"),
    (LIT, Selection(load=True), "shut C:V", ""),
    # any link of the medium, where the ends differ
    (Path("fluid", IT, Selection(of="nodes of it")), VOLUMES, "shut C:V", ALL_VOLUMES),
    (Path("fluid", IT, Selection(of="nodes of it")), VOLUMES, "switch-on C:S", "C:vol"),
    (Path("fluid", IT, Selection(of="peer of it")), TUBES, "switch-on C:S", ""),
]


@pytest.mark.parametrize(("condition", "scope", "event", "items"), AFFECTED)
def test_whom_an_event_concerns(condition, scope, event, items):
    """Judged anew are those that an event is about or near, and those that have lost or gained a way by it."""
    engine = Engine(
        RuleSet((Rule("R", "", "", 1, "none", Always(), condition, scope), *OTHERS)), boxes(), start=START
    )
    change = engine.world.apply(happened(engine.world.configuration, action(event)))
    affected = engine.runners[0].instances.affected(change)
    assert sorted(str(it) for it in affected) == sorted(items.split())


STIRRED: list[tuple[Condition, str, str]] = [
    (OPEN, "shut A:F", "A:F B:F"),
    (OPEN, "shut C:V", ""),
    (OPEN, "inspect C", "C:F"),
    (Path("power", IT, BUS), "shut C:V", ""),
    (Path("power", IT, BUS), "switch-on C:S", ALL_TUBES),
    (Path("fluid", IT, TANK), "switch-on C:S", ""),
    (Path("fluid", IT, TANK), "shut C:V", ALL_TUBES),
    (Path("fluid", IT, Selection(of="peer of it")), "switch-on C:S", ""),
    (Path("fluid", IT, Selection(of="peer of it")), "shut C:V", ALL_TUBES),
    (Status(Selection(kinds=("valve",)), ("shut",)), "inspect C", ALL_TUBES),
]


@pytest.mark.parametrize(("condition", "event", "items"), STIRRED)
def test_whose_clock_an_event_concerns(condition, event, items):
    """Of the clocks of a rule without scope those are looked at that an event is near, or all where a link changed."""
    soon = Within(1, ActionMatch(("inspect",), TUBES))
    engine = Engine(RuleSet((Rule("R", "", "", 1, "none", soon, condition), *OTHERS)), boxes(), start=START)
    change = engine.world.apply(happened(engine.world.configuration, action(event)))
    stirred = engine.runners[0].stirred(change, ALL_TUBES.split())
    assert sorted(str(it) for it in stirred) == items.split()
