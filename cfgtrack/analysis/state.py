"""What is the state of this: a unit, a place, a person or arm, a port, or the whole plant."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import ClassVar

from cfgtrack.model.attribute import Attribute
from cfgtrack.model.configuration import Configuration, place_line
from cfgtrack.model.defect import Defect, all_defects, defects_about, defects_on
from cfgtrack.model.event import Entry, is_reading
from cfgtrack.model.hold import hangs, holds, is_made, seat_of
from cfgtrack.model.lock import Device, all_devices, devices_of, devices_on
from cfgtrack.model.part import LOAD
from cfgtrack.model.plant import HOLD, Plant, owner_of, port_of
from cfgtrack.model.time import Instant
from cfgtrack.model.unknown import expect_thing
from cfgtrack.network.facing import faced_by
from cfgtrack.network.network import Network
from cfgtrack.network.paths import Holding, Paths, loops_of
from cfgtrack.network.rating import Rated, current_of
from cfgtrack.rules.finding import Clock, Finding


@dataclass(frozen=True, slots=True)
class Reading:
    """A value as it was last measured: `value` in SI, `unit` as the user wrote it.

    `taken`: when, None where nobody looked it up.
    """

    untold: ClassVar[tuple[str, ...]] = ("taken",)

    subject: str
    quantity: str
    value: float
    unit: str
    taken: Instant | None = None


@dataclass(frozen=True, slots=True)
class Given:
    """A free attribute of a thing, as its part gives it (`of_part`) or it has itself."""

    subject: str
    name: str
    value: Attribute
    of_part: bool


@dataclass(frozen=True, slots=True)
class PortState:
    """One port, valve, switch or cover.

    `medium`: of a shell those of its contacts. `made`: its link is made (a valve or switch: it lets through). `live`:
    its medium can come to it. `reaches`: the expansions (fluid) or sources to which a path leads from it; of a shell
    its contacts tell. `cycles` used of `rated`; None rated: no limit given. `event` wrote the status; None: never
    touched. `rated_pressure` is the lowest of all that it is joined to, `rated_current` the lower of its joint's two
    halves. `locks`: the locks and tags on it. `defects`: what can't be done to it. `words`: what its kind calls the
    status. `hazardous`: it is an open end that may hurt somebody.
    """

    untold: ClassVar[tuple[str, ...]] = ("words", "hazardous")

    address: str
    aliases: tuple[str, ...]
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
    rated_pressure: Rated | None
    rated_current: Rated | None
    event: str | None
    locks: tuple[Device, ...]
    defects: tuple[Defect, ...]
    words: str
    hazardous: bool


@dataclass(frozen=True, slots=True)
class ContactState:
    """One contact of a shell. `peer`: what it is joined to, a contact of its medium or a port without any.

    All else that a port has, too, is as of a port.
    """

    address: str
    aliases: tuple[str, ...]
    title: str
    medium: str
    loop: str
    peer: str | None
    made: bool
    live: bool
    reaches: tuple[str, ...]
    rated_pressure: Rated | None
    rated_current: Rated | None


@dataclass(frozen=True, slots=True)
class VolumeState:
    """A liquid-full volume. `loops`: those of the `expansions` that it reaches. `loop`: as defined.

    `rated_pressure`: the lowest of all that it is joined to.
    """

    address: str
    aliases: tuple[str, ...]
    litres: float
    loop: str
    loops: tuple[str, ...]
    expansions: tuple[str, ...]
    cut_off: bool
    rated_pressure: Rated | None


@dataclass(frozen=True, slots=True)
class LoadState:
    """A load, and the sources that feed it now."""

    address: str
    aliases: tuple[str, ...]
    title: str
    medium: str
    sources: tuple[str, ...]

    @property
    def fed(self) -> bool:
        """Whether some source feeds it."""
        return bool(self.sources)


@dataclass(frozen=True, slots=True)
class HoldLink:
    """A made hold link: own port, far port, the own port's status, whether it gives, and the status in words."""

    untold: ClassVar[tuple[str, ...]] = ("words",)

    port: str
    far: str
    status: str
    flexible: bool
    words: str


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
    aliases: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Retired:
    """A unit that is no longer of the plant: since when, by which event, and why."""

    id: str
    since: Instant
    event: str
    reason: str


