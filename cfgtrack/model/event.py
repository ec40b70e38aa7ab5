"""Events: actions that happened, held against the hardware, and what they changed.

An event names everything that it changed (both halves of a mate, all that moved along), so that the state of one
thing at one time is the last event that wrote it: nothing else needs to be replayed. Only `possibility.resolve`
makes events, and `codec` of what it made once.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from operator import attrgetter
from typing import Any, NamedTuple

from cfgtrack.model.action import BOOK_ACTIONS, FOUND, GENERAL_ACTIONS, LIFT, PLACE, Action
from cfgtrack.model.kind import Kind
from cfgtrack.model.plant import Plant


@dataclass(frozen=True, slots=True)
class Event(Action):
    """One action that happened, with what follows from the configuration just before it.

    `peer` is the mate that stays as it was; `moved` the units that went along (or, for as-found, the halves that
    lost their mate); `expected` what the record, or the definition (a size, a key), says where an as-found
    contradicts it. A unit in somebody's hands that is fastened to one that stands somewhere is from then on at that
    `place`.
    """

    peer: str | None = None
    moved: tuple[str, ...] = ()
    expected: str | None = None

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


_SAID = attrgetter(*(field.name for field in fields(Action)))


@dataclass(frozen=True, slots=True)
class Entry:
    """An event as the journal holds it: with its number and the time at which it became known."""

    event: Event
    number: int
    known: int


class LogLine(NamedTuple):
    """One event of the journal, with the id of the event that superseded or withdrew it."""

    entry: Entry
    corrected_by: str | None


class Effect(NamedTuple):
    """What an event writes about one subject.

    `aspect` is "" for the state itself: of a port, `value` its status and `other` its mate; of a unit or mobile
    place, `value` the place and `other` the facing. Any other aspect is a measured quantity: `value` is the
    number in SI units as text, `other` the unit that the user wrote. `cycle` counts mate cycles used.
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
    else:
        out = _move_effects(plant, event)
    for name, quantity in event.values.items():
        out.extend(Effect(s, name, repr(quantity.value), quantity.unit) for s in event.subjects)
    return out


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


def _kind(plant: Plant, address: str) -> Kind:
    found = plant.port(address)
    if found is None:
        raise KeyError(address)
    return found[1]


def _mate(event: Event, i: int) -> str | None:
    return event.subjects[1 - i] if len(event.subjects) == 2 else event.peer
