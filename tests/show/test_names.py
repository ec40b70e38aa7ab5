"""The names of a drawing, attributes and ratings in the state of things: beside the ids, within the width."""

from __future__ import annotations

import pytest

from cfgtrack.analysis.state import plant_state, unit_state
from cfgtrack.files.definition import parse_definition
from cfgtrack.model.configuration import Configuration
from cfgtrack.model.plant import Plant
from cfgtrack.network.network import Network, compile_network
from cfgtrack.show.state import plant_text, state_text
from cfgtrack.show.tables import within
from tests.happening import happened
from tests.show.golden import assert_golden
from tests.show.world import MOMENT

DRAWN = """
[[part]]
id = "pump"
title = "Pump"
attributes = { "maker's number" = "LPG 5000/2", bore = "1/2 in" }
port = [
  { name = "F1", aliases = ["Vorlauf"], kind = "fluid-disconnect", rated_pressure = "16 bar" },
  { name = "J1", aliases = ["-X1"], kind = "electrical-connector", rated_current = "16 A", attributes = { n = 17 } },
]
node = [
  { name = "VOL", aliases = ["Gehäuse"], medium = "fluid", litres = "2 l", rated_pressure = "10 bar" },
  { name = "MOTOR", aliases = ["-M1"], medium = "power", load = true },
]
links = [["F1", "VOL"], ["J1", "MOTOR"]]
[[part]]
id = "panel"
port = [
  { name = "P1", kind = "fluid-disconnect", rated_pressure = "6 bar" },
  { name = "J1", kind = "electrical-connector", rated_current = "10 A" },
]
node = [{ name = "ACC", medium = "fluid", expansion = true }, { name = "BUS", medium = "power", source = true }]
links = [["P1", "ACC"], ["J1", "BUS"]]
[[unit]]
id = "PUMP-1"
part = "pump"
aliases = ["=A1+K1-P1", "Kühlpumpe 1", "P-101/A #2 in the long list of all that stands on the north side of the hall"]
attributes = { bore = "15 mm", overhauled = 2029-02-28, spare = false, paint = "RAL 5012, light blue" }
[[place]]
id = "BAY"
aliases = ["Bay #1 @ east"]
part = "panel"
holds = true
[[place]]
id = "CRANE"
mobile = true
parent = "BAY"
lifts = "250 kg"
[initial]
at = 2031-05-01T00:00:00Z
joined = [["PUMP-1:F1", "BAY:P1"], ["PUMP-1:J1", "BAY:J1"]]
place = { "PUMP-1" = "BAY" }
"""


def drawn() -> tuple[Plant, Configuration, dict[str, Network]]:
    """The plant, its configuration and its networks."""
    definition = parse_definition({"x.toml": DRAWN})
    now = Configuration(definition.plant())
    for event in definition.initial:
        now.apply(happened(now, event))
    return now.plant, now, {medium: compile_network(now.plant, medium) for medium in now.plant.media}


@pytest.mark.parametrize("thing", ["PUMP-1", "BAY", "CRANE", "PUMP-1:J1"])
def test_state_reads_as_it_was_read(thing):
    """The state of a thing with all that a drawing says of it, as a person has read it."""
    text = state_text(unit_state(*drawn(), thing), MOMENT)
    assert_golden(f"named-{thing.replace(':', '-')}.txt", text)


def test_everything_reads_as_it_was_read():
    """A line a unit, with what it is called besides."""
    assert_golden("named-everything.txt", plant_text(plant_state(*drawn()), MOMENT))


@pytest.mark.parametrize("width", [70, 80, 100])
def test_every_text_fits(width):
    """However much a thing is called, no line is longer than the width."""
    plant, now, networks = drawn()
    with within(width):
        texts = [state_text(unit_state(plant, now, networks, thing), MOMENT) for thing in plant.owners()]
        texts.append(plant_text(plant_state(plant, now, networks), MOMENT))
    assert all(len(line) <= width for text in texts for line in text.splitlines())


def test_the_state_is_had_by_an_alias():
    """What is asked for by an alias is answered by its id."""
    assert unit_state(*drawn(), "Kühlpumpe 1:-X1") == unit_state(*drawn(), "PUMP-1:J1")
