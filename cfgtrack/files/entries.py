"""What [initial] tables and their CSV rows say of the starting configuration, one entry a subject."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from cfgtrack.files.fields import Fields, shown
from cfgtrack.files.gather import Initial
from cfgtrack.files.source import Spot
from cfgtrack.files.table import Table


@dataclass(frozen=True, slots=True)
class InitialState:
    """What is said of one subject: where it is, or its status, its mate or both."""

    subject: str
    spot: Spot
    at: int
    by: str | None
    mate: str = ""
    status: str = ""
    place: str = ""
    facing: str = ""


def read_entries(initial: Initial) -> Iterator[InitialState]:
    """Yield one file's entries, noting what is none."""
    table = initial.table
    if table is None:
        for row in initial.rows[:1]:
            row.note("", "missing", "rows for [initial] need an [initial] table with its time: at = ...")
        return
    at = table.instant("at", required=True) or 0
    by = table.text("by") or None
    yield from _joined(table, at, by)
    for name in _KEYED:
        yield from _lines(table, name, at, by)
    table.finish()
    for row in initial.rows:
        yield from _row(row, at, by)


def _joined(table: Table, at: int, by: str | None) -> Iterator[InitialState]:
    pairs = table.get("joined")
    if pairs is not None and not isinstance(pairs, list):
        table.wrong("joined", 'a list of pairs such as [["A-1:F1", "B-1:F1"]]', pairs)
        return
    for i, pair in enumerate(pairs or ()):
        if not isinstance(pair, list) or len(pair) != 2 or not all(isinstance(one, str) for one in pair):
            sentence = f'expected two ports such as ["A-1:F1", "B-1:F1"], found {shown(pair)}'
            table.note_element(("joined", i), "wrong-type", sentence)
        elif pair[0] == pair[1]:
            table.note_element(("joined", i), "same", f"{pair[0]} can't be joined to itself")
        else:
            yield InitialState(pair[0], table.element("joined", i), at, by, mate=pair[1])


_KEYED = {
    "status": ("is", "mate", 'a status or {is = "mated", mate = "B-1:F1"}'),
    "place": ("at", "facing", 'a place or {at = "RACK-1", facing = "up"}'),
}
"""The tables of one line a subject: what a line that is a table must say, what it may, and what it may look like."""


def _lines(table: Table, name: str, at: int, by: str | None) -> Iterator[InitialState]:
    must, may, expected = _KEYED[name]
    for subject, spot, value in _keyed(table, name):
        said = {must: value} if isinstance(value, str) else value
        if _is_texts(said, {must, may}, must):
            yield InitialState(subject, spot, at, by, **{name: said[must], may: said.get(may, "")})
        else:
            sentence = f"{subject}: expected {expected}, found {shown(value)}"
            table.note_element((name, subject), "wrong-type", sentence)


def _keyed(table: Table, name: str) -> Iterator[tuple[str, Spot, Any]]:
    below = table.get(name)
    if below is not None and not isinstance(below, dict):
        table.wrong(name, "a table of one line a subject", below)
        return
    for subject, value in (below or {}).items():
        yield subject, table.element(name, subject), value


def _is_texts(value: Any, names: set[str], required: str) -> bool:
    return (
        isinstance(value, dict)
        and required in value
        and value.keys() <= names
        and all(isinstance(one, str) and one for one in value.values())
    )


def _row(row: Fields, at: int, by: str | None) -> Iterator[InitialState]:
    subject = row.text("subject", required=True)
    mate, status = row.text("mate"), row.text("status")
    place, facing = row.text("place"), row.text("facing")
    if not subject:
        return
    if facing and not place:
        row.note("facing", "missing", f"{subject} faces {facing}, but where? place is missing")
    if not (mate or status or place):
        row.note("", "missing", f"{subject} needs a mate, a status or a place")
    if mate == subject:
        row.note("mate", "same", f"{subject} can't be joined to itself")
    elif mate or status:
        yield InitialState(subject, row.spot(), at, by, mate=mate, status=status)
    if place:
        yield InitialState(subject, row.spot("place"), at, by, place=place, facing=facing)
