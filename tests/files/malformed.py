"""Sheets that are wrong, each with all that it must be refused with: where, the code, and words of the sentence."""

import datetime as dt
import io
from collections.abc import Callable
from typing import Any, NamedTuple

import openpyxl

PARTS = """[[part]]
id = "pump"
[[part]]
id = "valve"
port = [{ name = "V", kind = "valve" }]
[[place]]
id = "BAY"
"""

_COLUMNS = {
    "units": {"Tag": "id", "Type": "part", "What": "title", "Where": "home"},
    "bom": {"Item": "part", "Qty": "quantity", "What": "title"},
    "ports": {
        "Type": "part",
        "Port": "name",
        "Kind": "kind",
        "Bore": "size",
        "Low": "torque_low",
        "High": "torque_high",
    },
    "nodes": {"Type": "part", "Name": "name", "Filled with": "medium", "Volume": "litres"},
    "places": {"Place": "id", "Sink": "sink", "Room for": "capacity"},
}


def mapping(of: str, names: str, more: str = "") -> str:
    """A mapping of the columns with these names."""
    columns = ", ".join(f'"{one}" = "{_COLUMNS[of][one]}"' for one in names.split(",") if one)
    number = 'number = "{part}-{n}"\n' if "Qty" in names else ""
    return f'of = "{"units" if of == "bom" else of}"\ncolumns = {{ {columns} }}\n{number}{more}'


class Sheet(NamedTuple):
    """A sheet, how it is mapped, and what must be told of it."""

    mapping: str
    content: str | bytes
    told: list[tuple[str, str, str]]
    file: str = "a.csv"


def book(
    *rows: Any,
    title: str = "List",
    also: Callable[[Any, Any], None] = lambda *_: None,
) -> bytes:
    """The bytes of a workbook with one sheet of these rows; `also` is handed the workbook and the sheet."""
    made = openpyxl.Workbook()
    sheet = made.active
    assert sheet is not None
    sheet.title = title
    for row in rows:
        sheet.append(list(row))
    also(made, sheet)
    out = io.BytesIO()
    made.save(out)
    return out.getvalue()


def hidden(made, sheet):
    """Hide the sheet, and add two that aren't hidden."""
    sheet.sheet_state = "hidden"
    made.create_sheet("One")
    made.create_sheet("Two")


HEAD = ["Tag", "Type", "What", "Where"]
X = "a.xlsx sheet List"
DAY = dt.datetime(2024, 2, 1)  # noqa: DTZ001 - a sheet's dates have no zone

