"""Clocks of the tests' own: nearly all tests record at fixed times, whatever the day, and whatever their clocks say.

So a server's clock goes as that of whoever asks it, and every time that is said is taken. A test of just that has
clocks and times judged `as_it_is`. A test that something takes no longer than it may has it done `in_time`.
"""

from __future__ import annotations

import signal
from collections.abc import Iterator
from contextlib import contextmanager

import pytest

from cfgtrack.model.setting import SETTINGS, SPANS
from cfgtrack.store import clock

DEFAULTS = {name: SETTINGS[name] for name in SPANS}
"""How far clocks and times may be off where a plant doesn't say."""

_is_served = clock.is_served


def take_any_time() -> None:
    """Have every plant that doesn't say otherwise take any time that is said, by any clock."""
    SETTINGS.update(dict.fromkeys(SPANS, ("36525 d",)))
    clock.is_served = lambda database: False


def as_it_is(monkeypatch: pytest.MonkeyPatch) -> None:
    """Have clocks and times be judged as they are outside the tests."""
    for name, default in DEFAULTS.items():
        monkeypatch.setitem(SETTINGS, name, default)
    monkeypatch.setattr(clock, "is_served", _is_served)


@contextmanager
def in_time(seconds: int) -> Iterator[None]:
    """Raise TimeoutError where what is done takes longer, by the machine's own clock."""

    def late(*_: object) -> None:
        raise TimeoutError(f"not done in {seconds} s")

    before = signal.signal(signal.SIGALRM, late)
    signal.alarm(seconds)
    try:
        yield
    finally:
        signal.alarm(0)
        signal.signal(signal.SIGALRM, before)
