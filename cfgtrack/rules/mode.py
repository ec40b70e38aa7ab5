"""What a mode is: a value that says when a rule must hold, and the runner that judges the rule over one world.

Each mode is a file of `rules/when/`.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Iterable, Mapping
from functools import reduce
from operator import or_
from typing import TYPE_CHECKING, Any, ClassVar, Self

from cfgtrack.model.event import Event
from cfgtrack.rules.breach import Breach
from cfgtrack.rules.condition import Clause, Condition, NoVerdict
from cfgtrack.rules.dependence import Dependence, Instances
from cfgtrack.rules.finding import Clock, Reason
from cfgtrack.rules.match import ActionMatch

if TYPE_CHECKING:
    from cfgtrack.rules.engine import Engine
    from cfgtrack.rules.rule import Rule


class Mode(ABC):
    """When a rule must hold, frozen. `key` names it in a rules file, `fields` are those of the rule that belong to it.

    `blames_links`: what broke the rule is known by the links that were cut, whoever did it; else by the action.
    """

    __slots__ = ()
    key: ClassVar[str]
    fields: ClassVar[tuple[str, ...]]
    blames_links: ClassVar[bool] = True

    @classmethod
    @abstractmethod
    def read(cls, clause: Clause) -> Self | None:
        """Return the mode that the table of a rule gives, None after noting that it gives none."""

    @abstractmethod
    def words(self) -> str:
        """Return in plain words when the rule must hold."""

    @abstractmethod
    def compile(self, number: int, rule: Rule, engine: Engine) -> Runner:
        """Return what judges a rule of this mode, the engine's `number`-th."""

    @classmethod
    def gives_it(cls, values: Mapping[str, Any]) -> bool:  # noqa: ARG003 - most never do
        """Return whether by this mode a rule, as its table stands, is about an item though it has no scope."""
        return False

    @property
    def match(self) -> ActionMatch | None:
        """The actions that the rule is tied to, if it is."""
        return None

    def conditions(self) -> tuple[Condition, ...]:
        """Return the conditions that are looked at all the time beside the rule's own."""
        return ()

    def concerns(self, action: str) -> bool:  # noqa: ARG002 - most concern all
        """Return whether a single event with this action can break a rule of this mode, or start a clock of it."""
        return True


class Runner(ABC):
    """One rule over one world. What it remembers it writes through the engine's trail.

    `watched`: judged at the end of every instant that may have changed it. Where its condition crashes there is no
    verdict until it no longer does: that is said once.
    """

    watched: ClassVar[bool] = False

    def __init__(self, number: int, rule: Rule, engine: Engine) -> None:
        self.number = number
        self.rule = rule
        self.engine = engine
        self.world, self.trail = engine.world, engine.trail
        self.own, *self.others = [c.compile(engine.world) for c in rule.conditions()]
        self.depends = reduce(or_, (judge.depends for judge in self.others), self.own.depends)
        alone = (None,) if rule.mode.match is None else ()
        depends = self.depends if self.watched else Dependence()
        self.instances = Instances(rule.scope, alone, depends, engine.world)
        self._mute: dict[str | None, int] = {}

    def begin(self) -> None:  # noqa: B027 - most have nothing to see to
        """Look at what is so before the first instant."""

    @abstractmethod
    def settle(self, it: str | None, event: Event | None) -> None:
        """Judge one instance as it is now; `event` was the last to change it. May raise NoVerdict."""

    def run_out(self, it: str | None, time: int) -> None:  # noqa: B027 - most have no clocks
        """Note what of an instance has run out before `time`: later than its limit, so strictly before."""

    def clocks(self) -> Iterable[Clock]:
        """Yield the clocks that run."""
        return ()

    def holds(self, it: str | None) -> bool:
        """Return whether the rule is kept now: its condition is true, or the item is not in its scope."""
        return not self.instances.has(it) or self.own.holds(it)

    def judge(self, it: str | None, event: Event | None) -> None:
        """Judge one instance, or say that there is no verdict."""
        now = self.world.now
        try:
            self.settle(it, event)
        except NoVerdict as err:
            if it not in self._mute:
                breach = Breach(self.rule, it, now, now, (err.reason(),), event, no_verdict=True)
                self.trail.set(self._mute, it, self.engine.note(breach))
        else:
            if it in self._mute:
                self.engine.mend(self._mute[it])
                self.trail.drop(self._mute, it)

    def why(self, it: str | None) -> tuple[Reason, ...]:
        """Return why the condition is false now, or why that can't be told."""
        try:
            return self.own.reasons(it, self.engine.ended)
        except NoVerdict as err:
            return (err.reason(),)

    def clock(
        self, it: str | None, trigger: str, started: int, deadline: int | None, missing: tuple[Reason, ...]
    ) -> Clock:
        """Return a clock of one instance."""
        rule = self.rule
        return Clock(rule.id, rule.title, rule.severity, it or "", started, deadline, trigger, missing)
