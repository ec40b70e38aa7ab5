"""Questions are put without the command line, and get the same answers."""

from __future__ import annotations

import ast
import contextlib
import io
import json
import sys
import textwrap
from dataclasses import replace
from pathlib import Path

import pytest

from cfgtrack.answers.amend import AllOf, acknowledge, approve
from cfgtrack.answers.asking import Asking
from cfgtrack.answers.encode import json_of
from cfgtrack.answers.history import difference, history
from cfgtrack.answers.record import record
from cfgtrack.answers.reference import look_up
from cfgtrack.answers.rules import load
from cfgtrack.answers.state import state
from cfgtrack.model import possibility
from cfgtrack.model.action import Action
from cfgtrack.model.configuration import View
from cfgtrack.model.event import Event
from cfgtrack.model.possibility import Impossible, resolve
from cfgtrack.model.presence import Telling
from cfgtrack.model.time import SECOND, parse_instant
from cfgtrack.model.trouble import BadInput, Misput, NoAnswer
from tests.cli.conftest import Command

CHECKOUT = Path(__file__).parents[2]
PACKAGE = CHECKOUT / "cfgtrack"
AT, LATER = "2031-05-01T10:00:00Z", "2031-05-01T10:10:00Z"
MINUTE = 60 * SECOND
NOW = parse_instant("2031-05-01T11:00:00Z")


def asking(cfgtrack: Command, **more: str | int | None) -> Asking:
    """Return how a question is put to the command's database, at eleven."""
    return Asking(str(cfgtrack.db), clock=lambda: NOW, **more)  # type: ignore[arg-type] # options by name


def test_the_same_answer(cfgtrack: Command) -> None:
    """What is asked in Python is what the command line answers, for the same two times."""
    cfgtrack.ok("shut", "HALL:V1", "--at", AT)
    found = state(asking(cfgtrack, at=LATER), "PUMP-1")
    said = cfgtrack("state", "PUMP-1", "--at", LATER, "--json").json
    said.pop("time_note", None)  # each says of its own clock whether that is in the future
    assert {k: v for k, v in json.loads(json.dumps(json_of(found))).items() if k != "time_note"} == said
    assert found.state.address == "PUMP-1"
    assert found.notes == ()


def test_times_are_texts_or_instants(cfgtrack: Command) -> None:
    """A time may be given as a text or in microseconds; without one it is the clock's."""
    cfgtrack.ok("begin", "W1", "--at", AT)
    cfgtrack.ok("shut", "HALL:V1", "--at", LATER)
    said = asking(cfgtrack, at="+00:10", outing="W1")
    told = asking(cfgtrack, at=parse_instant(LATER))
    assert json_of(state(said, "HALL")) == json_of(state(told, "HALL"))
    assert state(asking(cfgtrack), "HALL").moment.at == NOW
    assert len(history(told, start=parse_instant(LATER)).history) == 1
    assert difference(told, AT, parse_instant(LATER)).before.at == parse_instant(AT)


def test_recording_needs_no_command_line(cfgtrack: Command) -> None:
    """What is recorded in Python is in the journal, by whom it says and at the clock's time."""
    tried = record(asking(cfgtrack, by="Ann"), ["cap", "PUMP-1:F2"])
    assert (tried.recorded, tried.event.event.by, tried.event.event.recorder) == (True, "Ann", None)
    assert tried.event.event.happened == NOW
    (row,) = cfgtrack.json_of("history", "PUMP-1:F2", "--from", "2031-05-01T10:30:00Z")["history"]
    assert row["id"] == tried.event.event.id


def test_trouble_carries_what_is_told_beside_it(cfgtrack: Command) -> None:
    """Where a clock must be wrong, that is told beside an answer and beside the trouble that comes instead of one."""
    record(asking(cfgtrack, at=AT), ["cap", "PUMP-1:F2"])
    behind = Asking(str(cfgtrack.db), clock=lambda: NOW - 30 * MINUTE)
    with pytest.raises(NoAnswer) as trouble:
        record(behind, ["cap", "PUMP-9:F2"])
    (note,) = trouble.value.__notes__
    assert note.startswith(
        "clock: this one says 2031-05-01T10:30:00Z; the last entry was recorded 30 min later"
    )
    assert record(behind, ["uncap", "PUMP-1:F2"]).notes == (note,)


def test_the_example_of_the_documentation(cfgtrack: Command, monkeypatch: pytest.MonkeyPatch) -> None:
    """What DEVELOPERS.md shows of asking in Python runs, and prints what it says."""
    text = (CHECKOUT / "DEVELOPERS.md").read_text(encoding="utf-8")
    example = text.partition("A notebook or a page asks the same:\n\n")[2].partition("\n\n**")[0]
    monkeypatch.chdir(cfgtrack.folder)
    with contextlib.redirect_stdout(io.StringIO()) as out:
        exec(textwrap.dedent(example), {})  # the documentation's own code
    assert out.getvalue().startswith("at 2031-05-01T09:20:00Z")
    assert "'state': {'address': 'PUMP-1'" in out.getvalue()


