"""As it was run against as it was planned: which steps of a plan are done, which otherwise, which are left.

An event belongs to a step that it names, where it is what that says, or has the same effect. What names none, or the
wrong one, belongs to the step that says just what was done, and then, where a step was passed over or is the next of
its track, to one that says the same of something near by: another port. Whatever is left over was done besides the
plan. A step is over when what it says is so, or somebody says that it needn't be: what was done at another port in its
name stands for it where it is skipped, too.
"""

from __future__ import annotations

from bisect import bisect_left
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import ClassVar

from cfgtrack.model import action as ac
from cfgtrack.model.action import Action, plain_words
from cfgtrack.model.configuration import View, place_line
from cfgtrack.model.defect import barring
from cfgtrack.model.event import Entry, Event, effects
from cfgtrack.model.plant import Plant, owner_of
from cfgtrack.model.possibility import Impossible, outright, resolve
from cfgtrack.model.presence import Telling
from cfgtrack.model.quantity import Quantity
from cfgtrack.model.sequence import Layout, Schedule, Step
from cfgtrack.model.sequence import Sequence as Plan
from cfgtrack.model.time import Instant

DONE, OTHERWISE, ELSEWHERE, THERE, SKIPPED, LEFT = (
    "done",
    "otherwise",
    "elsewhere",
    "there",
    "skipped",
    "left",
)
"""What has become of a step: done as planned; done otherwise, with the same effect or as that was said to do; done
elsewhere, as something else was done in its name, or something near by in none, so still to be done; it is so already;
left out; still to be done."""

_NO_WORK = ac.DEFECT_ACTIONS | {ac.SKIP, ac.REMARK}
"""What says something of the work, and is none: a skip, a remark, that something can't be done."""

IS_OVER = frozenset({DONE, OTHERWISE, THERE, SKIPPED})
"""In which states nothing is left to do of a step."""

NOT_YET, UNDER_WAY, OVER = "not begun", "under way", "over"

Ranges = Callable[[str, str, str], Iterable[tuple[str, float | None, float | None, str]]]
"""Of an item, a quantity and the action that told it: the rules that ask for a range, each with its id, the ends in SI
units, and in words."""


@dataclass(frozen=True, slots=True)
class Deviation:
    """One thing that isn't as planned: a stable word (`code`), and what it is."""

    code: str
    sentence: str


@dataclass(frozen=True, slots=True)
class StepRun:
    """What has become of a step. `entry` is the event that did it, or what it does, or that skipped it.

    `late` is by how much later than planned it was done, microseconds, below zero where it was earlier; None where
    nobody knows when it was planned for.
    """

    step: Step
    state: str
    entry: Entry | None = None
    deviations: tuple[Deviation, ...] = ()
    late: int | None = None


@dataclass(frozen=True, slots=True)
class OutingRun:
    """How an outing goes: `state`, when it was to begin, began and was over, how many of its steps are over.

    So many of these were `skipped`.
    `work` is how long what is left of it is likely to take, `used` how long it has gone on; `budget` what it may.
    """

    told: ClassVar[tuple[str, ...]] = ("spare",)

    id: str
    state: str
    steps: int
    over: int
    skipped: int
    planned: Instant | None
    began: Instant | None
    ended: Instant | None
    used: int
    work: int
    budget: int | None

    @property
    def spare(self) -> int | None:
        """What of the budget is spare when all that is left is done; below zero where it doesn't suffice."""
        return None if self.budget is None else self.budget - self.used - self.work


@dataclass(frozen=True, slots=True)
class Run:
    """As it was run: each step in the order of the plan, what was done besides it, its outings.

    `late` is how late it is now, by what was done last and what should be done by now; None where nobody knows.
    """

    steps: tuple[StepRun, ...]
    extra: tuple[Entry, ...]
    outings: tuple[OutingRun, ...]
    late: int | None

    @property
    def left(self) -> tuple[Step, ...]:
        """The steps that are still to be done, in the order of the plan."""
        return tuple(one.step for one in self.steps if one.state not in IS_OVER)

    def of(self, step: str) -> StepRun:
        """Return what has become of a step. KeyError for no such one."""
        for one in self.steps:
            if one.step.id == step:
                return one
        raise KeyError(step)


