"""Backup, restore, archive, rebuild: the same journal, wherever it is carried."""

import json
import sqlite3
import threading
from contextlib import closing
from pathlib import Path

import pytest

from cfgtrack.answers.asking import Asking
from cfgtrack.answers.upkeep import backup
from cfgtrack.model.action import Action
from cfgtrack.model.quantity import parse_quantity
from cfgtrack.model.trouble import BadInput, NoAnswer
from cfgtrack.store.archive import Source, read_archive, write_archive
from cfgtrack.store.audit import audit
from cfgtrack.store.columns import REVISIONS
from cfgtrack.store.database import Database
from cfgtrack.store.journal import open_journal
from cfgtrack.store.upkeep import migrate, rebuild, restore
from tests.store.conftest import FreshUrl
from tests.store.test_audit import EVENTS
from tests.store.world import DEFINITION, START, state_digest


@pytest.fixture
def filled(url: str) -> str:
    """A journal with a definition, rules, events, a correction, a withdrawal and an explanation."""
    with open_journal(url, clock=lambda: START) as journal:
        journal.load(DEFINITION, by="survey", recorder="ada")
        journal.keep_rules({"own.toml": "# é"}, by=None, recorder=None)
        for event in EVENTS:
            journal.record([event])
        journal.record([Action("f1", "as-found", ("X:F",), START + 20, status="demated")])
        journal.record([Action("x1", "explain", (), START + 21, explains="f1", reason="cap came off")])
        volts, newtons = parse_quantity("0.25 V"), parse_quantity("25 ft lbf", dimension="torque")
        journal.record(
            [Action("m1", "measure", ("X:F",), START + 21, values={"voltage": volts, "torque": newtons})]
        )
        journal.record([Action("w1", "withdraw", (), START + 22, withdraws="e5", reason="was not so")])
    return url


def _whole(url: str) -> tuple[list[str], str]:
    with closing(Database(url)) as database:
        assert audit(database).faults == []
        return list(write_archive(database)), state_digest(database)


def test_a_backup_is_the_whole_journal(filled: str, tmp_path: Path) -> None:
    """A backup is one sound file that holds the same journal, from either database, and nothing is left beside it."""
    folder = tmp_path / "backups"
    folder.mkdir()
    target = folder / "monday.db"
    events = backup(Asking(filled), target).events
    assert _whole(str(target)) == _whole(filled)
    assert events == len([line for line in _whole(filled)[0] if line.startswith('{"event"')])
    assert {p.name for p in folder.iterdir()} <= {"monday.db", "monday.db-wal", "monday.db-shm"}
    with pytest.raises(NoAnswer, match="it is left alone"):
        backup(Asking(filled), target)


def test_a_backup_can_be_taken_while_others_record(filled: str, tmp_path: Path) -> None:
    """Writers go on during a backup, and the copy is the journal as it was at one moment."""
    stop = threading.Event()
    recorded: list[int] = []

    def record() -> None:
        with open_journal(filled, clock=lambda: START) as journal:
            while not stop.is_set():
                n = len(recorded)
                journal.record([Action(f"r{n}", "remark", ("X",), START, remark="on and on")])
                recorded.append(n)

    writer = threading.Thread(target=record)
    writer.start()
    try:
        for i in range(3):
            backup(Asking(filled), tmp_path / f"copy-{i}.db")
    finally:
        stop.set()
        writer.join()
    assert recorded
    for i in range(3):
        copied = _whole(str(tmp_path / f"copy-{i}.db"))[0]
        assert _whole(filled)[0][: len(copied)] == copied


def test_a_journal_moves_between_databases_unchanged(
    filled: str, server, tmp_path: Path, fresh_url: FreshUrl
) -> None:
    """From SQLite to PostgreSQL and back, or the other way round: the same journal, the same derived state."""
    there = server.empty()
    back = str(tmp_path / "back.db")
    restore(filled, there)
    restore(there, back)
    assert _whole(filled) == _whole(there) == _whole(back)
    with pytest.raises(NoAnswer, match="there is a database already"):
        restore(filled, back)


@pytest.mark.parametrize(
    ("change", "says"),
    [
        (lambda lines: lines[1:], "expected an archive's first line"),
        (lambda lines: lines[:-1], "ends in the middle"),
        (lambda lines: [*lines[:3], *lines[4:]], "commits to"),
        (lambda lines: [*lines[:-2], lines[-1]], "not those of the tree head"),
        (
            lambda lines: [line for line in lines if '"id":"e1"' not in line],
            "expected event number|they were changed",
        ),
        (lambda lines: [line.replace('"by":"ada"', '"by":"eve"') for line in lines], "they were changed"),
        (lambda lines: [line.replace('"part":"box"', '"part":"hand"') for line in lines], "commits to"),
        (lambda lines: ["nonsense\n"], "not one of an archive"),
        (lambda lines: [], "ends in the middle"),
    ],
)
def test_a_changed_archive_is_refused(filled: str, tmp_path: Path, change, says: str) -> None:
    """An archive with a line changed, added or missing makes no journal, and the line is named."""
    lines = change(_whole(filled)[0])
    target = tmp_path / "restored.db"
    with pytest.raises(BadInput, match=says):
        read_archive(lines, str(target))
    assert not target.exists()


