"""The plan in force, as people use it: adopted, done on several consoles, done otherwise, taken back, what is left."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from cfgtrack.model.plan import digest_of
from tests.cli.conftest import Command

PLANT = """
place = [{ id = "BAY" }, { id = "STORE" }]
part = [{ id = "panel", port = [
    { name = "V1", kind = "valve" }, { name = "V2", kind = "valve" }, { name = "V3", kind = "valve" },
    { name = "V4", kind = "valve" }, { name = "B1", kind = "bolt", torque = ["20 N*m", "30 N*m"] },
] }, { id = "seat", port = [{ name = "B1", kind = "bolt" }] }]
unit = [{ id = "P", part = "panel" }, { id = "Q", part = "panel" }, { id = "S", part = "seat" }]
[initial]
at = 2031-05-01T08:00:00Z
place = { P = { at = "BAY" }, Q = { at = "BAY" }, S = { at = "BAY" } }
[initial.status]
"P:V1..P:V4" = "open"
"Q:V1..Q:V4" = "open"
"""

RULES = """
[[rule]]
id = "third-open"
title = "Valve 3 stays open"
hazard = "it bursts"
severity = 1
source = "common practice"
mode = "always"
condition = { status = { id = "P:V3" }, is = "open" }
[[rule]]
id = "torque"
title = "A bolt is torqued in its range"
hazard = "it comes loose"
severity = 2
source = "common practice"
mode = "at"
at = { action = "torque", kind = "bolt" }
after = true
condition = { value = "it", quantity = "torque", rated = true }
"""

PLAN = """
title = "Shut down"
[[outing]]
id = "N1"
start = 2031-05-01T10:00:00Z
budget = "1 h"
[[outing.track]]
name = "ann"
steps = [
    { id = "A1", do = "shut P:V1", by = "ANN", takes = "4 min" },
    { id = "A2", do = "shut P:V2", by = "ANN", takes = "6 min" },
    { id = "A3", do = "shut P:V3", by = "ANN", takes = "10 min" },
    { id = "A4", do = "shut P:V4", by = "ANN", takes = "10 min" },
]
[[outing.track]]
name = "bea"
steps = [
    { id = "B1", do = "engage P:B1 S:B1", takes = "5 min" },
    { id = "B2", do = "torque P:B1 torque=\\"25 N*m\\"", takes = "5 min", after = ["A2"] },
    { id = "B3", do = "inspect P", takes = "5 min" },
]
[[outing]]
id = "N2"
start = 2031-05-02T10:00:00Z
[[outing.track]]
name = "ann"
steps = [{ id = "C1", do = "open P:V1", takes = "5 min" }, { id = "C2", do = "open P:V2", takes = "5 min" }]
"""


@pytest.fixture
def plan(empty: Command) -> Command:
    """The command on a plant with a plan that is in force."""
    empty.ok("load", empty.file("plant.toml", PLANT), "--by", "survey")
    empty.ok(
        "plan", "adopt", empty.file("plan.toml", PLAN), "--by", "lead", "--at", t(-30), "--id", "first-plan"
    )
    return empty


def t(minute: int) -> str:
    """Return the time so many minutes after ten."""
    return f"2031-05-01T{10 + minute // 60:02}:{minute % 60:02}:00Z"


def another(command: Command) -> Command:
    """Return another console on the same database."""
    found = Command(command.folder)
    found.ticks = command.ticks
    base = command.folder.parent / f"{command.folder.name}-another"
    found.state, found.config = base / "state", base / "config"
    return found


def states(command: Command, minute: int = 59) -> dict[str, str]:
    """Return the state of each step."""
    answer = command("progress", "--json", "--at", t(minute))
    return {one["id"]: one["state"] for one in answer.json["steps"]}


def deviations(command: Command, step: str) -> list[str]:
    """Return the words of what of a step isn't as planned."""
    steps = command("progress", "--json", "--at", t(59)).json["steps"]
    return [d["code"] for one in steps if one["id"] == step for d in one["deviations"]]


def history(command: Command) -> list[dict[str, Any]]:
    """Return every event of the journal."""
    found: list[dict[str, Any]] = command.json_of("history")["history"]
    return found


