"""What warming does to liquid that is shut in: the rise of pressure, or how far it may warm, from each known state."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar, NamedTuple

from cfgtrack.model.quantity import Quantity, from_si
from cfgtrack.model.reference import ADVISES, Fluid
from cfgtrack.physics.trapped import tabled_rise, tabled_warming


class FromState(NamedTuple):
    """From one temperature: warmed by so much, the pressure rises by so much. None beyond the end of the table."""

    temperature: Quantity
    warmed: Quantity | None
    rise: Quantity | None


@dataclass(frozen=True, slots=True)
class Warming:
    """What warming does to a fluid in a full rigid volume.

    It is `warmed` by so much, or its pressure may `rise` by so much: the one that was asked about. `from_` has both for
    each state with a table that the fluid may start from.
    """

    untold: ClassVar[tuple[str, ...]] = ("fluid",)

    fluid: Fluid
    warmed: Quantity | None
    rise: Quantity | None
    from_: tuple[FromState, ...]
    wall: str = "rigid"
    advises: str = ADVISES


def warm(fluid: Fluid, *, warmed: Quantity | None = None, rise: Quantity | None = None) -> Warming:
    """Return how the pressure rises when `fluid` is warmed by `warmed`, or else how far it may warm for `rise`.

    From each state with a table of rises; none of them where nobody knows how the fluid gives. ValueError without
    either, and for cooling.
    """
    if warmed is None and rise is None:
        raise ValueError("expected a warming or a rise")
    found = []
    for state in (state for state in fluid.state if state.rises):
        if warmed is not None:
            rises = _shown(tabled_rise(warmed.value, state.points), "bar", "pressure")
            found.append(FromState(state.temperature, warmed, rises))
        elif rise is not None:
            warms = _shown(tabled_warming(rise.value, state.points), "K", "temperature difference")
            found.append(FromState(state.temperature, warms, rise))
    return Warming(fluid, warmed, rise if warmed is None else None, tuple(found))


def _shown(value: float | None, unit: str, dimension: str) -> Quantity | None:
    return None if value is None else from_si(value, unit=unit, dimension=dimension)
