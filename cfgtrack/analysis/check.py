"""Is a proposed sequence possible, is it allowed, and which clocks does it start and stop? Step by step.

The sequence is laid out with likely durations, with all low and with all high ones, and judged each time; then, for
each clock that some mix of durations could let run out though none of these did, with that mix.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import partial
from typing import Any, ClassVar

from cfgtrack.analysis.mixes import CLOSEST, Mixes
from cfgtrack.analysis.trial import Run, StepResult, Trial, in_order, names_of
from cfgtrack.analysis.verdict import (
    ALONE,
    AS_LIKELY,
    IN_WRITTEN_ORDER,
    Foreseen,
    Margin,
    StillRunning,
    Verdict,
    covered,
    foreseen,
    still_running,
)
from cfgtrack.model.action import Action
from cfgtrack.model.approval import person_named
from cfgtrack.model.configuration import Configuration
from cfgtrack.model.event import Event, effects
from cfgtrack.model.lock import Device, all_devices
from cfgtrack.model.plant import Plant
from cfgtrack.model.presence import presence_is_judged
from cfgtrack.model.quantity import as_written
from cfgtrack.model.sequence import Layout, LeftRunning, Outing, Step, expect_in_time
from cfgtrack.model.sequence import Sequence as Proposal
from cfgtrack.model.time import Instant
from cfgtrack.network.network import Network
from cfgtrack.rules.acknowledgement import Acknowledgement, acknowledged
from cfgtrack.rules.breach import words
from cfgtrack.rules.engine import Engine, Memory
from cfgtrack.rules.finding import Clock, Finding, is_in_force
from cfgtrack.rules.rule import RuleSet
from cfgtrack.rules.variance import Times, Variance, times_of
from cfgtrack.rules.world import Done


@dataclass(frozen=True, slots=True)
class CheckReport:
    """What a check found.

    `new` is what the sequence breaks; `open` was broken when it starts, is so when it ends, and isn't named as left so;
    `past` are actions of the past that broke a rule in force and that nobody has acknowledged; `left_running` the
    clocks with a deadline that it leaves running and doesn't account for. These count. `excused` is under a variance.
    Not counted either: `left_open`, which the sequence names, `mended`, which it puts right, and `older`, actions of
    the past from before their rule was in force.

    `clocks` run at the end, with likely durations, and `left_on` are the locks and tags that hang then, of a whole
    sequence. `margins` are the closest. `judged`: how many instances; `idle`: the
    rules that had none. `assumed` and `doers_assumed` name the steps whose duration, and whose doer, was assumed.
    `mixes`: with how many sets of durations it was judged; `untried`: how many more would have been needed. `unneeded`
    is what the sequence says it leaves, and doesn't; `unjudged` what the verdict says nothing about. `untraced`: of how
    many findings it wasn't tried what follows from them.
    """

    told: ClassVar[tuple[str, ...]] = ("verdict",)
    untold: ClassVar[tuple[str, ...]] = ("layout", "outings", "begun")

    title: str
    start: Instant
    end: Instant
    said_for: str
    steps: tuple[StepResult, ...]
    new: tuple[Foreseen, ...]
    open: tuple[Finding, ...]
    past: tuple[Finding, ...]
    left_running: tuple[StillRunning, ...]
    excused: tuple[Finding, ...]
    left_open: tuple[Finding, ...]
    mended: tuple[Finding, ...]
    older: tuple[Finding, ...]
    clocks: tuple[Clock, ...]
    left_on: tuple[Device, ...]
    layout: Layout
    outings: tuple[Outing, ...] = ()
    begun: Mapping[str, int] = field(default_factory=dict)
    rules: int = 0
    judged: int = 0
    idle: tuple[str, ...] = ()
    assumed: tuple[str, ...] = ()
    doers_assumed: tuple[str, ...] = ()
    margins: tuple[Margin, ...] = ()
    mixes: int = 1
    untried: int = 0
    unneeded: tuple[str, ...] = ()
    unjudged: tuple[str, ...] = ()
    untraced: int = 0

    @property
    def counted(self) -> tuple[Finding, ...]:
        """The findings that count."""
        return (*self.new, *self.open, *self.past)

    @property
    def verdict(self) -> Verdict:
        """Whether the sequence may be done: not clear outranks undecided."""
        if self.left_running or any(not finding.no_verdict for finding in self.counted):
            return Verdict.NOT_CLEAR
        if self.counted or self.untried or not self.judged:
            return Verdict.UNDECIDED
        return Verdict.CLEAR


@dataclass(frozen=True, slots=True)
class Start:
    """Where a check starts: a configuration, and the resolved events since then that the rules must know of.

    `began` is the time of the configuration; `start` when the proposal begins, not before the last event. Where the
    past was judged before: the `memory` that the rules have of it by then, what was last `done`, and what is `settled`.
    Where it begins with another plant, at the instant `began`, that was `revised` by an event.
    """

    configuration: Configuration
    history: tuple[Event, ...] = ()
    began: int = 0
    start: int = 0
    memory: Memory | None = None
    done: Done = field(default_factory=dict)
    settled: tuple[Any, ...] = ()
    revised: Event | None = None

    def now(self) -> Configuration:
        """Return the configuration after all that has happened since; what it begins with is left as it is."""
        now = self.configuration.fork()
        for event in self.history:
            now.apply(event)
        return now


def never(_rule: str) -> int | None:
    """Say of every rule that it never came into force."""
    return None


def check(
    rules: RuleSet,
    begin: Start,
    proposal: Proposal,
    *,
    variances: Sequence[Variance] = (),
    networks: Mapping[str, Network] | None = None,
    begun: Mapping[str, int] | None = None,
    acknowledgements: Sequence[Acknowledgement] = (),
    in_force: Callable[[str], int | None] = never,
    margins: int = CLOSEST,
) -> CheckReport:
    """Check a proposal from `begin`, which is left as it is. Raises Deadlock where steps wait for each other.

    `begun` tells when outings began that aren't over, `in_force` since when a rule has been. Raises TooEarly where
    an outing would start before `begin`. So many of the closest `margins` are told.
    """
    begun = begun or {}
    trial = put_on_trial(rules, begin, proposal, networks=networks, begun=begun)
    now = trial.now
    mixes = Mixes(trial, rules)
    mixes.judge_all()
    likely, over = mixes.runs[0], max(run.end for run in mixes.runs)
    new, excused = list[Foreseen](), list[Finding]()
    doers = {step.step: step.done.by for step in likely.steps}

    def doer(finding: Finding) -> str:
        by = doers.get(finding.step or "")
        return person_named(now.plant, by) if by else ""

    in_past = times_of(trial.before)
    for run, finding in _new(mixes):
        ever = partial(_in_turn, in_past, times_of(run.new))
        plain, under = covered([finding], variances, begin.start, run.end, doer, times=ever)
        new += plain
        excused += under
    still = _once(finding for run in mixes.runs for finding in run.still)
    named = [part for f in still if (part := f.only(proposal.leaves_open)) is not None]
    others = [part for f in still if (part := f.only(_codes([f]) - {*proposal.leaves_open})) is not None]
    open_, under_open = covered(others, variances, begin.start, over, times=in_past)
    actions = [f for f in trial.before if f.mode == "at"]
    past, under_past = covered(actions, variances, begin.start, over, times=in_past)
    counting = [f for f in past if is_in_force(f, in_force)]
    left, unneeded = _left_running(mixes.runs, rules, proposal)
    return CheckReport(
        title=proposal.title,
        start=begin.start,
        end=likely.end,
        said_for=IN_WRITTEN_ORDER if proposal.whole else ALONE,
        steps=likely.steps,
        new=tuple(sorted(new, key=in_order)),
        open=tuple(open_),
        past=tuple(acknowledged(counting, acknowledgements)[0]),
        left_running=tuple(left),
        excused=tuple(sorted((*excused, *under_open, *under_past), key=in_order)),
        left_open=tuple(named),
        mended=likely.mended,
        older=tuple(f for f in past if f not in counting),
        clocks=likely.clocks,
        left_on=tuple(_left_on(now, likely.steps)) if proposal.whole else (),
        layout=likely.layout,
        outings=proposal.outings,
        begun=dict(begun),
        rules=len(rules.rules),
        judged=trial.coverage.instances,
        idle=trial.coverage.idle,
        assumed=tuple(step.id for step in proposal.steps if step.assumed),
        doers_assumed=tuple(step.id for step in proposal.steps if step.doer_assumed),
        margins=tuple(mixes.margins(margins)),
        mixes=len(mixes.runs),
        untried=mixes.untried,
        unneeded=(*(n for n in proposal.leaves_open if n not in _codes(still)), *unneeded),
        unjudged=_unjudged(proposal, now.plant),
    )


def put_on_trial(
    rules: RuleSet,
    begin: Start,
    proposal: Proposal,
    *,
    networks: Mapping[str, Network] | None = None,
    begun: Mapping[str, int] | None = None,
) -> Trial:
    """Return what judges a proposal from `begin`, which is left as it is. Raises Deadlock, and TooEarly, as `check`."""
    begun = begun or {}
    expect_in_time(proposal, begin.start, begun)
    return Trial(rules, proposal, begin.now(), begin.start, begun, _Engines(rules, begin, networks).ready)


def _in_turn(past: Times, planned: Times, code: str) -> Sequence[int]:
    """Return when an instance was broken, and will be by a plan."""
    return (*past(code), *planned(code))


class _Engines:
    """Gives an engine that has judged the past, ready for what is coming: the same one, while that is ready for it."""

    def __init__(self, rules: RuleSet, begin: Start, networks: Mapping[str, Network] | None) -> None:
        self._rules, self._begin, self._networks = rules, begin, networks
        self._coming: list[Event] = []
        self._touched: set[str] = set()
        self._engine: Engine | None = None

    def ready(self, coming: Sequence[Event]) -> Engine:
        """Return the engine, made anew where what is coming writes something that it isn't ready for."""
        touched = touched_by(self._begin, coming)
        if self._engine is None or not touched <= self._touched:
            self._touched |= touched
            self._coming += coming
            self._engine = judged(self._rules, self._begin, self._networks, coming=self._coming)
        return self._engine


