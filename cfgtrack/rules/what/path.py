"""`path`: items have a path to others; and what cut it where one has not."""

from __future__ import annotations

from collections.abc import Container, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import islice
from typing import ClassVar, NamedTuple

from cfgtrack.model.action import PLACE, Action
from cfgtrack.model.configuration import Configuration
from cfgtrack.model.event import Event, effects
from cfgtrack.network.flow import Flow, Link
from cfgtrack.rules.condition import Ended, Judge, Part
from cfgtrack.rules.cure import MOST_CURES, that_work
from cfgtrack.rules.finding import Reason, join
from cfgtrack.rules.saying import noun_of, say_list
from cfgtrack.rules.selection import IT
from cfgtrack.rules.ways import OnWays, Ways
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
    """What cut a path, in words too, and what would give it back, for every vertex in `ahead`."""

    ahead: set[int]
    links: tuple[str, ...]
    cures: tuple[str, ...]
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
        cut = self._cut(it, self.flow.vertices(item), ended)
        return (
            Reason(
                "no-path",
                cut.text,
                cut.links,
                part,
                cut.cures,
                to=self._to,
                noun=noun_of(self.world.plant, item),
            ),
        )

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
        """Return the links whose end cut the last path, and those of which one alone would give it back."""
        flow, behind = self.flow, self.ways.behind(it)
        short = [v for v in starts if v not in behind]
        ahead = flow.graph.ahead(short)
        broken = [link for medium, link in ended if medium == self.condition.medium]
        cut = [link for link in broken if _joins(link, ahead, behind)]
        names = (link.name for link in cut or self._all_on_the_way(it, starts, broken))
        links = tuple(dict.fromkeys(names))
        could = sorted((k for k in flow.could_be() if _joins(k, ahead, behind)), key=lambda k: k.name)
        several = len(short) > 1
        enough = (k for k in (*cut, *could) if not several or _restores(flow, k, short, ahead, behind))
        cures = tuple(islice(_to_make(self.world, enough), MOST_CURES))
        to, medium = self._to, self.condition.medium
        text = f"there is no {medium} path to {to}"
        if links:
            text = f"no {medium} path is left to {to}: {say_list(links)} was the last way"
        return _Cut(ahead, links, cures, text)

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
        return [link for link in broken if _joins(link, ahead, behind)]


class _OwnPath(_Path):
    """Judges that the item which the rule is about has its path to ends that are always the same."""

    def __init__(self, condition: Path, ways: Ways) -> None:
        super().__init__(condition, ways)
        assert ways.reach is not None
        self._vertices, self._has_way = ways.flow.vertices, ways.reach.__contains__

    def holds(self, it: str | None) -> bool:
        if it is None:
            return True
        vertices = self._vertices(it)
        return bool(vertices) and all(map(self._has_way, vertices))

    def unsure(self, items: Iterable[str | None]) -> list[str | None]:
        vertices, has_way = self._vertices, self._has_way
        return [it for it in items if it and not ((vs := vertices(it)) and all(map(has_way, vs)))]

    def short(self, it: str | None) -> Mapping[Part, tuple[str, ...]]:
        return {} if it is None or self.holds(it) else {(it,): (it,)}


def _joins(link: Link, ahead: Container[int], behind: Container[int]) -> bool:
    """Return whether the link leads from what the start still reaches to what still reaches the end."""
    if link.a in ahead and link.b in behind:
        return True
    return not link.one_way and link.b in ahead and link.a in behind


def _restores(
    flow: Flow, link: Link, short: Sequence[int], ahead: Container[int], behind: Container[int]
) -> bool:
    """Return whether a link gives all its vertices back to an item: one with several may want more than one."""
    near = [a for a, b in ((link.a, link.b), (link.b, link.a)) if a in ahead and b in behind]
    led = flow.graph.behind(near[: 1 if link.one_way else 2])
    return all(v in led for v in short)


# --- what makes a link ----------------------------------------------------------------------------------------------


def _to_make(world: World, links: Iterable[Link]) -> Iterator[str]:
    """Yield for each link the first single action, possible now, that would make it."""
    for name in dict.fromkeys(link.name for link in links):

        def makes(event: Event, name: str = name) -> bool:
            return _makes(world.configuration, event, name)

        yield from islice(that_work(world, _could_make(world, name), makes), 1)


def _could_make(world: World, link: str) -> Iterator[Action]:
    """Yield actions that might make a link: a unit's being placed, or every move of a half, then of both."""
    plant, now = world.plant, world.now
    thing, _, place = link.partition(" on ")
    if place:
        for facing in plant.places[place].ways_round:
            yield Action("", PLACE, (thing,), now, place=place, facing=facing)
        return
    halves = link.split(" - ")
    for subjects in (*((half,) for half in halves), tuple(halves)):
        found = plant.port(subjects[0])
        for action in found[1].moves if found is not None else ():
            yield Action("", action, subjects, now)


def _makes(configuration: Configuration, event: Event, link: str) -> bool:
    """Return whether a link is made once a resolved event has happened."""
    if " on " in link:
        return True
    after = {e.subject: (e.value, e.other) for e in effects(configuration.plant, event) if not e.aspect}
    halves = link.split(" - ")
    for half in halves:
        found = configuration.plant.port(half)
        value, mate = after.get(half) or configuration.state(half)[:2]
        if found is None or not found[1].is_carrying(value) or (len(halves) == 2 and mate not in halves):
            return False
    return True
