"""The inside of a part in one medium, as it is drawn: what is always joined is a bar, what can be shut is a gate.

It follows from the part alone, so a unit looks alike whatever is open or shut.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from cfgtrack.model.part import EXPANSION, LOAD, SOURCE, InternalLink, Node, Part
from cfgtrack.model.plant import Plant
from cfgtrack.network.facing import lines
from cfgtrack.show.drawing.sheet import Symbol


@dataclass(frozen=True, slots=True)
class Group:
    """Ends and nodes that are always joined, by name. A single end is no bar: gates and lines meet at its row."""

    ends: tuple[str, ...]
    nodes: tuple[str, ...]

    @property
    def is_bar(self) -> bool:
        """Whether it is drawn as a bar."""
        return bool(self.nodes) or len(self.ends) > 1

    @property
    def name(self) -> str:
        """What its key ends with."""
        return self.nodes[0] if self.nodes else f"{self.ends[0]} bar" if self.is_bar else self.ends[0]


@dataclass(frozen=True, slots=True)
class Way:
    """A gate between two groups, by their turns: a `link` with what gates it, or one that goes one way."""

    key: str
    a: int
    b: int
    link: InternalLink
    symbol: Symbol


@dataclass(frozen=True, slots=True)
class Interior:
    """`groups` and the `ways` between them; `wholes` are the turns of groups that any ways tie, together.

    `idle`: valves and switches of the medium that gate nothing.
    """

    groups: tuple[Group, ...]
    ways: tuple[Way, ...]
    wholes: tuple[frozenset[int], ...]
    idle: tuple[str, ...] = ()


def interior(plant: Plant, part: Part, medium: str) -> Interior:
    """Return the inside of a part in a medium."""
    two_sided = [p for p in part.ports.values() if plant.kinds[p.kind].joined is not None]
    ends = [f"{p.name}:{line}" if line else p.name for p in two_sided for line in lines(plant, p, medium)]
    nodes = [node.name for node in part.nodes.values() if node.medium == medium]
    names = {name: i for i, name in enumerate([*ends, *nodes])}
    links = [link for link in part.links if link.a in names and link.b in names]
    plain = [(names[x.a], names[x.b]) for x in links if not x.gate and not x.one_way]
    found = _joined(len(names), plain)
    turn = {member: i for i, members in enumerate(found) for member in members}
    listed = list(names)
    groups = tuple(
        Group(
            tuple(listed[m] for m in members if m < len(ends)),
            tuple(listed[m] for m in members if m >= len(ends)),
        )
        for members in found
    )
    ways = tuple(
        Way(key, turn[names[link.a]], turn[names[link.b]], link, _symbol(plant, medium, link))
        for key, link in _keyed([x for x in links if x.gate or x.one_way], ends)
    )
    wholes = tuple(frozenset(some) for some in _joined(len(groups), [(way.a, way.b) for way in ways]))
    gating = {link.gate for link in part.links}
    idle = (
        p.name
        for p in part.ports.values()
        if plant.kinds[p.kind].joined is None and plant.kinds[p.kind].medium == medium
    )
    return Interior(groups, ways, wholes, tuple(name for name in idle if name not in gating))


def _joined(size: int, pairs: Sequence[tuple[int, int]]) -> list[list[int]]:
    """Return numbers below `size`, those that pairs join together, in order."""
    leader = list(range(size))

    def lead(one: int) -> int:
        while leader[one] != one:
            leader[one] = leader[leader[one]]
            one = leader[one]
        return one

    for pair in pairs:
        first, second = sorted(map(lead, pair))
        leader[second] = first
    groups: dict[int, list[int]] = {}
    for one in range(size):
        groups.setdefault(lead(one), []).append(one)
    return list(groups.values())


def _keyed(links: Sequence[InternalLink], ends: Sequence[str]) -> Iterator[tuple[str, InternalLink]]:
    """Yield links with a key for each: its gate's name, and more where that gates several, or is a half itself."""
    used = set(ends)
    for link in links:
        way = f"{link.a} > {link.b}"
        key = link.gate if link.gate and link.gate not in used else f"{link.gate} {way}".strip()
        number = 2
        while key in used:
            key, number = f"{link.gate} {way} {number}".strip(), number + 1
        used.add(key)
        yield key, link


def is_electrical(plant: Plant, medium: str) -> bool:
    """Whether a medium's gates are drawn as switches and diodes: those of current, and what is followed upstream."""
    found = plant.media.get(medium)
    return medium in ("power", "data", "bond") or (found is not None and found.upstream)


def _symbol(plant: Plant, medium: str, link: InternalLink) -> Symbol:
    if is_electrical(plant, medium):
        return Symbol.SWITCH if link.gate else Symbol.DIODE
    return Symbol.VALVE if link.gate else Symbol.CHECK_VALVE


def role_symbol(node: Node) -> Symbol:
    """Return the symbol of what a node is: a source, an expansion vessel, a load."""
    for role, symbol in ((SOURCE, Symbol.SOURCE), (EXPANSION, Symbol.EXPANSION), (LOAD, Symbol.LOAD)):
        if role in node.roles:
            return symbol
    return Symbol.NONE


def is_inline(plant: Plant, part: Part, media: Sequence[str]) -> bool:
    """Whether a part is drawn on its line: a hose, a cable, a pipe; it gives or has two ports in all, no more."""
    two_sided = [p for p in part.ports.values() if plant.kinds[p.kind].joined is not None]
    if len(two_sided) < 2 or (len(part.ports) > 2 and not part.flexible):
        return False
    if (
        any(plant.kinds[p.kind].medium not in media and not p.contacts for p in two_sided)
        and not part.flexible
    ):
        return False
    return not any(node.roles for node in part.nodes.values()) and not any(
        link.gate or link.one_way for link in part.links
    )