@dataclass(frozen=True, slots=True)
class Hours:
    """When an outing began, and was over, by the record; None where it hasn't."""

    began: int | None = None
    ended: int | None = None


def run_of(
    plan: Plan,
    entries: Sequence[Entry],
    now: View,
    at: int,
    *,
    hours: Mapping[str, Hours] | None = None,
    ranges: Ranges | None = None,
) -> Run:
    """Return as it was run what was planned, from all that was recorded meanwhile, in the order in which it counts.

    `entries`: events on hardware, and skips. `now`: the configuration `at` the moment that is asked about.
    """
    hours = hours or {}
    matched = _Matched(plan, entries, now.plant, now, hours)
    schedule = Schedule(plan, 0)
    layout = schedule.lay_out(schedule.at_pace(1))
    planned = _planned_ends(plan, layout, hours)
    states = _states((one.step for one in layout.steps), matched, now)
    place = {id(entry): i for i, entry in enumerate(entries)}
    order = {name: place[id(entry)] for name, entry in matched.done.items() if name not in matched.near}
    turned = dict(_out_of_order(plan, order, states))
    steps = []
    for step in plan.steps:
        state, entry = states[step.id]
        deviations = [*_deviations(step, state, entry, matched, ranges), *turned.get(step.id, ())]
        if state in (LEFT, ELSEWHERE):
            deviations += _barred(now, step.action)
        end = planned.get(step.id)
        is_done = state in (DONE, OTHERWISE) and entry is not None
        late = entry.event.happened - end if is_done and entry is not None and end is not None else None
        steps.append(StepRun(step, state, entry, tuple(deviations), late))
    extra = tuple(e for e in entries if id(e) not in matched.used and e.event.action not in _NO_WORK)
    outings = tuple(_outing_runs(plan, steps, at, hours))
    return Run(tuple(steps), extra, outings, _late_now(steps, outings, planned, at))


# --- which event is of which step ---------------------------------------------------------------------------------


def is_as_planned(planned: Action, event: Event) -> bool:
    """Return whether an event is just what a step says, whoever did it, and whatever was read."""
    named = {*event.subjects, *filter(None, (event.peer,))}
    return (
        planned.action == event.action
        and bool({*planned.subjects} <= named)
        and planned.place in (None, event.place)
        and planned.facing in (None, event.facing)
        and planned.status in (None, event.status)
        and (planned.action != ac.MEASURE or planned.values.keys() <= event.values.keys())
    )


def has_same_effect(plant: Plant, planned: Action, event: Event) -> bool:
    """Return whether an event leaves everything as a step would, done otherwise: found so, say."""
    try:
        wanted = [one for one in effects(plant, outright(planned)) if one.aspect == ""]
        made = [one for one in effects(plant, event) if one.aspect == ""]
    except (KeyError, AssertionError):
        return False
    return bool(wanted) and all(
        any((m.subject, m.value) == (w.subject, w.value) and w.other in (None, m.other) for m in made)
        for w in wanted
    )


def stands_for(plant: Plant, planned: Action, event: Event) -> bool:
    """Return whether nothing is left of what a step says once an event was done in its name."""
    return is_as_planned(planned, event) or has_same_effect(plant, planned, event)


