"""The way from where the work stands to where it may be left: on along the plan, back over what was done, or near by.

A way is a list of moves, each an action with how long it takes and whose idea it was. It is tried on an engine: what
can't be done is left out, the rest is laid out side by side as far as its doers and what it is done to allow, and must
break nothing; then it is judged whether all may be left as it then is. Only what was tried is ever called a way.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from enum import StrEnum
from itertools import islice
from typing import Any, ClassVar

from cfgtrack.analysis.leaving import Leaving, Left, May, Stopping
from cfgtrack.analysis.options import doers
from cfgtrack.model.action import FOUND, LIFT, LOCK, NOTES, PLACE, TAG, UNLOCK, UNTAG, Action
from cfgtrack.model.configuration import Configuration, View, place_line
from cfgtrack.model.event import Event, is_of_device
from cfgtrack.model.failing import is_in_hand
from cfgtrack.model.hold import aboard
from cfgtrack.model.kind import Kind
from cfgtrack.model.plant import Plant, owner_of
from cfgtrack.model.possibility import Impossible, resolve
from cfgtrack.model.quantity import Quantity
from cfgtrack.model.sequence import Sequence as Proposal
from cfgtrack.model.sequence import Step
from cfgtrack.model.time import MINUTE
from cfgtrack.rules.cure import in_turn

MOST_TRIES = 60
"""So often at most ways from one place are tried."""

MOST_NEAR = 30
"""So many actions at most are looked for near by."""


class Whence(StrEnum):
    """Whose idea a move is: a step of the plan, one taken back, or what is lacking near by."""

    AHEAD = "ahead"
    BACK = "back"
    NEAR = "near"


@dataclass(frozen=True, slots=True)
class Move:
    """One action of a way, still without a time; `takes` microseconds. `step` is that of the plan it is, or undoes."""

    action: Action
    takes: int
    whence: Whence
    step: str | None = None


Bars = Callable[[Event], bool]
"""What tells of an action whether something is wrong with what it is done to, so that it can't be done."""


def nothing_barred(_event: Event) -> bool:
    """Say of every action that it can be done."""
    return False


@dataclass(frozen=True, slots=True)
class Tried:
    """A way that was tried to its end: the `moves` that could be done, laid out until `end`, and what is so then."""

    moves: tuple[Move, ...]
    start: int
    end: int
    left: Left

    @property
    def cost(self) -> tuple[int, int]:
        """What the shortest has least of: steps, then time."""
        return len(self.moves), self.end - self.start


Goal = Callable[[Left], bool]
"""What tells whether a way has come to where it should."""


def may_be_left(left: Left) -> bool:
    """Say whether all may be left as it is."""
    return left.may is not May.NO


