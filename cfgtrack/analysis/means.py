"""From ends to means: an order of steps that brings about what is wanted, through allowed actions only.

Whatever is wanted is brought about by an action. What refuses the action, or which rule it would break, says what must
come first: that is wanted in turn. What is wanted first is kept until the action is done. Each step is done on the
engine at once, so what stands in the order was possible and broke nothing where it stands; nothing is proved shortest.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace

from cfgtrack.analysis.asks import Asks
from cfgtrack.analysis.gaps import Gaps
from cfgtrack.analysis.wants import (
    Acts,
    Alternative,
    Apart,
    At,
    Away,
    Be,
    Do,
    Linked,
    Pair,
    Stands,
    TakenAlong,
    Want,
    first_move,
    parted,
)
from cfgtrack.model.action import BEGIN, END, LIFT, PLACE, Action
from cfgtrack.model.configuration import Configuration, place_line
from cfgtrack.model.event import Event
from cfgtrack.model.hold import grippers, joints, moves_with
from cfgtrack.model.plant import HOLD, owner_of
from cfgtrack.model.possibility import Impossible, resolve
from cfgtrack.model.presence import goes_to, site_at, site_in, site_of, wanted_at
from cfgtrack.model.quantity import DIMENSIONS, Quantity
from cfgtrack.model.time import MINUTE, SECOND
from cfgtrack.rules.breach import Breach, words
from cfgtrack.rules.condition import Part
from cfgtrack.rules.engine import Engine, Turn

MOST_DEEP = 36
LEVELS = (2, 4, 7, 11, 16, MOST_DEEP)
TO_MEET = 7
FEW = 4
MOST_ROUNDS = 30
MOST_AT_END = 60
MOST_TRIED = 40_000
URGENT = 20 * MINUTE
"""A clock that leaves no more than this is met at once."""


_Deed = tuple[str, str, tuple[str, ...], str | None]
"""An action that is being done, told from others."""


class Spent(Exception):
    """So many steps were tried that the search gives up."""


@dataclass(slots=True)
class Planned:
    """A step of the order: what is `said`, as it was done, and the engine's mark before it."""

    said: Action
    event: Event
    mark: int
    pressing: int = 0


@dataclass(frozen=True, slots=True)
class Lack:
    """What would be broken at an end: a rule, for whom, and what might help."""

    rule: str
    it: str | None
    alternatives: tuple[Alternative, ...]

    def __str__(self) -> str:
        return f"{self.rule} of {self.it}" if self.it else self.rule


