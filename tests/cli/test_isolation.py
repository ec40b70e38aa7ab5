"""`isolate`, `without` and `segments` as people read them, on the small plant of the analysis's own tests."""

from __future__ import annotations

import re

import pytest

from tests.analysis.test_isolation import PLANT
from tests.cli.conftest import Command

MORE = """
[[place]]
id = "BOX"
lock_box = true
[[place]]
id = "ANN"
mobile = true
"""


@pytest.fixture
def plant(empty: Command) -> Command:
    """The command on the small plant, with a person and a lock box."""
    empty.ok("load", empty.file("plant.toml", PLANT.replace("\n[initial]\n", f"{MORE}\n[initial]\n")))
    return empty


def test_isolate_is_read_at_a_glance(plant: Command) -> None:
    """The first line says how many devices; the first set says what to do and which locks; cautions stand under it."""
    said = plant.ok("isolate", "PUMP")
    lines = said.splitlines()
    assert lines[0].startswith("Isolate PUMP: fluid by 2 devices  (at ")
    assert "  sets:     8 smallest sets" in lines
    assert "device     do    lock" in lines
    assert "  CAUTION:  rests on the check valve PUMP:VOL -> PUMP:OUT, which is no isolating device" in lines
    assert "  Others:" in lines
    assert "of a group: the lock of BOX" in said
    assert "VERIFY with an instrument" in " ".join(said.split())
    assert len(lines) < 30


def test_whose_locks_are_missing(plant: Command) -> None:
    """What is shut already has to stay; whose lock hangs there is told, and whose is missing."""
    plant.ok("shut", "HEADER:V2", "--at", "2031-05-01T08:01:00Z")
    plant.ok("lock", "HEADER:V2", "with", "ANN", "--at", "2031-05-01T08:02:00Z")
    rows = plant.ok("isolate", "PUMP", "--for", "ANN", "--for", "BOX").splitlines()
    assert "HEADER:V1  shut       needs ANN and BOX" in rows
    assert "HEADER:V2  keep shut  ANN there, needs BOX" in rows
    assert (
        "no person" in plant("isolate", "PUMP", "--for", "SHELF").err
        or plant("isolate", "PUMP", "--for", "SHELF").status == 4
    )


def test_what_nothing_isolates(plant: Command) -> None:
    """Where a way has no device the answer says so with the way, and ends with 3."""
    answer = plant("isolate", "BOARD:J2", "--from", "BOARD:BUS2")
    assert answer.status == 3
    assert answer.out.startswith("Isolate BOARD:J2: power can't be isolated")
    assert "joined:   by no device: BOARD:BUS2, BOARD:J2" in answer.out


def test_what_is_barred_is_no_device(plant: Command) -> None:
    """A valve that can't be shut isn't counted: the next best set is told, and why."""
    plant.ok("record", "defect", "shut", "HEADER:V1", "seized", "--at", "2031-05-01T08:01:00Z")
    answer = plant("isolate", "PUMP", "--json")
    names = {one["thing"] for way in answer.json["isolation"][0]["ways"] for one in way["devices"]}
    assert "HEADER:V1" not in names
    assert answer.err.startswith("note: counted as no device: HEADER:V1")
    assert "seized" in answer.err


def test_without_says_what_is_left(plant: Command) -> None:
    """What is cut off altogether and what has a way less are counted apart; what is shut already is said to be."""
    plant.ok("shut", "HEADER:V1", "--at", "2031-05-01T08:01:00Z")
    said = plant.ok("without", "BOARD:K3", "HEADER:V1")
    assert said.startswith("Without BOARD:K3, HEADER:V1: no things cut off, 2 with fewer ways in")
    assert "HEADER:V1 carries nothing now: shut, off or not connected" in said
    assert "HEATER:COIL  source    BOARD:BUS2  BOARD:BUS1" in said


def test_segments_say_what_bounds_them(plant: Command) -> None:
    """The largest first, with what bounds each and the number of the segment behind it."""
    plant.ok("shut", "MAIN:V", "--at", "2031-05-01T08:01:00Z")
    said = plant.ok("segments", "fluid")
    assert said.startswith("3 segments of fluid  (at ")
    assert "MAIN:V (shut) to 3" in said
    assert plant("segments", "steam").status == 4


