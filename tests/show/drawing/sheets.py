"""Sheets to draw: any that may be made, by Hypothesis, and the same ones at another moment."""

from __future__ import annotations

from dataclasses import replace

from hypothesis import strategies as st

from cfgtrack.show.drawing.sheet import (
    Alarm,
    Bar,
    Box,
    Form,
    Gate,
    Line,
    Look,
    Mark,
    Note,
    Row,
    Sheet,
    Symbol,
)

NAMES = st.text("ABCxyz 019-/<&\"'µ接", min_size=1, max_size=14).filter(str.strip)
STATUSES = ("mated", "demated", "leaking slowly")
POSITIONS = ("open", "shut")
GATES = (Symbol.VALVE, Symbol.SWITCH, Symbol.CHECK_VALVE, Symbol.DIODE)
INSIDE = (Symbol.NONE, Symbol.SOURCE, Symbol.LOAD, Symbol.EXPANSION)
MEDIA = ("fluid", "power")
LABELS = st.sampled_from(["", "tied", "through the bulkhead"])


@st.composite
def boxes(draw, name: str) -> Box:
    """Draw a box with any inside that a unit may have."""
    form = draw(st.sampled_from([Form.UNIT, Form.UNIT, Form.PLACE, Form.MOVES, Form.INLINE, Form.GROUND]))
    medium = draw(st.sampled_from(MEDIA))
    bars = tuple(
        Bar(f"{name}/{i}", medium, texts, tuple(draw(st.sampled_from(INSIDE)) for _ in texts))
        for i in range(draw(st.integers(0, 3)))
        for texts in [tuple(draw(st.lists(NAMES, max_size=2)))]
    )
    rows = tuple(
        Row(
            key=f"{name}:{i}",
            text=draw(NAMES),
            status="mated",
            statuses=STATUSES,
            medium=medium,
            bar=draw(st.sampled_from(["", *(bar.key for bar in bars)])),
            side=draw(st.sampled_from(["", "", "in", "out"])),
            valve=draw(st.sampled_from([None, None, True])),
        )
        for i in range(draw(st.integers(0, 5)))
    )
    ends = [*(row.key for row in rows if not row.bar), *(bar.key for bar in bars)]
    gates = []
    if len(ends) > 1:
        for i in range(draw(st.integers(0, 4))):
            a, b = draw(st.permutations(ends))[:2]
            gates.append(
                Gate(
                    f"{name}:V{i}",
                    a,
                    b,
                    draw(st.sampled_from(GATES)),
                    text=f"V{i}",
                    status="open",
                    statuses=POSITIONS,
                )
            )
    return Box(
        id=name,
        name=draw(NAMES),
        lines=tuple(draw(st.lists(NAMES, max_size=2))),
        form=form,
        rows=rows,
        bars=bars,
        gates=tuple(gates),
        count=draw(st.sampled_from([1, 1, 4])),
        symbol=draw(st.sampled_from([Symbol.NONE, Symbol.PUMP])),
    )


@st.composite
def sheets(draw) -> Sheet:
    """Draw a sheet in which at most one line ends at each row."""
    found = tuple(draw(boxes(f"U{i}")) for i in range(draw(st.integers(0, 6))))
    free = draw(st.permutations([(box.id, row) for box in found for row in box.rows]))
    pairs = list(zip(free[::2], free[1::2], strict=False))[: draw(st.integers(0, 8))]
    lines = tuple(
        Line(a, one.key, b, two.key, one.medium, label=draw(LABELS), ghost=draw(st.booleans()))
        for (a, one), (b, two) in pairs
        if a != b
    )
    return Sheet(found, lines, "What is drawn", "now", media=MEDIA, down=draw(st.booleans()))


@st.composite
def moments(draw, sheet: Sheet) -> Sheet:
    """Draw what a sheet is at another moment: other statuses, positions, looks, marks and notes."""
    marks = st.lists(st.builds(Mark, st.sampled_from(Alarm), NAMES, st.integers(0, 12)), max_size=3).map(
        tuple
    )
    looks = st.sampled_from([Look.MADE, Look.CUT_OFF, Look.DEAD])
    return replace(
        sheet,
        boxes=tuple(
            replace(
                box,
                marks=draw(marks),
                rows=tuple(
                    replace(
                        row,
                        status=draw(st.sampled_from(STATUSES)),
                        marks=draw(marks),
                        joined=draw(st.booleans()),
                        capped=draw(st.booleans()),
                        to=draw(st.sampled_from(["", "somewhere else"])),
                        valve=None if row.valve is None else draw(st.booleans()),
                    )
                    for row in box.rows
                ),
                bars=tuple(replace(bar, look=draw(looks), marks=draw(marks)) for bar in box.bars),
                gates=tuple(
                    replace(gate, is_open=is_open, status=POSITIONS[not is_open], marks=draw(marks))
                    for gate in box.gates
                    for is_open in [draw(st.booleans())]
                ),
            )
            for box in sheet.boxes
        ),
        lines=tuple(
            replace(line, look=draw(st.sampled_from(Look)), ghost=draw(st.booleans())) for line in sheet.lines
        ),
        notes=tuple(
            draw(st.lists(st.builds(Note, st.sampled_from(Alarm), NAMES, st.integers(0, 12)), max_size=4))
        ),
        verdict=draw(st.sampled_from(["", "Not clear: 3 findings"])),
    )
