"""Bad input: a clear message, the right exit status, and a database that is byte for byte what it was."""

from __future__ import annotations

import hashlib
import sqlite3
from collections.abc import Iterator
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

import pytest

from tests.cli import world
from tests.cli.conftest import Command

AT = "2031-05-01T10:00:00Z"


@dataclass(frozen=True)
class Case:
    """A command line that must fail: with which status, and what its message must name."""

    words: tuple[str, ...]
    status: int
    names: tuple[str, ...]
    files: tuple[tuple[str, str], ...] = ()


CASES = {
    "unknown unit": Case(
        ("demate", "PUMP-9:F1", "--at", AT), 4, ("unknown", "unit or place PUMP-9", "PUMP-1")
    ),
    "unknown unit, asked": Case(("state", "PUMP-9"), 4, ("PUMP-9", "PUMP-1")),
    "unknown unit, its history": Case(("history", "PUMP-9"), 4, ("PUMP-9", "PUMP-1")),
    "unknown unit, drawn": Case(("draw", "--unit", "PUMP-9"), 4, ("PUMP-9", "PUMP-1")),
    "unknown unit, choices": Case(("can", "PUMP-9"), 4, ("PUMP-9", "PUMP-1")),
    "unknown unit, checked": Case(("check", "--do", "cap PUMP-9:F1"), 4, ("PUMP-9", "PUMP-1")),
    "unknown port": Case(
        ("cap", "PUMP-1:F9", "--at", AT), 4, ("unknown", "PUMP-1 has no port F9", "it has F1")
    ),
    "unknown action": Case(
        ("record", "weld", "PUMP-1:F1", "--at", AT), 2, ("unknown", "no action weld", "torque")
    ),
    "unknown event": Case(("withdraw", "E9", "--reason", "x", "--at", AT), 4, ("unknown", "no event E9")),
    "unknown loop": Case(("draw", "--loop", "Z"), 4, ("no loop Z",)),
    "unknown medium": Case(("draw", "--medium", "fluids"), 4, ("unknown", "no medium fluids", "fluid")),
    "duplicate id": Case(
        ("load", "{folder}/again.toml"),
        2,
        ("again.toml:4", "duplicate", "HALL"),
        (("again.toml", "[[place]]\nid = 'HALL'\n[[place]]\nid = 'HALL'\n"),),
    ),
    "duplicate event": Case(("cap", "PUMP-2:F1", "--at", AT, "--id", "E1"), 3, ("exists", "E1", "subjects")),
    "size mismatch": Case(("mate", "PUMP-2:F1", "HALL:P2", "--at", AT), 3, ("size", "1/2 in", "3/4 in")),
    "wrong unit of measure": Case(
        ("torque", "PUMP-1:B1", "torque=3 bar", "--at", AT), 2, ("bad-quantity", "torque", "bar")
    ),
    "truncated file": Case(
        ("load", "{folder}/cut.toml"),
        2,
        ("cut.toml:2", "syntax"),
        (("cut.toml", "[[unit]]\nid = 'PUM"),),
    ),
    "truncated sequence": Case(
        ("check", "{folder}/cut.toml"), 2, ("cut.toml:1", "syntax"), (("cut.toml", "[[outing]"),)
    ),
    "truncated CSV": Case(
        ("import", "{folder}/cut.csv"),
        2,
        ("cut.csv row 3",),
        (("cut.csv", 'at,action,subject\n2031-05-01T10:00:00Z,cap,PUMP-1:F2\n"2031-05-01T10'),),
    ),
    "CSV of another encoding": Case(
        ("import", "{folder}/rows.csv"),
        2,
        ("rows.csv:2", "not-text", "0xe9", "UTF-8"),
        (("rows.csv", f"at,action,subject,remark\n{AT},cap,PUMP-2:F1,caf\xe9\n"),),
    ),
    "a workbook as rows": Case(
        ("import", "{folder}/rows.xlsx"),
        2,
        ("rows.xlsx", "not-text", "save its sheet as CSV"),
        (("rows.xlsx", "PK\x03\x04\x14\0"),),
    ),
    "a workbook called CSV": Case(
        ("import", "{folder}/rows.csv"),
        2,
        ("rows.csv", "not-text", "save its sheet as CSV"),
        (("rows.csv", "PK\x03\x04\x14\0"),),
    ),
    "an archive as rows": Case(
        ("import", "{folder}/a.jsonl"),
        2,
        ("a.jsonl", "archive", "cfgtrack restore"),
        (("a.jsonl", '{"cfgtrack":"archive","version":1}\n'),),
    ),
    "a database as rows": Case(
        ("import", "{folder}/plant.db"), 2, ("plant.db", "not-text", "cfgtrack restore")
    ),
    "a folder as rows": Case(("import", "{folder}"), 2, ("not-a-file", "expected a file, found a folder")),
    "a folder as a definition": Case(
        ("load", "{folder}"), 2, ("not-a-file", "expected a file, found a folder")
    ),
    "a folder as a sequence": Case(
        ("check", "{folder}"), 2, ("not-a-file", "expected a file, found a folder")
    ),
    "a folder as a proof": Case(("verify", "{folder}"), 2, ("folder",)),
    "binary rows": Case(
        ("import", "{folder}/rows"), 2, ("rows:1", "not-text", "binary"), (("rows", "\x7fELF\0\0\n"),)
    ),
    "file of the wrong kind": Case(
        ("load", "{folder}/picture.toml"), 2, ("picture.toml",), (("picture.toml", "\x89PNG\r\n\x1a\n"),)
    ),
    "rules where a plant belongs": Case(("load", "{folder}/rules.toml"), 2, ("rules.toml", "rule")),
    "plant where a sequence belongs": Case(
        ("check", "{folder}/plant.toml"), 2, ("plant.toml", "wrong-file", "cfgtrack load")
    ),
    "database that is none": Case(
        ("state", "--db", "{folder}/plant.toml"), 4, ("plant.toml", "not-a-journal")
    ),
    "no such file": Case(("load", "{folder}/none.toml"), 2, ("none.toml", "no-such-file")),
    "no such rows": Case(("import", "{folder}/none.csv"), 2, ("none.csv", "no-such-file")),
    "no such database": Case(("state", "--db", "{folder}/none.db"), 4, ("none.db", "no-database", "load")),
    "time without a zone": Case(
        ("cap", "PUMP-1:F2", "--at", "2031-05-01T10:00:00"), 2, ("--at", "bad-time", "zone")
    ),
    "question's time without a zone": Case(
        ("state", "--at", "2031-05-01T10:00:00"), 2, ("--at", "bad-time", "zone")
    ),
    "time of day outside an outing": Case(("cap", "PUMP-1:F2", "--at", "10:00"), 2, ("bad-time", "outing")),
    "impossible": Case(("cap", "PUMP-1:F1", "--at", AT), 3, ("status", "mated", "initial:PUMP-1:F1")),
    "tied": Case(("place", "PUMP-1", "at", "STORE", "--at", AT), 3, ("tied", "PUMP-1:F1", "HALL:P1")),
    "collides with a later event": Case(
        ("cap", "HALL:P2", "--at", "2031-05-01T08:30:00Z"), 3, ("E1", "cap HALL:P2")
    ),
    "withdrawn under a later event": Case(("withdraw", "E1", "--reason", "x", "--at", AT), 3, ("E2",)),
    "corrected without a reason": Case(
        ("cap", "PUMP-2:F1", "--at", AT, "--supersedes", "E2"), 3, ("reason",)
    ),
    "one bad row of many": Case(
        ("import", "{folder}/rows.csv"),
        3,
        ("rows.csv row 3", "mated"),
        (("rows.csv", f"at,action,subject\n{AT},cap,PUMP-2:F1\n{AT},cap,PUMP-1:F1\n"),),
    ),
    "every bad row": Case(
        ("import", "{folder}/rows.csv"),
        2,
        ("rows.csv row 2, column at", "rows.csv row 4, column subject", "PUMP-9"),
        (("rows.csv", f"at,action,subject\nnoon,cap,PUMP-2:F1\n{AT},cap,PUMP-2:F1\n{AT},cap,PUMP-9:F1\n"),),
    ),
    "rules of one name": Case(("rules", "load", "{folder}/rules.toml", "{folder}/rules.toml"), 2, ("same",)),
    "bad rule": Case(
        ("rules", "load", "{folder}/bad-rule.toml"),
        2,
        ("bad-rule.toml",),
        (("bad-rule.toml", "[[rule]]\nid = 'x'\nmode = 'sometimes'\n"),),
    ),
    "empty time": Case(("cap", "PUMP-1:F2", "--at", ""), 2, ("--at", "bad-time")),
    "value without its name": Case(
        ("measure", "PUMP-1:J1", "--at", AT, "--value", "0 V"), 2, ("NAME=VALUE",)
    ),
    "value of a remark": Case(("remark", "PUMP-1", "x", "--at", AT, "--value", "mass=1kg"), 2, ("measure",)),
    "said twice, two ways": Case(
        ("begin", "W1", "--outing", "W2", "--at", AT), 2, ("duplicate", "outing", "W1", "W2")
    ),
    "unclosed quote": Case(("check", "--do", "cap 'PUMP-1:F2"), 2, ("--do", "syntax", "cap 'PUMP-1:F2")),
    "cycles measured": Case(
        ("measure", "PUMP-1:F1", "cycles=28", "--at", AT), 2, ("counted", "[initial.before]")
    ),
    "variance from nothing": Case(("approve", "--by", "x", "--reason", "x", "--at", AT), 2, ("--rule",)),
    "variance that ends before it begins": Case(
        (
            "approve",
            "--rule",
            "expansion",
            "--by",
            "x",
            "--reason",
            "x",
            "--at",
            AT,
            "--from",
            AT,
            "--until",
            AT,
        ),
        2,
        ("--until", "--from"),
    ),
    "variance by nobody": Case(("approve", "--rule", "x", "--reason", "x", "--at", AT), 2, ("--by",)),
    "no such rules file": Case(("rules", "show", "rule.toml"), 4, ("rule.toml", "rules.toml")),
    "a timeline of a medium": Case(("draw", "--timeline", "--medium", "fluid"), 2, ("--medium",)),
    "a timeline as frames": Case(("draw", "--timeline", "--strip"), 2, ("--timeline", "--strip")),
    "stops of no timeline": Case(("draw", "--stops"), 2, ("--timeline",)),
    "steps of no strip": Case(("draw", "--steps", "a..b"), 2, ("--strip",)),
    "a plan that was recorded": Case(("draw", "--timeline", "--as-run", "--plan", "x.toml"), 2, ("--plan",)),
    "a strip of places": Case(("draw", "--strip", "--places"), 2, ("--places",)),
    "a timeline as DOT": Case(("draw", "--timeline", "--as-run", "--form", "dot"), 4, ("no outing",)),
    "a difference as DOT": Case(("draw", "--against", "now", "--form", "dot"), 2, ("svg", "png", "pdf")),
    "an outing never recorded": Case(("draw", "--timeline", "--as-run", "--outing", "N"), 4, ("no outing",)),
    "no such time to compare with": Case(("draw", "--against", "soon"), 2, ("--at", "soon")),
    "two scopes": Case(("draw", "--loop", "A", "--places"), 2, ("--loop",)),
    "archive of a moment": Case(("export", "--form", "archive", "--known-at", AT), 2, ("archive",)),
    "unknown port, its history": Case(("history", "PUMP-1:F9"), 4, ("PUMP-1:F9", "it has F1")),
    "correction of nothing": Case(
        ("correct", "E9", "cap", "PUMP-1:F2", "--reason", "x"), 4, ("unknown", "no event E9")
    ),
    "check of what is done to the record": Case(("check", "--do", "withdraw E1"), 2, ("--do", "withdraw")),
    "nothing to check": Case(("check",), 4, ("no plan is in force",)),
    "two things to check": Case(("check", "x.toml", "--do", "inspect PUMP-1"), 2, ("Give a sequence",)),
    "no plan to go by": Case(("done", "A1", "--at", "2031-05-01T11:00:00Z"), 4, ("no plan is in force",)),
    "a file to be foreseen without its step": Case(("state", "--plan", "x.toml"), 2, ("--after",)),
    "file where a folder belongs": Case(("export", "-o", "{folder}/plant.db/x.csv"), 2, ("plant.db/x.csv",)),
    "folder that is not there": Case(
        ("draw", "-o", "{folder}/none/a.svg"), 2, ("none/a.svg", "no-such-file")
    ),
    "no form": Case(("draw", "-o", "{folder}/a.gif"), 2, ("a.gif",)),
}