@pytest.mark.parametrize(
    ("words", "status"),
    [
        (("isolate", "NOTHING"), 4),
        (("isolate", "PUMP", "--from", "tag=nothing"), 4),
        (("isolate", "PUMP", "--medium", "steam"), 4),
        (("isolate", "SHELF", "--medium", "power"), 4),
        (("without", "PUMP:VOL"), 4),
        (("without",), 2),
        (("isolate", "PUMP", "--most", "0"), 2),
    ],
)
def test_slips(plant: Command, words: tuple[str, ...], status: int) -> None:
    """What isn't there can't be answered for; a volume can't be shut or parted."""
    assert plant(*words).status == status


def test_for_whom(plant: Command) -> None:
    """Who is to work behind the locks must be somebody known, as any name: others are told with those that are near."""
    answer = plant("isolate", "PUMP", "--for", "ANNE")
    assert answer.status == 4
    assert "ANN" in answer.err
    plant.ok("inspect", "PUMP", "--by", "ZOE", "--at", "2031-05-01T08:01:00Z")
    assert "needs ZOE" in plant.ok("isolate", "PUMP", "--for", "ZOE")


def test_the_first_of_one(plant: Command) -> None:
    """However few sets are listed, the first is the one that is listed first where all are: what only shuts."""
    one, all_ = (plant.json_of("isolate", "PUMP", "--most", most)["isolation"][0] for most in ("1", "100"))
    assert one["ways"] == all_["ways"][:1]
    assert [device["action"] for device in one["ways"][0]["devices"]] == ["shut", "shut"]
    assert (one["complete"], all_["complete"]) == (False, True)


def test_who_was_handed_a_lock_on_a_box_is_known(plant: Command) -> None:
    """Whose lock hangs on a lock box is somebody known, though nothing was done by him and nothing was moved."""
    plant.ok("lock", "BOX", "--by", "ANN", "--at", "2031-05-01T08:01:00Z")
    plant.ok("transfer", "BOX", "from", "ANN", "to", "BEN", "--by", "ANN", "--at", "2031-05-01T08:02:00Z")
    assert "needs BEN" in plant.ok("isolate", "PUMP", "--for", "BEN")


def test_a_valve_is_isolated_on_both_sides(plant: Command) -> None:
    """Who isolates a valve, to work on it, is told what keeps the medium from both its sides: never itself."""
    answer = plant("isolate", "HEADER:V1", "--medium", "fluid")
    assert answer.status in (0, 3), answer.err
    sides = plant("isolate", "HEADER:V1", "--medium", "fluid", "--json").json["sides"]["HEADER:V1"]
    assert len(sides) == 2
    assert "isolated on both sides" in answer.out
    assert "shut HEADER:V1" not in answer.out
    assert not [line for line in answer.out.splitlines() if line.startswith("HEADER:V1 ")]
    by_hand = plant("isolate", *sides, "--medium", "fluid")
    assert by_hand.out.partition("sets:")[2] == answer.out.partition("sets:")[2]
    refused = plant("isolate", "HEADER:V1", "--medium", "power")
    assert refused.status == 4
    assert "name what it belongs to, HEADER, or a volume or port of it" in refused.err


def test_a_joint_that_carries_is_cautioned_on_its_line(plant: Command) -> None:
    """Every other set that demates something says on that line what it is under, and what to ask first, which runs."""
    said = plant.ok("isolate", "PUMP")
    assert (
        said.splitlines()[1] == "  NOTE:     no rule was asked, and nothing here says that it is safe to do"
    )
    demated = 0
    for thing in ("PUMP", "BOARD:J2"):
        text = plant("isolate", thing).out
        others = re.findall(r"^    \d\. (.*(?:\n    (?!\d).*)*)", text, re.MULTILINE)
        for line in (" ".join(one.split()) for one in others):
            assert ("demate" in line) == ("CAUTION: " in line), line
            demated += "demate" in line
            for call in re.findall(r"`([^`]+)`", line):
                assert plant(*call.split()).status in (0, 3)
    assert demated
