"""The shortest way, against the plans of an optimal planner: Fast Downward by unified-planning 1.3 (up-fast-downward).

Small random plants: two units that take turns on a seat for one, each with bolts, couplings and connectors, valves and
switches beside them, and random interlocks. The planner's model is written from the trade's own ladders (what is mated
can't be mated; what is bolted down can't be taken away; a seat takes one unit), not from the tool's kinds or its plant.
"""

import random
from contextlib import chdir
from functools import cache
from tempfile import TemporaryDirectory
from typing import Any

import pytest

from cfgtrack.analysis.check import Start, check
from cfgtrack.analysis.goal import Goal, Want
from cfgtrack.analysis.search import Limit
from cfgtrack.analysis.way import find_way
from cfgtrack.files.definition import shipped
from cfgtrack.model.action import Action
from cfgtrack.model.configuration import Configuration
from cfgtrack.model.part import Part, Port
from cfgtrack.model.plant import Place, Plant, Unit
from cfgtrack.model.sequence import Outing, Sequence, Step
from cfgtrack.rules.match import ActionMatch
from cfgtrack.rules.rule import Rule, RuleSet
from cfgtrack.rules.selection import Selection
from cfgtrack.rules.what.all import All
from cfgtrack.rules.what.any import AnyOf
from cfgtrack.rules.what.not_ import Not
from cfgtrack.rules.what.status import Status
from cfgtrack.rules.when.at import At
from cfgtrack.rules.when.by import By
from tests.happening import happened

UNITS = ("X", "Y")
MOST = 800
"""So many situations are tried at most: two of the plants would take some thousands."""

LADDERS = {
    "b": ("released", "engaged", "torqued"),
    "f": ("capped", "demated", "mated"),
    "v": ("shut", "open"),
}
LADDERS |= {"c": LADDERS["f"], "s": ("off", "on")}
KINDS = {"b": "bolt", "f": "fluid-disconnect", "c": "electrical-connector", "v": "valve", "s": "switch"}
VERBS = {
    "b": ("engage", "torque", "release"),
    "f": ("mate", "demate", "cap", "uncap"),
    "c": ("mate", "demate", "cap", "uncap"),
    "v": ("open", "shut"),
    "s": ("energise", "de-energise"),
}


class Puzzle:
    """A random plant: `shared` ports are on both units and on the seat, `own` ones on the seat alone.

    `start` and `goal` are statuses by address, `at` which unit stands on the seat. A lock is of a verb and an address:
    what it asks is any of some sets of (address, status), all of each, or none of them.
    """

    def __init__(self, seed):
        draw = random.Random(seed)
        self.shared = [f"{kind}{n}" for kind in "bfc" for n in range(draw.randint(0, 2))] or ["b0"]
        self.own = [f"{kind}{n}" for kind in "vs" for n in range(draw.randint(0, 2))]
        self.at, self.wanted_at = draw.choice(UNITS), draw.choice(UNITS)
        self.start = self.statuses(draw, self.at, draw.random())
        whole = self.statuses(draw, self.wanted_at, draw.random())
        self.goal = {a: s for a, s in whole.items() if draw.random() < 0.7}
        self.end = dict(draw.sample(sorted(whole.items()), min(1, len(whole))))
        self.locks = [self.lock(draw) for _ in range(draw.randint(2, 10))]

    def statuses(self, draw, at, joined):
        """Return random statuses of all ports, where one unit stands on the seat."""
        out = {f"SEAT:{p}": draw.choice(LADDERS[p[0]]) for p in self.own}
        for port in self.shared:
            low, middle, high = LADDERS[port[0]]
            if draw.random() < joined:
                status = draw.choice((middle, high)) if port[0] == "b" else high
                out |= {f"{at}:{port}": status, f"SEAT:{port}": status}
            free = (low,) if port[0] == "b" else (low, middle)
            for owner in (*UNITS, "SEAT"):
                out.setdefault(f"{owner}:{port}", draw.choice(free))
        return out

    def lock(self, draw):
        """Return a random interlock: a verb, an address, and what it asks."""
        address = draw.choice(sorted(self.start))
        others = [a for a in sorted(self.start) if a != address]
        chosen = draw.sample(others, min(len(others), draw.choice((1, 1, 2))))
        asked = [(a, draw.choice(LADDERS[a.partition(":")[2][0]])) for a in chosen]
        return (
            draw.choice(VERBS[address.partition(":")[2][0]]),
            address,
            draw.choice(("all", "any", "none")),
            asked,
        )


