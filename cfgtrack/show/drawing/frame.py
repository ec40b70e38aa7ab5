"""What frames a box: its header, its border, the words of its marks."""

from __future__ import annotations

from collections.abc import Sequence

from cfgtrack.show.drawing.flags import ROOM, flags, marked, tab
from cfgtrack.show.drawing.ink import Ink, Path, Rect
from cfgtrack.show.drawing.metrics import fitted, width_of, wrapped
from cfgtrack.show.drawing.palette import FAINT, INK, SHADE
from cfgtrack.show.drawing.rooms import PAD
from cfgtrack.show.drawing.sheet import Alarm, Bar, Box, Change, Form, Gate, Mark, Symbol
from cfgtrack.show.drawing.strokes import NAME, SMALL, change_colour, sign_of, text_ink
from cfgtrack.show.drawing.symbols import moved, symbol
from cfgtrack.show.visible import visible

TAB = 12.0
"""Room over a box for the words of its marks."""


class Head:
    """A box's name and what stands under it, with room for its flags and its symbol."""

    def __init__(self, box: Box, *, down: bool, room: float = 0.0) -> None:
        self.box = box
        name = visible(box.name or box.id, lines=False)
        if box.count > 1:
            name = f"{name}  × {box.count}"
        wide = 120.0 if down else 190.0
        self.names = wrapped(name, NAME, wide, bold=True)
        names = max(width_of(line, NAME, bold=True) for line in self.names)
        parts = [part for line in box.lines for part in wrapped(visible(line), SMALL, wide)]
        lines = max((width_of(line, SMALL) for line in parts), default=0.0)
        self.lines = packed(parts, max(room - 2 * PAD, lines))
        self.sign = box.symbol is not Symbol.NONE
        self.width = max(names + ROOM, lines) + 2 * PAD + (22.0 if self.sign else 0.0)
        self.height = 5 + 12.5 * len(self.names) + 9.5 * len(self.lines) + 4 + (TAB + 1 if down else 0)

    def ink(self, x: float, y: float, wide: float) -> tuple[Ink, ...]:
        """Return the header from x, y on, so wide."""
        within = (x, y, wide, self.height)
        drawn: list[Ink] = []
        at = y + 3
        for line in self.names:
            at += 12.5
            drawn.append(text_ink(x + PAD, at - 1, line, NAME, bold=True, within=within, role="name"))
        drawn += flags(self.box.marks, x + PAD + width_of(self.names[0], NAME, bold=True) + 4, y + 11)
        for line in self.lines:
            at += 9.5
            drawn.append(text_ink(x + PAD, at - 1, line, SMALL, colour=FAINT, within=within, role="line"))
        if self.sign:
            sign = symbol(self.box.symbol, INK)
            drawn += [moved(one, x + wide - 15, y + 12) for one in sign]
        return tuple(drawn)


def outline(box: Box, width: float, height: float, top: float, *, down: bool) -> tuple[Ink, ...]:
    """Return a box's border: one behind another where it stands for several."""
    stroke = change_colour(box.change)
    thickness = {Change.NEW: 2.6, Change.GONE: 1.4}.get(box.change, 1.1)
    dash = (4.0, 3.0) if box.change is Change.GONE else ()
    fill = SHADE if box.form is Form.PLACE else "#ffffff"
    radius = {Form.MOVES: 9.0, Form.INLINE: 13.0}.get(box.form, 2.0)
    drawn: list[Ink] = []
    if box.count > 1:
        for i in (2, 1):
            inset, shift = 4.0 * i, 3.0 * i
            behind = (
                (shift, top + inset, width, height - 2 * inset)
                if down
                else (inset, top + shift, width - 2 * inset, height)
            )
            drawn.append(
                Rect(*behind, stroke=FAINT, fill="#ffffff", thickness=0.9, radius=radius, role="behind")
            )
    drawn.append(
        Rect(
            0,
            top,
            width,
            height,
            stroke=stroke,
            fill=fill,
            thickness=thickness,
            dash=dash,
            radius=radius,
            role="box",
        )
    )
    if box.form is Form.GROUND:
        foot = top + height
        drawn.append(Path(((0, foot), (width, foot)), stroke=INK, thickness=2.4, role="ground"))
        steps = int(width // 9)
        drawn += [
            Path(((4 + 9 * i, foot), (9 * i, foot + 5)), stroke=INK, thickness=0.9, role="ground")
            for i in range(steps)
        ]
    if sign := sign_of(box.change):
        drawn.append(text_ink(width - 9, top - 2.5, sign, NAME, bold=True, colour=stroke, role="change"))
    return tuple(drawn)


def tabs(box: Box, width: float, y: float) -> tuple[Ink, ...]:
    """Return the words of a box's marks, and those that stand at no note, as tabs over it."""
    inner: tuple[Bar | Gate, ...] = (*box.bars, *box.gates)
    marks = [*box.marks, *(m for one in inner for m in one.marks if not m.number)]
    x = 0.0
    words: dict[tuple[Alarm, str], Mark] = {
        (m.alarm, visible(m.word, lines=False)): m for m in marks if m.word
    }
    drawn: list[Ink] = []
    for alarm, word in sorted(words, key=lambda key: key[0] is not Alarm.WRONG):
        room = width - x - 10
        shown = fitted(word, SMALL, room - 8, bold=True) if room > 20 else ""
        if shown:
            drawn.append(marked(words[alarm, word], tab(alarm, shown, x, y)))
            x += width_of(shown, SMALL, bold=True) + 11
    return tuple(drawn)


def packed(texts: Sequence[str], room: float) -> list[str]:
    """Return texts in lines so wide at most, several in one line where they fit."""
    lines: list[str] = []
    for text in texts:
        joined = f"{lines[-1]}  {visible(text)}" if lines else ""
        if joined and "\n" not in text and width_of(joined, SMALL) <= room:
            lines[-1] = joined
        else:
            lines += wrapped(visible(text), SMALL, room)
    return lines
