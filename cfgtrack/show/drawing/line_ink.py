"""A line between two boxes as ink: its way in the medium's colour, drawn as its look says, and its label on it."""

from __future__ import annotations

from dataclasses import replace

from cfgtrack.show.drawing.ink import Anchor, Group, Ink, Path, Rect
from cfgtrack.show.drawing.labels import HIGH
from cfgtrack.show.drawing.layout import Point
from cfgtrack.show.drawing.metrics import width_of
from cfgtrack.show.drawing.palette import OLD
from cfgtrack.show.drawing.shape import Shape
from cfgtrack.show.drawing.sheet import Change, Line
from cfgtrack.show.drawing.strokes import sign_of, stroked, text_ink
from cfgtrack.show.visible import visible

_SIZE = 7.5


def line_ink(line: Line, route: tuple[Point, ...], at: Point | None, media: tuple[str, ...]) -> Group:
    """Return a line's ink, its label's middle at a place (None: only told when one points at the line)."""
    path = _path(line, route, media)
    ink: list[Ink] = [path]
    if line.change is Change.NEW:
        ink.insert(0, Path(route, stroke="#bfe3d6", thickness=path.thickness + 5, role="change"))
    if at is not None:
        ink += _label_ink(_label(line), at)
    data = (
        ("a", line.a_row or line.a),
        ("b", line.b_row or line.b),
        ("medium", line.medium),
        ("look", line.look.name.lower()),
        ("count", str(line.count)),
        ("change", line.change.value),
    )
    ends = f"{line.a_row or line.a} – {line.b_row or line.b}"
    said = f"{ends}: {line.look.value}" + (f", {line.label}" if line.label else "")
    return Group(key=ends, what="line", title=said, ink=tuple(ink), data=data)


def label_width(line: Line) -> float:
    """Return how wide a line's label is with its border, 0 for none."""
    text = _label(line)
    return width_of(text, _SIZE) + 4 if text else 0.0


def label_room(line: Line) -> tuple[float, float] | None:
    """Return the room that the layout keeps for a label: what a line says in any picture, changed or not."""
    wide = max(width_of(text, _SIZE) for text in (_said(line), visible(line.room, lines=False)))
    return (wide + 6, HIGH + 1) if wide else None


def loop_room(number: int) -> float:
    """Return how far out so many lines of a box to itself go."""
    return 8.0 + 6.0 * number if number else 0.0


def loop(line: Line, box: Shape, corner: Point, nth: int = 0) -> tuple[Point, ...]:
    """Return the way of a line between two rows of one box: out, along and in again, outside those before it."""
    a, b = box.ports.get(line.a_row), box.ports.get(line.b_row)
    if a is None or b is None:
        return (corner, corner)
    x, y = corner
    far = loop_room(nth + 1) - 2
    out = {"left": (-far, 0.0), "right": (far, 0.0), "top": (0.0, -far), "bottom": (0.0, far)}
    start, end = (x + a.x, y + a.y), (x + b.x, y + b.y)
    one = (start[0] + out[a.side][0], start[1] + out[a.side][1])
    two = (end[0] + out[b.side][0], end[1] + out[b.side][1])
    if a.side == b.side:
        return (start, one, two, end)
    if a.side in ("left", "right"):
        under = y + box.height + far
        return (start, one, (one[0], under), (two[0], under), two, end)
    beside = x + box.width + far
    return (start, one, (beside, one[1]), (beside, two[1]), two, end)


def _path(line: Line, route: tuple[Point, ...], media: tuple[str, ...]) -> Path:
    path = stroked(line.medium, media, line.look, route, "line")
    if line.count > 1 and not path.double:
        path = replace(path, thickness=path.thickness + 1.2)
    return replace(path, stroke=OLD, dash=(4.0, 4.0)) if line.change is Change.GONE else path


def _label_ink(text: str, at: Point) -> tuple[Ink, ...]:
    x, y = at
    wide = width_of(text, _SIZE)
    return (
        Rect(x - wide / 2 - 2, y - HIGH / 2, wide + 4, HIGH, stroke="none", fill="#ffffff", role="label"),
        text_ink(x, y + 2.6, text, _SIZE, anchor=Anchor.MIDDLE, role="label"),
    )


def _said(line: Line) -> str:
    counted = f"× {line.count}" if line.count > 1 else ""
    return "  ".join(part for part in (visible(line.label, lines=False), counted) if part)


def _label(line: Line) -> str:
    return "  ".join(part for part in (_said(line), sign_of(line.change)) if part)
