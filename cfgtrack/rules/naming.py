"""Rules by ids: what a rules file calls by an alias is judged, and told, by its id."""

from __future__ import annotations

from dataclasses import fields, is_dataclass, replace
from typing import Any, TypeVar

from cfgtrack.model.plant import Plant
from cfgtrack.model.unknown import PLACE
from cfgtrack.rules.selection import Selection, id_or_pattern

T = TypeVar("T")

_PLACES = ("at", "to")
"""The fields of conditions, matches and selections that hold patterns of places."""


def by_ids(asked: T, plant: Plant) -> T:
    """Return a rule, a condition, or several, with ids for what they call otherwise in this plant."""
    found: T = _by_ids(asked, plant) if plant.names else asked
    return found


def _by_ids(value: Any, plant: Plant) -> Any:
    if isinstance(value, Selection):
        return value.by_ids(plant)
    if isinstance(value, tuple):
        return tuple(_by_ids(one, plant) for one in value)
    if not is_dataclass(value) or isinstance(value, type):
        return value
    changed = {}
    for field in fields(value):
        before = getattr(value, field.name)
        is_places = field.name in _PLACES and isinstance(before, tuple)
        after = tuple(id_or_pattern(plant, p, PLACE) for p in before) if is_places else _by_ids(before, plant)
        if after != before:
            changed[field.name] = after
    return replace(value, **changed) if changed else value