def digest(folder: Path) -> tuple[str, str]:
    """Return a hash of the bytes of the database, and one of all that it says. Nothing may wait in a side file."""
    with closing(sqlite3.connect(folder / "plant.db")) as connection:
        said = "\n".join(connection.iterdump())
    side = folder / "plant.db-wal"
    assert not side.exists() or not side.stat().st_size
    texts = (folder / "plant.db").read_bytes(), said.encode()
    return hashlib.sha256(texts[0]).hexdigest(), hashlib.sha256(texts[1]).hexdigest()


@pytest.fixture
def worked(cfgtrack: Command) -> Iterator[Command]:
    """The tiny plant after two events on one port, with its database as it must stay."""
    cfgtrack.ok("cap", "HALL:P2", "--at", "2031-05-01T09:00:00Z", "--id", "E1")
    cfgtrack.ok("uncap", "HALL:P2", "--at", "2031-05-01T09:30:00Z", "--id", "E2")
    before = digest(cfgtrack.folder)
    yield cfgtrack
    assert digest(cfgtrack.folder) == before


@pytest.mark.parametrize("name", CASES)
def test_bad_input(name: str, worked: Command) -> None:
    """It ends with the status of its sort of trouble; standard error names the thing, standard output says nothing."""
    case = CASES[name]
    for file, text in case.files:
        (worked.folder / file).write_text(text, encoding="latin-1")
    answer = worked(*[word.format(folder=worked.folder) for word in case.words])
    assert answer.status == case.status, answer.err
    assert answer.out == ""
    for named in case.names:
        assert named in answer.err
    for told in ("Traceback", "SELECT", "sqlalchemy", "sqlite3"):
        assert told not in answer.err


