"""What in a definition looks wrong, though it holds together? Each check is a function over a `Ground`.

To add one: write a function that yields `Doubt`s, and put a `Check` of it into `CHECKS`, with the reason why it matters
and what would cure it. Nothing else lists them.
"""

from __future__ import annotations

import re
from collections import Counter, defaultdict
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from functools import cached_property, lru_cache
from itertools import combinations
from operator import attrgetter
from typing import Any, ClassVar

from cfgtrack.analysis.redefinition import made_joints
from cfgtrack.model.configuration import Configuration
from cfgtrack.model.part import EXPANSION, LOAD, SOURCE, Contact, InternalLink, Node, Part, Port
from cfgtrack.model.plant import HOLD, Place, Plant, Unit, owner_of
from cfgtrack.model.presence import site_of
from cfgtrack.network.facing import facing, lines, unlike
from cfgtrack.network.makeable import Makeable, Vertex, carriers
from cfgtrack.rules.rule import Rule, RuleSet
from cfgtrack.rules.saying import say_list
from cfgtrack.rules.selection import ANYTHING, Selection

POWER, CONTROL = "power", "control"
"""The words by which a tag or loop says what a thing belongs to: alone, or one of several (``CONTROL-24V``)."""


@dataclass(frozen=True, slots=True)
class Doubt:
    """One thing that looks wrong. `where` is a part, unit, place, rule, medium or kind; `items` what in it is meant.

    `times`: of a part, how many units and places are so.
    """

    where: str
    items: tuple[str, ...]
    sentence: str
    times: int = 1


@dataclass(frozen=True, slots=True)
class Check:
    """A check: its word, why what it finds matters, what would cure it, and what finds it.

    `of_rules`: it is about rules, and made when they are loaded as well.
    """

    untold: ClassVar[tuple[str, ...]] = ("find", "of_rules")

    code: str
    reason: str
    cure: str
    find: Callable[[Ground], Iterator[Doubt]] = field(repr=False)
    of_rules: bool = False


@dataclass(frozen=True, slots=True)
class Vetted:
    """What one check found."""

    check: Check
    doubts: tuple[Doubt, ...]


@dataclass
class Ground:
    """What the checks look at: a configuration, for what is joined and where things stand, and the rules."""

    now: Configuration
    rules: RuleSet = field(default_factory=RuleSet)

    @property
    def plant(self) -> Plant:
        """The plant."""
        return self.now.plant

    @cached_property
    def makeable(self) -> Makeable:
        """What could be joined."""
        return Makeable(self.plant)

    @cached_property
    def misfits(self) -> list[tuple[Vertex, Vertex]]:
        """The ports, each pair once, that are joined though they don't fit: found so, or defined otherwise since."""
        joints = dict.fromkeys((self.vertex(a), self.vertex(b)) for a, b in made_joints(self.now))
        return [(a, b) for a, b in joints if a and b and not self.makeable.fits(a, b)]

    def reaching(self, medium: str, ends: Collection[Vertex], wanted: Collection[Vertex]) -> set[Vertex]:
        """Return what could have a path to any of `ends`.

        Where some of the `wanted` couldn't, what is joined though it doesn't fit counts as well: it is joined.
        """
        found = self.makeable.reaching(medium, ends)
        if found.issuperset(wanted):
            return found
        return self.makeable.reaching(medium, ends, self.misfits)

    def nodes(self) -> Iterator[tuple[Part, Node]]:
        """Yield every node of every part that there is something of."""
        for part in self.makeable.parts():
            for node in part.nodes.values():
                yield part, node

    def ends(self, medium: str, role: str = "") -> list[Vertex]:
        """Return the nodes of a medium, or those that have a role."""
        found = ((part, node) for part, node in self.nodes() if node.medium == medium)
        return [Vertex(part.id, node.name) for part, node in found if not role or role in node.roles]

    def port(self, at: Vertex) -> Port:
        """Return a port of a part."""
        return self.plant.parts[at.part].ports[at.name]

    def vertex(self, address: str) -> Vertex | None:
        """Return which port of which part there is at an address, None where there is none."""
        owner, _, name = address.partition(":")
        return None if self.plant.port(address) is None else Vertex(self.plant.part_of(owner).id, name)

    def of_part(self, part: Part, items: Iterable[str], sentence: str) -> Doubt:
        """Return a doubt about ports or nodes of a part."""
        return Doubt(part.id, tuple(items), sentence, self.makeable.owners[part.id])


