"""What is really found is recorded, however impossible: the state follows it, the contradiction stays open."""

from typing import Any

import pytest

from cfgtrack.files.definition import parse_definition
from cfgtrack.model.action import FOUND, Action
from cfgtrack.model.configuration import Configuration
from cfgtrack.model.event import Event
from tests.happening import happened, refused

WORLD = """
[[part]]
id = "box"
port = [
  { name = "F1", kind = "fluid-disconnect", size = "1 in", keying = "supply" },
  { name = "F2", kind = "fluid-disconnect", size = "2 in", keying = "return" },
  { name = "B1", kind = "bolt" },
  { name = "B2", kind = "bolt" },
]
[[unit]]
id = "A"
part = "box"
[[unit]]
id = "B"
part = "box"
[[unit]]
id = "C"
part = "box"
[[place]]
id = "BAY"
capacity = 1
facings = ["north"]
"""


@pytest.fixture
def now() -> Configuration:
    """Three boxes and a bay for one of them."""
    return Configuration(parse_definition({"world.toml": WORLD}).plant())


def found(now: Configuration, *subjects: str, **said: Any) -> Event:
    """Record that something was found so; return the event as it is kept."""
    outcome = happened(now, Action("e", FOUND, subjects, 0, **said))
    now.apply(outcome)
    return outcome


def test_what_cannot_fit_but_does(now):
    """A cross-connection with the wrong size and key is recorded, and says what is wrong with it."""
    event = found(now, "A:F1", "B:F2", status="mated")
    assert now.state("A:F1")[:2] == ("mated", "B:F2")
    assert event.expected == (
        "A:F1 demated; B:F2 demated; A:F1 is 1 in, B:F2 is 2 in: the sizes differ; "
        "A:F1 is keyed supply, B:F2 return: they can't be joined"
    )


def test_what_has_no_room_but_is_there(now):
    """A unit found where there is no room for it, the wrong way round, is there all the same."""
    found(now, "A", place="BAY", facing="north")
    event = found(now, "B", place="BAY", facing="south")
    assert now.state("B").value == "BAY"
    assert "BAY takes a unit facing north; not south" in (event.expected or "")
    assert "BAY takes 1 and holds A" in (event.expected or "")


def test_a_third_claim_on_a_mate(now):
    """A half found on another than the record says leaves its old mate behind, free."""
    found(now, "A:F1", "B:F1", status="mated")
    event = found(now, "B:F1", "C:F1", status="mated")
    assert event.moved == ("A:F1",)
    assert now.state("A:F1")[:2] == ("demated", None)
    assert now.state("C:F1")[:2] == ("mated", "B:F1")


def test_two_bolts_of_one_unit_never_meet(now):
    """Rigid halves of one unit can't be joined."""
    refusals = refused(now, Action("e", "engage", ("A:B1", "A:B2"), 0))
    assert [r.code for r in refusals] == ["one-owner"]


def test_an_approval_may_cover_a_pattern(now):
    """An approval's subject may be a shell pattern; any other event's must be there."""
    assert not refused(now, Action("e", "approve", ("A:*",), 0, body={"rule": "held"}))
    assert [r.code for r in refused(now, Action("e", "inspect", ("A:*",), 0))] == ["unknown"]


def test_what_is_fixed_to_it_is_found_there_too(now):
    """A unit found at a place is there with all that is bolted to it, and without what no hold fixes to it."""
    found(now, "A:B1", "B:B1", status="torqued")
    found(now, "B:B2", "C:B2", status="released")
    found(now, "C:F1", "A:F1", status="mated")
    event = found(now, "A", place="BAY", facing="north")
    assert event.moved == ("B",)
    assert [now.state(unit).value for unit in "ABC"] == ["BAY", "BAY", ""]


@pytest.mark.parametrize("subjects", [("A:F1", "B:F1"), ("B:F1", "A:F1"), ("A:F1",), ("B:F1",)])
def test_what_is_found_as_recorded_contradicts_nothing(now, subjects):
    """A pair found as the record has it, by both names or by one, opens no discrepancy; found otherwise, it does."""
    found(now, "A:F1", "B:F1", status="mated")
    assert found(now, *subjects, status="mated").expected is None
    mates = {"A:F1": "B:F1", "B:F1": "A:F1"}
    assert found(now, *subjects, status="demated").expected == "; ".join(
        f"{half} mated to {mates[half]}" for half in subjects
    )
    assert found(now, *mates, status="demated").expected is None


def test_a_place_found_as_recorded_contradicts_nothing(now):
    """A unit found where the record has it opens no discrepancy."""
    found(now, "A", place="BAY", facing="north")
    assert found(now, "A", place="BAY", facing="north").expected is None
