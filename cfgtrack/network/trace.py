"""One shortest way between items over made links, named link by link: for explanations, on the whole network."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable, Iterator
from typing import NamedTuple

from cfgtrack.model.configuration import Configuration
from cfgtrack.model.hold import carries, mate_of
from cfgtrack.model.plant import port_of
from cfgtrack.network.network import Network, interface_arcs, subject_arcs


class Hop(NamedTuple):
    """One item on a way, and the link that led to it: "" for one that is always made."""

    item: str
    link: str


def trace(
    network: Network,
    configuration: Configuration,
    starts: Iterable[str],
    ends: Iterable[str],
    *,
    without: str = "",
) -> list[Hop]:
    """Return a shortest way from any of `starts` to any of `ends`, or an empty list when there is none.

    It follows one-way links in the direction in which paths of the medium are followed, and not the link that is
    named `without`.
    """
    begin = [i for s in starts for i in network.items(s)]
    goal = {i for e in ends for i in network.items(e)}
    fixed = _fixed(network)
    came: dict[int, tuple[int, str]] = {i: (i, "") for i in begin}
    queue = deque(begin)
    while queue:
        item = queue.popleft()
        if item in goal:
            return _unwind(network, came, item)
        for far, link in (*((f, "") for f in fixed.get(item, ())), *_now(network, configuration, item)):
            if far not in came and not (link and link == without):
                came[far] = (item, link)
                queue.append(far)
    return []


def reached(network: Network, configuration: Configuration, starts: Iterable[str]) -> set[int]:
    """Return all that is reached from any of `starts` over made links, in the direction in which paths are followed."""
    queue = [i for s in starts for i in network.items(s)]
    fixed, seen = _fixed(network), set(queue)
    while queue:
        item = queue.pop()
        for far in (*fixed.get(item, ()), *(f for f, _ in _now(network, configuration, item))):
            if far not in seen:
                seen.add(far)
                queue.append(far)
    return seen


def _unwind(network: Network, came: dict[int, tuple[int, str]], item: int) -> list[Hop]:
    way: list[Hop] = []
    while True:
        before, link = came[item]
        way.append(Hop(network.address(item), link))
        if before == item:
            return way[::-1]
        item = before


def _fixed(network: Network) -> dict[int, list[int]]:
    """Return who is next to whom over links that are always made."""
    out: dict[int, list[int]] = {}
    for a, b in network.plain:
        out.setdefault(a, []).append(b)
        out.setdefault(b, []).append(a)
    upstream = network.plant.media[network.medium].upstream
    for a, b in network.one_way:
        out.setdefault(b if upstream else a, []).append(a if upstream else b)
    return out


def _now(network: Network, configuration: Configuration, item: int) -> Iterator[tuple[int, str]]:
    """Yield what the links that depend on state lead to from an item, with their names."""
    address = network.address(item)
    owner, colon, _ = address.partition(":")
    upstream = network.plant.media[network.medium].upstream
    for name in network.plant.part_of(owner).ports:
        gate = f"{owner}:{name}"
        if gate in network.gates and carries(configuration, gate):
            for arc in network.gates[gate]:
                a, b = (arc.b, arc.a) if arc.one_way and upstream else (arc.a, arc.b)
                if a == item:
                    yield b, gate
                elif b == item and not arc.one_way:
                    yield a, gate
    if colon:
        yield from _over_interface(network, configuration, item, port_of(address))
        return
    if network.plant.can_move(owner):
        for arc in subject_arcs(network, configuration, owner):
            yield arc.b, f"{owner} on {configuration.state(owner).value}"
    for standing in configuration.standing_at(owner):
        for arc in subject_arcs(network, configuration, standing):
            yield arc.a, f"{standing} on {owner}"


def _over_interface(
    network: Network, configuration: Configuration, item: int, port: str
) -> Iterator[tuple[int, str]]:
    mate = mate_of(configuration, port)
    for arc in interface_arcs(network, configuration, port) if mate else ():
        if item in (arc.a, arc.b):
            yield (arc.b if arc.a == item else arc.a), f"{port} - {mate}"
