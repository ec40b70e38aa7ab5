"""What is connected to what, as a picture: everything, one medium, one unit and its neighbours, one loop, places."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from cfgtrack.model.configuration import Configuration
from cfgtrack.model.plant import HOLD, Plant
from cfgtrack.model.trouble import NoAnswer, Problem, near_hint
from cfgtrack.network.network import Network
from cfgtrack.rules.finding import Finding
from cfgtrack.show.compact import compact_picture
from cfgtrack.show.detailed import detailed_picture
from cfgtrack.show.diagram_source import source
from cfgtrack.show.flags import flag
from cfgtrack.show.moment import Moment
from cfgtrack.show.place_tree import place_picture


@dataclass(frozen=True, slots=True)
class Scope:
    """What a picture shows. Make one with the functions below.

    `sort` is everything, medium, around, loop or places; `subject` the medium, unit, place or loop; `medium` limits
    a neighbourhood, or is the medium of a loop; `hops` is how far the neighbourhood goes.
    """

    sort: str
    subject: str = ""
    medium: str = ""
    hops: int = 1

    @staticmethod
    def everything() -> Scope:
        """Every unit, and how many links of which medium tie it to which other."""
        return Scope("everything")

    @staticmethod
    def one_medium(medium: str) -> Scope:
        """Every unit and place with links of one medium, with its ports, valves and volumes."""
        return Scope("medium", medium, medium)

    @staticmethod
    def around(subject: str, *, hops: int = 1, medium: str = "") -> Scope:
        """One unit or place and what is within so many hops of it. Hoses and cables are no hops."""
        return Scope("around", subject.partition(":")[0], medium, hops)

    @staticmethod
    def loop(loop: str, *, medium: str = "fluid") -> Scope:
        """One loop as it is at the time: what reaches its expansion, and what is defined to."""
        return Scope("loop", loop, medium)

    @staticmethod
    def places() -> Scope:
        """The tree of places, and what stands where."""
        return Scope("places")


def diagram(
    plant: Plant,
    configuration: Configuration,
    networks: Mapping[str, Network],
    scope: Scope,
    moment: Moment,
    *,
    findings: Sequence[Finding] = (),
    title: str = "",
) -> str:
    """Return the DOT source of a picture. `findings` are flagged by number on the items that they name.

    The same input gives the same source, byte for byte. Raises NoAnswer for a scope that names nothing.
    """
    _known(plant, networks, scope)
    flags = flag(findings)
    heading = title or _title(scope)
    if scope.sort == "places":
        picture = place_picture(configuration, networks, heading, str(moment), flags)
    elif scope.sort == "everything" or (scope.medium == HOLD and scope.sort == "medium"):
        media = [scope.medium] if scope.medium else list(plant.media)
        picture = compact_picture(configuration, networks, media, heading, str(moment), flags)
    else:
        media = [scope.medium] if scope.medium else list(plant.media)
        picture = detailed_picture(
            configuration,
            networks,
            media,
            heading,
            str(moment),
            flags,
            around=scope.subject if scope.sort == "around" else "",
            hops=scope.hops,
            loop=scope.subject if scope.sort == "loop" else "",
        )
    return source(picture)


def _title(scope: Scope) -> str:
    match scope.sort:
        case "everything":
            return "Everything, and what it is connected to"
        case "medium":
            return f"Medium {scope.subject}"
        case "around":
            medium = f", {scope.medium} only" if scope.medium else ""
            return f"{scope.subject} and what is connected to it{medium}"
        case "loop":
            return f"Loop {scope.subject} ({scope.medium})"
        case _:
            return "Places, and what stands in them"


def _known(plant: Plant, networks: Mapping[str, Network], scope: Scope) -> None:
    """Raise NoAnswer for a medium, unit or loop that isn't there."""
    if scope.medium and scope.medium not in networks:
        raise NoAnswer(_unknown("medium", scope.medium, networks))
    if scope.sort == "around" and not plant.has_owner(scope.subject):
        raise NoAnswer(_unknown("unit", scope.subject, [*plant.units, *plant.places]))
    if scope.sort == "loop":
        loops = _loops(plant, scope.medium)
        if scope.subject not in loops:
            raise NoAnswer(_unknown("loop", scope.subject, loops))


def _loops(plant: Plant, medium: str) -> dict[str, None]:
    """Return every loop that the definition gives to anything of a medium, or to a unit or place."""
    loops = dict.fromkeys(thing.loop for table in (plant.units, plant.places) for thing in table.values())
    for part in plant.parts.values():
        loops.update(dict.fromkeys(n.loop for n in part.nodes.values() if n.medium == medium))
        ports = (p for p in part.ports.values() if plant.kinds[p.kind].medium == medium)
        loops.update(dict.fromkeys(p.loop for p in ports))
    loops.pop("", None)
    return loops


def _unknown(sort: str, name: str, known: Iterable[str]) -> Problem:
    names = list(known)
    hint = near_hint(name, names) or (f"; there are {', '.join(names)}" if 0 < len(names) <= 8 else "")
    return Problem(name, f"no-such-{sort}", f"there is no {sort} {name}{hint}")