def test_a_revision_is_kept_as_it_was_written(plan: Command) -> None:
    """The text and its SHA-256 (FIPS 180-4, by hashlib) are those of the file, whatever becomes of the file."""
    plan.file("plan.toml", "lost")
    shown = plan.json_of("plan", "show")
    assert shown["text"] == PLAN
    assert shown["revision"]["sha256"] == digest_of(PLAN)
    assert (shown["revision"]["number"], shown["revision"]["by"]) == (1, "lead")


def test_a_faulty_file_is_refused_with_every_fault_and_nothing_is_written(plan: Command) -> None:
    """Errors are those of reading a sequence, with their lines, and the plan in force stays the one that it was."""
    before = len(history(plan))
    bad = plan.file("bad.toml", PLAN.replace("shut P:V1", "shut P:V9").replace('"A2"', '"A9"', 1))
    answer = plan("plan", "adopt", bad, "--at", t(0))
    assert answer.status == 2
    assert "P:V9" in answer.err
    assert len(history(plan)) == before
    assert plan.json_of("plan", "show")["revision"]["event"] == "first-plan"


def test_a_step_is_recorded_as_planned(plan: Command) -> None:
    """The event is the planned action: what, to what, by whom, with which value, in which outing, of which step."""
    plan.ok("done", "A1..A2", "--at", t(10))
    plan.ok("done", "B1", "B2", "--at", t(16))
    found = {one["step"]: one for one in history(plan) if one.get("step")}
    assert [found["A1"][name] for name in ("action", "subjects", "by", "outing", "plan")] == [
        "shut",
        ["P:V1"],
        "ANN",
        "N1",
        "first-plan",
    ]
    assert found["B2"]["values"]["torque"]["value"] == 25
    assert states(plan)["B2"] == "done"


def test_what_is_read_otherwise_is_typed_and_shown(plan: Command) -> None:
    """A value out of the range that a rule asks for is told with both, and the finding comes at once as in `record`."""
    plan.ok("rules", "load", plan.file("rules.toml", RULES))
    plan.ok("done", "B1", "--at", t(5))
    said = plan("done", "B2", "--value", "torque=31 N*m", "--at", t(10))
    assert said.status == 0
    assert "[torque]" in said.out
    assert deviations(plan, "B2") == ["out-of-range", "out-of-order"]
    assert "31 N*m, planned 25 N*m" in " ".join(plan("progress", "--at", t(10)).out.split()).replace(
        ",  ", ", "
    )


def test_what_breaks_a_rule_is_recorded_and_told_at_once(plan: Command) -> None:
    """Reality is never refused: a planned step that breaks a rule is recorded, alone and in a range."""
    plan.ok("rules", "load", plan.file("rules.toml", RULES))
    said = plan("done", "A1..A3", "--at", t(20))
    assert said.status == 0
    assert "third-open" in said.out
    assert states(plan)["A3"] == "done"


def test_said_twice_on_two_consoles_is_harmless(plan: Command) -> None:
    """The second time tells what is recorded, and writes nothing; so where it was recorded in words."""
    other = another(plan)
    plan.ok("done", "A1", "--at", t(4))
    before = len(history(plan))
    for console in (plan, other):
        assert console.json_of("done", "A1", "--at", t(9))["steps"][0]["state"] == "already"
    assert plan.json_of("done", "A1", "--at", t(2))["steps"][0]["state"] == "already"
    assert len(history(plan)) == before
    other.ok("shut", "P:V2", "--at", t(9))
    assert plan.json_of("done", "A2", "--at", t(12))["steps"][0]["state"] == "already"
    assert states(plan)["A2"] == "done"


def test_what_is_done_already_with_another_value_is_refused(plan: Command) -> None:
    """Said again with another value it isn't the same: it is refused, and says how to correct it; that works."""
    plan.ok("done", "B1", "--at", t(5))
    plan.ok("done", "B2", "--at", t(10))
    said = plan("done", "B2", "--value", "torque=26 N*m", "--at", t(11))
    assert said.status == 3
    assert "--corrects B2@firs" in said.err
    plan.ok("done", "B2", "--value", "torque=26 N*m", "--corrects", "B2@firs", "--reason", "misread")
    assert deviations(plan, "B2") == ["other-value", "out-of-order"]


