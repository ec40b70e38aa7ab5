"""An SVG of ours read back, from the file alone: what is written where, which lines run where, and what it all says.

Nothing of the project's own code is used here. Positions are in points of the page, with every transform applied. How
much room a text takes depends on who shows it: see `Hand`.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from functools import cache
from itertools import pairwise
from pathlib import Path
from typing import NamedTuple
from xml.etree import ElementTree as ET

SVG = "{http://www.w3.org/2000/svg}"
Point = tuple[float, float]
Matrix = tuple[float, float, float, float, float, float]


class Extent(NamedTuple):
    """A rectangle of the page."""

    left: float
    top: float
    right: float
    bottom: float

    def overlaps(self, other: Extent, by: float = 0.0) -> bool:
        """Return whether two have more than `by` points in common, across and down."""
        return (
            min(self.right, other.right) - max(self.left, other.left) > by
            and min(self.bottom, other.bottom) - max(self.top, other.top) > by
        )

    def holds(self, other: Extent, slack: float = 0.0) -> bool:
        """Return whether the other lies in this one, give or take `slack`."""
        return (
            self.left - slack <= other.left
            and self.top - slack <= other.top
            and other.right <= self.right + slack
            and other.bottom <= self.bottom + slack
        )

    def shrunk(self, by: float) -> Extent:
        """Return what is left of it without a margin."""
        return Extent(self.left + by, self.top + by, self.right - by, self.bottom - by)


@dataclass(frozen=True, slots=True)
class Thing:
    """A group of the picture: what it is, which one, and what else is said of it. `inside`: the things around it."""

    what: str
    key: str
    data: Mapping[str, str]
    inside: tuple[Thing, ...] = ()
    title: str = ""
    number: int = 0

    def box(self) -> str:
        """Return the id of the box that it is in, "" for none."""
        return next((t.key for t in reversed(self.inside) if t.what == "box"), "")


@dataclass(frozen=True, slots=True)
class Writing:
    """A line of text: from where, how large, and the `length` that whoever shows it is asked to keep to."""

    text: str
    at: Point
    size: float
    bold: bool
    anchor: str
    length: float | None
    inside: tuple[Thing, ...]
    role: str = ""


@dataclass(frozen=True, slots=True)
class Stroke:
    """A run of straight pieces through points."""

    points: tuple[Point, ...]
    inside: tuple[Thing, ...]
    closed: bool = False
    filled: bool = False
    drawn: bool = True
    role: str = ""

    def pieces(self) -> Iterator[tuple[Point, Point]]:
        """Yield each straight piece that has a length."""
        ends = (*self.points, self.points[0]) if self.closed else self.points
        yield from ((a, b) for a, b in pairwise(ends) if a != b)


@dataclass(frozen=True, slots=True)
class Area:
    """A rectangle that is drawn, or what a circle stands in."""

    extent: Extent
    inside: tuple[Thing, ...]
    fill: str = ""
    role: str = ""


@dataclass(slots=True)
class Picture:
    """Everything that an SVG says."""

    width: float
    height: float
    things: list[Thing] = field(default_factory=list)
    writings: list[Writing] = field(default_factory=list)
    strokes: list[Stroke] = field(default_factory=list)
    areas: list[Area] = field(default_factory=list)
    _box_of: dict[str, str] | None = None

    def of(self, what: str) -> list[Thing]:
        """Return the things of one sort, in the order in which they are drawn."""
        return [thing for thing in self.things if thing.what == what]

    def boxes(self) -> dict[str, Extent]:
        """Return the outline of each box."""
        return {a.inside[-1].key: a.extent for a in self.areas if a.role == "box" and a.inside}

    def box_of(self, end: str) -> str:
        """Return the box that has a row of this address, or is called so itself; "" where there is none."""
        if self._box_of is None:
            self._box_of = {t.key: t.key for t in self.of("box")} | {t.key: t.box() for t in self.of("row")}
        return self._box_of.get(end, "")

    def lines(self) -> list[tuple[Thing, list[Stroke]]]:
        """Return each line between boxes with its strokes."""
        found: dict[int, tuple[Thing, list[Stroke]]] = {t.number: (t, []) for t in self.of("line")}
        for stroke in self.strokes:
            for thing in stroke.inside:
                if thing.number in found and stroke.drawn:
                    found[thing.number][1].append(stroke)
        return list(found.values())


# --- reading ------------------------------------------------------------------------------------------------------


def read_picture(svg: str | bytes) -> Picture:
    """Return what an SVG says."""
    root = ET.fromstring(svg)
    if root.tag != f"{SVG}svg":
        raise ValueError(f"no SVG but {root.tag}")
    view = [float(n) for n in root.get("viewBox", "").replace(",", " ").split()]
    width, height = view[2:] if view else (_length(root.get("width")), _length(root.get("height")))
    picture = Picture(width, height)
    _Reader(picture).read(root, (1, 0, 0, 1, 0, 0), (), {})
    return picture


class _Reader:
    def __init__(self, picture: Picture) -> None:
        self.picture = picture

    def read(
        self, element: ET.Element, matrix: Matrix, inside: tuple[Thing, ...], style: Mapping[str, str]
    ) -> None:
        """Read an element and all in it. Texts and shapes inherit the attributes of what they are in."""
        tag = element.tag.removeprefix(SVG)
        if tag in ("defs", "style", "title", "desc", "metadata", "clipPath"):
            return
        if tag == "use":
            raise ValueError("what is used from elsewhere can't be read back")
        matrix = _times(matrix, _matrix(element.get("transform", "")))
        style = {**style, **{k: v for k, v in element.attrib.items() if k in _INHERITED}, **_style(element)}
        role = element.get("class", "")
        if tag in ("g", "a", "svg"):
            inside = self._inside(element, inside)
            for child in element:
                self.read(child, matrix, inside, style)
        elif tag == "text":
            self._text(element, matrix, inside, style, role)
        elif tag == "rect":
            x, y, width, height = (float(element.get(n, "0")) for n in ("x", "y", "width", "height"))
            corners = [_at(matrix, p) for p in ((x, y), (x + width, y + height))]
            (left, right), (top, bottom) = (sorted(axis) for axis in zip(*corners, strict=True))
            fill = style.get("fill", "")
            self.picture.areas.append(Area(Extent(left, top, right, bottom), inside, fill, role))
        elif tag in ("path", "polyline", "polygon", "line"):
            for points, closed in _runs(element, tag):
                filled = style.get("fill", "black") != "none"
                drawn = style.get("stroke", "none") != "none"
                at = tuple(_at(matrix, p) for p in points)
                self.picture.strokes.append(Stroke(at, inside, closed, filled, drawn, role))
        elif tag == "circle":
            x, y, radius = (float(element.get(n, "0")) for n in ("cx", "cy", "r"))
            (left, top), (right, bottom) = (
                _at(matrix, p) for p in ((x - radius, y - radius), (x + radius, y + radius))
            )
            self.picture.areas.append(
                Area(Extent(left, top, right, bottom), inside, style.get("fill", ""), role)
            )
        else:
            raise ValueError(f"an element that pictures don't have: {tag}")

    def _inside(self, element: ET.Element, inside: tuple[Thing, ...]) -> tuple[Thing, ...]:
        data = {k.removeprefix("data-"): v for k, v in element.attrib.items() if k.startswith("data-")}
        if "what" not in data:
            return inside
        title = element.findtext(f"{SVG}title", "")
        number = len(self.picture.things)
        thing = Thing(data.pop("what"), data.pop("key", ""), data, inside, title, number)
        self.picture.things.append(thing)
        return (*inside, thing)

    def _text(
        self,
        element: ET.Element,
        matrix: Matrix,
        inside: tuple[Thing, ...],
        style: Mapping[str, str],
        role: str,
    ) -> None:
        parts = [element] if not len(element) else [c for c in element if c.tag == f"{SVG}tspan"]
        for part in parts:
            own = {**style, **{k: v for k, v in part.attrib.items() if k in _INHERITED}, **_style(part)}
            at = (float(part.get("x", element.get("x", "0"))), float(part.get("y", element.get("y", "0"))))
            length = part.get("textLength")
            self.picture.writings.append(
                Writing(
                    "".join(part.itertext()),
                    _at(matrix, at),
                    _length(own.get("font-size", "12")) * matrix[3],
                    own.get("font-weight", "400") in ("bold", "600", "700"),
                    own.get("text-anchor", "start"),
                    None if length is None else float(length),
                    inside,
                    role,
                )
            )


_INHERITED = frozenset(
    {"fill", "stroke", "font-size", "font-weight", "font-style", "text-anchor", "font-family"}
)


def _style(element: ET.Element) -> dict[str, str]:
    pairs = (one.split(":", 1) for one in element.get("style", "").split(";") if ":" in one)
    return {name.strip(): value.strip() for name, value in pairs}


def _length(text: str | None) -> float:
    return float(re.sub(r"(pt|px)$", "", text or "0"))


def _matrix(text: str) -> Matrix:
    out: Matrix = (1, 0, 0, 1, 0, 0)
    for name, inner in re.findall(r"(\w+)\(([^)]*)\)", text):
        n = [float(x) for x in inner.replace(",", " ").split()]
        if name == "translate":
            out = _times(out, (1, 0, 0, 1, n[0], n[1] if len(n) > 1 else 0))
        elif name == "scale":
            out = _times(out, (n[0], 0, 0, n[-1], 0, 0))
        elif name == "matrix":
            out = _times(out, (n[0], n[1], n[2], n[3], n[4], n[5]))
        else:
            raise ValueError(f"a transform that pictures don't have: {name}")
    return out


def _times(m: Matrix, n: Matrix) -> Matrix:
    return (
        m[0] * n[0] + m[2] * n[1],
        m[1] * n[0] + m[3] * n[1],
        m[0] * n[2] + m[2] * n[3],
        m[1] * n[2] + m[3] * n[3],
        m[0] * n[4] + m[2] * n[5] + m[4],
        m[1] * n[4] + m[3] * n[5] + m[5],
    )


def _at(m: Matrix, p: Point) -> Point:
    return (round(m[0] * p[0] + m[2] * p[1] + m[4], 4), round(m[1] * p[0] + m[3] * p[1] + m[5], 4))


def _runs(element: ET.Element, tag: str) -> Iterator[tuple[tuple[Point, ...], bool]]:
    """Yield the runs of straight pieces of a shape, and whether each is closed."""
    if tag == "line":
        x1, y1, x2, y2 = (float(element.get(n, "0")) for n in ("x1", "y1", "x2", "y2"))
        yield ((x1, y1), (x2, y2)), False
    elif tag in ("polyline", "polygon"):
        n = [float(x) for x in element.get("points", "").replace(",", " ").split()]
        yield tuple(zip(n[::2], n[1::2], strict=True)), tag == "polygon"
    else:
        yield from _path(element.get("d", ""))


def _path(text: str) -> Iterator[tuple[tuple[Point, ...], bool]]:
    points: list[Point] = []
    for letter, inner in re.findall(r"([A-Za-z])([^A-Za-z]*)", text):
        n = [float(x) for x in re.findall(r"-?[\d.]+(?:e-?\d+)?", inner)]
        if letter == "M":
            if len(points) > 1:
                yield tuple(points), False
            points = list(zip(n[::2], n[1::2], strict=True))
        elif letter == "L":
            points += zip(n[::2], n[1::2], strict=True)
        elif letter == "H":
            points += [(x, points[-1][1]) for x in n]
        elif letter == "V":
            points += [(points[-1][0], y) for y in n]
        elif letter == "h":
            points.append((points[-1][0] + n[0], points[-1][1]))
        elif letter == "v":
            points.append((points[-1][0], points[-1][1] + n[0]))
        elif letter in "Zz":
            yield tuple(points), True
            points = []
        else:
            raise ValueError(f"a piece of a path that pictures don't have: {letter}")
    if len(points) > 1:
        yield tuple(points), False


# --- who shows it -------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Hand:
    """Who shows a picture: in which font, wider or narrower than it is by a factor, and whether lengths are kept.

    A renderer that keeps to `textLength` sets any font as wide as it is told; one that doesn't, as wide as the font is.
    """

    name: str
    regular: Path
    bold: Path
    keeps: bool = False
    wider: float = 1.0

    def extent(self, writing: Writing) -> Extent:
        """Return the room that a text takes: as wide as it is set, as high as its own letters are."""
        face = _face(self.bold if writing.bold else self.regular)
        wide, low, high = 0.0, 0.0, 0.0
        for letter in writing.text:
            advance, bottom, top = face.get(letter) or (1.0, -0.12, 0.88)
            wide += advance
            low, high = min(low, bottom), max(high, top)
        width = wide * writing.size * self.wider
        if self.keeps and writing.length is not None:
            width = writing.length
        x, y = writing.at
        left = x - {"start": 0.0, "middle": width / 2, "end": width}[writing.anchor]
        return Extent(left, y - high * writing.size, left + width, y - low * writing.size)


@cache
def _face(path: Path) -> dict[str, tuple[float, float, float]]:
    """Return of each letter of a font its advance, how far it goes below the line, and how high: in ems."""
    from fontTools.ttLib import TTFont

    with TTFont(path, lazy=True) as font:
        em, widths, glyphs = font["head"].unitsPerEm, font["hmtx"].metrics, font["glyf"]
        out = {}
        for code, name in font.getBestCmap().items():
            glyph = glyphs[name]
            low, high = (glyph.yMin, glyph.yMax) if glyph.numberOfContours else (0, 0)
            out[chr(code)] = (widths[name][0] / em, low / em, high / em)
        return out
