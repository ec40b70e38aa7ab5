"""Sheets that were damaged at random: refused, or read as they stand, never in another way; nothing crashes or changes.

The ordinary run damages a few hundred; ``CFGTRACK_CASES=5000`` in the environment that many.
"""

import csv
import datetime as dt
import io
import os
import random
from pathlib import Path

import openpyxl
import pytest

from cfgtrack.answers.asking import Asking
from cfgtrack.answers.hardware import load
from cfgtrack.files.definition import parse_definition, read_definition
from cfgtrack.model.trouble import BadInput
from tests.files.malformed import PARTS

CASES = int(os.environ.get("CFGTRACK_CASES", "300"))
SEED = 20_311
BATCHES = 10

COLUMNS = ("Pos", "Item", "What", "Where", "Qty", "Price")
ROWS = [
    ("1", "pump", "Feed pump, main", "BAY", "2", "1,25"),
    ("2", "valve", 'Valve 1/2"', "", "1", "12"),
    ("3", "valve", "Valve (8mm Length, steel) - 4 Pack", "BAY", "4", ""),
    ("", "", "", "", "", ""),
    ("4", "pump", "", "BAY", "0", "7"),
]
MAPPING = """of = "units"
columns = { Item = "part", What = "title", Where = "home", Qty = "quantity" }
leave_out = ["Pos", "Price"]
number = "{part}-{n}"
"""
SIGNS = [
    *",;\t\"\n\r=#'",
    " ",
    "\0",
    "\ufeff",
    "\u2028",
    "\x0c",
    "é",
    "1",
    "0",
    "A",
    "{n}",
    '""',
    "1,5",
    "#N/A",
    "=1+1",
    "-1",
]


def written(rows, delimiter=","):
    """Rows as CSV."""
    out = io.StringIO()
    csv.writer(out, delimiter=delimiter).writerows(rows)
    return out.getvalue()


def damaged_text(chance):
    """A sheet as CSV, damaged in one to three ways."""
    text = written([COLUMNS, *ROWS], chance.choice(",,,;\t"))
    for _ in range(chance.randint(1, 3)):
        at = chance.randrange(len(text) + 1)
        lines = text.splitlines(keepends=True)
        line = chance.randrange(len(lines)) if lines else 0
        match chance.randrange(9):
            case 0:
                text = text[:at] + text[at + chance.randint(1, 4) :]
            case 1 | 2:
                text = text[:at] + chance.choice(SIGNS) + text[at:]
            case 3 if lines:
                lines.insert(chance.randrange(len(lines)), lines.pop(line))
                text = "".join(lines)
            case 4 if lines:
                text = "".join(lines[:line] + lines[line:] * 2)
            case 5:
                text = text.replace('"', "", chance.randint(1, 4))
            case 6:
                text = text[:at]
            case 7:
                text = text.replace(chance.choice(",;"), chance.choice(",;\t"), chance.randint(1, 3))
            case _:
                text = "".join(one.rstrip("\r\n") + "," * chance.randint(0, 2) + "\r\n" for one in lines)
    return text


def damaged_bytes(chance):
    """What was damaged, in some encoding; sometimes a byte is another."""
    text = damaged_text(chance)
    raw = text.encode(chance.choice(["utf-8"] * 8 + ["utf-8-sig", "utf-16", "latin-1"]), "replace")
    if raw and chance.random() < 0.1:
        at = chance.randrange(len(raw))
        raw = raw[:at] + bytes([chance.randrange(256)]) + raw[at + 1 :]
    return raw


DAY = dt.date(2024, 2, 1)
ODD = [None, "", 1.5, -1, True, "=1+1", "#N/A", DAY, dt.time(3), "x" * 300, "pump", "BAY", 3, 1e300]


