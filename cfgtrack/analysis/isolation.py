"""What does this isolate? What is cut off if something is shut or parted; what must be, to isolate a thing; segments.

No rule is asked. An *end* is where a medium comes from, or goes to expand: what counts as one is said with each answer.
A *device* is whatever an action can shut, switch off or part now: a valve, a switch, a joint. What is shut already
counts as given. Of a check valve, a way against it isn't one; but it is told where an isolation rests on it.

Names follow 29 CFR 1910.147: an energy isolating device, a lock that holds it; its (d)(4) to (6): lock, relieve what
is stored, verify.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import ClassVar

from cfgtrack.model.action import Action
from cfgtrack.model.configuration import Configuration, place_line
from cfgtrack.model.defect import Defect, all_defects, bars
from cfgtrack.model.hold import carries, mate_of
from cfgtrack.model.kind import Kind, Move
from cfgtrack.model.lock import Device, locks_on, takes_locks
from cfgtrack.model.part import EXPANSION, SOURCE
from cfgtrack.model.plant import HOLD, Plant, owner_of
from cfgtrack.model.presence import site_at
from cfgtrack.network.cut import MOST, Cuts, Net, Tie, minimum_cuts
from cfgtrack.network.network import Network, state_links, subject_arcs
from cfgtrack.network.reduce import Reduced, reduce_network

SHUT = "shut"
"""What only shuts a way: no load is broken by it."""

DETAILED = 5
"""Of so many ways to isolate a thing it is told what else they do."""

_QUICK = 200_000
"""Up to so many looks at ties all sets are compared by what else they cut off; else the nearest go first."""

_FEW = 6
"""So many ends of one sort are named where all of them are joined anyway."""


@dataclass(frozen=True, slots=True)
class Handle:
    """A device, and what is done to it. `thing`: a valve, switch or half; `mate` the other half of a joint.

    `parts`: the action takes the halves apart; else they stay together. `site`: where one must be to do it, where there
    are sites. `takes_lock`: whether a lock can hold it then; `locks` are those that hang there now.
    """

    thing: str
    action: str
    mate: str | None = None
    parts: bool = False
    site: str | None = None
    takes_lock: bool = True
    locks: tuple[Device, ...] = ()

    @property
    def name(self) -> str:
        """What people call it: a joint by both its halves."""
        return self.thing if self.mate is None else f"{self.thing} - {self.mate}"


def handle_of(now: Configuration, thing: str) -> Handle | None:
    """Return what can be done to shut, switch off or part what carries at a port now; None where nothing can.

    What leaves the halves together goes before what parts them.
    """
    found = now.plant.port(thing)
    if found is None or not carries(now, thing):
        return None
    mate = mate_of(now, thing)
    halves = (thing,) if mate is None else (min(thing, mate), max(thing, mate))
    best: tuple[bool, str, str] | None = None
    for half in halves:
        port = now.plant.port(half)
        for move in _stops(port[1], now.state(half).value) if port is not None else ():
            assert port is not None
            if bars(now, Action("", move.action, (half,), 0)) is not None:
                continue
            one = (port[1].joined is not None and not port[1].is_joined(move.target), half, move.action)
            best = one if best is None else min(best, one)
    if best is None:
        return None
    parts, half, action = best
    return _handle(now, half, action, parts=parts)


def _stops(kind: Kind, status: str) -> Iterator[Move]:
    """Yield the moves after which a port lets nothing through."""
    return (
        move for move in kind.moves.values() if status in move.sources and not kind.is_carrying(move.target)
    )


def _handle(now: Configuration, thing: str, action: str, *, parts: bool = False) -> Handle:
    return Handle(
        thing,
        action,
        mate_of(now, thing),
        parts,
        (site_at(now, thing) or None) if now.plant.has_sites else None,
        takes_locks(now.plant, thing),
        tuple(locks_on(now, thing)),
    )


# --- a medium's network, with its devices as ties ---------------------------------------------------------------------


_Hops = defaultdict[int, list[tuple[int, int]]]


class _Medium:
    """One medium now: contracted but for some subjects, whose made links are ties."""

    def __init__(self, network: Network, now: Configuration, subjects: Iterable[str]) -> None:
        self.network, self.now = network, now
        self.plant = network.plant
        found = self.plant.media.get(network.medium)
        self.upstream = found is not None and found.upstream
        self.devices: list[str] = []
        links = {s: tuple(_links_of(network, now, s)) for s in subjects}
        self.reduced: Reduced = reduce_network(network, now, links)
        vertex = self.reduced.vertex
        ties = list[Tie]()
        for subject, arcs in links.items():
            for a, b, one_way in arcs:
                if vertex[a] != vertex[b]:
                    ties.append(Tie(vertex[a], vertex[b], len(self.devices), one_way))
            self.devices.append(subject)
        self.net = Net(self.reduced.count, self.reduced.arcs, tuple(ties))

    def vertices(self, addresses: Iterable[str]) -> set[int]:
        """Return where things are."""
        vertex, items = self.reduced.vertex, self.network.items
        return {vertex[item] for address in addresses for item in items(address)}

    def spread(
        self, start: Collection[int], without: Collection[int] = (), *, back: bool = False
    ) -> set[int]:
        """Return where the medium comes to from somewhere, without some devices; `back`: from where it comes there."""
        hops = self._hops[1 if back else 0]
        seen = set(start)
        queue = list(seen)
        while queue:
            for far, device in hops.get(queue.pop(), ()):
                if far not in seen and device not in without:
                    seen.add(far)
                    queue.append(far)
        return seen

    @cached_property
    def _hops(self) -> tuple[_Hops, _Hops]:
        """The hops out of each vertex, and those into it, each with its device, -1 for none."""
        out, into = _Hops(list), _Hops(list)
        for a, b in self.net.arcs:
            out[a].append((b, -1))
            into[b].append((a, -1))
        for a, b, device, one_way in self.net.ties:
            out[a].append((b, device))
            into[b].append((a, device))
            if not one_way:
                out[b].append((a, device))
                into[a].append((b, device))
        return out, into

    @cached_property
    def nodes(self) -> list[tuple[str, int]]:
        """The nodes of the medium, or of what has none the ports, and for hold the things; each with its vertex."""
        plant, network, vertex = self.plant, self.network, self.reduced.vertex
        out: list[tuple[str, int]] = []
        for owner in network.base:
            if network.medium == HOLD:
                out.append((owner, vertex[network.base[owner]]))
                continue
            inside = network.items_of(owner)
            part = plant.part_of(owner)
            chosen = [one for one in inside if one.partition(":")[2] in part.nodes] or inside
            out += [(one, vertex[item]) for one in chosen if (item := network.item(one)) is not None]
        return out


def _links_of(network: Network, now: Configuration, subject: str) -> Iterator[tuple[int, int, bool]]:
    """Yield the made links that depend on a port, valve, switch, or on where a unit stands."""
    return ((arc.a, arc.b, arc.one_way) for arc in subject_arcs(network, now, subject))


def _one_way_links(
    network: Network, now: Configuration, gone: Collection[str] = ()
) -> Iterator[tuple[int, int]]:
    """Yield the links that let a medium through one way now, from and to, but for those of some gates."""
    yield from network.one_way
    for gate, arcs in network.gates.items():
        if gate not in gone and carries(now, gate):
            yield from ((arc.a, arc.b) for arc in arcs if arc.one_way)


class _Handles(dict[str, Handle]):
    """What is done to each device, made when it is first asked for: of a large plant few are."""

    def __init__(self, now: Configuration) -> None:
        super().__init__()
        self._now = now

    def __missing__(self, subject: str) -> Handle:
        found = handle_of(self._now, subject)
        assert found is not None
        self[subject] = found
        return found


def devices_of(network: Network, now: Configuration) -> list[str]:
    """Return every device of a medium that lets it through now and can be kept from that: of a joint the first half."""
    stops: dict[tuple[str, str], bool] = {}

    def stopped(port: str) -> bool:
        """Return whether an action would stop what a port lets through, as its kind says."""
        found = now.plant.port(port)
        if found is None:
            return False
        key = (found[1].id, now.state(port).value)
        if key not in stops:
            stops[key] = any(True for _ in _stops(found[1], key[1]))
        return stops[key]

    out = [gate for gate in network.gates if carries(now, gate) and stopped(gate)]
    for near, state in now.touched():
        far = state.other
        if far is None or near > far or near in network.gates or ":" not in near or not network.ends(near):
            continue
        if carries(now, near) and carries(now, far) and (stopped(near) or stopped(far)):
            out.append(near)
    return [one for one in out if handle_of(now, one) is not None] if all_defects(now) else out


def barred_of(network: Network, now: Configuration) -> Iterator[Defect]:
    """Yield the defects that keep something of a medium from being shut, switched off or parted now."""
    told: set[str] = set()
    for thing in dict.fromkeys(
        (*network.gates, *(s for s, state in now.touched() if state.other is not None and ":" in s))
    ):
        port = now.plant.port(thing)
        if (
            port is None
            or (not network.ends(thing) and thing not in network.gates)
            or not carries(now, thing)
        ):
            continue
        for move in _stops(port[1], now.state(thing).value):
            found = bars(now, Action("", move.action, (thing,), 0))
            if found is not None and found.event not in told:
                told.add(found.event)
                yield found


def ends_of(network: Network) -> dict[str, tuple[str, ...]]:
    """Return the ends of a medium by their sort: the sources, the expansions; for hold the places that don't move."""
    plant, medium = network.plant, network.medium
    if medium == HOLD:
        return {"fixed place": tuple(p.id for p in plant.places.values() if not p.mobile)}
    out: dict[str, list[str]] = {SOURCE: [], EXPANSION: []}
    of_part = {
        part.id: [(n.name, n.roles) for n in part.nodes.values() if n.medium == medium and n.roles]
        for part in plant.parts.values()
    }
    for table in (plant.units, plant.places):
        for owner, thing in table.items():
            for name, roles in of_part.get(thing.part, ()):
                for role, found in out.items():
                    if role in roles:
                        found.append(f"{owner}:{name}")
    return {sort: tuple(found) for sort, found in out.items() if found}


