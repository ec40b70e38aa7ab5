"""The state of each sort of thing in a yard that has one of everything."""

import json

import pytest

from cfgtrack.analysis.state import Standing, plant_state, unit_state
from cfgtrack.answers.encode import json_of
from cfgtrack.model.action import Action
from cfgtrack.model.event import Entry, Event
from cfgtrack.model.quantity import parse_quantity
from cfgtrack.model.trouble import NoAnswer
from tests.happening import happened
from tests.show.world import AT, CLOCK, yard


def state(address, **more):
    """Return the state of a thing in the yard."""
    return unit_state(*yard(), address, **more)


def port(report, name):
    """Return one port of a report."""
    return next(p for p in report.ports if p.address.endswith(f":{name}"))


def test_a_unit_says_where_it_is_and_what_holds_it():
    """A bolted unit: its place outwards to the root, its facing, its bolts."""
    report = state("PUMP-1")
    assert (report.sort, report.place, report.facing) == ("unit", ("BAY", "FLOOR", "SITE"), "up")
    assert [(link.port, link.far, link.status) for link in report.hold.links] == [
        ("PUMP-1:B1", "BAY:H1", "torqued"),
        ("PUMP-1:B2", "BAY:H2", "torqued"),
    ]
    assert report.hold.held
    assert report.hold.bearers == ()


def test_a_port_says_its_mate_and_what_it_reaches():
    """A mated port: mate, made link, the expansion it reaches, cycles used of those it is rated for."""
    f1 = port(state("PUMP-1"), "F1")
    assert (f1.status, f1.mate, f1.made, f1.live, f1.open_end) == ("mated", "PANEL-1:P1", True, True, False)
    assert f1.reaches == ("ACC-1:LIQUID",)
    assert (f1.cycles, f1.rated) == (0, 50)


def test_capped_is_not_open():
    """A capped port with liquid behind it is live and no open end; the loose end of a hose is one."""
    capped = port(state("PUMP-1"), "F3")
    assert capped.live
    assert not capped.open_end
    assert state("HOSE-2").open_ends == ("HOSE-2:E2",)


def test_behind_a_shut_valve_liquid_is_cut_off_and_still_knows_its_loop():
    """The cooler behind V2 reaches no expansion; the loop it is defined in is still named."""
    [coil] = state("COOL-1").volumes
    assert coil.cut_off
    assert (coil.loop, coil.loops, coil.expansions) == ("A", (), ())


def test_opening_the_valve_gives_the_expansion_back():
    """After V2 is opened the same volume is in loop A again."""
    world = yard()
    opened = happened(world.configuration, Action("e", "open", ("PANEL-1:V2",), AT))
    world.configuration.apply(opened)
    [coil] = unit_state(*world, "COOL-1").volumes
    assert not coil.cut_off
    assert (coil.loops, coil.expansions) == (("A",), ("ACC-1:LIQUID",))


def test_power_is_followed_against_diodes():
    """The heater behind the board's diodes is fed by the supply that is on, and by it alone."""
    [heater] = state("PUMP-1").loads
    assert heater.sources == ("SUP-1:CELLS",)
    [dead] = state("PUMP-2").loads
    assert not dead.fed


def test_a_person_says_what_is_gripped_and_is_not_held_by_it():
    """What a person grips hangs on the person, not the person on it."""
    report = state("INA")
    assert [(link.port, link.far) for link in report.gripped] == [("INA:HAND", "PUMP-2:H")]
    assert report.hold.links == ()
    assert report.standing == (Standing("PUMP-2", "spare", None),)


def test_what_is_carried_names_who_carries_it():
    """In a grip alone: not held by a place, carried by the person."""
    hold = state("PUMP-2").hold
    assert not hold.held
    assert hold.bearers == ("INA",)
    assert hold.links[0].flexible


def test_a_unit_standing_on_a_place_that_holds_is_held_by_it():
    """The seat is named."""
    hold = state("ACC-1").hold
    assert (hold.seat, hold.held, hold.links) == ("FLOOR", True, ())


def test_a_place_says_what_stands_there_and_has_no_hold():
    """A place: what stands there, its fittings, the places around it."""
    report = state("BAY")
    assert (report.sort, report.place, report.hold) == ("place", ("FLOOR", "SITE"), None)
    assert [s.id for s in report.standing] == ["PUMP-1"]
    assert [p.address for p in report.ports] == ["BAY:H1", "BAY:H2"]


