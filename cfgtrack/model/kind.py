"""Kinds of port: what medium a port carries, its ladder of statuses, and the actions that move along it.

Kinds are data. The shipped ones stand in ``shared/kinds.toml``; a plant's own definition may add to
them or replace them.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from cfgtrack.model.part import EXPANSION

NOTHING = "nothing"


@dataclass(frozen=True, slots=True)
class Medium:
    """What flows (or holds) over links: fluid, power, data, hold, ...

    With `upstream`, a path of this medium leads from what is fed to what feeds it: against one-way links.
    `volumes_need` is the role of a node that a volume full of it must have a path to: a liquid needs an expansion; a
    gas gives way by itself, and needs `NOTHING`.
    """

    id: str
    title: str = ""
    upstream: bool = False
    volumes_need: str = EXPANSION


@dataclass(frozen=True, slots=True)
class Move:
    """One action's step along a ladder: from any of `sources` to `target`.

    With `each`, the action moves only the halves that are named; otherwise it moves both halves of a mated pair.
    With `cycle`, it uses up one mate cycle of every half that it moves.
    """

    action: str
    sources: tuple[str, ...]
    target: str
    each: bool = False
    cycle: bool = False


def with_mate(said: str, mate: str | None) -> str:
    """Return the words for a status with what the half of a joint that has it is joined to, if it is.

    >>> with_mate("mated", "BAY:F1"), with_mate("mated, valve open", "BAY:F1"), with_mate("demated", None)
    ('mated to BAY:F1', 'mated, valve open, to BAY:F1', 'demated')
    """
    return said if mate is None else f"{said}, to {mate}" if "," in said else f"{said} to {mate}"


@dataclass(frozen=True, slots=True)
class Kind:
    """A kind of port.

    `statuses` is the ladder, lowest first. From `joined` on a port has a mate; None means that the kind is
    one-sided (a valve, a switch, a cover). From `carries` on a link over the port (or gated by it) is made;
    None means that it never carries. `grip`: it holds together what comes and goes, and neither leaves the other
    (a hand, a hook). `tether`: it keeps whoever hangs on it within its reach. `words`: what a status is called in texts
    for people, where its id alone could be misread.
    """

    id: str
    medium: str | None
    statuses: tuple[str, ...]
    moves: Mapping[str, Move]
    title: str = ""
    initial: str = ""
    joined: str | None = None
    carries: str | None = None
    flexible: bool = False
    fits: frozenset[str] = frozenset()
    grip: bool = False
    tether: bool = False
    words: Mapping[str, str] = field(default_factory=dict)
    _rank: dict[str, int] = field(init=False, repr=False, compare=False, hash=False)
    _carrying: frozenset[str] = field(init=False, repr=False, compare=False, hash=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "_rank", {status: i for i, status in enumerate(self.statuses)})
        lowest = len(self.statuses) if self.carries is None else self._rank[self.carries]
        object.__setattr__(self, "_carrying", frozenset(self.statuses[lowest:]))
        if not self.initial:
            object.__setattr__(self, "initial", self.statuses[0])

    def rank(self, status: str) -> int:
        """Return how high `status` stands on the ladder, 0 lowest. KeyError when it isn't on it."""
        return self._rank[status]

    def says(self, status: str) -> str:
        """Return the words for `status` in texts for people: its id, unless the kind has words of its own for it.

        >>> Kind("tap", "fluid", ("mated", "open"), {}, words={"mated": "mated, valve shut"}).says("mated")
        'mated, valve shut'
        """
        return self.words.get(status, status)

    @property
    def legend(self) -> str:
        """The ids of statuses that have words of their own, with these; "" where none has."""
        return "; ".join(
            f"{status}: {self.words[status]}" for status in self.statuses if status in self.words
        )

    def is_joined(self, status: str) -> bool:
        """Return whether a port of this kind has a mate at `status`."""
        return self.joined is not None and self._rank[status] >= self._rank[self.joined]

    def is_carrying(self, status: str) -> bool:
        """Return whether a port of this kind lets its medium through at `status`."""
        return status in self._carrying

    def joins(self, move: Move) -> bool:
        """Return whether `move` brings two halves together."""
        return self.is_joined(move.target) and not all(self.is_joined(s) for s in move.sources)

    def parts(self, move: Move) -> bool:
        """Return whether `move` takes two halves apart."""
        return not self.is_joined(move.target) and any(self.is_joined(s) for s in move.sources)

    @property
    def parted(self) -> str:
        """The status of a half whose mate has been taken from it: the highest one without a mate."""
        free = [s for s in self.statuses if not self.is_joined(s)]
        return free[-1] if free else self.initial

    def mates_with(self, other: Kind) -> bool:
        """Return whether ports of the two kinds can be joined at all."""
        return other.id == self.id or other.id in self.fits or self.id in other.fits
