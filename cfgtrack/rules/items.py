"""What conditions on items have in common: every item of a selection meets them, each for itself."""

from __future__ import annotations

from abc import abstractmethod
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass

from cfgtrack.model.plant import Plant
from cfgtrack.rules.condition import Condition, Ended, Judge, Part
from cfgtrack.rules.cure import Proposal, in_turn
from cfgtrack.rules.dependence import Dependence, Timer, depends_on_items
from cfgtrack.rules.finding import Reason, join
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
    def reason(self, world: World, item: str) -> Reason:
        """Return why an item falls short now: told as one with the others, see `Reason`."""

    def towards(self, world: World, item: str, *, true: bool) -> Iterator[Proposal]:  # noqa: ARG002 - not all know of any
        """Yield single actions after which an item might meet it; or, unless `true`, no longer."""
        yield from ()

    def each(self) -> Iterator[Selection]:
        """Yield the selection of its items."""
        return self.checked()

    def timers(self, plant: Plant) -> tuple[Timer, ...]:  # noqa: ARG002 - most don't look at the time
        """Return when time alone may change whether an item meets it."""
        return ()

    def beside(self, world: World) -> Dependence | None:  # noqa: ARG002 - most look at nothing else
        """Return what may change whether an item meets it, beside what is so of itself and its owner; None: nothing."""
        return None

    def alone_may_fall_short(self, world: World) -> Iterable[str] | None:  # noqa: ARG002 - most can't tell
        """Return those of all items that may fall short now; None: any may."""
        return None

    def looks_inside(self) -> bool:
        """Return whether what is done to a port of a unit may change whether the unit meets it."""
        return False

    def compile(self, world: World) -> Judge:
        """Return what judges it over one world."""
        return EveryItem(self, world)


class EveryItem(Judge):
    """Judges each item. Where they are always the same, those that fall short are tallied."""

    def __init__(self, condition: OnItems, world: World) -> None:
        of, timers = condition.of, condition.timers(world.plant)
        self.condition = condition
        self.world = world
        self.items = world.bind(of).items
        beside = condition.beside(world)
        self.depends = depends_on_items(of, *timers) | (beside or Dependence())
        self.lacking: Tally | None = None
        self.members = frozenset(of.candidates(world.plant)) if of.is_fixed and beside is not None else None
        if of.is_fixed and not timers and beside is None:
            items = of.candidates(world.plant)
            # The tally is told of an item when it changes, and a unit doesn't when its port does.
            if not (condition.looks_inside() and any(":" not in item for item in items)):
                self.lacking = world.tallies.of_items(condition, items, self._falls_short)

    def _falls_short(self, item: str) -> bool:
        return not self.condition.is_met(self.world, item)

    def holds(self, it: str | None) -> bool:
        if self.lacking is not None:
            return not self.lacking
        return not any(map(self._falls_short, self._asked(it)))

    def _asked(self, it: str | None) -> Iterable[str]:
        """Return the items that may fall short: of those that are always the same the condition may know few."""
        few = None if self.members is None else self.condition.alone_may_fall_short(self.world)
        return (
            self.items(it) if few is None or self.members is None else sorted(self.members.intersection(few))
        )

    def short(self, it: str | None) -> Mapping[Part, tuple[str, ...]]:
        return {(item,): (item,) for item in self._short(it)}

    def met(self, it: str | None) -> tuple[str, ...]:
        return tuple(item for item in self.items(it) if not self._falls_short(item))

    def towards(self, it: str | None, part: Part | None = None, *, true: bool) -> Iterator[Proposal]:
        items = part or (self._short(it) if true else self.met(it))
        return in_turn(self.condition.towards(self.world, item, true=true) for item in items)

    @property
    def version(self) -> int | None:
        return None if self.lacking is None else self.lacking.version

    def _short(self, it: str | None) -> list[str]:
        if self.lacking is not None:
            return sorted(map(str, self.lacking))
        return list(filter(self._falls_short, self._asked(it)))

    def reasons(
        self,
        it: str | None,
        ended: Ended,  # noqa: ARG002 - no links
        part: Part | None = None,
    ) -> tuple[Reason, ...]:
        items = self._short(it) if part is None else part
        return join(self.condition.reason(self.world, item) for item in items)
