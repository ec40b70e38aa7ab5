"""The time of day where something stands: a place may have a zone of the tz database.

Times are kept, compared and told in UTC; the local time is only said beside it. Which names there are is the database's
own list (the `tzdata` package), so that a definition that loads here loads on every machine.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING

from cfgtrack.model.time import SECOND, format_instant

if TYPE_CHECKING:
    from collections.abc import Mapping
    from zoneinfo import ZoneInfo

    from cfgtrack.model.plant import Place

_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_DAYS = {-1: " the day before", 0: "", 1: " the next day"}


@cache
def zone_names() -> frozenset[str]:
    """Return the names of all zones of the tz database."""
    return frozenset(files("tzdata").joinpath("zones").read_text(encoding="utf-8").split())


@cache
def _zone(name: str) -> ZoneInfo:
    from zoneinfo import ZoneInfo

    return ZoneInfo(name)


def local_text(instant: int, zone: str) -> str:
    """Return the time of day in a zone, in whole minutes, with its offset from UTC: what is told beside UTC.

    "" where the local day is none that a calendar has: at the ends of the years 1 to 9999.

    >>> local_text(1_762_887_060_000_000, "Europe/Oslo"), local_text(1_762_903_830_000_000, "Europe/Oslo")
    ('19:51 +01:00', '00:30 +01:00 the next day')
    """
    utc = _EPOCH + timedelta(microseconds=instant // SECOND * SECOND)
    try:
        local = utc.astimezone(_zone(zone))
    except OverflowError:
        return ""
    offset = local.utcoffset() or timedelta()
    minutes = round(offset.total_seconds()) // 60
    sign = "-" if minutes < 0 else "+"
    clock = local.strftime("%H:%M")
    day = _DAYS[local.date().toordinal() - utc.date().toordinal()]
    return f"{clock} {sign}{abs(minutes) // 60:02d}:{abs(minutes) % 60:02d}{day}"


def with_local(instant: int, zone: str) -> str:
    """Return an instant in UTC and, where there is a zone, the local time beside it.

    >>> with_local(1_762_887_060_000_000, "Europe/Oslo"), with_local(0, "")
    ('2025-11-11T18:51:00Z (19:51 +01:00)', '1970-01-01T00:00:00Z')
    """
    local = local_text(instant, zone) if zone else ""
    return f"{format_instant(instant)} ({local})" if local else format_instant(instant)


def zone_at(places: Mapping[str, Place], place: str) -> str:
    """Return the zone of a place: its own, else that of the innermost place around it that has one; else ""."""
    met = set[str]()
    while place in places and place not in met:
        met.add(place)
        if places[place].zone:
            return places[place].zone
        place = places[place].parent
    return ""


def only_zone(places: Mapping[str, Place]) -> str:
    """Return the zone of a plant that has one in all, else ""."""
    zones = {place.zone for place in places.values() if place.zone}
    return zones.pop() if len(zones) == 1 else ""
