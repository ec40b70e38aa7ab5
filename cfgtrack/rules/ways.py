"""What conditions on paths have in common: whether items of one selection reach any of another."""

from __future__ import annotations

from collections.abc import Container, Iterable, Iterator
from dataclasses import dataclass, replace
from typing import Self

from cfgtrack.model.configuration import View
from cfgtrack.model.hold import carries
from cfgtrack.rules.condition import Asked, Clause, Condition
from cfgtrack.rules.dependence import WIDE, Dependence, Way
from cfgtrack.rules.finding import Reason
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

    def each(self) -> Iterator[Selection]:
        """Yield the selection of its items."""
        return self.checked()

    def asked(self) -> Iterator[Asked]:
        """Yield nothing: it doesn't ask when something was done."""
        yield from ()

    def media(self) -> frozenset[str]:
        """Return the medium of the paths."""
        return frozenset({self.medium})


def is_made(view: View, link: str) -> bool:
    """Return whether a link of that name is made: of a unit on a place, of two halves, or of a gate."""
    thing, _, place = link.partition(" on ")
    if place:
        return bool(view.plant.sort_of(thing)) and view.state(thing).value == place
    half, _, other = link.partition(" - ")
    carries_all = all(carries(view, one) for one in (half, other) if one)
    return carries_all and (not other or view.state(half).other == other)


def still_cut(then: Iterable[Reason], now: Iterable[Reason], view: View) -> Iterator[Reason]:
    """Yield the reasons of now; where what cut a path then is still not made, that is still what cut it."""
    known = [
        r for r in then if r.code == "no-path" and r.links and not any(is_made(view, k) for k in r.links)
    ]
    for reason in now:
        cut = next((r for r in known if reason.code == r.code and reason.beyond == r.beyond), None)
        yield reason if cut is None else replace(reason, text=cut.text, links=cut.links)


class Ways:
    """The paths over made links of a medium, from items of `start` to items of `end`.

    `reach` is who has one, kept up to date; None where the ends depend on `it` or on the time.
    """

    def __init__(self, world: World, medium: str, start: Selection, end: Selection) -> None:
        self.world = world
        self.flow = world.flows[medium]
        self.reach = world.reach(medium, end)
        self.start, self.end = world.bind(start), world.bind(end)
        self._at: dict[int, list[str]] = {}
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
        items = [(item, self.flow.vertices(item)) for item in start.candidates(self.world.plant)]
        for item, vertices in items:
            for vertex in vertices:
                self._at.setdefault(vertex, []).append(item)
        return self.world.tallies.of_reach(condition, self.reach, items, wanted=wanted)

    def tallied(self, tally: Tally) -> list[str]:
        """Return the items that a tally of this condition counts, sorted."""
        out: set[str] = set()
        for key in tally:
            out.update(self._at[key] if isinstance(key, int) else (str(key),))
        return sorted(out)

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
