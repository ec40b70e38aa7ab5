"""The rules engine: one pass over events, for the recorded past, the present and a proposal alike.

Time is dense. What happens at one instant is one change for conditions that are watched over time (`always`,
`within`, a trigger that turns true): only the state when the instant is over counts. For `at ACTION` the events of an
instant are a series, each judged where it stands. A condition that is false for exactly its tolerance has not broken
its rule, nor is a clock run out at the very instant of its deadline: a microsecond later it is.

Everything that changes is written through a `Trail`, so the engine can step back as cheaply as it went forward.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from typing import NamedTuple

from cfgtrack.model.action import END, LIFT, PLACE
from cfgtrack.model.configuration import Configuration
from cfgtrack.model.event import Event
from cfgtrack.network.flow import Link
from cfgtrack.network.network import Network
from cfgtrack.rules.breach import Breach, gather, words
from cfgtrack.rules.custom import NoVerdict
from cfgtrack.rules.describe import describe
from cfgtrack.rules.explain import explain
from cfgtrack.rules.finding import Clock, Finding, Reason
from cfgtrack.rules.judge import MICRO, Judge, media_of
from cfgtrack.rules.limits import find_limit
from cfgtrack.rules.rule import ActionMatch, Always, At, By, Rule, RuleSet, Selection, Within
from cfgtrack.rules.selection import stands_at
from cfgtrack.rules.trail import Trail
from cfgtrack.rules.watch import Watch, conditions_of, make_watch, trigger_condition
from cfgtrack.rules.world import Change, Prior, World, no_prior

Key = tuple[int, str | None]
"""One instance of a rule: the rule's number, and its item."""

_ANYTHING = Selection()
_NEVER = 1 << 63


class Running(NamedTuple):
    """One clock that runs: started by `event`, must be met by `deadline` (None: physics sets no limit).

    `undone`: its trigger has been undone since, so that nothing need stay once it has been met.
    """

    started: int
    deadline: int | None
    trigger: str
    event: Event | None
    undone: bool = False


ClockKey = tuple[str, str, int]
"""One clock, as those who ask know it: rule, item, and when it started."""


class Turn(NamedTuple):
    """A clock that started or stopped."""

    starts: bool
    clock: ClockKey
    deadline: int | None


class Fault(NamedTuple):
    """Since when an instance is false, by what event, and whether that has been noted as a breach."""

    since: int
    event: Event | None
    breach: int | None
    noted: Breach


def media_used(rules: RuleSet) -> set[str]:
    """Return the media whose networks a rule set needs."""
    return {m for rule in rules.rules for c in conditions_of(rule) for m in media_of(c)}


