"""The tables of the journal, written down apart from the migrations: as the newest of those must leave them.

What is recorded, and never changed again: `event`, `item` and `tree_head`. What is derived from it, and can be
dropped and rebuilt: `touch` and `change`, and of the rules `checkpoint` and `settled`.
"""

from __future__ import annotations

from sqlalchemy import (
    BigInteger,
    Column,
    ForeignKey,
    Index,
    Integer,
    LargeBinary,
    MetaData,
    String,
    Table,
    text,
)

metadata = MetaData()

# A journal number is SQLite's own row number there.
_NUMBER = BigInteger().with_variant(Integer(), "sqlite")
# Ids are compared byte by byte everywhere, so that a range of ids means the same in every database.
_ID = String().with_variant(String(collation="C"), "postgresql")

event = Table(
    "event",
    metadata,
    Column("number", _NUMBER, primary_key=True, autoincrement=False),
    Column("id", _ID, nullable=False, unique=True),
    Column("happened", BigInteger, nullable=False),
    Column("known", BigInteger, nullable=False, unique=True),
    Column("turn", BigInteger, nullable=False),
    Column("action", _ID, nullable=False),
    Column("corrects", BigInteger, unique=True),
    Column("body", String, nullable=False),
    Column("leaf", LargeBinary, nullable=False),
    Column("signed", String),
    Column("login", String),
    Index("event_in_order", "happened", "turn", "number"),
    Index("event_of_action", "action", "happened"),
)

item = Table(
    "item",
    metadata,
    Column("sort", _ID, primary_key=True),
    Column("id", _ID, primary_key=True),
    Column("load", _NUMBER, ForeignKey("event.number"), primary_key=True),
    Column("body", String),
    sqlite_with_rowid=False,
)

tree_head = Table(
    "tree_head",
    metadata,
    Column("number", _NUMBER, ForeignKey("event.number"), primary_key=True, autoincrement=False),
    Column("known", BigInteger, nullable=False),
    Column("root", LargeBinary, nullable=False),
    Column("frontier", LargeBinary, nullable=False),
)

touch = Table(
    "touch",
    metadata,
    Column("owner", _ID, primary_key=True),
    Column("happened", BigInteger, primary_key=True),
    Column("number", _NUMBER, primary_key=True),
    sqlite_with_rowid=False,
)

change = Table(
    "change",
    metadata,
    Column("subject", _ID, primary_key=True),
    Column("aspect", _ID, primary_key=True),
    Column("happened", BigInteger, primary_key=True),
    Column("turn", BigInteger, primary_key=True),
    Column("number", _NUMBER, primary_key=True),
    Column("known", BigInteger, nullable=False),
    Column("until", BigInteger, nullable=False),
    Column("value", _ID, nullable=False),
    Column("other", _ID),
    Column("cycle", Integer, nullable=False),
    Index(
        "change_of_place",
        "value",
        "subject",
        sqlite_where=text("aspect = '@'"),
        postgresql_where=text("aspect = '@'"),
    ),
    sqlite_with_rowid=False,
)

checkpoint = Table(
    "checkpoint",
    metadata,
    Column("at", BigInteger, primary_key=True, autoincrement=False),
    Column("events", BigInteger, nullable=False),
    Column("known", BigInteger, nullable=False),
    Column("shape", String, nullable=False),
    Column("memory", LargeBinary, nullable=False),
)

settled = Table(
    "settled",
    metadata,
    Column("at", BigInteger, primary_key=True),
    Column("place", Integer, primary_key=True),
    Column("body", String, nullable=False),
    sqlite_with_rowid=False,
)
