"""The past as it would be after a step of a plan, for questions about what is foreseen: nothing of it is recorded."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING

from cfgtrack.answers.past import Past
from cfgtrack.model.event import Event
from cfgtrack.model.time import format_instant
from cfgtrack.model.trouble import NoAnswer, Problem, Refused
from cfgtrack.model.unknown import UNKNOWN, no_such
from cfgtrack.rules.finding import Clock
from cfgtrack.rules.rule import RuleSet

if TYPE_CHECKING:
    from cfgtrack.analysis.check import Start
    from cfgtrack.analysis.progress import Run
    from cfgtrack.answers.proposing import InForce
    from cfgtrack.rules.engine import Engine


@dataclass(frozen=True, slots=True)
class AfterStep:
    """That a question is about what is foreseen after a `step`: of a sequence in a file, else of the plan in force."""

    step: str
    file: Path | None = None


def foreseen(past: Past, meant: AfterStep | None) -> Past:
    """Return the past as it would be after a step, by what is recorded and all that comes before that step.

    The same past where no step is meant. NoAnswer for no such step, or one that is over; Refused where something that
    comes before it can't be done.
    """
    if meant is None:
        return past
    from cfgtrack.analysis.after import CannotFollow, after
    from cfgtrack.answers.proposing import as_run, left_of, plan_in_force, telling_new_starts
    from cfgtrack.files.sequence import read_sequence

    if meant.file is not None:
        sequence, of = read_sequence(meant.file, past.plant), str(meant.file)
    else:
        plan = plan_in_force(past)
        run = as_run(past, plan)
        _expect_ahead(plan, run, meant.step)
        sequence, of = left_of(past, plan, run).sequence, plan.revision.called
    names = [step.id for step in sequence.steps]
    if meant.step not in names:
        raise NoAnswer(Problem("--after", UNKNOWN, no_such("step", meant.step, names)))
    try:
        with telling_new_starts(sequence):
            found = after(past.configuration, sequence, meant.step, past.moment.at, begun=past.begun)
    except CannotFollow as err:
        why = "; ".join(refusal.sentence for refusal in err.refusals)
        sentence = f"nothing is foreseen after {meant.step}: step {err.step} can't be done: {why}"
        raise Refused(Problem(err.step, "impossible", sentence)) from err
    note = f"FORESEEN AFTER STEP {meant.step} OF {of}, NOT RECORDED"
    time_note = ", ".join(filter(None, (past.moment.time_note, note)))
    moment = replace(past.moment, at=found.at, time_note=time_note)
    ahead = _Ahead(past.journal, moment, strict=past.strict, are_kept=past.are_kept)
    ahead.now, ahead.events_ahead = past, found.events
    ahead.__dict__["configuration"] = found.configuration
    return ahead


def _expect_ahead(plan: InForce, run: Run, name: str) -> None:
    """Raise NoAnswer for a step of the plan in force that there is none, or of which nothing is left to do."""
    from cfgtrack.analysis.progress import IS_OVER

    if plan.step(name) is None:
        known = [step.id for step in plan.plan.steps]
        raise NoAnswer(Problem("--after", UNKNOWN, no_such("step", name, known)))
    one = run.of(name)
    if one.state not in IS_OVER:
        return
    if one.entry is None:
        sentence = f"{name} has ended, as it is so already: ask without --after"
    else:
        at = format_instant(one.entry.event.happened)
        sentence = f"{name} is {one.state}, by event {one.entry.event.id}: ask with --at {at}"
    raise NoAnswer(Problem("--after", "step-over", sentence))


class _Ahead(Past):
    """A past with what is foreseen on top of it: `now` is what is recorded, `events_ahead` what would come."""

    now: Past
    events_ahead: tuple[Event, ...]

    @cached_property
    def plant(self):  # type: ignore[no-untyped-def] # as of Past
        """The plant as it is now."""
        return self.now.plant

    @cached_property
    def networks(self):  # type: ignore[no-untyped-def] # as of Past
        """The plant's networks."""
        return self.now.networks

    @cached_property
    def rules(self) -> RuleSet:
        """The rules kept in the journal."""
        return self.now.rules

    def start_for(self, rules: RuleSet) -> Start:
        """Return the start of a check after what is foreseen."""
        begin = self.now.start_for(rules)
        return replace(begin, history=(*begin.history, *self.events_ahead), start=self.moment.at)

    @cached_property
    def engine(self) -> Engine:
        """The engine after judging all of the past, and what is foreseen."""
        from cfgtrack.analysis.check import judged

        return judged(self.rules, self.start_for(self.rules), self.networks)

    def clocks(self) -> list[Clock]:
        """Return the clocks that would run."""
        return self.engine.clocks()
