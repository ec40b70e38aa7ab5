"""Every order of a proposed sequence that its waits and its doers allow: is each of them possible and allowed?

An order of an outing is any order of its steps in which each track's keep theirs, every wait holds, and each step is an
instant of its own; the outings follow one another. It is bad where a step in it is impossible, a rule is broken that
was not broken before, or a clock runs out or is left running. The steps up to the fault are the witness.

Orders are searched by what has been done: two that come to one situation are one from then on (`rules.situation`).
Where only the order of independent steps differs (`independence`), one stands for all: of the steps that could be next
only those are taken that may matter to each other, and to what may come without them (a stubborn set).

Durations forbid no order, but clocks count what work takes. The engine gets instants so close together that nothing
runs out by itself; how long a clock has run is the longest chain of steps, each as slow as can be, that end at the one
that meets it, of those that can all come after the one that starts it.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Any, ClassVar, NamedTuple

from cfgtrack.analysis.check import Start, judged
from cfgtrack.analysis.course import course_of
from cfgtrack.analysis.independence import Footprints, Reads
from cfgtrack.analysis.trial import impossible
from cfgtrack.analysis.verdict import Verdict, covered
from cfgtrack.model.action import BEGIN, END, Action
from cfgtrack.model.event import Event
from cfgtrack.model.possibility import Impossible, resolve
from cfgtrack.model.sequence import Deadlock, Schedule
from cfgtrack.model.sequence import Sequence as Proposal
from cfgtrack.model.time import SECOND
from cfgtrack.network.network import Network
from cfgtrack.rules.condition import Condition
from cfgtrack.rules.engine import Engine, Turn
from cfgtrack.rules.finding import Finding
from cfgtrack.rules.rule import Rule, RuleSet
from cfgtrack.rules.several import Several
from cfgtrack.rules.situation import situation
from cfgtrack.rules.variance import Variance
from cfgtrack.rules.what.done import Done
from cfgtrack.rules.what.not_ import Not
from cfgtrack.rules.what.value import ELAPSED, Value
from cfgtrack.rules.when.at import At
from cfgtrack.rules.when.by import By
from cfgtrack.rules.world import Stamp, did

IN_EVERY_ORDER = "in every order"

Tell = Callable[[int], None]
"""Is told how many situations have been looked at."""


@dataclass(frozen=True, slots=True)
class Fault:
    """What is wrong with an order, at its last step or, without one, at an end.

    Of a clock `clock` is its rule; `elapsed` is how long it can have run, and `limit` how long it may, microseconds.
    `findings` are what the rules say, or that the step is impossible.
    """

    told: ClassVar[tuple[str, ...]] = ("elapsed_seconds", "limit_seconds")
    untold: ClassVar[tuple[str, ...]] = ("elapsed", "limit")

    step: str | None
    findings: tuple[Finding, ...] = ()
    clock: str = ""
    subject: str = ""
    elapsed: int = 0
    limit: int = 0
    started: str | None = None

    @property
    def elapsed_seconds(self) -> float | None:
        """How long the clock can have run, in seconds; None where the fault is of no clock."""
        return self.elapsed / SECOND if self.clock else None

    @property
    def limit_seconds(self) -> float | None:
        """How long the clock may run, in seconds."""
        return self.limit / SECOND if self.clock else None


@dataclass(frozen=True, slots=True)
class BadOrder:
    """Steps in an order that goes wrong at the last of them, or at the end that comes after it."""

    steps: tuple[str, ...]
    fault: Fault


class _Work:
    """The steps of a proposal by their number, as they were written, and what the waits and tracks say of them."""

    def __init__(self, proposal: Proposal, start: int, begun: Mapping[str, int]) -> None:
        self.proposal, self.start, self.begun = proposal, start, begun
        self.steps = proposal.steps
        self.number = {step.id: i for i, step in enumerate(self.steps)}
        self.high = [step.takes[2] for step in self.steps]
        # In which order a doer of several tracks goes is what is searched.
        schedule = Schedule(proposal, start, begun, one_at_a_time=False)
        low = schedule.times(schedule.at_pace(0))
        self.earliest = [low[schedule.number[step.id]] for step in self.steps]
        number = {outing.id: i for i, outing in enumerate(proposal.outings)}
        self.outing = [number[step.outing] for step in self.steps]
        self.of_outing = [0] * len(proposal.outings)
        for i, outing_number in enumerate(self.outing):
            self.of_outing[outing_number] |= 1 << i
        self.previous: list[tuple[int, ...]] = []
        self.direct = [0] * len(self.steps)
        last: dict[tuple[int, str], int] = {}
        for i, step in enumerate(self.steps):
            track = (self.outing[i], step.track)
            named = [self.number[a] for a in step.after]
            mine = [p for p in named if self.outing[p] == self.outing[i]]
            if track in last:
                mine.append(last[track])
            last[track] = i
            self.previous.append(tuple(dict.fromkeys(mine)))
            for p in mine:
                self.direct[i] |= 1 << p
        self.in_turn = tuple(_topological(self.previous))
        self.needs, self.needed_by = self._closed()
        self.shared = self._shared_doers()
        self._longest: dict[int, int] = {}

    def _closed(self) -> tuple[list[int], list[int]]:
        """Return of each step all that must come before it, and all that can only come after it, in its outing."""
        n = len(self.steps)
        needs, by = [-1] * n, [0] * n
        for i in self.in_turn:
            needs[i] = self.direct[i]
            for p in self.previous[i]:
                needs[i] |= needs[p]
        for i in range(n):
            for p in bits(needs[i]):
                by[p] |= 1 << i
        return needs, by

    def _shared_doers(self) -> dict[int, str]:
        """Return the steps, with their doers, of those who have steps on several tracks of one outing."""
        tracks: dict[tuple[int, str], set[str]] = {}
        for i, step in enumerate(self.steps):
            if step.action.by:
                tracks.setdefault((self.outing[i], step.action.by), set()).add(step.track)
        return {
            i: step.action.by
            for i, step in enumerate(self.steps)
            if step.action.by and len(tracks[self.outing[i], step.action.by]) > 1
        }

    def sole(self) -> Iterator[tuple[int, int]]:
        """Yield the pairs of steps on two tracks that one doer does."""
        for a, doer in self.shared.items():
            for b, other in self.shared.items():
                if a < b and doer == other and self.outing[a] == self.outing[b]:
                    yield a, b

    def longest_after(self, step: int) -> int:
        """Return how long it can be at most, in any order, from the end of a step to the end of all."""
        found = self._longest.get(step)
        if found is None:
            found = self._longest[step] = self._end_after(step)
        return found

    def _end_after(self, step: int) -> int:
        past, base, first = self.needs[step] | 1 << step, 0, self.outing[step]
        for outing in range(first, len(self.of_outing)):
            if outing > first and (start := self.begins(outing)) is not None:
                base = max(base, start - self.earliest[step])
            left = self.of_outing[outing] & ~past
            if any(left >> i & 1 for i in self.shared):
                # Of one doer any step may come after any other: as long as all together is never too short.
                base += sum(self.high[i] for i in bits(left))
                continue
            ends: dict[int, int] = {}
            for i in self.in_turn:
                if left >> i & 1:
                    ends[i] = max((ends.get(p, base) for p in self.previous[i]), default=base) + self.high[i]
            base = max(ends.values(), default=base)
        return base

    def begins(self, outing: int) -> int | None:
        """Return when an outing begins, None for right after the one before."""
        one = self.proposal.outings[outing]
        planned = None if one.id in self.begun else one.start
        return self.start if planned is None and outing == 0 else planned


def bits(mask: int) -> Iterator[int]:
    """Yield the numbers of the bits that are set, the least first."""
    while mask:
        low = mask & -mask
        yield low.bit_length() - 1
        mask ^= low


def _topological(previous: Sequence[tuple[int, ...]]) -> Iterator[int]:
    """Yield numbers so that each comes after those previous to it. `Schedule` has seen to it that there is a way."""
    done: set[int] = set()
    for first in range(len(previous)):
        stack = [first]
        while stack:
            i = stack[-1]
            missing = [p for p in previous[i] if p not in done]
            if missing:
                stack.extend(missing)
                continue
            stack.pop()
            if i not in done:
                done.add(i)
                yield i


class _Clock(NamedTuple):
    """A running clock: its rule and item, its limit, and the step that started it, else when that was."""

    rule: str
    subject: str
    limit: int
    step: int | None
    time: int


class _Moment(NamedTuple):
    """Where a search stands: what is done (a mask), the outing that is on, the engine's mark, and what still runs.

    `clocks` and `readings` name what the rules may still ask the age of, by the turn and by the key of the stamp.
    """

    done: int
    outing: int
    mark: int
    time: int
    clocks: Mapping[tuple[str, str, int, int], _Clock]
    readings: Mapping[tuple[str, str], int]


Known = dict[Hashable, list[tuple[int, ...]]]
"""The situations that are known, each with what may have been done before what still runs in it."""


class _Unseen(Exception):
    """A step writes what the engine isn't ready for."""

    def __init__(self, event: Event) -> None:
        self.event = event


