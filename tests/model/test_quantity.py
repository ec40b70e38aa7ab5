"""Quantities: what is read, what is refused, and that nothing is lost."""

import json
import math

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from cfgtrack.model import quantity as module
from cfgtrack.model.quantity import (
    DIMENSIONS,
    QUANTITIES,
    BadQuantity,
    Quantity,
    as_written,
    dimension_of,
    from_json,
    from_si,
    parse_quantity,
    to_json,
)

numbers = st.floats(-1e12, 1e12).filter(lambda number: number == 0 or abs(number) > 1e-12)
units = st.sampled_from(
    [
        ("ft lbf", "torque"),
        ("N*m", "torque"),
        ("in-lb", "torque"),
        ("kJ", "energy"),
        ("psi", "pressure"),
        ("degF", "temperature difference"),
        ("mbar*l/s", "leak rate"),
        ("in", "length"),
        ("%", "ratio"),
        ("turn", "angle"),
        ("turns", "count"),
        ("", "count"),
        ("mΩ", "resistance"),
        ("W/m^2/K", "heat transfer coefficient"),
    ]
)


@pytest.mark.parametrize("dimension", DIMENSIONS)
def test_each_dimension_reads_its_example(dimension):
    """The example that a message gives for a dimension is read in it, and so is the dimension's SI unit."""
    si, example = DIMENSIONS[dimension]
    assert parse_quantity(example, dimension=dimension).dimension == dimension
    assert parse_quantity(f"3 {si}", dimension=dimension).value == 3


@given(numbers, units)
def test_written_and_read(number, unit_and_dimension):
    """A quantity's text reads back as the same quantity."""
    unit, dimension = unit_and_dimension
    quantity = parse_quantity(f"{number!r} {unit}", dimension=dimension)
    assert quantity.shown == number
    assert parse_quantity(str(quantity), dimension=dimension) == quantity


@given(numbers, units)
def test_into_si_and_back(number, unit_and_dimension):
    """A value in SI, shown in the user's unit, is the number the user wrote."""
    unit, dimension = unit_and_dimension
    quantity = parse_quantity(f"{number!r} {unit}", dimension=dimension)
    assert math.isclose(from_si(quantity.value, unit=unit, dimension=dimension).shown, number, rel_tol=1e-12)


@given(numbers, units)
def test_json_round_trip(number, unit_and_dimension):
    """A quantity goes through JSON unchanged, even where JSON writes its number as an integer."""
    unit, dimension = unit_and_dimension
    quantity = parse_quantity(f"{number!r} {unit}", dimension=dimension)
    text = json.dumps(to_json(quantity)).replace(".0,", ",").replace(".0}", "}")
    again = from_json(json.loads(text))
    assert again == quantity
    assert isinstance(again.value, float)
    assert isinstance(again.shown, float)


@pytest.mark.parametrize(
    ("text", "asked", "value", "dimension"),
    [
        ("12.5 N*m", None, 12.5, "torque"),
        ("12.5 N m", "energy", 12.5, "energy"),
        ("5 J", None, 5, "energy"),
        ("2 kW*h", None, 7.2e6, "energy"),
        ("12", None, 12, "count"),
        ("12 turns", None, 12, "count"),
        ("0.5 turn", "angle", math.pi, "angle"),
        ("180 deg", None, math.pi, "angle"),
        ("9 K", None, 9, "temperature"),
        ("-40 °F", None, 233.15, "temperature"),
        ("9 delta_degF", None, 5, "temperature difference"),
        ("9 degF", "temperature difference", 5, "temperature difference"),
        ("80 %", None, 0.8, "ratio"),
        ("0.8", "ratio", 0.8, "ratio"),
        ("1e-6 mbar*l/s", None, 1e-7, "power"),
        ("1e-6 mbar*l/s", "leak rate", 1e-7, "leak rate"),
        ("4.6e-10 1/Pa", None, 4.6e-10, "compressibility"),
        (" 5/8in ", None, 0.015875, "length"),
        ("-1 1/2 in", None, -0.0381, "length"),
        ("3 L", None, 0.003, "volume"),
        ("3 µm", None, 3e-6, "length"),
        ("2 W/(m^2*K)", None, 2, "heat transfer coefficient"),
        ("6 h", "time", 21600, "time"),
    ],
)
def test_reads(text, asked, value, dimension):
    """Each way of writing a quantity gives its SI value and its dimension: the one asked for, if two fit."""
    quantity = parse_quantity(text, dimension=asked)
    assert quantity.value == value
    assert quantity.dimension == dimension


