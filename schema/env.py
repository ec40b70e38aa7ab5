"""Alembic's environment: migrations run on the connection that Alembic's caller hands over, and on no other.

`config.attributes` holds what the caller gives: `connection`, an open SQLAlchemy connection, and, where the
drift check is wanted, `target_metadata`. A transaction that the caller has begun is used and left open, so
that an upgrade is done as a whole or not at all; without one, Alembic begins and commits its own.

There is no way in by URL: a connection that was opened elsewhere has not had the settings that keep the
journal append-only.
"""

from alembic import context
from alembic.util import CommandError
from sqlalchemy import Connection


def run() -> None:
    """Run the migrations. CommandError if no connection was handed over."""
    attributes = context.config.attributes
    connection = attributes.get("connection")
    if not isinstance(connection, Connection):
        raise CommandError("migrations run through cfgtrack, which opens the database with its own settings")
    context.configure(
        connection=connection,
        target_metadata=attributes.get("target_metadata"),
        transactional_ddl=True,  # SQLite's too: Alembic leaves it off for the sake of older drivers
    )
    with context.begin_transaction():
        context.run_migrations()


run()
