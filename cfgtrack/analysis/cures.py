"""What would cure a finding? Single actions, several that are needed together, another order of steps: each is tried.

An action is tried at the moment of the breach: it must be possible there, end the finding for all its items, and break
nothing then. Of what breaks a rule as it is done, and of what can't be done at all, the action is tried just before it,
and then that again. Another order is tried through the end of the sequence, laid out afresh.

Conditions propose what they lack; where nothing of that cures alone, whatever may be done near by is tried, then what
is proposed in pairs and more. It is looked for where findings are shown, for a few of them.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import TypeVar

from cfgtrack.analysis.attempt import AtBreach, BeforeStep, Case, Moment
from cfgtrack.analysis.course import Course, done_by
from cfgtrack.analysis.reorder import Plan, Ready, reorder
from cfgtrack.model.action import LIFT, Action
from cfgtrack.model.event import Event
from cfgtrack.model.plant import Plant, owner_of
from cfgtrack.rules.breach import Breach
from cfgtrack.rules.engine import Engine
from cfgtrack.rules.finding import Cure, Finding

Found = TypeVar("Found", bound=Finding)

MOST_FINDINGS = 10
"""For so many findings, the worst, cures are looked for."""


def cured(
    findings: Sequence[Found], ready: Ready, course: Course | None = None, plan: Plan | None = None
) -> list[Found]:
    """Return findings with what would cure the worst of them.

    `ready` gives the engine, which is left as it was. Without `course` or `plan` the findings are of where the engine
    is; else of what is to come as well, and with a plan other orders of its steps are tried, too.
    """
    if plan is not None:
        course = plan.course()
    course = course or Course()
    ranked = sorted(range(len(findings)), key=lambda i: findings[i].severity)
    chosen = [i for i in ranked if not findings[i].no_verdict and not findings[i].variance][:MOST_FINDINGS]
    cases = [Case(findings[i]) for i in chosen]
    if not cases:
        return list(findings)
    events = tuple(course.events)
    engine = ready(events)
    plant = engine.world.plant
    for moment in _moments(engine, course, cases):
        moment.gather()
    coming = [event for case in cases for event in case.coming]
    for moment in _moments(ready((*events, *coming)), course, cases):
        moment.seek()
    if plan is not None:
        reorder(cases, ready, plan)
    out = list(findings)
    for i, case in zip(chosen, cases, strict=True):
        cures, tried = case.told()
        out[i] = replace(out[i], cures=_likely_first(cures, plant), tried=tried)
    return out


def _likely_first(cures: Sequence[Cure], plant: Plant) -> tuple[Cure, ...]:
    """Return cures in the order in which they are told: other orders of steps first, they were tried to the end.

    Last comes what nobody would do: to lift a machine or a person as a load.
    """

    def rank(cure: Cure) -> tuple[bool, bool]:
        odd = any(one.action == LIFT and any(_is_doer(plant, s) for s in one.subjects) for one in cure.done)
        return odd, bool(cure.actions)

    return tuple(sorted(cures, key=rank))


def _is_doer(plant: Plant, subject: str) -> bool:
    return plant.is_mobile(owner_of(subject)) and ":" not in subject


def _moments(engine: Engine, course: Course, cases: Sequence[Case]) -> Iterator[Moment]:
    """Run what is to come; yield each finding at its moment, with the engine there, to be left as it is."""
    mark = engine.mark()
    try:
        yield from _run(engine, course, cases)
    finally:
        engine.back(mark)


def _run(engine: Engine, course: Course, cases: Sequence[Case]) -> Iterator[Moment]:
    waiting = _Waiting(engine, cases)
    yield from waiting.met(engine.open_breaches())
    last = course.last_of_instants()
    for outcome in course.outcomes:
        done = done_by(outcome)
        if done.happened > engine.world.now:
            engine.settle()
            yield from waiting.met_now()
            for time in waiting.times_before(done.happened):
                engine.advance(time + 1)
                yield from waiting.met_now()
            engine.advance(done.happened)
        yield from waiting.met_by(done)
        if isinstance(outcome, Event):
            engine.step(outcome)
            if last.get(outcome.happened) is outcome:
                course.close(engine, outcome)
    if course.whole:
        engine.end_sequence()
    engine.settle()
    yield from waiting.met_now()


class _Waiting:
    """Knows which findings have not come yet, and by what each is known when it comes."""

    def __init__(self, engine: Engine, cases: Sequence[Case]) -> None:
        self._engine = engine
        self._noted = engine.noted
        self._steps = {c.finding.event: list[Case]() for c in cases if c.is_of_step}
        self._cases: dict[tuple[str, int], Case] = {}
        self._numbers: dict[int, dict[int, Breach]] = {}
        for case in cases:
            if case.is_of_step:
                self._steps[case.finding.event].append(case)
            else:
                self._numbers[id(case)] = {}
                for code in case.finding.fingerprints:
                    self._cases[code, case.finding.time] = case

    def times_before(self, time: int) -> list[int]:
        """Return when those come that time alone brings, before `time`."""
        return sorted({when for _, when in self._cases if self._engine.world.now <= when < time})

    def met_now(self) -> Iterator[Moment]:
        """Yield what the breaches noted since the last time are."""
        noted, self._noted = self._noted, self._engine.noted
        return self.met(self._engine.breaches_since(noted))

    def met(self, breaches: dict[int, Breach]) -> Iterator[Moment]:
        """Yield the findings of which these are the last breaches that were waited for."""
        full: list[Case] = []
        for number, breach in breaches.items() if self._cases else ():
            key = (breach.instance().fingerprint, breach.time)
            case = self._cases.get(key)
            if case is not None:
                numbers = self._numbers[id(case)]
                numbers[number] = breach
                if len(numbers) == len(case.finding.instances):
                    full.append(case)
        for case in full:
            for code in case.finding.fingerprints:
                self._cases.pop((code, case.finding.time), None)
            yield AtBreach(self._engine, case, self._numbers[id(case)])

    def met_by(self, done: Action) -> Iterator[Moment]:
        """Yield the findings that are about what is done now: it is still to come."""
        for case in self._steps.get(done.id, ()):
            yield BeforeStep(self._engine, case, done)
