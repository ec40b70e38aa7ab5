"""Pictures and GraphML of wiring harnesses, held to networkx on the drawn wires: a line ends at a contact."""

from __future__ import annotations

import io
from random import Random

import networkx as nx
import pytest

from cfgtrack.analysis.state import unit_state
from cfgtrack.answers.draw import Scene, Scope
from cfgtrack.files.definition import parse_definition
from cfgtrack.model.action import Action
from cfgtrack.model.configuration import Configuration
from cfgtrack.model.hold import is_made
from cfgtrack.network.network import compile_network
from cfgtrack.show.drawing.sheet import Look
from cfgtrack.show.drawing.shown import shown
from cfgtrack.show.graphml import graphml
from tests.happening import happened
from tests.outside.test_harnesses import GROUND, POWER, SHIELD, draw, feeding, mated, wired
from tests.show.drawing.reading import reading
from tests.show.world import MOMENT

MEDIA = {**dict.fromkeys(POWER, "power"), GROUND: "ground", SHIELD: "shield"}


def scene(now: Configuration, scope: Scope | None = None) -> Scene:
    """Return what is drawn of a configuration."""
    networks = {medium: compile_network(now.plant, medium) for medium in now.plant.media}
    return Scene(MOMENT, now.plant, now, networks, scope or Scope.everything())


@pytest.mark.parametrize("seed", range(40))
def test_lines_lead_where_the_wires_do(seed: int) -> None:
    """Along lines and bars, from contact to contact, the ends that are joined are those that the wires join."""
    drawn = draw(Random(seed))
    now, truth = mated(drawn), wired(drawn)
    sheet = shown(scene(now), fold=False)
    picture = nx.Graph()
    for box in sheet.boxes:
        picture.add_nodes_from(row.key for row in box.rows if row.medium != "hold")
        picture.add_edges_from((row.key, row.bar) for row in box.rows if row.bar)
    lines = [line for line in sheet.lines if line.medium in MEDIA.values()]
    picture.add_edges_from((line.a_row, line.b_row) for line in lines)
    rows = {row.key for box in sheet.boxes for row in box.rows if row.medium != "hold"}
    ours = {frozenset(rows & group) for group in map(set, nx.connected_components(picture))}
    theirs = {frozenset(rows & group) for group in map(set, nx.connected_components(truth))}
    assert {group for group in ours if len(group) > 1} == {group for group in theirs if len(group) > 1}
    assert not any(line.look is Look.NOT_CARRYING for line in lines)
    assert lines


@pytest.mark.parametrize("seed", range(20))
def test_pictures_say_who_is_dark(seed: int) -> None:
    """Each picture of a harness is drawn, and says that a lamp is dark of those that networkx finds so."""
    drawn = draw(Random(seed))
    now, truth = mated(drawn), wired(drawn)
    lamps = [unit for unit, role in drawn.roles.items() if role == "load"]
    dark = {unit for unit in lamps if not feeding(drawn, truth, f"{unit}:bus")}
    for scope in (Scope.everything(), Scope.one_medium("power")):
        assert said_dark(scene(now, scope)) == dark
    for unit in drawn.shells:
        assert said_dark(scene(now, Scope.around(unit, hops=0))) == dark & {unit}
    for medium in ("ground", "shield"):
        assert not said_dark(scene(now, Scope.one_medium(medium)))


def text_of(found: Scene) -> str:
    """Return all that a picture says."""
    return reading(shown(found))


def said_dark(found: Scene) -> set[str]:
    """Return the boxes in which something is marked as without power."""
    sheet = shown(found, fold=False)
    return {
        box.id for box in sheet.boxes for bar in box.bars for mark in bar.marks if mark.word == "no power"
    }


@pytest.mark.parametrize("seed", range(20))
def test_graphml_has_every_contact_and_wire(seed: int) -> None:
    """What networkx reads of a harness has each contact as a node, each wire and each pair of contacts as an edge."""
    drawn = draw(Random(seed))
    now, truth = mated(drawn), wired(drawn)
    graph = nx.read_graphml(io.BytesIO(graphml(scene(now), ["power", "ground", "shield"]).encode()))
    assert {frozenset(edge) for edge in graph.edges()} == {frozenset(edge) for edge in truth.edges()}
    contacts = {
        f"{u}:{s}:{pin}": m for u, shells in drawn.shells.items() for s in shells for pin, m in MEDIA.items()
    }
    assert contacts.items() <= {node: data["medium"] for node, data in graph.nodes(data=True)}.items()
    joints = [data["made"] for *_, data in graph.edges(data=True) if data["sort"] == "joint"]
    assert joints == [True] * len(drawn.mated) * len(MEDIA)


