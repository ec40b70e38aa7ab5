"""What warming does to liquid that fills a shut volume: how far the pressure rises, how far it may warm.

Warming alone. A full volume that cools draws bubbles at once and its pressure follows the vapour, so that none of this
holds for a negative difference: every function refuses it. The formula takes expansivity and compressibility as
constant; where they change much (water near 4 degC) use a table of rises at constant density instead.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

Points = Sequence[tuple[float, float]]
"""Rises at constant density: (warmed by, K; pressure risen by, Pa), both growing; nothing at nothing is understood."""


def pressure_rise(
    *,
    warmed: float,
    expansivity: float,
    compressibility: float,
    wall_expansion: float = 0.0,
    wall_give: float = 0.0,
    lost: float = 0.0,
) -> float:
    """Return the rise of pressure in a volume full of liquid, Pa.

    p2 - p1 = ((T2 - T1) (av - aw) - lost) / (chi + w), with the liquid's expansivity av (`expansivity`, 1/K) and
    isothermal compressibility chi (`compressibility`, 1/Pa), the wall's expansion by volume aw (`wall_expansion`, 1/K:
    three times its linear one), how the volume gives with pressure w (`wall_give`, 1/Pa: see `closed_cylinder` and
    `open_cylinder`) and the part of the volume that leaks out meanwhile (`lost`, 1: leak rate times time over volume).
    Without wall and leak it is the rigid volume, the worst case: p2 - p1 = (T2 - T1) av / chi.
    Valid for warming, no gas in the liquid, a wall below yield, and av and chi taken about the middle of the range.
    Source: API 521 / ISO 23251:2006, 5.14.4.1, equation (3), where w is that of `closed_cylinder`.
    ValueError for cooling, for what isn't physical, and where the liquid would no longer fill the volume.

    >>> round(pressure_rise(warmed=1.0, expansivity=206.6e-6, compressibility=45.90e-11) / 1e5, 3)
    4.501
    """
    if warmed < 0:
        raise ValueError("cooling is not covered: a full volume that cools draws bubbles")
    if compressibility <= 0 or wall_give < 0 or lost < 0:
        raise ValueError("the compressibility must be positive, the wall's give and the loss not negative")
    excess = warmed * (expansivity - wall_expansion) - lost
    if excess < 0:
        raise ValueError("the volume grows faster than the liquid, which no longer fills it")
    return excess / (compressibility + wall_give)


def allowable_warming(
    *,
    rise: float,
    expansivity: float,
    compressibility: float,
    wall_expansion: float = 0.0,
    wall_give: float = 0.0,
) -> float | None:
    """Return by how many K a full volume may warm until its pressure has risen by `rise` Pa, None for any number.

    `pressure_rise` turned round, without a leak: T2 - T1 = (p2 - p1) (chi + w) / (av - aw). None where the wall expands
    as much as the liquid, so that warming raises nothing. ValueError for a negative rise and what isn't physical.

    >>> round(allowable_warming(rise=20e5, expansivity=206.6e-6, compressibility=45.90e-11), 2)
    4.44
    """
    if rise < 0:
        raise ValueError("the pressure that is allowed lies below the one that is there")
    if compressibility <= 0 or wall_give < 0:
        raise ValueError("the compressibility must be positive, the wall's give not negative")
    excess = expansivity - wall_expansion
    return rise * (compressibility + wall_give) / excess if excess > 0 else None


def closed_cylinder(*, diameter: float, thickness: float, modulus: float, poisson: float) -> float:
    """Return how the volume of a thin cylinder with closed ends gives with pressure, 1/Pa.

    w = (d / (2 E delta)) (2.5 - 2 mu), with the inner diameter d (`diameter`, m), the wall's thickness delta
    (`thickness`, m), its modulus of elasticity E (`modulus`, Pa) and Poisson's ratio mu (`poisson`, 1).
    Valid for d/delta of 20 and more. Source: API 521 / ISO 23251:2006, 5.14.4.1, equation (3).

    >>> round(closed_cylinder(diameter=0.1, thickness=0.001, modulus=2e11, poisson=0.3) * 1e12, 1)
    475.0
    """
    _check_wall(diameter, thickness, modulus)
    if not 0 <= poisson <= 0.5:
        raise ValueError("Poisson's ratio must be 0 to 0.5")
    return diameter / (2 * modulus * thickness) * (2.5 - 2 * poisson)


def open_cylinder(*, diameter: float, thickness: float, modulus: float) -> float:
    """Return how the volume of a thin cylinder gives with pressure that stretches its girth alone, 1/Pa.

    w = d / (E delta), symbols as in `closed_cylinder`: other guides take this for a pipe whose ends carry nothing.
    Valid for d/delta of 20 and more. Source: common practice.

    >>> round(open_cylinder(diameter=0.1, thickness=0.001, modulus=2e11) * 1e12, 1)
    500.0
    """
    _check_wall(diameter, thickness, modulus)
    return diameter / (modulus * thickness)


def _check_wall(diameter: float, thickness: float, modulus: float) -> None:
    if diameter <= 0 or thickness <= 0 or modulus <= 0:
        raise ValueError("diameter, thickness and modulus must be positive")


def tabled_rise(warmed: float, points: Points) -> float | None:
    """Return the rise of pressure, Pa, of a rigid full volume from a table of rises, None beyond the table's end.

    Straight between two points: a little too much where rises grow ever faster (water), hardly too little where they
    grow slower (ammonia). ValueError for cooling.

    >>> tabled_rise(1.5, [(1.0, 10e5), (2.0, 30e5)])
    2000000.0
    """
    if warmed < 0:
        raise ValueError("cooling is not covered: a full volume that cools draws bubbles")
    return _between(warmed, [(0.0, 0.0), *points])


def tabled_warming(rise: float, points: Points) -> float | None:
    """Return by how many K a rigid full volume may warm until its pressure has risen by `rise` Pa: `tabled_rise` turned
    round. None where that is beyond the table's end. ValueError for a negative rise.

    >>> tabled_warming(20e5, [(1.0, 10e5), (2.0, 30e5)])
    1.5
    """
    if rise < 0:
        raise ValueError("the pressure that is allowed lies below the one that is there")
    return _between(rise, [(0.0, 0.0), *((risen, warmed) for warmed, risen in points)])


def _between(x: float, points: Points) -> float | None:
    for (x0, y0), (x1, y1) in pairwise(points):
        if x <= x1:
            return y0 + (y1 - y0) * (x - x0) / (x1 - x0)
    return None
