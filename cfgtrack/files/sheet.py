"""CSV as spreadsheets write it: rows numbered as the spreadsheet shows them, streamed.

The first row that isn't blank names the columns. Comma, semicolon and tab are told apart by it. Blank rows
count but are skipped.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Collection, Iterable, Iterator
from itertools import chain
from typing import NamedTuple

from cfgtrack.files.fields import Fields
from cfgtrack.files.source import Spot, cut
from cfgtrack.model.trouble import Problems
from cfgtrack.model.unknown import near, no_such

_DELIMITERS = ",;\t"
_MOST_NAMED = 6
_KINDS = (
    ("XML or HTML", re.compile(r"\s*<")),
    ("JSON", re.compile(r"\s*[{\[]\s*[\"{\[\]}]|\s*[{\[]\s*\Z")),
    ("TOML", re.compile(r"\s*(?:#|\[\[?\s*[A-Za-z][\w.-]*\s*\]|[\w.\"-]+\s*=)")),
)
"""What a first line looks like that is no row of CSV."""


class SheetRow(NamedTuple):
    """One row: its number in the spreadsheet, the cells that aren't blank by column, and its text."""

    number: int
    cells: dict[str, str]
    text: str

    def spot(self, name: str, column: str) -> Spot:
        """Return where a cell stands, with "" the row."""
        where = f"{name} row {self.number}"
        return Spot(f"{where}, column {column}" if column else where, self.text)

    def fields(self, name: str, problems: Problems, *, label: str) -> Fields:
        """Return the row for reading field by field."""
        return Fields(self.cells, lambda column: self.spot(name, column), problems, label=label, is_row=True)


def read_sheet(
    stream: Iterable[str], name: str, columns: Collection[str], required: Collection[str], problems: Problems
) -> Iterator[SheetRow]:
    """Yield the rows of a CSV stream, noting those that are none. `columns` are those that are known.

    A header with unknown, missing or repeated columns is noted and ends the reading: nobody can say what its
    rows mean.
    """
    lines = iter(stream)
    before, first = _first_line(lines)
    if not first.strip():
        problems.add(name, "empty", "the file is empty")
        return
    delimiter = delimiter_of(first, columns)
    reader = csv.reader(chain((first,), lines), delimiter=delimiter, strict=True)
    numbered = _numbered(reader, before, name, problems)
    header_row = next(numbered, None)
    if header_row is None:  # it is no row of CSV, which is noted
        return
    number, header = header_row
    names = [cell.strip().casefold() for cell in header]
    if _bad_header(
        names, Spot(f"{name} row {number}", _text(header, delimiter)), columns, required, problems
    ):
        return
    for number, cells in numbered:
        row = _row(number, cells, names, _text(cells, delimiter))
        if row is not None and not _misshapen(row, cells, names, name, problems):
            yield row


def csv_rows(
    text: str, name: str, columns: Collection[str], problems: Problems, *, header: int | None = None
) -> tuple[str, Iterator[tuple[int, list[str]]]]:
    """Return the delimiter of CSV, and its rows with their numbers, the header first: in row `header` if that is said.

    `columns` are names that a header may have, folded.
    """
    lines = iter(io.StringIO(text, newline=""))
    before, first = _first_line(lines)
    while header is not None and first and before + 1 < header:
        before, first = before + 1, next(lines, "")
    delimiter = delimiter_of(first, columns)
    reader = csv.reader(chain((first,), lines), delimiter=delimiter, strict=True)
    return delimiter, _numbered(reader, before, name, problems)


def looks_like(line: str) -> str:
    """Return the kind of file that a first line looks to be from, "" when it may be a row of CSV."""
    return next((kind for kind, form in _KINDS if form.match(line)), "")


def no_header(wanted: Iterable[str], row: str) -> tuple[str, str]:
    """Return code and sentence for a row that names no column such as those `wanted`; it may be of no table at all."""
    looks = looks_like(row)
    found = f"found what looks like {looks}" if looks else "found none of them"
    names = ", ".join(list(dict.fromkeys(wanted))[:_MOST_NAMED])
    code = "wrong-kind" if looks else "no-header"
    return code, f"expected a row that names columns such as {names}, {found}"


