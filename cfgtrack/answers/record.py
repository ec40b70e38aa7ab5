"""What happened is recorded, and what it means is told at once."""

from __future__ import annotations

import os
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import chain
from typing import TYPE_CHECKING, Any

from cfgtrack.answers.asking import Asking
from cfgtrack.answers.consequence import Consequence, Standing, consequence, with_what_followed
from cfgtrack.answers.moment import Answer, Moment, noting
from cfgtrack.answers.past import Past
from cfgtrack.answers.timely import clock_notes, expect_timely, slow_clock
from cfgtrack.files.kept_head import kept_head
from cfgtrack.files.phrase import parse_phrase, phrase
from cfgtrack.model import defect
from cfgtrack.model.action import BEGIN, BOOK_ACTIONS, DEFECT, RECTIFY, REMARK, Action
from cfgtrack.model.event import Entry, Event
from cfgtrack.model.handover import HANDOVERS, handover_body, spelled
from cfgtrack.model.lock import is_box, warnings
from cfgtrack.model.plant import Plant
from cfgtrack.model.presence import lacks_doer
from cfgtrack.model.present import size_of
from cfgtrack.model.time import format_instant
from cfgtrack.model.trouble import BadInput, Misput, Problem, Trouble, Unfollowable
from cfgtrack.model.unknown import no_such
from cfgtrack.network.facing import mismatches
from cfgtrack.rules.finding import Clock, Finding
from cfgtrack.store.journal import Journal
from cfgtrack.store.proof import Head, current_head, head_called

if TYPE_CHECKING:
    from cfgtrack.answers.proposing import InForce

REPEATED = 1_000
"""An event that is recorded again is judged again if fewer than so many were since: who was told nothing asks soon."""


@dataclass(frozen=True, slots=True)
class Recorded(Answer):
    """An event that is `recorded`, or of a dry run only tried, with what it means at once: see `Consequence`.

    `others` were recorded as one with it. `head` stands for everything recorded by then; None for a dry run.
    """

    recorded: bool
    event: Entry
    others: tuple[Entry, ...]
    findings: tuple[Finding, ...]
    excused: tuple[Finding, ...]
    started: tuple[Clock, ...]
    remarks: tuple[Entry, ...]
    open: tuple[Finding, ...]
    head: Head | None = field(default=None, kw_only=True)


def record(
    asking: Asking,
    words: Sequence[str],
    *,
    event_id: str | None = None,
    basis: str | None = None,
    remark: str | None = None,
    supersedes: str | None = None,
    reason: str | None = None,
    head: str | None = None,
) -> Recorded:
    """Record the action that words say, at the asking's time, else now. Refused when it is impossible.

    What is forbidden is recorded all the same, and told. BadInput for words that say nothing, NoAnswer when all that is
    wrong is a name. Repeating an `event_id` is harmless. `head`: the one that is handed over when an outing begins or
    ends, in full or in short, or the file that holds it; Refused where this journal never had it.
    """
    with asking.write() as journal:
        happened, notes = when_told(asking, journal, event_id)
        with noting(chain(notes, slow_clock(journal) if asking.at is None else ())):
            told = {"outing": asking.outing, "basis": basis, "remark": remark}
            action = said(
                asking, journal, words, happened, event_id, **told, supersedes=supersedes, reason=reason
            )
            if head is not None and action.action not in HANDOVERS:
                raise Misput(
                    "A head is handed over when an outing begins or ends: --head goes with begin and end."
                )
            if action.action in HANDOVERS:
                action = replace(action, body=_handed_over(journal, action, head))
            action, more = _of_the_plan(journal, action)
            more = (*more, *_begun_again(journal, action))
            found = record_one(asking, journal, action, (*notes, *more))
            return replace(found, notes=(*found.notes, *_still_to_do(journal, found)))


def _begun_again(journal: Journal, action: Action) -> tuple[str, ...]:
    """Return what is to be told of an outing that begins while it goes on."""
    if action.action != BEGIN or action.supersedes or journal.entry(action.id) is not None:
        return ()
    hours = journal.hours().get(action.outing or "")
    if hours is None or hours.ended is not None:
        return ()
    began = format_instant(hours.began)
    return (
        f"warning: outing {hours.outing} had begun already, {began}, and hasn't ended: withdraw the one that is wrong",
    )