class Ways:
    """Tries ways from wherever an engine stands, which is left as it was."""

    def __init__(self, leaving: Leaving, waits: Mapping[str, frozenset[str]], legs: Legs, pace: Pace) -> None:
        self.leaving, self._waits, self._legs, self._pace = leaving, waits, legs, pace
        self.world = leaving.engine.world
        self.tries = 0

    # --- trying ---

    def attempt(
        self,
        moves: Sequence[Move],
        stopping: Stopping,
        goal: Goal = may_be_left,
        *,
        bars: Bars = nothing_barred,
        allowed: Callable[[View, Event], bool] | None = None,
        start: int | None = None,
    ) -> Tried | None:
        """Return a way as far as it can be done, None where it breaks something or doesn't lead to the goal.

        `allowed` tells which moves are wanted at all.
        """
        self.tries += 1
        kept = self._possible(moves, bars, allowed)
        start = self.world.now if start is None else start
        found = self._run(kept, start, self._side_by_side(kept, start), stopping, goal)
        if found is None and len({event.by for _, event, _ in kept}) > 1:
            found = self._run(kept, start, _one_by_one(kept, start), stopping, goal)
        return found[0] if found is not None and found[1] else None

    def shortest(
        self,
        several: Iterable[Sequence[Move]],
        stopping: Stopping,
        goal: Goal = may_be_left,
        *,
        near: bool = False,
        most: int = MOST_TRIES,
        **more: Any,
    ) -> Tried | None:
        """Return the shortest way that several lead to, each without what it can do without; None where none does.

        With `near` what is lacking is looked for near by, too. Tried is so often at `most`: see `attempt` for the rest.
        """
        enough, best = self.tries + most, None
        for moves in several:
            found = self.attempt(moves, stopping, goal, **more)
            if found is None and near and self.tries < enough:
                found = self._with_near(moves, stopping, goal, enough, **more)
            if found is not None and (best is None or found.cost < best.cost):
                found = self._leaner(found, stopping, goal, enough, **more)
                best = found if best is None or found.cost < best.cost else best
        return best

    def _leaner(self, found: Tried, stopping: Stopping, goal: Goal, enough: int, **more: Any) -> Tried:
        """Return a way without what it can do without: halves of it are left out, then less and less at once."""
        size = len(found.moves) // 2
        while size:
            i = 0
            while i < len(found.moves) and self.tries < enough:
                fewer = (*found.moves[:i], *found.moves[i + size :])
                leaner = self.attempt(fewer, stopping, goal, **more)
                if leaner is None or leaner.cost >= found.cost:
                    i += size
                else:
                    found = leaner
            size //= 2
        return found

    def _with_near(
        self, moves: Sequence[Move], stopping: Stopping, goal: Goal, enough: int, **more: Any
    ) -> Tried | None:
        """Return a way that begins with what puts right near by what else would be open at its end."""
        found = self.attempt(moves, stopping, _anywhere, **more)
        near = self.near() if found is not None else []
        while found is not None and not goal(found.left):
            better = None
            for move in near:
                if self.tries >= enough:
                    return None
                if move in found.moves:
                    continue
                one = self.attempt((move, *found.moves), stopping, _anywhere, **more)
                if one is not None and _lacks(one.left) < _lacks(found.left):
                    better = one
                    break
            found = better
        return found

    def near(self) -> list[Move]:
        """Return what the rules propose against what is open where the engine stands."""
        engine = self.leaving.engine
        lacking = self.leaving.lacking()
        proposals = in_turn(engine.proposals(breach) for breach in lacking)
        actions = (replace(one.action, id="") for one in islice(proposals, MOST_NEAR))
        plant = self.world.plant
        moves = [self._pace.move(plant, action, Whence.NEAR) for action in actions]
        return [move for i, move in enumerate(moves) if move not in moves[:i]]

    def _possible(
        self, moves: Sequence[Move], bars: Bars, allowed: Callable[[View, Event], bool] | None
    ) -> list[tuple[Move, Event, _Touch]]:
        """Return the moves that can be done one after the other, each as the event that it is."""
        now, kept, undos = self.world.configuration, [], []
        for number, move in enumerate(moves):
            event = self._resolved(now, move, f"way:{number}")
            if not isinstance(event, Event) or bars(event) or not self.world.sees(event):
                continue
            if not self._legs.has(now, event) or (allowed is not None and not allowed(now, event)):
                continue
            kept.append((move, event, _touch(now, event)))
            undos.append(now.apply(event)[1])
        for undo in reversed(undos):
            now.undo(undo)
        return kept

    def _resolved(self, now: Configuration, move: Move, name: str) -> Event | Impossible:
        """Return the event that a move is; what is near by is done by the first of those who are there."""
        action = replace(move.action, id=name, happened=self.world.now)
        outcome = resolve(now, action)
        if action.by is not None or not now.plant.has_sites or not isinstance(outcome, Event):
            return outcome
        movers = filter(now.plant.is_mobile, action.subjects)
        who = dict.fromkeys((*movers, *doers(now.plant, "")))
        outcomes = (resolve(now, replace(action, by=doer)) for doer in who)
        return next((one for one in outcomes if isinstance(one, Event)), outcome)

    def _side_by_side(self, kept: Sequence[tuple[Move, Event, _Touch]], start: int) -> list[int]:
        """Return when each move ends, if each begins as soon as its doer, and what it has to do with, allow."""
        free: dict[str, int] = {}
        wrote: dict[str, int] = {}
        read: dict[str, int] = {}
        by_step: dict[str, int] = {}
        ends = []
        for move, event, touch in kept:
            after = [start, free.get(event.by or "", start)]
            after += [wrote[name] for name in (*touch.reads, *touch.writes) if name in wrote]
            after += [read[name] for name in touch.writes if name in read]
            if move.step is not None and move.whence is Whence.AHEAD:
                after += [by_step[s] for s in self._waits.get(move.step, ()) if s in by_step]
            end = max(after) + move.takes
            ends.append(end)
            free[event.by or ""] = end
            for names, table in ((touch.writes, wrote), (touch.reads, read)):
                for name in names:
                    table[name] = max(end, table.get(name, end))
            if move.step is not None:
                by_step[move.step] = end
        return ends

    def _run(
        self,
        kept: Sequence[tuple[Move, Event, _Touch]],
        start: int,
        ends: Sequence[int],
        stopping: Stopping,
        goal: Goal,
    ) -> tuple[Tried, bool] | None:
        """Return a way run to its end, and whether that is the goal; None where it breaks something."""
        engine, mark = self.leaving.engine, self.leaving.engine.mark()
        try:
            engine.settle()
            noted = engine.noted
            for i in sorted(range(len(kept)), key=lambda i: (ends[i], i)):
                if ends[i] > engine.world.now:
                    engine.settle()
                    if self.leaving.breaks(noted):
                        return None
                engine.step(replace(kept[i][1], happened=ends[i]))
            end = max(ends, default=start)
            engine.settle()
            if self.leaving.breaks(noted):
                return None
            left = self.leaving.judge(stopping)
            done = tuple(_as_done(move, event) for move, event, _ in kept)
            return Tried(done, start, end, left), goal(left)
        finally:
            engine.back(mark)


