"""What a torque does to a thread: the preload, and how near that is to what each class of bolt stands."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import ClassVar, NamedTuple

from cfgtrack.model.quantity import Quantity, from_si
from cfgtrack.model.reference import ADVISES, PropertyClass, Scatter, Surface, Thread
from cfgtrack.physics import bolts
from cfgtrack.physics.bolts import Preload


class OfProof(NamedTuple):
    """A class of bolt: its proof stress, and the parts of its proof load that low, likely and high preload are."""

    class_: str
    by_strain: bool
    proof: Quantity
    low: float
    likely: float
    high: float


@dataclass(frozen=True, slots=True)
class Tightening:
    """What a torque does to a thread, with what a torque wrench scatters.

    `wanted` is the preload that was asked for, None where the torque was. `preload` is in N. `of_proof`: the classes
    that go with the thread.
    """

    untold: ClassVar[tuple[str, ...]] = ("thread",)

    thread: Thread
    surface: Surface
    scatter: Quantity
    torque: Quantity
    wanted: Quantity | None
    preload: Preload
    of_proof: tuple[OfProof, ...]
    advises: str = ADVISES


def tighten(
    thread: Thread,
    surface: Surface,
    scatter: Scatter,
    classes: Iterable[PropertyClass],
    *,
    torque: Quantity | None = None,
    preload: Quantity | None = None,
) -> Tightening:
    """Return what `torque` does, or else the torque that is likely to give `preload`; forces in N.

    ValueError without either.
    """
    bolt = {"diameter": thread.diameter.value, "nut_factor": surface.nut_factor.value}
    if torque is None:
        if preload is None:
            raise ValueError("expected a torque or a preload")
        unit = "N*m" if thread.form == "metric" else "ft lbf"
        torque = from_si(bolts.torque_for(preload=preload.value, **bolt), unit=unit, dimension="torque")
    else:
        preload = None
    force = bolts.preload(torque=torque.value, scatter=scatter.scatter.value, **bolt)
    of_proof = []
    for one in classes:
        proof = one.proof_of(thread)
        if proof is not None:
            stands = {"area": thread.stress_area.value, "proof": proof.value}
            parts = (bolts.proof_fraction(preload=newtons, **stands) for newtons in force)
            of_proof.append(OfProof(one.id, one.by_strain, proof, *parts))
    return Tightening(thread, surface, scatter.scatter, torque, preload, force, tuple(of_proof))
