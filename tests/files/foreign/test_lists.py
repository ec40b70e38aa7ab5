"""Two lists, of what there is and of what is joined to what: what is guessed, what is told, what is refused."""

from __future__ import annotations

from pathlib import Path

import pytest

from cfgtrack.files.definition import shipped
from cfgtrack.files.foreign.drawing import Drawing
from cfgtrack.files.foreign.lists import read_lists
from cfgtrack.files.foreign.words import GATE, LINE, ONE_WAY, STORE, guess
from cfgtrack.model.part import EXPANSION, LOAD, SOURCE
from cfgtrack.model.trouble import BadInput

MEDIA = list(shipped().media)


def read(folder: Path, units: str, joints: str = "") -> Drawing:
    """Return the drawing of two lists."""
    (folder / "units.csv").write_text(units)
    (folder / "joints.csv").write_text(joints or "a,b\n")
    return read_lists(folder / "units.csv", folder / "joints.csv", MEDIA)


# The text, and what an engineer would take it for: common practice.
WORDS = [
    ("Main isolation valve", "fluid", GATE),
    ("SpringLoadedGlobeSafetyValve", "fluid", GATE),
    ("swing check valve", "fluid", ONE_WAY),
    ("non-return flap", "fluid", ONE_WAY),
    ("Q1 circuit breaker", "power", GATE),
    ("LOAD_SWITCH", "power", GATE),
    ("blocking diode", "power", ONE_WAY),
    ("expansion tank", "fluid", EXPANSION),
    ("Supply tank", "fluid", STORE),
    ("reservoir", "fluid", STORE),
    ("battery", "power", SOURCE),
    ("cooling water supply", "fluid", SOURCE),
    ("heaters", "power", LOAD),
    ("pipes", "fluid", LINE),
    ("ethernet", "data", LINE),
    ("coolant pump", "fluid", ""),
    ("bracket", "hold", ""),
    ("gizmo", "", ""),
]


@pytest.mark.parametrize(("text", "medium", "does"), WORDS)
def test_words(text: str, medium: str, does: str) -> None:
    """The words of the trade let guess what they mean to it; others let guess nothing."""
    assert guess(text)[:2] == (medium, does)


def test_what_is_guessed_is_told(tmp_path: Path) -> None:
    """A valve has a gate, a tank room to expand; each is said, by the word. Ports are made as joints ask for them."""
    found = read(tmp_path, "name,kind\nT 1,tank\nV1,ball valve\nP,pump\n", "a,b\nT 1:OUT,V1\nV1,P\n")
    assert found.statuses == {"V1:V": "open"}
    assert found.joined == [("T-1:OUT", "V1:P1"), ("V1:P2", "P:P1")]
    assert found.parts["tank"].nodes["body"].roles == {EXPANSION}
    assert dict(found.guessed) == {
        "taken for room to expand, by the word tank": ["T-1"],
        "taken to be open: nothing says": ["V1"],
        "taken for something that opens and shuts, by the word valve": ["V1"],
    }
    assert found.units["T-1"].title == "T 1"


def test_what_is_an_id_keeps_it(tmp_path: Path) -> None:
    """Who is called exactly as another's id would be made keeps the name, wherever it stands; so do ports."""
    joints = "a,b,name,kind\nA B:x y,A-B:P1,,\nA-B:x,A B:x-y,,\nA-B,A-,A B-2,\nA-,A B,C-D,pipe\n"
    found = read(tmp_path, "name,kind\nA B,\nA-B,\nA-,\nC D,\n", joints)
    assert {unit: sorted(one.aliases) for unit, one in found.definition(at=0).units.items()} == {
        "A-B-2": ["A B"],
        "A-B": [],
        "A-": [],
        "C-D-2": ["C D"],
        "C-D": [],
    }
    assert found.joined[:3] == [("A-B-2:x-y-2", "A-B:P1"), ("A-B:x", "A-B-2:x-y"), ("A-B:P3", "A-:P1")]


def test_a_pump_has_two_media(tmp_path: Path) -> None:
    """A unit that is joined in two media has a body for each."""
    units = "name,kind,litres\nP,pump,5 l\nT,tank,\nB,battery,\n"
    found = read(tmp_path, units, "a,b,kind\nT,P,pipe\nB,P,cable\n")
    part = found.parts["pump"]
    assert {(n.name, n.medium, n.litres) for n in part.nodes.values()} == {
        ("body-fluid", "fluid", 5.0),
        ("body-power", "power", None),
    }
    assert [p.kind for p in part.ports.values()] == ["fluid-disconnect", "electrical-connector"]
    assert {u.part for u in found.units.values()} == {"pump", "tank", "battery", "pipe", "cable"}


@pytest.mark.parametrize(
    ("kind", "status", "stands"),
    [("valve", "open", "open"), ("valve", "closed", "shut"), ("breaker", "closed", "on"), ("breaker", "open", "off"),
     ("breaker", "off", "off"), ("valve", "shut", "shut")],
)  # fmt: skip
def test_open_and_closed(kind: str, status: str, stands: str, tmp_path: Path) -> None:
    """A closed valve lets nothing through, a closed switch lets current through: each trade means its own by it."""
    found = read(tmp_path, f"name,kind,status\nX,{kind},{status}\nA,,\nB,,\n", "a,b\nA,X\nX,B\n")
    assert list(found.statuses.values()) == [stands]


