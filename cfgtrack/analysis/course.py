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
        return (one.id if isinstance(one, Event) else one.action.id for one in self.outcomes)

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

    def last_of_instants(self) -> dict[int, Event]:
        """Return of each instant the event that closes it: of a whole proposal the last step, where work could stop."""
        bounds = (BEGIN, END) if self.whole else ()
        return {event.happened: event for event in self.events if event.action not in bounds}


LOW, LIKELY, HIGH = range(3)
"""Which of its durations each step takes."""


def course_of(
    now: Configuration, proposal: Sequence, start: int, begun: Mapping[str, int], *, pace: int = LIKELY
) -> Course:
    """Lay a proposal out, from `now`, which is left as it is; `begun` is when outings began. Raises Deadlock."""
    schedule, then = Schedule(proposal, start, begun), now.fork()
    layout = schedule.lay_out(schedule.at_pace(pace))
    number = {outing.id: i for i, outing in enumerate(proposal.outings)}
    placed: list[tuple[_Place, Event | Impossible]] = [*_bounds(now, proposal, layout, begun)]
    for i, laid in enumerate(layout.steps):
        outcome = resolve(then, replace(laid.step.action, happened=laid.end, id=f"step:{laid.step.id}"))
        if isinstance(outcome, Event):
            then.apply(outcome)
        placed.append(((laid.end, number[laid.step.outing], 1, i), outcome))
    placed.sort(key=lambda one: one[0])
    return Course(
        tuple(outcome for _, outcome in placed), frozenset(_late(proposal, layout, begun)), proposal.whole
    )


def _bounds(
    now: Configuration, proposal: Sequence, layout: Layout, begun: Mapping[str, int]
) -> Iterator[tuple[_Place, Event]]:
    """Yield the beginnings and ends of the outings, each with what it is sorted by."""
    for number, outing in enumerate(proposal.outings if proposal.whole else ()):
        for action, time, rank in zip((BEGIN, END), layout.spans[outing.id], (0, 2), strict=True):
            if action == BEGIN and outing.id in begun:
                continue
            event = resolve(now, Action(f"{action}:{outing.id}", action, (), time, outing=outing.id))
            assert isinstance(event, Event), event.refusals
            yield (time, number, rank, 0), event


def _late(proposal: Sequence, layout: Layout, begun: Mapping[str, int]) -> Iterable[str]:
    for outing in proposal.outings:
        begin, end = layout.spans[outing.id]
        if outing.budget is not None and end - begun.get(outing.id, begin) > outing.budget:
            yield outing.id
