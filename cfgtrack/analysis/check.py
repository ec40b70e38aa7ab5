"""Is a proposed sequence possible, is it allowed, and which clocks does it start and stop? Step by step."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from cfgtrack.model.action import BEGIN, END, Action
from cfgtrack.model.configuration import Configuration
from cfgtrack.model.event import Event, effects
from cfgtrack.model.possibility import Impossible, resolve
from cfgtrack.model.sequence import Laid, Layout, Outing, Step, lay_out
from cfgtrack.model.sequence import Sequence as Proposal
from cfgtrack.model.time import SECOND, format_duration, format_instant
from cfgtrack.network.network import Network
from cfgtrack.rules.breach import words
from cfgtrack.rules.engine import Engine
from cfgtrack.rules.finding import Clock, Finding, Reason
from cfgtrack.rules.rule import RuleSet
from cfgtrack.rules.variance import Variance, under_variance
from cfgtrack.rules.world import Prior, no_prior

BUDGET = "budget"
"""What stands for a rule in a finding about an outing that takes too long."""

POSSIBLE = "possible"
"""What stands for a rule in a finding about a step that can't be done at all."""


@dataclass(frozen=True, slots=True)
class Deadline:
    """A clock that a step started or stopped. `left` is what was left when it stopped, in microseconds."""

    rule: str
    subject: str
    started: int
    deadline: int | None
    left: int | None = None

    def to_json(self) -> dict[str, Any]:
        """Return it as a JSON object."""
        return {
            "rule": self.rule,
            "subject": self.subject,
            "started": format_instant(self.started),
            "deadline": None if self.deadline is None else format_instant(self.deadline),
            "left_seconds": None if self.left is None else self.left / SECOND,
        }


@dataclass(frozen=True, slots=True)
class StepResult:
    """One step as checked: laid out in time, resolved, with the clocks that it would start and stop in time."""

    laid: Laid
    outcome: Event | Impossible
    started: tuple[Deadline, ...] = ()
    stopped: tuple[Deadline, ...] = ()

    @property
    def action(self) -> Action:
        """What would be done, as far as it could be filled in."""
        return self.outcome.action if isinstance(self.outcome, Impossible) else self.outcome

    @property
    def is_possible(self) -> bool:
        """Whether it can be done where the hardware then is."""
        return isinstance(self.outcome, Event)


@dataclass(frozen=True, slots=True)
class CheckReport:
    """What a check found. `findings` are the sequence's own; `before` were open when it starts; `excused` are under

    a variance. `clocks` still run at its end. `assumed` counts the steps whose duration was assumed.
    """

    title: str
    start: int
    end: int
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
    def step_of(self) -> dict[str, str]:
        """Map the id of each step's event to the step's id."""
        return {s.action.id: s.laid.step.id for s in self.steps}

    @property
    def delayed(self) -> tuple[tuple[str, int, int], ...]:
        """The outings that can't start when they were planned to, each with that time and the one they were checked at.

        The moment of the check, or the end of the outing before, is later.
        """
        spans = self.layout.spans
        return tuple(
            (o.id, o.start, spans[o.id][0])
            for o in self.outings
            if o.start is not None and spans[o.id][0] > o.start
        )

    def to_json(self) -> dict[str, Any]:
        """Return the report as a JSON object."""
        step_of = self.step_of
        return {
            "title": self.title,
            "start": format_instant(self.start),
            "end": format_instant(self.end),
            "rules": self.rules,
            "findings": [_with_step(f, step_of) for f in self.findings],
            "excused": [_with_step(f, step_of) for f in self.excused],
            "before": [f.to_json() for f in self.before],
            "clocks": [c.to_json() for c in self.clocks],
            "delayed": [
                {"outing": o, "planned": format_instant(p), "checked": format_instant(c)}
                for o, p, c in self.delayed
            ],
            "steps": [_step_json(s) for s in self.steps],
        }


def _with_step(finding: Finding, step_of: Mapping[str, str]) -> dict[str, Any]:
    return {"step": step_of.get(finding.event or ""), **finding.to_json()}


def _step_json(result: StepResult) -> dict[str, Any]:
    step = result.laid.step
    return {
        "step": step.id,
        "outing": step.outing,
        "track": step.track,
        "start": format_instant(result.laid.start),
        "end": format_instant(result.laid.end),
        "action": words(result.action),
        "possible": result.is_possible,
        "started": [d.to_json() for d in result.started],
        "stopped": [d.to_json() for d in result.stopped],
    }


