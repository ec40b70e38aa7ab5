"""Steps of the plan in force: done as planned but for what is said otherwise, or left out."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

from cfgtrack.answers.asking import Asking
from cfgtrack.answers.consequence import Consequence, Standing, consequence
from cfgtrack.answers.moment import Answer, Moment, noting, now_of
from cfgtrack.answers.past import Past
from cfgtrack.answers.plan import meant_by, past_at, seen_here, write_all
from cfgtrack.answers.proposing import InForce, as_run, plan_in_force, read_revision, said_alike
from cfgtrack.answers.record import record_one, said_time, when_told
from cfgtrack.answers.timely import UNLIKELY, asked, clock_notes, expect_timely, slow_clock
from cfgtrack.files.phrase import phrase
from cfgtrack.model.action import MEASURE, SKIP, Action
from cfgtrack.model.event import Entry, Event
from cfgtrack.model.plan import Revision
from cfgtrack.model.present import size_of
from cfgtrack.model.quantity import BadQuantity, Quantity, dimension_of, parse_quantity
from cfgtrack.model.sequence import Step
from cfgtrack.model.time import HOUR, MINUTE, format_duration, format_instant
from cfgtrack.model.trouble import BadInput, Misput, NoAnswer, Problem, Refused
from cfgtrack.model.unknown import UNKNOWN, no_such
from cfgtrack.rules.finding import Clock, Finding
from cfgtrack.store.journal import Journal
from cfgtrack.store.proof import Head, current_head

if TYPE_CHECKING:
    from cfgtrack.analysis.progress import Run, StepRun

RANGE = ".."
"""What stands between the first and the last step of several that follow each other on a track."""


@dataclass(frozen=True, slots=True)
class Told:
    """What has become of a step that was said to be done or skipped.

    `state`: recorded, or would be; already (by `event`); or there: it is so, and there is nothing to record.
    `beside` is what must be known of it at once: what it did not wait for, what was taken as read, how what is recorded
    already isn't as planned.
    """

    step: str
    state: str
    what: str
    event: str | None
    beside: tuple[str, ...] = ()


RECORDED, ALREADY, THERE_ALREADY = "recorded", "already", "there"


@dataclass(frozen=True, slots=True)
class Stepped(Answer):
    """Steps that are recorded as done, or skipped, with what that means at once: see `Consequence`.

    `events` are new, or would be. `next` is what may be begun now on the tracks of the steps, and on those that
    waited for them, or what that waits for; `left` how many steps are left.
    """

    recorded: bool
    revision: Revision
    steps: tuple[Told, ...]
    events: tuple[Entry, ...]
    findings: tuple[Finding, ...]
    excused: tuple[Finding, ...]
    started: tuple[Clock, ...]
    remarks: tuple[Entry, ...]
    open: tuple[Finding, ...]
    next: tuple[str, ...]
    left: int
    head: Head | None = field(default=None, kw_only=True)


@dataclass(frozen=True, slots=True)
class Saying:
    """What is said of steps besides their names. `corrects` is the event that this one stands instead of."""

    values: tuple[str, ...] = ()
    revision: str | None = None
    basis: str | None = None
    remark: str | None = None
    corrects: str | None = None
    reason: str | None = None


_PLAIN = Saying()


def done(asking: Asking, names: Sequence[str], saying: Saying = _PLAIN) -> Stepped:
    """Record the planned actions of steps of the plan in force as done, as planned but for what is said otherwise.

    All of them or none. A range as in 2V-01..2V-06 is of one track, in its order: without what is skipped. The last is
    done at the asking's time, else now; those before it so much earlier as each is likely to take. What is done
    already is harmless to say again. Refused where the plan that this console has seen last, or that is named, says
    something else in one of the steps.
    """
    return _unless_quicker(lambda: _done(asking, names, saying))


def _unless_quicker(say: Callable[[], Stepped]) -> Stepped:
    """Say it; once more where another console was quicker with the same step: then that is told, and it is harmless."""
    try:
        return say()
    except Refused as err:
        if not any(problem.code == "exists" for problem in err.problems):
            raise
        return say()


def _done(asking: Asking, names: Sequence[str], saying: Saying) -> Stepped:
    with asking.write() as journal:
        corrected = _corrected(journal, saying.corrects)
        at, notes = when_told(asking, journal, None if corrected is None else corrected.event.id)
        with noting((*notes, *(slow_clock(journal) if asking.at is None else ()))):
            past = past_at(journal, max(at, journal.moment()[0]))
            plan = plan_in_force(past)
            steps, several = _named(plan, names)
            _expect_seen(asking, past, plan, steps, saying.revision)
            run = as_run(past, plan)
            todo, told = _sorted(past, run, steps, several, corrects=saying.corrects is not None)
            told = [*_said_again(asking, past, told, run, saying, alone=len(steps) == 1)]
            if len(todo) > 1 and (saying.values or saying.corrects):
                raise Misput("--value and --corrects are of one step: name that alone.")
            actions = [*_actions(asking, past, plan, run, todo, at, saying)]
            _expect_in_the_outing(asking, run, actions)
            beside = {
                one.step or "": (*_read(one, saying), *_order(plan, run, one, actions)) for one in actions
            }
            return _stepped(asking, journal, plan, steps, told, actions, notes, beside)


def _sorted(
    past: Past, run: Run, steps: Sequence[Step], several: Collection[str], *, corrects: bool
) -> tuple[list[Step], list[Told]]:
    """Return what is to be recorded of some steps, and what is to be told of those of which there is nothing.

    That is what is recorded already, and what is so already, where none of the steps before makes it otherwise.
    """
    from cfgtrack.analysis.progress import is_there

    todo: list[Step] = []
    told: list[Told] = []
    touched: set[str] = set()
    for step in steps:
        is_so = is_there(past.configuration, step.action)
        known = None if corrects else _already(run.of(step.id), several=step.id in several, is_so=is_so)
        if known is None and not corrects and touched.isdisjoint(step.action.subjects):
            known = Told(step.id, THERE_ALREADY, phrase(step.action), None) if is_so else None
        if known is not None:
            told.append(known)
        else:
            todo.append(step)
            touched.update(step.action.subjects)
    return todo, told


def _corrected(journal: Journal, event_id: str | None) -> Entry | None:
    """Return the event that is corrected, None for none. NoAnswer for one that isn't recorded."""
    if event_id is None:
        return None
    found = journal.entry(event_id)
    if found is None:
        raise NoAnswer(Problem(event_id, UNKNOWN, no_such("event", event_id)))
    return found


