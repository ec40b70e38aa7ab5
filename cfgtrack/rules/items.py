"""What conditions on items have in common: every item of a selection has something, each for itself."""

from __future__ import annotations

from abc import abstractmethod

from cfgtrack.rules.condition import Condition, Node
from cfgtrack.rules.dependence import Timer, depends_on_items
from cfgtrack.rules.selection import Selection
from cfgtrack.rules.tally import Tally
from cfgtrack.rules.world import World


class EveryItem(Node):
    """Judges that every item of a selection meets the condition. Set up what `meets` needs before this is made.

    Where the items are always the same, what falls short is tallied; `timers` say when time alone changes it.
    """

    def __init__(self, condition: Condition, of: Selection, world: World, *timers: Timer) -> None:
        self.world = world
        self.of = world.bind(of)
        self.depends = depends_on_items(of, *timers)
        self.short: Tally | None = None
        if of.is_fixed and not timers:
            self.short = world.tallies.of_items(condition, of.candidates(world.plant), self._falls_short)

    @abstractmethod
    def meets(self, item: str) -> bool:
        """Return whether one item meets the condition now."""

    def _falls_short(self, item: str) -> bool:
        return not self.meets(item)

    def holds(self, it: str | None) -> bool:
        """Return whether every item meets it now."""
        if self.short is not None:
            return not self.short
        return all(map(self.meets, self.of.items(it)))

    def failing(self, it: str | None) -> list[str]:
        """Return the items that fall short."""
        return [item for item in self.of.items(it) if not self.meets(item)]
