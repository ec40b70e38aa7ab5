"""A working session: the questions that the tool exists for, each in one command."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.cli import world
from tests.cli.conftest import Command

AT = "2031-05-01T10:00:00Z"
LATER = "2031-05-01T11:00:00Z"
MOMENT = "at 2031-05-01T10:00:00Z"


def test_demate_this(cfgtrack: Command) -> None:
    """An action is recorded with one command: one line tells the event's id and the moment."""
    said = cfgtrack.ok("demate", "PUMP-1:F1", "--at", AT, "--id", "E1")
    assert said.startswith(f"recorded E1: demate PUMP-1:F1 HALL:P1 ({MOMENT}")
    assert "demated" in cfgtrack.ok("state", "PUMP-1:F1")


def test_forbidden_is_recorded_and_said(cfgtrack: Command) -> None:
    """What breaks a rule has happened all the same: it is recorded, and the finding is shown at once."""
    answer = cfgtrack("demate", "PUMP-1:J1", "--at", AT, "--id", "E1", "--json")
    assert answer.status == 0
    assert answer.json["recorded"] is True
    assert [f["rule"] for f in answer.json["findings"]] == ["dead-before-touch"]
    assert answer.json["event"]["subjects"] == ["PUMP-1:J1", "HALL:J1"]
    told = cfgtrack("review", "--details").out
    assert "demate PUMP-1:J1" in told
    assert "[dead-before-touch]" in told


def test_warned_before_it_is_written(cfgtrack: Command) -> None:
    """With --dry-run the same is said, and nothing is recorded."""
    said = cfgtrack.ok("demate", "PUMP-1:J1", "--at", AT, "--dry-run")
    assert said.startswith("would record ")
    assert "dead-before-touch" in said
    assert "mated" in cfgtrack.ok("state", "PUMP-1:J1")
    assert cfgtrack("review").status == 0


def test_state_of_unit_at_time(cfgtrack: Command) -> None:
    """The state of a unit is told for any time, and as it was known at any time."""
    before = cfgtrack.ok("state", "PUMP-1", "--at", AT)
    known = cfgtrack("state", "--json").json["known"]
    cfgtrack.ok("shut", "HALL:V1", "--at", AT)
    assert "ACC" in before
    assert cfgtrack.ok("state", "PUMP-1", "--at", AT) != before
    then = cfgtrack.ok("state", "PUMP-1", "--at", AT, "--known-at", known)
    assert f"(at {AT}, as known at {known}" in then
    assert then.partition("\n\n")[2] == before.partition("\n\n")[2]
    assert (
        cfgtrack("state", "PUMP-1", "--at", "2031-05-01T09:59:59Z", "--json").json["at"]
        == "2031-05-01T09:59:59Z"
    )


def test_before_the_record(cfgtrack: Command) -> None:
    """A question about a time before anything was recorded is answered with a warning."""
    assert "BEFORE THE FIRST" in cfgtrack.ok("state", "--at", "2031-04-30T00:00:00Z")
    assert "BEFORE" not in cfgtrack.ok("state", "--at", AT)


@pytest.mark.parametrize("columns", [50, 72, 100, 200])
def test_as_wide_as_the_screen(columns: int, cfgtrack: Command) -> None:
    """An answer is no wider than the terminal."""
    for words in (
        ("state", "PUMP-1"),
        ("check", cfgtrack.folder / "bad.toml"),
        ("can", "PUMP-1"),
        ("review",),
    ):
        lines = cfgtrack(*words, COLUMNS=str(columns)).out.splitlines()
        assert max(map(len, lines)) <= columns


def test_state_of_everything(cfgtrack: Command) -> None:
    """Without a name, everything: a row for each unit."""
    said = cfgtrack.ok("state")
    assert "PUMP-1" in said
    assert "PUMP-2" in said


