"""The moment that an answer was asked for. Every answer prints it, so that a pasted answer explains itself."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import ClassVar

from cfgtrack.model.time import SECOND, Instant, format_instant
from cfgtrack.model.trouble import NoAnswer, Problem, Trouble
from cfgtrack.model.zone import with_local
from cfgtrack.store.journal import Journal


@dataclass(frozen=True, slots=True)
class Moment:
    """What is true `at` an instant, as far as it was `known` at another (microseconds since 1970, UTC).

    `known` is None for what no journal stands behind. `first`, where somebody looked it up, is when the first recorded
    event happened: before it nothing is known, so everything seems open, cut off and held by nothing. `later`, of a
    question about now, is when the next event is said to happen: what is recorded of the future doesn't count yet.
    `time_note` is what is to be told of the clocks behind it, "" for nothing. `as_known`: whoever asked named the time
    of knowledge, so this may not be today's answer, and the text says so. `exact`: he named the instant, to the
    microsecond; another is told to the second. `zone`: of the place that the answer is about, whose time of day is told
    too.
    """

    untold: ClassVar[tuple[str, ...]] = ("first", "later", "time_note", "as_known", "exact", "zone")

    at: Instant
    known: Instant | None = None
    first: int | None = None
    later: int | None = None
    time_note: str = ""
    as_known: bool = False
    exact: bool = False
    zone: str = ""

    @property
    def is_too_early(self) -> bool:
        """Whether nothing that is recorded had happened by then."""
        return self.first is not None and self.at < self.first

    def __str__(self) -> str:
        text = f"at {with_local(self.at if self.exact else self.at // SECOND * SECOND, self.zone)}"
        if self.as_known and self.known is not None:
            text += f", as known at {format_instant(self.known)}"
        if self.is_too_early:
            assert self.first is not None
            text += f", BEFORE THE FIRST RECORDED EVENT ({format_instant(self.first)})"
        if self.later is not None:
            text += f", BEFORE WHAT IS RECORDED OF {format_instant(self.later)}"
        if self.time_note:
            text += f", {self.time_note}"
        return text


def now_of(journal: Journal, known: int | None = None, *, judged: bool = False) -> Moment:
    """Return the moment that is now, as known. NoAnswer for what is `judged` where nobody can tell now."""
    now, known = journal.now(known)
    if judged and now.is_unsure:
        raise NoAnswer(Problem("--at", "clocks-differ", now.why_unsure()))
    return Moment(now.at, known, time_note=now.time_note)


def by_id(address: str, status: str) -> str:  # noqa: ARG001 - of whatever it is
    """Return a status as files and JSON have it."""
    return status


Says = Callable[[str, str], str]
"""What a status of what is at an address is called."""


@dataclass(frozen=True, slots=True)
class Answer:
    """What was asked for, with the moment that it is for. `notes` are lines to be told beside it.

    `says`: what the plant of that moment calls a status of what is at an address, where a text of it has statuses.
    """

    untold: ClassVar[tuple[str, ...]] = ("moment", "notes", "says")

    moment: Moment
    notes: tuple[str, ...] = field(default=(), kw_only=True)
    says: Says = field(default=by_id, kw_only=True, repr=False, compare=False)


@contextmanager
def noting(notes: Iterable[str]) -> Iterator[None]:
    """Have the trouble that comes instead of an answer carry what was to be told beside it."""
    try:
        yield
    except Trouble as err:
        for note in notes:
            err.add_note(note)
        raise
