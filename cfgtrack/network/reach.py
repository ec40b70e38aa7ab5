"""Who reaches a target, kept up to date while links come and go, at a cost of what is really affected.

A `Reach` holds the vertices from which some target can be reached, and for each the next hop on one such way: a
forest with the targets as roots. Breaking a link that no hop uses costs nothing; breaking one that a hop uses
costs the tree behind it, whose vertices either find another way or are lost.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterable, Iterator


class Digraph:
    """Directed arcs between numbered vertices, counted, so that parallel links may end one at a time."""

    __slots__ = ("into", "out")

    def __init__(self, arcs: Iterable[tuple[int, int]] = ()) -> None:
        self.out: dict[int, dict[int, int]] = {}
        self.into: dict[int, dict[int, int]] = {}
        for a, b in arcs:
            self.add(a, b)

    def add(self, a: int, b: int) -> bool:
        """Add an arc; return whether it is the first from `a` to `b`."""
        out = self.out.setdefault(a, {})
        is_first = b not in out
        out[b] = self.into.setdefault(b, {})[a] = out.get(b, 0) + 1
        return is_first

    def remove(self, a: int, b: int) -> bool:
        """Remove an arc; return whether it was the last from `a` to `b`. KeyError when there is none."""
        count = self.out[a][b] - 1
        if count:
            self.out[a][b] = count
            self.into[b][a] = count
            return False
        del self.out[a][b]
        del self.into[b][a]
        return True

    def ahead(self, starts: Iterable[int]) -> set[int]:
        """Return every vertex that can be reached from `starts`, those included."""
        return _spread(starts, self.out)

    def behind(self, ends: Iterable[int]) -> set[int]:
        """Return every vertex from which some of `ends` can be reached, those included."""
        return _spread(ends, self.into)

    def fork(self) -> Digraph:
        """Return an independent copy."""
        twin = Digraph()
        twin.out = {a: dict(to) for a, to in self.out.items()}
        twin.into = {b: dict(fro) for b, fro in self.into.items()}
        return twin


def _spread(seeds: Iterable[int], hops: dict[int, dict[int, int]]) -> set[int]:
    seen = set(seeds)
    queue = list(seen)
    while queue:
        for far in hops.get(queue.pop(), ()):
            if far not in seen:
                seen.add(far)
                queue.append(far)
    return seen


class Reach:
    """The vertices of `graph` that reach some of `targets`. Tell it of every arc after the graph has changed."""

    __slots__ = ("_graph", "_hop", "_users")

    def __init__(self, graph: Digraph, targets: Iterable[int]) -> None:
        self._graph = graph
        self._hop: dict[int, int] = {}
        self._users: dict[int, set[int]] = {}
        self._grow((t, t) for t in targets)

    def __contains__(self, vertex: object) -> bool:
        return vertex in self._hop

    @property
    def has(self) -> Callable[[object], bool]:
        """What tells whether a vertex is in it, now and later, for those who ask often."""
        return self._hop.__contains__

    @property
    def targets(self) -> Iterator[int]:
        """The targets."""
        return (vertex for vertex, hop in self._hop.items() if vertex == hop)

    def __iter__(self) -> Iterator[int]:
        return iter(self._hop)

    def __len__(self) -> int:
        return len(self._hop)

    def way(self, vertex: int) -> list[int]:
        """Return the vertices from `vertex` to the target on the way that is held. KeyError when there is none."""
        way = [vertex]
        while self._hop[way[-1]] != way[-1]:
            way.append(self._hop[way[-1]])
        return way

    def added(self, a: int, b: int) -> list[int]:
        """Take note of a new arc; return the vertices that gained a way."""
        if b not in self._hop or a in self._hop:
            return []
        return self._grow([(a, b)])

    def removed(self, a: int, b: int) -> list[int]:
        """Take note of an arc that is gone; return the vertices that lost their way."""
        if a == b or self._hop.get(a) != b:
            return []
        orphans = self._orphan(a)
        seeds = []
        for vertex in orphans:
            for far in self._graph.out.get(vertex, ()):
                if far in self._hop:
                    seeds.append((vertex, far))
                    break
        back = set(self._grow(seeds))
        return [v for v in orphans if v not in back]

    def _orphan(self, top: int) -> list[int]:
        """Take `top` and all whose way leads over it out of the forest; return them."""
        self._users[self._hop[top]].discard(top)
        orphans = [top]
        for vertex in orphans:
            orphans.extend(self._users.pop(vertex, ()))
        for vertex in orphans:
            del self._hop[vertex]
        return orphans

    def _grow(self, seeds: Iterable[tuple[int, int]]) -> list[int]:
        """Give each seed (vertex, next hop) its way, and all that reach it; return the vertices that gained one."""
        gained: list[int] = []
        queue = deque(seeds)
        while queue:
            vertex, hop = queue.popleft()
            if vertex in self._hop:
                continue
            self._hop[vertex] = hop
            if hop != vertex:
                self._users.setdefault(hop, set()).add(vertex)
            gained.append(vertex)
            queue.extend((near, vertex) for near in self._graph.into.get(vertex, ()) if near not in self._hop)
        return gained
