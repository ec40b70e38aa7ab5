"""`within`: not later than a limit after a trigger; and, where it must stay so, until that is undone."""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any, ClassVar, NamedTuple, Self

from cfgtrack.model.event import Event
from cfgtrack.model.time import format_duration
from cfgtrack.rules.breach import Deed, words
from cfgtrack.rules.condition import WHOLE, Clause, Condition, NoVerdict, Part
from cfgtrack.rules.engine import Engine
from cfgtrack.rules.finding import Clock
from cfgtrack.rules.limits import LIMITS, find_limit
from cfgtrack.rules.match import ActionMatch, Matcher
from cfgtrack.rules.mode import Mode, Runner
from cfgtrack.rules.rule import Rule
from cfgtrack.rules.world import Change


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
    """One clock: started by `deed`, must be met by `deadline` (None: physics sets no limit).

    `undone`: its trigger has been undone since, so that nothing need stay once it has been met.
    """

    started: int
    deadline: int | None
    trigger: str
    deed: Deed | None
    undone: bool = False

    def remembered(self) -> list[Any]:
        """Return it as JSON has it."""
        deed = None if self.deed is None else self.deed.remembered()
        return [self.started, self.deadline, self.trigger, deed, self.undone]

    @classmethod
    def recalled(cls, told: list[Any]) -> Self:
        """Return the clock that was told."""
        started, deadline, trigger, deed, undone = told
        return cls(
            started,
            deadline,
            trigger,
            None if deed is None else Deed.recalled(deed),
            undone,
        )


class _Late(NamedTuple):
    """What was not met in time, or not kept: the clock, and of every instance what falls short and its breaches."""

    clock: _Running
    parts: Mapping[Part, tuple[tuple[str, ...], tuple[int, ...]]]


def _on(it: str | None) -> Part:
    """Return what stands for a trigger that is true for an item, among the instances that are false."""
    return ("#on", it or "")