def _still_to_do(journal: Journal, found: Recorded) -> tuple[str, ...]:
    """Return what is to be told of an event that names a step of the plan in force, which says something else."""
    event = found.event.event
    if event.step is None or event.plan is None or event.action in BOOK_ACTIONS | {REMARK, DEFECT, RECTIFY}:
        return ()
    from cfgtrack.analysis.progress import stands_for

    try:
        plan, plant = _plan_by(journal, event)
    except Trouble:
        return ()
    step = plan.step(event.step)
    if plan.revision.event != event.plan or step is None or stands_for(plant, step.action, event):
        return ()
    sentence = (
        f"warning: step {step.id} says {phrase(step.action)}: that is still to be done (`cfgtrack done {step.id}`); if"
        f" this stands for it, say so: cfgtrack skip {step.id} --reason TEXT"
    )
    return (sentence,)


def _of_the_plan(journal: Journal, action: Action) -> tuple[Action, tuple[str, ...]]:
    """Return an action that names a step with the revision in force, and what is to be told of it."""
    name = action.step
    if name is None or action.plan is not None:
        return action, ()
    if (repeated := journal.entry(action.id)) is not None:  # said again: of the plan that it was of
        return replace(action, plan=repeated.event.plan), ()
    try:
        plan, _ = _plan_by(journal, action)
    except Trouble as err:
        return action, (f"warning: nobody knows step {name}: {err.problems[0].sentence}",)
    action = replace(action, plan=plan.revision.event)
    if plan.step(name) is not None:
        return action, ()
    near = no_such("step", name, [step.id for step in plan.plan.steps])
    return action, (f"warning: {near} in {plan.revision.called}",)


def _plan_by(journal: Journal, action: Action) -> tuple[InForce, Plant]:
    """Return the plan in force now, or when an action happens after that, with the plant of then. Trouble for none."""
    from cfgtrack.answers.proposing import plan_in_force

    past = Past(journal, Moment(*journal.moment(max(action.happened, journal.moment()[0]))), strict=False)
    return plan_in_force(past), past.plant


def _handed_over(journal: Journal, action: Action, said: str | None) -> Mapping[str, Any] | None:
    """Return the body of a handover: of the head that was said, else of the present one; said again, the same."""
    repeated = journal.entry(action.id)
    if repeated is not None and said is None:
        return repeated.event.body
    head = (
        current_head(journal.database)
        if said is None
        else head_called(journal.database, kept_head(said, "--head"))
    )
    return handover_body(head.size, head.root)


def record_one(asking: Asking, journal: Journal, action: Action, notes: tuple[str, ...]) -> Recorded:
    """Record an action, and say what it means on the past as it was known just before."""
    repeated = journal.entry(action.id)
    if repeated is not None and journal.since(repeated) >= REPEATED:
        return recorded(asking, journal, [write(asking, journal, action)], Consequence(), notes)
    expect_timely(asking, journal, [action])
    end, known = journal.moment(None, None if repeated is None else journal.known_before(repeated))
    # What can't be read is told before anything is written.
    past = Past(journal, Moment(action.happened, known), strict=False)
    standing = None
    if past.rules.rules:
        _ = past.variances
        changes = action.supersedes or (action.happened < end and action.action not in BOOK_ACTIONS)
        standing = Standing(journal, end, known) if changes and not asking.dry_run else None
    entry = write(asking, journal, action)
    found = Consequence()
    if not action.supersedes and action.action not in BOOK_ACTIONS:
        if journal.known_before(entry) != known:
            past = Past(journal, Moment(action.happened, journal.known_before(entry)), strict=False)
        try:
            found = consequence(past, entry)
        except Unfollowable as trouble:
            # What was done is recorded, whatever somebody else said that can't be so.
            notes = (*notes, f"warning: {trouble.problems[0].sentence}")
        before = journal.view(action.happened, past.moment.known)
        told = (*warnings(before, entry.event), *mismatches(before, entry.event))
        notes = (*notes, *(f"warning: {sentence}" for sentence in told))
        notes = (*notes, *(f"note: {defect.told(one)}" for one in defect.met(before, entry.event)))
    if standing is not None:
        found = with_what_followed(found, standing.changed_by([entry]))
        notes = notes if standing.unknown is None else (*notes, f"warning: {standing.unknown}")
    elif not asking.dry_run:
        past.keep()
    return recorded(asking, journal, [entry], found, notes)


def _unknown_doer(plant: Plant, event: Event) -> str:
    """Return why nobody knows whether who did something was there, and how to say who did it."""
    how = "--by NAME"
    if not event.by:
        whom = "nobody says who did it"
    elif is_box(plant, event.by):
        whom, how = (
            f"{event.by} is a lock box, and somebody does it",
            f"{phrase(replace(event, by=None))} --by NAME",
        )
    else:
        whom = f"{event.by} is no person or machine of the plant"
    return f"{whom}, so whether he was there isn't judged ({how})"


