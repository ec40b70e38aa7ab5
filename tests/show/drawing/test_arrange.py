"""Whole pictures, of any sheet: what may never happen in one."""

import os
import subprocess
import sys
from dataclasses import replace
from itertools import combinations, pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cfgtrack.model.trouble import NoAnswer
from cfgtrack.show.drawing.arrange import drawn
from cfgtrack.show.drawing.ink import Circle, Rect
from cfgtrack.show.drawing.sheet import Alarm, Box, Form, Line, Note, Row, Sheet
from tests.show.drawing.inked import area_of, border, groups, leaves, overlap, positions, route, texts
from tests.show.drawing.sheets import moments, sheets


@st.composite
def at_a_moment(draw):
    """Draw a sheet as it is at any moment."""
    return draw(moments(draw(sheets())))


@given(at_a_moment())
@settings(deadline=None, max_examples=25)
def test_no_text_lies_over_another(sheet):
    """Whatever is drawn, each text can be read: none lies over another one."""
    found = texts(drawn(sheet).ink)
    for a, b in combinations(found, 2):
        assert not overlap(area_of(a), area_of(b)), (a, b)


@given(at_a_moment())
@settings(deadline=None, max_examples=25)
def test_a_box_holds_its_texts(sheet):
    """The texts of a box are inside its border, but for the words of its marks and the sign of a change over it."""
    for box in groups(drawn(sheet).ink, "box"):
        left, top, right, bottom = border(box)
        for text in texts(box.ink):
            if text.role not in ("mark", "change"):
                a, b, c, d = area_of(text)
                assert left <= a + 0.3, text
                assert c <= right + 0.3, text
                assert top <= b < d <= bottom, text


@given(at_a_moment())
@settings(deadline=None, max_examples=25)
def test_lines_run_at_right_angles_and_through_no_box(sheet):
    """A line is upright or level everywhere, ends at the rows that it joins, and runs through no box."""
    page = drawn(sheet)
    borders = [border(box) for box in groups(page.ink, "box")]
    ends = {
        row.key: [
            _middle(o) for o in leaves(row.ink) if isinstance(o, Rect | Circle) and o.role == "line end"
        ]
        for row in groups(page.ink, "row")
    }
    lines = list(groups(page.ink, "line"))
    assert len(lines) == sum(not line.ghost for line in sheet.lines)
    for line in lines:
        points = route(line)
        said = dict(line.data)
        for key, point in ((said["a"], points[0]), (said["b"], points[-1])):
            assert len(ends[key]) == 1
            assert point == pytest.approx(ends[key][0], abs=0.02), key
        for (ax, ay), (bx, by) in pairwise(points):
            assert abs(ax - bx) < 0.01 or abs(ay - by) < 0.01, points
            piece = (min(ax, bx) - 0.01, min(ay, by) - 0.01, max(ax, bx) + 0.01, max(ay, by) + 0.01)
            assert not any(overlap(piece, area, slack=0.05) for area in borders), line.key


@given(sheets(), st.data())
@settings(deadline=None, max_examples=25)
def test_nothing_moves_from_one_moment_to_another(sheet, data):
    """Positions depend on no status, on nothing that opens or shuts, and on no mark, note or verdict."""
    one, two = drawn(sheet), drawn(data.draw(moments(sheet)))
    assert positions(one) == positions(two)


@given(at_a_moment())
@settings(deadline=None, max_examples=25)
def test_everything_of_a_sheet_is_in_the_picture(sheet):
    """Each box, row, gate, bar and line that is there is in the picture, with its state."""
    page = drawn(sheet)
    for what, wanted in (
        ("box", [box.id for box in sheet.boxes]),
        ("row", [row.key for box in sheet.boxes for row in box.rows]),
        ("gate", [gate.key for box in sheet.boxes for gate in box.gates]),
    ):
        assert sorted(group.key for group in groups(page.ink, what)) == sorted(wanted)
    bars = {group.key for group in groups(page.ink, "bar")}
    assert {bar.key for box in sheet.boxes for bar in box.bars} <= bars
    states = {group.key: dict(group.data)["state"] for group in groups(page.ink, "gate")}
    assert states == {g.key: "open" if g.is_open else "shut" for box in sheet.boxes for g in box.gates}
    assert all(list(leaves(group.ink)) for group in groups(page.ink, "gate"))


def test_the_order_of_hashes_changes_nothing():
    """A picture is the same, byte for byte, whatever order the interpreter keeps sets in."""
    program = (
        "import sys; from cfgtrack.show.drawing.arrange import drawn; from cfgtrack.show.drawing.svg import svg\n"
        "from tests.show.drawing.test_arrange import CHAIN; sys.stdout.buffer.write(svg(drawn(CHAIN)))"
    )
    found = {
        subprocess.run(
            [sys.executable, "-c", program],
            env={**os.environ, "PYTHONHASHSEED": seed, "PYTHONPATH": os.pathsep.join(sys.path)},
            capture_output=True,
            check=True,
        ).stdout
        for seed in ("1", "2", "77")
    }
    assert len(found) == 1
    assert b"</svg>" in found.pop()


def _middle(sign: Rect | Circle) -> tuple[float, float]:
    """Return where a line's end has its sign."""
    if isinstance(sign, Circle):
        return sign.x, sign.y
    return sign.x + sign.width / 2, sign.y + sign.height / 2


def _chain(length: int) -> Sheet:
    ends = ("mated", "demated")
    boxes = tuple(
        Box(
            f"U{i}",
            f"Unit {i}",
            rows=tuple(Row(f"U{i}:{p}", p, "mated", ends, "fluid", joined=True) for p in ("A", "B")),
        )
        for i in range(length)
    )
    lines = tuple(Line(f"U{i}", f"U{i}:B", f"U{i + 1}", f"U{i + 1}:A", "fluid") for i in range(length - 1))
    return Sheet(boxes, lines, "A chain", media=("fluid",))