def _new(mixes: Mixes) -> Iterator[tuple[Run, Foreseen]]:
    """Yield what the proposal breaks: what comes with one set of durations isn't repeated for the next."""
    told: list[Finding] = []
    for run in mixes.runs:
        fresh = _not_told(told, run.new)
        told += fresh
        for finding in fresh:
            hinges_on = None if run.mix == AS_LIKELY else mixes.hinge(run, finding)
            yield run, foreseen(finding, run.mix, hinges_on)


def _not_told(told: Sequence[Finding], found: Sequence[Finding]) -> list[Finding]:
    """Return what of the findings is not told yet, instance by instance.

    One is the same where the same step broke the rule, or, of one that no longer comes, where another did: of steps
    that end at one instant only the last is named.
    """
    known, here = ({name for finding in some for name in names_of(finding)} for some in (told, found))
    spare = Counter(code for code, _ in known - here)
    fresh = []
    for finding in found:
        codes = []
        for code, event in names_of(finding):
            if (code, event) not in known and not spare[code]:
                codes.append(code)
            elif (code, event) not in known:
                spare[code] -= 1
        part = finding.only(codes)
        if part is not None:
            fresh.append(part)
    return fresh


def _once(findings: Iterable[Finding]) -> list[Finding]:
    return list({(finding.fingerprints, finding.time): finding for finding in findings}.values())


