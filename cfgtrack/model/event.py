"""Events: actions that happened, held against the hardware, and what they changed.

An event names everything that it changed (both halves of a mate, all that moved along), so that the state of one
thing at one time is the last event that wrote it: nothing else needs to be replayed. Only `possibility.resolve`
makes events, and `codec` of what it made once.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, fields
from operator import attrgetter
from typing import Any, NamedTuple, Protocol

from cfgtrack.model.action import (
    BOOK_ACTIONS,
    CUT,
    DEFECT,
    DEFECT_ACTIONS,
    DEVICE_ACTIONS,
    FOUND,
    GENERAL_ACTIONS,
    LIFT,
    LOCK,
    PLACE,
    TAG,
    TRANSFER,
    UNTAG,
    Action,
)
from cfgtrack.model.kind import Kind
from cfgtrack.model.plant import Plant
from cfgtrack.model.quantity import CYCLES


@dataclass(frozen=True, slots=True)
class Event(Action):
    """One action that happened, with what follows from the configuration just before it.

    `peer` is the mate that stays as it was; `moved` the units that went along (or, for as-found, the halves that
    lost their mate); `expected` what the record, or the definition (a size, a key), says where an as-found
    contradicts it. A unit in somebody's hands that is fastened to one that stands somewhere is from then on at that
    `place`.

    Of presence: `carried` are units that came along in a grip, and where each then is; `ends` the free ends of flexible
    units, and the site where each lies, or the unit, where it goes with that again. Who did something where the record
    didn't have him was `found` there, with where what he held was left, and the halves that `parted` for it; `expected`
    then says where he was in the record.

    `clock`: by how much the clock was off the last write when this was recorded, microseconds, as `Stamp` has it.
    """

    peer: str | None = None
    moved: tuple[str, ...] = ()
    expected: str | None = None
    carried: Mapping[str, str] = field(default_factory=dict)
    ends: Mapping[str, str] = field(default_factory=dict)
    found: Mapping[str, str] = field(default_factory=dict)
    parted: tuple[str, ...] = ()
    clock: int = 0

    @classmethod
    def of(
        cls,
        action: Action,
        *,
        peer: str | None = None,
        moved: tuple[str, ...] = (),
        expected: str | None = None,
        **filled_in: Any,
    ) -> Event:
        """Return the event that an action is, once what follows from it is known; `filled_in` wasn't said."""
        values = (*_SAID(action), peer, moved, expected)
        event = cls(*values)
        for name, value in filled_in.items():
            object.__setattr__(event, name, value)
        return event

    @property
    def written(self) -> dict[str, None]:
        """The ports, units and mobile places that the event names or changes, each once; the mate that stays apart."""
        also = (*self.carried, *self.ends, *self.found, *self.parted)
        return dict.fromkeys((*self.subjects, *self.moved, *also))


_SAID = attrgetter(*(one.name for one in fields(Action)))


@dataclass(frozen=True, slots=True)
class Entry:
    """An event as the journal holds it: with its number and the time at which it became known.

    `login`: what the database's server called whoever recorded it; None where that was no server, or nobody has roles.
    """

    event: Event
    number: int
    known: int
    login: str | None = None


class LogLine(NamedTuple):
    """One event of the journal, with the id of the event that superseded or withdrew it."""

    entry: Entry
    corrected_by: str | None


END_AT, ABSENT = "#", "?"
MARKS = (END_AT, ABSENT)
"""The aspects of presence: neither a state nor a measured quantity."""

DEVICE, AFTER_DEVICE = "!", '"'
"""What the aspect of a lock, tag or defect begins with, and what comes after all such texts in their order."""

LOCK_OF, TAG_OF = f"{DEVICE}lock ", f"{DEVICE}tag "
"""The aspects of the lock and of the tag of whoever's name follows."""

DEFECT_OF, ANY_ACTION, NO_MATE = f"{DEVICE}defect ", "*", "-"
"""The aspect of a defect: then come what it bars, or any action, with which mate, or whichever, and what is wrong."""


def is_reading(aspect: str) -> bool:
    """Return whether an aspect is a measured quantity."""
    return aspect not in MARKS and not aspect.startswith(DEVICE)


class Effect(NamedTuple):
    """What an event writes about one subject.

    `aspect` is "" for the state itself: of a port, `value` its status and `other` its mate; of a unit or mobile
    place, `value` the place and `other` the facing. `END_AT` is where a free end of a flexible unit lies: `value` is
    the site, or the unit, where it goes with that. `ABSENT` marks who was found elsewhere than the record had him.
    `LOCK_OF` or `TAG_OF` somebody: his lock or tag hangs on it; `value` is since when, microseconds as text, "" once it
    is off, and `other` the event that put it there or took it off. `DEFECT_OF`: what can't be done to it, see
    `defect_aspect`; `value` is since when, what was measured, and who says so (`defect_value`), "" once it is
    rectified, and `other` the event. Any other aspect is a measured quantity: `value` is the number in SI units as
    text, `other` the unit the user wrote.
    `cycle` counts mate cycles used.
    """

    subject: str
    aspect: str
    value: str
    other: str | None
    cycle: int = 0


def effects(plant: Plant, event: Event) -> list[Effect]:
    """Return what an event writes. Needs no state: the event says it all."""
    action = event.action
    out: list[Effect]
    if action in (PLACE, LIFT):
        out = _place_effects(event)
    elif action == FOUND:
        out = _found_effects(plant, event)
    elif action in GENERAL_ACTIONS or action in BOOK_ACTIONS:
        out = []
    elif is_of_device(plant, event):
        out = _device_effects(event)
    elif is_of_defect(plant, event):
        out = _defect_effects(event)
    else:
        out = _move_effects(plant, event)
    for name, quantity in event.values.items():
        # What is counted begins with what had been used before.
        used = round(quantity.value) if name == CYCLES else 0
        out.extend(Effect(s, name, repr(quantity.value), quantity.unit, used) for s in event.subjects)
    if event.found or event.parted:
        # First he was found there, without what can't have held; then he did it, and may hold it now.
        out = [*_where_found(plant, event), *out]
    if event.carried or event.ends or event.expected:
        out.extend(_what_follows(event))
    return out


