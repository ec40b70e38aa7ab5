"""A kept check holds until something that it stood on is another one, and then says what."""

from __future__ import annotations

import hashlib
import json

import pytest

from cfgtrack.model.kept import fault_of_kept
from tests.cli import world
from tests.cli.conftest import Command
from tests.store.conftest import Server

AT = "2031-05-01T10:00:00Z"


def changes(cfgtrack: Command, *words: object) -> list[tuple[str, str | None]]:
    """Return what changed since the one check that is kept: codes and events."""
    [one] = json.loads(cfgtrack("checks", "--json", "--at", "2031-05-01T11:00:00Z", *words).out)["checks"]
    assert one["stale"] == bool(one["changes"])
    return [(change["code"], change["event"]) for change in one["changes"]]


def kept(cfgtrack: Command, *more: str) -> None:
    """Keep the check of the good plan."""
    assert cfgtrack("check", cfgtrack.folder / "good.toml", "--at", AT, "--keep", *more).status == 0


def body(cfgtrack: Command) -> dict[str, object]:
    """Return what the last event of the journal holds."""
    [*_, last] = cfgtrack.ok("export", "--form", "jsonl").splitlines()
    found: dict[str, object] = json.loads(last)["body"]
    return found


def test_what_is_kept(cfgtrack: Command) -> None:
    """The event holds the file's text with its sha256, the head from before it, and the verdict (hashlib)."""
    head = cfgtrack.json_of("head")["head"]
    kept(cfgtrack, "--by", "ina", "--name", "power off")
    found = body(cfgtrack)
    text = (cfgtrack.folder / "good.toml").read_text()
    assert found["text"] == text
    assert found["sha256"] == hashlib.sha256(text.encode()).hexdigest()
    assert found["head"] == {"size": head["size"], "root": head["root"]}
    assert (found["name"], found["verdict"], found["findings"]) == ("power off", "clear", [])
    [*_, last] = cfgtrack.json_of("history")["history"]
    assert last["action"] == "keep-check"
    assert cfgtrack.ok("checks", "--at", AT).startswith("1 kept check  (")
    assert "SOUND" in cfgtrack.ok("audit").upper()


def test_it_holds_while_nothing_changes(cfgtrack: Command) -> None:
    """Reading, keeping another check, and notes on what neither plan nor rules have to do with leave it as it is."""
    kept(cfgtrack)
    cfgtrack.ok("state")
    assert cfgtrack("check", cfgtrack.folder / "bad.toml", "--at", AT, "--keep").status == 3
    cfgtrack.ok("remark", "STORE", "dusty", "--at", AT)
    cfgtrack.ok("inspect", "STORE", "--at", AT)
    assert changes(cfgtrack, "good") == []
    assert cfgtrack("checks", "good", "--at", AT).status == 0


@pytest.mark.parametrize(
    ("words", "code"),
    [
        (("remark", "HALL:K1", "stiff"), "event"),
        (("measure", "PUMP-1", "temperature=20 degC"), "event"),
        (("inspect", "PUMP-1:VOL"), "event"),
        (("shut", "HALL:V1"), "event"),
        (("place", "PUMP-2", "at", "STORE"), "event"),
        (("begin", "W7"), "event"),
        (("lock", "HALL:V1", "with", "ANN"), None),
    ],
)
def test_what_happens_makes_it_stale(cfgtrack: Command, words: tuple[str, ...], code: str | None) -> None:
    """What is recorded since of anything it may depend on makes it stale, and is named by its event."""
    kept(cfgtrack)
    answer = cfgtrack(*words, "--at", AT, "--id", "NEW")
    is_recorded = "recorded NEW" in answer.out
    assert changes(cfgtrack) == ([("event", "NEW")] if is_recorded else [])
    assert is_recorded or code is None or words[0] == "place"
    if is_recorded:
        assert cfgtrack("checks", "--at", AT).status == 3
        assert "NEW" in cfgtrack("checks", "good", "--at", AT).out


def test_a_correction_makes_it_stale(cfgtrack: Command) -> None:
    """An older event that is told otherwise makes it stale, and is named by what tells it so."""
    cfgtrack.ok("inspect", "PUMP-2", "--at", AT, "--id", "OLD")
    kept(cfgtrack)
    cfgtrack.ok("withdraw", "OLD", "--reason", "it was PUMP-1", "--id", "NEW")
    assert changes(cfgtrack) == [("corrected", "NEW")]


def test_rules_and_definition(cfgtrack: Command) -> None:
    """Other rules and another definition make it stale, each by what it is; the same rules again don't."""
    kept(cfgtrack)
    cfgtrack.ok("rules", "load", cfgtrack.folder / "rules.toml")
    assert changes(cfgtrack) == []
    cfgtrack.ok(
        "rules", "load", cfgtrack.file("rules.toml", world.RULES.replace("it freezes", "it gets cold"))
    )
    assert [code for code, _ in changes(cfgtrack)] == ["rules"]
    assert all(event for _, event in changes(cfgtrack))
    cfgtrack.ok("load", cfgtrack.file("more.toml", '[[place]]\nid = "YARD"\n'))
    assert [code for code, _ in changes(cfgtrack)] == ["rules", "definition"]


