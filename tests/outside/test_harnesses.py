"""Who is fed over a wiring harness, as networkx finds it on the drawn wires: pin to pin, with grounds and shields.

The harness is drawn as lists of wires and of mated plugs. networkx gets these lists, the tool a definition written from
them: nothing else is shared. All boxes share one ground, so whoever takes a shell for one point finds everybody fed.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from random import Random

import networkx as nx
import pytest

from cfgtrack.analysis.state import plant_state, unit_state
from cfgtrack.files.definition import parse_definition
from cfgtrack.files.rules import parse_rules
from cfgtrack.model.action import Action
from cfgtrack.model.configuration import Configuration
from cfgtrack.network.network import compile_network
from cfgtrack.rules.engine import Engine
from tests.happening import happened

POWER, GROUND, SHIELD = ("1", "2", "3"), "G", "S"
RULES = """
[[rule]]
id = "fed"
title = "Every lamp is fed"
hazard = "it is dark"
severity = 2
source = "common practice"
mode = "always"
condition = { path = "power", from = { load = true }, to = { source = true } }
[[rule]]
id = "dead"
title = "No lamp is fed"
hazard = "shock"
severity = 2
source = "common practice"
mode = "always"
condition = { no_path = "power", from = { load = true }, to = { source = true } }
"""


@dataclass
class Drawn:
    """Boxes and cables with their shells; wires inside them by the names of their ends; shells that are mated."""

    shells: dict[str, list[str]] = field(default_factory=dict)
    roles: dict[str, str] = field(default_factory=dict)
    wires: dict[str, list[tuple[str, str]]] = field(default_factory=dict)
    mated: list[tuple[str, str]] = field(default_factory=list)


def draw(r: Random) -> Drawn:
    """Draw supplies and lamps, and cables between them: some wired straight, some crossed, some with a wire missing."""
    drawn = Drawn()
    for role, count in (("source", r.randint(1, 3)), ("load", r.randint(2, 4))):
        for number in range(count):
            unit = f"{role.upper()}-{number}"
            shells = [f"J{n}" for n in range(r.randint(1, 2))]
            drawn.shells[unit], drawn.roles[unit] = shells, role
            wires = [(f"{s}:{pin}", "bus") for s in shells for pin in r.sample(POWER, r.randint(1, 2))]
            drawn.wires[unit] = [*wires, *((f"{s}:{GROUND}", "frame") for s in shells)]
    for number in range(r.randint(2, 5)):
        far = r.choice((POWER, POWER, r.sample(POWER, 3)))
        wires = [(f"A:{a}", f"B:{b}") for a, b in zip(POWER, far, strict=True) if r.random() < 0.8]
        ends = [(f"A:{pin}", f"B:{pin}") for pin in (GROUND, SHIELD)]
        drawn.shells[f"CABLE-{number}"], drawn.wires[f"CABLE-{number}"] = ["A", "B"], [*wires, *ends]
    cables = [f"{unit}:{s}" for unit in drawn.shells if unit not in drawn.roles for s in "AB"]
    boxes = [f"{unit}:{s}" for unit in drawn.roles for s in drawn.shells[unit]]
    r.shuffle(cables)
    r.shuffle(boxes)
    drawn.mated = list(zip(cables, boxes, strict=False))
    left = cables[len(drawn.mated) :]
    drawn.mated += [pair for pair in zip(left[::2], left[1::2], strict=False) if pair[0][:-2] != pair[1][:-2]]
    return drawn


def definition(drawn: Drawn) -> str:
    """Return the harness as a definition file: each box and cable a part of its own."""
    media = [*((pin, "power") for pin in POWER), (GROUND, "ground"), (SHIELD, "shield")]
    contacts = ", ".join(f'{{ name = "{pin}", medium = "{medium}" }}' for pin, medium in media)
    out = ['[[medium]]\nid = "ground"\n[[medium]]\nid = "shield"\n']
    for unit, shells in drawn.shells.items():
        ports = ", ".join(
            f'{{ name = "{s}", kind = "electrical-connector", contact = [{contacts}] }}' for s in shells
        )
        links = ", ".join(f'["{a}", "{b}"]' for a, b in drawn.wires[unit])
        out.append(f'[[part]]\nid = "p-{unit}"\nflexible = true\nport = [{ports}]\nlinks = [{links}]\n')
        if role := drawn.roles.get(unit):
            bus = f'{{ name = "bus", medium = "power", {role} = true }}'
            out.append(f'node = [{bus}, {{ name = "frame", medium = "ground" }}]\n')
        out.append(f'[[unit]]\nid = "{unit}"\npart = "p-{unit}"\n')
    return "".join(out)


def wired(drawn: Drawn) -> nx.Graph:
    """Return the wires, and the pins of mated shells joined to those of their names."""
    graph = nx.Graph()
    for unit, wires in drawn.wires.items():
        graph.add_edges_from((f"{unit}:{a}", f"{unit}:{b}") for a, b in wires)
    graph.add_edges_from(
        (f"{a}:{pin}", f"{b}:{pin}") for a, b in drawn.mated for pin in (*POWER, GROUND, SHIELD)
    )
    return graph


def mated(drawn: Drawn) -> Configuration:
    """Return the tool's configuration with the same shells mated."""
    now = Configuration(parse_definition({"harness.toml": definition(drawn)}).plant())
    for number, pair in enumerate(drawn.mated):
        now.apply(happened(now, Action(f"e{number}", "mate", pair, number)))
    return now


