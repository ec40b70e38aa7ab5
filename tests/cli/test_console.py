"""Every console remembers the largest head that it has seen of a journal, and tells what it finds instead."""

from __future__ import annotations

import json
import shutil
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from cfgtrack.files.heads import read_memory
from tests.cli.conftest import Answer, Command
from tests.store.forging import heads_anew, leaves_anew, unguarded

AT = "2031-05-01T10:00:00Z"
QUESTIONS = (
    ("state",),
    ("history",),
    ("head",),
    ("findings",),
    ("audit",),
    ("plant",),
    ("rules", "list"),
    ("can", "HALL"),
    ("rebuild",),
    ("migrate",),
)


@pytest.fixture
def state(empty: Command) -> Path:
    """What the console remembers: nothing yet."""
    return empty.state / "cfgtrack" / "heads.json"


def _copied(cfgtrack: Command, name: str) -> Path:
    target = cfgtrack.folder / name
    with closing(sqlite3.connect(cfgtrack.db)) as source, closing(sqlite3.connect(target)) as copy:
        source.backup(copy)
    return target


def _put(cfgtrack: Command, file: Path) -> None:
    """Put a copy in the place of the database."""
    for suffix in ("-wal", "-shm"):
        cfgtrack.db.with_name(cfgtrack.db.name + suffix).unlink(missing_ok=True)
    shutil.copy(file, cfgtrack.db)


def _told(answer: Answer, code: str) -> None:
    assert answer.status == 3, answer.err
    assert f"BEWARE: {code}: " in answer.err
    assert "head forget --reason" in answer.err


def test_a_journal_that_grows_is_remembered_in_silence(cfgtrack: Command, state: Path) -> None:
    """Whatever is recorded here, or at another console, nothing is said; and the largest head is kept."""
    cfgtrack.ok("cap", "PUMP-1:F2", "--at", AT)
    elsewhere = cfgtrack("uncap", "PUMP-1:F2", "--at", AT, XDG_STATE_HOME=str(state.parent / "other"))
    assert elsewhere.status == 0
    answer = cfgtrack("head", "--json")
    assert (answer.status, answer.err) == (0, "")
    kept = read_memory(state).journals
    assert [one.size for one in kept.values()] == [answer.json["head"]["size"]]


@pytest.mark.parametrize("question", QUESTIONS, ids=" ".join)
def test_a_copy_put_back_is_told_at_every_question(question: tuple[str, ...], cfgtrack: Command) -> None:
    """An older copy in the journal's place is told whatever is asked, beside the answer, and in JSON around it."""
    old = _copied(cfgtrack, "old.db")
    cfgtrack.ok("cap", "PUMP-1:F2", "--at", AT)
    _put(cfgtrack, old)
    answer = cfgtrack(*question)
    _told(answer, "rolled-back")
    assert answer.out
    data = cfgtrack("--json", *question).json
    assert list(data) == ["beware", "answer"]
    assert [one["code"] for one in data["beware"]] == ["rolled-back"]


def test_a_lost_tail_of_the_log_is_told(cfgtrack: Command) -> None:
    """Where SQLite's write-ahead log is lost, so is what stood in it alone; the next question tells."""
    with closing(sqlite3.connect(cfgtrack.db)) as holding:
        holding.execute("PRAGMA wal_autocheckpoint = 0")
        holding.execute("SELECT count(*) FROM event").fetchone()
        cfgtrack.ok("cap", "PUMP-1:F2", "--at", AT)
        cut = cfgtrack.folder / "cut.db"
        shutil.copy(cfgtrack.db, cut)
    _put(cfgtrack, cut)
    _told(cfgtrack("head"), "rolled-back")


