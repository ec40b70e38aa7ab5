"""The plant as it was defined at an instant, as far as that was known at another.

Every load that changes something is an event that carries items. A `define` holds for all times; a `revise` or `retire`
from its date of effect on, which is when it happened, until the next version of the same item. So a definition is
looked up as a state is: the last version that had happened by `at`, and was known and in effect by `known`, counts.
"""

from __future__ import annotations

import json
from bisect import bisect_right
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise
from typing import Any, NamedTuple

from cfgtrack.model.action import DEFINE, DEFINITIONS
from cfgtrack.model.definition import SORTS
from cfgtrack.model.item import item_from_json
from cfgtrack.model.part import Contact, Node, Part
from cfgtrack.model.people import ROLES
from cfgtrack.model.plant import Plant, Unit
from cfgtrack.model.time import format_instant
from cfgtrack.store.columns import NEVER
from cfgtrack.store.database import Database

RETIRED = "retired"
"""The sort of item under which it is kept that a unit is no longer of the plant."""

OF_ANOTHER_PART = " "
"""What no id has in it: between a unit and the part that it once was of, in the id of a twin that stands for that."""

ALWAYS = -NEVER
"""The date of effect of what is defined without one."""

Version = tuple[str, str, int]
"""One version of an item: its sort, its id, and the number of the event that carries it."""


class Load(NamedTuple):
    """An event that carries items: since when they hold, its place among others of that instant, and its two times."""

    effective: int
    turn: int
    number: int
    known: int
    until: int


class Era(NamedTuple):
    """A span of time in which the definition is one: from when on, and the numbers of the loads that make it up.

    Of two versions of an item the one of the later number in `loads` counts.
    """

    since: int
    loads: tuple[int, ...]


_LOADS = f"""
    SELECT e.action, e.happened, e.turn, e.number, e.known,
        (SELECT x.known FROM event x WHERE x.corrects = e.number)
    FROM event e WHERE e.action IN ({", ".join(f"'{action}'" for action in sorted(DEFINITIONS))})
"""  # noqa: S608 - names written here

_NO_ITEM = (AttributeError, KeyError, TypeError, ValueError)
"""What comes of reading what is no item."""

_SORTS = ", ".join(f"'{sort}'" for sort in (*SORTS, RETIRED))


def read_loads(database: Database) -> tuple[Load, ...]:
    """Return every event that carries items, the first that was known first."""
    # All of the few that there are: a planner that knows no better would look for the last through the whole journal.
    rows = database.rows(_LOADS)
    return tuple(
        sorted(
            (
                Load(
                    ALWAYS if action == DEFINE else happened,
                    turn,
                    number,
                    known,
                    NEVER if until is None else until,
                )
                for action, happened, turn, number, known, until in rows
            ),
            key=lambda load: load.number,
        )
    )