def test_a_range_is_all_or_nothing_and_is_spread_over_its_time(plan: Command) -> None:
    """Each step has its own event and time, as long before the next as that is planned to take; one that can't be
    refuses all."""
    plan.ok("shut", "P:V4", "--at", t(1), "--outing", "N9", "step=X", "--by", "BEN")
    before = len(history(plan))
    answer = plan("done", "A1..A4", "--at", t(30))
    assert answer.status == 0  # what is so already counts as over: there is nothing to record of A4
    steps = {one["step"]: one["happened"] for one in history(plan)[before:]}
    assert steps == {"A1": t(14), "A2": t(20), "A3": t(30)}
    assert states(plan)["A4"] in ("there", "done")


def test_a_range_with_a_step_that_cant_be_done_writes_nothing(plan: Command) -> None:
    """Of a range in which one step collides with the record, no step is recorded; the refusal names the event."""
    plan.ok("shut", "P:V2", "--at", t(50), "--id", "LATE", "--outing", "N9", "--by", "BEN")
    before = len(history(plan))
    answer = plan("done", "C1..C2", "--at", t(40))
    assert answer.status == 3, answer.out + answer.err
    assert len(history(plan)) == before


def test_times_come_closer_where_there_was_less(plan: Command) -> None:
    """Steps that took less than planned are spread over what there was since the last step of the track."""
    plan.ok("done", "A1", "--at", t(10))
    plan.ok("done", "A2..A4", "--at", t(23))
    times = {one["step"]: one["happened"] for one in history(plan) if one.get("step")}
    assert times == {"A1": t(10), "A2": t(13), "A3": t(18), "A4": t(23)}


@pytest.mark.parametrize("named", ["A1..B2", "A3..A1"])
def test_a_range_is_of_one_track_in_its_order(plan: Command, named: str) -> None:
    """A range over two tracks, or the wrong way round, is refused: nobody can tell what is in it."""
    assert plan("done", named, "--at", t(10)).status == 2


def test_a_step_that_is_withdrawn_is_to_be_done_again(plan: Command) -> None:
    """What is taken back isn't done; done again it is another event."""
    plan.ok("done", "A1", "--at", t(4))
    plan.ok("withdraw", "A1@firs", "--reason", "it was not so")
    assert states(plan)["A1"] == "left"
    assert plan.json_of("done", "A1", "--at", t(6))["events"][0]["id"] == "A1@firs.2"
    assert states(plan)["A1"] == "done"


def test_the_wrong_step_is_put_right(plan: Command) -> None:
    """`done A2` meant A1: corrected by the right step, or by what really happened, A1 is done and A2 is left."""
    plan.ok("done", "A2", "--at", t(4))
    plan.ok("done", "A1", "--corrects", "A2@firs", "--reason", "misheard")
    assert (states(plan)["A1"], states(plan)["A2"]) == ("done", "left")
    plan.ok("done", "A3", "--at", t(8))
    plan.ok("correct", "A3@firs", "shut", "P:V2", "--reason", "it was the second")
    assert (states(plan)["A2"], states(plan)["A3"]) == ("done", "left")


def test_a_correction_of_the_time_alone_leaves_it_done(plan: Command) -> None:
    """What a step says, said again with another time, still is that step."""
    plan.ok("done", "A1", "--at", t(4))
    plan.ok("correct", "A1@firs", "shut", "P:V1", "--at", t(2), "--reason", "by the log")
    steps = plan("progress", "--json", "--at", t(59)).json["steps"]
    assert [(one["state"], one["at"]) for one in steps if one["id"] == "A1"] == [("done", t(2))]


