"""Clocks that are wrong, and times that are hardly right, from the command line, judged as they are outside tests."""

from __future__ import annotations

import re
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from cfgtrack.model.time import DAY, HOUR, MINUTE, SECOND, format_instant, parse_instant
from tests.cli import world
from tests.cli.conftest import Command
from tests.clocks import as_it_is
from tests.store.conftest import Server

NOON = parse_instant("2031-05-01T12:00:00Z")


def going(start: int) -> Iterator[int]:
    """Yield the time of each look at a clock."""
    return iter(range(start, start + 10_000 * SECOND, SECOND))


@pytest.fixture
def console(cfgtrack: Command, monkeypatch: pytest.MonkeyPatch) -> Command:
    """The tiny plant, loaded at nine; it is noon."""
    as_it_is(monkeypatch)
    cfgtrack.ticks = going(NOON)
    return cfgtrack


# --- when it became known -----------------------------------------------------------------------------------------


def test_known_now_hides_nothing(console: Command) -> None:
    """One console is an hour fast, the other right: what either records is in "as known now" of both (seen 3)."""
    console.ticks = going(NOON + HOUR)
    console.ok("inspect", "PUMP-1", "--id", "FAST")
    console.ticks = going(NOON)
    console.ok("inspect", "PUMP-2", "--id", "RIGHT")
    for clock in (NOON, NOON + HOUR):
        console.ticks = going(clock)
        for words in ((), ("--known-at", "2031-05-01T13:30:00Z")):
            # By then the stamps of both are in the past.
            ids = {line["id"] for line in console.json_of("history", *words)["history"]}
            assert {"FAST", "RIGHT"} <= ids


def test_known_at_a_time_is_by_the_stamps(console: Command) -> None:
    """Known at a time that is named is what was stamped by then, whichever console asks; one to come is told."""
    console.ok("inspect", "PUMP-1", "--id", "E1")
    console.ticks = going(NOON + 20 * DAY)
    console.ok("inspect", "PUMP-2", "--id", "FAST")
    answers = []
    for clock in (NOON - HOUR, NOON + HOUR, NOON + 19 * DAY):
        console.ticks = going(clock)
        found = console(
            "state", "--json", "--known-at", "2031-05-01T12:30:00Z", "--at", "2031-05-01T12:00:05Z"
        ).json
        assert ("WHICH IS AFTER NOW" in found.pop("time_note", "")) == (clock < NOON)
        log = console.json_of("history", "--known-at", "2031-05-01T12:30:00Z")["history"]
        answers.append((found, [line["id"] for line in log]))
    assert answers[0] == answers[1] == answers[2]
    assert answers[0][0]["known"] == "2031-05-01T12:30:00Z"
    assert answers[0][1][-1] == "E1"
    console.ticks = going(NOON - HOUR)
    said = " ".join(console.ok("history", "--known-at", "2031-05-01T12:30:00Z").split())
    assert "WHICH IS AFTER NOW, 2031-05-01T11:00:0" in said


# --- now ----------------------------------------------------------------------------------------------------------


def ahead(console: Command, days: int, *accepted: str) -> None:
    """Have a console so many days fast write, and a right one after it."""
    console.ticks = going(NOON + days * DAY)
    console.ok("inspect", "PUMP-2", "--id", "FAST", *accepted)
    console.ticks = going(NOON + MINUTE)
    console.ok("inspect", "PUMP-1", "--id", "RIGHT")


JUDGED = (("findings",), ("review",), ("state",), ("check", "--do", "shut HALL:V1"), ("draw", "-o", "x.svg"))


def test_now_is_not_told_for_two(console: Command, monkeypatch: pytest.MonkeyPatch) -> None:
    """After a jump of a year that was accepted nothing is judged for now: both clocks and the event are named."""
    monkeypatch.chdir(console.folder)
    ahead(console, 365, "--accept-clock", "2032-04-30")
    for words in JUDGED:
        answer = console(*words)
        assert (answer.status, answer.out) == (4, ""), words
        assert "--at: clocks-differ: say which time is meant: this clock says 2031-05-01T12:01:" in answer.err
        assert "364 d later, at 2032-04-30T12:00:0" in answer.err
        assert "by event FAST" in answer.err
        assert console(*words, "--at", "2031-05-01T12:02:00Z").status in (0, 3), words
    # What is recorded is told, and says whose now it is; recording goes on.
    assert "NOW BY THE LAST WRITE, 364 d AFTER THIS CLOCK" in " ".join(console.ok("history").split())
    assert console.json_of("history")["time_note"] == "NOW BY THE LAST WRITE, 364 d AFTER THIS CLOCK"
    console.ok("inspect", "PUMP-1")


