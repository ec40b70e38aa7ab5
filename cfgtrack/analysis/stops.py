"""Stop points: after every step of a sequence, may the work stop there, until when, and what is the shortest way out?

Judged in the written layout, with likely durations, as if the outing ended with the step: one that is still under way
then is not done. As all stands; after the shortest way in, on which people and machines do nothing but come in with
what they carry; and where all may not be left then, the shortest way to where it may.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import ClassVar

from cfgtrack.analysis.check import Start
from cfgtrack.analysis.course import Course, course_of
from cfgtrack.analysis.leaving import Lack, Leaving, Left, May, Stopping
from cfgtrack.analysis.rescue import Rescue
from cfgtrack.analysis.way_out import (
    Bars,
    Legs,
    Move,
    Order,
    Pace,
    Tried,
    Ways,
    Whence,
    ahead_of,
    is_coming_in,
    may_be_left,
    nothing_barred,
    perhaps,
    taken_back,
)
from cfgtrack.model.action import Action
from cfgtrack.model.configuration import View
from cfgtrack.model.event import Event
from cfgtrack.model.failing import is_in_hand
from cfgtrack.model.sequence import Sequence as Proposal
from cfgtrack.model.sequence import Step, expect_in_time
from cfgtrack.model.time import MINUTE, Instant
from cfgtrack.network.network import Network
from cfgtrack.rules.breach import words
from cfgtrack.rules.engine import Engine
from cfgtrack.rules.rule import RuleSet
from cfgtrack.rules.variance import Variance

MOST_TRIES_NOW = 200
"""So often at most ways out are tried, of now alone."""

MOST_PORTS = 4_000
"""A plant with no more ports than that is made ready for whatever may come: what nobody foresaw can be tried, too."""

MOST_STEPS_NOW = 8_000
"""So many steps at most are tried from ends to means, of now alone."""

MOST_MORE = 2
"""A way back that is so much longer than the way ahead is followed no further."""


@dataclass(frozen=True, slots=True)
class WayStep:
    """One step of a way, in words. `step` is that of the plan which it is (`ahead`), or takes back (`back`)."""

    told: ClassVar[tuple[str, ...]] = ("minutes",)
    untold: ClassVar[tuple[str, ...]] = ("takes",)

    action: str
    by: str | None
    takes: int
    whence: Whence
    step: str | None = None

    @property
    def minutes(self) -> float:
        """How long it takes."""
        return self.takes / MINUTE


@dataclass(frozen=True, slots=True)
class WayOut:
    """A way that was tried to its end. `left` is what is so if all is left as it is then.

    `proved`: it is a shortest one; else there may be a shorter one. `over`: by how much it ends later than the outing's
    budget allows, in microseconds; 0 where it doesn't. `late`: what runs out on the way, as it would if nothing were
    done.
    """

    told: ClassVar[tuple[str, ...]] = ("minutes", "over_minutes")
    untold: ClassVar[tuple[str, ...]] = ("over",)

    steps: tuple[WayStep, ...]
    start: Instant
    end: Instant
    proved: bool
    left: Left
    over: int = 0
    late: tuple[Lack, ...] = ()

    @property
    def minutes(self) -> float:
        """How long it takes, what can be done side by side done so."""
        return (self.end - self.start) / MINUTE

    @property
    def over_minutes(self) -> float:
        """By how much the outing then takes longer than its budget."""
        return self.over / MINUTE


@dataclass(frozen=True, slots=True)
class StopPoint:
    """The boundary after a step (None: before the first). `as_it_stands`: if all is left, and stays, as it is.

    `way_in`: the shortest on which people and machines only come in, None where none was found. `way_out`: the shortest
    to where all may be left, None where that is so after coming in, or none was found.
    """

    told: ClassVar[tuple[str, ...]] = ("may", "until")

    step: str | None
    outing: str | None
    time: Instant
    as_it_stands: Left
    way_in: WayOut | None
    way_out: WayOut | None = None

    @property
    def verdict(self) -> Left:
        """What is so once everybody is in; where they can't come in, as it stands."""
        return self.as_it_stands if self.way_in is None else self.way_in.left

    @property
    def may(self) -> May:
        """May the work stop here, with everybody come in?"""
        return self.verdict.may

    @property
    def until(self) -> Instant | None:
        """Until when nothing is broken then."""
        return self.verdict.until


