"""What is physically possible. Impossible is not forbidden: it means that the record is wrong.

`resolve` takes an action as somebody reported it, fills in what follows from the configuration (the other half of
a mated pair, what moves along) and returns either the resolved event or every reason why it can't have happened.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

from cfgtrack.model import event as ev
from cfgtrack.model.configuration import (
    View,
    aboard,
    place_line,
    rigid_group,
    rigid_links,
)
from cfgtrack.model.event import Event
from cfgtrack.model.kind import Kind, Move
from cfgtrack.model.part import Port
from cfgtrack.model.plant import HOLD, owner_of


@dataclass(frozen=True, slots=True)
class Refusal:
    """Why an action is impossible. `collides` is the event that put the hardware where it contradicts."""

    code: str
    sentence: str
    subject: str
    collides: str | None = None


@dataclass(frozen=True, slots=True)
class Resolved:
    """The outcome of `resolve`: the event with everything filled in, or why it is refused."""

    event: Event
    refusals: tuple[Refusal, ...] = ()


def resolve(view: View, event: Event) -> Resolved:
    """Fill in what follows from the configuration just before `event`, or say why it is impossible."""
    if event.action in (ev.PLACE, ev.LIFT):
        return _resolve_place(view, event)
    if event.action == ev.FOUND:
        return _resolve_found(view, event)
    if event.action in ev.GENERAL_ACTIONS or event.action in ev.BOOK_ACTIONS:
        return _resolve_note(view, event)
    return _resolve_move(view, event)


def _refused(event: Event, *refusals: Refusal) -> Resolved:
    return Resolved(event, refusals)


# --- along a ladder -------------------------------------------------------------------------------------------


def _resolve_move(view: View, event: Event) -> Resolved:
    if not 1 <= len(event.subjects) <= 2:
        sentence = f"{event.action} takes one port or two, {len(event.subjects)} given"
        return _refused(event, Refusal("subjects", sentence, ""))
    unknown = [_no_port(view, event, s) for s in event.subjects]
    refusals = [r for r in unknown if r is not None]
    if refusals:
        return _refused(event, *refusals)
    kind = _found(view, event.subjects[0])[1]
    move = kind.moves[event.action]
    if kind.joins(move):
        return _resolve_join(view, event)
    event = _with_mate(view, event, move)
    refusals = list(_pairing(view, event))
    for subject in event.subjects:
        refusals.extend(_off_ladder(view, event, subject))
    return Resolved(event, tuple(refusals))


def _no_port(view: View, event: Event, subject: str) -> Refusal | None:
    found = view.plant.port(subject)
    if found is None:
        return Refusal("unknown", f"there is no port {subject}", subject)
    kind = found[1]
    if event.action not in kind.moves:
        can = ", ".join(kind.moves) or "nothing"
        return Refusal(
            "action", f"{subject} is of kind {kind.id}; it takes {can}, not {event.action}", subject
        )
    return None


def _found(view: View, subject: str) -> tuple[Port, Kind]:
    found = view.plant.port(subject)
    assert found is not None
    return found


def _with_mate(view: View, event: Event, move: Move) -> Event:
    if len(event.subjects) == 2:
        return event
    mate = view.state(event.subjects[0]).other
    if mate is None:
        return event
    if move.each:
        return replace(event, peer=mate)
    return replace(event, subjects=(event.subjects[0], mate))


def _pairing(view: View, event: Event) -> Iterator[Refusal]:
    """Two halves named together must be each other's mates."""
    if len(event.subjects) != 2:
        return
    for subject, other in (event.subjects, event.subjects[::-1]):
        state = view.state(subject)
        if state.other != other:
            is_what = f"mated to {state.other}" if state.other else state.value
            yield Refusal("not-mates", f"{subject} is {is_what}, not mated to {other}", subject, state.event)


