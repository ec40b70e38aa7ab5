"""Units, places and settings, read from a hardware definition."""

from __future__ import annotations

from collections.abc import Collection, Mapping

from cfgtrack.files.fields import Fields
from cfgtrack.model.plant import Place, Unit
from cfgtrack.model.setting import SETTINGS, SPANS, Setting
from cfgtrack.model.unknown import no_such
from cfgtrack.model.zone import zone_names

_ZONE = "expected a name of the tz database, such as Europe/Oslo or Etc/GMT-2"


def read_unit(fields: Fields, parts: Collection[str], places: Collection[str]) -> Unit | None:
    """Return the unit of a [[unit]] table or a row, None when its part isn't known."""
    unit = Unit(
        id=fields.ident("id"),
        part=fields.reference("part", "part", parts, required=True),
        title=fields.text("title"),
        home=fields.reference("home", "place", places),
        loop=fields.text("loop"),
        tags=fields.tags(),
        aliases=fields.aliases_of("id"),
        attributes=fields.attributes(),
    )
    fields.finish()
    return unit if unit.part else None


def read_place(fields: Fields, parts: Collection[str], places: Collection[str]) -> Place:
    """Return the place of a [[place]] table or a row."""
    place = Place(
        id=fields.ident("id"),
        parent=fields.reference("parent", "place", places),
        title=fields.text("title"),
        part=fields.reference("part", "part", parts),
        holds=fields.flag("holds"),
        mobile=fields.flag("mobile"),
        capacity=fields.count("capacity"),
        facings=fields.words("facings"),
        sink=fields.quantity("sink", "temperature"),
        loop=fields.text("loop"),
        tags=fields.tags(),
        site=fields.flag("site"),
        operates=fields.reference("operates", "place", places),
        aliases=fields.aliases_of("id"),
        attributes=fields.attributes(),
        lifts=fields.quantity("lifts", "mass"),
        lock_box=fields.flag("lock_box"),
        zone=fields.text("zone"),
    )
    if place.zone and place.zone not in zone_names():
        fields.note("zone", "unknown-zone", f"{no_such('zone', place.zone, zone_names())} ({_ZONE})")
    if place.lifts is not None and not place.mobile:
        fields.note("lifts", "unexpected", f"{place.id} doesn't move: only a person or machine lifts")
    if place.operates and not place.mobile:
        fields.note(
            "operates", "not-a-doer", f"{place.id} doesn't move: only a person or machine operates another"
        )
    if place.operates == place.id and place.id:
        fields.note("operates", "same", f"{place.id} can't operate itself")
    fields.finish()
    return place


def read_setting(fields: Fields) -> Setting:
    """Return the setting of a [[setting]] table."""
    name = fields.reference("id", "setting", SETTINGS, required=True)
    if name and name not in SPANS:
        value = fields.reference("value", "value", SETTINGS.get(name, ()), required=True)
    else:
        value = fields.text("value", required=bool(name))
        if name and value:
            fields.lasting("value", value)
    fields.finish()
    return Setting(name, value)


def circles(places: Mapping[str, Place]) -> list[list[str]]:
    """Return every circle of places that stand in each other, each once."""
    found: list[list[str]] = []
    done: set[str] = set()
    for start in places:
        line: dict[str, None] = {}
        at = start
        while at in places and at not in line and at not in done:
            line[at] = None
            at = places[at].parent
        if at in line:
            ids = list(line)
            found.append(ids[ids.index(at) :])
        done.update(line)
    return found
