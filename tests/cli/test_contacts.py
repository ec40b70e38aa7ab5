"""A contact has its shell's story: what was done to the one was done to the other."""

from __future__ import annotations

from tests.cli.asked import CASE, HARNESS
from tests.cli.conftest import Command

AT = "2031-05-02T10:00:00Z"


def events(shop: Command, *words: str) -> list[str]:
    """The ids of the events that a question tells, but for those of the initial configuration."""
    return [line["id"] for line in shop.json_of(*words)[words[0]] if not line["id"].startswith("initial:")]


def test_the_history_of_a_contact_is_its_shells_and_its_own(empty: Command) -> None:
    """A mate of the shell is told of each contact; a remark on one contact of that, and of the shell."""
    empty.ok("load", empty.file("harness.toml", HARNESS))
    empty.ok("demate", "ONE:J", "--at", AT, "--id", "apart")
    empty.ok("remark", "ONE:J:1", "--remark", "pin bent", "--at", AT, "--id", "bent")
    wanted = {
        "ONE:J": ["apart", "bent"],
        "ONE:J:1": ["apart", "bent"],
        "ONE:J:2": ["apart"],
        "TWO:J:1": ["apart"],
    }
    assert {thing: events(empty, "history", thing) for thing in wanted} == wanted
    assert "pin bent" in empty.ok("state", "ONE:J:1")
    assert "pin bent" in empty.ok("state", "ONE:J")
    told = empty.ok("as-found", "ONE:J", "mated", "to", "TWO:J", "--at", "2031-05-02T11:00:00Z")
    assert "pin bent" in told
    assert "pin bent" not in empty.ok("state", "ONE:J:2")


def test_who_mates_shells_that_do_not_belong_together_is_told(empty: Command) -> None:
    """It can be mated: a plan and a record say beside it which contacts face another medium, and nothing of others."""
    other = HARNESS.replace('id = "TWO"\npart = "box"', 'id = "TWO"\npart = "case"')
    plant = other.replace('joined = [["ONE:J", "TWO:J"]]', 'joined = [["ONE:J", "THREE:J"]]')
    bends = plant.replace('id = "box"\n', 'id = "box"\nflexible = true\n')
    empty.ok("load", empty.file("harness.toml", bends + CASE))
    empty.ok("demate", "ONE:J", "--at", AT)
    sentence = "the contacts of ONE:J and TWO:J don't belong together"
    planned = empty("check", "--do", "mate ONE:J TWO:J", "--rules", empty.file("dummy.toml", DUMMY))
    assert planned.err.startswith(f"warning: step 1: {sentence}")
    alike = empty("check", "--do", "mate ONE:J THREE:J", "--rules", empty.folder / "dummy.toml")
    assert "belong together" not in alike.out + alike.err
    recorded = empty("mate", "ONE:J", "TWO:J", "--at", "2031-05-02T11:00:00Z")
    assert recorded.status == 0
    assert recorded.err.startswith(
        f"warning: {sentence}: contact 1 is power on ONE:J and data on TWO:J; contact 2"
    )


DUMMY = """
[[rule]]
id = "fed"
title = "Every box has its source"
hazard = "it is dark"
severity = 4
source = "common practice"
mode = "always"
condition = { path = "power", from = { source = true }, to = { source = true } }
"""
