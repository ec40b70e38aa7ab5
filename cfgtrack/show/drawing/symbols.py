"""The standard symbols (ISO 14617, fluids; IEC 60617, electricity), each about (0, 0) on a line from left to right.

What is open and what is shut is told by the symbol's form, never by its colour alone.
"""

from __future__ import annotations

import math
from dataclasses import replace

from cfgtrack.show.drawing.ink import Circle, Group, Ink, Path, Rect, Text
from cfgtrack.show.drawing.sheet import Symbol

REACH = 9.0
"""How far a symbol goes along its line, to either side of its middle."""

STANDARDS = {
    Symbol.VALVE: "valve (ISO 14617)",
    Symbol.CHECK_VALVE: "check valve (ISO 14617)",
    Symbol.SWITCH: "switch (IEC 60617)",
    Symbol.DIODE: "diode (IEC 60617)",
    Symbol.PUMP: "pump (ISO 14617)",
    Symbol.SOURCE: "source (IEC 60617)",
    Symbol.EXPANSION: "expansion vessel (ISO 14617)",
    Symbol.LOAD: "load (IEC 60617)",
    Symbol.BOLT: "bolt",
}


def symbol(which: Symbol, colour: str, *, is_open: bool = True, back: bool = False) -> tuple[Ink, ...]:
    """Return a symbol's ink. `back`: what passes one way only passes from right to left."""
    ink = _DRAWN[which](colour, is_open) if which in _DRAWN else ()
    return tuple(_flipped(one) for one in ink) if back else ink


def moved(ink: Ink, x: float, y: float, *, down: bool = False) -> Ink:
    """Return ink that was drawn about (0, 0), at another place; with `down` for a line that goes down."""
    if isinstance(ink, Group):
        return replace(ink, ink=tuple(moved(one, x, y, down=down) for one in ink.ink))
    if isinstance(ink, Path):
        turned = ((b, a) for a, b in ink.points) if down else iter(ink.points)
        return replace(ink, points=tuple((x + a, y + b) for a, b in turned))
    if isinstance(ink, Rect) and down:
        return replace(ink, x=x + ink.y, y=y + ink.x, width=ink.height, height=ink.width)
    a, b = (ink.y, ink.x) if down else (ink.x, ink.y)
    if isinstance(ink, Text) and ink.within is not None:
        left, top, width, height = ink.within
        return replace(ink, x=x + a, y=y + b, within=(x + left, y + top, width, height))
    return replace(ink, x=x + a, y=y + b)


def _flipped(ink: Ink) -> Ink:
    if isinstance(ink, Path):
        return replace(ink, points=tuple((-a, b) for a, b in ink.points))
    if isinstance(ink, Rect):
        return replace(ink, x=-ink.x - ink.width)
    return replace(ink, x=-ink.x) if isinstance(ink, Circle) else ink


def _valve(colour: str, is_open: bool) -> tuple[Ink, ...]:  # noqa: FBT001 - the table's one form
    bow = ((-9.0, -5.0), (9.0, 5.0), (9.0, -5.0), (-9.0, 5.0))
    return (Path(bow, stroke=colour, thickness=1.3, fill="#ffffff" if is_open else colour, closed=True),)


def _check_valve(colour: str, is_open: bool) -> tuple[Ink, ...]:  # noqa: FBT001
    fill = "#ffffff" if is_open else colour
    return (
        Rect(-8, -5, 16, 10, stroke="none", fill="#ffffff"),
        Path(((-8, 5), (-8, -5), (8, 5), (8, -5)), stroke=colour, thickness=1.4),
        Path(((8, 5), (1.5, 4.1), (4.8, -1.2)), stroke=colour, thickness=0.8, fill=fill, closed=True),
    )


def _switch(colour: str, is_open: bool) -> tuple[Ink, ...]:  # noqa: FBT001
    blade = ((-7.2, 0.0), (7.2, 0.0)) if is_open else ((-7.2, 0.0), (6.0, -6.5))
    return (
        Rect(-9, -2.5, 18, 5, stroke="none", fill="#ffffff"),
        Path(blade, stroke=colour, thickness=2.0),
        Circle(-7.2, 0, 1.8, stroke=colour, fill="#ffffff", thickness=1.2),
        Circle(7.2, 0, 1.8, stroke=colour, fill="#ffffff", thickness=1.2),
    )


def _diode(colour: str, is_open: bool) -> tuple[Ink, ...]:  # noqa: FBT001
    fill = "#ffffff" if is_open else colour
    return (
        Path(((-6, -5), (6, 0), (-6, 5)), stroke=colour, thickness=1.3, fill=fill, closed=True),
        Path(((6, -5), (6, 5)), stroke=colour, thickness=1.6),
    )


def _pump(colour: str, is_open: bool) -> tuple[Ink, ...]:  # noqa: FBT001
    fill = "#ffffff" if is_open else colour
    return (
        Circle(0, 0, 7.5, stroke=colour, fill="#ffffff", thickness=1.3),
        Path(((-3.6, -6.2), (7.3, 0), (-3.6, 6.2)), stroke=colour, thickness=1.1, fill=fill, closed=True),
    )


def _source(colour: str, is_open: bool) -> tuple[Ink, ...]:  # noqa: ARG001, FBT001
    return (
        Circle(0, 0, 6, stroke=colour, fill="#ffffff", thickness=1.3),
        Path(((-6, 0), (6, 0)), stroke=colour, thickness=1.3),
    )


def _expansion(colour: str, is_open: bool) -> tuple[Ink, ...]:  # noqa: ARG001, FBT001
    wall = tuple((6.5 * math.sin(a * math.pi / 12), -6.5 * math.cos(a * math.pi / 12)) for a in range(24))
    gas = tuple(point for point in wall if point[1] <= 0.01)
    return (
        Path(wall, stroke=colour, thickness=1.3, fill="#ffffff", closed=True),
        Path(tuple(sorted(gas)), stroke=colour, thickness=0.8, fill="#d9d9d4", closed=True),
    )


def _load(colour: str, is_open: bool) -> tuple[Ink, ...]:  # noqa: ARG001, FBT001
    return (Rect(-7, -4, 14, 8, stroke=colour, fill="#ffffff", thickness=1.3),)


def _bolt(colour: str, is_open: bool) -> tuple[Ink, ...]:  # noqa: FBT001
    corners = tuple((6 * math.cos(a * math.pi / 3), 6 * math.sin(a * math.pi / 3)) for a in range(6))
    return (
        Path(corners, stroke=colour, thickness=1.3, fill="#ffffff", closed=True),
        Circle(0, 0, 2.6, stroke=colour, fill="#ffffff" if not is_open else colour, thickness=1.1),
    )


_DRAWN = {
    Symbol.VALVE: _valve,
    Symbol.CHECK_VALVE: _check_valve,
    Symbol.SWITCH: _switch,
    Symbol.DIODE: _diode,
    Symbol.PUMP: _pump,
    Symbol.SOURCE: _source,
    Symbol.EXPANSION: _expansion,
    Symbol.LOAD: _load,
    Symbol.BOLT: _bolt,
}
