"""What is physically possible. Impossible is not forbidden: it means that the record is wrong.

`resolve` takes an action as somebody said it, fills in what follows from the configuration (the other half of a
mated pair, what moves along) and returns either the event or every reason why it can't have happened.
"""

from __future__ import annotations

from collections.abc import Container, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from operator import attrgetter

from cfgtrack.model import action as ac
from cfgtrack.model import defect
from cfgtrack.model.action import Action
from cfgtrack.model.configuration import View, place_line
from cfgtrack.model.event import Event, is_of_defect, is_of_device
from cfgtrack.model.hold import (
    Joint,
    aboard,
    grippers,
    is_grip,
    is_made,
    is_of_hold,
    is_tether,
    joints,
    mate_of,
    moves_with,
    rigid_group,
)
from cfgtrack.model.kind import Kind, Move
from cfgtrack.model.lock import (
    LOCKABLE,
    bars,
    devices_on,
    holders_named,
    objections,
    takes_locks,
    told,
    with_holder,
    wrong_holder,
)
from cfgtrack.model.part import Port
from cfgtrack.model.plant import Place, Plant, owner_of, port_of
from cfgtrack.model.presence import (
    UNPLACED,
    Ahead,
    Telling,
    absence,
    acts_at,
    doer_of,
    goes_to,
    hands_at,
    hands_of,
    in_reach,
    is_end,
    site_at,
    site_of,
    told_where,
    torn,
    wanted_at,
    with_absence,
)
from cfgtrack.model.unknown import ANYTHING, CAN_FAIL, MOVABLE, PLACE, PORT, UNKNOWN, unknown


@dataclass(frozen=True, slots=True)
class Refusal:
    """Why an action is impossible. `collides` is the event that put the hardware where it contradicts."""

    code: str
    sentence: str
    subject: str
    collides: str | None = None


@dataclass(frozen=True, slots=True)
class Impossible:
    """An action that can't have happened, as far as it could be filled in: why not, and what would have moved along."""

    action: Action
    refusals: tuple[Refusal, ...]
    moved: tuple[str, ...] = ()


def resolve(view: View, action: Action, telling: Telling = Telling.PROPOSED) -> Event | Impossible:
    """Fill in what follows from the configuration just before `action`, or say why it is impossible.

    In a plant with sites nobody is proposed to do what isn't where he is. Who is recorded to have done it was there.
    """
    if not view.plant.has_sites or action.initial or telling is Telling.BEFORE:
        return _resolved(view, action, sited=False)
    action = _by_whom(view, action)
    doer = doer_of(view.plant, action)
    if doer is None:
        return _resolved(view, action, sited=True)
    if telling is Telling.RECORDED:
        absent = absence(view, action, doer)
        outcome = _resolved(view if absent is None else absent.ahead, action, sited=True)
        return with_absence(outcome, absent) if absent is not None and isinstance(outcome, Event) else outcome
    outcome = _resolved(view, action, sited=True)
    refusals = tuple(_absent(view, action, doer))
    if not refusals:
        return outcome
    if isinstance(outcome, Impossible):
        return replace(outcome, refusals=(*outcome.refusals, *refusals))
    return Impossible(action, refusals, outcome.moved)


def outright(action: Action) -> Event:
    """Return the event that an action is by itself, possible or not: as told, and nothing follows from where it is."""
    return Event.of(action)


def _resolved(view: View, action: Action, *, sited: bool) -> Event | Impossible:
    outcome = _as_it_stands(view, action, sited=sited)
    if view.is_bare or not isinstance(outcome, Event) or action.initial:
        return outcome
    refusals = [
        Refusal("barred", defect.told(one, first=True), one.thing, one.event)
        for one in defect.barring(view, outcome)
    ]
    return (
        Impossible(replace(action, subjects=outcome.subjects), tuple(refusals), outcome.moved)
        if refusals
        else outcome
    )


def _as_it_stands(view: View, action: Action, *, sited: bool) -> Event | Impossible:
    if action.action in (ac.PLACE, ac.LIFT):
        return _resolve_place(view, action, sited=sited)
    if action.action == ac.FOUND:
        return _resolve_found(view, action, sited=sited)
    if is_of_device(view.plant, action):
        return _resolve_device(view, action)
    if is_of_defect(view.plant, action):
        return _resolve_defect(view, action)
    if action.action in ac.GENERAL_ACTIONS or action.action in ac.BOOK_ACTIONS:
        return _resolve_note(view, action)
    return _resolve_move(view, action, sited=sited)


