"""What is foreseen after a step: the configuration when all of a proposal up to that step has been done as written."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace

from cfgtrack.model.configuration import Configuration
from cfgtrack.model.event import Event
from cfgtrack.model.possibility import Impossible, Refusal, resolve
from cfgtrack.model.presence import Telling
from cfgtrack.model.sequence import Schedule, Sequence, expect_in_time


@dataclass(frozen=True, slots=True)
class After:
    """The configuration `at` the end of a step, with likely durations, and the `events` that lead to it, in order."""

    configuration: Configuration
    at: int
    events: tuple[Event, ...]


class CannotFollow(Exception):
    """A step on the way that can't be done, and so nothing is foreseen after it. `refusals` say why."""

    def __init__(self, step: str, refusals: Iterable[Refusal]) -> None:
        super().__init__(step)
        self.step, self.refusals = step, tuple(refusals)


def after(
    now: Configuration, proposal: Sequence, step: str, at: int, *, begun: Mapping[str, int] | None = None
) -> After:
    """Return what is foreseen after a step of a proposal that begins at a moment. KeyError for no such step.

    Raises CannotFollow, and TooEarly as a check does.
    """
    expect_in_time(proposal, at, begun or {})
    schedule = Schedule(proposal, at, begun)
    schedule.number[step]  # KeyError
    ahead = now.fork()
    events: list[Event] = []
    for laid in schedule.lay_out(schedule.at_pace(1)).steps:
        outcome = resolve(ahead, replace(laid.step.action, happened=laid.end), Telling.PROPOSED)
        if isinstance(outcome, Impossible):
            raise CannotFollow(laid.step.id, outcome.refusals)
        ahead.apply(outcome)
        events.append(outcome)
        if laid.step.id == step:
            return After(ahead, laid.end, tuple(events))
    raise KeyError(step)