def test_a_step_done_elsewhere_is_found(plan: Command) -> None:
    """Another port of the same unit, the same port of a like unit: told as such, and still to be done, as nobody said
    that it stands for it; where somebody says so it is over."""
    plan.ok("done", "A1", "--at", t(4))
    plan.ok("shut", "Q:V2", "--at", t(9), "--id", "wrong")
    assert states(plan)["A2"] == "elsewhere"
    assert deviations(plan, "A2") == ["other-thing"]
    assert plan("progress", "--json", "--at", t(59)).json["extra"] == []
    assert 'id = "A2"' in plan.ok("left", "--at", t(9))
    plan.ok("done", "A2", "--at", t(12))
    assert states(plan)["A2"] == "done"
    assert [one["event"] for one in plan("progress", "--json", "--at", t(59)).json["extra"]] == ["wrong"]
    plan.ok("shut", "Q:V3", "step=A3", "--at", t(20))
    assert states(plan)["A3"] == "elsewhere"
    assert 'id = "A3"' in plan.ok("left", "--at", t(20))
    plan.ok("skip", "A3", "--reason", "the other panel's does it", "--at", t(21))
    assert states(plan)["A3"] == "otherwise"
    assert 'id = "A3"' not in plan.ok("left", "--at", t(21))


def test_skipped_steps_say_why_and_may_still_be_done(plan: Command) -> None:
    """A skipped step isn't left; a range goes without it; done by its name it is done all the same."""
    plan.ok("skip", "A2", "--reason", "it leaks")
    plan.ok("done", "A1..A3", "--at", t(20))
    assert [states(plan)[name] for name in ("A1", "A2", "A3")] == ["done", "skipped", "done"]
    assert "it leaks" in plan("progress", "--at", t(59)).out
    assert plan("skip", "A1", "--reason", "x").status == 3
    plan.ok("done", "A2", "--at", t(25))
    assert states(plan)["A2"] == "done"
    plan.ok("skip", "B3", "--reason", "dark")
    event = next(one["id"] for one in history(plan) if one["action"] == "skip" and one["step"] == "B3")
    plan.ok("withdraw", event, "--reason", "there is light")
    assert states(plan)["B3"] == "left"


def test_a_console_that_saw_another_revision_is_told(plan: Command) -> None:
    """A step that says something else now is refused until that revision is named; one that says the same is not."""
    other = another(plan)
    other.ok("plan", "show")
    changed = PLAN.replace("shut P:V3", "shut Q:V3")
    plan.ok("plan", "adopt", plan.file("second.toml", changed), "--at", t(0))
    said = other("done", "A3", "--at", t(20))
    assert said.status == 3
    assert "revision 2 is in force and says shut Q:V3; revision 1" in said.err
    assert other("done", "A3", "--at", t(20), "--revision", "1").status == 3
    other.ok("done", "A1", "--at", t(4), "--revision", "1")
    other.ok("done", "A3", "--at", t(20), "--revision", digest_of(changed)[:12])
    assert states(plan)["A3"] == "done"


def test_a_new_revision_says_what_is_done_and_no_longer_in_it(plan: Command) -> None:
    """What is done counts where the new revision says the same; what it lacks, or says otherwise, is told."""
    plan.ok("done", "A1..A3", "--at", t(20))
    new = PLAN.replace('id = "A1", do = "shut P:V1"', 'id = "A0", do = "inspect S"').replace(
        "shut P:V3", "shut Q:V3"
    )
    found = plan.json_of("plan", "adopt", plan.file("new.toml", new), "--at", t(25))
    assert [(one["step"], one["now"]) for one in found["gone"]] == [("A1", None), ("A3", "shut Q:V3")]
    assert (found["added"], found["dropped"], found["changed"]) == (["A0"], ["A1"], ["A3"])
    now = states(plan)
    assert (now["A2"], now["A3"], now["A0"]) == ("done", "left", "left")
    plan.ok("withdraw", found["event"]["id"], "--reason", "the wrong file")
    assert states(plan)["A3"] == "done"


