"""Units against pint and against definitions."""

import math

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from cfgtrack.model.quantity import DIMENSIONS, parse_quantity

REGISTRY: pint.UnitRegistry = pint.UnitRegistry()


def test_ten_foot_pounds():
    """10 ft*lbf are 13.558179 N*m (pint 0.25)."""
    assert round(parse_quantity("10 ft*lbf", dimension="torque").value, 6) == 13.558179


# Inch, pound and standard gravity are exact by definition (NIST SP 811 appendix B, from memory).
@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("1 in", 0.0254),
        ("1 ft", 0.3048),
        ("1 lb", 0.45359237),
        ("1 lbf", 4.4482216152605),
        ("1 bar", 1e5),
        ("1 atm", 101325),
        ("0 degC", 273.15),
        ("-40 degC", 233.15),
        ("-40 degF", 233.15),
        ("212 degF", 373.15),
        ("1 L", 0.001),
        ("1 inch", 0.0254),
    ],
)
def test_definitions(text, value):
    """Units with an exact definition have exactly that value."""
    assert parse_quantity(text).value == value


@pytest.mark.parametrize(
    ("text", "pascals"), [("1 psi", 6894.757), ("1 inHg", 3386.389), ("1 mmHg", 133.3224)]
)
def test_pressures(text, pascals):
    """Pressures agree with NIST SP 811 appendix B (from memory) to its seven digits."""
    assert math.isclose(parse_quantity(text, dimension="pressure").value, pascals, rel_tol=5e-7)


@given(
    st.floats(-1e9, 1e9).filter(lambda number: number == 0 or abs(number) > 1e-200),
    st.sampled_from(
        [
            ("ft*lbf", "torque"),
            ("inch*lbf", "torque"),
            ("psi", "pressure"),
            ("kg", "mass"),
            ("gallon", "volume"),
            ("mA", "current"),
            ("horsepower", "power"),
            ("BTU", "energy"),
            ("arcmin", "angle"),
            ("fortnight", "time"),
            ("kohm", "resistance"),
            ("W/m/K", "thermal conductivity"),
        ]
    ),
)
def test_same_as_pint(number, unit_and_dimension):
    """A quantity has the value that pint, left to itself, converts it to."""
    unit, dimension = unit_and_dimension
    expected = REGISTRY.Quantity(number, unit).to(DIMENSIONS[dimension][0]).magnitude
    found = parse_quantity(f"{number!r} {unit}", dimension=dimension).value
    assert math.isclose(found, expected, rel_tol=1e-12)