# --- as the planner has it ------------------------------------------------------------------------------------------


def their_length(puzzle):  # noqa: C901, PLR0912, PLR0915 - one model, written out
    """Return the number of steps of the planner's shortest plan, None where there is none."""
    from unified_planning.engines import PlanGenerationResultStatus as Status_
    from unified_planning.model.metrics import MinimizeSequentialPlanLength
    from unified_planning.shortcuts import (
        InstantaneousAction,
        OneshotPlanner,
        Problem,
        get_environment,
    )
    from unified_planning.shortcuts import Not as Denied

    get_environment().credits_stream = None
    plan = Problem("seat")
    fact: dict[object, Any] = {}
    halves = [(o, p) for p in puzzle.shared for o in (*UNITS, "SEAT")] + [("SEAT", p) for p in puzzle.own]
    for owner, port in halves:
        for status in LADDERS[port[0]]:
            now = puzzle.start[f"{owner}:{port}"] == status
            fact[owner, port, status] = plan.add_fluent(f"{owner}_{port}_{status}", default_initial_value=now)
    for unit in UNITS:
        fact[unit] = plan.add_fluent(f"{unit}_seated", default_initial_value=puzzle.at == unit)

    def alternatives(verb, halves):
        """Return what the locks on a verb ask, as sets of literals one of which must hold: no disjunctions for it."""
        sets: list[list[Any]] = [[]]
        for lock_verb, address, how, asked in puzzle.locks:
            if lock_verb == verb and address in halves:
                each = [fact[(*a.split(":"), s)]() for a, s in asked]
                choices = (
                    [each]
                    if how == "all"
                    else [[one] for one in each]
                    if how == "any"
                    else [[Denied(one) for one in each]]
                )
                sets = [one + choice for one in sets for choice in choices]
        return sets

    def action(verb, halves, before, after, *needs):
        """Add an action that brings some halves from one status to another, once for each way to be allowed."""
        for literals in alternatives(verb, [f"{o}:{p}" for o, p in halves]):
            new = InstantaneousAction(f"{verb}_{halves[0][0]}_{halves[0][1]}_{len(plan.actions)}")
            for need in (*needs, *literals):
                new.add_precondition(need)
            for owner, port in halves:
                new.add_precondition(fact[owner, port, before]())
                new.add_effect(fact[owner, port, before], False)
                new.add_effect(fact[owner, port, after], True)
            plan.add_action(new)

    for unit in UNITS:
        for port in puzzle.shared:
            pair, there = ((unit, port), ("SEAT", port)), fact[unit]()
            low, middle, high = LADDERS[port[0]]
            if port[0] == "b":
                action("engage", pair, low, middle, there)
                action("torque", pair, middle, high, there)
                action("release", pair, middle, low, there)
                action("release", pair, high, low, there)
            else:
                action("mate", pair, middle, high, there)
                action("demate", pair, high, middle, there)
        seat, leave = InstantaneousAction(f"seat_{unit}"), InstantaneousAction(f"leave_{unit}")
        for other in UNITS:
            seat.add_precondition(Denied(fact[other]()))
        seat.add_effect(fact[unit], True)
        leave.add_precondition(fact[unit]())
        for port in puzzle.shared:
            for status in LADDERS[port[0]]:
                if status in ("engaged", "torqued", "mated"):
                    leave.add_precondition(Denied(fact[unit, port, status]()))
        leave.add_effect(fact[unit], False)
        plan.add_actions((seat, leave))
    for owner, port in halves:
        kind, half = port[0], (owner, port)
        if kind in "fc":
            action("cap", [half], "demated", "capped")
            action("uncap", [half], "capped", "demated")
        elif kind in "vs":
            low, high = LADDERS[kind]
            action(VERBS[kind][0], [half], low, high)
            action(VERBS[kind][1], [half], high, low)
    for address, status in (*puzzle.goal.items(), *puzzle.end.items()):
        plan.add_goal(fact[(*address.split(":"), status)]())
    plan.add_goal(fact[puzzle.wanted_at]())
    plan.add_quality_metric(MinimizeSequentialPlanLength())
    # The planner leaves files where it stands: two at once would read each other's.
    with TemporaryDirectory() as folder, chdir(folder), OneshotPlanner(name="fast-downward-opt") as planner:
        result = planner.solve(plan)
    if result.plan is None:
        assert result.status in (Status_.UNSOLVABLE_PROVEN, Status_.UNSOLVABLE_INCOMPLETELY)
        return None
    assert result.status is Status_.SOLVED_OPTIMALLY
    return len(result.plan.actions)