@dataclass(frozen=True, slots=True)
class Judged:
    """What was found wrong, beside what the configuration alone shows.

    `findings`: those that are open and that nobody excused. `past`: what broke a rule of the moment of an action while
    it was in force, which nothing puts right and nobody has acknowledged. `discrepancies`: what was found otherwise
    than recorded and nobody has explained. `has_rules`: there are rules; `is_judged`: the past was judged by them.
    """

    findings: tuple[Finding, ...] = ()
    past: tuple[Finding, ...] = ()
    discrepancies: tuple[Entry, ...] = ()
    has_rules: bool = True
    is_judged: bool = False


NOT_JUDGED = Judged()


@dataclass(frozen=True, slots=True)
class StateReport:
    """The state of one thing. `sort` is unit, place, mobile place, port, contact or node.

    Of a unit that is `retired` there is no more to say than that, and what it was.

    `place` runs from where it is outwards to the root. `hold` is None for a place that doesn't move, or what is inside.
    `standing`: what stands at a place. `gripped`: what a person or arm holds on to. `lifts`: the mass that it may
    carry, kg. `aliases`: what it is called besides; `attributes`: what else is said of it, and of what is inside.
    `locks`: the locks on a lock box. `has_locked`: the locks and tags of a person or lock box, wherever they hang.
    `defects`: what can't be done to it, or to what is inside; of a port or node what its owner has, too. `judged`: what
    was found wrong about it. `device_remarks`: what was remarked when a lock or tag was put on, by that event.
    """

    told: ClassVar[tuple[str, ...]] = ("open_ends",)
    untold: ClassVar[tuple[str, ...]] = ("judged", "device_remarks")

    address: str
    aliases: tuple[str, ...]
    sort: str
    title: str
    part: str
    home: str
    place: tuple[str, ...]
    facing: str | None
    ports: tuple[PortState, ...]
    contacts: tuple[ContactState, ...]
    volumes: tuple[VolumeState, ...]
    loads: tuple[LoadState, ...]
    hold: HoldState | None
    standing: tuple[Standing, ...]
    gripped: tuple[HoldLink, ...]
    lifts: float | None
    attributes: tuple[Given, ...]
    locks: tuple[Device, ...]
    has_locked: tuple[Device, ...]
    defects: tuple[Defect, ...]
    readings: tuple[Reading, ...]
    clocks: tuple[Clock, ...]
    remarks: tuple[Entry, ...]
    retired: Retired | None = None
    judged: Judged = NOT_JUDGED
    device_remarks: Mapping[str, str] = field(default_factory=dict)

    @property
    def open_ends(self) -> tuple[str, ...]:
        """The ports that are demated, not capped, and live."""
        return tuple(p.address for p in self.ports if p.open_end)


@dataclass(frozen=True, slots=True)
class UnitLine:
    """One unit in a line. `fed` of `loads` loads have a source; `cut_off` of `volumes` have no expansion.

    `bearers`: who carries it where no place that stays holds it. `hangs`: it has nothing to be held by (a hose, a
    cable) and is mated to something.
    """

    id: str
    aliases: tuple[str, ...]
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
class StatusCount:
    """How many ports of a kind without a second half (valves, switches, covers) have a status.

    `others` are those whose status is not the commonest among them; `words` what the kind calls the status.
    """

    untold: ClassVar[tuple[str, ...]] = ("words",)

    kind: str
    status: str
    count: int
    others: tuple[str, ...]
    words: str