def inside(now: Configuration, thing: str) -> list[str]:
    """Return what a thing stands for where ends or targets are named: of a place, it and all that is in it."""
    plant = now.plant
    if thing not in plant.places:
        return [thing]
    return [thing, *(owner for owner in plant.owners() if owner != thing and thing in place_line(now, owner))]


# --- what if it is shut, off or parted --------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Lost:
    """A thing that is cut off: from which ends, and which of that sort it still has (`left`)."""

    thing: str
    sort: str
    lost: tuple[str, ...]
    left: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class CutOff:
    """What is cut off in one medium if things are shut, off or parted. `ends`: those that count.

    `links`: what would no longer be joined. `lost`: what has none of the sort left comes first.
    """

    medium: str
    ends: tuple[str, ...]
    links: tuple[str, ...]
    lost: tuple[Lost, ...]


def _subjects(now: Configuration, thing: str) -> Iterator[str]:
    """Yield what must no longer carry for a thing to be shut, off or parted: of a unit all its joints, and its seat."""
    plant = now.plant
    if ":" in thing:
        yield thing
        return
    if plant.can_move(thing):
        yield thing
    for port in plant.ports_of(thing):
        if now.state(port).other is not None:
            yield port


def cut_off(
    networks: Mapping[str, Network],
    now: Configuration,
    things: Sequence[str],
    ends: Sequence[str] = (),
) -> list[CutOff]:
    """Return, medium by medium, what is cut off if `things` (ports, units, places) are shut, off or parted.

    From `ends`, where some are named, else from the sources, from the expansions, and for hold from what stays.
    """
    subjects = dict.fromkeys(s for thing in things for s in _subjects(now, thing))
    out: list[CutOff] = []
    for medium in networks:
        if medium != HOLD and not _concerns(now.plant, medium, subjects):
            continue
        network = networks[medium]
        made = {s for s in _each_once(now, subjects) if any(True for _ in _links_of(network, now, s))}
        if made:
            out.append(_cut_off(network, now, sorted(made), ends))
    return out


