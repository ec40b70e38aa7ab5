"""The shortest way for full exchanges, with as many interfaces as the demo's unit has, beside an optimal planner's."""

from __future__ import annotations

from cfgtrack.analysis.check import Start
from cfgtrack.analysis.goal import Goal, Want, swap
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
from tests.happening import happened

BOLTS, COUPLINGS, CONNECTORS = 8, 6, 4
"""What the demo's unit is fixed and joined by: see demo/bolts.csv, couplings.csv and connectors.csv."""


def exchange(units=1, bolts=BOLTS, couplings=COUPLINGS, connectors=CONNECTORS):
    """Return rules, start and goal of the exchange of some units, each on a seat of its own, for their spares."""
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
    made: dict[str, Unit] = {}
    goals = []
    for unit in range(units):
        places[f"SEAT{unit}"] = Place(f"SEAT{unit}", "YARD", part="seat", capacity=1)
        places[f"STORE{unit}"] = Place(f"STORE{unit}", "YARD")
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

    ports = Selection(of="ports of it")
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
