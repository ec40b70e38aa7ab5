"""People and permissions, read from a hardware definition."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from itertools import chain

from cfgtrack.files.fields import Fields
from cfgtrack.files.table import Table
from cfgtrack.model.people import ROLES, WRITING, Area, Permission, Person
from cfgtrack.model.plant import Plant
from cfgtrack.model.signature import KEY, fault_of_key

FIELDS = {"id": "ids", "part": "parts", "kind": "kinds", "place": "places", "loop": "loops", "tag": "tags"}
"""What the fields of an area are called in a file, and in the model."""


def read_person(fields: Fields, places: Collection[str]) -> Person:
    """Return the person of a [[person]] table."""
    person = Person(
        id=fields.ident("id"),
        title=fields.text("title"),
        roles=frozenset(one for one in fields.words("roles") if fields.is_known("roles", "role", one, ROLES)),
        place=fields.reference("place", "place", places),
        key=fields.text("key"),
        user=fields.text("user"),
    )
    if person.key and not KEY.fullmatch(person.key):
        fields.wrong("key", "a public key: ed25519: and 64 hexadecimal digits", person.key)
    elif person.key and (why := fault_of_key(person.key)):
        fields.note("key", "weak-key", f"{why}: expected what `cfgtrack key new {person.id}` prints")
    if person.id in ROLES:
        fields.note("id", "bad-id", f"{person.id} is a role: a person needs another id")
    fields.finish()
    return person


def read_permission(table: Table, people: Collection[str], kinds: Collection[str]) -> Permission:
    """Return the permission of a [[permission]] table."""
    below = table.table("on")
    permission = Permission(
        id=table.ident("id"),
        who=_among(table, "who", "person or role", (*people, *ROLES)),
        may=_among(table, "may", "kind of action", WRITING),
        on=Area() if below is None else _read_area(below, kinds),
        title=table.text("title"),
    )
    table.finish()
    return permission


def _among(table: Table, name: str, what: str, known: Collection[str]) -> tuple[str, ...]:
    found = table.some(name, required=True)
    return tuple(one for one in found if table.is_known(name, what, one, known))


def _read_area(table: Table, kinds: Collection[str]) -> Area:
    found = {inside: table.some(name) for name, inside in FIELDS.items() if name in table.values}
    for one in found.get("kinds", ()):
        table.is_known("kind", "kind", one, kinds)
    for name in ("id", "part", "place"):
        for pattern in found.get(FIELDS[name], ()):
            if "[" in pattern:
                table.note(name, "bad-pattern", f"{pattern}: expected a name, or a pattern of * and ?")
    if not found:
        table.note(
            "", "missing", "expected id, part, kind, place, loop or tag; leave `on` out for all of the plant"
        )
    table.finish()
    return Area(**found)


def area_in_file(area: Mapping[str, object]) -> dict[str, object]:
    """Return an area's JSON object as a file has it."""
    names = {inside: name for name, inside in FIELDS.items()}
    return {names[inside]: value for inside, value in area.items()}


def names_nothing(plant: Plant, area: Area) -> bool:
    """Return whether no unit, place or port of a plant lies in an area."""
    if area == Area():
        return False
    owners = plant.owners()
    things: Iterator[str] = (
        owners
        if not (area.kinds or area.loops or area.tags or area.ids)
        else chain.from_iterable((one, *plant.ports_of(one), *plant.nodes_of(one)) for one in owners)
    )
    return not any(area.covers(plant, one) for one in things)


def shared(people: Mapping[str, Person], field: str) -> Iterator[tuple[str, str, str]]:
    """Yield (person, other, value) of people of whom one has what only one may have: a key, a place, a user."""
    first: dict[str, str] = {}
    for name, person in people.items():
        value: str = getattr(person, field)
        if value and first.setdefault(value, name) != name:
            yield name, first[value], value
