"""Defects: what can't be done to a thing since something is wrong with it, and what lifts that again.

A defect says which action it bars (or any), of what, and why: seized, leaking, jammed, missing, with what was measured.
While it stands the action is impossible, proposed or recorded; only what rectifies it lifts it, whatever the thing is
found to be meanwhile. Of a unit or place it bars the action on all its ports too; of two halves only what is done to
both together; without an action everything but looking, locking and tagging. Several may stand on one thing at once.
`possibility` asks here what is barred.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from typing import ClassVar

from cfgtrack.model import action as ac
from cfgtrack.model.action import Action, Objection
from cfgtrack.model.configuration import Configuration, View
from cfgtrack.model.event import ANY_ACTION, DEFECT_OF, NO_MATE, Effect, Event, defect_aspect, done_to
from cfgtrack.model.plant import Plant, owner_of, port_of
from cfgtrack.model.presence import doer_of
from cfgtrack.model.quantity import Quantity, dimension_of, from_si
from cfgtrack.model.time import Instant, format_instant
from cfgtrack.model.unknown import instead

CAUSES = ("seized", "stuck", "jammed", "leaking", "missing", "damaged", "won't seat", "torque not reached")
"""What is usually wrong, as it is said. Any words do."""

NEVER_BARRED = frozenset({ac.REMARK, ac.BEGIN, ac.END, ac.FOUND, ac.DEFECT, ac.RECTIFY}) | ac.BOOK_ACTIONS
"""What no defect bars: the word of what is so, and what only writes down."""

_ON_ANYTHING = ac.DEVICE_ACTIONS | {ac.MEASURE, ac.INSPECT}
"""What a defect bars only by name: a missing valve's neighbour may be locked, and a stuck one looked at."""

_MOVES = frozenset({ac.PLACE, ac.LIFT})


@dataclass(frozen=True, slots=True)
class Defect:
    """What can't be done to a `thing`, as long as it stands: `event` said so, `by` somebody, of that instant.

    `bars` is the action, None for any; `mate` the other half, where it can't be done to the two together only.
    `values` is what was measured with it.
    """

    told: ClassVar[tuple[str, ...]] = ("lifted_by",)

    thing: str
    bars: str | None
    cause: str
    since: Instant
    event: str
    by: str | None = None
    mate: str | None = None
    values: Mapping[str, Quantity] = field(default_factory=dict)

    @property
    def what(self) -> str:
        """What can't be done, to what: the words that rectify it, without the first."""
        pair = f"{self.thing} to {self.mate}" if self.mate else self.thing
        return f"{self.bars} {pair}" if self.bars else pair

    @property
    def lifted_by(self) -> str:
        """What lifts it, as it is typed."""
        cause = f'"{self.cause}"' if set(self.cause) & set(" '") else self.cause
        return f"{ac.RECTIFY} {self.what} {cause}"

    @property
    def barred(self) -> str:
        """What can't be done to the thing, in a few words."""
        mate = f" to {self.mate}" if self.mate else ""
        return f"no {self.bars}{mate}" if self.bars else "nothing can be done"

    @property
    def why(self) -> str:
        """What is wrong, and what was measured."""
        return ", ".join((self.cause, *(f"{name} {quantity}" for name, quantity in self.values.items())))


# --- what stands where -----------------------------------------------------------------------------------------------


def defects_on(view: View, thing: str) -> list[Defect]:
    """Return the defects that stand on a port, unit or place itself, of a contact those on its shell; oldest first."""
    thing = port_of(thing)
    found = [_read(thing, one) for one in view.devices_on(thing) if one.aspect.startswith(DEFECT_OF)]
    if len(found) > 1:
        found.sort(key=lambda one: (one.since, one.bars or "", one.mate or "", one.cause))
    return found


def all_defects(now: Configuration) -> list[Defect]:
    """Return every defect that stands, by what it is on; one of two halves once, by the first."""
    every = (one for thing in sorted(now.with_devices()) for one in defects_on(now, thing))
    return [one for one in every if one.mate is None or one.thing < one.mate]