def _off_ladder(view: View, event: Event, subject: str) -> Iterator[Refusal]:
    kind = _found(view, subject)[1]
    if event.action not in kind.moves:
        yield Refusal("action", f"{subject} is of kind {kind.id}, which takes no {event.action}", subject)
        return
    move = kind.moves[event.action]
    state = view.state(subject)
    if state.value not in move.sources:
        to = f" (to {state.other})" if state.other else ""
        wanted = " or ".join(move.sources)
        sentence = f"{subject} is {state.value}{to}; {event.action} needs it {wanted}"
        yield Refusal("status", sentence, subject, state.event)


def _resolve_join(view: View, event: Event) -> Resolved:
    if len(event.subjects) != 2:
        sentence = f"{event.action} needs both halves: {event.subjects[0]} and what it goes on"
        return _refused(event, Refusal("subjects", sentence, event.subjects[0]))
    refusals = list(_misfits(view, event))
    for subject in event.subjects:
        refusals.extend(_off_ladder(view, event, subject))
    if refusals:
        return _refused(event, *refusals)
    return _brought_together(view, event)


def _misfits(view: View, event: Event) -> Iterator[Refusal]:
    a, b = event.subjects
    if a == b:
        yield Refusal("same", f"{a} can't be mated to itself", a)
        return
    (port_a, kind_a), (port_b, kind_b) = _found(view, a), _found(view, b)
    if owner_of(a) == owner_of(b) and not _can_bend_round(view, a, b):
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


def _can_bend_round(view: View, a: str, b: str) -> bool:
    """Return whether two ports of one thing can meet: both ends of a hose can, two bolt holes or two hands can't."""
    plant = view.plant
    return not _is_hold(view, a) and (plant.is_flexible(a) or plant.is_flexible(b))


def _brought_together(view: View, event: Event) -> Resolved:
    """Check that a rigid pair is in one place; what was in somebody's hands now stands where its mate stands."""
    a, b = event.subjects
    plant = view.plant
    if plant.is_flexible(a) or plant.is_flexible(b):
        return Resolved(event)
    owners = owner_of(a), owner_of(b)
    if any(plant.is_mobile(o) for o in owners):
        return Resolved(event)
    lines = [place_line(view, o) for o in owners]
    if _one_place(lines[0], lines[1]):
        return Resolved(event)
    if all(o in plant.units for o in owners):
        in_hand = [bool(line) and plant.is_mobile(line[0]) for line in lines]
        if in_hand[0] != in_hand[1]:
            return _handed_over(view, event, owners[in_hand.index(True)], lines[in_hand.index(False)])
    there = [line[0] if line else "nowhere known" for line in lines]
    sentence = f"{a} is at {there[0]}, {b} at {there[1]}: they are not in one place"
    return _refused(event, Refusal("not-here", sentence, a, _mover(view, owners)))


def _one_place(line_a: list[str], line_b: list[str]) -> bool:
    return bool(line_a and line_b) and (line_a[0] in line_b or line_b[0] in line_a)


def _mover(view: View, owners: tuple[str, str]) -> str | None:
    moved = [view.state(o).event for o in owners if o in view.plant.units]
    return next((e for e in moved if e), None)


def _handed_over(view: View, event: Event, in_hand: str, line: list[str]) -> Resolved:
    if not line or not _is_hold(view, event.subjects[0]):
        return Resolved(event)
    return Resolved(replace(event, place=line[0], moved=tuple(rigid_group(view, in_hand))))


# --- from place to place ----------------------------------------------------------------------------------------


def _resolve_place(view: View, event: Event) -> Resolved:
    if len(event.subjects) != 1:
        return _refused(event, Refusal("subjects", f"{event.action} takes one unit", ""))
    thing = event.subjects[0]
    if thing not in view.plant.units and not view.plant.is_mobile(thing):
        kind_of = "is a place that doesn't move" if thing in view.plant.places else "is not a unit"
        return _refused(event, Refusal("unknown", f"{thing} {kind_of}", thing))
    group = rigid_group(view, thing) if thing in view.plant.units else [thing]
    if event.action == ev.LIFT and event.place is None:
        event = replace(event, place=_lifter(view, group))
    event = replace(event, moved=tuple(group[1:]))
    refusals = [*_bad_destination(view, event), *_ties(view, thing, group)]
    return Resolved(event, tuple(refusals))