def is_joined(networks: Mapping[str, Network], now: Configuration, thing: str) -> Iterator[str]:
    """Yield the media in which shutting, switching off or parting a thing would end any link."""
    subjects = _each_once(now, _subjects(now, thing))
    for medium in networks:
        if medium != HOLD and not _concerns(now.plant, medium, subjects):
            continue
        if any(any(True for _ in _links_of(networks[medium], now, s)) for s in subjects):
            yield medium


def _each_once(now: Configuration, subjects: Iterable[str]) -> dict[str, None]:
    """Return subjects, of the two halves of a joint the one that sorts first."""
    out: dict[str, None] = {}
    for subject in subjects:
        mate = now.state(subject).other if ":" in subject else None
        out[subject if mate is None else min(subject, mate)] = None
    return out


def _concerns(plant: Plant, medium: str, subjects: Iterable[str]) -> bool:
    return any(medium in plant.media_of(s) for s in subjects if ":" in s)


def _cut_off(network: Network, now: Configuration, subjects: Sequence[str], given: Sequence[str]) -> CutOff:
    found = _Medium(network, now, subjects)
    gone = range(len(found.devices))
    by_sort = {"end": tuple(given)} if given else ends_of(network)
    lost: list[Lost] = []
    for sort, ends in by_sort.items():
        # Liquid must get to an expansion; all else comes from where it is fed; what is held hangs on what holds it.
        back = sort in (EXPANSION, "fixed place") and not found.upstream
        at = defaultdict[int, list[str]](list)
        for end in ends:
            for vertex in found.vertices([end]):
                at[vertex].append(end)
        before = {v: found.spread([v], back=back) for v in at}
        after = {v: found.spread([v], gone, back=back) for v in at}
        for thing, vertex in found.nodes:
            if not any(vertex in before[v] and vertex not in after[v] for v in at) or thing in ends:
                continue
            if sort == EXPANSION and not _is_liquid(found.plant, thing):
                continue
            names = tuple(
                e for v in at if vertex in before[v] and vertex not in after[v] for e in at[v][:_FEW]
            )
            left = tuple(e for v in at if vertex in after[v] for e in at[v][:_FEW])
            lost.append(Lost(thing, sort, names, left))
    lost.sort(key=lambda one: bool(one.left))
    links = tuple(_name_of(now, s) for s in subjects)
    return CutOff(network.medium, tuple(e for some in by_sort.values() for e in some), links, tuple(lost))