def _absent(view: View, action: Action, doer: str) -> Iterator[Refusal]:
    """Yield why somebody can't do what is proposed from where he is: he isn't where it is, or where it goes."""
    moved = view.state(doer).event
    wanted = wanted_at(view, action, doer)
    able = hands_at(view, doer, wanted.values())
    for subject, site in wanted.items():
        if not able and site not in acts_at(view, doer):
            at = f"at {site}" if site else "at no known site"
            yield Refusal("absent", f"{told_where(view, doer)}; {subject} is {at}", subject, moved)
    target = goes_to(view, action, doer)
    if target is not None:
        thing = action.subjects[0]
        ahead = Ahead(view, dict.fromkeys(moves_with(view, thing), target))
        site = site_of(ahead, thing)
        if site not in {site_of(ahead, one) for one in able or hands_of(view.plant, doer)} - {""}:
            at = f"at {site}" if site and site != target else "at no site" if not site else ""
            where = f"{target} ({at})" if at else target
            sentence = f"{told_where(view, doer)}, and doesn't go to {where} with it"
            yield Refusal("absent", sentence, thing, moved)


def _refused(action: Action, *refusals: Refusal) -> Impossible:
    return Impossible(action, refusals)


def _unknown(view: View, address: str, wanted: Sequence[str]) -> list[Refusal]:
    why = unknown(view.plant, address, wanted)
    return [Refusal(UNKNOWN, why, address)] if why else []


# --- along a ladder -------------------------------------------------------------------------------------------


def _resolve_move(view: View, action: Action, *, sited: bool) -> Event | Impossible:
    if not 1 <= len(action.subjects) <= 2:
        sentence = f"{action.action} takes one port or two, {len(action.subjects)} given"
        return _refused(action, Refusal("subjects", sentence, ""))
    refusals = _bad_ports(view, action)
    if refusals:
        return _refused(action, *refusals)
    if action.place is not None:
        # Where something comes to by it follows from the configuration, whatever is said of it.
        action = replace(action, place=None)
    kind = _found(view.plant, action.subjects[0])[1]
    move = kind.moves[action.action]
    if kind.joins(move):
        return _resolve_join(view, action, sited=sited)
    mate = view.state(action.subjects[0]).other if len(action.subjects) == 1 else None
    subjects = action.subjects if mate is None or move.each else (action.subjects[0], mate)
    refusals = [*_pairing(view, subjects), *_off_ladder(view, action, subjects)]
    refusals.extend(_locked(view, action, subjects) if not refusals else ())
    if refusals:
        return _refused(replace(action, subjects=subjects), *refusals)
    ends = _left_ends(view, subjects) if sited and kind.parts(move) else {}
    return Event.of(action, peer=mate if move.each else None, subjects=subjects, ends=ends)


def _locked(view: View, action: Action, subjects: tuple[str, ...]) -> Iterator[Refusal]:
    """Yield what is locked, with whose locks, and what takes them off: it can't be opened, energised or mated."""
    for subject in subjects:
        locks = bars(view, subject, _found(view.plant, subject)[1].moves[action.action].target)
        if locks:
            sentence = f"{subject} is locked: {'; '.join(told(view, one) for one in locks)}"
            yield Refusal("locked", sentence, subject, locks[0].event)


def _left_ends(view: View, parted: Iterable[str]) -> dict[str, str]:
    """Return where the ends of flexible units stay that lose their mates, where that isn't said of them already."""
    sites = {port: site_at(view, port) for port in parted if is_end(view.plant, port) and mate_of(view, port)}
    return {port: site for port, site in sites.items() if site != view.end_at(port)}


def _bad_ports(view: View, action: Action) -> list[Refusal]:
    refusals: list[Refusal] = []
    for subject in action.subjects:
        found = view.plant.port(subject)
        if found is None:
            refusals.extend(_unknown(view, subject, PORT))
        elif action.action not in found[1].moves:
            can = ", ".join(found[1].moves) or "nothing"
            sentence = f"{subject} is of kind {found[1].id}; it takes {can}, not {action.action}"
            refusals.append(Refusal("action", sentence, subject))
    return refusals


def _found(plant: Plant, subject: str) -> tuple[Port, Kind]:
    found = plant.port(subject)
    assert found is not None
    return found


