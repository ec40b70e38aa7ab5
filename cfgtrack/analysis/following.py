"""Which findings of a plan follow from another, and which cures hold to its end? The plan is run again with a cure.

A cure is put into the written plan: another order of its steps, or actions as steps of their own that take no time,
just before the step that breaks a rule or can't be done (what time alone breaks: after the last step before its time).
It holds to the plan's end where its finding is gone and nothing is wrong that was not before: no instance of a rule,
no clock left running, no outing too long; with likely durations, all low and all high ones. What else is gone with that
one cure follows from what it cures; only what comes later can. A cure with which anything new is wrong takes nothing
with it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field, replace

from cfgtrack.analysis.course import HIGH, LIKELY, LOW, Course, done_by
from cfgtrack.analysis.reorder import Plan, Ready, changed_by
from cfgtrack.analysis.trial import BUDGET, OVERLAP, POSSIBLE, Name, impossible, names_of
from cfgtrack.analysis.verdict import ALL_HIGH, ALL_LOW, AS_LIKELY, Foreseen
from cfgtrack.model.event import Event
from cfgtrack.model.plant import owner_of
from cfgtrack.model.possibility import Impossible
from cfgtrack.model.sequence import Deadlock, Step
from cfgtrack.rules.engine import Engine
from cfgtrack.rules.finding import Cure, Finding

MOST_RUNS = 24
"""So many times a cure is put into a plan at most, to see what follows from what."""

MOST_WAYS = 3
"""So many cures of one finding are tried at most."""

_PACES = {AS_LIKELY: LIKELY, ALL_LOW: LOW, ALL_HIGH: HIGH}

_LEFT = "left running"

Wrong = Mapping[Name, str]
"""All that is wrong with a run: each instance by its name, with its rule."""


@dataclass(slots=True)
class Following:
    """Finds what of a plan's findings, `new`, follows from what. `ready` gives an engine that has judged the past.

    `of`: by the place of each that follows, from 0, the place of what it follows from. `cures`: by the place of each
    that has some, its cures, the one first that takes others with it, or that holds to the end of the plan. `untried`:
    of how many it isn't known what follows from them, as the plan would have had to be run too often.
    """

    plan: Plan
    ready: Ready
    of: dict[int, int] = field(default_factory=dict)
    cures: dict[int, tuple[Cure, ...]] = field(default_factory=dict)
    untried: int = 0
    _runs: int = 0
    _seen: set[int] = field(default_factory=set)
    _engine: Engine | None = None
    _coming: list[Event] = field(default_factory=list)
    _was: dict[int, Wrong] = field(default_factory=dict)

    def look(self, new: Sequence[Foreseen]) -> None:
        """Look at those of the findings that have cures by now, and that weren't looked at."""
        self.untried = 0
        for cause, finding in enumerate(new):
            if cause in self._seen or cause in self.of or not finding.cures or finding.mix != AS_LIKELY:
                continue
            rest = [i for i in range(cause + 1, len(new)) if i not in self.of and _may_follow(new[i])]
            may_follow = any(_owners(finding) & _owners(new[i]) for i in rest)
            if self._runs >= MOST_RUNS:
                self.untried += may_follow
            else:
                self._seen.add(cause)
                self._try(cause, new, rest if may_follow else [])

    def _try(self, cause: int, new: Sequence[Foreseen], rest: Sequence[int]) -> None:
        """Try cures of a finding, until one takes others away with it; else until one holds to the end."""
        best: tuple[list[int], Cure] | None = None
        bad = list[Cure]()
        ways = _ways(new[cause])
        for cure in ways:
            if not rest and not cure.actions:  # another order was tried to the end when it was found
                best = best or ([], cure)
                break
            found = self._put_in(new[cause], cure)
            if found is None or self._runs >= MOST_RUNS:
                continue
            plan, where = found
            self._runs += 1
            wrong = self._harmless(plan, new[cause])
            if wrong is None:
                bad.append(cure)
                continue
            gone = [i for i in rest if _is_gone(new[i], self._before(_pace(new[i])), wrong[_pace(new[i])])]
            if best is None or (gone and not best[0]):
                best = gone, replace(cure, at=where)
            if gone or not rest:
                break
        first = [] if best is None else [best[1]]
        others = [cure for cure in new[cause].cures if cure not in (*first, *bad)]
        told = (*first, *others, *(cure for cure in new[cause].cures if cure in bad))
        is_long = len(self.plan.proposal.steps) > 1
        self.cures[cause] = tuple(
            replace(cure, momentary=is_long and bool(cure.actions) and not cure.at) for cure in told
        )
        if best is not None:
            self.of.update(dict.fromkeys(best[0], cause))

    def _put_in(self, finding: Finding, cure: Cure) -> tuple[Plan, str] | None:
        """Return the plan with a cure in it, and where it is done; None for a cure that can't be put into it."""
        proposal = self.plan.proposal
        if not cure.actions:
            changed = changed_by(proposal, cure)
            return None if changed is None else (replace(self.plan, proposal=changed), "")
        if not cure.done:
            return None
        steps = {step.id: step for step in proposal.steps}
        mine = None if finding.time > finding.since else steps.get(finding.step or "")
        where = "before"
        if mine is None:
            outcomes = self.plan.course().outcomes
            said = [done for done in map(done_by, outcomes) if done.happened <= finding.time]
            ids = [done.id.removeprefix("step:") for done in said]
            mine = next((steps[one] for one in reversed(ids) if one in steps), None)
            where = "after"
        if mine is None:
            return None
        is_after = where == "after"
        own = [
            Step(f"cure {n}", mine.outing, mine.track, action, (0, 0, 0), () if is_after else mine.after)
            for n, action in enumerate(cure.done, 1)
        ]
        at = proposal.steps.index(mine) + is_after
        amended = (*proposal.steps[:at], *own, *proposal.steps[at:])
        return replace(self.plan, proposal=replace(proposal, steps=amended)), f"{where} step {mine.id}"

    def _harmless(self, plan: Plan, cause: Finding) -> dict[int, Wrong] | None:
        """Return what is wrong with a plan at each pace; None where what was to be cured is, or anything new."""
        out: dict[int, Wrong] = {}
        with suppress(Deadlock):
            for pace in (LIKELY, LOW, HIGH):
                was = self._before(pace)
                wrong = out[pace] = self._wrong(plan, pace)
                barred = {event for (_, event), rule in was.items() if rule == POSSIBLE}
                fresh = (
                    name for name in wrong if name not in was and not _is_known(name, wrong[name], barred)
                )
                if next(fresh, None) is not None or not _is_gone(cause, was, wrong):
                    return None
            return out
        return None

    def _before(self, pace: int) -> Wrong:
        """Return what is wrong with the plan as it is written."""
        if pace not in self._was:
            self._was[pace] = self._wrong(self.plan, pace)
        return self._was[pace]

    def _wrong(self, plan: Plan, pace: int) -> Wrong:
        """Run a plan; return what is wrong with it."""
        course = plan.course(pace=pace)
        out: dict[Name, str] = {(outing, None): BUDGET for outing in course.too_long}
        for one in course.outcomes:
            if isinstance(one, Impossible):
                out.update(dict.fromkeys(names_of(impossible(one)), POSSIBLE))
        engine = self._taken(course)
        mark, noted = engine.mark(), engine.noted
        try:
            for _ in course.run(engine):
                pass
            for breach in engine.breaches_since(noted).values():
                deed = None if breach.deed is None else breach.deed.id
                out[breach.instance().fingerprint, deed] = breach.rule.id
            for clock in engine.clocks() if course.whole else ():
                if clock.deadline is not None:
                    out[f"{clock.rule} {clock.subject}", _LEFT] = clock.rule
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
    """Return the cures of a finding that are worth trying, as they come: other orders of its steps first."""
    return [cure for cure in finding.cures if cure.done or not cure.actions][:MOST_WAYS]


def _is_known(name: Name, rule: str, barred: set[str | None]) -> bool:
    """Return whether something wrong is but a step that could not be done before either, for other reasons."""
    return rule == POSSIBLE and name[1] in barred


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
