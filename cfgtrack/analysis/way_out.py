"""The way from where the work stands to where it may be left: on along the plan, back over what was done, or near by.

A way is a list of moves, each an action with how long it takes and whose idea it was. It is tried on an engine: what
can't be done is left out, the rest is laid out side by side as far as its doers and what it is done to allow, and must
break nothing; then it is judged whether all may be left as it then is. Only what was tried is ever called a way.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, fields, replace
from enum import StrEnum
from itertools import islice
from typing import Any

from cfgtrack.analysis.leaving import Leaving, Left, May, Stopping
from cfgtrack.analysis.options import doers
from cfgtrack.model.action import FOUND, LIFT, LOCK, NOTES, PLACE, TAG, UNLOCK, UNTAG, Action
from cfgtrack.model.configuration import Configuration, View, place_line
from cfgtrack.model.event import Event, is_of_device
from cfgtrack.model.failing import is_in_hand
from cfgtrack.model.hold import aboard, grippers, rigid_group
from cfgtrack.model.kind import Kind
from cfgtrack.model.plant import Plant, owner_of
from cfgtrack.model.possibility import Impossible, resolve
from cfgtrack.model.quantity import Quantity
from cfgtrack.model.sequence import ASSUMED, Step
from cfgtrack.model.sequence import Sequence as Proposal
from cfgtrack.rules.breach import gather
from cfgtrack.rules.cure import in_turn
from cfgtrack.rules.finding import Finding

MOST_TRIES = 60
"""So often at most ways from one place are tried."""

ROUGHLY = 8
"""Where ways are made leaner roughly, no less than such a part of one is left out at once."""

MOST_BLAMED = 6
"""So often moves are left out that start what breaks later."""

MOST_LEGS = 400
"""So many ways at most are looked into by which somebody gets somewhere."""

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
    """A way that was tried to its end: the `moves` that could be done, laid out until `end`, and what is so then.

    `late`: what time breaks on the way, as it would if nothing were done.
    """

    moves: tuple[Move, ...]
    start: int
    end: int
    left: Left
    late: tuple[Finding, ...] = ()

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
    """Tries ways from wherever an engine stands, which is left as it was; unless `fine`, makes them leaner roughly.

    What is `excused` may be broken on the way: rules, each with for whom.
    """

    def __init__(self, leaving: Leaving, order: Order, legs: Legs, pace: Pace) -> None:
        self.leaving, self._order, self._legs, self._pace = leaving, order, legs, pace
        self.world = leaving.engine.world
        self.tries = 0
        self.fine = True
        self.excused: frozenset[tuple[str, str | None]] = frozenset()

    # --- trying ---

    def attempt(
        self,
        moves: Sequence[Move],
        stopping: Stopping,
        goal: Goal = may_be_left,
        *,
        bars: Bars = nothing_barred,
        allowed: Callable[[View, Event], bool] | None = None,
    ) -> Tried | None:
        """Return a way as far as it can be done, None where it breaks something or doesn't lead to the goal.

        `allowed` tells which moves are wanted at all.
        """
        self.tries += 1
        kept = self._possible(moves, bars, allowed)
        start = self.world.now
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
            if found is None and self.tries < enough:
                found = self._by_less(moves, stopping, goal, enough, near=near, **more)
            if found is not None and (best is None or found.cost < best.cost):
                found = self._leaner(found, stopping, goal, enough, **more)
                best = found if best is None or found.cost < best.cost else best
        return best

    def _by_less(
        self, moves: Sequence[Move], stopping: Stopping, goal: Goal, enough: int, *, near: bool, **more: Any
    ) -> Tried | None:
        """Return a way of those moves that are needed, and do no harm: first as if they took no time, then with it."""
        takes = {_what(move): move.takes for move in moves}

        def timed(some: Iterable[Move]) -> Tried | None:
            slow = [replace(move, takes=takes.get(_what(move), move.takes)) for move in some]
            return self.attempt(slow, stopping, goal, **more)

        quick = [replace(move, takes=0) for move in self._harmless(moves, **more)]
        quick = self._without_blame(quick, stopping, goal, **more)
        found = self.attempt(quick, stopping, goal, **more)
        if found is None and near:
            found = self._with_near(quick, stopping, goal, enough, **more)
        if found is None:
            return None
        return timed(found.moves) or timed(self._leaner(found, stopping, goal, enough, **more).moves)

    def _without_blame(self, moves: list[Move], stopping: Stopping, goal: Goal, **more: Any) -> list[Move]:
        """Return moves without those that start what breaks later, if all is left at their end."""
        for _ in range(MOST_BLAMED):
            found = self.attempt(moves, stopping, _anywhere, **more)
            if found is None or goal(found.left):
                break
            told = (*found.left.found, *filter(None, [found.left.first]))
            blamed = {finding.event for finding in told if finding.event is not None}
            kept = [move for number, move in enumerate(moves) if f"way:{number}" not in blamed]
            if len(kept) == len(moves):
                break
            moves = kept
        return moves

    def _harmless(
        self,
        moves: Sequence[Move],
        *,
        bars: Bars = nothing_barred,
        allowed: Callable[[View, Event], bool] | None = None,
    ) -> tuple[Move, ...]:
        """Return the moves that can be done one after the other without breaking anything, were no time to pass."""
        engine, mark = self.leaving.engine, self.leaving.engine.mark()
        kept, harmful = list[Move](), list[Move]()
        self.tries += 1

        def goes(move: Move) -> bool:
            event = self._wanted(move, f"way:{len(kept)}", bars, allowed)
            if event is None:
                return False
            before, noted = engine.mark(), engine.noted
            engine.step(event)
            engine.settle()
            if not self._breaks(noted):
                kept.append(move)
                return True
            engine.back(before)
            harmful.append(move)
            return False

        try:
            engine.settle()
            for move in moves:
                # What did harm may do none after more of its sort: bolts are torqued in an order.
                again = [one for one in harmful if one.action.action == move.action.action]
                if goes(move):
                    while any(goes(one) for one in again if one not in kept):
                        continue
        finally:
            engine.back(mark)
        return tuple(kept)

    def _leaner(self, found: Tried, stopping: Stopping, goal: Goal, enough: int, **more: Any) -> Tried:
        """Return a way without what it can do without: halves of it are left out, then less and less at once."""
        size = len(found.moves) // 2
        least = 1 if self.fine else max(1, len(found.moves) // ROUGHLY)
        while size >= least:
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
        near = self._near_after(found.moves, **more) if found is not None else []
        near = [move for move in near if self._harmless([move], **more)]
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

    def _near_after(
        self,
        moves: Sequence[Move],
        *,
        bars: Bars = nothing_barred,
        allowed: Callable[[View, Event], bool] | None = None,
    ) -> list[Move]:
        """Return what the rules propose against what is open when some moves are done."""
        engine, mark = self.leaving.engine, self.leaving.engine.mark()
        try:
            for _, event, _ in self._possible(moves, bars, allowed):
                engine.step(event)
            engine.settle()
            return self.near()
        finally:
            engine.back(mark)

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
            event = self._wanted(move, f"way:{number}", bars, allowed)
            if event is None:
                continue
            kept.append((move, event, _touch(now, event)))
            undos.append(now.apply(event)[1])
        for undo in reversed(undos):
            now.undo(undo)
        return kept

    def _wanted(
        self, move: Move, name: str, bars: Bars, allowed: Callable[[View, Event], bool] | None
    ) -> Event | None:
        """Return the event that a move is now; None where it can't be done, isn't foreseen, or isn't wanted."""
        now = self.world.configuration
        outcome = self._resolved(now, move, name)
        event = outcome if isinstance(outcome, Event) else None
        if event is not None and bars(event):
            event = self._by_another(now, event, bars)
        if event is None or not self.world.sees(event):
            return None
        if not self._legs.has(now, event) or (allowed is not None and not allowed(now, event)):
            return None
        return event

    def _by_another(self, now: Configuration, event: Event, bars: Bars) -> Event | None:
        """Return what is barred as somebody else of the same sort who is there does it; None where it is so to all."""
        doer = now.plant.places.get(event.by or "")
        if doer is None or event.by in event.subjects or not doer.part:
            return None
        others = (one.id for one in now.plant.places.values() if one.mobile and one.part == doer.part)
        action = Action(**{f.name: getattr(event, f.name) for f in fields(Action)})
        outcomes = (resolve(now, replace(action, by=other)) for other in others if other != event.by)
        return next((one for one in outcomes if isinstance(one, Event) and not bars(one)), None)

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
        of_plan: list[tuple[Move, int]] = []
        ends = []
        for move, event, touch in kept:
            after = [start, free.get(event.by or "", start)]
            after += [wrote[name] for name in (*touch.reads, *touch.writes) if name in wrote]
            after += [read[name] for name in touch.writes if name in read]
            after += [end for other, end in of_plan if self._waits(move, other)]
            end = max(after) + move.takes
            ends.append(end)
            free[event.by or ""] = end
            for names, table in ((touch.writes, wrote), (touch.reads, read)):
                for name in names:
                    table[name] = max(end, table.get(name, end))
            if move.step is not None:
                of_plan.append((move, end))
        return ends

    def _waits(self, move: Move, other: Move) -> bool:
        """Return whether a move waits for another: as their steps do, and where they are taken back the other way."""
        if move.whence is not other.whence:
            return False
        if move.whence is Whence.AHEAD:
            return self._order.is_before(other.step, move.step)
        return self._order.is_before(move.step, other.step)

    def _breaks(self, since: int) -> bool:
        """Return whether anything was broken that isn't excused."""
        if not self.excused:
            return self.leaving.breaks(since)
        return any((b.rule.id, b.it) not in self.excused for b in self.leaving.broken(since))

    def though_late(
        self, moves: Sequence[Move], stopping: Stopping, until: int, *, bars: Bars, most: int
    ) -> Tried | None:
        """Return the way that moves lead to, though time breaks on it what it would break up to an instant anyway."""
        self.excused = self.leaving.by_time_alone(until)
        try:
            found = self.attempt(moves, stopping, bars=bars) if self.excused else None
            if found is None:
                return None
            late = {finding.rule for finding in found.late}
            self.excused = frozenset(one for one in self.excused if one[0] in late)
            return self._leaner(found, stopping, may_be_left, self.tries + most, bars=bars)
        finally:
            self.excused = frozenset()

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
                    if self._breaks(noted):
                        return None
                engine.step(replace(kept[i][1], happened=ends[i]))
            end = max(ends, default=start)
            engine.settle()
            if self._breaks(noted):
                return None
            late = tuple(gather((b, None) for b in self.leaving.broken(noted))) if self.excused else ()
            left = self.leaving.judge(stopping)
            done = tuple(_as_done(move, event) for move, event, _ in kept)
            return Tried(done, start, end, left, late), goal(left)
        finally:
            engine.back(mark)