def moves_from(view: View, port: str) -> list[Move]:
    """Return the moves that the ladder of a port allows from where it stands."""
    now = view.state(port).value
    return [move for move in _found(view.plant, port)[1].moves.values() if now in move.sources]


def _pairing(view: View, subjects: tuple[str, ...]) -> list[Refusal]:
    """Two halves named together must be each other's mates."""
    refusals: list[Refusal] = []
    for subject, other in (subjects, subjects[::-1]) if len(subjects) == 2 else ():
        state = view.state(subject)
        if state.other != other:
            is_what = f"mated to {state.other}" if state.other else view.plant.says(subject, state.value)
            sentence = f"{subject} is {is_what}, not mated to {other}"
            refusals.append(Refusal("not-mates", sentence, subject, state.event))
    return refusals


def _off_ladder(view: View, action: Action, subjects: tuple[str, ...]) -> list[Refusal]:
    refusals: list[Refusal] = []
    for subject in subjects:
        kind, state = _found(view.plant, subject)[1], view.state(subject)
        move = kind.moves.get(action.action)
        if move is None:
            sentence = f"{subject} is of kind {kind.id}, which takes no {action.action}"
            refusals.append(Refusal("action", sentence, subject))
        elif state.value not in move.sources:
            to = f" (to {state.other})" if state.other else ""
            says = view.plant.says
            wanted = view.plant.says_any(subject, move.sources)
            sentence = f"{subject} is {says(subject, state.value)}{to}; {action.action} needs it {wanted}"
            refusals.append(Refusal("status", sentence, subject, state.event))
    return refusals


def _resolve_join(view: View, action: Action, *, sited: bool) -> Event | Impossible:
    if len(action.subjects) != 2:
        sentence = f"{action.action} needs both halves: {action.subjects[0]} and what it goes on"
        return _refused(action, Refusal("subjects", sentence, action.subjects[0]))
    refusals = [*misfits(view.plant, *action.subjects), *_off_ladder(view, action, action.subjects)]
    refusals.extend(sites_apart(view, *action.subjects) if sited and not refusals else ())
    refusals.extend(_locked(view, action, action.subjects) if not refusals else ())
    if refusals:
        return _refused(action, *refusals)
    outcome = _brought_together(view, action)
    ends = _joined_ends(view, action.subjects) if sited else {}
    return (
        Event.of(outcome, moved=outcome.moved, ends=ends) if ends and isinstance(outcome, Event) else outcome
    )


def sites_apart(view: View, a: str, b: str) -> Iterator[Refusal]:
    """Yield why two halves aren't at one site, or a tether would have to reach further than it does."""
    sites = [site_at(view, port) for port in (a, b)]
    owners = (owner_of(a), owner_of(b))
    if all(sites) and sites[0] != sites[1]:
        sentence = f"{a} is at {sites[0]}, {b} at {sites[1]}: they are not at one site"
        yield Refusal("not-here", sentence, a, _mover(view, owners))
        return
    halves = [_found(view.plant, port) for port in (a, b)]
    joint = Joint(a, b, halves[0][1].medium, view.plant.gives(a, b))
    if is_tether(view.plant, joint) and any(port.reach for port, _ in halves) and not in_reach(view, joint):
        sentence = f"{a} can't be tied to {b} from here: it reaches {_reach(halves)}"
        yield Refusal("tethered", sentence, a, _mover(view, owners))


def _reach(halves: Iterable[tuple[Port, Kind]]) -> str:
    return ", ".join(dict.fromkeys(place for port, _ in halves for place in port.reach))


def _joined_ends(view: View, pair: tuple[str, ...]) -> dict[str, str]:
    """Return where two ends of flexible units are that are joined to each other: nothing else says it."""
    if not all(is_end(view.plant, port) for port in pair):
        return {}
    site = next(filter(None, (site_at(view, port) for port in pair)), "")
    return {port: site for port in pair if view.end_at(port) != site}


FIT = frozenset({"same", "one-owner", "kind", "size", "keying", "gender"})
"""The codes of `misfits`: what two halves are makes them so, and nothing that is done to them."""


