"""The thermal clock by its own formula: what it tells is when the lump is at its limit, and its edges."""

from __future__ import annotations

from math import exp, inf
from typing import Any

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from cfgtrack.physics.thermal import time_to_limit

KELVIN = st.floats(20.0, 500.0)
CAPACITY = st.floats(1.0, 1e6)
LEAK = st.floats(0.01, 100.0)
LUMP: dict[str, Any] = {"capacity": 1000.0, "leak": 2.0}


@given(CAPACITY, LEAK, KELVIN, KELVIN, st.floats(0.0, 1000.0), st.floats(0.001, 0.999))
def test_the_lump_is_at_its_limit_then(capacity, leak, start, sink, heater, part):
    """After the time told, T = Te + (T0 - Te) exp(-t G/C) is the limit (Incropera, section 5.1)."""
    end = sink + heater / leak
    limit = start + part * (end - start)
    time = time_to_limit(
        capacity=capacity, leak=leak, start=start, sink=sink, limit=limit, heater=heater, lower=end < start
    )
    assume(time is not None)
    assert time is not None
    assert end + (start - end) * exp(-time * leak / capacity) == pytest.approx(limit, rel=1e-9)


@given(KELVIN, KELVIN, KELVIN, st.booleans())
def test_beyond_now_never_or_in_between(start, sink, limit, lower):
    """A lump that is beyond its limit has no time left; one that tends to the safe side never gets there; there is no
    third way without a time.
    """
    time = time_to_limit(**LUMP, start=start, sink=sink, limit=limit, lower=lower)
    beyond, tends_beyond = (start < limit, sink < limit) if lower else (start > limit, sink > limit)
    if beyond:
        assert time == 0.0
    elif not tends_beyond:
        assert time is None
    else:
        assert time is not None
        assert time >= 0.0


@pytest.mark.parametrize(
    ("start", "sink", "limit", "lower", "time"),
    [
        (300.0, 310.0, 250.0, True, None),  # warms, and only cold is dangerous
        (300.0, 290.0, 350.0, False, None),  # cools, and only heat is dangerous
        (240.0, 310.0, 250.0, True, 0.0),  # too cold already, though it warms
        (250.0, 240.0, 250.0, True, 0.0),  # at the limit, on its way out
        (250.0, 260.0, 250.0, True, None),  # at the limit, on its way in
        (250.0, 250.0, 250.0, True, None),  # at the limit for good, not beyond it
        (300.0, 250.0, 250.0, True, None),  # tends to the limit and never gets there
        (300.0, 300.0, 250.0, True, None),  # nothing changes
    ],
)
def test_edges(start, sink, limit, lower, time):
    """At the edges it matters which side of the limit is dangerous."""
    assert time_to_limit(**LUMP, start=start, sink=sink, limit=limit, lower=lower) == time


def test_a_heater_that_just_suffices():
    """A heater that holds the lump exactly at its limit is enough; one that is weaker by a hair is not, in the end."""
    enough = 2.0 * (250.0 - 200.0)
    cold = {**LUMP, "start": 300.0, "sink": 200.0, "limit": 250.0}
    assert time_to_limit(**cold, heater=enough) is None
    weaker = time_to_limit(**cold, heater=enough * (1 - 1e-13))
    assert weaker is not None
    assert weaker > 25 * 500.0


@given(st.floats(0.0, 300.0), st.floats(0.0, 300.0))
def test_more_heat_never_means_less_time(one, other):
    """The stronger the heater, the longer a lump stays above its limit."""
    cold = {**LUMP, "start": 300.0, "sink": 200.0, "limit": 250.0}
    less, more = (time_to_limit(**cold, heater=q) for q in sorted((one, other)))
    assert (less if less is not None else inf) <= (more if more is not None else inf)


@pytest.mark.parametrize("wrong", [{"capacity": 0.0}, {"leak": 0.0}, {"leak": -1.0}])
def test_no_lump(wrong):
    """Without heat capacity or leak there is no such clock."""
    with pytest.raises(ValueError, match="positive"):
        time_to_limit(**{**LUMP, **wrong}, start=300.0, sink=200.0, limit=250.0)
