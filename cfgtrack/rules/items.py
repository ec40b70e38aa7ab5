"""What conditions on items have in common: every item of a selection meets them, each for itself."""

from __future__ import annotations

from abc import abstractmethod
from collections.abc import Sequence
from dataclasses import dataclass

from cfgtrack.model.plant import Plant
from cfgtrack.rules.condition import Condition, Ended, Judge
from cfgtrack.rules.dependence import Timer, depends_on_items
from cfgtrack.rules.finding import Reason
from cfgtrack.rules.selection import Selection
from cfgtrack.rules.tally import Tally
from cfgtrack.rules.world import World


@dataclass(frozen=True, slots=True)
class OnItems(Condition):
    """Every item of `of` meets it."""

    of: Selection

    @abstractmethod
    def is_met(self, world: World, item: str) -> bool:
        """Return whether one item meets it now: by what is so of the item and its owner, or was done or measured."""

    @abstractmethod
    def reason(self, world: World, items: Sequence[str]) -> Reason:
        """Return why these items fall short now, and what would cure it."""

    def timers(self, plant: Plant) -> tuple[Timer, ...]:  # noqa: ARG002 - most don't look at the time
        """Return when time alone may change whether an item meets it."""
        return ()

    def looks_inside(self) -> bool:
        """Return whether what is done to a port of a unit may change whether the unit meets it."""
        return False

    def compile(self, world: World) -> Judge:
        """Return what judges it over one world."""
        return _EveryItem(self, world)


class _EveryItem(Judge):
    """Judges each item. Where they are always the same, those that fall short are tallied."""

    def __init__(self, condition: OnItems, world: World) -> None:
        of, timers = condition.of, condition.timers(world.plant)
        self.condition = condition
        self.world = world
        self.items = world.bind(of).items
        self.depends = depends_on_items(of, *timers)
        self.short: Tally | None = None
        if of.is_fixed and not timers:
            items = of.candidates(world.plant)
            # The tally is told of an item when it changes, and a unit doesn't when its port does.
            if not (condition.looks_inside() and any(":" not in item for item in items)):
                self.short = world.tallies.of_items(condition, items, self._falls_short)

    def _falls_short(self, item: str) -> bool:
        return not self.condition.is_met(self.world, item)

    def holds(self, it: str | None) -> bool:
        if self.short is not None:
            return not self.short
        return not any(map(self._falls_short, self.items(it)))

    def reasons(self, it: str | None, ended: Ended) -> tuple[Reason, ...]:  # noqa: ARG002 - no links
        return (self.condition.reason(self.world, list(filter(self._falls_short, self.items(it)))),)
