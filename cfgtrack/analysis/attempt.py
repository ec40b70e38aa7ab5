"""Single actions, and several together, that would cure a finding: gathered, and tried, at its moment."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from itertools import chain, islice
from typing import NamedTuple

from cfgtrack.analysis.options import candidates, doers
from cfgtrack.model.action import FOUND, PLACE, Action
from cfgtrack.model.configuration import Configuration, place_line
from cfgtrack.model.defect import defects_on, rectified
from cfgtrack.model.event import Event
from cfgtrack.model.plant import owner_of
from cfgtrack.model.possibility import Impossible, Refusal, resolve
from cfgtrack.model.presence import site_at
from cfgtrack.rules.breach import Breach, words
from cfgtrack.rules.cure import Proposal, in_turn
from cfgtrack.rules.engine import Engine
from cfgtrack.rules.finding import Cure, Finding, Tried

MOST_CURES = 5
"""So many are offered of a finding: then no more is tried."""

MOST_TRIED = 100
"""So many single actions near by are tried for a finding."""

MOST_TOGETHER = 120
"""So many sets of several actions are tried for a finding."""

_MOST_PROPOSED = 60
_MOST_THINGS = 40
_MOST_FIRST = 10
_MOST_FURTHER = 12
_MOST_IN_ONE = 8


@dataclass(slots=True)
class Case:
    """One finding: what might cure it, what does, and how much was tried."""

    finding: Finding
    proposed: list[Proposal] = field(default_factory=list)
    near: list[Proposal] = field(default_factory=list)
    coming: list[Event] = field(default_factory=list)
    cures: list[Cure] = field(default_factory=list)
    tried: int = 0
    candidates: int = 0
    met: bool = False

    @property
    def is_of_step(self) -> bool:
        """Whether it is about what is done, at that moment: then the cure comes first, and it is done again."""
        return self.finding.mode in ("at", "possible")

    @property
    def is_full(self) -> bool:
        """Whether enough cures are found."""
        return len(self.cures) >= MOST_CURES

    def told(self) -> tuple[tuple[Cure, ...], Tried | None]:
        """Return the cures, and how many candidates were tried. Where its moment was not met nothing was."""
        if not self.met:
            return (), None
        return tuple(self.cures), Tried(self.tried, max(self.tried, self.candidates))


class Moment:
    """A finding at its moment: what might cure it is gathered there, then tried."""

    def __init__(self, engine: Engine, case: Case) -> None:
        self.engine, self.case = engine, case
        self.world = engine.world
        self._who = doers(self.world.plant, "")
        self._first: tuple[str | None, ...] = ()
        case.met = True

    def left(self) -> int | None:
        """Return how many of the finding's instances are left as things are now; None where something else is wrong."""
        raise NotImplementedError

    def proposals(self) -> list[Proposal]:
        """Return what the conditions propose as things are now."""
        raise NotImplementedError

    # --- gathering ---

    def gather(self) -> None:
        """Note what might cure it, and whatever else may be done near by."""
        case, now = self.case, self.world.configuration
        case.proposed = _once(self.proposals())
        known = {_what(one.action) for one in case.proposed}
        events = (
            event
            for thing in islice(_things(now, case.finding), _MOST_THINGS)
            for event in candidates(now, thing, self.world.now, [])
        )
        near = (Proposal(event) for event in events if _what(event) not in known)
        case.near = _once(islice(near, MOST_TRIED))
        for proposal in (*case.proposed, *case.near):
            outcome = resolve(now, replace(proposal.action, happened=self.world.now))
            # What can't be done now may be possible after something else.
            case.coming += [outcome] if isinstance(outcome, Event) else _perhaps(now, outcome.action)

    # --- seeking ---

    def seek(self) -> None:
        """Try what was gathered, until enough is found."""
        case = self.case
        singles = [i for i, one in enumerate(case.proposed) if self._is_possible(one)]
        case.candidates += len(singles)
        results = {i: self._try_alone(case.proposed[i]) for i in singles}
        harmless = {i: left for i, left in results.items() if left is not None}
        if not case.cures:
            nearby = [one for one in case.near if self._is_possible(one)]
            case.candidates += len(nearby)
            for one in nearby:
                self._try_alone(one)
        if not case.cures:
            self._try_together(harmless)

    def _is_possible(self, proposal: Proposal) -> bool:
        return self._resolved(proposal.action) is not None

    def _resolved(self, action: Action) -> Event | None:
        """Return the event that an action would be now, in a plant with sites by the first of those who are there."""
        if self._seen(replace(action, by=None)) is None:
            return None
        movers = filter(self.world.plant.is_mobile, action.subjects if self.world.plant.has_sites else ())
        who = dict.fromkeys((*self._first, *movers, *self._who))
        events = (self._seen(replace(action, by=doer)) for doer in who)
        return next((event for event in events if event is not None), None)

    def _seen(self, action: Action) -> Event | None:
        """Return the event that an action would be now, where it is possible and the engine is ready for it."""
        outcome = resolve(self.world.configuration, replace(action, id="cure", happened=self.world.now))
        return outcome if isinstance(outcome, Event) and self.world.sees(outcome) else None

    def _after(self, actions: Iterable[Action]) -> _After | None:
        """Return what is left after some actions; None where one is impossible, or anything else is wrong then."""
        engine, mark = self.engine, self.engine.mark()
        try:
            engine.settle()
            turned = engine.turned
            events = list[Event]()
            for action in actions:
                event = self._do(action)
                if event is None:
                    return None
                events.append(event)
            started = tuple(dict.fromkeys(turn.rule for turn in engine.turns(turned) if turn.starts))
            left = self.left()
            return None if left is None else _After(left, started, tuple(event.by for event in events))
        finally:
            engine.back(mark)

    def _do(self, action: Action) -> Event | None:
        """Do an action; return the event that it is, None where it isn't possible, or breaks something."""
        event, noted = self._resolved(action), self.engine.noted
        if event is None:
            return None
        self.engine.step(event)
        self.engine.settle()
        return event if self.engine.noted == noted else None

    def _try_alone(self, proposal: Proposal) -> int | None:
        """Try one proposal; return how much it leaves, None where it does harm."""
        if self.case.is_full:
            return None
        self.case.tried += 1
        results = [self._after([action]) for action in (proposal.action, *proposal.others)]
        sure = [one for one in results if one is not None]
        if len(sure) < len(results):
            return None
        if not any(one.left for one in sure):
            self.case.cures.append(sure[0].cure([proposal]))
        return max(one.left for one in sure)

    # --- several together ---

    def _try_together(self, harmless: dict[int, int]) -> None:
        """Try what is proposed in sets: one after the other what helps some, then pairs, then three."""
        case = self.case
        self._budget = MOST_TOGETHER
        self._pile_up(harmless)
        sets: list[tuple[Proposal, ...]] = [
            (case.proposed[i],) for i in sorted(harmless, key=lambda i: harmless[i])
        ]
        for _ in range(2):
            if case.cures:
                return
            sets = self._one_more(sets[:_MOST_FIRST])

    def _one_more(self, sets: Sequence[tuple[Proposal, ...]]) -> list[tuple[Proposal, ...]]:
        """Try each set with one proposal more; return those that do no harm, the best first."""
        case, out, seen = self.case, list[tuple[int, tuple[Proposal, ...]]](), set[frozenset[object]]()
        further = [(some, [one for one in self._further(some) if one not in some]) for some in sets]
        case.candidates += sum(len(ones) for _, ones in further)
        for some, ones in further:
            for one in ones:
                many, what = (*some, one), frozenset(_what(p.action) for p in (*some, one))
                if what in seen or case.is_full:
                    continue
                result = self._try_set(many)
                if result is not None:
                    seen.add(what)
                    if result.left:
                        out.append((result.left, many))
                    else:
                        self._offer(many)
        return [many for _, many in sorted(out, key=lambda one: one[0])]

    def _further(self, some: Sequence[Proposal]) -> list[Proposal]:
        """Return what may be tried after some actions: what is proposed then, and what was at first."""
        engine, mark = self.engine, self.engine.mark()
        try:
            engine.settle()
            then = self.proposals() if all(self._do(one.action) for one in some) else []
        finally:
            engine.back(mark)
        return _once((*then, *self.case.proposed))[:_MOST_FURTHER]

    def _pile_up(self, harmless: dict[int, int]) -> None:
        """Do one after the other what leaves less, until nothing is left: many items, each with a lack of its own."""
        left = max(harmless.values(), default=0)
        useful = [self.case.proposed[i] for i, leaves in harmless.items() if leaves < left]
        some = list[Proposal]()
        for one in useful:
            result = self._try_set((*some, one)) if len(some) < _MOST_IN_ONE else None
            if result is not None and result.left < left:
                some.append(one)
                left = result.left
            if not left:
                self._offer(some)
                return

    def _try_set(self, some: Sequence[Proposal]) -> _After | None:
        """Try some proposals one after the other, while so many sets may be tried."""
        if not self._budget:
            return None
        self._budget -= 1
        self.case.tried += 1
        return self._after([one.action for one in some])

    def _offer(self, some: Sequence[Proposal]) -> None:
        """Offer a set that cures, without those of which it does as well without."""
        kept = list(some)
        for one in some:
            fewer = [other for other in kept if other is not one]
            result = self._after([other.action for other in fewer])
            if result is not None and not result.left:
                kept = fewer
        result = self._after([one.action for one in kept])
        if result is not None and not result.left:
            self.case.cures.append(result.cure(kept))


