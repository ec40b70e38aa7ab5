"""Something can't be done: as a lead meets it, from the shift's radio call to the repair."""

from __future__ import annotations

import pytest

from tests.cli.asked import WORKING
from tests.cli.conftest import Command
from tests.model.test_presence import WORLD

EIGHT, NINE, TEN, ELEVEN = (f"2031-05-01T{hour}:30:00Z" for hour in ("08", "09", "10", "11"))

PLAN = """
title = "Take the power off"
[[outing]]
id = "W1"
start = 2031-05-02T08:00:00Z
[[outing.track]]
name = "ina"
steps = [
    { id = "1", do = "%s", takes = "1 min" },
    { id = "2", do = "de-energise HALL:K1", takes = "1 min" },
    { id = "3", do = "demate PUMP-1:J1", takes = "1 min" },
    { id = "4", do = "mate PUMP-1:J1 HALL:J1", takes = "1 min" },
    { id = "5", do = "energise HALL:K1", takes = "1 min" },
]
"""

AFTER = """
[[rule]]
id = "look-at-it"
title = "What can't be done is looked at within a day"
hazard = "it gets worse"
severity = 3
source = "common practice"
mode = "within"
within = "1 d"
trigger = { action = "defect", what = "port" }
condition = { done = "inspect", of = "it" }
"""


def seized(cfgtrack: Command, *more: str) -> str:
    """Record that the pump's connector doesn't come off; return what was said."""
    words = (
        "defect",
        "demate",
        "PUMP-1:J1",
        "seized",
        "force=400 N",
        "--by",
        "Ina",
        "--at",
        EIGHT,
        "--id",
        "F1",
    )
    return cfgtrack.ok(*words, *more)


def test_what_can_t_be_done_is_told_wherever_one_asks(cfgtrack: Command) -> None:
    """Recorded once, it is in the state of the port, its mate's unit is free of it, and everything lists it."""
    assert "recorded F1: defect demate PUMP-1:J1 seized force=400 N" in seized(cfgtrack)
    port = " ".join(cfgtrack.ok("state", "PUMP-1:J1").split())
    assert "mated DEFECT no demate: seized" in port
    assert "no demate seized, force" in port
    assert "400 N" in port
    for thing in ("PUMP-1", ""):
        assert "What can't be done, until it is rectified" in cfgtrack.ok("state", *filter(None, [thing]))
    assert "DEFECT" not in cfgtrack.ok("state", "HALL")
    assert "What can't be done, until it is rectified" in cfgtrack.ok("findings")
    can = cfgtrack.ok("can", "PUMP-1:J1")
    assert can.startswith("PUMP-1:J1: no allowed actions, 0 would break a rule, 1 defect")
    assert "demate PUMP-1:J1\n" not in can
    assert "defect demate" in cfgtrack.ok("history", "PUMP-1:J1")
    assert "no demate: seized, force 400 N" in cfgtrack.ok("diff", "2031-05-01T08:00:00Z", NINE)


def test_who_touches_it_is_told(cfgtrack: Command) -> None:
    """What is done to the thing otherwise is recorded, with a note of the defect; what is barred is refused."""
    seized(cfgtrack)
    noted = cfgtrack("inspect", "PUMP-1:J1", "--at", NINE)
    assert noted.status == 0
    assert "note: PUMP-1:J1 has a defect (no demate): seized, force 400 N; told by Ina" in noted.err
    refused = cfgtrack("demate", "PUMP-1:J1", "--at", NINE)
    assert refused.status == 3
    assert "barred: PUMP-1:J1 has a defect (no demate): seized, force 400 N;" in refused.err
    assert "`rectify demate PUMP-1:J1 seized` first, or as-found" in refused.err
    assert "collides with event F1" in refused.err
    lifted = cfgtrack("rectify", "PUMP-1:J1", "--at", TEN)
    assert (lifted.status, lifted.err) == (0, "")
    assert "rectify demate PUMP-1:J1 seized" in lifted.out
    again = cfgtrack("rectify", "PUMP-1:J1", "--at", ELEVEN)
    assert again.status == 3
    assert "no-defect: PUMP-1:J1 has no defect to rectify" in again.err


def test_a_plan_dies_at_it_and_is_cured_by_the_repair(cfgtrack: Command) -> None:
    """The first line names the step, and why; the cure is tried; a plan that repairs it first has no such finding."""
    seized(cfgtrack)
    plan = cfgtrack("check", cfgtrack.folder / "good.toml", "--at", NINE)
    assert plan.status == 3
    details = cfgtrack("check", cfgtrack.folder / "good.toml", "--at", NINE, "--finding", "1").out
    assert "1. IMPOSSIBLE demate PUMP-1:J1 HALL:J1: PUMP-1:J1 has a defect (no demate): seized" in details
    assert "rectify demate PUMP-1:J1 seized" in plan.out
    assert "Defects of what it touches, as it begins" in plan.out
    mended = cfgtrack.file("mended.toml", PLAN % "rectify demate PUMP-1:J1 seized")
    assert "IMPOSSIBLE" not in cfgtrack("check", mended, "--at", NINE).out
    other = cfgtrack.file("other.toml", PLAN % "defect mate HALL:J1 bent")
    both = cfgtrack("check", other, "--at", "2031-05-01T08:00:00Z", "--details").out
    assert "IMPOSSIBLE mate PUMP-1:J1 HALL:J1: HALL:J1 has a defect (no mate): bent" in both


