"""What is left of a plan, as a sequence from a moment on.

What an outing left over that has ended is carried into the next one. An outing that has begun goes on now; one
that should have begun by now begins now, or after the one before it; each of that is told.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass, replace

from cfgtrack.analysis.progress import NOT_YET, OVER, UNDER_WAY, OutingRun, Run
from cfgtrack.model.sequence import Outing, Sequence, Step
from cfgtrack.model.time import MINUTE, format_duration, format_instant


@dataclass(frozen=True, slots=True)
class Remainder:
    """What is left, and how it differs from what was planned."""

    sequence: Sequence
    notes: tuple[str, ...] = ()


def what_is_left(plan: Sequence, run: Run, at: int, *, begun: Collection[str], where: str = "") -> Remainder:
    """Return what is left of a plan. `begun`: the outings that are recorded to have begun, and not to be over."""
    notes: list[str] = []
    runs = {one.id: one for one in run.outings}
    carried = _carried_over(plan, run, notes)
    left = {step.id for step in run.left}
    outings = [_left_of(outing, runs[outing.id], at, begun, notes) for outing in plan.outings]
    steps: list[Step] = []
    for outing in plan.outings:
        own = [step for step in run.left if carried.get(step.outing, step.outing) == outing.id]
        # What is carried over comes first: it was to be done before.
        own.sort(key=lambda step: step.outing == outing.id)
        steps += [_waiting(step, outing.id, left) for step in own]
    used = {step.outing for step in steps}
    return Remainder(
        replace(
            plan,
            outings=tuple(one for one in outings if one.id in used),
            steps=tuple(steps),
            where=where or plan.where,
        ),
        tuple(notes),
    )


def _waiting(step: Step, outing: str, left: set[str]) -> Step:
    """Return a step that is left, in an outing, waiting for what is left alone."""
    after = tuple(name for name in step.after if name in left)
    return replace(step, outing=outing, after=after, action=replace(step.action, outing=outing))


def _carried_over(plan: Sequence, run: Run, notes: list[str]) -> dict[str, str]:
    """Return into which outing what another one left over is carried."""
    runs = {one.id: one for one in run.outings}
    names = [outing.id for outing in plan.outings]
    begun = [i for i, name in enumerate(names) if runs[name].state != NOT_YET]
    found: dict[str, str] = {}
    for i, name in enumerate(names):
        here = sum(step.outing == name for step in run.left)
        is_past = runs[name].state == OVER or (runs[name].state == NOT_YET and any(j > i for j in begun))
        if not here or not is_past:
            continue
        after = [n for n in names[i + 1 :] if runs[n].state in (UNDER_WAY, NOT_YET)]
        what = f"note: {name} has ended" if runs[name].state == OVER else f"note: {name} never began"
        steps = f"{here} step{'s' if here > 1 else ''} of it {'are' if here > 1 else 'is'} left"
        if after:
            found[name] = after[0]
            notes.append(f"{what}, and {steps}: carried into {after[0]}")
        else:
            notes.append(f"{what}, and {steps}: taken to go on now, as no later outing is planned")
    return found


def _left_of(outing: Outing, run: OutingRun, at: int, begun: Collection[str], notes: list[str]) -> Outing:
    """Return an outing as it goes on from a moment, noting what of it isn't as it was planned."""
    if run.over == run.steps:
        return outing
    if run.state == UNDER_WAY:
        spare = run.spare
        if spare is not None and spare < 0:
            notes.append(
                f"note: {outing.id} has gone on for {_minutes(run.used)} of {_minutes(run.budget or 0)}, and"
                f" {_minutes(run.work)} of work are left: {_minutes(-spare)} too much"
            )
        if outing.id in begun or outing.budget is None:
            return replace(outing, start=None)
        notes.append(
            f"note: {outing.id} isn't recorded to have begun: its budget counts from its first step that is done,"
            f" {_minutes(run.used)} ago"
        )
        return replace(outing, start=None, budget=max(outing.budget - run.used, 0))
    if run.state == NOT_YET and outing.start is not None and outing.start < at:
        late = _minutes(at - outing.start)
        notes.append(
            f"note: {outing.id} was to begin at {format_instant(outing.start)}, {late} ago, and isn't recorded to have"
            " begun: taken to begin now, or after the one before it"
        )
        return replace(outing, start=None)
    return outing if run.state == NOT_YET else replace(outing, start=None)


def _minutes(span: int) -> str:
    return format_duration(round(span / MINUTE) * MINUTE)
