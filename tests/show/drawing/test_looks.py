"""Whether a piece of line is drawn live, dead or cut off, against plain reachability (networkx)."""

from random import Random

import networkx as nx
import pytest

from cfgtrack.answers.draw import Scene, Scope
from cfgtrack.files.definition import parse_definition
from cfgtrack.model.configuration import Configuration
from cfgtrack.network.network import compile_network
from cfgtrack.show.drawing.arrange import drawn
from cfgtrack.show.drawing.ink import Path
from cfgtrack.show.drawing.palette import STROKES
from cfgtrack.show.drawing.sheet import Look
from cfgtrack.show.drawing.shown import shown
from tests.happening import happened
from tests.show.drawing.shown import all_ink, groups
from tests.show.world import MOMENT

_KINDS = {"power": ("electrical-connector", "switch"), "fluid": ("fluid-disconnect", "valve")}
_NODES = {
    "power": ("", "source = true, ", "load = true, "),
    "fluid": ("", 'litres = "2 l", ', "expansion = true, "),
}


def _plant(rng: Random, medium: str) -> tuple[Scene, nx.Graph, dict[str, set[str]]]:
    """Return a scene at random, the graph of what is joined in it, and which nodes have which role."""
    port, gate = _KINDS[medium]
    graph = nx.Graph()
    roles: dict[str, set[str]] = {"source": set(), "full": set(), "expansion": set()}
    text, ends, statuses = 'title = "Random"\n[[place]]\nid = "FLOOR"\n', [], {}
    for number in range(rng.randrange(2, 6)):
        unit = f"U{number}"
        own = [f"P{i}" for i in range(rng.randrange(1, 5))]
        kinds = {f"N{i}": rng.choice(_NODES[medium]) for i in range(rng.randrange(3))}
        items = [*own, *kinds]
        graph.add_nodes_from(f"{unit}:{name}" for name in items)
        for name, said in kinds.items():
            for role, words in {
                "source": ("source",),
                "full": ("litres", "expansion"),
                "expansion": ("expansion",),
            }.items():
                if any(word in said for word in words):
                    roles[role].add(f"{unit}:{name}")
        links: list[str] = []
        gates: list[str] = []
        for _ in range(rng.randrange(6) if len(items) > 1 else 0):
            a, b = rng.sample(items, 2)
            is_open = True
            if is_gated := rng.random() < 0.7:
                gates.append(f"V{len(gates)}")
                passes, stops = ("on", "off") if medium == "power" else ("open", "shut")
                is_open = rng.random() < 0.5
                statuses[f"{unit}:{gates[-1]}"] = passes if is_open else stops
            links.append(f'{{ a = "{a}", b = "{b}"' + (f', gate = "{gates[-1]}" }}' if is_gated else " }"))
            if is_open:
                graph.add_edge(f"{unit}:{a}", f"{unit}:{b}")
        ports = [*(f'{{ name = "{p}", kind = "{port}" }}' for p in own)]
        ports += [f'{{ name = "{v}", kind = "{gate}" }}' for v in gates]
        nodes = [f'{{ name = "{n}", {said}medium = "{medium}" }}' for n, said in kinds.items()]
        text += f'[[part]]\nid = "p{number}"\nport = [{", ".join(ports)}]\nnode = [{", ".join(nodes)}]\n'
        text += f'link = [{", ".join(links)}]\n[[unit]]\nid = "{unit}"\npart = "p{number}"\n'
        ends += [f"{unit}:{p}" for p in own]
    rng.shuffle(ends)
    joined = []
    while len(ends) > 1 and rng.random() < 0.8:
        one = ends.pop()
        other = next((end for end in ends if end[:2] != one[:2]), None)
        if other is not None:
            ends.remove(other)
            joined.append(f'["{one}", "{other}"]')
            graph.add_edge(one, other)
    text += f'[initial]\nat = 2031-04-01T00:00:00Z\nby = "survey"\njoined = [{", ".join(joined)}]\n'
    text += "[initial.status]\n" + "".join(f'"{v}" = "{said}"\n' for v, said in statuses.items())
    definition = parse_definition({"random.toml": text})
    plant = definition.plant()
    now = Configuration(plant)
    for event in definition.initial:
        now.apply(happened(now, event))
    networks = {medium: compile_network(plant, medium)}
    return Scene(MOMENT, plant, now, networks, Scope.one_medium(medium)), graph, roles


def _look(medium: str, graph: nx.Graph, roles: dict[str, set[str]], item: str) -> Look:
    here = nx.node_connected_component(graph, item)
    if medium == "power":
        return Look.DEAD if roles["source"] and not here & roles["source"] else Look.MADE
    return Look.CUT_OFF if here & roles["full"] and not here & roles["expansion"] else Look.MADE


def _drawn_as(path: Path) -> Look:
    """Return what a piece of line looks like: double, dotted or plain."""
    return Look.CUT_OFF if path.double else Look.DEAD if path.dash == STROKES[Look.DEAD].dash else Look.MADE


@pytest.mark.parametrize("medium", _KINDS)
@pytest.mark.parametrize("seed", range(40))
def test_what_is_drawn_dead_or_cut_off_is_what_no_path_reaches(medium, seed):
    """Each row, stub, bar, half of a gate and line is dead if no source reaches it, cut off if full without room."""
    scene, graph, roles = _plant(Random(seed), medium)
    sheet = shown(scene)
    told: dict[str, str] = {}
    for box in sheet.boxes:
        told.update((row.key, row.key) for row in box.rows)
        told.update((row.bar, row.key) for row in box.rows if row.bar)
        told.update((bar.key, bar.key) for bar in box.bars if bar.key in graph)
        for row in box.rows:
            assert row.look is _look(medium, graph, roles, row.key)
        for bar in box.bars:
            assert bar.look is _look(medium, graph, roles, told[bar.key])
    for line in sheet.lines:
        assert line.look is _look(medium, graph, roles, line.a_row)
    page = drawn(sheet)
    for gate in groups(page, "gate"):
        halves = [one for one in gate.ink if isinstance(one, Path) and one.role == "inside"]
        data = dict(gate.data)
        expected = [_look(medium, graph, roles, told[data[end]]) for end in ("a", "b")]
        assert not halves or [_drawn_as(half) for half in halves] == expected
    for drawn_row in groups(page, "row"):
        look = _look(medium, graph, roles, drawn_row.key)
        stubs = [one for one in all_ink(drawn_row.ink) if isinstance(one, Path) and one.role == "free end"]
        assert all(_drawn_as(stub) is look for stub in stubs)
        wires = [one for one in drawn_row.ink if isinstance(one, Path) and one.role == "inside"]
        assert all(_drawn_as(wire) is look for wire in wires[:1])