def vet(ground: Ground, *, rules_alone: bool = False) -> tuple[Vetted, ...]:
    """Return what every check finds, of those that find something, in their order; or those about rules alone."""
    checks = (check for check in CHECKS if check.of_rules or not rules_alone)
    found = (Vetted(check, tuple(check.find(ground))) for check in checks)
    return tuple(one for one in found if one.doubts)


# --- ends that can be swapped -------------------------------------------------------------------------------------


def _swappable(ground: Ground) -> Iterator[Doubt]:
    """Ports of one part that fit the same mates. Bolts are meant to be alike; so are ends that differ in nothing."""
    held_apart = {k.id for k in ground.plant.kinds.values() if k.joined is None or k.medium == HOLD}
    for part in ground.makeable.parts():
        alike = defaultdict[Any, list[Port]](list)
        shells = any(port.contacts for port in part.ports.values())
        for port in part.ports.values():
            if port.kind not in held_apart:
                alike[_FORM(port)].append(port)
        for (kind_id, size, _, keying), ports in alike.items():
            if len(ports) < 2:
                continue
            # Of two sorts each port has one of the other sort beside it; of one, their links may tell them apart.
            is_mixed = len(set(map(_SAID, ports))) > 1 or (shells and len(set(map(_inside, ports))) > 1)
            mixed = ports if is_mixed else [a for a in ports if any(_turned(part, a, b) for b in ports)]
            if mixed:
                keyed = f"all keyed {keying}" if keying else "not keyed"
                names = [port.name for port in mixed]
                sized = f"{kind_id} {size}".rstrip()
                yield ground.of_part(
                    part, names, f"{say_list(names)} are {sized}, {keyed}: each fits where another belongs"
                )


_FORM = attrgetter("kind", "size", "gender", "keying")
"""What decides what a port fits."""

_SAID = attrgetter("loop", "tags", "rated_pressure", "rated_current")
"""What is said of a port itself that another may not have."""


def _turned(part: Part, a: Port, b: Port) -> bool:
    """Return whether it matters for the links of a part which of two ports is which."""
    if a is b or not part.links:
        return False
    if part.flexible and len(part.ports) == 2 and not a.contacts:
        return any(link.one_way for link in part.links)
    swapped = {a.name: b.name, b.name: a.name}
    for name in a.contacts:
        swapped |= {f"{a.name}:{name}": f"{b.name}:{name}", f"{b.name}:{name}": f"{a.name}:{name}"}
    return _links(part, {}) != _links(part, swapped)


def _inside(port: Port) -> frozenset[object]:
    """Return what is said of the contacts of a port that those of another may not have."""
    return frozenset((c.name, c.medium, c.loop, c.tags, c.rated_current) for c in port.contacts.values())


def _links(part: Part, renamed: Mapping[str, str]) -> set[tuple[object, ...]]:
    """Return the links of a part, with some ports called otherwise."""
    return {_link(link, renamed) for link in part.links}


def _link(link: InternalLink, renamed: Mapping[str, str]) -> tuple[object, ...]:
    a, b = (renamed.get(end, end) for end in (link.a, link.b))
    ends = (a, b) if link.one_way else tuple(sorted((a, b)))
    return (*ends, link.gate, link.one_way)


# --- contacts that don't belong together --------------------------------------------------------------------------


def _unlike_contacts(ground: Ground) -> Iterator[Doubt]:
    """Shells that are mated, or are made for each other by size or keying, and of which a contact faces another one.

    Shells that are alike are told once: a part at a time.
    """
    if not any(port.contacts for part in ground.makeable.parts() for port in part.ports.values()):
        return
    told = set[frozenset[_Pins]]()
    pairs = Counter[tuple[Vertex, Vertex]]()
    for a, b in made_joints(ground.now):
        near, far = (ground.vertex(address) for address in (a, b))
        if near is not None and far is not None:
            pairs[near, far] += 1
    for (near, far), times in pairs.items():
        one, other = ground.port(near), ground.port(far)
        there = f"{far.name} of {far.part}"
        if differ := unlike(one, other, near.name, there):
            told.add(frozenset((_pins(one), _pins(other))))
            sentence = f"{near.name} is mated to {there}: {'; '.join(differ)}"
            yield Doubt(near.part, (near.name,), sentence, times)
    yield from _made_for_each_other(ground, told)


