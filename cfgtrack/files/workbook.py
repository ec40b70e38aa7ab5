"""Sheets of an XLSX workbook as rows of texts, as CSV gives them, and what a sheet holds that CSV can't.

Source of the format: ECMA-376 part 1 (SpreadsheetML), read by openpyxl, which is an extra: ``cfgtrack[xlsx]``.
"""

from __future__ import annotations

import datetime as dt
import io
import re
import warnings
from collections.abc import Iterable, Iterator, Sequence
from itertools import chain
from pathlib import Path
from typing import TYPE_CHECKING, Any
from zipfile import BadZipFile, ZipFile

from cfgtrack.files.cell import DATE, Number, Odd
from cfgtrack.files.formula import is_live
from cfgtrack.model.trouble import Problems
from cfgtrack.model.unknown import UNKNOWN, no_such

if TYPE_CHECKING:
    from openpyxl.workbook import Workbook
    from openpyxl.worksheet.worksheet import Worksheet

ZIP = b"PK\x03\x04"
"""What a workbook begins with."""

_LARGEST = 400_000_000
"""So many bytes a workbook may be when it is unpacked: more is no list of a plant."""

_MOST_CELLS = 20_000_000
"""So many cells a sheet may span: one that is marked far away makes it as large as that."""

Numbered = Iterator[tuple[int, list[str]]]


_MADE_BY = "cfgtrack"
_NOT_XML = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\ufffe\uffff\ud800-\udfff]")


def write_workbook(file: Path, title: str, header: Sequence[str], rows: Iterable[Sequence[object]]) -> None:
    """Write one sheet, streamed: texts as texts, whatever they begin with. BadInput where openpyxl isn't there.

    What no XML can hold is written as ECMA-376 part 1, 22.9.2.19 has it: ``_x0007_``.
    """
    openpyxl = _library(str(file))
    book = openpyxl.Workbook(write_only=True)
    book.properties.creator = _MADE_BY
    sheet = book.create_sheet(title)
    sheet.freeze_panes = "A2"

    def cell(value: object) -> Any:
        if isinstance(value, int):
            return value
        text = _NOT_XML.sub(lambda sign: f"_x{ord(sign[0]):04X}_", str(value))
        found = openpyxl.cell.WriteOnlyCell(sheet, text)
        found.data_type = "s"
        # A text of its own in the sheet, and still one when somebody has edited it.
        found.quotePrefix = is_live(text)
        return found

    for row in chain([header], rows):
        sheet.append([cell(one) for one in row])
    book.save(file)


def is_written(file: Path) -> bool:
    """Return whether a file is a workbook that was written here: it may be replaced by a later one."""
    try:
        with ZipFile(file) as packed:
            return f"<dc:creator>{_MADE_BY}</dc:creator>".encode() in packed.read("docProps/core.xml")
    except (BadZipFile, KeyError, OSError):
        return False


def _library(name: str) -> Any:
    """Return openpyxl. BadInput where it isn't there."""
    problems = Problems()
    found = _found(name, problems)
    problems.raise_if_any()
    return found


def _found(name: str, problems: Problems) -> Any:
    try:
        import openpyxl
    except ImportError:
        problems.add(name, "no-reader", "XLSX needs openpyxl: pip install 'cfgtrack[xlsx]', or use CSV")
        return None
    return openpyxl


_ZEROS = re.compile(r"0{2,30}")
"""How a cell is formatted whose whole number has leading zeros: they are seen, and meant."""


def open_workbook(raw: bytes, name: str, problems: Problems) -> Workbook | None:
    """Return a workbook, None after noting why it is none."""
    try:
        import openpyxl
    except ImportError:
        problems.add(
            name, "no-reader", "XLSX needs openpyxl: pip install 'cfgtrack[xlsx]', or save it as CSV"
        )
        return None
    if not raw.startswith(ZIP):
        problems.add(name, "not-a-workbook", f"expected an XLSX workbook, found {_looks(raw)}")
        return None
    try:
        with ZipFile(io.BytesIO(raw)) as packed:
            size = sum(one.file_size for one in packed.infolist())
        if size > _LARGEST:
            problems.add(name, "too-large", f"it unpacks to {size / 1e6:.0f} MB: save its sheets as CSV")
            return None
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # of what it passes over: pictures, validation, styles
            book: Workbook = openpyxl.load_workbook(io.BytesIO(raw), data_only=False, keep_links=False)
            return book
    except BadZipFile as err:
        problems.add(name, "not-a-workbook", f"expected an XLSX workbook, found a broken one: {err}")
    except Exception as err:  # noqa: BLE001 - openpyxl raises whatever a damaged part makes it meet
        sentence = f"expected an XLSX workbook, found what openpyxl can't read: {type(err).__name__}: {err}"
        problems.add(name, "not-a-workbook", sentence)
    return None


