"""Numbers with units: read as people write them, kept in SI, shown back in the units they came in.

Units are known to pint, which is slow to import and therefore imported when the first unit is read.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from functools import cache, lru_cache
from typing import TYPE_CHECKING

from cfgtrack.model.unknown import no_such

if TYPE_CHECKING:
    import pint

# Dimension -> the SI unit a value is kept in, and an example for messages.
DIMENSIONS: Mapping[str, tuple[str, str]] = {
    "angle": ("rad", "90 deg"),
    "area": ("m**2", "12 cm^2"),
    "compressibility": ("1/Pa", "4.6e-10 1/Pa"),
    "count": ("", "12"),
    "current": ("A", "1.5 A"),
    "density": ("kg/m**3", "998 kg/m^3"),
    "energy": ("J", "5 kJ"),
    "expansivity": ("1/K", "2.1e-4 1/K"),
    "flow": ("m**3/s", "3 L/min"),
    "force": ("N", "400 N"),
    "heat capacity": ("J/K", "900 J/K"),
    "heat transfer coefficient": ("W/m**2/K", "10 W/m^2/K"),
    "leak rate": ("Pa*m**3/s", "1e-6 mbar*l/s"),
    "length": ("m", "1 1/2 in"),
    "mass": ("kg", "12 kg"),
    "mass flow": ("kg/s", "2 g/s"),
    "power": ("W", "60 W"),
    "pressure": ("Pa", "12 bar"),
    "ratio": ("", "0.8"),
    "resistance": ("ohm", "2.5 mohm"),
    "specific heat": ("J/kg/K", "900 J/kg/K"),
    "speed": ("m/s", "0.1 m/s"),
    "temperature": ("K", "-40 degC"),
    "temperature difference": ("K", "5 delta_degC"),
    "thermal conductance": ("W/K", "0.2 W/K"),
    "thermal conductivity": ("W/m/K", "20 W/m/K"),
    "time": ("s", "6 h"),
    "torque": ("N*m", "25 ft lbf"),
    "voltage": ("V", "28 V"),
    "volume": ("m**3", "0.5 L"),
}

# Units that are written often, known beforehand: unit -> dimension, factor and offset to SI. The units library takes
# longer to import than most commands take to answer; a test holds every line to what it says.
_OFTEN: Mapping[str, tuple[str, Decimal, Decimal]] = {
    unit: (dimension, Decimal(factor), Decimal(offset))
    for dimension, units in {
        "current": "A 1 0, mA 0.001 0",
        "force": "N 1 0, kN 1000 0",
        "length": "m 1 0, mm 0.001 0",
        "mass": "kg 1 0, g 0.001 0",
        "power": "W 1 0, kW 1000 0",
        "pressure": "Pa 1 0, kPa 1000 0, MPa 1000000 0, bar 100000 0",
        "resistance": "ohm 1 0, mohm 0.001 0, kohm 1000 0, Mohm 1000000 0",
        "temperature": "K 1 0, degC 1 273.15",
        "time": "s 1 0, min 60 0, h 3600 0",
        "torque": "N*m 1 0",
        "voltage": "V 1 0, mV 0.001 0, kV 1000 0",
        "volume": "l 0.001 0, L 0.001 0",
    }.items()
    for unit, factor, offset in (written.split() for written in units.split(","))
}

# Where two dimensions are one to the units library, the one meant when nobody says which.
_ASKED_ONLY = frozenset(("count", "leak rate", "ratio", "temperature difference", "torque"))

# What is measured -> its dimension.
QUANTITIES: Mapping[str, str] = {
    "angle": "angle",
    "clearance": "length",
    "count": "count",
    "current": "current",
    "cycles": "count",
    "energy": "energy",
    "flow": "flow",
    "force": "force",
    "gap": "length",
    "insulation-resistance": "resistance",
    "leak-rate": "leak rate",
    "length": "length",
    "level": "ratio",
    "mass": "mass",
    "power": "power",
    "preload": "force",
    "pressure": "pressure",
    "resistance": "resistance",
    "temperature": "temperature",
    "time": "time",
    "torque": "torque",
    "turns": "count",
    "voltage": "voltage",
    "volume": "volume",
}

CYCLES = "cycles"
COUNTED: Mapping[str, str] = {
    CYCLES: "mate cycles are counted from what is recorded, never measured: those of before are read in with the"
    ' definition, as in [initial.before] "PUMP-1:F1" = { cycles = 7 }',
}
"""What no event may tell a value of but an initial one, since it is counted: each with how else it gets known."""

NEVER_NEGATIVE = frozenset(
    (
        "insulation-resistance",
        "leak-rate",
        "length",
        "level",
        "mass",
        "preload",
        "resistance",
        "time",
        "torque",
        "volume",
    )
)
"""What nobody says is below zero; what was once recorded so is read all the same.

