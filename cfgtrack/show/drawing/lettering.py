"""Texts as they are written, what can't be seen made visible: how wide they are, and how they are made to fit."""

from __future__ import annotations

from cfgtrack.show.drawing import metrics
from cfgtrack.show.drawing.ink import Anchor, Text
from cfgtrack.show.drawing.palette import INK
from cfgtrack.show.drawing.strokes import text_ink
from cfgtrack.show.visible import visible


def measure(text: str, size: float, *, bold: bool = False) -> float:
    """Return how wide a text is, in points, as it is written: what can't be seen is made visible."""
    return metrics.width_of(visible(text, lines=False), size, bold=bold)


def line(
    x: float,
    y: float,
    text: str,
    *,
    size: float = 8.0,
    bold: bool = False,
    colour: str = INK,
    anchor: Anchor = Anchor.START,
    role: str = "",
) -> Text:
    """Return a text with what it measures."""
    said = visible(text, lines=False)
    return text_ink(round(x, 2), round(y, 2), said, size, bold=bold, colour=colour, anchor=anchor, role=role)


def fits(text: str, width: float, size: float, *, bold: bool = False) -> bool:
    """Return whether a text is no wider than a width."""
    return measure(text, size, bold=bold) <= width


def cut_to(text: str, width: float, size: float, *, bold: bool = False) -> str:
    """Return a text, with its end left out and an ellipsis for it where it is too wide."""
    return metrics.fitted(visible(text, lines=False), size, width, bold=bold)


def wrapped(text: str, width: float, size: float, *, bold: bool = False) -> list[str]:
    """Return a text as lines that are no wider than a width."""
    return metrics.wrapped(visible(text, lines=False), size, width, bold=bold) or [""]
