"""What a terminal is shown besides an answer, and how a long answer is shown on one.

How far long work has come stands in one line of standard error, over and over, and is gone before anything else is
said. What other people's libraries warn of is no answer of ours, and is kept from it.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Callable, Iterator
from shutil import get_terminal_size
from typing import TypeVar

import click

T = TypeVar("T")

OWN_PAGER = "CFGTRACK_PAGER"
"""The variable that names the pager, else $PAGER, else less: either empty for none."""

_SHOWN_EVERY = 0.2
_KEEPS = " (Ctrl-C keeps what there is)"
_ROWS_EVERY = 1000
_LESS = "-FRX"
"""What less is told where nobody told it otherwise: it stays out of the way of what fits, and leaves its text there."""


def is_terminal() -> bool:
    """Return whether answers go to a terminal."""
    return sys.stdout.isatty()


def is_watched() -> bool:
    """Return whether somebody looks at standard error."""
    return sys.stderr.isatty()


def fitted(text: str, *, before: int = 0) -> str:
    """Return lines for standard error, wrapped to its terminal; as they are where nobody looks.

    Names stay whole, and so does a row that is quoted: it begins with four blanks. `before`: so much of the first line
    is taken already.
    """
    if not is_watched():
        return text
    import textwrap

    from cfgtrack.show.tables import terminal_width

    width = max(terminal_width(sys.stderr), _NARROWEST)
    return "\n".join(
        line
        if line.startswith(_QUOTED) or len(line) + before <= width
        else textwrap.fill(
            line,
            width,
            initial_indent="" if number else " " * before,
            subsequent_indent=_LATER,
            break_long_words=False,
            break_on_hyphens=False,
        )[0 if number else before :]
        for number, line in enumerate(text.split("\n"))
    )


_NARROWEST = 40
_QUOTED, _LATER = "    ", "  "

# --- how far it is ------------------------------------------------------------------------------------------------


class Line:
    """The one line that tells how far it is: shown where somebody looks, and taken away when something else is said."""

    def __init__(self) -> None:
        self._is_shown = False
        self._last = 0.0

    def show(self, text: str) -> None:
        """Show it, unless it was shown only just now."""
        import time

        if is_watched() and (now := time.monotonic()) - self._last > _SHOWN_EVERY:
            self._last, self._is_shown = now, True
            click.echo(f"\r{text}\x1b[K", nl=False, err=True, color=True)

    def clear(self) -> None:
        """Take it away, if it is there."""
        was_shown, self._is_shown, self._last = self._is_shown, False, 0.0
        if was_shown:
            click.echo("\r\x1b[K", nl=False, err=True, color=True)


line = Line()
"""There is one terminal."""


def showing(what: str, *, keeps: bool = True) -> Callable[[int, int], None]:
    """Return what shows how far a long question has come: how many of how many.

    `keeps`: whether an interrupt keeps what there is by then, which is told.
    """

    def tell(done: int, of: int) -> None:
        if done == of:
            line.clear()
        else:
            line.show(f"{done} of {of} {what}{_KEEPS if keeps else ''}")

    return tell


def showing_text(form: str = "{}") -> Callable[..., None]:
    """Return what shows in words how far a long question has come, which it may break off: put into the form's gaps."""
    return lambda *found: line.show(f"{form.format(*found)}{_KEEPS}")


def counted(rows: Iterator[T]) -> Iterator[T]:
    """Pass rows on, and show now and then how many there were."""
    number = 0
    for number, row in enumerate(rows, 1):
        if number % _ROWS_EVERY == 0:
            line.show(f"{number:,} rows")
        yield row
    if number >= _ROWS_EVERY and is_watched():
        line.clear()
        click.echo(f"{number:,} rows read", err=True)


def keep_quiet() -> None:
    """Keep what libraries warn of from who asked us something, unless he asked Python for it (-W, PYTHONWARNINGS)."""
    if sys.warnoptions:
        return
    import warnings

    warnings.simplefilter("ignore")
    import logging

    logging.lastResort = logging.NullHandler()  # else Python prints what nobody takes


# --- long answers -------------------------------------------------------------------------------------------------


def print_text(text: str, *, colour: bool, paged: bool) -> None:
    """Print an answer; where it is longer than the terminal, page by page from its top, if that is wanted."""
    if paged and _wants_pager(text):
        os.environ.setdefault("LESS", _LESS)
        if own := os.environ.get(OWN_PAGER):
            os.environ["PAGER"] = own
        click.echo_via_pager(f"{text}\n", color=colour)
    else:
        click.echo(text)


def _wants_pager(text: str) -> bool:
    if not (is_terminal() and sys.stdin.isatty()) or os.environ.get("TERM", "dumb") == "dumb":
        return False
    if os.environ.get(OWN_PAGER, os.environ.get("PAGER", "less")).strip() in ("", "cat"):
        return False
    return text.count("\n") + 2 > get_terminal_size().lines
