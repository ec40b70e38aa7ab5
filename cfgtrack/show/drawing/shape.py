"""A box drawn about its own top left corner, and where on its edge each row's line ends.

Nothing here depends on a status, on what is open or on a mark: their room is always kept.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cache

from cfgtrack.show.drawing.frame import TAB, Head, outline, tabs
from cfgtrack.show.drawing.ink import Group, Ink
from cfgtrack.show.drawing.inside import Inside, Joint
from cfgtrack.show.drawing.pen import Pen
from cfgtrack.show.drawing.pill import Pill, is_slim
from cfgtrack.show.drawing.rooms import Rooms
from cfgtrack.show.drawing.sheet import Box, Look


@dataclass(frozen=True, slots=True)
class Port:
    """Where a row's line ends: at the edge `side`, at x, y of the box."""

    side: str
    x: float
    y: float


@dataclass(frozen=True, slots=True)
class Shape:
    """A box about its own top left corner; `ports`: by row. `ink` draws it, once: most shapes are only measured."""

    width: float
    height: float
    ports: Mapping[str, Port]
    ink: Callable[[], Group]


@dataclass(frozen=True, slots=True)
class Lines:
    """What a box must know of the lines: rows that have one now, rows that ever may, how the row's line looks now."""

    drawn: frozenset[str]
    ever: frozenset[str]
    looks: Mapping[str, Look]


def shape(box: Box, inward: Mapping[str, bool], lines: Lines, *, media: tuple[str, ...], down: bool) -> Shape:
    """Return a box's shape. `inward`: the rows where the flow comes in."""
    inside = Inside(box, inward, Rooms(down, lines.ever, lines.drawn))
    if is_slim(box):
        pill = Pill(inside, media, lines.looks)
        ends = {
            row.key: pill.place(0.0 if inside.inward[row.key] else pill.depth, pill.t) for row in pill.rows
        }
        size = (pill.width, pill.top + pill.height)
        return Shape(*size, _ports(inside, ends), cache(lambda: _grouped(box, pill.ink())))
    return _schematic(inside, lines, media)


def _schematic(inside: Inside, lines: Lines, media: tuple[str, ...]) -> Shape:
    """Return an ordinary box: its header over its inside, or left of it where the flow goes down."""
    inside.lay()
    columns = inside.columns()
    down = inside.down
    head = Head(inside.box, down=down, room=0.0 if down else inside.depths(columns, 0.0)[0])
    across = inside.spread(2.0 if down else head.height + 3.0)
    depth, xs, mids = inside.depths(columns, 0.0 if down else head.width)
    if down:
        left, top, width, height = head.width + 4, 0.0, head.width + 4 + across, max(depth, head.height)
        depth = height
    else:
        left, top, width, height = 0.0, TAB, depth, max(across, head.height)

    def place(d: float, t: float) -> tuple[float, float]:
        return (left + t, d) if down else (d, top + t)

    box = inside.box

    @cache
    def ink() -> Group:
        drawn = (
            *outline(box, width, height, top, down=down),
            *head.ink(0.0, top, head.width if down else width),
            *_contents(inside, Pen(inside, media, lines.looks, place, depth), columns, xs, mids),
            *tabs(box, head.width if down else width, head.height - TAB - 1 if down else 0.0),
        )
        return _grouped(box, drawn)

    ends = {
        row.key: place(0.0 if inside.inward[row.key] else depth, inside.tracks[inside.at[row.key]].t)
        for row in box.rows
    }
    return Shape(width, top + height, _ports(inside, ends), ink)


def _contents(
    inside: Inside, pen: Pen, columns: list[list[Joint]], xs: list[float], mids: tuple[float, float]
) -> list[Ink]:
    """Return bars, rows and gates, in this order: what is later lies over what is earlier."""
    drawn: list[Ink] = [pen.bar(node, xs[node.column]) for column in columns for node in column]
    drawn += [pen.bar_group(bar, ()) for bar in inside.box.bars if not inside.nodes[bar.key].stands]
    for row in inside.box.rows:
        inner = xs[inside.nodes[inside.meets[row.key]].column] if inside.is_joined(row) else None
        gate_at = mids[0 if inside.inward[row.key] else 1] if row.key in inside.inline else None
        drawn.append(pen.row(row, inner, gate_at))
        if gate_at is not None:
            drawn.append(pen.inline(row.key, gate_at))
    for gate, a, b in inside.between:
        ends = (inside.nodes[a].column, inside.nodes[b].column)
        low = min(ends)
        before, after = inside.rooms.gate_depth(gate)
        middle = (xs[low] + xs[low + 1] + before - after) / 2 if low + 1 < len(xs) else xs[low] + 14
        drawn.append(pen.between(gate, (xs[ends[0]], xs[ends[1]]), middle))
    return drawn


def _ports(inside: Inside, ends: Mapping[str, tuple[float, float]]) -> dict[str, Port]:
    return {row.key: Port(inside.side_of(row), *ends[row.key]) for row in inside.box.rows}


def _grouped(box: Box, ink: tuple[Ink, ...]) -> Group:
    data = [("form", box.form.value)]
    if box.count > 1:
        data += [("count", str(box.count)), ("members", " ".join(box.members))]
    data.append(("change", box.change.value))
    said = "\n".join((box.name or box.id, *box.lines, *(mark.word for mark in box.marks)))
    return Group(key=box.id, what="box", title=said, ink=ink, data=tuple(data))