def test_a_dead_clock_is_answered_nothing(console: Command) -> None:
    """A console that was set back to 1970 isn't told that nothing is found now."""
    console.ticks = going(0)
    answer = console("findings")
    assert answer.status == 4
    assert "this clock says 1970-01-01T00:00:0" in answer.err
    assert console("findings", "--at", "2031-05-01T12:00:00Z").status in (0, 3)


def test_a_small_jump_is_told(console: Command) -> None:
    """Twenty days, which nobody was asked about, are told in each answer of a right console; so is a long lull."""
    ahead(console, 20)
    for words in (("findings",), ("review",), ("state", "PUMP-1"), ("history",)):
        answer = console(*words)
        assert "NOW BY THE LAST WRITE, 19 d AFTER THIS CLOCK" in " ".join(answer.out.split()), words
    assert console("findings", "--json").json["time_note"] == "NOW BY THE LAST WRITE, 19 d AFTER THIS CLOCK"
    console.ticks = going(NOON + 90 * DAY)
    assert "NOW BY THIS CLOCK, 89 d AFTER THAT OF THE LAST WRITE" in " ".join(console("findings").out.split())


@pytest.mark.parametrize("way", ["withdraw", "correct"])
@pytest.mark.parametrize("days", [20, 365])
def test_a_wrong_clock_is_put_right(way: str, days: int, console: Command) -> None:
    """Once the fast event is taken back because of a wrong clock, now is this clock's again, for good."""
    ahead(console, days, "--accept-clock", "2032-04-30")
    words = {
        "withdraw": ("withdraw", "FAST", "--reason", "wrong clock: a year fast"),
        "correct": (
            *("correct", "FAST", "inspect", "PUMP-2", "--at", "2031-05-01T11:59:00Z"),
            *("--reason", "wrong clock"),
        ),
    }
    console.ok(*words[way])
    for clock in (NOON + 2 * MINUTE, NOON + 20 * DAY):
        console.ticks = going(clock)
        answer = console("findings", "--json")
        assert answer.status in (0, 3), answer.err
        assert "time_note" not in answer.json
        assert abs(parse_instant(answer.json["at"]) - clock) < MINUTE
    # It isn't put right for a clock that is dead, nor silently for the one that was fast.
    console.ticks = going(0)
    assert console("findings").status == 4
    console.ticks = going(NOON + days * DAY)
    assert ("NOW BY THIS CLOCK" in " ".join(console("findings").out.split())) == (days > 27)


def test_another_reason_leaves_the_clock(console: Command) -> None:
    """An event that is taken back for another reason still says what its clock said."""
    ahead(console, 365, "--accept-clock", "2032-04-30")
    console.ok("withdraw", "FAST", "--reason", "it was the other pump, not a wrong clock")
    assert console("findings").status == 4


def test_whose_now_a_time_is_after(console: Command) -> None:
    """A time that is after the record's now, which isn't this clock's, is asked about with both."""
    ahead(console, 20)
    said = " ".join(console("inspect", "PUMP-1", "--at", "2031-06-01T12:00:00Z").err.split())
    assert "after now, 2031-05-21T12:00:" in said
    assert "(the last write's; this clock says 2031-05-01T12:01:" in said


def test_marks_blame_nobody(console: Command) -> None:
    """Of two consoles an hour apart the mark names what both said at which write, not which of them is wrong."""
    console.ticks = going(NOON + HOUR)
    console.ok("inspect", "PUMP-1", "--id", "FAST")
    console.ticks = going(NOON)
    console.ok("inspect", "PUMP-2", "--id", "RIGHT")
    marked = r"two clocks differ by (1 h|59 min \d+ s): 2031-05-01T12:00:0\dZ here, 2031-05-01T13:00:0\dZ at the write"
    (doubt,) = console.json_of("audit")["doubts"]
    assert re.search(marked, doubt["sentence"])
    assert doubt["event"] == "RIGHT"
    assert "two clocks differ by" in re.sub(r"\s+(rec\. \w+\)\s+)?", " ", console.ok("history", "PUMP-2"))


