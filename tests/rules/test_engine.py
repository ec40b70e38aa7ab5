"""What the engine promises of itself, on random plants, histories and rules: reduced, stepped back, gone on from.

The ordinary run draws a few hundred cases; ``CFGTRACK_CASES=10000`` in the environment draws that many.
"""

from __future__ import annotations

import json
import os
from collections.abc import Callable, Iterable
from random import Random

from hypothesis import given, settings
from hypothesis import strategies as st

from cfgtrack.answers.encode import json_of
from cfgtrack.model.configuration import Configuration
from cfgtrack.model.event import Event, effects
from cfgtrack.model.plant import Plant
from cfgtrack.rules.engine import Engine
from cfgtrack.rules.rule import RuleSet
from tests.rules.worlds import GAPS, START, World, draw_history, draw_world, shrunk

Broken = tuple[str, str, int, int, int | None]

CASES = int(os.environ.get("CFGTRACK_CASES", "300"))


def engine_for(world: World, touched: Iterable[str] | None = None) -> Engine:
    """Return an engine at the start of a world."""
    return Engine(RuleSet(world.rules), Configuration(world.plant), start=START, touched=touched)


def run(engine: Engine, events: Iterable[Event], end: int) -> Engine:
    """Run events to the end of a sequence and return the engine."""
    for event in events:
        engine.step(event)
    engine.finish(end)
    engine.end_sequence()
    return engine


def broken(engine: Engine) -> dict[str, list[Broken]]:
    """Return the breaches that an engine noted, as plain tuples by rule, sorted."""
    out: dict[str, list[Broken]] = {rule.id: [] for rule in engine.rules.rules}
    for breach, until in engine.breaches():
        out[breach.rule.id].append((breach.rule.id, breach.it or "", breach.time, breach.since, until))
    return {rule: sorted(found, key=str) for rule, found in out.items()}


def written(plant: Plant, events: Iterable[Event]) -> set[str]:
    """Return exactly the subjects whose state some events write."""
    return {e.subject for event in events for e in effects(plant, event) if not e.aspect}


def found(engine: Engine) -> list[object]:
    """Return all that an engine tells: findings with their reasons, and clocks."""
    return [[json_of(f) for f in engine.findings()], [json_of(c) for c in engine.clocks()]]


SEEDS = st.integers(0, 2**32)
SETTINGS = settings(max_examples=CASES)


def by_reduction(world: World) -> bool:
    """Return whether contracting what no event writes makes a difference."""
    whole = run(engine_for(world), world.events, world.end)
    reduced = run(engine_for(world, written(world.plant, world.events)), world.events, world.end)
    return found(reduced) != found(whole)


def by_way(world: World) -> bool:
    """Return whether going another way and stepping back makes a difference."""
    engine = engine_for(world)
    for event in world.events[: world.fork]:
        engine.step(event)
    mark = engine.mark()
    run(engine, world.other, world.end)
    engine.back(mark)
    run(engine, world.events[world.fork :], world.end)
    return found(engine) != found(run(engine_for(world), world.events, world.end))


def by_detours(world: World) -> bool:
    """Return whether going some other way before every event, and stepping back, makes a difference, order included."""
    engine, straight = engine_for(world), run(engine_for(world), world.events, world.end)
    r = Random(world.end)
    for event in world.events:
        now = engine.world
        detour = draw_history(r, now.configuration.fork(), now.now, r.randint(0, 4), "detour-")
        mark = engine.mark()
        run(engine, detour, (detour[-1].happened if detour else now.now) + r.choice(GAPS))
        engine.back(mark)
        engine.step(event)
    engine.finish(world.end)
    engine.end_sequence()
    return found(engine) != found(straight) or engine.breaches() != straight.breaches()


def by_need(world: World) -> bool:
    """Return whether judging all after every event, and not what that may have changed, makes a difference."""
    restless = engine_for(world)
    for runner in restless.runners:
        runner.instances.affected = lambda change, items=runner.instances.items: items  # type: ignore[method-assign, misc]
        runner.stirred = lambda change, joined: joined  # type: ignore[method-assign]
    run(restless, world.events, world.end)
    return found(restless) != found(run(engine_for(world), world.events, world.end))


def by_memory(world: World) -> bool:
    """Return whether an engine that goes on from what another remembered makes a difference."""
    first = engine_for(world)
    for event in world.events[: world.fork]:
        first.step(event)
    now = first.world.now
    first.advance(now + 1)
    memory, settled = json.loads(json.dumps([first.memory(), first.take_settled()]))
    later = [event for event in world.events[world.fork :] if event.happened > now]
    same = [event for event in world.events[world.fork :] if event.happened == now]
    if same or world.end <= now:
        return False
    second = Engine(
        RuleSet(world.rules),
        first.world.configuration.fork(),
        start=now + 1,
        memory=memory,
        prior=first.world.done(),
    )
    second.add_settled(settled)
    run(second, later, world.end)
    return found(second) != found(run(engine_for(world), world.events, world.end))


def hold(seed: int, differs: Callable[[World], bool]) -> None:
    """Fail with the smallest case that differs."""
    world = draw_world(seed)
    if differs(world):
        raise AssertionError(shrunk(world, differs))


@given(SEEDS)
@SETTINGS
def test_reduced_first(seed):
    """With all that no event writes contracted away, the findings, reasons and clocks are the same."""
    hold(seed, by_reduction)


@given(SEEDS)
@SETTINGS
def test_nothing_is_overlooked(seed):
    """What an event leaves unjudged it had not changed: all judged after every event says the same."""
    hold(seed, by_need)


@given(SEEDS)
@SETTINGS
def test_it_remembers(seed):
    """An engine that was told what another remembered, as JSON has it, goes on as that would have."""
    hold(seed, by_memory)


@given(SEEDS)
@SETTINGS
def test_there_and_back(seed):
    """After going forward another way and stepping back, the engine goes on as if it had never been there."""
    hold(seed, by_way)


@given(SEEDS)
@settings(max_examples=CASES // 3)
def test_there_and_back_all_the_way(seed):
    """After a step aside and back before each of its events, a history breaks the same, in the same order."""
    hold(seed, by_detours)
