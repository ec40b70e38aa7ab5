"""Ratings as limits of a value: what each limits, whose it is for an item now, and what is held against it."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass

from cfgtrack.model.configuration import place_line
from cfgtrack.model.hold import aboard, rigid_group
from cfgtrack.model.plant import Plant, owner_of
from cfgtrack.network.rating import Rated, current_of, pressure_media
from cfgtrack.rules.dependence import EVERYTHING, Dependence
from cfgtrack.rules.world import World


@dataclass(frozen=True, slots=True)
class Rating:
    """A rating that a `value` may have as its limit.

    It limits a `quantity`. `of` returns what it is for an item now, None where nothing is rated; `depends`, what may
    change that beside the item, None: nothing. `value`, where there is one, works the value out: else it was measured.
    `noun` says what it is, after the number.
    """

    quantity: str
    noun: str
    of: Callable[[World, str], Rated | None]
    depends: Callable[[World], Dependence | None]
    value: Callable[[World, str], float | None] | None = None


def _pressure(world: World, item: str) -> Rated | None:
    flows = (world.flows.get(medium) for medium in _media_of(world.plant, item))
    found = (flow.rated_pressure(item) for flow in flows if flow is not None)
    return min((rated for rated in found if rated is not None), default=None)


def _media_of(plant: Plant, item: str) -> Iterable[str]:
    """Return what media a port, contact or node is of; none for another thing."""
    if plant.port(item) is not None:
        return plant.media_of(item)
    thing = plant.contact(item) or plant.node(item)
    return () if thing is None else (thing.medium,)


def _on_pressures(world: World) -> Dependence | None:
    media = pressure_media(world.plant)
    for medium in media:
        world.have_flow(medium)
    return Dependence(media=frozenset(media)) if media else None


def _lifts(world: World, item: str) -> Rated | None:
    """Return what a person or machine may carry; of what else there is, what may be carried by whoever has it."""
    plant, owner = world.plant, owner_of(item)
    around = [owner] if plant.is_mobile(owner) else place_line(world.configuration, owner)
    rated = (Rated(lifts, p) for p in around if (lifts := plant.places[p].lifts) is not None)
    return min(rated, default=None)


def _on_lifts(world: World) -> Dependence | None:
    return EVERYTHING if any(place.lifts is not None for place in world.plant.places.values()) else None


def _carried(world: World, item: str) -> float | None:
    """Return the mass that a person or machine carries; of a unit, with what is fixed to it. None: some isn't known."""
    owner, view = owner_of(item), world.configuration
    return _mass(world, aboard(view, owner) if world.plant.is_mobile(owner) else rigid_group(view, owner))


def _mass(world: World, things: Iterable[str]) -> float | None:
    total = 0.0
    for thing in things:
        measured = world.configuration.values.get((thing, "mass"))
        mass = float(measured.value) if measured is not None else world.plant.part_of(thing).mass
        if mass is None and thing in world.plant.units:
            return None
        total += mass or 0.0
    return total


RATINGS = {
    "rated_pressure": Rating("pressure", "the rated pressure of", _pressure, _on_pressures),
    "rated_current": Rating(
        "current",
        "the rated current of",
        lambda world, item: current_of(world.configuration, item),
        lambda _: None,
    ),
    "lifts": Rating("mass", "the lifting limit of", _lifts, _on_lifts, _carried),
}
"""Every rating by the name that a rule gives it."""
