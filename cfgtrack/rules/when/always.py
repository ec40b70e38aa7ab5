"""`always`: at all times, save for as long as is tolerated."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import ClassVar, NamedTuple, Self

from cfgtrack.model.event import Event
from cfgtrack.model.time import format_duration
from cfgtrack.rules.breach import Breach, words
from cfgtrack.rules.condition import Clause
from cfgtrack.rules.engine import Engine
from cfgtrack.rules.finding import Clock
from cfgtrack.rules.mode import Mode, Runner
from cfgtrack.rules.rule import Rule


@dataclass(frozen=True, slots=True)
class Always(Mode):
    """Broken when the condition is false, continuously, for longer than `tolerance` microseconds."""

    key: ClassVar[str] = "always"
    fields: ClassVar[tuple[str, ...]] = ("tolerance",)
    tolerance: int = 0

    @classmethod
    def read(cls, clause: Clause) -> Self:
        return cls(clause.duration("tolerance") or 0)

    def words(self) -> str:
        span = format_duration(self.tolerance)
        return "always" + (f", save for up to {span} at a time" if self.tolerance else "")

    def compile(self, number: int, rule: Rule, engine: Engine) -> Runner:
        return _Always(number, rule, engine, self.tolerance)


class _Lapse(NamedTuple):
    """An instance that is false: as it was noted, or will be once it has been so for too long. `number`: when noted."""

    breach: Breach
    number: int | None


class _Always(Runner):
    """Judges after each instant what that may have changed; what turned false has until its tolerance is used up."""

    watched = True

    def __init__(self, number: int, rule: Rule, engine: Engine, tolerance: int) -> None:
        super().__init__(number, rule, engine)
        self.tolerance = tolerance
        self.false: dict[str | None, _Lapse] = {}

    def begin(self) -> None:
        for it in self.own.unsure(filter(self.instances.has, self.instances.items)):
            self.engine.disturb(self.number, it, None)

    def settle(self, it: str | None, event: Event | None) -> None:
        fault = self.false.get(it)
        if self.holds(it):
            if fault is not None:
                self._turned_true(it, fault)
        elif fault is None:
            self._turned_false(it, event)

    def _turned_true(self, it: str | None, fault: _Lapse) -> None:
        self.trail.drop(self.false, it)
        if fault.number is None:
            self.engine.turn(self, it, fault.breach.since, fault.breach.time, starts=False)
            self.engine.expect(self.number, it, None)
        else:
            self.engine.mend(fault.number)

    def _turned_false(self, it: str | None, event: Event | None) -> None:
        now = self.world.now
        breach = Breach(self.rule, it, now + self.tolerance, now, self.why(it), event)
        number = None if self.tolerance else self.engine.note(breach)
        self.trail.set(self.false, it, _Lapse(breach, number))
        if number is None:
            self.engine.expect(self.number, it, breach.time)
            self.engine.turn(self, it, now, breach.time, starts=True)

    def run_out(self, it: str | None, time: int) -> None:  # noqa: ARG002 - there is only one limit
        breach = self.false[it].breach
        self.trail.set(self.false, it, _Lapse(breach, self.engine.note(breach)))
        self.engine.turn(self, it, breach.since, breach.time, starts=False)
        self.engine.expect(self.number, it, None)

    def clocks(self) -> Iterator[Clock]:
        for it, (breach, number) in self.false.items():
            if number is None:
                trigger = words(breach.event) if breach.event is not None else "from the start"
                yield self.clock(it, trigger, breach.since, breach.time, breach.reasons)
