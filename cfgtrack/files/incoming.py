"""Rows of a journal on their way in: each becomes an event, or the problems that it has."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from dataclasses import replace
from hashlib import sha256
from typing import Any

from cfgtrack.files.action import Note, Said, by_ids, understood
from cfgtrack.files.formula import unguarded
from cfgtrack.files.jsonlines import read_objects
from cfgtrack.files.phrase import read_settings
from cfgtrack.files.sheet import read_sheet
from cfgtrack.files.source import Spot, cut
from cfgtrack.model.action import BEGIN, Sourced
from cfgtrack.model.codec import IN_JSON, TEXTS, Form, event_from_json
from cfgtrack.model.event import Event
from cfgtrack.model.plant import Plant
from cfgtrack.model.quantity import QUANTITIES, BadQuantity, disagreement
from cfgtrack.model.signature import signed_from_json
from cfgtrack.model.time import BadTime, parse_instant
from cfgtrack.model.trouble import Problem, Problems
from cfgtrack.model.unknown import ANYTHING, UNKNOWN, no_such

WHY = "why"
"""The column (field) of rejected rows that tells why; skipped when they are fed again."""

_SKIPPED = ("number", "known", "clock", "login", WHY)
PEOPLE = ("number", "known", "id", "at", "action", "subject", "subject2", *TEXTS, "values")
COLUMNS = (*PEOPLE, *QUANTITIES, WHY)
"""The columns of a journal in CSV: those of an event, and one for each quantity that may be measured."""

DEFAULTS = ("by", "recorder", "basis", "outing")
"""What may be said once for all rows that don't say it themselves."""

SIGNED = "signed"
"""The field of a line that the journal wrote which holds the signature under it."""

_JOURNAL = dict.fromkeys((*(told.name for told in IN_JSON), *_SKIPPED, SIGNED))
_TYPES = {
    Form.TEXT: str,
    Form.NUMBER: int,
    Form.TEXTS: list,
    Form.FLAG: bool,
    Form.VALUES: dict,
    Form.BODY: dict,
    Form.PLACES: dict,
}
_WANTED: dict[str, type] = {told.name: _TYPES[told.form] for told in IN_JSON}
_PLACES = frozenset(told.name for told in IN_JSON if told.form is Form.PLACES)
_EXPECTED = {int: "a whole number", list: "a list of texts", dict: "an object", bool: "true or false"}


