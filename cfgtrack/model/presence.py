"""Who is where: the site of a thing, of a port, of a free end; where somebody acts; what it takes to be there.

Work is done where the worker is. Only a plant with sites is judged for that. Nothing here says what is possible:
`possibility` does, and asks.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field, replace
from enum import Enum

from cfgtrack.model import action as ac
from cfgtrack.model.action import Action
from cfgtrack.model.configuration import State, View, place_line
from cfgtrack.model.event import Effect, Event, done_to, is_of_defect, is_of_device
from cfgtrack.model.hold import Joint, is_grip, is_made, is_tether, joints, moves_with
from cfgtrack.model.plant import HOLD, Plant, owner_of, port_of
from cfgtrack.model.unknown import instead, no_such

NEEDS_NOBODY = frozenset({ac.REMARK, ac.BEGIN, ac.END}) | ac.BOOK_ACTIONS
"""Actions that are done from anywhere, and by whoever writes them down. So is telling a defect: see `needs_nobody`."""

UNPLACED = "place not known"
"""Where something is of which no place is recorded, in words."""


class Telling(Enum):
    """How an action is told. What is proposed must be so; of what is recorded the doer's absence is taken as found;
    what was recorded before presence was judged is never judged for it.
    """

    PROPOSED = "proposed"
    RECORDED = "recorded"
    BEFORE = "before"


def presence_is_judged(plant: Plant) -> bool:
    """Return whether a plant says where one must be: it has sites."""
    return plant.has_sites


def needs_nobody(plant: Plant, action: Action) -> bool:
    """Return whether an action is done from anywhere: nobody must be where it is about, and it moves nobody there.

    A defect is told by whoever hears of it; what rectifies it is work done at the thing.
    """
    if action.action == ac.DEFECT:
        return is_of_defect(plant, action)
    return action.action in NEEDS_NOBODY


def is_doer(plant: Plant, name: str | None) -> bool:
    """Return whether this is a person or machine of the plant: a place that moves."""
    return name is not None and plant.is_mobile(name)


def doer_of(plant: Plant, action: Action) -> str | None:
    """Return the person or machine that does something, None where it is done from anywhere or nobody knows by whom.

    A correction moves nobody: it says what is true of an event, not who is where now.
    """
    if needs_nobody(plant, action) or action.initial or action.supersedes or not is_doer(plant, action.by):
        return None
    return action.by


def lacks_doer(plant: Plant, action: Action) -> bool:
    """Return whether presence can't be judged of an action, though it would be: nobody knows who did it."""
    if not plant.has_sites or needs_nobody(plant, action) or action.initial or action.supersedes:
        return False
    return not is_doer(plant, action.by)


def unjudged(plant: Plant, events: Iterable[Action]) -> int:
    """Return of how many recorded events presence isn't judged, as nobody of the plant is known to have done them."""
    return sum(lacks_doer(plant, event) for event in events) if plant.has_sites else 0


def not_a_doer(plant: Plant, name: str | None) -> str:
    """Return why a plant with sites has nobody of this name who could do anything, "" when it has."""
    if not plant.has_sites or is_doer(plant, name):
        return ""
    doers = [place.id for place in plant.places.values() if place.mobile]
    if not name:
        return f"say by whom, as in {doers[0] if doers else 'a person'}: this plant has sites"
    what = plant.sort_of(name)
    if what:
        return f"{name} is a {what}, not a person or machine{instead('', doers, 'there are')}"
    aliases = (alias for doer in doers for alias in plant.places[doer].aliases)
    return no_such("person or machine", name, doers, [*aliases])


# --- where things are ---------------------------------------------------------------------------------------------


def site_in(view: View, place: str) -> str:
    """Return the site of what stands at a place, "" when there is none around it."""
    places = view.plant.places
    return (
        next((at for at in place_line(view, place) if at in places and places[at].site), "") if place else ""
    )


def site_of(view: View, owner: str) -> str:
    """Return the site of a unit or place, "" when there is none around it. A place that moves is where it stands."""
    if owner in view.plant.units or view.plant.is_mobile(owner):
        return site_in(view, view.state(owner).value)
    return site_in(view, owner)


def is_end(plant: Plant, port: str) -> bool:
    """Return whether a port is an end of a flexible unit, that can lie elsewhere than the unit does."""
    owner = owner_of(port)
    if owner not in plant.units or not plant.part_of(owner).flexible:
        return False
    found = plant.port(port)
    if found is None or found[1].joined is None:
        return False
    return found[1].medium != HOLD and not (found[1].grip or found[1].tether)


def site_at(view: View, address: str) -> str:
    """Return the site of a port, node, unit or place, "" when there is none around it.

    A port may have a site of its own. A joined end of a flexible unit is where its mate is; a free one where it was
    last parted, until its unit is moved. Two ends joined to each other are where they were when they were.
    """
    found = view.plant.port(address)
    if found is not None and found[0].site:
        return found[0].site
    if found is None or not is_end(view.plant, address):
        return site_of(view, owner_of(address))
    mate = view.state(address).other
    if mate is None:
        return view.end_at(address) or site_of(view, owner_of(address))
    if not is_end(view.plant, mate):
        return site_at(view, mate)
    first, second = sorted((address, mate))
    return view.end_at(first) or view.end_at(second) or site_of(view, owner_of(first))


