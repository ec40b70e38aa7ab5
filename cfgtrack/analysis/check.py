"""Is a proposed sequence possible, is it allowed, and which clocks does it start and stop? Step by step."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any, ClassVar

from cfgtrack.model.action import BEGIN, END, Action
from cfgtrack.model.configuration import Configuration
from cfgtrack.model.event import Event, effects
from cfgtrack.model.possibility import Impossible, resolve
from cfgtrack.model.sequence import Laid, Layout, Outing, Step, lay_out
from cfgtrack.model.sequence import Sequence as Proposal
from cfgtrack.model.time import Instant, format_duration
from cfgtrack.network.network import Network
from cfgtrack.rules.breach import Deed, words
from cfgtrack.rules.engine import Engine, Memory
from cfgtrack.rules.finding import Clock, Finding, Reason, alone
from cfgtrack.rules.rule import RuleSet
from cfgtrack.rules.variance import Variance, under_variance
from cfgtrack.rules.world import Done

BUDGET = "budget"
"""What stands for a rule in a finding about an outing that takes too long."""

POSSIBLE = "possible"
"""What stands for a rule in a finding about a step that can't be done at all."""


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


@dataclass(frozen=True, slots=True)
class Delay:
    """An outing that can't start when it was `planned` to: it was `checked` from the end of what is before it on."""

    outing: str
    planned: Instant
    checked: Instant


@dataclass(frozen=True, slots=True)
class CheckReport:
    """What a check found. `findings` are the sequence's own; `before` were open when it starts; `excused` are under

    a variance. `clocks` still run at its end. `assumed` counts the steps whose duration was assumed.
    """

    told: ClassVar[tuple[str, ...]] = ("delayed",)
    untold: ClassVar[tuple[str, ...]] = ("layout", "outings", "assumed")

    title: str
    start: Instant
    end: Instant
    steps: tuple[StepResult, ...]
    findings: tuple[Finding, ...]
    excused: tuple[Finding, ...]
    before: tuple[Finding, ...]
    clocks: tuple[Clock, ...]
    layout: Layout
    outings: tuple[Outing, ...] = ()
    rules: int = 0
    assumed: int = 0

    @property
    def delayed(self) -> tuple[Delay, ...]:
        """The outings that can't start when they were planned to: the check, or the outing before, is later."""
        spans = self.layout.spans
        return tuple(
            Delay(o.id, o.start, spans[o.id][0])
            for o in self.outings
            if o.start is not None and spans[o.id][0] > o.start
        )


@dataclass(frozen=True, slots=True)
class Start:
    """Where a check starts: a configuration, and the resolved events since then that the rules must know of.

    `began` is the time of the configuration; `start` when the proposal begins, not before the last event. Where the
    past was judged before: the `memory` that the rules have of it by then, what was last `done`, and what is `settled`.
    """

    configuration: Configuration
    history: tuple[Event, ...] = ()
    began: int = 0
    start: int = 0
    memory: Memory | None = None
    done: Done = field(default_factory=dict)
    settled: tuple[Any, ...] = ()


def check(
    rules: RuleSet,
    begin: Start,
    proposal: Proposal,
    *,
    variances: Sequence[Variance] = (),
    networks: Mapping[str, Network] | None = None,
) -> CheckReport:
    """Check a proposal from `begin`, which is left as it is. Raises Deadlock where steps wait for each other."""
    layout = lay_out(proposal, begin.start)
    now = begin.configuration.fork()
    for event in begin.history:
        now.apply(event)
    results = [_resolved(now, laid) for laid in layout.steps]
    possible = [(r.outing, r.outcome) for r in results if isinstance(r.outcome, Event)]
    engine = judged(rules, begin, networks, coming=[event for _, event in possible])
    noted = engine.noted
    before = [f for f in engine.findings() if f.is_open]
    timed = dict(_run(engine, _with_outings(now, proposal, layout, possible), whole=proposal.whole))
    end = engine.world.now
    refused = [impossible(r.outcome) for r in results if isinstance(r.outcome, Impossible)]
    findings = [*refused, *_too_long(proposal, layout), *engine.findings(noted)]
    findings.sort(key=lambda f: (f.time, f.severity, f.rule, f.subjects))
    step_of = {r.done.id: r.step for r in results}
    findings = [replace(f, step=step_of.get(f.event or "")) for f in findings]
    plain, excused = under_variance(findings, variances)
    return CheckReport(
        title=proposal.title,
        start=begin.start,
        end=end,
        steps=tuple(replace(r, **timed.get(r.done.id, {})) for r in results),
        findings=tuple(plain),
        excused=tuple(excused),
        before=tuple(before),
        clocks=tuple(engine.clocks()),
        layout=layout,
        outings=proposal.outings,
        rules=len(rules.rules),
        assumed=sum(s.assumed for s in proposal.steps),
    )