class _Again(Exception):
    """Steps were found to depend on each other that were taken to be independent."""


@dataclass(slots=True)
class Searched:
    """What a search has found. `cut`: it was cut short. `crashed` are rules that gave no verdict in some order,
    `unjudged` those with a clock that starts with an outing, or ends with one: how long it runs isn't known.
    """

    bad: BadOrder | None = None
    length: int = 0
    situations: int = 0
    cut: bool = False
    crashed: dict[str, None] = field(default_factory=dict)
    unjudged: dict[str, None] = field(default_factory=dict)


class _Frame:
    """One moment of a search in depth, with the steps that are to be taken from it, the next one last."""

    __slots__ = ("moment", "opened", "todo")

    def __init__(self, moment: _Moment, todo: list[int]) -> None:
        self.moment, self.todo = moment, todo
        self.opened = False


class Ground:
    """What every search of a proposal stands on: rules, past and start; gives engines, and says what is excused."""

    def __init__(
        self,
        rules: RuleSet,
        begin: Start,
        proposal: Proposal,
        *,
        networks: Mapping[str, Network] | None = None,
        variances: Sequence[Variance] = (),
        begun: Mapping[str, int] | None = None,
    ) -> None:
        self.rules, self.begin, self.proposal = rules, begin, proposal
        self.begun = {} if begun is None else begun
        self.networks, self.variances = networks, variances
        self._coming: dict[str, Event] = {}
        self._engine: Engine | None = None
        schedule = Schedule(proposal, begin.start, self.begun)
        self._over = max(schedule.times(schedule.at_pace(2)), default=begin.start)
        self.outlive = {rule.id for rule in rules.rules if rule.may_outlive}
        self.planned = {(one.rule, one.subject): one for one in proposal.leaves_running}
        course = course_of(begin.now(), proposal, begin.start, self.begun)
        self._coming.update((event.id, event) for event in course.events)

    def engine(self) -> Engine:
        """Return an engine that stands at the start, ready for all events that are known of."""
        if self._engine is None:
            self._engine = judged(self.rules, self.begin, self.networks, coming=self._coming.values())
            self.root = self._engine.mark()
        return self._engine

    def ready_for(self, event: Event) -> None:
        """Be ready for one more event."""
        self._coming[f"{event.id} {len(self._coming)}"] = event
        self._engine = None

    def standing(self, findings: Iterable[Finding]) -> list[Finding]:
        """Return the findings that no variance excuses for all of the plan."""
        found = list(findings)
        if not found or not self.variances:
            return found
        lasting = [replace(f, time=self.begin.start, until=self._over + 1) for f in found]
        stands, _ = covered(lasting, self.variances, self.begin.start, self._over)
        codes = {code for f in stands for code in f.fingerprints}
        return [part for f in found if (part := f.only(codes)) is not None]

    @cached_property
    def unjudged(self) -> tuple[str, ...]:
        """The rules that can't be judged in every order: they ask for an age where the oldest isn't the worst."""
        now = self.begin.configuration
        return tuple(rule.id for rule in self.rules.rules if _asks_badly(rule) and rule.guards(now))


def _asks_badly(rule: Rule) -> bool:
    """Return whether a rule asks for ages otherwise than at an action or an end, or for what must be long ago."""
    conditions = rule.conditions()
    aged = any(asked.most_age is not None for c in conditions for asked in c.asked())
    if not aged:
        return False
    if not isinstance(rule.mode, At | By) or (isinstance(rule.mode, By) and rule.mode.end == "stop"):
        return True
    return any(_is_worse_young(c, negated=False) for c in conditions)