def test_what_does_this_break(cfgtrack: Command) -> None:
    """A check names the rule, the step, and the link that was the last way; it ends with 3."""
    answer = cfgtrack("check", cfgtrack.folder / "bad.toml", "--details")
    assert answer.status == 3
    for word in ("[expansion]", "step 1", "HALL:V1 was the last way", "PUMP-1:VOL", "This advises"):
        assert word in answer.out
    data = cfgtrack("check", cfgtrack.folder / "bad.toml", "--json")
    assert data.status == 3
    assert data.json["check"]["new"][0]["rule"] == "expansion"
    assert data.json["check"]["new"][0]["step"] == "1"


def test_clean_check(cfgtrack: Command) -> None:
    """A sequence that breaks nothing ends with 0, and still says that the tool advises."""
    answer = cfgtrack("check", cfgtrack.folder / "good.toml")
    assert (answer.status, answer.err) == (0, "")
    assert answer.out.startswith("Clear in the written order")
    assert "This advises" in answer.out


def test_check_single_action(cfgtrack: Command) -> None:
    """A single proposed action is checked without a file, from the present or from any past configuration."""
    assert cfgtrack("check", "--do", "demate PUMP-1:J1").status == 3
    cfgtrack.ok("de-energise", "HALL:K1", "--at", AT)
    assert cfgtrack("check", "--do", "demate PUMP-1:J1").status == 0
    assert cfgtrack("check", "--do", "demate PUMP-1:J1", "--at", "2031-05-01T09:30:00Z").status == 3


def test_check_step_by_step(cfgtrack: Command) -> None:
    """With --steps every step is listed, with the clocks that it starts and stops."""
    said = cfgtrack.ok("check", cfgtrack.folder / "good.toml", "--steps")
    for word in ("demate PUMP-1:J1", "energise HALL:K1", "powered-again"):
        assert word in said


def test_check_by_other_rules(cfgtrack: Command) -> None:
    """Rules in a file are used instead of those kept, without keeping them."""
    text = (cfgtrack.folder / "rules.toml").read_text().replace('id = "PUMP-1:*"', 'id = "PUMP-2:*"')
    other = cfgtrack.file("other.toml", text)
    check = cfgtrack("check", cfgtrack.folder / "bad.toml", "--rules", other, "--json").json["check"]
    assert (check["new"], [f["subjects"] for f in check["open"]]) == ([], [["PUMP-2:VOL"]])
    assert cfgtrack("check", cfgtrack.folder / "bad.toml").status == 3


@pytest.mark.parametrize(
    ("suffix", "magic"), [("svg", b"<?xml"), ("png", b"\x89PNG"), ("pdf", b"%PDF"), ("dot", b"graph ")]
)
def test_draw_loop_at_time(suffix: str, magic: bytes, cfgtrack: Command) -> None:
    """A loop as it was at a time is drawn in the form that the file's name tells."""
    picture = cfgtrack.folder / f"loop.{suffix}"
    said = cfgtrack.ok("draw", "--loop", "A", "--at", AT, "-o", picture)
    assert said.startswith(f"drew {picture} ({MOMENT}")
    assert picture.read_bytes().startswith(magic)


@pytest.mark.parametrize(
    "scope", [(), ("--medium", "power"), ("--unit", "PUMP-1", "--hops", "2"), ("--places",), ("--loop", "A")]
)
def test_draw_scopes(scope: tuple[str, ...], cfgtrack: Command) -> None:
    """Everything, a medium, a unit's neighbours, the places, a loop: each names what is in it, and its moment."""
    said = cfgtrack.ok("draw", *scope, "--at", AT)
    assert "PUMP-1" in said
    assert "2031-05-01T10:00:00Z" in said


def test_what_may_be_done_next(cfgtrack: Command) -> None:
    """Each possible action on a thing is marked allowed, or with what it would break."""
    data = cfgtrack("can", "PUMP-1", "--json").json["can"]
    allowed = {one["action"]: one["allowed"] for one in data}
    assert allowed["demate PUMP-1:J1 from HALL:J1"] is False
    assert allowed["cap PUMP-1:F2"] is True
    assert "cap PUMP-1:F2" in cfgtrack.ok("can", "PUMP-1")


