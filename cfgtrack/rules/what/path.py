"""`path`: items have a path to others; and what cut it where one has not."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import ClassVar, NamedTuple

from cfgtrack.network.flow import Link
from cfgtrack.rules.condition import Ended, Judge, Part
from cfgtrack.rules.cure import Proposal
from cfgtrack.rules.finding import Reason, join
from cfgtrack.rules.joining import joins, to_join, to_part
from cfgtrack.rules.saying import noun_of, say_list
from cfgtrack.rules.selection import IT
from cfgtrack.rules.ways import OnWays, Ways, is_made
from cfgtrack.rules.world import World


@dataclass(frozen=True, slots=True)
class Path(OnWays):
    """Every item of `start` reaches some item of `end` over made links of `medium`."""

    key: ClassVar[str] = "path"

    def words(self) -> str:
        return f"{self.start.words()} has a {self.medium} path to {self.end.words()}"

    def compile(self, world: World) -> Judge:
        """Return what judges it over one world; the commonest, of `it` to fixed ends, in the fastest way."""
        ways = Ways(world, self.medium, self.start, self.end)
        return _Path(self, ways) if self.start != IT or ways.reach is None else _OwnPath(self, ways)


class _Cut(NamedTuple):
    """What cut a path, in words too, for every vertex in `ahead`."""

    ahead: set[int]
    links: tuple[str, ...]
    text: str


class _Path(Judge):
    """Judges that items have their path, and remembers for as long as nothing changes what cut it."""

    def __init__(self, condition: Path, ways: Ways) -> None:
        self.condition = condition
        self.world, self.ways, self.flow = ways.world, ways, ways.flow
        self.depends = ways.depends
        self.lacking = ways.tally(condition, wanted=True)
        self._to = condition.end.words()
        self._cuts: dict[object, _Cut] = {}
        self._cuts_of = -1
        self._nouns: dict[str, str] = {}
        self._unmade: tuple[tuple[str, ...], int] | None = None

    def holds(self, it: str | None) -> bool:
        if self.lacking is not None:
            return not self.lacking
        return next(self.ways.cut_off(it), None) is None

    def short(self, it: str | None) -> Mapping[Part, tuple[str, ...]]:
        return {(item,): (item,) for item in self._cut_off(it)}

    def met(self, it: str | None) -> tuple[str, ...]:
        cut_off = frozenset(self._cut_off(it))
        return tuple(item for item in self.ways.start.items(it) if item not in cut_off)

    @property
    def version(self) -> int | None:
        return None if self.lacking is None else self.lacking.version

    def _cut_off(self, it: str | None) -> Iterable[str]:
        return self.ways.cut_off(it) if self.lacking is None else self.ways.tallied(self.lacking)

    def reasons(self, it: str | None, ended: Ended, part: Part | None = None) -> tuple[Reason, ...]:
        if part is None:
            return join(r for one in self.short(it) for r in self.reasons(it, ended, one))
        (item,) = part
        cut, noun = self._cut(it, self.flow.vertices(item), ended), self._nouns.get(item)
        if noun is None:
            noun = self._nouns[item] = noun_of(self.world.plant, item)
        return (Reason("no-path", cut.text, cut.links, part, to=self._to, noun=noun),)

    def is_still_why(self, reasons: tuple[Reason, ...], part: Part) -> bool:
        """Return whether what cut the path is still not made: see `still_cut`."""
        if len(reasons) != 1:
            return False
        (reason,) = reasons
        if reason.code != "no-path" or reason.beyond != part:
            return False
        links = reason.links
        if self._unmade != (links, self.world.epoch):
            if not links or any(is_made(self.world.configuration, link) for link in links):
                return False
            self._unmade = links, self.world.epoch
        return True

    def towards(self, it: str | None, part: Part | None = None, *, true: bool) -> Iterator[Proposal]:
        if not true:
            return to_part(self.ways, it, self.met(it))
        return to_join(self.ways, it, part or tuple(item for item in self._cut_off(it)))

    def _cut(self, it: str | None, starts: tuple[int, ...], ended: Ended) -> _Cut:
        """Return what cut these off; it is worked out once for all that are cut off by the same links.

        What is cut off at one blow is cut off by the same links: where all links go both ways, and all are to reach
        the same ends, the answer for one item serves for all others on its side.
        """
        epoch, shared = self.world.epoch, self.ways.reach is not None
        if self._cuts_of != epoch:
            self._cuts, self._cuts_of = {}, epoch
        key: object = (None if shared else it, starts, bool(ended))
        cut = self._cuts.get(key)
        if cut is None and shared and self.flow.goes_both_ways and len(starts) == 1:
            cut = self._cuts.get((starts[0], bool(ended)))
        if cut is None:
            cut = self._find_cut(it, starts, ended)
            if len(starts) == 1:
                self._cuts.update(dict.fromkeys(((v, bool(ended)) for v in cut.ahead), cut))
        self._cuts[key] = cut
        return cut

    def _find_cut(self, it: str | None, starts: Sequence[int], ended: Ended) -> _Cut:
        """Return the links whose end cut the last path."""
        flow, behind = self.flow, self.ways.behind(it)
        short = [v for v in starts if v not in behind]
        ahead = flow.graph.ahead(short)
        broken = [link for medium, link in ended if medium == self.condition.medium]
        cut = [link for link in broken if joins(link, ahead, behind)]
        names = (link.name for link in cut or self._all_on_the_way(it, starts, broken))
        links = tuple(dict.fromkeys(names))
        to, medium = self._to, self.condition.medium
        text = f"there is no {medium} path to {to}"
        if links:
            text = f"no {medium} path is left to {to}: {say_list(links)} was the last way"
        return _Cut(ahead, links, text)

    def _all_on_the_way(self, it: str | None, starts: Sequence[int], broken: Sequence[Link]) -> list[Link]:
        """Return the links of `broken` that were on a way which took several: no single one would give it back."""
        if len(broken) < 2:
            return []
        whole = self.flow.graph.fork()
        for link in broken:
            whole.add(link.a, link.b)
            if not link.one_way:
                whole.add(link.b, link.a)
        ahead, behind = whole.ahead(starts), whole.behind(self.ways.ends(it))
        return [link for link in broken if joins(link, ahead, behind)]


class _OwnPath(_Path):
    """Judges that the item which the rule is about has its path to ends that are always the same."""

    def __init__(self, condition: Path, ways: Ways) -> None:
        super().__init__(condition, ways)
        assert ways.reach is not None
        self._vertices, self._has_way = ways.flow.vertices, ways.reach.has

    def holds(self, it: str | None) -> bool:
        if it is None:
            return True
        vertices = self._vertices(it)
        return bool(vertices) and all(map(self._has_way, vertices))

    def unsure(self, items: Iterable[str | None]) -> list[str | None]:
        vertices, has_way = self._vertices, self._has_way
        return [it for it in items if it and not ((vs := vertices(it)) and all(map(has_way, vs)))]

    def short(self, it: str | None) -> Mapping[Part, tuple[str, ...]]:
        if it is None or ((vertices := self._vertices(it)) and all(map(self._has_way, vertices))):
            return {}
        return {(it,): (it,)}
