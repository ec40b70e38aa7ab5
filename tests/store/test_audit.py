"""What the audit finds, and what the proofs prove."""

import json
import random
import shutil
import sqlite3
from collections.abc import Iterator
from contextlib import closing, suppress
from pathlib import Path

import pytest

from cfgtrack.model.action import Action
from cfgtrack.model.handover import SaidHead, TreeHead, said_head
from cfgtrack.model.trouble import BadInput, NoAnswer
from cfgtrack.store.archive import write_archive
from cfgtrack.store.audit import audit
from cfgtrack.store.database import Database
from cfgtrack.store.guards import SQLITE_TRIGGERS
from cfgtrack.store.journal import Journal, open_journal
from cfgtrack.store.proof import current_head, prove, prove_consistency, verify_proof
from tests.store.world import DEFINITION, START, state_digest

EVENTS = [
    Action("e1", "uncap", ("Y:F",), START + 1, by="ada"),
    Action("e2", "uncap", ("Z:F",), START + 2, by="ada", remark="näht ©"),
    Action("e3", "mate", ("Y:F", "Z:F"), START + 3),
    Action("e4", "uncap", ("Z:F",), START + 2, supersedes="e2", reason="who did it", by="bo"),
    Action("e5", "demate", ("Y:F",), START + 9),
]


def _fill(journal: Journal) -> None:
    journal.load(DEFINITION, by=None, recorder=None)
    for event in EVENTS:
        journal.record([event])


@pytest.fixture
def journal(url: str) -> Iterator[Journal]:
    """A journal with a few events, in either database."""
    with open_journal(url, clock=lambda: START) as opened:
        _fill(opened)
        yield opened


@pytest.fixture
def file(sqlite_url: str) -> Path:
    """The same journal in a file, closed."""
    with open_journal(sqlite_url, clock=lambda: START) as opened:
        _fill(opened)
        opened.database.rows("PRAGMA wal_checkpoint(TRUNCATE)")
        opened.database.rows("PRAGMA journal_mode = DELETE")
    return Path(sqlite_url)


def _tamper(path: Path, *statements: str) -> None:
    """Change the file as somebody would who knows SQLite: triggers off, then on again."""
    with closing(sqlite3.connect(path)) as connection:
        triggers = connection.execute("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'").fetchall()
        for name, _ in triggers:
            connection.execute(f"DROP TRIGGER {name}")
        for statement in statements:
            connection.execute(statement)
        for _, sql in triggers:
            connection.execute(sql)
        connection.commit()


def _faults(path: Path, kept: SaidHead | None = None) -> list[tuple[str, str | None]]:
    with closing(Database(str(path))) as database:
        return [(f.code, f.event) for f in audit(database, kept=kept).faults]


def test_an_untouched_journal_is_sound(journal: Journal) -> None:
    """Nothing is found where nothing was changed; the head is the one recorded with the last event."""
    report = audit(journal.database)
    assert report.is_sound
    assert report.events == 4 + len(EVENTS)
    assert report.head == current_head(journal.database)


@pytest.mark.parametrize(
    ("statement", "event"),
    [
        ("UPDATE event SET body = replace(body, 'ada', 'eve') WHERE id = 'e1'", "e1"),
        ("UPDATE event SET known = known + 1 WHERE id = 'e5'", "e5"),
        ("UPDATE event SET happened = happened + 1 WHERE id = 'e3'", "e3"),
        ("UPDATE event SET action = 'demate' WHERE id = 'e3'", "e3"),
        ("UPDATE event SET id = 'e33' WHERE id = 'e3'", "e33"),
        ("UPDATE event SET turn = 1 WHERE id = 'e3'", "e3"),
        ("UPDATE event SET corrects = NULL WHERE id = 'e4'", "e4"),
        ("UPDATE event SET leaf = zeroblob(32) WHERE id = 'e2'", "e2"),
        ("DELETE FROM event WHERE id = 'e3'", "e4"),
        (
            "UPDATE item SET body = replace(body, 'slot', 'hand') WHERE sort = 'place' AND id = 'BAY'",
            "define:1",
        ),
        ("DELETE FROM item WHERE id = 'BAG'", "define:1"),
        ("UPDATE tree_head SET root = zeroblob(32) WHERE number = 7", "e3"),
        ("UPDATE change SET value = 'capped' WHERE number = 7 AND subject = 'Y:F'", "e3"),
        ("DELETE FROM touch WHERE number = 5", "e1"),
        ("UPDATE change SET until = 9223372036854775807", "e2"),
    ],
)
def test_what_was_changed_is_named(file: Path, statement: str, event: str) -> None:
    """Whatever is changed in a row of any table, the first event that is not as it was recorded is named."""
    _tamper(file, "PRAGMA foreign_keys = OFF", statement)
    assert _faults(file)[0][1] == event


def test_a_journal_forged_throughout_is_found_by_a_kept_head(file: Path, tmp_path: Path) -> None:
    """Who computes everything anew fools an audit without a kept head, and not one with it."""
    with closing(Database(str(file))) as database:
        kept = said_head(current_head(database).text, "kept")
    forged = tmp_path / "forged.db"
    with open_journal(str(forged), clock=lambda: START, must_exist=False) as journal:
        journal.load(DEFINITION, by=None, recorder=None)
        for event in EVENTS[:2]:
            journal.record([event])
    assert _faults(forged) == []
    assert _faults(forged, kept) == [("cut-off", None)]
    with open_journal(str(forged), clock=lambda: START) as journal:
        for n in range(4):
            journal.record([Action(f"r{n}", "remark", ("X",), START, remark="all well")])
    assert _faults(forged, kept) == [("rewritten", None)]