def feeding(drawn: Drawn, graph: nx.Graph, end: str) -> list[str]:
    """Return the sources to which an end is wired."""
    sources = [f"{unit}:bus" for unit, role in drawn.roles.items() if role == "source"]
    return [one for one in sources if end in graph and one in graph and nx.has_path(graph, end, one)]


@pytest.mark.parametrize("seed", range(60))
def test_who_is_fed_is_who_is_wired_to_a_source(seed: int) -> None:
    """Of each lamp and contact the state tells the sources that networkx finds; plant and rules tell who is dark."""
    drawn = draw(Random(seed))
    graph, now = wired(drawn), mated(drawn)
    plant = now.plant
    networks = {medium: compile_network(plant, medium) for medium in plant.media}
    lamps = [unit for unit, role in drawn.roles.items() if role == "load"]
    fed = {f"{unit}:bus": feeding(drawn, graph, f"{unit}:bus") for unit in lamps}
    for unit in drawn.shells:
        report = unit_state(plant, now, networks, unit)
        assert {load.address: list(load.sources) for load in report.loads} == {
            bus: sources for bus, sources in fed.items() if bus.startswith(f"{unit}:")
        }
        for contact in report.contacts:
            assert list(contact.reaches) == feeding(drawn, graph, contact.address)
        for port in report.ports:
            assert port.live == any(feeding(drawn, graph, f"{port.address}:{pin}") for pin in POWER)
    everything = plant_state(plant, now, networks)
    dark = sorted(bus for bus, sources in fed.items() if not sources)
    assert sorted(load.address for load in everything.dead_loads) == dark
    assert {one.id: one.fed for one in everything.units if one.loads} == {
        unit: int(bool(fed[f"{unit}:bus"])) for unit in lamps
    }
    engine = Engine(parse_rules({"r.toml": RULES}, plant), now.fork(), start=99)
    engine.finish(100)
    short = {
        name: {s for f in engine.findings() if f.rule == name for s in f.subjects} for name in ("fed", "dead")
    }
    assert sorted(short["fed"]) == dark
    assert {s for s in short["dead"] if s in fed} == {bus for bus, sources in fed.items() if sources}


def test_many_share_only_ground() -> None:
    """In the harnesses that are drawn, lamps that share a ground with a source, and nothing else, are many."""
    alone = 0
    for seed in range(60):
        drawn = draw(Random(seed))
        graph = wired(drawn)
        frames = [f"{unit}:frame" for unit, role in drawn.roles.items() if role == "source"]
        for unit in (unit for unit, role in drawn.roles.items() if role == "load"):
            grounded = any(nx.has_path(graph, f"{unit}:frame", frame) for frame in frames)
            alone += grounded and not feeding(drawn, graph, f"{unit}:bus")
    assert alone > 20
