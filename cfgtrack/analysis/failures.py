"""This step fails: which later steps die of it, whether all is safe then and until when, and what is the way out.

Each step of a sequence is taken for failed in each way in which its action can (see `model.failing`), where the written
layout has it end, and what is left of the sequence is run from there: a step dies that waits for one that is dead, that
can't be done any more, or that breaks a rule which it doesn't break otherwise; a value that the sequence foresees isn't
believed where what was not done would have joined, or parted, what is measured. The rest goes on. Who must go in is
back for the next outing. Then the way out is looked for from where it failed, without what can't be done any more.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass, field, replace
from enum import StrEnum
from functools import partial
from typing import ClassVar

from cfgtrack.analysis.check import Start, judged
from cfgtrack.analysis.leaving import Left, May, Stopping, without
from cfgtrack.analysis.stops import MOST_STEPS_NOW, MOST_TRIES_NOW, Stops, Walk, WayOut
from cfgtrack.analysis.way_out import Move, Tried, is_coming_in, nothing_barred
from cfgtrack.model.action import FOUND, MEASURE, Action
from cfgtrack.model.event import Event
from cfgtrack.model.failing import Barred, Failing
from cfgtrack.model.plant import owner_of
from cfgtrack.model.possibility import Impossible, resolve
from cfgtrack.model.sequence import Sequence as Proposal
from cfgtrack.model.time import Instant
from cfgtrack.network.network import Network
from cfgtrack.rules.breach import Breach, words
from cfgtrack.rules.engine import Engine
from cfgtrack.rules.rule import RuleSet
from cfgtrack.rules.variance import Variance
from cfgtrack.rules.when.by import By

MOST_LATELY = 3
"""So many of the ways last found are tried again of the next failure."""

MOST_TRIES_OUT = 40
"""So often at most a way out is tried of one failure, beside those that are known of its stop point."""


class Dies(StrEnum):
    """Why a later step can't be done, or may not be."""

    BARRED = "barred"
    WAITS = "waits"
    IMPOSSIBLE = "impossible"
    UNKNOWN = "unknown value"
    BREAKS = "breaks"


@dataclass(frozen=True, slots=True)
class Dead:
    """A step that dies, and why: what it waits for, why it is impossible, or which rule it would break, in words."""

    step: str
    dies: Dies
    why: str


@dataclass(frozen=True, slots=True)
class Fails:
    """One way in which a step fails."""

    id: str
    title: str
    cause: str


@dataclass(frozen=True, slots=True)
class Failure:
    """What becomes of it if a step fails in any of some ways of the same consequence.

    `left`: what is so from then on if nothing more is done, but for what must hold by an end. `way_out`: the shortest
    way that was found to where all may be left; None where none was, as far as was searched.
    """

    told: ClassVar[tuple[str, ...]] = ("safe", "must_be_back")

    step: str
    outing: str
    time: Instant
    action: str
    by: str | None
    fails: tuple[Fails, ...]
    dead: tuple[Dead, ...]
    left: Left
    way_out: WayOut | None

    @property
    def safe(self) -> bool:
        """Whether nothing is broken as it then is."""
        return not self.left.found

    @property
    def must_be_back(self) -> bool:
        """Whether a clock still runs out where the failure leaves all, and no outing is planned to meet it."""
        out = self.way_out
        return out is not None and not out.steps and self.left.may is May.UNTIL


@dataclass(frozen=True, slots=True)
class FailureReport:
    """The failures of a sequence, by its steps. `steps`: of how many; `failing`: of how many ways there are."""

    title: str
    failures: tuple[Failure, ...]
    steps: int
    failing: int


@dataclass(frozen=True)
class Question:
    """What the failures of a sequence follow from: all of it is a value, so that another process can be asked."""

    rules: RuleSet
    begin: Start
    proposal: Proposal
    failing: tuple[Failing, ...]
    variances: tuple[Variance, ...] = ()
    begun: Mapping[str, int] = field(default_factory=dict)
    recorded: Start | None = None
    only: str | None = None

    @property
    def steps(self) -> list[str]:
        """The steps that are asked about: all, or the `only` one."""
        return [step.id for step in self.proposal.steps if self.only in (None, step.id)]