def misfits(plant: Plant, a: str, b: str) -> Iterator[Refusal]:
    """Yield why two ports can't be joined, wherever they are."""
    if a == b:
        yield Refusal("same", f"{a} can't be mated to itself", a)
        return
    (port_a, kind_a), (port_b, kind_b) = _found(plant, a), _found(plant, b)
    if owner_of(a) == owner_of(b) and not _can_bend_round(plant, a, b):
        yield Refusal("one-owner", f"{a} and {b} are both fixed to {owner_of(a)}: they never meet", a)
    if not kind_a.mates_with(kind_b):
        yield Refusal(
            "kind", f"{a} is of kind {kind_a.id}, {b} of kind {kind_b.id}: they don't go together", a
        )
    if port_a.size and port_b.size and port_a.size != port_b.size:
        yield Refusal("size", f"{a} is {port_a.size}, {b} is {port_b.size}: the sizes differ", a)
    if port_a.keying and port_b.keying and port_a.keying != port_b.keying:
        yield Refusal("keying", f"{a} is keyed {port_a.keying}, {b} {port_b.keying}: they can't be joined", a)
    if port_a.gender and port_a.gender == port_b.gender:
        yield Refusal("gender", f"{a} and {b} are both {port_a.gender}: they can't be joined", a)


def _can_bend_round(plant: Plant, a: str, b: str) -> bool:
    """Return whether two ports of one thing can meet: both ends of a hose can, two bolt holes or two hands can't."""
    return not is_of_hold(plant, a) and plant.gives(a, b)


def _brought_together(view: View, action: Action) -> Event | Impossible:
    """Check that a rigid pair is in one place; what was in somebody's hands now stands where its mate stands."""
    apart = not_in_one_place(view, *action.subjects)
    if apart is None:
        return Event.of(action)
    plant, owners = view.plant, [owner_of(s) for s in action.subjects]
    if all(o in plant.units for o in owners):
        lines = [place_line(view, o) for o in owners]
        in_hand = [bool(line) and plant.is_mobile(line[0]) for line in lines]
        if in_hand[0] != in_hand[1]:
            return _handed_over(view, action, owners[in_hand.index(True)], lines[in_hand.index(False)])
    return _refused(action, apart)


def not_in_one_place(view: View, a: str, b: str) -> Refusal | None:
    """Return why two ports can't be joined where they are, None if they can: a hand or a hose reaches anywhere."""
    plant, owners = view.plant, (owner_of(a), owner_of(b))
    if plant.gives(a, b) or any(plant.is_mobile(o) for o in owners):
        return None
    line_a, line_b = (place_line(view, o) for o in owners)
    if line_a and line_b and (line_a[0] in line_b or line_b[0] in line_a):
        return None
    lines = ((a, line_a), (b, line_b))
    there = (f"{port} is at {line[0]}" if line else f"{port}: {UNPLACED}" for port, line in lines)
    sentence = f"{', '.join(there)}: they are not in one place"
    return Refusal("not-here", sentence, a, _mover(view, owners))


def _mover(view: View, owners: tuple[str, str]) -> str | None:
    moved = [view.state(o).event for o in owners if o in view.plant.units]
    return next((e for e in moved if e), None)


def _handed_over(view: View, action: Action, in_hand: str, line: list[str]) -> Event | Impossible:
    if not line or not is_of_hold(view.plant, action.subjects[0]):
        return Event.of(action)
    return Event.of(action, place=line[0], moved=tuple(rigid_group(view, in_hand)))


# --- from place to place ----------------------------------------------------------------------------------------


def _by_whom(view: View, action: Action) -> Action:
    """Return a lift with who lifts, where one grip alone says it."""
    if action.action != ac.LIFT or action.place is not None or len(action.subjects) != 1:
        return action
    if not view.plant.can_move(action.subjects[0]):
        return action
    hands = grippers(view, moves_with(view, action.subjects[0]))
    return replace(action, place=hands.pop()) if len(hands) == 1 else action


def _resolve_place(view: View, action: Action, *, sited: bool) -> Event | Impossible:
    if len(action.subjects) != 1:
        return _refused(action, Refusal("subjects", f"{action.action} takes one unit", ""))
    thing = action.subjects[0]
    if wrong := _unknown(view, thing, MOVABLE):
        return _refused(action, *wrong)
    action = _by_whom(view, action)
    group = moves_with(view, thing)
    going = _going(view, thing, group)
    refusals = [*_bad_destination(view, action, group), *_ties(view, going)]
    if refusals:
        return Impossible(action, tuple(refusals), tuple(group[1:]))
    if not sited or action.place is None:
        return Event.of(action, moved=tuple(group[1:]))
    along = _taken_along(view, going, dict.fromkeys(group, action.place))
    refusals = [*along.refusals, *(_torn(view, along.ahead, joint) for joint in along.torn)]
    refusals.extend(_stretched(view, along))
    if refusals:
        return Impossible(action, tuple(refusals), (*group[1:], *along.carried))
    return Event.of(
        action, moved=tuple(group[1:]), carried=along.carried, ends=_lifted_ends(view, along.going)
    )


