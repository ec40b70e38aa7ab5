"""How texts and lines of a box are written: sizes of type, strokes, and the sign of what changed."""

from __future__ import annotations

from cfgtrack.show.drawing.flags import sign_of
from cfgtrack.show.drawing.ink import Anchor, Ink, Path, Text
from cfgtrack.show.drawing.metrics import width_of
from cfgtrack.show.drawing.palette import INK, NEW, OLD, STROKES
from cfgtrack.show.drawing.sheet import Change, Look

NAME, TEXT, SMALL, TINY = 10.5, 8.5, 7.5, 6.5
"""Sizes of type: a box's name; a row's and a text's; statuses and what stands under a name; what is said by the way."""


def changed(change: Change, x: float, y: float) -> tuple[Ink, ...]:
    """Return the sign of what a thing is in a difference, its middle at x."""
    sign = sign_of(change)
    if not sign:
        return ()
    colour = {Change.NEW: NEW, Change.GONE: OLD}.get(change, INK)
    return (text_ink(x, y, sign, TEXT, bold=True, colour=colour, anchor=Anchor.MIDDLE, role="change"),)


def stroked(colour: str, look: Look, points: tuple[tuple[float, float], ...], role: str) -> Path:
    """Return a line drawn as its look says."""
    stroke = STROKES[look]
    return Path(
        points, stroke=colour, thickness=stroke.thickness, dash=stroke.dash, double=stroke.double, role=role
    )


def text_ink(
    x: float,
    y: float,
    text: str,
    size: float,
    *,
    bold: bool = False,
    colour: str = INK,
    anchor: Anchor = Anchor.START,
    within: tuple[float, float, float, float] | None = None,
    role: str = "",
) -> Text:
    """Return a text as wide as it measures."""
    wide = width_of(text, size, bold=bold)
    return Text(
        x, y, text, size=size, bold=bold, colour=colour, anchor=anchor, width=wide, within=within, role=role
    )


def yes(fact: bool) -> str:  # noqa: FBT001 - said aloud
    """Return how a fact is written in data."""
    return "yes" if fact else "no"