def _is_liquid(plant: Plant, thing: str) -> bool:
    node = plant.node(thing) if ":" in thing else None
    return node is not None and plant.is_liquid(node)


def _name_of(now: Configuration, subject: str) -> str:
    state = now.state(subject)
    if ":" not in subject:
        return f"{subject} on {state.value}"
    return subject if state.other is None else f"{subject} - {state.other}"


# --- what isolates a thing --------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Volume:
    """A volume that is isolated: how much it holds, whether it then has no room to expand, and how long its part says
    that may last, in seconds.
    """

    thing: str
    litres: float
    shut_in: bool = False
    may_last: float | None = None


@dataclass(frozen=True, slots=True)
class Way:
    """One smallest set of devices that isolates a thing. `stay`: what is shut already, and has to stay so with it.

    `also`: what else no end comes to any more. `volumes`: what is stored behind the devices. `one_way`: check valves on
    which it rests, as "from -> to".
    """

    told: ClassVar[tuple[str, ...]] = ("parts",)

    devices: tuple[Handle, ...]
    stay: tuple[Handle, ...] = ()
    also: tuple[str, ...] = ()
    volumes: tuple[Volume, ...] = ()
    one_way: tuple[str, ...] = ()

    @property
    def parts(self) -> bool:
        """Whether anything is taken apart in it."""
        return any(one.parts for one in self.devices)


@dataclass(frozen=True, slots=True)
class Isolation:
    """What isolates things in one medium, from `ends`. `own`: ends in the things themselves, which nothing isolates.

    `ways`: the smallest sets, what shuts before what parts; of the first few it is told what else they do, `others` are
    more, by names. `fewest`: no smaller set does, None where nothing does: then `joined` is a way without any device.
    `proved`, `complete`: whether the first is a smallest, and whether these are all. `shutting`: where every smallest
    set parts something, the smallest that don't.
    """

    medium: str
    ends: tuple[str, ...]
    own: tuple[str, ...] = ()
    fewest: int | None = None
    proved: bool = True
    complete: bool = True
    ways: tuple[Way, ...] = ()
    others: tuple[tuple[str, ...], ...] = ()
    shutting: tuple[Way, ...] = ()
    joined: tuple[str, ...] = ()


