"""A sheet to a page: each row's side, each box's shape, where they go, lines, title, notes and legend.

Positions come from what could be connected (boxes, rows, gates, lines and ghost ones), never from what is: so a plant
stays where it is from one moment to the next.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from cfgtrack.model.trouble import NoAnswer, Problem
from cfgtrack.show.drawing.ink import Group, Ink, Page, Path
from cfgtrack.show.drawing.labels import spots
from cfgtrack.show.drawing.layout import Edge, End, Node, Placed, Point, placed
from cfgtrack.show.drawing.legend import WIDTH, column, foot
from cfgtrack.show.drawing.line_ink import label_room, label_width, line_ink, loop, loop_room
from cfgtrack.show.drawing.metrics import wrapped
from cfgtrack.show.drawing.palette import FAINT
from cfgtrack.show.drawing.paper import LEAST, PAPERS, fitted_to, scale_on
from cfgtrack.show.drawing.pill import is_slim
from cfgtrack.show.drawing.shape import Lines, Shape, shape
from cfgtrack.show.drawing.sheet import Box, Line, Sheet
from cfgtrack.show.drawing.strokes import text_ink
from cfgtrack.show.drawing.symbols import moved
from cfgtrack.show.visible import visible

_MARGIN = 24.0
_GAP = 30.0
_LEAST = 420.0


def drawn(sheet: Sheet, *, page: str = "") -> Page:
    """Return a sheet with everything at its place. `page`: the paper that it must fit on, "A4" or "A3".

    ValueError for other papers. NoAnswer where it doesn't fit in type that can be read.
    """
    if page and page not in PAPERS:
        raise ValueError(f"a page can be {' or '.join(PAPERS)}; not {page}")
    if not page:
        return _on_a_screen(_ways(sheet))
    ways = list(_ways(sheet))
    whole = _best_on(page, ways)
    if scale_on(whole, page) < LEAST:
        raise NoAnswer(Problem("page", "too-large", _advice(whole, page, ways)))
    return fitted_to(whole, page)


def _ways(sheet: Sheet) -> Iterator[_Way]:
    """Yield the ways to lay a picture out: with the flow that the sheet wants, folded, then with the flow turned."""
    for down in (sheet.down, not sheet.down):
        draw = _Drawing.of(replace(sheet, down=down))
        first = _first_sides(draw.boxes)
        rough = draw.place(draw.shapes(first), ported=False)
        shapes = draw.shapes(_sides(draw, rough, first))
        yield _Way(draw, shapes, draw.place(shapes, ported=True))
        for aspect in _ASPECTS:
            yield _Way(draw, shapes, draw.place(shapes, ported=True, aspect=aspect))


_ASPECTS = (1.6, 1.1, 0.7)


def _on_a_screen(ways: Iterator[_Way]) -> Page:
    """Return the first way, but for a strip the way whose shape is nearest to a screen's.

    What is chosen hangs on boxes and lines alone, not on notes: so it is the same from one moment to the next.
    """
    first = next(ways)
    if first.wide < _LARGE or first.wide / first.high <= _STRIP:
        return first.page()
    return min((first, *ways), key=lambda way: abs(math.log(way.wide / way.high / _SCREEN))).page()


_LARGE, _STRIP, _SCREEN = 1400.0, 2.2, 1.6


def _best_on(page: str, ways: Iterable[_Way]) -> Page:
    """Return the picture in the first way that is set in full size on a paper, else in the one that is set largest."""
    best: Page | None = None
    for way in ways:
        for under in (False, True):
            one = way.page(under=under)
            if best is None or scale_on(one, page) > scale_on(best, page) + 0.01:
                best = one
            if scale_on(best, page) >= 1:
                return best
    assert best is not None
    return best


def _advice(whole: Page, page: str, ways: Sequence[_Way]) -> str:
    """Return that a picture is too large for a paper, and what would fit: a larger paper where it really does."""
    larger = [paper for paper in PAPERS if paper != page and scale_on(_best_on(paper, ways), paper) >= LEAST]
    size = f"the picture is {whole.width / 72 * 2.54:.0f} x {whole.height / 72 * 2.54:.0f} cm"
    so = f"{size}: on {page} its names would be smaller than 6 pt"
    if larger:
        return f"{so}; it fits on {larger[0]}"
    return f"{so}; draw a part of it (one --loop, one --unit with --hops 0 or 1), or leave --page out"


def _once(lines: Iterable[Line], index: Mapping[str, int]) -> list[Line]:
    """Return the lines between known boxes in the order that the engine gets them in, whatever is a ghost now."""

    def place(line: Line) -> tuple[int, str, int, str, str]:
        return (index[line.a], line.a_row, index[line.b], line.b_row, line.medium)

    found: dict[tuple[int, str, int, str, str], Line] = {}
    for line in lines:
        if line.a in index and line.b in index and (place(line) not in found or not line.ghost):
            found[place(line)] = line
    return [found[key] for key in sorted(found)]


def _against(boxes: Sequence[Box], lines: Sequence[Line], index: Mapping[str, int]) -> set[int]:
    """Return which lines go against the flow: down the ranks where these are known, else back in a circle.

    What is a circle's beginning is told by the order of the boxes: a walk along the lines starts at the first one.
    """
    ranks = [box.rank for box in boxes]
    onward: list[list[tuple[int, int]]] = [[] for _ in boxes]
    against = set()
    for i, line in enumerate(lines):
        a, b = index[line.a], index[line.b]
        ra, rb = ranks[a], ranks[b]
        if ra is not None and rb is not None and ra != rb:
            if ra > rb:
                against.add(i)
        elif a != b:
            onward[a].append((b, i))
    begun, ended = set(), set()
    for start in range(len(boxes)):
        if start in begun:
            continue
        begun.add(start)
        trail = [(start, iter(onward[start]))]
        while trail:
            box, rest = trail[-1]
            for other, i in rest:
                if other in begun and other not in ended:
                    against.add(i)
                elif other not in begun:
                    begun.add(other)
                    trail.append((other, iter(onward[other])))
                    break
            else:
                ended.add(box)
                trail.pop()
    return against


def _first_sides(boxes: Sequence[Box]) -> dict[str, bool]:
    """Return for each row whether it is where the flow comes in: as the sheet wants, else by turns."""
    sides = {}
    for box in boxes:
        for i, row in enumerate(box.rows):
            sides[row.key] = row.side == "in" if row.side else i % 2 == 0
    return sides


def _sides(draw: _Drawing, rough: Placed, first: Mapping[str, bool]) -> dict[str, bool]:
    """Return each row's side: as the sheet wants, else towards its mate; without a mate where there is more room."""
    middle = draw.middles(rough)
    wish: dict[str, float] = {}
    for line in draw.lines:
        a, b = draw.index[line.a], draw.index[line.b]
        if a != b:
            wish[line.a_row] = middle[b] - middle[a]
            wish[line.b_row] = middle[a] - middle[b]
    sides = dict(first)
    for box in draw.boxes:
        if is_slim(box):
            one, two = sorted(box.rows, key=lambda row: wish.get(row.key, 0.0))
            sides[one.key], sides[two.key] = True, False
            continue
        for row in box.rows:
            if not row.side and row.key in wish:
                sides[row.key] = wish[row.key] < 0
        ins = sum(sides[row.key] for row in box.rows if row.side or row.key in wish)
        outs = sum(not sides[row.key] for row in box.rows if row.side or row.key in wish)
        for row in box.rows:
            if not row.side and row.key not in wish:
                sides[row.key] = ins <= outs
                ins, outs = ins + sides[row.key], outs + (not sides[row.key])
    return sides