def _lifter(view: View, group: list[str]) -> str | None:
    """Return the one mobile place that grips the group, or None when there is none or more than one."""
    grips: set[str] = set()
    for unit in group:
        for port in view.plant.ports_of(unit):
            far = view.state(port).other
            if far is not None and view.plant.is_mobile(owner_of(far)) and _is_hold(view, far):
                grips.add(owner_of(far))
    return grips.pop() if len(grips) == 1 else None


def _is_hold(view: View, port: str) -> bool:
    return _found(view, port)[1].medium == HOLD


def _bad_destination(view: View, event: Event) -> Iterator[Refusal]:
    thing, target = event.subjects[0], event.place
    if target is None:
        yield Refusal("by-whom", f"say who or what takes {thing}: no single grip holds it", thing)
        return
    place = view.plant.places.get(target)
    if place is None:
        yield Refusal("unknown", f"there is no place {target}", target)
        return
    if event.action == ev.LIFT and not place.mobile:
        yield Refusal("by-whom", f"{target} can't lift: it is a place that doesn't move", target)
    state = view.state(thing)
    if state.value == target and state.other == event.facing:
        yield Refusal("already", f"{thing} is at {target} already", thing, state.event)
    if thing in place_line(view, target):
        yield Refusal("inside-itself", f"{target} is inside {thing}", thing)
    yield from _wrong_way_round(view, event, target)
    yield from _full(view, event, target)


def _wrong_way_round(view: View, event: Event, target: str) -> Iterator[Refusal]:
    facings = view.plant.places[target].facings
    if facings and event.facing not in facings:
        got = f"not {event.facing}" if event.facing else "none was given"
        sentence = f"{target} takes a unit facing {' or '.join(facings)}; {got}"
        yield Refusal("facing", sentence, event.subjects[0])


def _full(view: View, event: Event, target: str) -> Iterator[Refusal]:
    capacity = view.plant.places[target].capacity
    if capacity is None:
        return
    going = {event.subjects[0], *event.moved}
    there = [s for s in view.standing_at(target) if s not in going]
    heaps: list[str] = []
    seen: set[str] = set()
    for unit in there:
        if unit not in seen:
            heaps.append(unit)
            seen.update(rigid_group(view, unit) if unit in view.plant.units else (unit,))
    if len(heaps) + 1 > capacity:
        sentence = f"{target} takes {capacity} and holds {', '.join(sorted(heaps))}"
        yield Refusal("full", sentence, event.subjects[0], view.state(heaps[0]).event if heaps else None)


def _ties(view: View, thing: str, group: list[str]) -> Iterator[Refusal]:
    """Yield a refusal for every made link that still ties what moves to something that stays."""
    moving = set(group)
    if thing not in view.plant.units:
        moving.update(aboard(view, thing))
    for owner in sorted(moving):
        for near, far in rigid_links(view, owner):
            if owner_of(far) not in moving:
                yield Refusal("tied", f"{near} still ties {owner} to {far}", near, view.state(near).event)


# --- found so -----------------------------------------------------------------------------------------------------


def _resolve_found(view: View, event: Event) -> Resolved:
    if not event.subjects:
        return _refused(event, Refusal("subjects", "as-found needs a subject", ""))
    if event.place is not None:
        return _resolve_found_place(view, event)
    if event.status is None:
        return _refused(event, Refusal("status", "as-found needs a status or a place", event.subjects[0]))
    return _resolve_found_port(view, event)


