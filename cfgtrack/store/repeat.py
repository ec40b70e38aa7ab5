"""The same id twice: a repeat, which is harmless, or two different events, which is not."""

from __future__ import annotations

from collections.abc import Iterator

from cfgtrack.model.event import Event

_AS_GIVEN = ("action", "happened", "facing", "status", "by", "basis", "values", "outing", "remark")
_AS_GIVEN_TOO = ("supersedes", "withdraws", "explains", "reason", "initial", "body")


def differences(given: Event, recorded: Event) -> list[str]:
    """Return the names of what differs between an event as it is given again and as it was recorded.

    What recording fills in (mate, what moved along, who lifts) may be left out again. The initial state is the
    same whoever loads it.
    """
    return [*_plain(given, recorded), *_filled_in(given, recorded)]


def _plain(given: Event, recorded: Event) -> Iterator[str]:
    for name in (*_AS_GIVEN, *_AS_GIVEN_TOO):
        if getattr(given, name) != getattr(recorded, name):
            yield name
    if given.recorder != recorded.recorder and not given.initial:
        yield "recorder"


def _filled_in(given: Event, recorded: Event) -> Iterator[str]:
    if given.subjects != recorded.subjects[: len(given.subjects)]:
        yield "subjects"
    for name in ("place", "peer"):
        if getattr(given, name) not in (None, getattr(recorded, name)):
            yield name
    if given.moved and given.moved != recorded.moved:
        yield "moved"
