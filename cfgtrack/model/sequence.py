"""Sequences: proposals for work. Tracks run side by side, one a worker or machine, within outings."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

from cfgtrack.model.action import Action


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


@dataclass(frozen=True, slots=True)
class Outing:
    """A bounded work period. `start` in microseconds, None for right after the one before; `budget` likewise."""

    id: str
    start: int | None = None
    budget: int | None = None
    title: str = ""


@dataclass(frozen=True, slots=True)
class Sequence:
    """A proposed sequence: outings in order, steps in the order in which they were written.

    One that is not `whole` is a piece of work whose end nobody has proposed: nothing is asked that holds at an end.
    """

    title: str = ""
    outings: tuple[Outing, ...] = ()
    steps: tuple[Step, ...] = ()
    where: str = ""
    whole: bool = True

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


def lay_out(sequence: Sequence, start: int) -> Layout:
    """Lay a sequence out in time with its likely durations, from `start` where no outing says otherwise.

    An outing that should have started before `start`, or before the one ahead of it is over, starts then.

    A step starts when its track is free and all that it waits for has ended; its action happens when it ends.
    Actions that happen at one instant keep the order in which they were written. Raises Deadlock.
    """
    ends: dict[str, int] = {}
    laid: list[tuple[int, int, Laid]] = []
    spans: dict[str, tuple[int, int]] = {}
    order = {step.id: i for i, step in enumerate(sequence.steps)}
    clock = start
    for outing in sequence.outings:
        begin = clock if outing.start is None else max(outing.start, clock)
        finish = begin
        for one in _outing(sequence.tracks(outing.id), begin, ends):
            laid.append((one.end, order[one.step.id], one))
            finish = max(finish, one.end)
        spans[outing.id] = (begin, finish)
        clock = finish
    laid.sort(key=lambda entry: entry[:2])
    return Layout(tuple(one for _, _, one in laid), spans)


def _outing(tracks: dict[str, list[Step]], begin: int, ends: dict[str, int]) -> Iterator[Laid]:
    free = dict.fromkeys(tracks, begin)
    waiting = dict.fromkeys(tracks, 0)
    left = sum(len(steps) for steps in tracks.values())
    while left:
        ready = [t for t, i in waiting.items() if i < len(tracks[t]) and _is_ready(tracks[t][i], ends)]
        if not ready:
            raise Deadlock(tuple(tracks[t][i].id for t, i in waiting.items() if i < len(tracks[t])))
        for track in ready:
            step = tracks[track][waiting[track]]
            begins = max([free[track], *(ends[a] for a in step.after)])
            end = begins + step.takes[1]
            ends[step.id] = free[track] = end
            waiting[track] += 1
            left -= 1
            yield Laid(step, begins, end)


def _is_ready(step: Step, ends: dict[str, int]) -> bool:
    return all(a in ends for a in step.after)