@dataclass(frozen=True, slots=True)
class Start:
    """Where a check starts: a configuration, and the resolved events since then that the rules must know of.

    `began` is the time of the configuration; `start` when the proposal begins, not before the last event.
    """

    configuration: Configuration
    history: tuple[Event, ...] = ()
    began: int = 0
    start: int = 0


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
    possible = [(r.laid, r.outcome) for r in results if isinstance(r.outcome, Event)]
    engine = judged(rules, begin, networks, coming=[event for _, event in possible])
    noted = engine.noted
    before = [f for f in engine.findings() if f.is_open]
    timed = dict(_run(engine, _with_outings(now, proposal, layout, possible), whole=proposal.whole))
    end = engine.world.now
    findings = [*_impossible(results), *_too_long(proposal, layout), *engine.findings(noted)]
    findings.sort(key=lambda f: (f.time, f.severity, f.rule, f.subjects))
    plain, excused = under_variance(findings, variances)
    return CheckReport(
        title=proposal.title,
        start=begin.start,
        end=end,
        steps=tuple(replace(r, **timed.get(r.action.id, {})) for r in results),
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
    action = replace(laid.step.action, happened=laid.end, id=f"step:{laid.step.id}")
    outcome = resolve(now, action)
    if isinstance(outcome, Event):
        now.apply(outcome)
    return StepResult(laid, outcome)


def judged(
    rules: RuleSet,
    begin: Start,
    networks: Mapping[str, Network] | None = None,
    *,
    coming: Iterable[Event] = (),
    prior: Prior = no_prior,
) -> Engine:
    """Return an engine that has judged a past up to its end, ready for the events that are `coming`."""
    configuration, touched = begin.configuration.fork(), touched_by(begin, coming)
    engine = Engine(rules, configuration, start=begin.began, touched=touched, networks=networks, prior=prior)
    for event in begin.history:
        engine.step(event)
    engine.finish(begin.start)
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
    now: Configuration, proposal: Proposal, layout: Layout, steps: Sequence[tuple[Laid, Event]]
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
    events += [
        (laid.end, number[laid.step.outing], 1, i, event, True) for i, (laid, event) in enumerate(steps)
    ]
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
        in_time = {k: d for k, d in stopped.items() if d is None or d >= event.happened}
        yield (
            event.id,
            {
                "started": tuple(_deadline(k, d) for k, d in started.items()),
                "stopped": tuple(_deadline(k, d, event.happened) for k, d in in_time.items()),
            },
        )
    if whole:
        engine.end_sequence()


def _deadline(key: tuple[str, str, int], deadline: int | None, now: int | None = None) -> Deadline:
    left = None if now is None or deadline is None else deadline - now
    return Deadline(key[0], key[1], key[2], deadline, left)


def _impossible(results: Iterable[StepResult]) -> Iterator[Finding]:
    """Yield a finding for every step that can't be done."""
    for result in results:
        if isinstance(result.outcome, Impossible):
            yield impossible(result.outcome)


def impossible(outcome: Impossible) -> Finding:
    """Return the finding that says that an action can't be done where the hardware then is."""
    action = outcome.action
    reasons = tuple(
        Reason(r.code, r.sentence + (f" (since {r.collides})" if r.collides else ""), (), (r.subject,))
        for r in outcome.refusals
    )
    return Finding(
        rule=POSSIBLE,
        title="A step must be physically possible",
        severity=0,
        mode=POSSIBLE,
        subjects=action.subjects,
        time=action.happened,
        since=action.happened,
        reasons=reasons,
        event=action.id,
        action=words(action),
        hazard="the work stops where nobody planned to stop",
        source="common practice",
        cause=(action.action, *action.subjects),
    )


def _too_long(proposal: Proposal, layout: Layout) -> Iterator[Finding]:
    """Yield a finding for every outing that takes longer than its budget."""
    for outing in proposal.outings:
        begin, end = layout.spans[outing.id]
        if outing.budget is None or end - begin <= outing.budget:
            continue
        limit = begin + outing.budget
        over, budget = format_duration(end - limit), format_duration(outing.budget)
        yield Finding(
            rule=BUDGET,
            title="An outing ends within its budget of time",
            severity=3,
            mode="by",
            subjects=(outing.id,),
            time=limit,
            since=begin,
            reasons=(
                Reason("budget", f"outing {outing.id} takes {over} longer than its budget of {budget}"),
            ),
            deadline=limit,
            hazard="people and machines are kept out for longer than they were made ready for",
            source="the proposal's own budget",
            cause=(outing.id,),
        )


def one_step(action: Action, takes: int = 0) -> Proposal:
    """Return a proposal of a single action: it ends nothing, so it is asked nothing that must hold at an end."""
    step = Step("1", "proposal", "proposal", action, (takes, takes, takes))
    return Proposal(title=words(action), outings=(Outing("proposal"),), steps=(step,), whole=False)
