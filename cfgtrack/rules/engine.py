"""The rules engine: one pass over events, for the recorded past, the present and a proposal alike.

It keeps the time and the trail, and has each rule judged by its runner (see `mode`) when that may have changed.

Time is dense. What happens at one instant is one change for conditions that are watched over time (`always`,
`within`, a trigger that turns true): only the state when the instant is over counts. For `at ACTION` the events of an
instant are a series, each judged where it stands. A condition that is false for exactly its tolerance has not broken
its rule, nor is a clock run out at the very instant of its deadline: a microsecond later it is.

Everything that changes is written through a `Trail`, so the engine can step back as cheaply as it went forward.
"""

from __future__ import annotations

import sys
from collections import defaultdict
from collections.abc import Callable, Collection, Hashable, Iterable, Iterator, Mapping
from heapq import heapify, heappop, heappush
from itertools import chain
from typing import Any, NamedTuple

from cfgtrack.model.action import END
from cfgtrack.model.configuration import Configuration
from cfgtrack.model.event import Event
from cfgtrack.network.flow import Link
from cfgtrack.network.network import Network
from cfgtrack.rules.breach import Breach, Deeds, gather
from cfgtrack.rules.condition import Part
from cfgtrack.rules.cure import Proposal, in_turn
from cfgtrack.rules.finding import Clock, Finding
from cfgtrack.rules.joining import to_make
from cfgtrack.rules.mode import Runner
from cfgtrack.rules.naming import by_ids
from cfgtrack.rules.rule import RuleSet
from cfgtrack.rules.trail import Trail
from cfgtrack.rules.world import NOTHING, Change, Done, World

Key = tuple[int, str | None]
"""One instance of a rule: the rule's number, and its item."""

_NEVER = sys.maxsize

Memory = dict[str, Any]
"""What an engine remembers, as JSON has it."""


class Turn(NamedTuple):
    """That a clock starts or stops, and which it is."""

    starts: bool
    rule: str
    subject: str
    started: int
    deadline: int | None