def nearness(plant: Plant, now: View, planned: Action, event: Event) -> int | None:
    """Return how near what was done lies to what a step says, 0 the nearest; None where it is another thing altogether.

    The same action on the same kind of thing: of a joint of which one half is the same, of a port of the same unit or a
    unit that went elsewhere, of the same port of a like unit at the same place.
    """
    if planned.action != event.action or not planned.subjects or not event.subjects:
        return None
    one, other = planned.subjects[0], event.subjects[0]
    kinds = {kind_of(plant, address) for address in (one, other)}
    if len(kinds) > 1 and not {*planned.subjects} & {*event.subjects}:
        return None
    if {*planned.subjects} & {*event.subjects, *filter(None, (event.peer,))}:
        return 0
    if {*map(owner_of, planned.subjects)} & {*map(owner_of, event.subjects)}:
        return 1
    owners = owner_of(one), owner_of(other)
    if one.partition(":")[2] != other.partition(":")[2]:
        return None
    if not all(map(plant.has_owner, owners)) or plant.part_of(owners[0]) is not plant.part_of(owners[1]):
        return None
    stands = [tuple(place_line(now, owner))[:1] for owner in owners]
    return 2 if stands[0] == stands[1] else None


def kind_of(plant: Plant, address: str) -> str | None:
    """Return the id of a port's kind, None for what is no port."""
    found = plant.port(address)
    return None if found is None else found[1].id


