"""Torque, preload and stress area against worked examples and printed tables."""

from __future__ import annotations

from math import pi

import pytest

from cfgtrack.physics.bolts import (
    preload,
    proof_fraction,
    stress_area_metric,
    stress_area_unified,
    torque_for,
)

INCH = 0.0254
POUND = 4.4482216152605
PSI = POUND / INCH**2


def test_wentzell_6_1():
    """Wentzell, Machine Design, example 6.1: a 3/4-10 UNC bolt (0.334 in2, proof 85 ksi) tightened to 0.85 of its proof
    load has 24,131.5 lb, and needs 3,619.73 lb in at K 0.2.
    """
    force = 0.85 * 0.334 * INCH**2 * 85_000 * PSI
    assert force / POUND == pytest.approx(24_131.5, rel=1e-6)
    assert proof_fraction(preload=force, area=0.334 * INCH**2, proof=85_000 * PSI) == pytest.approx(0.85)
    torque = torque_for(preload=force, diameter=0.75 * INCH, nut_factor=0.2)
    assert torque / (POUND * INCH) == pytest.approx(3_619.73, abs=0.006)
    back = preload(torque=torque, diameter=0.75 * INCH, nut_factor=0.2)
    assert back.likely / POUND == pytest.approx(24_131.5, rel=1e-6)


def test_wentzell_6_4():
    """Wentzell, Machine Design, example 6.4: a 1.25 in stud (1.073 in2) at 0.9 of 120 ksi with K 0.15 is tightened with
    21,728.25 lb in.
    """
    force = 0.9 * 120_000 * PSI * 1.073 * INCH**2
    torque = torque_for(preload=force, diameter=1.25 * INCH, nut_factor=0.15)
    assert torque / (POUND * INCH) == pytest.approx(21_728.25, abs=0.01)


@pytest.mark.parametrize(
    ("factor", "torque"), [(0.30, 72.7), (0.25, 60.6), (0.20, 48.5), (0.15, 36.3), (0.10, 24.2)]
)
def test_table_of_torques(factor, torque):
    """A printed table of torques (the note of it doesn't keep its title): a 0.190 in screw gets 1,275 lb from 72.7 /
    60.6 / 48.5 / 36.3 / 24.2 in lb at nut factors of 0.30 to 0.10.
    """
    found = torque_for(preload=1_275 * POUND, diameter=0.190 * INCH, nut_factor=factor)
    assert found / (POUND * INCH) == pytest.approx(torque, abs=0.0501)


def test_mott_19():
    """Mott, Machine Elements in Mechanical Design, ch. 19: 1,500 lb in a 1/4-20 screw take 56.25 lb in at K 0.15."""
    found = torque_for(preload=1_500 * POUND, diameter=0.25 * INCH, nut_factor=0.15)
    assert found / (POUND * INCH) == pytest.approx(56.25, abs=0.005)


@pytest.mark.parametrize(
    ("diameter", "threads", "area"),
    [
        (1 / 4, 20, 0.0318),
        (1 / 4, 28, 0.0364),
        (3 / 8, 16, 0.0775),
        (3 / 8, 24, 0.0878),
        (5 / 8, 11, 0.2260),
        (5 / 8, 18, 0.2560),
        (3 / 4, 10, 0.3340),
    ],
)
def test_unified_areas(diameter, threads, area):
    """The tensile stress areas of inch threads, in2, are those printed in textbooks by ASME B1.1's formula."""
    found = stress_area_unified(diameter=diameter * INCH, pitch=INCH / threads)
    assert found / INCH**2 == pytest.approx(area, rel=3e-3)


@pytest.mark.parametrize(
    ("diameter", "pitch", "area"), [(8, 1.25, 36.61), (10, 1.5, 57.99), (12, 1.75, 84.27)]
)
def test_metric_areas(diameter, pitch, area):
    """The nominal stress areas of metric threads, mm2, are those of ISO 898-1's formula."""
    found = stress_area_metric(diameter=diameter / 1000, pitch=pitch / 1000)
    assert found * 1e6 == pytest.approx(area, abs=0.005)


def test_metric_area_is_that_of_the_mean_core():
    """ISO 898-1's second form: the area of a circle whose diameter is the mean of pitch and minor diameter of the basic
    profile, d - 0.6495 p and d - 1.2269 p (from memory).
    """
    mean = ((0.016 - 0.649519 * 0.002) + (0.016 - 1.226869 * 0.002)) / 2
    assert stress_area_metric(diameter=0.016, pitch=0.002) == pytest.approx(pi / 4 * mean**2, rel=1e-5)
