"""Which findings of a plan follow from another? Those that are gone when that one is cured, all else as it was.

The plan is run again to its end with the cure in it: actions done just before what could not be done, or where a rule
was broken; or its steps in another order. What has no cure that is known is not tried. Of several cures the one is
taken with which the least is wrong that was not before: what could not be done may break a rule once it can. What is
gone then followed from what was cured. Of several such the earlier ones stay cured, so what follows from the last of
them would still be there without it. Only what comes later can follow. Of each set of durations that any of the
findings is of the plan is run with that one.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field, replace
from typing import NamedTuple

from cfgtrack.analysis.course import HIGH, LIKELY, LOW, Course
from cfgtrack.analysis.reorder import Plan, Ready, changed_by
from cfgtrack.analysis.trial import BUDGET, OVERLAP, POSSIBLE, Name, impossible, names_of
from cfgtrack.analysis.verdict import ALL_HIGH, ALL_LOW, AS_LIKELY, Foreseen
from cfgtrack.model.action import Action
from cfgtrack.model.configuration import Configuration
from cfgtrack.model.event import Event
from cfgtrack.model.plant import owner_of
from cfgtrack.model.possibility import Impossible, resolve
from cfgtrack.model.sequence import Deadlock
from cfgtrack.rules.engine import Engine
from cfgtrack.rules.finding import Cure, Finding

MOST_RUNS = 8
"""So many times a plan is run again at most, to see what follows from what."""

MOST_WAYS = 2
"""So many cures of one finding are tried at most."""

_PACES = {AS_LIKELY: LIKELY, ALL_LOW: LOW, ALL_HIGH: HIGH}

Wrong = Mapping[Name, str]
"""All that is wrong with a run: each instance by its name, with its rule."""


class _Amended(NamedTuple):
    """A plan with what cures some of its findings: `before` and `after` what of it which actions are done."""

    plan: Plan
    before: Mapping[str, tuple[Action, ...]] = {}
    after: Mapping[str, tuple[Action, ...]] = {}


@dataclass(slots=True)
class Following:
    """Finds what of a plan's findings, `new`, follows from what. `ready` gives an engine that has judged the past.

    `of`: by the place of each that follows, from 0, the place of what it follows from. `untried`: of how many it isn't
    known what follows from them, as the plan would have had to be run too often.
    """

    plan: Plan
    ready: Ready
    of: dict[int, int] = field(default_factory=dict)
    untried: int = 0
    _amended: _Amended | None = None
    _runs: int = 0
    _seen: set[int] = field(default_factory=set)
    _engine: Engine | None = None
    _coming: list[Event] = field(default_factory=list)

    def look(self, new: Sequence[Foreseen]) -> None:
        """Look at those of the findings that have cures by now, and that weren't looked at."""
        self.untried = 0
        for cause, finding in enumerate(new):
            if cause in self._seen or cause in self.of or not _ways(finding) or finding.mix != AS_LIKELY:
                continue
            rest = [i for i in range(cause + 1, len(new)) if i not in self.of and _may_follow(new[i])]
            if not any(_owners(finding) & _owners(new[i]) for i in rest):
                continue
            if self._runs >= MOST_RUNS:
                self.untried += 1
                continue
            self._seen.add(cause)
            self._try(cause, new, rest)

    def _try(self, cause: int, new: Sequence[Foreseen], rest: Sequence[int]) -> None:
        """Try cures of a finding, until one takes others away with it."""
        paces = dict.fromkeys(_pace(new[i]) for i in (cause, *rest))
        before = self._amended or _Amended(self.plan)
        was = {pace: self._wrong(before, pace) for pace in paces}
        best: tuple[int, list[int], _Amended] | None = None
        for cure in _ways(new[cause]):
            amended = self._with(before, new[cause], cure)
            if amended is None or self._runs >= MOST_RUNS:
                continue
            self._runs += 1
            with suppress(Deadlock):
                wrong = {pace: self._wrong(amended, pace) for pace in paces}
                fresh = sum(len(wrong[pace].keys() - was[pace].keys()) for pace in paces)
                gone = [i for i in rest if _is_gone(new[i], was[_pace(new[i])], wrong[_pace(new[i])])]
                if len(gone) > fresh and (best is None or fresh < best[0]):
                    best = fresh, gone, amended
                if best is not None and not best[0]:
                    break
        if best is not None:
            _, gone, self._amended = best
            self.of.update(dict.fromkeys(gone, cause))

    def _with(self, amended: _Amended, finding: Finding, cure: Cure) -> _Amended | None:
        """Return a plan that has a cure as well; None for a cure that can't be put into it."""
        plan = amended.plan
        if not cure.actions:
            proposal = changed_by(plan.proposal, cure)
            return None if proposal is None else amended._replace(plan=replace(plan, proposal=proposal))
        if not cure.done:
            return None
        if finding.mode in ("at", POSSIBLE) and finding.event is not None:
            there = (*amended.before.get(finding.event, ()), *cure.done)
            return amended._replace(before={**amended.before, finding.event: there})
        outcomes = _course(amended, LIKELY).outcomes
        last = [_id(one) for one in outcomes if _time(one) <= finding.time]
        if not last:
            return None
        there = (*amended.after.get(last[-1], ()), *cure.done)
        return amended._replace(after={**amended.after, last[-1]: there})

    def _wrong(self, amended: _Amended, pace: int) -> Wrong:
        """Run a plan; return what is wrong with it."""
        course = _course(amended, pace)
        out: dict[Name, str] = {}
        for one in course.outcomes:
            if isinstance(one, Impossible):
                out.update(dict.fromkeys(names_of(impossible(one)), POSSIBLE))
        engine = self._taken(course)
        mark, noted, last = engine.mark(), engine.noted, course.last_of_instants()
        try:
            for event in course.events:
                engine.step(event)
                if last.get(event.happened) is event:
                    course.close(engine, event)
            if course.whole:
                engine.end_sequence()
            engine.settle()
            for breach in engine.breaches_since(noted).values():
                deed = None if breach.deed is None else breach.deed.id
                out[breach.instance().fingerprint, deed] = breach.rule.id
        finally:
            engine.back(mark)
        return out

    def _taken(self, course: Course) -> Engine:
        """Return an engine that is ready for a course: the same one, as long as it is."""
        events = list(course.events)
        if self._engine is None or not all(map(self._engine.world.sees, events)):
            self._coming += events
            self._engine = self.ready(self._coming)
        return self._engine


