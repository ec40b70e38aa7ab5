"""The moment that an answer was asked for. Every answer prints it, so that a pasted answer explains itself."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import ClassVar

from cfgtrack.model.time import Instant, format_instant
from cfgtrack.model.trouble import Trouble


@dataclass(frozen=True, slots=True)
class Moment:
    """What is true `at` an instant, as far as it was `known` at another (microseconds since 1970, UTC).

    `known` is None for what no journal stands behind. `first`, where somebody looked it up, is when the first recorded
    event happened: before it nothing is known, so everything seems open, cut off and held by nothing. `later`, of a
    question about now, is when the next event is said to happen: what is recorded of the future doesn't count yet.
    """

    untold: ClassVar[tuple[str, ...]] = ("first", "later")

    at: Instant
    known: Instant | None = None
    first: int | None = None
    later: int | None = None

    @property
    def is_too_early(self) -> bool:
        """Whether nothing that is recorded had happened by then."""
        return self.first is not None and self.at < self.first

    def __str__(self) -> str:
        text = f"at {format_instant(self.at)}"
        if self.known is not None:
            text += f", as known at {format_instant(self.known)}"
        if self.is_too_early:
            assert self.first is not None
            text += f", BEFORE THE FIRST RECORDED EVENT ({format_instant(self.first)})"
        if self.later is not None:
            text += f", BEFORE WHAT IS RECORDED OF {format_instant(self.later)}"
        return text


@dataclass(frozen=True, slots=True)
class Answer:
    """What was asked for, with the moment that it is for. `notes` are lines to be told beside it."""

    untold: ClassVar[tuple[str, ...]] = ("moment", "notes")

    moment: Moment
    notes: tuple[str, ...] = field(default=(), kw_only=True)


@contextmanager
def noting(notes: Iterable[str]) -> Iterator[None]:
    """Have the trouble that comes instead of an answer carry what was to be told beside it."""
    try:
        yield
    except Trouble as err:
        for note in notes:
            err.add_note(note)
        raise