def _named(plan: InForce, names: Sequence[str]) -> tuple[list[Step], set[str]]:
    """Return the steps that are meant, in the order of the plan's tracks, and which of them by a range alone."""
    problems: list[Problem] = []
    found: dict[str, Step] = {}
    several: set[str] = set()
    for name in names:
        step = plan.step(name)
        if step is not None:
            found[name] = step
            several.discard(name)
            continue
        first, dots, last = name.partition(RANGE)
        ends = [plan.step(one) for one in (first, last)] if dots else []
        if dots and all(ends):
            between = _between(plan, first, last)
            if not between:
                sentence = f"{first} and {last} are not of one track in that order: name each track by itself"
                problems.append(Problem(name, "range", sentence))
            several |= {one.id for one in between if one.id not in found}
            found |= {one.id: one for one in between}
            continue
        known = [one.id for one in plan.plan.steps]
        meant = (first, last) if dots else (name,)
        problems += [
            Problem(name, UNKNOWN, no_such("step", one, known)) for one in meant if plan.step(one) is None
        ]
    if problems:
        if all(problem.code == UNKNOWN for problem in problems):
            raise NoAnswer(problems)
        raise BadInput(problems)
    place = {step.id: i for i, step in enumerate(plan.plan.steps)}
    return sorted(found.values(), key=lambda step: place[step.id]), several


