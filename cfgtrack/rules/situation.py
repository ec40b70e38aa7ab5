"""What a situation is: the configuration and what the rules remember. Two ways meet only where both are the same.

Left out is what nothing to come asks about: which event wrote a state, the reasons and the deed of a breach, how often
something was begun. Times are told from the engine's now on, and of what was last done as far as a rule asks: in which
order, or how long ago.
"""

from __future__ import annotations

from collections.abc import Hashable, Iterator
from typing import TYPE_CHECKING

from cfgtrack.rules.world import Group, Stamp, told

if TYPE_CHECKING:
    from cfgtrack.rules.engine import Engine
    from cfgtrack.rules.world import World


def situation(engine: Engine, *, timed: bool = True) -> Hashable:
    """Return what tells one situation from another: equal only where all to come is the same. Closes the instant.

    Comparable are those of one engine since its first mark, or of engines made alike and never marked. Not `timed`:
    without how long ago things were and how long clocks have run, for whoever keeps the time himself.
    """
    engine.settle()
    now = engine.world.now
    remembered = (
        (runner.number, what)
        for runner in engine.runners
        if (what := runner.situation(now if timed else None)) is not None
    )
    return (
        frozenset(_written(engine.world)),
        tuple(remembered),
        frozenset(_stamps(engine.world, timed=timed)),
    )


def _written(world: World) -> Iterator[Hashable]:
    """Yield what is otherwise than it was before the first mark; without one all that was ever touched."""
    configuration, first = world.configuration, world.first
    if first is None:
        yield from ((subject, state.value, state.other) for subject, state in configuration.touched())
        yield from ((*key, told(key[1], effect)) for key, effect in configuration.values.items())
        yield from configuration.cycles.items()
        return
    for subject, before in first.states.items():
        state = configuration.state(subject)
        if (state.value, state.other) != before:
            yield subject, state.value, state.other
    for key, value in first.values.items():
        now = told(key[1], configuration.values.get(key))
        if now != value:
            yield *key, now
    for subject, used in first.cycles.items():
        cycles = configuration.cycles.get(subject, 0)
        if cycles != used:
            yield subject, cycles


def _stamps(world: World, *, timed: bool) -> Iterator[Hashable]:
    """Yield what of when things were last done a rule asks: the order within each group, and how long ago."""
    if timed:
        for number, asked in enumerate(world.asked):
            for (subject, action), stamp in world.stamps.items() if asked.most_age is not None else ():
                if asked.is_aged(action):
                    yield number, subject, action, min(world.now - stamp[0], asked.most_age or 0)
    if world.first is not None:
        # What was done before is before all that was done since, in every order of that.
        yield from world.ranked.items()
        return
    groups: dict[Group, dict[tuple[str, str], Stamp]] = {}
    for key, stamp in world.stamps.items():
        for group in world.groups(*key):
            groups.setdefault(group, {})[key] = stamp
    for group, stamps in groups.items():
        yield group, world.asked[group[0]].ranked(stamps)
