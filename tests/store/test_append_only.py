"""The database itself refuses to change what was recorded."""

import pytest

from cfgtrack.store.database import Database
from cfgtrack.store.journal import open_journal
from tests.store.world import DEFINITION

KEPT = ("event", "item", "tree_head")


@pytest.fixture
def database(url: str) -> Database:
    """A database with a plant in its journal."""
    with open_journal(url, clock=lambda: 0) as journal:
        journal.load(DEFINITION, by=None, recorder=None)
    return Database(url)


@pytest.mark.parametrize("table", KEPT)
@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE {table} SET {column} = {column}",
        "DELETE FROM {table}",
        "DELETE FROM {table} WHERE {column} > 0",
    ],
)
def test_neither_update_nor_delete_gets_through(database: Database, table: str, statement: str) -> None:
    """Whatever table of the journal is changed or emptied by hand: refused, and everything is still there."""
    column = "load" if table == "item" else "number"
    before = database.rows(f"SELECT count(*) FROM {table}")
    with pytest.raises(Exception, match="append-only"):
        database.raw.execute(statement.format(table=table, column=column))
    assert database.rows(f"SELECT count(*) FROM {table}") == before
    database.close()


@pytest.mark.parametrize("table", KEPT)
def test_insert_or_replace_does_not_get_through(sqlite_url: str, table: str) -> None:
    """SQLite's INSERT OR REPLACE, which deletes before it inserts, is refused as well."""
    with open_journal(sqlite_url, clock=lambda: 0) as journal:
        journal.load(DEFINITION, by=None, recorder=None)
        with pytest.raises(Exception, match="append-only"):
            journal.database.raw.execute(f"INSERT OR REPLACE INTO {table} SELECT * FROM {table}")


@pytest.mark.parametrize("table", KEPT)
def test_truncate_does_not_get_through(server, table: str) -> None:
    """PostgreSQL's TRUNCATE, which fires no row trigger, is refused as well."""
    database = Database(server.fresh())
    with pytest.raises(Exception, match="append-only"):
        database.raw.execute(f"TRUNCATE {table} CASCADE")
    database.close()
