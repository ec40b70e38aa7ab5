"""Blocks of ink, one below the other, on one page that is as high as it must be or on several of one height."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace

from cfgtrack.show.drawing.ink import Anchor, Circle, Group, Ink, Page, Path, Rect, Text
from cfgtrack.show.drawing.lettering import line
from cfgtrack.show.drawing.palette import FAINT, RULE

MARGIN = 24.0
"""What is left free around a page."""


@dataclass(frozen=True, slots=True)
class Block:
    """Ink that stays together, from (0, 0) down to its height."""

    height: float
    ink: tuple[Ink, ...]


def moved(ink: Iterable[Ink], dx: float, dy: float) -> tuple[Ink, ...]:
    """Return ink at another place."""
    return tuple(_moved(one, dx, dy) for one in ink)


def _moved(one: Ink, dx: float, dy: float) -> Ink:
    if isinstance(one, Group):
        return replace(one, ink=moved(one.ink, dx, dy))
    if isinstance(one, Path):
        return replace(one, points=tuple((_at(x + dx), _at(y + dy)) for x, y in one.points))
    if isinstance(one, Text) and one.within is not None:
        x, y, width, height = one.within
        one = replace(one, within=(_at(x + dx), _at(y + dy), width, height))
    assert isinstance(one, Text | Rect | Circle)
    return replace(one, x=_at(one.x + dx), y=_at(one.y + dy))


def _at(value: float) -> float:
    return round(value, 2)


def scaled(ink: Iterable[Ink], by: float) -> tuple[Ink, ...]:
    """Return ink larger or smaller, with its texts and how thick its lines are, about (0, 0)."""
    return tuple(_scaled(one, by) for one in ink)


def _scaled(one: Ink, by: float) -> Ink:
    if isinstance(one, Group):
        return replace(one, ink=scaled(one.ink, by))
    if isinstance(one, Text):
        within = None if one.within is None else tuple(_at(v * by) for v in one.within)
        return replace(
            one,
            x=_at(one.x * by),
            y=_at(one.y * by),
            size=_at(one.size * by),
            width=_at(one.width * by),
            within=within,  # type: ignore[arg-type] # four, as before
        )
    dash = tuple(_at(d * by) for d in one.dash)
    thickness = _at(one.thickness * by)
    if isinstance(one, Path):
        points = tuple((_at(x * by), _at(y * by)) for x, y in one.points)
        return replace(one, points=points, thickness=thickness, dash=dash)
    x, y, radius = _at(one.x * by), _at(one.y * by), _at(one.radius * by)
    if isinstance(one, Circle):
        return replace(one, x=x, y=y, radius=radius, thickness=thickness, dash=dash)
    wide, high = _at(one.width * by), _at(one.height * by)
    return replace(one, x=x, y=y, width=wide, height=high, radius=radius, thickness=thickness, dash=dash)


def extent(ink: Iterable[Ink]) -> tuple[float, float, float, float]:
    """Return what ink covers: left, top, right, bottom. ValueError for none."""
    boxes = [*_extents(ink)]
    return (
        min(b[0] for b in boxes),
        min(b[1] for b in boxes),
        max(b[2] for b in boxes),
        max(b[3] for b in boxes),
    )


def _extents(ink: Iterable[Ink]) -> Iterator[tuple[float, float, float, float]]:
    for one in ink:
        if isinstance(one, Group):
            yield from _extents(one.ink)
        elif isinstance(one, Text):
            before = {Anchor.START: 0.0, Anchor.MIDDLE: 0.5, Anchor.END: 1.0}[one.anchor] * one.width
            yield one.x - before, one.y - 0.8 * one.size, one.x - before + one.width, one.y + 0.25 * one.size
        elif isinstance(one, Path):
            xs, ys = zip(*one.points, strict=True)
            yield min(xs), min(ys), max(xs), max(ys)
        elif isinstance(one, Circle):
            yield one.x - one.radius, one.y - one.radius, one.x + one.radius, one.y + one.radius
        else:
            yield one.x, one.y, one.x + one.width, one.y + one.height


def one_page(blocks: Iterable[Block], width: float, title: str) -> Page:
    """Return one page with all of the blocks, as high as they are."""
    y, ink = MARGIN, list[Ink]()
    for block in blocks:
        ink += moved(block.ink, MARGIN, y)
        y += block.height
    return Page(width, _at(y + MARGIN), tuple(ink), title)


def pages(blocks: Sequence[Block], width: float, height: float, title: str) -> tuple[Page, ...]:
    """Return as many pages of one size as the blocks need, each with its number; one that is too high has its own."""
    room = height - 2 * MARGIN - 12
    filled: list[list[Block]] = [[]]
    used = 0.0
    for block in blocks:
        if filled[-1] and used + block.height > room:
            filled.append([])
            used = 0.0
        filled[-1].append(block)
        used += block.height
    out = []
    for number, some in enumerate(filled, 1):
        page = one_page(some, width, title)
        high = max(height, page.height + 12)
        said = f"{title}  -  page {number} of {len(filled)}"
        foot = line(MARGIN, high - MARGIN + 8, said, size=7, colour=FAINT, role="page")
        out.append(replace(page, height=high, ink=(*page.ink, foot)))
    return tuple(out)


def stacked(several: Sequence[Page]) -> Page:
    """Return several pages as one, each below the other, with a rule between them."""
    first = several[0]
    width, y, ink = max(page.width for page in several), 0.0, list[Ink]()
    for page in several:
        if y:
            ink.append(Path(((0, _at(y)), (width, _at(y))), stroke=RULE, thickness=0.8, role="page-edge"))
        ink += moved(page.ink, 0, y)
        y += page.height
    return Page(width, _at(y), tuple(ink), first.title)


def written(several: Sequence[Page], form: str) -> bytes:
    """Return pages as a file: PDF has them one by one, SVG and PNG one below the other."""
    if form == "pdf":
        from cfgtrack.show.drawing.paper import pdf

        return pdf(*several)
    page = several[0] if len(several) == 1 else stacked(several)
    if form == "png":
        from cfgtrack.show.drawing.paper import png

        return png(page)
    from cfgtrack.show.drawing.svg import svg

    return svg(page)