def _is_worse_young(condition: Condition, *, negated: bool) -> bool:
    if isinstance(condition, Several):
        return any(_is_worse_young(part, negated=negated) for part in condition.parts)
    if isinstance(condition, Not):
        return _is_worse_young(condition.part, negated=not negated)
    if all(asked.most_age is None for asked in condition.asked()):
        return False
    if not isinstance(condition, Value) or condition.quantity != ELAPSED:
        # Of what others have written nobody knows how they ask.
        return negated or not isinstance(condition, Value | Done)
    return (condition.low is not None and not negated) or (condition.high is not None and negated)


class Search:
    """One search through the orders of a plan, in depth. With `footprints` independent steps don't multiply the work.

    `shortest`: go on after a bad order for a shorter one than `shorter_than`.
    """

    def __init__(  # noqa: PLR0913 - each is a way to search less, or more
        self,
        ground: Ground,
        work: _Work,
        *,
        footprints: Footprints | None,
        shortest: bool,
        most: int | None = None,
        tell: Tell | None = None,
        shorter_than: int | None = None,
        forced: Sequence[int] | None = None,
        lead: Sequence[int] = (),
        known: Known | None = None,
        tell_every: int = 100,
    ) -> None:
        self.lead = lead
        self.ground, self.work, self.footprints = ground, work, footprints
        self.shortest, self.most, self.tell = shortest, most, tell
        self.forced = forced
        self.engine = ground.engine()
        self.found = Searched()
        self._best = len(work.steps) + 2 if shorter_than is None else shorter_than
        self.past = [0] * len(work.steps)
        self.path: list[int] = []
        self._at: dict[int, int] = {}
        self.seen: Known = {} if known is None else {key: list(times) for key, times in known.items()}
        self._done_so: dict[tuple[int, tuple[int, ...]], None] = {}
        self._elapsed: dict[tuple[int | None, int, int, int, int], int] = {}
        self._aged = [asked for asked in self.engine.world.asked if asked.most_age is not None]
        self._keeps_age = any(asked.most_age and asked.most_age > 1 for asked in self._aged) or 0 in work.high
        self.tell_every = tell_every
        self._now = -1
        self._now_past = 0
        self._oldest: tuple[int, int] | None = None

    # --- the search ---

    def run(self) -> Searched:
        """Search until all is searched, a bad order is found that is enough, or the work is cut short."""
        engine = self.engine
        engine.back(self.ground.root)
        engine.world.ages = self._age
        engine.turned  # noqa: B018 - from now on they are told
        mark = engine.mark()
        try:
            self._search()
        except KeyboardInterrupt:
            self.found.cut = True
        finally:
            engine.world.ages = None
            engine.back(mark)
        return self.found

    def _search(self) -> None:
        begun = self._begin(self._first())
        stack = [] if begun is None else [begun]
        while stack:
            frame = stack[-1]
            if not frame.todo:
                stack.pop()
                if stack:
                    self.path.pop()
                continue
            step = frame.todo.pop()
            self.engine.back(frame.moment.mark)
            if self.most is not None and self.found.situations >= self.most:
                self.found.cut = True
                return
            after = self._take(frame, step)
            if self.found.bad is not None and not self.shortest:
                return
            if after is not None:
                stack.append(after)

    def _first(self) -> _Moment:
        engine, work = self.engine, self.work
        clocks = {
            (c.rule, c.subject, int(c.started), int(c.deadline)): _Clock(
                c.rule, c.subject, int(c.deadline) - int(c.started), None, int(c.started)
            )
            for c in engine.clocks()
            if c.deadline is not None
        }
        return _Moment(0, -1, engine.mark(), max(work.start, engine.world.now), clocks, {})

    def _take(self, frame: _Frame, step: int) -> _Frame | None:
        """Take a step; return what comes after it, None where nothing does, or all of that is known."""
        moment, work = frame.moment, self.work
        self._now, self._now_past = step, self._past_of(step, moment.done)
        if len(self.path) + 1 >= self._best and self.footprints is None:
            return None
        time = moment.time + 1
        configuration = self.engine.world.configuration
        order = tuple(i for i in self.path if self._now_past >> i & 1) if self.footprints is not None else ()
        # Done after the same, in the same order, a step reads and changes the same.
        is_known = self.footprints is None or (step, order) in self._done_so
        self._done_so[step, order] = None
        reads = None if is_known else Reads(configuration)
        view = configuration if reads is None else reads
        action = replace(work.steps[step].action, happened=time, id=f"step:{work.steps[step].id}")
        outcome = resolve(view, action)
        if isinstance(outcome, Impossible):
            if self.footprints is not None and reads is not None:
                self.footprints.refused(step, reads.cells)
                self._expect_same()
            self._bad(step, Fault(work.steps[step].id, (impossible(outcome),)))
            self._widen(frame)
            return None
        self.past[step] = self._now_past
        self._at[time] = step
        found = self._happen(outcome, moment, step, reads)
        if found is None:
            self._widen(frame)
            return None
        clocks, readings = found
        self.path.append(step)
        done = moment.done | 1 << step
        after = _Moment(done, moment.outing, 0, time, clocks, readings)
        if self.forced is None and not self._is_new(after):
            self.path.pop()
            return None
        after = after._replace(mark=self.engine.mark())
        if work.of_outing[moment.outing] & ~done:
            return _Frame(after, self._next(after))
        following = self._end(after)
        if following is None:
            self.path.pop()
        return following

    def _happen(
        self, event: Event, moment: _Moment, step: int | None, reads: Reads | None
    ) -> tuple[dict[tuple[str, str, int, int], _Clock], Mapping[tuple[str, str], int]] | None:
        """Have the engine take an event; return what then runs, or None after noting what is wrong with it."""
        engine = self.engine
        if not engine.world.sees(event):
            raise _Unseen(event)
        noted, turned = engine.noted, engine.turned
        self._oldest = None
        before = None if self.footprints is None or reads is None else self.footprints.before(event)
        change = engine.step(event)
        if self.footprints is not None and step is not None and reads is not None and before is not None:
            self.footprints.take(step, change, reads.cells, before)
            self._expect_same()
        if self.work.proposal.whole and event.action not in (BEGIN, END):
            engine.stop_point(event)
        engine.settle()
        name = None if step is None else self.work.steps[step].id
        if self._is_broken(noted, name, step):
            return None
        clocks = self._clocks(moment.clocks, engine.turns(turned), step)
        if clocks is None:
            return None
        return clocks, self._readings(moment.readings, event, step)

    def _is_broken(self, noted: int, name: str | None, step: int | None) -> bool:
        engine = self.engine
        if engine.noted == noted:
            return False
        fresh = engine.findings(noted)
        self.found.crashed.update((f.rule, None) for f in fresh if f.no_verdict)
        standing = self.ground.standing(f for f in fresh if not f.no_verdict)
        if standing:
            self._bad(step, Fault(name, tuple(standing)), None if self._oldest is None else self._oldest[1])
        return bool(standing)

    def _expect_same(self) -> None:
        if self.footprints is not None and self.footprints.grew and self.forced is None:
            raise _Again

    # --- beginnings and ends ---

    def _begin(self, moment: _Moment) -> _Frame | None:
        """Begin the next outing; return its first frame, after those that have nothing to do."""
        work = self.work
        outing = moment.outing + 1
        if outing == len(work.proposal.outings):
            self._finish(moment)
            return None
        time, clocks, readings = moment.time, moment.clocks, moment.readings
        one = work.proposal.outings[outing]
        if work.proposal.whole and one.id not in work.begun:
            time += 1
            found = self._bound(BEGIN, outing, moment, time)
            if found is None:
                return None
            clocks, readings = found
        if readings:
            readings = {
                key: step for key, step in readings.items() if not self._is_too_old(key[1], step, outing)
            }
        after = _Moment(moment.done, outing, self.engine.mark(), time, clocks, readings)
        if not work.of_outing[outing]:
            return self._end(after)
        return _Frame(after, self._next(after))

    def _end(self, moment: _Moment) -> _Frame | None:
        time, clocks, readings = moment.time, moment.clocks, moment.readings
        if self.work.proposal.whole:
            time += 1
            found = self._bound(END, moment.outing, moment, time)
            if found is None:
                return None
            clocks, readings = found
        return self._begin(_Moment(moment.done, moment.outing, self.engine.mark(), time, clocks, readings))

    def _bound(
        self, action: str, outing: int, moment: _Moment, time: int
    ) -> tuple[dict[tuple[str, str, int, int], _Clock], Mapping[tuple[str, str], int]] | None:
        one = self.work.proposal.outings[outing]
        said = Action(f"{action}:{one.id}", action, (), time, outing=one.id)
        event = resolve(self.engine.world.configuration, said)
        assert isinstance(event, Event), event.refusals
        self._now, self._now_past = (
            ~outing if action == END else ~outing - len(self.work.of_outing),
            moment.done,
        )
        return self._happen(event, moment, None, None)

    def _finish(self, moment: _Moment) -> None:
        """Judge the end of the sequence, and what is left running."""
        engine, work, ground = self.engine, self.work, self.ground
        self._now, self._now_past = ~(len(work.of_outing) - 1), moment.done
        noted = engine.noted
        if work.proposal.whole:
            engine.end_sequence()
            engine.settle()
        if self._is_broken(noted, None, None) or not work.proposal.whole:
            return
        for clock in moment.clocks.values():
            elapsed = self._since(clock.step, clock.time, self._past_at(clock.step))
            planned = ground.planned.get((clock.rule, clock.subject))
            if planned is not None:
                begun = clock.time if clock.step is None else work.earliest[clock.step]
                if planned.start - begun < clock.limit:
                    continue
            if elapsed > clock.limit or clock.rule not in ground.outlive:
                self._late(None, clock, elapsed)
                return

    # --- clocks ---

    def _clocks(
        self,
        running: Mapping[tuple[str, str, int, int], _Clock],
        turns: Iterable[Turn],
        step: int | None,
    ) -> dict[tuple[str, str, int, int], _Clock] | None:
        """Return the clocks that run after a step; None after noting one that it meets too late."""
        out = dict(running)
        for turn in turns:
            if turn.deadline is None:
                continue
            key = (turn.rule, turn.subject, turn.started, turn.deadline)
            if turn.starts:
                begun = self._at.get(turn.started, step)
                if begun is None:
                    self.found.unjudged[turn.rule] = None
                    continue
                limit = turn.deadline - turn.started
                if self.work.longest_after(begun) > limit:
                    self._counts_from(begun)
                out[key] = _Clock(turn.rule, turn.subject, limit, begun, turn.started)
                continue
            clock = out.pop(key, None)
            if clock is None:
                continue
            elapsed = self._since(clock.step, clock.time, self._past_at(clock.step))
            if elapsed > clock.limit:
                self._late(step, clock, elapsed)
                return None
        return out

    def _late(self, step: int | None, clock: _Clock, elapsed: int) -> None:
        steps = self.work.steps
        started = None if clock.step is None else steps[clock.step].id
        name = None if step is None else steps[step].id
        fault = Fault(name, (), clock.rule, clock.subject, elapsed, clock.limit, started)
        self._bad(step, fault, clock.step)

    def _readings(
        self, readings: Mapping[tuple[str, str], int], event: Event, step: int | None
    ) -> Mapping[tuple[str, str], int]:
        if step is None or not self._keeps_age or not event.subjects:
            return readings
        taken = [key for key in did(event) if any(asked.is_aged(key[1]) for asked in self._aged)]
        if taken:
            self._counts_from(step)
        return {**readings, **dict.fromkeys(taken, step)} if taken else readings

    def _counts_from(self, step: int) -> None:
        """Note that what comes after a step counts: a clock that it starts may run out, or its age is asked."""
        if self.footprints is not None and not self.footprints.counts >> step & 1:
            self.footprints.counts |= 1 << step
            self.footprints.grew = True
            self._expect_same()

    def _age(self, stamp: Stamp) -> int:
        """Return how old something that was done can be when the present step ends."""
        step = self._at.get(stamp[0]) if stamp[0] > self.work.start else None
        if step is None and stamp[0] > self.work.start:
            return 0
        age = self._since(step, stamp[0], self._past_at(step))
        if step is not None and (self._oldest is None or age > self._oldest[0]):
            self._oldest = age, step
        return age

    def _is_too_old(self, action: str, step: int, outing: int) -> bool:
        """Return whether what was done at a step is too old for all who ask when an outing begins: it stays so."""
        self._now = ~outing - len(self.work.of_outing)
        age = self._since(step, 0, self._past_at(step))
        return all(age >= (asked.most_age or 0) for asked in self._aged if asked.is_aged(action))

    def _past_at(self, step: int | None) -> int:
        """Return what was done by the end of a step in every order that this one stands for; None: nothing."""
        return 0 if step is None else self.past[step] | 1 << step

    def _since(self, step: int | None, time: int, past: int) -> int:
        """Return how long it can be from a step's end, or from a time, to the end of what is done now."""
        if step is not None and step == self._now:
            return 0
        now = self._now
        if self.work.shared:
            return self._count(step, time, past, now)
        key = (step, time if step is None else 0, past, now, self._now_past if now < 0 else 0)
        found = self._elapsed.get(key)
        if found is None:
            found = self._elapsed[key] = self._count(step, time, past, now)
        return found

    def _count(self, step: int | None, time: int, past: int, now: int) -> int:
        """Go through the outings since then: the longest chain to each step, of those that can all come after."""
        work = self.work
        number = len(work.of_outing)
        if now >= 0:
            last, at_end = work.outing[now], False
        else:
            at_end = ~now < number
            last = ~now if at_end else ~now - number
        first = 0 if step is None else work.outing[step]
        begun = time if step is None else work.earliest[step]
        base = 0
        for outing in range(first, last + 1):
            if step is None or outing > first:
                start = work.begins(outing)
                base = base if start is None else max(base, start - begun)
            if outing == last and not at_end and now < 0:
                return base
            ends = self._chains(outing, past, base, now if outing == last and now >= 0 else None)
            if outing == last and now >= 0:
                return ends[now]
            base = max(ends.values(), default=base)
            base = max(base, 0)
        return base

    def _chains(self, outing: int, past: int, base: int, now: int | None) -> dict[int, int]:
        """Return of each step of an outing, done but not `past`, when it ends at the latest, by the longest chain."""
        work = self.work
        ends: dict[int, int] = {}
        latest: dict[str, int] = {}
        order = [i for i in self.path if work.outing[i] == outing]
        if now is not None:
            order = [*(i for i in order if work.needs[now] >> i & 1 or i in work.shared), now]
        for i in order:
            doer = work.shared.get(i)
            if past >> i & 1:
                continue
            begin = base
            for p in work.previous[i]:
                begin = max(begin, ends.get(p, base))
            if doer is not None and doer in latest:
                begin = max(begin, ends[latest[doer]])
            ends[i] = begin + work.high[i]
            if doer is not None:
                latest[doer] = i
        return ends

    # --- what was done before ---

    def _past_of(self, step: int, done: int) -> int:
        """Return the steps that came before one in every order that this one stands for."""
        if self.footprints is None:
            return done
        work = self.work
        outing = work.of_outing[work.outing[step]]
        past = done & ~outing
        for other in bits(done & outing & (work.direct[step] | self.footprints.depends[step])):
            past |= self.past[other] | 1 << other
        return past

    def _is_new(self, moment: _Moment) -> bool:
        """Return whether a situation isn't known, or clocks may have run longer in it than when it was."""
        clocks = sorted(moment.clocks.values(), key=_by_name)
        readings = sorted(moment.readings.items())
        key = (
            moment.done,
            situation(self.engine, timed=False),
            tuple((c.rule, c.subject, c.limit, c.step, c.time if c.step is None else 0) for c in clocks),
            tuple(readings),
            self._doers_order(moment),
        )
        times = (
            *(self._past_for(c.step, c.limit) for c in clocks if c.step is not None),
            *(self.past[step] for _, step in readings),
            *self._pasts_to_come(moment),
        )
        known = self.seen.setdefault(key, [])
        if any(all(a & ~b == 0 for a, b in zip(one, times, strict=True)) for one in known):
            return False
        known[:] = [one for one in known if not all(b & ~a == 0 for a, b in zip(one, times, strict=True))]
        known.append(times)
        self.found.situations += 1
        if self.tell is not None and not self.found.situations % self.tell_every:
            self.tell(self.found.situations)
        return True

    def _past_for(self, step: int, limit: int) -> int:
        """Return what was done before a clock started, or all where it can't run out: there that doesn't matter."""
        return self.past[step] if self.work.longest_after(step) > limit else -1

    def _counts_later(self, moment: _Moment) -> int:
        """Return the steps of the outing, still to be done, from whose end on it counts how long all takes."""
        if self.footprints is None:
            return 0
        return self.footprints.counts & self.work.of_outing[moment.outing] & ~moment.done

    def _pasts_to_come(self, moment: _Moment) -> Iterator[int]:
        """Yield what will have been done before a clock is started that may run out: what it depends on hands it on."""
        if self.footprints is None or not self._counts_later(moment):
            return
        work, outing = self.work, self.work.of_outing[moment.outing]
        handed = 0
        for i in bits(outing & ~moment.done):
            handed |= work.direct[i] | self.footprints.depends[i]
        for i in bits(handed & outing & moment.done):
            yield self.past[i]

    def _doers_order(self, moment: _Moment) -> tuple[int, ...]:
        if not self.work.shared or not (moment.clocks or moment.readings or self._counts_later(moment)):
            return ()
        return tuple(i for i in self.path if i in self.work.shared)

    # --- which steps next ---

    def _enabled(self, moment: _Moment) -> list[int]:
        work, left = self.work, self.work.of_outing[moment.outing] & ~moment.done
        return [i for i in bits(left) if not work.direct[i] & ~moment.done]

    def _next(self, moment: _Moment) -> list[int]:
        """Return the steps to take next, the first in writing order last."""
        if self.forced is not None:
            return list(self.forced[len(self.path) : len(self.path) + 1])
        if len(self.path) < len(self.lead):
            return [self.lead[len(self.path)]]
        enabled = self._enabled(moment)
        if self.footprints is None or len(enabled) < 2:
            return enabled[::-1]
        best = enabled
        for seed in enabled:
            chosen = self._stubborn(seed, moment, len(best))
            if chosen is not None and len(chosen) < len(best):
                best = chosen
                if len(best) == 1:
                    break
        return sorted(best, reverse=True)

    def _stubborn(self, seed: int, moment: _Moment, fewer_than: int) -> list[int] | None:
        """Return, from one step on, steps such that nothing that may come without them matters to any of them."""
        work, depends = self.work, self.footprints.depends if self.footprints else []
        left = work.of_outing[moment.outing] & ~moment.done
        chosen, later = 1 << seed, work.needed_by[seed]
        queue = [seed]
        while queue:
            step = queue.pop()
            for other in bits(depends[step] & left & ~chosen):
                if later >> other & 1 or chosen >> other & 1:
                    continue
                if not work.direct[other] & ~moment.done:
                    added = other
                else:
                    # Whatever it still needs must come first: any one of that which can be next will do.
                    needed = work.needs[other] & left
                    added = next(i for i in bits(needed) if not work.direct[i] & ~moment.done)
                chosen |= 1 << added
                later |= work.needed_by[added]
                queue.append(added)
            if chosen.bit_count() >= fewer_than:
                return None
        return list(bits(chosen))

    def _widen(self, frame: _Frame) -> None:
        """Where a step is bad, whoever looks for the shortest takes all others too: none needs to come after it."""
        if self.footprints is None or frame.opened or not self.shortest or self.forced is not None:
            return
        frame.opened = True
        taken = self._next(frame.moment)
        frame.todo[:0] = [i for i in self._enabled(frame.moment)[::-1] if i not in taken]

    # --- what is bad ---

    def _bad(self, step: int | None, fault: Fault, started: int | None = None) -> None:
        """Note a bad order, if it is shorter than those before."""
        order = self._trimmed(step, started)
        if self.found.bad is not None and len(order) >= self.found.length:
            return
        if len(order) >= self._best:
            return
        at = self.work.earliest[order[-1]] if order else self.work.start
        # The engine's times mean nothing: told is when it could be at the earliest.
        findings = tuple(replace(f, time=at, since=at, step=fault.step) for f in fault.findings)
        steps = tuple(self.work.steps[i].id for i in order)
        self.found.bad = BadOrder(steps, replace(fault, findings=findings))
        self.found.length = self._best = len(order)

    def _trimmed(self, step: int | None, started: int | None) -> list[int]:
        """Return an order that is as bad: only what came before the fault, and a clock's start early."""
        if step is None:
            wanted, whole = self._now_past, list(self.path)
        else:
            wanted = self._now_past | 1 << step
            whole = [*self.path, step]
        if started is None:
            return [i for i in whole if wanted >> i & 1]
        early = self._past_at(started)
        wanted |= early
        return [i for i in whole if early >> i & 1] + [i for i in whole if wanted & ~early & 1 << i]


