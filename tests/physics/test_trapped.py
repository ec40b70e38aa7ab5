"""Liquid that is shut in, by its own formula: a wall that gives, a table of rises, and what is refused."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cfgtrack.physics.trapped import (
    allowable_warming,
    closed_cylinder,
    open_cylinder,
    pressure_rise,
    tabled_rise,
    tabled_warming,
)

WATER: dict[str, Any] = {"expansivity": 206.6e-6, "compressibility": 45.9e-11}
PIPE: dict[str, Any] = {"diameter": 0.1, "thickness": 0.002, "modulus": 2e11}
POINTS = [(1.0, 4e5), (2.0, 9e5), (5.0, 26e5)]


@given(
    st.floats(1e5, 1e8), st.floats(1e-5, 5e-3), st.floats(1e-11, 1e-8), st.floats(0, 1e-9), st.floats(0, 0.9)
)
def test_rise_and_warming_undo_each_other(rise, expansivity, compressibility, give, part):
    """Warmed by what is allowed, the pressure has risen by what it may."""
    liquid = {
        "expansivity": expansivity,
        "compressibility": compressibility,
        "wall_expansion": part * expansivity,
        "wall_give": give,
    }
    warmed = allowable_warming(rise=rise, **liquid)
    assert warmed is not None
    assert pressure_rise(warmed=warmed, **liquid) == pytest.approx(rise)


def test_a_rigid_wall_is_the_worst_case():
    """A wall that gives or expands, and a leak, each leave less of the rise; a wall that gives allows more warming."""
    rigid = pressure_rise(warmed=5.0, **WATER)
    for less in ({"wall_give": 1e-10}, {"wall_expansion": 36e-6}, {"lost": 1e-4}):
        assert 0 < pressure_rise(warmed=5.0, **WATER, **less) < rigid
    allowed = allowable_warming(rise=20e5, **WATER)
    softer = allowable_warming(rise=20e5, **WATER, wall_give=1e-10)
    assert allowed is not None
    assert softer is not None
    assert softer > allowed


def test_a_wall_that_outgrows_its_liquid():
    """Where the wall expands as much as the liquid any warming is allowed; where it expands more, none is trapped."""
    assert allowable_warming(rise=1e5, **WATER, wall_expansion=206.6e-6) is None
    assert allowable_warming(rise=1e5, **WATER, wall_expansion=3e-4) is None
    with pytest.raises(ValueError, match="no longer fills"):
        pressure_rise(warmed=1.0, **WATER, wall_expansion=3e-4)
    with pytest.raises(ValueError, match="no longer fills"):
        pressure_rise(warmed=1.0, **WATER, lost=3e-4)


@pytest.mark.parametrize(
    ("function", "wrong"),
    [
        (pressure_rise, {"warmed": -0.1, **WATER}),
        (pressure_rise, {"warmed": 1.0, "expansivity": 2e-4, "compressibility": 0.0}),
        (pressure_rise, {"warmed": 1.0, **WATER, "wall_give": -1e-12}),
        (pressure_rise, {"warmed": 1.0, **WATER, "lost": -1e-6}),
        (allowable_warming, {"rise": -1.0, **WATER}),
        (allowable_warming, {"rise": 1.0, "expansivity": 2e-4, "compressibility": -1e-10}),
        (allowable_warming, {"rise": 1.0, **WATER, "wall_give": -1e-12}),
        (closed_cylinder, {**PIPE, "poisson": 0.6}),
        (closed_cylinder, {**PIPE, "thickness": 0.0, "poisson": 0.3}),
        (open_cylinder, {**PIPE, "modulus": 0.0}),
        (open_cylinder, {**PIPE, "diameter": -0.1}),
        (tabled_rise, {"warmed": -1e-9, "points": POINTS}),
        (tabled_warming, {"rise": -1.0, "points": POINTS}),
    ],
)
def test_what_is_not_covered_is_refused(function, wrong):
    """Cooling is never extrapolated to, and what no liquid or wall can be is a ValueError."""
    with pytest.raises(ValueError, match=r"cooling|must|below"):
        function(**wrong)


def test_nothing_at_nothing():
    """A volume that isn't warmed keeps its pressure, and one whose pressure may not rise may not warm."""
    assert pressure_rise(warmed=0.0, **WATER) == allowable_warming(rise=0.0, **WATER) == 0.0
    assert tabled_rise(0.0, POINTS) == tabled_warming(0.0, POINTS) == 0.0


@pytest.mark.parametrize(
    ("warmed", "rise"), [(0.5, 2e5), (1.0, 4e5), (1.5, 6.5e5), (4.0, 20.333e5), (5.0, 26e5)]
)
def test_a_table_of_rises(warmed, rise):
    """At a point of the table its rise is told, between two points what lies straight between them; and back."""
    assert tabled_rise(warmed, POINTS) == pytest.approx(rise, rel=1e-4)
    assert tabled_warming(rise, POINTS) == pytest.approx(warmed, rel=1e-4)


def test_a_table_ends():
    """Beyond its last point a table tells nothing: no straight line is drawn on."""
    assert tabled_rise(5.001, POINTS) is None
    assert tabled_warming(26.1e5, POINTS) is None