class _Matched:
    """Which event did which step (`done`; of those in `near` it is a guess), which skipped one, which are `used` up.

    `meant`: what was done in the name of a step and isn't what that says; `named`: of which other step it is, if any.
    """

    def __init__(
        self, plan: Plan, entries: Sequence[Entry], plant: Plant, now: View, hours: Mapping[str, Hours]
    ) -> None:
        self.done: dict[str, Entry] = {}
        self.skipped: dict[str, Entry] = {}
        self.used: set[int] = set()
        self.near: set[str] = set()
        self.meant: dict[str, Entry] = {}
        self.named: dict[int, str] = {}
        self.plant, self._plan, self._now = plant, plan, now
        self._rank = {outing.id: i for i, outing in enumerate(plan.outings)}
        self._hours = hours
        self._open = {step.id: step for step in plan.steps}
        self._open_in = Counter(step.outing for step in plan.steps)
        self._place: dict[str, int] = {}
        self._tracks: dict[tuple[str, str], list[Step]] = {}
        self._alike: dict[tuple[str, str], list[Step]] = {}
        for step in plan.steps:
            track = self._tracks.setdefault((step.outing, step.track), [])
            self._place[step.id] = len(track)
            track.append(step)
            for subject in step.action.subjects[:1]:
                self._alike.setdefault((step.action.action, subject), []).append(step)
        self._first = dict.fromkeys(self._tracks, 0)
        self._last = dict.fromkeys(self._tracks, -1)
        self._written = {step.id: i for i, step in enumerate(plan.steps)}
        for entry in entries:
            self._take_named(entry)
        for entry in entries:
            if self._is_free(entry) and id(entry) not in self.named:
                self._take_alike(entry)
        for i, entry in enumerate(entries):
            if self._is_free(entry) and id(entry) in self.named and not self._is_undone(entries, i):
                self._take_alike(entry)
        for name in self.meant:
            self._take_meant(name)
        for entry in entries:
            if self._is_free(entry) and id(entry) not in self.named:
                self._take_near(entry)

    def _is_undone(self, entries: Sequence[Entry], place: int) -> bool:
        """Return whether something besides the plan was done later to what a wrongly named event was done to."""
        own = {*entries[place].event.subjects, *filter(None, (entries[place].event.peer,))}
        return any(
            self._is_free(later) and not own.isdisjoint(later.event.subjects)
            for later in entries[place + 1 :]
        )

    def _take_meant(self, name: str) -> None:
        """Have the step that somebody named belong to what he did, where nothing else did it; over if it is skipped."""
        entry = self.meant[name]
        if name in self.done or not self._is_free(entry):
            return
        step = self._plan.steps[self._written[name]]
        self.used.add(id(entry))
        self.done[name] = entry
        if name not in self.skipped:
            self.near.add(name)
            self._close(step)

    def _is_free(self, entry: Entry) -> bool:
        return id(entry) not in self.used and entry.event.action not in _NO_WORK

    def _take(self, step: Step, entry: Entry) -> None:
        self.done[step.id] = entry
        self.used.add(id(entry))
        track = (step.outing, step.track)
        self._last[track] = max(self._last[track], self._place[step.id])
        self._close(step)

    def _close(self, step: Step) -> None:
        if self._open.pop(step.id, None) is not None:
            self._open_in[step.outing] -= 1

    def _take_named(self, entry: Entry) -> None:
        name = entry.event.step
        if name is None or name not in self._written:
            return
        step = self._plan.steps[self._written[name]]
        if entry.event.action == ac.SKIP:
            self.skipped[name] = entry
            self.used.add(id(entry))
            self._close(step)
        elif name not in self.done and stands_for(self.plant, step.action, entry.event):
            self._take(step, entry)
        elif entry.event.action not in _NO_WORK:
            self.named[id(entry)] = name
            self.meant[name] = entry

    def _take_alike(self, entry: Entry) -> None:
        event = entry.event
        latest = self._latest_outing(event)
        named = dict.fromkeys((*event.subjects, *filter(None, (event.peer,))))
        fits = [
            step
            for subject in named
            for step in self._alike.get((event.action, subject), ())
            if step.id in self._open
            and self._rank[step.outing] <= latest
            and is_as_planned(step.action, event)
        ]
        if fits:
            own = event.outing
            order = {
                step.id: (step.outing != own, not self._is_due(step), self._written[step.id]) for step in fits
            }
            self._take(min(fits, key=lambda step: order[step.id]), entry)

    def _take_near(self, entry: Entry) -> None:
        near: list[tuple[int, int, Step]] = []
        for step in self._open.values():
            if self._is_due(step) and step.outing == (entry.event.outing or step.outing):
                far = nearness(self.plant, self._now, step.action, entry.event)
                if far is not None:
                    near.append((far, self._written[step.id], step))
        if near:
            step = min(near, key=lambda one: one[:2])[2]
            self._take(step, entry)
            self.near.add(step.id)

    def _is_due(self, step: Step) -> bool:
        """Return whether a step was passed over on its track, or is the next one there."""
        track = (step.outing, step.track)
        if self._last[track] > self._place[step.id]:
            return True
        steps = self._tracks[track]
        while self._first[track] < len(steps) and steps[self._first[track]].id not in self._open:
            self._first[track] += 1
        return self._place[step.id] == self._first[track] and self._is_on(step.outing)

    def _is_on(self, outing: str) -> bool:
        """Return whether an outing may have begun: it has, or all before it have nothing left."""
        began = self._hours.get(outing, Hours()).began
        before = [o.id for o in self._plan.outings if self._rank[o.id] < self._rank[outing]]
        return began is not None or not any(self._open_in[name] for name in before)

    def _latest_outing(self, event: Event) -> int:
        """Return the rank of the latest outing that had begun when something was done, or that it says it is of."""
        if event.outing in self._rank:
            return self._rank[event.outing]
        ranks = [0]
        for outing in self._plan.outings:
            began = self._hours.get(outing.id, Hours()).began
            began = outing.start if began is None else began
            if began is not None and began <= event.happened:
                ranks.append(self._rank[outing.id])
        if all(o.start is None for o in self._plan.outings):
            return len(self._plan.outings)
        return max(ranks)


def _states(steps: Iterable[Step], matched: _Matched, now: View) -> dict[str, tuple[str, Entry | None]]:
    """Return the state of each of `steps` by id, with the event that it is by. They come in the order of their time.

    Only of a step that is due is it asked whether it is so already: what is left before it may make it otherwise, if
    only by moving something along.
    """
    found: dict[str, tuple[str, Entry | None]] = {}
    left = _Left()
    for step in steps:
        entry, skip = matched.done.get(step.id), matched.skipped.get(step.id)
        if entry is not None and step.id in matched.near:
            if left.lets(step) and is_there(now, step.action):
                matched.used.discard(id(entry))
                found[step.id] = THERE, None
                continue
            found[step.id] = ELSEWHERE, entry
            left.add(step)
        elif entry is not None:
            found[step.id] = (DONE if is_as_planned(step.action, entry.event) else OTHERWISE), entry
        elif skip is not None:
            found[step.id] = SKIPPED, skip
        elif left.lets(step) and is_there(now, step.action):
            found[step.id] = THERE, None
        else:
            found[step.id] = LEFT, None
            left.add(step)
    return found


