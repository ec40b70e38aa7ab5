"""The journal, the definition items, the tree heads, and the two derived tables.

Revision 0001, the first.
"""

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None

_NUMBER = sa.BigInteger().with_variant(sa.Integer(), "sqlite")
_ID = sa.String().with_variant(sa.String(collation="C"), "postgresql")
_KEPT = ("event", "item", "tree_head")


def upgrade() -> None:
    _recorded()
    _derived()
    if op.get_bind().dialect.name == "sqlite":
        _append_only_sqlite()
        op.execute(f"PRAGMA application_id = {0x63666774}")
    else:
        _append_only_postgresql()


def downgrade() -> None:
    raise NotImplementedError("a journal is never taken back to an older schema: restore a backup instead")


def _recorded() -> None:
    op.create_table(
        "event",
        sa.Column("number", _NUMBER, primary_key=True, autoincrement=False),
        sa.Column("id", _ID, nullable=False, unique=True),
        sa.Column("happened", sa.BigInteger, nullable=False),
        sa.Column("known", sa.BigInteger, nullable=False, unique=True),
        sa.Column("turn", sa.BigInteger, nullable=False),
        sa.Column("action", _ID, nullable=False),
        sa.Column("corrects", sa.BigInteger, unique=True),
        sa.Column("body", sa.String, nullable=False),
        sa.Column("leaf", sa.LargeBinary, nullable=False),
    )
    op.create_index("event_in_order", "event", ["happened", "turn", "number"])
    op.create_index("event_of_action", "event", ["action", "happened"])
    op.create_table(
        "item",
        sa.Column("sort", _ID, primary_key=True),
        sa.Column("id", _ID, primary_key=True),
        sa.Column("load", _NUMBER, sa.ForeignKey("event.number"), primary_key=True),
        sa.Column("body", sa.String),
        sqlite_with_rowid=False,
    )
    op.create_table(
        "tree_head",
        sa.Column("number", _NUMBER, sa.ForeignKey("event.number"), primary_key=True, autoincrement=False),
        sa.Column("known", sa.BigInteger, nullable=False),
        sa.Column("root", sa.LargeBinary, nullable=False),
        sa.Column("frontier", sa.LargeBinary, nullable=False),
    )


def _derived() -> None:
    op.create_table(
        "touch",
        sa.Column("owner", _ID, primary_key=True),
        sa.Column("happened", sa.BigInteger, primary_key=True),
        sa.Column("number", _NUMBER, primary_key=True),
        sqlite_with_rowid=False,
    )
    op.create_table(
        "change",
        sa.Column("subject", _ID, primary_key=True),
        sa.Column("aspect", _ID, primary_key=True),
        sa.Column("happened", sa.BigInteger, primary_key=True),
        sa.Column("turn", sa.BigInteger, primary_key=True),
        sa.Column("number", _NUMBER, primary_key=True),
        sa.Column("known", sa.BigInteger, nullable=False),
        sa.Column("until", sa.BigInteger, nullable=False),
        sa.Column("value", _ID, nullable=False),
        sa.Column("other", _ID),
        sa.Column("cycle", sa.Integer, nullable=False),
        sqlite_with_rowid=False,
    )
    at_place = sa.text("aspect = '@'")
    op.create_index(
        "change_of_place", "change", ["value", "subject"], sqlite_where=at_place, postgresql_where=at_place
    )


def _append_only_sqlite() -> None:
    for table in _KEPT:
        for verb in ("UPDATE", "DELETE"):
            op.execute(
                f"CREATE TRIGGER {table}_no_{verb.lower()} BEFORE {verb} ON {table} "
                "BEGIN SELECT RAISE(ABORT, 'the journal is append-only'); END"
            )
    # INSERT OR REPLACE deletes without a word where recursive_triggers is off, as it is by default. Every
    # connection of ours sets it; these two hold for others too. The same on `event` would double the cost of
    # recording in bulk: there, what another program replaced is found by the audit.
    op.execute(
        "CREATE TRIGGER item_comes_new BEFORE INSERT ON item WHEN EXISTS"
        " (SELECT 1 FROM item WHERE sort = NEW.sort AND id = NEW.id AND load = NEW.load)"
        " BEGIN SELECT RAISE(ABORT, 'the journal is append-only'); END"
    )
    op.execute(
        "CREATE TRIGGER tree_head_comes_last BEFORE INSERT ON tree_head WHEN NEW.number <="
        " (SELECT max(number) FROM tree_head)"
        " BEGIN SELECT RAISE(ABORT, 'the journal is append-only'); END"
    )


def _append_only_postgresql() -> None:
    op.execute(
        "CREATE FUNCTION append_only() RETURNS trigger LANGUAGE plpgsql AS "
        "$$ BEGIN RAISE EXCEPTION 'the journal is append-only'; END $$"
    )
    for table in _KEPT:
        op.execute(
            f"CREATE TRIGGER {table}_append_only BEFORE UPDATE OR DELETE OR TRUNCATE ON {table} "
            "FOR EACH STATEMENT EXECUTE FUNCTION append_only()"
        )