@dataclass(slots=True)
class _Along:
    """What a move takes along in grips (`carried`: in whose), why it can't, and the grips and tethers that it tears."""

    ahead: Ahead
    going: dict[str, None]
    carried: dict[str, str]
    refusals: list[Refusal]
    torn: list[Joint]


def _taken_along(
    view: View, going: Iterable[str], places: dict[str, str], *, gripping: bool = True
) -> _Along:
    ahead, along = Ahead(view, dict(places)), dict.fromkeys(going)
    carried: dict[str, str] = {}
    refusals: list[Refusal] = []
    grippers = [one for one in along if gripping and view.plant.is_mobile(one)]
    for gripper, unit in [(one, unit) for one in grippers for unit in _gripped_by(view, one)]:
        if unit in along or site_of(ahead, unit) == site_of(ahead, gripper):
            continue
        group = rigid_group(view, unit)
        held = {**along, **dict.fromkeys(group)}
        why = [
            replace(r, sentence=f"{gripper} grips {unit}, and {r.sentence}")
            for r in (*_ties(view, dict.fromkeys(group), held), *_full(ahead, gripper, group))
        ]
        refusals.extend(why)
        along = held
        carried.update(dict.fromkeys(group, gripper))
        ahead.places.update(dict.fromkeys(group, gripper))
    apart = sorted(joint for owner in along for joint in torn(view, ahead, owner, along))
    return _Along(ahead, along, carried, refusals, apart)


def _gripped_by(view: View, gripper: str) -> Iterator[str]:
    for joint in joints(view, gripper):
        if (
            is_grip(view.plant, joint)
            and is_made(view, joint.near)
            and owner_of(joint.far) in view.plant.units
        ):
            yield owner_of(joint.far)


def _torn(view: View, ahead: View, joint: Joint) -> Refusal:
    """Return why a grip or tether keeps what moves from moving: it would be torn apart, or reach too far."""
    owner, other = owner_of(joint.near), owner_of(joint.far)
    there, here = (site_of(ahead, one) or "no site" for one in (owner, other))
    if is_grip(view.plant, joint):
        held = view.plant.says_joined(joint.near, view.state(joint.near).value, joint.far)
        sentence = f"{joint.near} is {held}: {owner} can't be at {there}, {other} at {here}"
        return Refusal("gripped", sentence, joint.near, view.state(joint.near).event)
    halves = [_found(view.plant, port) for port in (joint.near, joint.far)]
    reach = _reach(halves) or here
    sentence = f"{joint.near} is tied to {joint.far}, which reaches {reach}: {owner} can't be at {there}"
    return Refusal("tethered", sentence, joint.near, view.state(joint.near).event)


def _stretched(view: View, along: _Along) -> Iterator[Refusal]:
    """Yield why what gives doesn't reach to another site: only a hose does, whose ends are where their mates are."""
    for joint in filter(attrgetter("gives"), _at_two_sites(view, along)):
        there, here = (site_at(along.ahead, port) or "no site" for port in (joint.near, joint.far))
        sentence = f"{joint.near} is connected to {joint.far}: it is flexible, but doesn't reach from {here} to {there}"
        yield Refusal("tied", sentence, joint.near, view.state(joint.near).event)


def _at_two_sites(view: View, along: _Along) -> Iterator[Joint]:
    """Yield the joints, no grips and no tethers, of what goes with what stays that would be at two sites."""
    for owner in along.going:
        for joint in joints(view, owner):
            if (
                owner_of(joint.far) in along.going
                or is_grip(view.plant, joint)
                or is_tether(view.plant, joint)
            ):
                continue
            if site_at(along.ahead, joint.near) != site_at(along.ahead, joint.far):
                yield joint


def _lifted_ends(view: View, going: Iterable[str]) -> dict[str, str]:
    """Return the free ends that lay elsewhere and go with their units again, as those are moved."""
    plant = view.plant
    units = (u for u in going if u in plant.units and plant.part_of(u).flexible)
    free = (
        port for u in units for port in plant.ports_of(u) if is_end(plant, port) and not mate_of(view, port)
    )
    return {port: owner_of(port) for port in free if view.end_at(port)}


