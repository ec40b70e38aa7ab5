"""Settings of a plant: how its record is kept. Items of the definition like all others, so they have a history too."""

from __future__ import annotations

from dataclasses import dataclass

UNSIGNED = "unsigned-events"
ALLOWED, REFUSED = "allowed", "refused"

SETTINGS: dict[str, tuple[str, ...]] = {UNSIGNED: (ALLOWED, REFUSED)}
"""What can be set, and to what; the first is so where nothing is said."""


@dataclass(frozen=True, slots=True)
class Setting:
    """One setting, and to what it is set."""

    id: str
    value: str
