"""What cut a path, or keeps one up that must not be; and which single actions, possible now, would cure it."""

from __future__ import annotations

from collections.abc import Container, Iterator, Sequence
from itertools import islice

from cfgtrack.model.action import PLACE, Action
from cfgtrack.model.configuration import Configuration
from cfgtrack.model.event import Event, effects
from cfgtrack.model.possibility import resolve
from cfgtrack.network.flow import Flow, Link
from cfgtrack.network.trace import trace
from cfgtrack.rules.breach import words
from cfgtrack.rules.describe import describe_selection, say_list
from cfgtrack.rules.finding import Reason
from cfgtrack.rules.judge import Cut, Judge
from cfgtrack.rules.rule import NoPath, Path

MOST_CURES = 5


def lost(judge: Judge, condition: Path, it: str | None, ended: Sequence[tuple[str, Link]]) -> Reason:
    """Return why a path is lost: which of the links that just `ended` cut it, and what would give it back."""
    direct, known = judge.direct(condition), judge.cuts.get(id(condition))
    if direct is not None and it is not None and known is not None and direct[0].goes_both_ways:
        vertices = direct[0].vertices(it)
        if vertices and all(v in known.ahead for v in vertices):
            return Reason("no-path", known.text, known.links, (it,), known.cures)
    beyond = tuple(judge.short_items(condition, it))
    cut = _cut(judge, condition, it, beyond, ended)
    return Reason("no-path", cut.text, cut.links, beyond, cut.cures)


def _cut(
    judge: Judge, condition: Path, it: str | None, beyond: Sequence[str], ended: Sequence[tuple[str, Link]]
) -> Cut:
    """Return the links whose end cut the last path, and those of which a single one would give it back to an item.

    What is cut off at one blow is cut off by the same links: where all links go both ways, and all are to reach the
    same ends, the answer for one item serves for all others on its side.
    """
    flow = judge.world.flows[condition.medium]
    groups = [flow.vertices(item) for item in beyond]
    starts = [v for group in groups for v in group]
    behind: Container[int] | None = judge.world.reach_of(condition.medium, condition.end)
    known = judge.cuts.get(id(condition)) if it is not None and behind is not None else None
    if known is not None and starts and flow.goes_both_ways and all(v in known.ahead for v in starts):
        return known
    if behind is None:
        behind = flow.graph.behind(_ends(judge, condition, it))
    short = [[v for v in group if v not in behind] for group in groups]
    ahead = flow.graph.ahead(v for group in short for v in group)
    broken = [link for medium, link in ended if medium == condition.medium]
    cut = [link for link in broken if _joins(link, ahead, behind)]
    links = tuple(
        dict.fromkeys(link.name for link in cut or _all_on_the_way(judge, condition, it, starts, broken))
    )
    could = sorted((k for k in flow.could_be() if _joins(k, ahead, behind)), key=lambda k: k.name)
    several = any(len(group) > 1 for group in short)
    enough = (k for k in (*cut, *could) if not several or _restores(flow, k, short, ahead, behind))
    made = (to_make(judge, name) for name in dict.fromkeys(k.name for k in enough))
    cures = tuple(islice((cure for cure in made if cure), MOST_CURES))
    to = describe_selection(condition.end)
    text = f"there is no {condition.medium} path to {to}"
    if links:
        text = f"no {condition.medium} path is left to {to}: {say_list(links)} was the last way"
    found = judge.cuts[id(condition)] = Cut(ahead, links, cures, text)
    return found


def _ends(judge: Judge, condition: Path, it: str | None) -> list[int]:
    return judge.world.vertices(condition.medium, judge.world.items(condition.end, it))


def _all_on_the_way(
    judge: Judge, condition: Path, it: str | None, starts: Sequence[int], broken: Sequence[Link]
) -> list[Link]:
    """Return the links of `broken` that were on a way which took several of them: no single one would give it back."""
    if len(broken) < 2:
        return []
    whole = judge.world.flows[condition.medium].graph.fork()
    for link in broken:
        whole.add(link.a, link.b)
        if not link.one_way:
            whole.add(link.b, link.a)
    ahead, behind = whole.ahead(starts), whole.behind(_ends(judge, condition, it))
    return [link for link in broken if _joins(link, ahead, behind)]