def _by_name(clock: _Clock) -> tuple[Any, ...]:
    return clock.rule, clock.subject, clock.limit, -1 if clock.step is None else clock.step, clock.time


# --- searching --------------------------------------------------------------------------------------------------


class Orders:
    """The orders of one plan, to be searched as often as is asked, with waits added and left out.

    What its steps touch is learnt once. `most` situations are looked at in one search, None for all.
    """

    def __init__(self, ground: Ground, *, most: int | None = None, tell: Tell | None = None) -> None:
        self.ground, self.most, self.tell = ground, most, tell
        self.situations, self.tell_every = 0, 100
        self.known: Known = {}
        self._footprints: Footprints | None = None
        self._before = 0

    def search(
        self, proposal: Proposal, *, shortest: bool = False, reduced: bool = True, most: int | None = None
    ) -> Searched:
        """Search the orders of a proposal that has the steps of this plan. Raises Deadlock."""
        work = self.work(proposal)
        footprints = self._learnt(work) if reduced else None
        found, search = self._search(work, footprints, shortest=shortest, most=most)
        self.known = search.seen
        return found

    def anew_from(self, proposal: Proposal, outing: int, known: Known) -> Searched:
        """Search a proposal that differs in one outing from one that is clear, of which the situations are known."""
        work = self.work(proposal)
        before = sum(work.of_outing[:outing])
        ways = [times for key, times in known.items() if key[0] == before]  # type: ignore[index]
        lead: list[int] = []
        if len(ways) <= 1 and all(len(times) == 1 for times in ways):
            lead = [i for i in work.in_turn if before >> i & 1]
            lead.sort(key=work.outing.__getitem__)
        ends = {sum(work.of_outing[: n + 1]) for n in range(outing, len(work.of_outing))}
        later = {key: times for key, times in known.items() if key[0] in ends}  # type: ignore[index]
        return self._search(work, self._learnt(work), shortest=False, lead=lead, known=later)[0]

    def shorter(self, proposal: Proposal, than: int, *, most: int | None) -> Searched:
        """Search all orders, independent or not, for a bad one of less than so many steps: the first as written."""
        return self._search(self.work(proposal), None, shortest=True, shorter_than=than, most=most)[0]

    def replay(self, proposal: Proposal, steps: Sequence[str]) -> BadOrder | None:
        """Return what is wrong with one order, as far as it goes."""
        work = self.work(proposal)
        forced = [work.number[one] for one in steps]
        return self._search(work, None, shortest=False, forced=forced)[0].bad

    def work(self, proposal: Proposal) -> _Work:
        """Return the steps of a proposal with what waits and tracks say of them."""
        return _Work(proposal, self.ground.begin.start, self.ground.begun)

    def _learnt(self, work: _Work) -> Footprints:
        """Return what the steps touch, as is seen in a few orders first."""
        if self._footprints is None:
            footprints = self._footprints = Footprints(self.ground.engine(), len(work.steps), work.sole())
            orders = (work.in_turn, _one_by_one(work), _one_by_one(work, last_first=True))
            for order in orders:
                forced = sorted(order, key=work.outing.__getitem__)
                self._search(work, footprints, shortest=False, forced=forced)
            footprints.grew = False
        return self._footprints

    def _search(
        self,
        work: _Work,
        footprints: Footprints | None,
        *,
        shortest: bool,
        shorter_than: int | None = None,
        most: int | None = None,
        forced: Sequence[int] | None = None,
        lead: Sequence[int] = (),
        known: Known | None = None,
    ) -> tuple[Searched, Search]:
        while True:
            search = Search(
                self.ground,
                work,
                footprints=footprints,
                shortest=shortest,
                most=self.most if most is None else most,
                tell=None if self.tell is None else self._tell,
                shorter_than=shorter_than,
                forced=forced,
                lead=lead,
                known=known,
                tell_every=self.tell_every,
            )
            try:
                found = search.run()
            except _Unseen as unseen:
                self.ground.ready_for(unseen.event)
                if footprints is not None:
                    footprints.over(self.ground.engine())
            except _Again:
                assert footprints is not None
                footprints.grew = False
            else:
                self.situations += found.situations
                self._before = self.situations
                return found, search

    def _tell(self, situations: int) -> None:
        assert self.tell is not None
        self.tell(self._before + situations)


