"""One open database: its connection and settings, one way to ask, one way to write, and what can go wrong.

SQL elsewhere in the store is written with ``:name`` parameters and in the dialect that SQLite and PostgreSQL share.
"""

from __future__ import annotations

import os
import re
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from functools import cached_property, lru_cache
from pathlib import Path
from typing import Any
from urllib.parse import quote

from sqlalchemy import Connection, NullPool, create_engine
from sqlalchemy.engine import URL, make_url
from sqlalchemy.exc import ArgumentError, NoSuchModuleError, SQLAlchemyError

from cfgtrack.model.password import without_passwords
from cfgtrack.model.trouble import NoAnswer, Problem
from cfgtrack.store.driver import in_full, trouble_of
from cfgtrack.store.sealed import Sealed, has_room

Row = tuple[Any, ...]
Parameters = Mapping[str, Any] | Sequence[Any]

WAIT = 30.0
"""How long a writer waits for its turn before it gives up, seconds."""

OWNER_ALONE = 0o600
"""Who may read and write a new journal. SQLite gives what it puts beside it the same."""

_LEFT_OVER = ("-wal", "-journal")
"""Where SQLite keeps what is not in the database's own file yet, by the end of its name."""

_MISTYPED = re.compile(
    r"(?:postgres(?:ql)?|mysql|mariadb)(?:\+\w+)?:|(?:\w+\s*=\s*\S+\s+)*(?:password|host|dbname|user)\s*=",
    re.IGNORECASE,
)
"""A server's address that lacks its form: no file is made of that name."""

_WRITERS_LOCK = 0x63666774
"""PostgreSQL's advisory lock that writers take in turn. One lock, so no two writers can wait for each other."""


def location(url: str) -> URL:
    """Return the SQLAlchemy URL that `url` stands for: a file path, or a URL with `sqlite` or `postgresql`.

    NoAnswer for any other kind of database.
    """
    if "://" not in url:
        if _MISTYPED.match(url):
            raise _unknown(url)
        return URL.create("sqlite", database=url)
    try:
        found = make_url(url)
    except (ArgumentError, ValueError):  # a port that is no number is a ValueError
        raise _unknown(url) from None
    name = found.get_backend_name()
    if name == "sqlite":
        return found.set(drivername="sqlite")
    if name in ("postgresql", "postgres"):
        return found.set(drivername="postgresql+psycopg")
    raise _unknown(url)


def named(url: str) -> str:
    """Return a database's address as it may be shown: without the password, wherever in it that stands."""
    return _shown(location(url))


def _shown(found: URL) -> str:
    if found.get_backend_name() == "sqlite":
        return without_passwords(found.database or "")
    return without_passwords(found.set(drivername="postgresql").render_as_string())


def file_of(url: str) -> Path | None:
    """Return the file that holds the database at `url`, None on a server, or where no file is named."""
    found = location(url)
    if found.get_backend_name() != "sqlite" or found.database in (None, "", ":memory:"):
        return None
    return Path(found.database or "")


def spared(url: str) -> dict[str, Path | int]:
    """Return the file that holds the database at `url`, by what it is: no output goes there. Nothing on a server."""
    found = file_of(url)
    return {} if found is None else {"the database, or belongs to it": found}


def expect_nothing_left_of(path: Path) -> None:
    """Raise NoAnswer where a database that isn't there any more left its last events behind.

    SQLite would drop them, or play them into whatever comes to be called so.
    """
    for suffix in _LEFT_OVER:
        left = Path(os.path.realpath(path) + suffix)
        if left.exists() and left.stat().st_size and not path.exists():
            sentence = (
                "this is left of a database that isn't there any more, and may hold its last events:"
                " move it to where it is kept, then do this again"
            )
            raise NoAnswer(Problem(str(left), "left-over", sentence))


def place_of(database: Database) -> str:
    """Return where a database stands, by one name whichever way it was named: a path, or a URL without a password."""
    return str(Path(str(database.where)).resolve()) if database.is_file else str(database.where)


def _unknown(url: str) -> NoAnswer:
    sentence = "expected a file, or a URL that begins with sqlite:// or postgresql://"
    return NoAnswer(Problem(without_passwords(url), "no-database", sentence))