def _bad_destination(view: View, action: Action, group: Sequence[str]) -> Iterator[Refusal]:
    thing, target = action.subjects[0], action.place
    if target is None:
        yield Refusal("by-whom", f"say who or what lifts {thing}: no single grip holds it", thing)
        return
    place = view.plant.places.get(target)
    if place is None:
        yield from _unknown(view, target, PLACE)
        return
    if action.action == ac.LIFT and not place.mobile:
        yield Refusal("by-whom", f"{target} can't lift: it is a fixed place", target)
    state = view.state(thing)
    if state.value == target and state.other == action.facing:
        yield Refusal("already", f"{thing} is at {target} already", thing, state.event)
    if thing in place_line(view, target):
        yield Refusal("inside-itself", f"{target} is inside {thing}", thing)
    yield from wrong_way_round(place, thing, action.facing)
    yield from _full(view, target, group)


def wrong_way_round(place: Place, thing: str, facing: str | None) -> Iterator[Refusal]:
    """Yield why a thing can't stand at a place the way it faces."""
    if place.facings and facing not in place.facings:
        got = f"not {facing}" if facing else "none was given"
        yield Refusal("facing", f"{place.id} takes a unit facing {' or '.join(place.facings)}; {got}", thing)


def _full(view: View, target: str, group: Sequence[str]) -> Iterator[Refusal]:
    capacity = view.plant.places[target].capacity
    units = view.plant.units
    if capacity is None or group[0] not in units:
        return
    heaps = _heaps(view, (s for s in view.standing_at(target) if s in units and s not in group))
    if len(heaps) + 1 > capacity:
        sentence = f"{target} takes {capacity} and holds {', '.join(sorted(heaps))}"
        yield Refusal("full", sentence, group[0], view.state(heaps[0]).event if heaps else None)


def _heaps(view: View, things: Iterable[str]) -> list[str]:
    """Return one of each group of things that are fixed together."""
    heaps: list[str] = []
    seen: set[str] = set()
    for thing in things:
        if thing not in seen:
            heaps.append(thing)
            seen.update(moves_with(view, thing))
    return heaps


def too_full(view: View, place: str) -> Refusal | None:
    """Return why what stands at a place can't all do so, about the last of it; None if it can."""
    units = (s for s in view.standing_at(place) if s in view.plant.units)
    capacity, heaps = view.plant.places[place].capacity, _heaps(view, units)
    if capacity is None or len(heaps) <= capacity:
        return None
    sentence = f"{place} takes {capacity}, not {', '.join(heaps)}"
    return Refusal("full", sentence, heaps[-1], view.state(heaps[-1]).event)


def _going(view: View, thing: str, group: list[str]) -> dict[str, None]:
    """Return all that moves when a thing does: what is fixed to it, or what stands in it."""
    return dict.fromkeys(group if thing in view.plant.units else (*group, *aboard(view, thing)))


def _ties(view: View, moving: Iterable[str], along: Container[str] = ()) -> Iterator[Refusal]:
    """Yield a refusal for every made link that still ties what moves to something that stays."""
    moving = set(moving)
    for owner in sorted(moving):
        for near, far, _, gives in joints(view, owner):
            if not gives and owner_of(far) not in moving and owner_of(far) not in along:
                yield Refusal("tied", f"{near} still ties {owner} to {far}", near, view.state(near).event)


# --- found so -----------------------------------------------------------------------------------------------------


def _resolve_found(view: View, action: Action, *, sited: bool) -> Event | Impossible:
    if not action.subjects:
        return _refused(action, Refusal("subjects", "as-found needs a subject", ""))
    if action.place is not None:
        return _resolve_found_place(view, action, sited=sited)
    if action.status is None:
        return _refused(action, Refusal("status", "as-found needs a status or a place", action.subjects[0]))
    return _resolve_found_port(view, action, sited=sited)