def test_mates_of_before_count(cfgtrack: Command) -> None:
    """Mate cycles can't be measured: what a port went through before is read in, or recorded as the mates of then."""
    refused = cfgtrack("measure", "PUMP-1:F1", "cycles=2", "--at", AT)
    assert (refused.status, "[initial.before]" in refused.err) == (2, True)
    cfgtrack.ok("as-found", "PUMP-1", "at", "HALL", "--at", "2031-04-01T07:00:00Z", "--sure")
    for minute, words in enumerate((("mate", "PUMP-1:F1", "HALL:P1"), ("demate", "PUMP-1:F1")) * 2, 10):
        cfgtrack.ok(*words, "--at", f"2031-04-01T07:{minute}:00Z", "--sure")
    ports = cfgtrack.json_of("state", "PUMP-1")["state"]["ports"]
    (port,) = (p for p in ports if p["address"] == "PUMP-1:F1")
    assert port["cycles"] == 2


def test_open_findings_and_clocks(cfgtrack: Command) -> None:
    """What is open now: a clock while it runs, the finding when it has run out, nothing when it was met."""
    said = cfgtrack.ok("de-energise", "HALL:K1", "--at", AT)
    assert "clock started: powered-again for HALL:K1, until 2031-05-01T11:00:00Z" in said
    running = cfgtrack("findings", "--at", "2031-05-01T10:30:00Z", "--json")
    assert running.status == 0
    assert [clock["rule"] for clock in running.json["clocks"]] == ["powered-again"]
    out = cfgtrack("findings", "--at", "2031-05-01T11:30:00Z", "--json")
    assert out.status == 3
    assert [f["rule"] for f in out.json["findings"]] == ["powered-again"]


def test_late_event_says_what_it_broke_since(cfgtrack: Command) -> None:
    """What is recorded late is judged up to now: a clock that it started and that ran out since is a finding."""
    cfgtrack.ok("inspect", "PUMP-1", "--at", "2031-05-01T12:00:00Z")
    said = cfgtrack("de-energise", "HALL:K1", "--at", AT, "--json").json
    assert [(f["rule"], f["deadline"]) for f in said["findings"]] == [("powered-again", LATER)]
    assert said["findings"] == cfgtrack("findings", "--json").json["findings"]


def test_variance(cfgtrack: Command) -> None:
    """A finding under a variance is shown apart, is no reason for 3, and comes back when the variance ends."""
    cfgtrack.ok("shut", "HALL:V1", "--at", AT)
    assert cfgtrack("findings", "--at", LATER).status == 3
    cfgtrack.ok("approve", *cfgtrack.naming("expansion"), "--from", AT, "--until", LATER,
                "--by", "lead", "--reason", "drained by hand", "--at", LATER)  # fmt: skip
    for question in ("findings", "review"):
        answer = cfgtrack(question, "--at", "2031-05-01T10:59:59Z")
        assert answer.status == 0
        assert "Under a variance" in answer.out
        assert cfgtrack(question, "--at", LATER).status == 3
    cfgtrack.ok("open", "HALL:V1", "--at", "2031-05-01T11:30:00Z")
    assert cfgtrack("review").status == 3
    assert (
        cfgtrack("approve", "--rule", "expansio", "--by", "lead", "--reason", "x", "--at", LATER).status == 4
    )


def test_variance_from_what_is_open(cfgtrack: Command) -> None:
    """What broke a rule before it was approved is under the variance from then on; the time before it is not."""
    cfgtrack.ok("shut", "HALL:V1", "--at", AT)
    (finding,) = cfgtrack("findings", "--json").json["findings"]
    cfgtrack.ok(
        "approve", "--finding", finding["fingerprints"][0], "--by", "lead", "--reason", "x", "--at", LATER
    )
    assert cfgtrack("findings", "--at", "2031-05-01T10:59:59Z").status == 3
    assert cfgtrack("findings", "--at", LATER).status == 0
    cfgtrack.ok("open", "HALL:V1", "--at", "2031-05-01T11:30:00Z")
    assert cfgtrack("review").status == 3