def _between(plan: InForce, first: str, last: str) -> list[Step]:
    """Return the steps of one track from one to another; none where they are of two, or the wrong way round."""
    one, other = plan.step(first), plan.step(last)
    assert one is not None
    assert other is not None
    track = [s for s in plan.plan.steps if (s.outing, s.track) == (one.outing, one.track)]
    if other not in track:
        return []
    return track[track.index(one) : track.index(other) + 1]


def _already(one: StepRun, *, several: bool, is_so: bool) -> Told | None:
    """Return what is to be told of a step that there is nothing to record of, else None.

    What was said to stand for it may still be followed by the step itself, where that isn't so (`is_so`) yet.
    """
    from cfgtrack.analysis.progress import DONE, OTHERWISE, SKIPPED, THERE

    is_over = one.state == DONE or (
        one.state == OTHERWISE and (several or is_so or "skipped" not in {d.code for d in one.deviations})
    )
    if is_over or (one.state == SKIPPED and several):
        assert one.entry is not None
        return Told(one.step.id, ALREADY, phrase(one.entry.event), one.entry.event.id)
    if one.state == THERE:
        return Told(one.step.id, THERE_ALREADY, phrase(one.step.action), None)
    return None


_SAME_TIME = 10 * MINUTE
"""Two people who say when a step was done may differ by so much, and mean the same."""

_TOLD_AGAIN = frozenset(
    {
        "other-thing",
        "other-action",
        "other-value",
        "no-value",
        "out-of-range",
        "other-doer",
        "other-outing",
        "other-step",
    }
)
"""Which deviations of a step that is done already are told to whoever says that it is done."""


def _said_again(
    asking: Asking, past: Past, told: Sequence[Told], run: Run, saying: Saying, *, alone: bool
) -> Iterator[Told]:
    """Yield what is told of steps, of those that are done already with how what is recorded isn't as planned.

    Refused for a single one of which something else is said now than is recorded: nothing that somebody says is
    dropped. Of several it is told which of it isn't recorded.
    """
    for one in told:
        entry = None if one.event is None else run.of(one.step).entry
        if entry is None or entry.event.action == SKIP:
            yield one
            continue
        event = entry.event
        other = [*_other(asking, past, event, saying, alone=alone)]
        if other and alone:
            once_more = phrase(replace(event, values=_values_of(event, _values_said(saying.values))))
            again = f"cfgtrack done {one.step} --corrects {event.id} --reason TEXT"
            sentence = (
                f"{one.step} is done already, by event {event.id}, with another {'; '.join(other)}: nothing is recorded"
                f" now. If what is recorded is wrong, correct it: {again}, with what is right; if it was read or done"
                f" once more, record that by itself: cfgtrack {once_more}"
            )
            raise Refused(Problem(one.step, "done", sentence), collides=(event.id,))
        beside = [f"recorded: {d.sentence}" for d in run.of(one.step).deviations if d.code in _TOLD_AGAIN]
        beside += [f"NOT recorded of it is another {what}" for what in other]
        yield replace(one, beside=tuple(beside))


def _other(asking: Asking, past: Past, event: Event, saying: Saying, *, alone: bool) -> Iterator[str]:
    """Yield what is said of a step and isn't what is recorded of it: of several steps no value or time is meant."""
    from cfgtrack.analysis.progress import is_same_value

    for name, value in (_values_said(saying.values) if alone else {}).items():
        known = event.values.get(name)
        if known is None or not is_same_value(known, value):
            yield f"{name} (recorded: {'none' if known is None else known}, said: {value})"
    if alone and asking.at is not None and saying.corrects is None:
        at = asking.instant(past.journal, asking.at, option="--at")
        if abs(at - event.happened) > _SAME_TIME:
            yield f"time (recorded: {format_instant(event.happened)}, said: {format_instant(at)})"
    by = asking.doer(past.plant)
    if by and event.by and by != event.by:
        yield f"doer (recorded: {event.by}, said: {by})"
    if saying.remark and saying.remark != event.remark:
        yield f"remark (recorded: {event.remark or 'none'}, said: {saying.remark})"


