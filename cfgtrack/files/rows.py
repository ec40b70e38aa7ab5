"""Journal rows in and out, streamed: CSV as people keep it, JSON Lines as programs do.

Two forms come in. A row as people write it has `at` (RFC 3339, or inside an outing HH:MM or +HH:MM), an action and
its subjects; everything that it names is looked up. A line as the journal writes it (`write_jsonl`) has `happened`
in microseconds and is taken as it is; its `number` and `known` are given anew by the journal that takes it.

A row without an id gets one made from what it says (not from who feeds it): feeding a file again is harmless, and a
row that stands in it twice, word for word at the same instant, is one event.
"""

from __future__ import annotations

import csv
import json
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import fields, replace
from hashlib import sha256
from itertools import chain
from typing import Any, NoReturn, TextIO

from cfgtrack.files.action import Note, Said, understood
from cfgtrack.files.phrase import quoted, read_settings
from cfgtrack.files.sheet import read_sheet
from cfgtrack.files.source import Spot
from cfgtrack.model.event import BEGIN, Entry, Event, event_from_json
from cfgtrack.model.plant import Plant
from cfgtrack.model.quantity import QUANTITIES, BadQuantity
from cfgtrack.model.time import BadTime, format_instant, parse_instant
from cfgtrack.model.trouble import Problem, Problems, near_hint

Taken = tuple[str, Event]
"""Where an event was written (file and row), and the event."""

_TEXTS = tuple(f.name for f in fields(Said) if f.name not in ("action", "subjects", "values"))
_PEOPLE = ("number", "known", "id", "at", "action", "subject", "subject2", *_TEXTS, "values")
COLUMNS = (*_PEOPLE, *QUANTITIES)
"""The columns of a journal in CSV: those of an event, and one for each quantity that may be measured."""

DEFAULTS = ("by", "recorder", "basis", "outing")
"""What may be said once for all rows that don't say it themselves."""

_JOURNAL = frozenset(f.name for f in fields(Event)) | {"number", "known"}
_TYPES: dict[str, type] = {
    "happened": int,
    "subjects": list,
    "moved": list,
    "initial": bool,
    "values": dict,
    "body": dict,
}
_EXPECTED = {int: "a whole number", list: "a list of texts", dict: "an object", bool: "true or false"}
_LONGEST_ROW = 120


def read_rows(
    stream: Iterable[str],
    plant: Plant,
    *,
    where: str,
    form: str = "",
    defaults: Mapping[str, str] | None = None,
    outing_starts: Mapping[str, int] | None = None,
) -> Iterator[Taken | Problem]:
    """Yield every row of a stream as an event with its place, or as one or more problems; in constant memory.

    `where` names the stream; `form` is "csv" or "jsonl", "" to tell by the name or by the first character.
    `defaults` fill in `DEFAULTS`. `outing_starts` (microseconds) let rows give times inside those outings, besides
    the outings that begin in the stream itself.
    """
    lines = iter(stream)
    form = form or _form_of_name(where)
    if not form:
        form, lines = _form_of_text(lines)
    reader = _Reader(plant, where, defaults or {}, dict(outing_starts or {}))
    return reader.jsonl(lines) if form == "jsonl" else reader.csv(lines)


def write_csv(entries: Iterable[Entry], stream: TextIO) -> None:
    """Write entries as CSV, as people keep it: what was said, not what followed from it (see `write_jsonl`)."""
    writer = csv.DictWriter(stream, _PEOPLE, restval="", lineterminator="\r\n")
    writer.writeheader()
    for entry in entries:
        event = entry.event
        row = {name: getattr(event, name) for name in _TEXTS if getattr(event, name) is not None}
        row.update(number=entry.number, known=format_instant(entry.known), id=event.id, action=event.action)
        row.update(at=format_instant(event.happened), subject=" ".join(event.subjects[:1]))
        row.update(subject2=" ".join(event.subjects[1:]))
        row.update(values=" ".join(f"{name}={quoted(str(q))}" for name, q in event.values.items()))
        writer.writerow(row)


