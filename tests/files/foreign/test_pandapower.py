"""pandapower JSON, piece by piece: small nets that pandapower 3 makes and writes itself."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pandapower as pp
import pytest

from cfgtrack.files.foreign.drawing import Drawing
from cfgtrack.files.foreign.pandapower import Read
from cfgtrack.model.trouble import BadInput

pytestmark = pytest.mark.filterwarnings("ignore::DeprecationWarning")  # pandapower's own


@pytest.fixture
def net() -> Any:
    """Two buses, a line between them, an external grid at one and a load at the other."""
    made = pp.create_empty_network(name="Two")
    a, b = (pp.create_bus(made, 20.0, name=f"Bus #{n}") for n in (1, 2))
    pp.create_ext_grid(made, a)
    pp.create_line(made, a, b, 1.0, "NAYY 4x50 SE", name="L 1")
    pp.create_load(made, b, 0.1)
    return made


def read(net: Any, folder: Path) -> Drawing:
    """Return the drawing of a net that pandapower has written."""
    source = folder / "net.json"
    pp.to_json(net, str(source))
    return Read().read(source)


def test_two_buses(net: Any, tmp_path: Path) -> None:
    """Everything is there, with its own names as titles, and is joined at its bus."""
    found = read(net, tmp_path)
    assert found.title == "Two"
    assert {u.id: u.title for u in found.units.values()} == {
        "LINE-0": "line 0: L 1", "EXT_GRID-0": "ext_grid 0", "LOAD-0": "load 0",
        "BUS-0": "bus 0: Bus #1", "BUS-1": "bus 1: Bus #2",
    }  # fmt: skip
    mates = {a: b.partition(":")[0] for a, b in found.joined}
    assert mates == {"LINE-0:A": "BUS-0", "EXT_GRID-0:A": "BUS-0", "LINE-0:B": "BUS-1", "LOAD-0:A": "BUS-1"}


def test_switches_stand_in_a_row(net: Any, tmp_path: Path) -> None:
    """Two switches at one end of a line stand in a row before its body; each keeps its own setting."""
    first = pp.create_switch(net, 0, 0, et="l", closed=False)
    second = pp.create_switch(net, 0, 0, et="l", closed=True)
    found = read(net, tmp_path)
    assert {found.ids["switch port", str(i)]: found.statuses[found.ids["switch port", str(i)]]
            for i in (first, second)} == {"LINE-0:SA": "off", "LINE-0:SA2": "on"}  # fmt: skip
    ends = [(link.a, link.b, link.gate) for link in found.parts["line"].links]
    assert ends == [("A", "nSA2", "SA"), ("nSA2", "body", "SA2"), ("B", "body", "")]


def test_names_are_kept(net: Any, tmp_path: Path) -> None:
    """A switch in a line is called as the net calls it; a name that several have is no alias, and told."""
    for name in ("Q 1", "twice", "twice", "A", None):
        pp.create_switch(net, 0, 0, et="l", name=name)
    pp.create_load(net, 1, 0.1, name="L 1")
    pp.create_load(net, 1, 0.1, name="L 2")
    found = read(net, tmp_path)
    plant = found.definition(at=0).plant()
    gates = {
        port.title: port.aliases for port in plant.part_of("LINE-0").ports.values() if port.kind == "switch"
    }
    assert gates == {"Q 1": ("Q 1",), "twice": (), "A": (), "": ()}
    assert plant.resolve("LINE-0:Q 1") == "LINE-0:SA"
    assert (plant.resolve("L 2"), plant.resolve("L 1")) == ("LOAD-2", "L 1")
    assert found.left_out["names that several have, and so are none's alias"] == ["L 1"]


def test_out_of_service_is_parted(net: Any, tmp_path: Path) -> None:
    """What is out of service is there, and joined to nothing; so is everything at a bus that is."""
    pp.create_bus(net, 20.0, in_service=False)
    pp.create_line(net, 1, 2, 1.0, "NAYY 4x50 SE")
    net.line.loc[0, "in_service"] = False
    found = read(net, tmp_path)
    joined = {port.partition(":")[0] for pair in found.joined for port in pair}
    assert found.units.keys() - joined == {"LINE-0", "BUS-2"}
    assert dict(found.guessed)["not connected: out of service"] == ["LINE-0"]
    assert dict(found.guessed)["not connected: a bus out of service"] == ["BUS-2"]


def test_what_has_no_place_is_named(net: Any, tmp_path: Path) -> None:
    """Direct current lines and costs have no place here, and are counted by name; a feeder may keep its bus alive."""
    pp.create_dcline(net, 0, 1, 0.1, 0.1, 0.1, 1.0, 1.0)
    pp.create_poly_cost(net, 0, "ext_grid", 1.0)
    pp.create_sgen(net, 1, 0.1)
    found = read(net, tmp_path)
    left = dict(found.left_out)
    assert (left["dcline"], left["poly_cost"]) == (["1 in all"], ["1 in all"])
    assert dict(found.guessed)["taken for a source: it may keep its bus alive"] == ["SGEN-0"]
    assert found.parts["ext_grid"].nodes["body"].tags == {"grid"}
    assert found.parts["sgen"].nodes["body"].tags == set()


def test_a_missing_column(net: Any, tmp_path: Path) -> None:
    """A table without one of the columns that say what is connected is named, with every other."""
    source = tmp_path / "net.json"
    pp.to_json(net, str(source))
    data = json.loads(source.read_text())
    for table, column in (("line", "to_bus"), ("load", "bus")):
        frame = json.loads(data["_object"][table]["_object"])
        frame["columns"] = ["x" if name == column else name for name in frame["columns"]]
        data["_object"][table]["_object"] = json.dumps(frame)
    source.write_text(json.dumps(data))
    with pytest.raises(BadInput) as caught:
        Read().read(source)
    assert [p.sentence for p in caught.value.problems] == [
        "line: the column to_bus is missing",
        "load: the column bus is missing",
    ]
