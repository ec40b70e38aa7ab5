"""What somebody types who has never read the help: each slip is told what to do, and who does it is there."""

from __future__ import annotations

import re
import shlex
from pathlib import Path

import pytest

from tests.cli.conftest import Command

AT = ("--at", "2031-05-01T08:30:00Z")

SLIPS = [
    (("torque", "PUMP-1:B1", "torque=25 bar"), "expected a torque such as 25 ft lbf, not pressure"),
    (("torque", "PUMP-1:B1", "25 N*m"), 'a value is said with its name and unit, as in torque="25 ft lbf"'),
    (("torque", "PUMP-1:B1", "25", "N*m"), 'as in torque="25 ft lbf"'),
    (("torque", "PUMP-1:B1", "--torque", "25 N*m"), "written NAME=VALUE with its unit"),
    (("torque", "PUMP-1:B1", "torque=-25 N*m"), "torque is never below zero"),
    (("place", "HALL", "PUMP-1"), "place PUMP-1 at HALL"),
    (("place", "PUMP-1:F1", "at", "STORE"), "PUMP-1 is the unit that it is on"),
    (("shut", "V1"), "a port is written HALL:V1"),
    (("shut", "HALL.V1"), "a port is written HALL:V1"),
    (("shut", "HALL"), "it has P1, P2, V1"),
    (("shut", "HAL:V1"), "near names: HALL"),
    (("check", "--do", "shut", "HALL:V1"), "`cfgtrack check --do 'shut HALL:V1'`"),
    (("check", "shut", "HALL:V1"), "`cfgtrack check --do 'shut HALL:V1'`"),
    (("check", "shut HALL:V1"), "`cfgtrack check --do 'shut HALL:V1'`"),
    (("check", "close", "HALL:V1"), "`cfgtrack check --do 'shut HALL:V1'`"),
    (("check", "none.toml"), "there is no such file"),
    (("check", "FOLDER"), "expected a file, found a folder"),
    (("check", "EMPTY"), "the file is empty"),
    (("check", "WORDS"), "expected TOML"),
    (("check", "EMPTY", "WORDS"), "Give a sequence file"),
    (
        ("state", "PUMP-1", "--at", "2031-05-01"),
        "a date without a time: expected such as 2030-05-01T08:00:00Z",
    ),
    (("state", "PUMP-1", "--at", "2031-05-01 08:00"), "a time without a zone"),
    (("state", "PUMP-1", "--at", "2025-13-01"), "no such date: there is no month 13, found '2025-13-01'"),
    (("state", "PUMP-1", "--at", "2025-13-01T08:00:00Z"), "there is no month 13"),
    (("state", "PUMP-1", "--at", "2025-02-29"), "there is no day 29 in month 02 of 2025"),
    (("state", "PUMP-1", "--at", "2025-02-30 08:00"), "there is no day 30 in month 02 of 2025"),
    (("state", "PUMP1"), "near names: PUMP-1"),
    (("history", "--since", "2031-05-01T08:00Z"), "Did you mean '--from'?"),
    (("state", "PUMP-1", "--format", "json"), "Did you mean '--json'?"),
    (("state", "PUMP-1", "--jsn"), "Did you mean '--json'?"),
    (("help", "mate"), "`cfgtrack mate --help`"),
]


@pytest.mark.parametrize(("words", "told"), SLIPS, ids=[" ".join(words) for words, _ in SLIPS])
def test_a_slip_is_told_what_to_do(words: tuple[str, ...], told: str, cfgtrack: Command) -> None:
    """Nothing is done, nothing stands on standard output, and the way out is in the message."""
    named = {
        "FOLDER": cfgtrack.folder,
        "EMPTY": cfgtrack.file("empty.toml", ""),
        "WORDS": cfgtrack.file("words.toml", "do this: close V1"),
    }
    before = cfgtrack.ok("export")
    answer = cfgtrack(*(named.get(word, word) for word in words))
    assert answer.status in (2, 4)
    assert answer.out == ""
    assert told in " ".join(answer.err.split())
    assert cfgtrack.ok("export") == before


def test_no_option_is_offered_by_its_spelling_alone(cfgtrack: Command) -> None:
    """An option that is only alike does something else, and isn't offered; the help is."""
    said = cfgtrack("state", "PUMP-1", "--forma").err
    assert "Did you mean" not in said
    assert "`cfgtrack state --help` lists them." in said


def said(text: str) -> list[str]:
    """Return the calls that a refusal names."""
    return [one.removeprefix("cfgtrack ") for one in re.findall(r"`([^`]+)`", text)]


