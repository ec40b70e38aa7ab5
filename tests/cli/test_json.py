"""--json: every question answers with one JSON object that carries its moment, as its published schema says."""

from __future__ import annotations

import pytest

from cfgtrack.model.time import parse_instant
from tests.cli.asked import command_of
from tests.cli.conftest import Command
from tests.cli.published import answer_of, errors

QUESTIONS = {
    "state": ("state",),
    "state of a unit": ("state", "PUMP-1"),
    "state of a port": ("state", "PUMP-1:F1"),
    "state of a place": ("state", "HALL"),
    "history": ("history",),
    "history of a thing": ("history", "PUMP-1"),
    "difference": ("diff", "2031-05-01T08:00:00Z"),
    "remarks": ("remarks", "PUMP-1"),
    "check": ("check", "--do", "demate PUMP-1:J1"),
    "choices": ("can", "PUMP-1"),
    "findings": ("findings",),
    "review": ("review",),
    "plant": ("plant",),
    "rules": ("rules", "list"),
    "rules files": ("rules", "show"),
    "rule": ("rules", "explain", "expansion"),
    "audit": ("audit",),
    "head": ("head",),
    "draw": ("draw", "-o", "{folder}/all.dot"),
    "picture": ("draw", "--medium", "fluid", "--form", "svg"),
    "record": ("cap", "PUMP-1:F2", "--at", "2031-05-02T08:00:00Z"),
    "load": ("load", "{folder}/plant.toml"),
    "import": ("import", "{folder}/rows.csv"),
}


@pytest.mark.parametrize("question", QUESTIONS)
@pytest.mark.parametrize("before", [True, False], ids=["before", "after"])
def test_json(question: str, before: bool, cfgtrack: Command) -> None:
    """The answer is as published, and tells the two times it is for; --json counts before the command and after."""
    cfgtrack.file("rows.csv", "at,action,subject,remark\n2031-05-01T09:00:00Z,remark,PUMP-1,hums\n")
    words = [word.format(folder=cfgtrack.folder) for word in QUESTIONS[question]]
    answer = cfgtrack("--json", *words) if before else cfgtrack(*words, "--json")
    assert answer.status in (0, 3)
    assert answer.err == ""
    assert {"at", "known"} < answer.json.keys()
    assert parse_instant(answer.json["at"]) > 0
    assert errors(answer_of(command_of(words)), answer.json) == []


@pytest.mark.parametrize("question", QUESTIONS)
def test_text_carries_its_moment(question: str, cfgtrack: Command) -> None:
    """The answer as text names the moment that it is for, and nothing of it goes to standard error."""
    cfgtrack.file("rows.csv", "at,action,subject,remark\n2031-05-01T09:00:00Z,remark,PUMP-1,hums\n")
    answer = cfgtrack(*[word.format(folder=cfgtrack.folder) for word in QUESTIONS[question]])
    assert answer.status in (0, 3)
    assert answer.err == ""
    if question not in ("head", "picture"):  # one line to keep, and a picture: the moment is a part of them
        assert "at 2031-05-0" in answer.out
    assert "\x1b" not in answer.out