def _resolve_found_place(view: View, event: Event) -> Resolved:
    thing, place = event.subjects[0], event.place
    if place is None or place not in view.plant.places:
        return _refused(event, Refusal("unknown", f"there is no place {place}", thing))
    if len(event.subjects) != 1 or (thing not in view.plant.units and not view.plant.is_mobile(thing)):
        return _refused(event, Refusal("unknown", f"{thing} is not a unit", thing))
    state = view.state(thing)
    if thing in place_line(view, place):
        sentence = f"{place} is inside {thing} by the record: say first where {place} was found"
        return _refused(event, Refusal("inside-itself", sentence, thing, state.event))
    group = rigid_group(view, thing) if thing in view.plant.units else [thing]
    event = replace(event, moved=tuple(group[1:]))
    said: list[str] = []
    if state.value != place and not (event.initial and state.event is None):
        said.append(f"{thing} at {state.value}" if state.value else f"{thing} nowhere known")
    if not event.initial:
        said.extend(r.sentence for r in (*_wrong_way_round(view, event, place), *_full(view, event, place)))
    return Resolved(replace(event, expected="; ".join(said) or None))


def _resolve_found_port(view: View, event: Event) -> Resolved:
    refusals = [r for s in event.subjects if (r := _bad_found(view, event, s)) is not None]
    misfits = list(_misfits(view, event)) if len(event.subjects) == 2 and not refusals else []
    if event.initial or any(r.code == "same" for r in misfits):
        refusals.extend(misfits)
    if refusals:
        return _refused(event, *refusals)
    assert event.status is not None
    joined = _found(view, event.subjects[0])[1].is_joined(event.status)
    if joined and len(event.subjects) == 1:
        mate = view.state(event.subjects[0]).other
        if mate is None:
            sentence = f"{event.subjects[0]} {event.status}: say to what"
            return _refused(event, Refusal("subjects", sentence, event.subjects[0]))
        event = replace(event, peer=mate)
    moved = tuple(_bereft(view, event, joined=joined))
    said = [*_contradictions(view, event), *(r.sentence for r in misfits if joined)]
    return Resolved(replace(event, moved=moved, expected="; ".join(said) or None))


def _bad_found(view: View, event: Event, subject: str) -> Refusal | None:
    found = view.plant.port(subject)
    if found is None:
        return Refusal("unknown", f"there is no port {subject}", subject)
    kind = found[1]
    if event.status not in kind.statuses:
        ladder = ", ".join(kind.statuses)
        return Refusal("status", f"{subject} can be {ladder}; not {event.status}", subject)
    return None


def _bereft(view: View, event: Event, *, joined: bool) -> Iterator[str]:
    """Yield the halves that lose their mate because the subjects are found apart or with another."""
    for subject in event.subjects:
        mate = view.state(subject).other
        if mate is not None and mate not in event.subjects and not (joined and mate == event.peer):
            yield mate


def _contradictions(view: View, event: Event) -> Iterator[str]:
    """Yield what the record said of the subjects where that differs from what was found."""
    for i, subject in enumerate(event.subjects):
        state = view.state(subject)
        if event.initial and state.event is None:
            continue
        joined = _found(view, subject)[1].is_joined(event.status or "")
        mate = (event.subjects[1 - i] if len(event.subjects) == 2 else event.peer) if joined else None
        if (state.value, state.other) != (event.status, mate):
            yield f"{subject} {state.value}" + (f" to {state.other}" if state.other else "")


# --- notes --------------------------------------------------------------------------------------------------------


def _is_pattern(event: Event, subject: str) -> bool:
    """Return whether a subject is a shell pattern, as an approval's may be: it covers whatever fits."""
    return event.action == ev.APPROVE and any(c in subject for c in "*?[")


def _resolve_note(view: View, event: Event) -> Resolved:
    refusals = [
        Refusal("unknown", f"there is no unit, place, port or part {s}", s)
        for s in event.subjects
        if not view.plant.has(s) and s not in view.plant.parts and not _is_pattern(event, s)
    ]
    if event.action in (ev.BEGIN, ev.END) and not event.outing:
        refusals.append(Refusal("outing", f"{event.action} needs an outing", ""))
    if event.action == ev.MEASURE and not event.values:
        refusals.append(Refusal("values", "measure needs a value, as in torque=25 N*m", ""))
    if event.action == ev.REMARK and not event.remark:
        refusals.append(Refusal("remark", "remark needs a text", ""))
    return Resolved(event, tuple(refusals))
