"""Which moves may matter for a goal, and what each is known to need: the picture that a search looks ahead by.

It goes backwards: from what is wanted to the moves that bring it about, from what these need to the moves that bring
that about, and so on; what nobody needs isn't touched. What a move needs is taken from the ladders of the kinds, from
places and sites, and from the conditions of the rules (`needs`); the rest the picture leaves out. Only speed hangs on
that: whether a move can be made, and may be, possibility and the rules say each time. What they object to teaches which
further moves may matter (`learn`).
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from itertools import islice

from cfgtrack.analysis.goal import Goal
from cfgtrack.analysis.needs import Clauses, Needs, Pairs
from cfgtrack.analysis.options import doers
from cfgtrack.analysis.relaxed import Clause, Deed, Fact, Picture, in_order
from cfgtrack.model.action import LIFT, PLACE, UNLOCK, Action
from cfgtrack.model.configuration import Configuration
from cfgtrack.model.hold import carries, rigid_group
from cfgtrack.model.kind import Kind, Move
from cfgtrack.model.lock import all_devices
from cfgtrack.model.plant import Place, owner_of
from cfgtrack.model.possibility import Refusal, misfits, outright
from cfgtrack.model.presence import hands_of, needs_nobody, site_of
from cfgtrack.model.quantity import DIMENSIONS, Quantity, from_si, parse_quantity
from cfgtrack.network.network import Network
from cfgtrack.rules.breach import Breach
from cfgtrack.rules.engine import Engine
from cfgtrack.rules.items import OnItems
from cfgtrack.rules.mode import Runner
from cfgtrack.rules.rule import Rule
from cfgtrack.rules.what.value import Value
from cfgtrack.rules.when.at import At
from cfgtrack.rules.when.by import By

_OF_PICTURE = ("picture", "actions", "mentioned", "_numbers", "_asked", "_sited", "_ends", "_written")

MOST_MATES = 16
"""So many partners are thought of for a port that is to be joined to whatever fits: of more, nothing is proved."""

MOST_PROPOSED = 24
"""So many moves are taken up at most of those that a broken rule proposes: of more, nothing is proved."""


class Grounding:
    """The moves for a goal, as deeds of a `picture`; `actions` are what they are, by the same numbers.

    `engine` stands where the way begins.
    """

    def __init__(self, engine: Engine, goal: Goal) -> None:
        self.goal, self.plant = goal, engine.world.plant
        self.engine = engine
        self.first = engine.world.configuration.fork()
        self._sites = [place.id for place in self.plant.places.values() if place.site]
        # What is known of where things may come to be, and what may be joined to what, and what else may help.
        self._mates: dict[str, dict[str | None, None]] = {}
        self._sought: dict[str, None] = {}
        self._spots: dict[str, dict[str, None]] = {}
        self._hints: dict[Fact, None] = {}
        self._further: dict[Clause, None] = {}
        self._proposed: dict[object, Action] = {}
        self._pursued: dict[Fact, None] = {}
        self._needs = Needs(self._spots_of, self._mates_of, self._could_be)
        self._left_out = False
        self._ground()

    @property
    def is_whole(self) -> bool:
        """Whether no move was left out for being one of too many: else what isn't found may be there all the same."""
        return not (self._left_out or self._needs.left_out)

    def _ground(self) -> None:
        """Make the picture: anew as long as that teaches where else things may come to be, or what may be joined."""
        known = -1
        while known != (known := self._known()):
            self._begin()
            self._go_back()

    def _known(self) -> int:
        spots, mates = self._spots.values(), self._mates.values()
        return sum(map(len, spots)) + sum(map(len, mates)) + len(self._pursued)

    def _begin(self) -> None:
        self._needs.forget()
        self._before = self._pursued
        self.picture = Picture()
        self.actions: list[Action] = []
        self._numbers: dict[object, int] = {}
        self._asked: dict[Clause, None] = {}
        # Each is asked once: what more is known by the end of this has all made anew.
        self._asked_of: dict[tuple[str, str | None], Clauses] = {}
        self._written: set[str] = set()
        self._pursued = dict(self._hints)
        self._sited: dict[str, None] = {}
        self._ends: dict[Clause, None] = {}
        for want in self.goal.wants:
            if want.mate:
                self._pair(want.subject, want.mate)
            for place in want.places:
                self._spots_of(want.subject)[place] = None
            self._wish((want.subject, one) for one in (*want.places, *want.statuses))
            if want.mate or want.facing:
                self._wish([(f"{want.subject} to", want.mate or want.facing)])
        for clause in self._further:
            self._wish(clause)
        for runner in self.engine.runners if self.goal.at_end else ():
            if isinstance(runner.rule.mode, By):
                for it in runner.instances.items:
                    if runner.instances.has(it):
                        self._ends.update(
                            dict.fromkeys(self._needs.of(self.engine.world, runner.rule.condition, it))
                        )

    def _could_be(self, network: Network) -> tuple[Iterable[str], Pairs, Pairs]:
        """Return what could carry, be joined and stand where, of a medium: as it is, or as moves may make it."""
        now, plant = self.first, self.plant
        may = {subject for subject, _ in self._before}
        gates = [gate for gate in network.gates if gate in may or carries(now, gate)]
        pairs = {
            (p, m) for p, state in now.touched() if (m := state.other) is not None and p < m and plant.port(p)
        }
        pairs |= {(p, m) for p, mates in self._mates.items() for m in mates if m is not None and p < m}
        seats = {(u, at.value) for u, at in now.touched() if plant.can_move(u)}
        seats |= {(u, at) for u, spots in self._spots.items() for at in spots}
        held = ((u, at) for u, at in seats if at in plant.places and plant.places[at].holds)
        return gates, sorted(pairs), sorted(held)

    # --- what is so ---

    def true(self, now: Configuration) -> frozenset[Fact]:
        """Return the facts of the picture that are so now."""
        out: list[Fact] = []
        for subject in self.mentioned:
            state = now.state(subject)
            out += ((subject, state.value), (f"{subject} to", state.other))
        out += [(f"{thing} in", site_of(now, thing)) for thing in self._sited]
        world = self.engine.world
        out += [fact for fact, (test, item) in self._needs.tests.items() if test.is_met(world, item)]
        return frozenset(out)

    def _is_so(self, clause: Clause) -> bool:
        return any(self._holds(fact) for fact in clause)

    def _holds(self, fact: Fact) -> bool:
        subject, value = fact
        thing, _, sort = subject.partition(" ")
        if sort == "test":
            condition, item = self._needs.tests[fact]
            return condition.is_met(self.engine.world, item)
        if sort == "in":
            return site_of(self.first, thing) == value
        state = self.first.state(thing)
        return (state.other if sort else state.value) == value

    # --- backwards from what is wanted ---

    def _wish(self, facts: Iterable[Fact]) -> None:
        clause = frozenset(facts)
        self.picture.want(clause)
        self._ask(clause)

    def _ask(self, clause: Clause) -> None:
        self._asked[clause] = None

    def _go_back(self) -> None:
        """Ground all moves that bring about what is asked for and isn't so, or may not stay so."""
        for action in self._proposed.values():
            self._take_up(action)
        seen = -1
        while seen != (now := len(self.actions) + len(self._asked) + len(self._pursued)):
            seen = now
            for clause in self._ends:
                if clause not in self.picture.wanted and (
                    not self._is_so(clause) or any(subject in self._written for subject, _ in clause)
                ):
                    self._wish(clause)
            for clause in list(self._apart_at_the_end()):
                self._wish(clause)
            for clause in list(self._asked):
                holds = [fact for fact in clause if self._holds(fact)]
                if not holds or any(subject in self._written for subject, _ in holds):
                    for fact in in_order(clause):
                        self._pursued[fact] = None
            for fact in list(self._pursued):
                self._bring_about(fact)
        mentioned = {
            subject.partition(" ")[0]
            for deed in self.picture.deeds
            for fact in (*deed.gives, *(f for clause in deed.needs for f in clause))
            for subject in (fact[0],)
            if not subject.endswith((" in", " test"))
        }
        mentioned |= {
            s.partition(" ")[0] for c in self.picture.wanted for s, _ in c if not s.endswith((" in", " test"))
        }
        self.mentioned = sorted(mentioned)

    def _apart_at_the_end(self) -> Iterator[Clause]:
        """Yield what must be so at the end as units are wanted at places: they are joined to nothing elsewhere."""
        for want in self.goal.wants:
            for port in (
                self.plant.ports_of(want.subject) if want.places and want.subject in self.plant.units else ()
            ):
                mates = self._mates.get(port, {})
                far = [m for m in mates if m is not None and self._is_far(port, m, want.places)]
                if far:
                    yield frozenset((f"{port} to", m) for m in mates if m not in far)
                for mate in far:
                    yield frozenset((f"{mate} to", m) for m in self._mates_of(mate) if m != port)

    def _is_far(self, port: str, mate: str, spots: tuple[str, ...]) -> bool:
        owner, plant = owner_of(mate), self.plant
        if plant.gives(port, mate) or not self._stands(owner):
            return False
        around = set(plant.ancestors(owner))
        return not any(
            spot in around or owner in plant.ancestors(spot) or plant.is_mobile(spot) for spot in spots
        )

    def _bring_about(self, fact: Fact) -> None:
        subject, value = fact
        thing, _, sort = subject.partition(" ")
        if sort == "test":
            self._test(fact)
        elif sort == "in":
            self._bring_to_site(thing, str(value))
        elif ":" in thing:
            self._along(thing, None if sort else str(value), value if sort else "")
        elif not sort:
            self._put(thing, str(value))

    def _test(self, fact: Fact) -> None:
        condition, item = self._needs.tests[fact]
        for proposal in condition.towards(self.engine.world, item, true=True):
            action = proposal.action
            values = {name: _likely(condition, value) for name, value in action.values.items()}
            found = self.plant.port(item)
            if found is not None and action.action in found[1].moves:
                self._along(item, found[1].moves[action.action].target, "", values=values, gives=(fact,))
            else:
                self._deed(action.action, action.subjects, {fact: None}, frozenset(), [], values=values)

    # --- ports ---

    def _mates_of(self, port: str) -> dict[str | None, None]:
        found = self._mates.get(port)
        if found is None:
            found = self._mates[port] = {None: None}
            mate = self.first.state(port).other
            if mate is not None:
                found[mate] = None
        return found

    def _pair(self, a: str, b: str) -> None:
        self._mates_of(a)[b] = None
        self._mates_of(b)[a] = None

    def _along(
        self,
        port: str,
        status: str | None,
        mate: object = "",
        *,
        values: Mapping[str, Quantity] | None = None,
        gives: tuple[Fact, ...] = (),
    ) -> None:
        """Ground the moves that bring a port to a status; or, of None, to a mate (None: to none)."""
        found = self.plant.port(port)
        if found is None:
            return
        kind = found[1]
        for move in kind.moves.values():
            joins, parts = kind.joins(move), kind.parts(move)
            if status is not None and move.target != status:
                continue
            if status is None and not (parts if mate is None else joins):
                continue
            if kind.is_joined(move.target):
                if mate == "":
                    self._find_mates(port, kind)
                for other in [m for m in self._mates_of(port) if m is not None and mate in ("", m)]:
                    self._move(kind, move, port, other, values, gives)
            elif parts:
                for other in [m for m in self._mates_of(port) if m is not None]:
                    self._move(kind, move, port, other, values, gives)
            if not joins and any(not kind.is_joined(s) for s in move.sources):
                self._move(kind, move, port, None, values, gives)

    def _find_mates(self, port: str, kind: Kind) -> None:
        """Think of all partners of a port, unless it is wanted joined to one: that is what it is joined to before, too.

        That another port may be joined to it says nothing of who else might be.
        """
        if port in self._sought or any(
            port in (want.subject, want.mate) for want in self.goal.wants if want.mate
        ):
            return
        self._sought[port] = None
        every = (
            f"{owner}:{other.name}"
            for owner in self.plant.owners()
            for other in self.plant.part_of(owner).ports.values()
            if kind.mates_with(self.plant.kinds[other.kind])
        )
        fitting = (one for one in every if next(misfits(self.plant, port, one), None) is None)
        for other in islice(fitting, MOST_MATES):
            self._pair(port, other)
        self._left_out |= next(fitting, None) is not None

    def _move(
        self,
        kind: Kind,
        move: Move,
        port: str,
        mate: str | None,
        values: Mapping[str, Quantity] | None,
        gives: tuple[Fact, ...],
    ) -> None:
        joins, joined = kind.joins(move), kind.is_joined(move.target)
        named = (port,) if mate is None or not joins else self._in_order(port, mate)
        if joins and next(misfits(self.plant, *named), None) is not None:
            return
        halves = (port,) if mate is None or (move.each and not joins) else (port, mate)
        facts: dict[Fact, None] = dict.fromkeys(gives)
        needs: Clauses = []
        for half, other in ((port, mate), (mate, port))[: len(halves)]:
            assert half is not None
            facts[half, move.target] = None
            if joins or kind.parts(move):
                facts[f"{half} to", other if joined else None] = None
            sources = [s for s in move.sources if joins or mate is None or kind.is_joined(s)]
            needs.append(frozenset((half, s) for s in sources))
            needs.append(frozenset({(f"{half} to", None if joins else other)}))
        writes = (
            frozenset(s for half in halves for s in (half, f"{half} to"))
            if joins or kind.parts(move)
            else frozenset(halves)
        )
        if joins and mate is not None:
            needs += self._together(port, mate)
        self._deed(
            move.action,
            named if joins else self._said(port, mate),
            facts,
            writes,
            needs,
            of=(port, mate) if mate is not None else (),
            values=values,
        )

    def _in_order(self, port: str, mate: str) -> tuple[str, str]:
        """Return two halves as one says them: what comes before what it is joined to."""
        return (port, mate) if owner_of(port) in self.plant.units else (mate, port)

    def _said(self, port: str, mate: str | None) -> tuple[str, ...]:
        return (port,) if mate is None else self._in_order(port, mate)[:1]

    def _together(self, port: str, mate: str) -> Clauses:
        """Return what must be so for two halves to be in one place."""
        plant, owners = self.plant, (owner_of(port), owner_of(mate))
        if plant.gives(port, mate) or any(map(plant.is_mobile, owners)):
            return []
        unit, place = owners if owners[0] in plant.units else owners[::-1]
        if unit not in plant.units or place not in plant.places:
            return []
        self._spots_of(unit)[place] = None
        line = [*plant.ancestors(place)]
        near = [p for p in plant.places if p in line or place in plant.ancestors(p) or plant.places[p].mobile]
        self._ask(
            frozenset(
                {(unit, place)}
                if self.first.state(unit).value not in near
                else {(unit, p) for p in near if p in self._spots_of(unit)}
            )
        )
        return [frozenset((unit, p) for p in near)]

    # --- things ---

    def _spots_of(self, thing: str) -> dict[str, None]:
        found = self._spots.get(thing)
        if found is None:
            found = self._spots[thing] = {}
            if self.plant.can_move(thing):
                found[self.first.state(thing).value] = None
        return found

    def _put(self, thing: str, spot: str) -> None:
        """Ground a thing's being placed at a spot."""
        place = self.plant.places.get(spot)
        if place is None or not self.plant.can_move(thing) or thing in self.plant.ancestors(spot):
            return
        self._spots_of(thing)[spot] = None
        for facing in place.ways_round:
            going = rigid_group(self.first, thing) if thing in self.plant.units else [thing]
            facts: dict[Fact, None] = {(thing, spot): None, (f"{thing} to", facing): None}
            facts.update(dict.fromkeys((one, spot) for one in going))
            writes = frozenset(s for one in going for s in (one, f"{one} to"))
            needs = [*self._untied(thing), *self._room(place, thing)]
            self._arrive(thing, place, facts)
            action = LIFT if place.mobile and thing in self.plant.units else PLACE
            self._deed(action, (thing,), facts, writes, needs, spot=place, facing=facing)

    def _untied(self, thing: str) -> Iterator[Clause]:
        """Yield what must be so for nothing to tie a thing to what stays."""
        for port in self.plant.ports_of(thing) if thing in self.plant.units else ():
            mates = [m for m in self._mates_of(port) if m is not None]
            ties = [m for m in mates if not self.plant.gives(port, m) and self._stands(owner_of(m))]
            if ties:
                clause = frozenset((f"{port} to", m) for m in self._mates_of(port) if m not in ties)
                self._ask(clause)
                yield clause

    def _stands(self, owner: str) -> bool:
        return owner in self.plant.places and not self.plant.is_mobile(owner)

    def _room(self, place: Place, thing: str) -> Iterator[Clause]:
        """Yield what must be so for a place that takes one thing to be free."""
        if place.capacity != 1 or thing not in self.plant.units:
            return
        for one in self.first.standing_at(place.id):
            self._spots_of(one)
        fixed_to_it = rigid_group(self.first, thing)
        for one in [u for u, spots in self._spots.items() if place.id in spots and u in self.plant.units]:
            if one in fixed_to_it:
                continue
            self._spots_of(one).update(dict.fromkeys(self._ways_off(place)))
            clause = frozenset((one, spot) for spot in self._spots_of(one) if spot != place.id)
            self._ask(clause)
            yield clause

    def _ways_off(self, place: Place) -> Iterator[str]:
        """Yield where a unit may be taken that stands in the way: wherever there is room, or will be in the end.

        Not where it belongs alone: that may be taken by what it makes room for, or locked.
        """
        leaving = {want.subject for want in self.goal.wants if want.places}
        for other in self.plant.places.values():
            if other.id == place.id or other.mobile or self.plant.slots_of(other.id):
                continue
            staying = [
                one
                for one in self.first.standing_at(other.id)
                if one in self.plant.units and one not in leaving
            ]
            if other.capacity is None or len(staying) < other.capacity:
                yield other.id

    def _arrive(self, thing: str, place: Place, facts: dict[Fact, None]) -> None:
        """Note to which sites a thing, and what it may have with it, comes where it is placed."""
        if not self.plant.has_sites:
            return
        sites = (
            self._sites
            if any(map(self.plant.is_mobile, self.plant.ancestors(place.id)))
            else [self._site(place.id)]
        )
        along = [one for one, spots in self._spots.items() if any(self._is_of(thing, spot) for spot in spots)]
        for one in (thing, *along) if self.plant.is_mobile(thing) or not place.mobile else ():
            facts.update(dict.fromkeys((f"{one} in", site) for site in sites))

    def _is_of(self, mobile: str, spot: str) -> bool:
        return mobile in self.plant.ancestors(spot)

    def _site(self, place: str) -> str:
        """Return the site around a place, "" for none, and for what moves, as it may be at any."""
        line = list(self.plant.ancestors(place))
        if any(map(self.plant.is_mobile, line)):
            return ""
        return next((one for one in line if self.plant.places[one].site), "")

    def _bring_to_site(self, thing: str, site: str) -> None:
        self._sited[thing] = None
        if self.plant.is_mobile(thing):
            self._put(thing, site)
            return
        for doer in self._who():
            if doer is not None:
                self._pursued[thing, doer] = None
                self._spots_of(thing)[doer] = None
                self._pursued[f"{doer} in", site] = None

    # --- deeds ---

    def _who(self) -> tuple[str | None, ...]:
        if self.plant.has_sites:
            return self.goal.workers or tuple(doers(self.plant, "", None))
        # Where nobody has to be anywhere one does as well as another: who does it is seen to when all is known.
        return self.goal.workers[:1] or (None,)

    def _deed(
        self,
        name: str,
        subjects: tuple[str, ...],
        gives: dict[Fact, None],
        writes: frozenset[str],
        needs: Clauses,
        *,
        spot: Place | None = None,
        facing: str | None = None,
        of: tuple[str, ...] = (),
        values: Mapping[str, Quantity] | None = None,
    ) -> None:
        """Ground a move, once for each who might do it."""
        moves_itself = spot is not None and self.plant.is_mobile(subjects[0])
        for doer in (subjects[0],) if moves_itself else self._who():
            place = None if spot is None else spot.id
            # What was measured is no part of what it is: a torque with a value will do for one without.
            key = (name, frozenset(of or subjects), place, facing, tuple(values or ()), doer)
            number = self._numbers.get(key)
            if number is not None:
                self.picture.give(number, gives)
                continue
            action = Action(
                "", name, subjects, 0, place=place, facing=facing, by=doer, values=dict(values or {})
            )
            if not self.goal.allows(action):
                continue
            _, likely, _ = self.goal.takes.span(self.plant, action)
            weight = 1 if self.goal.least == "steps" else likely
            number = self._numbers[key] = self.picture.add(Deed(key, dict(gives), writes, weight=weight))
            self.actions.append(action)
            self._written |= writes
            for clause in (*needs, *self._asked_by_rules(action), *self._presence(action, spot)):
                self.picture.need(number, clause)
                self._ask(clause)

    def _asked_by_rules(self, action: Action) -> Iterator[Clause]:
        """Yield what the rules that are tied to an action ask before it, as far as that is the same at all times."""
        event = outright(action)
        for runner in self.engine.runners:
            mode = runner.rule.mode
            if not isinstance(mode, At) or mode.after or action.action not in mode.action.actions:
                continue
            if not _comes_and_goes(runner):
                for it in runner.matcher.items(event):  # type: ignore[attr-defined]
                    asked = self._asked_of.get((runner.rule.id, it))
                    if asked is None:
                        asked = self._needs.of(self.engine.world, runner.rule.condition, it)
                        self._asked_of[runner.rule.id, it] = asked
                    yield from asked

    def _presence(self, action: Action, spot: Place | None) -> Iterator[Clause]:
        """Yield where who does something must be, as far as that is the same at all times."""
        doer = action.by
        if (
            not self.plant.has_sites
            or doer is None
            or needs_nobody(self.plant, action)
            or action.subjects == (doer,)
        ):
            return
        hands = hands_of(self.plant, doer)
        wanted = [(subject, self._site_of(subject)) for subject in action.subjects]
        if spot is not None:
            wanted.append((action.subjects[0], self._site(spot.id)))
            if len(hands) == 1 and self._site(spot.id) and not self.plant.is_mobile(spot.id):
                self._sited[action.subjects[0]] = None
                yield frozenset({(f"{action.subjects[0]} in", self._site(spot.id))})
        for subject, site in wanted:
            port = self.plant.port(subject)
            if site and owner_of(subject) != doer and not (port is not None and port[0].remote):
                for hand in hands:
                    self._sited[hand] = None
                yield frozenset((f"{hand} in", site) for hand in hands)

    def _site_of(self, subject: str) -> str:
        """Return the site of a thing that always is there, or only ever joined there; "" else."""
        port = self.plant.port(subject)
        if port is not None and port[0].site:
            return port[0].site
        owner = owner_of(subject)
        if self._stands(owner):
            return self._site(owner)
        return ""

    # --- what an objection teaches ---

    def begin_anew(self, engine: Engine) -> None:
        """Make the picture anew, with all that was learnt, on an engine that stands where the way begins."""
        self.engine = engine
        self._ground()

    def learn(
        self,
        number: int | None,
        objections: Iterable[Refusal | Breach],
        unmet: Iterable[tuple[Rule, str | None]] = (),
    ) -> bool:
        """Take up what might do away with what speaks against a move, or (None) against ending here; return whether
        that makes another picture. The engine stands where it is so: before the move, of what speaks against it then.
        `unmet` are rules with clocks that run, and for what.
        """
        hints: dict[Fact, None] = {}
        proposed: list[Action] = []
        known, now = len(self._further), self.engine.world.configuration
        for one in objections:
            if isinstance(one, Refusal):
                if number is not None:
                    hints.update(dict.fromkeys(self._hints_of(self.actions[number], one, now)))
                    proposed += self._unlocking(one, now)
                continue
            runner = next(runner for runner in self.engine.runners if runner.rule is one.rule)
            for clause in self._needs.of(self.engine.world, one.rule.condition, one.it):
                hints.update(dict.fromkeys(in_order(clause)))
                if number is None:
                    self._further[clause] = None
                elif is_before(runner) and not _comes_and_goes(runner):
                    self.picture.need(number, clause)
            proposals = iter(self.engine.proposals(one))
            proposed += (p.action for p in islice(proposals, MOST_PROPOSED))
            self._left_out |= next(proposals, None) is not None
        for rule, it in unmet:
            for clause in self._needs.of(self.engine.world, rule.condition, it):
                hints.update(dict.fromkeys(in_order(clause)))
        fresh = [fact for fact in hints if fact not in self._pursued]
        moves = [action for action in proposed if self._is_new(action)]
        if not fresh and not moves and len(self._further) == known:
            return False
        self._hints.update(dict.fromkeys(fresh))
        self._proposed.update((_name(action), action) for action in moves)
        names = set(self._numbers)
        kept = {name: value for name, value in vars(self).items() if name in _OF_PICTURE}
        self._ground()
        if names == set(self._numbers):
            vars(self).update(kept)
            return False
        return True

    def _is_new(self, action: Action) -> bool:
        """Return whether a proposed move is none of those that are known."""
        known = len(self.actions)
        if _name(action) not in self._proposed:
            self._take_up(action)
        return len(self.actions) > known

    def _hints_of(self, action: Action, refusal: Refusal, now: Configuration) -> Iterator[Fact]:
        """Yield what would have to be so, perhaps, for an action to be possible that is refused."""
        subject = refusal.subject
        match refusal.code:
            case "tied" | "gripped" | "tethered" | "not-mates":
                yield f"{subject} to", None
            case "full" if action.place is not None:
                for one in now.standing_at(action.place):
                    if one in self.plant.units and one not in action.subjects:
                        yield from ((one, spot) for spot in self._ways_off(self.plant.places[action.place]))
            case "absent":
                site = self._site_of(subject) or site_of(now, owner_of(subject))
                if action.by and site:
                    yield f"{action.by} in", site
                if action.place and self._site(action.place) not in ("", site):
                    yield f"{action.subjects[0]} in", self._site(action.place)
            case "not-here":
                for one, other in (action.subjects, action.subjects[::-1]):
                    spot = (
                        owner_of(other) if self._stands(owner_of(other)) else now.state(owner_of(other)).value
                    )
                    if owner_of(one) in self.plant.units and spot:
                        yield owner_of(one), spot

    def _unlocking(self, refusal: Refusal, now: Configuration) -> Iterator[Action]:
        for device in all_devices(now) if refusal.code == "locked" else ():
            yield Action("", UNLOCK, (device.thing, device.holder), 0)

    def _take_up(self, action: Action) -> None:
        """Take up a move that a rule proposes."""
        if action.place is not None:
            self._put(action.subjects[0], action.place)
            return
        found = self.plant.port(action.subjects[0])
        move = None if found is None else found[1].moves.get(action.action)
        if move is not None:
            if len(action.subjects) == 2:
                self._pair(*action.subjects)
            values = {
                name: _within(value, self._torque(action.subjects[0]))
                for name, value in action.values.items()
            }
            self._along(action.subjects[0], move.target, values=values or None)
        elif action.values or action.action == UNLOCK:
            self._deed(action.action, action.subjects, {}, frozenset(), [], values=action.values)

    def _torque(self, port: str) -> tuple[float | None, float | None]:
        found = self.plant.port(port)
        return (None, None) if found is None or found[0].torque is None else found[0].torque


