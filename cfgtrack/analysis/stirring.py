"""Which clocks may an event have to do with? What starts them, meets them, or may change when that is.

The order of two steps matters to a clock only if both may have to do with it. Whether it runs just then doesn't
matter, in another order it may: an event on its item or near it has to do with it, one that makes or cuts a link of
the medium of its ways, one that changes what is tallied; and every event where a condition doesn't say what it
depends on.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from cfgtrack.model.event import Event
from cfgtrack.rules.condition import Condition, Judge
from cfgtrack.rules.dependence import Dependence, Instances
from cfgtrack.rules.engine import Engine
from cfgtrack.rules.mode import Runner
from cfgtrack.rules.several import Several
from cfgtrack.rules.ways import OnWays
from cfgtrack.rules.what.not_ import Not
from cfgtrack.rules.what.status import Status
from cfgtrack.rules.when.always import Always
from cfgtrack.rules.when.within import Within
from cfgtrack.rules.world import Change

ALL = "*"
"""Stands for every clock of a rule."""

_TEMPERATURE = "temperature"
"""The quantity that limits of physics start from: see `rules.limits.find_limit`."""

Clockwork = tuple[str, str]
"""The clocks of a rule and an item, or `ALL` of a rule's."""


class Stirring:
    """Notes which clocks each event that an engine takes may have to do with, from when on it is told to `listen`."""

    def __init__(self, engine: Engine) -> None:
        self._watches = [_Watch(runner) for runner in engine.runners if has_clocks(runner)]
        self.stirred: dict[str, frozenset[Clockwork]] = {}

    def listen(self) -> None:
        """Begin anew: what was noted is forgotten."""
        self.stirred = {}
        for watch in self._watches:
            watch.listen()

    def take(self, change: Change) -> None:
        """Note what an event that the engine has just taken may have to do with."""
        self.stirred[change.event.id] = frozenset(
            (watch.rule, it) for watch in self._watches for it in watch.items(change)
        )


def has_clocks(runner: Runner) -> bool:
    """Return whether a rule ever starts a clock with a limit."""
    mode = runner.rule.mode
    return isinstance(mode, Within) or (isinstance(mode, Always) and mode.tolerance > 0)


@dataclass(slots=True)
class _Leaf:
    """A condition made of no others: what may change it, and for paths of which medium it asks, or for places alone.

    `version` is what went up, by the last event, whenever it may say otherwise; None where nobody counts.
    """

    judge: Judge
    instances: Instances
    medium: str | None
    is_of_place: bool
    version: int | None = None

    def may_change(self, change: Change) -> bool:
        """Return whether an event may change it at all: a way with links of its medium alone, a place with a move."""
        event = change.event
        if self.is_of_place:
            return event.place is not None or bool(event.moved or event.carried)
        if self.medium is None or self.judge.depends.everything:
            return True
        shift = change.shifts.get(self.medium)
        return shift is not None and bool(shift.begun or shift.ended)


class _Watch:
    """What of one rule's clocks an event may have to do with."""

    def __init__(self, runner: Runner) -> None:
        rule, world = runner.rule, runner.world
        self.rule, self._runner = rule.id, runner
        self._leaves = []
        for condition in rule.conditions():
            for leaf in _leaves(condition):
                judge = leaf.compile(world)
                instances = Instances(rule.scope, (), judge.depends, world)
                medium = leaf.medium if isinstance(leaf, OnWays) else None
                is_of_place = isinstance(leaf, Status) and not leaf.among
                self._leaves.append(_Leaf(judge, instances, medium, is_of_place))
        self._near = Instances(rule.scope, (), Dependence(wide=True), world)
        mode = rule.mode
        self._is_physical = isinstance(mode, Within) and isinstance(mode.limit, str)
        matches = [mode.match, mode.until if isinstance(mode, Within) else None]
        self._matches = [match for match in matches if match is not None]

    def listen(self) -> None:
        for leaf in self._leaves:
            leaf.version = leaf.judge.version

    def items(self, change: Change) -> Iterator[str]:
        """Yield the items whose clocks an event may have to do with, or `ALL`."""
        if self._is_about(change.event):
            yield from self._near.near(change)
        for match in self._matches:
            if change.event.action in match.actions:
                yield from match.about(self._runner.world.plant, change.event)
        for leaf in self._leaves:
            before, leaf.version = leaf.version, leaf.judge.version
            if leaf.may_change(change):
                yield from self._of(leaf, change, before)

    def _is_about(self, event: Event) -> bool:
        """Return whether an event on an item, or near it, has to do with its clocks whatever their conditions are.

        Where physics sets their limit it tells a temperature, or moves them; or it moves what a scope asks where it is.
        """
        scope = self._runner.rule.scope
        moves = event.place is not None
        return (self._is_physical and (moves or _TEMPERATURE in event.values)) or (
            moves and scope is not None and bool(scope.at)
        )

    def _of(self, leaf: _Leaf, change: Change, before: int | None) -> Iterable[str]:
        if leaf.instances.is_scoped:
            found = leaf.instances.affected(change)
            return (ALL,) if found is leaf.instances.items else (it for it in found if it is not None)
        if self._runner.rule.mode.match is not None:
            # Its clocks are those of the items of its trigger.
            is_wide = leaf.judge.restless or leaf.judge.depends.may_change_all(change)
            return (ALL,) if is_wide else leaf.instances.near(change)
        return (ALL,) if leaf.version is None or leaf.version != before else ()


def _leaves(condition: Condition) -> Iterator[Condition]:
    """Yield the conditions that one is made of and that are made of no others."""
    if isinstance(condition, Several):
        for part in condition.parts:
            yield from _leaves(part)
    elif isinstance(condition, Not):
        yield from _leaves(condition.part)
    else:
        yield condition