def test_what_another_did_is_seen_now(console: Command) -> None:
    """What a console records in its present is in the state now of one whose clock is an hour slow."""
    console.ok("cap", "PUMP-1:F2")
    console.ticks = going(NOON - HOUR)
    (port,) = (p for p in console.json_of("state", "PUMP-1")["state"]["ports"] if p["address"] == "PUMP-1:F2")
    assert port["status"] == "capped"


def test_a_jump_is_refused(console: Command) -> None:
    """A clock more than 27 days ahead of the last write writes nothing, and is told its jump and a way out."""
    before = console.db.read_bytes()
    console.ticks = going(NOON + 400 * DAY)
    answer = console("inspect", "PUMP-1")
    assert answer.status == 3
    assert (
        "clock: clock-ahead: this clock says 2032-06-04T12:00:01Z, 400 d after the last write" in answer.err
    )
    assert "the plant allows 27 d" in answer.err
    assert "--accept-clock 2032-06-04" in answer.err
    assert console.db.read_bytes() == before


JUMPING = {
    "record": ("inspect", "PUMP-1"),
    "withdraw": ("withdraw", "initial:PUMP-1:F1", "--reason", "x"),
    "import": ("import", "-"),
    "load": ("load", "more.toml"),
    "rules": ("rules", "load", "rules.toml"),
    "retire": ("retire", "PUMP-2", "--reason", "x"),
}


@pytest.mark.parametrize("words", JUMPING)
def test_every_writer_is_asked(words: str, console: Command, monkeypatch: pytest.MonkeyPatch) -> None:
    """Whatever writes is refused by a clock that jumps, and goes on when its day is named."""
    monkeypatch.chdir(console.folder)
    more = '\n[[place]]\nid = "YARD"\nparent = "HALL"\n'
    console.file("more.toml", world.PLANT + more)
    console.file("rules.toml", world.RULES + "\n# looked at again\n")
    console.ticks = going(NOON + 40 * DAY)
    stdin = "at,action,subject\n2031-06-10T12:00:00Z,inspect,PUMP-1\n"
    assert console(*JUMPING[words], stdin=stdin).status == 3
    assert console(*JUMPING[words], "--accept-clock", "2031-06-09", stdin=stdin).status == 3
    answer = console(*JUMPING[words], "--accept-clock", "2031-06-10", stdin=stdin)
    assert answer.status == 0, answer.err
    assert "40 d after the last entry was recorded: what is recorded now is marked" in answer.err


def test_what_is_there_already_needs_no_clock(console: Command) -> None:
    """Said again, or loaded again unchanged, nothing is written: no clock is asked about."""
    console.ok("inspect", "PUMP-1", "--id", "E1")
    console.ticks = going(NOON + 400 * DAY)
    console.ok("inspect", "PUMP-1", "--id", "E1")
    console.ok("load", console.file("plant.toml", world.PLANT), "--by", "survey")


def test_an_accepted_jump_is_marked(console: Command) -> None:
    """Accepted by its day, a jump is in the event: history and audit tell it; the next write is an ordinary one."""
    console.ticks = going(NOON + 400 * DAY)
    console.ok("inspect", "PUMP-1", "--id", "E1", "--accept-clock", "2032-06-04")
    console.ok("inspect", "PUMP-1", "--id", "E2")
    marks = {line["id"]: line.get("clock") for line in console.json_of("history")["history"]}
    assert marks["E2"] is None
    assert 399 * DAY < marks["E1"] <= 401 * DAY
    assert "d ahead of the write before" in " ".join(console.ok("history", "PUMP-1").split())
    audited = console.json_of("audit")
    assert audited["sound"]
    assert [(one["code"], one["event"]) for one in audited["doubts"]] == [("clock", "E1")]
    assert "400 d ahead of the write before" in console.ok("audit")


