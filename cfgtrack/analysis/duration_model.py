"""How long a step takes, as a distribution: low, likely and high durations read as a triangle or as PERT's beta.

Durations are drawn by turning a uniform number round: the same number gives a longer duration where the step is a
slower one. Only sums, products, quotients and square roots are used, which every machine rounds alike (IEEE 754); the
logarithms and powers of a machine's library may differ in their last digit, and draws with them.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from enum import StrEnum
from functools import lru_cache
from math import sqrt
from typing import ClassVar

from cfgtrack.model.time import SECOND

Takes = tuple[int, int, int]
"""Low, likely and high, in microseconds."""


class Shape(StrEnum):
    """How durations are spread between low and high: the likely one is the most frequent of both."""

    TRIANGULAR = "triangular"
    PERT = "pert"


def expected(takes: Takes) -> float:
    """Return PERT's expected duration, (low + 4 likely + high) / 6.

    Malcolm, Roseboom, Clark and Fazar, "Application of a technique for research and development program evaluation",
    Operations Research 7 (1959) 646; exact for the PERT-beta of `Shape`.
    """
    low, likely, high = takes
    return (low + 4 * likely + high) / 6


def variance(takes: Takes) -> float:
    """Return PERT's variance of a duration, ((high - low) / 6) ** 2, in square microseconds. Same source.

    An approximation, also of the PERT-beta: that of a beta whose likely value is not near its middle is another one.
    """
    low, _, high = takes
    return ((high - low) / 6) ** 2


Draw = Callable[[Sequence[float]], list[int]]
"""What makes durations, in microseconds, of numbers drawn evenly between 0 and 1."""


def drawing(shape: Shape, takes: Takes) -> Draw:
    """Return what draws durations of a step."""
    low, likely, high = takes
    if low == high:
        return lambda drawn: [low] * len(drawn)
    return (_pert if shape is Shape.PERT else _triangular)(low, likely, high)


def _triangular(low: int, likely: int, high: int) -> Draw:
    """Return what draws from the triangle: its distribution function is two parabolas, so its inverse two roots."""
    width = high - low
    rising, falling = float(width * (likely - low)), float(width * (high - likely))
    turn = (likely - low) / width

    def draw(drawn: Sequence[float]) -> list[int]:
        return [
            low + int(sqrt(u * rising)) if u < turn else high - int(sqrt((1 - u) * falling)) for u in drawn
        ]

    return draw


def _pert(low: int, likely: int, high: int) -> Draw:
    """Return what draws from the PERT-beta: its inverse distribution function from a table, even within each cell."""
    width = high - low
    share = (likely - low) / width
    table = _beta_table(share)
    below, at, wide = table.below, [width * x for x in table.at], [width * w for w in table.slope]

    def draw(drawn: Sequence[float]) -> list[int]:
        return [
            low + int(at[i] + (u - below[i]) * wide[i]) for u in drawn for i in (bisect_right(below, u) - 1,)
        ]

    return draw


# --- the beta of PERT ---------------------------------------------------------------------------------------------

_CELLS = 512
"""Into how many cells the beta is divided: its distribution function is then exact to about 1e-6."""


@dataclass(frozen=True, slots=True)
class BetaTable:
    """The distribution of a beta between 0 and 1, cell by cell.

    `below` is the probability of less than the cell, `at` where the cell begins, `slope` how much is gained in it for
    each unit of probability.
    """

    below: tuple[float, ...]
    at: tuple[float, ...]
    slope: tuple[float, ...]


@lru_cache(maxsize=1024)
def _beta_table(share: float) -> BetaTable:
    """Return the table of the beta whose mode lies at a share of the way: alpha 1 + 4 share, beta 5 - 4 share.

    Its density is (x ** share * (1 - x) ** (1 - share)) ** 4. It is summed up by Simpson's rule over s, where
    x = s * s * (3 - 2 * s): so its ends, where x ** share has no derivative, are finely divided.
    """
    logs, jacobian, places = _grid()
    n = 2 * _CELLS
    density = [0.0] * (n + 1)
    for i in range(1, n):
        log = 4 * (share * logs[i] + (1 - share) * logs[n - i])
        density[i] = _exp(log) * jacobian[i]
    sums = [0.0]
    for i in range(0, n, 2):
        sums.append(sums[-1] + density[i] + 4 * density[i + 1] + density[i + 2])
    total = sums[-1]
    below, at, slope = [], [], []
    for i in range(_CELLS):
        inside = (sums[i + 1] - sums[i]) / total
        if inside > 0:
            below.append(sums[i] / total)
            at.append(places[2 * i])
            slope.append((places[2 * i + 2] - places[2 * i]) / inside)
    below[0] = 0.0
    return BetaTable(tuple(below), tuple(at), tuple(slope))


@lru_cache(maxsize=1)
def _grid() -> tuple[list[float], list[float], list[float]]:
    """Return at each node the logarithm of x, the derivative of x by s, and x. Of 1 - x: those from the other end."""
    n = 2 * _CELLS
    whole = _logs(3 * n)
    logs, jacobian, places = [0.0], [0.0], [0.0]
    for i in range(1, n + 1):
        # log x = 2 log(i / n) + log((3 n - 2 i) / n)
        logs.append(2 * (whole[i] - whole[n]) + (whole[3 * n - 2 * i] - whole[n]))
        s = i / n
        jacobian.append(6 * s * (1 - s))
        places.append(s * s * (3 - 2 * s))
    return logs, jacobian, places


def _logs(most: int) -> list[float]:
    """Return the natural logarithms of the numbers up to `most`; of 0 there is none, and 0 stands for it.

    log((k + 1) / k) = 2 artanh(1 / (2 k + 1)).
    """
    logs = [0.0, 0.0]
    for k in range(1, most):
        z = 1 / (2 * k + 1)
        square, power, term = z * z, z, z
        for odd in range(3, 61, 2):
            power *= square
            more = power / odd
            if term + more == term:
                break
            term += more
        logs.append(logs[-1] + 2 * term)
    return logs


def _exp(x: float) -> float:
    """Return e to the power of a number that is not above 0, to some 13 digits: by its series, of a 1024th of it."""
    t = x / 1024
    y = 1 + t * (1 + t / 2 * (1 + t / 3 * (1 + t / 4 * (1 + t / 5))))
    for _ in range(10):
        y *= y
    return y if x > -700 else 0.0


# --- a share that was sampled -------------------------------------------------------------------------------------

Z_95 = 1.959963984540054
"""The normal distribution lies between minus and plus so many standard deviations in 95 % of cases."""


@dataclass(frozen=True, slots=True)
class Chance:
    """A probability that was sampled: `hits` of `samples`, with its standard error and its 95 % interval, low to high.

    The interval is Wilson's score interval (Journal of the American Statistical Association 22 (1927) 209): it is
    right at 0 and at 1 too, where the standard error is 0. Where `unknown` samples couldn't be told, they count
    against both ends.
    """

    told: ClassVar[tuple[str, ...]] = ("probability", "standard_error", "low", "high")

    hits: int
    samples: int
    unknown: int = 0

    @property
    def probability(self) -> float:
        """The share of samples in which it came, of those that could be told."""
        known = self.samples - self.unknown
        return self.hits / known if known else 0.5

    @property
    def standard_error(self) -> float:
        """The standard error of that share."""
        known = self.samples - self.unknown
        return sqrt(self.probability * (1 - self.probability) / known) if known else 0.5

    @property
    def low(self) -> float:
        """The lower end of the 95 % interval."""
        return wilson(self.hits, self.samples)[0]

    @property
    def high(self) -> float:
        """The upper end of the 95 % interval."""
        return wilson(self.hits + self.unknown, self.samples)[1]


def wilson(hits: int, samples: int) -> tuple[float, float]:
    """Return Wilson's 95 % interval of a share.

    >>> wilson(0, 10)[0], wilson(10, 10)[1]
    (0.0, 1.0)
    """
    if not samples:
        return 0.0, 1.0
    share, square = hits / samples, Z_95 * Z_95
    middle = share + square / (2 * samples)
    half = Z_95 * sqrt(share * (1 - share) / samples + square / (4 * samples * samples))
    whole = 1 + square / samples
    low = 0.0 if hits == 0 else max(0.0, (middle - half) / whole)
    high = 1.0 if hits == samples else min(1.0, (middle + half) / whole)
    return low, high


def seconds(span: float) -> float:
    """Return microseconds as seconds, to the microsecond."""
    return round(span) / SECOND