@pytest.mark.parametrize("word", ["undo", "delete", "cancel", "revert"])
def test_an_event_is_withdrawn_or_corrected(word: str, cfgtrack: Command) -> None:
    """Who would undo an event is told how, with its id, and no action on hardware; what he is told withdraws it."""
    event = cfgtrack.json_of("shut", "HALL:V1", *AT, "--sure")["event"]["id"]
    calls = said(cfgtrack(word, event).err)
    assert [one.split()[:2] for one in calls] == [["withdraw", event], ["correct", event]]
    correct = calls[1].replace("ACTION THING", "inspect HALL:V1")
    cfgtrack.ok(*shlex.split(correct), "--dry-run")
    cfgtrack.ok(*shlex.split(calls[0]))
    assert cfgtrack.json_of("state", "HALL:V1")["state"]["ports"][0]["status"] == "open"


@pytest.mark.parametrize("word", ["undo", "delete", "cancel", "revert", "reset", "edit", "fix"])
def test_a_word_said_of_an_event_means_the_same_wherever_it_is_said(word: str, cfgtrack: Command) -> None:
    """As a command, behind `record`, `check --do` and `correct`: the same calls, and no action on hardware."""
    event = cfgtrack.json_of("shut", "HALL:V1", *AT, "--sure")["event"]["id"]
    calls = said(cfgtrack(word, event).err)
    assert calls
    assert {one.split()[0] for one in calls} <= {"withdraw", "correct"}
    for words in (
        ("record", word, event),
        ("check", "--do", f"{word} {event}"),
        ("correct", event, word, event),
    ):
        refused = cfgtrack(*words, *(("--reason", "so") if words[0] == "correct" else ()))
        assert (refused.status, refused.out) == (2, "")
        assert said(refused.err) == calls


def test_a_word_for_a_question_behind_record(cfgtrack: Command) -> None:
    """Who would record what is no action is told the command, and not thirty actions."""
    for words in (("status", "PUMP-1"), ("locks", "HALL:V1"), ("log", "PUMP-1")):
        assert said(cfgtrack("record", *words).err) == said(cfgtrack(*words).err)


def test_what_isolates_is_asked_of_the_command_itself(cfgtrack: Command) -> None:
    """In what is said of a defect the actions stand behind `defect`; the question beside them runs as it stands."""
    *actions, question = said(cfgtrack("record", "defect", "isolate", "HALL:V1", "stuck").err)
    assert [one.split()[:2] for one in actions] == [["defect", "shut"], ["defect", "lock"]]
    assert question == "isolate HALL:V1"
    cfgtrack.ok(*question.split())


def test_help_of_a_word_leads_to_a_help_that_there_is(cfgtrack: Command) -> None:
    """`help WORD` names calls that print a help, of our word for what is meant; with a word within a group, of that."""
    for words, first in (
        (("close",), "shut --help"),
        (("undo",), "release --help"),
        (("where",), "state --help"),
        (("locks",), "state --help"),
        (("demat",), "demate --help"),
        (("plan", "adopt"), "plan adopt --help"),
        (("shut", "HALL:V1"), "shut --help"),
        (("nothing-known",), "--help"),
    ):
        calls = said(cfgtrack("help", *words).err)
        assert calls[0] == first
        for call in calls:
            assert cfgtrack.ok(*shlex.split(call)).startswith("Usage: ")


@pytest.mark.parametrize(
    "words",
    [
        "locks", "locks HALL:V1", "spare PUMP-1", "attention", "whohas PUMP-1", "where PUMP-1", "where",
        "timeline", "timeline PLAN", "strip", "strip PLAN", "print", "print PUMP-1", "status-of PUMP-1",
        "what-if shut HALL:V1", "what-if HALL:V1", "leak PUMP-1", "leak", "reset HALL:K1",
    ],
)  # fmt: skip
def test_a_word_for_a_question_leads_to_calls_that_run(words: str, cfgtrack: Command) -> None:
    """What is said instead runs as it stands: filled with what was named, nothing left to guess where it was."""
    plan = cfgtrack.folder / "good.toml"
    cfgtrack.ok("plan", "adopt", plan, "--by", "ann")
    asked = words.replace("PLAN", str(plan)).split()
    refused = cfgtrack(*asked)
    assert (refused.status, refused.out) == (2, "")
    calls = said(refused.err)
    assert calls
    open_ended = [one for one in calls if {"THING", "ACTION", "EVENT-ID", "SEQUENCE.toml"} & set(one.split())]
    assert len(open_ended) < len(calls)
    for call in calls:
        if call in open_ended:
            continue
        with_file = [
            str(cfgtrack.folder / word) if word.endswith((".svg", ".pdf")) else word
            for word in shlex.split(call)
        ]
        answer = cfgtrack(*with_file)
        assert answer.status in (0, 3), (call, answer.err)
    assert not any("lock " in one for one in calls)


