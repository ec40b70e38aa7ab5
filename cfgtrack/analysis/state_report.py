"""Reports on the state of things: values that tables, JSON and pages all show."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

from cfgtrack.model.event import Entry
from cfgtrack.rules.finding import Clock


@dataclass(frozen=True, slots=True)
class Reading:
    """A value as it was last measured: `value` in SI, `unit` as the user wrote it."""

    subject: str
    quantity: str
    value: float
    unit: str


@dataclass(frozen=True, slots=True)
class PortState:
    """One port, valve, switch or cover.

    `made`: its link is made (a valve or switch: it lets through). `live`: its medium can come to it.
    `reaches`: the expansions (fluid) or sources to which a path leads from it. `cycles` used of `rated`;
    None rated: no limit given. `event` wrote the status; None: never touched.
    """

    address: str
    title: str
    kind: str
    medium: str
    size: str
    status: str
    mate: str | None
    made: bool
    live: bool
    open_end: bool
    reaches: tuple[str, ...]
    cycles: int
    rated: int | None
    event: str | None


@dataclass(frozen=True, slots=True)
class VolumeState:
    """A liquid-full volume. `loops`: those of the `expansions` that it reaches. `loop`: as defined."""

    address: str
    litres: float
    loop: str
    loops: tuple[str, ...]
    expansions: tuple[str, ...]
    cut_off: bool


@dataclass(frozen=True, slots=True)
class LoadState:
    """A load, and the sources that feed it now."""

    address: str
    title: str
    medium: str
    sources: tuple[str, ...]

    @property
    def fed(self) -> bool:
        """Whether some source feeds it."""
        return bool(self.sources)


@dataclass(frozen=True, slots=True)
class HoldLink:
    """A made hold link: own port, far port, the own port's status, and whether it gives."""

    port: str
    far: str
    status: str
    flexible: bool


@dataclass(frozen=True, slots=True)
class HoldState:
    """What holds a unit, or a person or arm (of that not what it grips itself).

    `seat`: the place that holds it because it stands there. `held`: a place that doesn't move holds it,
    directly or not. `bearers`: persons, arms and other moving places to which hold links lead from it. `hangs`: it has
    nothing to be held by (a hose, a cable) but what it is mated to.
    """

    links: tuple[HoldLink, ...]
    seat: str
    held: bool
    bearers: tuple[str, ...]
    hangs: bool


@dataclass(frozen=True, slots=True)
class Standing:
    """A unit or mobile place that stands somewhere."""

    id: str
    title: str
    facing: str | None


@dataclass(frozen=True, slots=True)
class StateReport:
    """The state of one thing. `sort` is unit, place, mobile place, port or node.

    `place` runs from where it is outwards to the root. `hold` is None for a place that doesn't move, a port or a node.
    `standing`: what stands at a place. `gripped`: what a person or arm holds on to.
    """

    told: ClassVar[tuple[str, ...]] = ("open_ends",)

    address: str
    sort: str
    title: str
    part: str
    home: str
    place: tuple[str, ...]
    facing: str | None
    ports: tuple[PortState, ...]
    volumes: tuple[VolumeState, ...]
    loads: tuple[LoadState, ...]
    hold: HoldState | None
    standing: tuple[Standing, ...]
    gripped: tuple[HoldLink, ...]
    readings: tuple[Reading, ...]
    clocks: tuple[Clock, ...]
    remarks: tuple[Entry, ...]

    @property
    def open_ends(self) -> tuple[str, ...]:
        """The ports that are apart, not capped, and live."""
        return tuple(p.address for p in self.ports if p.open_end)


@dataclass(frozen=True, slots=True)
class UnitLine:
    """One unit in a line. `fed` of `loads` loads have a source; `cut_off` of `volumes` have no expansion.

    `bearers`: who carries it where no place that stays holds it. `hangs`: it has nothing to be held by (a hose, a
    cable) and is mated to something.
    """

    id: str
    title: str
    part: str
    place: str
    facing: str | None
    home: str
    held: bool
    bearers: tuple[str, ...]
    hangs: bool
    mated: int
    interfaces: int
    fed: int
    loads: int
    cut_off: int
    volumes: int
    open_ends: int


@dataclass(frozen=True, slots=True)
class PlantReport:
    """The state of everything: a line a unit, and by address what stands out.

    Not among those `not_held`: what somebody carries, and what has nothing to be held by and is mated to something.
    """

    units: tuple[UnitLine, ...]
    open_ends: tuple[str, ...]
    cut_off: tuple[VolumeState, ...]
    dead_loads: tuple[LoadState, ...]
    not_held: tuple[str, ...]
    clocks: tuple[Clock, ...]