def _made_for_each_other(ground: Ground, told: set[frozenset[_Pins]]) -> Iterator[Doubt]:
    """Yield shells with the first half that they fit by a size or keying of both, and that has other contacts."""
    sized = defaultdict[str, dict[_Pins, Vertex]](dict)
    for part in ground.makeable.parts():
        for port in part.ports.values():
            for by in (f"size {port.size}", f"keying {port.keying}"):
                sized[by].setdefault(_pins(port), Vertex(part.id, port.name))
    for at in [Vertex(part.id, name) for part in ground.makeable.parts() for name in part.ports]:
        port = ground.port(at)
        others = {**sized[f"size {port.size}"], **sized[f"keying {port.keying}"]} if port.contacts else {}
        unlikes = []
        for pins, far in others.items():
            pair = frozenset((_pins(port), pins))
            if pair in told or not ground.makeable.belong_together(port, ground.port(far)):
                continue
            if differ := unlike(port, ground.port(far), port.name, f"{far.name} of {far.part}"):
                told.add(pair)
                unlikes.append(f"{far.name} of {far.part}: {'; '.join(differ)}")
        if unlikes:
            more = f"; and {len(unlikes) - 1} more" if len(unlikes) > 1 else ""
            part = ground.plant.parts[at.part]
            yield ground.of_part(part, [port.name], f"{port.name} fits {unlikes[0]}{more}")


_Pins = tuple[object, ...]
"""What of a shell decides what it fits, and what faces what then."""


def _pins(port: Port) -> _Pins:
    contacts = frozenset((c.name, c.medium, c.loop) for c in port.contacts.values())
    return port.kind, port.size, port.keying, port.gender, contacts


# --- volumes and loads --------------------------------------------------------------------------------------------


def _without_expansion(ground: Ground) -> Iterator[Doubt]:
    needs = {m.id: m.volumes_need for m in ground.plant.media.values()}
    volumes = [(part, node) for part, node in ground.nodes() if ground.plant.is_liquid(node)]
    yield from _unreached(ground, volumes, needs, "{} has no path to any {}, whatever is joined and opened")


def _unfed(ground: Ground) -> Iterator[Doubt]:
    loads = [(part, node) for part, node in ground.nodes() if LOAD in node.roles]
    needs = dict.fromkeys((node.medium for _, node in loads), SOURCE)
    yield from _unreached(
        ground, loads, needs, "{} has no path to any {}, whatever is joined and switched on"
    )


def _unreached(
    ground: Ground, nodes: Collection[tuple[Part, Node]], needs: Mapping[str, str], form: str
) -> Iterator[Doubt]:
    for medium in dict.fromkeys(node.medium for _, node in nodes):
        role = needs.get(medium, EXPANSION)
        wanted = {Vertex(part.id, node.name): part for part, node in nodes if node.medium == medium}
        reached = ground.reaching(medium, ground.ends(medium, role), wanted)
        for (_, name), part in wanted.items():
            if Vertex(part.id, name) not in reached:
                yield ground.of_part(part, [name], form.format(name, role))


def _without_rating(ground: Ground) -> Iterator[Doubt]:
    """Volumes of which nobody says what they bear: how long, or which pressure; and what is beside rated currents."""
    for part in ground.makeable.parts():
        liquid = (node for node in part.nodes.values() if ground.plant.is_liquid(node))
        names = [node.name for node in liquid if EXPANSION not in node.roles and node.rated_pressure is None]
        if names and part.trapped is None:
            yield ground.of_part(
                part, names, f"{say_list(names)}: nothing says how long liquid may be shut in there"
            )
        yield from _without_current(ground, part)