def test_a_dropped_plan_is_another_plan_than_the_next(plan: Command) -> None:
    """Nothing is in force after a drop, and what was done of the old plan is not done of the next."""
    plan.ok("done", "B3", "--at", t(5))
    plan.ok("plan", "drop", "--reason", "it rains", "--at", t(6))
    assert plan("progress", "--at", t(7)).status == 4
    plan.ok("plan", "adopt", plan.folder / "plan.toml", "--at", t(8))
    assert states(plan)["B3"] == "left"
    assert [one["state"] for one in plan.json_of("done", "B3", "--at", t(9))["steps"]] == ["recorded"]


def test_what_cant_be_done_now_is_refused_as_a_record_is(plan: Command) -> None:
    """Impossible is impossible: a bolt that isn't engaged isn't torqued, and the refusal says so."""
    said = plan("done", "B2", "--at", t(5))
    assert said.status == 3
    assert said.err == plan("torque", "P:B1", "torque=25 N*m", "--at", t(5)).err


def test_what_is_left_goes_on_from_what_is_recorded(plan: Command) -> None:
    """The outing under way goes on now, with its real start; a night that is over hands on; the file can be checked."""
    plan.ok("rules", "load", plan.file("rules.toml", RULES))
    plan.ok("begin", "N1", "--at", t(30))
    plan.ok("done", "A1..A2", "--at", t(45))
    out = plan.folder / "left.toml"
    found = plan.json_of("left", "--at", t(45), "-o", out)
    assert found["steps"] == 7
    assert 'id = "A3"' in out.read_text()
    assert "start = 2031-05-02T10:00:00Z" in out.read_text()
    by_file, by_plan = (plan("check", *file, "--at", t(45), "--json").json["check"] for file in ((out,), ()))
    assert by_file["steps"] == by_plan["steps"]
    assert by_file["verdict"] == by_plan["verdict"]
    plan.ok("end", "N1", "--at", t(50))
    over = plan.json_of("left", "--at", t(55))["text"]
    assert over.count("[[outing]]") == 1
    assert over.index('id = "A3"') < over.index('id = "C1"')


def test_half_an_hour_lost_shows(plan: Command) -> None:
    """An outing that began late is late by that, and its budget counts from when it began."""
    plan.ok("begin", "N1", "--at", t(30))
    plan.ok("done", "A1", "--at", t(34))
    found = plan("progress", "--json", "--at", t(34)).json
    assert found["late"] == 30 * 60 * 10**6
    assert "30 min late" in plan("progress", "--at", t(34)).out


def test_a_configuration_after_a_step_is_foreseen_and_says_so(plan: Command) -> None:
    """After A2 both valves are shut, and nothing is recorded; a step that is done is asked for by its time."""
    before = history(plan)
    plan.ok("done", "A1", "--at", t(4))
    found = plan.json_of("state", "P:V2", "--at", t(4), "--after", "A2")
    assert found["at"] == t(10)
    assert "FORESEEN AFTER STEP A2" in found["time_note"]
    assert [one["status"] for one in found["state"]["ports"]] == ["shut"]
    assert [one["status"] for one in plan.json_of("state", "P:V2", "--at", t(4))["state"]["ports"]] == [
        "open"
    ]
    assert len(history(plan)) == len(before) + 1
    assert plan("state", "--at", t(4), "--after", "A1").status == 4
    file = plan.file("other.toml", PLAN.replace("shut P:V2", "shut Q:V2"))
    found = plan.json_of("state", "Q:V2", "--at", t(-10), "--after", "A2", "--plan", file)
    assert [one["status"] for one in found["state"]["ports"]] == ["shut"]
    assert plan("state", "--at", t(4), "--after", "B2").status in (0, 3)


