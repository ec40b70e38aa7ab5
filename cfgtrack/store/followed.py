"""Events that are in the journal as they were recorded, and nobody can follow: they say what can't be so.

The tool lets none in. On a server somebody may have said one in plain SQL, in his own name; where it can be told
cheaply the server refuses it (`schema/postgresql`). It hides what everything is, until it is withdrawn.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

from cfgtrack.model.configuration import place_line
from cfgtrack.model.plant import Plant
from cfgtrack.model.trouble import recorded_by, way_out_of
from cfgtrack.store.columns import AT_PLACE, NEVER
from cfgtrack.store.database import Database
from cfgtrack.store.definitions import Definitions
from cfgtrack.store.view import SqlView


class Lost(NamedTuple):
    """An event that can't be followed: its number and id, and a sentence with what is wrong and the way out."""

    number: int
    event: str
    sentence: str


def unfollowable(database: Database, definitions: Definitions) -> Iterator[Lost]:
    """Yield the events that count and can't be followed, by the definition of when they happened."""
    sql = (
        "SELECT c.subject, c.aspect, c.value, c.happened, c.number, e.id, e.login FROM change c"
        " JOIN event e ON e.number = c.number WHERE c.until = :never AND c.aspect IN ('', :place)"
        " AND c.happened >= :since AND c.happened < :end ORDER BY c.number"
    )
    told: set[int] = set()
    for plant, span in definitions.spans():
        states = database.rows(sql, {"never": NEVER, "place": AT_PLACE, **span})
        for subject, aspect, value, happened, number, event, login in states:
            why = (
                _not_there(database, plant, subject, value, happened)
                if aspect == AT_PLACE
                else _not_so(plant, subject, value)
            )
            if why and number not in told:
                told.add(number)
                sentence = f"event {event}{recorded_by(login)} can't be followed: {why}; {way_out_of(event)}"
                yield Lost(number, event, sentence)


def _not_there(database: Database, plant: Plant, subject: str, place: str, happened: int) -> str:
    if not plant.can_move(subject):
        return f"{subject} is nothing that can be moved"
    if place and place not in plant.places:
        return f"{place} is no place"
    if subject not in plant.places or not place:
        return ""
    inside = place_line(SqlView(database, plant, happened, NEVER), place)
    return f"{subject} would be inside itself" if subject in inside else ""


def _not_so(plant: Plant, port: str, status: str) -> str:
    found = plant.port(port)
    if found is None:
        return f"{port} is no port"
    return "" if status in found[1].statuses else f"{port} can't be {status}"