CHAIN = _chain(4)


def test_what_flows_in_comes_from_the_left():
    """Of a chain each unit stands right of the one before, and each port faces what it is joined to."""
    page = drawn(CHAIN)
    lefts = [border(box)[0] for box in groups(page.ink, "box")]
    assert lefts == sorted(lefts)
    sides = {row.key: dict(row.data)["side"] for row in groups(page.ink, "row")}
    assert {sides[f"U{i}:B"] for i in range(3)} == {"right"}
    assert {sides[f"U{i}:A"] for i in range(1, 4)} == {"left"}


def test_power_goes_from_the_top_down():
    """With `down` each unit of a chain stands under the one before."""
    tops = [border(box)[1] for box in groups(drawn(replace(CHAIN, down=True)).ink, "box")]
    assert tops == sorted(tops)
    assert len(set(tops)) == 4


def test_notes_do_not_move_the_picture():
    """However many notes stand beside it, the picture stays where it is, and the page becomes longer."""
    notes = tuple(
        Note(Alarm.WRONG, "something is wrong, and it takes a line or two to tell", n) for n in range(1, 40)
    )
    one, two = drawn(CHAIN), drawn(replace(CHAIN, notes=notes))
    assert positions(one) == positions(two)
    assert two.height > one.height


def test_a_circle_is_cut_at_its_first_box():
    """Of boxes in a circle the first one stands at the left."""
    back = Line("U3", "U3:B", "U0", "U0:A", "fluid")
    page = drawn(replace(CHAIN, lines=(*CHAIN.lines, back)))
    lefts = {box.key: border(box)[0] for box in groups(page.ink, "box")}
    assert min(lefts, key=lambda key: lefts[key]) == "U0"


@pytest.mark.parametrize("paper", ["A4", "A3"])
def test_a_page_has_the_size_of_the_paper(paper):
    """On a page the picture is as large as the paper, upright or lying, and its names are at least 6 pt."""
    sizes = {"A4": (595.28, 841.89), "A3": (841.89, 1190.55)}  # ISO 216
    page = drawn(CHAIN, page=paper)
    assert sorted((page.width * page.scale, page.height * page.scale)) == pytest.approx(
        sizes[paper], abs=0.05
    )
    assert page.scale * 8.5 >= 5.9


def test_what_fits_on_no_page_is_told():
    """A picture that would be too small to read on a page isn't drawn; what is told instead names a way out."""
    alone = tuple(Box(f"P{i}", f"Place {i}", form=Form.PLACE) for i in range(400))
    with pytest.raises(NoAnswer, match=r"names would be smaller than 6 pt.*--unit"):
        drawn(Sheet(alone, ()), page="A4")


def test_a_larger_paper_is_advised():
    """What is too large for A4 and fits on A3 is told to fit there."""
    with pytest.raises(NoAnswer, match="it fits on A3"):
        drawn(_chain(40), page="A4")
    assert drawn(_chain(40), page="A3").scale >= 0.7


Spot = tuple[float, float]


def _own_lines(number: int, *, down: bool) -> Sheet:
    """Return a chain of three, where the middle one has lines from ports of its own to other ones."""
    rows = [
        Row(f"U1:{p}{i}", f"{p}{i}", "mated", medium="fluid", joined=True)
        for i in range(number)
        for p in "XY"
    ]
    boxes = [replace(b, rows=(*b.rows, *rows)) if b.id == "U1" else b for b in _chain(3).boxes]
    own = [Line("U1", f"U1:X{i}", "U1", f"U1:Y{i}", "fluid") for i in range(number)]
    beside = Box("Z", "Z", rows=(Row("Z:A", "A", "mated", medium="fluid"),))
    return replace(_chain(3), boxes=(*boxes, beside), lines=(*_chain(3).lines, *own), down=down)


@pytest.mark.parametrize("down", [False, True])
@pytest.mark.parametrize("number", [1, 2, 4])
def test_a_line_of_a_box_to_itself_keeps_clear_of_the_others(number, down):
    """Lines of one box to itself run outside of it, through no other box, and none along another line."""
    page = drawn(_own_lines(number, down=down))
    ways = {line.key: route(line) for line in groups(page.ink, "line")}
    boxes = {box.key: border(box) for box in groups(page.ink, "box")}
    assert len(ways) == number + 2
    for key, way in ways.items():
        if key.count("U1") == 2:
            for name, (left, top, right, bottom) in boxes.items():
                inner = (left + 1, top + 1, right - left - 2, bottom - top - 2)
                assert not any(_meets(piece, inner) for piece in pairwise(way)), (key, name)
    for (one, way), (other, its) in combinations(ways.items(), 2):
        for p, q in ((p, q) for p in pairwise(way) for q in pairwise(its)):
            assert not _along(p, q), (one, other)


def _meets(piece: tuple[Spot, Spot], area: tuple[float, float, float, float]) -> bool:
    """Whether a level or upright piece has a point in an area."""
    (ax, ay), (bx, by) = piece
    x, y, wide, high = area
    return min(ax, bx) < x + wide and max(ax, bx) > x and min(ay, by) < y + high and max(ay, by) > y


def _along(p: tuple[Spot, Spot], q: tuple[Spot, Spot]) -> bool:
    """Whether two pieces run along one another for more than two points, nearer than two."""
    for across, on in ((0, 1), (1, 0)):
        both = [*p, *q]
        if max(s[across] for s in both) - min(s[across] for s in both) < 2:
            low, high = (
                max(min(s[on] for s in one) for one in (p, q)),
                min(max(s[on] for s in one) for one in (p, q)),
            )
            if high - low > 2:
                return True
    return False
