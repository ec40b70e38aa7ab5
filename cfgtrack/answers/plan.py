"""Which plan is in force: its revisions, adopted, shown and dropped."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING

from cfgtrack.answers.asking import Asking
from cfgtrack.answers.moment import Answer, Moment, now_of
from cfgtrack.answers.past import Past
from cfgtrack.answers.proposing import (
    InForce,
    all_revisions,
    as_run,
    expect_revision,
    read_revision,
    said_alike,
)
from cfgtrack.answers.record import new_id, said_time
from cfgtrack.answers.timely import clock_notes, expect_timely
from cfgtrack.files.phrase import phrase
from cfgtrack.files.sequence import parse_sequence
from cfgtrack.files.source import read_text
from cfgtrack.model.action import ABANDON, ADOPT, SKIP, Action
from cfgtrack.model.event import Entry
from cfgtrack.model.plan import Revision, body_of, fault_of_plan, in_force
from cfgtrack.model.sequence import Sequence as Plan
from cfgtrack.model.sequence import Step
from cfgtrack.model.trouble import BadInput, NoAnswer, Problem, Problems
from cfgtrack.model.unknown import UNKNOWN, no_such
from cfgtrack.store.journal import Journal
from cfgtrack.store.proof import Head, current_head

if TYPE_CHECKING:
    from cfgtrack.analysis.progress import Run


@dataclass(frozen=True, slots=True)
class Gone:
    """A step that is done and that a new revision lacks, or in which it says something else (`now`)."""

    step: str
    done: str
    event: str
    now: str | None


@dataclass(frozen=True, slots=True)
class Adopted(Answer):
    """A plan that is adopted, or of a dry run would be: the `revision`, and what it `supersedes`.

    `event` is None where it was in force already. `added`, `dropped`, `changed`: the steps that the one before it
    didn't have, that only that one had, and that say something else now. `gone`: what is done of those, and so is no
    longer done. `steps` are all of its steps, `over` those of which nothing is left to do.
    """

    recorded: bool
    event: Entry | None
    revision: Revision
    supersedes: Revision | None
    steps: int
    over: int
    added: tuple[str, ...]
    dropped: tuple[str, ...]
    changed: tuple[str, ...]
    gone: tuple[Gone, ...]
    head: Head | None = field(default=None, kw_only=True)


def adopt(asking: Asking, file: Path, *, event_id: str | None = None) -> Adopted:
    """Adopt a sequence file as the plan in force. BadInput with every problem of it; then nothing is written.

    While a plan is in force it becomes that plan's next revision. The same text again changes nothing.
    """
    problems = Problems()
    text = read_text(file, problems)
    problems.raise_if_any()
    with asking.write() as journal:
        told = said_time(asking, journal, event_id)
        at = now_of(journal).at if told is None else told
        past = past_at(journal, at)
        plan = parse_sequence(text or "", past.plant, name=str(file))
        body = body_of(file.name, text or "")
        if fault := fault_of_plan(body):
            raise BadInput(Problem(str(file), "plan", fault))
        found = all_revisions(journal, past.moment)
        before = in_force(found)
        if before is not None and before.sha256 == body["sha256"]:
            over = _over(as_run(past, InForce(before, plan, tuple(found))))
            note = f"note: {before.called} is in force already: nothing is written"
            return Adopted(
                past.moment, False, None, before, None, len(plan.steps), over, (), (), (), (), notes=(note,)
            )
        change = _Change(past, found, before, plan)
        action = Action(
            event_id or new_id(),
            ADOPT,
            (),
            at,
            by=asking.doer(past.plant),
            recorder=asking.recorder,
            body=body,
        )
        expect_timely(asking, journal, [action])
        (entry,) = write_all(asking, journal, [action])
        after = replace(past.moment, known=None if asking.dry_run else entry.known)
        revision = _revision_of(journal, after, entry, before, len(found))
        now = InForce(revision, plan, (*found, revision))
        run = as_run(past, now)
        if not asking.dry_run:
            seen_here(asking, journal, revision)
        return Adopted(
            Moment(*journal.moment(at, None if asking.dry_run else entry.known)),
            not asking.dry_run,
            entry,
            revision,
            before,
            len(plan.steps),
            _over(run),
            *change.steps(),
            tuple(change.gone()),
            head=None if asking.dry_run else current_head(journal.database),
            notes=tuple(clock_notes(journal)),
        )


def _over(run: Run) -> int:
    return len(run.steps) - len(run.left)


def past_at(journal: Journal, at: int) -> Past:
    """Return all that is recorded of the past up to an instant."""
    return Past(journal, Moment(*journal.moment(at, None)), strict=False)


def _revision_of(
    journal: Journal, moment: Moment, entry: Entry, before: Revision | None, earlier: int
) -> Revision:
    """Return the revision that an event has adopted, or of a dry run would."""
    found = next((one for one in all_revisions(journal, moment) if one.event == entry.event.id), None)
    if found is not None:
        return found
    event, body = entry.event, entry.event.body or {}
    plan = entry.event.id if before is None else before.plan
    return Revision(
        earlier + 1,
        body["name"],
        body["sha256"],
        event.id,
        plan,
        event.by or "",
        event.recorder or "",
        event.happened,
        entry.known,
        in_force=True,
        text=body["text"],
    )


class _Change:
    """What a new revision makes otherwise, told before it is adopted."""

    def __init__(self, past: Past, found: Sequence[Revision], before: Revision | None, plan: Plan) -> None:
        self._after = {step.id: step for step in plan.steps}
        self._run: Run | None = None
        self._before: dict[str, Step] = {}
        if before is not None:
            try:
                old = InForce(before, read_revision(past, before), tuple(found))
            except BadInput:
                return  # what nobody can read any more is nothing to compare with
            self._before = {step.id: step for step in old.plan.steps}
            self._run = as_run(past, old)

    def steps(self) -> tuple[tuple[str, ...], tuple[str, ...], tuple[str, ...]]:
        """Return the steps that come, that go, and that say something else."""
        if not self._before:
            return (), (), ()
        both = [name for name in self._after if name in self._before]
        return (
            tuple(name for name in self._after if name not in self._before),
            tuple(name for name in self._before if name not in self._after),
            tuple(name for name in both if not said_alike(self._before[name], self._after[name])),
        )

    def gone(self) -> Iterator[Gone]:
        """Yield the steps that are done and that the new revision lacks, or in which it says something else."""
        for one in self._run.steps if self._run is not None else ():
            now = self._after.get(one.step.id)
            if one.entry is None or one.entry.event.action == SKIP:
                continue
            if now is None or not said_alike(one.step, now):
                event = one.entry.event
                yield Gone(one.step.id, phrase(event), event.id, None if now is None else phrase(now.action))


@dataclass(frozen=True, slots=True)
class Dropped(Answer):
    """A plan that is no longer in force, or of a dry run wouldn't be: its last `revision`, and what is left of it."""

    recorded: bool
    event: Entry
    revision: Revision
    left: int