@dataclass(frozen=True, slots=True)
class _Drawing:
    sheet: Sheet
    boxes: Sequence[Box]
    lines: Sequence[Line]
    index: Mapping[str, int]
    against: set[int]
    known: Lines

    @classmethod
    def of(cls, sheet: Sheet) -> _Drawing:
        index = {box.id: i for i, box in enumerate(sheet.boxes)}
        lines = _once(sheet.lines, index)
        shown = [line for line in lines if not line.ghost]
        known = Lines(
            drawn=frozenset(key for line in shown for key in (line.a_row, line.b_row) if key),
            ever=frozenset(key for line in lines for key in (line.a_row, line.b_row) if key),
            looks={key: line.look for line in shown for key in (line.a_row, line.b_row) if key},
        )
        return cls(sheet, sheet.boxes, lines, index, _against(sheet.boxes, lines, index), known)

    def shapes(self, sides: Mapping[str, bool]) -> list[Shape]:
        media, down = self.sheet.media, self.sheet.down
        return [shape(box, sides, self.known, media=media, down=down) for box in self.boxes]

    def place(self, shapes: list[Shape], *, ported: bool, aspect: float = 0.0) -> Placed:
        """Return where the engine puts everything; it gets each line the way that the flow goes."""
        around = self.around()
        nodes = [
            Node(s.width + 2 * room, s.height + 2 * room, b.rank)
            for s, b, room in zip(shapes, self.boxes, around, strict=True)
        ]
        edges = []
        for i, line in enumerate(self.lines):
            a, b = self.index[line.a], self.index[line.b]
            ends = (_end(shapes[a], line.a_row), _end(shapes[b], line.b_row)) if ported else (None, None)
            label = label_room(line)
            if ported and not (line.a_row or line.b_row):  # all lines of a box itself leave it at one point
                leaving, coming = ("bottom", "top") if self.sheet.down else ("right", "left")
                ends = (End(leaving, 0.0), End(coming, 0.0))
                if i in self.against:
                    ends = ends[::-1]
            if i in self.against:
                edges.append(Edge(b, a, ends[1], ends[0], label=label))
            else:
                edges.append(Edge(a, b, *ends, label=label))
        found = placed(nodes, edges, down=self.sheet.down, aspect=aspect)
        corners = tuple((x + room, y + room) for (x, y), room in zip(found.corners, around, strict=True))
        routes = [r[::-1] if i in self.against else r for i, r in enumerate(found.routes)]
        for i, line in enumerate(self.lines):
            if routes[i]:
                a, b = self.index[line.a], self.index[line.b]
                near = _up_to(shapes[a], line.a_row, corners[a], routes[i][0]) if around[a] else ()
                far = _up_to(shapes[b], line.b_row, corners[b], routes[i][-1]) if around[b] else ()
                routes[i] = (*near, *routes[i], *far)
        return replace(found, corners=corners, routes=tuple(routes))

    def around(self) -> list[float]:
        """Return the room around each box for the lines that it has to itself at any moment."""
        number = [0] * len(self.boxes)
        for line in self.lines:
            number[self.index[line.a]] += line.a == line.b
        return [loop_room(n) for n in number]

    def middles(self, rough: Placed) -> list[float]:
        return [corner[1] if self.sheet.down else corner[0] for corner in rough.corners]

    def _ways(self, shapes: list[Shape], found: Placed) -> list[tuple[Point, ...]]:
        """Return the way of each line, those of a box to itself one outside another."""
        ways, nth = [], [0] * len(self.boxes)
        for line, route in zip(self.lines, found.routes, strict=True):
            a = self.index[line.a]
            ways.append(route or loop(line, shapes[a], found.corners[a], nth[a]))
            nth[a] += line.a == line.b
        return ways

    def page(self, shapes: list[Shape], found: Placed, *, under: bool) -> Page:
        """Return everything with its place on the page; `under`: notes and legend under the picture, else beside it."""
        left, top, right, bottom = _bounds(shapes, found, self.around())
        wide = max(right - left, _LEAST)
        beside = 0.0 if under else WIDTH + _GAP
        width = _MARGIN + beside + wide + _MARGIN
        head, below = _heading(self.sheet, width - 2 * _MARGIN)
        dx, dy = _MARGIN + beside - left, below - top
        if under:
            foot_at = below + bottom - top + _GAP / 2
            aside, end = foot(self.sheet, _MARGIN, foot_at + _GAP / 2, wide)
            across = ((_MARGIN, foot_at), (_MARGIN + wide, foot_at))
        else:
            aside, end = column(self.sheet, _MARGIN, below)
            upright = _MARGIN + WIDTH + _GAP / 2
            across = ((upright, below), (upright, below + max(bottom - top, end - below)))
        rule = Path(across, stroke="#d0d0ca", thickness=0.6, role="rule")
        ink: list[Ink] = [*head, *aside, rule]
        ways = self._ways(shapes, found)
        wants = [
            (label_width(line), way, at) for line, way, at in zip(self.lines, ways, found.labels, strict=True)
        ]
        areas = [
            (x, y, x + box.width, y + box.height) for box, (x, y) in zip(shapes, found.corners, strict=True)
        ]
        for line, way, at in zip(self.lines, ways, spots(wants, areas), strict=True):
            if not line.ghost:
                ink.append(moved(line_ink(line, way, at, self.sheet.media), dx, dy))
        ink += [
            moved(s.ink(), corner[0] + dx, corner[1] + dy)
            for s, corner in zip(shapes, found.corners, strict=True)
        ]
        height = max(below + bottom - top, end) + _MARGIN
        return Page(round(width, 2), round(height, 2), tuple(ink), self.sheet.title)


