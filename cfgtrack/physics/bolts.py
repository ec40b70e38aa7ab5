"""What a torque does to a bolt: the preload that it gives, with its scatter, and how near that is to the proof load."""

from __future__ import annotations

from math import pi
from typing import NamedTuple


class Preload(NamedTuple):
    """The tension in a bolt after tightening, N: the least and the most that the scatter leaves, and the likely."""

    low: float
    likely: float
    high: float


def stress_area_metric(*, diameter: float, pitch: float) -> float:
    """Return the nominal stress area of an ISO metric thread, m2.

    As = (pi/4) (d - 0.9382 p)^2, with the nominal diameter d (`diameter`, m) and the pitch p (`pitch`, m).
    Source: ISO 898-1, nominal stress area. ValueError for a pitch that isn't positive or leaves no core.

    >>> round(stress_area_metric(diameter=0.012, pitch=0.00175) * 1e6, 2)
    84.27
    """
    _check_thread(diameter, pitch)
    return pi / 4 * (diameter - 0.9382 * pitch) ** 2


def stress_area_unified(*, diameter: float, pitch: float) -> float:
    """Return the tensile stress area of a unified inch thread, m2.

    At = 0.7854 (D - 0.9743/n)^2, with the nominal diameter D (`diameter`, m) and 1/n, one over the threads a length:
    the pitch (`pitch`, m). Source: ASME B1.1, appendix on stress areas. ValueError as for a metric thread.

    >>> round(stress_area_unified(diameter=0.25 * 0.0254, pitch=0.0254 / 20) / 0.0254**2, 4)
    0.0318
    """
    _check_thread(diameter, pitch)
    return 0.7854 * (diameter - 0.9743 * pitch) ** 2


def _check_thread(diameter: float, pitch: float) -> None:
    if not 0 < pitch < diameter:
        raise ValueError("the pitch must be positive and smaller than the diameter")


def preload(*, torque: float, diameter: float, nut_factor: float, scatter: float = 0.0) -> Preload:
    """Return the preload that a tightening torque gives.

    F = T / (K D), with the torque T (`torque`, N m), the nominal diameter D (`diameter`, m) and the nut factor K
    (`nut_factor`, 1: friction in the thread and under the head, and the thread's slope, in one measured number).
    `scatter` is the part of the likely preload by which bolts differ at one torque: low and high are F (1 - s) and
    F (1 + s). Valid below yield, for a torque that turns the nut, without prevailing torque (a locking nut's own is
    taken off first). Source: Shigley, Mechanical Engineering Design, torque requirements; the same
    form in Wentzell, Machine Design, section 6.2. ValueError for what isn't positive, and a scatter outside 0 to 1.

    >>> [round(force) for force in preload(torque=200.0, diameter=0.016, nut_factor=0.18, scatter=0.25)]
    [52083, 69444, 86806]
    """
    _check_factors(diameter, nut_factor)
    if torque < 0:
        raise ValueError("a tightening torque can't be negative")
    if not 0 <= scatter < 1:
        raise ValueError("the scatter must be a part of the preload, 0 to less than 1")
    likely = torque / (nut_factor * diameter)
    return Preload(likely * (1 - scatter), likely, likely * (1 + scatter))


def torque_for(*, preload: float, diameter: float, nut_factor: float) -> float:
    """Return the torque, N m, that is likely to give a wanted preload, N: T = K D F, as in `preload`.

    >>> round(torque_for(preload=50_000.0, diameter=0.012, nut_factor=0.2), 3)
    120.0
    """
    _check_factors(diameter, nut_factor)
    if preload < 0:
        raise ValueError("a preload can't be negative")
    return nut_factor * diameter * preload


def _check_factors(diameter: float, nut_factor: float) -> None:
    if diameter <= 0 or nut_factor <= 0:
        raise ValueError("diameter and nut factor must be positive")


def proof_fraction(*, preload: float, area: float, proof: float) -> float:
    """Return which part of its proof load a bolt is tightened to: F / (As Sp).

    With the preload F (`preload`, N), the stress area As (`area`, m2) and the proof stress Sp (`proof`, Pa), the
    highest that leaves no permanent set. Valid for tension alone: while a nut is turned, twist comes on top of it.
    Source: Wentzell, Machine Design, section 6.2. ValueError for an area or a proof stress that isn't positive.

    >>> round(proof_fraction(preload=69_444.0, area=156.67e-6, proof=580e6), 3)
    0.764
    """
    if area <= 0 or proof <= 0:
        raise ValueError("stress area and proof stress must be positive")
    return preload / (area * proof)
