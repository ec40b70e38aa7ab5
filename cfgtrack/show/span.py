"""Durations and deadlines as text, no finer than anybody can act on."""

from __future__ import annotations

from cfgtrack.model.time import SECOND, format_duration, format_instant

_FINE = 10 * SECOND


def span_text(duration: int, *, up: bool = False) -> str:
    """Return a duration in microseconds in whole seconds, rounded down, or with `up` up; exact below 10 s.

    >>> span_text(17_164_516_930), span_text(61_000_001, up=True), span_text(4_516_930)
    ('4 h 46 min 4 s', '1 min 2 s', '4.51693 s')
    """
    if abs(duration) < _FINE:
        return format_duration(duration)
    return format_duration((-(-duration // SECOND) if up else duration // SECOND) * SECOND)


def deadline_text(instant: int) -> str:
    """Return a deadline in whole seconds, never later than it is.

    >>> deadline_text(4_516_930)
    '1970-01-01T00:00:04Z'
    """
    return format_instant(instant // SECOND * SECOND)
