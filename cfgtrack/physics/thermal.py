"""How long a unit stays warm (or cool) enough: lumped capacity with a linear heat leak."""

from __future__ import annotations

from math import log


def time_to_limit(
    *, capacity: float, leak: float, start: float, sink: float, limit: float, heater: float = 0.0
) -> float | None:
    """Return the seconds until a lump at `start` K reaches `limit` K, or None when it never does.

    A lump of heat capacity C (`capacity`, J/K) that leaks G (`leak`, W/K) to a sink Ts (`sink`, K), heated with Q
    (`heater`, W), obeys C dT/dt = G (Ts - T) + Q: it tends to Te = Ts + Q/G with time constant C/G, so that
    t = (C/G) ln((T0 - Te) / (T1 - Te)). Valid where the temperature inside is uniform (Biot number below 0.1).
    Source: Incropera, Fundamentals of Heat and Mass Transfer, section 5.1 (with the heat source moved into Te).
    ValueError for a capacity or leak that isn't positive.

    >>> round(time_to_limit(capacity=1000.0, leak=1.0, start=300.0, sink=200.0, limit=250.0), 3)
    693.147
    """
    if capacity <= 0 or leak <= 0:
        raise ValueError("heat capacity and leak must be positive")
    end = sink + heater / leak
    if start == limit:
        return 0.0
    if (limit - start) * (end - limit) <= 0:
        return 0.0 if _is_past(start, limit, end) else None
    return capacity / leak * log((start - end) / (limit - end))


def _is_past(start: float, limit: float, end: float) -> bool:
    """Return whether the limit lies behind: the lump moves away from it, on the far side of where it started.

    A lump that cools guards a lower limit and one that warms an upper one; a start already beyond the limit on the
    side it moves to has no time left.
    """
    return end < start < limit or end > start > limit


__all__ = ["time_to_limit"]