class _Left:
    """The steps that are left of those so far."""

    def __init__(self) -> None:
        self._names: set[str] = set()
        self._tracks: set[tuple[str, str]] = set()
        self._outings: set[str] = set()
        self._subjects: set[str] = set()

    def add(self, step: Step) -> None:
        """Take in a step that is left."""
        self._names.add(step.id)
        self._tracks.add((step.outing, step.track))
        self._outings.add(step.outing)
        self._subjects.update(step.action.subjects)

    def lets(self, step: Step) -> bool:
        """Return whether a step is due: nothing is left before it on its track, of its waits, or in earlier outings."""
        return (
            (step.outing, step.track) not in self._tracks
            and self._names.isdisjoint(step.after)
            and self._outings <= {step.outing}
            and self._subjects.isdisjoint(step.action.subjects)
        )


def is_there(now: View, action: Action) -> bool:
    """Return whether what an action would make is so already, so that it can't be done: a valve that is shut.

    A tightening that goes on, or a reading, can always be done again, and is there by nothing.
    """
    if action.action in ac.GENERAL_ACTIONS - {ac.PLACE, ac.LIFT} or action.values:
        return False
    try:
        written = [one for one in effects(now.plant, outright(action)) if one.aspect == ""]
        states = [now.state(one.subject) for one in written]
    except (KeyError, AssertionError):
        return False
    same = (s.value == w.value and w.other in (None, s.other) for w, s in zip(written, states, strict=True))
    return bool(written) and all(same) and isinstance(resolve(now, action, Telling.RECORDED), Impossible)


# --- what isn't as planned ----------------------------------------------------------------------------------------


def _deviations(
    step: Step, state: str, entry: Entry | None, matched: _Matched, ranges: Ranges | None
) -> Iterator[Deviation]:
    """Yield what of a step isn't as planned, but for its order and time."""
    planned = step.action
    if state == SKIPPED and entry is not None:
        yield Deviation("skipped", entry.event.reason or "")
    elif state == THERE:
        yield Deviation("there", "it is so already, and nobody recorded it as this step")
    elif state == ELSEWHERE and entry is not None and entry.event.step != step.id:
        what = f"{_told(entry.event)} instead of {_told(planned)}?"
        yield Deviation("other-thing", f"{what} it is still to be done, or to be skipped")
    elif state in (LEFT, ELSEWHERE) and (meant := matched.meant.get(step.id)) is not None:
        code = "other-thing" if meant.event.action == planned.action else "other-action"
        what = "done at another port or thing" if code == "other-thing" else "done otherwise"
        if {*planned.subjects} <= {*meant.event.subjects}:
            what = "done otherwise"
        yield Deviation(code, f"{what}: {_told(meant.event)}; {_told(planned)} still to do")
    elif state in (DONE, OTHERWISE) and entry is not None:
        yield from _of_what_was_done(step, state, entry, matched, ranges)


def _of_what_was_done(
    step: Step, state: str, entry: Entry, matched: _Matched, ranges: Ranges | None
) -> Iterator[Deviation]:
    """Yield what of a step that is done isn't as planned, but for its order and time."""
    planned, event = step.action, entry.event
    if state == OTHERWISE:
        code = "other-thing" if event.action == planned.action else "other-action"
        yield Deviation(code, f"{_told(event)} instead of {_told(planned)}")
    if planned.by and event.by and event.by != planned.by:
        yield Deviation("other-doer", f"by {event.by}, planned {planned.by}")
    if event.outing and event.outing != step.outing:
        yield Deviation("other-outing", f"in {event.outing}, planned for {step.outing}")
    yield from _values(planned, event, ranges)
    if id(entry) in matched.named and matched.named[id(entry)] != step.id:
        yield Deviation("other-step", f"recorded as of step {matched.named[id(entry)]}")
    skip = matched.skipped.get(step.id)
    if skip is not None and state == OTHERWISE and not stands_for(matched.plant, planned, event):
        yield Deviation("skipped", f"said to stand for it: {skip.event.reason or ''}")
    elif skip is not None:
        yield Deviation("skipped-first", "it was skipped first, and then done all the same")


