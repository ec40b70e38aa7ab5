"""`by`: at an end, of an outing, of the sequence, or wherever the work may stop."""

from __future__ import annotations

from collections.abc import Hashable, Mapping
from dataclasses import dataclass
from typing import Any, ClassVar, NamedTuple, Self

from cfgtrack.model.action import END
from cfgtrack.model.event import Event
from cfgtrack.rules.condition import Clause, Part
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


class _Fault(NamedTuple):
    """An instance that is false at an end, and not put right since: what falls short, and its breaches."""

    items: tuple[str, ...]
    numbers: tuple[int, ...]


class _By(Runner):
    """Judges all instances at each end. What was false at one is put right when it is true, at an end or not."""

    timed = True

    def __init__(self, number: int, rule: Rule, engine: Engine, end: str) -> None:
        super().__init__(number, rule, engine)
        self.end = end
        self.false: dict[str | None, dict[Part, _Fault]] = {}
        engine.at_end[end].append(self.at_end)

    def at_end(self, event: Event | None) -> None:
        for it in self.instances.items:
            self.guarded(self._settle_end, it, event)

    def settle(self, it: str | None, event: Event | None) -> None:  # noqa: ARG002 - what isn't an end breaks nothing
        if it in self.false:
            self._mend(it, self.short(it))

    def _mend(self, it: str | None, short: Mapping[Part, tuple[str, ...]]) -> None:
        false = self.false.get(it, {})
        gone = [part for part in false if part not in short]
        for part in gone:
            for number in false[part].numbers:
                self.engine.mend(number)
        if len(gone) < len(false):
            if gone:
                # Another table, so that a step back finds the order that it had.
                self.trail.set(self.false, it, {p: fault for p, fault in false.items() if p in short})
        elif it in self.false:
            self.trail.drop(self.false, it)
            self.engine.leave(self.number, it)

    def _settle_end(self, it: str | None, event: Event | None) -> None:
        short = self.short(it)
        self._mend(it, short)
        if not short:
            return
        false = self.false.get(it)
        if false is None:
            false = {}
            self.trail.set(self.false, it, false)
            self.engine.join(self.number, it)
        for part, items in short.items():
            known = false.get(part, _Fault((), ()))
            numbers = known.numbers
            for number in numbers:
                self.engine.also_at(number, self.world.now)
            further = tuple(item for item in items if item not in known.items)
            if further or not numbers:
                more = {"cause": (self._end_of(event),), "ends": (self.world.now,)}
                numbers = (*numbers, self.note(it, part, further or items, self.why(it, part), event, **more))
            self.trail.set(false, part, _Fault(items, numbers))

    def _end_of(self, event: Event | None) -> str:
        """Return which end it is, whoever told it: of two outings, one is not the other."""
        return f"outing {event.outing}" if self.end == "outing" and event is not None else self.end

    def forget(self, it: str | None) -> None:
        super().forget(it)
        self._mend(it, {})

    def situation(self, now: int | None) -> Hashable:  # noqa: ARG002 - it counts ends, not time
        if not self.false and not self._mute:
            return None
        faults = (
            (it, part, fault.items, self.engine.older(fault.numbers))
            for it, parts in self.false.items()
            for part, fault in parts.items()
        )
        return self._muted(), frozenset(faults)

    def _remember(self, mute: list[Any]) -> Any:
        false = [
            [it, [[list(part), list(fault.items), list(fault.numbers)] for part, fault in parts.items()]]
            for it, parts in self.false.items()
        ]
        return [mute, false] if mute or false else None

    def recall(self, told: Any) -> None:
        mute, false = told
        super().recall(mute)
        for it, parts in false:
            self.false[it] = {tuple(p): _Fault(tuple(i), tuple(n)) for p, i, n in parts}
            self.engine.join(self.number, it)
