"""The schema: the migrations, the tables that the code knows, and every schema that was ever released."""

import json
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest
from alembic.autogenerate import compare_metadata
from alembic.config import Config
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory

from cfgtrack.folders import top_folder
from cfgtrack.model.codec import action_to_json
from cfgtrack.store.audit import audit
from cfgtrack.store.columns import REVISIONS
from cfgtrack.store.database import Database
from cfgtrack.store.guards import (
    COLUMNS,
    INDEXES,
    POSTGRESQL_TRIGGERS,
    SQLITE_TRIGGERS,
    wrong_guards,
    wrong_structure,
)
from cfgtrack.store.journal import open_journal
from cfgtrack.store.upkeep import migrate
from tests.store.tables import metadata
from tests.store.world import START

RELEASED = Path(__file__).parent / "released"


def test_the_program_knows_every_revision() -> None:
    """The revisions that the program names are those of the migrations, in their order."""
    config = Config()
    config.set_main_option("script_location", str(top_folder("schema")))
    config.set_main_option("path_separator", "os")
    scripts = ScriptDirectory.from_config(config)
    assert tuple(s.revision for s in scripts.walk_revisions())[::-1] == REVISIONS


def test_migrations_end_in_the_tables_that_are_written_down(url: str) -> None:
    """A migrated database differs in nothing from the tables that are written down apart."""
    with closing(Database(url)) as database:
        context = MigrationContext.configure(
            database.connection, opts={"compare_type": True, "compare_server_default": True}
        )
        assert compare_metadata(context, metadata) == []


def test_the_guards_are_those_that_the_migrations_made(url: str) -> None:
    """Alembic sees no triggers: what the audit compares with is what a migrated database has, and all of it."""
    with closing(Database(url)) as database:
        assert [*wrong_guards(database), *wrong_structure(database)] == []
        if database.is_file:
            rows = database.rows("SELECT name FROM sqlite_master WHERE type = 'trigger'")
            assert {n for (n,) in rows} == SQLITE_TRIGGERS.keys()
            assert database.rows("PRAGMA application_id") == [(int.from_bytes(b"cfgt"),)]
        else:
            rows = database.rows("SELECT tgname FROM pg_trigger WHERE NOT tgisinternal")
            assert {n for (n,) in rows} == POSTGRESQL_TRIGGERS.keys()


def test_the_tables_that_are_audited_are_those_that_are_written_down() -> None:
    """Columns, keys and indexes that the audit compares with are those of the tables that are written down apart."""
    tables = {str(t.name): t for t in metadata.sorted_tables if t.name != "alembic_version"}
    assert tables.keys() == COLUMNS.keys() - {"alembic_version"}
    for name, table in tables.items():
        assert COLUMNS[name] == " ".join(c.name + "!" * (not c.nullable) for c in table.columns)
    indexes = {i.name: (t.name, i) for t in tables.values() for i in t.indexes}
    named = {name: " ".join([of, *(c.name for c in index.columns)]) for name, (of, index) in indexes.items()}
    assert named == INDEXES


@pytest.mark.parametrize("revision", REVISIONS)
def test_every_released_schema_goes_forward(revision: str, tmp_path: Path) -> None:
    """A filled database of every released schema migrates, is sound, and answers what it answered then."""
    path = tmp_path / "old.db"
    with closing(sqlite3.connect(path)) as old:
        old.executescript((RELEASED / f"{revision}.sql").read_text())
    assert migrate(str(path)) == (revision, REVISIONS[-1])
    expected = json.loads((RELEASED / f"{revision}.json").read_text())
    assert answers(str(path)) == expected


def answers(url: str) -> list[object]:
    """Return what a journal answers at every `known` of its life, as JSON."""
    found: list[object] = []
    with open_journal(url, clock=lambda: START) as journal:
        assert audit(journal.database).faults == []
        for line in journal.log():
            known = line.entry.known
            configuration = journal.configuration(START + 100, known)
            found.append(
                {
                    "known": known,
                    "states": sorted([s, *state] for s, state in configuration.touched()),
                    "cycles": configuration.cycles,
                    "events": [action_to_json(e.event) for e in journal.entries(known=known)],
                    "rules": journal.rules(known),
                }
            )
    return json.loads(json.dumps(found))  # type: ignore[no-any-return]


def store_released(url: str) -> None:
    """Write a filled database of the present schema and its answers down, once, when the schema is released."""
    RELEASED.mkdir(exist_ok=True)
    name = RELEASED / REVISIONS[-1]
    name.with_suffix(".json").write_text(json.dumps(answers(url), indent=1, ensure_ascii=False) + "\n")
    with closing(sqlite3.connect(url)) as connection:
        name.with_suffix(".sql").write_text("\n".join(connection.iterdump()) + "\n")