def _restores(
    flow: Flow, link: Link, short: Sequence[Sequence[int]], ahead: Container[int], behind: Container[int]
) -> bool:
    """Return whether a link gives all its vertices back to some item: one with several may want more than one."""
    near = [a for a, b in ((link.a, link.b), (link.b, link.a)) if a in ahead and b in behind]
    led = flow.graph.behind(near[: 1 if link.one_way else 2])
    return any(group and all(v in led for v in group) for group in short)


def _joins(link: Link, ahead: Container[int], behind: Container[int]) -> bool:
    """Return whether the link leads from what the start still reaches to what still reaches the end."""
    if link.a in ahead and link.b in behind:
        return True
    return not link.one_way and link.b in ahead and link.a in behind


def still(judge: Judge, condition: NoPath, it: str | None) -> Reason:
    """Return which way is still there that must not be, and which valve or switch alone would end it."""
    world = judge.world
    beyond = tuple(judge.short_items(condition, it))
    ends = world.items(condition.end, it)
    network = world.flows[condition.medium].network
    way = trace(network, world.configuration, beyond[:1], ends)
    over = tuple(step.link for step in way if step.link)
    to = way[-1].item if way else describe_selection(condition.end)
    text = f"{say_list(beyond)} still has a {condition.medium} path to {to}"
    if over:
        text += f" over {say_list(over)}"
    return Reason(
        "path",
        text,
        over,
        beyond,
        tuple(islice(_to_cut_off(judge, condition, beyond, ends, over), MOST_CURES)),
    )


def _to_cut_off(
    judge: Judge, condition: NoPath, starts: Sequence[str], ends: Sequence[str], over: Sequence[str]
) -> Iterator[str]:
    """Yield the valves and switches on the way of which one alone, shut, ends every path.

    Never a connector: to part it live is what such a rule forbids.
    """
    world = judge.world
    network = world.flows[condition.medium].network
    for gate in over:
        if gate in network.gates and not trace(network, world.configuration, starts, ends, without=gate):
            yield from _to_shut(judge, gate)


def to_make(judge: Judge, link: str) -> str:
    """Return the single action that would make a link, by the name of the link; "" where none is possible now."""
    configuration = judge.world.configuration
    for event in _could_make(judge, link):
        outcome = resolve(configuration, event)
        if isinstance(outcome, Event) and _makes(configuration, outcome, link):
            return words(event) + (f" facing {event.facing}" if event.facing else "")
    return ""


def _could_make(judge: Judge, link: str) -> Iterator[Action]:
    """Yield actions that might make a link: a unit's being placed, or every move of a half, then of both."""
    plant, now = judge.world.plant, judge.world.now
    thing, _, place = link.partition(" on ")
    if place:
        for facing in plant.places[place].facings or (None,):
            yield Action("", PLACE, (thing,), now, place=place, facing=facing)
        return
    halves = link.split(" - ")
    for subjects in (*((half,) for half in halves), tuple(halves)):
        found = plant.port(subjects[0])
        for action in found[1].moves if found is not None else ():
            yield Action("", action, subjects, now)


def _makes(configuration: Configuration, event: Event, link: str) -> bool:
    """Return whether a link is made once a resolved event has happened."""
    if " on " in link:
        return True
    after = {e.subject: (e.value, e.other) for e in effects(configuration.plant, event) if not e.aspect}
    halves = link.split(" - ")
    for half in halves:
        found = configuration.plant.port(half)
        value, mate = after.get(half) or configuration.state(half)[:2]
        if found is None or not found[1].is_carrying(value) or (len(halves) == 2 and mate not in halves):
            return False
    return True


def _to_shut(judge: Judge, gate: str) -> Iterator[str]:
    """Yield the actions that stop a valve or switch from carrying, but none that parts a connector."""
    found = judge.world.plant.port(gate)
    if found is None:
        return
    kind, now = found[1], judge.world.configuration.state(gate).value
    for move in kind.moves.values():
        if now in move.sources and not kind.is_carrying(move.target) and not kind.parts(move):
            yield f"{move.action} {gate}"