def test_variance_from_one_finding(cfgtrack: Command) -> None:
    """A variance may name one finding by its code: the same cause is excused, another is not."""
    cfgtrack.ok("shut", "HALL:V1", "--at", AT)
    (finding,) = cfgtrack("findings", "--json").json["findings"]
    cfgtrack.ok(
        "approve", "--finding", finding["fingerprints"][0], "--by", "lead", "--reason", "x", "--at", AT
    )
    assert cfgtrack("findings").status == 0
    cfgtrack.ok("demate", "PUMP-1:J1", "--at", LATER)
    assert [f["rule"] for f in cfgtrack("review", "--json").json["findings"]] == ["dead-before-touch"]


def test_variance_at_record(cfgtrack: Command) -> None:
    """What an action breaks under a variance is shown apart when it is recorded; `can` calls the action allowed."""
    live = cfgtrack.naming("dead-before-touch", "--do", "demate PUMP-1:J1")
    cfgtrack.ok("approve", *live, "--by", "lead",
                "--reason", "x", "--at", AT)  # fmt: skip
    can = cfgtrack("can", "PUMP-1:J1", "--at", LATER, "--json").json["can"]
    assert [(c["action"], c["allowed"], len(c["excused"])) for c in can] == [
        ("demate PUMP-1:J1 from HALL:J1", True, 1)
    ]
    said = cfgtrack("demate", "PUMP-1:J1", "--at", LATER, "--json", "--dry-run").json
    assert (said["findings"], [f["rule"] for f in said["excused"]]) == ([], ["dead-before-touch"])
    assert "Under a variance" in cfgtrack.ok("demate", "PUMP-1:J1", "--at", LATER)


def test_history_of_a_span(cfgtrack: Command) -> None:
    """A history runs from the first time, included, to the second, which isn't; of one thing and of everything."""
    for at in (AT, LATER):
        cfgtrack.ok("inspect", "PUMP-1", "--at", at)
    for thing in ((), ("PUMP-1",)):
        span = cfgtrack("history", *thing, "--from", AT, "--to", LATER, "--json").json["history"]
        assert [e["action"] for e in span] == ["inspect"]


def test_history_of_a_part_is_that_of_its_units(cfgtrack: Command) -> None:
    """What was done to any unit of a part is told of the part, in order of time and each event once."""
    cfgtrack.ok("inspect", "PUMP-1", "--at", LATER, "--id", "I2")
    cfgtrack.ok("inspect", "PUMP-2", "--at", AT, "--id", "I1")
    cfgtrack.ok("remark", "pump", "PUMP-1", "hums", "--at", "2031-05-01T11:30:00Z", "--id", "I3")
    told = [e["id"] for e in cfgtrack("history", "pump", "--json").json["history"]]
    assert [one for one in told if one in ("I1", "I2", "I3")] == ["I1", "I2", "I3"]
    assert len(told) == len(set(told))
    of_units = {
        e["id"] for unit in ("PUMP-1", "PUMP-2") for e in cfgtrack("history", unit, "--json").json["history"]
    }
    assert of_units <= set(told)


@pytest.mark.parametrize(
    ("name", "what"),
    [
        ("valve", "a kind of port"),
        ("fluid", "a medium"),
        ("expansion", "a rule"),
        ("W1", "an outing"),
    ],
)
def test_what_has_no_history_says_what_has(name: str, what: str, cfgtrack: Command) -> None:
    """A name of something to which nothing happens is told for what it is; a mistyped one with the near names."""
    cfgtrack.ok("begin", "W1", "--at", AT)
    answer = cfgtrack("history", name)
    assert (answer.status, answer.out) == (4, "")
    assert f"{name} is {what}" in answer.err
    assert "A unit, port, node, place, person or machine has a history" in answer.err
    answer = cfgtrack("history", "PUMP-3")
    assert answer.status == 4
    assert "near names: PUMP-" in answer.err


