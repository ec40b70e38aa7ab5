"""Tables that fit a terminal, and the few marks that all texts share.

>>> print(table(["unit", "serial"], [["PUMP-1", "1e5"]]))
unit    serial
------  ------
PUMP-1  1e5
"""

from __future__ import annotations

import os
import re
import sys
import textwrap
from collections.abc import Collection, Iterable, Iterator, Sequence
from contextlib import contextmanager
from contextvars import ContextVar
from typing import TextIO

from cfgtrack.model.time import SECOND, format_duration
from cfgtrack.model.zone import with_local
from cfgtrack.show.visible import visible

WIDTH = 100
"""The columns that a text takes where no terminal says how many it has; prose takes no more on a wider one."""

NARROWEST_TEXT = 40
_width: ContextVar[int] = ContextVar("width", default=WIDTH)
_zone: ContextVar[str] = ContextVar("zone", default="")
_GAP = 2
_NARROWEST = 4
_BLANKS = re.compile(r"(\s+)")
_SYLLABLES = re.compile(r"(\s+|(?<=[a-z]-)(?=[a-z]))")
"""Where a text may be wrapped: at blanks alone, or at the hyphens of its words too."""

_SHORT = 12
"""What is no longer than this is wrapped after all that is longer."""

_BOND = "\x00"
"""Stands for a blank at which nothing is wrapped: `visible` leaves none of them in a text."""

_UNITS = (
    "s sec min h d day days week weeks ms us m mm cm km um in inch ft yd kg g mg t lb lbs oz N kN MN Nm kNm"
    " lbf ozf J kJ MJ Wh kWh W kW MW mW VA kVA V kV mV A mA kA uA Ah mAh ohm mohm kohm Mohm Gohm Ω Hz kHz MHz"
    " Pa kPa MPa GPa hPa bar mbar psi psig K degC degF °C °F C F delta_degC delta_degF deg rad l L ml mL gal"
    " % ppm mol turn turns cycle cycles"
)
_ONE_UNIT = (
    rf"(?:{'|'.join(sorted(map(re.escape, _UNITS.split()), key=len, reverse=True))})(?:(?:\^|\*\*)-?\d|[²³])?"
)
_QUANTITY = re.compile(
    r"(?<![\w.,:/-])[+-]?(?:\d+ )?\d+(?:[.,/]\d+)*(?:[eE][+-]?\d+)?"  # 25, 1/2, 1 1/2, -0.5, 1e-6
    rf" (?:1/)?{_ONE_UNIT}(?:(?:[*/·]| (?=lbf)){_ONE_UNIT})*(?![\w°%])"
)
_SHARE = re.compile(r"\b\d+ of \d+\b")
_LOCAL_TIME = re.compile(r"\(\d\d:\d\d [+-]\d\d:\d\d\)")
"""What is never broken in two: a number and its unit; so many of how many; a time of day and its offset."""


def _bound(text: str) -> str:
    """Return a text in which no blank is left at which it must not be wrapped.

    >>> _bound("1 1/2 in and 25 N*m, 3 units").replace(_BOND, "~")
    '1~1/2~in and 25~N*m, 3 units'
    """
    for form in (_QUANTITY, _SHARE, _LOCAL_TIME):
        text = form.sub(lambda found: found[0].replace(" ", _BOND), text)
    return text


def _unbound(text: str) -> str:
    return text.replace(_BOND, " ")


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


@contextmanager
def in_zone(zone: str) -> Iterator[None]:
    """Tell the time of day in a zone beside each deadline that is told inside; "" for none."""
    before = _zone.set(zone)
    try:
        yield
    finally:
        _zone.reset(before)


def columns() -> int:
    """Return to how many columns texts are wrapped here."""
    return _width.get()


def terminal_width(stream: TextIO | None = None) -> int:
    """Return how many columns there are, for an answer: what COLUMNS says, else the terminal's, else `WIDTH`.

    `stream`: where it goes, if that isn't standard output.
    """
    said = os.environ.get("COLUMNS", "")
    if said.isascii() and said.isdigit() and int(said):
        return int(said)
    try:
        return os.get_terminal_size((stream or sys.stdout).fileno()).columns or WIDTH
    except (AttributeError, ValueError, OSError):  # closed, no file, or no terminal
        return WIDTH