def test_it_stands_from_its_time_until_it_is_taken_back(cfgtrack: Command) -> None:
    """Before its time nothing is barred; withdrawn, nothing is; asked as it was known then, it stands."""
    seized(cfgtrack)
    assert cfgtrack.json_of("state", "PUMP-1:J1", "--at", "2031-05-01T08:29:59Z")["state"]["defects"] == []
    known = cfgtrack.json_of("state", "PUMP-1:J1")["known"]
    cfgtrack.ok("withdraw", "F1", "--reason", "it was the other pump")
    assert cfgtrack.json_of("state", "PUMP-1:J1")["state"]["defects"] == []
    [then] = cfgtrack.json_of("state", "PUMP-1:J1", "--known-at", known)["state"]["defects"]
    assert (then["bars"], then["cause"], then["event"], then["by"]) == ("demate", "seized", "F1", "Ina")
    cfgtrack.ok("de-energise", "HALL:K1", "--at", NINE)
    cfgtrack.ok("demate", "PUMP-1:J1", "--at", TEN)


def test_found_off_all_the_same_it_stands(cfgtrack: Command) -> None:
    """Reality is never refused: found apart, it is apart; what can't be done still can't, until it is rectified."""
    seized(cfgtrack)
    found = cfgtrack.ok("as-found", "PUMP-1:J1", "demated", "--at", NINE)
    assert "demate can't be done: seized" in found
    [still] = cfgtrack.json_of("findings")["defects"]
    assert still["thing"] == "PUMP-1:J1"


def test_a_rule_may_ask_that_it_is_looked_at(cfgtrack: Command) -> None:
    """A defect is an action of the work like others: a rule starts a clock with it."""
    cfgtrack.ok("rules", "load", cfgtrack.file("after.toml", AFTER))
    assert "clock started: look-at-it for PUMP-1:J1" in seized(cfgtrack)
    assert "look-at-it" in cfgtrack.ok("findings", "--at", NINE)
    cfgtrack.ok("inspect", "PUMP-1:J1", "--at", NINE)
    assert "look-at-it" not in cfgtrack.ok("findings", "--at", TEN)


def test_it_comes_back_from_an_archive_and_a_backup(
    cfgtrack: Command, tmp_path_factory: pytest.TempPathFactory
) -> None:
    """A copy, and a journal made again of an archive, answer the same."""
    seized(cfgtrack)
    asked = ("state", "PUMP-1:J1", "--at", NINE)
    before = cfgtrack.json_of(*asked)["state"]["defects"]
    folder = tmp_path_factory.mktemp("copies")
    cfgtrack.ok("backup", folder / "copy.db")
    cfgtrack.ok("export", "--form", "archive", "-o", folder / "all.jsonl")
    again = Command(folder)
    again.ok("restore", folder / "all.jsonl")
    assert again.json_of(*asked)["state"]["defects"] == before
    assert again.json_of(*asked, "--db", folder / "copy.db")["state"]["defects"] == before
    again.ok("audit")


def test_pictures_have_it_in_words(cfgtrack: Command) -> None:
    """The picture of a medium marks the port, and its legend says what the mark means."""
    seized(cfgtrack)
    for words in (("--medium", "power"), ("--unit", "PUMP-1"), ()):
        said = " ".join(cfgtrack.ok("draw", *words, "--form", "dot", "-o", "-").split())
        assert "J1 mated to HALL:J1 <B>[1 DEFECT]</B>" in said, words
        assert "1 DEFECT: PUMP-1:J1 (no demate: seized): can&#x27;t be done until it is rectified" in said, (
            words
        )


def test_a_verdict_says_which_defects_stand(cfgtrack: Command) -> None:
    """Beneath the verdict `leave`, and `check` of something else altogether, tell what stands."""
    asked = (("leave",), ("check", "--do", "inspect PUMP-2"))
    for words in asked:
        assert " stand" not in cfgtrack(*words).out
    seized(cfgtrack)
    for words in asked:
        assert "1 defect stands: PUMP-1:J1 seized, force 400 N (no demate)" in " ".join(
            cfgtrack(*words).out.split()
        )
        told = cfgtrack(*words, "--json").json
        assert [one["thing"] for one in told.get("standing", told["defects"])] == ["PUMP-1:J1"]


@pytest.fixture
def works(empty: Command) -> Command:
    """Give the command on a plant with sites."""
    empty.ok("load", empty.file("works.toml", WORLD))
    empty.ok("rules", "load", empty.file("rules.toml", WORKING))
    return empty


def test_a_defect_is_told_from_anywhere_and_rectified_at_the_thing(works: Command) -> None:
    """Who tells a defect says so, and stays where he is, recorded or proposed; who rectifies it works at the thing."""
    assert "DISCREPANCY" not in works.ok(
        "defect", "Y", "missing", "--by", "ANN", "--at", "2031-05-01T08:00:00Z"
    )
    assert works("check", "--do", "defect open Y:V stuck by ANN").status == 0
    assert works("check", "--do", "defect open Y:V stuck").status == 0
    stuck = works.ok("defect", "open", "Y:V", "stuck", "--by", "ANN", "--at", "2031-05-01T08:10:00Z")
    assert "DISCREPANCY" not in stuck
    assert works.json_of("state", "ANN")["state"]["place"][0] == "BAY"
    works.ok("audit")
    put_right = works("check", "--do", "rectify open Y:V stuck by ANN")
    assert put_right.status == 3
    assert "ANN is at BAY; Y:V is at STORE" in put_right.out
    refused = works("check", "--do", "open Y:V by ANN", "--details")
    assert refused.status == 3
    assert "Y has a defect (nothing can be done): missing" in " ".join(refused.out.split())