def _ways(finding: Finding) -> list[Cure]:
    """Return the cures of a finding that are worth trying: other orders of its steps first, they add nothing."""
    usable = [cure for cure in finding.cures if cure.done or not cure.actions]
    return sorted(usable, key=lambda cure: bool(cure.actions))[:MOST_WAYS]


def _may_follow(finding: Foreseen) -> bool:
    return finding.mix in _PACES and not finding.no_verdict and finding.rule not in (BUDGET, OVERLAP)


def _pace(finding: Foreseen) -> int:
    return _PACES[finding.mix]


def _is_gone(finding: Finding, was: Wrong, wrong: Wrong) -> bool:
    """Return whether no instance of a finding is left, nor has another of its rule come in its stead."""
    names = names_of(finding)
    if any(name in wrong for name in names):
        return False
    fresh = wrong.keys() - was.keys()
    return not any(event == finding.event and wrong[code, event] == finding.rule for code, event in fresh)


def _owners(finding: Finding) -> set[str]:
    """Return to what all that a finding names belongs."""
    links = (half for r in finding.reasons for link in r.links for half in link.split(" ") if ":" in half)
    names = (*finding.subjects, *(b for r in finding.reasons for b in r.beyond), *links)
    return {owner_of(name) for name in (*names, *finding.action.split(" ")[1:]) if name}


# --- a plan with a cure in it -----------------------------------------------------------------------------------------


def _id(one: Event | Impossible) -> str:
    return one.id if isinstance(one, Event) else one.action.id


def _time(one: Event | Impossible) -> int:
    return one.happened if isinstance(one, Event) else one.action.happened


def _course(amended: _Amended, pace: int) -> Course:
    """Lay a plan out, with what cures it done where it is to be done: that takes no time."""
    plan = amended.plan
    course = plan.course(pace=pace)
    if not amended.before and not amended.after:
        return course
    return replace(course, outcomes=tuple(_resolved(plan.now.fork(), amended, course)))


def _resolved(now: Configuration, amended: _Amended, course: Course) -> Iterator[Event | Impossible]:
    steps = {f"step:{step.id}": step.action for step in amended.plan.proposal.steps}
    for one in course.outcomes:
        said = one if isinstance(one, Event) else one.action
        own = [replace(steps[said.id], id=said.id, happened=said.happened)] if said.id in steps else []
        before, after = amended.before.get(said.id, ()), amended.after.get(said.id, ())
        cures = _numbered(f"cure:{said.id}", (*before, *after), said.happened)
        yield from _done(now, cures[: len(before)])
        # What has an outing as its subject is no step, and stays as it was resolved.
        yield from _done(now, own) if own else (one,)
        yield from _done(now, cures[len(before) :])


def _numbered(name: str, actions: Iterable[Action], time: int) -> list[Action]:
    return [replace(action, id=f"{name}:{i}", happened=time) for i, action in enumerate(actions)]


def _done(now: Configuration, actions: Iterable[Action]) -> Iterator[Event | Impossible]:
    for action in actions:
        outcome = resolve(now, action)
        if isinstance(outcome, Event):
            now.apply(outcome)
        yield outcome