@dataclass(frozen=True, slots=True)
class PartLine:
    """All units of a part in a line, and the places that it fits out.

    `free`: those with a half that is mated to nothing. `away`: the units that aren't at home.
    """

    id: str
    title: str
    count: int
    statuses: tuple[StatusCount, ...]
    free: tuple[str, ...]
    away: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class PlantReport:
    """The state of everything: a line a unit and a line a part, and by address what needs attention.

    Not among those `not_held`: what somebody carries, and what has nothing to be held by and is mated to something.
    `locks`: every lock and tag that is on anything. `defects`: all that can't be done. `findings`: those that are open
    and that nobody excused; `judged` has them too, with what else was found wrong. `hazardous_ends`: the open ends at
    which more than data is live. `device_remarks`: as of a thing.
    """

    told: ClassVar[tuple[str, ...]] = ("findings",)
    untold: ClassVar[tuple[str, ...]] = ("judged", "hazardous_ends", "device_remarks")

    units: tuple[UnitLine, ...]
    open_ends: tuple[str, ...]
    cut_off: tuple[VolumeState, ...]
    dead_loads: tuple[LoadState, ...]
    not_held: tuple[str, ...]
    locks: tuple[Device, ...]
    defects: tuple[Defect, ...]
    clocks: tuple[Clock, ...]
    retired: tuple[Retired, ...] = ()
    parts: tuple[PartLine, ...] = ()
    judged: Judged = NOT_JUDGED
    hazardous_ends: tuple[str, ...] = ()
    device_remarks: Mapping[str, str] = field(default_factory=dict)

    @property
    def findings(self) -> tuple[Finding, ...]:
        """The findings that are open and that nobody excused."""
        return self.judged.findings


# --- the questions ------------------------------------------------------------------------------------------


def unit_state(
    plant: Plant,
    configuration: Configuration,
    networks: Mapping[str, Network],
    address: str,
    *,
    clocks: Iterable[Clock] = (),
    remarks: Iterable[Entry] = (),
    retired: Iterable[Retired] = (),
    judged: Judged = NOT_JUDGED,
) -> StateReport:
    """Return the state of a unit, place, person or arm, port, contact or node.

    `networks` are the compiled networks by medium. Of the `clocks` those of the thing itself are shown. `retired` tells
    of the units that are no longer of the plant, `judged` what was found wrong about the thing. Raises NoAnswer when
    there is no such thing.
    """
    gone = next((one for one in retired if one.id == address), None)
    if gone is not None:
        return _of_retired(plant, gone, tuple(remarks))
    address = expect_thing(plant, address)
    survey = _Observer(configuration, networks)
    owner, colon, _ = address.partition(":")
    # Of a contact its shell: that is mated, worn and locked.
    ports = plant.ports_of(owner) if not colon else [port_of(address)] if plant.port(port_of(address)) else []
    contacts = [address] if plant.contact(address) else plant.contacts_of(address)
    nodes = plant.nodes_of(owner) if not colon else [address] if plant.node(address) else []
    line = place_line(configuration, owner)
    mobile = plant.is_mobile(owner)
    placed = plant.can_move(owner)
    return StateReport(
        address=address,
        aliases=plant.aliases_of(address),
        sort=plant.sort_of(address),
        title=_title(plant, address),
        part=plant.part_of(owner).id,
        home=plant.units[owner].home if owner in plant.units else "",
        place=tuple(line[1:] if owner in plant.places else line),
        facing=configuration.state(owner).other if placed else None,
        ports=tuple(survey.port(p) for p in ports),
        contacts=tuple(survey.contact(c) for c in contacts),
        volumes=tuple(survey.volumes(nodes)),
        loads=tuple(survey.loads(nodes)),
        hold=survey.hold(owner) if placed and not colon else None,
        standing=() if colon else tuple(_standing(configuration, owner)),
        gripped=tuple(survey.hold_links(owner, units=True)) if mobile else (),
        lifts=plant.places[owner].lifts if mobile and not colon else None,
        attributes=tuple(_attributes(plant, [address, *ports, *contacts, *nodes])),
        locks=() if colon else tuple(devices_on(configuration, owner)),
        has_locked=() if colon else tuple(devices_of(configuration, owner)),
        defects=tuple(defects_about(configuration, address)),
        readings=tuple(_readings(configuration, [address, *ports, *contacts, *nodes])),
        clocks=tuple(
            c for c in clocks if c.subject == address or (not colon and owner_of(c.subject) == owner)
        ),
        remarks=tuple(remarks),
        judged=judged,
    )