A pressure may be below zero: by a gauge it is one below the air's.
"""

# Units that only name what is counted.
_COUNTED = frozenset(
    ("", "count", "counts", "cycle", "cycles", "each", "piece", "pieces", "time", "times", "turn", "turns")
)

_NUMBER = re.compile(
    r"(?P<sign>[+-]?)(?:(?:(?P<whole>\d{1,18}) )?(?P<over>\d{1,18})/(?P<under>\d{1,18})"
    r"|(?P<decimal>(?:\d{1,40}(?:\.\d{0,40})?|\.\d{1,40})(?:[eE][+-]?\d{1,4})?))(?![\d.,/_])",
    re.ASCII,
)
_DECIMAL_COMMA = re.compile(r"[+-]?\d{1,18},\d", re.ASCII)
# Only names, products, quotients and small whole powers go to the library: nothing it could compute with.
_FACTOR = r"\(*(?:[°Δ]?[A-Za-z_ΩΩµμÅ][\wΩΩµμÅ²³]*|[°%])\)*(?:(?:\^|\*\*)-?\d{1,2}\)*)?"
_UNIT = re.compile(rf"(?:1 ?/ ?)?{_FACTOR}(?: ?[*/·] ?{_FACTOR}| {_FACTOR})*", re.ASCII)
_LONGEST = 60

# What the library reads as something else, or not at all: unit -> dimension that is meant, and its spelling there.
_SPELLED = {
    "Nm": ("torque", "N*m"),
    "kNm": ("torque", "kN*m"),
    "C": ("temperature", "degC"),
    "F": ("temperature", "degF"),
    '"': ("length", "in"),
    "\u2033": ("length", "in"),
}

_FRACTIONS = {  # as one sign, with the same value in digits (Unicode, Number Forms)
    ord(sign): f" {over}/{under}"
    for sign, over, under in zip(
        "¼½¾⅓⅔⅛⅜⅝⅞", (1, 1, 3, 1, 2, 1, 3, 5, 7), (4, 2, 4, 3, 3, 8, 8, 8, 8), strict=True
    )
}
_IN_FRACTIONS = frozenset(("in", "inch", "inches", '"', "\u2033"))
"""Units that a trade divides by halves: drills, threads and hoses come so."""

_BY_WHAT = ", and in a remark whether it is by the gauge or absolute"
_OTHERWISE = {
    **dict.fromkeys(("psig", "psia"), "write psi, and in a remark whether it is by the gauge or absolute"),
    **dict.fromkeys(
        ("barg", "bara", "bar(g)", "bar(a)"),
        "write bar, and in a remark whether it is by the gauge or absolute",
    ),
    "m3": "write m^3",
    "kgm": "write kgf*m",
    "kgfm": "write kgf*m",
}

_MANY_DIGITS = 12
"""A number with more of them was none that somebody wrote: a third, say."""

_FORCE_OF_WEIGHT = {"lb": "lbf", "lbs": "lbf", "oz": "ozf"}


class BadQuantity(ValueError):
    """The text is no number with a unit of the dimension asked for; the message says what was expected."""


@dataclass(frozen=True, slots=True)
class Quantity:
    """A number with a unit.

    `value` is in the SI unit of `dimension` (a key of `DIMENSIONS`); `shown` and `unit` are the number and
    the unit as the user wrote them.
    """

    value: float
    unit: str
    shown: float
    dimension: str

    def __str__(self) -> str:
        number = format_number(self.shown)
        return f"{number} {self.unit}" if self.unit else number


def format_number(number: float) -> str:
    """The shortest decimal text that reads back as the same number: `25`, `0.1`, `1e-06`."""
    return repr(int(number)) if number == int(number) and abs(number) < 1e15 else repr(number)


def as_written(quantity: Quantity) -> str:
    """Return a quantity as who wrote it is told it again: inches in fractions where they are some, as in 1 1/2 in.

    `parse_quantity` gives the same quantity back.
    """
    exact = Fraction(quantity.shown).limit_denominator(64)
    whole, rest = divmod(abs(exact), 1)
    is_inches = quantity.unit in _IN_FRACTIONS and exact.denominator & (exact.denominator - 1) == 0
    if (
        not rest
        or float(exact) != quantity.shown
        or not (is_inches or len(repr(quantity.shown)) > _MANY_DIGITS)
    ):
        return str(quantity)
    sign = "-" if exact < 0 else ""
    return f"{sign}{f'{whole} ' if whole else ''}{rest} {quantity.unit}".rstrip()


def parse_quantity(text: str, *, dimension: str | None = None) -> Quantity:
    """Read a number with a unit: `25 ft lbf`, `1 1/2 in`, `-40 degC`, `12.5 N*m`; a plain number is a count.

    `dimension` is a key of `DIMENSIONS`, or None to take it from the unit. It decides where a unit can't: N*m
    is a torque or an energy (without `dimension`: a torque when a force times a length is written), `5 degC`
    a temperature or a difference of two, `2 turns` a count or an angle (without `dimension`: a count). In a
    torque, `lb` is the pound of force. The conversion is done in decimal: 3 L are 0.003 m**3 exactly.

    Raises `BadQuantity`.
    """
    if dimension is not None and dimension not in DIMENSIONS:
        raise BadQuantity(no_such("dimension", dimension, DIMENSIONS))
    shown, unit = _split(text, dimension)
    return _quantity(text, shown, unit, dimension)


def from_si(value: float, *, unit: str, dimension: str) -> Quantity:
    """A computed `value` in the SI unit of `dimension`, shown in the user's `unit`. Raises `BadQuantity`."""
    often = _OFTEN.get(unit)
    if often is not None and often[0] == dimension:
        known = (Decimal(repr(value)) - often[2]) / often[1]
        return Quantity(value, unit, float(f"{known:.15g}"), dimension)
    found, written = _written(unit, dimension)
    if found == "count":
        return Quantity(value, unit, value, dimension)
    shown = _converted(Decimal(repr(value)), DIMENSIONS[dimension][0], written)
    return Quantity(value, unit, float(f"{shown:.15g}"), dimension)