def _up_to(box: Shape, row: str, corner: Point, end: Point) -> tuple[Point, ...]:
    """Return where a line really ends at a box that has room around it for lines to itself."""
    port = box.ports.get(row)
    if port is not None:
        return ((corner[0] + port.x, corner[1] + port.y),)
    x = min(max(end[0], corner[0]), corner[0] + box.width)
    return ((x, min(max(end[1], corner[1]), corner[1] + box.height)),)


class _Way:
    """One way to lay a picture out."""

    def __init__(self, draw: _Drawing, shapes: list[Shape], found: Placed) -> None:
        self.draw, self.shapes, self.found = draw, shapes, found
        left, top, right, bottom = _bounds(shapes, found, draw.around())
        self.wide, self.high = max(right - left, 1.0), max(bottom - top, 1.0)
        self._pages: dict[bool, Page] = {}

    def page(self, *, under: bool = False) -> Page:
        """Return the whole picture; `under`: notes and legend under it, else beside it."""
        if under not in self._pages:  # it is asked again, for a larger paper
            self._pages[under] = self.draw.page(self.shapes, self.found, under=under)
        return self._pages[under]


def _end(box: Shape, row: str) -> End | None:
    port = box.ports.get(row)
    if port is None:
        return None
    if port.side in ("left", "right"):
        return End(port.side, port.y - box.height / 2)
    return End(port.side, port.x - box.width / 2)