def _expect_in_the_outing(asking: Asking, run: Run, actions: Sequence[Action]) -> None:
    """Raise Refused for a time at which a step's outing can hardly go on any more, unless the asking is sure."""
    if asking.sure:
        return
    problems = []
    for action in actions:
        outing = next((one for one in run.outings if one.id == action.outing), None)
        if outing is None or outing.began is None or action.supersedes:
            continue
        most = max(2 * (outing.budget or 0), 2 * outing.work, _LONGEST)
        after = action.happened - outing.began
        if after > most:
            why = (
                f"{format_instant(action.happened)} is {size_of(after)} after outing {outing.id} began,"
                f" {format_instant(outing.began)}"
            )
            why += "" if outing.budget is None else f", which may take {format_duration(outing.budget)}"
            problems.append(Problem("--at", UNLIKELY, asked(why)))
    if problems:
        raise Refused(problems)


_LONGEST = 12 * HOUR
"""So long an outing may go on before anybody asks."""


def _values_of(action: Action, said: Mapping[str, Quantity]) -> dict[str, Quantity]:
    """Return the values that are recorded of a planned action: as planned but for what is said.

    Where something is said that wasn't planned, it is said instead of what was.
    """
    if said.keys() - action.values.keys():
        return {**said}
    return {**action.values, **said}


def _read(action: Action, saying: Saying) -> Iterator[str]:
    """Yield which values are taken as planned, and which of them aren't as something else was said."""
    said = _values_said(saying.values)
    taken = [f"{name} {value}" for name, value in action.values.items() if name not in said]
    if taken:
        yield f"RECORDED AS READ: {', '.join(taken)} (planned; say --value where it was another)"


def _order(plan: InForce, run: Run, action: Action, actions: Sequence[Action]) -> Iterator[str]:
    """Yield what a step did not wait for, and which steps before it on its track are passed over."""
    from cfgtrack.analysis.progress import IS_OVER

    step = plan.step(action.step or "")
    if step is None:
        return
    now = {one.step: one.happened for one in actions}
    for name in step.after:
        one = run.of(name)
        if name in now:
            late = now[name] > action.happened
        elif one.state not in IS_OVER:
            yield f"DID NOT WAIT for {name} ({one.step.track}), which is left"
            continue
        else:
            late = (
                one.entry is not None
                and one.entry.event.action != SKIP
                and one.entry.event.happened > action.happened
            )
        if late:
            yield f"DID NOT WAIT for {name} ({one.step.track}), which was done later"
    before = []
    for other in plan.plan.steps:
        if other.id == step.id:
            break
        is_of_track = (other.outing, other.track) == (step.outing, step.track)
        if is_of_track and other.id not in now and run.of(other.id).state not in IS_OVER:
            before.append(other.id)
    if before:
        more = f" and {len(before) - 3} more" if len(before) > 3 else ""
        yield f"PASSED BY: {', '.join(before[:3])}{more}, still to be done"


def _expect_seen(asking: Asking, past: Past, plan: InForce, steps: Sequence[Step], said: str | None) -> None:
    """Raise Refused where the steps say something else in the revision that is named, or was seen here last."""
    seen: Revision | None = None
    if said is not None:
        seen = meant_by(plan.revisions, said)
    elif asking.console is not None:
        event = asking.console.plan_seen(past.journal)
        seen = next((one for one in plan.revisions if one.event == event), None)
    if seen is None or seen.event == plan.revision.event:
        return
    try:
        before = {step.id: step for step in read_revision(past, seen).steps}
    except BadInput:
        before = {}
    which = "you name" if said is not None else "this console has seen last"
    problems = []
    for step in steps:
        old = before.get(step.id)
        if old is None or not said_alike(old, step):
            was = "has no such step" if old is None else f"says {phrase(old.action)}"
            sentence = (
                f"revision {plan.revision.number} is in force and says {phrase(step.action)}; revision {seen.number},"
                f" which {which}, {was}: look at it (`cfgtrack plan show`), then say --revision {plan.revision.number}"
            )
            problems.append(Problem(step.id, "other-revision", sentence))
    if problems:
        raise Refused(problems)