def _resolve_found_place(view: View, action: Action, *, sited: bool) -> Event | Impossible:
    thing, place = action.subjects[0], action.place
    assert place is not None
    if missing := _unknown(view, place, PLACE) or _unknown(view, thing, MOVABLE):
        return _refused(action, *missing)
    if len(action.subjects) != 1:
        sentence = f"as-found takes one unit and one place, {len(action.subjects)} given as the unit"
        return _refused(action, Refusal(UNKNOWN, sentence, thing))
    state = view.state(thing)
    if thing in place_line(view, place):
        sentence = f"{place} is inside {thing} by the record: say first where {place} was found"
        return _refused(action, Refusal("inside-itself", sentence, thing, state.event))
    group = moves_with(view, thing)
    said: list[str] = []
    if state.value != place and not (action.initial and state.event is None):
        said.append(f"{thing} at {state.value}" if state.value else f"{thing}: {UNPLACED}")
    if not action.initial:
        wrong = wrong_way_round(view.plant.places[place], thing, action.facing)
        said.extend(r.sentence for r in (*wrong, *_full(view, place, group)))
    if not sited:
        return Event.of(action, moved=tuple(group[1:]), expected="; ".join(said) or None)
    going, places = _going(view, thing, group), dict.fromkeys(group, place)
    along = _taken_along(view, going, places)
    if along.refusals:
        # What it grips can't come along after all: then it grips it no longer.
        along = _taken_along(view, going, places, gripping=False)
    apart = sorted({*along.torn, *_at_two_sites(view, along)})
    says = view.plant.says_joined
    said.extend(f"{j.near} {says(j.near, view.state(j.near).value, j.far)}" for j in apart)
    return Event.of(
        action,
        moved=tuple(group[1:]),
        expected="; ".join(said) or None,
        carried=along.carried,
        ends=_lifted_ends(view, along.going),
        parted=tuple(half for joint in apart for half in (joint.near, joint.far)),
    )


def _resolve_found_port(view: View, action: Action, *, sited: bool) -> Event | Impossible:
    refusals = [r for s in action.subjects for r in _bad_found(view, action, s)]
    is_pair = len(action.subjects) == 2 and not refusals
    unfit = list(misfits(view.plant, *action.subjects)) if is_pair else []
    if action.initial or any(r.code == "same" for r in unfit):
        refusals.extend(unfit)
    if refusals:
        return _refused(action, *refusals)
    assert action.status is not None
    joined = _found(view.plant, action.subjects[0])[1].is_joined(action.status)
    peer = None
    if joined and len(action.subjects) == 1:
        peer = view.state(action.subjects[0]).other
        if peer is None:
            said_of = view.plant.says(action.subjects[0], action.status)
            sentence = f"{action.subjects[0]} {said_of}: say to what"
            return _refused(action, Refusal("subjects", sentence, action.subjects[0]))
    moved = tuple(_bereft(view, action, peer))
    said = [*_contradictions(view, action, peer), *(r.sentence for r in unfit if joined)]
    ends: dict[str, str] = {}
    if sited and joined and is_pair:
        ends = _joined_ends(view, action.subjects)
        said.extend(r.sentence for r in sites_apart(view, *action.subjects) if said)
    if sited:
        ends |= _left_ends(view, moved if joined else (*action.subjects, *moved))
    return Event.of(action, peer=peer, moved=moved, expected="; ".join(said) or None, ends=ends)


def _bad_found(view: View, action: Action, subject: str) -> Iterator[Refusal]:
    found = view.plant.port(subject)
    if found is None:
        yield from _unknown(view, subject, PORT)
    elif action.status not in found[1].statuses:
        ladder = ", ".join(found[1].statuses) + (f" ({found[1].legend})" if found[1].legend else "")
        yield Refusal("status", f"{subject} can be {ladder}; not {action.status}", subject)


def _bereft(view: View, action: Action, peer: str | None) -> Iterator[str]:
    """Yield the halves that lose their mate because the subjects are found apart or with another."""
    for subject in action.subjects:
        mate = view.state(subject).other
        if mate is not None and mate not in action.subjects and mate != peer:
            yield mate


def _contradictions(view: View, action: Action, peer: str | None) -> Iterator[str]:
    """Yield what the record said of the subjects where that differs from what was found."""
    for i, subject in enumerate(action.subjects):
        state = view.state(subject)
        if action.initial and state.event is None:
            continue
        joined = _found(view.plant, subject)[1].is_joined(action.status or "")
        mate = (action.subjects[1 - i] if len(action.subjects) == 2 else peer) if joined else None
        if (state.value, state.other) != (action.status, mate):
            locked = " and ".join(one.holder for one in bars(view, subject, action.status or state.value))
            was = view.plant.says_joined(subject, state.value, state.other)
            said = f"{subject} {was}" + (f", locked by {locked}" if locked else "")
            moves = [move.action for move in moves_from(view, subject) if move.target == action.status]
            stands = [one for one in defect.defects_on(view, subject) if one.bars in moves]
            yield said + "".join(f", {one.bars} can't be done: {one.cause}" for one in stands)


