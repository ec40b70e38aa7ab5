"""Sequences: proposals for work. Tracks run side by side, one a worker or machine, within outings."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator, Mapping
from collections.abc import Sequence as Several
from dataclasses import dataclass, field

from cfgtrack.model.action import Action
from cfgtrack.model.time import DAY, MINUTE


@dataclass(frozen=True, slots=True)
class Step:
    """One step. `takes` is its (low, likely, high) duration in microseconds; `after` names steps it waits for.

    `action` is an event still without a time: `happened` is set when the sequence is laid out in time. `where` is
    the file and line it was written at. Its duration is `assumed` where it isn't said; and its doer, the one of the
    track's name, where neither the track nor the step says by whom.
    """

    id: str
    outing: str
    track: str
    action: Action
    takes: tuple[int, int, int]
    after: tuple[str, ...] = ()
    title: str = ""
    where: str = ""
    assumed: bool = False
    doer_assumed: bool = False


ASSUMED = (5 * MINUTE, 5 * MINUTE, 5 * MINUTE)
"""How long a step takes of which nobody has said that: low, likely and high."""


@dataclass(frozen=True, slots=True)
class Outing:
    """A bounded work period. `start` in microseconds, None for right after the one before; `budget` likewise.

    `where` is the file and line it was written at.
    """

    id: str
    start: int | None = None
    budget: int | None = None
    title: str = ""
    where: str = field(default="", compare=False)


@dataclass(frozen=True, slots=True)
class LeftRunning:
    """A clock that a sequence leaves running by intent: of a rule and an item, met in a later `outing` from `start`."""

    rule: str
    subject: str
    outing: str
    start: int


@dataclass(frozen=True, slots=True)
class Sequence:
    """A proposed sequence: outings in order, steps in the order in which they were written.

    One that is not `whole` is a piece of work whose end nobody has proposed: nothing is asked that holds at an end.
    `leaves_open` names findings, by fingerprint, that are open before it and are left so; `leaves_running` clocks.
    """

    title: str = ""
    outings: tuple[Outing, ...] = ()
    steps: tuple[Step, ...] = ()
    where: str = ""
    whole: bool = True
    leaves_open: tuple[str, ...] = ()
    leaves_running: tuple[LeftRunning, ...] = ()

    def tracks(self, outing: str) -> dict[str, list[Step]]:
        """Return the steps of an outing by track, each in order."""
        out: dict[str, list[Step]] = {}
        for step in self.steps:
            if step.outing == outing:
                out.setdefault(step.track, []).append(step)
        return out


@dataclass(frozen=True, slots=True)
class Laid:
    """A step laid out in time: it runs from `start` to `end`, and its action happens at `end`."""

    step: Step
    start: int
    end: int


@dataclass(frozen=True, slots=True)
class Layout:
    """A sequence laid out in time, in the order in which its actions happen. `spans`: outing to (start, end)."""

    steps: tuple[Laid, ...]
    spans: dict[str, tuple[int, int]] = field(default_factory=dict)


class Deadlock(Exception):
    """Steps that wait for each other. `steps` are their ids."""

    def __init__(self, steps: tuple[str, ...]) -> None:
        super().__init__(f"these steps wait for each other: {', '.join(steps)}")
        self.steps = steps


class TooEarly(Exception):
    """Outings that would start before the `moment` that is asked about. `first` is the earliest of them.

    `starts` gives every outing with a start a new one, so many whole days later that none is too early: the gaps
    between them stay, and the time of day.
    """

    def __init__(self, first: Outing, moment: int, outings: Several[Outing]) -> None:
        assert first.start is not None
        super().__init__(f"outing {first.id} would start before the moment asked about")
        self.first, self.moment = first, moment
        later = -((first.start - moment) // DAY) * DAY
        self.starts = {outing.id: outing.start + later for outing in outings if outing.start is not None}


def expect_in_time(sequence: Sequence, moment: int, begun: Mapping[str, int]) -> None:
    """Raise TooEarly where an outing, of those not `begun` already, would start before a moment."""
    ahead = [o for o in sequence.outings if o.id not in begun]
    early = [o for o in ahead if o.start is not None and o.start < moment]
    if early:
        raise TooEarly(min(early, key=lambda o: o.start or 0), moment, ahead)


@dataclass(frozen=True, slots=True)
class DoerWait:
    """That a step waits for another because one doer does both, in two tracks."""

    step: str
    waits_for: str
    doer: str


def doer_waits(sequence: Sequence) -> tuple[DoerWait, ...]:
    """Return the waits of a sequence that come of nobody's doing two things at once. Raises Deadlock.

    A track is a list of work, and one person may have several. A doer does one thing at a time: of the steps that he
    could begin he takes the one that he can begin first, and at a tie the one that is written first. That is settled
    once, with likely durations, and kept whatever the steps then take, as people keep to an order that was agreed on.
    So it is a wait like any other, and all that is known of waits holds: longest ways, floats, worst mixes, samples.
    """
    written = {step.id: number for number, step in enumerate(sequence.steps)}
    waits: list[DoerWait] = []
    for outing in sequence.outings:
        tracks = sequence.tracks(outing.id)
        doers = [{step.action.by for step in steps} - {None, ""} for steps in tracks.values()]
        if sum(map(len, doers)) > len(set().union(*doers)):
            waits += _waits_in(tracks, written)
    return tuple(waits)


def _waits_in(tracks: Mapping[str, Several[Step]], written: Mapping[str, int]) -> Iterator[DoerWait]:
    """Yield the waits of one outing: its steps are taken up one after the other, whichever can begin first."""
    here = {step.id for steps in tracks.values() for step in steps}
    waiting = {track: deque(steps) for track, steps in tracks.items() if steps}
    ends: dict[str, int] = {}
    free_track: dict[str, int] = {}
    last_of: dict[str, Step] = {}
    while waiting:
        ready: list[tuple[int, int, str]] = []
        for track, steps in waiting.items():
            step = steps[0]
            ahead = [one for one in step.after if one in here]
            if all(one in ends for one in ahead):
                last = last_of.get(step.action.by or "")
                begin = max(
                    free_track.get(track, 0), ends[last.id] if last else 0, *(ends[a] for a in ahead), 0
                )
                ready.append((begin, written[step.id], track))
        if not ready:
            raise Deadlock(tuple(steps[0].id for steps in waiting.values()))
        begin, _, track = min(ready)
        step = waiting[track].popleft()
        if not waiting[track]:
            del waiting[track]
        doer = step.action.by
        if doer:
            last = last_of.get(doer)
            if last is not None and last.track != track and last.id not in step.after:
                yield DoerWait(step.id, last.id, doer)
            last_of[doer] = step
        ends[step.id] = free_track[track] = begin + step.takes[1]


NEVER = -(1 << 63)
"""The floor of a point that has none."""


class Schedule:
    """What comes after what in a sequence: the beginnings and ends of its outings and the steps, as a network.

    The points of the network are numbered so that each comes after all that lead to it. A point is at the latest of
    those `before` it, and not before its `floor`, and of a step so much later as that takes. `takes` holds what each
    takes at least, likely and at most (low, likely, high); beginnings and ends take nothing. `written` tells as which
    of the steps each was written, -1 for none.

    A step starts when its track is free and all that it waits for has ended, and its doer has nothing else to do
    (`doer_waits`, if `one_at_a_time`); its action happens when it ends. `waits` are what each step waits for, all told.
    An outing begins at its start, else at `start` or the end of the one before it; never before that is over. One that
    has `begun` already goes on at `start`. Raises Deadlock.
    """

    def __init__(
        self,
        sequence: Sequence,
        start: int,
        begun: Mapping[str, int] | None = None,
        *,
        one_at_a_time: bool = True,
    ) -> None:
        self.sequence = sequence
        self.begun = {} if begun is None else begun
        self.steps: list[Step | None] = []
        self.before: list[list[int]] = []
        self.floor: list[int] = []
        self.takes: list[tuple[int, int, int]] = []
        self.spans: dict[str, tuple[int, int]] = {}
        self.number: dict[str, int] = {}
        self._written = {step.id: i for i, step in enumerate(sequence.steps)}
        self.written: list[int] = []
        self.doer_waits = doer_waits(sequence) if one_at_a_time else ()
        self.waits = {step.id: step.after for step in sequence.steps}
        for wait in self.doer_waits:
            self.waits[wait.step] = (*self.waits[wait.step], wait.waits_for)
        latest: list[int] = []
        last: int | None = None
        for outing in sequence.outings:
            planned = None if outing.id in self.begun else outing.start
            floor = start if planned is None else planned
            # What is over before the outing may start, however long it takes, doesn't lead to it.
            leads = last is not None and (planned is None or latest[last] > planned)
            begin = self._point(None, [last] if leads and last is not None else [], floor, latest)
            inside = [self._point(*one, NEVER, latest) for one in _in_turn(self, outing.id, begin)]
            last = self._point(None, [begin, *inside], NEVER, latest)
            self.spans[outing.id] = (begin, last)

    def _point(self, step: Step | None, before: list[int], floor: int, latest: list[int]) -> int:
        number = len(self.steps)
        takes = (0, 0, 0) if step is None else step.takes
        self.steps.append(step)
        self.before.append(before)
        self.floor.append(floor)
        self.takes.append(takes)
        latest.append(max([floor, *(latest[p] for p in before)]) + takes[2])
        self.written.append(-1 if step is None else self._written[step.id])
        if step is not None:
            self.number[step.id] = number
        return number

    def times(self, takes: Several[int]) -> list[int]:
        """Return when each point is, given what each takes."""
        out: list[int] = []
        for floor, before, span in zip(self.floor, self.before, takes, strict=True):
            out.append((max(floor, *[out[p] for p in before]) if before else floor) + span)
        return out

    def at_pace(self, pace: int) -> tuple[int, ...]:
        """Return what each point takes when all are as quick as can be (0), as is likely (1), or as slow (2)."""
        return tuple(takes[pace] for takes in self.takes)

    def lay_out(self, takes: Several[int]) -> Layout:
        """Lay the sequence out in time. What happens at one instant keeps the order in which it was written."""
        times = self.times(takes)
        laid = [
            Laid(step, end - span, end)
            for step, end, span in zip(self.steps, times, takes, strict=True)
            if step is not None
        ]
        laid.sort(key=lambda one: (one.end, self._written[one.step.id]))
        return Layout(tuple(laid), {o: (times[a], times[b]) for o, (a, b) in self.spans.items()})


def _in_turn(schedule: Schedule, outing: str, begin: int) -> Iterator[tuple[Step, list[int]]]:
    """Yield the steps of an outing, each after all that it waits for, with the points before it. Raises Deadlock."""
    tracks = schedule.sequence.tracks(outing)
    free = dict.fromkeys(tracks, begin)
    waiting = {track: deque(steps) for track, steps in tracks.items()}
    while waiting:
        ready = [
            t
            for t, steps in waiting.items()
            if all(a in schedule.number for a in schedule.waits[steps[0].id])
        ]
        if not ready:
            raise Deadlock(tuple(steps[0].id for steps in waiting.values()))
        for track in ready:
            step = waiting[track].popleft()
            yield step, [free[track], *(schedule.number[a] for a in schedule.waits[step.id])]
            free[track] = schedule.number[step.id]
            if not waiting[track]:
                del waiting[track]


def lay_out(sequence: Sequence, start: int) -> Layout:
    """Lay a sequence out in time with its likely durations. Raises Deadlock: see `Schedule`."""
    schedule = Schedule(sequence, start)
    return schedule.lay_out(schedule.at_pace(1))