def questions() -> set[str]:
    """Return every question: what takes an asking and needs no open journal, as MODULE.NAME."""
    found = set()
    for path in (PACKAGE / "answers").glob("*.py"):
        for node in ast.parse(path.read_text(encoding="utf-8")).body:
            if isinstance(node, ast.FunctionDef) and not node.name.startswith("_"):
                names = [argument.arg for argument in node.args.args]
                if names[:1] == ["asking"] and "journal" not in names:
                    found.add(f"{path.stem}.{node.name}")
    return found


def asked() -> set[str]:
    """Return everything that a file of the command line imports from the answers, as MODULE.NAME."""
    found = set()
    for path in (PACKAGE / "cli").glob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("cfgtrack.answers."):
                module = str(node.module).rpartition(".")[2]
                found |= {f"{module}.{name.name}" for name in node.names}
    return found


FROM_PYTHON = {"campaign.check_each"}
"""What only a program can ask: it hands in who does the work, an executor."""


def test_every_question_is_asked() -> None:
    """No question is there that the command line can't ask, but for what needs an object of the program that asks."""
    assert len(questions()) > 25
    assert questions() - asked() == FROM_PYTHON


def test_a_dry_run_leaves_nothing(cfgtrack: Command) -> None:
    """Tried without recording, an event is told with what it means, and is not in the journal."""
    before = cfgtrack.ok("head")
    found = record(Asking(str(cfgtrack.db), dry_run=True, clock=lambda: NOW), ["demate", "PUMP-1:J1"])
    assert not found.recorded
    assert json.loads(json.dumps(json_of(found)))["findings"] != []
    assert cfgtrack.ok("head") == before


MISPUT = {
    "approved by nobody": lambda a: approve(replace(a, by=None), AllOf("R"), reason="x"),
    "approved by a blank": lambda a: approve(replace(a, by=" "), AllOf("R"), reason="x"),
    "of nothing": lambda a: approve(a, [], reason="x"),
    "of a finding without a name": lambda a: approve(a, ["F", ""], reason="x"),
    "nothing is acknowledged": lambda a: acknowledge(a, [], reason="x"),
    "an acknowledgement of what has no name": lambda a: acknowledge(a, ["F", ""], reason="x"),
    "two files of one name": lambda a: load(a, [Path("a/r.toml"), Path("b/r.toml")]),
    "a torque without a surface": lambda _: look_up("thread", "M16", torque="5 N*m"),
    "a liquid that is tightened": lambda _: look_up("fluid", "water", torque="5 N*m", surface="zinc"),
    "a thread that is warmed": lambda _: look_up("thread", "M16", warmed="5 K"),
}


@pytest.mark.parametrize("name", MISPUT)
def test_a_question_that_makes_no_sense_is_refused_to_everybody(name: str, cfgtrack: Command) -> None:
    """What the command line refuses with its usage is refused in Python too, and nothing is recorded."""
    before = cfgtrack.json_of("history")["history"]
    with pytest.raises(Misput):
        MISPUT[name](asking(cfgtrack, by="Ann"))
    assert cfgtrack.json_of("history")["history"] == before


def test_no_words_say_nothing(cfgtrack: Command) -> None:
    """Recording nothing is bad input, with an example of what to say."""
    with pytest.raises(BadInput, match="say what was done"):
        record(asking(cfgtrack), [])


HOWS = {
    "in order": ("2031-05-01T10:00:00Z", {}),
    "late": ("2031-05-01T08:30:00Z", {}),
    "tried": ("2031-05-01T10:00:00Z", {"dry_run": True}),
}


@pytest.mark.parametrize("how", HOWS)
def test_an_action_is_resolved_once(how: str, cfgtrack: Command, monkeypatch: pytest.MonkeyPatch) -> None:
    """What is recorded is held against the hardware in one place, and judged as the event that it became there."""
    at, more = HOWS[how]
    seen: list[str] = []

    def counting(view: View, action: Action, *more: Telling) -> Event | Impossible:
        seen.append(action.id)
        return resolve(view, action, *more)

    record(asking(cfgtrack, at="2031-05-01T09:50:00Z"), ["cap", "PUMP-1:F2"])  # loads what it needs
    for module in [m for name, m in sys.modules.items() if name.startswith("cfgtrack.")]:
        if getattr(module, "resolve", None) is resolve:
            monkeypatch.setattr(module, "resolve", counting)
    monkeypatch.setattr(possibility, "resolve", counting)
    found = record(asking(cfgtrack, at=at, **more), ["shut", "HALL:V1"], event_id="X")
    assert (found.event.event.id, seen.count("X")) == ("X", 1)
