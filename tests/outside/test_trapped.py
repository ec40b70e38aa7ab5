"""Liquid that is shut in and warmed, against worked examples, elasticity and an equation of state."""

from __future__ import annotations

from typing import Any

import pytest

from cfgtrack.physics.trapped import (
    allowable_warming,
    closed_cylinder,
    open_cylinder,
    pressure_rise,
)

BAR = 1e5
MPA = 1e6


def test_moran_shapiro_11_6():
    """Moran and Shapiro, Fundamentals of Engineering Thermodynamics, example 11.6: water at 20 degC (beta 206.6e-6 1/K,
    kappa 45.90e-6 1/bar) held at constant volume gains 4.501 bar a kelvin.
    """
    water: dict[str, Any] = {"expansivity": 206.6e-6, "compressibility": 45.90e-6 / BAR}
    assert pressure_rise(warmed=1.0, **water) / BAR == pytest.approx(4.501, abs=5e-4)
    assert allowable_warming(rise=45.01 * BAR, **water) == pytest.approx(10.0, abs=2e-3)


@pytest.mark.parametrize(("slimness", "rise"), [(100, 0.193), (10, 0.387), (None, 0.435)])
def test_pipe_of_water(slimness, rise):
    """A worked pipe (an engineers' forum, FAQ 378-1339 of 25 May 2007): water (210e-6 1/K, 4e-4 1/MPa) in steel (36e-6
    1/K by volume, 2e5 MPa) gains 0.193 MPa a kelvin where D/t is 100, 0.387 where it is 10, 0.435 in a wall that gives
    nothing.
    """
    give = 0.0
    if slimness is not None:
        give = open_cylinder(diameter=0.1, thickness=0.1 / slimness, modulus=2e5 * MPA)
    pipe: dict[str, Any] = {
        "expansivity": 210e-6,
        "compressibility": 4e-4 / MPA,
        "wall_expansion": 36e-6,
        "wall_give": give,
    }
    assert pressure_rise(warmed=1.0, **pipe) / MPA == pytest.approx(rise, abs=5e-4)
    assert allowable_warming(rise=rise * MPA, **pipe) == pytest.approx(1.0, rel=2e-3)


def test_rise_by_equation_3():
    """API 521 / ISO 23251:2006, 5.14.4.1, equation (3), worked by hand for water in a closed steel pipe with d/delta
    100, Poisson's ratio 0.3 and a leak of 20e-6 of the volume: (174e-6 - 20e-6) / (4e-4 + 4.75e-4) = 0.176 MPa.
    """
    give = closed_cylinder(diameter=0.1, thickness=0.001, modulus=2e5 * MPA, poisson=0.3)
    assert give * MPA == pytest.approx(4.75e-4)
    found = pressure_rise(
        warmed=1.0,
        expansivity=210e-6,
        compressibility=4e-4 / MPA,
        wall_expansion=36e-6,
        wall_give=give,
        lost=20e-6,
    )
    assert found / MPA == pytest.approx(0.1760, abs=5e-5)


@pytest.mark.parametrize("slimness", [20, 50, 100, 1000])
def test_thin_wall_against_lame(slimness):
    """A thick cylinder with closed ends by Lame (Timoshenko, Strength of Materials II; from memory) gives by the same
    volume as equation (3) says, the nearer the thinner the wall is: the difference stays below twice t/d.
    """
    modulus, poisson, inner = 2e11, 0.3, 0.05
    thickness = 2 * inner / slimness
    outer = inner + thickness
    ring = outer**2 - inner**2
    hoop, along, radial = (outer**2 + inner**2) / ring, inner**2 / ring, -1.0
    girth = (hoop - poisson * (along + radial)) / modulus
    length = (along - poisson * (hoop + radial)) / modulus
    thin = closed_cylinder(diameter=2 * inner, thickness=thickness, modulus=modulus, poisson=poisson)
    assert thin == pytest.approx(2 * girth + length, rel=2 / slimness)


# Saturated ammonia and water, held at constant density and warmed: CoolProp 8.0.0. The liquid's own beta (1/K) and
# kappa (1/Pa) are constant in the formula; over what range that is good enough differs.
@pytest.mark.parametrize(
    ("expansivity", "compressibility", "warmed", "rise", "near"),
    [
        (2.447875e-3, 1.475585e-9, 1.0, 16.5876, 2e-4),
        (2.447875e-3, 1.475585e-9, 5.0, 82.8988, 1e-3),
        (2.447875e-3, 1.475585e-9, 10.0, 165.667, 2e-3),
        (2.576482e-3, 1.643433e-9, 1.0, 15.6768, 2e-4),
        (2.576482e-3, 1.643433e-9, 5.0, 78.3624, 1e-3),
        (2.576482e-3, 1.643433e-9, 10.0, 156.641, 2e-3),
    ],
    ids=lambda value: f"{value:g}",
)
def test_ammonia(expansivity, compressibility, warmed, rise, near):
    """Saturated ammonia at 293.15 and 300 K in a rigid volume gains what CoolProp's equation of state says, bar."""
    found = pressure_rise(warmed=warmed, expansivity=expansivity, compressibility=compressibility)
    assert found / BAR == pytest.approx(rise, rel=near)


def test_water_outgrows_the_formula():
    """Water at 293.15 K expands ever more: by its expansivity at the start, 10 K give 45.0 bar, and CoolProp 8.0.0 says
    57.6923. By that at 298.15 K (from the same program: 2.5718e-4 1/K, 4.5258e-10 1/Pa) it is near.
    """
    at_start = pressure_rise(warmed=10.0, expansivity=2.066601e-4, compressibility=4.590301e-10)
    assert at_start / BAR == pytest.approx(45.02, abs=0.01)
    assert at_start / BAR < 0.8 * 57.6923
    midway = pressure_rise(warmed=10.0, expansivity=2.5718e-4, compressibility=4.5258e-10)
    assert midway / BAR == pytest.approx(57.6923, rel=0.02)
