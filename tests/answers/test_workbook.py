"""The journal as a workbook says what it says as CSV."""

import csv
import io

import openpyxl
import pytest

from cfgtrack.answers.asking import Asking
from cfgtrack.answers.hardware import load
from cfgtrack.answers.record import record
from cfgtrack.answers.transfer import export
from cfgtrack.files.formula import unguarded
from cfgtrack.model.trouble import BadInput

PLANT = """[[place]]
id = "HALL"
[[part]]
id = "p"
port = [{ name = "V", kind = "valve" }]
[[unit]]
id = "A"
part = "p"
"""


@pytest.fixture
def asking(fresh_url, tmp_path):
    """A journal with texts that a spreadsheet might take for something else."""
    (tmp_path / "x.toml").write_text(PLANT)
    asked = Asking(fresh_url(), by="ann")
    load(asked, [tmp_path / "x.toml"])
    record(asked, ["place", "A", "HALL"], remark="=1+1")
    record(asked, ["open", "A:V"], remark="1.0E+05")
    record(asked, ["shut", "A:V"], remark="stuck: öl \u2028 1,5")
    return asked


def as_csv(asking):
    """The rows of the CSV export."""
    out = io.StringIO()
    export(asking, out, form="csv")
    return list(csv.reader(io.StringIO(out.getvalue(), newline="")))


def test_a_workbook_has_the_rows_of_csv(asking, tmp_path):
    """Cell by cell the sheet says what CSV says, and no text has become a formula, a number or a date.

    What CSV has between apostrophes, so that no spreadsheet computes it, is a text by its type in a workbook.
    """
    file = tmp_path / "journal.xlsx"
    export(asking, file, form="xlsx")
    sheet = openpyxl.load_workbook(file).active
    assert sheet is not None
    found = [["" if c.value is None else str(c.value) for c in row] for row in sheet.iter_rows()]
    assert found == [[unguarded(cell) for cell in row] for row in as_csv(asking)]
    assert {
        cell.data_type for row in sheet.iter_rows(min_row=2) for cell in row if cell.value is not None
    } == {"n", "s"}
    assert [type(c.value) for c in next(iter(sheet.columns))[1:]] == [int] * 3


def test_what_no_xml_can_hold_is_written_as_the_standard_has_it(asking, tmp_path):
    """A control character is escaped as ECMA-376 part 1, 22.9.2.19 says."""
    record(asking, ["inspect", "A"], remark="bell \x07")
    file = tmp_path / "journal.xlsx"
    export(asking, file, form="xlsx")
    sheet = openpyxl.load_workbook(file).active
    assert sheet is not None
    assert any("_x0007_" in str(cell.value) for row in sheet.iter_rows() for cell in row)


def test_nothing_but_an_earlier_workbook_is_replaced(asking, tmp_path):
    """An earlier export is written anew; anybody else's workbook, and any other file, is left alone."""
    file = tmp_path / "journal.xlsx"
    export(asking, file, form="xlsx")
    export(asking, file, form="xlsx")
    others = openpyxl.Workbook()
    others.save(file)
    for content in (file.read_bytes(), b"text"):
        file.write_bytes(content)
        with pytest.raises(BadInput):
            export(asking, file, form="xlsx")
        assert file.read_bytes() == content
