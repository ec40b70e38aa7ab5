"""`within`: not later than a limit after a trigger; and, where it must stay so, until that is undone."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any, ClassVar, NamedTuple, Self

from cfgtrack.model.event import Event
from cfgtrack.model.time import format_duration
from cfgtrack.rules.breach import Breach, words
from cfgtrack.rules.condition import Clause, Condition, NoVerdict
from cfgtrack.rules.engine import Engine
from cfgtrack.rules.finding import Clock
from cfgtrack.rules.limits import LIMITS, find_limit
from cfgtrack.rules.match import ActionMatch, Matcher
from cfgtrack.rules.mode import Mode, Runner
from cfgtrack.rules.rule import Rule


@dataclass(frozen=True, slots=True)
class Within(Mode):
    """Broken when a trigger is not followed by the condition being true at some instant of [t, t + limit].

    `trigger` is an action or a condition turning true. `limit` is microseconds, or the name of a physical limit
    (`thermal`, `trapped`). With `stays` the condition must then stay true until the trigger is undone: a condition
    turning false again, or one of the actions `until` on the same item.
    """

    key: ClassVar[str] = "within"
    fields: ClassVar[tuple[str, ...]] = ("within", "trigger", "stays", "until")
    limit: int | str
    trigger: ActionMatch | Condition
    stays: bool = False
    until: ActionMatch | None = None

    @classmethod
    def read(cls, clause: Clause) -> Self | None:
        limit, trigger = _read_limit(clause), _read_trigger(clause)
        stays, below = clause.flag("stays"), clause.below("until", has_it=True)
        until = None if below is None else below.match()
        if until is not None and not stays:
            clause.note(
                "until", "unexpected", "until says when stays ends: set stays = true, or leave it out"
            )
        return None if limit is None or trigger is None else cls(limit, trigger, stays, until)

    @classmethod
    def gives_it(cls, values: Mapping[str, Any]) -> bool:
        """Return whether an action triggers the rule: it is about the subjects of that."""
        trigger = values.get("trigger")
        return isinstance(trigger, dict) and "turns_true" not in trigger

    def words(self) -> str:
        span = format_duration(self.limit) if isinstance(self.limit, int) else f"the {self.limit} limit"
        turns = "" if isinstance(self.trigger, ActionMatch) else "it turns true that "
        stays = ", and then on until that is undone" if self.stays else ""
        return f"within {span} after {turns}{self.trigger.words()}{stays}"

    @property
    def match(self) -> ActionMatch | None:
        """The action that triggers the rule, if one does."""
        return self.trigger if isinstance(self.trigger, ActionMatch) else None

    def conditions(self) -> tuple[Condition, ...]:
        return () if isinstance(self.trigger, ActionMatch) else (self.trigger,)

    def compile(self, number: int, rule: Rule, engine: Engine) -> Runner:
        return _Within(number, rule, engine, self)


def _read_limit(clause: Clause) -> int | str | None:
    text = clause.text("within", required=True)
    if not text or text in LIMITS:
        return text or None
    if text.isalpha():
        clause.is_known("within", "limit", text, LIMITS)
        return None
    return clause.duration("within")


def _read_trigger(clause: Clause) -> ActionMatch | Condition | None:
    below = clause.below("trigger", required=True)
    if below is None:
        return None
    if not below.has("turns_true"):
        return below.match()
    inner = below.below("turns_true")
    below.finish()
    return None if inner is None else inner.condition()


class _Running(NamedTuple):
    """One clock that runs: started by `event`, must be met by `deadline` (None: physics sets no limit).

    `undone`: its trigger has been undone since, so that nothing need stay once it has been met.
    """

    started: int
    deadline: int | None
    trigger: str
    event: Event | None
    undone: bool = False


class _Within(Runner):
    """Starts a clock an item whenever the trigger comes, and judges the items that have one.

    `running` are the clocks not met yet; `staying` those met, whose condition must stay true; `late` the breaches
    that are open until the condition is true. `armed` tells for which items the condition that triggers was true.
    """

    watched = True

    def __init__(self, number: int, rule: Rule, engine: Engine, mode: Within) -> None:
        super().__init__(number, rule, engine)
        self.mode = mode
        self.running: dict[str | None, tuple[_Running, ...]] = {}
        self.staying: dict[str | None, tuple[_Running, ...]] = {}
        self.late: dict[str | None, tuple[int, ...]] = {}
        self.armed: dict[str | None, bool] = {}
        self.trigger = self.others[0] if self.others else None
        if mode.until is not None:
            self._undoes = Matcher(mode.until, self.instances, engine.world)
            for action in mode.until.actions:
                engine.after[action].append(self.undo_by)
        if mode.match is not None:
            self._starts = Matcher(mode.match, self.instances, engine.world)
            for action in mode.match.actions:
                engine.after[action].append(self.start_by)

    # --- the trigger ---

    def begin(self) -> None:
        for it in self.instances.items if self.trigger is not None else ():
            try:
                self.armed[it] = self._is_triggered(it)
            except NoVerdict:
                self.engine.disturb(self.number, it, None)

    def _is_triggered(self, it: str | None) -> bool:
        return self.trigger is not None and self.instances.has(it) and self.trigger.holds(it)

    def start_by(self, event: Event) -> None:
        for it in self._starts.items(event):
            self._start(it, words(event), event)

    def undo_by(self, event: Event) -> None:
        for it in self._undoes.items(event):
            self._undo(it)

    def _settle_trigger(self, it: str | None, event: Event | None) -> None:
        before, now = self.armed.get(it, False), self._is_triggered(it)
        if now == before:
            return
        self.trail.set(self.armed, it, now)
        if now:
            self._start(it, self.mode.trigger.words(), event)
            self.engine.calm(self.number, it)
        else:
            self._undo(it)

    def _undo(self, it: str | None) -> None:
        self.trail.drop(self.staying, it)
        if it in self.running:
            self.trail.set(self.running, it, tuple(c._replace(undone=True) for c in self.running[it]))

    # --- the clocks ---

    def _start(self, it: str | None, trigger: str, event: Event | None) -> None:
        now, engine = self.world.now, self.engine
        limit = find_limit(self.mode.limit, self.world, it)
        if limit.unknown:
            why = (limit.reason(),)
            engine.note(Breach(self.rule, it, now, now, why, event, None, trigger, no_verdict=True))
            return
        deadline = None if limit.time is None else now + limit.time
        self._set_running(it, (*self.running.get(it, ()), _Running(now, deadline, trigger, event)))
        engine.disturb(self.number, it, event)
        if not self.instances.is_scoped:
            engine.join(self.number, it)
        engine.turn(self, it, now, deadline, starts=True)

    def _set_running(self, it: str | None, clocks: tuple[_Running, ...]) -> None:
        if clocks:
            self.trail.set(self.running, it, clocks)
        else:
            self.trail.drop(self.running, it)
        deadlines = (c.deadline for c in clocks if c.deadline is not None)
        self.engine.expect(self.number, it, min(deadlines, default=None))

    def settle(self, it: str | None, event: Event | None) -> None:
        if self.trigger is not None:
            self._settle_trigger(it, event)
        if self._is_open(it):
            if self.holds(it):
                self._met(it)
            elif it in self.staying:
                self._lost(it, event)
        if not self.instances.is_scoped and not self._is_open(it):
            self.engine.leave(self.number, it)

    def _is_open(self, it: str | None) -> bool:
        return it in self.running or it in self.staying or it in self.late

    def _met(self, it: str | None) -> None:
        """Stop the clocks of an item whose condition is true; what must stay so is watched from now on."""
        clocks = self.running.get(it, ())
        staying = tuple(c for c in clocks if self.mode.stays and not c.undone)
        for c in clocks:
            self.engine.turn(self, it, c.started, c.deadline, starts=False)
        if clocks:
            self._set_running(it, ())
        if staying:
            self.trail.set(self.staying, it, (*self.staying.get(it, ()), *staying))
        for number in self.late.get(it, ()):
            self.engine.mend(number)
        self.trail.drop(self.late, it)

    def _lost(self, it: str | None, event: Event | None) -> None:
        kept, now, why = self.staying[it], self.world.now, self.why(it)
        self.trail.drop(self.staying, it)
        for c in kept:
            self._too_late(Breach(self.rule, it, now, c.started, why, event, c.deadline, c.trigger))

    def _too_late(self, breach: Breach) -> None:
        number = self.engine.note(breach)
        self.trail.set(self.late, breach.it, (*self.late.get(breach.it, ()), number))

    def run_out(self, it: str | None, time: int) -> None:
        clocks, why = self.running[it], self.why(it)
        over = [c for c in clocks if c.deadline is not None and c.deadline < time]
        self._set_running(it, tuple(c for c in clocks if c not in over))
        for c in over:
            assert c.deadline is not None
            self._too_late(Breach(self.rule, it, c.deadline, c.started, why, c.event, c.deadline, c.trigger))
            self.engine.turn(self, it, c.started, c.deadline, starts=False)

    def clocks(self) -> Iterator[Clock]:
        for it, clocks in self.running.items():
            missing = self.why(it)
            for c in clocks:
                yield self.clock(it, c.trigger, c.started, c.deadline, missing)