MIXED = """
[[part]]
id = "supply"
flexible = true
node = [{ name = "bus", medium = "power", source = true }]
links = [["J:1", "bus"]]
[[part.port]]
name = "J"
kind = "electrical-connector"
contacts = ["1", "2"]
contact = [{ name = "D", medium = "data" }]
[[part]]
id = "plain"
flexible = true
port = [{ name = "P", kind = "electrical-connector" }]
[[unit]]
id = "S"
part = "supply"
[[unit]]
id = "T"
part = "plain"
"""


def test_a_shell_on_a_connector_without_contacts() -> None:
    """All contacts of its medium lead to the one that has none; parted, those that are live are open ends."""
    now = Configuration(parse_definition({"m.toml": MIXED}).plant())
    for scope in (Scope.around("S"), Scope.everything()):
        assert text_of(scene(now, scope)).count("demated LIVE END") == 1
        assert "J.1 demated LIVE END" in text_of(scene(now, scope))
    now.apply(happened(now, Action("e", "mate", ("S:J", "T:P"), 1)))
    assert is_made(now, "S:J")
    lines = shown(scene(now)).lines
    assert [(line.a_row, line.b_row, line.medium) for line in lines] == [
        ("S:J:1", "T:P", "power"),
        ("S:J:2", "T:P", "power"),
    ]
    text = text_of(scene(now, Scope.around("S")))
    assert "open end" not in text
    assert "J.D mated faces nothing of T:P" in text


ODD = """
[[part]]
id = "feed"
flexible = true
node = [{ name = "bus", medium = "power", source = true }, { name = "earth", medium = "ground", source = true }]
links = [["J:1", "bus"], ["J:G", "earth"]]
[[part.port]]
name = "J"
kind = "electrical-connector"
contacts = ["1"]
contact = [{ name = "G", medium = "ground" }]
[[part]]
id = "odd"
flexible = true
node = [
  { name = "lamp", medium = "power", load = true }, { name = "sensor", medium = "data", load = true },
  { name = "far", medium = "power", load = true },
]
links = [["P:3", "lamp"], ["P:1", "sensor"], ["Q", "far"]]
[[part.port]]
name = "P"
kind = "electrical-connector"
contacts = ["3"]
contact = [{ name = "1", medium = "data" }, { name = "G", medium = "ground" }]
[[part.port]]
name = "Q"
kind = "electrical-connector"
[[medium]]
id = "ground"
[[unit]]
id = "F"
part = "feed"
[[unit]]
id = "O"
part = "odd"
"""


def odd() -> Configuration:
    """Return a shell mated to one of which contact 1 is of another medium, and 3 has none that faces it."""
    now = Configuration(parse_definition({"o.toml": ODD}).plant())
    now.apply(happened(now, Action("e", "mate", ("F:J", "O:P"), 1)))
    return now


def test_contacts_of_two_media_are_joined_to_nothing() -> None:
    """What a contact is joined to is of its medium, in a state as in a picture; the picture says what it faces not."""
    now = odd()
    state = unit_state(now.plant, now, scene(now).networks, "F")
    assert {one.address: (one.peer, one.made) for one in state.contacts} == {
        "F:J:1": (None, False),
        "F:J:G": ("O:P:G", True),
    }
    graph = nx.read_graphml(io.BytesIO(graphml(scene(now), ["power", "ground", "data"]).encode()))
    joints = [edge for *edge, data in graph.edges(data=True) if data["sort"] == "joint"]
    assert list(map(set, joints)) == [{"F:J:G", "O:P:G"}]
    assert "J.1 mated faces nothing of O:P" in text_of(scene(now, Scope.around("F")))


def test_a_neighbour_tells_what_the_joint_leaves_dark() -> None:
    """Beside a unit a neighbour tells what hangs on the contacts of the joint that face nothing, and nothing else."""
    text = text_of(scene(odd(), Scope.around("F")))
    assert "lamp no power" in text
    assert "sensor no data" in text
    assert "P.3 mated faces nothing of F:J" in text
    assert "far" not in text
    assert "far no power" in text_of(scene(odd(), Scope.around("O")))


def test_a_contact_is_joined_to_a_port_without_any() -> None:
    """In a state every contact of its medium is joined to the port that has none; the port to the shell."""
    now = Configuration(parse_definition({"m.toml": MIXED}).plant())
    now.apply(happened(now, Action("e", "mate", ("S:J", "T:P"), 1)))
    networks = scene(now).networks
    state = unit_state(now.plant, now, networks, "S")
    assert [(one.address, one.peer, one.made) for one in state.contacts] == [
        ("S:J:1", "T:P", True),
        ("S:J:2", "T:P", True),
        ("S:J:D", None, False),
    ]
    assert [port.mate for port in unit_state(now.plant, now, networks, "T").ports] == ["S:J"]
