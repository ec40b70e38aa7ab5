"""`no_path`: items have no path to others; and which way there is where one has."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from typing import ClassVar

from cfgtrack.network.trace import trace
from cfgtrack.rules.condition import Ended, Judge, Part
from cfgtrack.rules.cure import Proposal
from cfgtrack.rules.finding import Reason, join
from cfgtrack.rules.joining import to_join, to_part
from cfgtrack.rules.saying import noun_of, say_list
from cfgtrack.rules.selection import Selection
from cfgtrack.rules.ways import OnWays, Ways
from cfgtrack.rules.world import World


@dataclass(frozen=True, slots=True)
class NoPath(OnWays):
    """No item of `start` reaches any item of `end` through connected links of `medium`."""

    key: ClassVar[str] = "no_path"

    def words(self) -> str:
        return f"{self.start.words()} has no {self.medium} path to {self.end.words()}"

    def watched(self) -> Iterator[Selection]:
        """Yield both ends: what is no end any more may be reached, and nobody is told."""
        yield self.start
        yield self.end

    def compile(self, world: World) -> Judge:
        return _NoPath(self, world)


class _NoPath(Judge):
    """Judges that items have no path. Whoever has one may have another before the first has ended."""

    restless = True

    def __init__(self, condition: NoPath, world: World) -> None:
        self.condition = condition
        self.world = world
        self.ways = Ways(world, condition.medium, condition.start, condition.end)
        self.depends = self.ways.depends
        self.joined = self.ways.tally(condition, wanted=False)
        self._ahead: dict[tuple[int, ...], set[int]] = {}
        self._ahead_of = -1

    def holds(self, it: str | None) -> bool:
        if self.joined is not None:
            return not self.joined
        return next(self.ways.joined(it), None) is None

    def short(self, it: str | None) -> Mapping[Part, tuple[str, ...]]:
        if self.holds(it):
            return {}
        ends = [(end, frozenset(self.ways.flow.vertices(end))) for end in self.ways.end.items(it)]
        out: dict[Part, tuple[str, ...]] = {}
        for item in self._joined(it):
            ahead = self._reached(self.ways.flow.vertices(item))
            out.update({(item, end): (item, end) for end, vertices in ends if not vertices.isdisjoint(ahead)})
        return out

    def met(self, it: str | None) -> tuple[str, ...]:
        joined = frozenset(self._joined(it))
        return tuple(item for item in self.ways.start.items(it) if item not in joined)

    def _joined(self, it: str | None) -> Iterable[str]:
        return self.ways.joined(it) if self.joined is None else self.ways.tallied(self.joined)

    def _reached(self, starts: tuple[int, ...]) -> set[int]:
        """Return all that is reached from some vertices; it is worked out once for each, until something changes."""
        if self._ahead_of != self.world.epoch:
            self._ahead, self._ahead_of = {}, self.world.epoch
        if starts not in self._ahead:
            self._ahead[starts] = self.ways.flow.graph.ahead(starts)
        return self._ahead[starts]

    def towards(self, it: str | None, part: Part | None = None, *, true: bool) -> Iterator[Proposal]:
        if not true:
            return to_join(self.ways, it, self.met(it))
        return to_part(self.ways, it, part[:1] if part else tuple(self._joined(it)))

    def reasons(
        self,
        it: str | None,
        ended: Ended,  # noqa: ARG002 - what is there, not what went
        part: Part | None = None,
    ) -> tuple[Reason, ...]:
        if part is None:
            return join(self._reason(*one) for one in self.short(it))
        return (self._reason(*part),)

    def _reason(self, item: str, end: str) -> Reason:
        network, medium = self.ways.flow.network, self.condition.medium
        way = trace(network, self.world.configuration, [item], [end])
        through = tuple(step.link for step in way if step.link)
        text = f"still has a {medium} path to {end}" + (f" through {say_list(through)}" if through else "")
        reason = Reason.of_each("path", (item,), "{} " + text, (item,))
        return replace(
            reason,
            links=through,
            to=f"still has a {medium} path to {end}",
            noun=noun_of(self.world.plant, item),
        )