def acts_at(view: View, doer: str) -> frozenset[str]:
    """Return the sites where somebody can do something: where he is, and where the machine is that he operates."""
    return frozenset(filter(None, (site_of(view, one) for one in hands_of(view.plant, doer))))


def hands_of(plant: Plant, doer: str) -> tuple[str, ...]:
    """Return who or what somebody acts with: himself, and the machine that he operates."""
    machine = plant.places[doer].operates
    return (doer, machine) if machine else (doer,)


def hands_at(view: View, doer: str, sites: Iterable[str]) -> list[str]:
    """Return those of `hands_of` somebody that are at all of some sites: one can't take here what the other puts there.

    Who is at no site is nowhere that something could be done.
    """
    wanted = set(sites)
    return [one for one in hands_of(view.plant, doer) if wanted <= {site_of(view, one)} - {""}]


def in_reach(view: View, joint: Joint) -> bool:
    """Return whether a tether lets what hangs on it be where it is: within its reach, else at its anchor's site."""
    plant, owners = view.plant, (owner_of(joint.near), owner_of(joint.far))
    halves = (plant.port(joint.near), plant.port(joint.far))
    reach = {place for found in halves if found is not None for place in found[0].reach}
    if not reach:
        return site_of(view, owners[0]) == site_of(view, owners[1])
    return all(reach.intersection(_line(view, one)) for one in owners if plant.can_move(one))


def _line(view: View, owner: str) -> list[str]:
    return place_line(view, view.state(owner).value)


def torn(now: View, ahead: View, owner: str, going: Iterable[str]) -> Iterator[Joint]:
    """Yield the grips and tethers of a thing, to what isn't `going` too, that can't be so in a configuration ahead."""
    for joint in joints(now, owner):
        if owner_of(joint.far) in going or not is_made(now, joint.near):
            continue
        if is_grip(now.plant, joint):
            if site_of(ahead, owner) != site_of(ahead, owner_of(joint.far)):
                yield joint
        elif is_tether(now.plant, joint) and not in_reach(ahead, joint):
            yield joint


# --- a configuration ahead ----------------------------------------------------------------------------------------


@dataclass(slots=True)
class Ahead:
    """A configuration as it would be with some things elsewhere, and some halves parted."""

    view: View
    places: dict[str, str] = field(default_factory=dict)
    parted: tuple[str, ...] = ()

    @property
    def plant(self) -> Plant:
        """The plant whose configuration this is."""
        return self.view.plant

    def state(self, subject: str) -> State:
        """Return the state of a port, unit or mobile place. KeyError for anything else."""
        now = self.view.state(subject)
        if subject in self.parted:
            found = self.plant.port(subject)
            assert found is not None
            return State(found[1].parted, None, now.event)
        return State(self.places[subject], None, now.event) if subject in self.places else now

    def standing_at(self, place: str) -> Iterable[str]:
        """Return the units and mobile places that stand directly at `place`."""
        there = (s for s in self.view.standing_at(place) if self.places.get(s, place) == place)
        return tuple(dict.fromkeys((*there, *(s for s, at in self.places.items() if at == place))))

    def end_at(self, port: str) -> str:
        """Return the site where a free end of a flexible unit was last parted, "" where it goes with its unit."""
        return self.view.end_at(port)

    def devices_on(self, thing: str) -> Iterable[Effect]:
        """Return what put the locks and tags that hang on a thing there, and the defects that stand, in any order."""
        return self.view.devices_on(thing)

    @property
    def is_bare(self) -> bool:
        """Whether no lock or tag hangs and no defect stands anywhere, where that is known without a look at each."""
        return self.view.is_bare


# --- being there --------------------------------------------------------------------------------------------------


def wanted_at(view: View, action: Action, doer: str) -> dict[str, str]:
    """Return where a doer must be: the site of each thing that something is done to, "" where that isn't known.

    Left out is what is his own, and what is worked or read from where he is.
    """
    plant = view.plant
    if action.action in (ac.PLACE, ac.LIFT):
        line = (doer, *_line(view, doer))
        return {s: site_of(view, s) for s in action.subjects if s not in line and plant.can_move(s)}
    if action.action == ac.FOUND and action.place is not None:
        return {}
    out: dict[str, str] = {}
    # A lock or tag is put on and taken off at the thing itself, wherever that is worked from.
    by_hand = is_of_device(plant, action)
    for subject in done_to(plant, action):
        if not plant.sort_of(subject) or not plant.has_owner(owner_of(subject)) or owner_of(subject) == doer:
            continue
        if is_of_defect(plant, action) and action.bars is None and ":" not in subject:
            continue  # with what nothing can be done, as it is missing, nobody need be
        if _joins_as_found(view, action, subject):
            continue
        if not by_hand and _is_remote(view, action, subject, doer):
            continue
        out[subject] = site_at(view, subject)
    return out


