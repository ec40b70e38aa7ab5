"""What a drawn sheet says is what its SVG says when it is read back by somebody who knows nothing of the sheet."""

from __future__ import annotations

from collections import Counter

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cfgtrack.show.drawing.arrange import drawn
from cfgtrack.show.drawing.metrics import font_file
from cfgtrack.show.drawing.sheet import Sheet
from cfgtrack.show.drawing.svg import svg
from tests.show.drawing.legible import faults_of
from tests.show.drawing.odd_sheets import draw_sheet
from tests.show.drawing.readback import Hand, Picture, read_picture

OWN = Hand("the shipped font", font_file(), font_file(bold=True))
SEEDS = st.integers(0, 2**32)


def read(sheet: Sheet) -> Picture:
    """Return what the SVG of a sheet says."""
    return read_picture(svg(drawn(sheet), with_font=False))


@given(SEEDS)
@settings(max_examples=20)
def test_all_that_is_on_a_sheet_is_in_its_picture(seed):
    """Every box, row, gate with its state, line with its ends and note of a sheet is in the picture exactly once."""
    sheet = draw_sheet(seed)
    picture = read(sheet)
    assert Counter(t.key for t in picture.of("box")) == Counter(b.id for b in sheet.boxes)
    assert Counter((t.box(), t.key, t.data.get("status", "")) for t in picture.of("row")) == Counter(
        (b.id, row.key, row.status) for b in sheet.boxes for row in b.rows
    )
    assert Counter(
        (t.box(), t.key, t.data["state"], t.data["one-way"]) for t in picture.of("gate")
    ) == Counter(
        (b.id, g.key, "open" if g.is_open else "shut", "yes" if g.one_way else "no")
        for b in sheet.boxes
        for g in b.gates
    )
    assert Counter((t.data["a"], t.data["b"], t.data["look"]) for t in picture.of("line")) == Counter(
        (line.a_row or line.a, line.b_row or line.b, line.look.name.lower())
        for line in sheet.lines
        if not line.ghost
    )
    assert Counter((t.key, t.data["alarm"]) for t in picture.of("note")) == Counter(
        (str(n.number), n.alarm.value) for n in sheet.notes
    )


@given(SEEDS)
@settings(max_examples=15)
def test_each_line_ends_at_its_rows(seed):
    """A line begins at the edge of the box of its one end and ends at that of its other, at the rows that it names."""
    picture = read(draw_sheet(seed))
    boxes = picture.boxes()
    at = {t.key: row_ends for t in picture.of("row") if (row_ends := _line_ends(picture, t.number))}
    for thing, strokes in picture.lines():
        for end, point in zip(
            (thing.data["a"], thing.data["b"]), (strokes[0].points[0], strokes[0].points[-1]), strict=True
        ):
            left, top, right, bottom = boxes[picture.box_of(end)]
            assert (
                min(abs(point[0] - x) for x in (left, right)) < 1
                or min(abs(point[1] - y) for y in (top, bottom)) < 1
            )
            if end in at:
                assert min(abs(x - point[0]) + abs(y - point[1]) for x, y in at[end]) < 1, (thing.key, end)


def _line_ends(picture: Picture, number: int) -> list[tuple[float, float]]:
    return [
        ((a.extent.left + a.extent.right) / 2, (a.extent.top + a.extent.bottom) / 2)
        for a in picture.areas
        if a.role == "line-end" and any(t.number == number for t in a.inside)
    ]


# --- the checks themselves ----------------------------------------------------------------------------------------

GOOD = """<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 300 100" font-size="10">
<g data-what="line" data-key="A - B" data-a="A:1" data-b="B:1">
<path class="line" d="M60 50 L200 50" stroke="#000" fill="none"/></g>
<g data-what="box" data-key="A"><rect class="box" x="10" y="30" width="50" height="40"/><text x="12" y="45">PUMP</text>
<g data-what="row" data-key="A:1"><text x="12" y="58">P1</text></g></g>
<g data-what="box" data-key="B"><rect class="box" x="200" y="30" width="50" height="40"/>
<g data-what="row" data-key="B:1"><text x="202" y="58">P2</text></g></g>
</svg>"""

OTHER = """<g data-what="line" data-key="other" data-a="A" data-b="B">
<path class="line" d="M80 50 H180" stroke="#000"/></g></svg>"""


@pytest.mark.parametrize(
    ("was", "now", "says"),
    [
        ("", "", None),
        ('y="58">P1', 'y="47">P1', "overlap"),
        ("PUMP<", "PUMP-STATION<", "leaves its box"),
        ('x="12" y="45">PUMP', 'x="-3" y="45">PUMP', "leaves the page"),
        ("M60 50 L200 50", "M20 40 L200 40", "runs through 'PUMP'"),
        ("L200 50", "L200 60", "slanted"),
        ('x="200" y="30" width="50"', 'x="50" y="30" width="50"', "boxes A and B overlap"),
        (
            "</svg>",
            '<g data-what="box" data-key="C"><rect class="box" x="100" y="30" width="40" height="40"/></g></svg>',
            "runs through box C",
        ),
        ("</svg>", OTHER, "run along one another"),
    ],
    ids=lambda value: value if value and " " not in value else None,
)
def test_what_is_hard_to_read_is_found(was, now, says):
    """A picture in which one thing is spoilt has that fault; the same picture unspoilt has none."""
    faults = faults_of(read_picture(GOOD.replace(was, now, 1) if was else GOOD), OWN)
    if says is None:
        assert faults == []
    else:
        assert any(says in fault for fault in faults)


def test_a_length_that_is_kept_to():
    """A renderer that keeps to `textLength` sets a text so wide in any font; another as wide as the font is."""
    (writing,) = read_picture(
        '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 9 9"><g transform="translate(5 1)">'
        '<text x="2" y="8" font-size="10" text-anchor="end" textLength="4">MMMM</text></g></svg>'
    ).writings
    kept = Hand("kept", OWN.regular, OWN.bold, keeps=True).extent(writing)
    assert (kept.left, kept.right) == (3, 7)
    free = Hand("wider", OWN.regular, OWN.bold, wider=1.2).extent(writing)
    assert free.right - free.left == pytest.approx(
        1.2 * (OWN.extent(writing).right - OWN.extent(writing).left)
    )
    assert free.right - free.left > 4
