"""Which clocks may an event have to do with? What starts them, meets them, or may change when that is.

The order of two steps matters to a clock only if both may have to do with it. Asked is what the engine asks to
judge no more than it must, whether the clock runs just then or not: an event on its item or near it, one that makes
or cuts the item's way, one that changes what is tallied; and every event where a condition doesn't say what it
depends on.
"""

from __future__ import annotations

from collections.abc import Iterator

from cfgtrack.rules.engine import Engine
from cfgtrack.rules.mode import Runner
from cfgtrack.rules.when.always import Always
from cfgtrack.rules.when.within import Within
from cfgtrack.rules.world import Change

ALL = "*"
"""Stands for every clock of a rule."""

Clockwork = tuple[str, str]
"""The clocks of a rule and an item, or `ALL` of a rule's."""


class Stirring:
    """Notes which clocks each event that an engine takes may have to do with, from when on it is told to `listen`."""

    def __init__(self, engine: Engine) -> None:
        self._engine = engine
        self._runners = [runner for runner in engine.runners if has_clocks(runner)]
        self._versions: dict[int, tuple[int | None, ...]] = {}
        self.stirred: dict[str, frozenset[Clockwork]] = {}
        engine.on_change.append(self._take)

    def listen(self) -> None:
        """Begin anew: what was noted is forgotten."""
        self.stirred = {}
        self._versions = {runner.number: _versions(runner) for runner in self._runners}

    def _take(self, change: Change) -> None:
        self.stirred[change.event.id] = frozenset(self._clocks(change))

    def _clocks(self, change: Change) -> Iterator[Clockwork]:
        for runner in self._runners:
            rule = runner.rule.id
            if runner.instances.is_scoped:
                yield from ((rule, it or ALL) for it in runner.instances.affected(change))
                yield from ((rule, it) for it in change.subjects if it in runner.instances.members)
                continue
            yield from ((rule, it) for it in runner.instances.near(change))
            if runner.rule.mode.match is not None:
                # Its clocks are those of the items of its trigger.
                if runner.own.restless or runner.depends.may_change_all(change):
                    yield rule, ALL
                continue
            before, now = self._versions.get(runner.number, ()), _versions(runner)
            self._versions[runner.number] = now
            if None in now or now != before:
                yield rule, ALL


def has_clocks(runner: Runner) -> bool:
    """Return whether a rule ever starts a clock with a limit."""
    mode = runner.rule.mode
    return isinstance(mode, Within) or (isinstance(mode, Always) and mode.tolerance > 0)


def _versions(runner: Runner) -> tuple[int | None, ...]:
    """Return what goes up whenever a rule without scope may have anything else to say; None for what can't be told."""
    if runner.depends.everything:
        return (None,)
    return tuple(judge.version for judge in (runner.own, *runner.others))