def _values_said(texts: Sequence[str]) -> dict[str, Quantity]:
    """Return the values that are said, by name. BadInput for what is none."""
    found: dict[str, Quantity] = {}
    problems: list[Problem] = []
    for text in texts:
        name, _, value = text.partition("=")
        try:
            found[name] = parse_quantity(value, dimension=dimension_of(name))
        except KeyError:
            problems.append(Problem("--value", UNKNOWN, f"there is no quantity {name}"))
        except BadQuantity as err:
            problems.append(Problem("--value", "bad-quantity", str(err)))
    if problems:
        raise BadInput(problems)
    return found


def _actions(
    asking: Asking, past: Past, plan: InForce, run: Run, steps: Sequence[Step], at: int, saying: Saying
) -> Iterator[Action]:
    """Yield what is to be recorded of steps, each with its id and time."""
    values = _values_said(saying.values)
    by = asking.doer(past.plant)
    times = _times(past, run, steps, at)
    for step in steps:
        yield replace(
            step.action,
            id=_event_id(past, plan, step.id),
            happened=times[step.id],
            by=by or step.action.by,
            recorder=asking.recorder,
            basis=saying.basis or "reported",
            values=_values_of(step.action, values),
            outing=_outing(asking, past, step),
            step=step.id,
            plan=plan.revision.event,
            remark=saying.remark or step.action.remark,
            supersedes=saying.corrects,
            reason=saying.reason or step.action.reason,
        )


def _outing(asking: Asking, past: Past, step: Step) -> str:
    """Return in which outing a step is done: the one that it was planned for, unless another one is going on."""
    if asking.outing:
        return asking.outing
    if not past.begun or step.outing in past.begun:
        return step.outing
    return max(past.begun, key=lambda name: past.begun[name])


def _event_id(past: Past, plan: InForce, name: str) -> str:
    """Return the id of the event that does a step: the same on every console, another one once it is taken back.

    What was recorded after the past that is asked about keeps its id: somebody was quicker, and that will be found.
    """
    base = f"{name}@{plan.revision.plan[:4]}"
    event_id, number = base, 1
    known = past.moment.known
    while (entry := past.journal.entry(event_id)) is not None and known is not None and entry.known <= known:
        number += 1
        event_id = f"{base}.{number}"
    return event_id


def _times(past: Past, run: Run, steps: Sequence[Step], at: int) -> dict[str, int]:
    """Return when each of several steps was done: the last of each track then, those before it as they likely took.

    Where there wasn't so much time since what was done last on the track, all of them come closer, in proportion.
    """
    tracks: dict[tuple[str, str], list[Step]] = {}
    for step in steps:
        tracks.setdefault((step.outing, step.track), []).append(step)
    found: dict[str, int] = {}
    for (outing, track), own in tracks.items():
        spans = [step.takes[1] for step in own[1:]]
        floor = _done_last(past, run, outing, track)
        room = None if floor is None else max(at - floor, 0)
        wanted = sum(spans) + own[0].takes[1]
        share = 1.0 if room is None or not wanted or wanted <= room else room / wanted
        when = at
        for step, span in zip(reversed(own), [*reversed(spans), 0], strict=True):
            found[step.id] = when
            when -= max(int(span * share), 1)
    return found


def _done_last(past: Past, run: Run, outing: str, track: str) -> int | None:
    """Return when what was done last on a track was done, else when its outing began; None where neither is known."""
    from cfgtrack.analysis.progress import DONE, OTHERWISE

    own = [one for one in run.steps if (one.step.outing, one.step.track) == (outing, track)]
    done_at = [one.entry.event.happened for one in own if one.state in (DONE, OTHERWISE) and one.entry]
    return max([*done_at, *([past.begun[outing]] if outing in past.begun else [])], default=None)