def _codes(findings: Iterable[Finding]) -> set[str]:
    return {code for finding in findings for code in finding.fingerprints}


def _left_on(now: Configuration, steps: Iterable[StepResult]) -> list[Device]:
    """Return the locks and tags that hang when all is done, whoever put them on, those that hang longest first."""
    end = now.fork()
    for step in steps:
        if isinstance(step.outcome, Event):
            end.apply(step.outcome)
    return sorted(all_devices(end), key=lambda one: one.since)


def _unjudged(proposal: Proposal, plant: Plant) -> tuple[str, ...]:
    """Return, in words, what the verdict says nothing about: the one place where that is gathered."""
    presence = () if presence_is_judged(plant) else ("presence: the plant has no sites",)
    ends = () if proposal.whole else ("what must hold at an end, and running clocks: an action ends nothing",)
    return (*presence, *ends)


def _left_running(
    runs: Iterable[Run], rules: RuleSet, proposal: Proposal
) -> tuple[list[StillRunning], list[str]]:
    """Return the clocks that are left running and count; and those that the proposal says it leaves, and doesn't."""
    outlive = {rule.id for rule in rules.rules if rule.may_outlive}
    planned = {(one.rule, one.subject): one for one in proposal.leaves_running}
    unneeded = dict(planned)
    found: dict[tuple[str, str, str | None, int], StillRunning] = {}
    for run in runs if proposal.whole else ():
        turns: Counter[tuple[str, str, str | None]] = Counter()
        for clock in run.clocks:
            unneeded.pop((clock.rule, clock.subject), None)
            is_planned = _is_met_later(clock, planned.get((clock.rule, clock.subject)), run.end)
            if clock.deadline is not None and clock.rule not in outlive and not is_planned:
                # The same clock starts at another time where the steps take other times.
                name = (clock.rule, clock.subject, clock.trigger)
                turns[name] += 1
                found.setdefault((*name, turns[name]), still_running(clock, run.mix))
    return list(found.values()), [" of ".join(filter(None, name)) for name in unneeded]


