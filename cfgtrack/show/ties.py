"""Which units and places are tied to which, over mated interfaces, with hoses and cables drawn as lines.

A *tie* runs between two ports. A unit that in the media shown only passes its medium on from one mated port to
another (a hose, a cable) is no box but the label of a tie, as long as nothing about it stands out.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass

from cfgtrack.model.configuration import Configuration
from cfgtrack.model.hold import is_made
from cfgtrack.model.part import Part
from cfgtrack.model.plant import HOLD, Plant, owner_of
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

    def medium_of(self, port: str) -> str | None:
        """Return the medium of a port, if it is one of those shown."""
        found = self.plant.port(port)
        medium = found[1].medium if found is not None else None
        return medium if medium in self.paths else None


@dataclass(frozen=True, slots=True)
class Tie:
    """Two ports that are tied, `via` hoses or cables. `made`: every interface on the way carries."""

    a: str
    b: str
    medium: str
    made: bool
    via: tuple[str, ...] = ()


def find_ties(survey: Survey, boxes: Collection[str] = ()) -> list[Tie]:
    """Return every tie of the media shown, each once, in the plant's order. `boxes`: units that must stay boxes.

    So does a bypass, which leads back to where it comes from.
    """
    ties = _find_ties(survey, boxes)
    bypasses = {unit for t in ties if owner_of(t.a) == owner_of(t.b) for unit in t.via}
    return _find_ties(survey, {*boxes, *bypasses}) if bypasses else ties


def _find_ties(survey: Survey, boxes: Collection[str]) -> list[Tie]:
    passing: dict[str, bool] = {}
    ties: list[Tie] = []
    for owner in survey.plant.owners():
        if _passes(survey, owner, boxes, passing):
            continue
        for port in survey.plant.ports_of(owner):
            tie = _tie(survey, port, boxes, passing)
            if tie is not None and (tie.a < tie.b):
                ties.append(tie)
    return ties


def _tie(survey: Survey, port: str, boxes: Collection[str], passing: dict[str, bool]) -> Tie | None:
    """Follow the tie that starts at `port` through whatever only passes on."""
    medium = survey.medium_of(port)
    mate = survey.configuration.state(port).other
    if medium is None or mate is None:
        return None
    made = is_made(survey.configuration, port)
    via: list[str] = []
    while _passes(survey, owner_of(mate), boxes, passing):
        unit = owner_of(mate)
        if unit in via:
            return None
        via.append(unit)
        near = next(p for p in _mated(survey, unit) if p != mate)
        made = made and is_made(survey.configuration, near)
        following = survey.configuration.state(near).other
        assert following is not None
        mate = following
    return Tie(port, mate, medium, made, tuple(via))


def _mated(survey: Survey, owner: str) -> Iterator[str]:
    for port in survey.plant.ports_of(owner):
        if survey.medium_of(port) is not None and survey.configuration.state(port).other is not None:
            yield port


def _passes(survey: Survey, owner: str, boxes: Collection[str], passing: dict[str, bool]) -> bool:
    found = passing.get(owner)
    if found is None:
        found = passing[owner] = owner not in boxes and _only_passes(survey, owner)
    return found


def _only_passes(survey: Survey, owner: str) -> bool:
    plant = survey.plant
    unit = plant.units.get(owner)
    if unit is None:
        return False
    mated = list(_mated(survey, owner))
    if len(mated) != 2 or survey.medium_of(mated[0]) != survey.medium_of(mated[1]):
        return False
    paths = survey.paths[survey.medium_of(mated[0]) or ""]
    if paths.network.medium == HOLD or not _is_plain(plant, plant.parts[unit.part], paths.network.medium):
        return False
    return paths.segment(mated[0]) == paths.segment(mated[1])


def _is_plain(plant: Plant, part: Part, medium: str) -> bool:
    """Whether a part is a hose, a cable or a pipe: it gives or has two ports in all, and does nothing else."""
    if not part.flexible and len(part.ports) != 2:
        return False
    nodes = [n for n in part.nodes.values() if n.medium == medium]
    if any(n.roles for n in nodes):
        return False
    kinds = (plant.kinds[port.kind] for port in part.ports.values())
    return not any(kind.medium == medium and kind.joined is None for kind in kinds)
