"""May the work stop, after each step of a sequence and now; and what is the way out?"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass, field
from pathlib import Path
from typing import ClassVar

from cfgtrack.analysis import stops as analysis
from cfgtrack.analysis.failures import FailureReport, Question
from cfgtrack.analysis.failures import failures as analyse
from cfgtrack.analysis.leaving import May
from cfgtrack.analysis.stops import StopPoint, StopReport
from cfgtrack.answers.asking import Asking
from cfgtrack.answers.moment import Answer
from cfgtrack.answers.past import Past, rules_to_judge_by
from cfgtrack.answers.proposing import Proposed, proposed, telling_new_starts
from cfgtrack.files.failures import ways_of_failing
from cfgtrack.model.defect import Defect, all_defects
from cfgtrack.model.sequence import Sequence as Proposal
from cfgtrack.model.trouble import NoAnswer
from cfgtrack.model.unknown import find
from cfgtrack.rules.finding import Finding

Tell = Callable[[int, int], object]
"""What is told how far a long question has come: so many done, of so many."""


def _nobody(_done: int, _of: int) -> None:
    """Tell nobody how far it is."""


@dataclass(frozen=True, slots=True)
class Stops(Answer):
    """The stop points of a sequence. `defects`: all that stand, which no rule need ask about.

    `past`: what broke a rule of the moment of an action, and nobody has acknowledged.
    """

    untold: ClassVar[tuple[str, ...]] = (*Answer.untold, "past")

    stops: StopReport
    defects: tuple[Defect, ...] = field(default=(), kw_only=True)
    past: tuple[Finding, ...] = field(default=(), kw_only=True)


def stops(
    asking: Asking, sequence: Path | None = None, *, rules: Sequence[Path] = (), tell: Tell = _nobody
) -> Stops:
    """Return the stop points of a sequence file, else of what is left of the plan in force.

    Judged by the rules in files, else by those kept.
    """
    with asking.read() as journal:
        past = Past(journal, asking.moment(journal))
        chosen = rules_to_judge_by(past, rules)
        plan = proposed(past, sequence)
        with telling_new_starts(plan.sequence):
            report = analysis.stop_points(
                chosen,
                past.start_for(chosen),
                plan.sequence,
                variances=past.variances,
                networks=past.networks,
                begun=past.begun,
                recorded=past.start,
                tell=tell,
            )
        defects = tuple(all_defects(past.configuration))
        return Stops(
            past.moment, report, defects=defects, past=tuple(past.unacknowledged()), notes=plan.notes
        )


def expect_step(found: Stops, step: str | None) -> None:
    """Raise NoAnswer, with near names, where a step is named after which there is no stop point."""
    if step is not None:
        find("step", step, {point.step: point for point in found.stops.points if point.step is not None})


@dataclass(frozen=True, slots=True)
class Leave(Answer):
    """Whether the work may stop now. `plan`: whether a plan is in force, of which it is known what comes next.

    The rules judge what is recorded: where a missing thing was last, what a leaking port is joined to. That it is
    missing or leaks, `defects` say: all that stand. `past`: what broke a rule of the moment of an action, and nobody
    has acknowledged.
    """

    untold: ClassVar[tuple[str, ...]] = (*Answer.untold, "past")

    leave: StopPoint
    plan: bool
    defects: tuple[Defect, ...] = field(default=(), kw_only=True)
    past: tuple[Finding, ...] = field(default=(), kw_only=True)

    @property
    def is_no(self) -> bool:
        """Whether the work may not stop, even with everybody in."""
        return self.leave.may is May.NO


def leave(asking: Asking, *, rules: Sequence[Path] = ()) -> Leave:
    """Return whether the work may stop as things are recorded to be, and the way to where it may."""
    with asking.read() as journal:
        past = Past(journal, asking.moment(journal))
        chosen = rules_to_judge_by(past, rules)
        try:
            plan, known = proposed(past, None), True
        except NoAnswer:
            plan, known = Proposed(Proposal()), False
        point = analysis.stop_now(
            chosen,
            past.start_for(chosen),
            plan.sequence,
            variances=past.variances,
            networks=past.networks,
            begun=past.begun,
            recorded=past.start,
        )
        defects = tuple(all_defects(past.configuration))
        return Leave(
            past.moment, point, known, defects=defects, past=tuple(past.unacknowledged()), notes=plan.notes
        )


@dataclass(frozen=True, slots=True)
class Failures(Answer):
    """What becomes of it when the steps of a sequence fail."""

    failures: FailureReport


def failures(
    asking: Asking,
    sequence: Path | None = None,
    step: str | None = None,
    *,
    rules: Sequence[Path] = (),
    failing: Sequence[Path] = (),
    executor: Executor | None = None,
    parts: int = 1,
    tell: Tell = _nobody,
) -> Failures:
    """Return what becomes of it when the steps of a sequence fail, or one `step`, in each way in which they can.

    Of a sequence file, else of what is left of the plan in force. Ways of failing are those shipped, and those of
    `failing` files. With an executor the steps are asked about in so many `parts`. NoAnswer for no such step.
    """
    with asking.read() as journal:
        past = Past(journal, asking.moment(journal))
        chosen = rules_to_judge_by(past, rules)
        plan = proposed(past, sequence)
        if step is not None:
            find("step", step, {one.id: one for one in plan.sequence.steps})
        question = Question(
            chosen,
            past.start_for(chosen),
            plan.sequence,
            ways_of_failing(failing),
            tuple(past.variances),
            past.begun,
            past.start,
            step,
        )
        with telling_new_starts(plan.sequence):
            report = analyse(question, networks=past.networks, executor=executor, parts=parts, tell=tell)
        return Failures(past.moment, report, notes=plan.notes)
