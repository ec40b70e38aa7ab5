"""The same id twice: a repeat, which is harmless, or two different events, which is not."""

from __future__ import annotations

from collections.abc import Iterator

from cfgtrack.model.action import Action
from cfgtrack.model.codec import SAID
from cfgtrack.model.event import Event

_MAY_BE_LEFT_OUT = ("id", "recorder", "subjects", "place")
_AS_GIVEN = tuple(told.name for told in SAID if told.name not in _MAY_BE_LEFT_OUT)


def differences(given: Action, recorded: Event) -> list[str]:
    """Return the names of what differs between an action as it is given again and the event that was recorded.

    What recording fills in (mate, what moved along, who lifts) may be left out again. The initial state is the
    same whoever loads it.
    """
    return list(_differing(given, recorded))


def _differing(given: Action, recorded: Event) -> Iterator[str]:
    yield from (name for name in _AS_GIVEN if getattr(given, name) != getattr(recorded, name))
    if given.recorder != recorded.recorder and not given.initial:
        yield "recorder"
    if given.subjects != recorded.subjects[: len(given.subjects)]:
        yield "subjects"
    if given.place not in (None, recorded.place):
        yield "place"
    if isinstance(given, Event):
        if given.peer not in (None, recorded.peer):
            yield "peer"
        if given.moved not in ((), recorded.moved):
            yield "moved"
