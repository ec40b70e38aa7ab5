"""What is true at one instant, read slowly: selections, networks and conditions, worked out afresh from the events.

Nothing here is reduced, indexed, tallied or kept. What that means over time is read in `tests/rules/oracle`.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from fnmatch import fnmatchcase

import networkx as nx

from cfgtrack.model.configuration import Configuration
from cfgtrack.model.event import Event
from cfgtrack.model.part import EXPANSION, LOAD, SOURCE, Node
from cfgtrack.model.plant import Plant, owner_of
from cfgtrack.rules.condition import Condition
from cfgtrack.rules.match import ActionMatch
from cfgtrack.rules.rule import Rule
from cfgtrack.rules.selection import Selection
from cfgtrack.rules.what.all import All
from cfgtrack.rules.what.any import AnyOf
from cfgtrack.rules.what.count import Count
from cfgtrack.rules.what.done import Done
from cfgtrack.rules.what.locked import Locked
from cfgtrack.rules.what.no_path import NoPath
from cfgtrack.rules.what.not_ import Not
from cfgtrack.rules.what.path import Path
from cfgtrack.rules.what.status import Status
from cfgtrack.rules.what.tagged import Tagged
from cfgtrack.rules.what.untagged import Untagged
from cfgtrack.rules.what.value import Value
from cfgtrack.rules.when.at import At
from cfgtrack.rules.when.within import Within

Broken = tuple[str, str, int, int, int | None]
MICRO = 1_000_000


# --- the plant: what is where -----------------------------------------------------------------------------------


def everything(plant: Plant) -> list[str]:
    """Return every address of a plant."""
    owners = [*plant.units, *plant.places]
    inside = [f"{o}:{n}" for o in owners for n in (*plant.part_of(o).ports, *plant.part_of(o).nodes)]
    return [*owners, *inside]


def where(now: Configuration, owner: str) -> list[str]:
    """Return the places around a unit, or a place and those around it."""
    plant, line = now.plant, []
    at = now.state(owner).value if owner in plant.units else owner
    while at and at not in line:
        line.append(at)
        at = now.state(at).value if plant.places[at].mobile else plant.places[at].parent
    return line


def is_at(now: Configuration, owner: str, patterns: Sequence[str]) -> bool:
    """Return whether an owner is at or inside a place that is named, or that has a tag that is; a unit has a home."""
    unit = now.plant.units.get(owner)
    return any(
        p[1:] in now.plant.places[place].tags
        if p.startswith("#")
        else place == unit.home
        if p == "home" and unit is not None
        else fnmatchcase(place, p)
        for place in where(now, owner)
        for p in patterns
    )


def named(s: Selection, now: Configuration, it: str | None) -> list[str]:
    """Return what a selection names now."""
    sorts = _sorts(s)
    return [a for a in _start(s.of, now, it) if _fits(s, sorts, now, a)]


def _start(reference: str, now: Configuration, it: str | None) -> list[str]:
    plant = now.plant
    if not reference:
        return everything(plant)
    if it is None:
        return []
    owner = owner_of(it)
    mate = now.state(it).other if plant.port(it) else None
    return {
        "it": [it],
        "peer of it": [mate] if mate else [],
        "unit of it": [owner],
        "ports of it": [f"{owner}:{n}" for n in plant.part_of(owner).ports],
        "nodes of it": [f"{owner}:{n}" for n in plant.part_of(owner).nodes],
        "place of it": where(now, owner)[:1],
    }[reference]


def _sorts(s: Selection) -> set[str]:
    every = {"port", "node", "unit", "place"}
    inside = {":" in i for i in s.ids}
    told = [
        (bool(s.what), set(s.what)),
        (bool(s.of), every),
        ({s.source, s.expansion, s.load, s.liquid} != {None}, {"node"}),
        (bool(s.kinds), {"port"}),
        (bool(s.media), {"port", "node"}),
        (s.mobile is not None, {"place"}),
        (len(inside) == 2, every),
        (inside == {True}, {"port", "node"}),
        (inside == {False}, {"unit", "place"}),
        (bool(s.parts), {"unit"}),
    ]
    return next((sorts for so, sorts in told if so), every)


def _is_liquid(plant: Plant, node: Node) -> bool:
    return node.litres is not None and plant.media[node.medium].volumes_need == "expansion"


def _fits(s: Selection, sorts: set[str], now: Configuration, address: str) -> bool:
    plant = now.plant
    owner, _, name = address.partition(":")
    part, unit, place = plant.part_of(owner), plant.units.get(owner), plant.places.get(owner)
    port, node = part.ports.get(name), part.nodes.get(name)
    sort = "port" if port else "node" if node else "unit" if unit else "place"
    thing = port or node or unit or place
    own = unit or place
    assert own is not None
    assert thing is not None
    medium = plant.kinds[port.kind].medium if port else node.medium if node else None
    flags = (s.source, s.expansion, s.load, s.liquid)
    roles = (SOURCE in node.roles, EXPANSION in node.roles, LOAD in node.roles) if node else (None,) * 3
    has = (*roles, _is_liquid(plant, node) if node else None)
    tags = set(thing.tags)
    if sort in ("unit", "place") or s.of or sorts <= {"port", "node"}:
        tags |= own.tags | part.tags
    return (
        sort in sorts
        and (not s.ids or any(fnmatchcase(address, i) for i in s.ids))
        and (not s.parts or any(fnmatchcase(own.part, p) for p in s.parts))
        and (not s.kinds or (port is not None and port.kind in s.kinds))
        and (not s.media or medium in s.media)
        and (not s.places or (place is not None and _defined_in(plant, owner, s.places)))
        and (not s.at or is_at(now, owner, s.at))
        and (not s.loops or (thing.loop or own.loop) in s.loops)
        and (not s.tags or bool(tags & set(s.tags)))
        and (s.mobile is None or (place is not None and place.mobile == s.mobile))
        and all(asked in (None, is_so) for asked, is_so in zip(flags, has, strict=True))
    )


def _defined_in(plant: Plant, place: str, patterns: Sequence[str]) -> bool:
    while place:
        if any(fnmatchcase(place, p) for p in patterns):
            return True
        place = plant.places[place].parent
    return False


# --- networks -----------------------------------------------------------------------------------------------------


def graph_of(now: Configuration, medium: str) -> nx.DiGraph:
    """Return all made links of a medium as arcs, in the direction in which its paths are followed."""
    plant, graph = now.plant, nx.DiGraph()
    for owner in (*plant.units, *plant.places):
        for a, b, one_way in links_of(now, owner, medium):
            graph.add_edge(a, b)
            if not one_way:
                graph.add_edge(b, a)
    return graph.reverse() if plant.media[medium].upstream else graph


def links_of(now: Configuration, owner: str, medium: str) -> Iterator[tuple[str, str, bool]]:
    """Yield the made links of a unit or place in a medium: both ends, and whether it goes one way only."""
    plant, part = now.plant, now.plant.part_of(owner)
    ports = {n: p for n, p in part.ports.items() if plant.kinds[p.kind].joined}
    items = {n for n, p in ports.items() if plant.kinds[p.kind].medium == medium}
    items |= {n for n, node in part.nodes.items() if node.medium == medium}
    for link in part.links:
        if link.a in items and link.b in items and (not link.gate or _carries(now, f"{owner}:{link.gate}")):
            yield f"{owner}:{link.a}", f"{owner}:{link.b}", link.one_way
    for name in items & set(ports):
        mate = now.state(f"{owner}:{name}").other
        if mate and _carries(now, f"{owner}:{name}") and _carries(now, mate):
            yield f"{owner}:{name}", mate, False
    if medium == "hold":
        yield from ((owner, f"{owner}:{name}", False) for name in items)
        place = plant.places.get(owner)
        if place is not None and not place.mobile and place.parent:
            yield owner, place.parent, False
        if place is None or place.mobile:
            at = now.state(owner).value
            if at and plant.places[at].holds:
                yield owner, at, False


def _carries(now: Configuration, port: str) -> bool:
    found = now.plant.port(port)
    assert found is not None
    kind = found[1]
    return kind.carries is not None and (
        kind.statuses.index(now.state(port).value) >= kind.statuses.index(kind.carries)
    )


def points(plant: Plant, medium: str, item: str) -> list[str]:
    """Return what an item stands for in a medium: itself, or a unit's nodes of it, or its ports if it has none."""
    owner, _, name = item.partition(":")
    part = plant.part_of(owner)
    nodes = [n for n, node in part.nodes.items() if node.medium == medium]
    ports = [
        n
        for n, p in part.ports.items()
        if plant.kinds[p.kind].medium == medium and plant.kinds[p.kind].joined
    ]
    if name:
        return [item] if name in (*nodes, *ports) else []
    return [item] if medium == "hold" else [f"{owner}:{n}" for n in nodes or ports]