def _first_line(lines: Iterator[str]) -> tuple[int, str]:
    """Return how many blank lines there are before the first other one, and that."""
    before = 0
    for line in lines:
        if line.removeprefix("\ufeff").strip():
            return before, line.removeprefix("\ufeff")
        before += 1
    return before, ""


def delimiter_of(header: str, columns: Collection[str]) -> str:
    """Return the delimiter by which a header names most of the known columns."""
    return max(_DELIMITERS, key=lambda mark: _known_in(header, mark, columns))


def _known_in(line: str, delimiter: str, columns: Collection[str]) -> int:
    return sum(
        " ".join(cell.strip().strip('"').split()).casefold() in columns for cell in line.split(delimiter)
    )


def _numbered(
    reader: Iterator[list[str]], before: int, name: str, problems: Problems
) -> Iterator[tuple[int, list[str]]]:
    number = before
    try:
        for number, cells in enumerate(reader, before + 1):
            yield number, cells
    except csv.Error as err:
        what = "a quoted cell is never closed" if "end of data" in str(err) else str(err)
        problems.add(f"{name} row {number + 1}", "syntax", f"expected a row of CSV: {what}")
    except UnicodeDecodeError as err:
        byte = err.object[err.start]
        problems.add(
            f"{name} row {number + 1}", "not-text", f"expected UTF-8 text, found the byte 0x{byte:02x}"
        )


def _bad_header(
    names: list[str], spot: Spot, columns: Collection[str], required: Collection[str], problems: Problems
) -> bool:
    before = len(problems)
    if not any(name in columns for name in names) and not any(near(name, columns) for name in names if name):
        problems.add(spot.where, *no_header((*required, *columns), spot.row or ""), row=spot.row)
        return True
    for i, name in enumerate(names):
        if name and name not in columns:
            problems.add(spot.where, "unknown-column", no_such("column", name, columns), row=spot.row)
        if name and name in names[:i]:
            problems.add(
                spot.where,
                "duplicate",
                f"the column {name} is there twice: rename or delete one",
                row=spot.row,
            )
    for name in required:
        if name not in names:
            problems.add(spot.where, "missing-column", f"the column {name} is missing", row=spot.row)
    return len(problems) > before


def _row(number: int, cells: list[str], names: list[str], text: str) -> SheetRow | None:
    found = {n: cell.strip() for n, cell in zip(names, cells, strict=False) if n and cell.strip()}
    is_blank = not found and not any(cell.strip() for cell in cells)
    return None if is_blank else SheetRow(number, found, text)


def _misshapen(row: SheetRow, cells: list[str], names: list[str], name: str, problems: Problems) -> bool:
    where = f"{name} row {row.number}"
    if len(cells) < len(names):
        sentence = f"expected {len(names)} cells, found {len(cells)}"
        problems.add(where, "short-row", sentence, row=row.text)
        return True
    wrong = too_long(cells, len(names)) or under_no_name(cells, names)
    if wrong:
        problems.add(where, *wrong, row=row.text)
    return bool(wrong)


def too_long(cells: list[str], width: int) -> tuple[str, str] | None:
    """Return code and sentence for a row with more cells than its header, even blank ones: a text was cut in two."""
    if len(cells) <= width:
        return None
    sentence = f"expected {width} cells, found {len(cells)}: what holds the sign between cells needs quotes"
    return "long-row", sentence


def under_no_name(cells: list[str], names: list[str]) -> tuple[str, str] | None:
    """Return code and sentence for a cell that isn't blank in a column without a name."""
    for i, (name, cell) in enumerate(zip(names, cells, strict=False)):
        if not name and cell.strip():
            return (
                "unnamed-column",
                f"column {letter(i)} has no name in the header, but here '{cut(cell.strip())}'",
            )
    return None


def letter(index: int) -> str:
    """Return how a spreadsheet letters its column `index`, counted from 0.

    >>> letter(0), letter(25), letter(26), letter(701), letter(702)
    ('A', 'Z', 'AA', 'ZZ', 'AAA')
    """
    letters = ""
    index += 1
    while index:
        index, rest = divmod(index - 1, 26)
        letters = chr(ord("A") + rest) + letters
    return letters


def _text(cells: list[str], delimiter: str) -> str:
    return cut(delimiter.join(cells).replace("\n", " ").replace("\t", " "))
