"""A hose or cable on its line: a slim pill with its id over the line and the names of its ends under it."""

from __future__ import annotations

from collections.abc import Mapping

from cfgtrack.show.drawing.flags import FLAG, ROOM, flags
from cfgtrack.show.drawing.frame import TAB, outline, packed, tabs
from cfgtrack.show.drawing.ink import Anchor, Group, Ink
from cfgtrack.show.drawing.inside import Inside, Track
from cfgtrack.show.drawing.lettering import cut_to, measure
from cfgtrack.show.drawing.metrics import width_of
from cfgtrack.show.drawing.palette import FAINT
from cfgtrack.show.drawing.pen import Pen
from cfgtrack.show.drawing.rooms import LONG, PAD, SLOT
from cfgtrack.show.drawing.sheet import Bar, Box, Form, Look, Row, Symbol
from cfgtrack.show.drawing.strokes import SMALL, TEXT, changed, text_ink

_WIDEST = 170.0


def is_slim(box: Box) -> bool:
    """Whether a box is drawn as a pill: a hose or cable with two ends of one medium, and no more in it."""
    return (
        box.form is Form.INLINE
        and len(box.rows) == 2
        and not box.gates
        and len(box.bars) <= 1
        and not any(sign is not Symbol.NONE for bar in box.bars for sign in bar.symbols)
        and len({row.medium for row in box.rows}) == 1
    )


class Pill:
    """A pill, measured: how big it is, and where its line runs."""

    def __init__(self, inside: Inside, media: tuple[str, ...], looks: Mapping[str, Look]) -> None:
        box, rooms = inside.box, inside.rooms
        self.inside, self.box, self.down = inside, box, inside.down
        a, b = sorted(box.rows, key=lambda row: not inside.inward[row.key])
        inside.inward.update({a.key: True, b.key: False})
        self.rows = (a, b)
        self.name = cut_to(box.name or box.id, _WIDEST, TEXT, bold=True)
        self.slot = SLOT if any(row.valve is not None for row in self.rows) else 0.0
        title = width_of(self.name, TEXT, bold=True) + 2 * ROOM
        ends = [self._name(row) + 4 + rooms.status_width(row) + FLAG + 3 for row in self.rows]
        said = (*box.lines, *(text for bar in box.bars for text in bar.texts if text))
        self.lines = packed(said, 80.0 if self.down else max(title, sum(ends) + 2 * self.slot + 4, 110.0))
        self.over = 9.5 * len(self.lines)
        title = max(title, *(width_of(part, SMALL) for part in self.lines), 0.0)
        if self.down:
            self.width = 22 + max(title, *ends) + 6
            self.height = self.depth = 62.0 + self.over + 2 * self.slot
            self.top, self.t = 0.0, 12.0
        else:
            self.width = self.depth = max(title, sum(ends) + 2 * self.slot + 4) + 2 * PAD
            self.height, self.top, self.t = 33.0 + self.over, TAB, 18.0 + self.over
        inside.tracks = [Track(t=self.t)]
        inside.at = {a.key: 0, b.key: 0}
        self.pen = Pen(inside, media, looks, self.place, self.depth)

    def place(self, d: float, t: float) -> tuple[float, float]:
        """Return x and y of what is `d` along the line and `t` across it."""
        return (t, d) if self.down else (d, self.top + t)

    def ink(self) -> tuple[Ink, ...]:
        """Return the pill's ink."""
        return (
            *outline(self.box, self.width, self.height, self.top, down=self.down),
            self._wire(),
            *(self._row(row, i == 0) for i, row in enumerate(self.rows)),
            *self._title(),
            *tabs(self.box, self.width, self.height - 13 if self.down else 0.0),
        )

    def _name(self, row: Row) -> float:
        return min(measure(row.text, SMALL), LONG)

    def _wire(self) -> Group:
        bar = self.box.bars[0] if self.box.bars else Bar("", self.rows[0].medium)
        wire = self.pen.line(bar.medium, bar.look, (0.0, self.t), (self.depth, self.t), role="bar")
        return self.pen.bar_group(bar, (wire,))

    def _row(self, row: Row, first: bool) -> Group:  # noqa: FBT001 - which of the two
        edge, into = (0.0, 1) if first else (self.depth, -1)
        drawn: list[Ink] = []
        if row.valve is not None:
            drawn.append(self.pen.own_valve(row, edge + into * (SLOT / 2 + 1), self.t))
        drawn += self.pen.free_end(row, edge, self.t, into)
        name = cut_to(row.text, LONG, SMALL)
        status = cut_to(row.status, LONG, SMALL)
        if self.down:
            x, y = self.t + 7, edge + into * (self.slot + 4) + (5 if first else 0)
            end, way = Anchor.START, 1
        else:
            x, y = self.place(edge + into * (self.slot + PAD), self.t + 10)
            end, way = (Anchor.START, 1) if first else (Anchor.END, -1)
        drawn.append(text_ink(x, y, name, SMALL, anchor=end, role="row"))
        x += way * (width_of(name, SMALL) + 4)
        drawn.append(text_ink(x, y, status, SMALL, colour=FAINT, anchor=end, role="status"))
        x += way * (self.inside.rooms.status_width(row) + 2)
        drawn += flags(row.marks, x, y - 3, leftward=way < 0, most=1)
        drawn += changed(row.change, x, y)
        return self.pen.row_group(row, drawn)

    def _title(self) -> list[Ink]:
        wide = width_of(self.name, TEXT, bold=True)
        if self.down:
            x, y, end = 20.0, self.height / 2 + 2 - self.over / 2, Anchor.START
            flag_at = x + wide + 4
        else:
            x, y, end = self.depth / 2, self.top + 10.5, Anchor.MIDDLE
            flag_at = x + wide / 2 + 3
        drawn: list[Ink] = [text_ink(x, y, self.name, TEXT, bold=True, anchor=end, role="name")]
        marks = (*self.box.marks, *(mark for bar in self.box.bars for mark in bar.marks))
        drawn += flags(marks, flag_at, y - 3)
        for i, part in enumerate(self.lines, 1):
            drawn.append(text_ink(x, y + 9.5 * i, part, SMALL, colour=FAINT, anchor=end, role="line"))
        return drawn