def isolation(
    network: Network,
    now: Configuration,
    things: Sequence[str],
    ends: Sequence[str] = (),
    *,
    most: int = MOST,
) -> Isolation:
    """Return the fewest devices that isolate things (units, places, ports, nodes) from `ends`, else from all ends."""
    meant = [one for thing in things for one in inside(now, thing)]
    by_sort = {"end": tuple(ends)} if ends else ends_of(network)
    all_ends = tuple(dict.fromkeys(end for some in by_sort.values() for end in some))
    owners = {one for one in meant if ":" not in one}
    own = tuple(e for e in all_ends if e in meant or owner_of(e) in owners)
    outer = tuple(e for e in all_ends if e not in own)
    devices = devices_of(network, now)
    handles = _Handles(now)
    found = _Medium(network, now, devices)
    sources, targets = found.vertices(outer), found.vertices(meant)
    cuts = minimum_cuts(found.net, sources, targets, most=max(most, MOST))
    if not cuts.cuts:
        joined = _bare_way(network, now, set(devices), outer, meant)
        return Isolation(network.medium, outer, own, joined=joined)
    looking = _Looking(found, handles, sources, targets, meant)
    ranked = sorted(cuts.cuts, key=lambda cut: _rank(handles, found.devices, cut))
    if len(ranked) * len(found.net.ties) <= _QUICK:
        ranked.sort(key=lambda cut: (*_rank(handles, found.devices, cut), looking.gone(cut)))
    complete = cuts.complete and len(ranked) <= most
    ranked = ranked[:most]
    ways = tuple(looking.way(cut) for cut in ranked[:DETAILED])
    others = tuple(tuple(handles[found.devices[d]].name for d in cut) for cut in ranked[DETAILED:])
    shutting = _shutting(network, now, devices, (outer, meant), most) if ways[0].parts else ()
    return Isolation(network.medium, outer, own, cuts.at_least, cuts.proved, complete, ways, others, shutting)


def _rank(
    handles: Mapping[str, Handle], devices: Sequence[str], cut: Sequence[int]
) -> tuple[int, int, int, int]:
    """Return what sets of one size are ranked by: what is parted, what is switched off and not shut, what takes no
    lock, then joints.
    """
    chosen = [handles[devices[d]] for d in cut]
    return (
        sum(one.parts for one in chosen),
        sum(one.action != SHUT for one in chosen),
        sum(not one.takes_lock for one in chosen),
        sum(one.mate is not None for one in chosen),
    )


def _shutting(
    network: Network,
    now: Configuration,
    devices: Sequence[str],
    between: tuple[Sequence[str], Sequence[str]],
    most: int,
) -> tuple[Way, ...]:
    """Return the smallest sets that part nothing."""
    handles = _Handles(now)
    found = _Medium(network, now, [one for one in devices if not handles[one].parts])
    sources, targets = (found.vertices(some) for some in between)
    cuts: Cuts = minimum_cuts(found.net, sources, targets, most=most)
    looking = _Looking(found, handles, sources, targets, between[1])
    return tuple(looking.way(cut) for cut in cuts.cuts[:DETAILED])