def test_nothing_is_recorded_into_what_is_not_the_journal(cfgtrack: Command) -> None:
    """Who writes into an older copy makes a fork: it is refused, whatever the command, and the copy stays as it is."""
    old = _copied(cfgtrack, "old.db")
    cfgtrack.ok("cap", "PUMP-1:F2", "--at", AT)
    _put(cfgtrack, old)
    rows = cfgtrack.file("rows.csv", f"at,action,subject\n{AT},cap,PUMP-1:F2\n")
    for words in (
        ("cap", "PUMP-1:F2", "--at", AT),
        ("import", rows),
        ("load", cfgtrack.folder / "plant.toml"),
        ("rules", "drop", "rules.toml"),
    ):
        answer = cfgtrack(*words)
        assert (answer.status, answer.out) == (3, ""), words
        assert "rolled-back" in answer.err, words
        assert "head forget --reason" in answer.err, words
    assert cfgtrack.db.read_bytes() == old.read_bytes()


def test_an_old_copy_elsewhere_is_told_too(cfgtrack: Command) -> None:
    """A journal is known by its first leaf, wherever it stands: a backup that is behind says so."""
    old = _copied(cfgtrack, "old.db")
    cfgtrack.ok("cap", "PUMP-1:F2", "--at", AT)
    _told(cfgtrack("--db", old, "state"), "rolled-back")
    assert cfgtrack("state").status == 0


def _forge(path: Path, number: int) -> None:
    """Change the content of an event, with its leaf, and the whole tree after it."""
    with unguarded(path) as c:
        c.execute(
            'UPDATE event SET body = replace(body, \'"recorder":\', \'"reason":"x","recorder":\')'
            " WHERE number = ?",
            (number,),
        )
        leaves_anew(c)
        heads_anew(c)


def test_a_forged_chain_is_told(cfgtrack: Command) -> None:
    """Who changes an event and computes leaves, tree and heads anew is found by whoever had seen the true head."""
    cfgtrack.ok("cap", "PUMP-1:F2", "--at", AT)
    _forge(cfgtrack.db, 2)
    _told(cfgtrack("state"), "rewritten")


def test_a_chain_forged_from_its_first_event_is_told(cfgtrack: Command) -> None:
    """Then it is known by another first leaf: so it is told that another journal stands here."""
    _forge(cfgtrack.db, 1)
    _told(cfgtrack("state"), "another-journal")


def test_a_fork_that_grew_is_told(cfgtrack: Command, state: Path) -> None:
    """An older copy that others went on with is larger than what was seen, and not the same."""
    old = _copied(cfgtrack, "old.db")
    cfgtrack.ok("cap", "PUMP-1:F2", "--at", AT)
    other = str(state.parent / "other")
    assert cfgtrack("--db", old, "cap", "PUMP-1:F2", "--at", AT, XDG_STATE_HOME=other).status == 0
    assert cfgtrack("--db", old, "uncap", "PUMP-1:F2", "--at", AT, XDG_STATE_HOME=other).status == 0
    _put(cfgtrack, old)
    _told(cfgtrack("state"), "rewritten")


def test_who_knows_why_says_so(cfgtrack: Command, state: Path) -> None:
    """After `head forget` with a reason what is there is remembered instead; the reason and the old head are kept."""
    old = _copied(cfgtrack, "old.db")
    cfgtrack.ok("cap", "PUMP-1:F2", "--at", AT)
    size = cfgtrack.json_of("head")["head"]["size"]
    _put(cfgtrack, old)
    assert cfgtrack("head", "forget").status == 2
    assert cfgtrack("head", "forget", "--reason", " ").status == 2
    found = cfgtrack.json_of("head", "forget", "--reason", "restored from Monday's backup")
    assert (found["journals"], found["size"]) == (1, size)
    assert cfgtrack("state").err == ""
    cfgtrack.ok("cap", "PUMP-1:F2", "--at", AT)
    told = json.loads(state.read_text())["forgotten"]
    assert [(one["size"], one["reason"]) for one in told] == [(size, "restored from Monday's backup")]


def test_a_new_journal_in_an_old_place(cfgtrack: Command, empty: Command) -> None:
    """Where the file is gone, loading begins a new journal, and says that another one stood there."""
    for suffix in ("", "-wal", "-shm"):
        cfgtrack.db.with_name(cfgtrack.db.name + suffix).unlink(missing_ok=True)
    answer = cfgtrack("load", cfgtrack.folder / "plant.toml")
    assert answer.status == 0
    assert "another journal stood here" in answer.err
    assert cfgtrack("state").err == ""