def test_any_changed_byte_of_an_event_is_found(file: Path, tmp_path: Path) -> None:
    """A bit changed anywhere in an event's content in the file: the audit says which event, or what is damaged."""
    whole = file.read_bytes()
    with closing(sqlite3.connect(file)) as connection:
        bodies = [
            str(row[0]).encode() for row in connection.execute("SELECT body FROM event WHERE number > 4")
        ]
    chosen = random.Random(7)
    for body in bodies:
        start = whole.index(body)
        for _ in range(12):
            at = start + chosen.randrange(len(body))
            changed = bytearray(whole)
            changed[at] ^= 1 << chosen.randrange(8)
            copy = tmp_path / "changed.db"
            copy.write_bytes(changed)
            assert _faults(copy), (body, at - start)


def test_no_changed_byte_goes_unnoticed(file: Path, tmp_path: Path) -> None:
    """A byte changed anywhere in the file is found, or it changed nothing that the journal holds."""
    whole = file.read_bytes()
    chosen = random.Random(11)
    with closing(Database(str(file))) as database:
        held = list(write_archive(database)), state_digest(database)
    for _ in range(120):
        changed = bytearray(whole)
        changed[chosen.randrange(100, len(whole))] ^= 1 << chosen.randrange(8)
        copy = tmp_path / "changed.db"
        copy.write_bytes(changed)
        with suppress(NoAnswer), closing(Database(str(copy))) as database:
            if audit(database).is_sound:
                assert (list(write_archive(database)), state_digest(database)) == held


@pytest.mark.parametrize("trigger", sorted(SQLITE_TRIGGERS))
def test_a_missing_guard_is_found(file: Path, trigger: str) -> None:
    """A trigger that was taken away is named, though nothing has been changed yet."""
    with closing(sqlite3.connect(file)) as connection:
        connection.execute(f"DROP TRIGGER {trigger}")
    assert _faults(file) == [("unguarded", None)]


def test_a_damaged_page_is_said_to_be_damaged(file: Path, tmp_path: Path) -> None:
    """A page overwritten with noise is found and named as damage of the file, whichever page it is."""
    whole = file.read_bytes()
    size = 4096
    noise = random.Random(3).randbytes(size)
    pages = len(whole) // size
    assert pages > 10
    for page in range(pages):
        copy = tmp_path / f"damaged-{page}.db"
        copy.write_bytes(whole[: page * size] + noise + whole[(page + 1) * size :])
        if page:
            with closing(Database(str(copy))) as database:
                found = audit(database).faults
            assert {fault.code for fault in found} <= {"corrupt", "damaged-file"}, page
            assert found
            # What SQLite puts above its findings is none of them, and an audit sends nobody to the audit.
            for fault in found:
                assert "***" not in fault.sentence
                assert "cfgtrack audit" not in fault.sentence
                assert (fault.number, fault.event) == (None, None)
        else:
            with pytest.raises(NoAnswer, match="this file is not a database"):
                _faults(copy)


def test_a_proof_needs_no_database(journal: Journal) -> None:
    """An event's proof leads to the head, and no changed proof does."""
    head = current_head(journal.database)
    proof = json.loads(json.dumps(prove(journal.database, "e2")))
    assert verify_proof(proof).head == TreeHead(head.size, head.root)
    earlier = prove(journal.database, "e2", size=6)
    assert verify_proof(earlier).head.size == 6
    for change in ({"number": 5}, {"known": proof["known"] + 1}, {"event": {**proof["event"], "by": "eve"}}):
        with pytest.raises(BadInput, match="the event or the proof was changed"):
            verify_proof({**proof, **change})
    with pytest.raises(NoAnswer, match="there is no event e99"):
        prove(journal.database, "e99")


def test_a_later_journal_proves_that_it_begins_with_the_earlier(journal: Journal) -> None:
    """A head kept earlier and the present one are joined by a proof that needs no database."""
    kept = said_head(current_head(journal.database).text, "kept")
    journal.record([Action("r1", "remark", ("X",), START, remark="later")])
    proof = prove_consistency(journal.database, kept)
    assert verify_proof(proof).head.root == current_head(journal.database).root
    other = said_head(f"{kept.size} {bytes(32).hex()}", "kept")
    with pytest.raises(BadInput, match="proof was changed"):
        verify_proof(prove_consistency(journal.database, other))


@pytest.mark.parametrize(
    "text",
    [
        "",
        "1 2 3",
        "x " + "0" * 64 + " 1",
        "5 " + "0" * 63,
        "5 " + "g" * 64 + " 1",
        "5 aaaa-aaaa",
        "5 aaaa-aaaa-aaau",
    ],
)
def test_what_is_no_head_is_refused(text: str) -> None:
    """A mistyped tree head is told what one looks like."""
    with pytest.raises(BadInput, match="expected a head: a size and a root of 64 hexadecimal digits"):
        said_head(text, "kept")


def test_a_copy_of_a_running_journal_is_sound(sqlite_url: str, tmp_path: Path) -> None:
    """The audit reads a journal that another process has open."""
    with open_journal(sqlite_url, clock=lambda: START) as journal:
        _fill(journal)
        with open_journal(sqlite_url, clock=lambda: START, read_only=True) as reader:
            assert audit(reader.database).is_sound
    shutil.copy(sqlite_url, tmp_path / "copy.db")
    assert _faults(tmp_path / "copy.db") == []
