"""Which fewest devices part some vertices from others: minimum cuts, all of them, over numbered vertices.

A *device* gates one link or several; those that nothing gates can't be cut. Where each device gates a single link the
answer is a maximum flow in which each device lets one unit through (Ford and Fulkerson): there are as many devices in a
smallest cut as there are ways that share none. All smallest cuts are the closed sets of what the flow leaves over
(Picard and Queyranne), and come here one after the other, none twice, without looking in vain.

Where a device gates several links (the contacts of a shell) the question is a hitting set, which no flow answers. It is
searched: somebody who cuts must cut each way that is left at one of its devices. That is exact too, and bounded by
`EFFORT`.

>>> net = Net(3, (), (Tie(0, 1, 7), Tie(1, 2, 8)))
>>> minimum_cuts(net, {0}, {2}).cuts
((8,), (7,))
"""

from __future__ import annotations

from collections import defaultdict, deque
from collections.abc import Callable, Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

MOST = 100
"""So many cuts are listed at most, where nobody says otherwise."""

EFFORT = 4_000
"""So many ways are looked for at most where devices gate several links."""


_Passes = Callable[[int], bool]
_Neighbours = Callable[[int], Iterable[int]]


class Tie(NamedTuple):
    """A link between two vertices that a device, a number, gates: both ways, or from `a` to `b`."""

    a: int
    b: int
    device: int
    one_way: bool = False


@dataclass(frozen=True, slots=True)
class Net:
    """Vertices from 0, arcs (from, to) that nothing cuts, and the ties that devices cut."""

    count: int
    arcs: tuple[tuple[int, int], ...]
    ties: tuple[Tie, ...]


@dataclass(frozen=True, slots=True)
class Cuts:
    """The fewest devices that part some vertices from others.

    `cuts`: the sets of devices that do, those nearest to what is parted first; one, with nothing in it, where they
    are apart; none where some way has no device. That `way` is told then, vertex by vertex. `complete`: whether these
    are all of that size; `at_least`: no fewer will do. What was cut short isn't `proved`: then one set is told that
    does, and isn't proved the smallest.
    """

    cuts: tuple[tuple[int, ...], ...]
    at_least: int = 0
    complete: bool = True
    way: tuple[int, ...] = ()

    @property
    def proved(self) -> bool:
        """Whether nothing smaller will do."""
        return bool(self.cuts) and len(self.cuts[0]) == self.at_least


def minimum_cuts(
    net: Net,
    sources: Collection[int],
    targets: Collection[int],
    *,
    most: int = MOST,
    effort: int = EFFORT,
) -> Cuts:
    """Return the smallest sets of devices without which no way leads from any source to any target; `most` of them."""
    if not set(sources).isdisjoint(targets):
        both = next(v for v in sources if v in set(targets))
        return Cuts((), way=(both,))
    part = _Part(net, sources, targets)
    if not part.is_joined:
        return Cuts(((),))
    bare = part.way(lambda _: False)
    if bare is not None:
        return Cuts((), way=tuple(vertex for vertex, _ in bare))
    if part.is_single:
        return _by_flow(part, most)
    return _by_search(part, most, effort)


# --- what matters -----------------------------------------------------------------------------------------------------


