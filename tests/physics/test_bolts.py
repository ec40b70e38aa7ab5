"""Torque and preload by their own formula: one undoes the other, and what isn't physical is refused."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cfgtrack.physics.bolts import (
    preload,
    proof_fraction,
    stress_area_metric,
    stress_area_unified,
    torque_for,
)

DIAMETER = st.floats(0.001, 0.1)
FACTOR = st.floats(0.05, 0.5)


@given(st.just(0.0) | st.floats(1e-3, 1e4), DIAMETER, FACTOR, st.floats(0.0, 0.99))
def test_torque_and_preload_undo_each_other(torque, diameter, factor, scatter):
    """The torque for the likely preload of a torque is that torque, and the scatter lies evenly about it."""
    low, likely, high = preload(torque=torque, diameter=diameter, nut_factor=factor, scatter=scatter)
    assert torque_for(preload=likely, diameter=diameter, nut_factor=factor) == pytest.approx(torque)
    assert low <= likely <= high
    assert low + high == pytest.approx(2 * likely)
    assert high - low == pytest.approx(2 * scatter * likely, abs=1e-12 * likely)


def test_proof_load_is_all_of_it():
    """A bolt tightened to stress area times proof stress has used up all of its proof load; half of that, half."""
    assert proof_fraction(preload=100e-6 * 600e6, area=100e-6, proof=600e6) == pytest.approx(1.0)
    assert proof_fraction(preload=100e-6 * 300e6, area=100e-6, proof=600e6) == pytest.approx(0.5)


@given(DIAMETER, st.floats(0.01, 0.3))
def test_a_coarser_thread_leaves_less(diameter, part):
    """The stress area is less than the shank's, and less the coarser the thread is."""
    for area in (stress_area_metric, stress_area_unified):
        coarse, fine = (area(diameter=diameter, pitch=diameter * p) for p in (part, part / 2))
        assert 0 < coarse < fine < 0.7854 * diameter**2


@pytest.mark.parametrize(
    ("function", "wrong"),
    [
        (preload, {"torque": -1.0, "diameter": 0.01, "nut_factor": 0.2}),
        (preload, {"torque": 1.0, "diameter": 0.0, "nut_factor": 0.2}),
        (preload, {"torque": 1.0, "diameter": 0.01, "nut_factor": 0.0}),
        (preload, {"torque": 1.0, "diameter": 0.01, "nut_factor": 0.2, "scatter": 1.0}),
        (preload, {"torque": 1.0, "diameter": 0.01, "nut_factor": 0.2, "scatter": -0.1}),
        (torque_for, {"preload": -1.0, "diameter": 0.01, "nut_factor": 0.2}),
        (torque_for, {"preload": 1.0, "diameter": -0.01, "nut_factor": 0.2}),
        (proof_fraction, {"preload": 1.0, "area": 0.0, "proof": 1e6}),
        (proof_fraction, {"preload": 1.0, "area": 1e-6, "proof": 0.0}),
        (stress_area_metric, {"diameter": 0.01, "pitch": 0.01}),
        (stress_area_metric, {"diameter": 0.01, "pitch": 0.0}),
        (stress_area_unified, {"diameter": 0.01, "pitch": 0.02}),
    ],
)
def test_what_is_not_physical_is_refused(function, wrong):
    """A size, a factor or a load that no bolt can have is a ValueError, not a number."""
    with pytest.raises(ValueError, match=r"must|can't"):
        function(**wrong)