@pytest.mark.parametrize(
    ("address", "sort", "ports", "volumes"),
    [("PUMP-1:F1", "port", 1, 0), ("PUMP-1:VOL", "node", 0, 1), ("PANEL-1:V2", "port", 1, 0)],
)
def test_a_port_or_node_is_answered_alone(address, sort, ports, volumes):
    """Asked about a port, valve or node, the answer holds only that."""
    report = state(address)
    assert (report.sort, len(report.ports), len(report.volumes)) == (sort, ports, volumes)
    assert report.hold is None


def test_last_values_and_cycles_are_shown():
    """A measured value comes back in SI with the unit written; a mate uses one cycle of the port that is rated."""
    world = yard()
    torque = {"torque": parse_quantity("25 N*m")}
    for event in (
        Action("m", "measure", ("PUMP-1:B1",), AT, values=torque),
        Action("d", "demate", ("PUMP-1:F1",), AT),
        Action("j", "mate", ("PUMP-1:F1", "PANEL-1:P1"), AT),
    ):
        world.configuration.apply(happened(world.configuration, event))
    report = unit_state(*world, "PUMP-1")
    assert [(r.subject, r.quantity, r.value, r.unit) for r in report.readings] == [
        ("PUMP-1:B1", "torque", 25.0, "N*m")
    ]
    assert port(report, "F1").cycles == 1


def test_only_the_clocks_of_the_thing_are_shown():
    """A clock of the pump's heater shows with the pump and the heater, not with another unit or port."""
    assert state("PUMP-1", clocks=[CLOCK]).clocks == (CLOCK,)
    assert state("PUMP-1:HEATER", clocks=[CLOCK]).clocks == (CLOCK,)
    assert state("PUMP-1:F1", clocks=[CLOCK]).clocks == ()
    assert state("PUMP-2", clocks=[CLOCK]).clocks == ()


@pytest.mark.parametrize(
    ("address", "sentence", "near"),
    [
        ("PUMP-3", "there is no unit or place PUMP-3", "PUMP-1"),
        ("PUMP-1:F9", "PUMP-1 has no port or node F9", "F1"),
        ("NO:F1", "there is no unit or place NO", ""),
    ],
)
def test_an_unknown_thing_has_no_answer(address, sentence, near):
    """A mistyped address is answered with what is missing and near names."""
    with pytest.raises(NoAnswer) as trouble:
        state(address)
    [problem] = trouble.value.problems
    assert problem.code == "unknown"
    assert problem.sentence.startswith(sentence)
    assert near in problem.sentence


def test_every_report_is_json():
    """Every report of every thing goes through json and names its address."""
    world = yard()
    entry = Entry(Event("r", "remark", ("PUMP-1",), AT, remark="leaks"), 7, AT)
    things = [*world.plant.owners(), *(p for o in world.plant.owners() for p in world.plant.ports_of(o))]
    for thing in things:
        report = unit_state(*world, thing, clocks=[CLOCK], remarks=[entry])
        data = json.loads(json.dumps(json_of(report)))
        assert data["address"] == thing
        assert data["remarks"][0]["number"] == 7
    json.dumps(json_of(plant_state(*world, clocks=[CLOCK])))


def test_the_whole_plant_agrees_with_its_units():
    """The report of everything says of each unit what the unit's own report says."""
    world = yard()
    everything = plant_state(*world)
    assert [line.id for line in everything.units] == list(world.plant.units)
    for line in everything.units:
        report = unit_state(*world, line.id)
        assert line.place == (report.place[0] if report.place else "")
        assert report.hold is not None
        assert line.held == report.hold.held
        assert line.open_ends == len(report.open_ends)
        assert (line.volumes, line.cut_off) == (len(report.volumes), sum(v.cut_off for v in report.volumes))
        assert (line.loads, line.fed) == (len(report.loads), sum(load.fed for load in report.loads))
    assert everything.open_ends == ("HOSE-2:E2",)
    assert [v.address for v in everything.cut_off] == ["PUMP-2:VOL", "COOL-1:COIL", "HOSE-1:BORE"]
    assert [load.address for load in everything.dead_loads] == ["PUMP-2:HEATER"]


def test_not_held_is_what_neither_stands_nor_hangs_nor_is_carried():
    """Let go, the spare is held by nobody; a cable that hangs by its ends is not complained of."""
    world = yard()
    assert plant_state(*world).not_held == ()
    world.configuration.apply(happened(world.configuration, Action("e", "let-go", ("PUMP-2:H",), AT)))
    report = plant_state(*world)
    assert report.not_held == ("PUMP-2",)
    assert next(line for line in report.units if line.id == "CABLE-1").hangs
