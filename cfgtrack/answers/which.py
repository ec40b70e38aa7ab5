"""Which one: what could stand in a unit's place, where could it be put, what could a port be mated with?"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from cfgtrack.analysis import check as analysis
from cfgtrack.analysis import which as sides
from cfgtrack.analysis.check import CheckReport
from cfgtrack.analysis.which import Candidate, SideBySide, Tried, Wanted
from cfgtrack.answers.asking import Asking
from cfgtrack.answers.check import single
from cfgtrack.answers.moment import Answer
from cfgtrack.answers.past import Past, rules_to_judge_by
from cfgtrack.answers.proposing import proposed, telling_new_starts
from cfgtrack.model.action import NOTES, REMARK
from cfgtrack.model.event import Event
from cfgtrack.model.plant import owner_of
from cfgtrack.model.sequence import Sequence as Proposal
from cfgtrack.model.time import SECOND
from cfgtrack.model.trouble import BadInput, NoAnswer, Problem
from cfgtrack.model.unknown import PLACE, PORT, UNKNOWN, expect_thing
from cfgtrack.rules.condition import Condition
from cfgtrack.rules.rule import RuleSet
from cfgtrack.rules.several import Several
from cfgtrack.rules.what.done import Done

STAND_IN, STOWAGE, CONNECTION = "stand-in", "stowage", "connection"

UNIT = ("unit",)

MOST_TRIED = 12
"""How many candidates are tried in a plan at most; the others are told untried."""


_EVERY = {STOWAGE: sides.places_for, CONNECTION: sides.ports_for}

_MOST_LACKING = 3
"""How many things are told that a unit lacks."""


@dataclass(frozen=True, slots=True)
class Which(Answer):
    """Who could do, the best first.

    `role` says for what: a `stand-in` for the unit `thing`, a `stowage` for it, or a `connection` for the port.
    `tried_in` names the plan that each was tried in, None where there is none; `instead_of` what it was put in the
    place of there, and `untried` how many weren't tried. `check_out` says what counts as one.
    """

    role: str
    thing: str
    candidates: tuple[Candidate, ...]
    tried_in: str | None
    instead_of: str | None
    untried: int
    check_out: str


def which(
    asking: Asking,
    thing: str,
    role: str,
    sequence: Path | None = None,
    *,
    among: Sequence[str] = (),
    action: str | None = None,
    check_out: str | None = None,
    rules: Sequence[Path] = (),
) -> Which:
    """Return what could stand in for a unit, take it, or be mated with a port, side by side, the best first.

    Each is tried in the sequence file, else in what is left of the plan in force, if there is one; or in a single
    `action`. Only those `among` some things are compared where any are named. `check_out` is what counts as one: an
    action, with a quantity if need be ("measure voltage"), or the id of a rule that asks for something done; else
    any look or reading.
    """
    with asking.read() as journal:
        past = Past(journal, asking.moment(journal))
        thing = expect_thing(past.plant, thing, PORT if role == CONNECTION else UNIT)
        chosen = rules_to_judge_by(past, rules)
        asked = _Asked(past, chosen, thing, role, _plan(past, sequence, action))
        named = [expect_thing(past.plant, one, asked.sort) for one in among]
        found, untried = asked.candidates(named)
        wanted = _wanted(chosen, check_out)
        entries = journal.entries(at=past.moment.at, known=past.moment.known)
        outs = sides.check_outs(entries, [one.thing for one in found], wanted)
        found = [replace(one, checked=outs.get(one.thing)) for one in found]
        plan = asked.plan
        return Which(
            past.moment,
            role,
            thing,
            tuple(sides.ranked(found, past.moment.at, asked.used)),
            None if plan is None else plan.title or plan.where or "the action",
            asked.used,
            untried,
            str(wanted),
            notes=() if plan is not None else (_NOT_TRIED,),
        )


_NOT_TRIED = "note: nothing was tried: name a sequence file, adopt a plan, or say an action with --do"


def _plan(past: Past, sequence: Path | None, action: str | None) -> Proposal | None:
    """Return what candidates are tried in, None where there is nothing."""
    if action is not None:
        return single(action, past.plant)
    if sequence is not None:
        return proposed(past, sequence).sequence
    try:
        return proposed(past, None).sequence
    except NoAnswer:
        return None


def _wanted(rules: RuleSet, said: str | None) -> Wanted:
    """Return what counts as a check-out. BadInput for what is neither an action nor a rule that asks for one."""
    if not said:
        return Wanted()
    for rule in rules.rules:
        if rule.id == said:
            asked = [one for condition in rule.conditions() for one in _asked_done(condition)]
            if asked:
                return Wanted(
                    tuple(dict.fromkeys(a for one in asked for a in one.actions)), asked[0].quantity
                )
            raise BadInput(
                Problem("--check-out", "unexpected", f"rule {said} asks for nothing that was done", said)
            )
    action, _, quantity = said.partition(" ")
    if action not in NOTES - {REMARK} and action not in _actions(rules):
        sentence = f"{said} is neither an action that looks or measures nor the id of a rule"
        raise BadInput(Problem("--check-out", UNKNOWN, sentence, said))
    return Wanted((action,), quantity.strip())


def _actions(rules: RuleSet) -> set[str]:
    conditions = (condition for rule in rules.rules for condition in rule.conditions())
    return {action for condition in conditions for one in _asked_done(condition) for action in one.actions}


def _asked_done(condition: Condition) -> Iterator[Done]:
    if isinstance(condition, Done):
        yield condition
    elif isinstance(condition, Several):
        for part in condition.parts:
            yield from _asked_done(part)


def _lacking(lacking: Sequence[str]) -> str:
    more = len(lacking) - _MOST_LACKING
    told = [*lacking[:_MOST_LACKING], *([f"{more} more"] if more > 0 else [])]
    return f": {'; '.join(told)}" if told else ""


class _Asked:
    """Candidates for one thing, tried in a plan where there is one. `used` is what the plan uses in their role."""

    def __init__(self, past: Past, rules: RuleSet, thing: str, role: str, plan: Proposal | None) -> None:
        self._past, self._rules, self._thing, self._role = past, rules, thing, role
        self.now, self.plan = past.configuration, plan
        self.sort = {STAND_IN: UNIT, STOWAGE: PLACE, CONNECTION: PORT}[role]
        self.used = None if plan is None else self._used(plan)
        self._every = list(
            sides.stand_ins(self.now, thing, plan) if role == STAND_IN else _EVERY[role](self.now, thing)
        )
        clocks = past.clocks() if past.are_kept else []
        units = [one for one in (thing, *self._every) if one in past.plant.units]
        self._sides = SideBySide(self.now, past.networks, clocks, units)
        self._travels = sides.Travels(self.now, () if plan is None else self._as_planned(plan))

    def _used(self, plan: Proposal) -> str | None:
        if self._role == STAND_IN:
            return sides.used_for(plan, self.now, self._thing)
        if self._role == STOWAGE:
            return sides.put_at(plan, self._thing)
        return sides.mated_with(plan, self._thing)

    def _as_planned(self, plan: Proposal) -> list[tuple[Event, int]]:
        report = self._check(plan)
        takes = {step.id: step.takes[1] for step in plan.steps}
        return [(one.outcome, takes[one.step]) for one in report.steps if isinstance(one.outcome, Event)]

    def _check(self, plan: Proposal) -> CheckReport:
        with telling_new_starts(plan):
            return analysis.check(
                self._rules,
                self._past.start_for(self._rules),
                plan,
                variances=self._past.variances,
                networks=self._past.networks,
                begun=self._past.begun,
                acknowledgements=self._past.acknowledgements,
            )

    def candidates(self, among: Sequence[str]) -> tuple[list[Candidate], int]:
        """Return the candidates, of those named where any are; and how many weren't tried."""
        things = [one for one in self._every if not among or one in among]
        unfit = [one for one in among if one not in things]
        if unfit:
            raise NoAnswer(Problem(unfit[0], "unfit", self._unfit(unfit[0])))
        if not things:
            raise NoAnswer(Problem(self._thing, "none", self._nothing()))
        # The best of those that aren't tried yet are tried first.
        at = self._past.moment.at
        found = sides.ranked(map(self._as_it_is, things), at, self.used)
        if self.plan is None or self.used is None:
            return found, 0
        tried = [self._tried(one) for one in found[:MOST_TRIED]]
        rest = [replace(one, tried=Tried(sides.UNTRIED)) for one in found[MOST_TRIED:]]
        return [*tried, *rest], len(rest)

    def _unfit(self, thing: str) -> str:
        said = f"{thing} can't be a {self._role} for {self._thing}"
        if self._role != STAND_IN or thing == self._thing:
            return said
        needed = sides.interfaces(self.now, self._thing, self.plan)
        return said + _lacking([*sides.lacks(self._past.plant, thing, needed)])

    def _nothing(self) -> str:
        """Return that nothing could do, and of a unit what comes nearest and what that lacks."""
        if self._role != STAND_IN:
            return f"nothing here can be a {self._role} for {self._thing}"
        said = f"no other unit could stand in for {self._thing}"
        near = sides.nearest(self.now, self._thing, self.plan)
        return said if near is None else f"{said}; nearest is {near[0]}{_lacking(near[1])}"

    def _as_it_is(self, thing: str) -> Candidate:
        """Return a candidate as things are, untried."""
        past, now = self._past, self.now
        told = self._sides.candidate(thing)
        remarks = past.journal.remarks([thing], at=past.moment.at, known=past.moment.known)
        ends = (owner_of(thing), owner_of(self._thing))
        here, there = (sides.stands_at(now, owner) for owner in ends)
        if self._role == STOWAGE:
            here = thing
        fetch = self._travels.between(here, there) if self.plan is not None else None
        told = replace(told, remarks=len(remarks), fetch_seconds=None if fetch is None else fetch / SECOND)
        if self._role == STOWAGE:
            connectors = tuple(self._sides.connectors(self._thing, thing))
            return replace(told, room=self._sides.room(thing), connectors=connectors)
        return replace(told, wear=self._sides.wear([thing], Counter()))

    def _tried(self, one: Candidate) -> Candidate:
        """Return a candidate as the plan with it in it is judged."""
        plan = self._with(one.thing)
        tried = replace(one, tried=sides.tried(self._check(plan)))
        if self._role == STOWAGE:
            return tried
        return replace(tried, wear=self._sides.wear([one.thing], sides.joins_in(plan, self.now)))

    def _with(self, thing: str) -> Proposal:
        assert self.plan is not None
        assert self.used is not None
        if thing == self.used:
            return self.plan
        if self._role == STOWAGE:
            return sides.put_elsewhere(self.plan, self._thing, thing, self._facing(thing))
        return sides.exchanged(self.plan, self.used, thing)

    def _facing(self, place: str) -> str | None:
        """Return how a unit would stand at a place: as it stands now if it may."""
        ways = self._past.plant.places[place].ways_round
        mine = self.now.state(self._thing).other
        return mine if mine in ways else ways[0]
