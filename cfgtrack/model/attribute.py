"""Free attributes of parts, units, places, ports and nodes: what a drawing or an asset list says of them besides.

An attribute is a text, a number with a unit, a yes or no, or a date: typed by what was given. A number is kept in SI
and shown in the unit that it was given in.

>>> attribute_text(attribute_of("3 m")), attribute_text(attribute_of("AWG 20"))
('3 m', 'AWG 20')
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from functools import lru_cache
from typing import Any

from cfgtrack.model.quantity import BadQuantity, Quantity, from_json, parse_quantity, to_json

Attribute = str | bool | date | Quantity

_DATE = re.compile(r"\d{4}-\d\d-\d\d", re.ASCII)
_YES_NO = {"yes": True, "true": True, "no": False, "false": False}
_NEAR = 1e-9
"""Numbers of two units are one if they differ by no more than this, relatively: conversion rounds."""


@lru_cache(maxsize=4096)
def attribute_of(text: str, *, is_cell: bool = False) -> Attribute:
    """Return what a text says: a date (2031-05-01), a number with its unit, else the text itself.

    In a cell of a sheet everything is text: so there yes and no are one, and so is a number without a unit, if it is
    written as it would be shown: 0042 and 1e5 are texts.
    """
    if _DATE.fullmatch(text):
        try:
            return date.fromisoformat(text)
        except ValueError:
            return text
    if is_cell and text.lower() in _YES_NO:
        return _YES_NO[text.lower()]
    try:
        found = parse_quantity(text)
    except BadQuantity:
        return text
    return found if found.unit or (is_cell and str(found) == text) else text


def attribute_text(value: Attribute) -> str:
    """Return an attribute as people read it: a number in the unit that it was given in."""
    if isinstance(value, bool):
        return "yes" if value else "no"
    return value.isoformat() if isinstance(value, date) else str(value)


def attribute_to_json(value: Attribute) -> Any:
    """Return an attribute as JSON has it; `attribute_from_json` gives the same back."""
    if isinstance(value, Quantity):
        return to_json(value)
    return {"date": value.isoformat()} if isinstance(value, date) else value


def attribute_from_json(found: Any) -> Attribute:
    """Return the attribute of its JSON form. TypeError for what is none."""
    if isinstance(found, str | bool):
        return found
    if isinstance(found, Mapping):
        return date.fromisoformat(found["date"]) if set(found) == {"date"} else from_json(found)
    raise TypeError(f"no attribute is {found!r}")


@dataclass(frozen=True, slots=True)
class AttributeTest:
    """Asks for an attribute: that there is one of this `name`, and that it is one of `among`, or from `low` to `high`.

    Numbers are compared in SI, dates by the calendar; a number of another dimension than is asked for is out of range.
    """

    name: str
    among: tuple[Attribute, ...] = ()
    low: Attribute | None = None
    high: Attribute | None = None

    def is_met(self, found: Mapping[str, Attribute]) -> bool:
        """Return whether some attributes have what is asked for."""
        value = found.get(self.name)
        if value is None:
            return False
        if self.among and not any(_is_same(value, one) for one in self.among):
            return False
        return (self.low is None or _is_ordered(self.low, value)) and (
            self.high is None or _is_ordered(value, self.high)
        )

    def words(self) -> str:
        """Return what is asked for, in words.

        >>> AttributeTest("length", low=attribute_of("3 m")).words()
        'length of at least 3 m'
        """
        if self.among:
            return f"{self.name} {' or '.join(map(attribute_text, self.among))}"
        parts = [] if self.low is None else [f"at least {attribute_text(self.low)}"]
        parts += [] if self.high is None else [f"at most {attribute_text(self.high)}"]
        return f"{self.name} of {' and '.join(parts)}" if parts else f"attribute {self.name}"


def _is_same(value: Attribute, asked: Attribute) -> bool:
    if isinstance(value, Quantity) and isinstance(asked, Quantity):
        return value.dimension == asked.dimension and math.isclose(value.value, asked.value, rel_tol=_NEAR)
    return value == asked if type(value) is type(asked) else attribute_text(value) == asked


def _is_ordered(low: Attribute, high: Attribute) -> bool:
    """Return whether `low` is not above `high`; False where nobody can compare them."""
    if isinstance(low, Quantity) and isinstance(high, Quantity):
        return low.dimension == high.dimension and (
            low.value <= high.value or math.isclose(low.value, high.value, rel_tol=_NEAR)
        )
    return isinstance(low, date) and isinstance(high, date) and low <= high