def test_a_plant_says_how_far(console: Command) -> None:
    """How far a clock may be ahead is a setting of the plant: one that lies still for years says so."""
    setting = '\n[[setting]]\nid = "clock-ahead"\nvalue = "1500 d"\n'
    console.ok("load", console.file("plant.toml", world.PLANT + setting), "--by", "survey")
    console.ticks = going(NOON + 1400 * DAY)
    console.ok("inspect", "PUMP-1")
    console.ticks = going(NOON + 2901 * DAY)
    assert "the plant allows 1500 d" in console("inspect", "PUMP-1").err


@pytest.mark.parametrize("value", ["soon", "27", "-1 d"])
def test_a_setting_that_is_no_duration(value: str, console: Command) -> None:
    """A setting of a span of time is a duration; the line is named."""
    setting = f'\n[[setting]]\nid = "happened-late"\nvalue = "{value}"\n'
    answer = console("load", console.file("plant.toml", world.PLANT + setting))
    assert answer.status == 2
    assert "plant.toml:" in answer.err
    assert "bad-duration" in answer.err


def test_a_slow_clock_is_told_and_marked(console: Command) -> None:
    """A clock behind the last write is never refused: `known` goes on from there; the event says how far it is off."""
    console.ok("inspect", "PUMP-1", "--id", "E1")
    first = console.json_of("history")["known"]
    console.ticks = going(NOON - 3 * HOUR)
    answer = console("--json", "inspect", "PUMP-2", "--id", "E2")
    assert answer.status == 0
    assert "the last entry was recorded 3 h later" in answer.err
    assert "one of them is wrong" in answer.err
    event = answer.json["event"]
    assert parse_instant(event["known"]) == parse_instant(first) + 1
    assert -3 * HOUR - MINUTE < event["clock"] < -3 * HOUR + MINUTE
    told = console("history", "PUMP-2", COLUMNS="200").out
    assert "two clocks differ by 3 h" in " ".join(told.split())
    assert [one["code"] for one in console.json_of("audit")["doubts"]] == ["clock"]


def test_copies_keep_their_marks(console: Command) -> None:
    """A backup and an archive keep when each event was known, and its mark; rows that are imported are known anew."""
    console.ticks = going(NOON - 3 * HOUR)
    console.ok("inspect", "PUMP-2", "--at", "2031-05-01T08:59:00Z", "--id", "E2")
    told = console.json_of("history")["history"]
    console.ok("backup", console.folder / "copy.db")
    console.ok("export", "--form", "archive", "-o", console.folder / "whole.jsonl")
    rows = console.ok("export", "--form", "jsonl")
    for source in ("copy.db", "whole.jsonl"):
        other = console.folder / f"of-{source}.db"
        said = console.ok("--db", other, "restore", console.folder / source)
        assert "known as from when they were recorded" in said
        assert console.json_of("--db", other, "history")["history"] == told
    other = console.folder / "anew.db"
    console.ticks = going(NOON)
    console.ok("--db", other, "load", console.file("plant.toml", world.PLANT), "--by", "survey")
    console.ok("--db", other, "import", "-", "--form", "jsonl", stdin=rows)
    (anew,) = (line for line in console.json_of("--db", other, "history")["history"] if line["id"] == "E2")
    assert parse_instant(anew["known"]) >= NOON
    assert "clock" not in anew


# --- when it happened ---------------------------------------------------------------------------------------------


def test_a_year_mistyped(console: Command) -> None:
    """A year too late is asked about; told for sure, it is nobody's now, and keeps no true event out (seen 2)."""
    answer = console("inspect", "PUMP-1", "--at", "2032-05-01T11:00:00Z")
    assert answer.status == 3
    assert "2032-05-01T11:00:00Z is 365 d after now, 2031-05-01T12:00:00" in answer.err
    assert "--sure" in answer.err
    console.ok("inspect", "PUMP-1", "--at", "2032-05-01T11:00:00Z", "--sure", "--id", "E1")
    said = console("state", "PUMP-1")
    assert "at 2031-05-01T12:" in said.out
    assert "BEFORE WHAT IS RECORDED OF 2032-05-01T11:00:00Z" in " ".join(said.out.split())
    answer = console("--json", "cap", "PUMP-1:F2")
    assert answer.status == 0, answer.err
    assert answer.json["event"]["happened"].startswith("2031-05-01T12:")
    assert "event E1 is said to happen at 2032-05-01T11:00:00Z, 365 d from now" in answer.err
    console.ok("retire", "PUMP-2", "--reason", "worn", "--at", "2031-05-01T12:00:00Z")


