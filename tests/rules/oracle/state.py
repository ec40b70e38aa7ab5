"""What state a plant is in: a copy a step, nothing shared, nothing clever."""

from __future__ import annotations

from collections.abc import Collection
from copy import deepcopy
from dataclasses import dataclass, field
from typing import Any, NamedTuple

from tests.rules.oracle.plant import Plant, si

Event = dict[str, Any]
"""`action`, `subjects`, `happened` in microseconds, and where they belong to it `place`, `status`, `values` (texts with
their units), `by`, `outing`."""

NOTED = {"measure", "inspect"}
BOOKKEEPING = {"begin", "end", "remark", "explain", "approve", "correct", "acknowledge"}


DEVICES = ("lock", "unlock", "tag", "untag")
"""What is done with a lock or a tag: to a thing, by whose it is."""


class Done(NamedTuple):
    """One event that was done: its number in the series, its time, and to what."""

    number: int
    happened: int
    action: str
    subjects: tuple[str, ...]
    values: dict[str, float]


@dataclass
class State:
    """Statuses, mates, where things are, how often they were mated, and all that was done so far."""

    status: dict[str, str] = field(default_factory=dict)
    mate: dict[str, str] = field(default_factory=dict)
    at: dict[str, str] = field(default_factory=dict)
    cycles: dict[str, int] = field(default_factory=dict)
    log: list[Done] = field(default_factory=list)
    hung: set[tuple[str, str, str]] = field(default_factory=set)
    """Locks and tags: which of the two, on what, and whose."""

    def hangs(self, what: str, thing: str) -> bool:
        """Return whether anybody's lock, or tag, is on a thing."""
        return any(one[:2] == (what, thing) for one in self.hung)

    def last(self, its: Collection[str], actions: list[str], quantity: str | None = None) -> Done | None:
        """Return the last event of these actions that was done to one of the items, and told the quantity if one is
        asked.

        The items are a thing and, of a unit, its ports: what is measured or looked at there is not so of the unit.
        """
        thing, *_ = its
        for done in reversed(self.log):
            touched = {thing} if done.action in NOTED else set(its)
            if (
                done.action in actions
                and touched & set(done.subjects)
                and (quantity is None or quantity in done.values)
            ):
                return done
        return None

    def measured(self, item: str, quantity: str) -> Done | None:
        """Return the last event that told this quantity of this item."""
        for done in reversed(self.log):
            if item in done.subjects and quantity in done.values:
                return done
        return None


def initial(plant: Plant) -> State:
    """Return the state of the handover: nothing in it counts as an action."""
    told = plant.hardware.get("initial", {})
    state = State()
    for port in plant.ports:
        state.status[port] = told.get("status", {}).get(port, plant.kind(port)["initial"])
        state.cycles[port] = 0
    for a, b in told.get("joined", []):
        state.mate[a], state.mate[b] = b, a
        for port in (a, b):
            state.status[port] = told.get("status", {}).get(port, plant.kind(port)["joined"])
    for place, its in plant.places.items():
        if its.get("mobile") and "parent" in its:
            state.at[place] = its["parent"]
    for thing, place in told.get("place", {}).items():
        state.at[thing] = place["at"] if isinstance(place, dict) else place
    return state


def around(plant: Plant, state: State, item: str) -> list[str]:
    """Return the places around an item, the innermost first; a place stands in itself.

    A fixed place is where its parent is; a mobile one where it was put last.
    """
    owner = plant.owner.get(item, item)
    place = owner if owner in plant.places else state.at.get(owner)
    found: list[str] = []
    while place is not None and place not in found:
        found.append(place)
        place = state.at[place] if place in state.at else plant.places[place].get("parent")
    return found


def subjects_of(plant: Plant, state: State, event: Event) -> tuple[str, ...]:
    """Return to what an event is done: the ports that it moves are both halves of a pair, unless its kind says each."""
    if event["action"] in DEVICES:
        return tuple(event["subjects"])
    subjects = list(event["subjects"])
    move = _move(plant, state, event)
    if move is not None and not move.get("each"):
        for port in list(subjects):
            mate = state.mate.get(port)
            if mate is not None and mate not in subjects:
                subjects.append(mate)
    return tuple(subjects)


def _move(plant: Plant, state: State, event: Event) -> dict[str, Any] | None:
    """Return the move of the first port's kind that the event's action is, if any."""
    ports = [port for port in event["subjects"] if port in plant.ports]
    if not ports:
        return None
    moves = plant.kind(ports[0]).get("move", [])
    fitting = [m for m in moves if m["action"] == event["action"] and state.status[ports[0]] in m["from"]]
    return fitting[0] if fitting else None


