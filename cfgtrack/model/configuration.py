"""The whole state at one instant, as a fold over resolved events.

>>> from cfgtrack.model.plant import Plant
>>> Configuration(Plant()).cycles
{}
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from typing import NamedTuple, Protocol

from cfgtrack.model.event import DEVICE, END_AT, Effect, Event, effects
from cfgtrack.model.plant import Plant, owner_of
from cfgtrack.model.quantity import CYCLES
from cfgtrack.model.trouble import Unfollowable


class State(NamedTuple):
    """What is true of one subject. Of a port: `value` is its status, `other` its mate. Of a unit or a mobile
    place: `value` is where it is ("" when nowhere that is known), `other` its facing. `event` wrote it, None when
    it has never been touched.
    """

    value: str
    other: str | None
    event: str | None


class View(Protocol):
    """What the laws of possibility need to know of a configuration, wherever it is kept."""

    @property
    def plant(self) -> Plant:
        """The plant whose configuration this is."""
        ...

    def state(self, subject: str) -> State:
        """Return the state of a port, unit or mobile place. KeyError for anything else."""
        ...

    def standing_at(self, place: str) -> Iterable[str]:
        """Return the units and mobile places that stand directly at `place`, sorted."""
        ...

    def end_at(self, port: str) -> str:
        """Return the site where a free end of a flexible unit was last parted, "" where it goes with its unit."""
        ...

    def devices_on(self, thing: str) -> Iterable[Effect]:
        """Return what put the locks and tags that hang on a thing there, and the defects that stand, in any order."""
        ...

    @property
    def is_bare(self) -> bool:
        """Whether no lock or tag hangs and no defect stands anywhere, where that is known without a look at each."""
        ...


class Undo(NamedTuple):
    """What `Configuration.apply` overwrote: enough to step back exactly."""

    states: tuple[tuple[str, State | None], ...]
    values: tuple[tuple[tuple[str, str], Effect | None], ...]
    cycles: tuple[tuple[str, int], ...]


class Configuration:
    """A configuration in memory. Steps forward with `apply`, back with `undo`; `fork` is a cheap copy."""

    __slots__ = ("_devices", "_standing", "_states", "cycles", "plant", "values")

    def __init__(self, plant: Plant) -> None:
        self.plant = plant
        self.cycles: dict[str, int] = {}
        self.values: dict[tuple[str, str], Effect] = {}
        self._states: dict[str, State] = {}
        self._devices: dict[str, dict[str, None]] = {}
        self._standing: dict[str, dict[str, None]] = {}
        for place in plant.places.values():
            if place.mobile and place.parent:
                self._standing.setdefault(place.parent, {})[place.id] = None

    def fork(self) -> Configuration:
        """Return an independent copy: costs one copy of what has ever been touched."""
        twin = Configuration.__new__(Configuration)
        twin.plant = self.plant
        twin.cycles = dict(self.cycles)
        twin.values = dict(self.values)
        twin._states = dict(self._states)
        twin._devices = {thing: dict(there) for thing, there in self._devices.items()}
        twin._standing = {place: dict(there) for place, there in self._standing.items()}
        return twin

    def state(self, subject: str) -> State:
        """Return the state of a port, unit or mobile place. KeyError for anything else."""
        found = self._states.get(subject)
        return found if found is not None else untouched(self.plant, subject)

    def touched(self) -> Iterator[tuple[str, State]]:
        """Yield every subject that an event has written, with its state."""
        yield from self._states.items()

    def standing_at(self, place: str) -> Iterable[str]:
        """Return the units and mobile places that stand directly at `place`, sorted."""
        # Not in the order in which they came: that is another one after a step back.
        return tuple(sorted(self._standing.get(place, ())))

    def end_at(self, port: str) -> str:
        """Return the site where a free end of a flexible unit was last parted, "" where it goes with its unit."""
        found = self.values.get((port, END_AT))
        return "" if found is None or found.value == owner_of(port) else found.value

    def devices_on(self, thing: str) -> Iterable[Effect]:
        """Return what put the locks and tags that hang on a thing there, and the defects that stand, in any order."""
        return [self.values[thing, aspect] for aspect in self._devices.get(thing, ())]

    @property
    def is_bare(self) -> bool:
        """Whether no lock or tag hangs and no defect stands anywhere."""
        return not self._devices

    def with_devices(self) -> Iterable[str]:
        """Return the things on which any lock or tag hangs, or of which a defect stands."""
        return tuple(self._devices)

    def set_state(self, subject: str, state: State) -> None:
        """Write a state as read from a store: no event, nothing to undo."""
        self._put(subject, state)

    def set_end(self, port: str, site: str) -> None:
        """Write where a free end lies, as read from a store."""
        self.values[port, END_AT] = Effect(port, END_AT, site, None)

    def set_devices(self, thing: str, devices: Iterable[Effect]) -> None:
        """Write which locks, tags and defects a thing has, as read from a store; all others are off."""
        for aspect in tuple(self._devices.get(thing, ())):
            self.set_value(Effect(thing, aspect, "", None))
        self.set_values(devices)

    def set_value(self, effect: Effect) -> None:
        """Write a value, a lock or a tag as read from a store."""
        key = (effect.subject, effect.aspect)
        self.values[key] = effect
        if effect.aspect.startswith(DEVICE):
            self._hang(key, effect)

    def set_values(self, effects: Iterable[Effect]) -> None:
        """Write many values, locks and tags as read from a store, or from a configuration before."""
        for effect in effects:
            self.set_value(effect)

    def set_ports(self, states: Mapping[str, State]) -> None:
        """Write the states of many ports as read from a store, at once."""
        self._states.update(states)

    def apply(self, event: Event) -> tuple[list[Effect], Undo]:
        """Write a resolved event; return what it wrote and how to step back.

        KeyError if it isn't resolved, Unfollowable where it moves what can't be moved.
        """
        written = effects(self.plant, event)
        states: list[tuple[str, State | None]] = []
        values: list[tuple[tuple[str, str], Effect | None]] = []
        cycled: list[tuple[str, int]] = []
        for effect in written:
            if effect.cycle:
                self.cycles[effect.subject] = self.cycles.get(effect.subject, 0) + effect.cycle
                cycled.append((effect.subject, effect.cycle))
            if effect.aspect == CYCLES:
                continue
            if effect.aspect:
                key = (effect.subject, effect.aspect)
                values.append((key, self.values.get(key)))
                self.values[key] = effect
                if effect.aspect.startswith(DEVICE):
                    self._hang(key, effect)
                continue
            states.append((effect.subject, self._states.get(effect.subject)))
            self._put(effect.subject, State(effect.value, effect.other, event.id))
        return written, Undo(tuple(states), tuple(values), tuple(cycled))

    def undo(self, undo: Undo) -> None:
        """Step back over one `apply`; steps must be undone last first."""
        for subject, used in reversed(undo.cycles):
            self.cycles[subject] -= used
            if not self.cycles[subject]:
                del self.cycles[subject]
        for key, effect in reversed(undo.values):
            if effect is None:
                del self.values[key]
            else:
                self.values[key] = effect
            if key[1].startswith(DEVICE):
                self._hang(key, effect)
        for subject, state in reversed(undo.states):
            self._put(subject, state)

    def _hang(self, key: tuple[str, str], effect: Effect | None) -> None:
        thing, aspect = key
        if effect is not None and effect.value:
            self._devices.setdefault(thing, {})[aspect] = None
        elif (there := self._devices.get(thing)) is not None:
            there.pop(aspect, None)
            if not there:
                del self._devices[thing]

    def _put(self, subject: str, state: State | None) -> None:
        if ":" not in subject:
            try:
                before = self.state(subject).value
            except KeyError:
                raise Unfollowable(None if state is None else state.event, subject) from None
            if before:
                self._standing[before].pop(subject, None)
            after = state.value if state is not None else untouched(self.plant, subject).value
            if after:
                self._standing.setdefault(after, {})[subject] = None
        if state is None:
            del self._states[subject]
        else:
            self._states[subject] = state


def untouched(plant: Plant, subject: str) -> State:
    """Return the state of a subject that no event has touched. KeyError for what can have no state."""
    if ":" in subject:
        found = plant.port(subject)
        if found is None:
            raise KeyError(subject)
        return State(found[1].initial, None, None)
    if subject in plant.units:
        return State("", None, None)
    place = plant.places[subject]
    if not place.mobile:
        raise KeyError(subject)
    return State(place.parent, None, None)


def place_line(view: View, owner: str) -> list[str]:
    """Return the places around a unit or place, innermost first: where it is, what that stands in, ... the root.

    A place's own line starts with itself. Mobile places count where they are now.
    """
    line: list[str] = []
    at = view.state(owner).value if owner in view.plant.units else owner
    while at and at not in line:
        line.append(at)
        place = view.plant.places.get(at)
        if place is None:
            break
        at = view.state(at).value if place.mobile else place.parent
    return line