def recorded(
    asking: Asking,
    journal: Journal,
    entries: Sequence[Entry],
    found: Consequence,
    notes: tuple[str, ...] = (),
) -> Recorded:
    """Return the answer of an event, and of those that were recorded as one with it, with what they mean."""
    is_kept = not asking.dry_run
    entry, *others = entries
    known = max(e.known for e in entries) if is_kept else None
    plant = journal.plant(entry.event.happened)
    notes = (*notes, *clock_notes(journal, is_now=asking.at is None and not entry.event.supersedes))
    if lacks_doer(plant, entry.event):
        notes = (*notes, f"note: {_unknown_doer(plant, entry.event)}")
    return Recorded(
        Moment(*journal.moment(entry.event.happened, known)),
        is_kept,
        entry,
        tuple(others),
        found.findings,
        found.excused,
        found.started,
        found.remarks,
        found.open,
        head=current_head(journal.database) if is_kept else None,
        notes=notes,
        says=plant.says,
    )


def said_time(asking: Asking, journal: Journal, event_id: str | None) -> int | None:
    """Return --at, else when an event of that id is recorded to have happened: so repeating is harmless. Else None."""
    if asking.at is not None:
        return asking.instant(journal, asking.at, option="--at")
    repeated = journal.entry(event_id) if event_id else None
    return None if repeated is None else repeated.event.happened


def when_told(asking: Asking, journal: Journal, event_id: str | None) -> tuple[int, tuple[str, ...]]:
    """Return what `said_time` finds, else now. BadInput when the clock must be wrong, or the record is a little ahead.

    Then only the user knows. What is said to happen later still is told, and keeps nobody from recording.
    """
    told = said_time(asking, journal, event_id)
    if told is not None:
        return told, ()
    now = format_instant(journal.present)
    is_behind = journal.present < (journal.recorded_last() or 0)
    handover = journal.handover() if is_behind else None
    near, far = journal.ahead()
    wrong = ""
    if near is not None:
        wrong = (
            f"the last recorded event, {near[1]}, is of {format_instant(near[0])}, later than now, {now}"
            " (if that is wrong, correct or withdraw it)"
        )
    elif handover is not None and journal.present < handover:
        wrong = f"this clock says {now}, and the record begins at {format_instant(handover)}"
    if wrong:
        raise BadInput(Problem("--at", "missing", f"say when it happened: {wrong}"))
    if far is None:
        return journal.present, ()
    note = (
        f"note: event {far[1]} is said to happen at {format_instant(far[0])}, {size_of(far[0] - journal.present)} from"
        " now: if that is wrong, correct or withdraw it"
    )
    return journal.present, (note,)


def write(asking: Asking, journal: Journal, action: Action) -> Entry:
    """Record one action, unless only a dry run is asked for. Refused when it is impossible."""
    entries: list[Entry] = []
    journal.take([(action.action, action)], dry_run=asking.dry_run, each=entries.append)
    return entries[0]


def said(
    asking: Asking,
    journal: Journal,
    words: Sequence[str],
    happened: int,
    event_id: str | None,
    **more: str | None,
) -> Action:
    """Return the action that words and `more` fields say. BadInput, or NoAnswer when all that is wrong is a name."""
    where = words[0] if words else "action"
    plant = journal.plant(happened)
    action = parse_phrase(words, plant, id=event_id or new_id(), happened=happened, where=where)
    by = asking.doer(plant)
    told: dict[str, Any] = {name: value for name, value in {**more, "by": by}.items() if value}
    _expect_once(action, told, where)
    return replace(action, **{"recorder": action.recorder or asking.recorder, **told})


def _expect_once(action: Action, told: dict[str, Any], where: str) -> None:
    """Raise BadInput for what the words say one way and an option another way."""
    problems = [
        Problem(where, "duplicate", f"{name} is given twice: {getattr(action, name)} and {told[name]}")
        for name in ("by", "outing", "remark")
        if getattr(action, name) and told.get(name, getattr(action, name)) != getattr(action, name)
    ]
    if problems:
        raise BadInput(problems)


def new_id() -> str:
    """Return an id that nobody else makes: 60 random bits, in letters that can be read out over a radio."""
    return spelled(int.from_bytes(os.urandom(8)) >> 4)
