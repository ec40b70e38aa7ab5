"""What an item should be: in one of some statuses, at one of some places."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from functools import partial
from itertools import islice
from typing import NamedTuple

from cfgtrack.model.action import PLACE, Action
from cfgtrack.model.plant import Plant, Unit, owner_of
from cfgtrack.rules.cure import Proposal
from cfgtrack.rules.saying import say_either, say_places
from cfgtrack.rules.selection import HOME, place_fits, stands_at
from cfgtrack.rules.world import World

MOST_PLACES = 12
"""So many places at most are proposed."""


class Wanted(NamedTuple):
    """One of the statuses `among`, or (units, mobile places) one of the places `at`; both where both are given.

    `at` holds shell patterns of place ids; being inside such a place counts. A leading ``#`` names a tag of places,
    ``home`` the unit's own home.
    """

    among: tuple[str, ...]
    at: tuple[str, ...]

    def words(self, says: Callable[[str], str] = str) -> str:
        """Return which statuses and places are asked for. `says`: what a status is called where it is known of what."""
        said = [say_either([*map(says, self.among)])] if self.among else []
        if self.at:
            said.append(f"at {say_places(self.at)}")
        return " ".join(said)

    def is_met(self, world: World, item: str) -> bool:
        """Return whether an item is so now."""
        now = world.configuration
        if self.among and not (world.plant.port(item) and now.state(item).value in self.among):
            return False
        return not self.at or stands_at(now, owner_of(item), self.at)

    def words_for(self, world: World, item: str) -> str:
        """Return which statuses, as an item's kind calls them, and places are asked for of it."""
        return self.words(partial(world.plant.says, item))

    def say_now(self, world: World, item: str) -> str:
        """Return how an item is now."""
        if self.among and world.plant.port(item):
            return f"{item} is {world.plant.says(item, world.configuration.state(item).value)}"
        owner = owner_of(item)
        if world.plant.can_move(owner):
            return f"{item} is at {world.configuration.state(owner).value or 'no known place'}"
        return f"{item} is not"

    def towards(self, world: World, item: str, *, away: bool) -> Iterator[Proposal]:
        """Yield single actions after which an item might be so; or, with `away`, no longer so."""
        plant, now = world.plant, world.now
        found = plant.port(item)
        if found is not None and self.among:
            moves = found[1].moves.values()
            for move in sorted(moves, key=lambda move: (move.target in self.among) == away):
                yield Proposal(Action("", move.action, (item,), now))
        unit = plant.units.get(owner_of(item))
        if unit is not None and self.at:
            for place in islice(self._places(plant, unit, away=away), MOST_PLACES):
                for facing in plant.places[place].ways_round:
                    yield Proposal(Action("", PLACE, (unit.id,), now, place=place, facing=facing))

    def _places(self, plant: Plant, unit: Unit, *, away: bool) -> Iterator[str]:
        """Yield the places that a unit might be taken to: first those that are named."""
        named = dict.fromkeys(unit.home if at == HOME else at for at in self.at)
        yield from (place for place in named if place in plant.places and not away)
        patterns = tuple(named)
        for place in plant.places:
            inside = any(place_fits(plant, p, patterns) for p in _around(plant, place))
            if inside != away and (away or place not in named):
                yield place


def _around(plant: Plant, place: str) -> Iterator[str]:
    """Yield a place and those that it is in by its definition."""
    seen = set[str]()
    while place in plant.places and place not in seen:
        seen.add(place)
        yield place
        place = plant.places[place].parent
