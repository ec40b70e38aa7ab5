"""Which units and places are tied to which, over mated interfaces, with hoses and cables drawn as lines.

A *tie* runs between two ports, or contacts of shells. A unit that in the media shown only passes its medium on from one
mated end to another (a hose, a cable with its wires) is no box but the label of a tie, as long as nothing about it
stands out.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass

from cfgtrack.model.configuration import Configuration
from cfgtrack.model.hold import is_made
from cfgtrack.model.part import Part
from cfgtrack.model.plant import HOLD, Plant, owner_of, port_of
from cfgtrack.network.facing import faced_by
from cfgtrack.network.network import Network
from cfgtrack.network.paths import Paths


class Survey:
    """What a picture is drawn from: one configuration, the media shown, and the paths of each."""

    def __init__(
        self, configuration: Configuration, networks: Mapping[str, Network], media: Collection[str]
    ) -> None:
        self.configuration = configuration
        self.plant: Plant = configuration.plant
        self.media = tuple(media)
        self.paths = {m: Paths(networks[m], configuration) for m in media}
        self._ends: dict[str, list[str]] = {}

    def medium_of(self, end: str) -> str | None:
        """Return the medium of a port without contacts, or of a contact, if it is one of those shown."""
        found, contact = self.plant.port(end), self.plant.contact(end)
        if contact is not None:
            medium: str | None = contact.medium
        else:
            medium = found[1].medium if found is not None and not found[0].contacts else None
        return medium if medium in self.paths else None

    def ends_of(self, owner: str) -> list[str]:
        """Return where lines of the media shown can end: at ports, of shells at their contacts. Remembered."""
        found = self._ends.get(owner)
        if found is None:
            ports = self.plant.ports_of(owner)
            ends = (end for port in ports for end in (self.plant.contacts_of(port) or [port]))
            found = self._ends[owner] = [end for end in ends if self.medium_of(end) is not None]
        return found

    def facing(self, end: str) -> list[str]:
        """Return what a port or contact is mated to: ports, or contacts of its medium."""
        return faced_by(self.configuration, end)


@dataclass(frozen=True, slots=True)
class Tie:
    """Two ports or contacts that are tied, `via` hoses or cables. `made`: every interface on the way carries."""

    a: str
    b: str
    medium: str
    made: bool
    via: tuple[str, ...] = ()


def find_ties(survey: Survey, boxes: Collection[str] = (), *, marked: bool = True) -> list[Tie]:
    """Return every tie of the media shown, each once, in the plant's order. `boxes`: units that must stay boxes.

    So does a bypass, which leads back to where it comes from, and, if `marked`, what somebody's lock or tag hangs on.
    """
    if marked:
        boxes = {*boxes, *map(owner_of, survey.configuration.with_devices())}
    ties = _find_ties(survey, boxes)
    bypasses = {unit for t in ties if owner_of(t.a) == owner_of(t.b) for unit in t.via}
    return _find_ties(survey, {*boxes, *bypasses}) if bypasses else ties


def _find_ties(survey: Survey, boxes: Collection[str]) -> list[Tie]:
    passing = _Passing(survey, boxes)
    return [
        tie
        for owner in survey.plant.owners()
        if not passing.through(owner)
        for end in survey.ends_of(owner)
        for tie in _ties(survey, end, passing)
        if tie.a < tie.b
    ]


def _ties(survey: Survey, end: str, passing: _Passing) -> Iterator[Tie]:
    """Follow the ties that start at a port or contact through whatever only passes on."""
    medium = survey.medium_of(end)
    for facing_end in survey.facing(end) if medium is not None else ():
        assert medium is not None
        mate, made = facing_end, is_made(survey.configuration, port_of(end))
        seen: dict[str, str] = {}
        while mate not in seen and mate in (through := passing.through(owner_of(mate))):
            seen[mate] = owner_of(mate)
            near = through[mate]
            made = made and is_made(survey.configuration, port_of(near))
            (mate,) = survey.facing(near)
        if mate not in seen:
            yield Tie(end, mate, medium, made, tuple(dict.fromkeys(seen.values())))


class _Passing:
    """Which units only pass their media on, from one mated end to another: hoses and cables, but for some `boxes`."""

    def __init__(self, survey: Survey, boxes: Collection[str]) -> None:
        self._survey = survey
        self._boxes = boxes
        self._known: dict[str, dict[str, str]] = {}

    def through(self, owner: str) -> dict[str, str]:
        """Return where a way through a unit goes on, from each of its mated ends; nothing where it doesn't pass on."""
        found = self._known.get(owner)
        if found is None:
            found = {} if owner in self._boxes else _ways_through(self._survey, owner)
            self._known[owner] = found
        return found


def _ways_through(survey: Survey, owner: str) -> dict[str, str]:
    plant = survey.plant
    unit = plant.units.get(owner)
    if unit is None:
        return {}
    part = plant.parts[unit.part]
    facing_of = {end: mates for end in survey.ends_of(owner) if (mates := survey.facing(end))}
    media = {survey.medium_of(end) or "" for end in facing_of}
    if HOLD in media or not all(_is_plain(plant, part, medium) for medium in media):
        return {}
    groups: dict[object, list[str]] = {}
    for end in facing_of:
        groups.setdefault(_inside(survey, end), []).append(end)
    if any(len(group) != 2 for group in groups.values()) or any(len(m) != 1 for m in facing_of.values()):
        return {}
    if len(groups) > 1 and not any(port.contacts for port in part.ports.values()):
        return {}
    return {one: other for a, b in groups.values() for one, other in ((a, b), (b, a))}


def _inside(survey: Survey, end: str) -> object:
    """Return what the ends that are joined inside a unit have in common: of contacts the wires, else the segment."""
    medium = survey.medium_of(end) or ""
    if survey.plant.contact(end) is None:
        return medium, survey.paths[medium].segment(end)
    owner, _, name = end.partition(":")
    joined, links = {name}, survey.plant.part_of(owner).links
    before = 0
    while len(joined) > before:
        before = len(joined)
        for link in links:
            if not link.gate and not link.one_way and joined & {link.a, link.b}:
                joined |= {link.a, link.b}
    return frozenset(joined)


def _is_plain(plant: Plant, part: Part, medium: str) -> bool:
    """Whether a part is a hose, a cable or a pipe: it gives or has two ports in all, and does nothing else."""
    if not part.flexible and len(part.ports) != 2:
        return False
    nodes = [n for n in part.nodes.values() if n.medium == medium]
    if any(n.roles for n in nodes):
        return False
    kinds = (plant.kinds[port.kind] for port in part.ports.values())
    return not any(kind.medium == medium and kind.joined is None for kind in kinds)