def test_an_archive_and_lines_carry_the_plan(plan: Command, tmp_path: Path) -> None:
    """A journal restored from its archive has the same plan and progress; lines bring back the steps that are done."""
    plan.ok("done", "A1..A2", "--at", t(20))
    plan.ok("skip", "A3", "--reason", "it leaks", "--at", t(21))
    archive, copy = tmp_path / "all.archive", tmp_path / "copy.db"
    plan.ok("export", "--form", "archive", "-o", archive)
    plan.ok("restore", archive, "--db", copy)
    same = [plan("progress", "--json", "--at", t(30), "--db", db).json for db in (plan.db, copy)]
    assert same[0]["steps"] == same[1]["steps"]
    lines = plan.ok("export", "--form", "jsonl").splitlines()
    assert {json.loads(line).get("step") for line in lines} >= {"A1", "A2", "A3"}
    fed = plan.folder / "fed.db"
    plan.ok("load", plan.folder / "plant.toml", "--by", "survey", "--db", fed)
    own = [line for line in lines if json.loads(line)["action"] not in ("define", "as-found")]
    plan.ok("import", "-", "--db", fed, stdin="\n".join(own))
    again = plan("progress", "--json", "--at", t(30), "--db", fed).json
    assert again["steps"] == same[0]["steps"]
    assert again["revision"]["sha256"] == digest_of(PLAN)
    rows = plan.ok("export", "--form", "csv").splitlines()
    assert "step" in rows[0].split(",")
    assert "sound" in plan.ok("audit")


def test_a_row_may_say_its_step_and_one_that_doesnt_keeps_its_id(plan: Command) -> None:
    """A sheet has a column for it. A row without keeps the id that it was given before rows could say so, so that a
    sheet that was fed to an older version isn't recorded twice. The id is one that version 0.1 gave."""
    row = f"at,action,subject,by,step\n{t(4)},shut,P:V1,ANN,A1\n"
    plan.ok("import", "-", stdin=row)
    assert states(plan)["A1"] == "done"
    plan.ok("import", "-", stdin=f"at,action,subject,by\n{t(5)},inspect,P:V1,ANN\n")
    assert history(plan)[-1]["id"] == "row-8f305d6516503c6caa82f7d8"


def test_steps_complete_in_the_shell(plan: Command) -> None:
    """What is left completes, at the end of a range too; what is done doesn't."""
    plan.ok("done", "A1", "--at", t(4))
    for typed, offered in (("A", ["A2", "A3", "A4"]), ("A2..A", ["A2..A2", "A2..A3", "A2..A4"])):
        said = plan(_CFGTRACK_COMPLETE="bash_complete", COMP_WORDS=f"cfgtrack done {typed}", COMP_CWORD="2")
        assert [line.partition(",")[2] for line in said.out.splitlines()] == offered


def test_a_record_that_names_a_step_is_of_the_plan_in_force(plan: Command) -> None:
    """`shut Q:V1 step=A1` is of A1, which is still to be done: that is said at once; of an unknown step, too."""
    said = plan("shut", "Q:V1", "step=A1", "--at", t(4))
    assert "step A1 says shut P:V1: that is still to be done" in said.err
    assert history(plan)[-1]["plan"] == "first-plan"
    assert states(plan)["A1"] == "elsewhere"
    said = plan("shut", "Q:V2", "step=A22", "--at", t(5))
    assert said.status == 0
    assert said.err.startswith("warning: there is no step A22; near names: A2")


def test_a_record_that_names_a_step_may_be_said_again(plan: Command) -> None:
    """The same event, said again by its id, is the one that is recorded, whichever plan is in force by then."""
    said = ("shut", "P:V1", "step=A1", "--at", t(4), "--id", "one", "--by", "ANN")
    plan.ok(*said)
    plan.ok(*said)
    plan.ok("plan", "adopt", plan.file("next.toml", PLAN.replace("4 min", "5 min")), "--at", t(5))
    plan.ok(*said)
    assert [(one["id"], one["plan"]) for one in history(plan) if one.get("step")] == [("one", "first-plan")]


def besides(command: Command, minute: int = 59) -> list[str]:
    """Return the events that were done besides the plan."""
    return [one["event"] for one in command("progress", "--json", "--at", t(minute)).json["extra"]]


def test_what_was_done_at_another_port_in_the_name_of_a_step_leaves_it_to_do(plan: Command) -> None:
    """The step is still left, and `done` records it as planned; what was done at the other port is besides the plan."""
    said = plan("shut", "Q:V1", "step=A1", "--at", t(4), "--id", "wrong")
    assert "step A1 says shut P:V1: that is still to be done" in said.err
    assert 'id = "A1"' in plan.ok("left", "--at", t(4))
    shown = " ".join(plan("progress", "--at", t(4)).out.split())
    assert "1 at another port or thing" in shown
    assert plan.json_of("done", "A1", "--at", t(6))["steps"][0]["state"] == "recorded"
    assert states(plan)["A1"] == "done"
    assert besides(plan) == ["wrong"]


