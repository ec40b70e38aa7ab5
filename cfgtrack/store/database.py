"""One open database: its connection and settings, one way to ask, one way to write, and what can go wrong.

SQL elsewhere in the store is written with ``:name`` parameters and in the dialect that SQLite and PostgreSQL share.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from functools import lru_cache
from pathlib import Path
from typing import Any
from urllib.parse import quote

from sqlalchemy import Connection, NullPool, create_engine
from sqlalchemy.engine import URL, make_url
from sqlalchemy.exc import ArgumentError, NoSuchModuleError, SQLAlchemyError

from cfgtrack.model.trouble import NoAnswer, Problem
from cfgtrack.store.driver import trouble_of

Row = tuple[Any, ...]
Parameters = Mapping[str, Any] | Sequence[Any]

WAIT = 30.0
"""How long a writer waits for its turn before it gives up, seconds."""

_WRITERS_LOCK = 0x63666774
"""PostgreSQL's advisory lock that writers take in turn. One lock, so no two writers can wait for each other."""


def location(url: str) -> URL:
    """Return the SQLAlchemy URL that `url` stands for: a file path, or a URL with `sqlite` or `postgresql`.

    NoAnswer for any other kind of database.
    """
    if "://" not in url:
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


def spared(url: str) -> dict[str, Path | int]:
    """Return the file that holds the database at `url`, by what it is: no output goes there. Nothing on a server."""
    found = location(url)
    if found.get_backend_name() != "sqlite" or not found.database:
        return {}
    return {"the database, or belongs to it": Path(found.database)}


def place_of(database: Database) -> str:
    """Return where a database stands, by one name whichever way it was named: a path, or a URL without a password."""
    return str(Path(str(database.where)).resolve()) if database.is_file else str(database.where)


def _unknown(url: str) -> NoAnswer:
    sentence = "expected a file, or a URL that begins with sqlite:// or postgresql://"
    return NoAnswer(Problem(url, "no-database", sentence))


class Database:
    """An open connection. Every statement is complete in itself unless it stands inside `writing`."""

    def __init__(
        self, url: str, *, read_only: bool = False, create: bool = False, wait: float = WAIT
    ) -> None:
        self.url = location(url)
        self.where = self.url.database
        if not self.is_file:  # as the user knows it, without the password
            self.where = self.url.set(drivername="postgresql").render_as_string()
        self.read_only = read_only
        self.wait = wait
        if self.is_file:
            self._expect_file(create=create)
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
                path = quote(str(Path(url.database or "").absolute()))
                url = url.set(database=f"file:{path}?mode=ro").update_query_dict({"uri": "true"})
        try:
            engine = create_engine(
                url, poolclass=NullPool, connect_args=arguments, skip_autocommit_rollback=True
            )
            return engine.connect().execution_options(isolation_level="AUTOCOMMIT")
        except (SQLAlchemyError, NoSuchModuleError) as err:
            raise trouble_of(getattr(err, "orig", None) or err, str(self.where)) from err
        except ImportError as err:
            sentence = "PostgreSQL needs its driver: install cfgtrack[postgres]"
            raise NoAnswer(Problem(str(self.where), "no-driver", sentence)) from err

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
        """Give the connection back. Safe to call twice."""
        self.connection.close()
        self.connection.engine.dispose()

    # --- asking ---------------------------------------------------------------------------------------------

    def rows(self, sql: str, parameters: Parameters = ()) -> list[Row]:
        """Return all rows of a question."""
        try:
            found: list[Row] = self.raw.execute(self.spelled(sql), parameters).fetchall()
        except self._errors as err:
            raise trouble_of(err, str(self.where)) from err
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
            raise trouble_of(err, str(self.where)) from err

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
            self.execute("ROLLBACK TO SAVEPOINT attempt")
            raise
        finally:
            self.execute("RELEASE SAVEPOINT attempt")

    def insert(self, table: str, columns: Sequence[str], rows: Sequence[Row]) -> None:
        """Insert many rows at once, the values in the order of `columns`."""
        if not rows:
            return
        names = ", ".join(columns)
        try:
            if self.is_file or len(rows) < 20:
                marks = ", ".join(["?" if self.is_file else "%s"] * len(columns))
                self.raw.cursor().executemany(f"INSERT INTO {table} ({names}) VALUES ({marks})", rows)  # noqa: S608
                return
            with self.raw.cursor().copy(f"COPY {table} ({names}) FROM STDIN") as copy:
                for row in rows:
                    copy.write_row(row)
        except self._errors as err:
            raise trouble_of(err, str(self.where)) from err

    @contextmanager
    def trouble(self) -> Iterator[None]:
        """Turn the driver's errors into ours."""
        try:
            yield
        except self._errors as err:
            raise trouble_of(err, str(self.where)) from err
        except SQLAlchemyError as err:
            raise trouble_of(getattr(err, "orig", None) or err, str(self.where)) from err


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
