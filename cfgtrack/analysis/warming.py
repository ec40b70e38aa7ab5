"""What warming does to liquid that is shut in: the rise of pressure, or how far it may warm, from each known state."""

from __future__ import annotations

from dataclasses import dataclass

from cfgtrack.model.quantity import Quantity, from_si
from cfgtrack.model.reference import Fluid, FluidState
from cfgtrack.physics.trapped import tabled_rise, tabled_warming


@dataclass(frozen=True, slots=True)
class Warming:
    """What warming does to a fluid in a full rigid volume.

    `asked` is by how much it is warmed, or with `is_rise` how far its pressure may rise; `found` is the other of
    the two for each state that the fluid may start from, None beyond the end of its table.
    """

    fluid: Fluid
    asked: Quantity
    is_rise: bool
    found: tuple[tuple[FluidState, Quantity | None], ...]


def warm(fluid: Fluid, *, warmed: Quantity | None = None, rise: Quantity | None = None) -> Warming:
    """Return how the pressure rises when `fluid` is warmed by `warmed`, or else how far it may warm for `rise`.

    From each state with a table of rises; none of them where nobody knows how the fluid gives. ValueError without
    either, and for cooling.
    """
    states = [state for state in fluid.state if state.rises]
    if warmed is not None:
        asked, dimension, unit = warmed, "pressure", "bar"
        values = [tabled_rise(warmed.value, state.points) for state in states]
    elif rise is not None:
        asked, dimension, unit = rise, "temperature difference", "K"
        values = [tabled_warming(rise.value, state.points) for state in states]
    else:
        raise ValueError("expected a warming or a rise")
    found = (None if one is None else from_si(one, unit=unit, dimension=dimension) for one in values)
    return Warming(fluid, asked, warmed is None, tuple(zip(states, found, strict=True)))