class Database:
    """An open connection. Every statement is complete in itself unless it stands inside `writing`.

    Trouble names it `where`: as the user knows it, without the password, unless something else is said.
    """

    def __init__(
        self,
        url: str,
        *,
        read_only: bool = False,
        create: bool = False,
        wait: float = WAIT,
        where: str | None = None,
    ) -> None:
        self.url = location(url)
        self.where = where or _shown(self.url)
        self.read_only = read_only
        self.wait = wait
        if self.is_file:
            self._expect_file(create=create)
        self._sealed: Sealed | None = None
        self.connection = self._connected()
        self.raw: Any = self.connection.connection.driver_connection
        self._errors = _errors(self.url)
        with self.trouble():
            self._set_up(create=create)

    @property
    def is_file(self) -> bool:
        """Whether this is SQLite."""
        return self.url.get_backend_name() == "sqlite"

    def _expect_file(self, *, create: bool) -> None:
        # A journal in memory would be gone with the command that acknowledged what it recorded.
        if self.url.database in (None, "", ":memory:"):
            raise NoAnswer(Problem("database", "no-database", "expected the name of a file, found none"))
        path = Path(self.url.database or "")
        if create:
            _make(path)
            return
        if not path.exists():
            sentence = (
                "there is no such file; `cfgtrack load FILE` makes it, --db or CFGTRACK_DB names another"
            )
            raise NoAnswer(Problem(str(path), "no-database", sentence))
        if not path.is_file():
            raise NoAnswer(Problem(str(path), "no-database", "this is not a file"))

    def _connected(self) -> Connection:
        arguments: dict[str, Any] = {}
        url = self.url
        if self.is_file:
            arguments = {"timeout": self.wait, "check_same_thread": False}
            if self.read_only:
                path = Path(url.database or "").absolute()
                sealed = Sealed.found(path)
                if sealed is not None:
                    self._sealed, path = sealed, sealed.readable
                mode = "mode=ro" if sealed is None else "mode=ro&immutable=1"
                url = url.set(database=f"file:{quote(str(path))}?{mode}").update_query_dict({"uri": "true"})
        try:
            engine = create_engine(
                url, poolclass=NullPool, connect_args=arguments, skip_autocommit_rollback=True
            )
            return engine.connect().execution_options(isolation_level="AUTOCOMMIT")
        except (SQLAlchemyError, NoSuchModuleError) as err:
            raise self._said(getattr(err, "orig", None) or err) from err
        except ImportError as err:
            sentence = "PostgreSQL needs its driver: install cfgtrack[postgres]"
            raise NoAnswer(Problem(self.where, "no-driver", sentence)) from err

    def _set_up(self, *, create: bool) -> None:
        if self.is_file:
            if create:
                self.execute("PRAGMA journal_mode = WAL")
            for setting in _SETTINGS:
                self.execute(f"PRAGMA {setting}")
        elif self.read_only:
            self.execute("SET default_transaction_read_only = on")
        else:
            self.execute(f"SET lock_timeout = {int(self.wait * 1000)}")

    def close(self) -> None:
        """Give the connection back. Safe to call twice. NoAnswer when what was read has been written meanwhile."""
        self.connection.close()
        self.connection.engine.dispose()
        if self._sealed is not None:
            sealed, self._sealed = self._sealed, None
            sealed.close()

    @property
    def errors(self) -> tuple[type[Exception], ...]:
        """What the driver raises for trouble that has no name: a bug, or tables that aren't as they were made."""
        return self._errors

    @property
    def doubled(self) -> type[Exception]:
        """What the driver raises for a row that is there already."""
        if self.is_file:
            import sqlite3

            return sqlite3.IntegrityError
        import psycopg

        return psycopg.errors.UniqueViolation

    @cached_property
    def _session(self) -> tuple[str, bool]:
        row = self.row(
            "SELECT session_user::text,"
            " to_regclass('event') IS NOT NULL AND row_security_active(to_regclass('event')::oid)"
        )
        assert row is not None
        return str(row[0]), bool(row[1])

    @property
    def login(self) -> str | None:
        """What the server calls whoever asks; None for a file."""
        return None if self.is_file else self._session[0]

    @property
    def is_restricted(self) -> bool:
        """Whether the server itself judges what this user may read and write: he is not the owner of the tables."""
        return not self.is_file and self._session[1]

    # --- asking ---------------------------------------------------------------------------------------------

    def rows(self, sql: str, parameters: Parameters = ()) -> list[Row]:
        """Return all rows of a question."""
        try:
            found: list[Row] = self.raw.execute(self.spelled(sql), parameters).fetchall()
        except self._errors as err:
            raise self._said(err) from err
        return found

    def row(self, sql: str, parameters: Parameters = ()) -> Row | None:
        """Return the first row, or None when there is none."""
        found = self.rows(sql, parameters)
        return found[0] if found else None

    def execute(self, sql: str, parameters: Parameters = ()) -> None:
        """Run one statement that gives no rows."""
        try:
            self.raw.execute(self.spelled(sql), parameters)
        except self._errors as err:
            raise self._said(err) from err

    def spelled(self, sql: str) -> str:
        """Return `sql` as this database's driver wants it."""
        return sql if self.is_file else _for_psycopg(sql)

    # --- writing --------------------------------------------------------------------------------------------

    @contextmanager
    def writing(self, *, keep: bool = True) -> Iterator[None]:
        """Take the writers' turn, then keep everything or, after an exception or with `keep` false, nothing."""
        self.execute("BEGIN IMMEDIATE" if self.is_file else "BEGIN")
        kept = False
        try:
            if not self.is_file:
                self.execute(f"SELECT pg_advisory_xact_lock({_WRITERS_LOCK})")
            yield
            if keep:
                self.execute("COMMIT")
                kept = True
        finally:
            if not kept:
                # After some errors (a full disk, a lost connection) the database has rolled back already.
                with suppress(*self._errors):
                    self.raw.execute("ROLLBACK")

    @contextmanager
    def attempt(self) -> Iterator[None]:
        """Inside `writing`: keep what is done within, or nothing of it when an exception leaves."""
        self.execute("SAVEPOINT attempt")
        try:
            yield
        except BaseException:
            # After some errors (a full disk, a lost connection) the database has rolled all of it back already.
            with suppress(*self._errors):
                self.raw.execute("ROLLBACK TO SAVEPOINT attempt")
                self.raw.execute("RELEASE SAVEPOINT attempt")
            raise
        self.execute("RELEASE SAVEPOINT attempt")

    def insert(self, table: str, columns: Sequence[str], rows: Sequence[Row]) -> None:
        """Insert many rows at once, the values in the order of `columns`."""
        if not rows:
            return
        names = ", ".join(columns)
        try:
            # The server takes no COPY of whom it watches row by row.
            if self.is_file or len(rows) < 20 or self.is_restricted:
                marks = ", ".join(["?" if self.is_file else "%s"] * len(columns))
                self.raw.cursor().executemany(f"INSERT INTO {table} ({names}) VALUES ({marks})", rows)  # noqa: S608
                return
            with self.raw.cursor().copy(f"COPY {table} ({names}) FROM STDIN") as copy:
                for row in rows:
                    copy.write_row(row)
        except self._errors as err:
            raise self._said(err) from err

    def _said(self, err: BaseException) -> NoAnswer:
        """Return the trouble that a driver's error stands for."""
        trouble = trouble_of(err, self.where)
        if self.is_file and not has_room(Path(self.url.database or "").absolute().parent):
            return in_full(trouble)
        return trouble

    @contextmanager
    def trouble(self) -> Iterator[None]:
        """Turn the driver's errors into ours."""
        try:
            yield
        except self._errors as err:
            raise self._said(err) from err
        except SQLAlchemyError as err:
            raise self._said(getattr(err, "orig", None) or err) from err


def _make(path: Path) -> None:
    """Make the file of a new database, its owner's alone. Where that can't be done, SQLite says why."""
    if path.exists():
        return
    expect_nothing_left_of(path)
    with suppress(OSError):
        os.close(os.open(path, os.O_RDWR | os.O_CREAT | os.O_EXCL, OWNER_ALONE))


_SETTINGS = (
    "synchronous = FULL",
    "foreign_keys = ON",
    "recursive_triggers = ON",
    "cache_size = -65536",
    "temp_store = MEMORY",
)


def _errors(url: URL) -> tuple[type[Exception], ...]:
    if url.get_backend_name() == "sqlite":
        import sqlite3

        # What is no text where text should be is told by the one or by the other.
        return (sqlite3.Error, UnicodeDecodeError)
    import psycopg

    return (psycopg.Error,)


_NAME = re.compile(r"(?<!:):([a-z_][a-z0-9_]*)")


@lru_cache(maxsize=512)
def _for_psycopg(sql: str) -> str:
    return _NAME.sub(r"%(\1)s", sql.replace("%", "%%"))