def _one_by_one(work: _Work, *, last_first: bool = False) -> Iterator[int]:
    """Yield steps in an order in which each track goes as far as it can before the next one does."""
    done, n = 0, len(work.steps)
    for mask in work.of_outing:
        while mask & ~done:
            tracks: dict[str, list[int]] = {}
            for i in bits(mask & ~done):
                tracks.setdefault(work.steps[i].track, []).append(i)
            for steps in reversed(tracks.values()) if last_first else tracks.values():
                for i in steps:
                    if work.direct[i] & ~done:
                        break
                    done |= 1 << i
                    yield i
    assert done.bit_count() == n


# --- waits ------------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Wait:
    """That a step waits for another."""

    step: str
    waits_for: str


@dataclass(frozen=True, slots=True)
class WaitFound:
    """What a wait of the plan is good for: `needed`, with the `bad` order that comes without it.

    Else it can be left out, as it follows from the others (`implied`), or as every order without it is clear, too.
    None of both where the search was cut short.
    """

    step: str
    waits_for: str
    needed: bool | None
    implied: bool = False
    bad: BadOrder | None = None


@dataclass(frozen=True, slots=True)
class OrdersReport:
    """What every order of a plan comes to.

    `bad` is a bad order: no other is shorter if it `is_shortest`. `cure` are waits with which every order is clear,
    None where none were found: there are no fewer if they are `fewest`, else none of them can be left out. `waits`
    tells of the plan's own, if that was asked. `cut`: it was cut short, so that nothing is clear. `unjudged` are rules
    that can't be judged in every order, `crashed` those that gave no verdict. `situations` is how many were looked at.
    """

    told: ClassVar[tuple[str, ...]] = ("verdict",)

    title: str
    steps: int
    outings: tuple[str, ...]
    bad: BadOrder | None = None
    is_shortest: bool = False
    cure: tuple[Wait, ...] | None = None
    fewest: bool = False
    waits: tuple[WaitFound, ...] = ()
    cut: bool = False
    unjudged: tuple[str, ...] = ()
    crashed: tuple[str, ...] = ()
    situations: int = 0
    rules: int = 0
    said_for: str = IN_EVERY_ORDER

    @property
    def verdict(self) -> Verdict:
        """Whether every order may be done: not clear outranks undecided."""
        if self.bad is not None:
            return Verdict.NOT_CLEAR
        return Verdict.UNDECIDED if self.cut or self.unjudged or self.crashed else Verdict.CLEAR


