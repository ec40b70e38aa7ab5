"""The moment that an answer was asked for. Every answer prints it, so that a pasted answer explains itself."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from cfgtrack.model.time import format_instant

if TYPE_CHECKING:
    from cfgtrack.model.event import Entry


@dataclass(frozen=True, slots=True)
class Moment:
    """What is true `at` an instant, as far as it was `known` at another (microseconds since 1970, UTC).

    `known` is None for what no journal stands behind. `first`, where somebody looked it up, is when the first recorded
    event happened: before it nothing is known, so everything seems open, cut off and held by nothing.
    """

    at: int
    known: int | None = None
    first: int | None = None

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
        return text

    def to_json(self) -> dict[str, str | None]:
        """Return the moment as a JSON object, with RFC 3339 texts."""
        return {
            "at": format_instant(self.at),
            "known": None if self.known is None else format_instant(self.known),
        }


@dataclass(frozen=True, slots=True)
class Answer:
    """What was asked for, with the moment that it is for. `notes` are lines to be told beside it."""

    moment: Moment
    notes: tuple[str, ...] = field(default=(), kw_only=True)

    def data(self) -> dict[str, Any]:
        """Return what was asked for as a JSON object, without its moment."""
        raise NotImplementedError

    def to_json(self) -> dict[str, Any]:
        """Return the answer as a JSON object, its moment first."""
        return {**self.moment.to_json(), **self.data()}


def entry_json(entry: Entry) -> dict[str, Any]:
    """Return an event as the journal holds it, as a JSON object with RFC 3339 times."""
    times = {"happened": format_instant(entry.event.happened), "known": format_instant(entry.known)}
    return {**entry.event.to_json(), "number": entry.number, **times}
