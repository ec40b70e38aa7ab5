"""Tables that a definition names, CSV or a sheet of a workbook, as the rows of a list."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import chain
from pathlib import PurePath

from cfgtrack.files.cell import Odd
from cfgtrack.files.listing import Listing, Row
from cfgtrack.files.mapping import TableMapping, folded
from cfgtrack.files.sheet import csv_rows
from cfgtrack.files.source import Spot, cut, decode
from cfgtrack.files.workbook import Numbered, find_sheet, hidden_rows, open_workbook, read_cells
from cfgtrack.model.trouble import Problems

_WORKBOOKS = frozenset((".xlsx", ".xlsm"))


def is_workbook(name: str) -> bool:
    """Return whether a file is a workbook, by its name."""
    return PurePath(name).suffix.lower() in _WORKBOOKS


def read_list(
    mapping: TableMapping, raw: bytes, name: str, problems: Problems, notes: list[str]
) -> Iterator[Row]:
    """Yield the rows of a table, noting those that are none; `notes` grows with what should be said of it."""
    read = _sheet if is_workbook(name) else _csv
    found = read(mapping, raw, name, problems, notes)
    if found is None:
        return
    name, delimiter, rows = found
    first = next(rows, None)
    if first is None:
        return
    number, header = first
    for cell in header:
        if isinstance(cell, Odd):
            problems.add(f"{name} row {number}", cell.code, cell.sentence)
            return
    text = cut(delimiter.join(header).replace("\n", " ").replace("\t", " "))
    listing = Listing(mapping, name, header, problems)
    listing.delimiter = delimiter
    listing.is_plain = not is_workbook(name.partition(" sheet ")[0])
    if listing.understand(Spot(f"{name} row {number}", text)):
        made = listing.rows(rows)
        first_row = next(made, None)
        if first_row is None:
            notes.append(f"note: {name}: there is a header, and no row to read")
            return
        yield first_row
        yield from made


def _csv(
    mapping: TableMapping, raw: bytes, name: str, problems: Problems, _: list[str]
) -> tuple[str, str, Numbered] | None:
    text = decode(raw, name, problems)
    if text is None:
        return None
    if mapping.sheet:
        mapping.table.note("sheet", "no-sheets", f"{name} is no workbook: it has no sheets")
        return None
    columns = {
        *map(folded, mapping.listed.columns),
        *mapping.columns,
        *mapping.leave_out,
        *mapping.leave_out_rows,
        *mapping.attributes,
    }
    columns.update(folded(one) for template in mapping.values.values() for one in template.names)
    delimiter, rows = csv_rows(text, name, columns, problems, header=mapping.header)
    return name, delimiter, rows


def _sheet(
    mapping: TableMapping, raw: bytes, name: str, problems: Problems, notes: list[str]
) -> tuple[str, str, Numbered] | None:
    book = open_workbook(raw, name, problems)
    sheet = None if book is None else find_sheet(book, mapping.sheet, name, problems)
    if sheet is None:
        return None
    name = f"{name} sheet {sheet.title}"
    rows = read_cells(sheet, fill=mapping.merged)
    for number, cells in rows:
        if number >= mapping.header if mapping.header is not None else any(map(str.strip, cells)):
            width = len(cells)
            while width and not cells[width - 1].strip():
                width -= 1
            if hidden := [row for row in hidden_rows(sheet) if row > number]:
                notes.append(f"note: {name}: {_counted(hidden)} hidden there, and read all the same")
            return name, "\t", chain([(number, cells[:width])], _as_wide(rows, width))
    problems.add(name, "empty", "the sheet is empty")
    return None


def _as_wide(rows: Numbered, width: int) -> Numbered:
    """Yield the rows without blank cells past the header: a sheet is as wide as its widest row."""
    for number, cells in rows:
        while len(cells) > width and not cells[-1].strip():
            cells.pop()
        yield number, cells


def _counted(rows: list[int]) -> str:
    return f"row {rows[0]} is" if len(rows) == 1 else f"rows {', '.join(map(str, rows[:8]))} are"
