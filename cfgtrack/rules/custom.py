"""Conditions written in Python, for what a rules file can't say.

A condition is any object with the attributes of `CustomCondition`. One in another package is found through an entry
point of the group ``cfgtrack.conditions``: its name is what the rules file calls it by.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any, Protocol

from cfgtrack.model.plant import owner_of

if TYPE_CHECKING:
    from cfgtrack.rules.world import World

ENTRY_POINTS = "cfgtrack.conditions"


class CustomCondition(Protocol):
    """What a condition in Python must offer. `media` names the media whose links it looks at."""

    media: frozenset[str]

    def holds(self, world: World, items: Sequence[str], settings: Mapping[str, Any]) -> bool:
        """Return whether the condition is true of `items` now. It must not write to `world`."""
        ...

    def why(self, world: World, items: Sequence[str], settings: Mapping[str, Any]) -> str:
        """Return, in words, why it is false."""
        ...


class TighteningOrder:
    """Every bolt of the same joint whose turn comes earlier is torqued: its `pattern` reads JOINT/TURN."""

    media: frozenset[str] = frozenset()

    def holds(self, world: World, items: Sequence[str], settings: Mapping[str, Any]) -> bool:  # noqa: ARG002 - takes none
        """Return whether every bolt with an earlier turn is torqued."""
        return not self._missing(world, items)

    def why(self, world: World, items: Sequence[str], settings: Mapping[str, Any]) -> str:  # noqa: ARG002 - takes none
        """Return which bolts should have come first."""
        return f"to be torqued first in this joint: {', '.join(self._missing(world, items))}"

    def _missing(self, world: World, items: Sequence[str]) -> list[str]:
        out: list[str] = []
        for item in items:
            turn = _turn(world, item)
            if turn is None:
                continue
            for other in world.plant.ports_of(owner_of(item)):
                theirs = _turn(world, other)
                if theirs is None or theirs[0] != turn[0] or theirs[1] >= turn[1]:
                    continue
                if world.configuration.state(other).value != "torqued":
                    out.append(other)
        return out


def _turn(world: World, address: str) -> tuple[str, int] | None:
    found = world.plant.port(address)
    if found is None or "/" not in found[0].pattern:
        return None
    joint, _, turn = found[0].pattern.rpartition("/")
    return (joint, int(turn)) if turn.isdigit() else None


_BUILT_IN: dict[str, CustomCondition] = {"tightening-order": TighteningOrder()}


def find_custom(name: str) -> CustomCondition:
    """Return the condition of that name: built in, or from an installed package. KeyError when there is none."""
    found = _BUILT_IN.get(name)
    if found is None:
        from importlib.metadata import entry_points

        points = list(entry_points(group=ENTRY_POINTS, name=name))
        if not points:
            raise KeyError(name)
        made: CustomCondition = points[0].load()()
        found = _BUILT_IN[name] = made
    return found