class _After(NamedTuple):
    """What is so after some actions: how many instances are left, of which rules clocks started; and who did them."""

    left: int
    starts: tuple[str, ...]
    by: tuple[str | None, ...]

    def cure(self, proposals: Iterable[Proposal]) -> Cure:
        """Return the cure that these proposals are."""
        several = tuple(proposals)
        done = tuple(replace(p.action, by=by) for p, by in zip(several, self.by, strict=True))
        is_one = not any(p.said or p.others for p in several)
        return Cure(tuple(map(_said, several, self.by)), starts=self.starts, done=done if is_one else ())


class AtBreach(Moment):
    """A finding that is open at its moment: cured when all its breaches are put right."""

    def __init__(self, engine: Engine, case: Case, breaches: dict[int, Breach]) -> None:
        super().__init__(engine, case)
        self._breaches = breaches

    def left(self) -> int:
        """Return how many of its breaches are not put right."""
        return sum(not self.engine.is_mended(number) for number in self._breaches)

    def proposals(self) -> list[Proposal]:
        """Return what is proposed for those that are not put right."""
        still = (b for number, b in self._breaches.items() if not self.engine.is_mended(number))
        return list(islice(in_turn(self.engine.proposals(breach) for breach in still), _MOST_PROPOSED))


class BeforeStep(Moment):
    """A finding about what is `done` at its moment: it is cured when that can be done and breaks the rule no more."""

    def __init__(self, engine: Engine, case: Case, done: Action) -> None:
        super().__init__(engine, case)
        self._done = done
        self._first = (done.by,) if self.world.plant.has_sites and done.by is not None else ()
        self._before = {(b.rule.id, b.it, b.part): frozenset(b.items) for b in self._broken() or ()}

    def gather(self) -> None:
        """Note, too, what would be done once it can be."""
        super().gather()
        self.case.coming += _perhaps(self.world.configuration, self._done)

    def _broken(self, then: Callable[[Breach], object] = id) -> list[Breach] | None:
        """Return what is broken by doing it now, None where it can't be done; have `then` called for each there."""
        event = self._seen(self._done)
        if event is None:
            return None
        engine, mark = self.engine, self.engine.mark()
        try:
            engine.settle()
            noted = engine.noted
            engine.step(event)
            engine.settle()
            broken = list(engine.breaches_since(noted).values())
            for breach in broken:
                then(breach)
            return broken
        finally:
            engine.back(mark)

    def left(self) -> int | None:
        """Return in how many instances it breaks the rule; None where it can't be done, or breaks another."""
        broken = self._broken()
        if broken is None:
            return len(self._refusals()) or None
        others = [b for b in broken if b.rule.id != self.case.finding.rule]
        if not all(self._is_known(breach) for breach in others):
            return None
        return len(broken) - len(others)

    def _refusals(self) -> tuple[Refusal, ...]:
        """Return why it can't be done now, of what could not be done from the start."""
        outcome = resolve(self.world.configuration, self._done)
        if self.case.finding.mode == "possible" and isinstance(outcome, Impossible):
            return outcome.refusals
        return ()

    def _is_known(self, breach: Breach) -> bool:
        """Return whether it was broken without a cure, too."""
        items = self._before.get((breach.rule.id, breach.it, breach.part))
        return items is not None and items.issuperset(breach.items)

    def _coming(self) -> Iterator[Proposal]:
        """Yield who should come first, and where to, of what somebody isn't there to do."""
        now, doer = self.world.configuration, self._done.by
        for refusal in self._refusals() if doer is not None else ():
            site = site_at(now, refusal.subject) if refusal.code == "absent" else ""
            if site and doer is not None:
                yield Proposal(Action("", PLACE, (doer,), self.world.now, place=site, by=doer))

    def _rectifying(self) -> Iterator[Proposal]:
        """Yield what lifts the defects that bar it."""
        for refusal in self._refusals():
            if refusal.code == "barred":
                there = defects_on(self.world.configuration, refusal.subject)
                yield from (Proposal(rectified(one)) for one in there if one.event == refusal.collides)

    def proposals(self) -> list[Proposal]:
        """Return what is proposed just before it, then what is just after."""
        now, rule, found = self.world.configuration, self.case.finding.rule, list[list[Proposal]]()
        refused = dict.fromkeys((*self._done.subjects, *(r.subject for r in self._refusals())))
        if self.case.finding.mode == "possible":
            ports = (subject for subject in refused if now.plant.port(subject))
            moves = (map(Proposal, candidates(now, port, self.world.now, [])) for port in ports)
            return list(islice(in_turn(chain([self._coming(), self._rectifying()], moves)), _MOST_PROPOSED))

        def ask(breach: Breach) -> None:
            if breach.rule.id == rule:
                found.append(list(islice(self.engine.proposals(breach), _MOST_PROPOSED)))

        broken = self._broken(ask) or []
        own = (breach for breach in broken if breach.rule.id == rule)
        before = [list(islice(self.engine.proposals(breach), _MOST_PROPOSED)) for breach in own]
        return list(islice(in_turn(map(iter, (*before, *found))), _MOST_PROPOSED))


