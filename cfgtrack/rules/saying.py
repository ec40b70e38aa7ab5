"""Names in words: as a list, as a choice, as places."""

from __future__ import annotations

from collections.abc import Sequence

from cfgtrack.model.plant import Plant

MOST_NAMES = 6

FEW = 3
"""So many are named in a headline."""


def say_list(names: Sequence[str]) -> str:
    """Return names as a list in words, cut where it gets long."""
    if len(names) > MOST_NAMES:
        return ", ".join(names[:MOST_NAMES]) + f" and {len(names) - MOST_NAMES} more"
    return " and ".join(", ".join(names).rsplit(", ", 1)) if names else "nothing"


def noun_of(plant: Plant, item: str) -> str:
    """Return what sort of thing an item is, in a word."""
    if plant.port(item) is not None:
        return "port"
    if plant.contact(item) is not None:
        return "contact"
    node = plant.node(item)
    if node is not None:
        return "volume" if plant.is_liquid(node) else "node"
    return "unit" if item in plant.units else "place"


def say_some(items: Sequence[str], noun: str) -> str:
    """Return a few items by name, many by number."""
    return say_list(items) if len(items) <= FEW else f"{len(items)} {noun}s"


def say_either(names: Sequence[str]) -> str:
    """Return names of which any will do."""
    return " or ".join(names)


def say_places(patterns: Sequence[str]) -> str:
    """Return patterns of places of which any will do."""
    return say_either([f"a {p[1:]} place" if p.startswith("#") else p for p in patterns])
