"""Tables that fit a terminal, and the few marks that all texts share.

>>> print(table(["unit", "serial"], [["PUMP-1", "1e5"]]))
unit    serial
------  ------
PUMP-1  1e5
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

WIDTH = 100
_GAP = 2
_NARROWEST = 4
_SHORT = 12
"""What is no longer than this is wrapped after all that is longer."""


def table(headers: Sequence[str], rows: Iterable[Sequence[object]], *, width: int = WIDTH) -> str:
    """Return a table of texts, wrapped to `width` columns where it would be wider. "" when there are no rows.

    Every cell stands as it is: no number is recognised in a text, so the serial ``1e5`` stays ``1e5``. A column
    in which every cell is empty is left out.
    """
    from tabulate import tabulate

    cells = [["" if cell is None else str(cell) for cell in row] for row in rows]
    if not cells:
        return ""
    used = [i for i in range(len(headers)) if any(row[i] for row in cells)]
    cells = [[row[i] for i in used] for row in cells]
    heads = [headers[i] for i in used]
    widths = _widths(heads, cells, width)
    # The heads go in as a row: as heads proper they would widen every column by two.
    text = tabulate(
        [heads, ["-" * w for w in widths], *cells],
        tablefmt="plain",
        disable_numparse=True,
        maxcolwidths=list(widths),
        break_on_hyphens=False,
    )
    return "\n".join(line.rstrip() for line in text.splitlines())


def _widths(heads: Sequence[str], cells: Sequence[Sequence[str]], width: int) -> list[int]:
    """Return column widths that add up to `width` at most: prose is wrapped first, words are cut last."""
    columns = [[row[i] for row in [heads, *cells]] for i in range(len(heads))]
    widths = [max(_longest(text) for text in column) for column in columns]
    words = [max(_longest("\n".join(text.split())) for text in column) for column in columns]
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


def heading(title: str, moment: object, *, colour: bool = False) -> str:
    """Return the head of an answer: what it is about, and the moment it was asked for."""
    between = "  " if len(title) + len(str(moment)) + 4 <= WIDTH else "\n  "
    return f"{styled(title, colour=colour, bold=True)}{between}({moment})"


def count(number: int, thing: str, things: str = "") -> str:
    """Return a number with its noun.

    >>> count(1, "finding"), count(3, "loss", "losses"), count(0, "finding")
    ('1 finding', '3 losses', 'no findings')
    """
    plural = things or f"{thing}s"
    return f"{number or 'no'} {thing if number == 1 else plural}"


def indented(text: str, *, by: int = 2, width: int = WIDTH) -> str:
    """Return a paragraph wrapped to `width`, every line indented."""
    import textwrap

    blank = " " * by
    return textwrap.fill(
        text,
        width,
        initial_indent=blank,
        subsequent_indent=blank,
        break_long_words=False,
        break_on_hyphens=False,
    )


def labelled(label: str, text: str, *, by: int = 2, to: int = 12, width: int = WIDTH) -> str:
    """Return ``label  text``, the text wrapped and aligned in its own column."""
    import textwrap

    first = f"{' ' * by}{label}".ljust(by + to)
    return textwrap.fill(
        text,
        width,
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
