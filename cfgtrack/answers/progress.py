"""How the plan in force goes, and what is left of it."""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, ClassVar

from cfgtrack.answers.asking import Asking
from cfgtrack.answers.moment import Answer
from cfgtrack.answers.past import Past
from cfgtrack.answers.plan import seen_here
from cfgtrack.answers.proposing import as_run, left_of, plan_in_force
from cfgtrack.files.phrase import phrase
from cfgtrack.files.sequence_writer import sequence_text
from cfgtrack.model.plan import Revision
from cfgtrack.model.time import MINUTE, Instant, format_instant
from cfgtrack.model.trouble import NoAnswer, Problem

if TYPE_CHECKING:
    from cfgtrack.analysis.progress import Deviation, OutingRun, StepRun

WRITTEN = "# What is left of"
"""What a file that `left` wrote begins with: such a one it writes over, and no other."""


@dataclass(frozen=True, slots=True)
class StepLine:
    """A step as it was run: what was planned, what has become of it, by which event, and what isn't as planned."""

    id: str
    outing: str
    track: str
    planned: str
    state: str
    event: str | None
    at: Instant | None
    late: int | None
    deviations: tuple[Deviation, ...]


@dataclass(frozen=True, slots=True)
class ExtraLine:
    """What was done besides the plan."""

    event: str
    at: Instant
    what: str
    by: str
    outing: str


@dataclass(frozen=True, slots=True)
class Progress(Answer):
    """As it was run against as it was planned: each step, what was done besides, the outings; `late` in microseconds.

    `as_planned`: nothing was skipped, done otherwise, elsewhere, out of order, out of range or besides the plan.
    """

    told: ClassVar[tuple[str, ...]] = ("as_planned", "counts")

    revision: Revision
    steps: tuple[StepLine, ...]
    extra: tuple[ExtraLine, ...]
    outings: tuple[OutingRun, ...]
    late: int | None

    @property
    def counts(self) -> dict[str, int]:
        """How many steps are in which state."""
        from cfgtrack.analysis.progress import DONE, ELSEWHERE, LEFT, OTHERWISE, SKIPPED, THERE

        return {
            state: sum(step.state == state for step in self.steps)
            for state in (DONE, OTHERWISE, ELSEWHERE, THERE, SKIPPED, LEFT)
        }

    @property
    def as_planned(self) -> bool:
        """Whether all that was done was done as planned, whenever."""
        return not self.extra and not any(step.deviations for step in self.steps)


def progress(asking: Asking) -> Progress:
    """Return as it was run what the plan in force says. NoAnswer when there is none."""
    with asking.read() as journal:
        past = Past(journal, asking.moment(journal), strict=False)
        plan = plan_in_force(past)
        run = as_run(past, plan)
        seen_here(asking, journal, plan.revision)
        extra = (
            ExtraLine(e.event.id, e.event.happened, phrase(e.event), e.event.by or "", e.event.outing or "")
            for e in run.extra
        )
        return Progress(
            past.moment,
            plan.revision,
            tuple(map(_line, run.steps)),
            tuple(extra),
            run.outings,
            run.late,
        )


def _line(one: StepRun) -> StepLine:
    step, event = one.step, None if one.entry is None else one.entry.event
    return StepLine(
        step.id,
        step.outing,
        step.track,
        phrase(step.action),
        one.state,
        None if event is None else event.id,
        None if event is None else event.happened,
        one.late,
        one.deviations,
    )


@dataclass(frozen=True, slots=True)
class Left(Answer):
    """What is left of the plan in force, as the text of a sequence file; `file` is where it was written, if it was."""

    revision: Revision
    steps: int
    minutes: int
    text: str
    file: str | None = None


def left(asking: Asking, output: Path | None = None) -> Left:
    """Return what is left of the plan in force, and write it to a file where one is named. NoAnswer for nothing.

    Outings that have begun go on now; what one that is over left is carried over into the next.
    """
    from cfgtrack.analysis.progress import likely_length

    with asking.read() as journal:
        past = Past(journal, asking.moment(journal), strict=False)
        plan = plan_in_force(past)
        found = left_of(past, plan, as_run(past, plan))
        sequence = found.sequence
        if not sequence.steps:
            raise NoAnswer(Problem("plan", "plan-done", f"nothing is left of {plan.revision.called}"))
        seen_here(asking, journal, plan.revision)
        head = f"{WRITTEN[2:]} {plan.revision.called} at {format_instant(past.moment.at)}"
        text = sequence_text(sequence, head=(head, *found.notes))
        work = sum(
            likely_length(sequence, [s for s in sequence.steps if s.outing == outing.id])
            for outing in sequence.outings
        )
    if output is not None:
        with asking.written(output, earlier=re.compile(re.escape(WRITTEN).encode())) as part:
            part.write_text(text, encoding="utf-8")
    minutes = round(work / MINUTE)
    return Left(
        past.moment,
        plan.revision,
        len(sequence.steps),
        minutes,
        text,
        None if output is None else str(output),
        notes=found.notes,
    )