FEW = 20_000
"""So many situations are looked at for a shorter bad order than the first that is found."""

MOST_TRIES = 80
"""So many sets of waits are tried for the fewest."""

MOST_WAITS = 3
"""Up to so many extra waits are looked for in sets that grow."""


def orders(
    ground: Ground,
    *,
    most: int | None = None,
    tell: Tell | None = None,
    cures: bool = True,
    waits: bool = False,
) -> OrdersReport:
    """Search every order of a plan for bad ones; for what would cure them, and which waits aren't needed, if asked.

    Raises Deadlock. A KeyboardInterrupt cuts the work short: what was found by then is told.
    """
    searching, proposal = Orders(ground, most=most, tell=tell), ground.proposal
    found = searching.search(proposal)
    known, cut = searching.known, found.cut
    bad, is_shortest, cure, fewest = found.bad, False, None, False
    if bad is not None:
        bad, is_shortest, cut = _shortest(searching, proposal, bad)
        if cures and not cut:
            cure, fewest, cut = _cure(searching, proposal, bad)
    told: list[WaitFound] = []
    if waits and not cut and bad is None:
        try:
            for one in _judged_waits(searching, proposal, known):
                told.append(one)
                cut = cut or one.needed is None
        except KeyboardInterrupt:
            cut = True
    return OrdersReport(
        title=proposal.title,
        steps=len(proposal.steps),
        outings=tuple(outing.id for outing in proposal.outings),
        bad=bad,
        is_shortest=is_shortest,
        cure=cure,
        fewest=fewest,
        waits=tuple(told),
        cut=found.cut or cut,
        unjudged=tuple(dict.fromkeys((*ground.unjudged, *found.unjudged))),
        crashed=tuple(found.crashed),
        situations=searching.situations,
        rules=len(ground.rules.rules),
    )