def _of_retired(plant: Plant, gone: Retired, remarks: tuple[Entry, ...]) -> StateReport:
    unit = plant.retired[gone.id]
    return StateReport(
        address=unit.id,
        aliases=unit.aliases,
        sort="unit",
        title=unit.title or (plant.parts[unit.part].title if unit.part in plant.parts else ""),
        part=unit.part,
        home=unit.home,
        place=(),
        facing=None,
        ports=(),
        contacts=(),
        volumes=(),
        loads=(),
        hold=None,
        standing=(),
        gripped=(),
        lifts=None,
        attributes=(),
        locks=(),
        has_locked=(),
        defects=(),
        readings=(),
        clocks=(),
        remarks=remarks,
        retired=gone,
    )


def plant_state(
    plant: Plant,
    configuration: Configuration,
    networks: Mapping[str, Network],
    *,
    clocks: Iterable[Clock] = (),
    retired: Iterable[Retired] = (),
    judged: Judged = NOT_JUDGED,
) -> PlantReport:
    """Return the state of everything: a line a unit and a part, and what needs attention, units and places alike.

    `judged`: what was found wrong beside that.
    """
    survey = _Observer(configuration, networks)
    lines: list[UnitLine] = []
    open_ends: list[str] = []
    cut_off: list[VolumeState] = []
    dead: list[LoadState] = []
    for owner in plant.owners():
        nodes = plant.nodes_of(owner)
        volumes, loads = list(survey.volumes(nodes)), list(survey.loads(nodes))
        ends = [p for p in plant.ports_of(owner) if survey.is_open_end(p)]
        open_ends.extend(ends)
        cut_off.extend(v for v in volumes if v.cut_off)
        dead.extend(load for load in loads if not load.fed)
        if owner in plant.units:
            lines.append(_unit_line(survey, owner, volumes, loads, len(ends)))
    not_held = tuple(unit for unit in plant.units if survey.holding(unit).is_loose)
    return PlantReport(
        tuple(lines),
        tuple(open_ends),
        tuple(cut_off),
        tuple(dead),
        not_held,
        tuple(all_devices(configuration)),
        tuple(all_defects(configuration)),
        tuple(clocks),
        tuple(retired),
        tuple(_part_lines(configuration)),
        judged,
        tuple(port for port in open_ends if survey.is_hazardous(port)),
    )


def _part_lines(configuration: Configuration) -> Iterator[PartLine]:
    """Yield each part that has units or fits out places, in the order of the definition."""
    plant = configuration.plant
    owners: dict[str, list[str]] = {}
    for owner in plant.owners():
        if plant.part_of(owner).id:
            owners.setdefault(plant.part_of(owner).id, []).append(owner)
    for name in (part for part in plant.parts if part in owners):
        there, free = owners[name], dict[str, None]()
        found: dict[str, dict[str, list[str]]] = {}
        for owner in there:
            for port in plant.part_of(owner).ports.values():
                address, kind = f"{owner}:{port.name}", plant.kinds[port.kind]
                state = configuration.state(address)
                if kind.joined is None:
                    found.setdefault(kind.id, {}).setdefault(state.value, []).append(address)
                elif state.other is None:
                    free[owner] = None
        yield PartLine(
            id=name,
            title=plant.parts[name].title,
            count=len(there),
            statuses=tuple(_status_counts(plant, found)),
            free=tuple(free),
            away=tuple(
                owner
                for owner in there
                if owner in plant.units
                and plant.units[owner].home not in ("", configuration.state(owner).value)
            ),
        )


