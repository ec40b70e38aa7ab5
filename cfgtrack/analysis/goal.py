"""What is wanted: a goal for whoever looks for a way, and when a configuration meets it."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field

from cfgtrack.model.action import Action
from cfgtrack.model.configuration import View
from cfgtrack.model.plant import Plant, owner_of
from cfgtrack.model.sequence import ASSUMED
from cfgtrack.rules.saying import say_either
from cfgtrack.rules.selection import fits

STEPS, TIME = "steps", "time"
"""What is to be least: the number of steps, or when the last of them ends."""

Span = tuple[int, int, int]
"""How long something takes: low, likely and high, microseconds."""


@dataclass(frozen=True, slots=True)
class Want:
    """One thing that is wanted: of a port one of some `statuses`, and (`mate`) joined to what: "" for whatever it is.

    Of a unit, person or machine: at one of some `places`, facing so where that is said.
    """

    subject: str
    statuses: tuple[str, ...] = ()
    mate: str = ""
    places: tuple[str, ...] = ()
    facing: str | None = None

    def is_met(self, now: View) -> bool:
        """Return whether it is so."""
        state = now.state(self.subject)
        if self.places:
            return state.value in self.places and self.facing in (None, state.other)
        return state.value in self.statuses and (not self.mate or state.other == self.mate)

    def words(self) -> str:
        """Return it in words."""
        if self.places:
            facing = f" facing {self.facing}" if self.facing else ""
            return f"{self.subject} at {say_either(self.places)}{facing}"
        return f"{self.subject} {say_either(self.statuses)}" + (f" to {self.mate}" if self.mate else "")


@dataclass(frozen=True, slots=True)
class Takes:
    """How long actions take: of an action on a kind of port before that of the action alone; else `assumed`."""

    of: Mapping[tuple[str, str], Span] = field(default_factory=dict)
    assumed: Span = ASSUMED

    def span(self, plant: Plant, action: Action) -> Span:
        """Return how long an action takes, low, likely and high."""
        return next((self.of[name] for name in self._names(plant, action) if name in self.of), self.assumed)

    def is_assumed(self, plant: Plant, action: Action) -> bool:
        """Return whether nobody has said how long an action takes."""
        return not any(name in self.of for name in self._names(plant, action))

    def _names(self, plant: Plant, action: Action) -> Iterator[tuple[str, str]]:
        subject = action.subjects[0] if action.subjects else ""
        found = plant.port(subject)
        if found is not None:
            yield action.action, found[1].id
        elif subject and plant.has_owner(owner_of(subject)):
            yield action.action, plant.part_of(owner_of(subject)).id
        yield action.action, ""


@dataclass(frozen=True, slots=True)
class Goal:
    """What is wanted, and what may be done for it.

    `workers`: who may do something, all who can where there are none. `actions`: the only ones that may be done, all
    where there are none. `without`: patterns of things to which nothing is done. `at_end`: whether what must hold at an
    end must hold when it is reached, and no clock run on, as a check would count it.
    """

    wants: tuple[Want, ...]
    title: str = ""
    workers: tuple[str, ...] = ()
    actions: tuple[str, ...] = ()
    without: tuple[str, ...] = ()
    at_end: bool = True
    least: str = STEPS
    takes: Takes = field(default_factory=Takes)

    def is_met(self, now: View) -> bool:
        """Return whether all that is wanted is so."""
        return all(want.is_met(now) for want in self.wants)

    def allows(self, action: Action) -> bool:
        """Return whether an action is one that may be done."""
        if self.actions and action.action not in self.actions:
            return False
        return not any(fits(name, self.without) for s in action.subjects for name in (s, owner_of(s)))


def swap(now: View, old: str, new: str, to: str = "") -> Iterator[Want]:
    """Yield what is wanted where a unit takes another's place, joined as that is now.

    The old one, apart, stands at `to`; without that wherever it is not in the way.
    """
    plant, at = now.plant, now.state(old)
    if at.value:
        yield Want(new, places=(at.value,), facing=at.other)
    if to:
        yield Want(old, places=(to,))
    for port in plant.ports_of(old):
        state = now.state(port)
        twin = new + port[len(old) :]
        if plant.port(twin) is None:
            continue
        if state.other is None:
            if now.state(twin).value != state.value and _is_gate(plant, port):
                yield Want(twin, (state.value,))
            continue
        far = now.state(state.other)
        yield Want(twin, (state.value,), mate=state.other)
        yield Want(state.other, (far.value,), mate=twin)


def _is_gate(plant: Plant, port: str) -> bool:
    """Return whether a port is a valve, switch or the like, that nothing is joined to."""
    found = plant.port(port)
    return found is not None and found[1].joined is None


def kept(now: View, things: Iterable[str]) -> Iterator[Want]:
    """Yield that valves, switches and the like of some things stand at the end as they stand now."""
    for thing in things:
        ports = now.plant.ports_of(thing) if ":" not in thing else [thing]
        for port in ports:
            if _is_gate(now.plant, port):
                yield Want(port, (now.state(port).value,))