def test_what_is_remembered_and_damaged_is_told(cfgtrack: Command, state: Path) -> None:
    """A console whose memory can't be read says so at every question, until somebody says to forget it."""
    state.write_text("{")
    _told(cfgtrack("state"), "memory-damaged")
    before = cfgtrack.db.read_bytes()
    answer = cfgtrack("remark", "PUMP-1", "hums", "--at", AT)
    assert (answer.status, answer.out) == (3, "")
    assert "memory-damaged" in answer.err
    assert cfgtrack.db.read_bytes() == before, "it was refused, and recorded"
    assert cfgtrack.json_of("head", "forget", "--reason", "disk was full")["journals"] == 0
    assert cfgtrack("state").err == ""


def test_a_console_that_cannot_remember_says_so(cfgtrack: Command) -> None:
    """Nobody is kept from his work by it, and nobody is left to think that he is guarded."""
    answer = cfgtrack("state", XDG_STATE_HOME="/dev/null")
    assert answer.status == 0
    assert "can't remember" in answer.err


def test_a_copy_that_went_on_takes_nothing_from_the_original(cfgtrack: Command) -> None:
    """Who tries things in a copy goes on with the original: it is told where more was seen, and no one is refused."""
    exercise = _copied(cfgtrack, "exercise.db")
    cfgtrack.ok("--db", exercise, "cap", "PUMP-1:F2", "--at", AT)
    answer = cfgtrack("state")
    assert answer.status == 0
    assert f"seen in {exercise}" in answer.err
    assert "a copy that went on by itself" in answer.err
    answer = cfgtrack("remark", "PUMP-1", "hums", "--at", AT)
    assert answer.status == 0
    assert "a fork of this one" in cfgtrack("state").err
    cfgtrack.ok("remark", "PUMP-1", "hums no more", "--at", AT)
    assert cfgtrack("state").err == ""
    answer = cfgtrack("--db", exercise, "state")
    assert (answer.status, f"seen in {cfgtrack.db}" in answer.err) == (0, True)
    cfgtrack.ok("--db", exercise, "uncap", "PUMP-1:F2", "--at", AT)


def test_who_says_that_it_was_an_exercise_hears_no_more_of_it(cfgtrack: Command) -> None:
    """After `head forget` the original is what is remembered of the journal."""
    exercise = _copied(cfgtrack, "exercise.db")
    cfgtrack.ok("--db", exercise, "cap", "PUMP-1:F2", "--at", AT)
    exercise.unlink()
    assert "seen in" in cfgtrack("state").err
    cfgtrack.ok("head", "forget", "--reason", "an exercise")
    assert cfgtrack("state").err == ""


def test_an_older_copy_in_the_place_of_the_original_is_told_in_spite_of_an_exercise(
    cfgtrack: Command,
) -> None:
    """What was seen in a place it must continue, whatever was seen elsewhere."""
    old = _copied(cfgtrack, "old.db")
    cfgtrack.ok("cap", "PUMP-1:F2", "--at", AT)
    exercise = _copied(cfgtrack, "exercise.db")
    cfgtrack.ok("--db", exercise, "uncap", "PUMP-1:F2", "--at", AT)
    _put(cfgtrack, old)
    _told(cfgtrack("state"), "rolled-back")


def test_an_audit_is_not_sound_by_what_the_console_remembers(cfgtrack: Command) -> None:
    """An older copy is sound of itself; to who saw more it isn't: the code, what to do next, and no head to keep."""
    old = _copied(cfgtrack, "old.db")
    cfgtrack.ok("cap", "PUMP-1:F2", "--at", AT)
    _put(cfgtrack, old)
    answer = cfgtrack("audit")
    assert answer.status == 3
    assert answer.out.startswith("NOT SOUND: 1 fault\n  the journal: rolled-back: ")
    assert "what to do next (rolled-back): " in answer.out
    assert "head to keep" not in answer.out
    told = cfgtrack("--json", "audit").json["answer"]
    assert (told["sound"], told["head"], [one["code"] for one in told["faults"]]) == (
        False,
        None,
        ["rolled-back"],
    )
    assert cfgtrack("audit", XDG_STATE_HOME=str(cfgtrack.folder / "other")).status == 0