def test_locked_database(worked: Command) -> None:
    """While another program holds the database, a writer gives up after its wait and says so; readers go on."""
    worked.wait = 0.01
    other = sqlite3.connect(worked.db, isolation_level=None)
    other.execute("BEGIN IMMEDIATE")
    try:
        answer = worked("cap", "PUMP-1:F2", "--at", AT)
        assert (answer.status, answer.out) == (4, "")
        assert "locked" in answer.err
        assert worked("state", "PUMP-1").status == 0
    finally:
        other.execute("ROLLBACK")
        other.close()


def test_time_must_be_said(worked: Command) -> None:
    """Where the record is ahead of the clock, now is no answer to when it happened."""
    answer = worked("cap", "PUMP-1:F2")
    assert (answer.status, "--at: missing" in answer.err) == (2, True)


def test_no_rules(empty: Command) -> None:
    """Without rules there is no verdict: a check is not passed but unanswered; state and record go on."""
    empty.ok("load", empty.file("plant.toml", world.PLANT))
    answer = empty("check", "--do", "demate PUMP-1:J1")
    assert (answer.status, answer.out) == (4, "")
    assert "no-rules" in answer.err
    assert empty("findings").status == 4
    assert empty("review").status == 4
    empty.ok("demate", "PUMP-1:J1", "--at", AT)
    empty.ok("state", "PUMP-1")
