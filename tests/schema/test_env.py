"""What schema/env.py and its template promise, on migrations made for the occasion."""

import shutil
from pathlib import Path

import pytest
from alembic import command
from alembic.config import Config
from alembic.script import Script, ScriptDirectory
from alembic.util import CommandError
from sqlalchemy import Connection, create_engine, event, inspect
from sqlalchemy.pool import NullPool

SCHEMA = Path(__file__).parents[2] / "schema"


@pytest.fixture
def config(tmp_path: Path) -> Config:
    """A folder with the real environment and template, and one revision made from it that makes a table."""
    folder = tmp_path / "schema"
    (folder / "versions").mkdir(parents=True)
    for name in ("env.py", "script.py.mako"):
        shutil.copy(SCHEMA / name, folder / name)
    config = Config()
    config.set_main_option("script_location", str(folder))
    config.set_main_option("path_separator", "os")
    revise(config, "first", 'op.create_table("one", sa.Column("id", sa.Integer))')
    return config


def revise(config: Config, title: str, upgrade: str) -> None:
    """Add a revision from the template, and give it something to do."""
    script = command.revision(config, title)
    assert isinstance(script, Script)
    path = Path(script.path)
    path.write_text(path.read_text().replace("pass", upgrade, 1))


@pytest.fixture
def connection(tmp_path: Path):
    """A connection to an empty SQLite file that begins its transactions itself, as the store's do."""
    engine = create_engine(f"sqlite:///{tmp_path}/journal.db", poolclass=NullPool)

    @event.listens_for(engine, "connect")
    def _leave_transactions_alone(opened, _record):
        opened.isolation_level = None

    @event.listens_for(engine, "begin")
    def _begin(begun):
        begun.exec_driver_sql("BEGIN IMMEDIATE")

    with engine.connect() as opened:
        yield opened


def test_needs_a_connection(config: Config) -> None:
    """Without a connection from its caller, a migration is refused: none goes round the store's settings."""
    with pytest.raises(CommandError, match="through cfgtrack"):
        command.upgrade(config, "head")


def test_upgrade(config: Config, connection: Connection) -> None:
    """An upgrade on the caller's connection reaches the newest revision, and is committed."""
    config.attributes["connection"] = connection
    command.upgrade(config, "head")
    assert not connection.in_transaction()
    assert set(inspect(connection).get_table_names()) == {"alembic_version", "one"}
    head = ScriptDirectory.from_config(config).get_current_head()
    assert connection.exec_driver_sql("SELECT version_num FROM alembic_version").scalar() == head


def test_failed_upgrade_leaves_nothing(config: Config, connection: Connection) -> None:
    """When a later revision fails, the earlier ones of the same upgrade are undone, tables and all."""
    revise(config, "second", 'op.execute("no such statement")')
    config.attributes["connection"] = connection
    with pytest.raises(Exception, match="syntax error"):
        command.upgrade(config, "head")
    connection.rollback()
    assert inspect(connection).get_table_names() == []


def test_callers_transaction_is_left_open(config: Config, connection: Connection) -> None:
    """Inside the caller's transaction an upgrade commits nothing: the caller may still take it all back."""
    config.attributes["connection"] = connection
    with connection.begin() as transaction:
        command.upgrade(config, "head")
        assert transaction.is_active
        transaction.rollback()
    assert inspect(connection).get_table_names() == []