DEMO = Path(__file__).parents[2] / "demo"


@pytest.mark.parametrize(
    ("words", "told"),
    [
        ("check hardware.toml", "this is a hardware definition: `cfgtrack load"),
        ("plan adopt rules.toml", "these are rules: `cfgtrack rules load"),
        ("check goal.toml", "this says what is wanted: `cfgtrack way"),
        ("check as-run.csv", "these are recorded events: `cfgtrack import"),
        ("import units.csv", "this is a list of hardware"),
        ("load exchange.toml", "this is a sequence: `cfgtrack check"),
        ("load rules.toml", "these are rules"),
        ("rules load hardware.toml", "this is a hardware definition"),
        ("way exchange.toml", "this is a sequence"),
    ],
)
def test_a_file_for_another_command_is_recognised(words: str, told: str, cfgtrack: Command) -> None:
    """A file that another command takes is told in one line as what it is, not field by field; nothing is changed."""
    before = cfgtrack.ok("export")
    answer = cfgtrack(*(str(DEMO / one) if "." in one else one for one in words.split()))
    assert (answer.status, answer.out) == (2, "")
    assert told in answer.err
    assert ": wrong-file: " in answer.err
    assert "unknown-" not in answer.err
    assert cfgtrack.ok("export") == before


def test_all_that_is_wrong_is_told_at_once(cfgtrack: Command) -> None:
    """A thread that there isn't, a torque without its unit and a surface that is missing are told in one answer."""
    said = cfgtrack("reference", "thread", "M99", "--torque", "200").err
    assert [line.split(": ")[:2] for line in said.splitlines()] == [
        ["--surface", "missing"],
        ["M99", "unknown"],
        ["--torque", "bad-quantity"],
    ]
    said = cfgtrack("reference", "thread", "M99", "--torque", "200", "--surface", "mud").err
    assert [line.split(": ")[:2] for line in said.splitlines()] == [
        ["M99", "unknown"],
        ["mud", "unknown"],
        ["--torque", "bad-quantity"],
    ]


@pytest.mark.parametrize("columns", [60, 80])
def test_what_is_told_beside_an_answer_is_wrapped(
    columns: int, cfgtrack: Command, monkeypatch: pytest.MonkeyPatch
) -> None:
    """On a terminal no line of trouble is wider than it, no name is broken, and no word of it is lost."""
    asked = [
        ("undo", "HALL:V1"),
        ("help", "close"),
        ("state", "PUMP-1", "--at", "2031-05-01 08:00"),
        ("record", "close", "HALL:V1"),
        ("state", "PUMP-1", "--forma"),
        ("reference", "thread", "M99", "--torque", "200"),
    ]
    plain = [cfgtrack(*words).err for words in asked]
    monkeypatch.setattr("cfgtrack.cli.terminal.is_watched", lambda: True)
    for words, before in zip(asked, plain, strict=True):
        told = cfgtrack(*words, COLUMNS=str(columns)).err
        assert told.split() == before.split()
        quoted = [line for line in told.splitlines() if line.startswith("    ")]
        assert max(len(line) for line in told.splitlines() if line not in quoted) <= columns
    assert max(len(line) for text in plain for line in text.splitlines()) > columns


def test_stops_of_a_step_answers_for_it_first(cfgtrack: Command) -> None:
    """Whoever names a step is told first whether the work may stop after it; another name is refused with near ones."""
    plan = cfgtrack.folder / "good.toml"
    points = cfgtrack.json_of("stops", plan)["stops"]["points"]
    for point in points[1:]:
        first = cfgtrack.ok("stops", plan, point["step"]).splitlines()[0]
        word = {"yes": "Yes, ", "until": "Yes, ", "no": "No, "}[point["may"]]
        assert first.startswith(f"After step {point['step']}: {word}")
        assert cfgtrack.ok("stops", plan, "--step", point["step"]).splitlines()[0].startswith(first[:20])
    answer = cfgtrack("stops", plan, "NO-STEP")
    assert (answer.status, answer.out) == (4, "")
    assert "no step NO-STEP" in answer.err
    assert cfgtrack("stops", plan, "1", "--step", "2").status == 2
