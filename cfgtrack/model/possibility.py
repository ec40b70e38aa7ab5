"""What is physically possible. Impossible is not forbidden: it means that the record is wrong.

`resolve` takes an action as somebody said it, fills in what follows from the configuration (the other half of a
mated pair, what moves along) and returns either the event or every reason why it can't have happened.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace

from cfgtrack.model import action as ac
from cfgtrack.model.action import Action
from cfgtrack.model.configuration import View, place_line
from cfgtrack.model.event import Event
from cfgtrack.model.hold import aboard, grippers, is_of_hold, joints, moves_with, rigid_group
from cfgtrack.model.kind import Kind, Move
from cfgtrack.model.part import Port
from cfgtrack.model.plant import Place, Plant, owner_of
from cfgtrack.model.unknown import ANYTHING, MOVABLE, PLACE, PORT, UNKNOWN, unknown


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


def resolve(view: View, action: Action) -> Event | Impossible:
    """Fill in what follows from the configuration just before `action`, or say why it is impossible."""
    if action.action in (ac.PLACE, ac.LIFT):
        return _resolve_place(view, action)
    if action.action == ac.FOUND:
        return _resolve_found(view, action)
    if action.action in ac.GENERAL_ACTIONS or action.action in ac.BOOK_ACTIONS:
        return _resolve_note(view, action)
    return _resolve_move(view, action)


def _refused(action: Action, *refusals: Refusal) -> Impossible:
    return Impossible(action, refusals)


def _unknown(view: View, address: str, wanted: Sequence[str]) -> list[Refusal]:
    why = unknown(view.plant, address, wanted)
    return [Refusal(UNKNOWN, why, address)] if why else []


# --- along a ladder -------------------------------------------------------------------------------------------


def _resolve_move(view: View, action: Action) -> Event | Impossible:
    if not 1 <= len(action.subjects) <= 2:
        sentence = f"{action.action} takes one port or two, {len(action.subjects)} given"
        return _refused(action, Refusal("subjects", sentence, ""))
    refusals = _bad_ports(view, action)
    if refusals:
        return _refused(action, *refusals)
    kind = _found(view.plant, action.subjects[0])[1]
    move = kind.moves[action.action]
    if kind.joins(move):
        return _resolve_join(view, action)
    mate = view.state(action.subjects[0]).other if len(action.subjects) == 1 else None
    subjects = action.subjects if mate is None or move.each else (action.subjects[0], mate)
    refusals = [*_pairing(view, subjects), *_off_ladder(view, action, subjects)]
    if refusals:
        return _refused(replace(action, subjects=subjects), *refusals)
    return Event.of(action, peer=mate if move.each else None, subjects=subjects)


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
            is_what = f"mated to {state.other}" if state.other else state.value
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
            wanted = " or ".join(move.sources)
            sentence = f"{subject} is {state.value}{to}; {action.action} needs it {wanted}"
            refusals.append(Refusal("status", sentence, subject, state.event))
    return refusals


def _resolve_join(view: View, action: Action) -> Event | Impossible:
    if len(action.subjects) != 2:
        sentence = f"{action.action} needs both halves: {action.subjects[0]} and what it goes on"
        return _refused(action, Refusal("subjects", sentence, action.subjects[0]))
    refusals = [*misfits(view.plant, *action.subjects), *_off_ladder(view, action, action.subjects)]
    if refusals:
        return _refused(action, *refusals)
    return _brought_together(view, action)


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
    there = [line[0] if line else "nowhere known" for line in (line_a, line_b)]
    sentence = f"{a} is at {there[0]}, {b} at {there[1]}: they are not in one place"
    return Refusal("not-here", sentence, a, _mover(view, owners))


def _mover(view: View, owners: tuple[str, str]) -> str | None:
    moved = [view.state(o).event for o in owners if o in view.plant.units]
    return next((e for e in moved if e), None)


def _handed_over(view: View, action: Action, in_hand: str, line: list[str]) -> Event | Impossible:
    if not line or not is_of_hold(view.plant, action.subjects[0]):
        return Event.of(action)
    return Event.of(action, place=line[0], moved=tuple(rigid_group(view, in_hand)))


# --- from place to place ----------------------------------------------------------------------------------------


def _resolve_place(view: View, action: Action) -> Event | Impossible:
    if len(action.subjects) != 1:
        return _refused(action, Refusal("subjects", f"{action.action} takes one unit", ""))
    thing = action.subjects[0]
    if wrong := _unknown(view, thing, MOVABLE):
        return _refused(action, *wrong)
    group = moves_with(view, thing)
    if action.action == ac.LIFT and action.place is None and len(hands := grippers(view, group)) == 1:
        action = replace(action, place=hands.pop())
    refusals = [*_bad_destination(view, action, group), *_ties(view, thing, group)]
    if refusals:
        return Impossible(action, tuple(refusals), tuple(group[1:]))
    return Event.of(action, moved=tuple(group[1:]))


def _bad_destination(view: View, action: Action, group: Sequence[str]) -> Iterator[Refusal]:
    thing, target = action.subjects[0], action.place
    if target is None:
        yield Refusal("by-whom", f"say who or what takes {thing}: no single grip holds it", thing)
        return
    place = view.plant.places.get(target)
    if place is None:
        yield from _unknown(view, target, PLACE)
        return
    if action.action == ac.LIFT and not place.mobile:
        yield Refusal("by-whom", f"{target} can't lift: it is a place that doesn't move", target)
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
    if capacity is None:
        return
    heaps = _heaps(view, (s for s in view.standing_at(target) if s not in group))
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
    capacity, heaps = view.plant.places[place].capacity, _heaps(view, view.standing_at(place))
    if capacity is None or len(heaps) <= capacity:
        return None
    sentence = f"{place} takes {capacity}, not {', '.join(heaps)}"
    return Refusal("full", sentence, heaps[-1], view.state(heaps[-1]).event)


def _ties(view: View, thing: str, group: list[str]) -> Iterator[Refusal]:
    """Yield a refusal for every made link that still ties what moves to something that stays."""
    moving = set(group)
    if thing not in view.plant.units:
        moving.update(aboard(view, thing))
    for owner in sorted(moving):
        for near, far, _, gives in joints(view, owner):
            if not gives and owner_of(far) not in moving:
                yield Refusal("tied", f"{near} still ties {owner} to {far}", near, view.state(near).event)


# --- found so -----------------------------------------------------------------------------------------------------


def _resolve_found(view: View, action: Action) -> Event | Impossible:
    if not action.subjects:
        return _refused(action, Refusal("subjects", "as-found needs a subject", ""))
    if action.place is not None:
        return _resolve_found_place(view, action)
    if action.status is None:
        return _refused(action, Refusal("status", "as-found needs a status or a place", action.subjects[0]))
    return _resolve_found_port(view, action)


def _resolve_found_place(view: View, action: Action) -> Event | Impossible:
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
        said.append(f"{thing} at {state.value}" if state.value else f"{thing} nowhere known")
    if not action.initial:
        wrong = wrong_way_round(view.plant.places[place], thing, action.facing)
        said.extend(r.sentence for r in (*wrong, *_full(view, place, group)))
    return Event.of(action, moved=tuple(group[1:]), expected="; ".join(said) or None)


def _resolve_found_port(view: View, action: Action) -> Event | Impossible:
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
            sentence = f"{action.subjects[0]} {action.status}: say to what"
            return _refused(action, Refusal("subjects", sentence, action.subjects[0]))
    moved = tuple(_bereft(view, action, peer))
    said = [*_contradictions(view, action, peer), *(r.sentence for r in unfit if joined)]
    return Event.of(action, peer=peer, moved=moved, expected="; ".join(said) or None)


def _bad_found(view: View, action: Action, subject: str) -> Iterator[Refusal]:
    found = view.plant.port(subject)
    if found is None:
        yield from _unknown(view, subject, PORT)
    elif action.status not in found[1].statuses:
        ladder = ", ".join(found[1].statuses)
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
            yield f"{subject} {state.value}" + (f" to {state.other}" if state.other else "")


# --- notes --------------------------------------------------------------------------------------------------------


def _is_pattern(action: Action, subject: str) -> bool:
    """Return whether a subject is a shell pattern, as an approval's may be: it covers whatever fits."""
    return action.action == ac.APPROVE and any(c in subject for c in "*?[")


def _resolve_note(view: View, action: Action) -> Event | Impossible:
    named = (s for s in action.subjects if not _is_pattern(action, s))
    refusals = [r for s in named for r in _unknown(view, s, ANYTHING)]
    if action.action in (ac.BEGIN, ac.END) and not action.outing:
        refusals.append(Refusal("outing", f"{action.action} needs an outing", ""))
    if action.action == ac.MEASURE and not action.values:
        refusals.append(Refusal("values", "measure needs a value, as in torque=25 N*m", ""))
    if action.action == ac.REMARK and not action.remark:
        refusals.append(Refusal("remark", "remark needs a text", ""))
    return _refused(action, *refusals) if refusals else Event.of(action)
