"""A proposal on trial: laid out with certain durations and judged, from where it starts, as often as is asked."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import groupby
from typing import Any, ClassVar, NamedTuple

from cfgtrack.analysis.course import bounds, in_turn
from cfgtrack.analysis.coverage import Coverage
from cfgtrack.analysis.stirring import Clockwork, Stirring
from cfgtrack.analysis.verdict import AS_LIKELY
from cfgtrack.model.action import BEGIN, END, Action
from cfgtrack.model.configuration import Configuration
from cfgtrack.model.event import Event
from cfgtrack.model.possibility import Impossible, resolve
from cfgtrack.model.sequence import Laid, Layout, Outing, Schedule
from cfgtrack.model.sequence import Sequence as Proposal
from cfgtrack.model.time import Instant, format_duration, format_instant
from cfgtrack.rules.breach import Deed, words
from cfgtrack.rules.engine import Engine, Turn
from cfgtrack.rules.finding import Clock, Finding, Reason, alone
from cfgtrack.rules.rule import RuleSet

BUDGET_TITLE = "An outing ends within its budget of time"
BUDGET = "budget"
"""What stands for a rule in a finding about an outing that takes too long."""

OVERLAP_TITLE = "An outing has ended before the next one starts"
OVERLAP = "overlap"
"""What stands for a rule in a finding about an outing that is to start before the one ahead of it is over."""

POSSIBLE = "possible"
"""What stands for a rule in a finding about a step that can't be done at all."""

Ready = Callable[[Sequence[Event]], Engine]
"""What gives an engine that has judged the past, ready for the events that are coming."""


@dataclass(frozen=True, slots=True)
class StepResult:
    """One step as checked: laid out in time, in words, and with the clocks that it would start and stop in time.

    `outcome` is the step resolved.
    """

    untold: ClassVar[tuple[str, ...]] = ("outcome",)

    step: str
    outing: str
    track: str
    start: Instant
    end: Instant
    action: str
    possible: bool
    outcome: Event | Impossible
    started: tuple[Clock, ...] = ()
    stopped: tuple[Clock, ...] = ()

    @property
    def done(self) -> Action:
        """What would be done, as far as it could be filled in."""
        return self.outcome.action if isinstance(self.outcome, Impossible) else self.outcome


class Met(NamedTuple):
    """A clock that was met in time: which, when it started, when it was met, when it would have run out."""

    rule: str
    subject: str
    started: int
    met: int
    deadline: int


@dataclass(frozen=True, slots=True)
class Run:
    """The proposal judged with certain durations, `takes`. `times` is when each point of the schedule then is.

    `steps` are told of likely durations alone. `new` is what it breaks; of what was open before, `still` is open at
    the `end`, and `mended` was put right. Clocks were `met` in time, or `ran_out`, at their deadline. `points` are
    those of the schedule by their time: of one time the steps, or else what else there is.
    """

    mix: str
    takes: tuple[int, ...]
    times: tuple[int, ...]
    layout: Layout
    steps: tuple[StepResult, ...]
    new: tuple[Finding, ...]
    still: tuple[Finding, ...]
    mended: tuple[Finding, ...]
    clocks: tuple[Clock, ...]
    met: tuple[Met, ...]
    ran_out: tuple[Met, ...]
    points: dict[int, list[int]]
    end: int
    stirred: Mapping[str, frozenset[Clockwork]]


def limit_of(finding: Finding) -> int | None:
    """Return how long a clock ran that ran out, None for a finding that is about no clock."""
    ran_out = finding.deadline == finding.time or (finding.deadline is None and finding.mode == "always")
    return finding.time - finding.since if ran_out and finding.time > finding.since else None


Name = tuple[str, str | None]
"""What an instance of a finding is known by whatever steps take: its fingerprint, and the event that broke the rule."""


def names_of(finding: Finding) -> list[Name]:
    """Return what the instances of a finding are known by."""
    return [(code, finding.event) for code in finding.fingerprints]


