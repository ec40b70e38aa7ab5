"""The thermal clock against textbook examples and against an ODE that scipy integrates."""

from __future__ import annotations

from collections.abc import Sequence
from math import pi

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cfgtrack.physics.thermal import time_to_limit


def sphere(*, diameter: float, density: float, heat: float, transfer: float) -> dict[str, float]:
    """Return capacity and leak of a sphere: m, kg/m3, J/kg K, W/m2 K."""
    return {
        "capacity": density * heat * pi * diameter**3 / 6,
        "leak": transfer * pi * diameter**2,
    }


class Crossing:
    """Where scipy is to stop: at the temperature `limit`, crossed downwards (-1) or upwards (1)."""

    terminal = True

    def __init__(self, limit: float, direction: float) -> None:
        self.limit = limit
        self.direction = direction

    def __call__(self, _: float, temperature: Sequence[float]) -> float:
        """Return how far the lump is above the limit."""
        return temperature[0] - self.limit


def test_incropera_5_1():
    """Incropera, Fundamentals of Heat and Mass Transfer, example 5.1: a bead with h 400, c 400, rho 8500 whose time
    constant is 1 s measures 0.706 mm across, and goes from 25 to 199 degC in a gas at 200 degC in 5.2 s.
    """
    bead = sphere(diameter=7.06e-4, density=8500, heat=400, transfer=400)
    assert bead["capacity"] / bead["leak"] == pytest.approx(1.0, abs=5e-4)
    time = time_to_limit(**bead, start=298.15, sink=473.15, limit=472.15, lower=False)
    assert time == pytest.approx(5.1648, abs=2e-3)


def test_cengel_4_1():
    """Cengel, Heat Transfer, example 4-1: a bead of 1 mm with rho 8500, c 320, h 210 shows 99 % of a change of
    temperature after 10 s.
    """
    bead = sphere(diameter=1e-3, density=8500, heat=320, transfer=210)
    time = time_to_limit(**bead, start=300.0, sink=400.0, limit=399.0, lower=False)
    assert time == pytest.approx(10.0, abs=0.1)


@given(
    st.floats(1.0, 1e5),
    st.floats(0.1, 50.0),
    st.floats(200.0, 350.0),
    st.floats(50.0, 350.0),
    st.floats(150.0, 400.0),
    st.floats(0.0, 500.0),
    st.booleans(),
)
@settings(max_examples=60)
def test_ode(capacity, leak, start, sink, limit, heater, lower):
    """scipy's integration of C dT/dt = G (Ts - T) + Q crosses the limit when the clock says, or not at all."""
    from scipy.integrate import solve_ivp  # type: ignore[import-untyped]

    span = 40 * capacity / leak
    run = solve_ivp(
        lambda _, t: [(leak * (sink - t[0]) + heater) / capacity],
        (0.0, span),
        [start],
        method="DOP853",
        events=Crossing(limit, -1.0 if lower else 1.0),
        rtol=1e-10,
        atol=1e-10,
    )
    time = time_to_limit(
        capacity=capacity, leak=leak, start=start, sink=sink, limit=limit, heater=heater, lower=lower
    )
    crossed = run.t_events[0]
    if time is None or time == 0.0:
        assert len(crossed) == 0 or start == limit or abs(run.y[0][-1] - limit) < 1e-6
    elif time < span / 2:
        # The integrated temperature is good to about 1e-7 K: in time that is that over the slope at the limit.
        slope = abs(leak * (sink - limit) + heater) / capacity
        assert crossed[0] == pytest.approx(time, rel=1e-6, abs=1e-6 / slope)