def test_remark_sticks(cfgtrack: Command) -> None:
    """A remark on a part shows wherever a unit of it is about to be touched: at record, in its state, in a check."""
    cfgtrack.ok("remark", "pump", "bolt", "B1", "galls", "--at", "2031-05-01T09:30:00Z", "--by", "ina")
    assert "bolt B1 galls" in cfgtrack.ok("cap", "PUMP-1:F2", "--at", AT)
    assert "bolt B1 galls" in cfgtrack.ok("state", "PUMP-2", "--at", LATER)
    assert "bolt B1 galls" in cfgtrack.ok("remarks", "PUMP-2:F1", "--at", LATER)
    assert "bolt B1 galls" in cfgtrack("check", "--do", "cap PUMP-2:F1").out
    assert "no remarks" in cfgtrack.ok("remarks", "HALL", "--at", LATER)


def test_correction(cfgtrack: Command) -> None:
    """A wrong port is corrected by a new event with a reason; the old one stays, marked, and no longer counts."""
    cfgtrack.ok("cap", "PUMP-1:F2", "--at", AT, "--id", "E1", "--by", "ina")
    cfgtrack.ok(
        "correct", "E1", "cap", "PUMP-2:F2", "--reason", "the other pump", "--id", "E2", "--recorder", "leif"
    )
    log = cfgtrack("history", "--json").json["history"]
    assert [(e["id"], e["corrected_by"]) for e in log][-2:] == [("E1", "E2"), ("E2", None)]
    assert (log[-1]["by"], log[-1]["happened"]) == ("ina", log[-2]["happened"])
    assert cfgtrack("state", "PUMP-1:F2", "--json").json["state"]["ports"][0]["status"] == "demated"
    cfgtrack.ok("correct", "E2", "cap", "PUMP-2:F2", "by", "tomas", "--reason", "who", "--id", "E3")
    assert cfgtrack("history", "PUMP-2:F2", "--json").json["history"][-1]["by"] == "tomas"
    cfgtrack.ok("withdraw", "E3", "--reason", "nobody was there", "--at", AT)
    assert cfgtrack("state", "PUMP-2:F2", "--json").json["state"]["ports"][0]["status"] == "demated"


def test_corrections_as_one(cfgtrack: Command) -> None:
    """Two events that were mixed up are corrected as one, where each alone is impossible; all of them, or none."""
    cfgtrack.ok("shut", "HALL:V1", "--at", AT, "--id", "E1", "--by", "ina")
    cfgtrack.ok("open", "HALL:V1", "--at", LATER, "--id", "E2", "--by", "leif")
    why = ("--reason", "the other valve")
    cfgtrack.ok("shut", "HALL:V1", "--at", "2031-05-01T12:20:00Z", "--id", "E3")
    alone = cfgtrack("correct", "E1", "inspect", "HALL:V1", *why)
    assert (alone.status, "collides" in alone.err) == (3, True)
    both = ("correct", "E1", "inspect", "HALL:V1", *why, "--id", "C", "--and", "E2", 'inspect "HALL:V1"')
    said = cfgtrack.ok(*both)
    assert [line.split(":")[0] for line in said.splitlines()[:2]] == ["recorded C", "recorded C-2"]
    assert cfgtrack.ok(*both) == said
    log = cfgtrack("history", "--json").json["history"]
    assert [(e["id"], e.get("by"), e["corrected_by"]) for e in log][-5:] == [
        ("E1", "ina", "C"),
        ("E2", "leif", "C-2"),
        ("E3", None, None),
        ("C", "ina", None),
        ("C-2", "leif", None),
    ]
    for bad, status in (("inspect HALL:V9", 4), ('inspect "HALL', 2), ("uncap HALL:V1", 3)):
        answer = cfgtrack("correct", "C", "inspect", "HALL:V1", *why, "--and", "C-2", bad)
        assert (answer.status, answer.out) == (status, "")
    assert cfgtrack("history", "--json").json["history"] == log


