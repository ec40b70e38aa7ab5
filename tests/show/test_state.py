"""The state of things as text: golden, within the width, and with nothing that only colour says."""

from dataclasses import replace

import click
import pytest

from cfgtrack.analysis.state import Judged, plant_state, unit_state
from cfgtrack.files.definition import parse_definition
from cfgtrack.model.action import Action
from cfgtrack.model.configuration import Configuration
from cfgtrack.model.event import Entry, Event
from cfgtrack.model.quantity import parse_quantity
from cfgtrack.network.network import compile_network
from cfgtrack.show.record import quantity_text
from cfgtrack.show.state import plant_text, state_text
from cfgtrack.show.tables import within
from tests.happening import happened
from tests.show.golden import assert_golden
from tests.show.world import AT, CLOCK, FINDING, MOMENT, Yard, yard

_REMARK = Entry(Event("r1", "remark", ("PUMP-1",), AT, by="ina", remark="F1 weeps when cold"), 3, AT)


@pytest.mark.parametrize(
    "thing", ["PUMP-1", "PUMP-2", "PANEL-1", "INA", "BAY", "PUMP-1:F1", "COOL-1", "CABLE-1"]
)
def test_state_reads_as_it_was_read(thing):
    """Each sort of thing, as a person has read it."""
    text = state_text(unit_state(*yard(), thing, clocks=[CLOCK], remarks=[_REMARK]), MOMENT)
    assert_golden(f"state-{thing.replace(':', '-')}.txt", text)


def test_everything_reads_as_it_was_read():
    """The whole yard, as a person has read it."""
    assert_golden("everything.txt", plant_text(plant_state(*yard(), clocks=[CLOCK]), MOMENT))


def test_every_answer_fits_and_names_its_moment():
    """No line of any state is longer than 100 columns, and each answer carries its moment."""
    world = yard()
    for thing in world.plant.owners():
        text = state_text(unit_state(*world, thing), MOMENT)
        assert all(len(line) <= 100 for line in text.splitlines()), thing
        assert str(MOMENT) in text


def test_colour_says_nothing_that_the_text_does_not():
    """With the colours taken away the coloured answer is the plain one."""
    report = unit_state(*yard(), "PUMP-2")
    assert click.unstyle(state_text(report, MOMENT, colour=True)) == state_text(report, MOMENT)
    everything = plant_state(*yard())
    assert click.unstyle(plant_text(everything, MOMENT, colour=True)) == plant_text(everything, MOMENT)


def test_a_calm_plant_says_so():
    """When nothing needs attention the answer says that, and what was looked at."""
    world = yard()
    for action, subject in (("open", "PANEL-1:V2"), ("cap", "HOSE-2:E2"), ("let-go", "PUMP-2:H")):
        event = Action("e", action, (subject,), AT)
        world.configuration.apply(happened(world.configuration, event))
    text = plant_text(plant_state(*world), MOMENT)
    assert "open end " not in text
    assert "NOT HELD" in text
    assert "nothing cut off" not in text


def depot(units: int) -> Yard:
    """Return a plant of so many units, two valves for each heater, on a rack in their initial statuses."""
    text = """
[[part]]
id = "valve-50"
title = "Valve DN50"
port = [{ name = "V", kind = "valve" }, { name = "A", kind = "fluid-disconnect" }]
[[part]]
id = "heater"
port = [{ name = "J", kind = "electrical-connector" }]
node = [{ name = "R", medium = "power", load = true }, { name = "OIL", medium = "fluid", litres = "1 l" }]
links = [["J", "R"]]
[[place]]
id = "RACK"
holds = true
"""
    for i in range(units):
        part = "valve-50" if i % 3 else "heater"
        text += f'[[unit]]\nid = "{part[0].upper()}-{i}"\npart = "{part}"\nhome = "RACK"\n'
    plant = parse_definition({"depot.toml": text}).plant()
    configuration = Configuration(plant)
    for unit in plant.units:
        configuration.apply(happened(configuration, Action("e", "place", (unit,), AT, place="RACK")))
    return Yard(plant, configuration, {medium: compile_network(plant, medium) for medium in plant.media})


def test_a_large_plant_is_counted_by_part_and_its_exceptions_named():
    """150 units take a screen: how many of each part have which status, the few that differ by name;
    a line for each only where that is asked for.
    """
    world = depot(150)
    for n in (1, 2):
        event = Action(f"o{n}", "open", (f"V-{n}:V",), AT)
        world.configuration.apply(happened(world.configuration, event))
    report = plant_state(*world)
    text = plant_text(report, MOMENT)
    assert len(text.splitlines()) <= 24
    valves = next(one for one in report.parts if one.id == "valve-50")
    assert (valves.count, valves.away) == (100, ())
    assert [(s.status, s.count, s.others) for s in valves.statuses] == [
        ("shut", 98, ()),
        ("open", 2, ("V-1:V", "V-2:V")),
    ]
    assert valves.free == tuple(unit for unit in world.plant.units if unit.startswith("V-"))
    assert "98 shut, 2 open (V-1:V, V-2:V)" in " ".join(text.split())
    assert "`cfgtrack state --units`" in text
    whole = plant_text(report, MOMENT, units=True)
    assert sum(line.startswith(("V-", "H-")) for line in whole.splitlines()) == 150


def test_what_is_off_by_intent_never_drowns_what_is_wrong():
    """Fifty heaters without power stand after the liquid that is cut off, in a line of their own, in small letters."""
    text = plant_text(plant_state(*depot(150)), MOMENT)
    attention, _, rest = text.partition("Open or off, as it stands")
    assert "CUT OFF" in attention
    assert "power" not in attention.lower()
    assert "no power" in rest
    assert "38 more: no path to a source" in " ".join(rest.split())


