"""The time of day in a zone: against published times, and inherited down the places."""

import pytest

from cfgtrack.model.plant import Place
from cfgtrack.model.time import parse_instant
from cfgtrack.model.zone import local_text, only_zone, with_local, zone_at, zone_names

PLACES = {
    "TOWER": Place("TOWER", zone="Etc/GMT-2"),
    "DECK": Place("DECK", "TOWER"),
    "SEAT": Place("SEAT", "DECK"),
    "SHIP": Place("SHIP", "TOWER", zone="Europe/Oslo"),
    "YARD": Place("YARD"),
}


@pytest.mark.parametrize(
    ("instant", "zone", "said"),
    [
        ("2025-11-11T18:51:00Z", "Europe/Oslo", "19:51 +01:00"),
        ("2025-03-30T00:59:59Z", "Europe/Oslo", "01:59 +01:00"),
        ("2025-03-30T01:00:00Z", "Europe/Oslo", "03:00 +02:00"),
        ("2025-10-26T00:59:59Z", "Europe/Oslo", "02:59 +02:00"),
        ("2025-10-26T01:00:00Z", "Europe/Oslo", "02:00 +01:00"),
        ("2025-01-01T00:00:00Z", "Asia/Kathmandu", "05:45 +05:45"),
        ("2025-01-01T00:00:00Z", "America/St_Johns", "20:30 -03:30 the day before"),
        ("2025-01-01T12:00:00Z", "Pacific/Kiritimati", "02:00 +14:00 the next day"),
        ("2025-01-01T12:00:00Z", "Etc/GMT-2", "14:00 +02:00"),
        ("2025-01-01T12:00:00Z", "UTC", "12:00 +00:00"),
    ],
)
def test_the_time_of_day_in_a_zone(instant: str, zone: str, said: str) -> None:
    """Offset and summer time are those of the date: in the EU clocks change at 01:00 UTC (Directive 2000/84/EC,
    articles 2 and 3); Nepal is 5 h 45 min ahead, Newfoundland 3 h 30 min behind (common practice).
    """
    assert local_text(parse_instant(instant), zone) == said
    assert with_local(parse_instant(instant), zone) == f"{instant} ({said})"


def test_a_place_has_the_zone_of_what_is_around_it() -> None:
    """Its own zone goes first, then that of the innermost place around it; a circle of places ends the search."""
    assert {name: zone_at(PLACES, name) for name in PLACES} == {
        "TOWER": "Etc/GMT-2",
        "DECK": "Etc/GMT-2",
        "SEAT": "Etc/GMT-2",
        "SHIP": "Europe/Oslo",
        "YARD": "",
    }
    assert zone_at({"A": Place("A", "B"), "B": Place("B", "A")}, "A") == ""
    assert zone_at(PLACES, "NOWHERE") == ""


def test_a_plant_in_one_zone() -> None:
    """Only where all the zones that are named are one it is the plant's."""
    assert only_zone(PLACES) == ""
    assert only_zone({name: PLACES[name] for name in ("TOWER", "DECK", "YARD")}) == "Etc/GMT-2"
    assert only_zone({}) == ""


def test_every_zone_of_the_database_can_be_told() -> None:
    """Each name that a definition may have is one whose time of day is told."""
    assert "Europe/Oslo" in zone_names()
    for name in zone_names():
        assert local_text(0, name)