def _stepped(
    asking: Asking,
    journal: Journal,
    plan: InForce,
    steps: Sequence[Step],
    told: list[Told],
    actions: Sequence[Action],
    notes: tuple[str, ...],
    beside: Mapping[str, tuple[str, ...]],
) -> Stepped:
    """Record what is to be recorded of steps, and return what it means."""
    entries: list[Entry] = []
    found = Consequence()
    if len(actions) == 1 and not actions[0].supersedes:
        recorded = record_one(asking, journal, actions[0], notes)
        entries, notes = [recorded.event], recorded.notes
        found = Consequence(
            recorded.findings, recorded.excused, recorded.started, recorded.remarks, recorded.open
        )
    elif actions:
        expect_timely(asking, journal, actions)
        end, before = journal.moment()
        is_late = actions[0].supersedes is not None or actions[0].happened < end
        standing = Standing(journal, end, before) if is_late and not asking.dry_run else None
        entries = write_all(asking, journal, actions)
        notes = (*notes, *clock_notes(journal, is_now=asking.at is None))
        if standing is not None:
            found = standing.changed_by(entries, clocks=True)
            notes = notes if standing.unknown is None else (*notes, f"warning: {standing.unknown}")
        elif not asking.dry_run:
            found = _in_turn(journal, entries)
    if len(entries) > 1:
        first, last = entries[0].event.happened, entries[-1].event.happened
        spread = (
            f"note: {len(entries)} steps from {format_instant(first)} to {format_instant(last)}, each so long as it was"
            " planned to take: say --at for each by itself where it matters"
        )
        notes = (*notes, spread)
    new = [
        Told(e.event.step or "", RECORDED, phrase(e.event), e.event.id, _beside(plan, e.event, beside))
        for e in entries
    ]
    is_kept = not asking.dry_run
    known = max((entry.known for entry in entries), default=None) if is_kept else None
    at = max([entry.event.happened for entry in entries], default=journal.moment(None, None)[0])
    moment = Moment(*journal.moment(at, known))
    run = as_run(Past(journal, moment if is_kept else now_of(journal), strict=False), plan)
    if is_kept:
        seen_here(asking, journal, plan.revision)
    place = {step.id: i for i, step in enumerate(steps)}
    return Stepped(
        moment,
        is_kept and bool(entries),
        plan.revision,
        tuple(sorted((*new, *told), key=lambda one: place.get(one.step, 0))),
        tuple(entries),
        found.findings,
        found.excused,
        found.started,
        found.remarks,
        found.open,
        tuple(_next(run, steps, {one.step for one in new})),
        len(run.left) - (0 if is_kept else len(entries)),
        head=current_head(journal.database) if is_kept and entries else None,
        notes=notes,
    )


def _beside(plan: InForce, event: Event, beside: Mapping[str, tuple[str, ...]]) -> tuple[str, ...]:
    """Return what is told beside a step that is recorded; of readings that weren't said at all, too."""
    step = plan.step(event.step or "")
    missing = (
        [] if step is None else [f"{n} {v}" for n, v in step.action.values.items() if n not in event.values]
    )
    told = beside.get(event.step or "", ())
    if not missing:
        return told
    left = "; the step is still to be done" if event.action == MEASURE else ""
    return (*told, f"NOT recorded, as another quantity was said: {', '.join(missing)} (planned){left}")


def _in_turn(journal: Journal, entries: Sequence[Entry]) -> Consequence:
    """Return what several events that nothing was later than mean, each at its own instant."""
    told = [
        consequence(
            Past(journal, Moment(entry.event.happened, journal.known_before(entry)), strict=False), entry
        )
        for entry in entries
    ]
    return Consequence(
        tuple(one for each in told for one in each.findings),
        tuple(one for each in told for one in each.excused),
        tuple(one for each in told for one in each.started),
        tuple({one.event.id: one for each in told for one in each.remarks}.values()),
        told[-1].open,
    )


