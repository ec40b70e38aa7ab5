"""What isolates, what is cut off, what is joined as one: in a small plant that has one of each that matters.

A main feeds a header over a valve, the header a pump over a valve and over a bypass; a check valve leads on to a drum,
and from there nothing comes back. A vessel takes what expands. A heater has two supplies, and a cable of three wires.
"""

import pytest

from cfgtrack.analysis.isolation import cut_off, handle_of, isolation, segments_of
from cfgtrack.files.definition import parse_definition
from cfgtrack.model.action import Action
from cfgtrack.model.configuration import Configuration
from cfgtrack.network.network import compile_network
from tests.happening import happened

PLANT = """
title = "Small plant"
[[part]]
id = "main"
port = [{ name = "A", kind = "fluid-disconnect" }, { name = "V", kind = "valve" }]
node = [{ name = "SRC", medium = "fluid", source = true, tags = ["mains"] }]
links = [["SRC", "A", "V"]]
[[part]]
id = "header"
port = [
  { name = "A", kind = "fluid-disconnect" }, { name = "B", kind = "valved-disconnect" },
  { name = "C", kind = "fluid-disconnect" }, { name = "E", kind = "fluid-disconnect" },
  { name = "V1", kind = "valve" }, { name = "V2", kind = "valve" }, { name = "VE", kind = "valve" },
]
node = [{ name = "WATER", medium = "fluid", litres = "5 l" }]
links = [["A", "WATER"], ["WATER", "B", "V1"], ["WATER", "C", "V2"], ["WATER", "E", "VE"]]
[[part]]
id = "pump"
trapped = "5 min"
port = [
  { name = "IN", kind = "valved-disconnect" }, { name = "BY", kind = "fluid-disconnect" },
  { name = "OUT", kind = "fluid-disconnect" },
]
node = [{ name = "VOL", medium = "fluid", litres = "2 l" }]
link = [
  { a = "IN", b = "VOL" }, { a = "BY", b = "VOL" }, { a = "VOL", b = "OUT", one_way = true },
]
[[part]]
id = "drum"
port = [{ name = "A", kind = "fluid-disconnect" }, { name = "B", kind = "fluid-disconnect" }]
node = [{ name = "VOL", medium = "fluid", litres = "9 l" }]
links = [["A", "VOL"], ["B", "VOL"]]
[[part]]
id = "vessel"
port = [{ name = "A", kind = "fluid-disconnect" }]
node = [{ name = "OIL", medium = "fluid", expansion = true }]
links = [["A", "OIL"]]
[[part]]
id = "board"
port = [
  { name = "J", kind = "electrical-connector", contacts = ["1..3"] }, { name = "J2", kind = "electrical-connector" },
  { name = "K1", kind = "switch" }, { name = "K2", kind = "switch" }, { name = "K3", kind = "switch" },
]
node = [
  { name = "BUS1", medium = "power", source = true }, { name = "BUS2", medium = "power", source = true },
]
links = [["BUS1", "J:1", "K1"], ["BUS1", "J:2", "K2"], ["BUS2", "J:3", "K3"], ["BUS2", "J2"]]
[[part]]
id = "heater"
port = [
  { name = "J", kind = "electrical-connector", contacts = ["1..3"] }, { name = "J2", kind = "electrical-connector" },
]
node = [{ name = "COIL", medium = "power", load = true }, { name = "FAN", medium = "power", load = true }]
links = [["J:1", "COIL"], ["J:2", "COIL"], ["J:3", "COIL"], ["J2", "FAN"]]

[[unit]]
id = "MAIN"
part = "main"
[[unit]]
id = "HEADER"
part = "header"
[[unit]]
id = "PUMP"
part = "pump"
[[unit]]
id = "DRUM"
part = "drum"
[[unit]]
id = "VESSEL"
part = "vessel"
[[unit]]
id = "SECOND"
part = "vessel"
[[unit]]
id = "BOARD"
part = "board"
[[unit]]
id = "HEATER"
part = "heater"
[[place]]
id = "ROOM"
[[place]]
id = "SHELF"
parent = "ROOM"
holds = true

[initial]
at = 2031-05-01T08:00:00Z
joined = [
  ["MAIN:A", "HEADER:A"], ["HEADER:C", "PUMP:BY"], ["PUMP:OUT", "DRUM:A"], ["HEADER:E", "VESSEL:A"],
  ["DRUM:B", "SECOND:A"], ["BOARD:J", "HEATER:J"], ["BOARD:J2", "HEATER:J2"], ["HEADER:B", "PUMP:IN"],
]
place = { PUMP = "SHELF" }
[initial.status]
"MAIN:V" = "open"
"HEADER:V1" = "open"
"HEADER:V2" = "open"
"HEADER:VE" = "open"
"BOARD:K1" = "on"
"BOARD:K2" = "on"
"BOARD:K3" = "on"
"""


