"""What a new definition may not take away: whatever the journal has a state of."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from cfgtrack.model.plant import Plant, owner_of
from cfgtrack.model.trouble import Problem
from cfgtrack.store.columns import AT_PLACE, NEVER
from cfgtrack.store.database import Database


def what_is_missed(
    database: Database, plant: Plant, origins: Mapping[tuple[str, str], str]
) -> Iterator[Problem]:
    """Yield a problem for every recorded state that `plant`, the new definition, has no room for.

    A state of the past counts as well: it can still be asked for. `origins`: (sort, id) to where an item is written.
    """
    sql = (
        "SELECT DISTINCT subject, aspect, value FROM change"
        " WHERE until = :never AND aspect IN ('', :place) ORDER BY subject"
    )
    told: set[str] = set()
    for subject, aspect, value in database.rows(sql, {"never": NEVER, "place": AT_PLACE}):
        sentence = (
            _no_place(plant, subject, value) if aspect == AT_PLACE else _no_status(plant, subject, value)
        )
        if sentence is not None and sentence not in told:
            told.add(sentence)
            yield Problem(_where(plant, owner_of(subject), origins), "in-use", sentence)


def _no_place(plant: Plant, subject: str, value: str) -> str | None:
    if subject not in plant.units and not plant.is_mobile(subject):
        return f"{subject} has been moved and is neither a unit nor a mobile place any more"
    return None if value in plant.places else f"{subject} has been at {value}, which is no place any more"


def _no_status(plant: Plant, subject: str, value: str) -> str | None:
    found = plant.port(subject)
    if found is None:
        return f"{subject} has been {value} and is no port any more"
    if value not in found[1].statuses:
        return f"{subject} has been {value}, which a {found[1].id} can't be any more"
    return None


def _where(plant: Plant, owner: str, origins: Mapping[tuple[str, str], str]) -> str:
    part = plant.part_of(owner).id if plant.has_owner(owner) else ""
    for key in (("unit", owner), ("place", owner), ("part", part)):
        if key in origins:
            return f"{origins[key]}, {key[0]} {key[1]}"
    return owner
