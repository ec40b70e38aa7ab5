"""Two ways that come to one situation: all that comes after is judged the same on both."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from random import Random

from hypothesis import given, settings

from cfgtrack.model.configuration import Configuration
from cfgtrack.model.event import Event
from cfgtrack.model.possibility import resolve
from cfgtrack.rules.engine import Engine
from cfgtrack.rules.situation import situation
from tests.rules.test_engine import CASES, SEEDS, engine_for
from tests.rules.worlds import World, draw_world


def swapped(world: World, at: int) -> tuple[Event, ...] | None:
    """Return the events with two neighbours swapped, as each then is; None where one isn't possible then."""
    events = list(world.events)
    first, second = events[at], events[at + 1]
    events[at : at + 2] = [replace(second, happened=first.happened), replace(first, happened=second.happened)]
    now, out = Configuration(world.plant), []
    for event in events:
        outcome = resolve(now, event)
        if not isinstance(outcome, Event):
            return None
        now.apply(outcome)
        out.append(outcome)
    return tuple(out)


def after(engine: Engine, events: Sequence[Event], rest: Sequence[Event], end: int) -> tuple[object, ...]:
    """Return the situation after some events, and what of the rest breaks rules, and which clocks run at the end."""
    for event in events:
        engine.step(event)
    here, noted = situation(engine), engine.noted
    for event in rest:
        engine.step(event)
    engine.finish(end)
    engine.end_sequence()
    broken = [
        (b.rule.id, b.it, b.part, b.items, b.time, b.no_verdict)
        for b in engine.breaches_since(noted).values()
    ]
    return here, sorted(broken, key=str), sorted((c.rule, c.subject, c.deadline) for c in engine.clocks())


def meetings(world: World) -> Iterator[tuple[bool, bool]]:
    """Yield of each pair of neighbours whether both orders come to one situation, and whether all after is the same.

    Of some pairs of a world: once with one engine that goes back, once with two.
    """
    marked = engine_for(world)
    mark = marked.mark()
    pairs = range(len(world.events) - 1)
    for at in Random(world.end).sample(pairs, min(len(pairs), 3)):
        other = swapped(world, at)
        if other is None or other[at + 2 :] != world.events[at + 2 :]:
            continue
        rest = world.events[at + 2 :]
        found = []
        for way in (world.events, other):
            found.append(after(marked, way[: at + 2], rest, world.end))
            marked.back(mark)
        anew = [after(engine_for(world), way[: at + 2], rest, world.end) for way in (world.events, other)]
        assert (found[0][0] == found[1][0]) >= (anew[0][0] == anew[1][0])
        for one, two in (found, anew):
            yield one[0] == two[0], one[1:] == two[1:]


@given(SEEDS)
@settings(max_examples=CASES // 3)
def test_after_one_situation_all_is_the_same(seed):
    """Where two orders of two events come to one situation, what comes after breaks the same rules on both ways."""
    assert all(is_same for meet, is_same in meetings(draw_world(seed)) if meet)


def test_orders_do_meet():
    """Most pairs of events that are possible both ways round come to one situation: what is told apart differs."""
    found = [one for seed in range(40) for one in meetings(draw_world(seed))]
    met = sum(meet for meet, _ in found)
    assert len(found) > 30
    assert met > len(found) // 2


@given(SEEDS)
@settings(max_examples=CASES // 10)
def test_there_and_back(seed):
    """Who goes back comes to the situation that he left."""
    world = draw_world(seed)
    engine = engine_for(world)
    mark = engine.mark()
    start = situation(engine)
    for event in world.events:
        engine.step(event)
    situation(engine)
    engine.back(mark)
    assert situation(engine) == start