def _shortest(searching: Orders, proposal: Proposal, bad: BadOrder) -> tuple[BadOrder, bool, bool]:
    """Return the shortest bad order that is found, whether there is no shorter one, and whether that was cut off."""
    again = searching.replay(proposal, bad.steps)
    assert again is not None
    assert again.steps == bad.steps
    found = searching.shorter(proposal, len(again.steps) + 1, most=FEW)
    best = again if found.bad is None else found.bad
    stopped = found.cut and found.situations < FEW
    if found.cut and not stopped:
        near = searching.search(proposal, shortest=True, most=FEW // 4).bad
        if near is not None and len(near.steps) < len(best.steps):
            best = searching.replay(proposal, near.steps) or best
    return best, not found.cut, stopped


class _GivenUp(Exception):
    """More sets of waits would have to be tried than is worth it."""


class _CutShort(Exception):
    """The work was cut short while waits were looked for."""


class _Cures:
    """Looks for the fewest extra waits with which every order is clear: each set must break every bad order known."""

    def __init__(self, searching: Orders, proposal: Proposal, bad: BadOrder) -> None:
        self._searching, self._proposal = searching, proposal
        self._known = [bad.steps]
        self._tried: dict[frozenset[Wait], tuple[str, ...] | None] = {}
        schedule = Schedule(
            proposal, searching.ground.begin.start, searching.ground.begun, one_at_a_time=False
        )
        laid = schedule.lay_out(schedule.at_pace(1))
        self._turn = {one.step.id: i for i, one in enumerate(laid.steps)}
        self._of = {step.id: step for step in proposal.steps}
        self._work = searching.work(proposal)
        self.tries = 0

    def fewest(self) -> tuple[Wait, ...] | None:
        """Return the fewest waits, up to a few; None where more are needed. Raises _GivenUp."""
        for many in range(1, MOST_WAITS + 1):
            found = self._grown((), many)
            if found is not None:
                return found
        return None

    def some(self) -> tuple[Wait, ...] | None:
        """Return waits of which none can be left out, by adding one for each bad order met: as the plan is laid out."""
        waits: tuple[Wait, ...] = ()
        while (bad := self._bad_with(waits)) is not None:
            likely = [one for one in self._breaking(bad) if self._is_as_written(one)]
            if not likely:
                return None
            waits = (*waits, likely[0])
        for one in waits:
            fewer = tuple(other for other in waits if other != one)
            if self._bad_with(fewer) is None:
                waits = fewer
        return waits

    def _grown(self, waits: tuple[Wait, ...], more: int) -> tuple[Wait, ...] | None:
        bad = self._bad_with(waits) if more == 0 else self._known_with(waits) or self._bad_with(waits)
        if bad is None:
            return waits
        if more == 0:
            return None
        for wait in self._breaking(bad):
            found = self._grown((*waits, wait), more - 1)
            if found is not None:
                return found
        return None

    def _known_with(self, waits: Sequence[Wait]) -> tuple[str, ...] | None:
        """Return a bad order, of those that are known, that some waits allow."""
        return next((one for one in self._known if not any(_breaks(wait, one) for wait in waits)), None)

    def _bad_with(self, waits: Sequence[Wait]) -> tuple[str, ...] | None:
        known = self._known_with(waits)
        if known is not None:
            return known
        key = frozenset(waits)
        if key not in self._tried:
            if self.tries >= MOST_TRIES:
                raise _GivenUp
            self.tries += 1
            try:
                found = self._searching.search(with_waits(self._proposal, waits))
            except Deadlock:
                # Steps that wait for each other are no cure.
                self._tried[key] = self._known[0]
                return self._known[0]
            if found.cut and found.bad is None:
                raise _CutShort
            self._tried[key] = None if found.bad is None else found.bad.steps
            if found.bad is not None:
                self._known.append(found.bad.steps)
        return self._tried[key]

    def _breaking(self, bad: Sequence[str]) -> list[Wait]:
        """Return the waits that a bad order doesn't keep, likely ones first: as it is laid out, near its fault."""
        place = {step: i for i, step in enumerate(bad)}
        work, out = self._work, list[tuple[tuple[int, ...], Wait]]()
        for step in bad:
            mine = work.number[step]
            for other in self._proposal.steps:
                its = work.number[other.id]
                if other.outing != self._of[step].outing or other.track == self._of[step].track:
                    continue
                if work.needs[its] >> mine & 1 or place.get(other.id, len(bad)) < place[step]:
                    continue
                apart = self._turn[step] - self._turn[other.id]
                rank = (int(apart < 0), len(bad) - 1 - place[step], abs(apart))
                out.append((rank, Wait(step, other.id)))
        return [wait for _, wait in sorted(out, key=lambda one: one[0])]

    def _is_as_written(self, wait: Wait) -> bool:
        return self._turn[wait.waits_for] < self._turn[wait.step]


def _breaks(wait: Wait, order: Sequence[str]) -> bool:
    """Return whether an order doesn't keep a wait: the step is done in it, and what it waits for isn't done before."""
    return wait.step in order and wait.waits_for not in order[: order.index(wait.step)]


def _cure(searching: Orders, proposal: Proposal, bad: BadOrder) -> tuple[tuple[Wait, ...] | None, bool, bool]:
    """Return extra waits with which every order is clear, whether there are no fewer, and whether that was cut off."""
    looking = _Cures(searching, proposal, bad)
    try:
        try:
            found = looking.fewest()
        except _GivenUp:
            found = None
        if found is not None:
            return found, True, False
        looking.tries = 0
        return looking.some(), False, False
    except _GivenUp:
        return None, False, False
    except (_CutShort, KeyboardInterrupt):
        return None, False, True


def with_waits(proposal: Proposal, waits: Sequence[Wait]) -> Proposal:
    """Return a proposal with more waits."""
    more: dict[str, tuple[str, ...]] = {}
    for one in waits:
        more[one.step] = (*more.get(one.step, ()), one.waits_for)
    steps = (
        replace(step, after=(*step.after, *more[step.id])) if step.id in more else step
        for step in proposal.steps
    )
    return replace(proposal, steps=tuple(steps))


def without_wait(proposal: Proposal, wait: Wait) -> Proposal:
    """Return a proposal without one of its waits."""
    steps = (
        replace(step, after=tuple(a for a in step.after if a != wait.waits_for))
        if step.id == wait.step
        else step
        for step in proposal.steps
    )
    return replace(proposal, steps=tuple(steps))


def _judged_waits(searching: Orders, proposal: Proposal, known: Known) -> Iterator[WaitFound]:
    """Yield of each wait what it is good for, of a plan that is clear in every order."""
    number = {outing.id: n for n, outing in enumerate(proposal.outings)}
    for step in proposal.steps:
        for other in step.after:
            wait = Wait(step.id, other)
            without = without_wait(proposal, wait)
            work = searching.work(without)
            mine, its = work.number[step.id], work.number[other]
            if work.needs[mine] >> its & 1 or work.outing[mine] != work.outing[its]:
                yield WaitFound(step.id, other, needed=False, implied=True)
                continue
            found = searching.anew_from(without, number[step.outing], known)
            if found.cut and found.bad is None:
                yield WaitFound(step.id, other, needed=None)
                return
            bad = None if found.bad is None else searching.replay(without, found.bad.steps)
            yield WaitFound(step.id, other, needed=found.bad is not None, bad=bad)
