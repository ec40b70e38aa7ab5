"""Names in words: as a list, as a choice, as places."""

from __future__ import annotations

from collections.abc import Sequence

MOST_NAMES = 6


def say_list(names: Sequence[str]) -> str:
    """Return names as a list in words, cut where it gets long."""
    if len(names) > MOST_NAMES:
        return ", ".join(names[:MOST_NAMES]) + f" and {len(names) - MOST_NAMES} more"
    return " and ".join(", ".join(names).rsplit(", ", 1)) if names else "nothing"


def say_either(names: Sequence[str]) -> str:
    """Return names of which any will do."""
    return " or ".join(names)


def say_places(patterns: Sequence[str]) -> str:
    """Return patterns of places of which any will do."""
    return say_either([f"a {p[1:]} place" if p.startswith("#") else p for p in patterns])
