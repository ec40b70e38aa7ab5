"""What makes a picture hard to read: each check returns what is wrong, in words, so that nothing is a pass."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import combinations

from tests.show.drawing.readback import Extent, Hand, Picture, Point, Stroke, Writing

TOUCH = 0.3
"""So little, in points, nobody sees."""


def faults_of(picture: Picture, hand: Hand) -> list[str]:
    """Return everything that makes a picture hard to read when it is shown by somebody."""
    return [
        *overlapping_texts(picture, hand),
        *texts_off_their_box(picture, hand),
        *texts_off_the_page(picture, hand),
        *lines_through_texts(picture, hand),
        *slanted(picture),
        *overlapping_boxes(picture),
        *lines_through_boxes(picture),
        *lines_on_lines(picture),
    ]


def overlapping_texts(picture: Picture, hand: Hand) -> Iterator[str]:
    """Yield each two texts that are set over one another."""
    found = [(w, hand.extent(w)) for w in picture.writings if w.text.strip()]
    found.sort(key=lambda one: one[1].top)
    open_: list[tuple[Writing, Extent]] = []
    for writing, extent in found:
        open_ = [(w, e) for w, e in open_ if e.bottom > extent.top]
        yield from (
            f"{hand.name}: {w.text!r} and {writing.text!r} overlap"
            for w, e in open_
            if e.overlaps(extent, TOUCH)
        )
        open_.append((writing, extent))


def texts_off_their_box(picture: Picture, hand: Hand) -> Iterator[str]:
    """Yield each text of a box, or of something in one, that isn't in it."""
    boxes = picture.boxes()
    for writing in picture.writings:
        outer = next((boxes[t.key] for t in writing.inside if t.what == "box" and t.key in boxes), None)
        if outer is not None and writing.text.strip() and not _beside(writing):
            extent = hand.extent(writing)
            if not outer.holds(extent, TOUCH):
                yield f"{hand.name}: {writing.text!r} leaves its box"


def _beside(writing: Writing) -> bool:
    """Whether a text stands on its box's edge by intent: a tab, or the sign of a change."""
    return writing.role in ("mark", "change") and writing.inside[-1].what in ("mark", "box")


def texts_off_the_page(picture: Picture, hand: Hand) -> Iterator[str]:
    """Yield each text that the page cuts off."""
    page = Extent(0, 0, picture.width, picture.height)
    for writing in picture.writings:
        if writing.text.strip() and not page.holds(hand.extent(writing), TOUCH):
            yield f"{hand.name}: {writing.text!r} leaves the page"


def lines_through_texts(picture: Picture, hand: Hand) -> Iterator[str]:
    """Yield each line between boxes, or inside one, that runs through a text."""
    pieces = [
        (piece, stroke)
        for stroke in picture.strokes
        if stroke.drawn
        for piece in stroke.pieces()
        if not stroke.closed
    ]
    bands: dict[int, list[tuple[tuple[Point, Point], Stroke]]] = {}
    for piece, stroke in pieces:
        top, bottom = sorted((piece[0][1], piece[1][1]))
        for band in range(int(top // _BAND), int(bottom // _BAND) + 1):
            bands.setdefault(band, []).append((piece, stroke))
    for writing in picture.writings:
        if not writing.text.strip():
            continue
        extent = hand.extent(writing).shrunk(TOUCH)
        seen: set[int] = set()
        for band in range(int(extent.top // _BAND), int(extent.bottom // _BAND) + 1):
            for piece, stroke in bands.get(band, ()):
                if id(stroke) not in seen and crosses(piece, extent) and not _is_own_label(writing, stroke):
                    seen.add(id(stroke))
                    of = stroke.inside[-1] if stroke.inside else None
                    yield f"{hand.name}: a line ({of and of.what} {of and of.key}) runs through {writing.text!r}"


_BAND = 20.0
_SLANT = 0.5


def _is_own_label(writing: Writing, stroke: Stroke) -> bool:
    """Whether a text is a line's own label, on a plate of its own."""
    return writing.role == "label" and writing.inside[-1:] == stroke.inside[-1:]


def crosses(piece: tuple[Point, Point], extent: Extent) -> bool:
    """Return whether a straight piece has a point in a rectangle (Liang and Barsky's clipping, from memory)."""
    (x0, y0), (x1, y1) = piece
    begin, end = 0.0, 1.0
    for step, room in (
        (x0 - x1, x0 - extent.left),
        (x1 - x0, extent.right - x0),
        (y0 - y1, y0 - extent.top),
        (y1 - y0, extent.bottom - y0),
    ):
        if step == 0:
            if room < 0:
                return False
        elif step < 0:
            begin = max(begin, room / step)
        else:
            end = min(end, room / step)
    return begin < end


def slanted(picture: Picture) -> Iterator[str]:
    """Yield each line between boxes that is neither across nor down all the way."""
    for thing, strokes in picture.lines():
        for stroke in strokes:
            if any(t.what == "hop" for t in stroke.inside) or stroke.closed:
                continue
            for (x0, y0), (x1, y1) in stroke.pieces():
                if min(abs(x0 - x1), abs(y0 - y1)) > _SLANT:
                    yield f"line {thing.key or dict(thing.data)} is slanted"
                    break


def overlapping_boxes(picture: Picture) -> Iterator[str]:
    """Yield each two boxes that overlap, but for one that is drawn in another."""
    inside = {(t.key, u.key) for t in picture.of("box") for u in t.inside if u.what == "box"}
    for (a, one), (b, other) in combinations(picture.boxes().items(), 2):
        if one.overlaps(other, TOUCH) and not {(a, b), (b, a)} & inside:
            yield f"boxes {a} and {b} overlap"


def lines_through_boxes(picture: Picture) -> Iterator[str]:
    """Yield each line that runs through a box that is neither end of it."""
    boxes = picture.boxes()
    around = {t.key: {u.key for u in t.inside} for t in picture.of("box")}
    for thing, strokes in picture.lines():
        ends = {picture.box_of(thing.data.get("a", "")), picture.box_of(thing.data.get("b", ""))}
        ends |= {outer for end in ends for outer in around.get(end, ())}
        for key, extent in boxes.items():
            inner = extent.shrunk(1.0)
            if key not in ends and any(crosses(p, inner) for s in strokes for p in s.pieces()):
                yield f"line {thing.key or dict(thing.data)} runs through box {key}"


def lines_on_lines(picture: Picture) -> Iterator[str]:
    """Yield each two lines with different ends that run along one another, so that nobody tells which goes where."""
    runs: dict[tuple[bool, int], list[tuple[float, float, float, int, str]]] = {}
    for number, (thing, strokes) in enumerate(picture.lines()):
        for stroke in strokes:
            for (x0, y0), (x1, y1) in stroke.pieces() if stroke.role == "line" else ():
                across = abs(y0 - y1) < abs(x0 - x1)
                at, low, high = (y0, *sorted((x0, x1))) if across else (x0, *sorted((y0, y1)))
                runs.setdefault((across, round(at)), []).append((at, low, high, number, thing.key))
    told: set[tuple[int, int]] = set()
    for (across, band), some in runs.items():
        near = [*some, *runs.get((across, band + 1), ())]
        for (at, low, high, a, one), (by, start, end, b, other) in combinations(near, 2):
            shared = min(high, end) - max(low, start)
            if a != b and abs(at - by) < _APART and shared > _ALONG and (a, b) not in told:
                told.add((a, b))
                yield f"lines {one} and {other} run along one another for {shared:.0f} pt"


_APART, _ALONG = 1.5, 3.0