def test_its_time_passes(cfgtrack: Command) -> None:
    """It is stale once its first outing should have begun, and hasn't."""
    kept(cfgtrack)
    start = "2031-05-02T08:00:00Z"
    assert cfgtrack("checks", "--at", start).status == 0
    assert cfgtrack("checks", "--at", "2031-05-02T08:00:01Z").status == 3
    cfgtrack.ok("begin", "W1", "--at", start, "--id", "B")
    told = json.loads(cfgtrack("checks", "--json", "--at", "2031-05-02T08:00:01Z").out)["checks"][0][
        "changes"
    ]
    assert [one["event"] for one in told] == ["B"]


def test_the_last_of_a_name_counts(cfgtrack: Command) -> None:
    """A later check of the same name takes the place of a stale one."""
    kept(cfgtrack)
    cfgtrack.ok("inspect", "PUMP-1", "--at", AT)
    assert cfgtrack("checks", "--at", AT).status == 3
    kept(cfgtrack)
    assert cfgtrack("checks", "--at", AT).status == 0
    two = cfgtrack.json_of("checks", "--at", AT)["checks"]
    assert [one["stale"] for one in two] == [False, True]
    assert two[1]["again"] == two[0]["check"]["event"]


def test_it_can_be_withdrawn(cfgtrack: Command) -> None:
    """A kept check that is withdrawn is none."""
    kept(cfgtrack)
    [one] = cfgtrack.json_of("checks", "--at", AT)["checks"]
    cfgtrack.ok("withdraw", one["check"]["event"], "--reason", "the wrong file")
    assert cfgtrack.json_of("checks", "--at", AT)["checks"] == []
    assert cfgtrack("checks", "good").status == 4


def test_slips(cfgtrack: Command) -> None:
    """A single action, other rules and another time's knowledge are not kept; nobody says a kept check by hand."""
    good = cfgtrack.folder / "good.toml"
    assert cfgtrack("check", "--do", "open HALL:V1", "--keep").status == 2
    assert cfgtrack("check", good, "--keep", "--rules", cfgtrack.folder / "rules.toml").status == 2
    assert cfgtrack("check", good, "--keep", "--known-at", AT).status == 2
    assert cfgtrack("check", good, "--name", "x").status == 2
    assert cfgtrack("record", "keep-check").status == 2


def test_nothing_else_is_taken_for_one(cfgtrack: Command) -> None:
    """What is imported as a kept check must be one, word by word."""
    kept(cfgtrack)
    good = body(cfgtrack)
    assert fault_of_kept(good) == ""
    wrong = {
        "name": "", "text": "other", "verdict": "fine", "head": {"size": 0, "root": "0" * 64}, "at": "soon",
        "findings": [1], "until": 1 << 70, "approvals": None, "rules": 3,
    }  # fmt: skip
    for name, value in wrong.items():
        assert fault_of_kept({**good, name: value}), name
        row = {"id": f"x-{name}", "at": AT, "action": "keep-check", "body": {**good, name: value}}
        assert cfgtrack("import", "-", stdin=json.dumps(row)).status in (2, 3), name
    assert fault_of_kept({**good, "more": 1})
    assert fault_of_kept({name: value for name, value in good.items() if name != "tool"})
    assert len(cfgtrack.json_of("checks", "--at", AT)["checks"]) == 1


def test_on_a_server(server: Server, cfgtrack: Command) -> None:
    """On PostgreSQL a check is kept, holds and gets stale alike, and the journal stays sound."""
    url = server.empty()
    for words in (
        ("load", cfgtrack.folder / "plant.toml"),
        ("rules", "load", cfgtrack.folder / "rules.toml"),
    ):
        cfgtrack.ok("--db", url, *words)
    cfgtrack.ok("--db", url, "check", cfgtrack.folder / "good.toml", "--at", AT, "--keep", "--by", "ina")
    assert cfgtrack("--db", url, "checks", "--at", AT).status == 0
    cfgtrack.ok("--db", url, "inspect", "PUMP-1", "--at", AT)
    assert cfgtrack("--db", url, "checks", "--at", AT).status == 3
    cfgtrack.ok("--db", url, "audit")


