"""What goes on beside the steps of a piece of work, over time: which clocks run, and what holds each unit."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from itertools import groupby
from typing import ClassVar

from cfgtrack.model.action import BEGIN, END
from cfgtrack.model.configuration import Configuration, View
from cfgtrack.model.event import Event, effects
from cfgtrack.model.hold import hangs, holds, is_of_hold, seat_of
from cfgtrack.model.plant import Plant, owner_of
from cfgtrack.model.time import SECOND, Instant
from cfgtrack.rules.engine import Engine

# --- clocks -------------------------------------------------------------------------------------------------------


class ClockEnd(StrEnum):
    """How a clock came to its end. The value is the word for it."""

    MET = "met"
    RAN_OUT = "ran out"
    RUNNING = "still running"


@dataclass(frozen=True, slots=True)
class ClockSpan:
    """A clock from when it `started` to when it `ended`: it was met, ran out at its `deadline`, or still runs then.

    `deadline` is None where physics sets no limit. `started_by` and `ended_by` are the events that did it, None where
    it ran before, still runs, or time alone did it. `counts`: it is left running, which nobody has accounted for.
    """

    told: ClassVar[tuple[str, ...]] = ("left_seconds",)

    rule: str
    title: str
    subject: str
    started: Instant
    deadline: Instant | None
    ended: Instant
    end: ClockEnd
    started_by: str | None = None
    ended_by: str | None = None
    counts: bool = False

    @property
    def left(self) -> int | None:
        """What was left of it when it ended, in microseconds."""
        return None if self.deadline is None else self.deadline - self.ended

    @property
    def left_seconds(self) -> float | None:
        """What was left of it when it ended, in seconds."""
        return None if self.left is None else self.left / SECOND


_Name = tuple[str, str, int, int | None]


def clock_spans(engine: Engine, events: Iterable[Event], *, whole: bool) -> list[ClockSpan]:
    """Let an engine judge events that it is ready for, and return every clock that runs meanwhile, in order.

    Of a `whole` proposal the work could stop at the last step of each instant, as a check has it.
    """
    running: defaultdict[_Name, list[ClockSpan]] = defaultdict(list)
    over: list[ClockSpan] = []
    for clock in engine.clocks():
        name = (clock.rule, clock.subject, clock.started, clock.deadline)
        running[name].append(_running(*name, clock.title, None))
    for _, several in groupby(events, key=lambda event: event.happened):
        instant = list(several)
        stop = next((e for e in reversed(instant) if e.action not in (BEGIN, END)), None)
        for event in instant:
            turned = engine.turned
            engine.step(event)
            if whole and event is stop:
                engine.stop_point(event)
            if event is instant[-1]:
                engine.settle()
            for turn in engine.turns(turned):
                clock = engine.clock_of(turn)
                name = (turn.rule, turn.subject, turn.started, turn.deadline)
                if turn.starts:
                    running[name].append(_running(*name, clock.title, event.id))
                elif running[name]:
                    over.append(_ended(running[name].pop(0), engine.world.now, event.id))
    if whole:
        engine.end_sequence()
    now = engine.world.now
    over += [_left(span, now) for spans in running.values() for span in spans]
    return sorted(over, key=lambda c: (c.started, c.ended, c.rule, c.subject, c.deadline or 0))


def _running(
    rule: str, subject: str, started: int, deadline: int | None, title: str, by: str | None
) -> ClockSpan:
    return ClockSpan(rule, title, subject, started, deadline, started, ClockEnd.RUNNING, by)


def _ended(span: ClockSpan, now: int, by: str) -> ClockSpan:
    """Return a clock that stopped by `now`: before its deadline, or when that was past already."""
    if span.deadline is not None and span.deadline < now:
        return replace(span, ended=span.deadline, end=ClockEnd.RAN_OUT)
    return replace(span, ended=now, end=ClockEnd.MET, ended_by=by)


def _left(span: ClockSpan, now: int) -> ClockSpan:
    """Return a clock that nothing stopped by `now`."""
    if span.deadline is not None and span.deadline < now:
        return replace(span, ended=span.deadline, end=ClockEnd.RAN_OUT)
    return replace(span, ended=max(now, span.started), end=ClockEnd.RUNNING)


# --- what holds a unit ----------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class HoldSpan:
    """What holds a unit from `start` to `end`: each holder, and by how many joints (0: it stands in or on it).

    `held`: whether that comes to a hold at last; a holder that is itself held by nothing holds nothing. `by`: the event
    with which it began, None where it was so before.
    """

    unit: str
    start: Instant
    end: Instant
    holders: Mapping[str, int]
    held: bool
    by: str | None = None


def hold_spans(
    now: Configuration, events: Sequence[Event], units: Sequence[str], start: int, end: int
) -> list[HoldSpan]:
    """Return what holds each of some units from `start` to `end`, span by span, in the order of the units."""
    out: list[HoldSpan] = []
    for unit in units:
        ahead = now.fork()
        span = HoldSpan(unit, start, start, *_held(ahead, unit))
        for event in events:
            ahead.apply(event)
            found = _held(ahead, unit)
            if found != (span.holders, span.held):
                if event.happened > span.start:
                    out.append(replace(span, end=event.happened))
                span = HoldSpan(unit, max(event.happened, start), event.happened, *found, event.id)
        out.append(replace(span, end=max(end, span.start)))
    return out


def _held(view: View, unit: str) -> tuple[dict[str, int], bool]:
    """Return what holds a unit, each with the number of joints, and whether that comes to a place at last."""
    own = Counter(owner_of(joint.far) for joint in holds(view, unit))
    rests = _rests(view, unit)
    holders = {**dict(sorted(own.items())), **({rests: 0} if rests and rests not in own else {})}
    tied = _tied(view, unit)
    is_held = any(one in view.plant.places or _rests(view, one) for one in tied)
    return holders, is_held or hangs(view, unit)


def _tied(view: View, unit: str) -> list[str]:
    """Return a unit and all to which holds lead from it, over units only, whether they give or not."""
    found = [unit]
    for one in found:
        if one in view.plant.units:
            far = (owner_of(joint.far) for joint in holds(view, one))
            found += [owner for owner in dict.fromkeys(far) if owner not in found]
    return found


def _rests(view: View, unit: str) -> str:
    """Return the place that holds a unit by its standing there, or that carries it along: "" for none."""
    seat = seat_of(view, unit)
    at = view.state(unit).value
    return seat or (at if view.plant.is_mobile(at) else "")


def held_units(now: Configuration, events: Sequence[Event]) -> Iterator[str]:
    """Yield the units whose holds events change, in the order in which they come: those that have ports to hold by."""
    plant, seen = now.plant, set[str]()
    for event in events:
        for effect in effects(plant, event):
            unit = owner_of(effect.subject)
            is_new = unit in plant.units and unit not in seen and ":" in effect.subject
            if is_new and is_of_hold(plant, effect.subject) and not _is_loose(plant, unit):
                seen.add(unit)
                yield unit


def _is_loose(plant: Plant, unit: str) -> bool:
    """Return whether a unit has a single port to hold by: a tool or a bag on its tether."""
    return sum(is_of_hold(plant, port) for port in plant.ports_of(unit)) < 2