def _barred(now: View, action: Action) -> Iterator[Deviation]:
    """Yield every defect that keeps a step from being done."""
    for defect in sorted(barring(now, action), key=lambda one: one.since):
        yield Deviation("barred", f"can't be done: {defect.cause}, event {defect.event}")


def _values(planned: Action, event: Event, ranges: Ranges | None) -> Iterator[Deviation]:
    for name in dict.fromkeys((*planned.values, *event.values)):
        found, wanted = event.values.get(name), planned.values.get(name)
        if found is None:
            yield Deviation("no-value", f"{name} wasn't told, planned {wanted}")
            continue
        asked = (
            []
            if ranges is None
            else [one for item in event.subjects for one in ranges(item, name, event.action)]
        )
        outside = [
            (rule, words)
            for rule, low, high, words in asked
            if (low is not None and found.value < low) or (high is not None and found.value > high)
        ]
        if outside:
            rules = ", ".join(f"{rule} asks for {words}" for rule, words in dict.fromkeys(outside))
            plan = "" if wanted is None else f", planned {wanted}"
            yield Deviation("out-of-range", f"{name} {found}{plan}: {rules}")
        elif wanted is not None and not is_same_value(found, wanted):
            yield Deviation("other-value", f"{name} {found}, planned {wanted}")


def is_same_value(found: Quantity, said: Quantity) -> bool:
    """Return whether what was recorded is what was said, whatever units they are in: conversion rounds."""
    return abs(found.value - said.value) <= 1e-9 * max(1.0, abs(said.value))


def _told(action: Action) -> str:
    place = f" at {action.place}" if action.place and action.action in (ac.PLACE, ac.LIFT, ac.FOUND) else ""
    return " ".join(plain_words(action)) + place


def _out_of_order(
    plan: Plan, order: Mapping[str, int], states: Mapping[str, tuple[str, Entry | None]]
) -> Iterator[tuple[str, list[Deviation]]]:
    """Yield the steps that came out of order, and those that were passed over, each with why.

    Of a track as few steps as can be are told to have been out of order: all the others were done in theirs.
    """
    found: dict[str, list[Deviation]] = {}
    tracks: dict[tuple[str, str], list[Step]] = {}
    for step in plan.steps:
        tracks.setdefault((step.outing, step.track), []).append(step)
    for track in tracks.values():
        done = [step.id for step in track if step.id in order]
        kept = {done[i] for i in in_order([order[name] for name in done])}
        for i, name in enumerate(done):
            if name in kept:
                continue
            earlier = next((one for one in done[:i] if order[one] > order[name]), None)
            later = next((one for one in reversed(done[i + 1 :]) if order[one] < order[name]), None)
            why = f"before {earlier}" if earlier is not None else f"after {later}"
            found.setdefault(name, []).append(Deviation("out-of-order", f"out of order: {why}"))
        for i, step in enumerate(track):
            after = next((one.id for one in track[i + 1 :] if one.id in order), None)
            if states[step.id][0] == LEFT and after is not None:
                found.setdefault(step.id, []).append(Deviation("passed-over", f"not done, though {after} is"))
    for step in plan.steps:
        for name in step.after if step.id in order else ():
            if name in order and order[name] > order[step.id]:
                why = f"out of order: before {name}, for which it waits"
            elif states.get(name, (DONE, None))[0] in (LEFT, ELSEWHERE):
                why = f"did not wait for {name}, which is left"
            else:
                continue
            found.setdefault(step.id, []).append(Deviation("out-of-order", why))
    yield from found.items()