@dataclass(frozen=True, slots=True)
class StopReport:
    """The stop points of a sequence, in order. `impossible` names the steps that can't be done, and were left out."""

    title: str
    points: tuple[StopPoint, ...]
    impossible: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Place:
    """Where one stands in a plan: after `step` (None: before the first), at `time`; `number` steps are done."""

    number: int
    step: Step | None
    time: int
    stopping: Stopping


class Walk:
    """A plan that is walked along on an engine, back and forth: at each place between two steps, what may be done.

    `recorded` is the whole past, of which what was done since the outing began may be taken back.
    """

    def __init__(
        self,
        rules: RuleSet,
        begin: Start,
        proposal: Proposal,
        *,
        variances: Sequence[Variance] = (),
        networks: Mapping[str, Network] | None = None,
        begun: Mapping[str, int] | None = None,
        recorded: Start | None = None,
        near: bool = False,
    ) -> None:
        self.proposal, self.begin, self.begun = proposal, begin, begun or {}
        self._rules, self._networks = rules, networks
        self._rescue: Rescue | None = None
        expect_in_time(proposal, begin.start, self.begun)
        now = begin.configuration.fork()
        for event in begin.history:
            now.apply(event)
        self.now = now
        self.course: Course = course_of(now, proposal, begin.start, self.begun)
        self.pace = Pace.of(proposal, now.plant)
        self.steps = {f"step:{step.id}": step for step in proposal.steps}
        self.legs = Legs()
        self.backs: dict[str, tuple[Move, ...]] = {}
        self.done_so_far = self._recorded(begin if recorded is None else recorded)
        further = list(self._further())

        foreseen = None if self._is_small() else [*self.course.events, *further]

        def leaving(*more: Event) -> Leaving:
            return Leaving(
                rules,
                begin,
                networks,
                None if foreseen is None else [*foreseen, *more],
                variances=variances,
                leaves_open=proposal.leaves_open,
                leaves_running=proposal.leaves_running,
            )

        self.leaving = leaving()
        if near and foreseen is not None:
            ways = Ways(self.leaving, Order(), self.legs, self.pace)
            self.leaving = leaving(*perhaps(now, (move.action for move in ways.near()), begin.start))
        self.engine = self.leaving.engine
        self.ways = Ways(self.leaving, Order(proposal), self.legs, self.pace)
        self.places = self._places()
        self._marks: list[int] = []
        self._parts = self._in_parts()
        self.at = 0

    def _recorded(self, past: Start) -> tuple[Move, ...]:
        """Return what takes back what was recorded since the outing that is on began, the last first."""
        since = min(self.begun.values(), default=None)
        now, back = past.configuration.fork(), list[tuple[Move, ...]]()
        for event in past.history:
            self.legs.learn(now, event)
            if since is not None and event.happened >= since:
                back.append(taken_back(now, event, self.pace))
            now.apply(event)
        return tuple(move for moves in reversed(back) for move in moves)

    def _further(self) -> Iterator[Event]:
        """Yield what taking steps back would write, as far as that can be told; note how each is taken back."""
        now = self.now.fork()
        yield from perhaps(now, (move.action for move in self.done_so_far), self.begin.start)
        for event in self.course.events:
            self.legs.learn(now, event)
            step = self.steps.get(event.id)
            if step is not None:
                self.backs[step.id] = taken_back(now, event, self.pace, step)
            now.apply(event)
            if step is not None:
                yield from perhaps(now, (move.action for move in self.backs[step.id]), event.happened)

    def _places(self) -> list[Place]:
        outings = {outing.id: number for number, outing in enumerate(self.proposal.outings)}
        backs = [self._back_after(number) for number in range(len(self.proposal.outings))]
        open_ = next(iter(self.begun), None)
        first = Stopping(open_, self._first_back())
        places = [Place(0, None, self.begin.start, first)]
        done = self.done = [one for one in self.course.events if one.id in self.steps]
        for event in done:
            step = self.steps[event.id]
            number = outings[step.outing]
            last = self.proposal.whole and event is done[-1]
            back = backs[number]
            if back is not None and back < event.happened:
                back = event.happened
            stopping = Stopping(step.outing, back, last)
            places.append(Place(len(places), step, event.happened, stopping))
        return places

    def _back_after(self, number: int) -> int | None:
        following = self.proposal.outings[number + 1 : number + 2]
        return next((outing.start for outing in following), None)

    def _first_back(self) -> int | None:
        ahead = [o for o in self.proposal.outings if o.id not in self.begun]
        return next((outing.start for outing in ahead), None)

    def _in_parts(self) -> list[list[Event]]:
        """Return the events of the course, those of each place together: the step's last."""
        parts: list[list[Event]] = [[]]
        for event in self.course.events:
            parts[-1].append(event)
            if event.id in self.steps:
                parts.append([])
        return parts

    def _is_small(self) -> bool:
        """Return whether the plant is small enough to be ready for whatever may come."""
        plant = self.begin.configuration.plant
        return sum(1 for owner in plant.owners() for _ in plant.ports_of(owner)) <= MOST_PORTS

    # --- what is found from ends to means ---

    def rescued(
        self,
        number: int,
        stopping: Stopping,
        *,
        happened: Sequence[Event] = (),
        barred: Callable[[Engine], Bars] = lambda _: nothing_barred,
        most: int,
        tries: int,
    ) -> Tried | None:
        """Return a way out that is found from ends to means once more has `happened`; the engine stands there.

        Of a plant that is too big none is looked for.
        """
        if not self._is_small():
            return None
        if self._rescue is None:
            self._rescue = Rescue(self._rules, self.begin, self._networks, self.legs, self._parts)
        self._rescue.go_to(number)
        there = barred(self._rescue.engine)
        order = self._rescue.out(stopping, happened, self.engine.world.now, there, most)
        if not order:
            return None
        bars, plant = barred(self.engine), self.engine.world.plant
        known = {_deed(move.action): move for move in self.rest_of(number, stopping.outing)}
        moves = [known.get(_deed(said)) or self.pace.move(plant, said, Whence.NEAR) for said in order]
        found = self.ways.attempt(moves, stopping, bars=bars)
        if found is not None:
            return self.ways.shortest([found.moves], stopping, bars=bars, most=tries)
        until = self.engine.world.now + sum(move.takes for move in moves)
        found = self.ways.though_late(moves, stopping, until, bars=bars, most=tries)
        return found or self.ways.shortest([moves], stopping, bars=bars, most=tries)

    # --- walking ---

    def go_to(self, number: int) -> Place:
        """Go to a place, forwards or back."""
        engine = self.engine
        if number < self.at:
            engine.back(self._marks[number])
            del self._marks[number:]
            self.at = number
        while self.at < number:
            self._marks.append(engine.mark())
            for event in self._parts[self.at]:
                engine.step(event)
            self.at += 1
        return self.places[number]

    def everybody_is_in(self, left: Left) -> bool:
        """Return whether nothing that is open is about people and machines, or what they carry."""
        now = self.engine.world.configuration
        return not any(
            now.plant.is_mobile(one) or is_in_hand(now, one)
            for finding in left.found
            if finding.mode == "by"
            for one in finding.subjects
        )

    def part(self, number: int) -> Sequence[Event]:
        """Return the events between a place and the next one, the step's last."""
        return self._parts[number]

    def rest_of_outing(self, number: int) -> tuple[Move, ...]:
        """Return what is still to be done after a place, of the outing that is on."""
        return self.rest_of(number, self.places[number].stopping.outing)

    def rest_of(self, number: int, outing: str | None) -> tuple[Move, ...]:
        """Return what is still to be done of an outing after a place."""
        ahead = (place.step for place in self.places[number + 1 :] if place.step is not None)
        return tuple(ahead_of(step) for step in ahead if step.outing == outing)

    def budget_left(self, place: Place, end: int) -> int | None:
        """Return how much is left of an outing's budget at a time, None where it has none."""
        outing = next((o for o in self.proposal.outings if o.id == place.stopping.outing), None)
        if outing is None or outing.budget is None:
            return None
        begin = self.begun.get(outing.id)
        if begin is None:
            begin = next(e.happened for e in self.course.events if e.id == f"begin:{outing.id}")
        return begin + outing.budget - end

    def told(self, place: Place, tried: Tried | None, *, proved: bool = False) -> WayOut | None:
        """Return a way in words."""
        if tried is None:
            return None
        left = self.budget_left(place, tried.end)
        steps = (
            WayStep(words(move.action), move.action.by, move.takes, move.whence, move.step)
            for move in tried.moves
        )
        over = 0 if left is None else max(0, -left)
        sure = proved or len(tried.moves) <= 1
        late = tuple(map(Lack.of, tried.late))
        return WayOut(tuple(steps), tried.start, tried.end, sure and not late, tried.left, over, late)


