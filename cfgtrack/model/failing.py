"""Ways of failing: how an action of a kind may go wrong, and what can't be done any more then. They are data."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from cfgtrack.model.action import LIFT, NOTES, PLACE
from cfgtrack.model.configuration import View
from cfgtrack.model.event import Event
from cfgtrack.model.hold import holds
from cfgtrack.model.plant import Plant, owner_of, port_of

DOES = ("joins", "parts", "gate", "moves", "goes", "works")
"""What an action does, whatever it is called."""

BY_HAND, OTHERWISE = "by hand", "otherwise"
HELD = (BY_HAND, OTHERWISE)
"""How what is moved is held: somebody has it in his hands or bag, or not."""


class Bars(StrEnum):
    """What can't be done any more once an action has failed."""

    NOTHING = "nothing"
    ACTION = "action"
    PORT = "port"
    UNIT = "unit"
    DOER = "doer"


@dataclass(frozen=True, slots=True)
class Failing:
    """One way of failing: `title` in words, `cause` as a defect has it. It is one of the actions that fit all it says.

    `found`: the status that a port is found at afterwards, "" for the one that it had.
    """

    id: str
    title: str
    cause: str
    bars: Bars
    actions: frozenset[str] = frozenset()
    kinds: frozenset[str] = frozenset()
    does: frozenset[str] = frozenset()
    media: frozenset[str] = frozenset()
    not_media: frozenset[str] = frozenset()
    held: str = ""
    found: str = ""

    def fits(self, now: View, event: Event) -> bool:
        """Return whether an event, just before it happens, may fail in this way."""
        found = now.plant.port(event.subjects[0]) if event.subjects else None
        kind = None if found is None else found[1]
        return (
            (not self.actions or event.action in self.actions)
            and (not self.kinds or (kind is not None and kind.id in self.kinds))
            and (not self.media or (kind is not None and kind.medium in self.media))
            and not (kind is not None and kind.medium in self.not_media)
            and (not self.does or bool(self.does & what_it_does(now, event)))
            and (not self.held or self.held == how_held(now, event))
            and (not self.found or (kind is not None and self.found in kind.statuses))
        )


def what_it_does(now: View, event: Event) -> frozenset[str]:
    """Return what an event does, in the words of `DOES`."""
    plant, out = now.plant, set[str]()
    if event.by and event.by not in map(owner_of, event.subjects) and is_person(plant, event.by):
        out.add("works")
    if event.action in (PLACE, LIFT):
        thing = event.subjects[0]
        if thing in plant.units:
            out.add("moves")
        elif event.by == thing and not is_person(plant, thing):
            out.add("goes")
        return frozenset(out)
    found = plant.port(event.subjects[0]) if event.subjects else None
    move = None if found is None or event.action in NOTES else found[1].moves.get(event.action)
    if found is not None and move is not None:
        kind = found[1]
        if kind.joins(move):
            out.add("joins")
        elif kind.parts(move):
            out.add("parts")
        elif kind.joined is None and kind.carries is not None:
            out.add("gate")
    return frozenset(out)


def how_held(now: View, event: Event) -> str:
    """Return how what an event moves is held: by hand where it is taken out of a hand or bag, or into one."""
    thing = event.subjects[0]
    hung = any(True for _ in holds(now, thing)) if thing in now.plant.units else True
    into = event.place is not None and now.plant.is_mobile(event.place)
    return BY_HAND if is_in_hand(now, thing) or (into and not hung) else OTHERWISE


def is_person(plant: Plant, name: str) -> bool:
    """Return whether a place that moves is somebody: a person of the plant, who has a tether, or operates a machine."""
    place = plant.places.get(name)
    if place is None or not place.mobile:
        return False
    if place.operates or any(person.place == name for person in plant.people.values()):
        return True
    kinds = (found[1] for port in plant.ports_of(name) if (found := plant.port(port)) is not None)
    return any(kind.tether for kind in kinds)


def is_in_hand(now: View, thing: str) -> bool:
    """Return whether somebody has a thing with him, or it is in what he has: not what hangs in a grip or is fixed."""
    if thing not in now.plant.units:
        return False
    at = now.state(thing).value
    return now.plant.is_mobile(at) and not any(True for _ in holds(now, thing))


@dataclass(frozen=True, slots=True)
class Barred:
    """What can't be done any more: an `action` on all of some `things`, any on one of them, what a `doer` does."""

    things: frozenset[str] = frozenset()
    action: str | None = None
    doer: str = ""

    @classmethod
    def by(cls, failing: Failing, event: Event) -> Barred:
        """Return what can't be done any more once an event has failed in a way."""
        match failing.bars:
            case Bars.ACTION:
                return cls(frozenset(event.subjects), event.action)
            case Bars.PORT:
                return cls(frozenset(map(port_of, event.subjects)))
            case Bars.UNIT:
                return cls(frozenset(map(owner_of, event.subjects)))
            case Bars.DOER:
                return cls(doer=event.by or "")
            case _:
                return cls()

    def bars(self, event: Event) -> bool:
        """Return whether an event can't be done; whether somebody only comes in is not asked here."""
        if self.doer:
            return event.by == self.doer
        if not self.things or (event.action in NOTES and self.action is None):
            return False
        if self.action is not None:
            return event.action == self.action and self.things <= frozenset(event.subjects)
        named = {name for one in (*event.subjects, *event.moved) for name in (one, owner_of(one))}
        return not self.things.isdisjoint(named)
