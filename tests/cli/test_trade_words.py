"""The trade's other words: whoever does what the refusal says ends where he meant to."""

from __future__ import annotations

import json
import re
import shlex

import pytest

from cfgtrack.cli.main import COMMANDS as CALLS
from cfgtrack.cli.main import VERBS
from cfgtrack.files.trade_words import COMMANDS, WORDS, near_words
from tests.cli.conftest import Command

AT = ("--at", "2031-05-01T08:30:00Z", "--sure")

# What somebody says, and how the thing stands once he did what he was told to say instead. Closed and open of valves
# and of switches: IEC 60050-441 (a switch that is closed conducts); the rest is common practice.
MEANT = [
    ("close HALL:V1", "HALL:V1", "shut"),
    ("turn HALL:V1 off", "HALL:V1", "shut"),
    ("turn off HALL:V1", "HALL:V1", "shut"),
    ("shut off HALL:V1", "HALL:V1", "shut"),
    ("isolate HALL:V1", "HALL:V1", "shut"),
    ("block HALL:V1", "HALL:V1", "shut"),
    ("turn off HALL:K1", "HALL:K1", "off"),
    ("switch HALL:K1 off", "HALL:K1", "off"),
    ("power down HALL:K1", "HALL:K1", "off"),
    ("isolate HALL:K1", "HALL:K1", "off"),
    ("trip HALL:K1", "HALL:K1", "off"),
    ("de-energize HALL:K1", "HALL:K1", "off"),
    ("disconnect PUMP-1:J1", "PUMP-1:J1", "demated"),
    ("unplug PUMP-1:J1", "PUMP-1:J1", "demated"),
    ("pull PUMP-1:J1", "PUMP-1:J1", "demated"),
    ("detach PUMP-1:F1 from HALL:P1", "PUMP-1:F1", "demated"),
    ("remove PUMP-1:F1", "PUMP-1:F1", "demated"),
    ("Disconnected PUMP-1:F1", "PUMP-1:F1", "demated"),
    ("tighten PUMP-1:B1", "PUMP-1:B1", "torqued"),
    ("screw PUMP-1:B1", "PUMP-1:B1", "torqued"),
    ("loosen PUMP-1:B1", "PUMP-1:B1", "released"),
    ("undo PUMP-1:B1", "PUMP-1:B1", "released"),
    ("unscrew PUMP-1:B1", "PUMP-1:B1", "released"),
    ("unbolt PUMP-1:B1", "PUMP-1:B1", "released"),
    ("seal PUMP-1:F2", "PUMP-1:F2", "capped"),
    ("block PUMP-1:F2", "PUMP-1:F2", "capped"),
    ("plug PUMP-2:F2", "PUMP-2:F2", "capped"),
]


def said_instead(text: str) -> list[str]:
    """Return the calls that a refusal names, likeliest first."""
    return [re.sub(r"^cfgtrack ", "", found) for found in re.findall(r"`([^`]+)`", text)]


@pytest.mark.parametrize("way", ["command", "record", "check"])
@pytest.mark.parametrize(("said", "thing", "status"), MEANT, ids=[said for said, _, _ in MEANT])
def test_who_does_what_he_is_told_ends_where_he_meant_to(
    said: str, thing: str, status: str, way: str, cfgtrack: Command
) -> None:
    """Another word changes nothing and is refused (2) with a call that does what was meant, wherever it is said."""
    words = {
        "command": (*said.split(), *AT),
        "record": ("record", *said.split(), *AT),
        "check": ("check", "--do", said, *AT[:2]),
    }[way]
    before = cfgtrack.ok("history", "--json")
    if way == "command" and said.split(maxsplit=1)[0] in CALLS["Plan the work"]:
        return  # `isolate` is a question of its own
    refused = cfgtrack(*words)
    assert (refused.status, refused.out) == (2, "")
    assert cfgtrack.json_of("history")["history"] == json.loads(before)["history"]
    calls = [call for call in said_instead(refused.err) if call.split()[0] not in ("mate", "engage")]
    cfgtrack.ok(*shlex.split(calls[0]), *AT)
    found = cfgtrack.json_of("state", thing, "--at", AT[1])
    assert found["state"]["ports"][0]["status"] == status


