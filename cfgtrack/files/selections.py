"""Selections of a rules file, checked against a plant where there is one.

A selection that names nothing is an error, unless it (or its whole file) says `may_be_empty`.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import replace
from typing import Any

from cfgtrack.files.fields import shown
from cfgtrack.files.table import Table
from cfgtrack.model.attribute import AttributeTest
from cfgtrack.model.plant import Plant
from cfgtrack.model.unknown import AMBIGUOUS, PLACE, THING, instead, look_up, near, no_such
from cfgtrack.rules.selection import HOME, REFERENCES, WHATS, Selection, also_fitting, place_fits

_TRUTHS = ("source", "expansion", "load", "liquid", "mobile")


class Against:
    """The plant that a rules file is read against (None: only its form is checked).

    `may_be_empty` is what the whole file says of its selections.
    """

    def __init__(self, plant: Plant | None, *, may_be_empty: bool = False) -> None:
        self.plant = plant
        self.may_be_empty = may_be_empty
        self._tags: frozenset[str] | None = None
        self._attributes: frozenset[str] | None = None

    def is_empty(self, selection: Selection) -> bool:
        """Return whether a selection names nothing, and may do so."""
        if self.plant is None or selection.of or not selection.may_be_empty:
            return False
        return not selection.candidates(self.plant)

    def tags(self) -> frozenset[str]:
        """Return every tag that the plant's items have."""
        if self._tags is None and self.plant is not None:
            self._tags = frozenset(tag for thing in _things(self.plant) for tag in thing.tags)
        return self._tags or frozenset()

    def attributes(self) -> frozenset[str]:
        """Return the name of every attribute that the plant's items have."""
        if self._attributes is None and self.plant is not None:
            self._attributes = frozenset(name for thing in _things(self.plant) for name in thing.attributes)
        return self._attributes or frozenset()


def _things(plant: Plant) -> Iterator[Any]:
    """Yield every unit, place, part, port, contact and node."""
    yield from plant.units.values()
    yield from plant.places.values()
    for part in plant.parts.values():
        yield part
        yield from part.ports.values()
        yield from (contact for port in part.ports.values() for contact in port.contacts.values())
        yield from part.nodes.values()


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
    if (" " in value.strip() or not value.strip()) and not _may_be_alias(value, against):
        table.is_known(name, "reference", value, REFERENCES)
        return Selection(may_be_empty=True)
    selection = Selection(ids=(value,), may_be_empty=against.may_be_empty)
    if _is_plain(table, name, (value,), against, THING):
        _check_found(selection, against, table, name)
    return selection


def _may_be_alias(text: str, against: Against) -> bool:
    """Return whether a text with blanks may name a thing, and is no reference that is mistyped."""
    if against.plant is None:
        return bool(text.strip()) and not near(text, REFERENCES)
    return bool(against.plant.names.meant(text, THING))


def _is_plain(
    table: Table, name: str, texts: Collection[str], against: Against, wanted: tuple[str, ...]
) -> bool:
    """Return whether none of some texts may mean several things, after noting those that do."""
    before, plant = table.noted, against.plant
    for text in texts if plant is not None else ():
        assert plant is not None
        found = look_up(plant, text, wanted)
        if found.code == AMBIGUOUS:
            table.note(name, AMBIGUOUS, found.why)
        elif also := also_fitting(plant, text, wanted):
            sentence = (
                f"{text} is what {found.address} is called, and a pattern that {also} fits: say which by ids"
            )
            table.note(name, AMBIGUOUS, sentence)
    return table.noted == before


def _attribute_tests(table: Table) -> tuple[AttributeTest, ...]:
    """Return what the field `attribute` asks for: a table, or a list of them."""
    value = table.get("attribute")
    if value is None:
        return ()
    one = table.table("attribute") if isinstance(value, dict) else None
    tables = [one] if one is not None else list(table.tables("attribute"))
    return tuple(test for below in tables if (test := _attribute_test(below)) is not None)


def _attribute_test(table: Table) -> AttributeTest | None:
    name, before = table.text("name", required=True), table.noted
    said = table.get("is")
    wanted = said if isinstance(said, list) else [] if said is None else [said]
    among = [table.attribute("is", name or "it", one) for one in wanted]
    if said == []:
        table.note("is", "missing", "is lists nothing")
    low, high = (
        None if (value := table.get(bound)) is None else table.attribute(bound, name or "it", value)
        for bound in ("min", "max")
    )
    for bound, value in (("min", low), ("max", high)):
        if isinstance(value, str | bool):
            table.note(
                bound, "wrong-type", f"expected a number with its unit or a date, found {shown(value)}"
            )
    if among and (low is not None or high is not None):
        table.note("is", "contradiction", "ask for a value or for a range, not for both")
    table.finish()
    if not name or table.noted > before:
        return None
    return AttributeTest(name, tuple(one for one in among if one is not None), low, high)


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
        attributes=_attribute_tests(table),
        **{truth: table.flag(truth) if truth in table.values else None for truth in _TRUTHS},
    )
    for name, texts, wanted in (
        ("id", selection.ids, THING),
        ("part", selection.parts, ("part",)),
        ("place", selection.places, PLACE),
    ):
        _is_plain(table, name, texts, against, wanted)
    if table.noted == before:
        _check_found(selection, against, table, "")
        check_places(table, "at", selection.at, against, may_be_none=selection.may_be_empty)
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
    free = replace(selection, of="", at=(), what=selection.by_ids(against.plant).sorts())
    if not free.candidates(against.plant):
        sentence = f"nothing in the plant is selected by {_told(selection)}{_near(selection, against)}"
        table.note(name, "names-nothing", sentence)


def _told(selection: Selection) -> str:
    told = []
    for name in ("ids", "what", "parts", "kinds", "media", "places", "loops", "tags"):
        values = getattr(selection, name)
        if values:
            told.append(f"{name.removesuffix('s') if name != 'media' else 'medium'} {' or '.join(values)}")
    told.extend(test.words() for test in selection.attributes)
    told.extend(f"{name} {str(v).lower()}" for name in _TRUTHS if (v := getattr(selection, name)) is not None)
    return " and ".join(told) or "what stands there"


def _near(selection: Selection, against: Against) -> str:
    plant = against.plant
    assert plant is not None
    for name in selection.tags:
        if name not in against.tags():
            return instead(name, against.tags())
    for test in selection.attributes:
        if test.name not in against.attributes():
            return instead(test.name, against.attributes())
    for name in selection.parts:
        name_or_alias = plant.resolve(name, ("part",))
        if not any(mark in name for mark in "*?[") and name_or_alias not in plant.parts:
            return instead(name, plant.parts, also=plant.names.parts)
    for name in selection.ids:
        why = look_up(plant, name, THING).why
        return f": {why}" if why else ""
    return instead(selection.places[0], plant.places) if selection.places else ""


def check_places(
    table: Table, name: str, patterns: tuple[str, ...], against: Against, *, may_be_none: bool
) -> None:
    """Note patterns of places that may mean two things, and those, and tags, that no place has."""
    plant = against.plant
    if not _is_plain(table, name, patterns, against, PLACE) or may_be_none:
        return
    if plant is None or against.may_be_empty:
        return
    for pattern in patterns:
        if pattern == HOME or any(place_fits(plant, place, (pattern,)) for place in plant.places):
            continue
        known = sorted({f"#{tag}" for place in plant.places.values() for tag in place.tags})
        known = known if pattern.startswith("#") else [*plant.places, *plant.names.owners]
        table.note(name, "names-nothing", no_such("place", pattern, known))