def _prose(width: int | None) -> int:
    """Return to how many columns a paragraph is wrapped: longer lines are hard to read on."""
    return width or min(columns(), WIDTH)


def table(
    headers: Sequence[str],
    rows: Iterable[Sequence[object]],
    *,
    width: int | None = None,
    hyphens: Collection[str] = (),
) -> str:
    """Return a table of texts, wrapped to `width` columns where it would be wider. "" when there are no rows.

    Every cell stands as it is: no number is recognised in a text, so the serial ``1e5`` stays ``1e5``. A column
    in which every cell is empty is left out. Columns named in `hyphens` may be wrapped at those of their words, which
    an id must not be. On a screen narrower than `WIDTH` on which words would have to be cut, each row is a paragraph of
    its own, a line a cell.
    """
    from tabulate import tabulate

    width = width or columns()
    cells = [["" if cell is None else _bound(visible(str(cell))) for cell in row] for row in rows]
    if not cells:
        return ""
    used = [i for i in range(len(headers)) if any(row[i] for row in cells)]
    cells = [[row[i] for i in used] for row in cells]
    heads = [headers[i] for i in used]
    marks = [_SYLLABLES if head in hyphens else _BLANKS for head in heads]
    columns_of = [_Column([row[i] for row in [heads, *cells]], mark) for i, mark in enumerate(marks)]
    if width < WIDTH and sum(c.least for c in columns_of) + _GAP * (len(heads) - 1) > width:
        return "\n\n".join(_stacked(heads, [_unbound(cell) for cell in row], width) for row in cells)
    widths = _widths(columns_of, width)
    # The heads go in as a row: as heads proper they would widen every column by two. Wrapped here: tabulate's own
    # wrapping makes True of the text False.
    text = tabulate(
        [
            [_wrapped(cell, w, mark) for cell, w, mark in zip(row, widths, marks, strict=True)]
            for row in (heads, ["-" * w for w in widths], *cells)
        ],
        tablefmt="plain",
        disable_numparse=True,
    )
    return "\n".join(line.rstrip() for line in text.splitlines())


class _Column:
    """How wide a column is, and how wide it must be for its longest word, and the least with no part of one cut."""

    def __init__(self, texts: Sequence[str], marks: re.Pattern[str]) -> None:
        self.width = max(map(_longest, texts))
        self.word = _longest_part(texts, _BLANKS)
        self.least = _longest_part(texts, marks)


def _longest_part(texts: Iterable[str], marks: re.Pattern[str]) -> int:
    parts = (part for text in texts for word in text.split() for part in marks.split(word))
    return max(map(len, parts), default=0)


def _wrapped(text: str, width: int, marks: re.Pattern[str]) -> str:
    """Return a cell wrapped to its column at the `marks`, without blank lines; what is longer than it is cut."""

    class Wrapper(textwrap.TextWrapper):
        def _split(self, text: str) -> list[str]:
            return [chunk for chunk in marks.split(text) if chunk]

    if len(text) <= width and "\n" not in text and "\t" not in text:
        return _unbound(text)
    wrap = Wrapper(width).wrap
    return _unbound("\n".join(wrapped for line in text.splitlines() for wrapped in wrap(line)))


def _stacked(heads: Sequence[str], row: Sequence[str], width: int) -> str:
    """Return one row as lines of ``head  cell``."""
    to = _longest("\n".join(heads)) + _GAP
    return "\n".join(
        labelled(head, cell, by=0, to=to, width=width) for head, cell in zip(heads, row, strict=True) if cell
    )


