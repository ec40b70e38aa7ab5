"""A medium's network as it might become: every way that some joints and gates could make, whatever is so now."""

from __future__ import annotations

from collections import defaultdict, deque
from collections.abc import Collection, Iterable, Iterator

from cfgtrack.network.network import Network


class Potential:
    """The links of a medium that are always made, and those that could be: by the names that a trace gives them.

    `gates` are the valves and switches that might carry, `pairs` the halves that might be joined, `seats` the things
    that might stand where a place holds them.
    """

    def __init__(
        self,
        network: Network,
        gates: Iterable[str],
        pairs: Iterable[tuple[str, str]],
        seats: Iterable[tuple[str, str]],
    ) -> None:
        self._next: defaultdict[int, list[tuple[int, str]]] = defaultdict(list)
        self._upstream = network.plant.media[network.medium].upstream
        for a, b in network.plain:
            self._add(a, b, "")
        for a, b in network.one_way:
            self._add(a, b, "", one_way=True)
        for gate in gates:
            for arc in network.gates.get(gate, ()):
                self._add(arc.a, arc.b, gate, one_way=arc.one_way)
        for near, far in pairs:
            for arc in network.pairs(near, far):
                self._add(arc.a, arc.b, f"{near} - {far}")
        for thing, place in seats:
            if thing in network.base and place in network.base:
                self._add(network.base[thing], network.base[place], f"{thing} on {place}")

    def _add(self, a: int, b: int, name: str, *, one_way: bool = False) -> None:
        if one_way and self._upstream:
            a, b = b, a
        self._next[a].append((b, name))
        if not one_way:
            self._next[b].append((a, name))

    def way(self, starts: Iterable[int], ends: Collection[int], without: Collection[str]) -> list[str] | None:
        """Return the names of the links of a shortest way, but for those that are always made; None for none."""
        came: dict[int, tuple[int, str]] = {item: (item, "") for item in starts}
        queue = deque(came)
        while queue:
            item = queue.popleft()
            if item in ends:
                return [name for name in self._names(came, item) if name]
            for far, name in self._next[item]:
                if far not in came and not (name and name in without):
                    came[far] = (item, name)
                    queue.append(far)
        return None

    @staticmethod
    def _names(came: dict[int, tuple[int, str]], item: int) -> Iterator[str]:
        while came[item][0] != item:
            item, name = came[item]
            yield name

    def ways(self, starts: Collection[int], ends: Collection[int], most: int) -> Iterator[tuple[str, ...]]:
        """Yield ways that could be: each without the links of those before, then one beside each link of the first."""
        first = self.way(starts, ends, ())
        if not first:
            return
        told = {tuple(first)}
        yield tuple(first)
        used = set(first)
        while (further := self.way(starts, ends, used)) and len(told) < most:
            used.update(further)
            told.add(tuple(further))
            yield tuple(further)
        for name in first:
            beside = self.way(starts, ends, (name,))
            if beside and tuple(beside) not in told and len(told) < most:
                told.add(tuple(beside))
                yield tuple(beside)