def test_the_wrong_bolt_of_two_is_of_the_step_that_says_it(plan: Command) -> None:
    """A2's valve shut in the name of A1 is A2's, and A1 is left: nothing is lost of what is really done then."""
    plan.ok("shut", "P:V2", "step=A1", "--at", t(4), "--id", "wrong")
    assert (states(plan)["A1"], states(plan)["A2"]) == ("left", "done")
    assert deviations(plan, "A2") == ["other-step"]
    said = plan.json_of("done", "A2", "--at", t(6))["steps"][0]
    assert (said["state"], said["event"]) == ("already", "wrong")
    assert "recorded as of step A1" in said["beside"][0]
    assert plan.json_of("done", "A1", "--at", t(7))["steps"][0]["state"] == "recorded"
    assert states(plan)["A1"] == "done"
    assert besides(plan) == []


def test_the_wrong_one_that_is_undone_again_is_of_no_step(plan: Command) -> None:
    """What was done in the wrong place and put back is besides the plan, as is putting it back."""
    plan.ok("shut", "P:V2", "step=A1", "--at", t(4), "--id", "wrong")
    plan.ok("open", "P:V2", "--at", t(5), "--outing", "N1", "--id", "back")
    plan.ok("shut", "P:V1", "step=A1", "--at", t(6))
    assert (states(plan)["A1"], states(plan)["A2"]) == ("done", "left")
    assert besides(plan) == ["wrong", "back"]


def test_somebody_says_that_another_port_stands_for_a_step_by_skipping_it(plan: Command) -> None:
    """Skipped with a reason it is over, and told with both; done all the same it is done as planned."""
    plan.ok("shut", "Q:V1", "step=A1", "--at", t(4), "--id", "instead")
    plan.ok("skip", "A1", "--reason", "the same line", "--at", t(5))
    assert states(plan)["A1"] == "otherwise"
    assert deviations(plan, "A1") == ["other-thing", "skipped"]
    assert 'id = "A1"' not in plan.ok("left", "--at", t(5))
    assert plan.json_of("done", "A1", "--at", t(7))["steps"][0]["state"] == "recorded"
    assert states(plan)["A1"] == "done"
    assert besides(plan) == ["instead"]


def test_what_leaves_it_so_is_the_step_done_otherwise(plan: Command) -> None:
    """A valve that is found shut in the name of its step is shut: nothing is left to do."""
    plan.ok("as-found", "P:V1", "shut", "step=A1", "--at", t(4))
    assert states(plan)["A1"] == "otherwise"
    assert plan.json_of("done", "A1", "--at", t(5))["steps"][0]["state"] == "already"


def test_done_before_what_it_waits_for_is_recorded_and_said_at_once(plan: Command) -> None:
    """What is next is what may begin, else what it waits for; reality is recorded, and told to have been too early."""
    next_ = plan.json_of("done", "B1", "--at", t(5))["next"]
    assert next_[0].startswith("B2 waits for A2 (ann)")
    said = plan.json_of("done", "B2", "--at", t(6))["steps"][0]
    assert said["state"] == "recorded"
    assert "DID NOT WAIT for A2 (ann), which is left" in said["beside"]
    assert "DID NOT WAIT" in plan("withdraw", "B2@firs", "--reason", "no").out + plan.ok(
        "done", "B2", "--at", t(7)
    )
    assert plan.json_of("done", "A2", "--at", t(9))["steps"][0]["beside"] == [
        "PASSED BY: A1, still to be done"
    ]


def test_what_waited_for_a_step_is_next_on_its_own_track(plan: Command) -> None:
    """Once A2 is done B2 may begin: that is told to whoever did A2."""
    plan.ok("done", "B1", "--at", t(5))
    assert [one.split()[0] for one in plan.json_of("done", "A1..A2", "--at", t(10))["next"]] == ["A3", "B2"]