@pytest.mark.parametrize(("joints", "leaves"), [("A,X\nX,B", "B"), ("X,A\nB,X", "A")])
def test_a_check_valve_follows_its_joints(joints: str, leaves: str, tmp_path: Path) -> None:
    """A check valve passes from the joint that leads to it to the one that leads from it."""
    found = read(tmp_path, "name,kind\nX,check valve\nA,tank\nB,tank\n", f"a,b\n{joints}\n")
    (link,) = found.parts["check-valve"].links
    mates = {a: b for pair in found.joined for a, b in (pair, pair[::-1])}
    assert link.one_way
    assert mates[f"X:{link.b}"].startswith(leaves)


def test_every_problem_of_both_lists(tmp_path: Path) -> None:
    """What is twice, unknown, joined to itself or no quantity is told with its row and column, all at once."""
    with pytest.raises(BadInput) as caught:
        read(
            tmp_path,
            "name,litres,medium\nA,5 kg,fluid\nA,,fluids\nB,,\n",
            "a,b,one_way\nA,C,\nA:X,B,\nA:X,B,maybe\nB,B,\n",
        )
    told = [(p.where.rpartition("/")[2], p.code) for p in caught.value.problems]
    assert told == [
        ("units.csv row 2, column litres", "bad-quantity"),
        ("units.csv row 3, column medium", "unknown"),
        ("units.csv row 3, column name", "duplicate"),
        ("joints.csv row 2, column b", "unknown"),
        ("joints.csv row 4, column a", "twice"),
        ("joints.csv row 4, column one_way", "wrong-type"),
        ("joints.csv row 5, column b", "same"),
    ]


UNREAD = [
    ("V,valve,zu", "", "expected open, on, shut, closed, off of a valve, found 'zu'"),
    ("V,valve,shut (locked)", "", "found 'shut (locked)'"),
    ("V,valve,ajar", "", "found 'ajar'"),
    ("K,breaker,tripped", "", "expected on, closed, off, open of a switch, found 'tripped'"),
    ("V,pump,shut", "", "expected none, as nothing says that V opens and shuts, found 'shut'"),
    ("V,tank,", "T,V,,demated", "expected open, on, shut, closed, off, joined, mated, connected"),
    ("V,tank,", "T,V,,shut (locked)", "found 'shut (locked)'"),
    ("V,tank,", "T,V,,broken", "found 'broken'"),
    ("V,tank,", "T,V,valve,broken", "expected open, on, shut, closed, off of a valve, found 'broken'"),
    ("V,tank,", "T,V,ethernet,open", "expected joined, mated, connected, or no joint"),
]


@pytest.mark.parametrize(("unit", "joint", "words"), UNREAD)
def test_a_status_that_nobody_knows_is_refused(unit: str, joint: str, words: str, tmp_path: Path) -> None:
    """What isn't known to be open or shut isn't taken for either: it is told with its column, and what was expected."""
    with pytest.raises(BadInput) as caught:
        read(tmp_path, f"name,kind,status\n{unit}\nT,tank,\n", f"a,b,kind,status\n{joint}\n")
    (problem,) = caught.value.problems
    where = "joints" if joint else "units"
    assert problem.where.endswith(f"{where}.csv row 2, column status")
    assert (problem.code, words in problem.sentence) == ("unknown", True)


def test_a_joint_may_say_that_it_is_one(tmp_path: Path) -> None:
    """A joint that is said to be mated is joined as one that says nothing."""
    found = read(tmp_path, "name,kind\nT,tank\nU,tank\n", "a,b,status\nT,U,Mated\n")
    assert found.joined == [("T:P1", "U:P1")]


def test_a_number_of_litres_needs_no_unit(tmp_path: Path) -> None:
    """The column is called litres: a bare number is of those, any other volume says so."""
    found = read(tmp_path, "name,kind,litres\nT,tank,2\nU,tank,500 ml\n")
    assert [part.nodes["body"].litres for part in found.parts.values()] == [2.0, 0.5]


def test_an_end_that_may_be_two_things_is_refused(tmp_path: Path) -> None:
    """A name with colons may begin with either of two units; exactly called it is that one."""
    units = "name,kind\nT,tank\nP:1,pump\nP,pump\n"
    with pytest.raises(BadInput) as caught:
        read(tmp_path, units, "a,b\nP:1:A,T\n")
    (problem,) = caught.value.problems
    assert (problem.code, problem.where.rpartition("/")[2]) == ("ambiguous", "joints.csv row 2, column a")
    assert "may be port A of P:1 or port 1:A of P" in problem.sentence
    assert read(tmp_path, units, "a,b\nP:1,T\n").joined == [("P-1:P1", "T:P1")]
    assert read(tmp_path, units, "a,b\nP:2:A,T\n").joined == [("P:2-A", "T:P1")]


def test_a_port_is_called_as_in_the_list(tmp_path: Path) -> None:
    """What a list calls a port is its alias where it is no id."""
    found = read(tmp_path, "name,kind\nT,tank\nP,pump\n", "a,b\nT:x y,P:ö\nT:OUT,P\n")
    plant = found.definition(at=0).plant()
    assert [plant.resolve(one) for one in ("T:x y", "P:ö", "T:OUT")] == ["T:x-y", "P:o", "T:OUT"]
    assert plant.aliases_of("T:OUT") == ()


def test_a_list_of_nothing_is_refused(tmp_path: Path) -> None:
    """A header alone makes no plant, and that is told of the list; joints there may be none."""
    with pytest.raises(BadInput) as caught:
        read(tmp_path, "name,kind\n")
    (problem,) = caught.value.problems
    assert (problem.code, problem.where.rpartition("/")[2]) == ("empty", "units.csv")
    assert read(tmp_path, "name,kind\nT,tank\n").joined == []