def test_findings_come_first_and_many_are_counted():
    """What a rule says is wrong is the first line; more than five are counted, unless all are wanted."""
    findings = [replace(FINDING, headline=f"broken {n}") for n in range(7)]
    report = plant_state(*yard(), judged=Judged(tuple(findings), is_judged=True))
    text = plant_text(report, MOMENT)
    lines = text.splitlines()
    assert lines[2] == "Needs attention"
    assert "broken 0" in lines[3]
    assert "and 2 more findings" in text
    assert "broken 6" not in text
    assert "broken 6" in plant_text(report, MOMENT, units=True)


def test_past_findings_discrepancies_and_clocks_that_ran_out_need_attention():
    """What nothing puts right any more, what was found otherwise and isn't explained, and a clock that ran out."""
    found = Event("f7", "as-found", ("PUMP-1:B1",), AT, by="ina", status="engaged", expected="torqued")
    judged = Judged((), (replace(FINDING, mode="at"),), (Entry(found, 7, AT),), is_judged=True)
    late = replace(CLOCK, deadline=AT - 1)
    text = plant_text(plant_state(*yard(), judged=judged, clocks=[late]), MOMENT)
    attention = " ".join(text.partition("Open or off")[0].split())
    assert "past and not acknowledged, see review" in attention
    assert "DISCREPANCY PUMP-1:B1 engaged; the record said torqued (event f7, not explained)" in attention
    assert "RUN OUT Heater back on: PUMP-1:HEATER [heater]" in attention
    told = replace(FINDING, rule=CLOCK.rule, subjects=(CLOCK.subject,))
    both = plant_text(plant_state(*yard(), judged=Judged((told,)), clocks=[late]), MOMENT)
    assert "  RUN OUT  " not in both


def test_a_live_open_end_needs_attention_and_a_dead_one_is_quiet():
    """What is live at a demated end that isn't capped may hurt somebody; once it is switched off it is no matter."""
    world = yard()
    attention = plant_text(plant_state(*world), MOMENT).partition("Open or off")[0]
    assert "OPEN END    HOSE-2:E2: demated, not capped, live" in attention
    assert "OPEN END    HOSE-2:E2" in state_text(unit_state(*world, "HOSE-2"), MOMENT)

    def do(action: str, *subjects: str) -> str:
        world.configuration.apply(happened(world.configuration, Action(action, action, subjects, AT)))
        return plant_text(plant_state(*world), MOMENT).partition("Open or off")[0]

    assert "CABLE-1:E2" in do("demate", "CABLE-1:E2")
    assert "CABLE-1" not in do("de-energise", "SUP-1:Q")


def test_on_a_narrow_screen_ports_are_rows_and_what_matters_stands_before_them():
    """On 80 columns what is fed, filled and measured stands before the ports, and each port is one row."""
    world = yard()
    event = Event("m", "measure", ("PUMP-1:B1",), AT, values={"torque": parse_quantity("25 N*m")})
    world.configuration.apply(event)
    with within(80):
        text = state_text(unit_state(*world, "PUMP-1", clocks=[CLOCK]), MOMENT)
    order = ["Running clocks", "Loads", "Liquid", "Last measured", "Interfaces, valves, switches, covers"]
    assert [line for line in text.splitlines() if line in order] == order
    ports = text.partition(order[-1])[2].splitlines()
    assert sum(line.startswith(("F1 ", "F2 ", "F3 ", "J1 ", "B1 ", "B2 ", "H ")) for line in ports) == 7
    assert max(map(len, text.splitlines())) <= 80


def test_without_rules_it_is_said_that_nothing_was_judged():
    """Where no rules are loaded no answer may be read as a clean one, whether anything else is wrong or not."""
    world = depot(1)
    calm = plant_text(plant_state(*world, judged=Judged(has_rules=False)), MOMENT)
    judged = plant_text(plant_state(*yard(), judged=Judged(has_rules=False)), MOMENT)
    assert "o rules are loaded: nothing was judged" in " ".join(calm.split())
    assert "Nothing needs attention" not in calm
    assert "No rules are loaded: nothing was judged" in judged


def test_a_value_comes_back_in_the_unit_it_was_written_in():
    """18 ft lbf come back as 18 ft lbf; a quantity that nobody knows comes back in SI, and says so."""
    torque = parse_quantity("18 ft lbf", dimension="torque")
    assert quantity_text("torque", torque.value, torque.unit) == "18 ft lbf"
    assert quantity_text("glamour", 3.0, "m") == "3 (SI)"


def test_measured_values_are_listed():
    """The last value of a port stands in its unit's state."""
    world = yard()
    event = Event("m", "measure", ("PUMP-1:B1",), AT, values={"torque": parse_quantity("25 N*m")})
    world.configuration.apply(event)
    assert "25 N*m" in state_text(unit_state(*world, "PUMP-1"), MOMENT)


def test_a_place_with_very_much_in_it_tells_the_first_of_it():
    """Of 150 things on a rack a hundred have a line, and how many more there are is told."""
    report = unit_state(*depot(150), "RACK")
    text = state_text(report, MOMENT)
    assert "and 50 more: --units tells all" in text
    assert sum(line.startswith(("V-", "H-")) for line in text.splitlines()) == 100
    whole = state_text(report, MOMENT, units=True)
    assert sum(line.startswith(("V-", "H-")) for line in whole.splitlines()) == 150