@pytest.mark.parametrize(
    ("text", "asked", "says"),
    [
        ("12 bar", "torque", r"expected a torque such as 25 ft lbf, not pressure \('bar'\), found '12 bar'"),
        ("12", "torque", "the unit is missing"),
        ("25 J", "torque", r"expected a torque such as 25 ft lbf, not energy \('J'\), found '25 J'"),
        ("1 kWh", "torque", "not energy"),
        ("3 W*s", "torque", "not energy"),
        ("90 deg", "count", r"expected a count such as 12, not angle"),
        ("3 m", "ratio", "expected a ratio"),
        ("3 each", "ratio", "expected a ratio"),
        ("5 delta_degC", "temperature", "not temperature difference"),
        ("-300 degC", None, "below absolute zero"),
        ("-1 K", "temperature", "below absolute zero"),
        ("3 furlongg", None, "no unit is named 'furlongg'"),
        ("3 m3", None, "no unit is named 'm3'"),
        ("3 A h", None, "nothing that is known here is measured in 'A h'"),
        ("3 A h", "torque", "expected a torque such as 25 ft lbf, not 'A h'"),
        ("1,5 m", None, "expected a number with a unit"),
        ("1.5.2 m", None, "expected a number with a unit"),
        ("", None, "expected a number with a unit"),
        ("N*m", None, "expected a number with a unit"),
        (
            "12,5 bar",
            "pressure",
            "expected a pressure such as 12 bar, with a decimal point, found '12,5 bar'",
        ),
        ("300 PSI", "pressure", "no unit is named 'PSI': write psi, found"),
        ("12 Bar", "pressure", "no unit is named 'Bar': write bar"),
        ("3 barg", "pressure", "write bar, and in a remark whether it is by the gauge or absolute"),
        ("nan m", None, "expected a number with a unit"),
        ("inf m", None, "expected a number with a unit"),
        ("1e999 m", None, "out of range"),
        ("1e290 Ym", None, "out of range"),
        ("1/0 in", None, "over zero"),
        ("9**9**9**9 m", None, "no unit is written"),
        ("3 m**999999999", None, "no unit is written"),
        ("3 m**-2*s^9^9", None, "no unit is written"),
        ("3 __import__('os')", None, "no unit is written"),
        ("3 " + "m*" * 60 + "m", None, "no unit is written"),
        ("3 (m", None, "no unit is named"),
        ("9" * 5000, None, "expected a number with a unit"),
        ("5 bar", "presure", "near names: pressure"),
    ],
)
def test_refuses(text, asked, says):
    """What is no quantity of the dimension asked for is refused: what was expected, what was found."""
    with pytest.raises(BadQuantity, match=says):
        parse_quantity(text, dimension=asked)


@given(st.text(max_size=20), st.sampled_from([None, *DIMENSIONS]))
def test_any_text_is_read_or_refused(text, dimension):
    """Any text at all is read or refused, and nothing else."""
    for written in (text, f"3 {text}"):
        try:
            quantity = parse_quantity(written, dimension=dimension)
        except BadQuantity:
            continue
        assert math.isfinite(quantity.value)


@pytest.mark.parametrize(
    "found",
    [
        {},
        {"value": 1, "unit": "m", "shown": 1},
        {"value": 1, "unit": "m", "shown": 1, "dimension": "length", "note": ""},
        {"value": "1", "unit": "m", "shown": 1, "dimension": "length"},
        {"value": True, "unit": "m", "shown": 1, "dimension": "length"},
        {"value": 1, "unit": "m", "shown": math.nan, "dimension": "length"},
        {"value": 1, "unit": None, "shown": 1, "dimension": "length"},
        {"value": 1, "unit": "m", "shown": 1, "dimension": "width"},
        {"value": 1, "unit": "m", "shown": 1, "dimension": []},
    ],
    ids=str,
)
def test_json_of_no_quantity(found):
    """A JSON object with a member missing, unknown or of the wrong type is no quantity."""
    with pytest.raises(BadQuantity):
        from_json(found)


def test_known_quantities():
    """Every quantity that is known by name has a known dimension, and no other."""
    assert {dimension_of(name) for name in QUANTITIES} <= DIMENSIONS.keys()
    with pytest.raises(BadQuantity, match="there is no quantity torqe; near names: torque"):
        dimension_of("torqe")


def test_shown_as_written():
    """A quantity is shown as its user wrote it, without trailing noise."""
    assert str(parse_quantity("25.0 ft lbf")) == "25 ft lbf"
    assert str(parse_quantity("1 1/2 in")) == "1.5 in"
    assert str(Quantity(3.0, "", 3.0, "count")) == "3"