def _bounds(shapes: list[Shape], found: Placed, around: Sequence[float]) -> tuple[float, float, float, float]:
    xs, ys = [0.0], [0.0]
    if found.corners:
        xs, ys = [], []
    for box, (x, y), room in zip(shapes, found.corners, around, strict=True):
        xs += [x - 14 - room, x + box.width + 14 + room]
        ys += [y - room, y + box.height + 8 + room]
    for x, y in _all_points(found):
        xs.append(x)
        ys.append(y)
    return min(xs), min(ys), max(xs), max(ys)


def _all_points(found: Placed) -> Iterator[Point]:
    for route in found.routes:
        yield from route


def _heading(sheet: Sheet, wide: float) -> tuple[tuple[Ink, ...], float]:
    """Return title, moment and verdict over the whole width, and where the picture begins."""
    ink: list[Ink] = []
    y = _MARGIN
    for line in wrapped(visible(sheet.title), 16, wide, bold=True) if sheet.title else []:
        y += 18
        ink.append(text_ink(_MARGIN, y - 4, line, 16, bold=True, role="title"))
    for line in wrapped(visible(sheet.moment), 9, wide) if sheet.moment else []:
        y += 13
        ink.append(text_ink(_MARGIN, y - 2, line, 9, colour=FAINT, role="moment"))
    said = wrapped(visible(sheet.verdict), 10.5, wide, bold=True) if sheet.verdict else []
    for i, line in enumerate(said):
        ink.append(text_ink(_MARGIN, y + 16 + 13 * i, line, 10.5, bold=True, role="verdict"))
    y += 6 + 13 * max(len(said), 2)
    return (Group(what="heading", ink=tuple(ink)),), y + 12
