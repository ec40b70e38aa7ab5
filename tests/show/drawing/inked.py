"""What is on a page, for tests that measure it."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from cfgtrack.show.drawing.ink import Anchor, Circle, Group, Ink, Page, Path, Rect, Text
from tests.show.drawing.shown import all_ink

Area = tuple[float, float, float, float]
"""Left, top, right and bottom."""


def groups(ink: Iterable[Ink], what: str) -> Iterator[Group]:
    """Return the groups of one sort, wherever they are."""
    return (one for one in all_ink(ink) if isinstance(one, Group) and one.what == what)


def leaves(ink: Iterable[Ink]) -> Iterator[Text | Rect | Path | Circle]:
    """Return all ink that is no group."""
    return (one for one in all_ink(ink) if not isinstance(one, Group))


def texts(ink: Iterable[Ink]) -> list[Text]:
    """Return the texts that say something."""
    return [one for one in leaves(ink) if isinstance(one, Text) and one.text.strip()]


def area_of(text: Text) -> Area:
    """Return what a text covers: from the height of its capitals to its baseline, where nothing may meet it."""
    left = text.x - {Anchor.START: 0.0, Anchor.MIDDLE: 0.5, Anchor.END: 1.0}[text.anchor] * text.width
    return left, text.y - 0.66 * text.size, left + text.width, text.y


def overlap(a: Area, b: Area, *, slack: float = 0.3) -> bool:
    """Whether two areas have more in common than a border."""
    return a[0] < b[2] - slack and b[0] < a[2] - slack and a[1] < b[3] - slack and b[1] < a[3] - slack


def border(box: Group) -> Area:
    """Return a box's border."""
    found = next(one for one in box.ink if isinstance(one, Rect) and one.role == "box")
    return found.x, found.y, found.x + found.width, found.y + found.height


def route(line: Group) -> tuple[tuple[float, float], ...]:
    """Return the points of a line."""
    return next(one.points for one in line.ink if isinstance(one, Path) and one.role == "line")


def positions(page: Page) -> dict[str, object]:
    """Return where every box, bar, gate, row end and line is."""
    found: dict[str, object] = {}
    for box in groups(page.ink, "box"):
        found[box.key] = border(box)
        for row in groups(box.ink, "row"):
            found[row.key] = [(t.x, t.y) for t in texts(row.ink) if t.role == "row"]
        for gate in groups(box.ink, "gate"):
            found[gate.key] = [t.y for t in texts(gate.ink) if t.role == "gate"]
    return found