def write_jsonl(entries: Iterable[Entry], stream: TextIO) -> None:
    """Write entries as JSON Lines, with everything that the journal holds of them."""
    for entry in entries:
        line = {**entry.event.to_json(), "number": entry.number, "known": entry.known}
        stream.write(json.dumps(line, ensure_ascii=False, separators=(",", ":"), allow_nan=False))
        stream.write("\n")


def _form_of_name(name: str) -> str:
    suffix = name.rpartition(".")[2].lower()
    return {"csv": "csv", "tsv": "csv", "jsonl": "jsonl", "ndjson": "jsonl"}.get(suffix, "")


def _form_of_text(lines: Iterator[str]) -> tuple[str, Iterator[str]]:
    head: list[str] = []
    for line in lines:
        head.append(line)
        if line.strip():
            break
    start = "".join(head).lstrip("\ufeff \t\r\n")
    return "jsonl" if start.startswith("{") else "csv", chain(head, lines)


class _Reader:
    def __init__(
        self, plant: Plant, where: str, defaults: Mapping[str, str], outing_starts: dict[str, int]
    ) -> None:
        self.plant = plant
        self.where = where
        self.defaults = {name: defaults[name] for name in DEFAULTS if defaults.get(name)}
        self.outing_starts = outing_starts
        self.problems = Problems()

    def csv(self, lines: Iterator[str]) -> Iterator[Taken | Problem]:
        for row in read_sheet(lines, self.where, COLUMNS, ("at", "action"), self.problems):
            yield from self._drain()
            spot = row.spot(self.where, "")
            cells = dict(row.cells)
            cells.pop("number", None)
            cells.pop("known", None)
            yield from self._said(cells, spot, in_column=True)
        yield from self._drain()

    def jsonl(self, lines: Iterator[str]) -> Iterator[Taken | Problem]:
        for number, line in _numbered(lines, self.where, self.problems):
            text = line.strip()
            if not text:
                continue
            row = text if len(text) <= _LONGEST_ROW else text[: _LONGEST_ROW - 4] + " ..."
            spot = Spot(f"{self.where}:{number}", row)
            data = self._object(text, spot)
            if data is not None and "happened" in data:
                yield from self._as_written(data, spot)
            elif data is not None:
                yield from self._said(self._texts(data, spot), spot)
            yield from self._drain()
        yield from self._drain()

    def _drain(self) -> Iterator[Problem]:
        found, self.problems.found = self.problems.found, []
        yield from found

    def _object(self, text: str, spot: Spot) -> dict[str, Any] | None:
        try:
            data = json.loads(text, object_pairs_hook=_once, parse_constant=_no_constant)
        except json.JSONDecodeError as err:
            sentence = (
                f"expected one JSON object a line: {err.msg[0].lower()}{err.msg[1:]} at column {err.colno}"
            )
            self.problems.add(spot.where, "syntax", sentence, row=spot.row)
        except (ValueError, RecursionError) as err:
            self.problems.add(spot.where, "syntax", f"expected one JSON object a line: {err}", row=spot.row)
        else:
            if isinstance(data, dict):
                return data
            self.problems.add(spot.where, "wrong-type", "expected one JSON object a line", row=spot.row)
        return None

    def _as_written(self, data: dict[str, Any], spot: Spot) -> Iterator[Taken | Problem]:
        """Take a line as the journal wrote it."""
        for name, value in data.items():
            wanted = _TYPES.get(name, str)
            if name not in _JOURNAL:
                sentence = f"there is no field {name}{near_hint(name, _JOURNAL)}"
                self.problems.add(spot.where, "unknown-field", sentence, row=spot.row)
            elif name not in ("number", "known") and not (type(value) is wanted and _is_whole(value)):
                sentence = f"{name}: expected {_EXPECTED.get(wanted, 'a text')}, found {value!r}"
                self.problems.add(spot.where, "wrong-type", sentence, row=spot.row)
        self.problems.found.extend(
            Problem(spot.where, "missing", f"{name} is missing", spot.row)
            for name in ("id", "action")
            if not data.get(name)
        )
        if self.problems:
            return
        told = {name: value for name, value in data.items() if name not in ("number", "known")}
        try:
            event = event_from_json(told)
        except (BadQuantity, TypeError) as err:
            why = err if isinstance(err, BadQuantity) else "expected dimension, shown, unit and value of each"
            self.problems.add(spot.where, "bad-quantity", f"values: {why}", row=spot.row)
            return
        if event.action == BEGIN and event.outing:
            self.outing_starts[event.outing] = event.happened
        yield spot.where, event

    def _texts(self, data: dict[str, Any], spot: Spot) -> dict[str, Any]:
        """Return the fields of a JSON object that are texts, noting those that are not."""
        known = {*COLUMNS, "subjects"}
        cells: dict[str, Any] = {}
        for name, value in data.items():
            if name not in known:
                sentence = f"there is no field {name}{near_hint(name, known)}"
                self.problems.add(spot.where, "unknown-field", sentence, row=spot.row)
            elif name in ("number", "known") or value is None:
                continue
            elif isinstance(value, str) or (name == "subjects" and _is_texts(value)):
                cells[name] = value
            elif name == "values" and isinstance(value, dict) and _is_texts([*value.values()]):
                cells.update(value)
            else:
                expected = "texts" if name in ("subjects", "values") else "a text"
                sentence = f"{name}: expected {expected}, found {value!r}"
                self.problems.add(spot.where, "wrong-type", sentence, row=spot.row)
        return cells

    def _said(
        self, cells: dict[str, Any], spot: Spot, *, in_column: bool = False
    ) -> Iterator[Taken | Problem]:
        """Take a row as people wrote it."""

        def note(name: str, code: str, sentence: str) -> None:
            where = f"{spot.where}, column {name}" if in_column and name in cells else spot.where
            self.problems.add(where, code, sentence, row=spot.row)

        said = _said(cells, note)
        own = replace(said, values=dict(said.values), subjects=list(said.subjects))
        for name, value in self.defaults.items():
            if not getattr(said, name):
                setattr(said, name, value)
        happened = self._happened(cells.get("at", ""), said.outing, note)
        event_id = cells.get("id") or _made_id(own, happened)
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


