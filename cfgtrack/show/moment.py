"""The moment that an answer was asked for. Every answer prints it, so that a pasted answer explains itself."""

from __future__ import annotations

from dataclasses import dataclass

from cfgtrack.model.time import format_instant


@dataclass(frozen=True, slots=True)
class Moment:
    """What is true `at` an instant, as far as it was `known` at another (microseconds since 1970, UTC).

    `known` is None for what no journal stands behind.
    """

    at: int
    known: int | None = None

    def __str__(self) -> str:
        text = f"at {format_instant(self.at)}"
        return text if self.known is None else f"{text}, as known at {format_instant(self.known)}"

    def to_json(self) -> dict[str, str | None]:
        """Return the moment as a JSON object, with RFC 3339 texts."""
        return {
            "at": format_instant(self.at),
            "known": None if self.known is None else format_instant(self.known),
        }
