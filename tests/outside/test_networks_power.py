"""Power networks that nobody here made, shipped with pandapower 3.5, converted and switched switch by switch.

What the converter makes of them is a unit a bus, with one connector a branch; a branch (line, transformer, bus-to-bus
switch) is a unit with its switches in a row, so that an open switch at one end drops the whole branch, as in
pandapower.
"""

import random

import pytest

from cfgtrack.model.event import Event
from cfgtrack.rules.engine import Engine
from cfgtrack.rules.rule import Rule, RuleSet
from cfgtrack.rules.selection import Selection
from cfgtrack.rules.what.path import Path
from cfgtrack.rules.when.always import Always
from tests.outside.incoming import AT, Incoming

NETWORKS = ["simple_mv_open_ring_net", "create_cigre_network_mv", "example_simple", "mv_oberrhein"]
BUSES = Selection(ids=("BUS-*:body",))
GRID = Selection(source=True, tags=("grid",))
RULE = Rule("fed", "", "", 2, "", Always(), Path("power", Selection(of="it"), GRID), BUSES)


def load(name):
    """Return one of pandapower's networks."""
    import pandapower.networks

    return getattr(pandapower.networks, name)()


def unsupplied(net):
    """Return by pandapower which buses no power path leads to."""
    from pandapower.topology import unsupplied_buses

    return {f"BUS-{bus}:body" for bus in unsupplied_buses(net)}


class Power:
    """A power network as a plant, with its switches as they are in the network."""

    def __init__(self, net, folder):
        import pandapower

        source = folder / "net.json"
        pandapower.to_json(net, str(source))
        plant = Incoming(source, folder)
        self.now = plant.now
        self.switches = {index: plant.ids["switch port", str(index)] for index in net.switch.index}
        self.served = {f"BUS-{bus}:body" for bus in net.bus.index[net.bus.in_service]}


def open_findings(engine):
    """Return the subjects of all findings that are open."""
    engine.settle()
    return {s for f in engine.findings() if f.until is None for s in f.subjects}


@pytest.mark.filterwarnings(
    "ignore:tap_dependency_table:DeprecationWarning"
)  # mv_oberrhein's own data are old
@pytest.mark.parametrize("name", NETWORKS)
def test_unsupplied_switch_by_switch(name, tmp_path):
    """After every switch thrown, the power rule is broken for exactly the buses that pandapower finds unsupplied."""
    net = load(name)
    power = Power(net, tmp_path)
    engine = Engine(RuleSet((RULE,)), power.now, start=AT, touched=power.switches.values())
    assert open_findings(engine) & power.served == unsupplied(net)
    r, lost = random.Random(11), 0
    for time in range(1, 61):
        index = r.choice(sorted(power.switches))
        closed = bool(net.switch.closed.at[index])
        net.switch.loc[index, "closed"] = not closed
        engine.step(
            Event(f"e{time}", "de-energise" if closed else "energise", (power.switches[index],), AT + time)
        )
        assert open_findings(engine) & power.served == unsupplied(net)
        lost += bool(unsupplied(net))
    assert lost > 5


def test_first_switch_of_the_open_ring(tmp_path):
    """In the ring that is open, switch 1 opened leaves buses 2, 3 and 4 without power (pandapower 3.5, run)."""
    net = load("simple_mv_open_ring_net")
    power = Power(net, tmp_path)
    engine = Engine(RuleSet((RULE,)), power.now, start=AT)
    engine.step(Event("e1", "de-energise", (power.switches[1],), AT + 1))
    assert open_findings(engine) == {"BUS-2:body", "BUS-3:body", "BUS-4:body"}
    (finding,) = engine.findings()
    assert finding.reasons[0].links == (power.switches[1],)