@dataclass(slots=True)
class _Looking:
    """Looks at what else a cut does."""

    found: _Medium
    handles: Mapping[str, Handle]
    sources: set[int]
    targets: set[int]
    meant: Sequence[str]
    _before: set[int] = field(init=False)
    _room: tuple[set[int], set[int]] = field(init=False)
    """Where what liquid expands into is, and all from which it is reached."""

    def __post_init__(self) -> None:
        found = self.found
        self._before = found.spread(self.sources)
        ends = found.vertices(ends_of(found.network).get(EXPANSION, ()))
        self._room = (ends, found.spread(ends, back=not found.upstream) if ends else set())

    def way(self, cut: Sequence[int]) -> Way:
        """Return what a cut does, and on what it rests."""
        found = self.found
        after = found.spread(self.sources, cut)
        gone = self._before - after
        also = tuple(thing for thing, v in found.nodes if v in gone and not self._is_meant(thing))
        return Way(
            tuple(self.handles[found.devices[d]] for d in cut),
            tuple(self._stay(cut, after)),
            also,
            tuple(self._volumes(cut, gone)),
            tuple(self._one_way(cut, after)),
        )

    def gone(self, cut: Sequence[int]) -> int:
        """Return at how many points of the net no end is there any more."""
        return len(self._before - self.found.spread(self.sources, cut))

    def _is_meant(self, thing: str) -> bool:
        return thing in self.meant or owner_of(thing) in self.meant

    def _leading(self, cut: Sequence[int], after: set[int], ties: Sequence[Tie]) -> tuple[int, ...]:
        """Return the fewest of some links, that aren't there, without which no end comes to the thing after a cut.

        All that an end comes to is one vertex then.
        """
        source, net = -1, self.found.net
        if not ties or self.targets & after:
            return ()

        def at(vertex: int) -> int:
            return source if vertex in after else vertex

        arcs = [(at(a), at(b)) for a, b in net.arcs if a not in after or b not in after]
        for a, b, device, one_way in net.ties:
            if device not in cut and (a not in after or b not in after):
                arcs += [(at(a), at(b))] if one_way else [(at(a), at(b)), (at(b), at(a))]
        there = tuple(tie._replace(a=at(tie.a), b=at(tie.b)) for tie in ties)
        found = minimum_cuts(Net(net.count, tuple(arcs), there), {source}, self.targets, most=1)
        return next(iter(found.cuts), ())

    def _stay(self, cut: Sequence[int], after: set[int]) -> Iterator[Handle]:
        """Yield the fewest of what is shut, off or apart already without which the thing would be joined again."""
        now, reduced = self.found.now, self.found.reduced
        names = list(dict.fromkeys(subject for _, subject in reduced.unmade))
        number = {name: n for n, name in enumerate(names)}
        vertex = reduced.vertex
        ties = [
            Tie(vertex[arc.a], vertex[arc.b], number[subject], arc.one_way) for arc, subject in reduced.unmade
        ]
        for device in self._leading(cut, after, ties):
            thing = names[device]
            yield _handle(now, thing, now.state(thing).value)

    def _volumes(self, cut: Sequence[int], gone: set[int]) -> Iterator[Volume]:
        """Yield the volumes that are isolated, and say of liquid ones whether they lose what they expand into."""
        found, plant = self.found, self.found.plant
        ends, before = self._room
        after = found.spread(ends, cut, back=not found.upstream) if ends else set()
        for thing, vertex in found.nodes:
            node = plant.node(thing) if ":" in thing else None
            if node is None or node.litres is None:
                continue
            shut_in = plant.is_liquid(node) and vertex in before and vertex not in after
            if shut_in or (vertex in gone and self._is_meant(thing)):
                yield Volume(thing, node.litres, shut_in, plant.part_of(owner_of(thing)).trapped)

    def _one_way(self, cut: Sequence[int], after: set[int]) -> Iterator[str]:
        """Yield the fewest check valves that keep the ends from the thing."""
        found = self.found
        network, vertex = found.network, found.reduced.vertex
        links = list(_one_way_links(network, found.now, {found.devices[d] for d in cut}))
        ties = [Tie(vertex[b], vertex[a], n, True) for n, (a, b) in enumerate(links)]
        for device in self._leading(cut, after, ties):
            a, b = links[device]
            yield f"{network.address(a)} -> {network.address(b)}"


def _bare_way(
    network: Network, now: Configuration, devices: set[str], starts: Sequence[str], ends: Sequence[str]
) -> tuple[str, ...]:
    """Return a shortest way, item by item, on which there is no device."""
    both, single, _ = state_links(network, now, devices)
    hops = defaultdict[int, list[int]](list)
    for a, b in (*network.plain, *both):
        hops[a].append(b)
        hops[b].append(a)
    for a, b in (*network.one_way, *single):
        hops[a].append(b)
    goal = {item for end in ends for item in network.items(end)}
    came = {item: item for start in starts for item in network.items(start)}
    queue = list(came)
    for here in queue:
        if here in goal:
            way = [here]
            while came[way[-1]] != way[-1]:
                way.append(came[way[-1]])
            return tuple(network.address(item) for item in reversed(way))
        for far in hops.get(here, ()):
            if far not in came:
                came[far] = here
                queue.append(far)
    raise AssertionError("there is a way without a device")