class RowReader:
    """Reads one stream of rows against a plant. `outing_starts` grows with the outings that begin in it."""

    def __init__(
        self, plant: Plant, where: str, defaults: Mapping[str, str], outing_starts: dict[str, int]
    ) -> None:
        self.plant = plant
        self.where = where
        self.defaults = {name: defaults[name] for name in DEFAULTS if defaults.get(name)}
        self.outing_starts = outing_starts
        self.problems = Problems()

    def csv(self, lines: Iterator[str]) -> Iterator[Sourced | Problem]:
        """Yield what the rows of a CSV stream say."""
        for row in read_sheet(lines, self.where, COLUMNS, ("at", "action"), self.problems):
            yield from self._drain()
            spot = row.spot(self.where, "")
            cells = {name: unguarded(cell) for name, cell in row.cells.items() if name not in _SKIPPED}
            # What the journal wrote says all there is: who feeds it hasn't recorded it.
            defaults = {} if row.cells.get("known") else self.defaults
            yield from self._said(cells, spot, defaults, in_column=True)
        yield from self._drain()

    def jsonl(self, lines: Iterator[str]) -> Iterator[Sourced | Problem]:
        """Yield what the lines of a JSON Lines stream say."""
        for line in read_objects(lines, self.where, self.problems):
            if line.data is not None and "happened" in line.data:
                yield from self._as_written(line.data, line.spot)
            elif line.data is not None:
                yield from self._said(self._texts(line.data, line.spot), line.spot, self.defaults)
            yield from self._drain()
        yield from self._drain()

    def _drain(self) -> Iterator[Problem]:
        found, self.problems.found = self.problems.found, []
        yield from found

    def _as_written(self, data: dict[str, Any], spot: Spot) -> Iterator[Sourced | Problem]:
        """Take a line as the journal wrote it."""
        for name, value in data.items():
            wanted = _WANTED.get(name, str)
            if name not in _JOURNAL:
                self.problems.add(spot.where, "unknown-field", no_such("field", name, _JOURNAL), row=spot.row)
            elif name not in (*_SKIPPED, SIGNED) and not (type(value) is wanted and _is_whole(name, value)):
                sentence = f"{name}: expected {_expected(name)}, found {cut(repr(value))}"
                self.problems.add(spot.where, "wrong-type", sentence, row=spot.row)
        self.problems.found.extend(
            Problem(spot.where, "missing", f"{name} is missing", spot.row)
            for name in ("id", "action")
            if not data.get(name)
        )
        if self.problems:
            return
        told = {name: value for name, value in data.items() if name not in (*_SKIPPED, SIGNED)}
        try:
            event = event_from_json(told)
        except (BadQuantity, TypeError) as err:
            why = err if isinstance(err, BadQuantity) else "expected dimension, shown, unit and value of each"
            self.problems.add(spot.where, "bad-quantity", f"values: {why}", row=spot.row)
            return
        self._expect_values(event, spot)
        if SIGNED in data:
            try:
                event = replace(event, signed=signed_from_json(data[SIGNED]))
            except ValueError as err:
                self.problems.add(spot.where, "wrong-type", f"{SIGNED}: {err}", row=spot.row)
        if self.problems:
            return
        if event.action == BEGIN and event.outing:
            self.outing_starts[event.outing] = event.happened
        yield spot.where, event

    def _expect_values(self, event: Event, spot: Spot) -> None:
        """Note what the numbers of an event and what is shown of them don't agree in."""
        for name, quantity in event.values.items():
            if name not in QUANTITIES:
                self.problems.add(spot.where, UNKNOWN, no_such("quantity", name, QUANTITIES), row=spot.row)
            elif why := disagreement(quantity):
                self.problems.add(spot.where, "bad-quantity", f"{name}: {why}", row=spot.row)

    def _texts(self, data: dict[str, Any], spot: Spot) -> dict[str, Any]:
        """Return the fields of a JSON object that are texts, noting those that are not."""
        known = [*COLUMNS, "subjects"]
        cells: dict[str, Any] = {}
        for name, value in data.items():
            if name not in known:
                self.problems.add(spot.where, "unknown-field", no_such("field", name, known), row=spot.row)
            elif name in _SKIPPED or value is None:
                continue
            elif isinstance(value, str) or (name == "subjects" and _is_texts(value)):
                cells[name] = value
            elif name == "values" and isinstance(value, dict) and _is_texts([*value.values()]):
                cells.update(value)
            else:
                expected = "texts" if name in ("subjects", "values") else "a text"
                sentence = f"{name}: expected {expected}, found {cut(repr(value))}"
                self.problems.add(spot.where, "wrong-type", sentence, row=spot.row)
        return cells

    def _said(
        self, cells: dict[str, Any], spot: Spot, defaults: Mapping[str, str], *, in_column: bool = False
    ) -> Iterator[Sourced | Problem]:
        """Take a row as people wrote it."""

        def note(name: str, code: str, sentence: str) -> None:
            where = f"{spot.where}, column {name}" if in_column and name in cells else spot.where
            self.problems.add(where, code, sentence, row=spot.row)

        said = _said(cells, self.plant, note)
        by_ids(said, self.plant)
        own = {name: said[name] for name in TEXTS}
        said.texts.update({name: value for name, value in defaults.items() if not said[name]})
        happened = self._happened(cells.get("at", ""), said["outing"], note)
        event_id = cells.get("id") or _made_id(said, own, happened)
        event = understood(said, self.plant, note, event_id=event_id, happened=happened)
        if event is None or self.problems:
            yield from self._drain()
            return
        if event.action == BEGIN and event.outing:
            self.outing_starts[event.outing] = happened
        yield spot.where, event

    def _happened(self, text: str, outing: str, note: Note) -> int:
        if not text:
            note("at", "missing", "at is missing: when did it happen?")
            return 0
        try:
            return parse_instant(text, outing_start=self.outing_starts.get(outing))
        except BadTime as err:
            tail = f"; outing {outing} has not begun" if outing and outing not in self.outing_starts else ""
            note("at", "bad-time", f"{err}{tail}")
            return 0


def _said(cells: Mapping[str, Any], plant: Plant, note: Note) -> Said:
    said = Said(action="-".join(cells.get("action", "").lower().split()))
    said.subjects = list(cells.get("subjects", ()))
    for name in ("subject", "subject2"):
        said.subjects += _subjects(cells.get(name, ""), plant)
    for name in TEXTS:
        said.texts[name] = cells.get(name, "")
    said.values = read_settings(cells["values"], note) if "values" in cells else {}
    said.values.update({name: cells[name] for name in QUANTITIES if name in cells})
    return said


def _subjects(cell: str, plant: Plant) -> list[str]:
    """Return the subjects in a cell: texts with blanks between them, where nothing is called as several of them."""
    words = cell.split()
    if not plant.names or len(words) < 2:
        return words
    if plant.names.meant(cell, ANYTHING):
        return [cell]
    found: list[str] = []
    while words:
        tries = (n for n in range(len(words), 1, -1) if plant.names.meant(" ".join(words[:n]), ANYTHING))
        taken = next(tries, 1)
        found.append(" ".join(words[:taken]))
        del words[:taken]
    return found


LATER = ("bars", "step", "plan")
"""The texts that rows could say from later versions on."""


def _made_id(said: Said, texts: Mapping[str, str], happened: int) -> str:
    """Return an id that is the same whenever the same is said to have happened at the same instant."""
    told = [happened, said.action, said.subjects, sorted(said.values.items())]
    told += [text for name, text in texts.items() if name not in LATER]
    # What rows couldn't say at first is told where it is said: those that don't keep the ids that they always had.
    told += [f"{name}={texts[name]}" for name in LATER if texts.get(name)]
    return f"row-{sha256(json.dumps(told).encode()).hexdigest()[:24]}"


def _is_texts(value: Any) -> bool:
    return isinstance(value, list) and all(isinstance(one, str) for one in value)


def _is_whole(name: str, value: Any) -> bool:
    if isinstance(value, list):
        return _is_texts(value)
    return name not in _PLACES or _is_texts([*value.values()])


def _expected(name: str) -> str:
    return "an object of texts" if name in _PLACES else _EXPECTED.get(_WANTED.get(name, str), "a text")