class Engine:
    """Judges events one by one against a rule set.

    `configuration` is where it starts (the engine goes on with it: pass a fork to keep yours) and `start` is when.
    `touched` names every subject that any event to come may write, so that all else can be contracted; None
    contracts nothing. `prior` is what was last done before the start. `memory` is what an engine with the same rules
    remembered there: this one goes on from it, and sees the start as no first instant.

    For the runners: `before` and `after` an action, and `at_end`, is who is to be told; `ended` are the links that
    ended within this instant, `moved` is when something was last put elsewhere.
    """

    def __init__(
        self,
        rules: RuleSet,
        configuration: Configuration,
        *,
        start: int,
        touched: Iterable[str] | None = None,
        prior: Done = NOTHING,
        networks: Mapping[str, Network] | None = None,
        memory: Memory | None = None,
    ) -> None:
        self.rules = rules = by_ids(rules, configuration.plant)
        self.trail = Trail()
        self.world = World(
            configuration,
            media=rules.media(),
            touched=touched,
            now=start,
            trail=self.trail,
            prior=prior,
            networks=networks,
            asked=tuple({one: None for rule in rules.rules for c in rule.conditions() for one in c.asked()}),
        )
        self.before: defaultdict[str, list[Callable[[Event], None]]] = defaultdict(list)
        self.after: defaultdict[str, list[Callable[[Event], None]]] = defaultdict(list)
        self.at_end: defaultdict[str, list[Callable[[Event | None], None]]] = defaultdict(list)
        self.deed_of = Deeds()
        self.ended: tuple[tuple[str, Link], ...] = ()
        self.moved: int | None = None
        self._begun: frozenset[tuple[str, Link]] = frozenset()
        self._dirty: dict[Key, Event | None] = {}
        self._fresh: dict[Key, bool] = {}
        self._blame: dict[Key, dict[Part, Event | None]] = {}
        self._joined: dict[int, dict[str | None, bool]] = {}
        self._due: dict[Key, int] = {}
        self._next_due = _NEVER
        self._wakes: dict[tuple[int, int], bool] = {}
        self._next_wake = _NEVER
        self._wakes_on: defaultdict[str, list[tuple[int, int]]] = defaultdict(list)
        self._breaches: dict[int, Breach] = {}
        self._noted = 0
        self._first_noted: int | None = None
        self._until: dict[int, int] = {}
        self._turns: list[Turn] = []
        self._tells_turns = False
        self._named = {rule.id: (rule.title, rule.severity) for rule in rules.rules}
        self.runners: list[Runner] = []
        for number, rule in enumerate(rules.rules):
            self.runners.append(rule.mode.compile(number, rule, self))
        self._runner_of = {runner.rule.id: runner for runner in self.runners}
        self._watched = [runner for runner in self.runners if runner.watched]
        self._restless = frozenset(runner.number for runner in self._watched if runner.is_restless)
        for runner in self.runners:
            for timer in runner.depends.timers if runner.timed else ():
                for action in timer.actions:
                    self._wakes_on[action] += [(after, runner.number) for after in timer.after]
        if memory is None:
            for runner in self.runners:
                runner.begin()
        else:
            self._recall(memory)

    # --- going forward ---

    def step(self, event: Event) -> Change:
        """Take one resolved event, not earlier than the last; return what it changed."""
        if event.happened < self.world.now:
            raise ValueError(f"{event.id} happened before the engine's time")
        self.advance(event.happened)
        self._lay_blame()
        for tell in self.before.get(event.action, ()):
            tell(event)
        change = self.world.apply(event)
        if event.place is not None:
            self.trail.assign(self, "moved", event.happened)
        self._mark_dirty(change)
        for tell in self.after.get(event.action, ()):
            tell(event)
        self._set_wakes(event)
        if event.action == END:
            self._end("outing", event)
            self._end("stop", event)
        return change

    def advance(self, time: int) -> None:
        """Let time pass until `time`, not included: what happens then is still to come."""
        if time <= self.world.now:
            return
        self.settle()
        self._wake_until(time)
        self._run_out(time)
        self.trail.assign(self.world, "now", time)
        # Before any event of this instant, so that no event is blamed for what time alone has done.
        self._wake_at(time)

    def finish(self, at: int) -> None:
        """Let time pass until `at` and close that instant. Clocks still running then are not broken."""
        self.advance(at)
        self.settle()
        self._wake_until(at + 1)

    def end_sequence(self) -> None:
        """Judge what must hold at the end of the whole sequence."""
        self.settle()
        self._end("sequence", None)

    def stop_point(self, event: Event | None) -> None:
        """Judge what must hold wherever the work could stop, as after `event`."""
        self.settle()
        self._end("stop", event)

    def _end(self, end: str, event: Event | None) -> None:
        for tell in self.at_end.get(end, ()):
            tell(event)

    def settle(self) -> None:
        """Close the instant: judge all that it may have changed."""
        while self._dirty:
            dirty = self._dirty
            self.trail.assign(self, "_dirty", {})
            for (number, it), event in dirty.items():
                runner = self.runners[number]
                runner.guarded(runner.settle, it, event)
        if self._fresh:
            self.trail.assign(self, "_fresh", {})
        if self._blame:
            self.trail.assign(self, "_blame", {})
        if self.ended:
            self.trail.assign(self, "ended", ())
        if self._begun:
            self.trail.assign(self, "_begun", frozenset())
        self.world.epoch += 1

    def _lay_blame(self) -> None:
        """Within an instant, before its next event: note what is false by now, and which event made it so.

        What is so when the instant is over is known by that event, whatever else happened in the instant.
        """
        fresh = self._fresh
        if not fresh:
            return
        self.trail.assign(self, "_fresh", {})
        for key in fresh:
            number, it = key
            before = self._blame.get(key, {})
            parts = self.runners[number].false_parts(it)
            event = self._dirty.get(key)
            self.trail.set(self._blame, key, {part: before.get(part, event) for part in parts})

    def made_so(self, number: int, it: str | None, part: Part, last: Event | None) -> Event | None:
        """Return the event of this instant that made an instance false: `last` if no earlier one did."""
        return self._blame.get((number, it), {}).get(part, last) if self._blame else last

    def _mark(self, keys: Collection[Key], event: Event | None) -> None:
        self.trail.fill(self._dirty, keys, event)
        self.trail.fill(self._fresh, keys, True)

    def _mark_dirty(self, change: Change) -> None:
        """Have all judged that an event may have changed: of what is false by now in its instant, also for whom."""
        if change.shifts:
            self._note_links(change)
        keys = [(runner.number, it) for runner in self._watched for it in runner.instances.affected(change)]
        if self._restless and self._blame:
            keys += [key for key, false in self._blame.items() if false and key[0] in self._restless]
        for number, joined in self._joined.items():
            keys += [(number, it) for it in _by_name(self.runners[number].stirred(change, joined))]
        if keys:
            self._mark(keys, change.event)

    def _note_links(self, change: Change) -> None:
        """Note the links that ended within this instant. One that also began in it was never a way: left out."""
        ended = [pair for pair in change.ended() if pair not in self._begun]
        begun = [(medium, link) for medium, shift in change.shifts.items() for link in shift.begun]
        if ended:
            self.trail.assign(self, "ended", (*self.ended, *ended))
        if begun:
            self.trail.assign(self, "_begun", self._begun | frozenset(begun))

    # --- time passing ---

    def _run_out(self, time: int) -> None:
        """Have noted what runs out before `time`: later than its limit, so strictly before."""
        if self._next_due >= time:
            return
        over = [
            (due, number, it or "", (number, it)) for (number, it), due in self._due.items() if due < time
        ]
        heapify(over)
        while over:
            due, number, name, key = heappop(over)
            # What is asked of that moment is asked then: how old a reading is, for one.
            if due > self.world.now:
                self.trail.assign(self.world, "now", due)
            self.runners[number].run_out(key[1], due + 1)
            then = self._due.get(key, time)
            if then < time:
                heappush(over, (then, number, name, key))
        self.trail.assign(self, "_next_due", min(self._due.values(), default=_NEVER))

    def _set_wakes(self, event: Event) -> None:
        for after, number in self._wakes_on.get(event.action, ()):
            time = event.happened + after
            self.trail.set(self._wakes, (time, number), True)
            if time < self._next_wake:
                self.trail.assign(self, "_next_wake", time)

    def _wake_until(self, time: int) -> None:
        """Judge rules that time alone may change at each instant before `time` at which some time is up."""
        while self._next_wake < time:
            wake = self._next_wake
            self._run_out(wake)
            self.trail.assign(self.world, "now", max(wake, self.world.now))
            self._wake_at(wake)
            self.settle()

    def _wake_at(self, time: int) -> None:
        """Have rules that time alone may change at this instant judged when it is over."""
        while self._next_wake == time:
            wake = min(self._wakes)
            self.trail.drop(self._wakes, wake)
            self.trail.assign(self, "_next_wake", min(self._wakes, default=(_NEVER,))[0])
            runner = self.runners[wake[1]]
            watched = runner.instances.items if runner.watched else ()
            for it in (*watched, *_by_name(self._joined.get(runner.number, ()))):
                self.disturb(runner.number, it, None)

    def look_again(self, event: Event | None) -> None:
        """Judge all anew when this instant is over: `event` has made the plant another one.

        Who isn't there any more falls short of nothing, and no clock runs for him.
        """
        plant = self.world.plant
        for runner in self.runners:
            there = runner.instances.items if runner.watched else ()
            joined = _by_name({*runner.held(), *self._joined.get(runner.number, ())})
            for it in dict.fromkeys((*there, *joined)):
                if it is not None and not plant.sort_of(it):
                    runner.forget(it)
                else:
                    self.disturb(runner.number, it, event)

    @property
    def to_judge(self) -> Iterable[Key]:
        """The instances that are to be judged when this instant is over."""
        return self._dirty

    # --- for the runners ---

    def disturb(self, number: int, it: str | None, event: Event | None) -> None:
        """Have an instance of a rule judged when the instant is over."""
        self._mark([(number, it)], event)

    def calm(self, number: int, it: str | None) -> None:
        """Don't have an instance judged: it just was."""
        self.trail.drop(self._dirty, (number, it))

    def join(self, number: int, it: str | None) -> None:
        """Have an item judged by a rule after every event, whatever that changed: unless it says otherwise."""
        self.trail.set(self._joined.setdefault(number, {}), it, True)

    def leave(self, number: int, it: str | None) -> None:
        """No longer have an item judged that had joined."""
        self.trail.drop(self._joined.get(number, {}), it)

    def expect(self, number: int, it: str | None, time: int | None) -> None:
        """Tell the runner of a rule when this time has passed for an instance; None: when nothing runs out any more."""
        if time is None:
            self.trail.drop(self._due, (number, it))
            return
        if self._due.get((number, it)) != time:
            self.trail.set(self._due, (number, it), time)
        if time < self._next_due:
            self.trail.assign(self, "_next_due", time)

    def note(self, breach: Breach) -> int:
        """Note a breach; return its number."""
        number = self._noted
        self._breaches[number] = breach
        self._noted = number + 1
        return number

    def also_at(self, number: int, time: int) -> None:
        """Note that at another end a breach is not put right yet."""
        breach = self._breaches[number]
        if time not in breach.ends:
            self.trail.set(self._breaches, number, breach._replace(ends=(*breach.ends, time)))

    def mend(self, number: int) -> None:
        """Note that a breach was put right now."""
        self.trail.set(self._until, number, self.world.now)

    def turn(
        self, runner: Runner, it: str | None, started: int, deadline: int | None, *, starts: bool
    ) -> None:
        """Note that a clock started or stopped."""
        if self._tells_turns:
            self._turns.append(Turn(starts, runner.rule.id, it or "", started, deadline))

    # --- stepping back ---

    def mark(self) -> int:
        """Return the point to step back to; from now on the way is kept."""
        if self._first_noted is None:
            self._first_noted = self._noted
        mark = self.trail.mark()
        self.trail.on_back(self._forget, self._noted, len(self._turns))
        return mark

    def back(self, mark: int) -> None:
        """Step back to a mark, exactly."""
        self.trail.back(mark)
        self.trail.on_back(self._forget, self._noted, len(self._turns))
        self.world.epoch += 1

    def _forget(self, noted: int, turned: int) -> None:
        """Know no more of what was noted after so many breaches and turns: both are only ever added to."""
        for number in range(noted, self._noted):
            self._breaches.pop(number, None)
        self._noted = noted
        del self._turns[turned:]

    # --- what it remembers ---

    def older(self, numbers: tuple[int, ...]) -> Hashable:
        """Return what breaches with these numbers are known by in a situation: whether there are any, and those of them
        that were noted before the first mark.
        """
        first = self._first_noted
        return bool(numbers), numbers if first is None else tuple(n for n in numbers if n < first)

    def memory(self) -> Memory:
        """Return, as JSON has it, what another engine must be told to go on from here. The instant must be closed.

        Of the breaches it holds those that are open: `take_settled` has the others.
        """
        self.settle()
        open_ones = [[n, b.remembered()] for n, b in self._breaches.items() if not self._is_settled(n, b)]
        told = ((runner.rule.id, runner.remember()) for runner in self.runners)
        return {
            "noted": self._noted,
            "open": open_ones,
            "wakes": [[time, self.rules.rules[number].id] for time, number in sorted(self._wakes)],
            "rules": {rule: what for rule, what in told if what is not None},
        }

    def take_settled(self) -> list[Any]:
        """Return, as JSON has it, the breaches that are over, or can't be put right; then know of them no longer.

        `add_settled` tells an engine of them again.
        """
        settled = [n for n, b in self._breaches.items() if self._is_settled(n, b)]
        told = [[n, self._breaches[n].remembered(), self._until.get(n)] for n in settled]
        for n in settled:
            del self._breaches[n]
            self._until.pop(n, None)
        return told

    def add_settled(self, told: Iterable[Any]) -> None:
        """Know again of breaches that are over."""
        known = {
            n: (Breach.recalled(breach, self._runner_of[breach[0]].rule), until) for n, breach, until in told
        }
        self._until.update({n: until for n, (_, until) in known.items() if until is not None})
        self._breaches = {**{n: breach for n, (breach, _) in known.items()}, **self._breaches}
        self._breaches = dict(sorted(self._breaches.items()))

    def _is_settled(self, number: int, breach: Breach) -> bool:
        return number in self._until or not breach.rule.mode.can_be_mended

    def _recall(self, memory: Memory) -> None:
        self._noted = memory["noted"]
        for number, breach in memory["open"]:
            self._breaches[number] = Breach.recalled(breach, self._runner_of[breach[0]].rule)
        for rule, told in memory["rules"].items():
            self._runner_of[rule].recall(told)
        for time, rule in memory["wakes"]:
            self._wakes[time, self._runner_of[rule].number] = True
        self._next_wake = min(self._wakes, default=(_NEVER,))[0]

    # --- answers ---

    def findings(self, since: int = 0, *, as_it_is: bool = False) -> list[Finding]:
        """Return all findings so far, or those noted after the first `since` breaches.

        With `as_it_is` what is still open is told with the reasons of this moment, not of when it began.
        """
        told = ((n, b) for n, b in self._breaches.items() if n >= since)
        return gather((self._as_it_is(n, b) if as_it_is else b, self._until.get(n)) for n, b in told)

    def _as_it_is(self, number: int, breach: Breach) -> Breach:
        if number in self._until:
            return breach
        return self._runner_of[breach.rule.id].as_it_is(breach)

    def breaches(self) -> list[tuple[Breach, int | None]]:
        """Return every breach so far, one an instance, with when it was put right (None: it wasn't, or can't be)."""
        return [(breach, self._until.get(number)) for number, breach in self._breaches.items()]

    def breaches_since(self, noted: int) -> dict[int, Breach]:
        """Return the breaches noted after the first `noted`, by their numbers: see `is_mended`."""
        return {n: self._breaches[n] for n in range(noted, self._noted) if n in self._breaches}

    def runs_out_by(self, time: int) -> int:
        """Return how many clocks run that have run out by a time if nothing stops them."""
        return sum(due <= time for due in self._due.values())

    def runner(self, rule: str) -> Runner:
        """Return what judges a rule."""
        return self._runner_of[rule]

    def open_breaches(self) -> dict[int, Breach]:
        """Return the breaches that still can, and must, be put right, by their numbers."""
        return {n: b for n, b in self._breaches.items() if not self._is_settled(n, b)}

    def is_mended(self, number: int) -> bool:
        """Return whether a breach was put right."""
        return number in self._until

    def breaches_of(self, numbers: Iterable[int], *, as_it_is: bool = False) -> list[Breach]:
        """Return breaches by their numbers; with `as_it_is` each with the reasons of this moment while it is open."""
        found = ((number, self._breaches[number]) for number in numbers)
        return [self._as_it_is(number, breach) if as_it_is else breach for number, breach in found]

    def next_time(self) -> int | None:
        """Return the next instant after which time alone may have changed something, None for never."""
        time = min(min(self._due.values(), default=_NEVER), self._next_wake)
        return None if time == _NEVER else time

    def proposals(self, breach: Breach) -> Iterator[Proposal]:
        """Yield single actions that might put a breach right as things are now: nothing is tried."""
        lost = (link for r in breach.reasons if r.code == "no-path" for link in r.links)
        own = self._runner_of[breach.rule.id].own.towards(breach.it, breach.part, true=True)
        return chain(in_turn(to_make(self.world, link) for link in lost), own)

    @property
    def noted(self) -> int:
        """How many breaches have been noted so far: give it to `findings` to ask for what comes after."""
        return self._noted

    @property
    def turned(self) -> int:
        """How many times clocks have started and stopped: give it to `turns` to ask for what comes after.

        They are kept from the first time that this is asked: those of a long past would fill the memory.
        """
        self._tells_turns = True
        return len(self._turns)

    def turns(self, since: int) -> list[Turn]:
        """Return the clocks that started and those that stopped after the first `since` turns.

        What did both in between is in neither.
        """
        fresh = self._turns[since:]
        starting = sum(turn.starts for turn in fresh)
        if not starting or starting == len(fresh):
            return list(dict.fromkeys(fresh))
        net: dict[tuple[Any, ...], int] = {}
        for turn in fresh:
            clock = turn[1:]
            net[clock] = net.get(clock, 0) + (1 if turn.starts else -1)
        return [Turn(n > 0, *clock) for clock, n in net.items() if n]

    def clock_of(self, turn: Turn) -> Clock:
        """Return the clock that starts or stops; of one that stops with what is left of it now."""
        _, rule, subject, started, deadline = turn
        left = None if turn.starts or deadline is None else deadline - self.world.now
        return Clock(rule, *self._named[rule], subject, started, deadline, None, None, left)

    def clocks(self) -> list[Clock]:
        """Return every clock that runs, first deadline first: those of `within`, and tolerances being used up."""
        out = [clock for runner in self.runners for clock in runner.clocks()]
        out.sort(key=lambda c: (c.deadline is None, c.deadline or 0, c.rule, c.subject))
        return out


def _by_name(items: Iterable[str | None]) -> list[str | None]:
    """Return items in one order: not that in which they came, which is another one after a step back."""
    return sorted(items, key=lambda it: it or "")