def _without_current(ground: Ground, part: Part) -> Iterator[Doubt]:
    """Ports and contacts of a part that are rated for no current, where others of their medium are."""
    if not any(port.rated_current is not None or port.contacts for port in part.ports.values()):
        return
    rated = defaultdict[str, dict[str, bool]](dict)
    for name, port in part.ports.items():
        kind = ground.plant.kinds[port.kind]
        if kind.joined is not None:
            own = port.rated_current is not None
            for contact in port.contacts.values():
                rated[contact.medium][f"{name}:{contact.name}"] = own or contact.rated_current is not None
            if not port.contacts and kind.medium is not None:
                rated[kind.medium][name] = own
    for medium, ends in rated.items():
        names = [name for name, is_rated in ends.items() if not is_rated]
        if names and len(names) < len(ends):
            sentence = f"{say_list(names)}: nothing says what current, as it does of other {medium} here"
            yield ground.of_part(part, names, sentence)


# --- ports that nothing can reach ---------------------------------------------------------------------------------


def _without_mate(ground: Ground) -> Iterator[Doubt]:
    makeable, kinds = ground.makeable, ground.plant.kinds
    for part in makeable.parts():
        for port in part.ports.values():
            if kinds[port.kind].joined is not None and not makeable.has_mate(part, port):
                said = [port.kind, port.size, f"keyed {port.keying}" if port.keying else "", port.gender]
                what = ", ".join(one for one in said if one)
                yield ground.of_part(part, [port.name], f"nothing in the plant fits {port.name} ({what})")


def _without_path(ground: Ground) -> Iterator[Doubt]:
    """Ports from which no node could be reached, of media that have nodes at all."""
    for medium in ground.plant.media:
        ends = ground.ends(medium)
        if not ends or medium == HOLD:
            continue
        parts = list(ground.makeable.parts())
        names = {part.id: list(carriers(ground.plant, part, medium)) for part in parts}
        reached = ground.reaching(
            medium, ends, [Vertex(part, n) for part, some in names.items() for n in some]
        )
        for part in parts:
            ways = {n: Vertex(part.id, n) in reached for n in names[part.id]}
            # Spare contacts are no doubt: a shell is one if none of its contacts has a path.
            used = {Vertex(part.id, n).port for n, is_reached in ways.items() if is_reached}
            lost = [n for n in ways if Vertex(part.id, n).port not in used]
            if lost:
                yield ground.of_part(part, lost, f"no {medium} path leads from {say_list(lost)} to anything")


def _leading_nowhere(ground: Ground) -> Iterator[Doubt]:
    """Ports that no link inside their part leads to, and valves that gate none, where the part has links or nodes."""
    kinds = {k.id: k for k in ground.plant.kinds.values() if k.medium not in (None, HOLD) and k.carries}
    for part in ground.makeable.parts():
        linked = _linked(part)
        led_to = _media_inside(ground, part, linked)
        gates = {link.gate for link in part.links}
        for port in part.ports.values():
            kind = kinds.get(port.kind)
            if kind is None or (kind.joined is not None and not led_to):
                continue
            if kind.joined is None and port.name not in gates:
                yield ground.of_part(
                    part, [port.name], f"{port.name} gates no link: whether it carries changes nothing"
                )
            elif (
                kind.joined is not None
                and port.name not in linked
                and not led_to.isdisjoint(port.media(kind.medium))
            ):
                yield ground.of_part(part, [port.name], f"{port.name} leads to nothing inside {part.id}")


def _media_inside(ground: Ground, part: Part, linked: Collection[str]) -> set[str]:
    """Return the media that get anywhere inside a part: to a node, or from one port to another."""
    found = {node.medium for node in part.nodes.values()}
    for name in part.ports.keys() & linked:
        kind = ground.plant.kinds[part.ports[name].kind]
        if kind.joined is not None:
            found.update(part.ports[name].media(kind.medium))
    return found


def _linked(part: Part) -> set[str]:
    """Return the nodes and ports that links inside a part lead to; of a shell it is enough that one contact is so."""
    return {Vertex(part.id, end).port for link in part.links for end in (link.a, link.b)}


