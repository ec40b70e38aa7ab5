"""Free attributes: typed by what was given, SI inside, the user's unit back out."""

from __future__ import annotations

import json
import math
from datetime import date
from decimal import Decimal

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from cfgtrack.model.attribute import (
    AttributeTest,
    attribute_from_json,
    attribute_of,
    attribute_text,
    attribute_to_json,
)
from cfgtrack.model.quantity import DIMENSIONS, Quantity

PINT: pint.UnitRegistry[Decimal] = pint.UnitRegistry(non_int_type=Decimal)
"""The units library itself, as it comes."""

UNITS = (
    "mm",
    "m",
    "inch",
    "ft",
    "kg",
    "lb",
    "bar",
    "psi",
    "kPa",
    "A",
    "mA",
    "V",
    "kW",
    "l",
    "gallon",
    "mm^2",
    "N*m",
)
NUMBERS = st.integers(-9999, 9999) | st.decimals(-999, 999, places=3, allow_nan=False, allow_infinity=False)


@given(NUMBERS, st.sampled_from(UNITS))
def test_a_number_keeps_its_unit_and_is_kept_in_si(number, unit):
    """What is given with a unit is, in SI, what pint makes of it; and comes back in that unit, from JSON as well."""
    found = attribute_of(f"{number} {unit}")
    assert isinstance(found, Quantity)
    expected = PINT.Quantity(Decimal(number), unit).to(DIMENSIONS[found.dimension][0]).magnitude
    assert math.isclose(found.value, float(expected), rel_tol=1e-12)
    back = attribute_from_json(json.loads(json.dumps(attribute_to_json(found))))
    assert back == found
    shown, _, told = attribute_text(back).partition(" ")
    assert (Decimal(shown), told) == (Decimal(number), unit)


TYPED = [
    ("AWG 20", "AWG 20"),
    ("20 AWG", "20 AWG"),
    ("3 m", Quantity(3.0, "m", 3.0, "length")),
    ("1/2 in", Quantity(0.0127, "in", 0.5, "length")),
    ("2031-05-01", date(2031, 5, 1)),
    ("2031-02-30", "2031-02-30"),
    ("4711", "4711"),
    ("yes", "yes"),
    ("M6x1", "M6x1"),
    ("3,5 m", "3,5 m"),
    ("4 Pack", "4 Pack"),
]


@pytest.mark.parametrize(("text", "value"), TYPED)
def test_a_text_is_typed_by_what_it_says(text, value):
    """A number needs its unit, a date its form; anything else is a text, and all are shown as they were given."""
    assert attribute_of(text) == value
    assert attribute_text(attribute_of(text)) in (text, "0.5 in")


CELLS = [
    ("yes", True),
    ("No", False),
    ("4711", Quantity(4711.0, "", 4711.0, "count")),
    ("0042", "0042"),
    ("1e5", "1e5"),
    ("1.50", "1.50"),
    ("3 m", Quantity(3.0, "m", 3.0, "length")),
]


@pytest.mark.parametrize(("text", "value"), CELLS)
def test_a_cell_may_hold_more_than_text(text, value):
    """In a sheet all is text: yes and no are what they say, and a number is one only if it would be shown the same."""
    found = attribute_of(text, is_cell=True)
    assert (type(found), found) == (type(value), value)


@given(st.text(max_size=12))
def test_any_text_comes_back(text):
    """Whatever a text is taken for, JSON gives the same value back, and a text is shown as it was."""
    for is_cell in (False, True):
        found = attribute_of(text, is_cell=is_cell)
        assert attribute_from_json(json.loads(json.dumps(attribute_to_json(found)))) == found
        assert not isinstance(found, str) or attribute_text(found) == text


ASKED = [
    (AttributeTest("length"), True),
    (AttributeTest("bore"), False),
    (AttributeTest("length", among=(attribute_of("300 cm"),)), True),
    (AttributeTest("length", among=(attribute_of("3 ft"),)), False),
    (AttributeTest("length", low=attribute_of("2 m"), high=attribute_of("9.9 ft")), True),
    (AttributeTest("length", low=attribute_of("3 m")), True),
    (AttributeTest("length", low=attribute_of("3001 mm")), False),
    (AttributeTest("length", low=attribute_of("1 kg")), False),
    (AttributeTest("made", high=date(2031, 1, 1)), True),
    (AttributeTest("made", low=date(2031, 1, 1)), False),
    (AttributeTest("gauge", among=("AWG 18", "AWG 20")), True),
    (AttributeTest("gauge", low=attribute_of("1 m")), False),
    (AttributeTest("spare", among=(False,)), True),
    (AttributeTest("spare", among=(True,)), False),
    (AttributeTest("number", among=("4711",)), True),
]


@pytest.mark.parametrize(
    ("asked", "is_met"), ASKED, ids=lambda one: one.words() if hasattr(one, "words") else ""
)
def test_what_is_asked_for(asked, is_met):
    """Numbers are compared in SI, dates by the calendar; what can't be compared is not in a range."""
    found = {
        "length": attribute_of("3 m"),
        "gauge": "AWG 20",
        "made": date(2029, 2, 28),
        "spare": False,
        "number": attribute_of("4711", is_cell=True),
    }
    assert asked.is_met(found) == is_met