def dimension_of(quantity: str) -> str:
    """The dimension of a measured quantity. Raises `BadQuantity` with near names when nobody knows the quantity."""
    if quantity not in QUANTITIES:
        raise BadQuantity(no_such("quantity", quantity, QUANTITIES))
    return QUANTITIES[quantity]


def to_json(quantity: Quantity) -> dict[str, str | float]:
    """The quantity as a JSON object; `from_json` gives the same quantity back."""
    return {
        "dimension": quantity.dimension,
        "shown": quantity.shown,
        "unit": quantity.unit,
        "value": quantity.value,
    }


def from_json(found: Mapping[str, object]) -> Quantity:
    """The quantity from its JSON object. Raises `BadQuantity` on a missing, unknown or ill-typed member."""
    if set(found) != {"dimension", "shown", "unit", "value"}:
        members = ", ".join(sorted(found)) or "none"
        raise BadQuantity(f"expected the members dimension, shown, unit, value, found {members}")
    dimension, unit = found["dimension"], found["unit"]
    if not isinstance(dimension, str) or dimension not in DIMENSIONS:
        raise BadQuantity(f"no dimension is named '{dimension}'")
    if not isinstance(unit, str):
        raise BadQuantity(f"expected the unit as text, found {unit!r}")
    return Quantity(_member(found, "value"), unit, _member(found, "shown"), dimension)


def disagreement(quantity: Quantity) -> str:
    """Return why a quantity's value is not that of the number and unit that it is shown with, "" where it is."""
    try:
        again = _quantity(str(quantity), Decimal(repr(quantity.shown)), quantity.unit, quantity.dimension)
    except BadQuantity as err:
        return str(err)
    if math.isclose(again.value, quantity.value, rel_tol=1e-9):
        return ""
    si = DIMENSIONS[quantity.dimension][0]
    return f"{quantity} is {again.value!r} {si}".rstrip() + f", found the value {quantity.value!r}"


