"""`always`: at all times, save for as long as is tolerated."""

from __future__ import annotations

from collections.abc import Hashable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any, ClassVar, NamedTuple, Self

from cfgtrack.model.event import Event
from cfgtrack.model.time import format_duration
from cfgtrack.rules.breach import Breach
from cfgtrack.rules.condition import Clause, Part
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
    """An instance that is false: the breach that it is, or will be once it has been so for too long.

    `items` fall short now; `numbers` are the breaches noted of it so far, none while its tolerance lasts.
    """

    breach: Breach
    items: tuple[str, ...]
    numbers: tuple[int, ...] = ()


class _Always(Runner):
    """Judges after each instant what that may have changed; what turned false has until its tolerance is used up."""

    watched = timed = True

    def __init__(self, number: int, rule: Rule, engine: Engine, tolerance: int) -> None:
        super().__init__(number, rule, engine)
        self.tolerance = tolerance
        self._is_restless = self.own.restless
        self.false: dict[str | None, dict[Part, _Lapse]] = {}
        self.seen: dict[str | None, int] = {}

    def begin(self) -> None:
        for it in self.own.unsure(filter(self.instances.has, self.instances.items)):
            self.engine.disturb(self.number, it, None)

    def settle(self, it: str | None, event: Event | None) -> None:
        version = None if self.instances.is_scoped else self.own.version
        if version is not None and self.seen.get(it) == version:
            return
        short, false = self.short(it), self.false.get(it)
        if false is None:
            if short:
                self._turn_false(it, short, event)
        elif short:
            self._compare(it, false, short, event)
        else:
            self._turn_true(it, false)
        if version is not None:
            self.trail.set(self.seen, it, version)

    def _turn_false(self, it: str | None, short: Mapping[Part, tuple[str, ...]], event: Event | None) -> None:
        """Note that an item of which all was true has instances that are false."""
        false = {part: self._lapse(it, part, items, event) for part, items in short.items()}
        self.trail.set(self.false, it, false)
        if self._is_restless:
            self.keep_judging(it, on=True)
        if self.tolerance:
            self._expect(it, false)

    def _turn_true(self, it: str | None, false: Mapping[Part, _Lapse]) -> None:
        """Note that all of an item is true."""
        for lapse in false.values():
            self._is_over(lapse)
        self.trail.drop(self.false, it)
        if self._is_restless:
            self.keep_judging(it, on=False)
        if self.tolerance:
            self.engine.expect(self.number, it, None)

    def _compare(
        self,
        it: str | None,
        false: dict[Part, _Lapse],
        short: Mapping[Part, tuple[str, ...]],
        event: Event | None,
    ) -> None:
        turned = False
        gone = [part for part in false if part not in short]
        for part in gone:
            turned = not false[part].numbers or turned
            self._is_over(false[part])
        if gone:
            # Another table, so that a step back finds the order that it had.
            false = {part: lapse for part, lapse in false.items() if part in short}
            self.trail.set(self.false, it, false)
        for part, items in short.items():
            lapse = false.get(part)
            if lapse is None:
                turned = True
                self.trail.set(false, part, self._lapse(it, part, items, event))
            elif lapse.items != items:
                self._fell_further(it, false, part, items, event)
        if turned and self.tolerance:
            self._expect(it, false)

    def _is_over(self, lapse: _Lapse) -> None:
        """Note that an instance is true again."""
        for number in lapse.numbers:
            self.engine.mend(number)
        if not lapse.numbers:
            self._turn(lapse.breach, starts=False)

    def _lapse(self, it: str | None, part: Part, items: tuple[str, ...], event: Event | None) -> _Lapse:
        """Note that an instance has turned false, and return what is to be known of it."""
        event = self.made_so(it, part, event)
        breach = self.breach(it, part, items, self.why(it, part), event, time=self.world.now + self.tolerance)
        if not self.tolerance:
            return _Lapse(breach, items, (self.engine.note(breach),))
        self._turn(breach, starts=True)
        return _Lapse(breach, items)

    def _fell_further(
        self,
        it: str | None,
        false: dict[Part, _Lapse],
        part: Part,
        items: tuple[str, ...],
        event: Event | None,
    ) -> None:
        """Note that what is judged as one is false anew, if a further item falls short and it is broken already."""
        lapse = false[part]
        numbers = lapse.numbers
        further = [item for item in items if item not in lapse.items] if numbers else []
        for by, fallen in self.blows(it, part, further, event):
            numbers = (*numbers, self.note(it, part, fallen, self.why(it, part), by))
        self.trail.set(false, part, lapse._replace(items=items, numbers=numbers))

    def _expect(self, it: str | None, false: dict[Part, _Lapse]) -> None:
        due: int | None = None
        for breach, _, numbers in false.values():
            if not numbers and (due is None or breach.time < due):
                due = breach.time
        self.engine.expect(self.number, it, due)

    def run_out(self, it: str | None, time: int) -> None:
        false = self.false[it]
        for part, lapse in list(false.items()):
            if not lapse.numbers and lapse.breach.time < time:
                breach = self.as_it_is(lapse.breach)
                if breach.items != lapse.items:
                    breach = breach._replace(items=lapse.items)
                self.trail.set(false, part, _Lapse(lapse.breach, lapse.items, (self.engine.note(breach),)))
                self._turn(breach, starts=False)
        self._expect(it, false)

    def _turn(self, breach: Breach, *, starts: bool) -> None:
        self.engine.turn(self, breach.whom, breach.since, breach.time, starts=starts)

    def clocks(self) -> Iterator[Clock]:
        for false in self.false.values():
            for breach, _, numbers in false.values():
                if not numbers:
                    trigger = breach.deed.words if breach.deed is not None else "from the start"
                    yield self.clock(breach.whom, trigger, breach.since, breach.time, breach.reasons)

    def held(self) -> tuple[str | None, ...]:
        return (*super().held(), *self.false)

    def forget(self, it: str | None) -> None:
        super().forget(it)
        if it in self.false:
            self._turn_true(it, self.false[it])

    def situation(self, now: int | None) -> Hashable:
        if not self.false and not self._mute:
            return None
        lapses = (
            (
                it,
                part,
                lapse.items,
                None if now is None or lapse.numbers else now - lapse.breach.since,
                self.engine.older(lapse.numbers),
            )
            for it, parts in self.false.items()
            for part, lapse in parts.items()
        )
        return self._muted(), frozenset(lapses)

    def _remember(self, mute: list[Any]) -> Any:
        false = [
            [lapse.breach.remembered(), list(lapse.items), list(lapse.numbers)]
            for parts in self.false.values()
            for lapse in parts.values()
        ]
        return [mute, false] if mute or false else None

    def recall(self, told: Any) -> None:
        mute, false = told
        super().recall(mute)
        for breach, items, numbers in false:
            lapse = _Lapse(Breach.recalled(breach, self.rule), tuple(items), tuple(numbers))
            self.false.setdefault(lapse.breach.it, {})[lapse.breach.part] = lapse
        for it, parts in self.false.items():
            self._expect(it, parts)
            self.keep_judging(it, on=True)