MALFORMED: dict[str, Sheet] = {
    # --- the header ---
    "blank header over values": Sheet(
        mapping("units", "Tag,Type"),
        "Tag,,Type\nA,x,pump\nB,,pump\n",
        [("row 2", "unnamed-column", "column B has no name")],
    ),
    "blank last header over a value": Sheet(
        mapping("units", "Tag,Type"),
        "Tag,Type,\nA,pump,\nB,pump,spare\n",
        [("row 3", "unnamed-column", "column C")],
    ),
    "a header twice": Sheet(
        mapping("units", "Tag,Type"),
        "Tag,Type,Type\nA,pump,valve\n",
        [("row 1", "duplicate", "Type is there twice")],
    ),
    "two columns for one thing": Sheet(
        mapping("units", "Tag,Type"),
        "Tag,id,Type\nA,B,pump\n",
        [("row 1", "duplicate", "both Tag and id are read as id")],
    ),
    "a mapped column that isn't there": Sheet(
        mapping("units", "Tag,Type,What,Where").replace('"Where"', '"Location"'),
        "Tag,Type,What,Where\nA,pump,x,BAY\n",
        [
            (
                "row 1",
                "unknown-column",
                "column D, Where: say in `columns` what it is, or name it in `leave_out`",
            ),
            ("row 1", "missing-column", "there is no column location"),
        ],
    ),
    "a column that nobody placed": Sheet(
        mapping("units", "Tag,Type,What,Where"),
        "Tag,Type,What,Where,Colour\nA,pump,x,BAY,red\n",
        [("row 1", "unknown-column", "`leave_out`")],
    ),
    "no header": Sheet(
        mapping("units", "Tag,Type"),
        "A,pump,Feed pump,BAY\nB,pump,,BAY\n",
        [("row 1", "no-header", "names columns such as tag, type")],
    ),
    "a title over the header": Sheet(
        mapping("units", "Tag,Type"),
        "Units of the plant\nTag,Type,What,Where\nA,pump,x,BAY\n",
        [("row 1", "no-header", "expected a row")],
    ),
    "the header isn't where it was said": Sheet(
        mapping("units", "Tag,Type,What,Where", "header = 3\n"),
        "Tag,Type,What,Where\nA,pump,x,BAY\nB,pump,x,BAY\n",
        [("row 3", "no-header", "names columns")],
    ),
    "a required column is missing": Sheet(
        'of = "units"\ncolumns = { "Tag" = "id" }\n',
        "Tag\nA\n",
        [("row 1", "missing-column", "part is missing")],
    ),
    "a number but no quantity is said": Sheet(
        'of = "units"\ncolumns = { "Item" = "part", "Qty" = "quantity" }\n',
        "Item,Qty\npump,2\n",
        [("row 1", "missing-column", "number =")],
    ),
    # --- rows that don't fit their header ---
    "a surplus cell": Sheet(
        mapping("units", "Tag,Type"),
        "Tag,Type\nA,pump,x\n",
        [("row 2", "long-row", "expected 2 cells, found 3")],
    ),
    "a surplus blank cell": Sheet(
        mapping("units", "Tag,Type"),
        "Tag,Type\nA,pump,\nB,pump\n",
        [("row 2", "long-row", "expected 2 cells, found 3")],
    ),
    "an unquoted comma": Sheet(
        mapping("bom", "Item,What,Qty"),
        "Item,What,Qty\npump,Screw M3 (8mm Length, steel) - 4 Pack,4\n",
        [("row 2", "long-row", "expected 3 cells, found 4")],
    ),
    "an unquoted comma before a trailing one": Sheet(
        mapping("units", "Tag,Type,What"),
        "Tag,Type,What,\nA,pump,one, two\n",
        [("row 2", "unnamed-column", "column D has no name")],
    ),
    "too few cells": Sheet(
        mapping("units", "Tag,Type,What"),
        "Tag,Type,What\nA,pump\n",
        [("row 2", "short-row", "expected 3 cells, found 2")],
    ),
    "a row of another delimiter": Sheet(
        mapping("units", "Tag,Type,What"),
        "Tag,Type,What\nA,pump,x\nB;pump;y\n",
        [("row 3", "short-row", "expected 3 cells, found 1")],
    ),
    "a quote that is never closed": Sheet(
        mapping("units", "Tag,Type,What"),
        'Tag,Type,What\nA,pump,"x\nB,pump,y\n',
        [("row 2", "syntax", "never closed")],
    ),
    "a quote in the middle": Sheet(
        mapping("units", "Tag,Type,What"),
        'Tag,Type,What\nA,pump,"x" y\n',
        [("row 2", "syntax", "expected a row of CSV")],
    ),
    # --- cells ---
    "no id": Sheet(
        mapping("units", "Tag,Type"), "Tag,Type\n,pump\n", [("row 2", "missing", "id is missing")]
    ),
    "an id twice": Sheet(
        mapping("units", "Tag,Type"),
        "Tag,Type\nA,pump\nA,pump\n",
        [("row 3, column Tag", "duplicate", "at a.csv row 2")],
    ),
    "an id with blanks": Sheet(
        mapping("units", "Tag,Type"),
        "Tag,Type\nPump 1,pump\n",
        [("row 2, column Tag", "bad-id", "expected an id of")],
    ),
    "two names for one id": Sheet(
        mapping("units", "Tag,Type", "make_ids = true\n"),
        "Tag,Type\nPump 1,pump\nPump-1,pump\n",
        [
            ("row 3, column Tag", "ambiguous", "'Pump 1' and 'Pump-1' would both be Pump-1"),
            ("row 3, column Tag", "duplicate", "Pump-1 already"),
        ],
    ),
    "a part that isn't there": Sheet(
        mapping("units", "Tag,Type"),
        "Tag,Type\nA,pmup\n",
        [("row 2, column Type", "unknown", "near names: pump")],
    ),
    "a place that isn't there": Sheet(
        mapping("units", "Tag,Type,Where"),
        "Tag,Type,Where\nA,pump,BAX\n",
        [("row 2, column Where", "unknown", "known: BAY")],
    ),
    "several of a row, all told": Sheet(
        mapping("units", "Tag,Type,Where"),
        "Tag,Type,Where\n!,pmup,BAX\nB,pump,BAX\n",
        [
            ("row 2, column Tag", "bad-id", "expected an id"),
            ("row 2, column Type", "unknown", "near names: pump"),
            ("row 2, column Where", "unknown", "known: BAY"),
            ("row 3, column Where", "unknown", "known: BAY"),
        ],
    ),
    "a quantity in words": Sheet(
        mapping("bom", "Item,What,Qty"),
        "Item,What,Qty\npump,x,two\n",
        [("row 2, column Qty", "quantity", "expected a whole number, found 'two'")],
    ),
    "a quantity with a unit": Sheet(
        mapping("bom", "Item,What,Qty"),
        "Item,What,Qty\npump,x,1 m\n",
        [("row 2, column Qty", "quantity", "expected a whole number, found '1 m'")],
    ),
    "a quantity that is no whole number": Sheet(
        mapping("bom", "Item,What,Qty"),
        'Item,What,Qty\npump,x,"1,5"\n',
        [("row 2, column Qty", "quantity", "found '1,5'")],
    ),
    "no quantity": Sheet(
        mapping("bom", "Item,What,Qty"),
        "Item,What,Qty\npump,x,\n",
        [("row 2, column Qty", "quantity", "found nothing")],
    ),
    "a quantity out of all reason": Sheet(
        mapping("bom", "Item,What,Qty"),
        "Item,What,Qty\npump,x,1000000\n",
        [("row 2, column Qty", "out-of-range", "at most 10000")],
    ),
    "a decimal comma": Sheet(
        mapping("nodes", "Type,Name,Filled with,Volume"),
        "Type;Name;Filled with;Volume\npump;N;fluid;1,5 l\n",
        [("row 2, column Volume", "bad-quantity", "1,5 l")],
    ),
    "a number without its unit": Sheet(
        mapping("nodes", "Type,Name,Filled with,Volume"),
        "Type,Name,Filled with,Volume\npump,N,fluid,1.5\n",
        [("row 2, column Volume", "bad-quantity", "1.5")],
    ),
    "thousands with a comma": Sheet(
        mapping("nodes", "Type,Name,Filled with,Volume", 'decimal = ","\n'),
        "Type;Name;Filled with;Volume\npump;N;fluid;1.500,5 l\n",
        [("row 2, column Volume", "ambiguous", "found '1.500,5 l': the point could stand between thousands")],
    ),
    "a thousand as it is written where the comma is decimal": Sheet(
        mapping("nodes", "Type,Name,Filled with,Volume", 'decimal = ","\nunits = { litres = "l" }\n'),
        "Type;Name;Filled with;Volume\npump;N;fluid;1.234\npump;M;fluid;0.123\npump;L;fluid;12.345 l\n",
        [
            ("row 2, column Volume", "ambiguous", "found '1.234'"),
            ("row 4, column Volume", "ambiguous", "12.345 l"),
        ],
    ),
    "a thousand pieces": Sheet(
        mapping("bom", "Item,What,Qty", 'decimal = ","\n'),
        "Item;What;Qty\npump;x;1.000\n",
        [("row 2, column Qty", "ambiguous", "found '1.000'")],
    ),
    "a thousand among other attributes": Sheet(
        mapping("units", "Tag,Type", 'attributes = ["Len"]\ndecimal = ","\n'),
        "Tag;Type;Len\nA;pump;1.234 m\nB;pump;1.234.567-8\nC;pump;1.500,5 m\n",
        [
            ("row 2, column Len", "ambiguous", "found '1.234 m'"),
            ("row 4, column Len", "ambiguous", "1.500,5 m"),
        ],
    ),
    "a size that became a date": Sheet(
        mapping("ports", "Type,Port,Kind,Bore"),
        "Type,Port,Kind,Bore\npump,P,bolt,1-Feb\n",
        [("row 2, column Bore", "spoilt-date", "a date of it")],
    ),
    "a number that became a power of ten": Sheet(
        mapping("units", "Tag,Type"),
        "Tag,Type\n1.00E+05,pump\n",
        [("row 2, column Tag", "spoilt-number", "a number of it")],
    ),
    "a formula": Sheet(
        mapping("units", "Tag,Type,Where"),
        "Tag,Type,Where\nA,pump,=A2&1\n",
        [("row 2, column Where", "formula", "a value")],
    ),
    "a text as a formula": Sheet(
        mapping("units", "Tag,Type"),
        'Tag,Type\n"=""007""",pump\n',
        [("row 2, column Tag", "formula", "a value")],
    ),
    "a formula that failed": Sheet(
        mapping("units", "Tag,Type,Where"),
        "Tag,Type,Where\nA,#N/A,#REF!\n",
        [
            ("row 2, column Type", "failed-formula", "found #N/A"),
            ("row 2, column Where", "failed-formula", "found #REF!"),
        ],
    ),
    "yes in another language": Sheet(
        'of = "parts"\ncolumns = { "Type" = "id", "Soft" = "flexible" }\n',
        "Type,Soft\nhose,oui\n",
        [("row 2, column Soft", "wrong-type", "expected yes or no, found 'oui'")],
    ),
    "a range the wrong way round": Sheet(
        mapping("ports", "Type,Port,Kind,Low,High"),
        "Type,Port,Kind,Low,High\npump,P,bolt,30 N*m,20 N*m\n",
        [("row 2, column High", "out-of-range", "the low torque first")],
    ),
    "a capacity of nothing": Sheet(
        mapping("places", "Place,Room for"),
        "Place,Room for\nRACK,0\n",
        [("row 2, column Room for", "out-of-range", "at least 1")],
    ),
    # --- encodings ---
    "Latin-1": Sheet(
        mapping("units", "Tag,Type,What"),
        "Tag,Type,What\nA,pump,Öl\n".encode("latin-1"),
        [(":2", "not-text", "UTF-8")],
    ),
    "UTF-16": Sheet(
        mapping("units", "Tag,Type"),
        "Tag,Type\nA,pump\n".encode("utf-16"),
        [("", "not-text", "save it as UTF-8")],
    ),
    "UTF-8 read as Latin-1": Sheet(
        mapping("units", "Tag,Type,What"),
        "Tag,Type,What\nA,pump,Ã–l\n".encode(),
        [("row 2, column What", "garbled", "another")],
    ),
    "a character that was lost": Sheet(
        mapping("units", "Tag,Type,What"),
        "Tag,Type,What\nA,pump,\ufffdl\n".encode(),
        [("row 2, column What", "garbled", "another")],
    ),
    "NUL": Sheet(mapping("units", "Tag,Type"), b"Tag,Type\nA,pu\0mp\n", [("", "not-text", "binary")]),
    "nothing": Sheet(mapping("units", "Tag,Type"), b"", [("", "empty", "empty")]),
    "JSON": Sheet(mapping("units", "Tag"), b'[{"Tag": "A"}]\n', [("row 1", "wrong-kind", "JSON")]),
    "a workbook called CSV": Sheet(
        mapping("units", "Tag,Type,What,Where"), book(HEAD), [("", "not-text", "name it .xlsx")]
    ),
    # --- workbooks ---
    "CSV called a workbook": Sheet(
        mapping("units", "Tag,Type"),
        b"Tag,Type\nA,pump\n",
        [("", "not-a-workbook", "found another file")],
        "a.xlsx",
    ),
    "a workbook of the older form": Sheet(
        mapping("units", "Tag,Type"),
        b"\xd0\xcf\x11\xe0" + bytes(600),
        [("", "not-a-workbook", "save it as XLSX")],
        "a.xlsx",
    ),
    "a workbook cut off": Sheet(
        mapping("units", "Tag,Type,What,Where"),
        book(HEAD)[:900],
        [("", "not-a-workbook", "broken")],
        "a.xlsx",
    ),
    "an empty sheet": Sheet(
        mapping("units", "Tag,Type"), book(), [(" sheet List", "empty", "empty")], "a.xlsx"
    ),
    "which of two sheets": Sheet(
        mapping("units", "Tag,Type"),
        book(HEAD, also=lambda made, _: made.create_sheet("Other")),
        [("", "which-sheet", "List, Other")],
        "a.xlsx",
    ),
    "a sheet that isn't there": Sheet(
        mapping("units", "Tag,Type,What,Where", 'sheet = "Lits"\n'),
        book(HEAD),
        [("", "unknown", "near names: List")],
        "a.xlsx",
    ),
    "only hidden sheets might be meant": Sheet(
        mapping("units", "Tag,Type,What,Where"),
        book(HEAD, also=hidden),
        [("", "which-sheet", "hidden: List")],
        "a.xlsx",
    ),
    "a formula in a cell": Sheet(
        mapping("units", "Tag,Type,What,Where"),
        book(HEAD, ["A", "=B1", "x", "BAY"]),
        [(" sheet List row 2, column Type", "formula", "found a formula in B2: '=B1'")],
        "a.xlsx",
    ),
    "a date where a text was": Sheet(
        mapping("ports", "Type,Port,Kind,Bore"),
        book(["Type", "Port", "Kind", "Bore"], ["pump", "P", "bolt", DAY]),
        [(" sheet List row 2, column Bore", "date", "found the date 2024-02-01 in D2")],
        "a.xlsx",
    ),
    "an error in a cell": Sheet(
        mapping("units", "Tag,Type,What,Where"),
        book(HEAD, ["A", "#N/A", "x", "BAY"]),
        [(" sheet List row 2, column Type", "failed-formula", "found #N/A in B2")],
        "a.xlsx",
    ),
    "merged cells": Sheet(
        mapping("units", "Tag,Type,What,Where"),
        book(
            HEAD, ["A", "pump", "x", "BAY"], ["B", None, "y", "BAY"], also=lambda _, s: s.merge_cells("B2:B3")
        ),
        [
            (" sheet List row 2, column Type", "merged", 'B2:B3 is merged: say merged = "fill"'),
            (" sheet List row 3, column Type", "merged", 'B2:B3 is merged: say merged = "fill"'),
        ],
        "a.xlsx",
    ),
    "a merged header": Sheet(
        mapping("units", "Tag,Type"),
        book(["Tag", "Type", None], ["A", "pump", "x"], also=lambda _, s: s.merge_cells("B1:C1")),
        [(" sheet List row 1", "merged", "B1:C1 is merged")],
        "a.xlsx",
    ),
    "a cell past the header": Sheet(
        mapping("units", "Tag,Type"),
        book(["Tag", "Type"], ["A", "pump"], ["B", "pump", None, "x"]),
        [(" sheet List row 3", "long-row", "expected 2 cells, found 4")],
        "a.xlsx",
    ),
    "a broken part of a number": Sheet(
        mapping("bom", "Item,Qty"),
        book(["Item", "Qty"], ["pump", 1.5]),
        [(" sheet List row 2, column Qty", "quantity", "expected a whole number, found '1.5'")],
        "a.xlsx",
    ),
}
