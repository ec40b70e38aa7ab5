"""A way as a sequence: whose track each step is on, and what it waits for."""

from __future__ import annotations

from dataclasses import dataclass, replace

from cfgtrack.analysis.goal import TIME, Goal
from cfgtrack.analysis.relaxed import Deed
from cfgtrack.analysis.way import OUTING, Way
from cfgtrack.model.sequence import Outing, Sequence, Step

TRACK = "WORK"
"""The track of what nobody in particular does."""


def as_sequence(way: Way, goal: Goal, start: int) -> Sequence:
    """Return a way as a sequence that starts at a time.

    By steps they come one after another, whoever does them. By time each is done by who is free first, of those that
    may do it from anywhere, and waits only for what it needs or would undo.
    """
    steps: list[Step] = []
    for number, move in enumerate(way.found.way or ()):
        action = replace(way.grounding.actions[move], outing=OUTING)
        takes = goal.takes.span(way.grounding.plant, action)
        steps.append(Step(f"W-{number + 1:02d}", OUTING, action.by or TRACK, action, takes))
    return Sequence(
        goal.title or "A way to " + ", ".join(want.words() for want in goal.wants[:3]),
        (Outing(OUTING, start),),
        tuple(_waiting(way, steps, goal)),
    )


@dataclass(slots=True)
class _Worker:
    name: str
    free: int = 0
    last: str = ""


def _waiting(way: Way, steps: list[Step], goal: Goal) -> list[Step]:
    if goal.least != TIME:
        return [
            step if not n or steps[n - 1].track == step.track else replace(step, after=(steps[n - 1].id,))
            for n, step in enumerate(steps)
        ]
    assert way.found.way is not None
    deeds = [way.grounding.picture.deeds[move] for move in way.found.way]
    may_choose = not way.grounding.plant.has_sites and len(goal.workers) > 1
    workers = {
        name: _Worker(name) for name in (goal.workers if may_choose else {step.track: None for step in steps})
    }
    ends: list[int] = []
    out: list[Step] = []
    for n, step in enumerate(steps):
        before = [m for m in range(n) if _depends(deeds[n], deeds[m])]
        ready = max((ends[m] for m in before), default=0)
        worker = (
            min(workers.values(), key=lambda one: (max(one.free, ready), -one.free))
            if may_choose
            else workers[step.track]
        )
        end = max(ready, worker.free) + step.takes[1]
        waits = [m for m in before if out[m].track != worker.name]
        # What is waited for by way of another wait need not be named.
        named = [m for m in waits if not any(_depends(deeds[k], deeds[m]) for k in before if k > m)]
        action = replace(step.action, by=worker.name) if may_choose else step.action
        out.append(replace(step, track=worker.name, action=action, after=tuple(steps[m].id for m in named)))
        ends.append(end)
        worker.free = end
    return out


def _depends(later: Deed, earlier: Deed) -> bool:
    """Return whether two deeds can't change places: one writes what the other writes or needs."""
    return not (
        later.writes.isdisjoint(_reads(earlier) | earlier.writes) and earlier.writes.isdisjoint(_reads(later))
    )


def _reads(deed: Deed) -> set[str]:
    return {subject for clause in deed.needs for subject, _ in clause}
