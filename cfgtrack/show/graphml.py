"""What is connected to what as GraphML, for programs that draw or ask graphs: a node a port or volume, an edge a link.

An edge is there whether it is made or not; its data say so, and which valve or switch makes it. What holds a unit by
its place alone is no edge. The form is that of
graphml.graphdrawing.org, 1.0, so that networkx, yEd and Gephi read it.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from typing import TYPE_CHECKING
from xml.sax.saxutils import escape, quoteattr

from cfgtrack.model.hold import carries, is_made
from cfgtrack.model.part import Contact, InternalLink, Port
from cfgtrack.network.facing import joined
from cfgtrack.show.visible import visible

if TYPE_CHECKING:
    from cfgtrack.answers.draw import Scene
    from cfgtrack.model.plant import Plant

_NODE = (
    "unit",
    "name",
    "part",
    "title",
    "medium",
    "kind",
    "status",
    "loop",
    "litres",
    "source",
    "expansion",
    "load",
)
_EDGE = ("sort", "medium", "made", "gate", "one_way")
_TYPES = {"litres": "double", "source": "boolean", "expansion": "boolean", "load": "boolean", "made": "boolean",
          "one_way": "boolean"}  # fmt: skip
Data = Mapping[str, object]


def graphml(scene: Scene, media: Iterable[str], *, title: str = "") -> str:
    """Return the networks of some media as one directed graph. A link that passes both ways says `one_way` false."""
    wanted = set(media)
    lines = [
        '<?xml version="1.0" encoding="UTF-8"?>',
        '<graphml xmlns="http://graphml.graphdrawing.org/xmlns">',
        "<!-- cfgtrack -->",
        *_keys(),
        '<graph id="cfgtrack" edgedefault="directed">',
        f'<data key="title">{escape(visible(title or str(scene.moment)))}</data>',
    ]
    for address, data in _items(scene, wanted):
        lines.append(f"<node id={quoteattr(address)}>{_data('n', data)}</node>")
    for number, (a, b, data) in enumerate(_links(scene, wanted), 1):
        ends = f'id="l{number}" source={quoteattr(a)} target={quoteattr(b)}'
        lines.append(f"<edge {ends}>{_data('e', data)}</edge>")
    return "\n".join([*lines, "</graph>", "</graphml>", ""])


def _keys() -> Iterator[str]:
    yield '<key id="title" for="graph" attr.name="title" attr.type="string"/>'
    for letter, what, names in (("n", "node", _NODE), ("e", "edge", _EDGE)):
        for name in names:
            of = _TYPES.get(name, "string")
            yield f'<key id="{letter}-{name}" for="{what}" attr.name="{name}" attr.type="{of}"/>'


def _data(letter: str, data: Data) -> str:
    told = ((name, value) for name, value in data.items() if value not in (None, ""))
    return "".join(f'<data key="{letter}-{name}">{escape(_text(value))}</data>' for name, value in told)


def _text(value: object) -> str:
    return ("true" if value else "false") if isinstance(value, bool) else visible(str(value))


def _items(scene: Scene, media: set[str]) -> Iterator[tuple[str, Data]]:
    """Yield the ports and nodes of the media, with what is known of each."""
    plant = scene.plant
    for owner in plant.owners():
        part = plant.part_of(owner)
        own = {"unit": owner, "part": part.id}
        for port in part.ports.values():
            kind, shell = plant.kinds[port.kind], f"{owner}:{port.name}"
            status = scene.configuration.state(shell).value
            found: list[tuple[str, Port | Contact, str | None]] = [
                (f"{shell}:{contact.name}", contact, contact.medium) for contact in port.contacts.values()
            ]
            for address, end, medium in found or [(shell, port, kind.medium)]:
                if medium in media and kind.joined is not None:
                    name = address.partition(":")[2]
                    yield address, {**own, "name": name, "title": end.title, "medium": medium,
                                    "kind": kind.id, "status": status, "loop": plant.loop_of(address)}  # fmt: skip
        for node in part.nodes.values():
            if node.medium in media:
                address = f"{owner}:{node.name}"
                roles = dict.fromkeys(sorted(node.roles), True)
                yield address, {**own, "name": node.name, "title": node.title, "medium": node.medium,
                                "loop": plant.loop_of(address), "litres": node.litres, **roles}  # fmt: skip


def _links(scene: Scene, media: set[str]) -> Iterator[tuple[str, str, Data]]:
    """Yield the links inside units and the joints between them."""
    plant, now = scene.plant, scene.configuration
    for owner in plant.owners():
        for link in plant.part_of(owner).links:
            medium = _medium(plant, owner, link)
            if medium in media:
                gate = f"{owner}:{link.gate}" if link.gate else ""
                made = not gate or carries(now, gate)
                yield f"{owner}:{link.a}", f"{owner}:{link.b}", {
                    "sort": "inside", "medium": medium, "made": made, "gate": gate, "one_way": link.one_way,
                }  # fmt: skip
        for address in plant.ports_of(owner):
            state, found = now.state(address), plant.port(address)
            far = plant.port(state.other) if state.other and address < state.other else None
            if found is None or far is None:
                continue
            for (one, other), medium in joined(plant, found[0], far[0]).items():
                if medium in media:
                    a, b = (f"{at}:{name}".rstrip(":") for at, name in ((address, one), (state.other, other)))
                    yield a, b, {"sort": "joint", "medium": medium, "made": is_made(now, address), "gate": "",
                                 "one_way": False}  # fmt: skip


def _medium(plant: Plant, owner: str, link: InternalLink) -> str | None:
    part = plant.part_of(owner)
    inside = plant.node(f"{owner}:{link.a}") or plant.contact(f"{owner}:{link.a}")
    return inside.medium if inside is not None else plant.kinds[part.ports[link.a].kind].medium
