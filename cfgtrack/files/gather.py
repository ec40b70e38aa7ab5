"""Gathers what definition files say, before any of it is understood: the items with their raw fields."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path

from cfgtrack.files.fields import Fields
from cfgtrack.files.fingerprint import TABLES
from cfgtrack.files.listing import Row
from cfgtrack.files.mapping import TableMapping, read_mapping, read_plain
from cfgtrack.files.parts import PART_LISTS, PartRows
from cfgtrack.files.source import Document
from cfgtrack.files.table import Table
from cfgtrack.files.tables import read_list
from cfgtrack.model.definition import SORTS
from cfgtrack.model.trouble import Problem, Problems

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
        "no-reader",
        "not-a-workbook",
        "too-large",
        "which-sheet",
        "no-sheets",
    )
)
"""What keeps a list from being read to its end."""

ReadRaw = Callable[[Path, Problems], bytes | None]
"""Gives the bytes of a file that a definition names, None after noting why they can't be had."""


@dataclass(slots=True)
class Initial:
    """One file's [initial] table and the rows that go with it."""

    table: Table | None
    rows: list[Fields] = field(default_factory=list)
    joints: list[Fields] = field(default_factory=list)


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

    notes: list[str] = field(default_factory=list)
    """What should be said of what was read."""

    def document(self, document: Document, read: ReadRaw) -> None:
        """Take in a TOML document and the tables it names, which stand relative to it."""
        root = Table(document, (), document.data, self.problems)
        self.title = self.title or root.text("title")
        for sort in SORTS:
            for table in root.tables(sort):
                self.item(sort, table)
        initial = Initial(root.table("initial"))
        self.initial.append(initial)
        folder = Path(document.name).parent
        for name, understand in zip(TABLES, (read_plain, read_mapping), strict=True):
            for table in root.tables(name):
                before = len(self.problems)
                mapping = understand(table)
                if mapping is None:
                    self.unread += self.problems.found[before:]
                else:
                    self._table(mapping, initial, folder, read)
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

    def _table(self, mapping: TableMapping, initial: Initial, folder: Path, read: ReadRaw) -> None:
        path = folder / mapping.file
        before = len(self.problems)
        raw = read(path, self.problems)
        if raw is not None:
            rows = read_list(mapping, raw, str(path), self.problems, self.notes)
            (self._part_rows if mapping.of in PART_LISTS else self._rows)(mapping.of, rows, initial)
        self.unread += [p for p in self.problems.found[before:] if p.code in _UNREAD]

    def _part_rows(self, of: str, rows: Iterator[Row], _: Initial) -> None:
        """Take in what a list says of parts, each under its part."""
        last, mine = "", list[Row]()
        for row in rows:
            part = row.cells[row.listing.at["part"]]
            if part != last or not part:
                last = part
                name = row.text("part")
                mine = getattr(self.part_rows.setdefault(name, PartRows()), of) if name else []
                if not name:
                    row.fields(of.removesuffix("s")).text("part", required=True)
            mine.append(row)

    def _rows(self, of: str, rows: Iterator[Row], initial: Initial) -> None:
        what = of.removesuffix("s")
        for row in rows:
            if of in ("joints", "initial"):
                (initial.joints if of == "joints" else initial.rows).append(row.fields(what))
            else:
                self.item(what, row.fields(what))