class _Part:
    """The part of a net that lies on ways from the sources to the targets: its hops, by their first vertex.

    A hop is (to, device), with None for one that nothing cuts; no hop is there twice. `is_single`: no device has
    hops between more than two vertices.
    """

    def __init__(self, net: Net, sources: Collection[int], targets: Collection[int]) -> None:
        self.sources, self.targets = frozenset(sources), frozenset(targets)
        out = defaultdict[int, list[tuple[int, int | None]]](list)
        into = defaultdict[int, list[int]](list)
        for a, b in net.arcs:
            if a != b:
                out[a].append((b, None))
                into[b].append(a)
        for a, b, device, one_way in net.ties:
            if a == b:
                continue
            out[a].append((b, device))
            into[b].append(a)
            if not one_way:
                out[b].append((a, device))
                into[a].append(b)
        ahead = _spread(self.sources, lambda v: (far for far, _ in out.get(v, ())))
        self.within = ahead & _spread(self.targets, lambda v: into.get(v, ()))
        within = self.within
        self.out: dict[int, tuple[tuple[int, int | None], ...]] = {
            a: tuple(dict.fromkeys(hop for hop in hops if hop[0] in within))
            for a, hops in out.items()
            if a in within
        }

    @property
    def is_joined(self) -> bool:
        """Whether any way leads from a source to a target."""
        return bool(self.within)

    @property
    def is_single(self) -> bool:
        """Whether each device has hops between one pair of vertices alone."""
        between: dict[int, tuple[int, int]] = {}
        for a, hops in self.out.items():
            for b, device in hops:
                if device is not None:
                    pair = (a, b) if a < b else (b, a)
                    if between.setdefault(device, pair) != pair:
                        return False
        return True

    def way(self, passes: _Passes, weighs: _Passes | None = None) -> list[tuple[int, int | None]] | None:
        """Return a way as (vertex, device of the hop that led there), None where there is none.

        It takes the hops whose device `passes`, and those that nothing cuts; of those that `weighs` says count, as few
        as can be.
        """
        came: dict[int, tuple[int, int | None]] = {v: (v, None) for v in self.sources & self.within}
        now = deque(came)
        cost = dict.fromkeys(came, 0)
        while now:
            here = now.popleft()
            if here in self.targets:
                return _unwound(came, here)
            for far, device in self.out.get(here, ()):
                if device is not None and not passes(device):
                    continue
                more = int(device is not None and (weighs is None or weighs(device)))
                if far in cost and cost[far] <= cost[here] + more:
                    continue
                cost[far] = cost[here] + more
                came[far] = (here, device)
                (now.append if more else now.appendleft)(far)
        return None


def _unwound(came: dict[int, tuple[int, int | None]], at: int) -> list[tuple[int, int | None]]:
    way = [(at, came[at][1])]
    while came[at][0] != at:
        at = came[at][0]
        way.append((at, came[at][1]))
    return way[::-1]


def _spread(seeds: Iterable[int], next_to: _Neighbours) -> set[int]:
    seen = set(seeds)
    queue = list(seen)
    while queue:
        for far in next_to(queue.pop()):
            if far not in seen:
                seen.add(far)
                queue.append(far)
    return seen


# --- by flow ----------------------------------------------------------------------------------------------------------

_ENDLESS = 1 << 60


@dataclass(slots=True)
class _Flow:
    """What flows: edges in pairs, `e` and back `e ^ 1`, each with where it leads and what room is `left` in it."""

    to: list[int] = field(default_factory=list)
    left: list[int] = field(default_factory=list)
    room: list[int] = field(default_factory=list)
    device: list[int | None] = field(default_factory=list)
    at: dict[int, list[int]] = field(default_factory=lambda: defaultdict(list))

    def add(self, a: int, b: int, there: int, back: int, device: int | None) -> None:
        """Add a pair of edges."""
        for near, far, room in ((a, b, there), (b, a, back)):
            self.at[near].append(len(self.to))
            self.to.append(far)
            self.left.append(room)
            self.room.append(room)
            self.device.append(device)

    def augment(self, source: int, sink: int) -> bool:
        """Let one more unit flow, on a shortest way; return whether there was one."""
        came: dict[int, int] = {source: -1}
        queue = deque([source])
        at, to, left = self.at, self.to, self.left
        while queue:
            here = queue.popleft()
            for edge in at[here]:
                far = to[edge]
                if left[edge] and far not in came:
                    came[far] = edge
                    if far == sink:
                        while (edge := came[far]) >= 0:
                            left[edge] -= 1
                            left[edge ^ 1] += 1
                            far = to[edge ^ 1]
                        return True
                    queue.append(far)
        return False