def test_every_line_of_an_archive_is_json(filled: str) -> None:
    """An archive is JSON Lines: one object a line, and the last line a tree head."""
    records = [json.loads(line) for line in _whole(filled)[0]]
    assert records[0] == {"cfgtrack": "archive", "version": 1}
    assert set(records[-1]) == {"head"}


def test_a_lost_cache_is_rebuilt_to_the_same_bytes(filled: str) -> None:
    """Whatever happens to the derived state, the journal gives it back as it was."""
    before = _whole(filled)
    with closing(Database(filled)) as database:
        database.execute("DELETE FROM touch")
        database.execute("UPDATE change SET value = 'lost'")
    rebuild(filled)
    assert _whole(filled) == before


def test_migrating_a_current_journal_changes_nothing(filled: str, tmp_path: Path) -> None:
    """Migration is harmless where it isn't needed, and makes no journal where there is none."""
    before = _whole(filled)
    assert migrate(filled) == (REVISIONS[-1], REVISIONS[-1])
    assert _whole(filled) == before
    empty = tmp_path / "empty.db"
    empty.touch()
    with pytest.raises(NoAnswer, match="this database holds no journal"):
        migrate(str(empty))


def _tables(url: str) -> dict[str, list[object]]:
    """Return every row of every table, whatever its schema is said to be."""
    with closing(Database(url)) as database:
        tables = ("alembic_version", "event", "item", "tree_head", "touch", "change")
        return {table: sorted(database.rows(f"SELECT * FROM {table}"), key=repr) for table in tables}


def test_a_newer_journal_is_not_migrated(filled: str) -> None:
    """A journal of a newer program is refused, with what to do, and no row of it is changed."""
    with closing(Database(filled)) as database:
        database.execute("UPDATE alembic_version SET version_num = '9999'")
    before = _tables(filled)
    assert before["event"]
    with pytest.raises(
        NoAnswer, match=r"schema is 9999, newer than this program's .*: install a newer cfgtrack"
    ):
        migrate(filled)
    assert _tables(filled) == before


@pytest.mark.parametrize("says", REVISIONS[:-1])
def test_tables_that_are_newer_than_the_schema_says_are_not_migrated(says: str, filled: str) -> None:
    """A mark that was set back is refused as what it is; nothing is changed, and put right again all is well."""
    set_to = "UPDATE alembic_version SET version_num = '{}'".format
    with closing(Database(filled)) as database:
        with database.writing():
            database.execute(set_to(says))
        digest = state_digest(database)
    if says in ("0005", "0006") or (says == "0004" and not filled.startswith("postgresql")):
        # From there on no step changes a table, and on a server the last two can be done again: nothing is newer.
        migrate(filled)
        with closing(Database(filled)) as database:
            assert state_digest(database) == digest
            assert audit(database).faults == []
        return
    for _ in range(2):
        with pytest.raises(
            NoAnswer, match=f"says that its schema is {says}, and its tables are others"
        ) as told:
            migrate(filled)
        assert "restore the last backup" in str(told.value)
    with closing(Database(filled)) as database:
        assert state_digest(database) == digest
        with database.writing():
            database.execute(set_to(REVISIONS[-1]))
        assert audit(database).faults == []


def test_what_is_no_journal_is_not_migrated(tmp_path: Path) -> None:
    """A database with something else in it is refused and left as it was."""
    path = tmp_path / "other.db"
    with closing(sqlite3.connect(path)) as other:
        other.execute("CREATE TABLE recipe (name TEXT)")
    before = path.read_bytes()
    with pytest.raises(NoAnswer, match="this database holds something else"):
        migrate(str(path))
    assert path.read_bytes() == before


class _Full:
    """A connection to a file for which there is no room when it is brought into one piece."""

    def __init__(self, raw: sqlite3.Connection) -> None:
        self._raw = raw

    def __getattr__(self, name: str) -> object:
        return getattr(self._raw, name)

    def execute(self, sql: str, *rest: object) -> sqlite3.Cursor:
        if sql == "PRAGMA journal_mode = DELETE":
            err = sqlite3.OperationalError("database or disk is full")
            err.sqlite_errorname = "SQLITE_FULL"
            raise err
        return self._raw.execute(sql, *rest)  # type: ignore[arg-type]


def test_a_copy_that_finds_no_room_at_its_first_page(sqlite_url: str, tmp_path: Path, monkeypatch) -> None:
    """However early there is no room, it is said of the copy, and nothing is left of it."""

    class Filling(Database):
        def _set_up(self, *, create: bool) -> None:
            super()._set_up(create=create)
            self.raw = _Full(self.raw)

    monkeypatch.setattr("cfgtrack.store.upkeep.Database", Filling)
    target = tmp_path / "copies" / "copy.db"
    target.parent.mkdir()
    with pytest.raises(NoAnswer) as caught:
        backup(Asking(sqlite_url), target)
    assert [(one.where, one.code) for one in caught.value.problems] == [(str(target), "disk-full")]
    assert list(target.parent.iterdir()) == []


def test_a_line_of_an_archive_without_an_end_is_not_read_to_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What never ends a line is refused at the first that is too long, and no database is left of it."""
    monkeypatch.setattr("cfgtrack.store.archive.MOST_LINE", 100_000)
    with Path("/dev/zero").open("rb") as endless, pytest.raises(BadInput) as raised:
        read_archive(Source(endless, "endless"), str(tmp_path / "new.db"))
    assert [one.code for one in raised.value.problems] == ["too-large"]
    assert not (tmp_path / "new.db").exists()
