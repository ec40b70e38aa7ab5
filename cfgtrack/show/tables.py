"""Tables that fit a terminal, and the few marks that all texts share.

>>> print(table(["unit", "serial"], [["PUMP-1", "1e5"]]))
unit    serial
------  ------
PUMP-1  1e5
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from contextvars import ContextVar

WIDTH = 100
"""The columns that a text takes at most, where nobody says less: see `within`."""

NARROWEST_TEXT = 40
_width: ContextVar[int] = ContextVar("width", default=WIDTH)
_GAP = 2
_NARROWEST = 4
_SHORT = 12
"""What is no longer than this is wrapped after all that is longer."""


@contextmanager
def within(width: int) -> Iterator[None]:
    """Wrap all texts that are made inside to `width` columns; never to fewer than `NARROWEST_TEXT`.

    Whoever prints an answer knows how wide the screen is; what makes its text need not hand that on.

    >>> with within(60):
    ...     columns()
    60
    """
    before = _width.set(max(width, NARROWEST_TEXT))
    try:
        yield
    finally:
        _width.reset(before)


def columns() -> int:
    """Return to how many columns texts are wrapped here."""
    return _width.get()


def table(headers: Sequence[str], rows: Iterable[Sequence[object]], *, width: int | None = None) -> str:
    """Return a table of texts, wrapped to `width` columns where it would be wider. "" when there are no rows.

    Every cell stands as it is: no number is recognised in a text, so the serial ``1e5`` stays ``1e5``. A column
    in which every cell is empty is left out. On a screen narrower than `WIDTH` on which words would have to be
    cut, each row is a paragraph of its own, a line a cell.
    """
    width = width or columns()
    from tabulate import tabulate

    cells = [["" if cell is None else str(cell) for cell in row] for row in rows]
    if not cells:
        return ""
    used = [i for i in range(len(headers)) if any(row[i] for row in cells)]
    cells = [[row[i] for i in used] for row in cells]
    heads = [headers[i] for i in used]
    if width < WIDTH and not _fits(heads, cells, width):
        return "\n\n".join(_stacked(heads, row, width) for row in cells)
    widths = _widths(heads, cells, width)
    # The heads go in as a row: as heads proper they would widen every column by two. Wrapped here: tabulate's own
    # wrapping makes True of the text False.
    text = tabulate(
        [
            [_wrapped(cell, w) for cell, w in zip(row, widths, strict=True)]
            for row in (heads, ["-" * w for w in widths], *cells)
        ],
        tablefmt="plain",
        disable_numparse=True,
    )
    return "\n".join(line.rstrip() for line in text.splitlines())


def _wrapped(text: str, width: int) -> str:
    """Return a cell wrapped to its column, without blank lines; a word longer than the column is cut."""
    import textwrap

    if len(text) <= width and text.isprintable():
        return text
    lines = (textwrap.wrap(line, width, break_on_hyphens=False) for line in text.splitlines())
    return "\n".join(line for wrapped in lines for line in wrapped)


def _fits(heads: Sequence[str], cells: Sequence[Sequence[str]], width: int) -> bool:
    """Return whether every column is wide enough for its longest word."""
    words = [max(_longest_word(row[i]) for row in [heads, *cells]) for i in range(len(heads))]
    return sum(words) + _GAP * (len(heads) - 1) <= width


def _stacked(heads: Sequence[str], row: Sequence[str], width: int) -> str:
    """Return one row as lines of ``head  cell``."""
    to = _longest("\n".join(heads)) + _GAP
    return "\n".join(
        labelled(head, cell, by=0, to=to, width=width) for head, cell in zip(heads, row, strict=True) if cell
    )


def _widths(heads: Sequence[str], cells: Sequence[Sequence[str]], width: int) -> list[int]:
    """Return column widths that add up to `width` at most: prose is wrapped first, words are cut last."""
    by_column = [[row[i] for row in [heads, *cells]] for i in range(len(heads))]
    widths = [max(_longest(text) for text in column) for column in by_column]
    words = [max(map(_longest_word, column)) for column in by_column]
    short = [max(word, min(width, _SHORT)) for word, width in zip(words, widths, strict=True)]
    over = sum(widths) + _GAP * (len(heads) - 1) - width
    for floors in (short, words, [_NARROWEST] * len(heads)):
        while over > 0:
            widest = max(range(len(heads)), key=lambda i: widths[i] - floors[i])
            if widths[widest] <= floors[widest]:
                break
            widths[widest] -= 1
            over -= 1
    return [max(w, 1) for w in widths]


def _longest(text: str) -> int:
    return max((len(line) for line in text.splitlines()), default=0)


def _longest_word(text: str) -> int:
    return max(map(len, text.split()), default=0)


def heading(title: str, moment: object, *, colour: bool = False) -> str:
    """Return the head of an answer: what it is about, and the moment it was asked for."""
    if len(title) + len(str(moment)) + 4 <= columns():
        return f"{styled(title, colour=colour, bold=True)}  ({moment})"
    return f"{styled(indented(title, by=0), colour=colour, bold=True)}\n{indented(f'({moment})')}"


def count(number: int, thing: str, things: str = "") -> str:
    """Return a number with its noun.

    >>> count(1, "finding"), count(3, "loss", "losses"), count(0, "finding")
    ('1 finding', '3 losses', 'no findings')
    """
    plural = things or f"{thing}s"
    return f"{number or 'no'} {thing if number == 1 else plural}"


def indented(text: str, *, by: int = 2, width: int | None = None) -> str:
    """Return a paragraph wrapped to `width`, every line indented."""
    import textwrap

    blank = " " * by
    return textwrap.fill(
        text,
        width or columns(),
        initial_indent=blank,
        subsequent_indent=blank,
        break_long_words=False,
        break_on_hyphens=False,
    )


def labelled(label: str, text: str, *, by: int = 2, to: int = 12, width: int | None = None) -> str:
    """Return ``label  text``, the text wrapped and aligned in its own column."""
    import textwrap

    first = f"{' ' * by}{label}".ljust(by + to)
    return textwrap.fill(
        text,
        width or columns(),
        initial_indent=first if first.endswith(" ") else f"{first} ",
        subsequent_indent=" " * (by + to),
        break_long_words=False,
        break_on_hyphens=False,
    )


def styled(text: str, *, colour: bool, fg: str | None = None, bold: bool = False) -> str:
    """Return `text` in a colour or bold when `colour` says so: never the only carrier of a meaning."""
    if not colour:
        return text
    from click import style

    return style(text, fg=fg, bold=bold)


def sections(*parts: str) -> str:
    """Return the parts that are not empty, with a blank line between them."""
    return "\n\n".join(part for part in parts if part)