def test_a_correction_says_what_it_breaks(cfgtrack: Command) -> None:
    """A correction or withdrawal tells the findings that the past has only because of it."""
    cfgtrack.ok("de-energise", "HALL:K1", "--at", AT, "--id", "E1")
    cfgtrack.ok("inspect", "PUMP-1", "--at", LATER, "--id", "E2")
    said = cfgtrack("correct", "E2", "demate", "PUMP-1:J1", "--reason", "x", "--id", "E3", "--json").json
    assert said["findings"] == []
    said = cfgtrack("withdraw", "E1", "--reason", "it was on", "--at", LATER, "--json").json
    assert [f["rule"] for f in said["findings"]] == ["dead-before-touch"]


def test_clocks_are_told_unless_they_are_not_wanted(cfgtrack: Command) -> None:
    """The running clocks come with a state, unless it is asked for without."""
    cfgtrack.ok("de-energise", "HALL:K1", "--at", AT, "--id", "E1")
    asked = cfgtrack("state", "HALL:K1", "--json")
    assert ([c["rule"] for c in asked.json["state"]["clocks"]], asked.err) == (["powered-again"], "")
    assert cfgtrack("state", "HALL:K1", "--no-clocks", "--json").json["state"]["clocks"] == []


def test_discrepancy(cfgtrack: Command) -> None:
    """What was found otherwise than recorded stays open until somebody explains it."""
    said = cfgtrack.ok("as-found", "PUMP-1:F2", "capped", "--at", AT, "--id", "F1")
    assert "DISCREPANCY the record said PUMP-1:F2 demated" in said
    assert "F1" in cfgtrack.ok("findings")
    cfgtrack.ok("explain", "F1", "--reason", "capped in the workshop", "--at", LATER)
    assert cfgtrack("findings", "--json").json["discrepancies"] == []


def test_difference(cfgtrack: Command) -> None:
    """What differs between two times is told, thing by thing, with the event that did it."""
    cfgtrack.ok("shut", "HALL:V1", "--at", AT, "--id", "E1")
    data = cfgtrack("diff", "2031-05-01T09:30:00Z", LATER, "--json").json["difference"]
    assert [(d["subject"], d["before"], d["after"], d["event"]) for d in data] == [
        ("HALL:V1", "open", "shut", "E1")
    ]


def test_times_inside_an_outing(cfgtrack: Command) -> None:
    """Inside an outing a time of day, or one from its start, is enough."""
    cfgtrack.ok("begin", "W1", "--at", AT)
    cfgtrack.ok("shut", "HALL:V1", "--at", "+00:20", "--outing", "W1")
    cfgtrack.ok("open", "HALL:V1", "--at", "10:30", "--outing", "W1")
    times = [e["happened"] for e in cfgtrack("history", "HALL:V1", "--json").json["history"]][-2:]
    assert times == ["2031-05-01T10:20:00Z", "2031-05-01T10:30:00Z"]
    answer = cfgtrack("shut", "HALL:V1", "--at", "+00:20", "--outing", "W9")
    assert (answer.status, "W9" in answer.err) == (4, True)


def test_repeated_id_is_harmless(cfgtrack: Command) -> None:
    """The same event under the same id is recorded once; another one under that id is refused."""
    for _ in range(2):
        cfgtrack.ok("cap", "PUMP-1:F2", "--at", AT, "--id", "E1")
    assert len(cfgtrack("history", "PUMP-1:F2", "--json").json["history"]) == 1
    answer = cfgtrack("cap", "PUMP-2:F2", "--at", AT, "--id", "E1")
    assert (answer.status, "exists" in answer.err) == (3, True)


def test_loading_again(cfgtrack: Command) -> None:
    """Loading the same again changes nothing; a dry run tells what a changed file would change."""
    plant = cfgtrack.folder / "plant.toml"
    assert cfgtrack.ok("load", plant).startswith("nothing to load")
    plant.write_text(plant.read_text().replace('"2 l"', '"3 l"'))
    assert "litres" in cfgtrack.ok("load", plant, "--dry-run")
    assert cfgtrack("load", plant, "--dry-run", "--json").json["load"]["changed"][0]["id"] == "pump"
    assert cfgtrack("load", plant, "--json").json["load"]["event"] is not None