# --- what may be done near by -----------------------------------------------------------------------------------------


def _things(now: Configuration, finding: Finding) -> Iterator[str]:
    """Yield what a finding names, then what that belongs to and is joined to, then what is near, then all else."""
    plant = now.plant
    links = (
        half for r in finding.reasons for link in r.links for half in link.replace(" on ", " - ").split(" - ")
    )
    named = dict.fromkeys((*finding.subjects, *(b for r in finding.reasons for b in r.beyond), *links))
    known = [name for name in named if plant.port(name) or plant.node(name) or plant.has_owner(name)]
    ports = [name for name in known if plant.port(name)]
    mates = [mate for port in ports if (mate := now.state(port).other) is not None]
    owners = dict.fromkeys(map(owner_of, (*known, *mates)))
    seen = set[str]()
    for thing in chain(ports, mates, owners, _around(now, owners), plant.owners()):
        if thing not in seen:
            seen.add(thing)
            yield thing


def _around(now: Configuration, owners: Iterable[str]) -> Iterator[str]:
    """Yield what stands where some units stand, or around that."""
    for owner in owners:
        for place in place_line(now, owner):
            yield place
            yield from now.standing_at(place)


def _perhaps(now: Configuration, action: Action) -> Iterator[Event]:
    """Yield events that write what an action would write that can't be done now, and may be after something else."""
    for subject in action.subjects:
        port = now.plant.port(subject)
        status = None if port is None else port[1].initial
        found = Action("", FOUND, (subject,), action.happened, place=action.place, status=status)
        outcome = resolve(now, found)
        if isinstance(outcome, Event):
            yield outcome


def _once(proposals: Iterable[Proposal]) -> list[Proposal]:
    return list({(_what(one.action), one.said): one for one in proposals}.values())


def _what(action: Action) -> object:
    """Return what an action does, whichever half is named first."""
    said = (action.place, action.facing, action.bars, action.status)
    return action.action, frozenset(action.subjects), said, tuple(action.values)


def _said(proposal: Proposal, by: str | None) -> str:
    facing, whom = proposal.action.facing, f" by {by}" if by else ""
    said, comma, span = proposal.said.partition(", ")
    return (said or words(proposal.action) + (f" facing {facing}" if facing else "")) + whom + comma + span