def _deed(action: Action) -> object:
    return action.action, action.subjects, action.place, action.facing, action.by


def stop_points(
    rules: RuleSet,
    begin: Start,
    proposal: Proposal,
    *,
    variances: Sequence[Variance] = (),
    networks: Mapping[str, Network] | None = None,
    begun: Mapping[str, int] | None = None,
    recorded: Start | None = None,
    tell: Callable[[int, int], object] = lambda *_: None,
) -> StopReport:
    """Return the stop points of a proposal; `recorded` is the whole past, `tell` is told how far it is.

    Raises Deadlock, and TooEarly, as a check does.
    """
    walk = Walk(
        rules, begin, proposal, variances=variances, networks=networks, begun=begun, recorded=recorded
    )
    found = Stops(walk)
    found.find(tell)
    refused = tuple(one.removeprefix("step:") for one in sorted(walk.course.refused))
    return StopReport(proposal.title, tuple(found.points()), refused)


def stop_now(
    rules: RuleSet,
    begin: Start,
    proposal: Proposal,
    *,
    variances: Sequence[Variance] = (),
    networks: Mapping[str, Network] | None = None,
    begun: Mapping[str, int] | None = None,
    recorded: Start | None = None,
) -> StopPoint:
    """Return the stop point that is now, with a plan of what is to come, which may be empty.

    A way out goes on along the plan, or back over what was `recorded` since the outing that is on began, or puts right
    what is open near by.
    """
    walk = Walk(
        rules,
        begin,
        proposal,
        variances=variances,
        networks=networks,
        begun=begun,
        recorded=recorded,
        near=True,
    )
    place = walk.go_to(0)
    left = walk.leaving.judge(place.stopping, as_it_is=True)
    on = walk.rest_of_outing(0)
    several = ((), walk.done_so_far, on)
    way_in = walk.ways.shortest(several, place.stopping, walk.everybody_is_in, allowed=is_coming_in)
    if way_in is not None and may_be_left(way_in.left):
        return StopPoint(None, place.stopping.outing, place.time, left, walk.told(place, way_in))
    in_ = () if way_in is None else way_in.moves
    way_out = walk.ways.shortest((in_, walk.done_so_far, on), place.stopping, near=True, most=MOST_TRIES_NOW)
    if way_out is None:
        way_out = walk.rescued(0, place.stopping, most=MOST_STEPS_NOW, tries=MOST_TRIES_NOW)
    return StopPoint(
        None, place.stopping.outing, place.time, left, walk.told(place, way_in), walk.told(place, way_out)
    )


