"""What might join items to the ends of their paths, or part them from these: proposals, none of them tried."""

from __future__ import annotations

from collections.abc import Container, Iterable, Iterator, Sequence

from cfgtrack.model.action import PLACE, Action
from cfgtrack.model.possibility import moves_from
from cfgtrack.network.flow import Flow, Link
from cfgtrack.network.trace import trace
from cfgtrack.rules.cure import Proposal
from cfgtrack.rules.ways import Ways
from cfgtrack.rules.world import World

_MOST_LINKS = 3
"""So many links in a row may be missing of a way."""

_MOST_WAYS = 12
"""At so many places a way is cut to look for another beside it."""


# --- to join --------------------------------------------------------------------------------------------------------


def to_join(ways: Ways, it: str | None, items: Sequence[str]) -> Iterator[Proposal]:
    """Yield what might make the links that items lack: first those of which one alone gives a path."""
    starts = ways.world.vertices(ways.flow.network.medium, items)
    for link in dict.fromkeys(link.name for link in _lacking(ways.flow, starts, ways.behind(it))):
        yield from to_make(ways.world, link)


def _lacking(flow: Flow, starts: Iterable[int], behind: Container[int]) -> Iterator[Link]:
    """Yield links that aren't made, in the order of the number that a way by them lacks."""
    short = [v for v in starts if v not in behind]
    could = sorted(flow.could_be(), key=lambda link: link.name)
    reached: list[set[int]] = [flow.graph.ahead(short)]
    for _ in range(_MOST_LINKS):
        last = reached[-1]
        ends = [link for link in could if joins(link, last, behind)]
        if ends:
            yield from _in_a_row(flow, could, reached, ends)
        onward = [far for link in could for far in _led_to(link, last)]
        reached.append(flow.graph.ahead((*last, *onward)))
        if len(reached[-1]) == len(last):
            return


def _in_a_row(
    flow: Flow, could: Sequence[Link], reached: Sequence[set[int]], ends: Sequence[Link]
) -> Iterator[Link]:
    """Yield the links of ways that lack as many links as there are in `reached`; `ends` are the last of each."""
    rows = [list(ends)]
    for layer in reversed(reached[:-1]):
        near = [a for link in rows[-1] for a in (link.a, link.b)]
        before = flow.graph.behind(near)
        rows.append([link for link in could if joins(link, layer, before)])
    for row in reversed(rows):
        yield from row


def _led_to(link: Link, ahead: Container[int]) -> Iterator[int]:
    if link.a in ahead:
        yield link.b
    if link.b in ahead and not link.one_way:
        yield link.a


def joins(link: Link, ahead: Container[int], behind: Container[int]) -> bool:
    """Return whether the link leads from what the start still reaches to what still reaches the end."""
    if link.a in ahead and link.b in behind:
        return True
    return not link.one_way and link.b in ahead and link.a in behind


def to_make(world: World, link: str) -> Iterator[Proposal]:
    """Yield actions that might make a link: a unit's being placed, or every move of a half, then of both."""
    plant, now = world.plant, world.now
    thing, _, place = link.partition(" on ")
    if place:
        for facing in plant.places[place].ways_round:
            yield Proposal(Action("", PLACE, (thing,), now, place=place, facing=facing))
        return
    halves = link.split(" - ")
    for subjects in dict.fromkeys((*((half,) for half in halves), tuple(halves))):
        found = plant.port(subjects[0])
        for move in found[1].moves.values() if found is not None else ():
            yield Proposal(Action("", move.action, subjects, now))


# --- to part --------------------------------------------------------------------------------------------------------


def to_part(ways: Ways, it: str | None, items: Sequence[str]) -> Iterator[Proposal]:
    """Yield what shuts the valves and switches on the way from items, and on the ways beside it.

    First those of which one alone, shut, ends every path. Never a connector: to part it live is what such a rule
    forbids.
    """
    ends = ways.end.items(it)
    for item in items:
        over = list(_links(ways, [item], ends))
        beside = {gate: list(_links(ways, [item], ends, without=gate)) for gate in over[:_MOST_WAYS]}
        alone = [gate for gate, others in beside.items() if not others]
        gates = dict.fromkeys((*alone, *over, *(gate for others in beside.values() for gate in others)))
        for gate in gates:
            for half in gate.split(" - "):
                yield from _to_shut(ways.world, half)


def _links(ways: Ways, starts: Sequence[str], ends: Sequence[str], *, without: str = "") -> Iterator[str]:
    way = trace(ways.flow.network, ways.world.configuration, starts, ends, without=without)
    return (hop.link for hop in way if hop.link)


def _to_shut(world: World, gate: str) -> Iterator[Proposal]:
    """Yield the actions that stop a valve or switch from carrying, but none that parts a connector or moves a unit."""
    found = world.plant.port(gate)
    if found is None:
        return
    kind = found[1]
    for move in moves_from(world.configuration, gate):
        if not kind.is_carrying(move.target) and not kind.parts(move):
            yield Proposal(Action("", move.action, (gate,), world.now))
