"""Where the labels of lines stand: on their line, clear of all boxes and of each other."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import pairwise

from cfgtrack.show.drawing.layout import Point

Area = tuple[float, float, float, float]
"""Left, top, right and bottom."""

HIGH = 11.0


def spots(
    wants: Sequence[tuple[float, tuple[Point, ...], Point | None]], boxes: Sequence[Area]
) -> list[Point | None]:
    """Return a middle for each label: how wide it is, the way of its line, and where the layout would have it.

    None where there is no clear place along the line.
    """
    taken: list[Area] = list(boxes)
    found: list[Point | None] = []
    for wide, way, wished in wants:
        spot = None
        if wide:
            tried = (*([wished] if wished else []), *_along(way))
            spot = next((at for at in tried if _is_clear(_area(at, wide), taken)), None)
        if spot is not None:
            taken.append(_area(spot, wide))
        found.append(spot)
    return found


def _along(way: tuple[Point, ...]) -> Iterator[Point]:
    """Yield places along a line: the middle of its longest piece first."""
    pieces = sorted(pairwise(way), key=lambda p: -(abs(p[0][0] - p[1][0]) + abs(p[0][1] - p[1][1])))
    for share in (0.5, 0.3, 0.7, 0.15, 0.85):
        for (ax, ay), (bx, by) in pieces:
            yield ax + share * (bx - ax), ay + share * (by - ay)


def _area(at: Point, wide: float) -> Area:
    return at[0] - wide / 2, at[1] - HIGH / 2, at[0] + wide / 2, at[1] + HIGH / 2


def _is_clear(area: Area, taken: Sequence[Area]) -> bool:
    left, top, right, bottom = area
    return not any(left < one[2] and one[0] < right and top < one[3] and one[1] < bottom for one in taken)
