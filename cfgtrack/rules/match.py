"""Matches of actions: which events a rule is tied to, and which items it is then about."""

from __future__ import annotations

from dataclasses import dataclass, field

from cfgtrack.model.action import LIFT, PLACE
from cfgtrack.model.event import Event, done_to
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


class Matcher:
    """A match of actions over one world, for the instances of one rule."""

    def __init__(self, match: ActionMatch, instances: Instances, world: World) -> None:
        self._match = match
        self._instances = instances
        self._world = world
        self._of = None if match.of == ANYTHING else world.bind(match.of)

    def items(self, event: Event) -> list[str | None]:
        """Return the items that an event is about, if its action matches: its subjects, and what moved along."""
        match, instances = self._match, self._instances
        if match.to and not (event.place and stands_at(self._world.configuration, event.place, match.to)):
            return []
        if not event.subjects:
            return [None] if self._of is None and not instances.is_scoped else []
        subjects = done_to(self._world.plant, event)
        if event.action in (PLACE, LIFT):
            subjects = (*subjects, *event.moved, *event.carried)
        return [
            s
            for s in subjects
            if (self._of is None or self._of.names(s))
            and (not instances.is_scoped or (s in instances.members and instances.has(s)))
        ]
