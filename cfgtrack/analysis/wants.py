"""What is to be brought about on the way to a goal: a status, a joint, a place, somebody there, an action done.

A *want* is one of these. Whether it is so now is asked of a configuration; how it comes about is `means`' to find.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass

from cfgtrack.model.action import Action
from cfgtrack.model.configuration import View, place_line
from cfgtrack.model.kind import Kind, Move
from cfgtrack.model.plant import owner_of
from cfgtrack.model.presence import acts_at, site_of


@dataclass(frozen=True, slots=True)
class Be:
    """A port is in one of some statuses."""

    port: str
    among: frozenset[str]

    def is_met(self, view: View) -> bool:
        """Return whether it is so."""
        return view.state(self.port).value in self.among

    @property
    def things(self) -> tuple[str, ...]:
        """What it is about."""
        return (self.port,)


@dataclass(frozen=True, slots=True)
class Pair:
    """Two ports are joined to each other, in one of some statuses."""

    a: str
    b: str
    among: frozenset[str]

    def is_met(self, view: View) -> bool:
        """Return whether it is so."""
        return view.state(self.a).other == self.b and view.state(self.a).value in self.among

    @property
    def things(self) -> tuple[str, ...]:
        """What it is about."""
        return (self.a, self.b)


@dataclass(frozen=True, slots=True)
class Apart:
    """A port is joined to nothing."""

    port: str

    def is_met(self, view: View) -> bool:
        """Return whether it is so."""
        return view.state(self.port).other is None

    @property
    def things(self) -> tuple[str, ...]:
        """What it is about."""
        return (self.port,)


@dataclass(frozen=True, slots=True)
class At:
    """A thing stands at a place, or with `inside` anywhere in it."""

    thing: str
    place: str
    inside: bool = False
    facing: str | None = None

    def is_met(self, view: View) -> bool:
        """Return whether it is so."""
        state = view.state(self.thing)
        if not self.inside:
            return state.value == self.place and self.facing in (None, state.other)
        owner = self.thing if self.thing in view.plant.units else state.value
        return self.place in place_line(view, owner) if owner else False

    @property
    def things(self) -> tuple[str, ...]:
        """What it is about."""
        return (self.thing,)


@dataclass(frozen=True, slots=True)
class Stands:
    """A thing is at a site."""

    thing: str
    site: str

    def is_met(self, view: View) -> bool:
        """Return whether it is so."""
        return site_of(view, self.thing) == self.site

    @property
    def things(self) -> tuple[str, ...]:
        """What it is about."""
        return (self.thing,)


@dataclass(frozen=True, slots=True)
class Away:
    """A thing doesn't stand at a place, nor in it."""

    thing: str
    place: str

    def is_met(self, view: View) -> bool:
        """Return whether it is so."""
        return not At(self.thing, self.place, inside=True).is_met(view)

    @property
    def things(self) -> tuple[str, ...]:
        """What it is about."""
        return (self.thing,)


@dataclass(frozen=True, slots=True)
class Acts:
    """Somebody can do something at a site."""

    doer: str
    site: str

    def is_met(self, view: View) -> bool:
        """Return whether it is so."""
        return self.site in acts_at(view, self.doer)

    @property
    def things(self) -> tuple[str, ...]:
        """What it is about."""
        return (self.doer,)


@dataclass(frozen=True, slots=True)
class Linked:
    """An item has a path of a medium to one of some ends. `Gaps` tells whether it has."""

    medium: str
    item: str
    ends: frozenset[str]

    @property
    def things(self) -> tuple[str, ...]:
        """What it is about."""
        return (self.item,)


@dataclass(frozen=True, slots=True)
class Do:
    """An action is done, whatever it brings about."""

    action: Action

    @property
    def things(self) -> tuple[str, ...]:
        """What it is about."""
        return self.action.subjects


@dataclass(frozen=True, slots=True)
class TakenAlong:
    """A thing was taken along by somebody who went from one site to another already."""

    thing: str
    here: str
    there: str

    @property
    def things(self) -> tuple[str, ...]:
        """What it is about."""
        return (self.thing,)


Want = TakenAlong | Stands | Be | Pair | Apart | At | Away | Acts | Linked | Do
Alternative = tuple[Want, ...]
"""What is to be brought about together, one after the other."""


def first_move(kind: Kind, status: str, among: frozenset[str]) -> Move | None:
    """Return the first of the fewest moves that lead from a status to one of some; None where none do."""
    came: dict[str, Move | None] = {status: None}
    first: dict[str, Move] = {}
    queue = deque([status])
    while queue:
        at = queue.popleft()
        if at in among and at != status:
            return first[at]
        for move in kind.moves.values():
            if at in move.sources and move.target not in came:
                came[move.target] = move
                first[move.target] = first.get(at, move)
                queue.append(move.target)
    return None


def parted(kind: Kind) -> frozenset[str]:
    """Return the statuses of a kind without a mate."""
    return frozenset(status for status in kind.statuses if not kind.is_joined(status))


def carrying(kind: Kind) -> frozenset[str]:
    """Return the statuses of a kind in which it lets its medium through."""
    return frozenset(filter(kind.is_carrying, kind.statuses))


def owners(want: Want) -> frozenset[str]:
    """Return the units and places that a want is about."""
    return frozenset(map(owner_of, want.things))