def _as_done(move: Move, event: Event) -> Move:
    """Return a move with whoever does it."""
    return move if event.by == move.action.by else replace(move, action=replace(move.action, by=event.by))


def _anywhere(_left: Left) -> bool:
    """Say that all is well wherever a way leads to."""
    return True


def _lacks(left: Left) -> tuple[int, int]:
    """Return how much is broken if all is left: how many instances, and whether time breaks more too soon."""
    return sum(len(finding.instances) for finding in left.found), int(left.may is May.NO)


def _one_by_one(kept: Sequence[tuple[Move, Event, _Touch]], start: int) -> list[int]:
    ends, now = [], start
    for move, _, _ in kept:
        now += move.takes
        ends.append(now)
    return ends


# --- what has to do with what -----------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Touch:
    """What an action changes, and what it rests on: of two the later waits where one changes what the other has."""

    writes: frozenset[str]
    reads: frozenset[str]


def _touch(now: Configuration, event: Event) -> _Touch:
    plant = now.plant
    writes = set(event.written)
    reads = {owner_of(one) for one in event.subjects}
    reads.update(place for one in list(reads) for place in _around(now, one))
    if event.by is not None and plant.has_owner(event.by):
        reads.update((event.by, *_around(now, event.by)))
    if event.place is not None:
        reads.update((event.place, *_around(now, event.place)))
    for one in event.subjects:
        if plant.is_mobile(one):
            writes.update(aboard(now, one))
    return _Touch(frozenset(writes), frozenset(reads - writes))


def _around(now: Configuration, owner: str) -> list[str]:
    return list(place_line(now, owner))


# --- where people go, and coming in -----------------------------------------------------------------------------------


class Legs:
    """From where to where people and machines go, as told by what they did and are to do: there and back.

    What a model of a plant doesn't say is how one gets from place to place: nobody is sent where nobody of his sort
    went. Those of whom no move is known go anywhere.
    """

    def __init__(self) -> None:
        self._known: dict[str | None, set[tuple[_Spot, _Spot]]] = {}

    def learn(self, now: View, event: Event) -> None:
        """Take in an event that is still to happen."""
        leg = _leg(now, event)
        if leg is not None:
            sort, start, goal = leg
            self._known.setdefault(sort, set()).update(((start, goal), (goal, start)))

    def has(self, now: View, event: Event) -> bool:
        """Return whether somebody of the sort of whom an event moves went so before; True where it moves nobody."""
        leg = _leg(now, event)
        if leg is None:
            return True
        sort, start, goal = leg
        known = self._known.get(sort)
        return known is None or start == goal or (start, goal) in known


_Spot = tuple[str, str]
"""Where somebody is: the place that he is in, and where that stands if it moves."""


def _leg(now: View, event: Event) -> tuple[str | None, _Spot, _Spot] | None:
    if event.action not in (PLACE, LIFT) or event.place is None:
        return None
    place = now.plant.places.get(event.subjects[0])
    if place is None or not place.mobile:
        return None
    return place.part, _spot(now, now.state(place.id).value), _spot(now, event.place)


def _spot(now: View, place: str) -> _Spot:
    known = now.plant.places
    fixed = (one for one in place_line(now, place) if one in known and not known[one].mobile) if place else ()
    return place, next(iter(fixed), "")


def is_coming_in(now: View, event: Event) -> bool:
    """Return whether an action only brings people and machines in, with what they carry: nothing else is worked on.

    They move, let go and unclip themselves, and put down what they have; what hangs in a grip stays where it is.
    """
    plant = now.plant
    if event.action in (PLACE, LIFT):
        thing = event.subjects[0]
        if plant.is_mobile(thing):
            return not any(one in plant.units for one in (*event.carried, *event.moved))
        return is_in_hand(now, thing)
    kinds = [found[1] for one in event.subjects if (found := plant.port(one))]
    ties = bool(kinds) and all(kind.grip or kind.tether for kind in kinds)
    own = any(plant.is_mobile(owner_of(one)) for one in event.subjects)
    return ties and own and all(kind.parts(kind.moves[event.action]) for kind in kinds)


