"""What is connected to what: what a picture is of, before it is drawn."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

from cfgtrack.answers.asking import Asking
from cfgtrack.answers.foreseeing import AfterStep, foreseen
from cfgtrack.answers.moment import Answer, Moment
from cfgtrack.answers.past import NO_RULES, Past
from cfgtrack.model.configuration import Configuration
from cfgtrack.model.event import Entry
from cfgtrack.model.plant import Plant
from cfgtrack.model.unknown import expect_thing, find
from cfgtrack.network.network import Network
from cfgtrack.rules.finding import Clock, Finding


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
        """Every unit and every link of every medium."""
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
        """One loop: what is defined to be in it, and what is tied to that, up to what is of another loop."""
        return Scope("loop", loop, medium)

    @staticmethod
    def places() -> Scope:
        """The tree of places, and what stands where."""
        return Scope("places")


@dataclass(frozen=True, slots=True)
class Scene:
    """What a picture is of, at its moment. `findings` are the open ones, to be marked.

    `ever`: the pairs of halves that were mated at any time, as far as is known at that moment: boxes stay where these
    keep them. `past`: breaches of a moment, of rules then in force, that nobody has acknowledged; `clocks` those that
    run; `discrepancies` what was found otherwise and isn't explained. `unjudged` says why no rules judged it, "" where
    they did.
    """

    moment: Moment
    plant: Plant
    configuration: Configuration
    networks: Mapping[str, Network]
    scope: Scope
    findings: tuple[Finding, ...] = ()
    ever: tuple[tuple[str, str], ...] = ()
    past: tuple[Finding, ...] = ()
    clocks: tuple[Clock, ...] = ()
    discrepancies: tuple[Entry, ...] = ()
    unjudged: str = ""


@dataclass(frozen=True, slots=True)
class DrawnText(Answer):
    """A picture that is a text."""

    form: str
    picture: str


@dataclass(frozen=True, slots=True)
class DrawnFile(Answer):
    """The file that holds a picture."""

    file: str
    form: str


def scene(
    asking: Asking,
    *,
    medium: str = "",
    loop: str | None = None,
    unit: str | None = None,
    hops: int = 1,
    places: bool = False,
    marked: bool = True,
    after: AfterStep | None = None,
) -> Scene:
    """Return what a picture is of: a loop, a unit or place and its neighbours, the places, one medium, or everything.

    `after` a step: as it is foreseen then. With `marked` open findings come with it, those under a variance last.
    NoAnswer for what isn't there.
    """
    with asking.read() as journal:
        past = foreseen(Past(journal, asking.moment(journal), strict=False), after)
        scope = scope_of(past, medium, loop, unit, hops, places=places)
        expect_there(past.plant, past.networks, scope)
        ever = journal.ever_mated(past.moment.known)
        bare = Scene(past.moment, past.plant, past.configuration, past.networks, scope, ever=ever)
        if not marked:
            return replace(bare, unjudged="findings aren't marked, as was asked")
        discrepancies = tuple(journal.discrepancies(past.moment.at, past.moment.known))
        if not past.rules.rules:
            return replace(bare, discrepancies=discrepancies, unjudged=NO_RULES)
        plain, excused = past.findings()
        return replace(
            bare,
            findings=tuple(f for f in (*plain, *excused) if f.is_open),
            past=tuple(past.unacknowledged()),
            clocks=tuple(past.clocks()),
            discrepancies=discrepancies,
        )


def before_and_now(
    asking: Asking,
    against: str,
    *,
    medium: str = "",
    loop: str | None = None,
    unit: str | None = None,
    hops: int = 1,
    places: bool = False,
    marked: bool = True,
    after: AfterStep | None = None,
) -> tuple[Scene, Scene]:
    """Return what a picture of a difference is of: at the time `against`, and at the moment of the question.

    The earlier one comes first. `now` stands for the moment itself, before what is foreseen `after` a step.
    """
    earlier = asking if against == "now" else replace(asking, at=against)
    parts = {"medium": medium, "loop": loop, "unit": unit, "hops": hops, "places": places, "marked": marked}
    both = (scene(earlier, **parts), scene(asking, **parts, after=after))  # type: ignore[arg-type] # as they are named
    first, second = both if both[0].moment.at <= both[1].moment.at else both[::-1]
    return first, second


def scope_of(
    past: Past, medium: str, loop: str | None, unit: str | None, hops: int, *, places: bool = False
) -> Scope:
    """Return what is to be drawn. NoAnswer for a medium or unit that the plant doesn't have."""
    if medium:
        find("medium", medium, past.plant.media)
    if loop is not None:
        return Scope.loop(loop, medium=medium or "fluid")
    if unit is not None:
        return Scope.around(expect_thing(past.plant, unit), hops=hops, medium=medium)
    if places:
        return Scope.places()
    return Scope.one_medium(medium) if medium else Scope.everything()


def expect_there(plant: Plant, networks: Mapping[str, Network], scope: Scope) -> None:
    """Raise NoAnswer for a scope of a medium or loop that isn't there."""
    if scope.medium:
        find("medium", scope.medium, networks)
    if scope.sort == "loop":
        find("loop", scope.subject, _loops(plant, scope.medium))


def _loops(plant: Plant, medium: str) -> dict[str, None]:
    """Return every loop that the definition gives to anything of a medium, or to a unit or place."""
    loops = dict.fromkeys(thing.loop for table in (plant.units, plant.places) for thing in table.values())
    for part in plant.parts.values():
        loops.update(dict.fromkeys(n.loop for n in part.nodes.values() if n.medium == medium))
        ports = (p for p in part.ports.values() if medium in p.media(plant.kinds[p.kind].medium))
        loops.update(dict.fromkeys(p.loop for p in ports))
        contacts = (c for p in part.ports.values() for c in p.contacts.values() if c.medium == medium)
        loops.update(dict.fromkeys(c.loop for c in contacts))
    loops.pop("", None)
    return loops
