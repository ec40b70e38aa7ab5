"""Many events in, all of them out."""

from __future__ import annotations

import csv
import json
from pathlib import Path

import pytest

from tests.cli.conftest import Command

AT = "2031-05-01T10:00:00Z"
ROWS = f"""at,action,subject,subject2,outing,id
{AT},begin,,,W1,R1
10:05,demate,PUMP-1:F1,,W1,R2
10:10,cap,PUMP-1:F1,,W1,R3
+00:12,cap,HALL:P1,,W1,R4
"""
BROKEN = ROWS.replace("10:10,cap,PUMP-1:F1", "10:10,mate,PUMP-1:F2") + "noon,cap,PUMP-2:F1,,W1,R5\n"


def events(cfgtrack: Command) -> list[str]:
    """Return the ids of all events but the initial ones and the definitions."""
    ids = [e["id"] for e in cfgtrack("history", "--json").json["history"]]
    return [i for i in ids if not i.startswith(("initial:", "define:"))]


def test_rows_in(cfgtrack: Command) -> None:
    """Rows of CSV are recorded in one go, with word of what judges them; feeding the file again is harmless."""
    rows = cfgtrack.file("rows.csv", ROWS)
    said = cfgtrack.ok("import", rows)
    assert said.startswith("4 events recorded (")
    assert "`cfgtrack review`" in said
    again = cfgtrack.ok("import", rows)
    assert again.startswith("no events recorded, 4 there already (")
    assert "review" not in again
    assert events(cfgtrack) == ["R1", "R2", "R3", "R4"]


def test_standard_input(cfgtrack: Command) -> None:
    """- is standard input; JSON Lines are told from CSV by their first character."""
    cfgtrack.ok("import", "-", stdin=ROWS)
    line = json.dumps({"at": AT, "action": "cap", "subject": "PUMP-2:F1", "id": "R9"})
    cfgtrack.ok("import", "-", stdin=line + "\n")
    assert events(cfgtrack) == ["R1", "R2", "R3", "R4", "R9"]


def test_dry_run(cfgtrack: Command) -> None:
    """A dry run says what would be recorded, or refused, and records nothing."""
    assert cfgtrack.ok("import", cfgtrack.file("rows.csv", ROWS), "--dry-run").startswith(
        "4 events would be recorded"
    )
    assert cfgtrack("import", cfgtrack.file("rows.csv", BROKEN), "--dry-run").status == 2
    assert events(cfgtrack) == []


@pytest.mark.parametrize("piped", [False, True])
def test_rejects(piped: bool, cfgtrack: Command) -> None:
    """With --rejects the good rows are recorded; the others stand in a file with their reasons, to mend and feed."""
    rejects = cfgtrack.folder / "rejects.csv"
    source = cfgtrack.file("rows.csv", BROKEN)
    answer = cfgtrack("import", "-" if piped else source, "--rejects", rejects, stdin=BROKEN)
    assert answer.status == 3
    assert f"3 events recorded, 2 REFUSED: see {rejects}" in answer.out
    with rejects.open(newline="") as stream:
        rows = list(csv.DictReader(stream))
    assert [row["id"] for row in rows] == ["R3", "R5"]
    assert all(row["why"] for row in rows)
    mended = rejects.read_text().replace("mate,PUMP-1:F2", "cap,PUMP-1:F1").replace("noon", "10:20")
    rejects.write_text(mended)
    assert cfgtrack.ok("import", rejects).startswith("2 events recorded")


@pytest.mark.parametrize("form", ["csv", "jsonl"])
def test_out_and_in(form: str, cfgtrack: Command, tmp_path: Path) -> None:
    """What is exported and imported into another journal of the same plant is the same history."""
    cfgtrack.ok("import", "-", stdin=ROWS)
    cfgtrack.ok(
        "correct", "R4", "cap", "HALL:P1", "--at", "2031-05-01T10:13:00Z", "--reason", "typo", "--id", "C1"
    )
    out = cfgtrack.folder / f"journal.{form}"
    cfgtrack.ok("export", "-o", out)
    other = Command(tmp_path / "other")
    other.folder.mkdir()
    other.ok("load", cfgtrack.folder / "plant.toml")
    other.ok("import", out)
    for port in ("PUMP-1:F1", "HALL:P1"):
        mine, theirs = (
            [(e["id"], e["happened"], e["action"]) for e in c("history", port, "--json").json["history"]]
            for c in (cfgtrack, other)
        )
        assert mine == theirs


def test_export_in_effect(cfgtrack: Command) -> None:
    """With --in-effect what was withdrawn is left out."""
    cfgtrack.ok("cap", "PUMP-1:F2", "--at", AT, "--id", "E1")
    cfgtrack.ok("withdraw", "E1", "--reason", "no", "--at", AT, "--id", "E2")
    everything = [json.loads(line)["id"] for line in cfgtrack.ok("export").splitlines()]
    counted = [json.loads(line)["id"] for line in cfgtrack.ok("export", "--in-effect").splitlines()]
    assert {"E1", "E2"} <= set(everything)
    assert "E1" not in counted


def test_ocel(cfgtrack: Command) -> None:
    """The object-centric event log is JSON with the four lists of OCEL 2.0."""
    log = json.loads(cfgtrack.ok("export", "--form", "ocel"))
    assert {"objectTypes", "eventTypes", "objects", "events"} <= log.keys()


def test_progress(cfgtrack: Command, monkeypatch: pytest.MonkeyPatch) -> None:
    """On a terminal a long file tells how far it is; elsewhere standard error stays empty."""
    lines = "".join(f"2031-05-01T10:00:00.{n:06d}Z,inspect,PUMP-1\n" for n in range(2500))
    rows = cfgtrack.file("rows.csv", f"at,action,subject\n{lines}")
    assert cfgtrack("import", rows, "--dry-run").err == ""
    monkeypatch.setattr("cfgtrack.cli.terminal.is_watched", lambda: True)
    ticks = iter(range(1, 100))
    monkeypatch.setattr("time.monotonic", lambda: next(ticks))
    answer = cfgtrack("import", rows)
    shown = ["1,000 rows\x1b[K", "2,000 rows\x1b[K", "\x1b[K2,500 rows read\n"]
    assert answer.err.split("\r")[1:] == shown
    assert answer.out.startswith("2500 events recorded")
