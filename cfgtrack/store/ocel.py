"""The journal as an object-centric event log, so that general process-mining libraries can read it.

Source of the form: OCEL 2.0 (Object-Centric Event Log), JSON exchange format. Units, places, parts and ports are
objects; each event is related to those that it names or moves. What an object's state was, and from when on, are
the values of its attributes over time.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator
from itertools import chain, groupby
from typing import Any

from cfgtrack.model.event import Event
from cfgtrack.model.plant import Plant, owner_of
from cfgtrack.model.time import format_instant
from cfgtrack.store.columns import AT_PLACE, NEVER
from cfgtrack.store.definitions import OF_ANOTHER_PART
from cfgtrack.store.journal import Journal

_TEXTS = (
    *("by", "recorder", "basis", "outing", "step", "plan", "remark", "status", "bars", "facing", "reason"),
    "acknowledges",
)


def write_ocel(journal: Journal, known: int | None = None) -> Iterator[str]:
    """Yield the event log of the events in effect at `known`, as one JSON document in pieces."""
    known = journal.moment(0, known)[1]
    plant = journal.whole_plant(known)
    actions = sorted(_actions(journal, known))
    kinds: dict[str, list[str]] = {
        "unit": ["part", "title", "place"],
        "place": ["title", "place"],
        "part": ["title"],
        "port": ["kind", "status", "mate"],
    }
    types = {
        "objectTypes": [{"name": n, "attributes": _declared(names)} for n, names in kinds.items()],
        "eventTypes": [{"name": a, "attributes": _declared([*_TEXTS, "values"])} for a in actions],
    }
    yield json.dumps(types)[:-1] + ', "objects": [\n'
    yield from _joined(_objects(journal, plant, known))
    yield '\n], "events": [\n'
    yield from _joined(_event(plant, entry.event) for entry in journal.entries(known=known))
    yield "\n]}\n"


def _actions(journal: Journal, known: int) -> set[str]:
    return {
        row[0]
        for row in journal.database.rows("SELECT DISTINCT action FROM event WHERE known <= :k", {"k": known})
    }


def _declared(names: Iterable[str]) -> list[dict[str, str]]:
    return [{"name": name, "type": "string"} for name in names]


def _joined(records: Iterable[dict[str, Any]]) -> Iterator[str]:
    before = ""
    for record in records:
        yield before + json.dumps(record, ensure_ascii=False)
        before = ",\n"


_ALWAYS = "1970-01-01T00:00:00Z"
"""The time that the standard gives to a value which has none."""


def _objects(journal: Journal, plant: Plant, known: int) -> Iterator[dict[str, Any]]:
    states = _states(journal, known)
    for part in plant.parts.values():
        yield _object(f"part {part.id}", "part", [("title", part.title)], [])
    for unit in plant.units.values():
        if OF_ANOTHER_PART in unit.id:
            continue
        values = [("part", unit.part), ("title", unit.title)]
        yield _object(unit.id, "unit", values, states.get(unit.id, []), [(f"part {unit.part}", "made to")])
    for place in plant.places.values():
        around = [(place.parent, "stands in")] if place.parent else []
        yield _object(place.id, "place", [("title", place.title)], states.get(place.id, []), around)
    for owner in plant.owners():
        if OF_ANOTHER_PART in owner:
            continue
        for port in plant.ports_of(owner):
            kind = plant.part_of(owner).ports[port.partition(":")[2]].kind
            yield _object(port, "port", [("kind", kind)], states.get(port, []), [(owner, "is on")])


def _states(journal: Journal, known: int) -> dict[str, list[tuple[str, str, int]]]:
    """Return (attribute, value, from when on) of every subject that was ever touched."""
    sql = (
        "SELECT subject, aspect, value, other, happened FROM change"
        " WHERE aspect IN ('', :place) AND known <= :known AND until > :known ORDER BY subject, happened, turn"
    )
    rows = journal.database.rows(sql, {"place": AT_PLACE, "known": min(known, NEVER - 1)})
    found: dict[str, list[tuple[str, str, int]]] = {}
    for subject, group in groupby(rows, key=lambda row: str(row[0])):
        found[subject] = list(chain.from_iterable(_values(row[1], row[2], row[3], row[4]) for row in group))
    return found


def _values(aspect: str, value: str, other: str | None, happened: int) -> list[tuple[str, str, int]]:
    if aspect == AT_PLACE:
        return [("place", value, happened)]
    return [("status", value, happened), ("mate", other or "", happened)]


def _object(
    name: str,
    kind: str,
    values: Iterable[tuple[str, str]],
    states: Iterable[tuple[str, str, int]],
    related: Iterable[tuple[str, str]] = (),
) -> dict[str, Any]:
    fixed = [{"name": n, "value": v, "time": _ALWAYS} for n, v in values if v]
    moving = [{"name": n, "value": v, "time": format_instant(at)} for n, v, at in states]
    return {
        "id": name,
        "type": kind,
        "attributes": [*fixed, *moving],
        "relationships": [{"objectId": to, "qualifier": how} for to, how in related],
    }


def _event(plant: Plant, event: Event) -> dict[str, Any]:
    attributes = [{"name": n, "value": str(v)} for n in _TEXTS if (v := getattr(event, n)) is not None]
    if event.values:
        told = "; ".join(f"{name} {quantity}" for name, quantity in event.values.items())
        attributes.append({"name": "values", "value": told})
    related = {(_object_id(plant, to), how): None for to, how in _related(event)}
    return {
        "id": event.id,
        "type": event.action,
        "time": format_instant(event.happened),
        "attributes": attributes,
        "relationships": [{"objectId": to, "qualifier": how} for to, how in related if to],
    }


def _related(event: Event) -> Iterator[tuple[str, str]]:
    for subject in event.subjects:
        yield subject, "subject"
        if ":" in subject:
            yield owner_of(subject), "owner"
    if event.peer:
        yield event.peer, "mate"
    if event.place:
        yield event.place, "place"
    for one in event.moved:
        yield one, "moved along"


def _object_id(plant: Plant, address: str) -> str:
    """Return the id of the object that `address` is, "" when the log has none (a node)."""
    if plant.has_owner(address) or plant.port(address) is not None:
        return address
    return f"part {address}" if address in plant.parts else ""