@dataclass(frozen=True, slots=True)
class _Aim:
    """What ways are looked for: which moves are wanted, and where they should lead."""

    goal: Callable[[Left], bool]
    allowed: Callable[[View, Event], bool] | None = None


class Stops:
    """The verdicts at all places of a walk, and the shortest ways from them that were found."""

    def __init__(self, walk: Walk) -> None:
        self.walk = walk
        self.left: list[Left] = []
        self.ways_in: list[Tried | None] = []
        self.ways_out: list[Tried | None] = []
        self.ahead: list[Tried | None] = []
        self.back: list[Tried | None] = []

    def find(self, tell: Callable[[int, int], object] = lambda *_: None) -> None:
        """Judge all places, and look for the ways from each."""
        walk = self.walk
        standing = list[Tried | None]()
        for place in walk.places:
            walk.go_to(place.number)
            left = walk.leaving.judge(place.stopping, as_it_is=True)
            self.left.append(left)
            standing.append(self._nowhere(place, left) if walk.everybody_is_in(left) else None)
            tell(place.number + 1, len(walk.places))
        come_in = _Aim(walk.everybody_is_in, is_coming_in)
        on = self._along(standing, come_in)
        self.ways_in = self._shorter(on, self._back(standing, come_in, on))
        done = [one if one is not None and may_be_left(one.left) else None for one in self.ways_in]
        done = [
            self._nowhere(place, left) if may_be_left(left) else one
            for place, left, one in zip(walk.places, self.left, done, strict=True)
        ]
        out = _Aim(may_be_left)
        self.ahead = self._along(done, out)
        self.back = self._back(done, out, self.ahead)
        self.ways_out = self._shorter(self.ahead, self.back)

    def _shorter(self, *several: Sequence[Tried | None]) -> list[Tried | None]:
        """Return at each place the shortest of several ways."""
        return [
            min((one for one in ways if one is not None), key=lambda one: one.cost, default=None)
            for ways in zip(*several, strict=True)
        ]

    def _nowhere(self, place: Place, left: Left) -> Tried:
        return Tried((), place.time, place.time, left)

    def known_from(self, number: int) -> Iterator[Tried]:
        """Yield the ways that were found from a place, the shortest out first."""
        several = (self.ways_out, self.ahead, self.back)
        yield from (one for ways in several if ways and (one := ways[number]) is not None)

    def points(self) -> Iterator[StopPoint]:
        """Yield the stop points."""
        walk = self.walk
        for place, left, way_in, way_out in zip(
            walk.places, self.left, self.ways_in, self.ways_out, strict=True
        ):
            needs_out = way_in is None or not may_be_left(way_in.left)
            yield StopPoint(
                None if place.step is None else place.step.id,
                place.stopping.outing,
                place.time,
                left,
                walk.told(place, way_in),
                walk.told(place, way_out) if needs_out else None,
            )

    # --- along the plan, and back ---

    def _along(self, known: Sequence[Tried | None], aim: _Aim) -> list[Tried | None]:
        """Return the ways that go on along the plan, without what they can do without."""
        walk = self.walk
        found: list[Tried | None] = list(known)
        for number in range(len(walk.places) - 2, -1, -1):
            following = walk.places[number + 1].step
            after = found[number + 1]
            if found[number] is not None or after is None or following is None:
                continue
            walk.go_to(number)
            if not self._is_one_outing(number):
                continue
            step = [(ahead_of(following), *after.moves)] if self._is_wanted(number, aim) else []
            found[number] = self._first(number, aim, after.moves, *step)
        return found

    def _back(
        self, known: Sequence[Tried | None], aim: _Aim, others: Sequence[Tried | None]
    ) -> list[Tried | None]:
        """Return the ways that take back what was done, as far as that is needed."""
        walk = self.walk
        found: list[Tried | None] = list(known)
        for number in range(1, len(walk.places)):
            step, before = walk.places[number].step, found[number - 1]
            if found[number] is not None or before is None or step is None:
                continue
            other = others[number]
            if other is not None and len(before.moves) > len(other.moves) + MOST_MORE:
                continue
            walk.go_to(number)
            found[number] = self._first(
                number, aim, before.moves, (*walk.backs.get(step.id, ()), *before.moves)
            )
        return found

    def _is_wanted(self, number: int, aim: _Aim) -> bool:
        """Say whether the step that follows a place is one of those that are wanted at all."""
        if aim.allowed is None:
            return True
        event = self.walk.done[number]
        return aim.allowed(self.walk.engine.world.configuration, event)

    def _is_one_outing(self, number: int) -> bool:
        """Say whether a place is amid an outing: else nobody is there to go on."""
        places = self.walk.places
        here, following = places[number].step, places[number + 1].step
        return here is None or following is None or here.outing == following.outing

    def _first(self, number: int, aim: _Aim, *several: Sequence[Move]) -> Tried | None:
        place = self.walk.places[number]
        for moves in several:
            tried = self.walk.ways.attempt(moves, place.stopping, aim.goal, allowed=aim.allowed)
            if tried is not None:
                return tried
        return None