def after(plant: Plant, before: State, event: Event, number: int) -> State:
    """Return the state that an event leaves behind; the state before stays as it is."""
    away = absent(plant, before, event)
    if away is not None and away.thing_site is not None:
        # Reality isn't refused: who wasn't there is found there.
        before = deepcopy(before)
        _follows(plant, before, away.doer, away.thing_site)
    state = deepcopy(before)
    subjects = subjects_of(plant, before, event)
    action = event["action"]
    move = _move(plant, before, event)
    if action in ("place", "lift"):
        for thing in event["subjects"]:
            for moved in moves_along(plant, before, thing):
                state.at[moved] = event["place"]
    elif action in ("as-found", *DEVICES):
        _found(plant, state, event)
    elif move is not None:
        was_joined = all(port in before.mate for port in subjects)
        for port in subjects:
            state.status[port] = move["to"]
            state.cycles[port] += bool(move.get("cycle"))
        joins = all(plant.at_least(port, move["to"], "joined") for port in subjects)
        if joins and not was_joined and len(subjects) == 2:
            a, b = subjects
            state.mate[a], state.mate[b] = b, a
        if not joins:
            for port in subjects:
                state.mate.pop(port, None)
    if action not in BOOKKEEPING:
        values = {name: si(text) for name, text in event.get("values", {}).items()}
        state.log.append(Done(number, event["happened"], action, subjects, values))
    return state


def _found(plant: Plant, state: State, event: Event) -> None:
    """Take a thing as it was found: a one-sided port's status, or where a unit or person is; or put a lock or tag on
    it, or take that off.
    """
    thing, *whose = event["subjects"]
    if event["action"] in DEVICES:
        state.hung ^= {(event["action"].removeprefix("un"), thing, *whose)}
        return
    if thing in plant.ports:
        state.status[thing] = event["status"]
        mate = state.mate.pop(thing, None)
        if mate is not None:
            state.mate.pop(mate, None)
    else:
        state.at[thing] = event["place"]


def moves_along(plant: Plant, state: State, thing: str) -> list[str]:
    """Return what moves with a thing: itself, and the units that are fixed to it over made holds that don't give."""
    found = [thing]
    for unit in found:
        for a, b in state.mate.items():
            if plant.owner[a] != unit or plant.medium(a) != "hold" or plant.owner[b] not in plant.units:
                continue
            if (
                gives(plant, a)
                or gives(plant, b)
                or plant.owner[b] in found
                or not carries(plant, state, a, b)
            ):
                continue
            found.append(plant.owner[b])
    return found


def gives(plant: Plant, port: str) -> bool:
    """Return whether a port is declared flexible: itself, its kind, or the part that owns it."""
    tables = (plant.ports[port], plant.kind(port), plant.part(plant.owner[port]))
    return any(table.get("flexible") for table in tables)


def carries(plant: Plant, state: State, a: str, b: str) -> bool:
    """Return whether both halves say that their interface carries."""
    return all(plant.at_least(port, state.status[port], "carries") for port in (a, b))


# --- presence ---------------------------------------------------------------------------------------------------------


class Absence(NamedTuple):
    """A doer who wasn't where the thing is: which event, who, where he was and where it is (sites, or None)."""

    number: int
    doer: str
    doer_site: str | None
    thing: str
    thing_site: str | None


def site(plant: Plant, state: State, item: str) -> str | None:
    """Return the site of a thing: the innermost around it, unless its port names its own."""
    own = (plant.ports.get(item) or {}).get("site")
    if own is not None:
        return str(own)
    return next((place for place in around(plant, state, item) if plant.places[place].get("site")), None)


def remote_from(plant: Plant, item: str, quantity: str | None = None) -> list[str]:
    """Return the places from which a port, node or quantity is worked or read."""
    table = plant.ports.get(item) or plant.nodes.get(item) or {}
    remote = table.get("remote", [])
    if isinstance(remote, dict):
        remote = remote.get(quantity, [])
    return [remote] if isinstance(remote, str) else list(remote)


def absent(plant: Plant, state: State, event: Event, number: int = 0) -> Absence | None:
    """Return how the doer of an event isn't where the thing is, if so. Nothing is judged in a plant without sites."""
    if "by" not in event or not any(place.get("site") for place in plant.places.values()):
        return None
    doer = event["by"]
    if event["action"] in BOOKKEEPING or doer in event["subjects"]:
        return None
    where = around(plant, state, doer)
    quantities = list(event.get("values", {})) or [None]
    for thing in event["subjects"]:
        if any(place in where for name in quantities for place in remote_from(plant, thing, name)):
            continue
        here, there = site(plant, state, doer), site(plant, state, thing)
        if here is None or here != there:
            return Absence(number, doer, here, thing, there)
    return None


def _follows(plant: Plant, state: State, doer: str, where: str) -> None:
    for port in [port for port in state.mate if plant.owner[port] == doer]:
        mate = state.mate.pop(port)
        state.mate.pop(mate, None)
        for half in (port, mate):
            state.status[half] = plant.kind(half)["initial"]
    state.at[doer] = where