def _where_found(plant: Plant, event: Event) -> Iterator[Effect]:
    for thing, place in event.found.items():
        yield Effect(thing, "", place, None)
    for half in event.parted:
        yield Effect(half, "", _kind(plant, half).parted, None)


def _what_follows(event: Event) -> Iterator[Effect]:
    for thing, place in event.carried.items():
        yield Effect(thing, "", place, None)
    for end, site in event.ends.items():
        yield Effect(end, END_AT, site, None)
    if event.expected and event.action != FOUND and event.by:
        yield Effect(event.by, ABSENT, "", None)


def _place_effects(event: Event) -> list[Effect]:
    assert event.place is not None
    out = [Effect(event.subjects[0], "", event.place, event.facing)]
    out.extend(Effect(rider, "", event.place, None) for rider in event.moved)
    return out


def _found_effects(plant: Plant, event: Event) -> list[Effect]:
    if event.place is not None:
        return _place_effects(event)
    if event.status is None:
        return []
    out: list[Effect] = []
    for i, subject in enumerate(event.subjects):
        kind = _kind(plant, subject)
        status = event.status if event.status in kind.statuses else kind.parted
        out.append(Effect(subject, "", status, _mate(event, i) if kind.is_joined(status) else None))
    out.extend(Effect(half, "", _kind(plant, half).parted, None) for half in event.moved)
    return out


def _move_effects(plant: Plant, event: Event) -> list[Effect]:
    out: list[Effect] = []
    for i, subject in enumerate(event.subjects):
        kind = _kind(plant, subject)
        move = kind.moves[event.action]
        mate = _mate(event, i) if kind.is_joined(move.target) else None
        out.append(Effect(subject, "", move.target, mate, 1 if move.cycle else 0))
    if event.place is not None:
        out.extend(Effect(rider, "", event.place, None) for rider in event.moved)
    return out


class Told(Protocol):
    """An action as far as it says what is done, and to what."""

    @property
    def action(self) -> str:
        """What is done."""
        ...

    @property
    def subjects(self) -> Sequence[str]:
        """What it is done to."""
        ...


def is_of_device(plant: Plant, action: Told) -> bool:
    """Return whether an action is one with somebody's lock or tag, not a move of the port's own kind."""
    if action.action not in DEVICE_ACTIONS:
        return False
    found = plant.port(action.subjects[0]) if action.subjects else None
    return found is None or action.action not in found[1].moves


def done_to(plant: Plant, action: Action) -> tuple[str, ...]:
    """Return what an action is done to: its subjects, but for whose a lock or tag is."""
    return action.subjects[:1] if is_of_device(plant, action) else action.subjects


def _device_effects(event: Event) -> list[Effect]:
    thing, *holders = event.subjects
    on, off = (str(event.happened), event.id), ("", event.id)
    if event.action == TRANSFER:
        before, after = holders
        return [Effect(thing, LOCK_OF + before, *off), Effect(thing, LOCK_OF + after, *on)]
    (holder,) = holders
    if event.action == CUT:
        return [Effect(thing, LOCK_OF + holder, *off), Effect(thing, TAG_OF + holder, *off)]
    device = TAG_OF if event.action in (TAG, UNTAG) else LOCK_OF
    return [Effect(thing, device + holder, *(on if event.action in (LOCK, TAG) else off))]


def is_of_defect(plant: Plant, action: Told) -> bool:
    """Return whether an action says that something can't be done, or can again; no move of the port's own kind does."""
    if action.action not in DEFECT_ACTIONS:
        return False
    found = plant.port(action.subjects[0]) if action.subjects else None
    return found is None or action.action not in found[1].moves


def stays_on(plant: Plant, action: Told) -> bool:
    """Return whether an action hangs something on a thing, or takes it off: a lock, a tag, a defect."""
    return is_of_device(plant, action) or is_of_defect(plant, action)


def defect_aspect(bars: str | None, mate: str | None, cause: str) -> str:
    """Return the aspect of a defect."""
    return f"{DEFECT_OF}{bars or ANY_ACTION} {mate or NO_MATE} {cause}"


def defect_aspects(event: Action) -> Iterator[tuple[str, str]]:
    """Yield what a defect is of, or what rectifies it, with its aspect: of two halves for both, each with the other."""
    for i, subject in enumerate(event.subjects):
        mate = event.subjects[1 - i] if len(event.subjects) == 2 else None
        yield subject, defect_aspect(event.bars, mate, event.status or "")


def defect_value(event: Action) -> str:
    """Return since when a defect is there, what was measured with it, in SI and in which unit, and who says so."""
    measured = ";".join(f"{name} {one.value!r} {one.unit}" for name, one in sorted(event.values.items()))
    return f"{event.happened}\t{measured}\t{event.by or ''}"


def _defect_effects(event: Event) -> list[Effect]:
    value = defect_value(event) if event.action == DEFECT else ""
    return [Effect(subject, aspect, value, event.id) for subject, aspect in defect_aspects(event)]


def _kind(plant: Plant, address: str) -> Kind:
    found = plant.port(address)
    if found is None:
        raise KeyError(address)
    return found[1]


def _mate(event: Event, i: int) -> str | None:
    return event.subjects[1 - i] if len(event.subjects) == 2 else event.peer
