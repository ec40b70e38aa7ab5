"""What is to come, laid out in time: the events of a proposal with the beginnings and ends of its outings."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace

from cfgtrack.model.action import BEGIN, END, Action
from cfgtrack.model.configuration import Configuration
from cfgtrack.model.event import Event
from cfgtrack.model.possibility import Impossible, resolve
from cfgtrack.model.sequence import Layout, Schedule, Sequence
from cfgtrack.rules.engine import Engine

_Place = tuple[int, int, int, int]
"""Where something stands in the order: its time, its outing, and what it is and where it was written in it."""


@dataclass(frozen=True, slots=True)
class Course:
    """What is to come, in order; what is said in it and can't be done stands there as `Impossible`.

    `too_long` are the outings that take longer than their budgets. Of one that is `whole` it is asked what must hold at
    ends, too.
    """

    outcomes: tuple[Event | Impossible, ...] = ()
    too_long: frozenset[str] = frozenset()
    whole: bool = False

    @property
    def events(self) -> Iterator[Event]:
        """The events, without what can't be done."""
        return (one for one in self.outcomes if isinstance(one, Event))

    @property
    def ids(self) -> Iterator[str]:
        """The ids of all, in order."""
        return (done_by(one).id for one in self.outcomes)

    @property
    def refused(self) -> frozenset[str]:
        """The ids of what can't be done."""
        return frozenset(one.action.id for one in self.outcomes if isinstance(one, Impossible))

    def close(self, engine: Engine, event: Event) -> None:
        """Close the instant of an event, where the work of a whole proposal could stop."""
        if self.whole:
            engine.stop_point(event)
        else:
            engine.settle()

    def run(self, engine: Engine) -> Iterator[Event | None]:
        """Have an engine judge it; yield each event when it is judged, and None when what must hold at the end is."""
        last = self.last_of_instants()
        for event in self.events:
            engine.step(event)
            if last.get(event.happened) is event:
                self.close(engine, event)
            yield event
        if self.whole:
            engine.end_sequence()
        engine.settle()
        yield None

    def last_of_instants(self) -> dict[int, Event]:
        """Return of each instant the event that closes it: of a whole proposal the last step, where work could stop."""
        bounds = (BEGIN, END) if self.whole else ()
        return {event.happened: event for event in self.events if event.action not in bounds}


def done_by(outcome: Event | Impossible) -> Action:
    """Return what is said to be done, whether it can be or not."""
    return outcome if isinstance(outcome, Event) else outcome.action


LOW, LIKELY, HIGH = range(3)
"""Which of its durations each step takes."""


def course_of(
    now: Configuration, proposal: Sequence, start: int, begun: Mapping[str, int], *, pace: int = LIKELY
) -> Course:
    """Lay a proposal out, from `now`, which is left as it is; `begun` is when outings began. Raises Deadlock."""
    schedule, then = Schedule(proposal, start, begun), now.fork()
    layout = schedule.lay_out(schedule.at_pace(pace))
    outcomes = list[Event | Impossible]()
    for laid in layout.steps:
        outcome = resolve(then, replace(laid.step.action, happened=laid.end, id=f"step:{laid.step.id}"))
        if isinstance(outcome, Event):
            then.apply(outcome)
        outcomes.append(outcome)
    placed = in_turn(proposal, layout, outcomes, bounds(now, proposal, layout, begun))
    return Course(tuple(placed), frozenset(late(proposal, layout, begun)), proposal.whole)


def bounds(
    now: Configuration, proposal: Sequence, layout: Layout, begun: Mapping[str, int]
) -> Iterator[tuple[Event, int]]:
    """Yield the beginnings and ends of the outings of a whole proposal, each with its rank within an instant."""
    for outing in proposal.outings if proposal.whole else ():
        for action, time, rank in zip((BEGIN, END), layout.spans[outing.id], (0, 2), strict=True):
            if action == END or outing.id not in begun:
                event = resolve(now, Action(f"{action}:{outing.id}", action, (), time, outing=outing.id))
                assert isinstance(event, Event), event.refusals
                yield event, rank


def in_turn(
    proposal: Sequence,
    layout: Layout,
    outcomes: Iterable[Event | Impossible],
    ends: Iterable[tuple[Event, int]],
) -> Iterator[Event | Impossible]:
    """Return in order what the steps of a proposal are, amid the beginnings and ends of its outings."""
    number = {outing.id: i for i, outing in enumerate(proposal.outings)}
    placed: list[tuple[_Place, Event | Impossible]] = [
        ((event.happened, number[event.outing or ""], rank, i), event) for i, (event, rank) in enumerate(ends)
    ]
    placed += [
        ((laid.end, number[laid.step.outing], 1, i), outcome)
        for i, (outcome, laid) in enumerate(zip(outcomes, layout.steps, strict=True))
    ]
    placed.sort(key=lambda one: one[0])
    return (outcome for _, outcome in placed)


def late(proposal: Sequence, layout: Layout, begun: Mapping[str, int]) -> Iterator[str]:
    """Yield the outings that take longer than their budgets."""
    for outing in proposal.outings:
        begin, end = layout.spans[outing.id]
        if outing.budget is not None and end - begun.get(outing.id, begin) > outing.budget:
            yield outing.id