def drop(asking: Asking, *, reason: str, event_id: str | None = None) -> Dropped:
    """Have no plan in force any longer. NoAnswer when there is none."""
    with asking.write() as journal:
        told = said_time(asking, journal, event_id)
        at = now_of(journal).at if told is None else told
        past = past_at(journal, at)
        revision, found = expect_revision(journal, past.moment)
        try:
            left = len(as_run(past, InForce(revision, read_revision(past, revision), tuple(found))).left)
        except BadInput:
            left = 0
        action = Action(
            event_id or new_id(),
            ABANDON,
            (),
            at,
            plan=revision.event,
            by=asking.doer(past.plant),
            recorder=asking.recorder,
            reason=reason,
        )
        expect_timely(asking, journal, [action])
        (entry,) = write_all(asking, journal, [action])
        known = None if asking.dry_run else entry.known
        moment = Moment(*journal.moment(at, known))
        return Dropped(moment, not asking.dry_run, entry, revision, left, notes=tuple(clock_notes(journal)))


@dataclass(frozen=True, slots=True)
class Revisions(Answer):
    """Every revision of every plan that was ever adopted, in order."""

    revisions: tuple[Revision, ...]


def revisions(asking: Asking) -> Revisions:
    """Return every revision of every plan."""
    with asking.read() as journal:
        moment = asking.recorded(journal)
        return Revisions(moment, tuple(all_revisions(journal, moment)))


@dataclass(frozen=True, slots=True)
class Shown(Answer):
    """One revision, with its text."""

    revision: Revision
    text: str


def shown(asking: Asking, revision: str | None = None) -> Shown:
    """Return the plan in force, or the revision that is named: by number, event or the beginning of its digest."""
    with asking.read() as journal:
        moment = asking.recorded(journal)
        if revision is None:
            found, _ = expect_revision(journal, moment)
        else:
            found = meant_by(all_revisions(journal, moment), revision)
        if found.in_force:
            seen_here(asking, journal, found)
        return Shown(moment, found, found.text)


def meant_by(found: Sequence[Revision], said: str) -> Revision:
    """Return the one revision that somebody means. NoAnswer for none, BadInput where it may be several."""
    fits = [one for one in found if one.is_meant(said)]
    exact = [one for one in fits if said in (str(one.number), one.event)]
    if len(fits) > 1 and len(exact) != 1:
        told = ", ".join(str(one.number) for one in fits)
        raise BadInput(Problem("--revision", "ambiguous", f"{said} may be revision {told}"))
    if not fits:
        known = [str(one.number) for one in found]
        raise NoAnswer(Problem("--revision", UNKNOWN, no_such("revision", said, known)))
    return (exact or fits)[0]


def seen_here(asking: Asking, journal: Journal, revision: Revision) -> None:
    """Have the console remember which revision it has seen last."""
    if asking.console is not None:
        asking.console.saw_plan(journal, revision.event)


def write_all(asking: Asking, journal: Journal, actions: Sequence[Action]) -> list[Entry]:
    """Record actions as one, or none of them."""
    if any(action.supersedes for action in actions):
        return journal.correct(actions, dry_run=asking.dry_run)
    found: dict[str, Entry] = {}
    rows = [(action.step or action.action, action) for action in actions]
    journal.take(rows, dry_run=asking.dry_run, each=lambda entry: found.update({entry.event.id: entry}))
    return [found[action.id] for action in actions]