def _as_done(move: Move, event: Event) -> Move:
    """Return a move with whoever does it."""
    return move if event.by == move.action.by else replace(move, action=replace(move.action, by=event.by))


def _what(move: Move) -> object:
    return move.action.action, move.action.subjects, move.action.place, move.whence, move.step


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

    def to(
        self, now: View, who: str, place: str, longer: int, *, inside: bool = False
    ) -> Iterator[tuple[tuple[str, str], ...]]:
        """Yield ways by which somebody gets to a place, the fewest legs first: each who or what goes where.

        What carries him goes first to where he gets on, and on to where he gets off.
        """
        plant = now.plant
        sort = plant.places[who].part
        start = _spot(now, now.state(who).value)
        known = self._known.get(sort)
        if known is None:
            yield ((who, place),)
            return
        fewest: int | None = None
        waiting: deque[tuple[_Spot, tuple[tuple[str, str], ...], frozenset[_Spot]]] = deque(
            [(start, (), frozenset((start,)))]
        )
        looked = 0
        while waiting and looked < MOST_LEGS:
            looked += 1
            spot, legs, been = waiting.popleft()
            if spot[0] == place or (inside and legs and place in (spot[1], *place_line(now, spot[1]))):
                if fewest is not None and len(legs) > fewest + longer:
                    return
                fewest = len(legs) if fewest is None else fewest
                yield legs
                continue
            for further, moves in self._on_from(now, spot, who, known):
                if further not in been:
                    waiting.append((further, (*legs, *moves), been | {further}))

    def _on_from(
        self, now: View, spot: _Spot, who: str, known: set[tuple[_Spot, _Spot]]
    ) -> Iterator[tuple[_Spot, tuple[tuple[str, str], ...]]]:
        """Yield where somebody gets from a spot by one leg: on foot, or carried by what he is in."""
        plant = now.plant
        carrier = plant.places.get(spot[0])
        for start, goal in sorted(known):
            if start != spot:
                continue
            # What is to be got into has to come first.
            fetch = (goal,) if plant.is_mobile(goal[0]) else ()
            yield goal, (*fetch, (who, goal[0]))
        if carrier is not None and carrier.mobile:
            for start, goal in sorted(self._known.get(carrier.part, ())):
                if start[1] == spot[1] and goal[1] != spot[1]:
                    yield (spot[0], goal[1]), ((spot[0], goal[0]),)


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
        takes = next((self.takes[name] for name in names if name in self.takes), ASSUMED[1])
        if not action.values:
            values = next((self.values[name] for name in names if name in self.values), None)
            action = action if values is None else replace(action, values=values)
        return Move(action, takes, whence, step)


