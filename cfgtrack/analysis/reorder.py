"""Another order of the steps that would cure a finding: one done earlier, or waiting for another. Tried to the end."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field, replace

from cfgtrack.analysis.attempt import Case
from cfgtrack.analysis.course import HIGH, LIKELY, LOW, Course, course_of
from cfgtrack.model.configuration import Configuration
from cfgtrack.model.event import Event
from cfgtrack.model.plant import owner_of
from cfgtrack.model.sequence import Deadlock, Step
from cfgtrack.model.sequence import Sequence as Proposed
from cfgtrack.rules.engine import Engine
from cfgtrack.rules.finding import Cure

MOST_REORDERS = 12
"""So many other orders of the steps are tried for a finding."""

_NEAR_BY = 2

Ready = Callable[[Iterable[Event]], Engine]
"""What gives an engine that has judged the past, ready for events that may come."""


@dataclass(frozen=True, slots=True)
class Plan:
    """A proposed sequence, from where it starts: the configuration `now`, at `start`; `begun` is when outings began."""

    proposal: Proposed
    now: Configuration
    start: int
    begun: Mapping[str, int] = field(default_factory=dict)

    def course(self, *, pace: int = LIKELY) -> Course:
        """Return it laid out. Raises Deadlock."""
        return course_of(self.now, self.proposal, self.start, self.begun, pace=pace)


def reorder(cases: Sequence[Case], ready: Ready, plan: Plan) -> None:
    """Try other orders of the steps for each finding by a step.

    The sequence so changed must be possible to its end, without the finding and without any other that it had not
    before: with likely durations, with all low and with all high ones.
    """
    course, several = plan.course(), list[tuple[Case, Cure, Plan, Course]]()
    for case in cases:
        changes = [] if case.is_full or case.finding.step is None else _changes(plan.proposal, course, case)
        case.candidates += len(changes)
        for cure, proposal in changes[:MOST_REORDERS]:
            case.tried += 1
            changed = replace(plan, proposal=proposal)
            with suppress(Deadlock):
                several.append((case, cure, changed, changed.course()))
    if several:
        engine = ready([*course.events, *(event for *_, other in several for event in other.events)])
        trials = {pace: _Trial(engine, plan.course(pace=pace)) for pace in (LIKELY, LOW, HIGH)}
        for case, cure, changed, other in several:
            if not case.is_full and trials[LIKELY].is_cured(case, other):
                paces = (trials[pace].is_cured(case, changed.course(pace=pace)) for pace in (LOW, HIGH))
                if all(paces):
                    case.met = True
                    case.cures.append(cure)


class _Trial:
    """The sequence as it stands, at one pace, to compare with."""

    def __init__(self, engine: Engine, course: Course) -> None:
        self._engine, self._course = engine, course
        self._broken = self._breaks(course) or Counter[str]()

    def is_cured(self, case: Case, other: Course) -> bool:
        """Return whether in another course a finding, if it is in this one, is no more, and nothing else is new."""
        finding, refused = case.finding, other.refused
        if refused - self._course.refused or other.too_long - self._course.too_long:
            return False
        if finding.mode == "possible":
            return finding.event not in refused and self._breaks(other, self._broken) is not None
        return self._breaks(other, self._broken - Counter(finding.fingerprints)) is not None

    def _breaks(self, course: Course, most: Counter[str] | None = None) -> Counter[str] | None:
        """Return how often each thing is broken; None as soon as one is so more often than at `most`."""
        engine, found = self._engine, Counter[str]()
        if not all(map(engine.world.sees, course.events)):
            return None
        mark = engine.mark()
        try:
            for codes in _codes(engine, course):
                found.update(codes)
                if most is not None and any(found[code] > most[code] for code in codes):
                    return None
        finally:
            engine.back(mark)
        return found


def _codes(engine: Engine, course: Course) -> Iterator[list[str]]:
    """Run a course; yield the fingerprints of what each event breaks, and what its end does."""
    noted = engine.noted
    for _ in course.run(engine):
        yield [breach.instance().fingerprint for breach in engine.breaches_since(noted).values()]
        noted = engine.noted


# --- which orders -----------------------------------------------------------------------------------------------------


def _changes(proposal: Proposed, course: Course, case: Case) -> list[tuple[Cure, Proposed]]:
    """Return the other orders that might help, likely ones first, each in words and as a sequence.

    Steps are taken that have to do with what a finding is about, or with what was proposed against it. Of two
    of one track the later is done just before the other; of two tracks the earlier waits for the other.
    """
    turn = {said: number for number, said in enumerate(course.ids)}
    outings = {outing.id: number for number, outing in enumerate(proposal.outings)}
    mine = next(step for step in proposal.steps if step.id == case.finding.step)
    out: list[tuple[tuple[int, int], Cure, Proposed]] = []
    for other in proposal.steps:
        apart = turn[f"step:{other.id}"] - turn[f"step:{mine.id}"]
        first, then = (other, mine) if apart > 0 else (mine, other)
        rank = (_kinship(case, other), abs(apart))
        if rank[0] > _NEAR_BY:
            continue
        if first.track == then.track and first is not then:
            out.append((rank, Cure(step=first.id, before=then.id), _moved(proposal, first, then)))
        elif outings[first.outing] == outings[then.outing] and first is not then:
            out.append((rank, Cure(step=then.id, waits_for=first.id), _waiting(proposal, then, first)))
    return [(cure, changed) for _, cure, changed in sorted(out, key=lambda one: one[0])]


def changed_by(proposal: Proposed, cure: Cure) -> Proposed | None:
    """Return a sequence with its steps in the order that a cure says; None for a cure that says none."""
    steps = {step.id: step for step in proposal.steps}
    if cure.step is None:
        return None
    if cure.before is not None:
        return _moved(proposal, steps[cure.step], steps[cure.before])
    return None if cure.waits_for is None else _waiting(proposal, steps[cure.step], steps[cure.waits_for])


def _kinship(case: Case, step: Step) -> int:
    """Return how far a step is from what a finding lacks: 0 if it does just that, else where it is done."""
    done, wanted = step.action, [one.action for one in case.proposed]
    if any(one.action == done.action and {*one.subjects} & {*done.subjects} for one in wanted):
        return 0
    named = {*case.finding.subjects, *(b for r in case.finding.reasons for b in (*r.beyond, *r.links))}
    named.update(subject for one in wanted for subject in one.subjects)
    if named & {*done.subjects}:
        return 1
    near = {owner_of(name) for name in named} & {owner_of(subject) for subject in done.subjects}
    return _NEAR_BY if near else _NEAR_BY + 1


def _moved(proposal: Proposed, step: Step, before: Step) -> Proposed:
    """Return a sequence with one step done just before another of its track."""
    steps = [one for one in proposal.steps if one is not step]
    steps.insert(steps.index(before), replace(step, outing=before.outing))
    return replace(proposal, steps=tuple(steps))


def _waiting(proposal: Proposed, step: Step, after: Step) -> Proposed:
    """Return a sequence with one step waiting for another."""
    waits = replace(step, after=(*step.after, after.id))
    return replace(proposal, steps=tuple(waits if one is step else one for one in proposal.steps))
