"""Limits of time that physics sets: how long until a subject is too cold, or its trapped liquid at rated pressure."""

from __future__ import annotations

from dataclasses import dataclass

from cfgtrack.model.configuration import place_line
from cfgtrack.model.plant import owner_of
from cfgtrack.model.time import LONGEST, SECOND
from cfgtrack.physics.thermal import MOST_BIOT, time_to_limit
from cfgtrack.rules.finding import Reason
from cfgtrack.rules.world import World

LIMITS = ("thermal", "trapped")


@dataclass(frozen=True, slots=True)
class Limit:
    """`time` in microseconds, None when the limit is never reached. `unknown` says why it can't be computed."""

    time: int | None = None
    unknown: str = ""

    def reason(self) -> Reason:
        """Return why there is no verdict."""
        return Reason("no-limit", self.unknown)


def find_limit(limit: int | str, world: World, it: str | None) -> Limit:
    """Return how long a clock runs that starts now for `it`: a given time, or one that physics sets.

    `thermal` is the time until the owner of `it` goes beyond its part's limit; it starts from the temperature last
    measured on that owner, or else the part's, in the surroundings of the innermost place that has a `sink`. A limit
    that is not above the part's start is the lowest temperature allowed, and the heater counts as off; another is the
    highest, and it counts as on: the worst of both. `trapped` is the time that the part gives for its liquid.
    """
    if isinstance(limit, int):
        return Limit(limit)
    if it is None:
        return Limit(unknown=f"a {limit} limit needs a subject")
    return _thermal(world, owner_of(it)) if limit == "thermal" else _trapped(world, owner_of(it))


def _thermal(world: World, owner: str) -> Limit:
    data = world.plant.part_of(owner).thermal
    if data is None:
        return Limit(unknown=f"{owner} has no thermal data")
    if data.biot is not None and data.biot >= MOST_BIOT:
        return Limit(
            unknown=f"{owner} is too thick for one lump: Biot number {data.biot:g}, not below {MOST_BIOT:g}"
        )
    sink = _sink(world, owner)
    if sink is None:
        return Limit(unknown=f"no place around {owner} gives a sink temperature")
    measured = world.configuration.values.get((owner, "temperature"))
    start = float(measured.value) if measured is not None else data.start
    lower = data.limit <= data.start
    seconds = time_to_limit(
        capacity=data.capacity,
        leak=data.leak,
        start=start,
        sink=sink,
        limit=data.limit,
        heater=0.0 if lower else data.heater,
        lower=lower,
    )
    # Cut, not rounded: the clock never promises more than there is. Of more than a lifetime nobody asks when it ends.
    return Limit(None if seconds is None or seconds * SECOND > LONGEST else int(seconds * SECOND))


def _sink(world: World, owner: str) -> float | None:
    for place in place_line(world.configuration, owner):
        sink = world.plant.places[place].sink
        if sink is not None:
            return sink
    return None


def _trapped(world: World, owner: str) -> Limit:
    data = world.plant.part_of(owner).trapped
    if data is None:
        return Limit(unknown=f"{owner} has no data on trapped liquid")
    return Limit(round(data * SECOND))