def _member(found: Mapping[str, object], name: str) -> float:
    number = found[name]
    if isinstance(number, bool) or not isinstance(number, int | float) or not math.isfinite(number):
        raise BadQuantity(f"expected {name} as a finite number, found {number!r}")
    return float(number)


def _split(text: str, dimension: str | None) -> tuple[Decimal, str]:
    stripped = text.translate(_FRACTIONS).strip()
    found = _NUMBER.match(stripped)
    if found is None:
        if _DECIMAL_COMMA.match(stripped):
            raise BadQuantity(f"expected {_expected(dimension)}, with a decimal point, found '{text}'")
        raise BadQuantity(f"expected {_expected(dimension)}, found '{text}'")
    return _number(text, found), " ".join(stripped[found.end() :].split())


def _number(text: str, found: re.Match[str]) -> Decimal:
    if found["decimal"] is not None:
        number = Decimal(found["decimal"])
    elif int(found["under"]) == 0:
        raise BadQuantity(f"a fraction over zero: '{text}'")
    else:
        number = int(found["whole"] or 0) + Decimal(found["over"]) / Decimal(found["under"])
    if abs(number.adjusted()) > 290:
        raise BadQuantity(f"the number is out of range: '{text}'")
    return -number if found["sign"] == "-" else number


def _quantity(text: str, number: Decimal, unit: str, asked: str | None) -> Quantity:
    shown = float(number)
    often = _OFTEN.get(unit)
    if often is not None and asked in (None, often[0]):
        dimension, factor, offset = often
        value = float(number * factor + offset)
    else:
        try:
            dimension, written = _written(unit, asked)
        except BadQuantity as err:
            raise BadQuantity(f"{err}, found '{text}'") from None
        if dimension == "count":
            return Quantity(shown, unit, shown, asked or "count")
        value = float(_converted(number, written, DIMENSIONS[dimension][0]))
    if not math.isfinite(value):
        raise BadQuantity(f"the number is out of range: '{text}'")
    if dimension == "temperature" and value < 0:
        raise BadQuantity(f"below absolute zero: '{text}'")
    return Quantity(value, unit, shown, dimension)


def _converted(number: Decimal, unit: str, into: str) -> Decimal:
    converted: Decimal = _registry().Quantity(number, unit).to(into).magnitude
    return converted


@lru_cache(maxsize=1024)
def _written(unit: str, asked: str | None) -> tuple[str, str]:
    """The dimension of a written unit, and the unit as the library should read it."""
    if unit in _COUNTED and asked in (None, "count", "ratio"):
        if unit and asked == "ratio":
            raise BadQuantity(f"expected {_expected(asked)}")
        return "count", ""
    if not unit:
        raise BadQuantity(f"expected {_expected(asked)}; the unit is missing")
    written = _trade_spelling(unit, asked)
    parsed = _parsed(unit, written, asked)
    if asked == "temperature difference":
        written, parsed = _difference(parsed)
    if asked is None:
        return _dimension(unit, parsed), written
    if asked == "count" or not _fits(parsed, asked):
        raise BadQuantity(f"expected {_expected(asked)}, not {_named(unit, parsed)}")
    return asked, written


def _trade_spelling(unit: str, asked: str | None) -> str:
    """`ft-lb`, `Nm` and the like, as the trade writes torques, in the library's spelling; C and F of temperatures."""
    spelled = _SPELLED.get(unit)
    if spelled is not None and asked in (None, spelled[0]) and (asked or spelled[0] == "torque"):
        return spelled[1]
    factors = re.split(r"[ *·.-]+", unit)
    if asked in (None, "torque") and len(factors) == 2 and {"in", "ft"} & set(factors):
        return "*".join(_FORCE_OF_WEIGHT.get(factor, factor) for factor in factors)
    return re.sub(r"(?<=[A-Za-z])[-.](?=[A-Za-z])", "*", unit)


