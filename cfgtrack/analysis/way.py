"""A shortest way from a configuration to a wanted one, through moves that are possible and that the rules allow.

The search (`search`) looks ahead by a picture (`grounding`, `relaxed`); possibility and the rules, on the one engine
that checks use too, have the word at each move. What they object to may teach that further moves matter: then it is
searched anew.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, cast

from cfgtrack.analysis.check import Start, judged
from cfgtrack.analysis.goal import Goal
from cfgtrack.analysis.grounding import Grounding
from cfgtrack.analysis.relaxed import Fact, Promise
from cfgtrack.analysis.search import CUT_SHORT, INTERRUPTED, Found, Limit, Outlook, search
from cfgtrack.model.action import BEGIN, END, FOUND, Action
from cfgtrack.model.event import Event
from cfgtrack.model.possibility import Impossible, Refusal, outright, resolve
from cfgtrack.network.network import Network
from cfgtrack.rules.breach import Breach
from cfgtrack.rules.condition import Condition
from cfgtrack.rules.engine import Engine
from cfgtrack.rules.rule import Rule, RuleSet
from cfgtrack.rules.situation import situation
from cfgtrack.rules.variance import Variance, under_variance
from cfgtrack.rules.what.custom import Custom
from cfgtrack.rules.what.value import CYCLES
from cfgtrack.rules.when.at import At

_OF_CYCLES = 2
"""So long is what a situation says of the cycles of a port."""

_GREED = 5
"""So many times the least a way may cost that is looked for when the time is up."""

_AGAIN = 200
"""So many situations at least are looked into for that."""

OUTING = "WAY"
"""The outing that a way is."""


class _Anew(Exception):
    """More moves matter than was known: what was tried was tried with too few."""


@dataclass(frozen=True, slots=True, eq=False)
class _Prospect:
    """What a situation promises, and the moves that the picture has open there."""

    field: Work
    promise: Promise
    true: frozenset[Fact]
    arrived: bool

    @property
    def cost(self) -> int:
        return self.promise.cost

    def moves(self) -> Iterator[tuple[int, int]]:
        """Yield the moves that may be made, each with what a way that begins with it costs at least."""
        picture = self.field.grounding.picture
        spared: dict[int, int] = {}
        for cost, landmark in self.promise.landmarks:
            for one in landmark:
                spared[one] = spared.get(one, 0) + cost
        for number, deed in enumerate(picture.deeds):
            if picture.is_open(number, self.true):
                yield number, deed.weight + self.promise.cost - spared.get(number, 0)


class Work:
    """The field of a search for a way by steps: an engine, and what may be done on it one after another."""

    def __init__(self, engine: Engine, grounding: Grounding, variances: Sequence[Variance] = ()) -> None:
        self.engine, self.grounding, self._variances = engine, grounding, variances
        self._outlive = {rule.id for rule in engine.rules.rules if rule.may_outlive}
        self._counts_cycles = any(map(_asks_cycles, engine.rules.rules))
        self._serial = 0

    def mark(self) -> int:
        """Return the point to step back to."""
        return self.engine.mark()

    def back(self, mark: int) -> None:
        """Step back to a mark."""
        self.engine.back(mark)

    def situation(self) -> Hashable:
        """Return the configuration and what the rules remember, as far as anybody asks."""
        written, remembered, stamps = cast(
            "tuple[frozenset[tuple[Any, ...]], object, object]", situation(self.engine)
        )
        if not self._counts_cycles:
            # Nobody asks how often: else to mate and part again would be another situation each time.
            written = frozenset(one for one in written if len(one) > _OF_CYCLES)
        return written, remembered, stamps

    def go(self, move: int) -> int | None:
        """Do a move, if that is possible and allowed; else learn what might make it so."""
        event = self.event(move)
        if isinstance(event, Impossible):
            self._learn(move, event.refusals)
            return None
        if not self.engine.world.sees(event):
            raise _Anew
        mark = self.engine.mark()
        breaches = self._broken_by(event)
        if breaches:
            before = [one for one in breaches if isinstance(one.rule.mode, At) and not one.rule.mode.after]
            self._learn(move, [one for one in breaches if one not in before])
            self.engine.back(mark)
            self._learn(move, before)
            return None
        return self.grounding.picture.deeds[move].weight

    def event(self, move: int) -> Event | Impossible:
        """Return what a move is, made now."""
        action, now = self.grounding.actions[move], self.engine.world.now
        # However slow it goes no limit is to be overrun.
        happened = now + self.grounding.goal.takes.span(self.grounding.plant, action)[2]
        self._serial += 1
        action = replace(action, id=f"way:{self._serial}", happened=happened, outing=OUTING)
        return resolve(self.engine.world.configuration, action)

    def _broken_by(self, event: Event) -> list[Breach]:
        engine = self.engine
        noted = engine.noted
        engine.step(event)
        engine.stop_point(event)
        engine.settle()
        return self._standing(noted)

    def _standing(self, noted: int) -> list[Breach]:
        """Return what has been broken since so much was noted, and no approval excuses."""
        engine = self.engine
        if engine.noted == noted:
            return []
        breaches = list(engine.breaches_since(noted).values())
        if not self._variances:
            return breaches
        standing, _ = under_variance(engine.findings(noted), self._variances)
        return breaches if standing else []

    def _learn(self, move: int | None, objections: Sequence[Refusal | Breach]) -> None:
        if self.grounding.learn(move, objections):
            raise _Anew

    def outlook(self, before: Outlook[int] | None, move: int | None) -> _Prospect | None:
        """Return what the picture promises here."""
        true = self.grounding.true(self.engine.world.configuration)
        promise = self._promise(true, before, move)
        if promise is None or promise.cost:
            return None if promise is None else _Prospect(self, promise, true, arrived=False)
        goal = self.grounding.goal
        arrived = goal.is_met(self.engine.world.configuration) and (not goal.at_end or self._may_end())
        if not arrived:
            promise = self._promise(true, before, move)
        return None if promise is None else _Prospect(self, promise, true, arrived)

    def _promise(
        self, true: frozenset[Fact], before: Outlook[int] | None, move: int | None
    ) -> Promise | None:
        return self.grounding.picture.promise(
            true, before.promise if isinstance(before, _Prospect) else None, -1 if move is None else move
        )

    def _may_end(self) -> bool:
        """Return whether the work may end here: what must hold at an end does, and no clock is left that counts."""
        engine = self.engine
        mark, noted = engine.mark(), engine.noted
        try:
            engine.step(outright(Action("way:end", END, (), engine.world.now, outing=OUTING)))
            engine.end_sequence()
            engine.settle()
            breaches = self._standing(noted)
            clocks = [c for c in engine.clocks() if c.deadline is not None and c.rule not in self._outlive]
            rules = {rule.id: rule for rule in engine.rules.rules}
            unmet = [(rules[clock.rule], clock.subject or None) for clock in clocks]
            if (breaches or unmet) and self.grounding.learn(None, breaches, unmet):
                raise _Anew
            return not breaches and not clocks
        finally:
            engine.back(mark)


@dataclass(frozen=True, slots=True)
class Way:
    """What was found: the events of the way in order, by which `moves` of the `grounding`, and how it was searched.

    `looked`: how many situations were looked into, in all searches; `known`: how many moves might have mattered;
    `chain`: what the longest chain of deeds weighs that no way avoids.
    """

    found: Found[int]
    events: tuple[Event, ...]
    grounding: Grounding
    looked: int
    chain: int

    @property
    def known(self) -> int:
        """How many moves might have mattered."""
        return len(self.grounding.actions)


def find_way(
    rules: RuleSet,
    begin: Start,
    goal: Goal,
    *,
    variances: Sequence[Variance] = (),
    networks: Mapping[str, Network] | None = None,
    limit: Limit | None = None,
    tell: Callable[[int, int], object] = lambda *_: None,
) -> Way:
    """Return a shortest way from `begin`, which is left as it is, to a goal. `tell` is told of situations and bound.

    Cut short, it is a way as greed finds one in as many situations again, with what no way undercuts; or none. Where
    moves were left out, as too many, it counts as cut short, and nothing is said of what no way undercuts.
    """
    limit = Limit() if limit is None else limit
    grounding = Grounding(judged(rules, begin, networks), goal)
    looked = bound = 0

    def told(_nodes: int, least: int) -> None:
        nonlocal looked
        looked += 1
        tell(looked, least)

    def once(greed: int, within: Limit) -> Way:
        while True:
            engine = judged(rules, begin, networks, coming=touched(grounding))
            grounding.engine = engine
            engine.step(outright(Action("way:begin", BEGIN, (), engine.world.now, outing=OUTING)))
            work = Work(engine, grounding, variances)
            chain = grounding.picture.chain(grounding.true(engine.world.configuration))
            try:
                found = search(work, limit=within, tell=told, greed=greed)
            except _Anew:
                grounding.begin_anew(judged(rules, begin, networks))
                continue
            events = tuple(_done(work, found.way)) if found.way is not None else ()
            return Way(found, events, grounding, looked, chain)

    way = once(1, limit)
    if way.found.way is None and way.found.ended == CUT_SHORT:
        bound = way.found.bound
        greedy = once(_GREED, Limit(max(_AGAIN, looked)))
        if greedy.found.way is not None:
            way = replace(greedy, found=replace(greedy.found, bound=bound, ended=CUT_SHORT))
    if grounding.is_whole:
        return way
    ended = INTERRUPTED if way.found.ended == INTERRUPTED else CUT_SHORT
    return replace(way, found=replace(way.found, bound=0, ended=ended), chain=0)


def touched(grounding: Grounding) -> Iterator[Event]:
    """Yield events that write all that the moves may write."""
    plant = grounding.plant
    for subject in grounding.mentioned:
        found = plant.port(subject)
        if found is not None:
            yield outright(Action("", FOUND, (subject,), 0, status=found[1].initial))
        elif plant.can_move(subject):
            yield outright(Action("", FOUND, (subject,), 0, place=next(iter(plant.places))))


def _done(work: Work, way: Sequence[int]) -> Iterator[Event]:
    for move in way:
        event = work.event(move)
        assert isinstance(event, Event)
        work.engine.step(event)
        yield event


def _asks_cycles(rule: Rule) -> bool:
    """Return whether a rule may ask how often something was mated: where that can't be told, it may."""
    conditions = list(rule.conditions())
    while conditions:
        condition = conditions.pop()
        if isinstance(condition, Custom) or getattr(condition, "quantity", "") == CYCLES:
            return True
        for name in condition.__match_args__:
            value = getattr(condition, name)
            conditions += [
                one for one in (value if isinstance(value, tuple) else (value,)) if isinstance(one, Condition)
            ]
    return False
