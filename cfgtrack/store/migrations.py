"""The schema's revisions: making a database current, and saying when it isn't.

Alembic is loaded only to change a schema. Whether one is current is read directly.
"""

from __future__ import annotations

from sqlalchemy.exc import SQLAlchemyError

from cfgtrack.folders import top_folder
from cfgtrack.model.trouble import NoAnswer, Problem
from cfgtrack.store.columns import REVISIONS
from cfgtrack.store.database import Database


def revision_of(database: Database) -> str | None:
    """Return the database's schema revision, or None when there is no journal in it."""
    if database.is_file:
        held = database.row("SELECT 1 FROM sqlite_master WHERE type = 'table' AND name = 'alembic_version'")
    else:
        held = database.row("SELECT 1 WHERE to_regclass('alembic_version') IS NOT NULL")
    if held is None:
        return None
    found = database.row("SELECT version_num FROM alembic_version")
    return None if found is None else str(found[0])


def is_empty(database: Database) -> bool:
    """Return whether the database has no table at all, so that a journal may be made in it."""
    if database.is_file:
        return database.row("SELECT 1 FROM sqlite_master") is None
    sql = "SELECT 1 FROM pg_tables WHERE schemaname = current_schema()"
    return database.row(sql) is None


def check_current(database: Database) -> None:
    """Do nothing when the schema is the one that this program works with; else NoAnswer, saying what to do."""
    found = revision_of(database)
    if found == REVISIONS[-1]:
        return
    where = database.where
    if found is None:
        raise NoAnswer(Problem(where, "not-a-journal", "this database holds no journal"))
    if found in REVISIONS:
        sentence = (
            f"its schema is {found}, this program works with {REVISIONS[-1]}: run `cfgtrack migrate` once"
        )
        raise NoAnswer(Problem(where, "old-schema", sentence))
    sentence = f"its schema is {found}, newer than this program's {REVISIONS[-1]}: install a newer cfgtrack"
    raise NoAnswer(Problem(where, "new-schema", sentence))


def upgrade(database: Database) -> tuple[str | None, str]:
    """Bring the schema forward to the newest revision, as a whole or not at all. Return the old and the new one.

    NoAnswer when it is newer than this program, or when there is something else in the database.
    """
    with database.writing():
        return bring_forward(database)


def bring_forward(database: Database) -> tuple[str | None, str]:
    """Do as `upgrade` does. Inside `Database.writing`, with whatever else is written there."""
    before = revision_of(database)
    if before is None and not is_empty(database):
        raise NoAnswer(Problem(database.where, "not-a-journal", "this database holds something else"))
    if before is not None and before not in REVISIONS:
        check_current(database)
    if before != REVISIONS[-1]:
        unnamed: tuple[type[Exception], ...] = (SQLAlchemyError, *database.errors)
        try:
            with database.trouble():
                _run(database)
        except unnamed as err:
            if before is None:
                raise
            raise NoAnswer(Problem(database.where, "structure", _other_tables(before, err))) from err
    return before, REVISIONS[-1]


def _other_tables(before: str, err: Exception) -> str:
    """Return why a step forward failed that is right for the tables of the revision that a database says it has."""
    said = str(getattr(err, "orig", None) or err).splitlines()[0]
    return (
        f"it says that its schema is {before}, and its tables are others ({said}): somebody changed one or the other."
        " Nothing was changed: keep a copy of it as it is, restore the last backup under another name, audit that, and"
        " record again what came after it"
    )


def _run(database: Database) -> None:
    from alembic import command
    from alembic.config import Config

    config = Config()
    config.set_main_option("script_location", str(top_folder("schema")).replace("%", "%%"))
    config.attributes["connection"] = database.connection
    database.connection.begin()
    try:
        command.upgrade(config, "head")
    finally:
        # In AUTOCOMMIT the driver does nothing here: the transaction is ours, see Database.writing.
        transaction = database.connection.get_transaction()
        assert transaction is not None
        transaction.close()