def damaged_workbook(chance):
    """A sheet as a workbook, damaged in its cells, or in the bytes of its file."""
    made = openpyxl.Workbook()
    sheet = made.active
    assert sheet is not None
    for row in (COLUMNS, *ROWS):
        sheet.append([int(one) if one.isdigit() else one or None for one in row])
    for _ in range(chance.randint(1, 3)):
        row, column = chance.randint(1, 7), chance.randint(1, 8)
        match chance.randrange(6):
            case 1:
                sheet.delete_rows(row)
            case 2:
                sheet.insert_cols(column)
            case 3:
                made.create_sheet(chance.choice(["More", "Old"]), 0)
            case _:
                sheet.cell(row, column).value = chance.choice(ODD)
    if chance.random() < 0.2:
        row, column = chance.randint(1, 7), chance.randint(1, 8)
        sheet.merge_cells(start_row=row, start_column=column, end_row=row + 1, end_column=column)
    out = io.BytesIO()
    made.save(out)
    raw = bytearray(out.getvalue())
    if chance.random() < 0.4:
        for _ in range(chance.randint(1, 20)):
            raw[chance.randrange(len(raw))] = chance.randrange(256)
    return bytes(raw[: chance.randrange(len(raw))] if chance.random() < 0.1 else raw)


def plainly(raw):
    """What a sheet of CSV says, read with nothing but `csv`: part, title and home of each unit, row by row."""
    text = raw.decode("utf-8-sig")
    lines = [line for line in io.StringIO(text, newline="") if line.strip()]
    best = max(",;\t", key=lambda mark: sum(name in COLUMNS for name in lines[0].strip().split(mark)))
    rows = [
        row for row in csv.reader(io.StringIO(text, newline=""), delimiter=best) if any(map(str.strip, row))
    ]
    header = [name.strip().casefold() for name in rows[0]]
    said = []
    for row in rows[1:]:
        assert len(row) == len(header)
        cells = {name: cell.strip() for name, cell in zip(header, row, strict=True)}
        said += [(cells["item"], cells["what"], cells["where"])] * int(float(cells["qty"]))
    return said


def read(text, sheets):
    """The units of a definition, or what is told of it."""
    try:
        return parse_definition({"x.toml": text}, sheets=sheets).units.values(), ()
    except BadInput as err:
        return (), err.problems


@pytest.mark.parametrize("batch", range(BATCHES))
def test_a_damaged_sheet_is_refused_or_read_as_it_stands(batch):
    """Of damaged CSV either something is told, each with its file and a sentence, or it says what `csv` alone reads."""
    text = f'{PARTS}[[table]]\nfile = "a.csv"\n{MAPPING}'
    taken = 0
    for case in range(batch, CASES, BATCHES):
        raw = damaged_bytes(random.Random(f"{SEED}-{case}"))
        units, problems = read(text, {"a.csv": raw})
        assert all(p.where.startswith("a.csv") and p.code and p.sentence for p in problems), raw
        if problems:
            continue
        taken += 1
        assert [(u.part, u.title, u.home) for u in units] == plainly(raw), raw
    assert taken


@pytest.mark.parametrize("batch", range(BATCHES))
def test_a_damaged_workbook_is_refused_or_read(batch):
    """Of a damaged workbook something is told, or it is read: nothing else comes of it."""
    text = f'{PARTS}[[table]]\nfile = "a.xlsx"\n{MAPPING}'
    told = 0
    for case in range(batch, CASES // 4, BATCHES):
        raw = damaged_workbook(random.Random(f"{SEED}-{case}"))
        _, problems = read(text, {"a.xlsx": raw})
        assert all(p.where.startswith("a.xlsx") and p.code and p.sentence for p in problems), case
        told += bool(problems)
    assert told


def test_what_is_refused_changes_nothing(tmp_path: Path):
    """A load that is refused leaves every byte of the database as it was, and no file beside it."""
    plant, sheet, database = tmp_path / "x.toml", tmp_path / "a.csv", tmp_path / "plant.db"
    plant.write_text(f'{PARTS}[[table]]\nfile = "a.csv"\n{MAPPING}')
    sheet.write_text(written([COLUMNS, *ROWS]), newline="")
    load(Asking(str(database)), [plant])
    before = {file.name: file.read_bytes() for file in tmp_path.glob("plant.db*")}
    refused = 0
    for case in range(CASES // 4):
        sheet.write_bytes(damaged_bytes(random.Random(f"{SEED}-{case}")))
        try:
            read_definition([plant])
        except BadInput:
            refused += 1
            with pytest.raises(BadInput):
                load(Asking(str(database)), [plant])
    assert refused
    assert {file.name: file.read_bytes() for file in tmp_path.glob("plant.db*")} == before
