"""A piping drawing that nobody here made: the DEXPI reference P&ID, brought in by `convert` without hand work.

C01V04-VER.EX01.xml of the DEXPI Training Test Cases (dexpi 1.3, example pids), (c) DEXPI e.V., CC BY 4.0; it stands in
drawings/ without what is only drawn. The graph that networkx asks is read from it here, item by item, by another way
than the reader's: nodes are the items of the drawing themselves, and a shut valve is a node that is taken out.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise
from pathlib import Path
from typing import Any
from xml.etree import ElementTree as ET

import networkx as nx
import pytest

from cfgtrack.rules.selection import Selection
from tests.outside.incoming import Incoming, reaches

DRAWING = Path(__file__).parent / "drawings" / "C01V04-VER.EX01.xml"
TANK = "T4750"


class Source:
    """The drawing as a graph: its items, each chamber of equipment for itself, and a node for each centre line."""

    def __init__(self) -> None:
        self.root = ET.parse(DRAWING).getroot()
        self.inside: dict[str, tuple[str, str]] = {}
        self.graph: Any = nx.DiGraph()
        self.valves: list[str] = []
        self.names: dict[object, str] = {}
        for equipment in self.root.iter("Equipment"):
            for nozzle in equipment.findall("Nozzle"):
                places = [
                    a.get("ItemID") for a in nozzle.findall("Association") if a.get("Type") == "is located in"
                ]
                self.inside[nozzle.get("ID", "")] = (equipment.get("ID", ""), (places or [""])[0] or "")
        for segment in self.root.iter("PipingNetworkSegment"):
            self._segment(segment)

    def _segment(self, segment: ET.Element) -> None:
        connection = segment.find("Connection")
        assert connection is not None
        ends = [connection.get("FromID"), connection.get("ToID")]
        row: list[tuple[str, str]] = [("end", ends[0])] if ends[0] else []
        lines = 0
        for element in segment:
            if element.tag == "CenterLine":
                lines += 1
                row.append(("line", f"{segment.get('ID')}.{lines}".removesuffix(".1")))
            elif element.tag in ("PipingComponent", "PipeOffPageConnector"):
                row.append(("end", element.get("ID", "")))
        if ends[1] and row[-1] != ("end", ends[1]):
            row.append(("end", ends[1]))
        places = [self._place(*one) for one in dict.fromkeys(row)]
        for a, b in pairwise(places):
            self.graph.add_edge(a, b)
            if not any("CheckValve" in str(one) for one in (a, b)):
                self.graph.add_edge(b, a)

    def _place(self, sort: str, name: str) -> object:
        return name if sort == "line" else self.inside.get(name, name)

    def cut_off(self, *, without: object = None, parted: tuple[object, object] | None = None) -> set[object]:
        """Return all that doesn't reach the tank with one item taken out or one joint parted.

        The safety valve and the valve that leads nowhere are shut as they are found.
        """
        graph = self.graph.copy()
        graph.remove_nodes_from(["SpringLoadedGlobeSafetyValve-1", "BallValve-2"])
        if parted is not None:
            graph.remove_edges_from([parted, parted[::-1]])
        if without is not None and without in graph:
            graph.remove_node(without)
        tank = next(node for node in graph if node[0] == "Tank-1")
        reached: set[object] = {tank, *nx.ancestors(graph, tank)}
        return set(graph) - reached


@pytest.fixture(scope="module")
def source() -> Source:
    """The drawing itself."""
    return Source()


@pytest.fixture(scope="module")
def plant(tmp_path_factory: pytest.TempPathFactory) -> Incoming:
    """The drawing as a plant."""
    return Incoming(DRAWING, tmp_path_factory.mktemp("drawing"))


def unit_of(plant: Incoming, name: str) -> str:
    """Return the unit that an item of the drawing has become."""
    return next(unit for (_, known), unit in plant.ids.items() if known == name)


def bodies(plant: Incoming, source: Source, places: set[object]) -> set[str]:
    """Return the nodes of the plant that stand for places of the drawing; a valve of two ways has none."""
    chambers = {
        equipment: sorted({c for e, c in source.inside.values() if e == equipment and c})
        for equipment, _ in source.inside.values()
    }
    found = set()
    for place in places:
        name, chamber = place if isinstance(place, tuple) else (str(place), "")
        many = len(chambers.get(name, ())) > 1
        node = f"body{chambers[name].index(chamber) + 1}" if many else "body"
        address = f"{unit_of(plant, name)}:{node}"
        if plant.plant.node(address) is not None:
            found.add(address)
    return found


def joints(source: Source) -> Iterator[tuple[object, object]]:
    """Yield every two places of the drawing that are joined, once."""
    yield from {frozenset(edge): edge for edge in source.graph.edges}.values()


TO_TANK = reaches("fluid", "*:body*", Selection(ids=(f"{TANK}:body",)))


def test_what_came_in(plant: Incoming, source: Source) -> None:
    """All 5 pieces of equipment, 19 components, 2 links to other sheets and 29 centre lines became units."""
    came = {one.what: one.number for one in plant.converted.came}
    run = ".//PipingNetworkSegment/"
    found = [
        source.root.findall(way)
        for way in ("Equipment", f"{run}PipingComponent", f"{run}PipeOffPageConnector")
    ]
    lines = source.root.findall(f"{run}CenterLine")
    assert [len(one) for one in (*found, lines)] == [5, 19, 2, 29]
    assert sum(came.values()) == 5 + 19 + 2 + 29
    assert came["BallValve"] == 5
    assert {one.what for one in plant.converted.left_out} >= {
        "process instrumentation function",
        "attributes of what is no unit",
    }
    assert unit_of(plant, "GlobeValve-1") == "PV4712.02"
    assert plant.plant.units["PV4712.02"].aliases == ("GlobeValve-1",)
    pump = plant.plant.units["P4711"].attributes
    assert str(pump["DesignPressureHead"]) == "10 m"


def test_each_valve_shut(plant: Incoming, source: Source) -> None:
    """With each valve shut in turn just those volumes are cut off from the tank that networkx finds so."""
    valves = [
        (name, f"{unit}:V")
        for (_, name), unit in plant.ids.items()
        if plant.plant.port(f"{unit}:V") is not None
    ]
    judge = plant.judge(TO_TANK, [valve for _, valve in valves])
    assert len(valves) == 10
    cut = 0
    for name, valve in valves:
        is_shut = name in ("SpringLoadedGlobeSafetyValve-1", "BallValve-2")
        events = [] if is_shut else [plant.turning(valve, "shut")]
        expected = source.cut_off(without=name) | {name}
        assert judge.cut_off(events) == bodies(plant, source, expected), name
        cut += len(bodies(plant, source, expected)) > len(bodies(plant, source, source.cut_off()))
    assert cut >= 5


def test_each_joint_parted(plant: Incoming, source: Source) -> None:
    """With each of the drawing's joints parted in turn just those volumes are cut off that networkx finds so."""
    parted = {}
    for port, mate in plant.mates.items():
        parted[frozenset((port.partition(":")[0], mate.partition(":")[0]))] = port
    asked = [(edge, parted[frozenset(unit_of(plant, p[0] if isinstance(p, tuple) else str(p)) for p in edge)])
             for edge in joints(source)]  # fmt: skip
    judge = plant.judge(TO_TANK, [port for _, port in asked])
    assert len(asked) == 56
    for edge, port in asked:
        expected = source.cut_off(parted=edge)
        assert judge.cut_off(plant.parting(port)) == bodies(plant, source, expected), edge
