"""Colours that the colour-blind can tell apart, and how each look of a line is drawn: in grey it is told by form."""

from __future__ import annotations

from dataclasses import dataclass

from cfgtrack.show.drawing.sheet import Look

INK, FAINT, SHADE, RULE = "#222222", "#595959", "#ecece8", "#bbbbb4"
ALARM, NEW, OLD = "#a3001b", "#00624a", "#7a3b00"

_PALETTE = ("#0072B2", "#D55E00", "#009E73", "#444444", "#AA4499", "#8B7500")
"""After Okabe and Ito's colours for every kind of eye, darkened where a thin line needs it; a medium each."""

_ORDER = ("fluid", "power", "data", "hold", "bond")


def colour_of(medium: str, media: tuple[str, ...]) -> str:
    """Return a medium's colour: fixed for the shipped media, in order for others, ink for none."""
    place = place_of(medium, media)
    return INK if place is None else _PALETTE[place]


def place_of(medium: str, media: tuple[str, ...]) -> int | None:
    """Return which of the palette's places a medium has, None for no medium."""
    order = [*_ORDER, *(m for m in media if m not in _ORDER)]
    return order.index(medium) % len(_PALETTE) if medium in order else None


@dataclass(frozen=True, slots=True)
class Stroke:
    """How a line is drawn, but for its colour."""

    thickness: float = 1.8
    dash: tuple[float, ...] = ()
    double: bool = False


_WEIGHTS = (1.25, 0.85, 0.6, 1.5, 0.7, 1.0)
"""How heavy each medium's line is, in the palette's order: with the sign at its ends it tells media apart in grey."""


def weight_of(medium: str, media: tuple[str, ...]) -> float:
    """Return how heavy a medium's line is drawn, 1 for none."""
    place = place_of(medium, media)
    return 1.0 if place is None else _WEIGHTS[place]


STROKES = {
    Look.MADE: Stroke(),
    Look.NOT_CARRYING: Stroke(1.6, (6, 3.5)),
    Look.CUT_OFF: Stroke(4.2, double=True),
    Look.DEAD: Stroke(1.8, (1.4, 3)),
    Look.GIVES: Stroke(1.4, (1.2, 2.2, 5, 2.2)),
    Look.INSIDE: Stroke(0.9),
}