def _joins_as_found(view: View, action: Action, subject: str) -> bool:
    """Return whether this is an end that is found on something: it is where that is."""
    if action.action != ac.FOUND or len(action.subjects) < 2 or not is_end(view.plant, subject):
        return False
    found = view.plant.port(subject)
    return found is not None and action.status in found[1].statuses and found[1].is_joined(action.status)


def _is_remote(view: View, action: Action, subject: str, doer: str) -> bool:
    """Return whether somebody is at one of the places from which a thing is worked, or the quantities read."""
    plant, line = view.plant, _line(view, doer)
    port, node = plant.port(port_of(subject)), plant.node(subject)
    places = port[0].remote if port is not None else node.remote if node is not None else ()
    if any(place in line for place in places):
        return True
    if action.action != ac.MEASURE or not action.values:
        return False
    read = plant.part_of(owner_of(subject)).remote
    return all(any(place in line for place in read.get(name, ())) for name in action.values)


def goes_to(view: View, action: Action, doer: str) -> str | None:
    """Return the place where a doer puts or finds something; None where it is himself, or he rides on it."""
    if action.place is None or len(action.subjects) != 1 or action.place not in view.plant.places:
        return None
    thing = action.subjects[0]
    is_put = action.action in (ac.PLACE, ac.LIFT, ac.FOUND) and view.plant.can_move(thing)
    return action.place if is_put and thing not in (doer, *_line(view, doer)) else None


def told_where(view: View, doer: str) -> str:
    """Return where somebody is, and where the machine is that he operates, in words."""
    words = f"{doer} is {_whereabouts(view, doer)}"
    machine = view.plant.places[doer].operates
    return f"{words}, {machine} {_whereabouts(view, machine)}" if machine else words


def _whereabouts(view: View, owner: str) -> str:
    at, site = view.state(owner).value, site_of(view, owner)
    if not at:
        return "at no known place"
    return f"at {at}" if site == at else f"at {at} ({f'site {site}' if site else 'at no site'})"


@dataclass(frozen=True, slots=True)
class Absence:
    """Somebody did something where the record doesn't have him. `ahead` is the configuration with him found there.

    `found` and `parted` are what that writes, `expected` what the record said before.
    """

    ahead: View
    found: dict[str, str]
    parted: tuple[str, ...]
    expected: str


def absence(view: View, action: Action, doer: str) -> Absence | None:
    """Return what follows when a recorded action's doer isn't where it was done; None when he is, or nobody knows."""
    wanted = [site for site in wanted_at(view, action, doer).values() if site]
    target = goes_to(view, action, doer)
    kept: tuple[str, ...] = ()
    able = hands_at(view, doer, wanted)
    end = wanted[-1] if wanted else ""
    if target is not None:
        thing = action.subjects[0]
        kept = tuple(moves_with(view, thing))
        after = Ahead(view, dict.fromkeys(kept, target))
        # What he takes into his own hands, or puts on himself, he takes where it is.
        if doer not in place_line(view, target):
            end = site_of(after, thing)
            able = [one for one in able if not end or site_of(after, one) == end]
    if able or not end or doer in place_line(view, end):
        return None
    if end in acts_at(view, doer):
        return Absence(view, {}, (), _stood(view, doer))
    return _found_at(view, doer, end, kept)


def _stood(view: View, doer: str) -> str:
    return f"{doer} at {view.state(doer).value}" if view.state(doer).value else f"{doer}: {UNPLACED}"


def _found_at(view: View, doer: str, site: str, kept: tuple[str, ...]) -> Absence:
    before = view.state(doer).value
    held = [
        thing
        for place in _fixed_in(view.plant, doer)
        for thing in view.standing_at(place)
        if thing not in kept
    ]
    held.sort()
    found = {doer: site, **dict.fromkeys(held, before)}
    ahead = Ahead(view, found)
    apart = list(torn(view, ahead, doer, kept))
    parted = tuple(half for joint in apart for half in (joint.near, joint.far))
    said = [_stood(view, doer), *(f"{thing} at {view.state(thing).value}" for thing in held)]
    says = view.plant.says_joined
    said += [f"{joint.near} {says(joint.near, view.state(joint.near).value, joint.far)}" for joint in apart]
    return Absence(Ahead(view, found, parted), found, parted, "; ".join(said))


def _fixed_in(plant: Plant, place: str) -> Iterator[str]:
    """Yield a place that moves, and the places that are fixed in it."""
    yield place
    for slot in plant.slots_of(place):
        yield from _fixed_in(plant, slot)


def with_absence(event: Event, absent: Absence) -> Event:
    """Return an event that says how its doer was found."""
    return replace(
        event,
        expected="; ".join(filter(None, (event.expected, absent.expected))),
        found=absent.found,
        parted=tuple(dict.fromkeys((*event.parted, *absent.parted))),
    )
