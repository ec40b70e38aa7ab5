"""Measured values as text."""

from __future__ import annotations


def quantity_text(quantity: str, value: float, unit: str) -> str:
    """Return a value kept in SI in the unit that the user wrote; in SI, and saying so, where that is unknown."""
    from cfgtrack.model.quantity import BadQuantity, dimension_of, format_number, from_si

    try:
        return str(from_si(value, unit=unit, dimension=dimension_of(quantity)))
    except BadQuantity:
        return f"{format_number(value)} (SI)"