class Trial:
    """A proposal that can be judged with any durations. `now` is the configuration that it starts from.

    `ready` gives the engine, which is left as it was after each run. `before` are the findings of the past. Whoever
    wants to know which clocks the events may have to do with has that noted: `notes_stirring`.
    """

    def __init__(
        self,
        rules: RuleSet,
        proposal: Proposal,
        now: Configuration,
        start: int,
        begun: Mapping[str, int],
        ready: Ready,
    ) -> None:
        self.proposal = proposal
        self.schedule = Schedule(proposal, start, begun)
        self.coverage = Coverage(rules, now.fork(), proposal.whole)
        self.judged: dict[tuple[int, ...], Run] = {}
        self.before: list[Finding] = []
        self.notes_stirring = False
        self._stirring: Stirring | None = None
        self.now, self._ready = now, ready
        self._engine: Engine | None = None
        self._outcomes: dict[tuple[str, ...], list[Event | Impossible]] = {}

    def expect(self, several: Iterable[tuple[int, ...]]) -> None:
        """Have the engine made ready for all that comes with several sets of durations: one is made for all of them."""
        self._take_engine(
            [event for takes in several for event in self._events(self.schedule.lay_out(takes))]
        )

    def _take_engine(self, coming: Sequence[Event]) -> Engine:
        engine = self._ready(coming)
        if engine is not self._engine:
            self._engine = engine
            self._stirring = Stirring(engine) if self.notes_stirring else None
            self.before = engine.findings()
        return engine

    # --- events ---

    def _resolved(self, layout: Layout) -> list[Event | Impossible]:
        """Return what each step of a layout is, where it stands. Resolved once for each order of the steps."""
        order = tuple(laid.step.id for laid in layout.steps)
        found = self._outcomes.get(order)
        if found is None:
            covers = not self._outcomes
            now = self.now.fork()
            found = self._outcomes[order] = []
            for laid in layout.steps:
                step = laid.step
                outcome = resolve(now, replace(step.action, happened=laid.end, id=f"step:{step.id}"))
                found.append(outcome)
                if isinstance(outcome, Event):
                    now.apply(outcome)
            if covers:
                for event in (
                    *(e for e in found if isinstance(e, Event)),
                    *(e for e, _ in self._bounds(layout)),
                ):
                    self.coverage.take(event)
            return found
        return [_at(outcome, laid.end) for outcome, laid in zip(found, layout.steps, strict=True)]

    def _bounds(self, layout: Layout) -> Iterator[tuple[Event, int]]:
        return bounds(self.now, self.proposal, layout, self.schedule.begun)

    def _events(self, layout: Layout) -> list[Event]:
        """Return the events of a layout in order, with the begin and end of its outings."""
        placed = in_turn(self.proposal, layout, self._resolved(layout), self._bounds(layout))
        return [one for one in placed if isinstance(one, Event)]

    # --- judging ---

    def judge(self, mix: str, takes: tuple[int, ...], *, once: bool = False) -> Run:
        """Judge with certain durations: once with each. `once`: nothing else is judged after it, so none goes back."""
        found = self.judged.get(takes)
        if found is None:
            found = self.judged[takes] = self._run(mix, takes, once=once)
        return found

    def _run(self, mix: str, takes: tuple[int, ...], *, once: bool) -> Run:
        layout = self.schedule.lay_out(takes)
        events = self._events(layout)
        engine = self._take_engine(events)
        noted, mark, stirring = engine.noted, 0 if once else engine.mark(), self._stirring
        if stirring is not None:
            stirring.listen()
        told: dict[str, tuple[tuple[Clock, ...], tuple[Clock, ...]]] = {}
        met, ran_out = list[Met](), list[Met]()
        try:
            for now, instant in groupby(events, key=lambda event: event.happened):
                for event_id, turns in self._instant(engine, list(instant)):
                    in_time = [t for t in turns if t.starts or t.deadline is None or t.deadline >= now]
                    if mix == AS_LIKELY:
                        told[event_id] = _clocks(engine, in_time)
                    for t in turns:
                        if not t.starts and t.deadline is not None:
                            (met if t.deadline >= now else ran_out).append(
                                Met(t.rule, t.subject, t.started, min(now, t.deadline), t.deadline)
                            )
            if self.proposal.whole:
                engine.end_sequence()
            new = engine.findings(noted)
            still, mended = self._since_before(engine, new)
            clocks, end = engine.clocks(), engine.world.now
        finally:
            if not once:
                engine.back(mark)
        outcomes = self._resolved(layout)
        times = tuple(self.schedule.times(takes))
        return Run(
            mix=mix,
            takes=takes,
            times=times,
            layout=layout,
            steps=tuple(
                _step_result(laid, outcome, *told.get(f"step:{laid.step.id}", ((), ())))
                for laid, outcome in zip(layout.steps, outcomes, strict=True)
                if mix == AS_LIKELY
            ),
            new=tuple(self._with_steps([*self._unruled(layout, outcomes), *new])),
            still=tuple(still),
            mended=tuple(mended),
            clocks=tuple(clocks),
            met=tuple(met),
            ran_out=tuple(ran_out),
            points=self._points(times),
            end=end,
            stirred={} if stirring is None else stirring.stirred,
        )

    def _since_before(self, engine: Engine, new: Sequence[Finding]) -> tuple[list[Finding], list[Finding]]:
        """Return of what was open before the proposal what is so still, and what was put right since."""
        if not any(finding.is_open for finding in self.before):
            return [], []
        old = [finding for finding in engine.findings() if finding not in new]
        mended = [f for f in old if f.until is not None and f not in self.before]
        return [f for f in old if f.is_open], mended

    def _points(self, times: Sequence[int]) -> dict[int, list[int]]:
        points: defaultdict[int, list[int]] = defaultdict(list)
        for number, time in enumerate(times):
            points[time].append(number)
        steps = self.schedule.steps
        return {t: [n for n in some if steps[n] is not None] or some for t, some in points.items()}

    def _with_steps(self, findings: list[Finding]) -> Iterator[Finding]:
        """Yield findings in order, each with the step that it is at."""
        step_of = {f"step:{step.id}": step.id for step in self.proposal.steps}
        for finding in sorted(findings, key=in_order):
            yield replace(finding, step=step_of.get(finding.event or ""))

    def _instant(self, engine: Engine, events: Sequence[Event]) -> Iterator[tuple[str, list[Turn]]]:
        """Judge the events of one instant; yield each, by id, with the clocks that start and stop until it is over."""
        stop = next((e for e in reversed(events) if e.action not in (BEGIN, END)), None)
        for event in events:
            turned = engine.turned
            change = engine.step(event)
            if self._stirring is not None:
                self._stirring.take(change)
            if event is stop and self.proposal.whole:
                engine.stop_point(event)
            if event is events[-1]:
                engine.settle()
            turns = engine.turns(turned)
            yield event.id, turns

    # --- what is judged without a rule ---

    def _unruled(self, layout: Layout, outcomes: Sequence[Event | Impossible]) -> Iterator[Finding]:
        """Yield what is wrong by no rule: steps that can't be done, outings that take too long or overlap."""
        yield from (impossible(one) for one in outcomes if isinstance(one, Impossible))
        yield from self.too_long(layout)
        yield from self.overlapping(layout)

    def span(self, outing: Outing, layout: Layout) -> tuple[int, int]:
        """Return from when on the budget of an outing counts, and when it ends."""
        begin, end = layout.spans[outing.id]
        return self.schedule.begun.get(outing.id, begin), end

    def too_long(self, layout: Layout) -> Iterator[Finding]:
        """Yield a finding for every outing that takes longer than its budget."""
        for outing in self.proposal.outings:
            begin, end = self.span(outing, layout)
            if outing.budget is None or end - begin <= outing.budget:
                continue
            limit = begin + outing.budget
            over, budget = format_duration(end - limit), format_duration(outing.budget)
            begun = f", since it began at {format_instant(begin)}" if outing.id in self.schedule.begun else ""
            text = f"outing {outing.id} takes {over} longer than its budget of {budget}{begun}"
            yield alone(
                (outing.id,),
                (Reason("budget", text),),
                (),
                rule=BUDGET,
                title=BUDGET_TITLE,
                severity=3,
                mode="by",
                time=limit,
                since=begin,
                deadline=limit,
                hazard="people and machines are kept out for longer than they were made ready for",
                source="the proposal's own budget",
            )

    def overlapping(self, layout: Layout) -> Iterator[Finding]:
        """Yield a finding for every outing that is to start before the one ahead of it is over."""
        before: Outing | None = None
        for outing in self.proposal.outings:
            if before is not None and outing.start is not None and outing.id not in self.schedule.begun:
                over = layout.spans[before.id][1]
                if over > outing.start:
                    late = format_duration(over - outing.start)
                    text = f"outing {before.id} ends {late} after outing {outing.id} should start"
                    yield alone(
                        (before.id, outing.id),
                        (Reason("overlap", text),),
                        (),
                        rule=OVERLAP,
                        title=OVERLAP_TITLE,
                        severity=3,
                        mode="by",
                        time=outing.start,
                        since=layout.spans[before.id][0],
                        deadline=outing.start,
                        hazard="those who are to start are still out, and what follows comes later than planned",
                        source="the proposal's own starts",
                    )
            before = outing


