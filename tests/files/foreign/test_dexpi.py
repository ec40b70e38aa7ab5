"""DEXPI XML, piece by piece: small drawings of our own, after the DEXPI P&ID specification 1.3 (Proteus schema 4.1).

A drawing that is not ours is in tests/outside/test_piping_drawing.py.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from cfgtrack.files.foreign.dexpi import Read
from cfgtrack.files.foreign.drawing import Drawing
from cfgtrack.model.part import InternalLink

TWO = (
    '<ConnectionPoints NumPoints="3"><Node ID="{0}-0"/><Node ID="{0}-1" Type="process"/>'
    '<Node ID="{0}-2" Type="process"/></ConnectionPoints>'
)


def component(name: str, sort: str, inside: str = "") -> str:
    """Return a piping component with two nodes besides the default one."""
    return (
        f'<PipingComponent ID="{name}" ComponentClass="{sort}">{inside}{TWO.format(name)}</PipingComponent>'
    )


def said(name: str, value: str, unit: str = "") -> str:
    """Return one attribute, in its set."""
    units = f' Units="{unit}"' if unit else ""
    return f'<GenericAttributes Number="1"><GenericAttribute Name="{name}" Value="{value}"{units}/></GenericAttributes>'


def joins(start: str = "", stop: str = "") -> str:
    """Return the connection of a segment, from and to an item and a node: ITEM.NODE."""
    told = ""
    for which, end in (("From", start), ("To", stop)):
        if end:
            item, _, node = end.partition(".")
            told += f' {which}ID="{item}" {which}Node="{node}"'
    return f"<Connection{told}/>"


VESSELS = (
    '<Equipment ID="E1" ComponentClass="PressureVessel"><Nozzle ID="N1"/></Equipment>'
    '<Equipment ID="E2" ComponentClass="PressureVessel"><Nozzle ID="N2"/></Equipment>'
)
LINE = "<CenterLine/>"


def read(folder: Path, segments: str, more: str = VESSELS) -> Drawing:
    """Return the drawing of some segments between two vessels."""
    body = "".join(
        f'<PipingNetworkSegment ID="S{i}">{s}</PipingNetworkSegment>'
        for i, s in enumerate(segments.split("|"), 1)
    )
    system = f'<PipingNetworkSystem ID="P1">{said("LineNumberAssignmentClass", "47121")}{body}</PipingNetworkSystem>'
    source = folder / "drawing.xml"
    source.write_text(f"<PlantModel>{more}{system}</PlantModel>")
    return Read().read(source)


def pairs(drawing: Drawing) -> set[frozenset[str]]:
    """Return which ports are joined."""
    return {frozenset(pair) for pair in drawing.joined}


def test_a_run(tmp_path: Path) -> None:
    """A segment runs over its components in their order; a centre line is a pipe, without one they are joined."""
    run = LINE + component("V1", "GateValve") + component("F1", "Strainer") + LINE + joins("N1.1", "N2.1")
    found = read(tmp_path, run)
    ends = (("S1:A", "E1:N1"), ("S1:B", "V1:1"), ("V1:2", "F1:1"), ("S1.2:A", "F1:2"), ("S1.2:B", "E2:N2"))
    assert pairs(found) == {frozenset(pair) for pair in ends}
    assert {unit.loop for unit in found.units.values()} == {"47121", ""}


def test_a_run_ends_in_its_own_component(tmp_path: Path) -> None:
    """What a segment ends in is passed to the node that is named, and the next goes on from there."""
    first = LINE + component("T1", "PipeTee") + joins("N1.1", "T1.2")
    found = read(tmp_path, f"{first}|{LINE}{joins('T1.2', 'N2.1')}")
    assert pairs(found) == {
        frozenset(pair) for pair in (("S1:A", "E1:N1"), ("S1:B", "T1:1"), ("S2:A", "T1:2"), ("S2:B", "E2:N2"))
    }


def test_what_has_nodes_is_passed(tmp_path: Path) -> None:
    """An instrument that stands in a line with nodes of its own is passed by it; one without is left out by name."""
    meter = component("FT1", "FlowMeter").replace("PipingComponent", "ProcessInstrument")
    found = read(tmp_path, LINE + meter + LINE + '<Remark ID="R"/>' + joins("N1.1", "N2.1"))
    assert frozenset(("S1:B", "FT1:1")) in pairs(found)
    assert dict(found.left_out)["in a line: remark"] == ["R"]


def test_several_connections(tmp_path: Path) -> None:
    """A segment with a connection for every pair joins just those."""
    run = component("V1", "BallValve") + joins("N1.1", "V1.1") + joins("V1.2", "N2.1")
    assert pairs(read(tmp_path, run)) == {frozenset(("E1:N1", "V1:1")), frozenset(("V1:2", "E2:N2"))}


VALVES = [
    ("GateValve", "", "open", False),
    ("GateValve", said("OperationSpecialization", "NormallyClosedOperation"), "shut", False),
    (
        "BallValve",
        said("PositionRepresentation", "locked closed").replace("locked c", "LockedC"),
        "shut",
        False,
    ),
    ("SwingCheckValve", "", "", True),
    ("SpringLoadedAngleSafetyValve", "", "shut", True),
    ("RuptureDisc", "", "shut", True),
    ("Strainer", "", "", False),
]


@pytest.mark.parametrize(("sort", "inside", "status", "one_way"), VALVES)
def test_valves(sort: str, inside: str, status: str, one_way: bool, tmp_path: Path) -> None:
    """A valve is open unless it is drawn shut; what opens by itself is shut; those and check valves pass one way."""
    found = read(tmp_path, LINE + component("X", sort, inside) + LINE + joins("N1.1", "N2.1"))
    assert found.statuses == ({"X:V": status} if status else {})
    links = found.parts[found.units["X"].part].links
    assert all(link.one_way == one_way for link in links)
    if status or one_way:
        assert links == (InternalLink("1", "2", "V" if status else "", one_way),)


def test_chambers_are_apart(tmp_path: Path) -> None:
    """Nozzles in two chambers lead to two bodies; those of a tank whose nozzles don't say, to one, with its litres."""
    nozzles = "".join(
        f'<Nozzle ID="N{i}"><Association Type="is located in" ItemID="C{i}"/></Nozzle>' for i in (1, 2)
    )
    capacity = said("NominalCapacity(Volume)", "26", "MetreCubed")
    vessels = f'<Equipment ID="H1" ComponentClass="PlateHeatExchanger">{nozzles}</Equipment>'
    vessels += f'<Equipment ID="T1" ComponentClass="Tank">{capacity}<Nozzle ID="N3"/></Equipment>'
    found = read(tmp_path, LINE + joins("N1.1", "N3.1"), vessels)
    assert set(found.parts["plate-heat-exchanger"].nodes) == {"body1", "body2"}
    (body,) = found.parts["tank"].nodes.values()
    assert (body.litres, set(body.roles)) == (26000.0, {"expansion"})


