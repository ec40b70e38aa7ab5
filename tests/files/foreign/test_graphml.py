"""GraphML in and out, as networkx 3 reads and writes it."""

from __future__ import annotations

import io
import random
from pathlib import Path

import networkx as nx
import pytest

from cfgtrack.answers.asking import Asking
from cfgtrack.answers.draw import scene
from cfgtrack.answers.hardware import load
from cfgtrack.answers.record import record
from cfgtrack.files.foreign.graphml import Read
from cfgtrack.model.trouble import BadInput
from cfgtrack.network.paths import Paths
from cfgtrack.rules.selection import Selection
from cfgtrack.show.graphml import graphml
from tests.outside.incoming import Incoming, reaches

DEMO = Path(__file__).parents[3] / "demo" / "hardware.toml"


@pytest.mark.parametrize("seed", range(12))
def test_random_graphs_answer_as_networkx(seed: int, tmp_path: Path) -> None:
    """Of a random graph of tanks, valves and pipes, each joint parted and valve shut cuts off what networkx finds."""
    r = random.Random(seed)
    graph = nx.gnm_random_graph(14, 18, seed=seed)
    tank = r.choice(list(graph))
    for node in graph:
        graph.nodes[node].update(
            kind="tank" if node == tank else r.choice(("vessel", "valve", "heat exchanger"))
        )
    for ends in graph.edges:
        if r.random() < 0.4:
            graph.edges[ends].update(kind="pipe", one_way=r.random() < 0.3)
    source = tmp_path / "net.graphml"
    nx.write_graphml(graph, source)
    plant = Incoming(source, tmp_path)
    unit = {int(name): unit for (_, name), unit in plant.ids.items() if name.isdigit()}
    ours = nx.DiGraph()
    ours.add_nodes_from(graph)
    for a, b, data in graph.edges(data=True):
        ours.add_edge(a, b)
        if not data.get("one_way"):
            ours.add_edge(b, a)
    valves = [n for n in graph if graph.nodes[n]["kind"] == "valve" and plant.plant.port(f"{unit[n]}:V")]
    shown = {f"{unit[n]}:body": n for n in graph if plant.plant.node(f"{unit[n]}:body") is not None}
    shut = [(f"{unit[n]}:V", n) for n in valves]
    judge = plant.judge(
        reaches("fluid", "*:body", Selection(ids=(f"{unit[tank]}:body",))), [v for v, _ in shut]
    )
    for events, gone in [((), None), *(((plant.turning(v, "shut"),), n) for v, n in shut)]:
        left = ours.copy()
        left.remove_nodes_from([] if gone is None else [gone])
        lost = set(ours) - {tank} - nx.ancestors(left, tank)
        found = {shown[a] for a in judge.cut_off(events) if a in shown}
        assert found == lost & set(shown.values())


def test_out_as_it_stands(tmp_path: Path) -> None:
    """Of the demo, networkx finds in what is written the segments that we find, now and after a valve is shut."""
    asking = Asking(str(tmp_path / "j.db"), at=1_900_000_000_000_000)
    load(Asking(str(tmp_path / "j.db")), [DEMO])
    # A valve that lets through now.
    before = scene(asking, marked=False)
    gates = before.networks["fluid"].gates
    valve = next(gate for gate in gates if before.configuration.state(gate).value == "open")
    expansions = Selection(expansion=True).candidates(before.configuration.plant)
    assert expansions
    for step in (None, "shut"):
        if step is not None:
            record(Asking(str(tmp_path / "j.db"), at=1_899_999_999_000_000), [step, valve])
        shown = scene(asking, marked=False)
        graph = nx.read_graphml(io.BytesIO(graphml(shown, ["fluid"]).encode()))
        made = nx.Graph()
        made.add_nodes_from(graph)
        made.add_edges_from(
            (a, b) for a, b, data in graph.edges(data=True) if data["made"] and not data["one_way"]
        )
        assert not any(data["one_way"] for *_, data in graph.edges(data=True) if not data["made"])
        paths = Paths(shown.networks["fluid"], shown.configuration)
        ours: dict[int | None, set[str]] = {}
        for address in graph:
            ours.setdefault(paths.segment(address), set()).add(address)
        assert sorted(map(sorted, nx.connected_components(made))) == sorted(map(sorted, ours.values()))
        assert [graph.nodes[address]["expansion"] for address in expansions] == [True] * len(expansions)


def test_out_and_in_again(tmp_path: Path) -> None:
    """What is written is read again: a unit an item, a valve in a link that has one."""
    load(Asking(str(tmp_path / "j.db")), [DEMO])
    source = tmp_path / "demo.graphml"
    source.write_text(graphml(scene(Asking(str(tmp_path / "j.db")), marked=False), ["fluid", "power"]))
    graph = nx.read_graphml(source)
    found = Read().read(source)
    assert len(found.units) >= len(graph)
    assert found.came["units"] == len(graph)