def _at(outcome: Event | Impossible, time: int) -> Event | Impossible:
    """Return what a step is, at another time."""
    if isinstance(outcome, Impossible):
        return replace(outcome, action=replace(outcome.action, happened=time))
    return outcome if outcome.happened == time else replace(outcome, happened=time)


def _step_result(
    laid: Laid, outcome: Event | Impossible, started: tuple[Clock, ...], stopped: tuple[Clock, ...]
) -> StepResult:
    done, possible = (outcome.action, False) if isinstance(outcome, Impossible) else (outcome, True)
    return StepResult(
        step=laid.step.id,
        outing=laid.step.outing,
        track=laid.step.track,
        start=laid.start,
        end=laid.end,
        action=words(done),
        possible=possible,
        outcome=outcome,
        started=started,
        stopped=stopped,
    )


def _clocks(engine: Engine, turns: Iterable[Turn]) -> tuple[tuple[Clock, ...], tuple[Clock, ...]]:
    """Return the clocks that start, and those that stop, now."""
    both: tuple[list[Clock], list[Clock]] = ([], [])
    for turn in turns:
        both[not turn.starts].append(engine.clock_of(turn))
    return tuple(both[0]), tuple(both[1])


def in_order(finding: Finding) -> tuple[Any, ...]:
    """Return what findings are sorted by."""
    return (finding.time, finding.severity, finding.rule, finding.subjects)


def impossible(outcome: Impossible) -> Finding:
    """Return the finding that says that an action can't be done where the hardware then is."""
    action = outcome.action
    reasons = tuple(
        Reason(r.code, r.sentence + (f" (since {r.collides})" if r.collides else ""), (), (r.subject,))
        for r in outcome.refusals
    )
    return alone(
        action.subjects,
        reasons,
        Deed.of(action).what,
        rule=POSSIBLE,
        title="A step must be physically possible",
        severity=0,
        mode=POSSIBLE,
        time=action.happened,
        since=action.happened,
        event=action.id,
        action=words(action),
        hazard="The work stops where nobody planned to stop.",
        source="common practice",
    )