def _looks(raw: bytes) -> str:
    if raw.startswith(b"\xd0\xcf\x11\xe0"):
        return "a workbook of the older form, or a locked one: save it as XLSX, without a password"
    return "an empty file" if not raw else "another file"


def find_sheet(book: Workbook, wanted: str, name: str, problems: Problems) -> Worksheet | None:
    """Return the sheet of a workbook that is wanted, or its only one that isn't hidden; None after noting why not."""
    sheets = {sheet.title: sheet for sheet in book.worksheets}
    hidden = [title for title, sheet in sheets.items() if sheet.sheet_state != "visible"]
    seen = [title for title in sheets if title not in hidden]
    found = wanted if wanted in sheets else seen[0] if len(seen) == 1 and not wanted else ""
    if found:
        return _small(sheets[found], f"{name} sheet {found}", problems)
    also = f"; hidden: {', '.join(hidden)}" if hidden else ""
    if wanted:
        problems.add(name, UNKNOWN, no_such("sheet", wanted, list(sheets)) + also)
    else:
        sentence = f"which sheet? Say sheet = ...: {', '.join(seen) or 'none is visible'}{also}"
        problems.add(name, "which-sheet", sentence)
    return None


def _small(sheet: Worksheet, name: str, problems: Problems) -> Worksheet | None:
    """Return a sheet, None after noting that it spans more than can be read."""
    if sheet.max_row * sheet.max_column <= _MOST_CELLS:
        return sheet
    far = f"{sheet.max_row} rows and {sheet.max_column} columns"
    problems.add(
        name, "too-large", f"it spans {far}: delete the rows and columns that are not used, or save it as CSV"
    )
    return None


def read_cells(sheet: Worksheet, *, fill: bool) -> Numbered:
    """Yield the rows of a sheet, each as wide as the widest, with numbers as people type them.

    What is no plain value is `Odd`: a formula, a date, a failed value, a cell of several that are merged. With `fill`
    all of a merged range have the value of its first.
    """
    merged = _merged(sheet, fill=fill)
    for number, row in enumerate(sheet.iter_rows(), 1):
        cells = [_text(cell) for cell in row]
        for i, one in merged.get(number, {}).items():
            if i < len(cells):
                cells[i] = one
        yield number, cells


def hidden_rows(sheet: Worksheet) -> list[int]:
    """Return the rows that a sheet hides: by a filter, a group or by hand."""
    return [number for number, shape in sorted(sheet.row_dimensions.items()) if shape.hidden]


def _merged(sheet: Worksheet, *, fill: bool) -> dict[int, dict[int, str]]:
    """Return what stands in merged cells, by row and position."""
    found: dict[int, dict[int, str]] = {}
    for area in sheet.merged_cells.ranges:
        value = _text(sheet.cell(area.min_row, area.min_col))
        for row in range(area.min_row, area.max_row + 1):
            for column in range(area.min_col, area.max_col + 1):
                cell = value
                if not fill:
                    sentence = f'{area.coord} is merged: say merged = "fill" if its value is that of each of its cells'
                    cell = Odd.made(str(value) or area.coord, "merged", sentence)
                found.setdefault(row, {})[column - 1] = cell
    return found


def _text(cell: Any) -> str:
    """Return a cell as somebody would have typed it."""
    value, where = cell.value, cell.coordinate
    if value is None:
        return ""
    if cell.data_type == "f":
        formula = value if isinstance(value, str) else getattr(value, "text", "") or "="
        return Odd.made(str(formula), "formula", f"expected a value, found a formula in {where}: '{formula}'")
    if cell.data_type == "e":
        return Odd.made(str(value), "failed-formula", f"expected a value, found {value} in {where}")
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, int):
        zeros = cell.number_format if _ZEROS.fullmatch(cell.number_format or "") and value >= 0 else ""
        return Number(str(value).zfill(len(zeros)))
    if isinstance(value, float):
        return Number(int(value) if value.is_integer() and abs(value) < 2**53 else repr(value))
    if isinstance(value, dt.datetime | dt.date | dt.time | dt.timedelta):
        told = value.isoformat() if not isinstance(value, dt.timedelta) else str(value)
        told = told.removesuffix("T00:00:00")
        sentence = f"expected a text or a number, found the date {told} in {where}: format the column as text"
        return Odd.made(told, DATE, sentence)
    return str(value)