ASKED = {
    "far after now": "2031-05-01T13:00:00Z",
    "before the initial configuration": "2031-04-30T12:00:00Z",
}
DAILY = {
    "by a watch that is fast": "2031-05-01T12:20:00Z",
    "caught up hours later": "2031-05-01T08:30:00Z",
}


@pytest.mark.parametrize("case", [*ASKED, *DAILY])
def test_what_is_hardly_so_is_asked(case: str, console: Command) -> None:
    """A time that is hardly right changes nothing until it is said for sure; what people do every day isn't asked."""
    at = {**ASKED, **DAILY}[case]
    console.ok("inspect", "PUMP-2", "--at", "2031-05-01T11:59:00Z")
    before = console.ok("head")
    answer = console("inspect", "PUMP-1", "--at", at, "--id", "E1")
    if case in ASKED:
        assert answer.status == 3
        assert answer.err.startswith("--at: unlikely-time: ")
        assert console.ok("head").split()[0] == before.split()[0]
        console.ok("inspect", "PUMP-1", "--at", at, "--id", "E1", "--sure")
    assert answer.status in (0, 3)
    console.ok("inspect", "PUMP-1", "--at", at, "--id", "E1")  # a repeat is harmless


def test_long_before_the_last(console: Command) -> None:
    """A month too early is asked about; a correction of something as old isn't, one that makes it older is."""
    console.ok("inspect", "PUMP-1", "--id", "E1")
    console.ticks = going(NOON + 20 * DAY)
    console.ok("inspect", "PUMP-1", "--id", "E2")
    answer = console("inspect", "PUMP-2", "--at", "2031-05-02T09:00:00Z")
    assert answer.status == 3
    assert "19 d before the last event, 2031-05-21T12:" in answer.err
    console.ok("correct", "E1", "inspect", "PUMP-2", "--reason", "the other", "--id", "E3")
    console.ok(
        "correct", "E3", "inspect", "PUMP-2", "--at", "2031-05-01T10:00:00Z", "--reason", "two hours before"
    )
    assert console("withdraw", "E2", "--reason", "x", "--at", "2031-05-02T09:00:00Z").status == 3


def test_hours_of_an_outing(console: Command) -> None:
    """What is said to be of an outing happened in its hours, now too; catching it up asks nothing."""
    console.ok("begin", "W1", "--at", "2031-05-01T09:30:00Z")
    console.ok("end", "W1", "--at", "2031-05-01T10:30:00Z")
    console.ok("cap", "PUMP-1:F2", "--outing", "W1", "--at", "+00:20")
    for words, why in {
        ("--at", "2031-05-01T09:20:00Z"): "before outing W1 began",
        ("--at", "11:00"): "30 min after outing W1 ended",
        (): "after outing W1 ended",
    }.items():
        answer = console("inspect", "PUMP-1", "--outing", "W1", *words)
        assert answer.status == 3, words
        assert why in answer.err
        console.ok("inspect", "PUMP-1", "--outing", "W1", *words, "--sure")
    assert console("end", "W1", "--at", "2031-05-01T09:10:00Z").status == 3


SHEET = """id,at,action,subject,outing
S0,2031-05-01T09:25:00Z,inspect,PUMP-1,W1
S1,2031-05-01T09:30:00Z,begin,,W1
S2,2031-05-01T09:40:00Z,inspect,PUMP-1,W1
S3,2032-05-01T09:40:00Z,inspect,PUMP-1,
S4,2031-05-01T10:40:00Z,inspect,PUMP-1,W1
S5,2031-05-01T10:30:00Z,end,,W1
S6,2031-04-01T10:30:00Z,inspect,PUMP-2,
S7,2031-05-01T10:45:00Z,inspect,PUMP-2,W1
"""