def in_order(numbers: Sequence[int]) -> list[int]:
    """Return the places of a longest rising run of numbers, none of which come twice.

    >>> in_order([1, 4, 2, 3]), in_order([2, 3, 4, 1])
    ([0, 2, 3], [0, 1, 2])
    """
    tails: list[int] = []
    ends: list[int] = []
    before: list[int] = []
    for place, number in enumerate(numbers):
        at = bisect_left(tails, number)
        tails[at:] = [number, *tails[at + 1 :]]
        before.append(ends[at - 1] if at else -1)
        ends[at:] = [place, *ends[at + 1 :]]
    found: list[int] = []
    place = ends[-1] if ends else -1
    while place >= 0:
        found.append(place)
        place = before[place]
    return found[::-1]


# --- time ---------------------------------------------------------------------------------------------------------


def _planned_ends(plan: Plan, layout: Layout, hours: Mapping[str, Hours]) -> dict[str, int]:
    """Return when each step was to end, of outings whose start is planned, or that have begun."""
    starts = {o.id: o.start if o.start is not None else hours.get(o.id, Hours()).began for o in plan.outings}
    found: dict[str, int] = {}
    for one in layout.steps:
        start = starts[one.step.outing]
        if start is not None:
            found[one.step.id] = start + one.end - layout.spans[one.step.outing][0]
    return found


def _outing_runs(
    plan: Plan, steps: Sequence[StepRun], at: int, hours: Mapping[str, Hours]
) -> Iterator[OutingRun]:
    for outing in plan.outings:
        own = [one for one in steps if one.step.outing == outing.id]
        times = hours.get(outing.id, Hours())
        done = [one.entry.event.happened for one in own if one.state in (DONE, OTHERWISE) and one.entry]
        began = times.began if times.began is not None or not done else min(done)
        over = sum(one.state in IS_OVER for one in own)
        state = (
            NOT_YET if began is None else OVER if times.ended is not None or over == len(own) else UNDER_WAY
        )
        used = 0 if began is None else (at if times.ended is None else times.ended) - began
        if state == OVER and times.ended is None and done and began is not None:
            used = max(done) - began
        work = likely_length(plan, [one.step for one in own if one.state not in IS_OVER])
        yield OutingRun(
            outing.id,
            state,
            len(own),
            over,
            sum(one.state == SKIPPED for one in own),
            outing.start,
            began,
            times.ended,
            max(used, 0),
            work,
            outing.budget,
        )


def likely_length(plan: Plan, steps: Sequence[Step]) -> int:
    """Return how long some steps of one outing are likely to take, each after those of them that it waits for."""
    if not steps:
        return 0
    names = {step.id for step in steps}
    waiting = tuple(replace(s, after=tuple(a for a in s.after if a in names)) for s in steps)
    outings = tuple(replace(o, start=None) for o in plan.outings if o.id == steps[0].outing)
    schedule = Schedule(Plan("", outings, waiting), 0)
    return max(one.end for one in schedule.lay_out(schedule.at_pace(1)).steps)


def _late_now(
    steps: Sequence[StepRun], outings: Sequence[OutingRun], planned: Mapping[str, int], at: int
) -> int | None:
    """Return how late it is: by what was done last in the outing under way, and by what should be done by now."""
    current = next((one.id for one in reversed(outings) if one.state == UNDER_WAY), None)
    timed = [one for one in steps if one.late is not None and current in (None, one.step.outing)]
    last = max(timed, key=lambda one: one.entry.event.happened if one.entry else 0, default=None)
    late = None if last is None else last.late
    own = (one.step.id for one in steps if one.state == LEFT and one.step.outing == current)
    due = [planned[name] for name in own if name in planned]
    if due and at > min(due):
        late = max(late or 0, at - min(due))
    return late
