"""What can be wrong with a database: said in words, with what to do, no SQL, and nothing changed."""

import os
import resource
import shutil
import sqlite3
import subprocess
import sys
import tempfile
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest

from cfgtrack.model.action import Action
from cfgtrack.model.trouble import NoAnswer
from cfgtrack.store.columns import REVISIONS
from cfgtrack.store.database import Database
from cfgtrack.store.journal import open_journal
from tests.store.world import DEFINITION, START


def _open(url: str, **more: Any) -> None:
    with open_journal(url, clock=lambda: START, **more) as journal:
        journal.record([Action("e1", "remark", ("X",), START, remark="x")])


def test_no_such_file(tmp_path: Path) -> None:
    """A missing file is not made by a mere question."""
    with pytest.raises(NoAnswer, match="there is no such file"):
        _open(str(tmp_path / "none.db"))
    assert list(tmp_path.iterdir()) == []


def test_a_folder_is_no_database(tmp_path: Path) -> None:
    """A folder given as a database is said to be no file."""
    with pytest.raises(NoAnswer, match="this is not a file"):
        _open(str(tmp_path))


def test_a_missing_folder_is_said(tmp_path: Path) -> None:
    """A new database in a folder that doesn't exist can't be opened, and the message says where to look."""
    with pytest.raises(NoAnswer, match="does its folder exist"):
        _open(str(tmp_path / "none" / "new.db"), must_exist=False)


@pytest.mark.parametrize("must_exist", [True, False])
def test_another_kind_of_file_is_left_alone(tmp_path: Path, must_exist: bool) -> None:
    """A text file is no database, and isn't made one."""
    path = tmp_path / "notes.txt"
    path.write_text(
        "a text that is long enough to be read as the header of a database file, and then some more\n" * 9
    )
    before = path.read_bytes()
    with pytest.raises(NoAnswer, match="this file is not a database"):
        _open(str(path), must_exist=must_exist)
    assert path.read_bytes() == before


@pytest.mark.parametrize("must_exist", [True, False])
def test_somebody_elses_database_is_left_alone(tmp_path: Path, must_exist: bool) -> None:
    """A database without a journal is told apart from an old one, and no table is added to it."""
    path = tmp_path / "other.db"
    with closing(sqlite3.connect(path)) as other:
        other.execute("CREATE TABLE recipe (name TEXT)")
    with pytest.raises(NoAnswer, match="this database holds no journal"):
        _open(str(path), must_exist=must_exist)
    with closing(sqlite3.connect(path)) as other:
        assert other.execute("SELECT name FROM sqlite_master").fetchall() == [("recipe",)]


@pytest.mark.parametrize("url", ["mysql://host/db", "nonsense://", "://"])
def test_an_unknown_kind_of_database_is_said(url: str) -> None:
    """Only files, SQLite and PostgreSQL are known."""
    with pytest.raises(NoAnswer, match="expected a file, or a URL"):
        _open(url)


def test_a_server_that_does_not_answer_is_said() -> None:
    """No server at the address: that is what is said."""
    with pytest.raises(NoAnswer, match="the database server doesn't answer"):
        _open("postgresql://nobody@127.0.0.1:9/none")


def test_an_empty_database_of_a_server_holds_no_journal(server) -> None:
    """A PostgreSQL database without tables holds no journal until one is made."""
    url = server.empty()
    with pytest.raises(NoAnswer, match="this database holds no journal"):
        _open(url)
    with open_journal(url, clock=lambda: START, must_exist=False) as journal:
        assert journal.moment(at=1) == (1, 0)


def test_a_missing_database_of_a_server_is_said(server) -> None:
    """A server without that database says so."""
    with pytest.raises(NoAnswer, match="the server has no such database"):
        _open(server.fresh().replace("/j", "/none"))


def _with_revision(url: str, revision: str) -> None:
    with closing(Database(url)) as database:
        database.execute("UPDATE alembic_version SET version_num = :r", {"r": revision})


def test_a_newer_schema_is_refused(url: str) -> None:
    """A journal of a newer program is left alone, and the message says to install that."""
    _with_revision(url, "9999")
    with pytest.raises(NoAnswer, match=r"newer than this program's .*: install a newer cfgtrack"):
        _open(url)


