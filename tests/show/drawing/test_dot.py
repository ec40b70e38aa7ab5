"""A sheet as DOT: readable by others, with everything in it, whatever it is called."""

import re
from dataclasses import replace

from hypothesis import given, settings
from hypothesis import strategies as st

from cfgtrack.show.drawing.dot import dot
from cfgtrack.show.drawing.sheet import Box, Gate, Line, Look, Row, Sheet, Symbol
from tests.show.drawing.sheets import sheets
from tests.show.drawing.test_arrange import CHAIN


@given(sheets())
@settings(deadline=None)
def test_each_box_and_line_is_written(sheet):
    """Each box is a node and each line that is there an edge between its rows."""
    source = dot(sheet)
    assert len(re.findall(r"^\tb\d+ \[", source, re.MULTILINE)) == len(sheet.boxes)
    assert len(re.findall(r"^\tb\d+:\w+ -- b\d+:\w+ \[", source, re.MULTILINE)) == sum(
        not line.ghost for line in sheet.lines
    )
    for box in sheet.boxes:
        for gate in box.gates:
            assert f"{gate.text}  {gate.status}:" in source


@given(st.text(max_size=20))
@settings(deadline=None)
def test_no_name_breaks_the_source(name):
    """A name with quotes, brackets or a backslash stays a name: the source has as many lines as ever."""
    plain, odd = (dot(replace(CHAIN, boxes=(Box("U0", called),), lines=())) for called in ("U0", name))
    assert len(plain.splitlines()) == len(odd.splitlines())
    assert odd.count("<TABLE") == odd.count("</TABLE>") == 1


def test_a_shut_gate_is_told():
    """A gate's row says between what it is and whether it lets anything through; a ghost line isn't written."""
    rows = (Row("V:A", "A", medium="fluid"), Row("V:B", "B", medium="fluid"))
    gate = Gate("V:V", "V:A", "V:B", Symbol.VALVE, is_open=False, text="V", status="shut")
    box = Box("V", rows=rows, gates=(gate,))
    source = dot(Sheet((box,), (Line("V", "V:A", "V", "V:B", ghost=True),)))
    assert "V  shut:  A | B" in source
    assert "--" not in source
    assert "#0072B2:white:#0072B2" in dot(
        Sheet((box,), (Line("V", "V:A", "V", "V:B", "fluid", look=Look.CUT_OFF),), media=("fluid",))
    )
