"""What somebody does who has the whole file: its guards dropped, and leaves and tree heads computed anew."""

import json
import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

from cfgtrack.store.canonical import canonical_json
from cfgtrack.store.merkle import Frontier, leaf_hash
from cfgtrack.store.rows import leaf_record


@contextmanager
def unguarded(path: str | Path) -> Iterator[sqlite3.Connection]:
    """Open a file, drop all of its triggers, and keep what is done then. They stay gone."""
    with closing(sqlite3.connect(path)) as connection, connection:
        for (name,) in connection.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
            connection.execute(f"DROP TRIGGER {name}")
        yield connection


def leaves_anew(connection: sqlite3.Connection) -> None:
    """Compute the leaves of all events anew, of what is in them now."""
    rows = connection.execute("SELECT number, known, body, signed FROM event ORDER BY number").fetchall()
    for number, known, body, signed in rows:
        leaf = leaf_hash(leaf_record(body.encode(), number, known, signed and signed.encode()))
        connection.execute("UPDATE event SET leaf = ? WHERE number = ?", (leaf, number))


def heads_anew(connection: sqlite3.Connection) -> None:
    """Compute all tree heads anew, and before them the heads that unsigned handovers stand for, with their leaves."""
    tree = Frontier()
    roots: dict[int, str] = {}
    heads = {number for (number,) in connection.execute("SELECT number FROM tree_head")}
    sql = "SELECT number, known, body, leaf, signed FROM event ORDER BY number"
    for number, known, body, there, signed in connection.execute(sql).fetchall():
        leaf, event = there, json.loads(body)
        content = event.get("body") if isinstance(event, dict) else None
        told = content.get("head") if isinstance(content, dict) else None
        if told and signed is None and told["size"] in roots:
            told["root"] = roots[told["size"]]
            text = canonical_json(event)
            leaf = leaf_hash(leaf_record(text, number, known))
            connection.execute(
                "UPDATE event SET body = ?, leaf = ? WHERE number = ?", (text.decode(), leaf, number)
            )
        tree.append(leaf)
        roots[number] = tree.root().hex()
        if number in heads:
            row = (tree.root(), tree.to_bytes(), number)
            connection.execute("UPDATE tree_head SET root = ?, frontier = ? WHERE number = ?", row)