def test_an_older_schema_is_refused(url: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """A journal of an older program is left alone until it is migrated, and the message says how."""
    monkeypatch.setattr("cfgtrack.store.migrations.REVISIONS", (*REVISIONS, "9999"))
    with pytest.raises(NoAnswer, match="run `cfgtrack migrate` once"):
        _open(url)


def test_a_locked_database_is_said_to_be_locked(sqlite_url: str) -> None:
    """Who waits in vain for another writer is told so; who reads needn't wait."""
    with closing(sqlite3.connect(sqlite_url, isolation_level=None)) as other:
        other.execute("BEGIN IMMEDIATE")
        with open_journal(sqlite_url, clock=lambda: START, wait=0.05) as journal:
            assert list(journal.log()) == []
            with pytest.raises(NoAnswer, match="the database is locked by another writer"):
                journal.record([Action("e1", "begin", (), START, outing="o")])
        other.execute("ROLLBACK")


def test_a_writer_on_a_server_waits_so_long_and_no_longer(server) -> None:
    """PostgreSQL's writers take turns; one whose turn doesn't come is told."""
    url = server.fresh()
    with (
        open_journal(url, clock=lambda: START) as first,
        open_journal(url, clock=lambda: START, wait=0.1) as second,
    ):
        with (
            first.database.writing(),
            pytest.raises(NoAnswer, match="the database is locked by another writer"),
        ):
            second.record([Action("e1", "begin", (), START, outing="o")])
        second.record([Action("e1", "begin", (), START, outing="o")])
        assert first.entry("e1") is not None


def test_read_only_refuses_to_write(url: str) -> None:
    """A journal opened for reading answers, and can't be written by mistake."""
    with open_journal(url, clock=lambda: START, read_only=True) as journal:
        assert not journal.plant().units
        with pytest.raises(NoAnswer, match="can't be written"):
            journal.record([Action("e1", "begin", (), START, outing="o")])


def test_a_file_that_may_not_be_written_is_said(pattern: Path) -> None:
    """A file without write permission is said to be read-only when somebody tries to record, and isn't changed."""
    with tempfile.TemporaryDirectory() as name:
        folder, path = Path(name), Path(name) / "journal.db"
        shutil.copy(pattern, path)
        before = path.read_bytes()
        path.chmod(0o444)
        folder.chmod(0o555)
        child = os.fork()
        if child == 0:
            # Root may write what it likes; nobody may not.
            status = 1
            try:
                if os.geteuid() == 0:
                    os.seteuid(65534)
                _open(str(path))
            except NoAnswer as trouble:
                status = 0 if "can't be" in str(trouble) else 2
            finally:
                os._exit(status)
        assert os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]) == 0
        assert path.read_bytes() == before
        folder.chmod(0o755)


_FILL = """
import sys
from cfgtrack.model.action import Action
from cfgtrack.model.trouble import NoAnswer
from cfgtrack.store.journal import open_journal
import resource, signal
with open_journal(sys.argv[1], clock=lambda: 0) as journal:
    signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    resource.setrlimit(resource.RLIMIT_FSIZE, (400_000, 400_000))
    n = 0
    try:
        while True:
            journal.record([Action(f"{n}-{i}", "remark", ("X",), n, remark="x" * 200) for i in range(50)])
            n += 1
            print(n, flush=True)
    except NoAnswer as trouble:
        print(trouble, file=sys.stderr)
"""


def test_a_full_disk_loses_nothing_acknowledged(sqlite_url: str) -> None:
    """When the file can't grow any more it is said; what was acknowledged is there, nothing half of the rest."""
    with open_journal(sqlite_url, clock=lambda: START) as journal:
        journal.load(DEFINITION, by=None, recorder=None)
    assert resource.getrlimit(resource.RLIMIT_FSIZE)
    done = subprocess.run(
        [sys.executable, "-c", _FILL, sqlite_url], capture_output=True, text=True, check=False
    )
    assert "Traceback" not in done.stderr, done.stderr
    assert "nothing of this was recorded" in done.stderr
    acknowledged = int(done.stdout.split()[-1])
    with open_journal(sqlite_url, clock=lambda: START) as journal:
        remarks = [line for line in journal.log() if line.entry.event.action == "remark"]
        assert len(remarks) == 50 * acknowledged


def test_a_damaged_file_is_said_to_be_damaged(sqlite_url: str, tmp_path: Path) -> None:
    """A question that meets a damaged page says so, and what to do."""
    with open_journal(sqlite_url, clock=lambda: START) as journal:
        journal.load(DEFINITION, by=None, recorder=None)
        journal.database.rows("PRAGMA wal_checkpoint(TRUNCATE)")
        [(root,)] = journal.database.rows("SELECT rootpage FROM sqlite_master WHERE name = 'event'")
    damaged = tmp_path / "damaged.db"
    shutil.copy(sqlite_url, damaged)
    with damaged.open("r+b") as file:
        file.seek((root - 1) * 4096)
        file.write(b"\xff" * 4096)
    with pytest.raises(NoAnswer, match="the file is damaged: keep a copy of the file"):
        _open(str(damaged))


def test_a_nul_is_not_taken_for_a_server_that_is_gone(url: str) -> None:
    """Asked for what no name can be, a journal says that there is no such thing, or that nothing is named so."""
    with open_journal(url, clock=lambda: START, read_only=True) as journal:
        if journal.database.is_file:
            assert journal.entry("a\0b") is None
        else:
            with pytest.raises(NoAnswer, match="keeps no text with a NUL"):
                journal.entry("a\0b")