# --- taking a step back -----------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Pace:
    """How long actions take, and what they measure, as a plan says: by action and kind of port, else by action."""

    takes: Mapping[tuple[str, str], int] = field(default_factory=dict)
    values: Mapping[tuple[str, str], Mapping[str, Quantity]] = field(default_factory=dict)
    assumed: ClassVar[int] = 5 * MINUTE

    @classmethod
    def of(cls, proposal: Proposal, plant: Plant) -> Pace:
        """Return what a plan says of how long its steps take."""
        takes: dict[tuple[str, str], int] = {}
        values: dict[tuple[str, str], Mapping[str, Quantity]] = {}
        for step in proposal.steps:
            for name in (_sort_of(plant, step.action), (step.action.action, "")):
                takes[name] = max(step.takes[1], takes.get(name, 0))
                if step.action.values and step.action.action not in NOTES:
                    values.setdefault(name, step.action.values)
        return cls(takes, values)

    def move(self, plant: Plant, action: Action, whence: Whence, step: str | None = None) -> Move:
        """Return the move that an action is."""
        names = (_sort_of(plant, action), (action.action, ""))
        takes = next((self.takes[name] for name in names if name in self.takes), self.assumed)
        if not action.values:
            values = next((self.values[name] for name in names if name in self.values), None)
            action = action if values is None else replace(action, values=values)
        return Move(action, takes, whence, step)


def _sort_of(plant: Plant, action: Action) -> tuple[str, str]:
    found = plant.port(action.subjects[0]) if action.subjects else None
    return action.action, "" if found is None else found[1].id


_BACK = {LOCK: UNLOCK, UNLOCK: LOCK, TAG: UNTAG, UNTAG: TAG}


def taken_back(now: View, event: Event, pace: Pace, step: Step | None = None) -> tuple[Move, ...]:
    """Return what takes an event back, as things were just `now` before it: empty for what changes nothing.

    `step` is that of a plan which the event is.
    """
    name = None if step is None else step.id
    moves = tuple(pace.move(now.plant, one, Whence.BACK, name) for one in _taken_back(now, event))
    if step is not None and len(moves) == 1 and moves[0].action.action in (PLACE, LIFT):
        return (replace(moves[0], takes=step.takes[1]),)
    return moves


def perhaps(now: View, actions: Iterable[Action], at: int) -> Iterator[Event]:
    """Yield events that write what actions would write, whether they can be done now or not."""
    for action in actions:
        outcome = resolve(now, replace(action, id="perhaps", happened=at))
        if isinstance(outcome, Event):
            yield outcome
            continue
        for subject in action.subjects:
            port = now.plant.port(subject)
            status = None if port is None else port[1].initial
            found = resolve(now, Action("perhaps", FOUND, (subject,), at, place=action.place, status=status))
            if isinstance(found, Event):
                yield found


def _taken_back(now: View, event: Event) -> Iterator[Action]:
    plant = now.plant
    if event.action in (PLACE, LIFT):
        before = now.state(event.subjects[0])
        if before.value and before.value in plant.places:
            action = LIFT if plant.places[before.value].mobile else PLACE
            yield Action(
                "", action, event.subjects, 0, place=before.value, facing=before.other or None, by=event.by
            )
        return
    if is_of_device(plant, event):
        if event.action in _BACK:
            yield Action("", _BACK[event.action], event.subjects, 0, by=event.by)
        return
    ports = [one for one in event.subjects if plant.port(one)]
    if not ports or event.action in NOTES:
        return
    found = plant.port(ports[0])
    assert found is not None
    kind = found[1]
    move = kind.moves.get(event.action)
    if move is None:
        return
    for port in ports if move.each else ports[:1]:
        before = now.state(port)
        for name in _ladder(kind, move.target, before.value or kind.initial):
            pair = kind.joins(kind.moves[name]) and before.other is not None
            subjects = (port, before.other) if pair and before.other is not None else (port,)
            yield Action("", name, subjects, 0, by=event.by)


def _ladder(kind: Kind, start: str, goal: str) -> list[str]:
    """Return the fewest moves along a ladder from one status to another; none where there is no way."""
    known: dict[str, list[str]] = {start: []}
    waiting = deque([start])
    while waiting:
        status = waiting.popleft()
        if status == goal:
            return known[status]
        for move in kind.moves.values():
            if status in move.sources and move.target not in known:
                known[move.target] = [*known[status], move.action]
                waiting.append(move.target)
    return []


def ahead_of(step: Step) -> Move:
    """Return the move that a step of the plan is."""
    return Move(step.action, step.takes[1], Whence.AHEAD, step.id)


def waits_of(steps: Iterable[Step]) -> dict[str, frozenset[str]]:
    """Return for each step all those that it waits for, and they for."""
    known = {step.id: step for step in steps}
    found: dict[str, frozenset[str]] = {}
    for first in known:
        waiting = [first]
        while waiting:
            name = waiting[-1]
            ahead = [one for one in known[name].after if one in known and one not in found]
            if name in found or not ahead:
                waiting.pop()
                own = [one for one in known[name].after if one in known]
                found.setdefault(name, frozenset(own).union(*(found[one] for one in own)))
            else:
                waiting += ahead
    return found