def _status_counts(plant: Plant, found: Mapping[str, Mapping[str, Sequence[str]]]) -> Iterator[StatusCount]:
    for kind, by_status in found.items():
        ordered = sorted(by_status.items(), key=lambda one: -len(one[1]))
        for place, (status, ports) in enumerate(ordered):
            others = tuple(ports) if place else ()
            yield StatusCount(kind, status, len(ports), others, plant.kinds[kind].says(status))


def _unit_line(
    survey: _Observer, unit: str, volumes: list[VolumeState], loads: list[LoadState], open_ends: int
) -> UnitLine:
    plant = survey.plant
    thing = plant.units[unit]
    state = survey.configuration.state(unit)
    joined = [p for p in plant.ports_of(unit) if (found := plant.port(p)) and found[1].joined is not None]
    mated = sum(survey.configuration.state(p).other is not None for p in joined)
    holding = survey.holding(unit)
    return UnitLine(
        id=unit,
        aliases=thing.aliases,
        title=thing.title or plant.parts[thing.part].title,
        part=thing.part,
        place=state.value,
        facing=state.other,
        home=thing.home,
        held=holding.held,
        bearers=() if holding.held else holding.bearers,
        hangs=holding.hangs,
        mated=mated,
        interfaces=len(joined),
        fed=sum(load.fed for load in loads),
        loads=len(loads),
        cut_off=sum(v.cut_off for v in volumes),
        volumes=len(volumes),
        open_ends=open_ends,
    )


def load_states(
    configuration: Configuration, networks: Mapping[str, Network], nodes: Iterable[str]
) -> dict[str, LoadState]:
    """Return those of some nodes that are loads, each with what feeds it now."""
    return {load.address: load for load in _Observer(configuration, networks).loads(nodes)}


