"""Matches of actions: which events a rule is tied to, and which items it is then about."""

from __future__ import annotations

from dataclasses import dataclass, field

from cfgtrack.model.action import LIFT, PLACE
from cfgtrack.model.event import Event, done_to
from cfgtrack.model.plant import Plant
from cfgtrack.rules.dependence import Instances
from cfgtrack.rules.saying import say_either, say_places
from cfgtrack.rules.selection import ANYTHING, Selection, stands_at
from cfgtrack.rules.world import World


@dataclass(frozen=True, slots=True)
class ActionMatch:
    """Matches an event by its action, by what it is done to (`of`), and for place and lift by where to (`to`).

    `to` holds shell patterns of place ids, ``#tag`` for tagged places, like `Status.at`.
    """

    actions: tuple[str, ...]
    of: Selection = field(default_factory=Selection)
    to: tuple[str, ...] = ()

    def words(self) -> str:
        """Return the match in plain words."""
        of = f" of {self.of.words()}" if self.of != ANYTHING else ""
        return say_either(self.actions) + of + (f" to {say_places(self.to)}" if self.to else "")

    def about(self, plant: Plant, event: Event) -> tuple[str, ...]:
        """Return what an event is about, if it matches: its subjects, what moved along, and of shells their contacts.

        Of contacts only where it may name any: else a shell stands for all that it joins.
        """
        subjects = done_to(plant, event)
        if event.action in (PLACE, LIFT):
            subjects = (*subjects, *event.moved, *event.carried)
        if self.of == ANYTHING or "contact" not in self.of.sorts():
            return subjects
        inside = (contact for s in subjects if plant.port(s) is not None for contact in plant.contacts_of(s))
        return (*subjects, *inside)


class Matcher:
    """A match of actions over one world, for the instances of one rule."""

    def __init__(self, match: ActionMatch, instances: Instances, world: World) -> None:
        self._match = match
        self._instances = instances
        self._world = world
        self._of = None if match.of == ANYTHING else world.bind(match.of)

    def items(self, event: Event) -> list[str | None]:
        """Return the items that an event is about, if its action matches."""
        match, instances = self._match, self._instances
        if match.to and not (event.place and stands_at(self._world.configuration, event.place, match.to)):
            return []
        if not event.subjects:
            return [None] if self._of is None and not instances.is_scoped else []
        return [
            s
            for s in match.about(self._world.plant, event)
            if (self._of is None or self._of.names(s))
            and (not instances.is_scoped or (s in instances.members and instances.has(s)))
        ]
