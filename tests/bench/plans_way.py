"""The shortest way for full exchanges, with as many interfaces as the demo's unit has, beside an optimal planner's."""

from __future__ import annotations

import time
from contextlib import chdir
from functools import partial
from tempfile import TemporaryDirectory

from cfgtrack.analysis.check import Start
from cfgtrack.analysis.goal import Goal, Want, swap
from cfgtrack.analysis.way import find_way
from cfgtrack.files.definition import shipped
from cfgtrack.model.action import Action
from cfgtrack.model.configuration import Configuration
from cfgtrack.model.part import InternalLink, Node, Part, Port
from cfgtrack.model.plant import Place, Plant, Unit
from cfgtrack.rules.match import ActionMatch
from cfgtrack.rules.rule import Rule, RuleSet
from cfgtrack.rules.selection import IT, Selection
from cfgtrack.rules.what.no_path import NoPath
from cfgtrack.rules.what.status import Status
from cfgtrack.rules.when.at import At
from tests.bench.bench_rules import peak
from tests.happening import happened

BOLTS, COUPLINGS, CONNECTORS = 8, 6, 4
"""What the demo's unit is fixed and joined by: see demo/bolts.csv, couplings.csv and connectors.csv."""

PATIENCE = 60
"""So many seconds the planner is waited for."""


def exchange(units=1, bolts=BOLTS, couplings=COUPLINGS, connectors=CONNECTORS, *, sited=False):
    """Return rules, start and goal of the exchange of some units, each on a seat of its own, for their spares.

    With `sited` the seats are at one site, what is stored at another, where ANN is.
    """
    defaults = shipped()
    names = {
        "bolt": [f"B{n}" for n in range(bolts)],
        "fluid-disconnect": [f"F{n}" for n in range(couplings)],
        "electrical-connector": [f"C{n}" for n in range(connectors)],
    }
    half = {name: Port(name, kind) for kind, several in names.items() for name in several}
    thing = Part(
        "thing",
        ports=half,
        nodes={"OIL": Node("OIL", "fluid"), "LOAD": Node("LOAD", "power", roles=frozenset({"load"}))},
        links=tuple(
            [InternalLink(name, "OIL") for name in names["fluid-disconnect"]]
            + [InternalLink(name, "LOAD") for name in names["electrical-connector"]]
        ),
    )
    valves = {f"V{n}": Port(f"V{n}", "valve") for n in range(couplings)}
    switches = {f"S{n}": Port(f"S{n}", "switch") for n in range(connectors)}
    seat = Part(
        "seat",
        ports={**half, **valves, **switches},
        nodes={
            "MAIN": Node("MAIN", "fluid", roles=frozenset({"source"})),
            "BUS": Node("BUS", "power", roles=frozenset({"source"})),
        },
        links=tuple(
            [InternalLink(f"F{n}", "MAIN", f"V{n}") for n in range(couplings)]
            + [InternalLink(f"C{n}", "BUS", f"S{n}") for n in range(connectors)]
        ),
    )
    places = {"YARD": Place("YARD")}
    if sited:
        places |= {name: Place(name, "YARD", site=True) for name in ("BAY", "SHED")}
        places["ANN"] = Place("ANN", "SHED", mobile=True)
    bay, shed = ("BAY", "SHED") if sited else ("YARD", "YARD")
    made: dict[str, Unit] = {}
    goals = []
    for unit in range(units):
        places[f"SEAT{unit}"] = Place(f"SEAT{unit}", bay, part="seat", capacity=1)
        places[f"STORE{unit}"] = Place(f"STORE{unit}", shed)
        made |= {f"OLD{unit}": Unit(f"OLD{unit}", "thing"), f"NEW{unit}": Unit(f"NEW{unit}", "thing")}
    plant = Plant(defaults.media, defaults.kinds, {"thing": thing, "seat": seat}, made, places)
    now = Configuration(plant)

    def found(*subjects, **told):
        now.apply(happened(now, Action("e", "as-found", subjects, 0, initial=True, **told)))

    for unit in range(units):
        found(f"OLD{unit}", place=f"SEAT{unit}")
        found(f"NEW{unit}", place=f"STORE{unit}")
        for kind, status in (
            ("bolt", "torqued"),
            ("fluid-disconnect", "mated"),
            ("electrical-connector", "mated"),
        ):
            for name in names[kind]:
                found(f"OLD{unit}:{name}", f"SEAT{unit}:{name}", status=status)
        for name in valves:
            found(f"SEAT{unit}:{name}", status="open")
        for name in switches:
            found(f"SEAT{unit}:{name}", status="on")
    for unit in range(units):
        goals += [*swap(now, f"OLD{unit}", f"NEW{unit}", f"STORE{unit}")]
        goals += [Want(f"SEAT{unit}:{n}", ("open",)) for n in valves] + [
            Want(f"SEAT{unit}:{n}", ("on",)) for n in switches
        ]

    def at(name, action, kind, condition):
        match = ActionMatch(action, Selection(kinds=(kind,)))
        return Rule(name, "", "", 2, "common practice", At(match), condition)

    rules = RuleSet(
        (
            at(
                "shut-first",
                ("mate", "demate"),
                "fluid-disconnect",
                NoPath("fluid", IT, Selection(media=("fluid",), source=True)),
            ),
            at(
                "dead-first",
                ("mate", "demate"),
                "electrical-connector",
                NoPath("power", IT, Selection(media=("power",), source=True)),
            ),
            at(
                "held-first",
                ("mate",),
                "fluid-disconnect",
                Status(Selection(of="ports of it", kinds=("bolt",), ids=("NEW*",)), ("torqued",)),
            ),
            at(
                "parted-first",
                ("release",),
                "bolt",
                Status(
                    Selection(
                        of="ports of it", kinds=("fluid-disconnect", "electrical-connector"), ids=("OLD*",)
                    ),
                    ("demated", "capped"),
                ),
            ),
        )
    )
    return rules, Start(configuration=now), Goal(tuple(goals))