@dataclass(slots=True)
class Definitions:
    """Every version of every item of a journal, and the plants that they make. Read when it is first asked for one.

    A plant is made once and given to all who ask for the same: treat it as read-only. `unreadable` are the versions
    that were met and are no item: what they were to replace goes on. The tool writes none; plain SQL may have.
    """

    database: Database
    loads: tuple[Load, ...]
    _turns: list[int] = field(init=False)
    _eras: dict[int, tuple[list[int], list[Era]]] = field(default_factory=dict, init=False)
    _plants: dict[tuple[int, ...], Plant] = field(default_factory=dict, init=False)
    _wholes: dict[tuple[Era, ...], Plant] = field(default_factory=dict, init=False)
    _bodies: dict[tuple[str, str], list[tuple[int, str | None]]] | None = field(default=None, init=False)
    items: dict[Version, Any] = field(default_factory=dict)
    unreadable: dict[Version, None] = field(default_factory=dict, init=False)

    def __post_init__(self) -> None:
        times = {load.known for load in self.loads} | {load.until for load in self.loads}
        self._turns = sorted(times - {NEVER})

    def remember(self, number: int, items: Mapping[tuple[str, str], Any]) -> None:
        """Take the items, by sort and id, that the event of this number carries: no need to read them again."""
        self.items.update(((sort, i, number), item) for (sort, i), item in items.items())

    def eras(self, known: int = NEVER) -> Sequence[Era]:
        """Return the spans in which the plant is one as known, in order; the first begins with all time."""
        return self._known(known)[1]

    def dates(self, known: int = NEVER) -> Sequence[int]:
        """Return the dates of effect as known, in order: at each of them another plant begins."""
        return self._known(known)[0][1:]

    def spans(self) -> Iterator[tuple[Plant, dict[str, int]]]:
        """Yield the plant of each span, as told now, with when that begins (`since`) and ends (`end`)."""
        for start, end in pairwise([*(era.since for era in self.eras()), NEVER]):
            yield self.plant(start), {"since": start, "end": end}

    def _known(self, known: int) -> tuple[list[int], list[Era]]:
        when = bisect_right(self._turns, known)
        found = self._eras.get(when)
        if found is None:
            there = sorted(
                load
                for load in self.loads
                if load.known <= known < load.until or (known >= NEVER and load.until == NEVER)
            )
            eras = [Era(ALWAYS, ())]
            for load in there:
                loads = (*eras[-1].loads, load.number)
                if load.effective == eras[-1].since:
                    eras[-1] = Era(load.effective, loads)
                else:
                    eras.append(Era(load.effective, loads))
            found = self._eras[when] = ([era.since for era in eras], eras)
        return found

    def era(self, at: int = NEVER, known: int = NEVER) -> Era:
        """Return the span that an instant is in."""
        since, eras = self._known(known)
        return eras[max(0, bisect_right(since, at) - 1)]

    def plant(self, at: int = NEVER, known: int = NEVER) -> Plant:
        """Return the plant at an instant, as it was known at another."""
        return self.plant_of(self.era(at, known))

    def plant_of(self, era: Era) -> Plant:
        """Return the plant of a span."""
        found = self._plants.get(era.loads)
        if found is None:
            found = self._plants[era.loads] = self._made(era)
        return found

    def whole(self, known: int = NEVER) -> Plant:
        """Return all that the plant ever had, as known, in one: what may be named where no instant is.

        A part has every port and node that any revision of it had, or any other part that a unit of it was of. A unit
        that was of another part has a twin that still is.
        """
        eras = tuple(era for era in self.eras(known) if era.loads)
        found = self._wholes.get(eras)
        if found is None:
            found = self._wholes[eras] = self._all_in_one([self.plant_of(era) for era in eras])
        return found

    @staticmethod
    def _all_in_one(plants: Sequence[Plant]) -> Plant:
        if len(plants) < 2:
            return plants[0] if plants else Plant()
        media, kinds, parts, places = (
            {name: one for plant in plants for name, one in getattr(plant, sort).items()}
            for sort in ("media", "kinds", "parts", "places")
        )
        units: dict[str, Unit] = {}
        for plant in plants:
            for name, unit in {**plant.retired, **plant.units}.items():
                before = units.get(name)
                if before is not None and before.part != unit.part:
                    twin = f"{name}{OF_ANOTHER_PART}{before.part}"
                    units[twin] = replace(before, id=twin)
                units[name] = unit
            for name, part in plant.parts.items():
                parts[name] = _with_all_of(parts[name], part)
        for name, unit in units.items():
            owner, was, _ = name.partition(OF_ANOTHER_PART)
            now = units[owner].part
            if was and now in parts and unit.part in parts:
                parts[now] = _with_all_of(parts[now], parts[unit.part])
        return Plant(
            media,
            kinds,
            parts,
            units,
            places,
            settings=plants[-1].settings,
            people={name: one for plant in plants for name, one in plant.people.items()},
            permissions=plants[-1].permissions,
        )

    def versions(self, era: Era) -> Iterator[tuple[str, str, int, str]]:
        """Yield (sort, id, load, body) of every item that there is in a span, by sort and id."""
        order = {number: place for place, number in enumerate(era.loads)}
        for (sort, i), versions in self._all().items():
            counting = [(order[number], number, body) for number, body in versions if number in order]
            if counting:
                _, number, body = max(counting, key=lambda version: version[0])
                if body is not None:
                    yield sort, i, number, body

    def bodies(self, era: Era) -> dict[str, dict[str, tuple[int, str]]]:
        """Return, by sort and id, the load and the text of every item that there is in a span."""
        found: dict[str, dict[str, tuple[int, str]]] = {sort: {} for sort in (*SORTS, RETIRED)}
        for sort, i, number, body in self.versions(era):
            found[sort][i] = number, body
        return found

    def _made(self, era: Era) -> Plant:
        read: dict[str, dict[str, Any]] = {sort: {} for sort in (*SORTS, RETIRED)}
        for sort, i, number, body in self.versions(era):
            read[sort][i] = True if sort == RETIRED else self._read(era, sort, i, number, body)
        gone = {i: read["unit"].pop(i) for i in read[RETIRED] if i in read["unit"]}
        return Plant(**{name: read[sort] for sort, name in SORTS.items()}, retired=gone)

    def _read(self, era: Era, sort: str, i: str, number: int, body: str) -> Any:
        """Return an item; where nobody can read it, as it was before that. Raises what came of it where it wasn't."""
        try:
            return self._item(sort, i, number, body)
        except _NO_ITEM:
            self.unreadable[sort, i, number] = None
            order = {load: place for place, load in enumerate(era.loads)}
            versions = [(order[n], n, text) for n, text in self._all()[sort, i] if n in order]
            before = [one for one in versions if one[0] < order[number]]
            _, earlier, text = max(before, default=(0, 0, None))
            if text is None:
                raise
            return self._read(era, sort, i, earlier, text)

    def _item(self, sort: str, i: str, number: int, body: str) -> Any:
        found = self.items.get((sort, i, number))
        if found is None:
            found = self.items[sort, i, number] = item_from_json(sort, json.loads(body))
        return found

    def _all(self) -> Mapping[tuple[str, str], Sequence[tuple[int, str | None]]]:
        if self._bodies is None:
            self._bodies = {}
            sql = f"SELECT sort, id, load, body FROM item WHERE sort IN ({_SORTS}) ORDER BY sort, id, load"  # noqa: S608
            for sort, i, number, body in self.database.rows(sql):
                self._bodies.setdefault((sort, i), []).append((int(number), body))
        return self._bodies