# --- as the tool has it ---------------------------------------------------------------------------------------------


def plant_of(puzzle):
    """Return where the puzzle starts, and its rules."""
    defaults = shipped()
    thing = Part("thing", ports={p: Port(p, KINDS[p[0]], keying=p, gender="plug") for p in puzzle.shared})
    names = (*puzzle.shared, *puzzle.own)
    seat = Part("seat", ports={p: Port(p, KINDS[p[0]], keying=p, gender="socket") for p in names})
    places = {"SEAT": Place("SEAT", part="seat", capacity=1), "STORE": Place("STORE")}
    units = {unit: Unit(unit, "thing") for unit in UNITS}
    now = Configuration(Plant(defaults.media, defaults.kinds, {"thing": thing, "seat": seat}, units, places))

    def found(*subjects, **told):
        now.apply(happened(now, Action("e", "as-found", subjects, 0, initial=True, **told)))

    for unit in UNITS:
        found(unit, place="SEAT" if unit == puzzle.at else "STORE")
    for address, status in puzzle.start.items():
        owner, port = address.split(":")
        if status not in ("engaged", "torqued", "mated"):
            found(address, status=status)
        elif owner != "SEAT":
            found(address, f"SEAT:{port}", status=status)
    rules = []
    for n, (verb, address, how, asked) in enumerate(puzzle.locks):
        several = tuple(Status(Selection(ids=(a,)), (s,)) for a, s in asked)
        condition = All(several) if how == "all" else AnyOf(several) if how == "any" else Not(AnyOf(several))
        match = ActionMatch((verb,), Selection(ids=(address,)))
        rules.append(Rule(f"lock-{n}", "", "", 2, "common practice", At(match), condition))
    for address, status in puzzle.end.items():
        ended = Status(Selection(ids=(address,)), (status,))
        rules.append(Rule("end", "", "", 2, "common practice", By("outing"), ended))
    return Start(configuration=now), RuleSet(tuple(rules))


def goal_of(puzzle):
    """Return the goal: on whose seat it ends, and the statuses."""
    return Goal((Want(puzzle.wanted_at, places=("SEAT",)), *(Want(a, (s,)) for a, s in puzzle.goal.items())))


@cache
def ways():
    """Return the puzzle, the planner's length and our way, of each seed."""
    out = []
    for seed in range(24):
        puzzle = Puzzle(seed)
        begin, rules = plant_of(puzzle)
        way = find_way(rules, begin, goal_of(puzzle), limit=Limit(MOST))
        out.append((puzzle, their_length(puzzle), way))
    return out


@pytest.mark.parametrize("seed", range(24))
def test_as_short_as_an_optimal_plan(seed):
    """A way has as many steps as the planner's shortest plan, and there is none where that has none; cut short, what it
    says that no way undercuts isn't more than that.
    """
    puzzle, length, way = ways()[seed]
    if way.found.proved:
        assert (None if way.found.way is None else way.found.cost) == length
    else:
        assert length is None or way.found.bound <= length
        assert way.found.way is None or way.found.cost >= length
    if way.events:
        begin, rules = plant_of(puzzle)
        steps = [
            Step(str(n), "1", "1", Action("", e.action, e.subjects, 0, place=e.place), (1, 1, 1))
            for n, e in enumerate(way.events)
        ]
        report = check(rules, begin, Sequence(outings=(Outing("1"),), steps=tuple(steps)))
        assert not report.new


def test_most_are_proved():
    """Of the 24 plants at least 20 are proved, either way, in so few situations."""
    assert sum(way.found.proved for _, _, way in ways()) >= 20
