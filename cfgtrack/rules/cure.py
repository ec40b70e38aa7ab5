"""Cures: single actions, possible now, after which something would be as it should be."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from itertools import chain, islice

from cfgtrack.model.action import Action
from cfgtrack.model.event import Event
from cfgtrack.model.possibility import resolve
from cfgtrack.rules.breach import words
from cfgtrack.rules.world import World

MOST_CURES = 5

MOST_TRIED = 50
"""For how many items a cure is looked for."""


def that_work(world: World, actions: Iterable[Action], works: Callable[[Event], bool]) -> Iterator[str]:
    """Yield in words those actions that are possible now, and that work once they are resolved."""
    for action in actions:
        outcome = resolve(world.configuration, action)
        if isinstance(outcome, Event) and works(outcome):
            yield words(action) + (f" facing {action.facing}" if action.facing else "")


def first_few(cures: Iterable[Iterable[str]]) -> tuple[str, ...]:
    """Return the first few cures of the first many items: a plant where thousands lack something is not searched."""
    found = chain.from_iterable(islice(cures, MOST_TRIED))
    return tuple(islice(dict.fromkeys(found), MOST_CURES))