def test_what_is_wrong_is_left_out_by_name(tmp_path: Path) -> None:
    """Joints to what isn't there, second ones at one node, and equipment that is joined without a nozzle."""
    segments = [joins("N1.1", "GHOST.1"), joins("N1.1", "N2.1"), joins("E1.1", "N2.1")]
    found = read(tmp_path, "|".join(LINE + one for one in segments))
    assert dict(found.left_out)["joints to what the drawing doesn't have"] == ["GHOST", "E1"]
    assert dict(found.left_out)["second joints at one node"] == ["E1 node N1", "E2 node N2"]
    assert pairs(found) == {frozenset(("S1:A", "E1:N1")), frozenset(("S2:B", "E2:N2"))}


def test_tags_that_two_have_are_no_ids(tmp_path: Path) -> None:
    """A tag that one thing has is its id; one that two have is their title, and the drawing's own ids stay theirs."""
    tag = said("PipingComponentNameAssignmentClass", "73KH12")
    own = said("PipingComponentNameAssignmentClass", "=H #7")
    run = "".join(
        component(*one) + LINE
        for one in (("V1", "BallValve", tag), ("V2", "BallValve", tag), ("V3", "BallValve", own))
    )
    found = read(tmp_path, LINE + run + joins("N1.1", "N2.1"))
    titles = {unit.id: unit.title for unit in found.units.values() if unit.part == "ball-valve"}
    assert titles == {"V1": "ball valve 73KH12", "V2": "ball valve 73KH12", "H-7": "ball valve =H #7"}