def _widths(table: Sequence[_Column], width: int) -> list[int]:
    """Return column widths that add up to `width` at most: prose is wrapped first, words are cut last."""
    widths = [column.width for column in table]
    short = [max(column.word, min(column.width, _SHORT)) for column in table]
    over = sum(widths) + _GAP * (len(table) - 1) - width
    for floors in (short, [c.word for c in table], [c.least for c in table], [_NARROWEST] * len(table)):
        while over > 0:
            widest = max(range(len(table)), key=lambda i: widths[i] - floors[i])
            if widths[widest] <= floors[widest]:
                break
            widths[widest] -= 1
            over -= 1
    return [max(w, 1) for w in widths]


def _longest(text: str) -> int:
    return max((len(line) for line in text.splitlines()), default=0)


def heading(title: str, moment: object, *, colour: bool = False) -> str:
    """Return the head of an answer: what it is about, and the moment it was asked for."""
    title = visible(title, lines=False)
    if len(title) + len(str(moment)) + 4 <= columns():
        return f"{styled(title, colour=colour, bold=True)}  ({moment})"
    return f"{styled(indented(title, by=0), colour=colour, bold=True)}\n{indented(f'({moment})')}"


def called(thing: str, aliases: Sequence[str]) -> str:
    """Return an id with what the thing is called besides.

    >>> called("PUMP-1", ["=A1+K1"]), called("PUMP-2", [])
    ('PUMP-1 (=A1+K1)', 'PUMP-2')
    """
    return f"{thing} ({', '.join(aliases)})" if aliases else thing


def count(number: int, thing: str, things: str = "") -> str:
    """Return a number with its noun.

    >>> count(1, "finding"), count(3, "loss", "losses"), count(0, "finding")
    ('1 finding', '3 losses', 'no findings')
    """
    plural = things or f"{thing}s"
    return f"{number or 'no'} {thing if number == 1 else plural}"


def indented(text: str, *, by: int = 2, width: int | None = None) -> str:
    """Return a paragraph wrapped to `width`, every line indented."""
    blank = " " * by
    return _filled(text, _prose(width), blank, blank)


def labelled(label: str, text: str, *, by: int = 2, to: int = 12, width: int | None = None) -> str:
    """Return ``label  text``, the text wrapped and aligned in its own column."""
    first = f"{' ' * by}{visible(label, lines=False)}".ljust(by + to)
    return _filled(text, _prose(width), first if first.endswith(" ") else f"{first} ", " " * (by + to))


def _filled(text: str, width: int, first: str, later: str) -> str:
    """Return a paragraph, its first line and the later ones begun with what is given: every text is wrapped here."""
    return _unbound(
        textwrap.fill(
            _bound(visible(text)),
            width,
            initial_indent=first,
            subsequent_indent=later,
            break_long_words=False,
            break_on_hyphens=False,
        )
    )


def styled(text: str, *, colour: bool, fg: str | None = None, bold: bool = False) -> str:
    """Return `text` in a colour or bold when `colour` says so: never the only carrier of a meaning."""
    if not colour:
        return text
    from click import style

    return style(text, fg=fg, bold=bold)


def titled(title: str, text: str) -> str:
    """Return a text under its title; "" where there is none."""
    return f"{title}\n{text}" if text else ""


def sections(*parts: str) -> str:
    """Return the parts that are not empty, with a blank line between them."""
    return "\n\n".join(part for part in parts if part)


# --- durations and deadlines, no finer than anybody can act on ----------------------------------------------------

_FINE = 10 * SECOND


def span_text(duration: int, *, up: bool = False) -> str:
    """Return a duration in microseconds in whole seconds, rounded down, or with `up` up; exact below 10 s.

    >>> span_text(17_164_516_930), span_text(61_000_001, up=True), span_text(4_516_930)
    ('4 h 46 min 4 s', '1 min 2 s', '4.51693 s')
    """
    if abs(duration) < _FINE:
        return format_duration(duration)
    return format_duration((-(-duration // SECOND) if up else duration // SECOND) * SECOND)


def deadline_text(instant: int) -> str:
    """Return a deadline in whole seconds, never later than it is; inside `in_zone` with the local time.

    >>> deadline_text(4_516_930)
    '1970-01-01T00:00:04Z'
    """
    return with_local(instant // SECOND * SECOND, _zone.get())
