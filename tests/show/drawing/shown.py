"""What ink shows, for tests: its groups and texts one by one, and which texts meet."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from cfgtrack.show.drawing.ink import Anchor, Group, Ink, Page, Text


def all_ink(ink: Iterable[Ink]) -> Iterator[Ink]:
    """Yield all ink, that of groups too, each group before what is in it."""
    for one in ink:
        yield one
        if isinstance(one, Group):
            yield from all_ink(one.ink)


def groups(page: Page, what: str) -> list[Group]:
    """Return the groups of one sort."""
    return [one for one in all_ink(page.ink) if isinstance(one, Group) and one.what == what]


def texts(page: Page) -> list[Text]:
    """Return all texts."""
    return [one for one in all_ink(page.ink) if isinstance(one, Text)]


def words(page: Page) -> str:
    """Return all that a page says, a line for each text."""
    return "\n".join(one.text for one in texts(page))


def box(text: Text) -> tuple[float, float, float, float]:
    """Return what a text covers: left, top, right, bottom, from its widest letters' feet to its capitals' heads."""
    shift = {Anchor.START: 0.0, Anchor.MIDDLE: text.width / 2, Anchor.END: text.width}[text.anchor]
    left = text.x - shift
    return left, text.y - 0.7 * text.size, left + text.width, text.y + 0.1 * text.size


def meeting(page: Page) -> list[tuple[str, str]]:
    """Return the pairs of texts that cover each other, by more than a hair."""
    placed = sorted(((box(text), text.text) for text in texts(page)), key=lambda one: one[0][1])
    found = []
    for i, ((left, top, right, bottom), text) in enumerate(placed):
        for (other_left, other_top, other_right, _), other in placed[i + 1 :]:
            if other_top >= bottom - 0.2:
                break
            if min(right, other_right) - max(left, other_left) > 0.2 and top < other_top + 100:
                found.append((text, other))
    return found


def outside(page: Page) -> list[str]:
    """Return the texts that leave the page."""
    return [t.text for t in texts(page) if (b := box(t))[0] < 0 or b[2] > page.width or b[3] > page.height]