# --- segments ---------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Boundary:
    """What bounds a segment: a shut valve, an open switch, a joint that doesn't carry, or a check valve, and its
    status.

    `to`: the number of the segment behind it, None for one that isn't listed. `words`: what its kind calls the status.
    """

    thing: str
    status: str
    to: int | None
    locks: tuple[Device, ...] = ()
    words: str = ""

    untold: ClassVar[tuple[str, ...]] = ("words",)


@dataclass(frozen=True, slots=True)
class Segment:
    """What is joined as one. `items`: how many ports, contacts and nodes; `litres`: what its volumes hold together."""

    number: int
    items: int
    units: tuple[str, ...]
    nodes: tuple[str, ...]
    litres: float | None
    sources: tuple[str, ...]
    expansions: tuple[str, ...]
    boundary: tuple[Boundary, ...]


@dataclass(frozen=True, slots=True)
class Segments:
    """The segments of a medium, largest first. `alone`: how many ports are joined to nothing, and aren't listed."""

    medium: str
    segments: tuple[Segment, ...]
    alone: int


def segments_of(network: Network, now: Configuration) -> Segments:
    """Return what is joined both ways as one in a medium now."""
    reduced = reduce_network(network, now, ())
    plant, vertex = network.plant, reduced.vertex
    ends = ends_of(network)
    items, units = [0] * reduced.count, defaultdict[int, dict[str, None]](dict)
    nodes = defaultdict[int, list[str]](list)
    for owner in network.base:
        part = plant.part_of(owner)
        addresses = [owner] if network.medium == HOLD else []
        for address in (*addresses, *network.items_of(owner)):
            item = network.item(address)
            assert item is not None
            items[vertex[item]] += 1
            units[vertex[item]][owner] = None
            if address.partition(":")[2] in part.nodes or address == owner:
                nodes[vertex[item]].append(address)
    listed = [v for v in range(reduced.count) if items[v] > 1 or nodes[v]]
    listed.sort(key=lambda v: (-len(units[v]), -items[v], next(iter(units[v]))))
    number = {v: n for n, v in enumerate(listed, 1)}
    bounds = _boundaries(network, now, reduced, number)
    role = {sort: set(some) for sort, some in ends.items()}
    out = []
    for v in listed:
        volumes = [
            n.litres for one in nodes[v] if (n := plant.node(one)) is not None and n.litres is not None
        ]
        out.append(
            Segment(
                number[v],
                items[v],
                tuple(units[v]),
                tuple(nodes[v]),
                sum(volumes) if volumes else None,
                tuple(one for one in nodes[v] if one in role.get(SOURCE, ())),
                tuple(one for one in nodes[v] if one in role.get(EXPANSION, ())),
                tuple(dict.fromkeys(bounds[v])),
            )
        )
    return Segments(network.medium, tuple(out), reduced.count - len(listed))


def _boundaries(
    network: Network, now: Configuration, reduced: Reduced, number: Mapping[int, int]
) -> dict[int, list[Boundary]]:
    out, vertex = defaultdict[int, list[Boundary]](list), reduced.vertex
    for arc, subject in reduced.unmade:
        for here, there in ((arc.a, arc.b), (arc.b, arc.a)):
            state = now.state(subject)
            name = subject if arc in network.gates.get(subject, ()) else _name_of(now, subject)
            out[vertex[here]].append(
                Boundary(
                    name,
                    state.value,
                    number.get(vertex[there]),
                    tuple(locks_on(now, subject)),
                    now.plant.says(subject, state.value),
                )
            )
    for a, b in _one_way_links(network, now):
        if vertex[a] == vertex[b]:
            continue
        name = f"{network.address(a)} -> {network.address(b)}"
        out[vertex[a]].append(Boundary(name, "one way, out", number.get(vertex[b])))
        out[vertex[b]].append(Boundary(name, "one way, in", number.get(vertex[a])))
    return out
