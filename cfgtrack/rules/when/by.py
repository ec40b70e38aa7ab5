"""`by`: at an end, of an outing, of the sequence, or wherever the work may stop."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar, Self

from cfgtrack.model.action import END
from cfgtrack.model.event import Event
from cfgtrack.rules.breach import Breach
from cfgtrack.rules.condition import Clause
from cfgtrack.rules.engine import Engine
from cfgtrack.rules.mode import Mode, Runner
from cfgtrack.rules.rule import Rule

ENDS = ("outing", "sequence", "stop")


@dataclass(frozen=True, slots=True)
class By(Mode):
    """Broken when the condition is false at the end of an `outing`, of the `sequence`, or at every `stop` point."""

    key: ClassVar[str] = "by"
    fields: ClassVar[tuple[str, ...]] = ("by",)
    end: str

    @classmethod
    def read(cls, clause: Clause) -> Self | None:
        end = clause.text("by", required=True)
        return cls(end) if end and clause.is_known("by", "end", end, ENDS) else None

    def words(self) -> str:
        return "wherever the work may stop" if self.end == "stop" else f"at the end of each {self.end}"

    def concerns(self, action: str) -> bool:
        return action == END

    def compile(self, number: int, rule: Rule, engine: Engine) -> Runner:
        return _By(number, rule, engine, self.end)


class _By(Runner):
    """Judges all instances at each end. What is false at one and true at a later one was put right then."""

    def __init__(self, number: int, rule: Rule, engine: Engine, end: str) -> None:
        super().__init__(number, rule, engine)
        self.false: dict[str | None, int] = {}
        engine.at_end[end].append(self.at_end)

    def at_end(self, event: Event | None) -> None:
        for it in self.instances.items:
            self.judge(it, event)

    def settle(self, it: str | None, event: Event | None) -> None:
        number, now = self.false.get(it), self.world.now
        if self.holds(it):
            if number is not None:
                self.trail.drop(self.false, it)
                self.engine.mend(number)
        elif number is None:
            breach = Breach(self.rule, it, now, now, self.why(it), event)
            self.trail.set(self.false, it, self.engine.note(breach))