def _parsed(unit: str, written: str, asked: str | None) -> pint.Unit:
    import tokenize

    import pint

    if len(written) > _LONGEST or not _UNIT.fullmatch(written):
        raise BadQuantity(f"expected {_expected(asked)}; no unit is written '{unit}'{_otherwise(unit)}")
    try:
        parsed: pint.Unit = _registry().parse_units(written)
        _ = parsed.dimensionality
    except (pint.PintError, ValueError, TypeError, AttributeError, tokenize.TokenError):
        raise BadQuantity(
            f"expected {_expected(asked)}; no unit is named '{unit}'{_otherwise(unit)}"
        ) from None
    if _is_logarithmic(parsed):
        raise BadQuantity(
            f"expected {_expected(asked)}; '{unit}' is the logarithm of a ratio, which isn't read here"
        )
    return parsed


def _otherwise(unit: str) -> str:
    """Return how what was meant is written, where that is known: "" where it isn't."""
    if (told := _OTHERWISE.get(unit.casefold())) is not None:
        return f": {told}"
    known = [*_OFTEN, "psi", "lbf", "in", "ft", "deg", "degF", *(si for si, _ in DIMENSIONS.values() if si)]
    alike = [one for one in dict.fromkeys(known) if one.casefold() == unit.casefold()]
    return f": write {' or '.join(alike)}" if alike else ""


def _is_logarithmic(unit: pint.Unit) -> bool:
    """Return whether a unit is a decibel or its like: no factor leads from it to SI, and decimals know no logarithm."""
    import pint

    try:
        _registry().Quantity(Decimal(1), unit).to_base_units()
    except pint.PintError:
        return False
    except TypeError:
        return True
    return False


def _difference(unit: pint.Unit) -> tuple[str, pint.Unit]:
    """The unit of a difference: degrees on a scale with an offset become degrees without one."""
    import pint

    try:
        delta: pint.Unit = _registry().parse_units(f"delta_{unit}")
    except pint.PintError:
        return str(unit), unit
    return str(delta), delta


def _fits(unit: pint.Unit, dimension: str) -> bool:
    """Whether the unit measures the dimension; degrees of difference are no temperature."""
    if dimension == "temperature" and "delta_" in str(unit):
        return False
    if dimension == "torque" and _is_energy(unit):
        return False
    if dimension in ("angle", "ratio", "count"):
        return unit.dimensionless and _is_angle(unit) == (dimension == "angle")
    return bool(unit.dimensionality == _registry().parse_units(DIMENSIONS[dimension][0]).dimensionality)


def _is_angle(unit: pint.Unit) -> bool:
    return bool(_registry().Quantity(1, unit).to_base_units().units == _registry().parse_units("rad"))


def _dimension(unit: str, parsed: pint.Unit) -> str:
    """The dimension of a unit when nobody says which."""
    if "delta_" in str(parsed) and _fits(parsed, "temperature difference"):
        return "temperature difference"
    if _fits(parsed, "torque") and _has_force(parsed):
        return "torque"
    for dimension in DIMENSIONS:
        if dimension not in _ASKED_ONLY and _fits(parsed, dimension):
            return dimension
    if _fits(parsed, "ratio"):
        return "ratio"
    raise BadQuantity(f"nothing that is known here is measured in '{unit}'")


def _has_force(unit: pint.Unit) -> bool:
    force = _registry().parse_units("N").dimensionality
    factors = str(unit).split(" * ")
    return len(factors) == 2 and any(
        _registry().parse_units(name).dimensionality == force for name in factors
    )


def _is_energy(unit: pint.Unit) -> bool:
    """Whether a unit is named for energy or made with power (J, kWh, W*s): nobody writes a torque so."""
    known = _registry()
    told = {known.parse_units(name).dimensionality for name in ("J", "W")}
    factors = str(unit).split(" * ")
    return any(f != "foot_pound" and known.parse_units(f).dimensionality in told for f in factors)


def _named(unit: str, parsed: pint.Unit) -> str:
    try:
        return f"{_dimension(unit, parsed)} ('{unit}')"
    except BadQuantity:
        return f"'{unit}'"


def _expected(dimension: str | None) -> str:
    if dimension is None:
        return "a number with a unit, such as 25 ft lbf"
    article = "an" if dimension[0] in "aeiou" else "a"
    return f"{article} {dimension} such as {DIMENSIONS[dimension][1]}"


@cache
def _registry() -> pint.UnitRegistry[Decimal]:
    import pint

    return pint.UnitRegistry(non_int_type=Decimal)
