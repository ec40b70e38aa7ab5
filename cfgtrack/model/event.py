"""Events: an action that happened, and what it changed.

A *resolved* event names everything that it changed (both halves of a mate, all that moved along), so that the
state of one thing at one time is the last event that wrote it: nothing else needs to be replayed.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, fields
from typing import Any, NamedTuple

from cfgtrack.model.kind import Kind
from cfgtrack.model.plant import Plant
from cfgtrack.model.quantity import Quantity
from cfgtrack.model.quantity import from_json as quantity_from_json
from cfgtrack.model.quantity import to_json as quantity_to_json

BASES = ("reported", "witnessed", "measured")
"""How well an event is known, weakest first."""

PLACE, LIFT, FOUND = "place", "lift", "as-found"
MEASURE, INSPECT, REMARK = "measure", "inspect", "remark"
BEGIN, END = "begin", "end"
WITHDRAW, EXPLAIN, DEFINE, APPROVE = "withdraw", "explain", "define", "approve"

GENERAL_ACTIONS = frozenset({PLACE, LIFT, FOUND, MEASURE, INSPECT, REMARK, BEGIN, END})
"""Actions of the work itself that belong to no kind of port."""

BOOK_ACTIONS = frozenset({WITHDRAW, EXPLAIN, DEFINE, APPROVE})
"""Actions on the record, not on hardware."""


@dataclass(frozen=True, slots=True)
class Event:
    """One action that happened. `happened` is microseconds since 1970, UTC.

    `subjects`: one or two ports, or one unit, place, or (remarks) part. `place`, `facing`: where to and which way
    round, for place and lift. `status`: what was found, for as-found. Filled in when the event is resolved:
    `peer`, the mate that stays as it was; `moved`, the units that went along (or, for as-found, the halves that
    lost their mate); `expected`, what the record, or the definition (a size, a key), says where an as-found
    contradicts it. A unit in somebody's hands that is fastened to one that stands somewhere is from then on at that
    `place`.
    """

    id: str
    action: str
    subjects: tuple[str, ...]
    happened: int
    place: str | None = None
    facing: str | None = None
    status: str | None = None
    peer: str | None = None
    moved: tuple[str, ...] = ()
    expected: str | None = None
    by: str | None = None
    recorder: str | None = None
    basis: str = "reported"
    values: Mapping[str, Quantity] = field(default_factory=dict)
    outing: str | None = None
    remark: str | None = None
    supersedes: str | None = None
    withdraws: str | None = None
    explains: str | None = None
    reason: str | None = None
    initial: bool = False
    body: Mapping[str, Any] | None = None

    def to_json(self) -> dict[str, Any]:
        """Return the event as a JSON object: only what is set, tuples as lists."""
        out: dict[str, Any] = {"id": self.id, "action": self.action, "happened": self.happened}
        if self.subjects:
            out["subjects"] = list(self.subjects)
        for name in _PLAIN:
            value = getattr(self, name)
            if value is not None:
                out[name] = value
        if self.basis != "reported":
            out["basis"] = self.basis
        if self.moved:
            out["moved"] = list(self.moved)
        if self.initial:
            out["initial"] = True
        if self.values:
            out["values"] = {name: quantity_to_json(q) for name, q in self.values.items()}
        return out


_PLAIN = tuple(
    f.name
    for f in fields(Event)
    if f.name not in {"id", "action", "subjects", "happened", "moved", "initial", "values", "basis"}
)


def event_from_json(data: Mapping[str, Any]) -> Event:
    """Return the event of a JSON object made by `Event.to_json`. TypeError when it has a field that is unknown."""
    known = dict(data)
    known["subjects"] = tuple(known.get("subjects", ()))
    if "moved" in known:
        known["moved"] = tuple(known["moved"])
    if "values" in known:
        known["values"] = {name: quantity_from_json(q) for name, q in known["values"].items()}
    return Event(**known)


@dataclass(frozen=True, slots=True)
class Entry:
    """An event as the journal holds it: with its number and the time at which it became known."""

    event: Event
    number: int
    known: int


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
    """Return what a resolved event writes. Needs no state: the event says it all. KeyError if it isn't resolved."""
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
