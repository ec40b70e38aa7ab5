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
import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from itertools import chain
from pathlib import Path
from typing import Any, TextIO

from cfgtrack.files.formula import guarded
from cfgtrack.files.incoming import PEOPLE, WHY, RowReader
from cfgtrack.files.jsonlines import read_objects
from cfgtrack.files.phrase import quoted
from cfgtrack.files.rejects import why, write_rejected_rows
from cfgtrack.files.workbook import write_workbook
from cfgtrack.model.action import Sourced
from cfgtrack.model.codec import TEXTS, action_to_json
from cfgtrack.model.event import Entry
from cfgtrack.model.plant import Plant
from cfgtrack.model.signature import signed_to_json
from cfgtrack.model.time import format_instant
from cfgtrack.model.trouble import BadInput, Problem, Problems

MOST_LINE = 4_000_000
"""So many characters a line of a stream of rows may have."""


def read_rows(
    stream: Iterable[str],
    plant: Plant,
    *,
    where: str,
    form: str = "",
    defaults: Mapping[str, str] | None = None,
    outing_starts: Mapping[str, int] | None = None,
) -> Iterator[Sourced | Problem]:
    """Yield every row of a stream as an event with its place, or as one or more problems; in constant memory.

    `where` names the stream; `form` is "csv" or "jsonl", "" to tell by the name or by the first character.
    `defaults` fill in `DEFAULTS`. `outing_starts` (microseconds) let rows give times inside those outings, besides
    the outings that begin in the stream itself.
    """
    form, lines = _form(stream, where, form)
    reader = RowReader(plant, where, defaults or {}, dict(outing_starts or {}))
    return reader.jsonl(lines) if form == "jsonl" else reader.csv(lines)


def write_csv(entries: Iterable[Entry], stream: TextIO) -> None:
    """Write entries as CSV, as people keep it: what was said, not what followed from it (see `write_jsonl`)."""
    writer = csv.DictWriter(stream, PEOPLE, restval="", lineterminator="\r\n")
    writer.writeheader()
    for row in _as_people_keep_it(entries):
        writer.writerow({n: guarded(cell) if isinstance(cell, str) else cell for n, cell in row.items()})


def write_xlsx(entries: Iterable[Entry], file: Path) -> None:
    """Write entries as a sheet of a workbook: the rows of `write_csv`. BadInput where openpyxl isn't there."""
    rows = ([row.get(name, "") for name in PEOPLE] for row in _as_people_keep_it(entries))
    write_workbook(file, "journal", PEOPLE, rows)


def _as_people_keep_it(entries: Iterable[Entry]) -> Iterator[dict[str, Any]]:
    for entry in entries:
        event = entry.event
        row = {name: getattr(event, name) for name in TEXTS if getattr(event, name) is not None}
        row.update(number=entry.number, known=format_instant(entry.known), id=event.id, action=event.action)
        row.update(at=format_instant(event.happened), subject=" ".join(event.subjects[:1]))
        row.update(subject2=" ".join(event.subjects[1:]))
        row.update(values=" ".join(f"{name}={quoted(str(q))}" for name, q in event.values.items()))
        yield row


def write_jsonl(entries: Iterable[Entry], stream: TextIO) -> None:
    """Write entries as JSON Lines, with everything that the journal holds of them."""
    for entry in entries:
        line = {**action_to_json(entry.event), "number": entry.number, "known": entry.known}
        if entry.event.signed is not None:
            line["signed"] = signed_to_json(entry.event.signed)
        if entry.login is not None:
            line["login"] = entry.login
        stream.write(_json(line) + "\n")


def write_rejects(
    stream: Iterable[str],
    out: TextIO,
    *,
    where: str,
    form: str = "",
    reasons: Mapping[str, Sequence[Problem]],
) -> None:
    """Write the rows of a stream that couldn't be taken, as they stand, each with its reasons in `why`.

    `reasons` are the problems by the row's place, as in `Sourced`. What is written can be mended and fed again. What
    nobody could tell apart into rows (behind a quote that is never closed, under a header that says nothing) is
    written unchanged.
    """
    form, lines = _form(stream, where, form)
    if form == "csv":
        write_rejected_rows(lines, out, where, reasons)
        return
    if any(problem.code == "wrong-kind" for found in reasons.values() for problem in found):
        out.writelines(lines)
        return
    for line in read_objects(lines, where, Problems()):
        found = reasons.get(line.spot.where)
        if found and line.data is None:
            out.write(line.text + "\n")
        elif found and line.data is not None:
            out.write(_writable(_json({**line.data, WHY: why(found)})) + "\n")


def _writable(text: str) -> str:
    """Return the text of a JSON object with half a surrogate pair, which no file can hold, escaped as it came."""
    return re.sub("[\ud800-\udfff]", lambda half: f"\\u{ord(half[0]):04x}", text)


def _json(data: Mapping[str, Any]) -> str:
    return json.dumps(data, ensure_ascii=False, separators=(",", ":"), allow_nan=False)


def _form(stream: Iterable[str], where: str, form: str) -> tuple[str, Iterator[str]]:
    """Return the form that is asked for, or told by the name or else by the first character; and the stream."""
    lines = _lines(stream, where)
    form = form or _form_of_name(where)
    return (form, lines) if form else _form_of_text(lines)


def _lines(stream: Iterable[str], where: str) -> Iterator[str]:
    """Yield the lines of a stream whose bytes that are no UTF-8 came through as lone surrogates.

    BadInput at the first of those, and at the first NUL: the file is of the wrong kind.
    """
    for number, line in enumerate(_bounded(stream), 1):
        if number == 1:
            _expect_rows(line, where)
        if len(line) > MOST_LINE:
            sentence = f"expected a line of at most {MOST_LINE // 1_000_000} MB"
            raise BadInput(Problem(f"{where}:{number}", "too-large", sentence))
        found = ""
        if not line.isascii():
            try:
                line.encode()
            except UnicodeEncodeError as err:
                found = f"UTF-8 text, found the byte 0x{ord(line[err.start]) - 0xDC00:02x}: save it as UTF-8"
        if found or "\0" in line:
            sentence = f"expected {found or 'text, found a binary file'}"
            raise BadInput(Problem(f"{where}:{number}", "not-text", sentence))
        yield line


_OTHERS = (
    ("PK\x03\x04", "not-text", "a workbook (or another zip): save its sheet as CSV"),
    ("SQLite format 3\0", "not-text", "a database: `cfgtrack restore` makes one of a backup"),
    ('{"cfgtrack":"archive"', "archive", "an archive: `cfgtrack restore` makes a database of it"),
    (
        '{"objectTypes": [',
        "other-form",
        "a log of OCEL, which no program takes back: export it as JSON Lines",
    ),
)
"""What files begin with that people feed by mistake, a code, and what to do with each."""


def _expect_rows(first: str, where: str) -> None:
    for begins, code, sentence in _OTHERS:
        if first.startswith(begins):
            raise BadInput(Problem(where, code, f"expected rows as CSV or JSON Lines, found {sentence}"))


def _bounded(stream: Iterable[str]) -> Iterable[str]:
    """Return the lines of a stream, none of which takes more memory than it may to be refused."""
    readline = getattr(stream, "readline", None)
    return stream if readline is None else iter(lambda: str(readline(MOST_LINE + 1)), "")


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