# --- the same, for the planner --------------------------------------------------------------------------------------


def as_problem(units=1, bolts=BOLTS, couplings=COUPLINGS, connectors=CONNECTORS):  # noqa: C901 - one model, written out
    """Return the exchange as unified-planning has it, written from what it is, not from the plant."""
    from unified_planning.model.metrics import MinimizeSequentialPlanLength
    from unified_planning.shortcuts import InstantaneousAction, Not, Problem, get_environment

    get_environment().credits_stream = None
    plan = Problem("exchange")

    def fact(name, now=False):
        return plan.add_fluent(name, default_initial_value=now)

    def action(name, needs, denies, makes, unmakes):
        new = InstantaneousAction(name)
        for one in needs:
            new.add_precondition(one())
        for one in denies:
            new.add_precondition(Not(one()))
        for one in makes:
            new.add_effect(one, True)
        for one in unmakes:
            new.add_effect(one, False)
        plan.add_action(new)

    for u in range(units):
        seated = {x: fact(f"{x}{u}_seated", x == "old") for x in ("old", "new")}
        joined = {
            x: [
                [fact(f"{x}{u}_{kind}{n}", x == "old") for n in range(count)]
                for kind, count in (("b", bolts), ("f", couplings), ("c", connectors))
            ]
            for x in seated
        }
        tight = {x: [fact(f"{x}{u}_t{n}", x == "old") for n in range(bolts)] for x in seated}
        gates = [
            [fact(f"v{u}_{n}", True) for n in range(couplings)],
            [fact(f"s{u}_{n}", True) for n in range(connectors)],
        ]
        for x, other in (("old", "new"), ("new", "old")):
            bolted, coupled, connected = joined[x]
            for n, one in enumerate(bolted):
                free = [one, joined[other][0][n]]
                action(f"engage_{x}{u}_{n}", [seated[x]], free, [one], [])
                action(f"torque_{x}{u}_{n}", [one], [tight[x][n]], [tight[x][n]], [])
                must = [*coupled, *connected] if x == "old" else []
                action(f"release_{x}{u}_{n}", [one], must, [], [one, tight[x][n]])
            for several, ways in ((coupled, gates[0]), (connected, gates[1])):
                for n, (one, gate) in enumerate(zip(several, ways, strict=True)):
                    twin = joined[other][1 if several is coupled else 2][n]
                    # Live by its own valve or switch, or by any other that is joined to the same unit.
                    held = tight[x] if x == "new" and several is coupled else []
                    live = [(o, g) for m, (o, g) in enumerate(zip(several, ways, strict=True)) if m != n]
                    for mask in ("joined", "shut") if live else ("",):
                        denied = [o for o, _ in live] if mask == "joined" else [g for _, g in live]
                        action(
                            f"mate_{x}{u}_{one.name}_{mask}",
                            [seated[x], *held],
                            [one, twin, gate, *denied],
                            [one],
                            [],
                        )
                        action(f"demate_{x}{u}_{one.name}_{mask}", [one], [gate, *denied], [], [one])
            there = [one for several in joined[x] for one in several]
            action(f"away_{x}{u}", [seated[x]], there, [], [seated[x]])
            action(f"seat_{x}{u}", [], [seated[x], seated[other]], [seated[x]], [])
            for one in (*(tight["new"] if x == "new" else ()), *(there if x == "new" else ())):
                plan.add_goal(one())
        for several in gates:
            for gate in several:
                action(f"shut_{gate.name}", [gate], [], [], [gate])
                action(f"open_{gate.name}", [], [gate], [gate], [])
                plan.add_goal(gate())
    plan.add_quality_metric(MinimizeSequentialPlanLength())
    return plan


def planned(problem):
    """Have the planner find the shortest way, None where it is given up."""
    from unified_planning.shortcuts import OneshotPlanner

    # It leaves its files where it stands when it is given up.
    with TemporaryDirectory() as away, chdir(away), OneshotPlanner(name="fast-downward-opt") as planner:
        return planner.solve(problem, timeout=PATIENCE).plan


def main():
    """Print how long the shortest ways take, and what memory, beside the planner with the same problem."""
    for units in (1, 2):
        search = partial(find_way, *exchange(units))
        took = []
        for _ in range(3):
            started = time.perf_counter()
            way = search()
            took.append(time.perf_counter() - started)
        memory = peak(search)
        problem, started = as_problem(units), time.perf_counter()
        plan = planned(problem)
        theirs = time.perf_counter() - started
        length = None if plan is None else len(plan.actions)
        print(
            f"exchange of {units}: {way.found.cost} steps proved {way.found.proved} in {min(took):.2f} s,"
            f" {way.looked} situations, {memory:.0f} MB; planner: {length} steps in {theirs:.1f} s"
            f"{'' if length else ' (given up)'}, ratio {'' if length else 'above '}{theirs / min(took):.1f}"
        )


if __name__ == "__main__":
    main()
