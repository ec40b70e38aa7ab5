"""What a plant is made of, in numbers."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator

from cfgtrack.answers.moment import Moment
from cfgtrack.model.plant import Plant
from cfgtrack.show.tables import count, heading, sections, table


def overview_text(plant: Plant, moment: Moment) -> str:
    """Return the numbers of units and places, and of ports, nodes and internal links by medium; parts one by one."""
    title = (
        f"{count(len(plant.units), 'unit')} of {count(len(plant.parts), 'part')}, "
        f"{count(len(plant.places), 'place')}"
    )
    return sections(
        heading(title, moment),
        table(["medium", "title", "ports", "of which", "nodes", "internal links"], _media(plant)),
        table(["part", "title", "units", "places", "ports", "nodes"], _parts(plant)),
    )


def _uses(plant: Plant) -> tuple[Counter[str], Counter[str]]:
    return Counter(u.part for u in plant.units.values()), Counter(p.part for p in plant.places.values())


def _media(plant: Plant) -> Iterator[list[object]]:
    units, places = _uses(plant)
    kinds: dict[str, Counter[str]] = {medium: Counter() for medium in [*plant.media, ""]}
    nodes: Counter[str] = Counter()
    links: Counter[str] = Counter()
    for part in plant.parts.values():
        times = units[part.id] + places[part.id]
        for port in part.ports.values():
            kinds[plant.kinds[port.kind].medium or ""][port.kind] += times
        for node in part.nodes.values():
            nodes[node.medium] += times
        for link in part.links:
            end = part.nodes.get(link.a)
            links[end.medium if end else plant.kinds[part.ports[link.a].kind].medium or ""] += times
    for medium, counted in kinds.items():
        listed = ", ".join(f"{n} {kind}" for kind, n in counted.items() if n)
        if listed or nodes[medium]:
            title = plant.media[medium].title if medium else "no medium"
            total = sum(counted.values())
            yield [medium or "-", title, total, listed, nodes[medium] or None, links[medium] or None]


def _parts(plant: Plant) -> Iterator[list[object]]:
    units, places = _uses(plant)
    for part in plant.parts.values():
        yield [
            part.id,
            part.title,
            units[part.id] or None,
            places[part.id] or None,
            len(part.ports) or None,
            len(part.nodes) or None,
        ]