def defects_about(now: View, thing: str) -> list[Defect]:
    """Return what stands on a unit or place and on its ports; of a port or node also what its owner has."""
    owner = owner_of(thing)
    inside = (port_of(thing),) if thing != owner else now.plant.ports_of(owner)
    return [one for there in (owner, *inside) for one in defects_on(now, there)]


def defects_over(view: View, things: Iterable[str]) -> list[Defect]:
    """Return the defects of things and of what they belong to; of what the plant has, and nothing twice."""
    both = with_owners(one for one in things if view.plant.has_owner(owner_of(one)))
    return [one for thing in both for one in defects_on(view, thing)]


def with_owners(things: Iterable[str]) -> dict[str, None]:
    """Return what has the defects of things, of a contact its shell, and what each belongs to."""
    return {one: None for thing in things for one in (port_of(thing), owner_of(thing))}


def met(view: View, action: Action) -> list[Defect]:
    """Return the defects of what an action is done to, of its mate and of what they belong to; not those it lifts."""
    named = (
        *done_to(view.plant, action),
        *((action.peer,) if isinstance(action, Event) and action.peer else ()),
    )
    known = defects_over(view, named)
    if action.action == ac.RECTIFY:
        known = [one for one in known if (one.bars, one.cause) != (action.bars, action.status)]
    return list({one.event: one for one in known}.values())


def _read(thing: str, effect: Effect) -> Defect:
    bars, mate, cause = effect.aspect.removeprefix(DEFECT_OF).split(" ", 2)
    since, measured, by = effect.value.split("\t", 2)
    return Defect(
        thing,
        None if bars == ANY_ACTION else bars,
        cause,
        int(since),
        effect.other or "",
        by or None,
        None if mate == NO_MATE else mate,
        dict(map(_measured, filter(None, measured.split(";")))),
    )


def _measured(text: str) -> tuple[str, Quantity]:
    name, value, unit = text.split(" ", 2)
    return name, from_si(float(value), unit=unit, dimension=dimension_of(name))


# --- what that bars --------------------------------------------------------------------------------------------------


def barring(view: View, action: Action) -> Iterator[Defect]:
    """Yield the defects that keep an action from being done, with all its subjects filled in; each once.

    Barred is what is done to a thing, or to a port of it; what is put at or hung on a place; what moves along with what
    is moved. In a plant with sites, who or what can do nothing any more does nothing.
    """
    if view.is_bare or action.action in NEVER_BARRED:
        return
    plant, named = view.plant, done_to(view.plant, action)
    things = with_owners(named)
    if action.action in _MOVES:
        also = (action.place, *(action.moved if isinstance(action, Event) else ()))
        things.update(dict.fromkeys(filter(None, also)))
    told: set[str] = set()
    for thing in things:
        for one in defects_on(view, thing):
            if is_barred(one, action.action) and one.mate in (None, *named) and one.event not in told:
                told.add(one.event)
                yield one
    doer = doer_of(plant, action) if plant.has_sites else None
    if doer is not None and doer not in things:
        yield from (one for one in defects_on(view, doer) if is_barred(one, action.action, by=True))


def is_barred(one: Defect, action: str, *, by: bool = False) -> bool:
    """Return whether a defect bars an action that is done to what it is on; or `by` what it is on."""
    if one.bars is not None:
        return one.bars == action and not by
    return action not in NEVER_BARRED and action not in _ON_ANYTHING


def bars(view: View, action: Action) -> Defect | None:
    """Return the oldest defect that keeps an action from being done, None where none does."""
    return min(barring(view, action), key=lambda one: one.since, default=None)


def told(one: Defect, *, first: bool = False) -> str:
    """Return in words what can't be done, why, who says so and since when; and what must come `first`."""
    lifted = f"; `{one.lifted_by}` first, or as-found" if first else ""
    by = f" by {one.by}" if one.by else ""
    return (
        f"{one.thing} has a defect ({one.barred}): {one.why}{lifted}; told{by} at {format_instant(one.since)}"
    )


# --- saying it, and taking it back -----------------------------------------------------------------------------------


