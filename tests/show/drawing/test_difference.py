"""Two sheets as one: what is only before, only now, otherwise now; and several sheets with everything in one place."""

from dataclasses import replace
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cfgtrack.show.drawing.arrange import drawn
from cfgtrack.show.drawing.difference import compared, in_one_place, since
from cfgtrack.show.drawing.ink import Group, Text
from cfgtrack.show.drawing.sheet import Bar, Box, Change, Form, Gate, Line, Look, Row, Sheet, Symbol
from tests.show.drawing.shown import all_ink, groups


def unit(name: str, *statuses: str, lines: tuple[str, ...] = (), form: Form = Form.UNIT) -> Box:
    """Return a unit with a volume, and a port behind a valve for each status."""
    rows = tuple(
        Row(f"{name}:P{i}", f"P{i}", status, ("mated", "demated"), "fluid", f"{name}:P{i}v")
        for i, status in enumerate(statuses)
    )
    gates = tuple(
        Gate(f"{name}:V{i}", f"{name}:P{i}", f"{name}:BODY", Symbol.VALVE, text=f"V{i}", status="open")
        for i in range(len(statuses))
    )
    return Box(
        name, lines=lines, rows=rows, gates=gates, bars=(Bar(f"{name}:BODY", "fluid", ("BODY",)),), form=form
    )


def between(a: str, b: str, *, look: Look = Look.MADE, label: str = "", ghost: bool = False) -> Line:
    """Return a line between the first ports of two units."""
    return Line(a, f"{a}:P0", b, f"{b}:P0", "fluid", look, label, ghost=ghost)


BEFORE = Sheet(
    (unit("A", "mated"), unit("B", "mated"), unit("C", "demated")), (between("A", "B"),), moment="at 1"
)
NOW = Sheet(
    (unit("A", "mated"), unit("C", "mated"), unit("D", "demated")), (between("C", "A"),), moment="at 2"
)


def test_what_is_in_one_alone_says_when_it_is_there():
    """A unit and a line that are only before, or only now, stay in the picture, and are told as that."""
    found = compared(BEFORE, NOW)
    assert {box.id: box.change for box in found.boxes} == {
        "A": Change.SAME,
        "B": Change.GONE,
        "C": Change.SAME,
        "D": Change.NEW,
    }
    assert {(line.a, line.b): line.change for line in found.lines} == {
        ("A", "B"): Change.GONE,
        ("C", "A"): Change.NEW,
    }
    told = [note.text for note in found.notes]
    assert "only before: A:P0 to B:P0 (fluid)" in told
    assert "only now: C:P0 to A:P0 (fluid)" in told
    assert "only before: B" in told
    assert "only now: D" in told


def test_what_is_otherwise_says_what_it_was():
    """A status that changed tells both, beside the thing and in the list; so does a place, a valve and a cut-off."""
    before = Sheet((unit("A", "mated", lines=("at BAY",)),), ())
    a = unit("A", "demated", lines=("at STORE",))
    now = Sheet(
        (
            replace(
                a,
                gates=(replace(a.gates[0], is_open=False, status="shut"),),
                bars=(replace(a.bars[0], look=Look.CUT_OFF),),
            ),
        ),
        (),
    )
    [box] = compared(before, now).boxes
    assert box.change is box.rows[0].change is box.gates[0].change is box.bars[0].change is Change.OTHER
    assert box.rows[0].status == "was mated, now demated"
    assert box.rows[0].status in box.rows[0].statuses
    assert box.gates[0].status == "was open, now shut"
    assert box.bars[0].texts[-1] == "was reached, now cut off"
    assert box.lines == ("at STORE", "was: at BAY")
    assert [note.text for note in compared(before, now).notes] == [
        "changed: A, at STORE, was: at BAY",
        "changed: A:P0: was mated, now demated",
        "changed: A:V0: was open, now shut",
        "changed: A:BODY: was reached, now cut off",
    ]


def test_a_line_that_looks_otherwise_says_how_it_was():
    """Which end is named first makes no difference: it is one line, and its label tells both looks."""
    boxes = (unit("A", "mated"), unit("B", "mated"))
    found = compared(
        Sheet(boxes, (between("A", "B"),)), Sheet(boxes, (between("B", "A", look=Look.CUT_OFF, label="H"),))
    )
    [line] = found.lines
    assert line.change is Change.OTHER
    assert line.label == f"H: was {Look.MADE.value}, now {Look.CUT_OFF.value}"


def test_a_ghost_is_at_neither_time():
    """A line that only keeps places is no change, and one that comes instead of a ghost is new."""
    boxes = (unit("A", "mated"), unit("B", "mated"))
    ghost, real = Sheet(boxes, (between("A", "B", ghost=True),)), Sheet(boxes, (between("A", "B"),))
    assert [line.change for line in compared(ghost, ghost).lines] == [Change.SAME]
    assert [line.change for line in compared(ghost, real).lines] == [Change.NEW]
    assert [line.change for line in compared(real, ghost).lines] == [Change.GONE]


@pytest.mark.parametrize("sheet", [BEFORE, NOW])
def test_what_is_the_same_has_no_change(sheet):
    """A sheet against itself differs in nothing, and says so."""
    found = compared(sheet, sheet)
    assert found.verdict == "Nothing of this differs"
    assert found.notes == ()
    assert found.boxes == sheet.boxes
    assert found.lines == sheet.lines


def test_turned_round_new_is_gone():
    """What is only now in one direction is only before in the other, one for one."""
    there, back = compared(BEFORE, NOW), compared(NOW, BEFORE)
    turned = {Change.NEW: Change.GONE, Change.GONE: Change.NEW}
    assert {b.id: turned.get(b.change, b.change) for b in there.boxes} == {b.id: b.change for b in back.boxes}


STATUSES = st.lists(st.sampled_from(["mated", "demated"]), min_size=1, max_size=3)
SHEETS = st.lists(
    st.tuples(
        st.dictionaries(st.sampled_from("ABCD"), STATUSES, min_size=1),
        st.sets(st.sampled_from(["AB", "BC", "CD", "AD"])),
    ),
    min_size=2,
    max_size=4,
)


@settings(max_examples=15)
@given(SHEETS)
def test_everything_is_at_one_place_in_all_frames(drawn_as):
    """Whatever comes, goes and changes from frame to frame: what is in two of them is at the same place in both."""
    sheets = []
    for units, ties in drawn_as:
        boxes = tuple(unit(name, *statuses) for name, statuses in units.items())
        lines = tuple(between(a, b) for a, b in sorted(ties) if a in units and b in units)
        sheets.append(Sheet(boxes, lines))
    frames = [sheets[0], *(since(a, b) for a, b in pairwise(sheets))]
    places: dict[str, set[tuple[float, float]]] = {}
    for frame in in_one_place(frames):
        page = drawn(frame.sheet)
        shown = groups(page, "box")
        assert {box.key for box in shown} == {box.id for sheet in frames for box in sheet.boxes}
        first = next(one for one in all_ink(shown[:1]) if isinstance(one, Text) and one.role == "name")
        x, y = first.x, first.y
        for box in shown:
            for one in all_ink([box]):
                if isinstance(one, Group) and one.what in ("box", "row", "gate"):
                    names = [i for i in one.ink if isinstance(i, Text) and i.role in ("name", "row", "gate")]
                    for text in names[:1]:
                        places.setdefault(f"{one.what} {one.key}", set()).add(
                            (round(text.x - x, 1), round(text.y - y, 1))
                        )
    assert places
    assert {name: at for name, at in places.items() if len(at) > 1} == {}