def _resolved(now: Configuration, laid: Laid) -> StepResult:
    """Resolve one step against what is so by then, and go on from there if it is possible."""
    step = laid.step
    outcome = resolve(now, replace(step.action, happened=laid.end, id=f"step:{step.id}"))
    if isinstance(outcome, Event):
        now.apply(outcome)
    done, possible = (outcome, True) if isinstance(outcome, Event) else (outcome.action, False)
    return StepResult(step.id, step.outing, step.track, laid.start, laid.end, words(done), possible, outcome)


def judged(
    rules: RuleSet,
    begin: Start,
    networks: Mapping[str, Network] | None = None,
    *,
    coming: Iterable[Event] = (),
) -> Engine:
    """Return an engine that has judged a past up to its end, ready for the events that are `coming`."""
    engine = ready(rules, begin, networks, coming=coming)
    for event in begin.history:
        engine.step(event)
    engine.finish(begin.start)
    return engine


def ready(
    rules: RuleSet,
    begin: Start,
    networks: Mapping[str, Network] | None = None,
    *,
    coming: Iterable[Event] = (),
) -> Engine:
    """Return an engine that stands where a past begins, ready for its events and for those that are `coming`."""
    engine = Engine(
        rules,
        begin.configuration.fork(),
        start=begin.began,
        touched=touched_by(begin, coming),
        networks=networks,
        prior=begin.done,
        memory=begin.memory,
    )
    engine.add_settled(begin.settled)
    return engine


def touched_by(begin: Start, events: Iterable[Event]) -> set[str]:
    """Return every subject that the history or the sequence writes, and every mate that any of them had."""
    plant = begin.configuration.plant
    written = {
        e.subject for event in (*begin.history, *events) for e in effects(plant, event) if not e.aspect
    }
    mates = {begin.configuration.state(s).other for s in written if ":" in s}
    return written | {m for m in mates if m is not None}


def _with_outings(
    now: Configuration, proposal: Proposal, layout: Layout, steps: Sequence[tuple[str, Event]]
) -> Iterator[tuple[Event, bool]]:
    """Yield the events of a laid-out sequence with the begin and end of its outings; True for those of steps."""
    events: list[tuple[int, int, int, int, Event, bool]] = []
    number = {outing.id: i for i, outing in enumerate(proposal.outings)}
    for outing in proposal.outings if proposal.whole else ():
        begin, end = layout.spans[outing.id]
        for action, time, rank in ((BEGIN, begin, 0), (END, end, 2)):
            event = resolve(now, Action(f"{action}:{outing.id}", action, (), time, outing=outing.id))
            assert isinstance(event, Event), event.refusals
            events.append((time, number[outing.id], rank, 0, event, False))
    events += [(event.happened, number[outing], 1, i, event, True) for i, (outing, event) in enumerate(steps)]
    events.sort(key=lambda e: e[:4])
    for *_, event, is_step in events:
        yield event, is_step


def _run(
    engine: Engine, events: Iterable[tuple[Event, bool]], *, whole: bool
) -> Iterator[tuple[str, dict[str, Any]]]:
    """Run the events; yield for each step the clocks that it started and stopped."""
    queue = list(events)
    last_of = {event.happened: event for event, is_step in queue if is_step}
    for event, _ in queue:
        turned = engine.turned
        engine.step(event)
        if last_of.get(event.happened) is event:
            engine.stop_point(event) if whole else engine.settle()
        started, stopped = engine.turns(turned)
        yield event.id, {"started": tuple(started), "stopped": tuple(filter(_in_time, stopped))}
    if whole:
        engine.end_sequence()


def _in_time(stopped: Clock) -> bool:
    """Return whether a clock stopped before it ran out."""
    return stopped.left is None or stopped.left >= 0


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
        hazard="the work stops where nobody planned to stop",
        source="common practice",
    )


def _too_long(proposal: Proposal, layout: Layout) -> Iterator[Finding]:
    """Yield a finding for every outing that takes longer than its budget."""
    for outing in proposal.outings:
        begin, end = layout.spans[outing.id]
        if outing.budget is None or end - begin <= outing.budget:
            continue
        limit = begin + outing.budget
        over, budget = format_duration(end - limit), format_duration(outing.budget)
        why = Reason("budget", f"outing {outing.id} takes {over} longer than its budget of {budget}")
        yield alone(
            (outing.id,),
            (why,),
            (),
            rule=BUDGET,
            title="An outing ends within its budget of time",
            severity=3,
            mode="by",
            time=limit,
            since=begin,
            deadline=limit,
            hazard="people and machines are kept out for longer than they were made ready for",
            source="the proposal's own budget",
        )


def one_step(action: Action) -> Proposal:
    """Return a proposal of a single action: it ends nothing, so it is asked nothing that must hold at an end."""
    step = Step("1", "proposal", "proposal", action, (0, 0, 0))
    return Proposal(title=words(action), outings=(Outing("proposal"),), steps=(step,), whole=False)