# --- short heads and handovers ---------------------------------------------------------------------------------------


def test_a_record_prints_a_short_head(cfgtrack: Command) -> None:
    """A few groups that can be read out, which are those of the head; none for a dry run."""
    assert "head" not in cfgtrack.ok("cap", "PUMP-1:F2", "--at", AT, "--dry-run")
    lines = cfgtrack.ok("cap", "PUMP-1:F2", "--at", AT).splitlines()
    short = cfgtrack.json_of("head")["head"]["short"]
    assert f"  head {short}" in lines
    assert len(short.split()[1]) == 14


def test_a_handover_stands_for_the_record(cfgtrack: Command) -> None:
    """Who begins or ends an outing stands for the head by then, which the audit checks; said again it is harmless."""
    head = cfgtrack.json_of("head")["head"]
    cfgtrack.ok("begin", "SHIFT-1", "--id", "B1", "--at", AT)
    body = cfgtrack.json_of("history")["history"][-1]["body"]
    assert body == {"head": {"root": head["root"], "size": head["size"]}}
    assert head["short"] in cfgtrack.ok("history")
    cfgtrack.ok("cap", "PUMP-1:F2", "--at", AT)
    cfgtrack.ok("begin", "SHIFT-1", "--id", "B1", "--at", AT)
    assert cfgtrack.ok("audit").startswith("sound")


def test_a_handover_is_of_the_head_that_was_said(cfgtrack: Command) -> None:
    """What the one who leaves reads out is looked for in the journal of the one who comes; another one is refused."""
    short = cfgtrack.json_of("head")["head"]["short"]
    cfgtrack.ok("cap", "PUMP-1:F2", "--at", AT)
    size, letters = short.split()
    spoken = f"{size} {letters.upper().replace('-', ' ')}"
    cfgtrack.ok("end", "SHIFT-1", "--id", "E1", "--at", AT, "--head", spoken)
    assert cfgtrack.json_of("history")["history"][-1]["body"]["head"]["size"] == int(size)
    other = "zzzz" if letters[:4] != "zzzz" else "yyyy"
    for said, status in (
        (f"{size} {other}{letters[4:]}", 3),
        (f"{int(size) + 50} {letters}", 3),
        (letters, 2),
        ("9" * 30 + f" {letters}", 2),
    ):
        answer = cfgtrack("begin", "SHIFT-2", "--at", AT, "--head", said)
        assert (answer.status, answer.out) == (status, ""), said
    assert cfgtrack("cap", "PUMP-1:F1", "--at", AT, "--head", short).status == 2


def test_a_handover_of_another_record_is_refused(cfgtrack: Command) -> None:
    """A row that hands over what this journal never was isn't taken."""
    line = {
        "id": "B1",
        "action": "begin",
        "happened": 1,
        "outing": "N",
        "body": {"head": {"root": "00" * 32, "size": 1}},
    }
    answer = cfgtrack("import", cfgtrack.file("rows.jsonl", json.dumps(line) + "\n"), "--sure")
    assert answer.status == 3
    assert "never was" in answer.err


def test_a_restored_backup_is_told_at_once(cfgtrack: Command) -> None:
    """Who restores a backup that is behind what was seen here learns it in the same command; a backup says it, too."""
    backup = cfgtrack.folder / "backup.db"
    cfgtrack.ok("backup", backup)
    cfgtrack.ok("cap", "PUMP-1:F2", "--at", AT)
    for suffix in ("", "-wal", "-shm"):
        cfgtrack.db.with_name(cfgtrack.db.name + suffix).unlink(missing_ok=True)
    answer = cfgtrack("restore", backup)
    _told(answer, "rolled-back")
    assert answer.out.startswith("restored")
    _told(cfgtrack("backup", cfgtrack.folder / "again.db"), "rolled-back")