def _name(action: Action) -> object:
    return action.action, frozenset(action.subjects), action.place, action.facing, *action.values


def is_before(runner: Runner) -> bool:
    """Return whether a rule is judged just before an action, by what is so then."""
    mode = runner.rule.mode
    return isinstance(mode, At) and not mode.after


def _comes_and_goes(runner: Runner) -> bool:
    """Return whether a rule that is tied to an action is about a thing or not by where that is."""
    match, scope = runner.rule.mode.match, runner.rule.scope
    at = () if scope is None else scope.at
    return match is not None and bool(match.to or match.of.at or match.of.of or at)


def _likely(condition: OnItems, value: Quantity) -> Quantity:
    """Return a value as it may be expected where a condition is to be met, in its own unit, well inside its range."""
    low, high = (condition.low, condition.high) if isinstance(condition, Value) else (None, None)
    return _within(value, (low, high), unit=condition.unit if isinstance(condition, Value) else "")


def _within(value: Quantity, span: tuple[float | None, float | None], unit: str = "") -> Quantity:
    dimension = value.dimension
    unit = unit or (DIMENSIONS[dimension][0] if dimension else "")
    low, high = (None if v is None else from_si(v, unit=unit, dimension=dimension).shown for v in span)
    if low is not None and high is not None:
        shown = 0.0 if low <= 0 <= high else (low + high) / 2
    elif high is not None:
        shown = high / 2 if high > 0 else high * 2
    elif low is not None:
        shown = low * 1.5 if low > 0 else 0.0
    else:
        shown = 1.0
    return parse_quantity(f"{round(shown, 6)} {unit}".strip(), dimension=dimension or None)
