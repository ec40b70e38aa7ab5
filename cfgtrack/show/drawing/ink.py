"""Ink on a page: texts, lines and shapes with positions, in points (1/72 in), x to the right, y down.

`svg.py` writes them; the layout, the timeline and the film strip make them. Meaning is never in colour alone.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum


class Anchor(Enum):
    """Which point of a text its position is."""

    START = "start"
    MIDDLE = "middle"
    END = "end"


@dataclass(frozen=True, slots=True)
class Text:
    """One line of text, on its baseline. `width`: what it measures in the shipped font; a renderer keeps to it.

    `within`: the box (x, y, width, height) that it must not leave, where it has one.
    """

    x: float
    y: float
    text: str
    size: float = 9.0
    bold: bool = False
    italic: bool = False
    colour: str = "#222222"
    anchor: Anchor = Anchor.START
    width: float = 0.0
    within: tuple[float, float, float, float] | None = None
    role: str = ""


@dataclass(frozen=True, slots=True)
class Rect:
    """A rectangle."""

    x: float
    y: float
    width: float
    height: float
    stroke: str = "#222222"
    fill: str = "none"
    thickness: float = 1.0
    dash: tuple[float, ...] = ()
    radius: float = 0.0
    role: str = ""


@dataclass(frozen=True, slots=True)
class Path:
    """A run of straight lines through points; `closed` and `fill` make it an area. `double`: two thin lines."""

    points: tuple[tuple[float, float], ...]
    stroke: str = "#222222"
    thickness: float = 1.2
    dash: tuple[float, ...] = ()
    fill: str = "none"
    closed: bool = False
    double: bool = False
    arrow: bool = False
    role: str = ""


@dataclass(frozen=True, slots=True)
class Circle:
    """A circle about a point."""

    x: float
    y: float
    radius: float
    stroke: str = "#222222"
    fill: str = "none"
    thickness: float = 1.2
    dash: tuple[float, ...] = ()
    role: str = ""


@dataclass(frozen=True, slots=True)
class Group:
    """Ink that belongs together: one thing of the picture. `key` names it (a unit, a port, a link), `what` its sort.

    `title` is the text that shows when one points at it. `data`: what a test or a reader may want to know of it; what
    is empty isn't written.
    """

    key: str = ""
    what: str = ""
    title: str = ""
    ink: tuple[Ink, ...] = ()
    data: tuple[tuple[str, str], ...] = ()


Ink = Text | Rect | Path | Circle | Group


@dataclass(frozen=True, slots=True)
class Page:
    """A finished picture: its ink, from (0, 0) to (`width`, `height`) pt, and what it is called.

    `scale`: how much smaller than its ink it is set, to fit on a sheet of paper.
    """

    width: float
    height: float
    ink: tuple[Ink, ...]
    title: str = ""
    scale: float = 1.0