class _Observer:
    """One configuration, with the paths of each medium made when they are first asked for."""

    def __init__(self, configuration: Configuration, networks: Mapping[str, Network]) -> None:
        self.configuration = configuration
        self.plant = configuration.plant
        self._networks = networks
        self._paths: dict[str, Paths] = {}

    def paths(self, medium: str) -> Paths | None:
        if medium not in self._networks:
            return None
        if medium not in self._paths:
            self._paths[medium] = Paths(self._networks[medium], self.configuration)
        return self._paths[medium]

    def port(self, address: str) -> PortState:
        found = self.plant.port(address)
        assert found is not None
        port, kind = found
        state = self.configuration.state(address)
        media = port.media(kind.medium)
        paths = None if port.contacts or not media else self.paths(media[0])
        two_sided = kind.joined is not None
        return PortState(
            address=address,
            aliases=port.aliases,
            title=port.title,
            kind=kind.id,
            medium=", ".join(media),
            size=port.size,
            status=state.value,
            mate=state.other,
            made=is_made(self.configuration, address) if two_sided else kind.is_carrying(state.value),
            live=any(paths.is_live(address) for paths in self.paths_of(address)),
            open_end=self.is_open_end(address),
            reaches=_ends(paths, address),
            cycles=self.configuration.cycles.get(address, 0),
            rated=port.cycles,
            rated_pressure=self.rated_pressure(address),
            rated_current=current_of(self.configuration, address),
            event=state.event,
            locks=tuple(devices_on(self.configuration, address)),
            defects=tuple(defects_on(self.configuration, address)),
            words=kind.says(state.value),
            hazardous=self.is_hazardous(address),
        )

    def is_open_end(self, address: str) -> bool:
        return any(paths.is_open_end(address) for paths in self.paths_of(address))

    def is_hazardous(self, port: str) -> bool:
        return any(paths.is_hazardous(port) for paths in self.paths_of(port))

    def rated_pressure(self, port: str) -> Rated | None:
        found = (paths.rated_pressure(port) for paths in self.paths_of(port))
        return min((rated for rated in found if rated is not None), default=None)

    def paths_of(self, port: str) -> Iterator[Paths]:
        """Yield the paths of each medium that a port carries."""
        for medium in sorted(self.plant.media_of(port)):
            if (paths := self.paths(medium)) is not None:
                yield paths

    def contact(self, address: str) -> ContactState:
        contact, shell = self.plant.contact(address), port_of(address)
        assert contact is not None
        paths = self.paths(contact.medium)
        peer = next(iter(faced_by(self.configuration, address)), None)
        return ContactState(
            address=address,
            aliases=contact.aliases,
            title=contact.title,
            medium=contact.medium,
            loop=self.plant.loop_of(address),
            peer=peer,
            made=peer is not None and is_made(self.configuration, shell),
            live=paths is not None and paths.is_live(address),
            reaches=_ends(paths, address),
            rated_pressure=None if paths is None else paths.rated_pressure(address),
            rated_current=current_of(self.configuration, address),
        )

    def volumes(self, nodes: Iterable[str]) -> Iterator[VolumeState]:
        for address in nodes:
            node = self.plant.node(address)
            if node is None or node.litres is None:
                continue
            paths = self.paths(node.medium)
            if paths is not None:
                yield VolumeState(
                    address=address,
                    aliases=node.aliases,
                    litres=node.litres,
                    loop=self.plant.loop_of(address),
                    loops=loops_of(paths, address),
                    expansions=paths.reached(address, "expansion"),
                    cut_off=paths.is_cut_off(address),
                    rated_pressure=paths.rated_pressure(address),
                )

    def loads(self, nodes: Iterable[str]) -> Iterator[LoadState]:
        for address in nodes:
            node = self.plant.node(address)
            if node is None or LOAD not in node.roles:
                continue
            paths = self.paths(node.medium)
            if paths is not None:
                yield LoadState(address, node.aliases, node.title, node.medium, paths.fed_by(address))

    def holding(self, owner: str) -> Holding:
        paths = self.paths(HOLD)
        if paths is None:
            return Holding(held=False, bearers=(), hangs=hangs(self.configuration, owner))
        return paths.holding(owner)

    def hold(self, owner: str) -> HoldState:
        holding = self.holding(owner)
        return HoldState(
            links=tuple(self.hold_links(owner, units=None if owner in self.plant.units else False)),
            seat=seat_of(self.configuration, owner),
            held=holding.held,
            bearers=holding.bearers,
            hangs=holding.hangs,
        )

    def hold_links(self, owner: str, *, units: bool | None) -> Iterator[HoldLink]:
        """Yield the made hold links of `owner`: to units, to places (False), or to either (None)."""
        for joint in holds(self.configuration, owner):
            if units is None or units == (owner_of(joint.far) in self.plant.units):
                status = self.configuration.state(joint.near).value
                words = self.plant.says(joint.near, status)
                yield HoldLink(joint.near, joint.far, status, joint.gives, words)


def _ends(paths: Paths | None, address: str) -> tuple[str, ...]:
    if paths is None or paths.network.medium == HOLD:
        return ()
    return paths.reached(address, "expansion") if paths.nodes("expansion") else paths.fed_by(address)


def _title(plant: Plant, address: str) -> str:
    owner, colon, name = address.partition(":")
    part = plant.part_of(owner)
    if colon:
        return (part.ports.get(name) or plant.contact(address) or part.nodes[name]).title
    return (plant.units.get(owner) or plant.places[owner]).title or part.title


def _standing(configuration: Configuration, place: str) -> Iterator[Standing]:
    for thing in configuration.standing_at(place):
        plant = configuration.plant
        facing = configuration.state(thing).other
        yield Standing(thing, _title(plant, thing), facing, plant.aliases_of(thing))


def _attributes(plant: Plant, addresses: Iterable[str]) -> Iterator[Given]:
    for address in dict.fromkeys(addresses):
        own = plant.own_attributes_of(address)
        for name, value in plant.attributes_of(address).items():
            yield Given(address, name, value, name not in own)


def _readings(configuration: Configuration, addresses: Iterable[str]) -> Iterator[Reading]:
    wanted = dict.fromkeys(addresses)
    for (subject, quantity), effect in configuration.values.items():
        if subject in wanted and is_reading(quantity):
            yield Reading(subject, quantity, float(effect.value), effect.other or "")
