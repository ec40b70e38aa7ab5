"""Which clock counts: the server's where there is one, else the console's."""

from __future__ import annotations

from collections.abc import Callable

from cfgtrack.store.database import Database

_SERVERS = "(extract(epoch FROM clock_timestamp()) * 1000000)::bigint"
"""The server's clock as it is now, not as it was when the transaction began."""


def is_served(database: Database) -> bool:
    """Return whether a server's clock is there to be asked."""
    return not database.is_file


def present_of(database: Database, clock: Callable[[], int]) -> int:
    """Return the present, microseconds since 1970, UTC."""
    if not is_served(database):
        return clock()
    row = database.row(f"SELECT {_SERVERS}")
    assert row is not None
    return int(row[0])


def last_write(database: Database, clock: Callable[[], int]) -> tuple[int, int | None, int]:
    """Return the number of the last event, when it became known, and the present: one question to a server.

    0 and None where there is no event yet.
    """
    served = is_served(database)
    also = f", {_SERVERS}" if served else ""
    row = database.row(f"SELECT number, known{also} FROM event ORDER BY number DESC LIMIT 1")  # noqa: S608 - ours
    if row is None:
        return 0, None, present_of(database, clock)
    return int(row[0]), int(row[1]), int(row[2]) if served else clock()
