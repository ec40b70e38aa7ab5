"""What a condition needs at least, as clauses of facts: some of each must be so wherever the condition is true.

What can't be said so is left out: then less is known to be needed than is, never more.

A state of a port, unit or person is two facts: ``(subject, value)`` and ``(subject + " to", other)``. Where somebody or
something is, of sites, is ``(thing + " in", site)``. What a condition asks that no state tells (that something was done
or measured) is a test, ``(item + " test", number)``.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from itertools import product

from cfgtrack.analysis.relaxed import Clause, Fact
from cfgtrack.model.plant import owner_of, port_of
from cfgtrack.network.network import Network
from cfgtrack.network.potential import Potential
from cfgtrack.network.trace import reached
from cfgtrack.rules.condition import Condition
from cfgtrack.rules.items import OnItems
from cfgtrack.rules.selection import HOME, place_fits
from cfgtrack.rules.wanted import Wanted
from cfgtrack.rules.what.all import All
from cfgtrack.rules.what.any import AnyOf as Any
from cfgtrack.rules.what.count import Count
from cfgtrack.rules.what.done import Done
from cfgtrack.rules.what.no_path import NoPath
from cfgtrack.rules.what.not_ import Not
from cfgtrack.rules.what.path import Path
from cfgtrack.rules.what.status import Status
from cfgtrack.rules.what.value import CYCLES, ELAPSED, Value
from cfgtrack.rules.world import World

MOST_CLAUSES = 64
"""So many clauses at most are made of alternatives: beyond, they are left out."""

MOST_WAYS = 24
"""So many ways at most are looked for beside one that must be cut."""

MOST_SPOTS = 12
"""So many places at most are thought of where any of a sort would do: of more, nothing is proved."""

Clauses = list[Clause]
Pairs = Iterable[tuple[str, str]]


class Needs:
    """What conditions need in one world. `spots` tells where a thing may come to be, `mates` what a port may be joined
    to, `could_be` which gates of a network may carry, which halves be joined, and what stand where.

    `tests` are the conditions on items that no state tells, by their facts. `left_out`: places are, as too many.
    """

    def __init__(
        self,
        spots: Callable[[str], dict[str, None]],
        mates: Callable[[str], Iterable[str | None]],
        could_be: Callable[[Network], tuple[Iterable[str], Pairs, Pairs]],
    ) -> None:
        self.tests: dict[Fact, tuple[OnItems, str]] = {}
        self.left_out = False
        self._spots, self._mates = spots, mates
        self._could_be = could_be
        self._potentials: dict[str, Potential] = {}
        self._numbers: dict[OnItems, int] = {}

    def forget(self) -> None:
        """Look anew at what could be."""
        self._potentials.clear()

    def of(self, world: World, condition: Condition, it: str | None, *, true: bool = True) -> Clauses:
        """Return what must be so wherever a condition is true (false) for `it`."""
        match condition:
            case Not(part):
                return self.of(world, part, it, true=not true)
            case All(parts) | Any(parts):
                several = [self.of(world, part, it, true=true) for part in parts]
                if isinstance(condition, All) == true:
                    return [clause for clauses in several for clause in clauses]
                return _either(several)
            case Status():
                items = world.bind(condition.of).items(it) if _stays(condition.of.of, condition.of.at) else ()
                each = [self._items(world, condition.wanted, item, met=true) for item in items]
                return [c for clauses in each for c in clauses] if true else _either(each) if each else []
            case Done() | Value() if true and getattr(condition, "quantity", "") not in (CYCLES, ELAPSED):
                items = world.bind(condition.of).items(it) if _stays(condition.of.of, condition.of.at) else ()
                return [frozenset({self._test(condition, item)}) for item in items]
            case Count():
                return self._count(world, condition, true=true)
            case NoPath() | Path():
                if isinstance(condition, Path) == true:
                    return self._some_way(world, condition, it) if true else []
                return self._no_way(world, condition, it) if true else []
        return []

    # --- items ---

    def _items(self, world: World, wanted: Wanted, item: str, *, met: bool) -> Clauses:
        """Return what must be so where an item is as wanted; or, unless `met`, where it isn't."""
        plant, sides = world.plant, Clauses()
        found = plant.port(item)
        if wanted.among and found is not None:
            sides.append(frozenset((item, s) for s in found[1].statuses if (s in wanted.among) == met))
        owner = owner_of(item)
        if wanted.at and plant.can_move(owner):
            if met:
                named = _named(world, owner, wanted.at)
                self._spots(owner).update(dict.fromkeys(named[:MOST_SPOTS]))
                self.left_out |= len(named) > MOST_SPOTS
            sides.append(
                frozenset((owner, p) for p in self._spots(owner) if self._may_be(world, p, wanted, met=met))
            )
        if wanted.among and found is None:
            return [frozenset()] if met else []
        return sides if met else [frozenset().union(*sides)] if sides else []

    @staticmethod
    def _may_be(world: World, place: str, wanted: Wanted, *, met: bool) -> bool:
        """Return whether what stands at a place may be at a wanted one, or (not `met`) may not."""
        line = list(world.plant.ancestors(place))
        fits = any(place_fits(world.plant, one, wanted.at) for one in line)
        return fits == met or any(map(world.plant.is_mobile, line)) or HOME in wanted.at

    def _test(self, condition: OnItems, item: str) -> Fact:
        fact = (f"{item} test", self._numbers.setdefault(condition, len(self._numbers)))
        self.tests[fact] = (condition, item)
        return fact

    def _count(self, world: World, condition: Count, *, true: bool) -> Clauses:
        if not true or condition.end is not None or condition.of.of or condition.of.at:
            return []
        items, wanted = condition.of.candidates(world.plant), Wanted(condition.among, condition.at)
        out = Clauses()
        if condition.most == 0:
            out += [c for item in items for c in self._items(world, wanted, item, met=False)]
        if condition.least:
            met = [self._items(world, wanted, item, met=True) for item in items]
            met = [clauses for clauses in met if frozenset() not in clauses]
            if len(met) == condition.least:
                out += [clause for clauses in met for clause in clauses]
            elif all(len(clauses) == 1 for clauses in met):
                out.append(frozenset().union(*(clauses[0] for clauses in met)))
        return out

    # --- ways ---

    def _no_way(self, world: World, condition: NoPath | Path, it: str | None) -> Clauses:
        """Return of ways that could be what would cut them."""
        network = world.flows[condition.medium].network
        potential = self._potential_of(network)
        ends = {i for end in world.bind(condition.end).items(it) for i in network.items(end)}
        out: dict[Clause, None] = {}
        for item in world.bind(condition.start).items(it):
            for links in potential.ways(network.items(item), ends, MOST_WAYS):
                out[frozenset(fact for link in links for fact in self._cutting(world, link))] = None
        return list(out)

    def _potential_of(self, network: Network) -> Potential:
        found = self._potentials.get(network.medium)
        if found is None:
            found = self._potentials[network.medium] = Potential(network, *self._could_be(network))
        return found

    def _cutting(self, world: World, link: str) -> Iterator[Fact]:
        """Yield what of a link would be otherwise were it not made."""
        thing, _, place = link.partition(" on ")
        if place:
            yield from ((thing, spot) for spot in self._spots(thing) if spot != place)
            return
        half, _, other = link.partition(" - ")
        for one, mate in ((half, other), (other, half)) if other else ((half, ""),):
            found = world.plant.port(one)
            if found is not None:
                yield from ((one, s) for s in found[1].statuses if not found[1].is_carrying(s))
            if mate:
                yield from ((f"{one} to", m) for m in self._mates(one) if m != mate)

    def _some_way(self, world: World, condition: NoPath | Path, it: str | None) -> Clauses:
        """Return of each item that has no way now what might lead on from all that it reaches: some of it must."""
        network, now = world.flows[condition.medium].network, world.configuration
        ends = {i for end in world.bind(condition.end).items(it) for i in network.items(end)}
        out: dict[Clause, None] = {}
        for item in world.bind(condition.start).items(it):
            ahead = reached(network, now, [item])
            if ends.isdisjoint(ahead):
                out[frozenset(self._leading_on(world, condition.medium, ahead))] = None
        return list(out)

    def _leading_on(self, world: World, medium: str, ahead: set[int]) -> Iterator[Fact]:
        network, now, plant = world.flows[medium].network, world.configuration, world.plant
        for gate, arcs in network.gates.items():
            found = plant.port(gate)
            if found is not None and any((arc.a in ahead) != (arc.b in ahead) for arc in arcs):
                yield from ((gate, s) for s in found[1].statuses if found[1].is_carrying(s))
        for item in ahead:
            address = network.address(item)
            if ":" not in address:
                if plant.can_move(address):
                    yield from ((address, spot) for spot in self._spots(address))
                continue
            port = port_of(address)
            found = plant.port(port)
            if found is None or found[1].joined is None:
                continue
            mate = now.state(port).other
            for half in (port, mate) if mate else (port,):
                other = plant.port(half)
                if other is not None:
                    yield from ((half, s) for s in other[1].statuses if other[1].is_carrying(s))
            yield from ((f"{port} to", m) for m in self._mates(port) if m not in (mate, None))


def _stays(of: str, at: tuple[str, ...]) -> bool:
    """Return whether a selection names the same items at all times, for one `it`."""
    return not at and of not in ("peer of it", "place of it")


def _named(world: World, owner: str, at: tuple[str, ...]) -> list[str]:
    """Return the places that are named, or else those that fit: where a thing might be put to be so."""
    plant = world.plant
    unit = plant.units.get(owner)
    named = [unit.home if one == HOME and unit is not None else one for one in at]
    exact = [one for one in named if one in plant.places]
    return exact or [p.id for p in plant.places.values() if not p.mobile and place_fits(plant, p.id, named)]


def _either(several: list[Clauses]) -> Clauses:
    """Return what is needed where one of several lists of clauses is met: nothing where one of them needs nothing."""
    number = 1
    for clauses in several:
        number *= len(clauses)
    if not 0 < number <= MOST_CLAUSES:
        return []
    return [frozenset().union(*choice) for choice in product(*several)]