def _is_met_later(clock: Clock, planned: LeftRunning | None, end: int) -> bool:
    """Return whether a clock that still runs at the `end` is met, as is planned, by an outing that starts in time."""
    if planned is None or clock.deadline is None:
        return False
    return end <= planned.start < clock.deadline


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
    coming: Iterable[Event] | None = (),
) -> Engine:
    """Return an engine that stands where a past begins, ready for its events and for those that are `coming`.

    None: for whatever may come.
    """
    engine = Engine(
        rules,
        begin.configuration.fork(),
        start=begin.began if begin.revised is None else begin.began - 1,
        touched=None if coming is None else touched_by(begin, coming),
        networks=networks,
        prior=begin.done,
        memory=begin.memory,
    )
    engine.add_settled(begin.settled)
    if begin.revised is not None:
        # What has run out before is noted first, and nothing else happens in that microsecond.
        engine.advance(begin.began)
        engine.look_again(begin.revised)
    return engine


def touched_by(begin: Start, events: Iterable[Event]) -> set[str]:
    """Return every subject that the history or the sequence writes, and every mate that any of them had."""
    plant = begin.configuration.plant
    written = {
        e.subject for event in (*begin.history, *events) for e in effects(plant, event) if not e.aspect
    }
    mates = {begin.configuration.state(s).other for s in written if ":" in s}
    return written | {m for m in mates if m is not None}


def _values(action: Action) -> Iterator[str]:
    """Yield the values that an action says, as they were entered."""
    yield from (f"{name}={as_written(quantity)}" for name, quantity in action.values.items())


def one_step(action: Action) -> Proposal:
    """Return a proposal of a single action: it ends nothing, so it is asked nothing that must hold at an end."""
    step = Step("1", "proposal", "proposal", action, (0, 0, 0))
    return Proposal(
        title=" ".join((words(action), *_values(action))),
        outings=(Outing("proposal"),),
        steps=(step,),
        whole=False,
    )
