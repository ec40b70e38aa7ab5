"""How texts and lines of a box are written: sizes of type, strokes, and the sign of what changed."""

from __future__ import annotations

from cfgtrack.show.drawing.ink import Anchor, Circle, Ink, Path, Rect, Text
from cfgtrack.show.drawing.metrics import width_of
from cfgtrack.show.drawing.palette import INK, NEW, OLD, STROKES, colour_of, place_of, weight_of
from cfgtrack.show.drawing.sheet import Change, Look

NAME, TEXT, SMALL, TINY = 10.5, 8.5, 7.5, 6.5
"""Sizes of type: a box's name; a row's and a text's; statuses and what stands under a name; what is said by the way."""


_SIGNS = {Change.NEW: "+", Change.GONE: "–", Change.OTHER: "≠"}


def sign_of(change: Change) -> str:
    """Return the sign of what a thing is in a difference: + - ≠ or nothing."""
    return _SIGNS.get(change, "")


def change_colour(change: Change) -> str:
    """Return the colour of what a thing is in a difference."""
    return {Change.NEW: NEW, Change.GONE: OLD}.get(change, INK)


def changed(change: Change, x: float, y: float) -> tuple[Ink, ...]:
    """Return the sign of what a thing is in a difference, its middle at x."""
    sign = sign_of(change)
    if not sign:
        return ()
    colour = change_colour(change)
    return (text_ink(x, y, sign, TEXT, bold=True, colour=colour, anchor=Anchor.MIDDLE, role="change"),)


def stroked(
    medium: str, media: tuple[str, ...], look: Look, points: tuple[tuple[float, float], ...], role: str
) -> Path:
    """Return a line in its medium's colour and weight, drawn as its look says."""
    stroke = STROKES[look]
    thick = stroke.thickness if stroke.double else stroke.thickness * weight_of(medium, media)
    colour = colour_of(medium, media)
    return Path(points, stroke=colour, thickness=thick, dash=stroke.dash, double=stroke.double, role=role)


def medium_sign(medium: str, media: tuple[str, ...], x: float, y: float) -> Ink:
    """Return the sign at a line's end that tells its medium without colour, its middle at x, y."""
    colour = colour_of(medium, media)
    place = place_of(medium, media)
    if place == 1:
        return Rect(x - 2.4, y - 2.4, 4.8, 4.8, colour, "#ffffff", 1.2, role="line end")
    if place == 5 or place is None:
        return Rect(x - 1.8, y - 1.8, 3.6, 3.6, stroke=colour, fill=colour, thickness=0.6, role="line end")
    if place == 0:
        return Circle(x, y, 2.5, stroke=colour, fill=colour, thickness=0.6, role="line end")
    corners, fill = {
        2: (((0, -3.4), (3.4, 0), (0, 3.4), (-3.4, 0)), "#ffffff"),
        3: (((-2.7, -2.7), (2.7, -2.7), (2.7, 2.7), (-2.7, 2.7)), colour),
    }.get(place, (((0, -3.4), (3.2, 2.6), (-3.2, 2.6)), "#ffffff"))
    points = tuple((x + a, y + b) for a, b in corners)
    return Path(points, stroke=colour, thickness=1.2, fill=fill, closed=True, role="line end")


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
