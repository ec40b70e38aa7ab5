"""`no_path`: items have no path to others; and which way there is where one has."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import islice
from typing import ClassVar

from cfgtrack.model.possibility import moves_from
from cfgtrack.network.trace import trace
from cfgtrack.rules.condition import Ended, Judge
from cfgtrack.rules.cure import MOST_CURES
from cfgtrack.rules.finding import Reason
from cfgtrack.rules.saying import say_list
from cfgtrack.rules.ways import OnWays, Ways
from cfgtrack.rules.world import World


@dataclass(frozen=True, slots=True)
class NoPath(OnWays):
    """No item of `start` reaches any item of `end` over made links of `medium`."""

    key: ClassVar[str] = "no_path"

    def words(self) -> str:
        return f"{self.start.words()} has no {self.medium} path to {self.end.words()}"

    def compile(self, world: World) -> Judge:
        return _NoPath(self, world)


class _NoPath(Judge):
    """Judges that items have no path."""

    def __init__(self, condition: NoPath, world: World) -> None:
        self.condition = condition
        self.world = world
        self.ways = Ways(world, condition.medium, condition.start, condition.end)
        self.depends = self.ways.depends
        self.short = self.ways.tally(condition, wanted=False)

    def holds(self, it: str | None) -> bool:
        if self.short is not None:
            return not self.short
        return next(self.ways.joined(it), None) is None

    def reasons(self, it: str | None, ended: Ended) -> tuple[Reason, ...]:  # noqa: ARG002 - what is there, not what went
        condition, network = self.condition, self.ways.flow.network
        beyond = tuple(self.ways.joined(it))
        ends = self.ways.end.items(it)
        way = trace(network, self.world.configuration, beyond[:1], ends)
        over = tuple(step.link for step in way if step.link)
        to = way[-1].item if way else condition.end.words()
        text = f"{say_list(beyond)} still has a {condition.medium} path to {to}"
        if over:
            text += f" over {say_list(over)}"
        cures = tuple(islice(self._to_cut_off(beyond, ends, over), MOST_CURES))
        return (Reason("path", text, over, beyond, cures),)

    def _to_cut_off(self, starts: Sequence[str], ends: Sequence[str], over: Sequence[str]) -> Iterator[str]:
        """Yield what shuts those valves and switches on the way of which one alone, shut, ends every path.

        Never a connector: to part it live is what such a rule forbids.
        """
        network = self.ways.flow.network
        for gate in over:
            if gate in network.gates and not trace(
                network, self.world.configuration, starts, ends, without=gate
            ):
                yield from self._to_shut(gate)

    def _to_shut(self, gate: str) -> Iterator[str]:
        """Yield the actions that stop a valve or switch from carrying, but none that parts a connector."""
        found = self.world.plant.port(gate)
        if found is None:
            return
        kind = found[1]
        for move in moves_from(self.world.configuration, gate):
            if not kind.is_carrying(move.target) and not kind.parts(move):
                yield f"{move.action} {gate}"
