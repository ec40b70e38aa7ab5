"""How long a unit stays warm (or cool) enough: lumped capacity with a linear heat leak."""

from __future__ import annotations

from math import log

MOST_BIOT = 0.1
"""Below this Biot number the temperature inside is uniform enough for one lump (Incropera, section 5.2)."""


def time_to_limit(
    *,
    capacity: float,
    leak: float,
    start: float,
    sink: float,
    limit: float,
    heater: float = 0.0,
    lower: bool = True,
) -> float | None:
    """Return the seconds until a lump at `start` K goes beyond `limit` K, or None when it never does.

    `lower` says that the limit is the lowest temperature allowed; otherwise it is the highest. A lump of heat capacity
    C (`capacity`, J/K) that leaks G (`leak`, W/K) to a sink Ts (`sink`, K), heated with Q (`heater`, W), obeys
    C dT/dt = G (Ts - T) + Q: it tends to Te = Ts + Q/G with time constant C/G, so that
    t = (C/G) ln((T0 - Te) / (T1 - Te)). One that starts beyond its limit has no time left, wherever it is going; one
    that starts at its limit has none if it is on its way out.
    Valid where the temperature inside is uniform (Biot number below `MOST_BIOT`).
    Source: Incropera, Fundamentals of Heat and Mass Transfer, section 5.1 (with the heat source moved into Te).
    ValueError for a capacity or leak that isn't positive.

    >>> round(time_to_limit(capacity=1000.0, leak=1.0, start=300.0, sink=200.0, limit=250.0), 3)
    693.147
    >>> time_to_limit(capacity=1000.0, leak=1.0, start=300.0, sink=200.0, limit=250.0, heater=50.0) is None
    True
    """
    if capacity <= 0 or leak <= 0:
        raise ValueError("heat capacity and leak must be positive")
    end = sink + heater / leak
    if _is_beyond(start, limit, lower=lower):
        return 0.0
    if not _is_beyond(end, limit, lower=lower):
        return None
    return capacity / leak * log((start - end) / (limit - end))


def _is_beyond(temperature: float, limit: float, *, lower: bool) -> bool:
    return temperature < limit if lower else temperature > limit
