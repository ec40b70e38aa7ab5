"""People and roles: who may do which kind of thing to which part of the plant.

People and permissions are items of the definition, so both have a history. Roles say what somebody may do at all; a
permission that names him (or a role of his) for a kind of action confines that to a part of the plant, several to all
of their parts together. As long as nobody has a role, everybody may do everything.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from functools import lru_cache
from typing import TYPE_CHECKING

from cfgtrack.model import action as ac
from cfgtrack.model.action import Action

if TYPE_CHECKING:
    from cfgtrack.model.plant import Plant

LOOK, RECORD, CORRECT, APPROVE, DEFINE, ADMINISTER = (
    "look",
    "record",
    "correct",
    "approve",
    "define",
    "administer",
)
ROLES = (LOOK, RECORD, CORRECT, APPROVE, DEFINE, ADMINISTER)
"""What somebody may be allowed to do. Whoever may do anything else may look as well."""

WRITING = (RECORD, CORRECT, APPROVE)
"""What a permission can confine to a part of the plant: whoever may look sees everything, and definitions are of the
whole plant."""


@dataclass(frozen=True, slots=True)
class Person:
    """Somebody who has to do with the plant, and the `roles` that he has.

    `place`: the place that moves which he is, where he works at the plant. `key`: the public key by which his
    signatures are known. `user`: what a database server calls him.
    """

    id: str
    title: str = ""
    roles: frozenset[str] = frozenset()
    place: str = ""
    key: str = ""
    user: str = ""

    def has(self, role: str) -> bool:
        """Return whether he has a role: to look, with any."""
        return role in self.roles or (role == LOOK and bool(self.roles))


@dataclass(frozen=True, slots=True)
class Area:
    """A part of the plant. Every field that is given must match, a field with several values matches any of them.

    A unit or place is meant with all that is inside it. `ids`, `parts`, `places` are patterns of `*` and `?`. `places`:
    a place, the places inside it, and the units that belong there (`home`).
    """

    ids: tuple[str, ...] = ()
    parts: tuple[str, ...] = ()
    kinds: tuple[str, ...] = ()
    places: tuple[str, ...] = ()
    loops: tuple[str, ...] = ()
    tags: tuple[str, ...] = ()

    @property
    def selects(self) -> bool:
        """Return whether anything but its ids says what lies in it: then a definition changes what does."""
        return bool(self.parts or self.kinds or self.places or self.loops or self.tags)

    def covers(self, plant: Plant, address: str) -> bool:
        """Return whether a unit, place, port, contact or node lies in this part of the plant."""
        owner, colon, name = address.partition(":")
        if not plant.has_owner(owner):
            return False
        if self.ids and not any(_fits(one, self.ids) for one in _around(address)):
            return False
        unit, part = plant.units.get(owner), plant.part_of(owner)
        if self.parts and not _fits(part.id, self.parts):
            return False
        port = part.ports.get(name.partition(":")[0]) if colon else None
        if self.kinds and (port is None or port.kind not in self.kinds):
            return False
        stands = unit.home if unit is not None else owner
        if self.places and not any(_fits(place, self.places) for place in plant.ancestors(stands)):
            return False
        thing = unit or plant.places[owner]
        inside = port or (part.nodes.get(name) if colon else None)
        if self.loops and ((inside.loop if inside else "") or thing.loop) not in self.loops:
            return False
        tags = thing.tags | part.tags | (inside.tags if inside else frozenset())
        return not self.tags or not tags.isdisjoint(self.tags)


def _around(address: str) -> Iterator[str]:
    """Yield an address, and what it is inside of."""
    while address:
        yield address
        address = address.rpartition(":")[0]


def _fits(text: str, patterns: Iterable[str]) -> bool:
    return any(_pattern(one).fullmatch(text) is not None for one in patterns)


@lru_cache(maxsize=1_000)
def _pattern(pattern: str) -> re.Pattern[str]:
    return re.compile(re.escape(pattern).replace(r"\*", ".*").replace(r"\?", "."), re.DOTALL)


@dataclass(frozen=True, slots=True)
class Permission:
    """That some people (`who`: people or roles) `may` do kinds of action on a part of the plant, and not elsewhere."""

    id: str
    who: tuple[str, ...]
    may: tuple[str, ...]
    on: Area = field(default_factory=Area)
    title: str = ""

    def concerns(self, person: Person, kind: str) -> bool:
        """Return whether it speaks of what a person may do of a kind."""
        return kind in self.may and any(one == person.id or person.has(one) for one in self.who)


def has_roles(plant: Plant) -> bool:
    """Return whether it is told at all who may do what: whether anybody has a role."""
    return any(person.roles for person in plant.people.values())


def person_of(plant: Plant, user: str) -> Person | None:
    """Return whom a database server calls so, None for nobody."""
    return next((one for one in plant.people.values() if one.user == user), None) if user else None


def may(plant: Plant, person: str, kind: str, on: Iterable[str] = ()) -> str | None:
    """Return why somebody may not do a kind of thing to what has these addresses; None where he may.

    The sentence says what is missing, and who could do it.
    """
    if not has_roles(plant):
        return None
    things = tuple(on)
    found = plant.people.get(person)
    if found is None:
        who = f"{person} is no person of this plant" if person else "nobody says who does it"
        return f"{who}; {_who_could(plant, kind, things)}"
    if not found.has(kind):
        return f"{person} hasn't the role {kind}; {_who_could(plant, kind, things)}"
    outside = _outside(plant, found, kind, things)
    if outside is None:
        return None
    return f"{person} may not {_VERBS[kind]} {outside}; {_who_could(plant, kind, things)}"


_VERBS = {
    LOOK: "look at",
    RECORD: "record what is done to",
    CORRECT: "correct what is recorded of",
    APPROVE: "approve anything of",
    DEFINE: "define",
    ADMINISTER: "administer",
}


def _outside(plant: Plant, person: Person, kind: str, things: Iterable[str]) -> str | None:
    """Return the first thing that lies outside of where a person may do something, None for none."""
    confined = [one.on for one in plant.permissions.values() if one.concerns(person, kind)]
    if not confined:
        return None
    return next((one for one in things if not any(area.covers(plant, one) for area in confined)), None)


def who_may(plant: Plant, kind: str, on: Iterable[str] = ()) -> list[str]:
    """Return the people who may do a kind of thing to what has these addresses, in the order of their ids."""
    things = tuple(on)
    return sorted(
        name
        for name, one in plant.people.items()
        if one.has(kind) and _outside(plant, one, kind, things) is None
    )


def redrawn(before: Plant, after: Plant) -> str | None:
    """Return the first thing of which a permission covers it where it didn't, or no longer does; None for none.

    What is new lay in nobody's part, and what is gone lies in none: neither gives or takes anybody anything. What was
    retired and comes back isn't new.
    """
    areas = [one.on for one in before.permissions.values() if one.on.selects]
    if not areas:
        return None
    for owner in after.owners():
        if not (before.has_owner(owner) or owner in before.retired):
            continue
        if before.has_owner(owner) and _told_of(before, owner) == _told_of(after, owner):
            continue
        inside = {
            f"{owner}:{name}"
            for plant in (before, after)
            if plant.has_owner(owner)
            for name in (*plant.part_of(owner).ports, *plant.part_of(owner).nodes)
        }
        for address in (owner, *sorted(inside)):
            if any(area.covers(before, address) != area.covers(after, address) for area in areas):
                return address
    return None


def _told_of(plant: Plant, owner: str) -> tuple[object, ...]:
    """Return all by which areas select a unit or place, and what is inside it."""
    unit = plant.units.get(owner)
    stands = unit.home if unit is not None else owner
    return unit or plant.places[owner], plant.part_of(owner), tuple(plant.ancestors(stands))


_FEW = 5


def _who_could(plant: Plant, kind: str, things: tuple[str, ...]) -> str:
    found = who_may(plant, kind, things)
    if not found:
        able = who_may(plant, ADMINISTER)
        return f"nobody may: {', '.join(able[:_FEW])} can give the role" if able else "nobody may"
    more = f" and {len(found) - _FEW} more" if len(found) > _FEW else ""
    return f"{', '.join(found[:_FEW])}{more} could"


# --- which kind an action is of -----------------------------------------------------------------------------------


def kinds_of(action: Action, corrected: Action | None = None) -> tuple[str, ...]:
    """Return which kinds of thing an action is; one must be allowed all of them. `corrected` is what it corrects.

    What corrects a definition or an approval, or takes it back, is what that was.
    """
    own = () if action.action == ac.WITHDRAW else (_kind(action),)
    if corrected is None:
        return own
    before = _kind(corrected)
    before = CORRECT if before == RECORD else before
    return tuple(dict.fromkeys(kind for kind in (before, *own) if kind != RECORD))


def _kind(action: Action) -> str:
    if action.action in ac.DEFINITIONS | ac.PLANNING or action.initial or action.id.startswith(INITIAL):
        return DEFINE
    return APPROVE if action.action in (ac.APPROVE, ac.ACKNOWLEDGE) else RECORD


INITIAL = "initial:"
"""What the ids of events of an initial configuration begin with; of joints that a load says otherwise since, too."""


def done_on(plant: Plant, action: Action, written: Iterable[str]) -> list[str]:
    """Return on what an action must be allowed: all that it changes and where it puts that, no people or machines.

    `written`: what the resolved event names or changes.
    """
    things = dict.fromkeys((*written, *((action.place,) if action.place else ())))
    return [one for one in things if ":" in one or not plant.is_mobile(one)]