def test_a_plant_can_be_tried_first(empty: Command) -> None:
    """A dry run needs no database, and makes none."""
    said = empty.ok("load", empty.file("plant.toml", world.PLANT), "--dry-run")
    assert "would load" in said
    assert not empty.db.exists()


def test_rules(cfgtrack: Command) -> None:
    """Rules are listed, explained with what they guard now, tried over the past, and kept by version."""
    assert "dead-before-touch" in cfgtrack.ok("rules", "list")
    said = cfgtrack.ok("rules", "explain", "expansion")
    assert "guards      1: PUMP-1:VOL" in said
    assert (
        cfgtrack("rules", "explain", "powered-again", "--json")
        .json["rule"]["when"]
        .startswith("within 1 h after")
    )
    before = cfgtrack("rules", "show", "--json").json
    text = (cfgtrack.folder / "rules.toml").read_text()
    cfgtrack.file("rules.toml", text.replace('within = "1 h"', 'within = "2 h"'))
    cfgtrack.ok("de-energise", "HALL:K1", "--at", AT)
    cfgtrack.ok("energise", "HALL:K1", "--at", "2031-05-01T11:30:00Z")
    assert cfgtrack("rules", "try", cfgtrack.folder / "rules.toml").status == 0
    assert cfgtrack("review").status == 3
    cfgtrack.ok("rules", "load", cfgtrack.folder / "rules.toml")
    assert cfgtrack("review").status == 0
    assert cfgtrack("rules", "show", "--known-at", before["known"], "--json").json["files"] == before["files"]
    assert cfgtrack("rules", "explain", "expansoin").status == 4


def test_rules_are_dropped(cfgtrack: Command) -> None:
    """A dropped rules file judges no longer; as known before, it does; its rules may be kept under another name."""
    cfgtrack.ok("shut", "HALL:V1", "--at", AT)
    known = cfgtrack("review", "--json").json["known"]
    cfgtrack.ok("rules", "drop", "rules.toml", "--accept", "they are kept elsewhere")
    assert cfgtrack("rules", "show", "--json").json["files"] == {}
    assert cfgtrack("review").status == 4
    assert cfgtrack("review", "--known-at", known).status == 3
    assert cfgtrack("rules", "drop", "rules.toml").status == 4
    cfgtrack.ok("rules", "load", cfgtrack.file("other.toml", world.RULES))
    assert cfgtrack("review").status == 3


def test_starter_rules(cfgtrack: Command) -> None:
    """The starter set can be printed, and kept as it is printed."""
    starter = cfgtrack.file("starter.toml", cfgtrack.ok("rules", "starter"))
    answer = cfgtrack("rules", "try", starter, "--json")
    assert answer.status == 3
    assert [f["rule"] for f in answer.json["findings"]] == ["expansion-path"]  # of the spare, full and shut


def test_two_rules_files(cfgtrack: Command) -> None:
    """Several rules files are kept side by side, and judged as one set."""
    text = cfgtrack.ok("rules", "starter").replace('"dead-before-touch"', '"dead-before-touch-too"')
    cfgtrack.ok("rules", "load", cfgtrack.file("starter.toml", text))
    assert len(cfgtrack("rules", "list", "--json").json["rules"]) > 20


def test_the_plant_is_counted(cfgtrack: Command) -> None:
    """The plant is counted: units, places, ports by kind."""
    assert cfgtrack("plant", "--json").json["plant"]["ports"]["fluid-disconnect"] == 6
    assert "2 units" in cfgtrack.ok("plant")


def test_default_database(empty: Command, tmp_path: Path) -> None:
    """Without --db and CFGTRACK_DB the database is a file in the user's data folder, made by the first load."""
    plant = empty.file("plant.toml", "[[place]]\nid = 'HALL'\n")
    assert empty("load", plant, CFGTRACK_DB="", XDG_DATA_HOME=str(tmp_path / "data")).status == 0
    assert (tmp_path / "data/cfgtrack/journal.db").is_file()
    assert not empty.db.exists()
