"""Whether a journal only grew since it was seen last.

The frontier of the tree that was seen, with the leaves that came since, must give the present root: what the
consistency proof of RFC 6962 section 2.1.2 shows, at the price of what is new, and without reading what was there.
"""

from __future__ import annotations

from typing import NamedTuple

from cfgtrack.store.database import Database
from cfgtrack.store.merkle import Frontier

PAGE = 20_000

CUT, REWRITTEN = "rolled-back", "rewritten"


class Tree(NamedTuple):
    """The tree over a journal at some time: its size, its frontier, when its last event became known."""

    size: int
    frontier: bytes
    known: int

    @property
    def root(self) -> bytes:
        """The tree head."""
        return Frontier.from_bytes(self.frontier).root()


def present_tree(database: Database) -> Tree:
    """Return the tree over all events, as recorded with the last of them. It may be forged: see `fault_of_growth`."""
    row = database.row("SELECT number, frontier, known FROM tree_head ORDER BY number DESC LIMIT 1")
    return Tree(0, Frontier().to_bytes(), 0) if row is None else Tree(row[0], bytes(row[1]), row[2])


def fault_of_growth(database: Database, before: Tree, now: Tree) -> str:
    """Return "" where the tree that is there now continues the one before; else what is wrong, as a code."""
    if now.size < before.size:
        return CUT
    try:
        tree, root = Frontier.from_bytes(before.frontier), now.root
    except ValueError:
        return REWRITTEN
    sql = "SELECT leaf FROM event WHERE number > :after AND number <= :end ORDER BY number LIMIT :page"
    while tree.size < now.size:
        page = database.rows(sql, {"after": tree.size, "end": now.size, "page": PAGE})
        for (leaf,) in page:
            tree.append(bytes(leaf))
        if not page:
            return REWRITTEN
    return "" if tree.root() == root else REWRITTEN