class World:
    """The small plant, in which things can be done."""

    def __init__(self, *phrases):
        definition = parse_definition({"plant.toml": PLANT})
        self.now = Configuration(definition.plant())
        for event in definition.initial:
            self.now.apply(happened(self.now, event))
        self.networks = {m: compile_network(self.now.plant, m) for m in ("fluid", "power", "hold")}
        for phrase in phrases:
            action, *subjects = phrase.split()
            by = "ANN" if action == "lock" else None
            self.now.apply(happened(self.now, Action(phrase, action, tuple(subjects), 1, by=by)))

    def isolation(self, *things, medium="fluid", ends=(), **more):
        """Return what isolates things."""
        return isolation(self.networks[medium], self.now, things, ends, **more)

    def lost(self, *things, ends=(), medium="fluid"):
        """Return what is cut off without things: what, of which sort of end, what is left of that."""
        for part in cut_off(self.networks, self.now, things, ends):
            if part.medium == medium:
                return {(one.thing, one.sort, one.left) for one in part.lost}
        return set()


def sets_of(found):
    """Return the sets of devices, by name."""
    return {frozenset(h.name for h in w.devices) for w in found.ways} | {frozenset(o) for o in found.others}


def test_every_smallest_set_is_told():
    """The pump has two ways in, from two ends: any device of the one way with any of the other isolates it, or of
    both ends.

    The vessel is an end as well as the main: pressure comes from there.
    """
    found = World().isolation("PUMP")
    assert (found.fewest, found.proved, found.complete) == (2, True, True)
    over_v1, over_v2 = {"HEADER:V1", "HEADER:B - PUMP:IN"}, {"HEADER:V2", "HEADER:C - PUMP:BY"}
    main, vessel = {"MAIN:V", "HEADER:A - MAIN:A"}, {"HEADER:VE", "HEADER:E - VESSEL:A"}
    pairs = ((over_v1, over_v2), (main, vessel))
    assert sets_of(found) == {frozenset({a, b}) for one, other in pairs for a in one for b in other}
    assert set(found.ends) == {"MAIN:SRC", "VESSEL:OIL", "SECOND:OIL"}
    assert {h.action for h in found.ways[0].devices} == {"shut"}


def test_what_shuts_goes_before_what_parts():
    """A coupling with a valve of its own is shut and not parted, and sets that part nothing come first."""
    world = World()
    valved, plain = handle_of(world.now, "HEADER:B"), handle_of(world.now, "MAIN:A")
    assert valved is not None
    assert plain is not None
    assert (valved.action, valved.parts) == ("shut", False)
    assert (plain.action, plain.parts) == ("demate", True)
    assert [way.parts for way in world.isolation("PUMP").ways] == [False, False, False, True, True]
    assert handle_of(World("shut MAIN:V").now, "MAIN:V") is None


def test_what_is_shut_counts_as_given_and_has_to_stay():
    """With one way shut already one device is enough; what is shut is told, with the lock that hangs on it."""
    found = World("shut HEADER:V2", "lock HEADER:V2").isolation("PUMP")
    assert (found.fewest, sets_of(found)) == (
        1,
        {frozenset({"HEADER:V1"}), frozenset({"HEADER:B - PUMP:IN"})},
    )
    for way in found.ways:
        assert [(h.thing, h.action, [d.holder for d in h.locks]) for h in way.stay] == [
            ("HEADER:V2", "shut", ["ANN"])
        ]


def test_isolated_already():
    """What no end comes to needs no device; what keeps it so is told."""
    found = World("shut HEADER:V1", "shut HEADER:V2").isolation("PUMP")
    assert found.fewest == 0
    assert {h.thing for h in found.ways[0].stay} == {"HEADER:V1", "HEADER:V2"}


def test_a_check_valve_is_respected_and_told():
    """The second vessel behind the pump's check valve doesn't feed the pump, and every set rests on that valve."""
    world = World()
    assert {way.one_way for way in world.isolation("PUMP").ways} == {("PUMP:VOL -> PUMP:OUT",)}
    found = world.isolation("PUMP", ends=["SECOND"])
    assert (found.fewest, found.ways[0].one_way) == (0, ("PUMP:VOL -> PUMP:OUT",))
    back = world.isolation("DRUM", ends=["MAIN"])
    assert (back.fewest, back.ways[0].one_way) == (1, ())


def test_liquid_that_is_shut_in_is_told():
    """Where an isolation takes a volume's way to expand it says so, and how long that may last; else what it stores."""
    [way, *_] = World().isolation("HEADER", ends=["MAIN", "VESSEL"]).ways
    assert {(v.thing, v.litres, v.shut_in) for v in way.volumes} >= {("HEADER:WATER", 5.0, False)}
    apart = World("demate PUMP:OUT DRUM:A")
    found = apart.isolation("PUMP").ways[0].volumes
    assert [(v.thing, v.litres, v.shut_in, v.may_last) for v in found] == [("PUMP:VOL", 2.0, True, 300.0)]