def _by_flow(part: _Part, most: int) -> Cuts:
    source, sink = -1, -2
    flow = _Flow()
    # What leads both ways is one pair of edges: a unit that goes there and one that comes back are none.
    seen: set[tuple[int, int, int]] = set()
    for a, hops in part.out.items():
        for b, device in hops:
            if device is None:
                flow.add(a, b, _ENDLESS, 0, None)
            elif (b, a, device) in seen:
                continue
            else:
                seen.add((a, b, device))
                back = any(hop == (a, device) for hop in part.out.get(b, ()))
                flow.add(a, b, 1, int(back), device)
    for vertex in part.sources & part.within:
        flow.add(source, vertex, _ENDLESS, 0, None)
    for vertex in part.targets & part.within:
        flow.add(vertex, sink, _ENDLESS, 0, None)
    size = 0
    while flow.augment(source, sink):
        size += 1
    cuts: list[tuple[int, ...]] = []
    complete = True
    for cut in _closed_sets(flow, source, sink, size):
        if len(cuts) == most:
            complete = False
            break
        cuts.append(cut)
    return Cuts(tuple(cuts), size, complete)


def _closed_sets(flow: _Flow, source: int, sink: int, size: int) -> Iterator[tuple[int, ...]]:
    """Yield every smallest cut once.

    Each of the flow's ways is cut at one of its devices. What lies before a device that is cut is on the sources'
    side with all that can be reached from there in what is left over, what lies behind it is not: two devices go
    together where neither's near side reaches the other's far side. Whatever goes together pair by pair is part of
    some cut, so the search never turns back empty.
    """
    ways = [_way_of(flow, source, sink) for _ in range(size)]
    edges = [edge for way in ways for edge in way]
    turn = {edge: number for number, edge in enumerate(edges)}
    ahead, behind, never = _reached(flow, source, sink, edges)
    goes = {edge: ~(ahead[edge] | behind[edge]) for edge in edges}
    fits = [edge for edge in edges if not (ahead[edge] | never) >> turn[edge] & 1]
    choices = [[edge for edge in reversed(way) if edge in set(fits)] for way in ways]
    cut: list[int] = []
    stack = [(iter(choices[0]), (1 << len(edges)) - 1)]
    while stack:
        left, allowed = stack[-1]
        chosen = next((edge for edge in left if allowed >> turn[edge] & 1), None)
        if chosen is None:
            stack.pop()
            if cut:
                cut.pop()
            continue
        cut.append(chosen)
        if len(cut) == size:
            yield tuple(device for edge in cut if (device := flow.device[edge]) is not None)
            cut.pop()
        else:
            stack.append((iter(choices[len(cut)]), allowed & goes[chosen]))


def _way_of(flow: _Flow, source: int, sink: int) -> list[int]:
    """Take one unit out of the flow; return the edges of devices that it went over.

    What is `left` stays as it is: `room` keeps what has not been taken yet.
    """
    way, here = list[int](), source
    while here != sink:
        edge = next(e for e in flow.at[here] if flow.room[e] > flow.left[e])
        flow.room[edge] -= 1
        flow.room[edge ^ 1] += 1
        if flow.device[edge] is not None:
            way.append(edge)
        here = flow.to[edge]
    return way