@dataclass(slots=True)
class Means:
    """An order of steps that grows on an engine that is ready for anything.

    `actors`: who and what acts by itself; `homes`: where everything was at first; `targets`: where things are to go.
    """

    engine: Engine
    gaps: Gaps
    actors: tuple[str, ...]
    machines: frozenset[str]
    urgent: int = URGENT
    targets: dict[str, str] = field(default_factory=dict)
    homes: dict[str, str] = field(default_factory=dict)
    claims: dict[str, str] = field(default_factory=dict)
    order: list[Planned] = field(default_factory=list)
    tried: int = 0
    most: int = MOST_TRIED
    trace: Callable[[str], object] | None = None
    tell: Callable[[str], object] = lambda _: None
    allows: Callable[[Action], bool] = lambda _: True
    watched: frozenset[tuple[str, str]] = frozenset()
    _asks: Asks = field(init=False)
    _kept: list[Want] = field(default_factory=list)
    _doing: list[Want | _Deed] = field(default_factory=list)
    _last_at: dict[str, str] = field(default_factory=dict)
    _deepest: int = MOST_DEEP

    def __post_init__(self) -> None:
        self._asks = Asks(self.engine.world, self.gaps)
        plant, now = self.engine.world.plant, self.engine.world.configuration
        movable = (*plant.units, *(p.id for p in plant.places.values() if p.mobile))
        self.homes = {thing: now.state(thing).value for thing in movable}
        self._asks.homes, self._asks.claims = self.homes, self.claims
        self._asks.actors = self.actors

    @property
    def now(self) -> Configuration:
        """The configuration as it is now."""
        return self.engine.world.configuration

    def _say(self, text: str) -> None:
        if self.trace is not None:
            self.trace("  " * len(self._doing) + text)

    # --- going on, and back ---------------------------------------------------------------------------------------

    def keep(self) -> list[Planned]:
        """Return the order as it is, to be gone back to."""
        return list(self.order)

    def once_more(self, said: Action) -> list[Turn] | None:
        """Do what was said, if it can be and breaks nothing; return the clocks that it starts and stops."""
        turned = self.engine.turned
        return self.engine.turns(turned) if self._again(said) else None

    def meet(self, turns: Iterable[Turn]) -> None:
        """Have clocks met now that are watched once the last step is done."""
        self._meet(turns, words(self.order[-1].event))

    def restore(self, kept: Sequence[Planned]) -> None:
        """Go back to an order."""
        same = 0
        while same < min(len(kept), len(self.order)) and kept[same].said is self.order[same].said:
            same += 1
        if same < len(self.order):
            self.engine.back(self.order[same].mark)
            del self.order[same:]
        for one in kept[same:]:
            assert self._again(one.said)

    def _again(self, said: Action) -> bool:
        """Do once more what was done; return whether it can be, and breaks nothing."""
        mark = self.engine.mark()
        event = self._event(said)
        if event is None:
            return False
        noted = self.engine.noted
        self._step(event)
        if self.engine.noted > noted:
            self.engine.back(mark)
            return False
        self.order.append(Planned(said, event, mark, self.pressing()))
        return True

    def pressing(self) -> int:
        """Return how many clocks run that leave little time."""
        return self.engine.runs_out_by(self.engine.world.now + self.urgent)

    def _event(self, said: Action) -> Event | None:
        outcome = resolve(self.now, self._timed(said))
        return outcome if isinstance(outcome, Event) else None

    def _timed(self, said: Action) -> Action:
        return replace(said, happened=self.engine.world.now + SECOND, id=f"way:{len(self.order)}")

    def _step(self, event: Event) -> None:
        self.tried += 1
        if self.tried > self.most:
            raise Spent
        self.tell(f"{self.tried} steps tried")
        self.engine.step(event)
        self.engine.settle()

    # --- wants ----------------------------------------------------------------------------------------------------

    def met(self, want: Want) -> bool:
        """Return whether something is so now."""
        if isinstance(want, Do | TakenAlong):
            return False
        if isinstance(want, Linked):
            return self.gaps.has_way(self.now, want.medium, want.item, want.ends)
        return want.is_met(self.now)

    def bring_about(self, want: Want) -> bool:
        """Bring something about; return whether it is so then. Else all is as it was."""
        if isinstance(want, Do):
            return self.do(want.action)
        if isinstance(want, TakenAlong):
            return self._take_along(want)
        if self.met(want):
            return True
        if want in self._doing or len(self._doing) > self._deepest:
            return False
        before = self.keep()
        self._doing.append(want)
        self._say(f"want {want}")
        try:
            for _ in range(4):
                if self._one_of(self._ways(want)) is None:
                    break
                if self.met(want):
                    return True
        finally:
            self._doing.pop()
        self._say(f"FAILED {want}")
        self.restore(before)
        return False

    def _differs(self, before: Sequence[Planned]) -> bool:
        return len(before) != len(self.order) or any(
            a.said is not b.said for a, b in zip(before, self.order, strict=True)
        )

    def _all(self, wants: Alternative) -> bool:
        """Bring several things about, each kept while the others come."""
        held, left, put_off = len(self._kept), list(wants), 0
        try:
            while left:
                want = left.pop(0)
                if not self.bring_about(want):
                    # Of things that are alike another may have to come first.
                    put_off += 1
                    if not isinstance(want, Apart) or put_off > len(left):
                        return False
                    left.append(want)
                    continue
                put_off = 0
                lasting = self._lasting(want)
                if lasting is not None:
                    self._kept.append(lasting)
        finally:
            del self._kept[held:]
        return all(isinstance(want, Do | TakenAlong) or self.met(want) for want in wants)

    def _lasting(self, want: Want) -> Want | None:
        """Return what is so once something is brought about, None where nothing lasts."""
        if isinstance(want, TakenAlong):
            return None
        if not isinstance(want, Do):
            return want
        action, port = want.action, want.action.subjects[0]
        found = self.engine.world.plant.port(port)
        move = found[1].moves.get(action.action) if found is not None else None
        return None if move is None else Be(port, frozenset({self.now.state(port).value}))

    def every(self, wants: Sequence[Want]) -> list[Want]:
        """Bring about as many as can be, in whatever order they allow, each kept; return those that can't be."""
        left = list(wants)
        held = len(self._kept)
        try:
            for strict in (True, False):
                progress = True
                while left and progress:
                    progress = False
                    for want in list(left):
                        if self.met(want) or self.bring_about(want):
                            left.remove(want)
                            progress = True
                            self._meet_soon()
                            if strict:
                                self._kept.append(want)
                    left += [w for w in wants if w not in left and not self.met(w)]
                if not left:
                    break
                del self._kept[held:]
        finally:
            del self._kept[held:]
        return left

    def _ways(self, want: Want) -> Iterator[Alternative]:
        """Yield how something may come about."""
        plant, now = self.engine.world.plant, self.now
        if isinstance(want, Be | Apart):
            found = plant.port(want.port)
            if found is None:
                return
            kind, status = found[1], now.state(want.port).value
            among = want.among if isinstance(want, Be) else parted(kind)
            move = first_move(kind, status, among)
            if move is None:
                return
            if not kind.joins(move):
                yield (Do(Action("", move.action, (want.port,), 0)),)
                return
            for mate in self._mates(want.port):
                yield (Do(Action("", move.action, (want.port, mate), 0)),)
        elif isinstance(want, Pair):
            yield from self._ways_to_pair(want)
        elif isinstance(want, At):
            yield from self._ways_to(want)
        elif isinstance(want, Stands):
            yield from self._ways_to(At(want.thing, self._stand(want.thing, want.site), inside=True))
        else:
            yield from self._ways_about(want)

    def _ways_about(self, want: Want) -> Iterator[Alternative]:
        """Yield how things come to be where they should."""
        plant, now = self.engine.world.plant, self.now
        if isinstance(want, Away):
            target = self.targets.get(want.thing) or self.homes.get(want.thing, "")
            around = place_line(now, want.place)[1:]
            for place in dict.fromkeys((*around[:1], target, self.homes.get(want.thing, ""))):
                if place and want.place not in place_line(now, place):
                    yield (At(want.thing, place),)
        elif isinstance(want, Acts):
            for one in (want.doer, plant.places[want.doer].operates):
                if one and one in self.actors:
                    yield (Stands(one, want.site),)
        elif isinstance(want, Linked):
            yield from self.gaps.ways(now, want.medium, want.item, want.ends, self._frozen())

    def _stand(self, doer: str, site: str) -> str:
        """Return where somebody stands at a site: where he was at first, if that is there."""
        home = self.homes.get(doer, "")
        return home if home and site_in(self.now, home) == site else site

    def _frozen(self) -> frozenset[str]:
        """Return the ports that are to stay apart, or are as they are wanted."""
        return frozenset(
            thing
            for want in self._kept
            if isinstance(want, Apart | Be | Pair | At) and self.met(want)
            for thing in want.things
        )

    def _mates(self, port: str) -> list[str]:
        now = self.now
        free = [other for other in self.gaps.fitting(port) if now.state(other).other is None]
        site = site_at(now, port)
        free.sort(key=lambda other: site_at(now, other) != site)
        return free[:4]

    def _ways_to_pair(self, want: Pair) -> Iterator[Alternative]:
        plant, now = self.engine.world.plant, self.now
        found = plant.port(want.a)
        if found is None:
            return
        kind, state = found[1], now.state(want.a)
        if state.other == want.b:
            move = first_move(kind, state.value, want.among)
            if move is not None:
                yield (Do(Action("", move.action, (want.a,), 0)),)
            return
        for port in (want.a, want.b):
            if now.state(port).other is not None:
                yield (Apart(want.a), Apart(want.b))
                return
        for move in kind.moves.values():
            if kind.joins(move):
                yield (Do(Action("", move.action, (want.a, want.b), 0)),)

    def _ways_to(self, want: At) -> Iterator[Alternative]:
        plant, now, thing = self.engine.world.plant, self.now, want.thing
        place = plant.places[want.place]
        if thing in self.actors:
            yield (Do(Action("", PLACE, (thing,), 0, place=place.id, by=thing)),)
            return
        for facing in (want.facing,) if want.facing else place.ways_round:
            yield (Do(Action("", PLACE, (thing,), 0, place=place.id, facing=facing)),)
        if want.inside:
            for carrier in (
                place_line(now, thing) if thing in plant.units else place_line(now, now.state(thing).value)
            ):
                if plant.is_mobile(carrier) and carrier not in place_line(now, place.id):
                    yield (At(carrier, place.id, inside=True),)

    # --- doing ----------------------------------------------------------------------------------------------------

    def do(self, action: Action) -> bool:
        """Do an action, after all that must come first; return whether it is done. Else all is as it was."""
        key: _Deed = ("do", action.action, action.subjects, action.place)
        if key in self._doing or len(self._doing) > self._deepest or not self.allows(action):
            return False
        before, held = self.keep(), len(self._kept)
        self._doing.append(key)
        self._say(f"do {words(action)}")
        said = action
        try:
            for _ in range(MOST_ROUNDS):
                done, first, action = self._try(action)
                if done:
                    return True
                if action is not said:
                    said = action
                    continue
                chosen = self._one_of(first)
                if chosen is None:
                    break
                self._kept += [
                    lasting
                    for want in chosen
                    if (lasting := self._lasting(want)) is not None
                    and set(lasting.things).isdisjoint(action.subjects)
                ]
        finally:
            self._doing.pop()
            del self._kept[held:]
        self._say(f"NOT DONE {words(action)}")
        self.restore(before)
        return False

    def _one_of(self, alternatives: Iterable[Alternative]) -> Alternative | None:
        """Bring about the first of several alternatives that can be; return it."""
        before, alternatives, deepest = self.keep(), list(alternatives), self._deepest
        for deeper in LEVELS if len(alternatives) > 1 else LEVELS[-1:]:
            self._deepest = min(deepest, len(self._doing) + deeper)
            try:
                for alternative in alternatives:
                    if self._all(alternative) and self._differs(before):
                        return alternative
                    self.restore(before)
            finally:
                level, self._deepest = self._deepest, deepest
            if level == deepest:
                break
        return None

    def _try(self, action: Action) -> tuple[bool, Iterable[Alternative], Action]:
        """Do an action if it can be and may be; else return what must come first, and the action to be tried then."""
        outcome = resolve(self.now, self._timed(replace(action, by=None)))
        if isinstance(outcome, Impossible):
            self._say(f"  refused {[r.sentence for r in outcome.refusals][:2]}")
            return False, list(self._asks.first(outcome, self.targets)), action
        event = self._by_somebody(action)
        if event is None:
            return False, self._absent(action), action
        mark, noted, turned = self.engine.mark(), self.engine.noted, self.engine.turned
        kept = [want for want in self._kept if self.met(want)]
        self._step(event)
        breaches = list(self.engine.breaches_since(noted).values())
        if not breaches:
            undone = next((want for want in kept if not self.met(want)), None)
            if undone is not None:
                self._say(f"  would undo {undone}")
                self.engine.back(mark)
                return False, self._left_behind(undone, event), action
            self.order.append(Planned(replace(action, by=event.by), event, mark, self.pressing()))
            self._say(f"+ {words(event)} by {event.by}")
            if event.by:
                self._last_at[site_of(self.now, event.by)] = event.by
            self._meet(self.engine.turns(turned), words(event))
            return True, (), action
        self._say(f"  breaks {[(b.rule.id, b.it) for b in breaches][:3]}")
        after = self._after(action, event, breaches)
        self.engine.back(mark)
        before = self._before(action, event, breaches)
        with_values = next((one for one in (*before, *after) if isinstance(one, Action)), None)
        if with_values is not None:
            return False, (), with_values
        return False, [one for one in (*before, *after) if not isinstance(one, Action)], action

    def _left_behind(self, undone: Want, event: Event) -> list[Alternative]:
        """Return how a thing that an action would take along is left where it is to be."""
        thing, along = undone.things[0], {*event.subjects, *event.moved, *event.carried}
        if not isinstance(undone, At | Stands) or thing not in along - {*event.subjects}:
            return []
        return [
            (Apart(joint.near),)
            for joint in joints(self.now, thing)
            if owner_of(joint.far) in along and not joint.gives
        ]

    def _after(self, action: Action, event: Event, breaches: Iterable[Breach]) -> list[Alternative | Action]:
        """Return what must come first so that rules are kept that are broken once an action is done."""
        out: list[Alternative | Action] = []
        avoid = {*action.subjects, *self._frozen()}
        for breach in breaches:
            if breach.rule.mode.key == "at" and not getattr(breach.rule.mode, "after", False):
                continue
            if breach.no_verdict:
                continue
            runner = self.engine.runner(breach.rule.id)
            for alternative in self._asks.of(runner.own, breach.it, breach.part, avoid=avoid):
                merged = self._merged(action, event, alternative)
                if merged is not None:
                    return [merged]
                undone = (w for w in alternative if isinstance(w, Be | Pair))
                if all(set(w.things).isdisjoint(action.subjects) for w in undone):
                    out.append(self._readied(alternative))
            break
        return out

    def _before(self, action: Action, event: Event, breaches: Iterable[Breach]) -> list[Alternative | Action]:
        """Return what must come first so that rules are kept that an action breaks by being done now."""
        asked: list[tuple[bool, list[Alternative]]] = []
        for breach in breaches:
            if breach.rule.mode.key != "at" or breach.no_verdict:
                continue
            runner = self.engine.runner(breach.rule.id)
            out: list[Alternative] = []
            try:
                for alternative in self._asks.of(runner.own, breach.it, breach.part, avoid=self._frozen()):
                    merged = self._merged(action, event, alternative)
                    if merged is not None:
                        return [merged]
                    out.append(self._readied(alternative))
            except KeyError:
                continue
            reads = bool(out) and all(map(_is_reading, out))
            asked.append((reads, out))
        # What is read may be too old by the time that all else is done: so it comes last.
        asked.sort(key=lambda one: one[0])
        return [*asked[0][1]] if asked else []

    def _merged(self, action: Action, event: Event, alternative: Alternative) -> Action | None:
        """Return the action with values, where that is what is asked for."""
        if len(alternative) != 1 or not isinstance(alternative[0], Do) or action.values:
            return None
        asked = alternative[0].action
        if asked.action != action.action or asked.subjects[0] not in event.subjects or not asked.values:
            return None
        return replace(action, values=self._values(asked))

    def _readied(self, alternative: Alternative) -> Alternative:
        return tuple(
            Do(replace(w.action, values=self._values(w.action)))
            if isinstance(w, Do) and w.action.values
            else w
            for w in alternative
        )

    def _values(self, asked: Action) -> dict[str, Quantity]:
        """Return values that may be told of an action: any that is known, where any will do."""
        out = {}
        for name, quantity in asked.values.items():
            value = quantity.value
            if math.isnan(value):
                known = self.now.values.get((asked.subjects[0], name))
                value = float(known.value) if known is not None else 1.0
            unit = DIMENSIONS[quantity.dimension][0]
            out[name] = Quantity(value, unit, value, quantity.dimension)
        return out

    # --- by whom --------------------------------------------------------------------------------------------------

    def _by_somebody(self, action: Action) -> Event | None:
        """Return the event that an action is, by whoever is there to do it."""
        plant, now = self.engine.world.plant, self.now
        if not plant.has_sites:
            return self._event(action)
        for doer in self._who(action):
            outcome = resolve(now, self._timed(replace(action, by=doer)))
            if isinstance(outcome, Event):
                return outcome
        return None

    def _who(self, action: Action) -> list[str]:
        """Return who might do an action: what moves by itself, what grips the thing, then people, then machines."""
        if action.by:
            return [action.by]
        plant, now = self.engine.world.plant, self.now
        first: list[str] = []
        for subject in action.subjects:
            owner = owner_of(subject)
            if owner in self.actors:
                first.append(owner)
            if action.action in (PLACE, LIFT) and owner in plant.units:
                first += sorted(grippers(now, moves_with(now, owner)))
        people = [one for one in self.actors if one not in self.machines]
        return list(dict.fromkeys((*first, *people, *(m for m in self.actors if m in self.machines))))

    def _absent(self, action: Action) -> Iterator[Alternative]:
        """Yield who might come so that an action can be done, or how a thing is taken to another site."""
        now = self.now
        people = self._who(action)
        for doer in people[:1]:
            sites = {site for site in wanted_at(now, replace(action, by=doer), doer).values() if site}
            target = goes_to(now, replace(action, by=doer), doer)
            there = site_in(now, target) if target else ""
            if there and sites and sites != {there}:
                yield from self._carried(action, next(iter(sites)), there)
                return
        out: list[tuple[int, int, Alternative]] = []
        for number, doer in enumerate(people):
            sites = {s for s in wanted_at(now, replace(action, by=doer), doer).values() if s}
            if not sites:
                target = goes_to(now, replace(action, by=doer), doer)
                sites = {site_in(now, target)} if target else set()
            if len(sites) != 1:
                continue
            (site,) = sites
            out.append((self._effort(doer), number, (Acts(doer, site),)))
        yield from (one for _, _, one in sorted(out, key=lambda one: one[:2]))

    def _effort(self, doer: str) -> int:
        """Return about how much it takes to have somebody elsewhere."""
        plant, now = self.engine.world.plant, self.now
        cost = 1 + 6 * (doer in self.machines)
        for port in plant.ports_of(doer):
            cost += 2 * (now.state(port).other is not None)
        if now.state(doer).value != self.homes.get(doer):
            cost += 1
        if any(isinstance(want, Acts | At | Stands) and want.things[0] == doer for want in self._kept):
            cost += 10
        return cost

    def _carried(self, action: Action, here: str, there: str) -> Iterator[Alternative]:
        """Yield how a thing is taken from site to site: by a machine that can hold it, or in somebody's hands."""
        plant, now, thing = self.engine.world.plant, self.now, action.subjects[0]
        if thing in plant.units:
            for machine in self.actors:
                if machine not in self.machines or not self._can_grip(machine):
                    continue
                if machine in moves_with(now, thing):
                    continue
                if self.gaps.has_way(now, HOLD, thing, {machine}) or self.gaps.ways(
                    now, HOLD, thing, {machine}
                ):
                    yield (Linked(HOLD, thing, frozenset({machine})), Stands(machine, there))
        yield (TakenAlong(thing, here, there),)
        people = [one for one in self.actors if one not in self.machines]
        people.sort(key=lambda one: self._effort(one) + 3 * (site_of(now, one) != here))
        for doer in people:
            yield (At(thing, doer, inside=True), Acts(doer, there))

    def _can_grip(self, machine: str) -> bool:
        plant = self.engine.world.plant
        return any(
            (found := plant.port(p)) is not None and found[1].medium == HOLD for p in plant.ports_of(machine)
        )

    def _take_along(self, want: TakenAlong) -> bool:
        """Have a thing taken along on a way that somebody goes already; return whether he can."""
        if site_of(self.now, want.thing) != want.here or next(joints(self.now, want.thing), None) is not None:
            return False
        before = self.keep()
        for number in range(len(before) - 1, -1, -1):
            said = before[number].said
            who = said.subjects[0] if said.subjects else ""
            if said.action != PLACE or who not in self.actors or site_of(self.now, who) != want.there:
                continue
            self.restore(before[:number])
            if site_of(self.now, who) == want.here and site_of(self.now, want.thing) == want.here:
                taken = Action("", PLACE, (want.thing,), 0, place=who, by=who)
                if self._again(taken) and all(self._again(one.said) for one in before[number:]):
                    self._say(f"TAKEN ALONG {want.thing} by {who}")
                    return True
            self.restore(before)
        return False

    # --- clocks ---------------------------------------------------------------------------------------------------

    def _meet(self, turns: Iterable[Turn], done: str = "") -> None:
        """Have clocks met at once that leave little time, or are `watched` when that is done."""
        pressing = [
            t
            for t in turns
            if t.starts
            and t.deadline is not None
            and (t.deadline - t.started <= self.urgent or (done, t.rule) in self.watched)
        ]
        held = len(self._kept)
        self._kept += [w for w in self._doing if not isinstance(w, tuple) and self.met(w)]
        deepest, self._deepest = self._deepest, len(self._doing) + TO_MEET
        try:
            for turn in pressing:
                if self._runs(turn):
                    self._say(f"clock {turn.rule} of {turn.subject}")
                    runner = self.engine.runner(turn.rule)
                    it = turn.subject or None
                    asked = list(self._asks.of(runner.own, it, avoid=self._frozen()))
                    home = self.homes.get(it or "", "")
                    if home and runner.rule.scope is not None and runner.rule.scope.at:
                        # The rule asks nothing of who isn't there.
                        asked.append((At(it or "", home, inside=True),))
                    self._one_of(asked)
        finally:
            del self._kept[held:]
            self._deepest = deepest

    def _meet_soon(self) -> None:
        """Have each clock with a deadline met now, where a few steps do that."""
        deepest, self._deepest = self._deepest, len(self._doing) + TO_MEET
        try:
            for clock in [one for one in self.engine.clocks() if one.deadline is not None]:
                before = self.keep()
                runner = self.engine.runner(clock.rule)
                asked = list(self._asks.of(runner.own, clock.subject or None, avoid=self._frozen()))
                if self._one_of(asked) is not None and len(self.order) > len(before) + FEW:
                    self.restore(before)
        finally:
            self._deepest = deepest

    def _runs(self, turn: Turn) -> bool:
        return any(
            c.rule == turn.rule and c.subject == turn.subject and c.started == turn.started
            for c in self.engine.clocks()
        )

    # --- ends -----------------------------------------------------------------------------------------------------

    def begin(self, outing: str) -> None:
        """Begin an outing."""
        self._bound(BEGIN, outing)

    def _bound(self, action: str, outing: str) -> None:
        event = resolve(
            self.now, Action(f"{action}:{outing}", action, (), self.engine.world.now + SECOND, outing=outing)
        )
        assert isinstance(event, Event)
        self._step(event)

    def go_on(self, outing: str, start: int | None) -> None:
        """End an outing, and let time pass until the next one starts."""
        self._bound(END, outing)
        if start is not None and start > self.engine.world.now:
            self.engine.advance(start)
        self.order.clear()

    def lacking_at_end(self, outing: str, *, last: bool = True) -> list[Lack]:
        """Return what would be broken, or run on, if the outing ended now, with the `last` all else; and what helps."""
        mark, noted = self.engine.mark(), self.engine.noted
        self._bound(END, outing)
        if last:
            self.engine.end_sequence()
        broken = list(self.engine.breaches_since(noted).values())
        self.engine.back(mark)
        out = [self._lack(breach.rule.id, breach.it, breach.part) for breach in broken]
        clocks = self.engine.clocks() if last else []
        out += [self._lack(c.rule, c.subject or None, None) for c in clocks if c.deadline is not None]
        return out

    def _lack(self, rule: str, it: str | None, part: Part | None) -> Lack:
        asked = self._asks.of(self.engine.runner(rule).own, it, part)
        return Lack(rule, it, tuple(map(self._readied, asked)))

    def finish(self, outing: str, wants: Sequence[Want], *, last: bool = True) -> list[Lack]:
        """Bring about what must hold at the end, with all that is wanted kept; return what can't be."""
        held = len(self._kept)
        self._kept += wants
        failed: set[tuple[str, str | None]] = set()
        try:
            for _ in range(MOST_AT_END):
                lacking = self.lacking_at_end(outing, last=last)
                first = next((one for one in lacking if (one.rule, one.it) not in failed), None)
                if first is None:
                    return lacking
                self._say(f"END {first.rule}")
                if self._one_of(first.alternatives) is None:
                    failed.add((first.rule, first.it))
            return self.lacking_at_end(outing, last=last)
        finally:
            del self._kept[held:]


def _is_reading(alternative: Alternative) -> bool:
    """Return whether it is that something is read."""
    (first, *others) = alternative or (None,)
    return not others and isinstance(first, Do) and bool(first.action.values)