def test_what_else_is_cut_off_is_told():
    """Isolating the header at the main takes the feed of the pump and the drum, too."""
    found = World("shut HEADER:VE").isolation("HEADER", ends=["MAIN"])
    assert sets_of(found) == {frozenset({"MAIN:V"}), frozenset({"HEADER:A - MAIN:A"})}
    assert {"PUMP:VOL", "DRUM:VOL"} <= set(found.ways[0].also)


def test_nothing_isolates_what_is_joined_without_a_device():
    """Where a way has no valve, switch or joint it is told, item by item; and a source in a thing is its own."""
    world = World()
    found = world.isolation("BOARD:J2", medium="power", ends=["BOARD:BUS2"])
    assert (found.fewest, found.joined) == (None, ("BOARD:BUS2", "BOARD:J2"))
    own = world.isolation("MAIN")
    assert own.own == ("MAIN:SRC",)
    assert "MAIN:SRC" not in own.ends


def test_one_plug_with_several_wires_is_one_device():
    """Three wires with a switch each, and one plug for all: the plug is the smallest set; without parting all three."""
    found = World().isolation("HEATER:COIL", medium="power")
    assert (found.fewest, sets_of(found)) == (1, {frozenset({"BOARD:J - HEATER:J"})})
    assert [{h.thing for h in way.devices} for way in found.shutting] == [
        {"BOARD:K1", "BOARD:K2", "BOARD:K3"}
    ]
    assert all(h.takes_lock for way in (*found.ways, *found.shutting) for h in way.devices)


def test_without_a_valve():
    """Shut, the vessel's valve takes every expansion of the header; the pump keeps the one behind its check valve."""
    lost = World().lost("HEADER:VE")
    assert ("HEADER:WATER", "expansion", ("SECOND:OIL",)) in lost
    assert {thing for thing, sort, _ in lost if sort == "source"} == {"VESSEL:OIL"}
    apart = World("demate PUMP:OUT DRUM:A").lost("HEADER:VE")
    assert {(t, left) for t, sort, left in apart if sort == "expansion"} == {
        ("HEADER:WATER", ()),
        ("PUMP:VOL", ()),
    }


def test_without_one_of_two():
    """One of two ways less cuts nothing off; both do. What is shut already ends nothing more."""
    world = World("demate PUMP:OUT DRUM:A")
    assert not world.lost("HEADER:V1")
    assert world.lost("HEADER:V1", "HEADER:V2") == {
        ("PUMP:VOL", "source", ()),
        ("PUMP:VOL", "expansion", ()),
    }
    assert World("shut HEADER:V1").lost("HEADER:V1") == set()


def test_without_a_unit():
    """Taken out, a unit loses all its joints, and its seat: what hung on it, and itself, is held by nothing."""
    world = World()
    assert ("PUMP", "fixed place", ()) in world.lost("PUMP", medium="hold")
    assert ("HEATER:COIL", "source", ()) in world.lost("BOARD", medium="power")
    lost = world.lost("MAIN", ends=["MAIN:SRC"])
    assert {thing for thing, _, _ in lost} == {
        "HEADER:WATER",
        "PUMP:VOL",
        "DRUM:VOL",
        "SECOND:OIL",
        "VESSEL:OIL",
    }


def test_one_supply_of_two_is_told():
    """The coil hangs on two buses, and joins them: without the third wire each load has one of them left."""
    assert World().lost("BOARD:K3", medium="power") == {
        ("HEATER:COIL", "source", ("BOARD:BUS1",)),
        ("HEATER:FAN", "source", ("BOARD:BUS2",)),
    }


def test_segments():
    """With two valves shut the plant is in pieces, the largest first, each with what bounds it and is behind that."""
    world = World("shut MAIN:V", "shut HEADER:VE", "demate HEADER:C PUMP:BY", "lock MAIN:V")
    found = segments_of(world.networks["fluid"], world.now)
    assert [one.nodes for one in found.segments] == [
        ("HEADER:WATER", "PUMP:VOL"),
        ("DRUM:VOL", "SECOND:OIL"),
        ("VESSEL:OIL",),
        ("MAIN:SRC",),
    ]
    first, drum, *_ = found.segments
    assert (first.litres, first.sources, drum.expansions) == (7.0, (), ("SECOND:OIL",))
    assert [(b.thing, b.status, b.to, [d.holder for d in b.locks]) for b in first.boundary] == [
        ("MAIN:V", "shut", 4, ["ANN"]),
        ("HEADER:VE", "shut", 3, []),
        ("PUMP:VOL -> PUMP:OUT", "one way, out", 2, []),
    ]
    assert found.alone == 0


@pytest.mark.parametrize("thing", ["PUMP", "PUMP:VOL", "SHELF"])
def test_a_thing_a_node_and_a_place_are_isolated_alike(thing):
    """A unit, its volume, and the place it stands in are isolated by the same devices."""
    assert sets_of(World().isolation(thing)) == sets_of(World().isolation("PUMP"))


def test_hold():
    """A unit that stands on a shelf is held by that alone: no device frees it, and that is told."""
    found = World().isolation("PUMP", medium="hold")
    assert found.fewest is None
    assert found.joined[-1] == "PUMP"