def barrable(plant: Plant, thing: str) -> dict[str, None]:
    """Return the actions that a defect of a port, unit or place may bar."""
    found = plant.port(thing)
    if found is not None:
        return dict.fromkeys((*found[1].moves, *sorted(_ON_ANYTHING)))
    inside = (plant.port(port) for port in plant.ports_of(thing))
    moves = (action for port in inside if port is not None for action in port[1].moves)
    return dict.fromkeys((*sorted(_MOVES), *moves, *sorted(_ON_ANYTHING)))


def resolved(view: View, action: Action) -> Action:
    """Return what rectifies a defect with all that it left out, where only one that stands can be meant."""
    if action.action != ac.RECTIFY or not action.subjects:
        return action
    meant = _meant(view, action)
    if len(meant) != 1:
        return action
    (one,) = meant
    subjects = (*action.subjects[:1], *((one.mate,) if one.mate else ()))
    return replace(action, subjects=subjects, bars=one.bars, status=one.cause)


def _meant(view: View, action: Action) -> list[Defect]:
    """Return the standing defects that somebody who rectifies one may mean; what he names exactly goes first."""
    thing, *mates = action.subjects
    there = [
        one
        for one in defects_on(view, thing)
        if action.bars in (None, one.bars) and action.status in (None, one.cause)
    ]
    exact = [one for one in there if one.mate == (mates[0] if mates else None)]
    if action.bars is None and action.status is not None:
        whole = [one for one in exact if one.bars is None]
        exact = whole or exact
    return exact or ([] if mates else there)


def objections(view: View, action: Action) -> Iterator[Objection]:
    """Yield why a defect can't be said, or rectified; its subjects are known, and `resolved` filled it in."""
    thing, *mates = action.subjects
    if action.action == ac.RECTIFY:
        yield from _none_to_rectify(view, action)
        return
    plant = view.plant
    for one in action.subjects if action.bars is not None else ():
        can = barrable(plant, one)
        if action.bars not in can:
            yield Objection(
                "action", f"{one} takes no {action.bars}{instead(action.bars or '', can, 'it takes')}", one
            )
            return
    if mates:
        yield from _bad_pair(plant, action)
    if not action.status:
        yield Objection("status", f"say what is wrong with {thing}, as in {', '.join(CAUSES[:3])}", thing)
        return
    aspect = defect_aspect(action.bars, mates[0] if mates else None, action.status)
    there = next((one for one in view.devices_on(thing) if one.aspect == aspect), None)
    if there is not None:
        sentence = f"{told(_read(thing, there))}: that stands already"
        yield Objection("already", sentence, thing, there.other)


def _bad_pair(plant: Plant, action: Action) -> Iterator[Objection]:
    thing, mate = action.subjects[:2]
    found = plant.port(thing)
    move = found[1].moves.get(action.bars or "") if found is not None else None
    if thing == mate:
        yield Objection("same", f"{thing} is named twice", thing)
    elif move is None or plant.port(mate) is None or move.each:
        what = action.bars or "a defect without an action"
        sentence = f"{what} is not done to two halves together: say a defect of each that has one"
        yield Objection("subjects", sentence, thing)


def _none_to_rectify(view: View, action: Action) -> Iterator[Objection]:
    thing = action.subjects[0]
    meant = _meant(view, action)
    if len(meant) == 1:
        return
    if meant:
        ways = " or ".join(f"`{one.lifted_by}`" for one in meant)
        yield Objection(
            "several", f"{len(meant)} defects stand on {thing}: say which, {ways}", thing, meant[0].event
        )
        return
    there = defects_on(view, thing)
    barred = f" that bars {action.bars}" if action.bars else ""
    why = f" ({action.status})" if action.status else ""
    stands = "; ".join(told(one) for one in there) or "nothing is recorded to be wrong with it"
    sentence = f"{thing} has no defect{barred}{why} to rectify: {stands}"
    yield Objection("no-defect", sentence, thing, there[0].event if there else None)


def rectified(one: Defect) -> Action:
    """Return what rectifies a defect, as an action without id and time."""
    subjects = (one.thing, one.mate) if one.mate else (one.thing,)
    return Action("", ac.RECTIFY, subjects, 0, bars=one.bars, status=one.cause)