def _sort_of(plant: Plant, action: Action) -> tuple[str, str]:
    """Return what an action is and what sort of thing it is done to: a port by its kind, what is moved by its part."""
    thing = action.subjects[0] if action.subjects else ""
    found = plant.port(thing)
    if found is not None:
        return action.action, found[1].id
    unit, place = plant.units.get(thing), plant.places.get(thing)
    sort = unit.part if unit is not None else (place.part or place.id) if place is not None else ""
    return action.action, sort


def _is_hung(now: View, unit: str) -> bool:
    """Return whether a unit hangs in somebody's or a machine's grip, it or what is fixed to it."""
    return bool(grippers(now, rigid_group(now, unit)))


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
            hung = (
                event.action == PLACE
                and event.subjects[0] in plant.units
                and _is_hung(now, event.subjects[0])
            )
            action = LIFT if hung else PLACE
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


class Order:
    """Which steps of a plan come before which: in their tracks, by what they wait for, outing by outing."""

    def __init__(self, proposal: Proposal | None = None) -> None:
        self._bit: dict[str, int] = {}
        self._before: dict[str, int] = {}
        ahead = 0
        for outing in () if proposal is None else proposal.outings:
            tracks = proposal.tracks(outing.id) if proposal is not None else {}
            self._take(tracks, ahead)
            for steps in tracks.values():
                for step in steps:
                    ahead |= self._bit[step.id]

    def _take(self, tracks: Mapping[str, Sequence[Step]], ahead: int) -> None:
        """Take in the steps of an outing, each after all that come before it; those of a deadlock are left out."""
        waiting = {track: deque(steps) for track, steps in tracks.items()}
        last = dict.fromkeys(tracks, ahead)
        went_on = True
        while waiting and went_on:
            went_on = False
            for track in list(waiting):
                steps = waiting[track]
                while steps and all(one in self._bit for one in steps[0].after):
                    step = steps.popleft()
                    bit = self._bit[step.id] = 1 << len(self._bit)
                    for one in step.after:
                        last[track] |= self._before[one] | self._bit[one]
                    self._before[step.id] = last[track]
                    last[track] |= bit
                    went_on = True
                if not steps:
                    del waiting[track]

    def is_before(self, step: str | None, other: str | None) -> bool:
        """Return whether a step comes before another."""
        return bool(self._before.get(other or "", 0) & self._bit.get(step or "", 0))
