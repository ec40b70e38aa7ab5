"""What an item should be: in one of some statuses, at one of some places."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import NamedTuple

from cfgtrack.model.action import PLACE, Action
from cfgtrack.model.event import Event, effects
from cfgtrack.model.plant import owner_of
from cfgtrack.rules.cure import first_few, that_work
from cfgtrack.rules.saying import say_either, say_places
from cfgtrack.rules.selection import HOME, stands_at
from cfgtrack.rules.world import World


class Wanted(NamedTuple):
    """One of the statuses `among`, or (units, mobile places) one of the places `at`; both where both are given.

    `at` holds shell patterns of place ids; being inside such a place counts. A leading ``#`` names a tag of places,
    ``home`` the unit's own home.
    """

    among: tuple[str, ...]
    at: tuple[str, ...]

    def words(self) -> str:
        """Return which statuses and places are asked for."""
        said = [say_either(self.among)] if self.among else []
        if self.at:
            said.append(f"at {say_places(self.at)}")
        return " ".join(said)

    def is_met(self, world: World, item: str) -> bool:
        """Return whether an item is so now."""
        now = world.configuration
        if self.among and not (world.plant.port(item) and now.state(item).value in self.among):
            return False
        return not self.at or stands_at(now, owner_of(item), self.at)

    def say_now(self, world: World, item: str) -> str:
        """Return how an item is now."""
        if self.among and world.plant.port(item):
            return f"{item} is {world.configuration.state(item).value}"
        owner = owner_of(item)
        if world.plant.can_move(owner):
            return f"{item} is at {world.configuration.state(owner).value or 'no known place'}"
        return f"{item} is not"

    def cures(self, world: World, items: Iterable[str], *, away: bool = False) -> tuple[str, ...]:
        """Return single actions after which an item would be so; or, with `away`, no longer so."""
        return first_few(self._moves(world, item, away=away) for item in items)

    def _moves(self, world: World, item: str, *, away: bool) -> Iterator[str]:
        could = self._could_move(world, item, away=away)
        return that_work(world, could, lambda event: self._is_met_after(world, event, item) != away)

    def _could_move(self, world: World, item: str, *, away: bool) -> Iterator[Action]:
        """Yield actions that might: the moves of a port's ladder, and a unit's being placed where it should be."""
        plant, now = world.plant, world.now
        found = plant.port(item)
        if found is not None and self.among:
            for action in found[1].moves:
                yield Action("", action, (item,), now)
        unit = plant.units.get(item)
        if unit is None or away:
            return
        for place in dict.fromkeys(unit.home if at == HOME else at for at in self.at):
            if place in plant.places:
                for facing in plant.places[place].ways_round:
                    yield Action("", PLACE, (item,), now, place=place, facing=facing)

    def _is_met_after(self, world: World, event: Event, item: str) -> bool:
        """Return whether an item would be so once a resolved event had happened."""
        then = world.configuration
        if event.place is not None:
            then = then.fork()
            then.apply(event)
        value = then.state(item).value if ":" in item else ""
        for effect in effects(then.plant, event):
            if effect.subject == item and not effect.aspect:
                value = effect.value
        if self.among and value not in self.among:
            return False
        return not self.at or stands_at(then, owner_of(item), self.at)
