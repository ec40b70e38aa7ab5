"""Gathers what definition files say, before any of it is understood: the items with their raw fields."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path

from cfgtrack.files.fields import Fields
from cfgtrack.files.parts import PartRows
from cfgtrack.files.sheet import read_sheet
from cfgtrack.files.source import Document
from cfgtrack.files.table import Table
from cfgtrack.model.definition import SORTS
from cfgtrack.model.naming import is_alias
from cfgtrack.model.part import ROLES
from cfgtrack.model.trouble import Problem, Problems

_PORT = (
    "part name kind size keying gender flexible loop tags cycles torque_low torque_high pattern title"
    " site remote reach contacts aliases rated_pressure rated_current"
)
_PLACE = (
    "id parent title part holds mobile capacity facings sink loop tags site operates aliases lifts lock_box"
)
_NODE = "loop tags title remote aliases rated_pressure"
COLUMNS: dict[str, tuple[str, ...]] = {
    "ports": tuple(_PORT.split()),
    "contacts": ("part", "port", "name", "medium", "loop", "tags", "title", "aliases", "rated_current"),
    "nodes": tuple(f"part name medium litres {' '.join(ROLES)} {_NODE}".split()),
    "links": ("part", "a", "b", "gate", "one_way"),
    "units": ("id", "part", "title", "home", "loop", "tags", "aliases"),
    "places": tuple(_PLACE.split()),
    "initial": ("subject", "mate", "status", "place", "facing", "values", "inspected"),
}
"""The columns of each table that a CSV file may hold."""

_REQUIRED: dict[str, tuple[str, ...]] = {
    "ports": ("part", "name", "kind"),
    "contacts": ("part", "port", "name"),
    "nodes": ("part", "name", "medium"),
    "links": ("part", "a", "b"),
    "units": ("id", "part"),
    "places": ("id",),
    "initial": ("subject",),
}

_UNREAD = frozenset(
    (
        "no-such-file",
        "not-a-file",
        "unreadable",
        "not-text",
        "empty",
        "wrong-kind",
        "no-header",
        "unknown-column",
        "missing-column",
        "syntax",
    )
)
"""What keeps a list from being read to its end."""

_HAVE_ATTRIBUTES = ("ports", "nodes", "units", "places")

ReadCsv = Callable[[Path, Problems], str | None]


@dataclass(slots=True)
class Initial:
    """One file's [initial] table and the rows that go with it."""

    table: Table | None
    rows: list[Fields] = field(default_factory=list)


@dataclass(slots=True)
class Gathered:
    """All items of all files by sort, with their raw fields.

    `named` holds those that can be referred to; `nameless` those whose id is missing or taken, which are read
    for their problems only.
    """

    problems: Problems
    title: str = ""
    named: dict[str, dict[str, Fields]] = field(default_factory=lambda: {sort: {} for sort in SORTS})
    nameless: list[tuple[str, Fields]] = field(default_factory=list)
    part_rows: dict[str, PartRows] = field(default_factory=dict)
    initial: list[Initial] = field(default_factory=list)
    unread: list[Problem] = field(default_factory=list)
    """Why files, or lists that they name, couldn't be read to their end."""

    def document(self, document: Document, read_csv: ReadCsv) -> None:
        """Take in a TOML document and the CSV files it names, which stand relative to it."""
        root = Table(document, (), document.data, self.problems)
        self.title = self.title or root.text("title")
        for sort in SORTS:
            for table in root.tables(sort):
                self.item(sort, table)
        initial = Initial(root.table("initial"))
        self.initial.append(initial)
        for table in root.tables("csv"):
            self._csv(table, initial, Path(document.name).parent, read_csv)
        root.finish()

    def item(self, sort: str, fields: Fields) -> None:
        """Take in one item, unless its id is missing or taken."""
        name = fields.ident("id")
        if not name:
            self.nameless.append((sort, fields))
            return
        fields.label = f"{sort} {name}"
        for other in ("unit", "place") if sort in ("unit", "place") else (sort,):
            first = self.named[other].get(name)
            if first is not None:
                fields.note(
                    "id", "duplicate", f"there is a {other} {name} already, at {first.spot('id').where}"
                )
                self.nameless.append((sort, fields))
                return
        self.named[sort][name] = fields

    def _csv(self, table: Table, initial: Initial, folder: Path, read_csv: ReadCsv) -> None:
        what = table.reference("table", "table", COLUMNS, required=True)
        file = table.text("file", required=True)
        attributes = _attribute_columns(table, what)
        table.finish()
        if not file or not what:
            return
        path = folder / file
        before = len(self.problems)
        text = read_csv(path, self.problems)
        if text is not None:
            for row in self._rows(text, str(path), what, attributes):
                self._row(what, row, initial)
        self.unread += [p for p in self.problems.found[before:] if p.code in _UNREAD]

    def _rows(self, text: str, name: str, what: str, attributes: dict[str, str]) -> Iterator[Fields]:
        lines = text.splitlines(keepends=True)
        columns = (*COLUMNS[what], *attributes)
        for row in read_sheet(lines, name, columns, (*_REQUIRED[what], *attributes), self.problems):
            fields = row.fields(name, self.problems, label=what.removesuffix("s"))
            fields.attribute_columns = attributes
            yield fields

    def _row(self, what: str, row: Fields, initial: Initial) -> None:
        if what in ("units", "places"):
            self.item(what.removesuffix("s"), row)
        elif what == "initial":
            initial.rows.append(row)
        elif part := row.text("part", required=True):
            row.label = f"part {part}, {what.removesuffix('s')}"
            rows = self.part_rows.setdefault(part, PartRows())
            getattr(rows, what).append(row)


def _attribute_columns(table: Table, what: str) -> dict[str, str]:
    """Return the columns that a [[csv]] table says are free attributes, as they are compared, to their names."""
    found: dict[str, str] = {}
    for name in table.words("attributes"):
        column = name.strip().casefold()
        if not is_alias(name.strip()):
            table.note("attributes", "bad-name", f"expected the name of a column, found {name!r}")
        elif what and what not in _HAVE_ATTRIBUTES:
            table.note("attributes", "unexpected", f"rows of {what} have no attributes")
        elif column in COLUMNS.get(what, ()):
            table.note("attributes", "duplicate", f"{name} has a meaning of its own in rows of {what}")
        else:
            found[column] = name.strip()
    return found
