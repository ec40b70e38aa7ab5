"""The moment that an answer was asked for. Every answer prints it, so that a pasted answer explains itself."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field, fields, is_dataclass
from typing import Any, ClassVar

from cfgtrack.model.codec import action_to_json
from cfgtrack.model.event import Entry
from cfgtrack.model.quantity import Quantity, to_json
from cfgtrack.model.time import format_instant
from cfgtrack.model.trouble import Trouble


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
class Value:
    """Something that was asked for."""

    apart: ClassVar[tuple[str, ...]] = ("moment", "notes")
    """Fields that aren't told by their names."""

    def to_json(self) -> dict[str, Any]:
        """Return it as a JSON object: its values by name."""
        return {f.name: json_of(getattr(self, f.name)) for f in fields(self) if f.name not in self.apart}


@dataclass(frozen=True, slots=True)
class Answer(Value):
    """What was asked for, with the moment that it is for. `notes` are lines to be told beside it."""

    moment: Moment
    notes: tuple[str, ...] = field(default=(), kw_only=True)

    def data(self) -> dict[str, Any]:
        """Return what was asked for as a JSON object, without its moment."""
        return Value.to_json(self)

    def to_json(self) -> dict[str, Any]:
        """Return the answer as a JSON object, its moment first."""
        return {**self.moment.to_json(), **self.data()}


@contextmanager
def noting(notes: Iterable[str]) -> Iterator[None]:
    """Have the trouble that comes instead of an answer carry what was to be told beside it."""
    try:
        yield
    except Trouble as err:
        for note in notes:
            err.add_note(note)
        raise


def json_of(value: Any) -> Any:
    """Return a value as JSON has it: in its own form, as the journal's entries are told, or by its fields' names."""
    if isinstance(value, Entry):
        times = {"happened": format_instant(value.event.happened), "known": format_instant(value.known)}
        return {**action_to_json(value.event), "number": value.number, **times}
    if isinstance(value, Quantity):
        return to_json(value)
    if hasattr(value, "to_json"):
        return value.to_json()
    if isinstance(value, Mapping):
        return {name: json_of(one) for name, one in value.items()}
    if isinstance(value, (tuple, list)):
        return [json_of(one) for one in value]
    return {f.name: json_of(getattr(value, f.name)) for f in fields(value)} if is_dataclass(value) else value