def failures(
    question: Question,
    *,
    networks: Mapping[str, Network] | None = None,
    executor: Executor | None = None,
    parts: int = 1,
    tell: Callable[[int, int], object] = lambda *_: None,
) -> FailureReport:
    """Return what becomes of it when steps of a sequence fail; `tell` is told how far it is.

    With an executor the steps are asked about in so many `parts`, each by itself. Raises Deadlock, and TooEarly.
    """
    steps = question.steps
    if executor is None:
        found = failures_of(question, steps, networks=networks, tell=tell)
    else:
        size = -(-len(steps) // max(1, parts))
        several = [steps[i : i + size] for i in range(0, len(steps), size)] if size else []
        found = [one for some in executor.map(partial(failures_of, question), several) for one in some]
    return FailureReport(question.proposal.title, tuple(found), len(steps), len(question.failing))


def failures_of(
    question: Question,
    steps: Sequence[str],
    *,
    networks: Mapping[str, Network] | None = None,
    tell: Callable[[int, int], object] = lambda *_: None,
) -> list[Failure]:
    """Return what becomes of it when some steps fail, by the written layout."""
    return list(_Failures(question, networks).of(steps, tell))


class _Failures:
    """A plan and its stop points, asked what becomes of it when a step fails."""

    def __init__(self, question: Question, networks: Mapping[str, Network] | None) -> None:
        self._question = question
        self._walk = walk = Walk(
            question.rules,
            question.begin,
            question.proposal,
            variances=question.variances,
            networks=networks,
            begun=question.begun,
            recorded=question.recorded,
        )
        self._stops = Stops(walk)
        walk.ways.fine = question.only is not None
        if question.only is None:
            self._stops.find()
        self._engine = walk.engine
        # What dies is asked of an engine that knows nothing of ends: no step is one.
        self._apart = _without_ends(question, networks, list(walk.course.events))
        self._done = 0
        self._lately: list[Sequence[Move]] = []
        self._planned = list(self._breaks_as_planned())

    def _breaks_as_planned(self) -> Iterator[frozenset[object]]:
        """Yield what each step breaks where all goes as planned."""
        engine, walk = self._apart, self._walk
        mark = engine.mark()
        try:
            for event in walk.done:
                engine.advance(event.happened)
                noted = engine.noted
                engine.step(event)
                engine.settle()
                yield frozenset(map(_name, engine.breaches_since(noted).values()))
        finally:
            engine.back(mark)

    def _go_on_to(self, number: int) -> None:
        """Do what comes before a step, on the engine that is asked what dies."""
        while self._done < number:
            for event in self._walk.part(self._done):
                self._apart.step(event)
            self._done += 1

    def of(self, steps: Sequence[str], tell: Callable[[int, int], object]) -> Iterator[Failure]:
        """Yield the failures of some steps."""
        wanted, told = frozenset(steps), 0
        for number, event in enumerate(self._walk.done):
            if event.id.removeprefix("step:") not in wanted:
                continue
            yield from self._of_step(number, event)
            told += 1
            tell(told, len(wanted))

    def _of_step(self, number: int, event: Event) -> Iterator[Failure]:
        """Yield the failures of one step: ways of failing with one consequence are one."""
        walk = self._walk
        walk.go_to(number)
        now = self._engine.world.configuration
        alike: dict[tuple[Barred, str], list[Failing]] = {}
        for failing in self._question.failing:
            if failing.fits(now, event):
                alike.setdefault((Barred.by(failing, event), failing.found), []).append(failing)
        rows: dict[object, Failure] = {}
        for (barred, found), ways in alike.items():
            failure = self._failure(number, event, barred, found, ways)
            same = (failure.dead, failure.left, failure.way_out)
            if same in rows:
                failure = replace(rows[same], fails=(*rows[same].fails, *failure.fails))
            rows[same] = failure
        yield from rows.values()

    def _failure(
        self, number: int, event: Event, barred: Barred, found: str, ways: Sequence[Failing]
    ) -> Failure:
        engine, step = self._engine, self._walk.steps[event.id]
        mark = engine.mark()
        try:
            engine.advance(event.happened)
            happened = list(_found(engine, event, found))
            for other in happened:
                engine.step(other)
            engine.settle()
            place = self._walk.places[number + 1]
            stopping = replace(place.stopping, last=False)
            left = self._walk.leaving.judge(stopping, by_end=False)
            way = self._way_out(number, stopping, happened, barred)
        finally:
            engine.back(mark)
        self._go_on_to(number)
        dead = tuple(self._dead(number, event, barred, found))
        return Failure(
            step.id,
            step.outing,
            event.happened,
            words(event),
            event.by,
            tuple(Fails(one.id, one.title, one.cause) for one in ways),
            dead,
            left,
            self._walk.told(place, way),
        )

    # --- the way out ---

    def _way_out(
        self, number: int, stopping: Stopping, happened: Sequence[Event], barred: Barred
    ) -> Tried | None:
        """Return the shortest way out from a place, without what can't be done.

        First those that are known there, then those that led out of what failed just before, then, of one step alone,
        one from ends to means; then what of the plan and of what was done leads out.
        """
        ways, only = self._walk.ways, self._question.only is not None
        bars = _bars(barred, self._engine)
        several = _once(one.moves for one in self._stops.known_from(number))
        for moves in (*several, *(one for one in self._lately if one not in several)):
            found = ways.attempt(moves, stopping, bars=bars)
            if found is not None:
                return found
        if not only and self._ties_somebody(barred):
            return None
        found = None
        if only:
            found = self._walk.rescued(
                number,
                stopping,
                happened=happened,
                barred=lambda engine: _bars(barred, engine),
                most=MOST_STEPS_NOW,
                tries=MOST_TRIES_NOW,
            )
        if found is None:
            rest = self._walk.rest_of(number, stopping.outing)
            further = [
                moves for moves in (rest, self._all_back(number, stopping.outing)) if moves not in several
            ]
            most = MOST_TRIES_NOW if only else MOST_TRIES_OUT
            found = ways.shortest(further, stopping, bars=bars, near=True, most=most)
        if found is not None:
            self._lately = [found.moves, *self._lately][:MOST_LATELY]
        return found

    def _ties_somebody(self, barred: Barred) -> bool:
        """Return whether what can't be done any more is the only way to free somebody of what he is tied to."""
        now = self._engine.world.configuration
        for port in barred.things if barred.action is not None else ():
            found = now.plant.port(port)
            if found is None or not found[1].tether or now.state(port).other is None:
                continue
            kind, status = found[1], now.state(port).value
            parting = {m.action for m in kind.moves.values() if status in m.sources and kind.parts(m)}
            if now.plant.is_mobile(owner_of(port)) and parting <= {barred.action}:
                return True
        return False

    def _all_back(self, number: int, outing: str | None) -> tuple[Move, ...]:
        """Return what takes back all that was done of an outing up to a place."""
        walk = self._walk
        steps = [place.step for place in walk.places[1 : number + 1] if place.step is not None]
        own = [step for step in steps if step.outing == outing]
        return tuple(move for step in reversed(own) for move in walk.backs.get(step.id, ()))

    # --- what dies ---

    def _dead(self, number: int, failed: Event, barred: Barred, status: str) -> Iterator[Dead]:
        """Yield the later steps that die of a failed one. Who must go in does no more within this outing."""
        walk, engine = self._walk, self._apart
        outing = walk.steps[failed.id].outing
        dead = {failed.id.removeprefix("step:")}
        bars = _bars(barred, engine)
        undone = _Undone(engine)
        undone.add(failed)
        mark = engine.mark()
        try:
            engine.advance(failed.happened)
            for other in _found(engine, failed, status):
                engine.step(other)
            engine.settle()
            for later, planned in enumerate(walk.done[number + 1 :], number + 1):
                step = walk.steps[planned.id]
                engine.advance(planned.happened)
                barring = bars if not barred.doer or step.outing == outing else nothing_barred
                found = self._dies(step.after, dead, planned, later, barring, undone)
                if found is not None:
                    dead.add(step.id)
                    undone.add(planned)
                    yield Dead(step.id, *found)
        finally:
            engine.back(mark)

    def _dies(
        self,
        after: Iterable[str],
        dead: set[str],
        planned: Event,
        number: int,
        bars: Callable[[Event], bool],
        undone: _Undone,
    ) -> tuple[Dies, str] | None:
        """Do a step, and return None; or say why it can't be done, or may not be."""
        engine = self._apart
        waits = [one for one in after if one in dead]
        if waits:
            return Dies.WAITS, ", ".join(waits)
        step = self._walk.steps[planned.id]
        action = replace(step.action, id=planned.id, happened=planned.happened)
        outcome = resolve(engine.world.configuration, action)
        if isinstance(outcome, Impossible):
            return Dies.IMPOSSIBLE, outcome.refusals[0].sentence
        if bars(outcome):
            return Dies.BARRED, words(outcome)
        if outcome.action == MEASURE and (why := undone.makes_unsure(outcome)):
            return Dies.UNKNOWN, why
        if not engine.world.sees(outcome):
            return Dies.IMPOSSIBLE, f"{words(outcome)} is nothing that was foreseen"
        mark, noted = engine.mark(), engine.noted
        engine.step(outcome)
        engine.settle()
        broken = engine.breaches_since(noted).values()
        anew = [b for b in broken if _name(b) not in self._planned[number]]
        if anew:
            worst = min(anew, key=lambda b: (b.rule.severity, b.rule.id))
            engine.back(mark)
            return Dies.BREAKS, worst.rule.id
        return None


def _without_ends(
    question: Question, networks: Mapping[str, Network] | None, coming: Iterable[Event]
) -> Engine:
    """Return an engine that has judged the past by all rules but those that hold by an end."""
    gone = {rule.id for rule in question.rules.rules if isinstance(rule.mode, By)}
    kept = tuple(rule for rule in question.rules.rules if rule.id not in gone)
    begin = question.begin
    begin = replace(
        begin,
        memory=without(begin.memory, gone),
        settled=tuple(told for told in begin.settled if told[1][0] not in gone),
    )
    return judged(replace(question.rules, rules=kept), begin, networks, coming=coming)


def _found(engine: Engine, event: Event, status: str) -> Iterator[Event]:
    """Yield that what failed was found at another status."""
    for subject in event.subjects if status else ():
        port = engine.world.plant.port(subject)
        if port is not None and status in port[1].statuses:
            action = Action(f"found:{subject}", FOUND, (subject,), event.happened, status=status)
            outcome = resolve(engine.world.configuration, action)
            if isinstance(outcome, Event) and engine.world.sees(outcome):
                yield outcome


def _bars(barred: Barred, engine: Engine) -> Callable[[Event], bool]:
    """Return what tells what can't be done, but for coming in of who must."""

    def bars(event: Event) -> bool:
        if not barred.bars(event):
            return False
        return not barred.doer or not is_coming_in(engine.world.configuration, event)

    return bars


def _name(breach: Breach) -> object:
    return breach.rule.id, breach.it, breach.part


def _once(several: Iterable[Sequence[Move]]) -> list[Sequence[Move]]:
    out: list[Sequence[Move]] = []
    for moves in several:
        if moves not in out:
            out.append(moves)
    return out


class _Undone:
    """What was to be joined or parted, and was not: of what it has to do with no foreseen value is believed."""

    def __init__(self, engine: Engine) -> None:
        self._flows = engine.world.flows
        self._ends: dict[str, dict[int, str]] = {}

    def add(self, event: Event) -> None:
        """Take in an event that doesn't happen."""
        for medium, flow in self._flows.items():
            for subject in event.subjects:
                arcs = flow.network.gates.get(subject, ())
                ends = {flow.reduced.vertex[item] for arc in arcs for item in (arc.a, arc.b)}
                if ":" in subject and not arcs:
                    ends.update(flow.vertices(subject))
                for vertex in ends:
                    self._ends.setdefault(medium, {}).setdefault(vertex, event.id.removeprefix("step:"))

    def makes_unsure(self, event: Event) -> str:
        """Return which step that was not done may make another value of what an event measures, "" for none."""
        for medium, ends in self._ends.items():
            flow = self._flows[medium]
            starts = [v for s in event.subjects if ":" in s for v in flow.vertices(s)]
            if not starts:
                continue
            for vertex in (*flow.graph.ahead(starts), *flow.graph.behind(starts)):
                if vertex in ends:
                    return f"not as foreseen without {ends[vertex]}"
        return ""