def last_load(database: Database, sort: str, name: str) -> tuple[int | None, str | None, str | None]:
    """Return the number, id and login of the event that an item came with last."""
    sql = (
        "SELECT e.number, e.id, e.login FROM item i JOIN event e ON e.number = i.load"
        " WHERE i.sort = :sort AND i.id = :name ORDER BY e.number DESC LIMIT 1"
    )
    row = database.row(sql, {"sort": sort, "name": name})
    return (None, None, None) if row is None else (row[0], row[1], row[2])


def _with_all_of(part: Part, other: Part) -> Part:
    """Return a part with what another one has beside."""
    if part is other:
        return part
    ports = {**other.ports, **part.ports}
    for name in part.ports.keys() & other.ports.keys():
        contacts = {**other.ports[name].contacts, **ports[name].contacts}
        if contacts.keys() != ports[name].contacts.keys():
            ports[name] = replace(ports[name], contacts=contacts)
    return replace(part, ports=ports, nodes={**other.nodes, **part.nodes})


def read_definitions(database: Database, before: Definitions | None = None) -> Definitions:
    """Return the definitions of a journal: those of `before`, where nothing has been loaded since."""
    loads = read_loads(database)
    return before if before is not None and before.loads == loads else Definitions(database, loads)


def _loose_ends(plant: Plant) -> Iterator[tuple[str, str]]:
    """Yield what a plant names and doesn't have: the sort and id of the item that is missing, once each."""
    wanted: dict[tuple[str, str], None] = {}
    for owner in plant.owners():
        found = plant.units.get(owner) or plant.places[owner]
        if found.part:
            wanted["part", found.part] = None
    for unit in plant.units.values():
        if unit.home:
            wanted["place", unit.home] = None
    for place in plant.places.values():
        for other in filter(None, (place.parent, place.operates)):
            wanted["place", other] = None
    wanted.update(_of_people(plant))
    for part in plant.parts.values():
        ports = part.ports.values()
        wanted.update({("kind", kind): None for kind in dict.fromkeys([port.kind for port in ports])})
        contacts = (contact for port in ports if port.contacts for contact in port.contacts.values())
        inside: list[Node | Contact] = [*part.nodes.values(), *contacts]
        wanted.update({("medium", one.medium): None for one in inside})
    for kind in plant.kinds.values():
        if kind.medium:
            wanted["medium", kind.medium] = None
    there: Mapping[str, Iterable[str]] = {
        "medium": plant.media,
        "kind": plant.kinds,
        "part": plant.parts,
        "place": plant.places,
        "person": plant.people,
    }
    yield from ((sort, name) for sort, name in wanted if name not in there[sort])


def _of_people(plant: Plant) -> dict[tuple[str, str], None]:
    places = {("place", person.place): None for person in plant.people.values() if person.place}
    named = (who for permission in plant.permissions.values() for who in permission.who)
    return places | {("person", who): None for who in named if who not in ROLES}


def unsound(definitions: Definitions) -> Iterator[str]:
    """Yield, in a sentence each, what is named at some time and isn't there then."""
    whole = definitions.whole()
    told: set[tuple[str, str]] = set()
    for era in definitions.eras():
        for sort, name in _loose_ends(definitions.plant_of(era)):
            if (sort, name) in told:
                continue
            told.add((sort, name))
            if name in getattr(whole, SORTS[sort]) and era.since == ALWAYS:
                yield (
                    f"{sort} {name} is there from a date of effect on, and what names it always was: say since when,"
                    " with `--effective DATE --reason TEXT`"
                )
            else:
                since = "" if era.since == ALWAYS else f" from {format_instant(era.since)} on"
                yield f"{sort} {name} is named and isn't there{since}"
