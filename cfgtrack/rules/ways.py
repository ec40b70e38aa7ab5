"""What conditions on paths have in common: whether items of one selection reach any of another."""

from __future__ import annotations

from collections.abc import Container, Iterator
from dataclasses import dataclass
from typing import Self

from cfgtrack.rules.condition import Clause, Condition
from cfgtrack.rules.dependence import WIDE, Dependence, Way
from cfgtrack.rules.selection import Selection
from cfgtrack.rules.tally import Tally
from cfgtrack.rules.world import World


@dataclass(frozen=True, slots=True)
class OnWays(Condition):
    """A condition on the paths over made links of `medium`, from items of `start` to items of `end`."""

    medium: str
    start: Selection
    end: Selection

    @classmethod
    def read(cls, clause: Clause) -> Self:
        """Read the medium, from where, and to where."""
        return cls(clause.medium(cls.key), clause.selection("from"), clause.selection("to"))

    def media(self) -> frozenset[str]:
        """Return the medium of the paths."""
        return frozenset({self.medium})


class Ways:
    """The paths over made links of a medium, from items of `start` to items of `end`.

    `reach` is who has one, kept up to date; None where the ends depend on `it` or on the time.
    """

    def __init__(self, world: World, medium: str, start: Selection, end: Selection) -> None:
        self.world = world
        self.flow = world.flows[medium]
        self.reach = world.reach(medium, end)
        self.start, self.end = world.bind(start), world.bind(end)
        both = (start, end)
        way: tuple[Way, ...] = ()
        if self.reach is not None and start.of not in ("", "peer of it", "place of it") and not start.at:
            way = (Way(self.flow, self.reach, self.start),)
        self.depends = Dependence(
            everything=any(s.at or s.of == "place of it" for s in both),
            wide=any(s.of in WIDE for s in both),
            peers=any(s.of == "peer of it" for s in both),
            media=frozenset() if way else frozenset({medium}),
            ways=way,
        )

    def tally(self, condition: Condition, *, wanted: bool) -> Tally | None:
        """Return what falls short where a path is `wanted`, or where none is; None where the items may change."""
        start = self.start.selection
        if self.reach is None or not start.is_fixed:
            return None
        items = ((item, self.flow.vertices(item)) for item in start.candidates(self.world.plant))
        return self.world.tallies.of_reach(condition, self.reach, items, wanted=wanted)

    def ends(self, it: str | None) -> list[int]:
        """Return the vertices of the ends now."""
        return self.world.vertices(self.flow.network.medium, self.end.items(it))

    def behind(self, it: str | None) -> Container[int]:
        """Return the vertices that have a path now."""
        return self.reach if self.reach is not None else self.flow.graph.behind(self.ends(it))

    def cut_off(self, it: str | None) -> Iterator[str]:
        """Yield the items that have no path from each of their vertices."""
        behind = self.behind(it)
        for item in self.start.items(it):
            vertices = self.flow.vertices(item)
            if not vertices or not all(v in behind for v in vertices):
                yield item

    def joined(self, it: str | None) -> Iterator[str]:
        """Yield the items that have a path from any of their vertices."""
        behind = self.behind(it)
        for item in self.start.items(it):
            if any(v in behind for v in self.flow.vertices(item)):
                yield item