class _Within(Runner):
    """Starts a clock an item whenever the trigger comes, and judges the items that have one.

    `running` are the clocks not met yet; `staying` those met, whose condition must stay true; `late` those that were
    not met in time, or not kept, until the condition is true. `armed` tells for which items the condition that triggers
    was true.

    Without scope there is one clock an item of the trigger: those that its action is about, or that make it true.
    """

    watched = timed = True

    def __init__(self, number: int, rule: Rule, engine: Engine, mode: Within) -> None:
        super().__init__(number, rule, engine)
        self.mode = mode
        self.running: dict[str | None, tuple[_Running, ...]] = {}
        self.staying: dict[str | None, tuple[_Running, ...]] = {}
        self.late: dict[str | None, tuple[_Late, ...]] = {}
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
                self.armed.update(dict.fromkeys(self._triggered(it), True))
            except NoVerdict:
                self.engine.disturb(self.number, it, None)

    def _triggered(self, it: str | None) -> tuple[str | None, ...]:
        """Return for whom the condition that triggers is true now: `it`, or without scope the items that make it so."""
        if self.trigger is None or not self.instances.has(it) or not self.trigger.holds(it):
            return ()
        return (it,) if it is not None else self.trigger.met(None) or (None,)

    def false_parts(self, it: str | None) -> Iterable[Part]:
        """Return the instances that are false now, and for whom the trigger is true: see `Engine.made_so`."""
        try:
            return (*super().false_parts(it), *map(_on, self._triggered(it)))
        except NoVerdict:
            return ()

    def start_by(self, event: Event) -> None:
        for it in self._starts.items(event):
            self._start(it, words(event), event)

    def undo_by(self, event: Event) -> None:
        for it in self._undoes.items(event):
            self._undo(it)

    def _settle_trigger(self, it: str | None, event: Event | None) -> None:
        assert isinstance(self.mode.trigger, Condition)
        now = dict.fromkeys(self._triggered(it), True)
        # Sorted: the order in which they came is another one after a step back.
        before = sorted((one for one in self.armed if it is None or one == it), key=lambda one: one or "")
        for one in before:
            if one not in now:
                self.trail.drop(self.armed, one)
                self._undo(one)
        for one in now:
            if one not in self.armed:
                self.trail.set(self.armed, one, True)
                self._start(one, self.mode.trigger.words(), self.made_so(it, _on(one), event))
                if one == it:
                    self.engine.calm(self.number, one)

    def _undo(self, it: str | None) -> None:
        self.trail.drop(self.staying, it)
        if it in self.running:
            # What has no limit and need not stay so asks for nothing any more.
            for c in self.running[it]:
                if c.deadline is None:
                    self.engine.turn(self, it, c.started, None, starts=False)
            undone = tuple(c._replace(undone=True) for c in self.running[it] if c.deadline is not None)
            self._set_running(it, undone)
        if it in self.late:
            late = tuple(one._replace(clock=one.clock._replace(undone=True)) for one in self.late[it])
            self.trail.set(self.late, it, late)

    # --- the clocks ---

    def _start(self, it: str | None, trigger: str, event: Event | None) -> None:
        now, engine = self.world.now, self.engine
        limit = find_limit(self.mode.limit, self.world, it)
        if limit.unknown:
            self.note(it, WHOLE, (), (limit.reason(),), event, trigger=trigger, no_verdict=True)
            return
        deadline = None if limit.time is None else now + limit.time
        deed = None if event is None else self.engine.deed_of(event)
        self._set_running(it, (*self.running.get(it, ()), _Running(now, deadline, trigger, deed)))
        engine.disturb(self.number, it, event)
        if not self.instances.is_scoped:
            engine.join(self.number, it)
        engine.turn(self, it, now, deadline, starts=True)

    def _set_running(self, it: str | None, clocks: tuple[_Running, ...]) -> None:
        if clocks:
            self.trail.set(self.running, it, clocks)
        else:
            self.trail.drop(self.running, it)
        self._expect(it)

    def _expect(self, it: str | None) -> None:
        deadlines = (c.deadline for c in self.running.get(it, ()) if c.deadline is not None)
        self.engine.expect(self.number, it, min(deadlines, default=None))

    def settle(self, it: str | None, event: Event | None) -> None:
        if self.trigger is not None and (it is None or self.instances.is_scoped):
            self._settle_trigger(it, event)
        if it in self.running and self.engine.moved == self.world.now:
            self._limit_anew(it)
        if self._is_open(it):
            short = self.short(it)
            if short:
                self._fell_short(it, short, event)
            else:
                self._met(it)
        if not self.instances.is_scoped and not self._is_open(it):
            self.engine.leave(self.number, it)

    def stirred(self, change: Change, joined: Iterable[str | None]) -> Iterable[str | None]:
        """Return those that the event may have changed; those without a limit too, which may have one by now."""
        if self.own.restless or self.own.depends.may_change_all(change):
            return joined
        near = self.instances.near(change)
        return [it for it in joined if it is None or it in near or self._is_unlimited(it)]

    def _is_unlimited(self, it: str | None) -> bool:
        return any(clock.deadline is None for clock in self.running.get(it, ()))

    def _limit_anew(self, it: str | None) -> None:
        """Give those clocks a limit that had none where they started, moved to where physics sets one."""
        clocks = self.running[it]
        if all(c.deadline is not None for c in clocks):
            return
        limit, now = find_limit(self.mode.limit, self.world, it), self.world.now
        if limit.time is None:
            return
        deadline = now + limit.time
        anew = tuple(c._replace(started=now, deadline=deadline) if c.deadline is None else c for c in clocks)
        for c, then in zip(clocks, anew, strict=True):
            if c is not then:
                self.engine.turn(self, it, c.started, None, starts=False)
                self.engine.turn(self, it, then.started, deadline, starts=True)
        self._set_running(it, anew)

    def _is_open(self, it: str | None) -> bool:
        return it in self.running or it in self.staying or it in self.late

    def _met(self, it: str | None) -> None:
        """Stop the clocks of an item whose condition is true; what must stay so is watched from now on."""
        clocks = self.running.get(it, ())
        for c in clocks:
            self.engine.turn(self, it, c.started, c.deadline, starts=False)
        if clocks:
            self._set_running(it, ())
        for late in self.late.get(it, ()):
            for _, numbers in late.parts.values():
                for number in numbers:
                    self.engine.mend(number)
            clocks = (*clocks, late.clock)
        self._set_late(it, ())
        staying = tuple(c for c in clocks if self.mode.stays and not c.undone)
        if staying:
            self.trail.set(self.staying, it, (*self.staying.get(it, ()), *staying))

    def _fell_short(self, it: str | None, short: Mapping[Part, tuple[str, ...]], event: Event | None) -> None:
        """Note what has not stayed as it must, and what further falls short where something does already."""
        late = tuple(self._further(it, one, short, event) for one in self.late.get(it, ()))
        now = self.world.now
        for clock in self.staying.get(it, ()):
            late = (*late, self._too_late(it, clock, short, event, time=now))
        self.trail.drop(self.staying, it)
        self._set_late(it, late)

    def _set_late(self, it: str | None, late: tuple[_Late, ...]) -> None:
        if late:
            self.trail.set(self.late, it, late)
            self.keep_judging(it, on=True)
        elif it in self.late:
            self.trail.drop(self.late, it)
            self.keep_judging(it, on=False)

    def _further(
        self, it: str | None, late: _Late, short: Mapping[Part, tuple[str, ...]], event: Event | None
    ) -> _Late:
        for part, (_, numbers) in late.parts.items():
            for number in numbers if part not in short else ():
                self.engine.mend(number)
        parts = {}
        for part, items in short.items():
            before, numbers = late.parts.get(part, ((), ()))
            c = late.clock
            more = {"since": c.started, "deadline": c.deadline, "trigger": c.trigger}
            if part in late.parts:
                blows = self.blows(it, part, [item for item in items if item not in before], event)
            else:
                blows = [(self.made_so(it, part, event), items)]
            for by, fallen in blows:
                numbers = (*numbers, self.note(it, part, fallen, self.why(it, part), by, **more))
            parts[part] = (items, numbers)
        return late._replace(parts=parts)

    def _too_late(
        self,
        it: str | None,
        clock: _Running,
        short: Mapping[Part, tuple[str, ...]],
        event: Event | Deed | None,
        *,
        time: int,
    ) -> _Late:
        more: dict[str, Any] = {"time": time, "since": clock.started, "deadline": clock.deadline}
        more["trigger"] = clock.trigger
        parts = {}
        for part, items in short.items():
            by = self.made_so(it, part, event) if isinstance(event, Event) else event
            parts[part] = (items, (self.note(it, part, items, self.why(it, part), by, **more),))
        return _Late(clock, parts)

    def run_out(self, it: str | None, time: int) -> None:
        clocks = self.running[it]
        over = [c for c in clocks if c.deadline is not None and c.deadline < time]
        self._set_running(it, tuple(c for c in clocks if c not in over))
        try:
            short = self.short(it) or {WHOLE: ()}
        except NoVerdict as err:
            # It is late once that can be told, and it is so then.
            self.say_no_verdict(it, err, None)
            short = {}
        late = self.late.get(it, ())
        for c in over:
            assert c.deadline is not None
            late = (*late, self._too_late(it, c, short, c.deed, time=c.deadline))
            self.engine.turn(self, it, c.started, c.deadline, starts=False)
        self._set_late(it, late)

    def clocks(self) -> Iterator[Clock]:
        for it, clocks in self.running.items():
            missing = self.why(it)
            # What physics sets no limit to is told when it starts, and then is nobody's clock.
            for c in clocks:
                if c.deadline is not None:
                    yield self.clock(it, c.trigger, c.started, c.deadline, missing)

    # --- what it remembers ---

    def held(self) -> tuple[str | None, ...]:
        return (*super().held(), *self.running, *self.staying, *self.late, *self.armed)

    def forget(self, it: str | None) -> None:
        super().forget(it)
        self._met(it)
        self.trail.drop(self.staying, it)
        self.trail.drop(self.armed, it)
        if not self.instances.is_scoped:
            self.engine.leave(self.number, it)

    def situation(self, now: int | None) -> Hashable:
        if not (self.running or self.staying or self.late or self.armed or self._mute):
            return None
        running = (
            (it, frozenset(self._what_matters(clock, now) for clock in clocks))
            for it, clocks in self.running.items()
        )
        late = (
            (it, part, items, one.clock.undone, self.engine.older(numbers))
            for it, several in self.late.items()
            for one in several
            for part, (items, numbers) in one.parts.items()
        )
        armed, staying = frozenset(self.armed), frozenset(self.staying)
        return self._muted(), frozenset(running), staying, frozenset(late), armed

    @staticmethod
    def _what_matters(clock: _Running, now: int | None) -> Hashable:
        """Return what of a running clock does: when it runs out, whether it is limited at all, and is undone."""
        left = clock.deadline if clock.deadline is None or now is None else clock.deadline - now
        return clock.deadline is None, left if now is not None else None, clock.undone

    def _remember(self, mute: list[Any]) -> Any:
        told = [
            mute,
            [[it, [c.remembered() for c in clocks]] for it, clocks in self.running.items()],
            [[it, [c.remembered() for c in clocks]] for it, clocks in self.staying.items()],
            [
                [
                    it,
                    [
                        [
                            one.clock.remembered(),
                            [[list(p), list(i), list(n)] for p, (i, n) in one.parts.items()],
                        ]
                        for one in late
                    ],
                ]
                for it, late in self.late.items()
            ],
            list(self.armed),
        ]
        return told if any(told) else None

    def recall(self, told: Any) -> None:
        mute, running, staying, late, armed = told
        super().recall(mute)
        self.running = {it: tuple(map(_Running.recalled, clocks)) for it, clocks in running}
        self.staying = {it: tuple(map(_Running.recalled, clocks)) for it, clocks in staying}
        self.late = {
            it: tuple(
                _Late(_Running.recalled(clock), {tuple(p): (tuple(i), tuple(n)) for p, i, n in parts})
                for clock, parts in several
            )
            for it, several in late
        }
        self.armed = dict.fromkeys(armed, True)
        for it in self.running:
            self._expect(it)
        for it in self.late:
            self.keep_judging(it, on=True)
        if not self.instances.is_scoped:
            for it in (*self.running, *self.staying, *self.late):
                self.engine.join(self.number, it)