@pytest.mark.parametrize(
    ("said", "told"),
    [
        ("close HALL:K1", "energise HALL:K1"),
        ("reopen HALL:K1", "de-energise HALL:K1"),
        ("turn on HALL:K1", "energise HALL:K1"),
        ("switch HALL:K1 on", "energise HALL:K1"),
        ("connect PUMP-2:F1 to HALL:P1", "mate PUMP-2:F1 to HALL:P1"),
        ("plug in PUMP-2:J1 HALL:J1", "mate PUMP-2:J1 to HALL:J1"),
        ("bolt PUMP-2:B1 to HALL:B1 by ann", "torque PUMP-2:B1 to HALL:B1 by ann"),
        ("fasten PUMP-2:B1", "torque PUMP-2:B1"),
        ("install PUMP-2 at HALL", "place PUMP-2 at HALL"),
        ("stow PUMP-2 in STORE", "place PUMP-2 at STORE"),
        ("put PUMP-2 in HALL", "place PUMP-2 at HALL"),
        ("move PUMP-2 to HALL by ann", "place PUMP-2 at HALL by ann"),
        ("stow PUMP-2", "place PUMP-2 at PLACE"),
        ("remove PUMP-2", "lift PUMP-2"),
        ("take PUMP-2", "lift PUMP-2"),
        ("padlock HALL:V1 by ann", "lock HALL:V1 by ann"),
        ("repair PUMP-1:F1", "rectify PUMP-1:F1"),
    ],
)
def test_what_is_said_is_fitted_to_what_is_named(said: str, told: str, cfgtrack: Command) -> None:
    """The call that is told first is the one for the sort of thing that is named, with what else was said."""
    assert said_instead(cfgtrack("record", *said.split(), "--dry-run").err)[0] == told
    assert said_instead(cfgtrack(*said.split(), "--dry-run").err)[0] == told


@pytest.mark.parametrize("word", WORDS)
def test_each_word_leads_to_an_action_that_there_is(word: str, cfgtrack: Command, empty: Command) -> None:
    """Without a thing every meaning is an action of ours; with one each call is one that it takes."""
    assert {phrase.split()[0] for phrase in WORDS[word]} <= set(VERBS)
    assert WORDS[word][0].split()[0] in cfgtrack("record", *word.split(), "--dry-run").err
    for thing in ("HALL:V1", "HALL:K1", "PUMP-1:J1", "PUMP-1:F2", "PUMP-1:B1", "PUMP-1"):
        refused = cfgtrack("record", *word.split(), thing, "--dry-run")
        assert refused.status == 2
        for call in said_instead(refused.err):
            if {"PORT", "PLACE", "UNIT"} & set(re.split(r"[ :]", call)):
                continue
            answer = cfgtrack(*shlex.split(call), "--dry-run", "--by", "ann", "--reason", "so")
            assert " action: " not in answer.err, call
            assert "unknown: there is no action" not in answer.err, call


@pytest.mark.parametrize("word", COMMANDS)
def test_each_other_word_for_a_command_leads_to_one(word: str, cfgtrack: Command, empty: Command) -> None:
    """A word for what is no action leads to a command that there is, with a plant and without."""
    every = {name for names in CALLS.values() for name in names} | {"--help", "--version"}
    if word in every:
        return
    for run in (cfgtrack, empty):
        answer = run(word, "X")
        assert answer.status == 2
        assert {call.split()[0] for call in said_instead(answer.err)} & every


def test_nothing_is_offered_by_its_spelling_alone(cfgtrack: Command) -> None:
    """One slip of a letter is offered the word that it is a slip of; what is only alike does something else."""
    assert near_words("demat", VERBS) == ["demate"]
    assert near_words("toruqe", VERBS) == ["torque"]
    assert near_words("capped", VERBS)[0] == "cap"
    assert near_words("converted", VERBS) == []
    for word, never in (
        ("close", "`cfgtrack cover"),
        ("loosen", "`cfgtrack open"),
        ("stow", "stops"),
        ("remate", "demate"),
    ):
        assert never not in cfgtrack(word, "HALL:V1").err
    assert "Did you mean 'load'?" in cfgtrack("lod").err


def test_other_words_in_files(cfgtrack: Command) -> None:
    """A plan's step and a row of a list say a wrong word where it stands, and the right call."""
    plan = cfgtrack.file(
        "p.toml",
        'title = "P"\n[[outing]]\nid = "W"\nstart = 2031-05-02T08:00:00Z\n[[outing.track]]\nname = "ina"\n'
        'steps = [{ id = "1", do = "close HALL:V1", takes = "1 min" }]\n',
    )
    answer = cfgtrack("check", plan)
    assert answer.status == 2
    assert said_instead(answer.err)[0] == "shut HALL:V1"
    rows = cfgtrack.file("r.csv", "at,action,subject\n2031-05-01T08:30:00Z,turn off,HALL:K1\n")
    answer = cfgtrack("import", rows)
    assert answer.status == 2
    assert said_instead(answer.err)[0] == "de-energise HALL:K1"
    assert (
        said_instead(cfgtrack("record", "defect", "close", "HALL:V1", "stuck").err)[0]
        == "defect shut HALL:V1"
    )


def test_done_and_can_of_an_action(cfgtrack: Command) -> None:
    """Who puts an action where a step or a thing belongs is told the call for it."""
    assert "check --do 'shut HALL:V1'" in said_instead(cfgtrack("can", "close", "HALL:V1").err)
    assert "check --do 'shut HALL:V1'" in said_instead(cfgtrack("can", "shut", "HALL:V1").err)
    assert "shut HALL:V1" in said_instead(cfgtrack("done", "close", "HALL:V1").err)
    assert "shut HALL:V1" in said_instead(cfgtrack("done", "shut", "HALL:V1").err)
    told = said_instead(cfgtrack("record", "tighten", "PUMP-1:B1", "torque=25 N*m").err)
    assert told[0] == 'torque PUMP-1:B1 torque="25 N*m"'