def test_revisions_are_compared(cfgtrack: Command) -> None:
    """A file and a kept check are compared alike: what was added and dropped, and which findings that brings."""
    kept(cfgtrack)
    live = world.GOOD.replace('{ id = "1", do = "de-energise HALL:K1", takes = "1 min" },', "").replace(
        '{ id = "4", do = "energise HALL:K1", takes = "1 min" },', '{ id = "5", do = "inspect PUMP-1" },'
    )
    answer = cfgtrack("compare", "good", cfgtrack.file("live.toml", live), "--at", AT, "--json")
    assert answer.status == 3
    found = answer.json["comparison"]
    assert [one["step"] for one in found["added"]] == ["5"]
    assert [one["step"] for one in found["dropped"]] == ["1", "4"]
    assert {(one["rule"], one["step"]) for one in found["gained"]} == {
        ("dead-before-touch", "2"),
        ("dead-before-touch", "3"),
    }
    assert [(one["rule"], one["after_seconds"]) for one in found["margins"] if one["rule"] != "budget"] == [
        ("powered-again", None)
    ]
    back = cfgtrack("compare", cfgtrack.folder / "live.toml", "good", "--at", AT)
    assert (back.status, "Findings lost" in back.out) == (0, True)
    assert cfgtrack("compare", "good", "nothing").status == 4


def test_a_file_that_was_edited(cfgtrack: Command) -> None:
    """What holds is said of the text that was kept; with --file, whether a file still holds that text."""
    kept(cfgtrack)
    good = cfgtrack.folder / "good.toml"
    assert changes(cfgtrack, "--file", good) == []
    good.write_text(world.GOOD + "# edited\n")
    assert "as it was kept; not compared with any file" in cfgtrack.ok("checks", "--at", AT)
    assert changes(cfgtrack, "good", "--file", good) == [("file", None)]
    assert cfgtrack("checks", "--file", good, "--at", AT).status == 3
    assert cfgtrack("checks", "good", "--file", cfgtrack.folder / "nowhere.toml").status in (2, 4)


def test_what_was_known_and_came_after(cfgtrack: Command) -> None:
    """A check of an earlier moment is stale by what came after that moment, though it was recorded before the check."""
    late = "2031-05-02T08:00:00Z"
    cfgtrack.ok("begin", "W1", "--at", late, "--id", "B")
    cfgtrack.ok("inspect", "PUMP-1", "--at", late, "--id", "I")
    kept(cfgtrack)
    assert cfgtrack("checks", "--at", AT).status == 0
    answer = cfgtrack("checks", "--json", "--at", "2031-05-02T08:00:01Z")
    assert answer.status == 3
    assert [one["event"] for one in answer.json["checks"][0]["changes"]] == ["B", "I"]


def test_what_is_left_is_kept(cfgtrack: Command) -> None:
    """Without a file the check of what is left of the plan in force is kept, and gets stale with what is done."""
    assert cfgtrack("check", "--keep", "--at", AT).status == 4
    cfgtrack.ok("plan", "adopt", cfgtrack.folder / "good.toml", "--at", AT)
    cfgtrack.ok("check", "--keep", "--at", AT)
    [one] = cfgtrack.json_of("checks", "--at", AT)["checks"]
    assert (one["check"]["name"], one["stale"]) == ("left", False)
    cfgtrack.ok("done", "1", "--at", AT)
    assert cfgtrack("checks", "left", "--at", AT).status == 3


def test_nothing_judged_is_said_first(cfgtrack: Command) -> None:
    """Comparing what no rule has to do with says in the first line that nothing was judged."""
    _dead_alone(cfgtrack)
    one = cfgtrack.file("one.toml", _one("inspect PUMP-1"))
    said = cfgtrack.ok("compare", one, one, "--at", AT).splitlines()[0]
    assert said.startswith("No step differs; nothing was judged in either")


def test_one_finding_is_one(cfgtrack: Command) -> None:
    """One finding is told in the singular."""
    _dead_alone(cfgtrack)
    one = cfgtrack.file("one.toml", _one("inspect PUMP-1"))
    other = cfgtrack.file("other.toml", _one("demate PUMP-1:J1"))
    assert (
        "; nothing was judged in A: 1 finding gained, none lost"
        in cfgtrack("compare", one, other, "--at", AT).out
    )
    assert (
        "; nothing was judged in B: no findings gained, 1 lost"
        in cfgtrack("compare", other, one, "--at", AT).out
    )


def _dead_alone(cfgtrack: Command) -> None:
    head, *rules = world.RULES.split("[[rule]]")
    [dead] = [rule for rule in rules if 'id = "dead-before-touch"' in rule]
    cfgtrack.ok("rules", "load", cfgtrack.file("rules.toml", f"{head}[[rule]]{dead}"), "--accept", "x")


def _one(do: str) -> str:
    return (
        f'[[outing]]\nid = "W"\n[[outing.track]]\nname = "t"\nsteps = [{{ id = "{do[0]}", do = "{do}" }}]\n'
    )


def test_nothing_to_mend(cfgtrack: Command) -> None:
    """Of what no rule has to do with mending says in the first line that nothing was judged."""
    _dead_alone(cfgtrack)
    answer = cfgtrack("mend", cfgtrack.file("one.toml", _one("inspect PUMP-1")), "--at", AT)
    assert answer.status == 4
    assert answer.out.startswith("Undecided: nothing of it was judged, so there is nothing to mend")
    assert "wrong:" not in answer.out