# --- locks and tags -----------------------------------------------------------------------------------------------


def _resolve_device(view: View, action: Action) -> Event | Impossible:
    # It hangs where the thing is, whatever place is said of it.
    action = with_holder(view.plant, replace(action, place=None))
    thing, *holders = action.subjects or ("",)
    refusals = list(_bad_device(view, action, thing, holders))
    refusals = refusals or [Refusal(*one) for one in objections(view, action)]
    return _refused(action, *refusals) if refusals else Event.of(action)


def _bad_device(view: View, action: Action, thing: str, holders: Sequence[str]) -> Iterator[Refusal]:
    """Yield what is said wrongly of a lock or tag: of nothing that takes one, of nobody who could have one."""
    plant, is_tag = view.plant, action.action in (ac.TAG, ac.UNTAG, ac.CUT)
    # What hangs there by the record can be taken off, and by whose it is, whatever the plant has become since.
    # What hangs on its shell doesn't hang on a contact.
    known = {one.holder for one in devices_on(view, thing) if one.thing == thing} if thing else set()
    if not thing:
        yield Refusal("subjects", f"{action.action} takes {LOCKABLE}, none given", "")
    elif wrong := _unknown(view, thing, ANYTHING):
        yield from wrong
    elif not (takes_locks(plant, thing) or (is_tag and plant.port(thing) is not None)) and (
        not known or action.action == ac.LOCK
    ):
        found = plant.port(thing)
        what = f"of kind {found[1].id}" if found is not None else f"a {plant.sort_of(thing)}"
        wanted = "a port or a lock box takes tags" if is_tag else f"{LOCKABLE} takes locks"
        shell = (
            ""
            if plant.contact(thing) is None
            else f"; it is locked and tagged with its shell {port_of(thing)}"
        )
        yield Refusal("kind", f"{thing} is {what}: {wanted}{shell}", thing)
    wanted_holders = holders_named(action.action)
    if len(holders) != wanted_holders:
        say = "from whom and to whom" if wanted_holders == 2 else "whose it is"
        yield Refusal("by-whom", f"{action.action} {thing}: say {say}", thing)
    if action.action == ac.CUT and action.by is None:
        yield Refusal("by-whom", f"{action.action} {thing}: say by whom", thing)
    for holder in holders:
        if holder not in known and (why := wrong_holder(plant, holder)):
            yield Refusal(UNKNOWN, why, holder)


# --- defects -----------------------------------------------------------------------------------------------------


def _resolve_defect(view: View, action: Action) -> Event | Impossible:
    if not 1 <= len(action.subjects) <= 2:
        sentence = f"{action.action} takes a port, unit or place, {len(action.subjects) or 'none'} given"
        return _refused(action, Refusal("subjects", sentence, ""))
    if refusals := [r for s in action.subjects for r in _unknown(view, s, CAN_FAIL)]:
        return _refused(action, *refusals)
    # It brings nothing anywhere, whatever is said of it.
    action = defect.resolved(view, replace(action, place=None))
    refusals = [Refusal(*one) for one in defect.objections(view, action)]
    return _refused(action, *refusals) if refusals else Event.of(action)


# --- notes --------------------------------------------------------------------------------------------------------


def _is_pattern(action: Action, subject: str) -> bool:
    """Return whether a subject is a shell pattern, as an approval's may be: it covers whatever fits."""
    return action.action == ac.APPROVE and any(c in subject for c in "*?[")


def _resolve_note(view: View, action: Action) -> Event | Impossible:
    # What a definition names may be known from then on only.
    is_defining = action.action in ac.DEFINITIONS
    named = (s for s in action.subjects if not is_defining and not _is_pattern(action, s))
    refusals = [r for s in named for r in _unknown(view, s, ANYTHING)]
    if action.action in (ac.BEGIN, ac.END) and not action.outing:
        refusals.append(Refusal("outing", f"{action.action} needs an outing", ""))
    if action.action == ac.MEASURE and not action.values:
        refusals.append(Refusal("values", "measure needs a value, as in torque=25 N*m", ""))
    if action.action == ac.REMARK and not action.remark:
        refusals.append(Refusal("remark", "remark needs a text", ""))
    return _refused(action, *refusals) if refusals else Event.of(action)
