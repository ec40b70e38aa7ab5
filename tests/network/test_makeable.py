"""What could be joined, worked out part by part, is what networkx finds with every unit and every joint that fits.

Some connectors are shells: their contacts are joined by name, and in their own medium.
"""

from __future__ import annotations

from itertools import product
from random import Random

import networkx as nx
from hypothesis import given, settings
from hypothesis import strategies as st

from cfgtrack.files.definition import shipped
from cfgtrack.model.part import Contact, InternalLink, Node, Part, Port
from cfgtrack.model.plant import Plant, Unit
from cfgtrack.model.possibility import misfits
from cfgtrack.network.makeable import Makeable, Vertex

KINDS = ("fluid-disconnect", "electrical-connector")
MEDIA = {"fluid-disconnect": "fluid", "electrical-connector": "power"}


def draw_plant(seed: int) -> Plant:
    """Return a plant of a few parts, some with one unit, some with more; media and kinds are the shipped ones."""
    r = Random(seed)
    parts = {name: _part(r, name) for name in (f"p{n}" for n in range(r.randint(1, 4)))}
    units = {}
    for name in parts:
        for n in range(r.choice((0, 1, 1, 2))):
            units[f"{name}-{n}"] = Unit(f"{name}-{n}", part=name)
    return Plant(media=shipped().media, kinds=shipped().kinds, parts=parts, units=units)


def _part(r: Random, name: str) -> Part:
    ports = {
        f"P{n}": Port(
            f"P{n}",
            r.choice((KINDS[0], *KINDS)),
            size=r.choice(("", "DN25", "DN40")),
            keying=r.choice(("", "", "A", "B")),
            gender=r.choice(("", "plug", "socket")),
            contacts=_contacts(r),
        )
        for n in range(r.randint(0, 4))
    }
    nodes = {f"N{n}": Node(f"N{n}", r.choice(("fluid", "fluid", "power"))) for n in range(r.randint(0, 2))}
    medium = {end: m for port in ports.values() for end, m in ends_of(port).items()}
    medium |= {n: node.medium for n, node in nodes.items()}
    pairs = [(a, b) for a, b in product(medium, medium) if a < b and medium[a] == medium[b]]
    links = []
    for pair in pairs:
        if r.random() < 0.4:
            a, b = pair if r.random() < 0.5 else pair[::-1]
            links.append(InternalLink(a, b, one_way=r.random() < 0.4))
    return Part(name, ports=ports, nodes=nodes, links=tuple(links), flexible=r.random() < 0.3)


def _contacts(r: Random) -> dict[str, Contact]:
    names = r.sample("123", r.choice((0, 0, 1, 2, 3)))
    return {name: Contact(name, r.choice(("fluid", "power"))) for name in names}


def ends_of(port: Port) -> dict[str, str]:
    """Return what a port has that links lead to, each with its medium: its contacts, else itself."""
    if port.contacts:
        return {f"{port.name}:{contact.name}": contact.medium for contact in port.contacts.values()}
    return {port.name: MEDIA[port.kind]}


def slowly(
    plant: Plant, medium: str, ends: list[Vertex], joints: list[tuple[Vertex, Vertex]] | None = None
) -> set[Vertex]:
    """Return what has a path to an end, with every unit by itself: inside a unit, over a joint, inside the next, ...

    `joints` are joined as well, in every unit of their parts.

    An item is there twice: as one that a joint has just led to, from where the way goes on inside, and as any other.
    """
    graph: nx.DiGraph[tuple[str, str]] = nx.DiGraph()
    ports = [p for u in plant.units for p in plant.ports_of(u)]
    upstream = plant.media[medium].upstream
    for unit in plant.units.values():
        part = plant.parts[unit.part]
        names = [end for p in part.ports.values() for end, m in ends_of(p).items() if m == medium]
        names += [n for n, node in part.nodes.items() if node.medium == medium]
        for name in names:
            graph.add_edge((f"{unit.id}:{name}", "any"), (f"{unit.id}:{name}", "inside"))
        for link in part.links:
            if link.a in names:
                ways = [(link.a, link.b), (link.b, link.a)]
                for a, b in ways if not link.one_way else ways[1:] if upstream else ways[:1]:
                    graph.add_edge((f"{unit.id}:{a}", "inside"), (f"{unit.id}:{b}", "any"))
    for a, b in product(ports, ports):
        sides = tuple(Vertex(plant.units[at[0]].part, at[2]) for at in (a.partition(":"), b.partition(":")))
        if (
            sides in (joints or ())
            or sides[::-1] in (joints or ())
            or (a != b and not list(misfits(plant, a, b)))
        ):
            for one, other in product(_inside(plant, a, medium), _inside(plant, b, medium)):
                if one == other or "" in (one, other):
                    graph.add_edge((f"{a}{one}", "any"), (f"{b}{other}", "inside"))
    found = set[Vertex]()
    goals = {f"{u.id}:{end.name}" for u in plant.units.values() for end in ends if u.part == end.part}
    for item, way in graph:
        if way == "any" and goals & {at for at, _ in nx.descendants(graph, (item, way)) | {(item, way)}}:
            unit, _, name = item.partition(":")
            found.add(Vertex(plant.units[unit].part, name))
    return found


def _inside(plant: Plant, address: str, medium: str) -> list[str]:
    """Return what a port joins in a medium, as what stands behind its address: ``:1`` of a contact, else nothing."""
    unit, _, name = address.partition(":")
    ends = ends_of(plant.parts[plant.units[unit].part].ports[name])
    return [end.removeprefix(name) for end, m in ends.items() if m == medium]


@settings(max_examples=200)
@given(seed=st.integers(0, 2**32))
def test_part_by_part_is_as_unit_by_unit(seed: int) -> None:
    """Who could reach some nodes is the same, also over joints that don't fit; so is which ports something fits."""
    plant = draw_plant(seed)
    makeable = Makeable(plant)
    r = Random(seed)
    for medium in ("fluid", "power"):
        nodes = [
            Vertex(p.id, n.name) for p in makeable.parts() for n in p.nodes.values() if n.medium == medium
        ]
        ends = [end for end in nodes if r.random() < 0.5]
        found = makeable.reaching(medium, ends)
        assert found == slowly(plant, medium, ends)
        ports = [Vertex(p.id, name) for p in makeable.parts() for name in p.ports]
        joints = [(r.choice(ports), r.choice(ports)) for _ in range(3 if ports else 0)]
        assert makeable.reaching(medium, ends, joints) == slowly(plant, medium, ends, joints)
    for unit in plant.units.values():
        for port in plant.parts[unit.part].ports.values():
            here = f"{unit.id}:{port.name}"
            others = [p for u in plant.units for p in plant.ports_of(u) if p != here]
            assert all(
                makeable.fits(Vertex(unit.part, port.name), Vertex(plant.units[u].part, name))
                for u, _, name in (other.partition(":") for other in others)
                if not list(misfits(plant, here, f"{u}:{name}"))
            )
            assert makeable.has_mate(plant.parts[unit.part], port) == any(
                not list(misfits(plant, here, other)) for other in others
            )