def test_said_again_tells_what_is_recorded_where_that_is_not_as_planned(plan: Command) -> None:
    """Without own words it is harmless, and tells the value that is recorded beside the planned one."""
    plan.ok("done", "B1", "--at", t(5))
    plan.ok("done", "B2", "--value", "torque=29 N*m", "--at", t(10))
    said = another(plan).json_of("done", "B2", "--at", t(12))["steps"][0]
    assert said["state"] == "already"
    assert said["beside"] == ["recorded: torque 29 N*m, planned 25 N*m"]


@pytest.mark.parametrize(
    "words", [("--value", "torque=25 N*m"), ("--by", "CEC"), ("--remark", "it grated"), ("--at", t(45))]
)
def test_nothing_that_is_said_of_a_step_that_is_done_is_dropped(
    plan: Command, words: tuple[str, str]
) -> None:
    """Another value, doer, remark or time than is recorded is refused, with the ways out, and nothing is written."""
    plan.ok("done", "B1", "--at", t(5))
    plan.ok("done", "B2", "--value", "torque=29 N*m", "--at", t(10))
    before = len(history(plan))
    at = () if "--at" in words else ("--at", t(12))
    said = plan("done", "B2", *words, *at)
    assert said.status == 3
    assert "--corrects B2@firs" in said.err
    assert len(history(plan)) == before


def test_a_reading_that_nobody_said_is_told_to_be_as_planned(plan: Command) -> None:
    """In a range, too; and where another quantity was said the planned one isn't recorded at all."""
    plan.ok("done", "A1..A2", "--at", t(5))
    steps = plan.json_of("done", "B1..B2", "--at", t(20), "--dry-run")["steps"]
    assert ["RECORDED AS READ: torque 25 N*m" in "".join(one["beside"]) for one in steps] == [False, True]
    plan.ok("done", "B1", "--at", t(11))
    found = plan.json_of("done", "B2", "--value", "angle=30 deg", "--at", t(12))
    assert [*found["events"][0]["values"]] == ["angle"]
    assert "NOT recorded, as another quantity was said: torque 25 N*m" in found["steps"][0]["beside"][0]
    assert "no-value" in deviations(plan, "B2")


def test_a_time_long_after_its_outing_is_asked_about(plan: Command) -> None:
    """A year into an outing of an hour is refused, and taken from whoever is sure."""
    plan.ok("begin", "N1", "--at", t(0))
    said = plan("done", "A1", "--at", "2032-05-01T10:04:00Z")
    assert said.status == 3
    assert "--sure" in said.err
    plan.ok("done", "A1", "--at", "2032-05-01T10:04:00Z", "--sure")


def test_an_outing_that_begins_twice_is_told(plan: Command) -> None:
    """It is recorded, as what is said is, with when it had begun already."""
    plan.ok("begin", "N1", "--at", t(0))
    said = plan("begin", "N1", "--at", t(5))
    assert said.status == 0
    assert f"outing N1 had begun already, {t(0)}" in said.err


def test_skipped_steps_are_not_counted_as_done(plan: Command) -> None:
    """An outing's line tells what is done, and what was skipped beside it; every defect of a step is told."""
    plan.ok("begin", "N1", "--at", t(0))
    plan.ok("skip", "A2", "--reason", "it leaks", "--at", t(1))
    plan.ok("done", "A1", "--at", t(4))
    plan.ok("defect", "shut", "P:V3", "jammed", "--at", t(5))
    plan.ok("defect", "shut", "P:V3", "leaking", "--at", t(6))
    assert "1 of 7, 1 skipped" in " ".join(plan("progress", "--at", t(7)).out.split())
    assert deviations(plan, "A3") == ["barred", "barred"]


def test_a_step_alone_is_one_of_the_plan_in_force(plan: Command) -> None:
    """`failures A1` is of the plan in force, with no file; a file that isn't there is still told."""
    plan.ok("rules", "load", plan.file("rules.toml", RULES))
    assert plan("failures", "A1", "--at", t(0)).status == 0
    assert plan("failures", "none.toml", "--at", t(0)).status == 2