@pytest.mark.parametrize("unit", module._OFTEN)
@pytest.mark.parametrize("number", ["3", "0.1", "12.75", "1 1/3"])
def test_units_known_beforehand_are_what_the_library_says(unit, number, monkeypatch):
    """A unit that is read without the units library gives the same quantity as with it."""
    dimension = module._OFTEN[unit][0]
    before = parse_quantity(f"{number} {unit}"), parse_quantity(f"{number} {unit}", dimension=dimension)
    back = from_si(before[0].value, unit=unit, dimension=dimension)
    monkeypatch.setattr(module, "_OFTEN", {})
    after = parse_quantity(f"{number} {unit}"), parse_quantity(f"{number} {unit}", dimension=dimension)
    assert before == after
    assert back == from_si(before[0].value, unit=unit, dimension=dimension)


@pytest.mark.parametrize(
    ("text", "dimension", "value"),
    [("60 C", "temperature", 333.15), ("68 F", "temperature", 293.15), ("200 Nm", None, 200.0)],
)
def test_spellings_of_the_shop(text, dimension, value):
    """Where a temperature is meant, C and F are degrees (68 degF are 20 degC); Nm is a torque."""
    assert parse_quantity(text, dimension=dimension).value == pytest.approx(value)


@pytest.mark.parametrize("text", ["60 C", "60 F"])
def test_a_letter_alone_says_nothing(text):
    """Where nothing says that a temperature is meant, C and F could be coulombs and farads: refused."""
    with pytest.raises(BadQuantity):
        parse_quantity(text)


@pytest.mark.parametrize(
    ("text", "dimension", "in_pint"),
    [
        ("25 ft lbf", "torque", "foot * force_pound"),
        ("25 ft*lbf", "torque", "foot * force_pound"),
        ("25 ft-lbf", "torque", "foot * force_pound"),
        ("25 ft.lbf", "torque", "foot * force_pound"),
        ("25 ft lb", "torque", "foot * force_pound"),
        ("300 in lbf", "torque", "inch * force_pound"),
        ("25 N.m", "torque", "newton * meter"),
        ("25 Nm", "torque", "newton * meter"),
        ("300 psi", "pressure", "pound_force_per_square_inch"),
        ("7 bar", "pressure", "bar"),
        ("12 thou", "length", "thou"),
        ("2 gal", "volume", "gallon"),
        ("400 lbf", "force", "force_pound"),
    ],
)
def test_units_as_entered(text, dimension, in_pint):
    """A unit that somebody wrote stays his own, and the SI value beside it is the one that pint computes in floats."""
    quantity = parse_quantity(text, dimension=dimension)
    number, _, unit = text.partition(" ")
    assert (str(quantity), quantity.unit, as_written(quantity)) == (text, unit, text)
    si = pint.UnitRegistry().Quantity(float(number), in_pint).to_base_units().magnitude
    assert quantity.value == pytest.approx(si, rel=1e-12)


@pytest.mark.parametrize(
    ("text", "value", "told"),
    [
        ("1/2 in", 0.0127, "1/2 in"),
        ("½ in", 0.0127, "1/2 in"),
        ("1½ in", 0.0381, "1 1/2 in"),
        ("-1 1/2 in", -0.0381, "-1 1/2 in"),
        ('5/8"', 0.015875, '5/8 "'),
        ("3/64 inch", 3 / 64 * 0.0254, "3/64 inch"),
        ("2 in", 0.0508, "2 in"),
        ("0.3 in", 0.00762, "0.3 in"),
        ("1/2 m", 0.5, "0.5 m"),
        ("1 1/3 m", 4 / 3, "1 1/3 m"),
    ],
)
def test_fractions_are_told_again_as_fractions(text, value, told):
    """Halves of an inch are told as the trade writes them; other numbers as they were written."""
    quantity = parse_quantity(text, dimension="length")
    assert quantity.value == pytest.approx(value, rel=1e-12)
    assert as_written(quantity) == told


@given(st.integers(-(10**6), 10**6), st.integers(1, 64), st.sampled_from(["in", "inch", "m", "ft"]))
def test_what_is_told_reads_back(over, under, unit):
    """However a quantity is told, who writes that again has written the same quantity."""
    for text in (f"{over}/{under} {unit}", f"{over / under!r} {unit}"):
        quantity = parse_quantity(text, dimension="length")
        again = parse_quantity(as_written(quantity), dimension="length")
        assert (again.shown, again.unit) == (quantity.shown, quantity.unit)
        assert math.isclose(again.value, quantity.value, rel_tol=1e-15)


def test_what_journals_hold_is_as_it_was():
    """What is kept of a quantity keeps its four members, byte for byte: a journal's hashes are of them."""
    kept = json.dumps(to_json(parse_quantity("1/2 in")), sort_keys=True)
    assert kept == '{"dimension": "length", "shown": 0.5, "unit": "in", "value": 0.0127}'
    kept = json.dumps(to_json(parse_quantity("25 ft lbf")), sort_keys=True)
    assert kept == '{"dimension": "torque", "shown": 25.0, "unit": "ft lbf", "value": 33.89544870828501}'
