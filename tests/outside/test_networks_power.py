"""Power networks that nobody here made, shipped with pandapower 3.5, loaded as plants and switched switch by switch.

A bus is a unit with one connector a branch; a branch (line, transformer, bus-to-bus switch) is a unit with two
connectors and its switches in a row between them, so that an open switch at one end drops the whole branch, as in
pandapower.
"""

import random
from collections import defaultdict

import pytest

from cfgtrack.files.definition import shipped
from cfgtrack.model.action import Action
from cfgtrack.model.configuration import Configuration
from cfgtrack.model.event import Event
from cfgtrack.model.part import InternalLink, Node, Part, Port
from cfgtrack.model.plant import Plant, Unit
from cfgtrack.rules.engine import Engine
from cfgtrack.rules.rule import Rule, RuleSet
from cfgtrack.rules.selection import Selection
from cfgtrack.rules.what.path import Path
from cfgtrack.rules.when.always import Always
from tests.happening import happened

NETWORKS = ["simple_mv_open_ring_net", "create_cigre_network_mv", "example_simple", "mv_oberrhein"]
BUSES = Selection(ids=("B-*:bus",))
RULE = Rule("fed", "", "", 2, "", Always(), Path("power", Selection(of="it"), Selection(source=True)), BUSES)


def load(name):
    """Return one of pandapower's networks."""
    import pandapower.networks

    return getattr(pandapower.networks, name)()


def unsupplied(net):
    """Return by pandapower which buses no power path leads to."""
    from pandapower.topology import unsupplied_buses

    return {f"B-{bus}:bus" for bus in unsupplied_buses(net)}


def branches(net):
    """Yield (name, bus, bus, its switches) for every branch that is in service."""
    for sort, table, ends in (
        ("l", net.line, ("from_bus", "to_bus")),
        ("t", net.trafo, ("hv_bus", "lv_bus")),
    ):
        for index, row in table[table.in_service].iterrows():
            mine = net.switch[(net.switch.et == sort) & (net.switch.element == index)]
            yield f"{sort}{index}", row[ends[0]], row[ends[1]], list(mine.index)
    for index, row in net.switch[net.switch.et == "b"].iterrows():
        yield f"b{index}", row.bus, row.element, [index]


class Power:
    """A power network as a plant, with its switches as they are in the network."""

    def __init__(self, net):
        defaults = shipped()
        parts, units, mates, self.switches = {}, {}, [], {}
        joints: dict[int, int] = defaultdict(int)
        for name, a, b, switches in branches(net):
            gates = {f"S{i}": Port(f"S{i}", "switch") for i in switches}
            points = ["A", *(f"n{i}" for i in range(len(gates) - 1)), "B"]
            nodes = {n: Node(n, "power") for n in points[1:-1]}
            ports = {p: Port(p, "electrical-connector") for p in ("A", "B")}
            row = zip(points, points[1:], [*gates] or [""], strict=False)
            links = tuple(InternalLink(*link) for link in row)
            parts[name] = Part(name, ports={**ports, **gates}, nodes=nodes, links=links)
            units[f"X-{name}"] = Unit(f"X-{name}", name)
            self.switches.update({i: f"X-{name}:S{i}" for i in switches})
            for half, bus in (("A", a), ("B", b)):
                mates.append((f"X-{name}:{half}", f"B-{bus}:P{joints[bus]}"))
                joints[bus] += 1
        slack = {*net.ext_grid[net.ext_grid.in_service].bus, *net.gen[net.gen.in_service & net.gen.slack].bus}
        for bus in net.bus.index[net.bus.in_service]:
            ports = {f"P{i}": Port(f"P{i}", "electrical-connector") for i in range(joints[bus])}
            node = Node("bus", "power", roles=frozenset({"source"} if bus in slack else ()))
            links = tuple(InternalLink("bus", p) for p in ports)
            parts[f"bus{bus}"] = Part(f"bus{bus}", ports=ports, nodes={"bus": node}, links=links)
            units[f"B-{bus}"] = Unit(f"B-{bus}", f"bus{bus}")
        self.now = Configuration(Plant(defaults.media, defaults.kinds, parts, units, {}))
        for pair in mates:
            self.found(pair, "mated")
        for index, switch in self.switches.items():
            self.found((switch,), "on" if net.switch.closed.at[index] else "off")

    def found(self, subjects, status):
        """Set a state, as found at the start."""
        action = Action("start", "as-found", subjects, 0, status=status, initial=True)
        self.now.apply(happened(self.now, action))


def open_findings(engine):
    """Return the subjects of all findings that are open."""
    engine.settle()
    return {s for f in engine.findings() if f.until is None for s in f.subjects}


@pytest.mark.filterwarnings(
    "ignore:tap_dependency_table:DeprecationWarning"
)  # mv_oberrhein's own data are old
@pytest.mark.parametrize("name", NETWORKS)
def test_unsupplied_switch_by_switch(name):
    """After every switch thrown, the power rule is broken for exactly the buses that pandapower finds unsupplied."""
    net = load(name)
    power = Power(net)
    engine = Engine(RuleSet((RULE,)), power.now, start=0, touched=power.switches.values())
    assert open_findings(engine) == unsupplied(net)
    r, lost = random.Random(11), 0
    for time in range(1, 61):
        index = r.choice(sorted(power.switches))
        closed = bool(net.switch.closed.at[index])
        net.switch.loc[index, "closed"] = not closed
        engine.step(
            Event(f"e{time}", "de-energise" if closed else "energise", (power.switches[index],), time)
        )
        assert open_findings(engine) == unsupplied(net)
        lost += bool(unsupplied(net))
    assert lost > 5


def test_first_switch_of_the_open_ring():
    """In the ring that is open, switch 1 opened leaves buses 2, 3 and 4 without power (pandapower 3.5, run)."""
    net = load("simple_mv_open_ring_net")
    power = Power(net)
    engine = Engine(RuleSet((RULE,)), power.now, start=0)
    engine.step(Event("e1", "de-energise", (power.switches[1],), 1))
    assert open_findings(engine) == {"B-2:bus", "B-3:bus", "B-4:bus"}
    (finding,) = engine.findings()
    assert finding.reasons[0].links == (power.switches[1],)