def _reached(
    flow: _Flow, source: int, sink: int, edges: Sequence[int]
) -> tuple[dict[int, int], dict[int, int], int]:
    """Return, as bits by the turn of some edges, what can be reached in what the flow leaves over.

    Of each edge those whose far side its near side reaches, and those whose near side reaches its far side; and those
    that are in no smallest cut, as the source reaches their far side, or their near side the sink.
    """
    import rustworkx

    number = {vertex: n for n, vertex in enumerate(flow.at)}
    graph: rustworkx.PyDiGraph[None, None] = rustworkx.PyDiGraph()
    graph.add_nodes_from([None] * len(number))
    graph.add_edges_from_no_data(
        [(number[flow.to[e ^ 1]], number[flow.to[e]]) for e, left in enumerate(flow.left) if left]
    )
    group = [0] * len(number)
    groups = rustworkx.strongly_connected_components(graph)
    for n, members in enumerate(groups):
        for member in members:
            group[member] = n
    hops = {(group[a], group[b]) for a, b in graph.edge_list() if group[a] != group[b]}

    def at(vertex: int) -> int:
        return group[number[vertex]]

    near, far = [0] * len(groups), [0] * len(groups)
    for n, edge in enumerate(edges):
        near[at(flow.to[edge ^ 1])] |= 1 << n
        far[at(flow.to[edge])] |= 1 << n
    ends = 1 << len(edges)
    near[at(source)] |= ends
    far[at(sink)] |= ends
    whole: rustworkx.PyDiGraph[None, None] = rustworkx.PyDiGraph()
    whole.add_nodes_from([None] * len(groups))
    whole.add_edges_from_no_data(list(hops))
    order = [(here, whole.successor_indices(here)) for here in rustworkx.topological_sort(whole)]
    for here, after in order:
        for there in after:
            near[there] |= near[here]
    for here, after in reversed(order):
        for there in after:
            far[here] |= far[there]
    never = far[at(source)]
    for n, edge in enumerate(edges):
        never |= (far[at(flow.to[edge ^ 1])] >> len(edges) & 1) << n
    ahead = {edge: far[at(flow.to[edge ^ 1])] for edge in edges}
    return ahead, {edge: near[at(flow.to[edge])] for edge in edges}, never


# --- by search --------------------------------------------------------------------------------------------------------


class _Spent(Exception):
    """More was looked for than may be."""


class _Search:
    """Looks for the sets of at most so many devices that each way has one of."""

    def __init__(self, part: _Part, most: int, effort: int) -> None:
        self._part, self._most, self._effort = part, most, effort
        self.found: list[tuple[int, ...]] = []
        self.complete = True

    def _way(self, cut: set[int], kept: set[int]) -> list[int] | None:
        """Return the devices that might be cut of a way that is left, as few as can be, nearest to the target first."""
        self._effort -= 1
        if self._effort < 0:
            raise _Spent
        way = self._part.way(lambda d: d not in cut, lambda d: d not in kept)
        if way is None:
            return None
        return list(dict.fromkeys(d for _, d in reversed(way) if d is not None and d not in kept))

    def apart(self, cut: set[int], kept: set[int], enough: int) -> int:
        """Return how many ways are found, at the least, that share no device; `enough` are."""
        gone, count = set(cut), 0
        while count < enough and (way := self._way(gone, kept)) is not None:
            if not way:
                return enough
            gone.update(way)
            count += 1
        return count

    def look(self, size: int, cut: set[int], kept: set[int]) -> None:
        """Find the sets of `size` devices with those of `cut` and none of `kept`."""
        if not self.complete:
            return
        way = self._way(cut, kept)
        if way is None:
            if len(self.found) == self._most:
                self.complete = False
            else:
                self.found.append(tuple(cut))
            return
        left = size - len(cut)
        if not left or not way or (left > 1 and self.apart(cut, kept, left + 1) > left):
            return
        spared = set(kept)
        for device in way:
            self.look(size, cut | {device}, spared)
            spared = spared | {device}


def _by_search(part: _Part, most: int, effort: int) -> Cuts:
    search = _Search(part, most, effort)
    size = 1
    try:
        devices = {d for hops in part.out.values() for _, d in hops if d is not None}
        size = max(search.apart(set(), set(), len(devices) + 1), 1)
        while not search.found:
            search.look(size, set(), set())
            size += not search.found
    except _Spent:
        if search.found:
            return Cuts(tuple(search.found), size, complete=False)
        return Cuts((_some_cut(part),), size, complete=False)
    return Cuts(tuple(search.found), size, search.complete)


def _some_cut(part: _Part) -> tuple[int, ...]:
    """Return devices that do, none of which can be left out: not the fewest, maybe."""
    cut = list[int]()
    while (way := part.way(lambda d: d not in cut)) is not None:
        cut.append(next(d for _, d in reversed(way) if d is not None))
    for device in list(cut):
        if part.way(lambda d, device=device: d not in cut or d == device) is None:  # type: ignore[misc]
            cut.remove(device)
    return tuple(cut)