def _next(run: Run, steps: Sequence[Step], over: set[str]) -> Iterator[str]:
    """Yield what comes next on the tracks of some steps, and on those that waited for what is over now.

    What may not begin yet is told with what it waits for; of another track it isn't told at all.
    """
    left = {step.id: step for step in run.left if step.id not in over}
    own = dict.fromkeys((step.outing, step.track) for step in steps)
    first: dict[tuple[str, str], Step] = {}
    for step in left.values():
        first.setdefault((step.outing, step.track), step)
    for track in (*own, *(track for track in first if track not in own)):
        if track not in first:
            continue
        step = first[track]
        waits = [left[name] for name in step.after if name in left]
        if track in own and waits:
            told = ", ".join(f"{one.id} ({one.track})" for one in waits)
            yield f"{step.id} waits for {told}: {phrase(step.action)}"
        elif track in own or (not waits and not over.isdisjoint(step.after)):
            yield f"{step.id} {phrase(step.action)}"


def skip(asking: Asking, names: Sequence[str], *, reason: str, revision: str | None = None) -> Stepped:
    """Leave steps of the plan in force out, with the reason. Refused for one that is done.

    A step that was skipped may still be done. What is skipped already is harmless to say again.
    """
    return _unless_quicker(lambda: _skip(asking, names, reason, revision))


def _skip(asking: Asking, names: Sequence[str], reason: str, revision: str | None) -> Stepped:
    from cfgtrack.analysis.progress import DONE, OTHERWISE, SKIPPED

    with asking.write() as journal:
        told_at = said_time(asking, journal, None)
        at = now_of(journal).at if told_at is None else told_at
        past = past_at(journal, max(at, journal.moment()[0]))
        plan = plan_in_force(past)
        steps, _ = _named(plan, names)
        _expect_seen(asking, past, plan, steps, revision)
        run = as_run(past, plan)
        told: list[Told] = []
        actions: list[Action] = []
        problems: list[Problem] = []
        for step in steps:
            one = run.of(step.id)
            if one.state in (DONE, OTHERWISE) and one.entry is not None:
                event = one.entry.event
                sentence = (
                    f"{step.id} is done, by event {event.id} ({phrase(event)}, {format_instant(event.happened)}): if"
                    f" that did not happen, withdraw it first: cfgtrack withdraw {event.id} --reason TEXT"
                )
                problems.append(Problem(step.id, "done", sentence))
            elif one.state == SKIPPED and one.entry is not None:
                told.append(Told(step.id, ALREADY, phrase(one.entry.event), one.entry.event.id))
            else:
                actions.append(
                    Action(
                        _event_id(past, plan, f"skip-{step.id}"),
                        SKIP,
                        (),
                        at,
                        by=asking.doer(past.plant),
                        recorder=asking.recorder,
                        outing=None,
                        step=step.id,
                        plan=plan.revision.event,
                        reason=reason,
                    )
                )
        if problems:
            raise Refused(problems)
        expect_timely(asking, journal, actions)
        entries = write_all(asking, journal, actions) if actions else []
        new = [Told(e.event.step or "", RECORDED, phrase(e.event), e.event.id) for e in entries]
        is_kept = not asking.dry_run
        known = max((entry.known for entry in entries), default=None) if is_kept else None
        moment = Moment(*journal.moment(at, known))
        run = as_run(Past(journal, moment, strict=False), plan)
        if is_kept:
            seen_here(asking, journal, plan.revision)
        place = {step.id: i for i, step in enumerate(steps)}
        over = {one.step for one in new}
        return Stepped(
            moment,
            is_kept and bool(entries),
            plan.revision,
            tuple(sorted((*new, *told), key=lambda one: place.get(one.step, 0))),
            tuple(entries),
            *((),) * 5,
            tuple(_next(run, steps, over)),
            len([step for step in run.left if step.id not in over]),
            head=current_head(journal.database) if is_kept and entries else None,
            notes=tuple(clock_notes(journal)),
        )