def _said(cells: Mapping[str, Any], note: Note) -> Said:
    said = Said(action="-".join(cells.get("action", "").lower().split()))
    said.subjects = list(cells.get("subjects", ()))
    said.subjects.extend(word for name in ("subject", "subject2") for word in cells.get(name, "").split())
    for name in _TEXTS:
        setattr(said, name, cells.get(name, ""))
    said.values = read_settings(cells["values"], note) if "values" in cells else {}
    said.values.update({name: cells[name] for name in QUANTITIES if name in cells})
    return said


def _made_id(said: Said, happened: int) -> str:
    """Return an id that is the same whenever the same is said to have happened at the same instant."""
    told = [happened, said.action, said.subjects, sorted(said.values.items())]
    told.extend(getattr(said, name) for name in _TEXTS)
    return f"row-{sha256(json.dumps(told).encode()).hexdigest()[:24]}"


def _numbered(lines: Iterator[str], where: str, problems: Problems) -> Iterator[tuple[int, str]]:
    number = 0
    try:
        for number, line in enumerate(lines, 1):
            yield number, line.removeprefix("\ufeff")
    except UnicodeDecodeError as err:
        sentence = f"expected UTF-8 text, found the byte 0x{err.object[err.start]:02x}"
        problems.add(f"{where}:{number + 1}", "not-text", sentence)


def _is_texts(value: Any) -> bool:
    return isinstance(value, list) and all(isinstance(one, str) for one in value)


def _is_whole(value: Any) -> bool:
    return not isinstance(value, list) or _is_texts(value)


def _once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) < len(pairs):
        twice = next(name for i, (name, _) in enumerate(pairs) if name in (other for other, _ in pairs[:i]))
        raise ValueError(f"{twice} is given twice")
    return found


def _no_constant(name: str) -> NoReturn:
    raise ValueError(f"{name} is no number in JSON")
