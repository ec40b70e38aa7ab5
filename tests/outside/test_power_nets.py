"""Power nets that nobody here made, brought in by `convert` without hand work: pandapower's, as its wheel ships them.

pandapower finds what is unsupplied by networkx, on a graph that it makes of the net (`topology.unsupplied_buses`).
"""

from __future__ import annotations

import random
from functools import cache
from pathlib import Path
from typing import Any

import pytest

from cfgtrack.rules.selection import Selection
from tests.outside.incoming import Incoming, reaches

FED = reaches("power", "BUS-*:body", Selection(source=True, tags=("grid",)))
SHIPPED = ["mv_oberrhein", "lv_schutterwald", "power_system_test_case_jsons/iceland"]
MADE = ["simple_mv_open_ring_net", "create_cigre_network_mv", "example_multivoltage", "example_simple"]
MOST = 300

pytestmark = pytest.mark.filterwarnings(
    "ignore:tap_dependency_table:DeprecationWarning"
)  # old data of their own


def shipped(name: str) -> Path:
    """Return one of the files that pandapower's wheel holds."""
    import pandapower.networks

    return Path(pandapower.networks.__file__).parent / f"{name}.json"


@cache
def made(name: str) -> Any:
    """Return a net that pandapower makes."""
    import pandapower.networks

    return getattr(pandapower.networks, name)()


def net_of(name: str, folder: Path) -> tuple[Path, Any]:
    """Return a net as a file, and as pandapower has it; one that it makes is written by pandapower itself."""
    import pandapower

    if name in SHIPPED:
        return shipped(name), pandapower.from_json(str(shipped(name)))
    path = folder / f"{name}.json"
    pandapower.to_json(made(name), str(path))
    return path, pandapower.from_json(str(path))


def unsupplied(net: Any) -> set[str]:
    """Return the buses in service that no external grid feeds, by pandapower."""
    from pandapower.topology import unsupplied_buses

    return {str(bus) for bus in unsupplied_buses(net)}


@pytest.mark.parametrize("name", [*SHIPPED, *MADE])
def test_each_switch_and_line(name: str, tmp_path: Path) -> None:
    """With each switch thrown and each line parted in turn just those buses are dead that pandapower finds unsupplied.

    Where there are more than 300 of both, 300 drawn by a seed.
    """
    path, net = net_of(name, tmp_path)
    plant = Incoming(path, tmp_path)
    of = {f"{unit}:body": index for (sort, index), unit in plant.ids.items() if sort == "bus"}
    served = {str(bus) for bus in net.bus.index[net.bus.in_service]}
    asked = [("switch", index) for index in net.switch.index]
    asked += [("line", index) for index in net.line.index[net.line.in_service]]
    asked = random.Random(3).sample(asked, min(MOST if len(net.bus) < 1000 else 60, len(asked)))
    ports = [plant.ids["switch port", str(i)] if sort == "switch" else f"{plant.ids['line', str(i)]}:A"
             for sort, i in asked]  # fmt: skip
    judge = plant.judge(FED, ports)
    assert {of[a] for a in judge.cut_off(())} & served == unsupplied(net)
    dead = 0
    for (sort, index), port in zip(asked, ports, strict=True):
        table, column = (net.switch, "closed") if sort == "switch" else (net.line, "in_service")
        was = bool(table.loc[index, column])
        table.loc[index, column] = not was
        expected = unsupplied(net)
        table.loc[index, column] = was
        if sort == "switch":
            events = [plant.turning(port, "de-energise" if was else "energise")]
        else:
            events = plant.parting(port, f"{port[:-1]}B")
        assert {of[a] for a in judge.cut_off(events)} & served == expected, (sort, index)
        dead += bool(expected)
    assert dead >= 1
