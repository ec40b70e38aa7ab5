"""A contact has its shell's story: what was done to the one was done to the other."""

from __future__ import annotations

from tests.cli.asked import HARNESS
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
