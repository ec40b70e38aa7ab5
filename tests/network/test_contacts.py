"""Connectors with contacts, held to networkx: one shell is mated, and joins contact to contact, each its own medium."""

from __future__ import annotations

from random import Random

import networkx as nx
from hypothesis import given, settings
from hypothesis import strategies as st

from cfgtrack.files.definition import parse_definition
from cfgtrack.model.configuration import Configuration, State
from cfgtrack.model.hold import peer_of
from cfgtrack.model.plant import Plant
from cfgtrack.network.flow import Flow
from cfgtrack.network.network import compile_network
from cfgtrack.network.paths import Paths
from cfgtrack.network.trace import trace
from cfgtrack.rules.trail import Trail

MEDIA = ("power", "data", "ground")
SHELL = "electrical-connector"


def harness(r: Random) -> Plant:
    """Return boxes with shells of random contacts and wires, one plain connector each, and a node of each medium."""
    parts, units = [], []
    for number in range(r.randint(2, 4)):
        ends = {medium: [f"n-{medium}"] for medium in MEDIA}
        ports = [f'{{ name = "P", kind = "{SHELL}" }}']
        ends["power"].append("P")
        for shell in ("J1", "J2"):
            contacts = []
            for name in r.sample("ABCDE", r.randint(1, 5)):
                medium = r.choice(MEDIA)
                ends[medium].append(f"{shell}:{name}")
                contacts.append(f'{{ name = "{name}", medium = "{medium}" }}')
            ports.append(f'{{ name = "{shell}", kind = "{SHELL}", contact = [{", ".join(contacts)}] }}')
        wires = []
        for names in ends.values():
            for _ in range(r.randint(0, len(names))):
                a, b = r.sample(names, 2) if len(names) > 1 else ("", "")
                if a:
                    wires.append(f'["{a}", "{b}"]')
        nodes = ", ".join(
            f'{{ name = "n-{m}", medium = "{m}", source = {str(r.random() < 0.4).lower()} }}' for m in MEDIA
        )
        parts.append(
            f'[[part]]\nid = "p{number}"\nport = [{", ".join(ports)}]\nnode = [{nodes}]\nlinks = [{", ".join(wires)}]\n'
        )
        units.append(f'[[unit]]\nid = "U{number}"\npart = "p{number}"\n')
    return parse_definition({"h.toml": '[[medium]]\nid = "ground"\n' + "".join(parts + units)}).plant()


def mated(r: Random, plant: Plant) -> list[tuple[str, str]]:
    """Return shells, and plain connectors, that are mated by pairs."""
    ports = [port for unit in plant.units for port in plant.ports_of(unit)]
    r.shuffle(ports)
    count = r.randint(0, len(ports) // 2)
    return list(zip(ports[:count], ports[count : 2 * count], strict=True))


def graph_of(plant: Plant, pairs: list[tuple[str, str]], medium: str) -> nx.Graph:
    """Return wires and joined contacts of one medium, as the drawing has them."""
    graph = nx.Graph()
    own: dict[str, list[str]] = {}
    for unit in plant.units:
        part = plant.part_of(unit)
        graph.add_nodes_from(f"{unit}:{n.name}" for n in part.nodes.values() if n.medium == medium)
        for port in part.ports.values():
            names = [c.name for c in port.contacts.values() if c.medium == medium]
            plain = [""] if not port.contacts and medium == "power" else []
            own[f"{unit}:{port.name}"] = names + plain
            graph.add_nodes_from(_end(f"{unit}:{port.name}", name) for name in names + plain)
        for link in part.links:
            if f"{unit}:{link.a}" in graph:
                graph.add_edge(f"{unit}:{link.a}", f"{unit}:{link.b}")
    for a, b in pairs:
        for one in own[a]:
            for other in own[b]:
                # A connector without contacts joins all that come to it.
                if one == other or "" in (one, other):
                    graph.add_edge(_end(a, one), _end(b, other))
    return graph


def _end(port: str, contact: str) -> str:
    return f"{port}:{contact}" if contact else port


def joined(plant: Plant, pairs: list[tuple[str, str]]) -> Configuration:
    """Return the configuration in which some are mated."""
    now = Configuration(plant)
    for a, b in pairs:
        now.set_state(a, State("mated", b, "e"))
        now.set_state(b, State("mated", a, "e"))
    return now


@given(st.integers(0, 2**32))
@settings(max_examples=150)
def test_contacts_join_as_the_drawing_says(seed: int) -> None:
    """Who is joined to whom, over which way, and what a flow keeps up to date, is what networkx finds on the wires."""
    r = Random(seed)
    plant = harness(r)
    pairs = mated(r, plant)
    for medium in MEDIA:
        graph, now = graph_of(plant, pairs, medium), joined(plant, pairs)
        network = compile_network(plant, medium)
        paths, ends = Paths(network, now), sorted(graph)
        flow = Flow(network, Configuration(plant), None, Trail())
        for a, b in pairs:
            for one, other in ((a, b), (b, a)):
                flow._configuration.set_state(one, State("mated", other, "e"))
            flow.update((a, b))
        for _ in range(20):
            a, b = r.choice(ends), r.choice(ends)
            has = nx.has_path(graph, a, b)
            assert (paths.segment(a) == paths.segment(b)) == has
            assert (flow.vertices(b)[0] in flow.graph.ahead(flow.vertices(a))) == has
            way = [hop.item for hop in trace(network, now, [a], [b])]
            assert len(way) == (nx.shortest_path_length(graph, a, b) + 1 if has else 0)
        sources = [f"{u}:n-{medium}" for u in plant.units if plant.node(f"{u}:n-{medium}").roles]  # type: ignore[union-attr]
        for unit in plant.units:
            for port in plant.ports_of(unit):
                fed = any(
                    nx.has_path(graph, e, s)
                    for e in ends
                    if e == port or e.startswith(f"{port}:")
                    for s in sources
                )
                assert paths.is_live(port) == fed


@given(st.integers(0, 2**32))
@settings(max_examples=60)
def test_a_contact_faces_its_name(seed: int) -> None:
    """The peer of a contact is the one of its name on the mated shell, and of a port the port."""
    r = Random(seed)
    plant = harness(r)
    pairs = mated(r, plant)
    now = joined(plant, pairs)
    mates = {**dict(pairs), **{b: a for a, b in pairs}}
    for unit in plant.units:
        for address in (*plant.ports_of(unit), *plant.contacts_of(unit)):
            port = ":".join(address.split(":")[:2])
            wanted = mates.get(port)
            if wanted is not None and address != port:
                wanted = f"{wanted}:{address.split(':')[2]}"
                wanted = wanted if wanted in plant.contacts_of(wanted.split(":")[0]) else None
            assert peer_of(now, address) == wanted