# --- conditions ---------------------------------------------------------------------------------------------------

Past = list[tuple[int, Event]]
"""What was done so far: (place in the order, event)."""


class Moment:
    """The state at one instant: the configuration after some of the events, and the time."""

    def __init__(self, begin: Configuration, events: Sequence[Event], now: int) -> None:
        self.state = begin.fork()
        for event in events:
            self.state.apply(event)
        self.past: Past = list(enumerate(events))
        self.now = now
        self.names: dict[tuple[Selection, str | None], list[str]] = {}
        self.graphs = {medium: graph_of(self.state, medium) for medium in self.state.plant.media}

    def named(self, s: Selection, it: str | None = None) -> list[str]:
        """Return what a selection names at this moment. Worked out once."""
        if (s, it) not in self.names:
            self.names[s, it] = named(s, self.state, it)
        return self.names[s, it]

    def last(self, item: str, action: str, quantity: str = "") -> tuple[int, int] | None:
        """Return (time, place in the order) of the last such action on an item."""
        for order, e in reversed(self.past):
            if (
                e.action == action
                and item in (*e.subjects, *e.moved)
                and (not quantity or quantity in e.values)
            ):
                return e.happened, order
        return None

    def true(self, c: Condition, it: str | None) -> bool:
        """Return whether a condition is true, for `it`."""
        match c:
            case All(parts):
                return all(self.true(p, it) for p in parts)
            case AnyOf(parts):
                return any(self.true(p, it) for p in parts)
            case Not(part):
                return not self.true(part, it)
            case Path(medium, start, end):
                ways = [self.ways(medium, i, end, it) for i in self.named(start, it)]
                return all(w and all(w) for w in ways)
            case NoPath(medium, start, end):
                return not any(any(self.ways(medium, i, end, it)) for i in self.named(start, it))
            case Count(of, least=least, most=most, medium=medium, end=end):
                if end is None:
                    n = sum(self.has(c, i) for i in self.named(of, it))
                else:
                    ways = [self.ways(medium, i, end, it) for i in self.named(of, it)]
                    n = sum(bool(w) and all(w) for w in ways)
                return (least is None or n >= least) and (most is None or n <= most)
            case Status(of):
                return all(self.has(c, i) for i in self.named(of, it))
            case Value(of):
                return all(self.inside(c, i) for i in self.named(of, it))
            case Locked(of) | Untagged(of):
                return all(self.hung(c, i) for i in self.named(of, it))
            case Done(of):
                return all(self.done(c, i) for i in self.named(of, it))
        raise TypeError(c)

    def hung(self, c: Locked | Untagged, item: str) -> bool:
        """Return whether a lock, or a tag, hangs on an item as is asked for; somebody's lock perhaps on the box."""
        locks: set[tuple[str, str]] = set()
        tags: set[tuple[str, str]] = set()
        for _, e in self.past:
            thing, *holders = e.subjects or ("",)
            match e.action:
                case "lock":
                    locks.add((thing, *holders))  # type: ignore[arg-type]
                case "tag":
                    tags.add((thing, *holders))  # type: ignore[arg-type]
                case "unlock":
                    locks.discard((thing, *holders))
                case "untag":
                    tags.discard((thing, *holders))
                case "transfer":
                    locks.discard((thing, holders[0]))
                    locks.add((thing, holders[1]))
        if isinstance(c, Untagged):
            return not any(thing == item for thing, _ in tags)
        if isinstance(c, Tagged):
            return any(thing == item and c.by in ("", holder) for thing, holder in tags)
        on = {holder for thing, holder in locks if thing == item}
        if "RACK" in on:
            on |= {holder for thing, holder in locks if thing == "RACK"}
        return c.by in on if c.by else bool(on)

    def ways(self, medium: str, item: str, end: Selection, it: str | None) -> list[bool]:
        """Return for each point that an item stands for whether it reaches any of the ends."""
        graph, plant = self.graphs[medium], self.state.plant
        ends = {p for e in self.named(end, it) for p in points(plant, medium, e)}
        mine = points(plant, medium, item)
        return [p in ends or (p in graph and bool(nx.descendants(graph, p) & ends)) for p in mine]

    def has(self, c: Status | Count, item: str) -> bool:
        """Return whether an item has the status, and is at the place, that a condition asks for."""
        port = self.state.plant.port(item)
        if c.among and (port is None or self.state.state(item).value not in c.among):
            return False
        return not c.at or is_at(self.state, owner_of(item), c.at)

    def inside(self, c: Value, item: str) -> bool:
        """Return whether the last value of an item is in range."""
        low, high = c.low, c.high
        port = self.state.plant.port(item)
        if c.rated:
            low = high = None
            if port is not None and c.quantity == "cycles" and port[0].cycles is not None:
                high = float(port[0].cycles)
            elif port is not None and c.quantity != "cycles" and port[0].torque is not None:
                low, high = port[0].torque
        value = self.value(c, item)
        if value is None:
            return c.unmeasured
        if c.quantity not in ("cycles", "elapsed"):
            taken = max((order, e.happened) for order, e in self.past if self.tells(e, c.quantity, item))
            if c.max_age is not None and self.now - taken[1] > c.max_age:
                return False
            if taken[0] <= self.last_of(item, c.since):
                return False
        return (low is None or low <= value) and (high is None or value <= high)

    @staticmethod
    def tells(e: Event, quantity: str, item: str) -> bool:
        """Return whether an event tells a value of an item."""
        return quantity in e.values and item in e.subjects

    def last_of(self, item: str, actions: Sequence[str]) -> int:
        """Return the place in the order of the last of these actions on an item, or on a port of it; -1 for none."""
        ladder = {action for kind in self.state.plant.kinds.values() for action in kind.moves}
        return max(
            (
                order
                for order, e in self.past
                if e.action in actions
                for one in (*e.subjects, *e.moved)
                if one == item or (e.action in ladder and owner_of(one) == item)
            ),
            default=-1,
        )

    def value(self, c: Value, item: str) -> float | None:
        """Return the last value of an item."""
        if c.quantity == "cycles":
            plant, used = self.state.plant, 0
            for _, e in self.past:
                found = plant.port(item)
                move = found[1].moves.get(e.action) if found else None
                used += item in e.subjects and move is not None and move.cycle
            return float(used)
        if c.quantity == "elapsed":
            stamps = [s for a in c.since if (s := self.last(item, a))]
            return (self.now - max(stamps)[0]) / MICRO if stamps else None
        for _, e in reversed(self.past):
            if item in e.subjects and c.quantity in e.values:
                return e.values[c.quantity].value
        return None

    def done(self, c: Done, item: str) -> bool:
        """Return whether the last of the actions on an item is later than the last of `since`, and not too old."""
        did = [s for a in c.actions if (s := self.last(item, a, c.quantity))]
        if not did or (c.max_age is not None and self.now - max(did)[0] > c.max_age):
            return False
        return max(did)[1] > self.last_of(item, c.since)

    def matched(self, rule: Rule, match: ActionMatch, e: Event) -> list[str]:
        """Return the items that a rule is about when an action matches."""
        if e.action not in match.actions:
            return []
        if match.to and not (e.place and is_at(self.state, e.place, match.to)):
            return []
        subjects = (*e.subjects, *e.moved) if e.action in ("place", "lift") else e.subjects
        if e.action in ("lock", "unlock", "tag", "untag", "transfer"):
            subjects = e.subjects[:1]  # whose it is, is nothing that it is done to
        if not e.subjects:
            return [""] if match.of == Selection() and rule.scope is None else []
        return [
            s for s in subjects if s in self.named(match.of) and (rule.scope is None or s in self.scope(rule))
        ]

    def scope(self, rule: Rule) -> list[str]:
        """Return the items that a rule is about now."""
        return [""] if rule.scope is None else self.named(rule.scope)

    def kept(self, rule: Rule, it: str) -> bool:
        """Return whether a rule is kept for an item: what is out of its scope keeps it."""
        tied = isinstance(rule.mode, At | Within) and rule.scope is None
        return (not tied and it not in self.scope(rule)) or self.true(rule.condition, it or None)
