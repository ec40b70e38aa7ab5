"""Selections: which sorts of item each can name, and how it is said in words."""

from __future__ import annotations

import pytest

from cfgtrack.model.configuration import Configuration
from cfgtrack.model.part import Node, Part, Port
from cfgtrack.model.plant import Place, Plant, Unit
from cfgtrack.rules.selection import WHATS, Selection
from tests.rules.worlds import KINDS, MEDIA

INSIDE, OWNERS = ("port", "node"), ("unit", "place")
SORTS: list[tuple[Selection, tuple[str, ...]]] = [
    (Selection(), WHATS),
    (Selection(ids=("U:F1",)), INSIDE),
    (Selection(ids=("U:F1", "U:*")), INSIDE),
    (Selection(ids=("U",)), OWNERS),
    (Selection(ids=("U", "RACK")), OWNERS),
    (Selection(ids=("U", "U:F1")), (*INSIDE, *OWNERS)),
    (Selection(parts=("p",)), ("unit",)),
    (Selection(parts=("p",), ids=("U:*",)), INSIDE),
    (Selection(parts=("p",), what=("port",)), ("port",)),
    (Selection(kinds=("tube",), ids=("U:*",)), ("port",)),
    (Selection(media=("fluid",), ids=("U:*",)), INSIDE),
    (Selection(kinds=("tube",), media=("fluid",)), ("port",)),
    (Selection(mobile=True), ("place",)),
    (Selection(mobile=False, parts=("p",)), ("place",)),
    (Selection(source=True), ("node",)),
    (Selection(expansion=False), ("node",)),
    (Selection(load=False), ("node",)),
    (Selection(liquid=True, media=("fluid",)), ("node",)),
    (Selection(ids=("U:F1:*",)), ("contact",)),
    (Selection(of="it", kinds=("tube",)), WHATS),
    (Selection(of="ports of it", ids=("U:*",)), WHATS),
    (Selection(of="it", what=("unit",)), ("unit",)),
    (Selection(tags=("t",)), WHATS),
    (Selection(loops=("A",)), WHATS),
    (Selection(places=("RACK",)), WHATS),
    (Selection(at=("RACK",)), WHATS),
]


@pytest.mark.parametrize(("selection", "sorts"), SORTS)
def test_what_it_can_name(selection, sorts):
    """The fields that are used tell which sorts of item a selection can name, unless it says so outright."""
    assert selection.sorts() == sorts


TAGGED: list[tuple[Selection, tuple[str, ...]]] = [
    (Selection(tags=("spare",)), ("U", "V:F1")),
    (Selection(tags=("spare",), ids=("U*",)), ("U",)),
    (Selection(tags=("spare",), ids=("?:F1",)), ("U:F1", "V:F1")),
    (Selection(tags=("spare",), ids=("?:F1", "U")), ("U", "V:F1")),
    (Selection(tags=("spare",), kinds=("tube",)), ("U:F1", "V:F1")),
    (Selection(tags=("spare",), liquid=True), ("U:vol",)),
    (Selection(tags=("rack", "spare")), ("U", "V:F1", "RACK")),
    (Selection(loops=("A",)), ("U", "U:F1", "U:vol", "V:vol")),
    (Selection(loops=("A", "B")), ("U", "U:F1", "U:vol", "V", "V:F1", "V:vol")),
    (Selection(loops=("B",)), ("V", "V:F1")),
    (Selection(places=("SITE",)), ("SITE", "RACK")),
    (Selection(places=("RACK",)), ("RACK",)),
    (Selection(parts=("?",)), ("U", "V", "W")),
    (Selection(media=("fluid",), parts=("v",)), ("V:F1", "V:vol")),
    (Selection(media=("power",), may_be_empty=True), ()),
]


@pytest.mark.parametrize(("selection", "names"), TAGGED)
def test_what_tags_loops_and_places_name(selection, names):
    """A unit's tag is its ports' where ports alone are asked for; a node's own loop goes before its unit's."""
    u = Part("u", ports={"F1": Port("F1", "tube")}, nodes={"vol": Node("vol", "fluid", litres=1.0)})
    v = Part(
        "v",
        ports={"F1": Port("F1", "tube", tags=frozenset({"spare"}))},
        nodes={"vol": Node("vol", "fluid", loop="A", litres=1.0)},
    )
    units = {
        "U": Unit("U", "u", loop="A", tags=frozenset({"spare"})),
        "V": Unit("V", "v", loop="B"),
        "W": Unit("W", "u"),
    }
    places = {"SITE": Place("SITE"), "RACK": Place("RACK", "SITE", tags=frozenset({"rack"}))}
    plant = Plant(MEDIA, KINDS, {"u": u, "v": v}, units, places)
    its = Selection(of="ports of it", tags=("spare",))
    assert its.items(Configuration(plant), "U:vol") == ("U:F1",)
    assert its.items(Configuration(plant), "W:vol") == ()
    assert selection.candidates(plant) == names
    assert tuple(a for a in everything(plant) if selection.matches(plant, a)) == names


def everything(plant: Plant) -> list[str]:
    """Return every address, in the order of the definition."""
    return [a for o in plant.owners() for a in (o, *plant.ports_of(o), *plant.nodes_of(o))]


SAID: dict[str, Selection] = {
    "anything": Selection(),
    "peer of it": Selection(of="peer of it"),
    "U or U:F1": Selection(ids=("U", "U:F1"), may_be_empty=True),
    "any item named U:* among ports of it": Selection(ids=("U:*",), of="ports of it"),
    "any tube or bolt": Selection(kinds=("tube", "bolt")),
    "any tube or port": Selection(kinds=("tube",), what=("port",)),
    "any unit of part p or q": Selection(what=("unit",), parts=("p", "q")),
    "any item of medium fluid": Selection(media=("fluid",)),
    "any item in loop A or B": Selection(loops=("A", "B")),
    "any item tagged spare or lamp": Selection(tags=("spare", "lamp")),
    "any item of place RACK": Selection(places=("RACK",)),
    "any item standing at RACK or a stowage place or home": Selection(at=("RACK", "#stowage", "home")),
    "any source": Selection(source=True),
    "any expansion volume": Selection(expansion=True),
    "any load": Selection(load=True),
    "any liquid-full volume": Selection(liquid=True),
    "any place that moves": Selection(mobile=True),
    "any item that is no place that moves": Selection(mobile=False),
    "any source and item that is no load": Selection(source=True, load=False),
    "any item that is no expansion volume and liquid-full volume of medium fluid": Selection(
        expansion=False, liquid=True, media=("fluid",)
    ),
    "any unit named U* of part p of medium fluid in loop A tagged t of place R standing at S": Selection(
        what=("unit",),
        ids=("U*",),
        parts=("p",),
        media=("fluid",),
        loops=("A",),
        tags=("t",),
        places=("R",),
        at=("S",),
    ),
}


@pytest.mark.parametrize("words", SAID)
def test_words(words):
    """A selection is said in plain words, every field of it."""
    assert SAID[words].words() == words
