"""Settings of a plant: how its record is kept. Items of the definition like all others, so they have a history too."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache

from cfgtrack.model.time import parse_duration

UNSIGNED = "unsigned-events"
ALLOWED, REFUSED = "allowed", "refused"

CLOCK_AHEAD, HAPPENED_AHEAD, HAPPENED_LATE = "clock-ahead", "happened-ahead", "happened-late"

SETTINGS: dict[str, tuple[str, ...]] = {
    UNSIGNED: (ALLOWED, REFUSED),
    CLOCK_AHEAD: ("27 d",),
    HAPPENED_AHEAD: ("30 min",),
    HAPPENED_LATE: ("14 d",),
}
"""What can be set, and to what; the first is so where nothing is said. Of `SPANS` it may be any duration.

`clock-ahead`: how far a clock may be ahead of the last write. A month or year that is set wrongly is at least 28 days:
less than that catches each, however busy the plant is. A plant that lies still for longer sets more, or accepts each.
`happened-ahead`: how far after now something may be said to have happened. A watch differs from a clock by minutes; an
hour is a local time that was taken for UTC. `happened-late`: how long before the last event. What is caught up after a
campaign is days late; half of the shortest month catches a month that is mistyped by whoever is less late than that.
"""

SPANS = frozenset({CLOCK_AHEAD, HAPPENED_AHEAD, HAPPENED_LATE})


@dataclass(frozen=True, slots=True)
class Setting:
    """One setting, and to what it is set."""

    id: str
    value: str


def value_of(settings: Mapping[str, Setting], name: str) -> str:
    """Return to what something is set, of `SETTINGS`."""
    found = settings.get(name)
    return SETTINGS[name][0] if found is None else found.value


def span_of(settings: Mapping[str, Setting], name: str) -> int:
    """Return to what one of `SPANS` is set, in microseconds."""
    return _span(value_of(settings, name))


@cache
def _span(text: str) -> int:
    return parse_duration(text)
