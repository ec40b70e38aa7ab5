"""Lists that others made come in by a dozen lines, and answer as networkx and `csv` do on the lists themselves.

Their sources stand in tests/outside/lists/README.md.
"""

import csv
from pathlib import Path

import networkx as nx
import pytest

from cfgtrack.files.definition import read_definition
from cfgtrack.model.configuration import Configuration, State
from cfgtrack.network.network import compile_network
from cfgtrack.network.paths import Paths

LISTS = Path(__file__).parent / "lists"

PARTS_LIST = """\
[[table]]
file = "bom.csv"
header = 12
of = "parts"
columns = { item = "id", description = "title" }
leave_out = ["qty", "manufacturer", "part_number", "supplier", "unit_price_eur", "date_quoted", "source", "notes"]
[[table]]
file = "bom.csv"
header = 12
of = "units"
columns = { item = "part", qty = "quantity" }
number = "{part}-{n}"
leave_out = ["desc*", "manufacturer", "part_number", "supplier", "unit_price_eur", "date_quoted", "source", "notes"]
leave_out_rows = { qty = "" }
"""

HARNESS = """\
[[part]]
id = "harness"
[[unit]]
id = "H"
part = "harness"
[[table]]
file = "connections.csv"
of = "wires"
columns = { notes = "title" }
ends = "electrical-connector"
[table.values]
part = "harness"
name = "{cable}.{core}"
a = "{from_connector}:{from_pin}"
b = "{to_connector}:{to_pin}"
medium = "power"
"""


def rows(name, first=0):
    """The rows of a list, read by `csv` alone."""
    lines = (LISTS / name).read_text(encoding="utf-8").splitlines()[first:]
    return list(csv.DictReader(lines))


def read(tmp_path, text):
    """A definition that names the lists."""
    file = tmp_path / "plant.toml"
    file.write_text(text.replace('file = "', f'file = "{LISTS}/'))
    return read_definition([file])


def test_a_parts_list_with_quantities_and_free_text(tmp_path):
    """Every item is a part with its whole text, commas and all, and as many units as its quantity says."""
    assert len(PARTS_LIST.splitlines()) <= 14
    found, listed = read(tmp_path, PARTS_LIST), rows("bom.csv", 11)
    assert {part.id: part.title for part in found.parts.values()} == {
        row["item"]: row["description"] for row in listed
    }
    counts = dict.fromkeys(found.parts, 0)
    for unit in found.units.values():
        counts[unit.part] += 1
    assert counts == {row["item"]: int(row["qty"] or 0) for row in listed}
    assert sum(counts.values()) == 29


BOXES = """\
[[part]]
id = "box-{0}"
node = [{1}]
links = [{2}]
[[part.port]]
name = "X"
kind = "electrical-connector"
contacts = [{3}]
[[unit]]
id = "{0}"
part = "box-{0}"
"""


def boxes(graph, supply):
    """A box at each connector, with a load at each of its contacts, and the supply at one of them."""
    found = []
    for connector in sorted({connector for connector, _ in graph}):
        pins = sorted(pin for other, pin in graph if other == connector)
        nodes = ", ".join(
            f'{{ name = "N{pin}", medium = "power", {"source" if (connector, pin) == supply else "load"} = true }}'
            for pin in pins
        )
        links = ", ".join(f'["N{pin}", "X:{pin}"]' for pin in pins)
        found.append(BOXES.format(connector, nodes, links, ", ".join(f'"{pin}"' for pin in pins)))
    return "".join(found)


def mated(plant, connectors):
    """Where these connectors of the harness are mated with their boxes."""
    now = Configuration(plant)
    for one in connectors:
        for port, mate in ((f"H:{one}", f"{one}:X"), (f"{one}:X", f"H:{one}")):
            now.set_state(port, State("mated", mate, "e"))
    return now


@pytest.fixture
def graph():
    """The wires of the list as networkx has them, from pin to pin."""
    found = nx.MultiGraph()
    for row in rows("connections.csv"):
        found.add_edge(
            (row["from_connector"], row["from_pin"]),
            (row["to_connector"], row["to_pin"]),
            key=f"{row['cable']}.{row['core']}",
        )
    return found


def test_a_harness_with_shields_and_wires_from_pin_to_pin(tmp_path, graph):
    """A dozen lines make its connectors, contacts and wires, a drain wire among them, each as it is listed."""
    assert len(HARNESS.split("[[table]]")[1].strip().splitlines()) <= 12
    harness = read(tmp_path, HARNESS).parts["harness"]
    assert {(port.name, pin) for port in harness.ports.values() for pin in port.contacts} == set(graph)
    assert set(harness.nodes) == {key for _, _, key in graph.edges(keys=True)}
    assert harness.nodes["W1.5"].title == "Drain tied to GND at J1 only"
    drain = [(link.a, link.b) for link in harness.links if "W1.5" in (link.a, link.b)]
    assert drain == [("J1:4", "W1.5"), ("W1.5", "P2:4")]


@pytest.mark.parametrize("parted", ["", "J1", "P1", "P2", "P3"])
@pytest.mark.parametrize("supply", [("J1", "3"), ("J1", "1"), ("P2", "3")])
def test_what_is_fed_and_what_is_cut_off_when_a_connector_is_parted(tmp_path, graph, supply, parted):
    """Fed is what networkx finds joined to the supply's pin; who shares only ground, or only a shell, isn't."""
    plant = read(tmp_path, HARNESS + boxes(graph, supply)).plant()
    connectors = {connector for connector, _ in graph}
    paths = Paths(compile_network(plant, "power"), mated(plant, connectors - {parted}))
    source = f"{supply[0]}:N{supply[1]}"
    fed = {
        (connector, pin)
        for connector, pin in graph
        if paths.segment(f"{connector}:N{pin}") == paths.segment(source)
    }
    wanted = {supply}
    if parted != supply[0]:
        wanted |= {pin for pin in nx.node_connected_component(graph, supply) if pin[0] != parted}
    assert fed == wanted
    ground = nx.node_connected_component(graph, ("J1", "4"))
    assert not fed & ground
    assert ("P2", "4") in ground
