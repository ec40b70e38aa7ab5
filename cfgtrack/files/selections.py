"""Selections of a rules file, checked against a plant where there is one.

A selection that names nothing is an error, unless it (or its whole file) says `may_be_empty`.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import replace
from typing import Any

from cfgtrack.files.table import Table
from cfgtrack.model.plant import Plant
from cfgtrack.model.unknown import THING, instead, no_such, unknown
from cfgtrack.rules.selection import HOME, REFERENCES, WHATS, Selection, place_fits

_TRUTHS = ("source", "expansion", "load", "liquid", "mobile")


class Against:
    """The plant that a rules file is read against (None: only its form is checked).

    `may_be_empty` is what the whole file says of its selections.
    """

    def __init__(self, plant: Plant | None, *, may_be_empty: bool = False) -> None:
        self.plant = plant
        self.may_be_empty = may_be_empty
        self._tags: frozenset[str] | None = None

    def is_empty(self, selection: Selection) -> bool:
        """Return whether a selection names nothing, and may do so."""
        if self.plant is None or selection.of or not selection.may_be_empty:
            return False
        return not selection.candidates(self.plant)

    def tags(self) -> frozenset[str]:
        """Return every tag that the plant's items have."""
        if self._tags is None and self.plant is not None:
            parts = self.plant.parts.values()
            tagged: Iterable[Any] = (
                *self.plant.units.values(),
                *self.plant.places.values(),
                *parts,
                *(port for part in parts for port in part.ports.values()),
                *(node for part in parts for node in part.nodes.values()),
            )
            self._tags = frozenset(tag for thing in tagged for tag in thing.tags)
        return self._tags or frozenset()


def read_selection(table: Table, name: str, against: Against, *, has_it: bool) -> Selection:
    """Return the selection in the field `name`: a reference to `it`, a pattern of ids, or a table of fields."""
    value = table.get(name, required=True)
    if isinstance(value, str):
        return _from_text(table, name, value, against, has_it=has_it)
    below = table.table(name)
    if below is None:
        return Selection()
    selection = read_fields(below, against, has_it=has_it)
    below.finish()
    return selection


def _from_text(table: Table, name: str, value: str, against: Against, *, has_it: bool) -> Selection:
    if value in REFERENCES:
        _check_it(table, name, has_it=has_it)
        return Selection(of=value)
    if " " in value.strip() or not value.strip():
        table.is_known(name, "reference", value, REFERENCES)
        return Selection(may_be_empty=True)
    selection = Selection(ids=(value,), may_be_empty=against.may_be_empty)
    _check_found(selection, against, table, name)
    return selection


def read_fields(table: Table, against: Against, *, has_it: bool) -> Selection:
    """Return the selection that the fields of a table give. The caller finishes the table."""
    of = table.reference("of", "reference", REFERENCES)
    if of:
        _check_it(table, "of", has_it=has_it)
    before = table.noted
    selection = Selection(
        of=of,
        ids=table.some("id"),
        what=_among(table, "what", "sort of item", WHATS),
        parts=table.some("part"),
        kinds=_among(table, "kind", "kind", None if against.plant is None else against.plant.kinds),
        media=_among(table, "medium", "medium", None if against.plant is None else against.plant.media),
        places=table.some("place"),
        at=table.some("at"),
        loops=table.some("loop"),
        tags=table.some("tag"),
        may_be_empty=table.flag("may_be_empty") or against.may_be_empty,
        **{truth: table.flag(truth) if truth in table.values else None for truth in _TRUTHS},
    )
    if table.noted == before:
        _check_found(selection, against, table, "")
        if not selection.may_be_empty:
            check_places(table, "at", selection.at, against)
    return selection


def _check_it(table: Table, name: str, *, has_it: bool) -> None:
    if not has_it:
        sentence = "nothing is `it` here: give the rule a scope, or tie it to an action"
        table.note(name, "no-it", sentence)


def _among(table: Table, name: str, what: str, known: Collection[str] | None) -> tuple[str, ...]:
    values = table.some(name)
    if known is not None:
        for value in values:
            table.is_known(name, what, value, known)
    return values


def _check_found(selection: Selection, against: Against, table: Table, name: str) -> None:
    """Note a selection that names nothing in the plant; of one bound to `it`, whether it could name anything."""
    if against.plant is None or selection.may_be_empty:
        return
    if selection in (Selection(), Selection(of=selection.of)):
        return
    free = replace(selection, of="", at=(), what=selection.sorts())
    if not free.candidates(against.plant):
        sentence = f"nothing in the plant is selected by {_told(selection)}{_near(selection, against)}"
        table.note(name, "names-nothing", sentence)


def _told(selection: Selection) -> str:
    told = []
    for name in ("ids", "what", "parts", "kinds", "media", "places", "loops", "tags"):
        values = getattr(selection, name)
        if values:
            told.append(f"{name.removesuffix('s') if name != 'media' else 'medium'} {' or '.join(values)}")
    told.extend(f"{name} {str(v).lower()}" for name in _TRUTHS if (v := getattr(selection, name)) is not None)
    return " and ".join(told) or "what stands there"


def _near(selection: Selection, against: Against) -> str:
    plant = against.plant
    assert plant is not None
    for name in selection.tags:
        if name not in against.tags():
            return instead(name, against.tags())
    for name in selection.parts:
        if not any(mark in name for mark in "*?[") and name not in plant.parts:
            return instead(name, plant.parts)
    for name in selection.ids:
        why = unknown(plant, name, THING)
        return f": {why}" if why else ""
    return instead(selection.places[0], plant.places) if selection.places else ""


def check_places(table: Table, name: str, patterns: tuple[str, ...], against: Against) -> None:
    """Note patterns of places, and tags of places, that no place has."""
    plant = against.plant
    if plant is None or against.may_be_empty:
        return
    for pattern in patterns:
        if pattern == HOME or any(place_fits(plant, place, (pattern,)) for place in plant.places):
            continue
        known = sorted({f"#{tag}" for place in plant.places.values() for tag in place.tags})
        known = known if pattern.startswith("#") else [*plant.places]
        table.note(name, "names-nothing", no_such("place", pattern, known))