def test_a_sheet_lists_its_rows(console: Command) -> None:
    """A sheet lists each row whose time is hardly right, wherever its outing begins and ends; --sure takes them all."""
    sheet = console.file("sheet.csv", SHEET)
    answer = console("import", sheet)
    assert answer.status == 3
    asked = [
        line.split("row ")[1].split(":")[0] for line in answer.err.splitlines() if "unlikely-time" in line
    ]
    assert sorted(asked) == ["2", "5", "6", "8", "9"]
    assert "E1" not in console.ok("history")
    console.ok("import", sheet, "--sure")
    console.ok("import", sheet)  # all of it is recorded: nothing is asked again


def test_rejects_take_the_rows(console: Command) -> None:
    """With --rejects the rows that are asked about are set aside with the others, and the rest is recorded."""
    rejects = console.folder / "rejects.csv"
    answer = console("import", console.file("sheet.csv", SHEET), "--rejects", rejects)
    assert answer.status == 3
    assert "3 events recorded, 5 REFUSED" in answer.out
    assert rejects.read_text().count("if that is so, say --sure") == 5
    assert {"S1", "S2", "S5"} <= {line["id"] for line in console.json_of("history")["history"]}


def test_an_outing_that_begins_again_in_a_sheet(console: Command) -> None:
    """With --rejects, too, a row after an outing's end isn't set aside where the outing begins again after it."""
    rows = (
        "id,at,action,subject,outing\nB1,2031-05-01T09:30:00Z,begin,,W1\nI1,2031-05-01T10:20:00Z,inspect,PUMP-1,W1\n"
        "N1,2031-05-01T10:00:00Z,end,,W1\nB2,2031-05-01T10:10:00Z,begin,,W1\n"
    )
    answer = console("import", console.file("sheet.csv", rows), "--rejects", console.folder / "rejects.csv")
    assert "4 events recorded" in answer.out, answer.err


def test_a_handover_of_the_future(empty: Command, monkeypatch: pytest.MonkeyPatch) -> None:
    """An initial configuration that is far after now is asked about, too."""
    as_it_is(monkeypatch)
    plant = empty.file("plant.toml", world.PLANT.replace("at = 2031", "at = 2131"))
    answer = empty("load", plant, "--by", "survey")
    assert answer.status == 3
    assert "2131-05-01T08:00:00Z is 36523 d after now" in answer.err
    empty.ok("load", plant, "--by", "survey", "--sure")


def test_a_fast_console_asks_nobody_else(console: Command) -> None:
    """A true event is recorded without a question, after what a fast console said to have happened an hour ahead."""
    console.ticks = going(NOON + HOUR)
    console.ok("inspect", "PUMP-1")
    console.ticks = going(NOON)
    console.ok("inspect", "PUMP-2")
    console.ok("inspect", "PUMP-2", "--at", "2031-05-01T11:50:00Z")


def test_a_path_is_needed(tmp_path: Path) -> None:
    """Without a journal there is nothing to hold a clock against: the first load takes any."""
    made = Command(tmp_path)
    made.ticks = going(parse_instant("1999-12-31T23:59:59Z"))
    made.ok(
        "load", made.file("plant.toml", world.PLANT.replace("at = 2031-05", "at = 1999-05")), "--by", "survey"
    )


def test_a_server_has_the_clock(empty: Command, server: Server, monkeypatch: pytest.MonkeyPatch) -> None:
    """At a server its clock says what is known when, and what is now; a console whose clock differs is told."""
    as_it_is(monkeypatch)
    empty.db = server.empty()  # type: ignore[assignment]
    right = time.time_ns() // 1000
    plant = world.PLANT.replace("at = 2031", "at = 2021")
    empty.ticks = going(right - HOUR)
    empty.ok("load", empty.file("plant.toml", plant), "--by", "survey")
    for hours in (-1, 0, 400 * 24):
        empty.ticks = going(right + hours * HOUR)
        answer = empty("--json", "inspect", "PUMP-1")
        assert answer.status == 0, answer.err
        event = answer.json["event"]
        for when in ("happened", "known"):
            assert abs(parse_instant(event[when]) - right) < 10 * MINUTE
        assert "clock" not in event
        told = "the server's" in answer.err and "one of them is wrong" in answer.err
        assert told == bool(hours)
        assert event["id"] in empty.ok("history", "PUMP-1")
    assert empty("inspect", "PUMP-1", "--at", format_instant(right + 2 * HOUR)).status == 3