class Engine:
    """Judges events one by one against a rule set.

    `configuration` is where it starts (the engine goes on with it: pass a fork to keep yours) and `start` is when.
    `touched` names every subject that any event to come may write, so that all else can be contracted; None
    contracts nothing. `prior` tells what was last done before the start.
    """

    def __init__(
        self,
        rules: RuleSet,
        configuration: Configuration,
        *,
        start: int,
        touched: Iterable[str] | None = None,
        prior: Prior = no_prior,
        networks: Mapping[str, Network] | None = None,
    ) -> None:
        self.rules = rules
        self.trail = Trail()
        self.world = World(
            configuration,
            media=sorted(media_used(rules)),
            touched=touched,
            now=start,
            trail=self.trail,
            prior=prior,
            networks=networks,
        )
        self.judge = Judge(self.world)
        self._watches = [make_watch(i, rule, self.world) for i, rule in enumerate(rules.rules)]
        self._watched = [w for w in self._watches if self._is_watched(w)]
        self._at: dict[tuple[str, bool], list[Watch]] = {}
        self._starts: dict[str, list[Watch]] = {}
        self._ends: dict[str, list[Watch]] = {}
        self._undoes: dict[str, list[Watch]] = {}
        self._wakes_on: dict[str, list[Watch]] = {}
        self._dirty: dict[Key, Event | None] = {}
        self._ended: dict[int, tuple[tuple[str, Link], ...]] = {0: ()}
        self._begun: dict[int, frozenset[tuple[str, Link]]] = {0: frozenset()}
        self._false: dict[Key, Fault] = {}
        self._armed: dict[Key, bool] = {}
        self._running: dict[Key, tuple[Running, ...]] = {}
        self._staying: dict[Key, tuple[Running, ...]] = {}
        self._late: dict[Key, tuple[int, ...]] = {}
        self._mute: dict[Key, int] = {}
        self._open: dict[int, dict[str | None, bool]] = {}
        self._pending: dict[Key, int] = {}
        self._wakes: dict[tuple[int, int], bool] = {}
        self._next: dict[str, int] = {"due": _NEVER, "wake": _NEVER}
        self._breaches: dict[int, Breach] = {}
        self._until: dict[int, int] = {}
        self._turns: dict[int, Turn] = {}
        self._tells_turns = False
        for watch in self._watches:
            self._index(watch)
        self._begin()

    # --- set-up ---

    def _index(self, watch: Watch) -> None:
        mode = watch.rule.mode
        if isinstance(mode, At):
            for action in mode.action.actions:
                self._at.setdefault((action, mode.after), []).append(watch)
        elif isinstance(mode, By):
            self._ends.setdefault(mode.end, []).append(watch)
        elif isinstance(mode, Within):
            if isinstance(mode.trigger, ActionMatch):
                for action in mode.trigger.actions:
                    self._starts.setdefault(action, []).append(watch)
            for action in mode.until.actions if mode.until is not None else ():
                self._undoes.setdefault(action, []).append(watch)
        for value in watch.elapsed:
            for action in value.since:
                self._wakes_on.setdefault(action, []).append(watch)

    def _is_watched(self, watch: Watch) -> bool:
        """Return whether a rule is judged at the end of every instant that may have changed it."""
        return isinstance(watch.rule.mode, Always | Within)

    def _begin(self) -> None:
        """Have what is false judged when the first instant is over, and see which triggers are true before it."""
        for watch in self._watches:
            for condition in conditions_of(watch.rule):
                self.judge.prepare(condition)
            trigger = trigger_condition(watch.rule)
            if isinstance(watch.rule.mode, Always):
                self._dirty.update({(watch.number, it): None for it in self._false_at_first(watch)})
            elif trigger is not None:
                for it in watch.instances:
                    try:
                        armed = self._applies(watch, it) and self.judge.holds(trigger, it)
                    except NoVerdict:
                        self._dirty[watch.number, it] = None
                        continue
                    self._armed[watch.number, it] = armed

    def _false_at_first(self, watch: Watch) -> Iterable[str | None]:
        """Return the instances that are false as things stand; the commonest rule has a way of its own."""
        direct = self.judge.direct(watch.rule.condition)
        if direct is None or (watch.rule.scope is not None and watch.rule.scope.at):
            return (it for it in watch.instances if self._may_be_false(watch, it))
        vertices, has = direct[0].vertices, direct[1].__contains__
        return [it for it in watch.instances if it and not ((vs := vertices(it)) and all(map(has, vs)))]

    def _holds(self, watch: Watch, it: str | None) -> bool:
        return not self._applies(watch, it) or self.judge.holds(watch.rule.condition, it)

    def _may_be_false(self, watch: Watch, it: str | None) -> bool:
        try:
            return not self._holds(watch, it)
        except NoVerdict:
            return True

    def _applies(self, watch: Watch, it: str | None) -> bool:
        """Return whether an item is in the rule's scope now: a scope may ask where it stands."""
        scope = watch.rule.scope
        if scope is None or it is None or not scope.at:
            return True
        return stands_at(self.world.configuration, it.partition(":")[0], scope.at)

    # --- going forward ---

    def step(self, event: Event) -> None:
        """Take one resolved event, not earlier than the last."""
        if event.happened < self.world.now:
            raise ValueError(f"{event.id} happened before the engine's time")
        self.advance(event.happened)
        self._judge_at(event, after=False)
        change = self.world.apply(event)
        self.judge.update(change)
        self._mark_dirty(change)
        self._judge_at(event, after=True)
        self._undo_by_action(event)
        self._start_by_action(event)
        self._set_wakes(event)
        if event.action == END:
            self._judge_end("outing", event)
            self._judge_end("stop", event)

    def advance(self, time: int) -> None:
        """Let time pass until `time`, not included: what happens then is still to come."""
        if time <= self.world.now:
            return
        self.settle()
        self._wake_until(time)
        self._run_out(time)
        self.world.set_now(time)

    def _wake_until(self, time: int) -> None:
        """Judge rules on elapsed time at each instant before `time` at which some time is up."""
        while self._next["wake"] < time:
            wake = min(self._wakes)
            self.trail.drop(self._wakes, wake)
            self.trail.set(self._next, "wake", min(self._wakes, default=(_NEVER,))[0])
            self._run_out(wake[0])
            self.world.set_now(max(wake[0], self.world.now))
            watch = self._watches[wake[1]]
            for it in (*watch.instances, *self._open.get(watch.number, ())):
                self.trail.set(self._dirty, (watch.number, it), None)
            self.settle()

    def finish(self, at: int) -> None:
        """Let time pass until `at` and close that instant. Clocks still running then are not broken."""
        self.advance(at)
        self.settle()
        self._wake_until(at + 1)

    def end_sequence(self, event: Event | None = None) -> None:
        """Judge what must hold at the end of the whole sequence."""
        self.settle()
        self._judge_end("sequence", event)

    def stop_point(self, event: Event | None) -> None:
        """Judge what must hold wherever the work could stop, as after `event`."""
        self.settle()
        self._judge_end("stop", event)

    def settle(self) -> None:
        """Close the instant: judge all that it may have changed."""
        dirty = list(self._dirty.items())
        for key, _ in dirty:
            self.trail.drop(self._dirty, key)
        for (number, it), event in dirty:
            watch = self._watches[number]
            is_always = isinstance(watch.rule.mode, Always)
            self._judged(self._settle_always if is_always else self._settle_within, watch, it, event)
        if self._ended[0]:
            self.trail.set(self._ended, 0, ())
        if self._begun[0]:
            self.trail.set(self._begun, 0, frozenset())
        self.judge.cuts.clear()

    def _judged(
        self,
        settle: Callable[[Watch, str | None, Event | None], None],
        watch: Watch,
        it: str | None,
        event: Event | None,
    ) -> None:
        """Judge an instance; where its condition crashes, say once that there is no verdict, until there is one."""
        key, now = (watch.number, it), self.world.now
        try:
            settle(watch, it, event)
        except NoVerdict as err:
            if key not in self._mute:
                breach = Breach(watch.rule, it, now, now, (err.reason(),), event, no_verdict=True)
                self.trail.set(self._mute, key, self._note(breach))
        else:
            if key in self._mute:
                self.trail.set(self._until, self._mute[key], now)
                self.trail.drop(self._mute, key)

    def _mark_dirty(self, change: Change) -> None:
        if change.shifts:
            self._note_links(change)
        for watch in self._watched:
            for it in watch.affected(self.world, change):
                self.trail.set(self._dirty, (watch.number, it), change.event)
        for number, items in self._open.items():
            for it in items:
                self.trail.set(self._dirty, (number, it), change.event)

    def _note_links(self, change: Change) -> None:
        """Note the links that ended within this instant. One that also began in it was never a way: left out."""
        ended = [pair for pair in change.ended() if pair not in self._begun[0]]
        begun = [(medium, link) for medium, shift in change.shifts.items() for link in shift.begun]
        if ended:
            self.trail.set(self._ended, 0, (*self._ended[0], *ended))
        if begun:
            self.trail.set(self._begun, 0, self._begun[0] | frozenset(begun))

    # --- always ---

    def _settle_always(self, watch: Watch, it: str | None, event: Event | None) -> None:
        key = (watch.number, it)
        fault = self._false.get(key)
        if self._holds(watch, it):
            if fault is not None:
                self.trail.drop(self._false, key)
                if fault.breach is None:
                    self._turn(watch, it, fault.since, self._pending[key], starts=False)
                    self.trail.drop(self._pending, key)
                else:
                    self.trail.set(self._until, fault.breach, self.world.now)
        elif fault is None:
            self._turned_false(watch, it, event)

    def _turned_false(self, watch: Watch, it: str | None, event: Event | None) -> None:
        mode = watch.rule.mode
        assert isinstance(mode, Always)
        now = self.world.now
        breach = Breach(watch.rule, it, now + mode.tolerance, now, self._why(watch, it), event)
        number = None if mode.tolerance else self._note(breach)
        self.trail.set(self._false, (watch.number, it), Fault(now, event, number, breach))
        if number is None:
            self.trail.set(self._pending, (watch.number, it), breach.time)
            self._expect("due", breach.time)
            self._turn(watch, it, now, breach.time, starts=True)

    def _turn(
        self, watch: Watch, it: str | None, started: int, deadline: int | None, *, starts: bool
    ) -> None:
        if self._tells_turns:
            turn = Turn(starts, (watch.rule.id, it or "", started), deadline)
            self.trail.set(self._turns, len(self._turns), turn)

    def _expect(self, what: str, time: int) -> None:
        if time < self._next[what]:
            self.trail.set(self._next, what, time)

    def _why(self, watch: Watch, it: str | None) -> tuple[Reason, ...]:
        try:
            return explain(self.judge, watch.rule.condition, it, self._ended[0])
        except NoVerdict as err:
            return (err.reason(),)

    def _note(self, breach: Breach) -> int:
        number = len(self._breaches)
        self.trail.set(self._breaches, number, breach)
        return number

    # --- at an action ---

    def _judge_at(self, event: Event, *, after: bool) -> None:
        for watch in self._at.get((event.action, after), ()):
            mode = watch.rule.mode
            assert isinstance(mode, At)
            for it in self._matched(watch, mode.action, event):
                self._judge_at_for(watch, it, event, after=after)

    def _judge_at_for(self, watch: Watch, it: str | None, event: Event, *, after: bool) -> None:
        now = event.happened
        try:
            if not self.judge.holds(watch.rule.condition, it):
                ended = self._ended[0] if after else ()
                why = explain(self.judge, watch.rule.condition, it, ended)
                self._note(Breach(watch.rule, it, now, now, why, event))
        except NoVerdict as err:
            self._note(Breach(watch.rule, it, now, now, (err.reason(),), event, no_verdict=True))

    def _matched(self, watch: Watch, match: ActionMatch, event: Event) -> list[str | None]:
        """Return the items that a matching action is about: its subjects, and what moved along."""
        if event.action not in match.actions:
            return []
        if match.to and not (event.place and self._is_to(event.place, match.to)):
            return []
        if not event.subjects:
            return [None] if watch.rule.scope is None and match.of == _ANYTHING else []
        subjects = event.subjects
        if event.action in (PLACE, LIFT):
            subjects = (*subjects, *event.moved)
        selector, view = self.world.selector, self.world.configuration
        scope = watch.rule.scope
        return [
            s
            for s in subjects
            if (match.of == _ANYTHING or selector.names(match.of, s, view))
            and (scope is None or (s in watch.members and self._applies(watch, s)))
        ]

    def _is_to(self, place: str, patterns: tuple[str, ...]) -> bool:
        return stands_at(self.world.configuration, place, patterns)

    # --- within ---

    def _start_by_action(self, event: Event) -> None:
        for watch in self._starts.get(event.action, ()):
            mode = watch.rule.mode
            assert isinstance(mode, Within)
            assert isinstance(mode.trigger, ActionMatch)
            for it in self._matched(watch, mode.trigger, event):
                self._start_clock(watch, it, words(event), event)

    def _start_clock(self, watch: Watch, it: str | None, trigger: str, event: Event | None) -> None:
        mode, now = watch.rule.mode, self.world.now
        assert isinstance(mode, Within)
        limit = find_limit(mode.limit, self.world, it, now)
        key = (watch.number, it)
        if limit.unknown:
            reason = limit.reason()
            self._note(Breach(watch.rule, it, now, now, (reason,), event, None, trigger, no_verdict=True))
            return
        deadline = None if limit.time is None else now + limit.time
        running = Running(now, deadline, trigger, event)
        self.trail.set(self._running, key, (*self._running.get(key, ()), running))
        self.trail.set(self._dirty, key, event)
        self._keep_open(watch, it)
        self._turn(watch, it, now, deadline, starts=True)
        if deadline is not None:
            self._expect("due", deadline)

    def _keep_open(self, watch: Watch, it: str | None) -> None:
        """Remember an item with a clock of a rule without scope: no list of instances names it."""
        if watch.rule.scope is None:
            self.trail.set(self._open.setdefault(watch.number, {}), it, True)

    def _close(self, watch: Watch, it: str | None) -> None:
        key = (watch.number, it)
        if watch.rule.scope is None and not (
            key in self._running or key in self._staying or key in self._late
        ):
            self.trail.drop(self._open.get(watch.number, {}), it)

    def _undo_by_action(self, event: Event) -> None:
        for watch in self._undoes.get(event.action, ()):
            mode = watch.rule.mode
            assert isinstance(mode, Within)
            assert mode.until is not None
            for it in self._matched(watch, mode.until, event):
                self._undo_trigger(watch, it)

    def _undo_trigger(self, watch: Watch, it: str | None) -> None:
        key = (watch.number, it)
        self.trail.drop(self._staying, key)
        if key in self._running:
            self.trail.set(self._running, key, tuple(c._replace(undone=True) for c in self._running[key]))

    def _settle_within(self, watch: Watch, it: str | None, event: Event | None) -> None:
        key = (watch.number, it)
        self._settle_trigger(watch, it, event)
        if key not in self._running and key not in self._staying and key not in self._late:
            self._close(watch, it)
            return
        if self._holds(watch, it):
            self._met(watch, it)
        elif key in self._staying:
            kept, now, why = self._staying[key], self.world.now, self._why(watch, it)
            self.trail.drop(self._staying, key)
            for c in kept:
                self._too_late(Breach(watch.rule, it, now, c.started, why, event, c.deadline, c.trigger), key)
        self._close(watch, it)

    def _met(self, watch: Watch, it: str | None) -> None:
        """Stop the clocks of an item whose condition is true; what must stay so is watched from now on."""
        key, mode = (watch.number, it), watch.rule.mode
        assert isinstance(mode, Within)
        clocks = self._running.get(key, ())
        staying = tuple(c for c in clocks if mode.stays and not c.undone)
        for c in clocks:
            self._turn(watch, it, c.started, c.deadline, starts=False)
        self.trail.drop(self._running, key)
        if staying:
            self.trail.set(self._staying, key, (*self._staying.get(key, ()), *staying))
        for number in self._late.get(key, ()):
            self.trail.set(self._until, number, self.world.now)
        self.trail.drop(self._late, key)

    def _too_late(self, breach: Breach, key: Key) -> None:
        self.trail.set(self._late, key, (*self._late.get(key, ()), self._note(breach)))

    def _settle_trigger(self, watch: Watch, it: str | None, event: Event | None) -> None:
        trigger = trigger_condition(watch.rule)
        if trigger is None:
            return
        key = (watch.number, it)
        before = self._armed.get(key, False)
        now = self._applies(watch, it) and self.judge.holds(trigger, it)
        if now == before:
            return
        self.trail.set(self._armed, key, now)
        if now:
            self._start_clock(watch, it, describe(trigger), event)
            self.trail.drop(self._dirty, key)
        else:
            self._undo_trigger(watch, it)

    # --- time passing ---

    def _run_out(self, time: int) -> None:
        """Note the clocks and tolerances that run out before `time`: later than their limit, so strictly before."""
        if self._next["due"] >= time:
            return
        for key, clocks in list(self._running.items()):
            over = [c for c in clocks if c.deadline is not None and c.deadline < time]
            if not over:
                continue
            left = tuple(c for c in clocks if c not in over)
            if left:
                self.trail.set(self._running, key, left)
            else:
                self.trail.drop(self._running, key)
            watch = self._watches[key[0]]
            why = self._why(watch, key[1])
            for c in over:
                assert c.deadline is not None
                breach = Breach(
                    watch.rule, key[1], c.deadline, c.started, why, c.event, c.deadline, c.trigger
                )
                self._too_late(breach, key)
                self._turn(watch, key[1], c.started, c.deadline, starts=False)
        for key, due in list(self._pending.items()):
            if due < time:
                fault = self._false[key]
                self.trail.set(self._false, key, fault._replace(breach=self._note(fault.noted)))
                self._turn(self._watches[key[0]], key[1], fault.since, due, starts=False)
                self.trail.drop(self._pending, key)
        deadlines = [c.deadline for cs in self._running.values() for c in cs if c.deadline is not None]
        self.trail.set(self._next, "due", min([*deadlines, *self._pending.values()], default=_NEVER))

    def _set_wakes(self, event: Event) -> None:
        for watch in self._wakes_on.get(event.action, ()):
            for value in watch.elapsed:
                if event.action not in value.since:
                    continue
                if value.low is not None:
                    self._wake(event.happened + round(value.low * MICRO), watch)
                if value.high is not None:
                    self._wake(event.happened + round(value.high * MICRO) + 1, watch)

    def _wake(self, time: int, watch: Watch) -> None:
        if self._is_watched(watch):
            self.trail.set(self._wakes, (time, watch.number), True)
            self._expect("wake", time)

    # --- at an end ---

    def _judge_end(self, end: str, event: Event | None) -> None:
        for watch in self._ends.get(end, ()):
            for it in watch.instances:
                self._judged(self._judge_end_of, watch, it, event)

    def _judge_end_of(self, watch: Watch, it: str | None, event: Event | None) -> None:
        key, now = (watch.number, it), self.world.now
        fault = self._false.get(key)
        if self._holds(watch, it):
            if fault is not None:
                self.trail.drop(self._false, key)
                if fault.breach is not None:
                    self.trail.set(self._until, fault.breach, now)
        elif fault is None:
            breach = Breach(watch.rule, it, now, now, self._why(watch, it), event)
            self.trail.set(self._false, key, Fault(now, event, self._note(breach), breach))

    # --- stepping back ---

    def mark(self) -> int:
        """Return the point to step back to; from now on the way is kept."""
        return self.trail.mark()

    def back(self, mark: int) -> None:
        """Step back to a mark, exactly."""
        self.trail.back(mark)
        self.judge.cuts.clear()

    # --- answers ---

    def findings(self, since: int = 0) -> list[Finding]:
        """Return all findings so far, or those noted after the first `since` breaches."""
        if not since:
            return gather(self._breaches.values(), self._until)
        late = {n: b for n, b in self._breaches.items() if n >= since}
        until = {i: self._until[n] for i, n in enumerate(late) if n in self._until}
        return gather(late.values(), until)

    def breaches(self) -> list[tuple[Breach, int | None]]:
        """Return every breach so far, one an item, with when it was put right (None: it wasn't, or can't be)."""
        return [(breach, self._until.get(number)) for number, breach in self._breaches.items()]

    @property
    def noted(self) -> int:
        """How many breaches have been noted so far: give it to `findings` to ask for what comes after."""
        return len(self._breaches)

    @property
    def turned(self) -> int:
        """How many times clocks have started and stopped: give it to `turns` to ask for what comes after.

        They are kept from the first time that this is asked: those of a long past would fill the memory.
        """
        self._tells_turns = True
        return len(self._turns)

    def turns(self, since: int) -> tuple[dict[ClockKey, int | None], dict[ClockKey, int | None]]:
        """Return the clocks that started and those that stopped after the first `since` turns, with their deadlines.

        What did both in between is in neither.
        """
        net: dict[ClockKey, int] = {}
        deadlines: dict[ClockKey, int | None] = {}
        for number in range(since, len(self._turns)):
            turn = self._turns[number]
            net[turn.clock] = net.get(turn.clock, 0) + (1 if turn.starts else -1)
            deadlines[turn.clock] = turn.deadline
        started = {clock: deadlines[clock] for clock, n in net.items() if n > 0}
        return started, {clock: deadlines[clock] for clock, n in net.items() if n < 0}

    def running(self) -> dict[tuple[str, str, int], int | None]:
        """Return the deadline of every clock that runs, by (rule, item, start): cheaper than `clocks`."""
        out: dict[tuple[str, str, int], int | None] = {}
        for (number, it), clocks in self._running.items():
            out.update({(self.rules.rules[number].id, it or "", c.started): c.deadline for c in clocks})
        for (number, it), fault in self._false.items():
            if fault.breach is None:
                out[self.rules.rules[number].id, it or "", fault.since] = fault.noted.time
        return out

    def clocks(self) -> list[Clock]:
        """Return every clock that runs, first deadline first: those of `within`, and tolerances being used up."""
        out: list[Clock] = []
        for (number, it), clocks in self._running.items():
            rule = self._watches[number].rule
            missing = self._why(self._watches[number], it)
            out += [_clock(rule, it, c.trigger, c.started, c.deadline, missing) for c in clocks]
        for (number, it), fault in self._false.items():
            rule = self._watches[number].rule
            if fault.breach is None:
                trigger = words(fault.event) if fault.event is not None else "from the start"
                out.append(_clock(rule, it, trigger, fault.since, fault.noted.time, fault.noted.reasons))
        out.sort(key=lambda c: (c.deadline is None, c.deadline or 0, c.rule, c.subject))
        return out


def _clock(
    rule: Rule, it: str | None, trigger: str, started: int, deadline: int | None, missing: tuple[Reason, ...]
) -> Clock:
    return Clock(rule.id, rule.title, rule.severity, it or "", trigger, started, deadline, missing)
