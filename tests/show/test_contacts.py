"""Pictures and GraphML of wiring harnesses, held to networkx on the drawn wires: a line ends at a contact."""

from __future__ import annotations

import io
import re
from random import Random

import networkx as nx
import pytest

from cfgtrack.analysis.state import unit_state
from cfgtrack.answers.draw import Scene, Scope
from cfgtrack.files.definition import parse_definition
from cfgtrack.model.action import Action
from cfgtrack.model.configuration import Configuration
from cfgtrack.model.hold import is_made
from cfgtrack.model.plant import owner_of
from cfgtrack.network.network import compile_network
from cfgtrack.show.diagram import diagram
from cfgtrack.show.graphml import graphml
from cfgtrack.show.ties import Survey, find_ties
from tests.happening import happened
from tests.outside.test_harnesses import GROUND, POWER, SHIELD, draw, feeding, mated, wired
from tests.show.world import MOMENT

MEDIA = {**dict.fromkeys(POWER, "power"), GROUND: "ground", SHIELD: "shield"}


def scene(now: Configuration, scope: Scope | None = None) -> Scene:
    """Return what is drawn of a configuration."""
    networks = {medium: compile_network(now.plant, medium) for medium in now.plant.media}
    return Scene(MOMENT, now.plant, now, networks, scope or Scope.everything())


@pytest.mark.parametrize("seed", range(40))
def test_lines_lead_where_the_wires_do(seed: int) -> None:
    """Along lines and what is joined in the boxes, the ends that are joined are those that the wires join; cables that
    are drawn as lines only pass on.
    """
    drawn = draw(Random(seed))
    now, truth = mated(drawn), wired(drawn)
    shown = scene(now)
    ties = find_ties(Survey(now, shown.networks, ("power", "ground", "shield")))
    passed = {unit for tie in ties for unit in tie.via}
    picture = nx.Graph()
    for unit, wires in drawn.wires.items():
        if unit not in passed:
            picture.add_edges_from((f"{unit}:{a}", f"{unit}:{b}") for a, b in wires)
    picture.add_edges_from((tie.a, tie.b) for tie in ties)
    ends = [end for end in picture if owner_of(end) not in passed]
    ours = {frozenset(group) for group in nx.connected_components(picture)}
    theirs = {
        frozenset(end for end in group if end in picture and owner_of(end) not in passed)
        for group in nx.connected_components(truth)
    }
    assert {group for group in ours if len(group) > 1} == {group for group in theirs if len(group) > 1}
    assert all(tie.made for tie in ties)
    assert passed <= {unit for unit in drawn.shells if unit not in drawn.roles}
    assert ends


def test_some_cables_are_lines() -> None:
    """A cable of which every mated wire leads on is no box."""
    passed = set()
    for seed in range(40):
        now = mated(draw(Random(seed)))
        ties = find_ties(Survey(now, scene(now).networks, ("power", "ground", "shield")))
        passed |= {(seed, unit) for tie in ties for unit in tie.via}
    assert len(passed) > 5


def text_of(shown: Scene) -> str:
    """Return all that a picture says."""
    return re.sub(r"\s+", " ", re.sub(r"<[^>]*>|\\n", " ", diagram(shown)))


@pytest.mark.parametrize("seed", range(20))
def test_pictures_say_who_is_dark(seed: int) -> None:
    """Each picture of a harness is drawn, and says that a lamp is dark of those that networkx finds so."""
    drawn = draw(Random(seed))
    now, truth = mated(drawn), wired(drawn)
    lamps = [unit for unit, role in drawn.roles.items() if role == "load"]
    dark = [unit for unit in lamps if not feeding(drawn, truth, f"{unit}:bus")]
    for scope in (Scope.everything(), Scope.one_medium("power")):
        assert text_of(scene(now, scope)).count("NO POWER") == len(dark)
    for unit in drawn.shells:
        text = text_of(scene(now, Scope.around(unit, hops=0)))
        assert ("NO POWER" in text) == (unit in dark)
    for medium in ("ground", "shield"):
        assert "NO " not in text_of(scene(now, Scope.one_medium(medium)))


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
    assert text_of(scene(now, Scope.around("S"))).count("OPEN END") == 1
    assert "J:1 OPEN END" in text_of(scene(now, Scope.around("S")))
    assert "OPEN END: J" in text_of(scene(now))
    now.apply(happened(now, Action("e", "mate", ("S:J", "T:P"), 1)))
    assert is_made(now, "S:J")
    ties = find_ties(Survey(now, scene(now).networks, ("power", "data")))
    assert [(tie.a, tie.b, tie.medium) for tie in ties] == [
        ("S:J:1", "T:P", "power"),
        ("S:J:2", "T:P", "power"),
    ]
    text = text_of(scene(now, Scope.around("S")))
    assert "OPEN END" not in text
    assert "facing nothing of T:P: J:D" in text


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
    shown = scene(now)
    state = unit_state(now.plant, now, shown.networks, "F")
    assert {one.address: (one.peer, one.made) for one in state.contacts} == {
        "F:J:1": (None, False),
        "F:J:G": ("O:P:G", True),
    }
    graph = nx.read_graphml(io.BytesIO(graphml(scene(now), ["power", "ground", "data"]).encode()))
    joints = [edge for *edge, data in graph.edges(data=True) if data["sort"] == "joint"]
    assert list(map(set, joints)) == [{"F:J:G", "O:P:G"}]
    assert "facing nothing of O:P: J:1" in text_of(scene(now, Scope.around("F")))


def test_a_neighbour_tells_what_the_joint_leaves_dark() -> None:
    """Beside a unit a neighbour tells what hangs on the contacts of the joint that face nothing, and nothing else."""
    text = text_of(scene(odd(), Scope.around("F")))
    assert "lamp NO POWER" in text
    assert "sensor NO DATA" in text
    assert "facing nothing of F:J: P:3" in text
    assert "far" not in text
    assert "far NO POWER" in text_of(scene(odd(), Scope.around("O")))


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
