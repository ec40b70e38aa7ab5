"""One medium's network: items as numbers, the links inside units as pairs of numbers, and what gates them.

Items are the ports and nodes of the medium, of shells the contacts, and for structural hold the units and places
themselves. Links come in
three sorts: *internal* ones (made always, or while their gate carries), *interfaces* (made while both halves carry)
and *seats* (a unit on a place that holds what stands on it; hold only).
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Container, Iterator, Mapping, Sequence
from dataclasses import dataclass, field

from cfgtrack.model.configuration import Configuration
from cfgtrack.model.hold import carries, seat_of
from cfgtrack.model.part import Part
from cfgtrack.model.plant import HOLD, Plant
from cfgtrack.network.facing import facing, lines


@dataclass(frozen=True, slots=True)
class PartLinks:
    """What one part contributes to a network: local items and links between them, by local number."""

    names: dict[str, int]
    plain: tuple[tuple[int, int], ...]
    one_way: tuple[tuple[int, int], ...]
    gated: tuple[tuple[int, int, str, bool], ...]


@dataclass(frozen=True, slots=True)
class Arc:
    """A link as the reduced network sees it: between two items, both ways unless `one_way` (then `a` to `b`)."""

    a: int
    b: int
    one_way: bool = False


@dataclass(slots=True)
class Network:
    """One medium of a plant, compiled once. `base` is the first item number of each unit and place.

    `plain` and `one_way` are the links that are always made; `gates` maps the address of a valve or switch to the
    links it gates.
    """

    plant: Plant
    medium: str
    base: dict[str, int] = field(default_factory=dict)
    size: int = 0
    plain: list[tuple[int, int]] = field(default_factory=list)
    one_way: list[tuple[int, int]] = field(default_factory=list)
    gates: dict[str, tuple[Arc, ...]] = field(default_factory=dict)
    _patterns: dict[str, PartLinks] = field(default_factory=dict)
    _items: dict[str, int | None] = field(default_factory=dict)
    _ends: dict[str, Mapping[str, int]] = field(default_factory=dict)
    _owners: list[str] = field(default_factory=list)
    _starts: list[int] = field(default_factory=list)

    def item(self, address: str) -> int | None:
        """Return the number of the item at `address`, or None when it has no place in this medium.

        Remembered after the first call.
        """
        try:
            return self._items[address]
        except KeyError:
            item = self._items[address] = self._find_item(address)
            return item

    def _find_item(self, address: str) -> int | None:
        owner, colon, name = address.partition(":")
        base = self.base.get(owner)
        if base is None:
            return None
        if not colon:
            return base if self.medium == HOLD else None
        local = self._pattern(owner).names.get(name)
        return None if local is None else base + local

    def items(self, address: str) -> tuple[int, ...]:
        """Return the numbers of the items that an address stands for, none where the medium doesn't know it.

        A shell stands for its contacts of the medium; a unit or place, in any medium but hold, for its nodes, or its
        ports where it has no such node.
        """
        item = self.item(address)
        if item is not None:
            return (item,)
        if ":" in address:
            return tuple(self.ends(address).values())
        if self.medium == HOLD or address not in self.base:
            return ()
        inside = self.items_of(address)
        nodes = self.plant.part_of(address).nodes
        chosen = [i for i in inside if i.partition(":")[2] in nodes] or inside
        return tuple(number for i in chosen if (number := self.item(i)) is not None)

    def ends(self, port: str) -> Mapping[str, int]:
        """Return what a port joins in this medium: of a shell its contacts by name, of another itself by "".

        Remembered after the first call.
        """
        found = self._ends.get(port)
        if found is None:
            found = self._ends[port] = self._find_ends(port)
        return found

    def _find_ends(self, port: str) -> Mapping[str, int]:
        item, found = self.item(port), self.plant.port(port)
        if item is not None or found is None:
            return {} if item is None else {"": item}
        ends = {name: self.item(f"{port}:{name}") for name in found[0].contacts}
        return {name: item for name, item in ends.items() if item is not None}

    def pairs(self, near: str, far: str) -> Iterator[Arc]:
        """Yield what two mated ports join in this medium: contacts of one name, or a contact and a port without any."""
        a, b = self.ends(near), self.ends(far)
        for one, other in facing(a, b):
            yield Arc(min(a[one], b[other]), max(a[one], b[other]))

    def address(self, item: int) -> str:
        """Return the address of item number `item`."""
        i = bisect_right(self._starts, item) - 1
        owner, local = self._owners[i], item - self._starts[i]
        for name, number in self._pattern(owner).names.items():
            if number == local:
                return f"{owner}:{name}"
        return owner

    def items_of(self, owner: str) -> list[str]:
        """Return the addresses of the items inside a unit or place: ports and nodes of this medium."""
        return [f"{owner}:{name}" for name in self._pattern(owner).names]

    def _pattern(self, owner: str) -> PartLinks:
        unit = self.plant.units.get(owner)
        return self._patterns[unit.part if unit is not None else self.plant.places[owner].part]


def compile_network(plant: Plant, medium: str) -> Network:
    """Return the network of one medium. One pass over units and places."""
    network = Network(plant, medium)
    hold = medium == HOLD
    for part_id in {u.part for u in plant.units.values()} | {p.part for p in plant.places.values()}:
        network._patterns[part_id] = _pattern_of(plant, plant.parts.get(part_id), medium, hold=hold)
    offset = 0
    for table in (plant.units, plant.places):
        for owner, thing in table.items():
            pattern = network._patterns[thing.part]
            count = len(pattern.names) + hold
            if not count:
                continue
            network.base[owner] = offset
            network._owners.append(owner)
            network._starts.append(offset)
            _add_links(network, owner, pattern, offset)
            offset += count
    network.size = offset
    if hold:
        for place in plant.places.values():
            if place.parent and not place.mobile:
                network.plain.append((network.base[place.id], network.base[place.parent]))
    return network


def _add_links(network: Network, owner: str, pattern: PartLinks, base: int) -> None:
    network.plain.extend([(base + a, base + b) for a, b in pattern.plain])
    network.one_way.extend([(base + a, base + b) for a, b in pattern.one_way])
    for a, b, gate, one_way in pattern.gated:
        key = f"{owner}:{gate}"
        network.gates[key] = (*network.gates.get(key, ()), Arc(base + a, base + b, one_way))


def _pattern_of(plant: Plant, part: Part | None, medium: str, *, hold: bool) -> PartLinks:
    names: dict[str, int] = {}
    if part is None:
        return PartLinks(names, (), (), ())
    first = 1 if hold else 0
    for name, port in part.ports.items():
        kind = plant.kinds[port.kind]
        if kind.joined is None:
            continue
        for line in lines(plant, port, medium):
            names[f"{name}:{line}" if line else name] = first + len(names)
    for name, node in part.nodes.items():
        if node.medium == medium:
            names[name] = first + len(names)
    links = [x for x in part.links if x.a in names and x.b in names]
    plain = [(names[x.a], names[x.b]) for x in links if not x.gate and not x.one_way]
    if hold:
        plain += [(0, local) for local in names.values()]
    one_way = [(names[x.a], names[x.b]) for x in links if not x.gate and x.one_way]
    gated = [(names[x.a], names[x.b], x.gate, x.one_way) for x in links if x.gate]
    return PartLinks(names, tuple(plain), tuple(one_way), tuple(gated))


# --- what a configuration makes ------------------------------------------------------------------------------------


def interface_arcs(network: Network, configuration: Configuration, port: str) -> Sequence[Arc]:
    """Return the links over the interface at `port` if it is made: one, or of shells one for each pair of contacts."""
    state = configuration.state(port)
    if state.other is None or not carries(configuration, port) or not carries(configuration, state.other):
        return ()
    return tuple(network.pairs(port, state.other))


def seat_arc(network: Network, configuration: Configuration, owner: str) -> Arc | None:
    """Return the link between a unit (or mobile place) and the place that holds it by its standing there."""
    seat = seat_of(configuration, owner)
    return Arc(network.base[owner], network.base[seat]) if seat else None


def subject_arcs(network: Network, configuration: Configuration, subject: str) -> Sequence[Arc]:
    """Return the links of this network that depend on the state of `subject` and are made now."""
    if ":" not in subject:
        if network.medium != HOLD:
            return ()
        arc = seat_arc(network, configuration, subject)
        return () if arc is None else (arc,)
    gated = gated_arcs(network, configuration, subject)
    return (*gated, *interface_arcs(network, configuration, subject))


def gated_arcs(network: Network, configuration: Configuration, subject: str) -> tuple[Arc, ...]:
    """Return the links that the valve, switch or half at `subject` gates, if it carries."""
    gated = network.gates.get(subject)
    return gated if gated is not None and carries(configuration, subject) else ()


Links = list[tuple[int, int]]


def state_links(
    network: Network, configuration: Configuration, leave_out: Container[str]
) -> tuple[Links, Links, list[tuple[Arc, str]]]:
    """Return the links that depend on state, each once, except those of the subjects in `leave_out`.

    Made both ways, made one way, and those that a single action would make, each with a subject it depends on. One
    pass over all that has a state, and the longest one of loading a plant: hence written out in full.
    """
    both, single, unmade = _gate_links(network, configuration, leave_out)
    item, port, state_of = network.item, network.plant.port, configuration.state
    for subject, (status, mate, _) in configuration.touched():
        if mate is None or subject > mate or subject in leave_out or mate in leave_out:
            continue
        a, b, near, far = item(subject), item(mate), port(subject), port(mate)
        if near is None or far is None:
            continue
        made = near[1].is_carrying(status) and far[1].is_carrying(state_of(mate).value)
        if a is None or b is None:
            if near[0].contacts or far[0].contacts:
                pairs = network.pairs(subject, mate)
                if made:
                    both += [(arc.a, arc.b) for arc in pairs]
                else:
                    unmade += [(arc, subject) for arc in pairs]
        elif made:
            both.append((a, b))
        else:
            unmade.append((Arc(min(a, b), max(a, b)), subject))
    if network.medium == HOLD:
        both += _seat_links(network, configuration, leave_out)
    return both, single, unmade


def _gate_links(
    network: Network, configuration: Configuration, leave_out: Container[str]
) -> tuple[Links, Links, list[tuple[Arc, str]]]:
    """Return what the valves and switches gate: made both ways, made one way, and not made."""
    both: Links = []
    single: Links = []
    unmade: list[tuple[Arc, str]] = []
    for gate, arcs in network.gates.items():
        if gate in leave_out:
            continue
        if carries(configuration, gate):
            for arc in arcs:
                (single if arc.one_way else both).append((arc.a, arc.b))
        else:
            unmade += [(arc, gate) for arc in arcs]
    return both, single, unmade


def _seat_links(
    network: Network, configuration: Configuration, leave_out: Container[str]
) -> Iterator[tuple[int, int]]:
    """Yield the links of what stands on a place that holds it."""
    owners = dict.fromkeys(s for s, _ in configuration.touched() if ":" not in s)
    owners.update(dict.fromkeys(p.id for p in network.plant.places.values() if p.mobile))
    for owner in owners:
        seat = None if owner in leave_out else seat_arc(network, configuration, owner)
        if seat is not None:
            yield seat.a, seat.b
