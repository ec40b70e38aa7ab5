"""Marks as they are drawn: a numbered flag at a thing, and its word as a tab where there is room for one.

What is wrong is a filled flag, what is merely so an outlined one: told apart without colour.
"""

from __future__ import annotations

from collections.abc import Sequence

from cfgtrack.show.drawing.ink import Anchor, Group, Ink, Rect, Text
from cfgtrack.show.drawing.metrics import width_of
from cfgtrack.show.drawing.palette import ALARM, FAINT, INK
from cfgtrack.show.drawing.sheet import Alarm, Mark
from cfgtrack.show.drawing.strokes import SMALL, text_ink

FLAG = 11.0
"""How wide a flag is; room for two is kept wherever one may come."""

ROOM = 2 * FLAG + 4
_HIGH = 9.0


def flags(
    marks: Sequence[Mark], x: float, y: float, *, leftward: bool = False, most: int = 2
) -> tuple[Ink, ...]:
    """Return flags from x on, their middle at y. More than two: the second one counts the rest.

    `most` 1: room for one only, with a + where there are more.
    """
    ordered = sorted(marks, key=lambda mark: mark.alarm is not Alarm.WRONG)
    drawn: list[Ink] = []
    for i, mark in enumerate(ordered):
        at = x - (i + 1) * (FLAG + 1) if leftward else x + i * (FLAG + 1)
        rest = len(ordered) - 1
        text = f"+{min(rest, 9)}" if i == 1 and rest > 1 else str(mark.number or "!")
        text += "+" if most == 1 and rest else ""
        ink = _flag(mark.alarm, text, at, y) if i < most else ()
        drawn.append(marked(mark, ink))
    return tuple(drawn)


def marked(mark: Mark, ink: tuple[Ink, ...]) -> Group:
    """Return a mark's ink with what it says."""
    data = (("alarm", mark.alarm.value), ("number", str(mark.number)))
    return Group(key=mark.word, what="mark", title=mark.word, ink=ink, data=data)


def tab(alarm: Alarm, words: str, x: float, y: float) -> tuple[Ink, ...]:
    """Return a word on a small plate: its left at x, its top at y, 11 pt high."""
    wide = width_of(words, SMALL, bold=True) + 8
    within = (x, y, wide, 11.0)
    text = text_ink(x + 4, y + 8.2, words, SMALL, bold=True, colour=_on(alarm), within=within, role="mark")
    return (_plate(alarm, *within), text)


def _flag(alarm: Alarm, text: str, x: float, y: float) -> tuple[Ink, ...]:
    wide = width_of(text, 7, bold=True)
    number = Text(
        x + FLAG / 2,
        y + 2.5,
        text,
        size=7,
        bold=True,
        colour=_on(alarm),
        anchor=Anchor.MIDDLE,
        width=min(wide, FLAG - 1),
        within=(x, y - _HIGH / 2, FLAG, _HIGH),
        role="flag",
    )
    return (_plate(alarm, x, y - _HIGH / 2, FLAG, _HIGH), number)


def _on(alarm: Alarm) -> str:
    """Return the colour of what is written on a plate."""
    return "#ffffff" if alarm is Alarm.WRONG else INK


def _plate(alarm: Alarm, x: float, y: float, width: float, height: float) -> Rect:
    if alarm is Alarm.WRONG:
        return Rect(x, y, width, height, stroke=ALARM, fill=ALARM, thickness=0.8, radius=1.5, role="mark")
    return Rect(x, y, width, height, stroke=FAINT, fill="#ffffff", thickness=0.8, radius=4, role="mark")