def _out_of_reach(ground: Ground) -> Iterator[Doubt]:
    """Ports that nobody can work, in a plant with sites: at no site, and nowhere from which they are worked as well."""
    plant = ground.plant
    if not plant.has_sites:
        return
    if not any(place.mobile for place in plant.places.values()):
        sites = [place.id for place in plant.places.values() if place.site]
        yield Doubt(
            sites[0], tuple(sites), "the plant has sites, and no person or machine that could be there"
        )
        return
    for owner in plant.owners():
        ports = [p.name for p in plant.part_of(owner).ports.values() if not p.site and not p.remote]
        if ports and not site_of(ground.now, owner):
            addresses = tuple(f"{owner}:{name}" for name in ports)
            at = ground.now.state(owner).value if plant.can_move(owner) else owner
            where = f"stands at {at}, around which is no site" if at else "has no known place"
            yield Doubt(owner, addresses, f"{owner} {where}: nobody can work {say_list(ports)}")


# --- circuits: what is joined now, with every valve and switch open -----------------------------------------------


@dataclass(slots=True)
class _Circuits:
    """The circuits of a medium: sets of (unit or place, set of its ports, contacts and nodes), joined by what is mated
    now.
    """

    ground: Ground
    medium: str
    inside: dict[str, dict[str, int]] = field(default_factory=dict)
    joints: dict[tuple[str, int], list[tuple[tuple[str, int], str]]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        plant = self.ground.plant
        for part in self.ground.makeable.parts():
            self.inside[part.id] = _together(part, list(carriers(plant, part, self.medium)))
        for shell, mate in made_joints(self.ground.now):
            for a, b in self._facing(shell, mate):
                near, far = self.at(a), self.at(b)
                if near is not None and far is not None:
                    self.joints.setdefault(near, []).append((far, f"{a} - {b}"))
                    self.joints.setdefault(far, []).append((near, f"{a} - {b}"))

    def _facing(self, near: str, far: str) -> Iterator[tuple[str, str]]:
        """Yield what two mated ports join of the medium: of shells their contacts of one name."""
        plant = self.ground.plant
        ports = [(address, found[0]) for address in (near, far) if (found := plant.port(address))]
        if len(ports) == 2:
            for one, other in facing(*(lines(plant, port, self.medium) for _, port in ports)):
                yield f"{near}:{one}".rstrip(":"), f"{far}:{other}".rstrip(":")

    def at(self, address: str) -> tuple[str, int] | None:
        """Return where an address is."""
        owner, _, name = address.partition(":")
        part = self.ground.plant.part_of(owner).id if self.ground.plant.has_owner(owner) else ""
        number = self.inside.get(part, {}).get(name)
        return None if number is None else (owner, number)

    def circuits(self) -> Iterator[list[tuple[str, int]]]:
        """Yield every circuit of more than one unit or place."""
        seen = set[tuple[str, int]]()
        for start in self.joints:
            if start not in seen:
                found = list(self.ways(start))
                seen.update(found)
                yield found

    def ways(self, start: tuple[str, int]) -> dict[tuple[str, int], tuple[str, ...]]:
        """Return all that is joined to a start, each with the joints that lead there, the fewest first."""
        ways: dict[tuple[str, int], tuple[str, ...]] = {start: ()}
        queue = [start]
        for here in queue:
            for there, joint in self.joints.get(here, ()):
                if there not in ways:
                    ways[there] = (*ways[here], joint)
                    queue.append(there)
        return ways

    def items(self, at: tuple[str, int]) -> Iterator[str]:
        """Yield the ports, contacts and nodes of one unit or place in a circuit."""
        owner, number = at
        part = self.ground.plant.part_of(owner)
        yield from (f"{owner}:{name}" for name, one in self.inside[part.id].items() if one == number)


def _together(part: Part, names: Collection[str]) -> dict[str, int]:
    """Return what links of a medium lead to in a part, by what they join, every gate open: a number for each set."""
    sets = {name: number for number, name in enumerate(names)}
    for link in part.links:
        if link.a in sets and link.b in sets and sets[link.a] != sets[link.b]:
            old, new = sets[link.b], sets[link.a]
            sets = {name: new if number == old else number for name, number in sets.items()}
    return sets


def _unnamed_loops(ground: Ground) -> Iterator[Doubt]:
    """Circuits of liquid of which some volume says no loop."""
    plant = ground.plant
    for medium in dict.fromkeys(node.medium for _, node in ground.nodes() if plant.is_liquid(node)):
        circuits = _Circuits(ground, medium)
        for circuit in circuits.circuits():
            items = (item for at in circuit for item in circuits.items(at))
            volumes = [
                item for item in items if (node := plant.node(item)) is not None and plant.is_liquid(node)
            ]
            unnamed = tuple(item for item in volumes if not plant.loop_of(item))
            names = sorted({plant.loop_of(item) for item in volumes} - {""})
            if unnamed:
                of = (
                    f"are joined to loop {say_list(names)}, and say"
                    if names
                    else "are one loop, which nobody names: they say"
                )
                if len(unnamed) == 1:
                    of = of.replace("are", "is", 1).replace(" say", " says").replace("they", "it")
                yield Doubt(owner_of(unnamed[0]), unnamed, f"{say_list(unnamed)} {of} no loop")


def _power_and_control(ground: Ground) -> Iterator[Doubt]:
    """Circuits in which something of control has a path to something of power.

    What belongs where is said by tags and loops, of ports, nodes, units and parts. A source that nobody calls control's
    is one of power. Kinds of two media that fit each other join power with control wherever somebody errs.
    """
    marks = _Marks(ground.plant)
    if any(True for _ in marks.owners()):
        for medium in ground.plant.media:
            if medium != HOLD:
                yield from _mixed(ground, medium, marks)
    for a, b in combinations(
        sorted({p.kind for part in ground.makeable.parts() for p in part.ports.values() if not p.contacts}), 2
    ):
        one, other = ground.plant.kinds[a], ground.plant.kinds[b]
        if one.mates_with(other) and one.medium != other.medium:
            yield Doubt(
                a,
                (a, b),
                f"{a} ({one.medium}) and {b} ({other.medium}) fit each other: two media in one joint",
            )


def _mixed(ground: Ground, medium: str, marks: _Marks) -> Iterator[Doubt]:
    circuits = _Circuits(ground, medium)
    alone = {
        (owner, number)
        for owner in marks.owners()
        for number in circuits.inside.get(marks.part(owner), {}).values()
    }
    told = set[tuple[str, int]]()
    for start in [*circuits.joints, *(alone - circuits.joints.keys())]:
        if start in told:
            continue
        ways = circuits.ways(start)
        told.update(ways)
        items = [item for at in ways for item in circuits.items(at)]
        control = next((item for item in items if marks.is_control(item)), None)
        power = next((item for item in items if marks.is_power(item)), None)
        if control is not None and power is not None:
            begin, end = circuits.at(control), circuits.at(power)
            assert begin is not None
            assert end is not None
            way = circuits.ways(begin)[end]
            through = f" through {say_list(way)}" if way else f" inside {owner_of(control)}"
            yield Doubt(
                owner_of(control),
                (control, power),
                f"{control}, of control, has a path to {power}, of power,{through}",
            )


@dataclass(slots=True)
class _Marks:
    """What belongs to power and what to control, by the words of tags and loops."""

    plant: Plant

    def owners(self) -> Iterator[str]:
        """Yield the units and places that are called control's, or have a port or node that is."""
        names = {part.id for part in self.plant.parts.values() if self._has_control(part)}
        for owner in self.plant.owners():
            if self.part(owner) in names or CONTROL in self._own(owner):
                yield owner

    def part(self, owner: str) -> str:
        """Return the part of a unit, or of the fittings of a place."""
        return self.plant.part_of(owner).id

    def _has_control(self, part: Part) -> bool:
        inside: list[Port | Contact | Node] = [*part.ports.values(), *part.nodes.values()]
        inside += (contact for port in part.ports.values() for contact in port.contacts.values())
        said = {*part.tags, *(x.loop for x in inside)}.union(*{x.tags for x in inside})
        return CONTROL in _words(said)

    def _own(self, owner: str) -> set[str]:
        unit = self.plant.units.get(owner)
        thing: Unit | Place = self.plant.places[owner] if unit is None else unit
        return _words((*thing.tags, thing.loop))

    def _said(self, item: str) -> set[str]:
        owner, _, name = item.partition(":")
        part, contact = self.plant.part_of(owner), self.plant.contact(item)
        shell = part.ports.get(name.partition(":")[0])
        for thing in (contact, shell or part.nodes[name]):
            own = set[str]() if thing is None else _words((*thing.tags, thing.loop))
            if own & {POWER, CONTROL}:
                return own
        return self._own(owner) | _words(part.tags)

    def is_control(self, item: str) -> bool:
        """Return whether a port, contact or node is called control's, by itself or else by what it belongs to."""
        return CONTROL in self._said(item)

    def is_power(self, item: str) -> bool:
        """Return whether it is called power's, or is a source that nobody calls control's."""
        said, node = self._said(item), self.plant.node(item)
        return CONTROL not in said and (POWER in said or (node is not None and SOURCE in node.roles))


def _words(names: Iterable[str]) -> set[str]:
    return {word for name in names for word in _words_of(name)}


@lru_cache(maxsize=4096)
def _words_of(name: str) -> tuple[str, ...]:
    return tuple(re.split(r"[^a-z]+", name.casefold()))


# --- rules --------------------------------------------------------------------------------------------------------


def _idle_rules(ground: Ground) -> Iterator[Doubt]:
    """Rules that nothing in the plant can be an item of, wherever it is taken."""
    for rule in ground.rules.rules:
        selections = _deciding(rule)
        if selections and not any(one.candidates(ground.plant) for one in selections):
            named = " and ".join(dict.fromkeys(one.words() for one in selections))
            yield Doubt(rule.id, (), f"{rule.id} is about {named}: there is none")


def _deciding(rule: Rule) -> list[Selection]:
    """Return the selections that say what a rule guards, as `Rule.guards` reads them."""
    if rule.scope is not None:
        return [rule.scope]
    match = rule.mode.match
    if match is not None:
        return [] if match.of == ANYTHING else [match.of]
    return [one for one in rule.condition.checked() if not one.of]


CHECKS: tuple[Check, ...] = (
    Check(
        "swappable",
        "two ends side by side that fit each other's mates get swapped, and nobody sees it",
        "key them differently, give them different sizes, or declare the links inside that make them the same",
        _swappable,
    ),
    Check(
        "unlike-contacts",
        "what is joined there is not what either drawing says: a wire ends, or one medium comes to another",
        "give both shells the same contacts, or sizes or keys by which they don't fit",
        _unlike_contacts,
    ),
    Check(
        "power-and-control",
        "a fault in the power circuit reaches what controls it",
        "separate them, isolate them, or tag a source that is control's own as `control`",
        _power_and_control,
    ),
    Check(
        "no-expansion",
        "liquid that is shut in and warmed bursts what holds it",
        "give the volume a way to an expansion, or say that its medium is a gas (`volumes_need`)",
        _without_expansion,
    ),
    Check(
        "no-rating",
        "nobody can tell what it bears",
        "say how long liquid may stay shut in with `trapped` of the part, or what the volume bears with"
        " `rated_pressure`; of a port or contact, `rated_current`",
        _without_rating,
    ),
    Check(
        "unfed",
        "a load that no source can feed is never powered",
        "link it to a port, or define what feeds it",
        _unfed,
    ),
    Check(
        "no-mate",
        "a half that nothing fits can't be joined, and rules that wait for it wait for ever",
        "look at kind, size, keying and gender of what it should fit, or define that",
        _without_mate,
    ),
    Check(
        "no-path",
        "what is joined there leads to nothing: no rule on paths sees it",
        "link the port to a node inside its part, or define what it is joined to",
        _without_path,
    ),
    Check(
        "leads-nowhere",
        "what is joined or opened there changes no path: no rule on paths sees it",
        "link it inside the part, or have it gate a link",
        _leading_nowhere,
    ),
    Check(
        "out-of-reach",
        "work is done where the worker is, and nobody can be there",
        "say where the thing is ([initial]), declare a site around it, or say from where it is worked (`remote`)",
        _out_of_reach,
    ),
    Check(
        "unnamed-loop",
        "rules and pictures that name loops leave it out",
        "give the units, or the volumes, their `loop`",
        _unnamed_loops,
    ),
    Check(
        "idle-rule",
        "a rule that guards nothing looks like protection",
        "look at what it selects, or leave it out",
        _idle_rules,
        of_rules=True,
    ),
)