YED = """<graphml xmlns="http://graphml.graphdrawing.org/xmlns" xmlns:y="http://www.yworks.com/xml/graphml">
<key for="node" id="d6" yfiles.type="nodegraphics"/>
<graph edgedefault="directed" id="G">
<node id="n0"><data key="d6"><y:ShapeNode><y:Fill color="#FF"/><y:NodeLabel>Feed tank</y:NodeLabel></y:ShapeNode>
</data></node>
<node id="n1"><graph edgedefault="directed" id="n1:"><node id="n1::n0"/></graph></node>
<edge id="e0" source="n0" target="n1::n0"/><edge source="n0" target="nowhere"/><edge source="n0" target="n0"/>
</graph></graphml>"""


def test_what_others_write(tmp_path: Path) -> None:
    """Labels of yEd and nodes inside nodes are read; edges to nowhere and to themselves are left out by name."""
    source = tmp_path / "yed.graphml"
    source.write_text(YED)
    found = Read().read(source)
    assert found.units[found.ids["tank", "n0"]].title == "Feed tank"
    assert len(found.units) == 3
    assert dict(found.left_out) == {
        "joints to what isn't listed": ["n0 - nowhere"],
        "joints of a thing to itself": ["n0"],
    }


DEFAULTS = """<graphml><key id="m" for="edge" attr.name="medium" attr.type="string"><default>power</default></key>
<key id="k" for="node" attr.name="kind" attr.type="string"><default>bus</default></key>
<key id="l" for="all" attr.name="one_way" attr.type="string"><default>true</default></key>
<graph edgedefault="directed"><node id="A"/><node id="B"><data key="k">tank</data></node><node id="C"/>
<edge source="A" target="C"/><edge source="A" target="B"><data key="m">fluid</data><data key="l">no</data></edge>
</graph></graphml>"""


def test_what_says_nothing_has_the_default(tmp_path: Path) -> None:
    """What a key has as its default holds for each node or edge that says nothing else, as networkx reads it."""
    source = tmp_path / "x.graphml"
    source.write_text(
        DEFAULTS.replace("<graphml>", '<graphml xmlns="http://graphml.graphdrawing.org/xmlns">')
    )
    graph = nx.read_graphml(source)
    found = Read().read(source)
    plant = found.definition(at=0).plant()
    media = {
        tuple(sorted((a[0], b[0]))): port[1].medium
        for a, b in found.joined
        if (port := plant.port(a)) is not None
    }
    edge, node = graph.graph["edge_default"], graph.graph["node_default"]
    assert media == {tuple(sorted((a, b))): (edge | data)["medium"] for a, b, data in graph.edges(data=True)}
    assert {name: plant.part_of(name).title for name in "ABC"} == {
        name: (node | graph.nodes[name])["kind"] for name in "ABC"
    }
    assert any(link.one_way for link in plant.part_of("C").links)
    assert not any(link.one_way for link in plant.part_of("B").links)


def test_what_cannot_be_read_is_told(tmp_path: Path) -> None:
    """A value that nobody can read is left out, and told with what it is of."""
    data = {"litres": ("viel", "5 kg", "2,5 l", "-3", "nan"), "source": ("perhaps",), "medium": ("beer",)}
    graph = nx.DiGraph()
    for name, texts in data.items():
        for text in texts:
            graph.add_node(f"N{len(graph)}", kind="tank", **{name: text})
    graph.add_node("OK", kind="tank", litres="2 l", source="yes", medium="Fluid", status="")
    graph.add_node("V", kind="valve", status="ajar")
    graph.add_edge("OK", "V", id="e1", one_way="perhaps", medium="wine", status="demated")
    nx.write_graphml(graph, tmp_path / "x.graphml")
    found = Read().read(tmp_path / "x.graphml")
    assert found.left_out["values that can't be read"] == [
        *(
            f"N{i}: {name} {text}"
            for i, (name, text) in enumerate((n, t) for n, ts in data.items() for t in ts)
        ),
        "OK - V: one_way perhaps",
        "OK - V: medium wine",
    ]
    assert found.left_out["statuses that can't be read"] == ["OK - V: demated", "V: ajar"]


@pytest.mark.parametrize(
    ("text", "code"), [("<graphml/>", "empty"), ("<graphml>", "syntax"), ("<x/>", "wrong-kind")]
)
def test_what_is_no_graph(text: str, code: str, tmp_path: Path) -> None:
    """A file without nodes, cut off, or of another form is told as that."""
    source = tmp_path / "x.graphml"
    source.write_text(text)
    with pytest.raises(BadInput) as caught:
        Read().read(source)
    assert [p.code for p in caught.value.problems] == [code]
