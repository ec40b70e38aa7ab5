"""Whether a journal only grew, against what RFC 6962 calls consistent."""

import random
import sqlite3
from collections.abc import Iterator
from contextlib import closing

import pytest

from cfgtrack.model.action import Action
from cfgtrack.store.database import Database
from cfgtrack.store.growth import CUT, REWRITTEN, Tree, fault_of_growth, present_tree
from cfgtrack.store.journal import open_journal
from cfgtrack.store.merkle import Frontier, consistency_proof, verify_consistency
from tests.store.world import START

SIZE = 37


@pytest.fixture
def grown(url: str) -> Iterator[tuple[Database, list[bytes]]]:
    """A journal of `SIZE` remarks, and its leaves."""
    with open_journal(url, clock=lambda: START) as journal:
        for i in range(SIZE):
            journal.record([Action(f"r{i}", "begin", (), START + i, outing=f"o{i}")])
        leaves = [bytes(leaf) for (leaf,) in journal.database.rows("SELECT leaf FROM event ORDER BY number")]
        yield journal.database, leaves


def _tree(leaves: list[bytes]) -> Tree:
    return Tree(len(leaves), Frontier(leaves).to_bytes(), START)


def test_growth_is_consistency(grown: tuple[Database, list[bytes]]) -> None:
    """A tree that was seen, true or forged in a leaf, is continued exactly where RFC 6962's proof says so."""
    database, leaves = grown
    now = present_tree(database)
    assert now.size == SIZE
    draw = random.Random(6962)
    for size in range(SIZE + 1):
        for forged in (False, True):
            seen = leaves[:size]
            if forged and size:
                seen[draw.randrange(size)] = draw.randbytes(32)
            before = _tree(seen)
            proof = consistency_proof(leaves, size, SIZE)
            consistent = verify_consistency(size, SIZE, before.root, now.root, proof)
            assert (fault_of_growth(database, before, now) == "") is consistent is (not forged or size == 0)


def test_a_larger_tree_was_cut(grown: tuple[Database, list[bytes]]) -> None:
    """A journal smaller than what was seen of it has lost something."""
    database, leaves = grown
    assert fault_of_growth(database, _tree([*leaves, b"\1" * 32]), present_tree(database)) == CUT


def test_a_head_that_is_forged_alone_is_noticed(sqlite_url: str) -> None:
    """A tree head that stands for other events than those that came is not what came."""
    with open_journal(sqlite_url, clock=lambda: START) as journal:
        journal.record([Action("a", "begin", (), START, outing="a")])
        before = present_tree(journal.database)
        journal.record([Action("b", "begin", (), START, outing="b")])
    forged = Frontier([b"\1" * 32, b"\2" * 32]).to_bytes()
    for damage in (forged, b"no frontier"):
        with closing(sqlite3.connect(sqlite_url)) as c:
            c.execute("DROP TRIGGER IF EXISTS tree_head_no_update")
            c.execute("UPDATE tree_head SET frontier = ? WHERE number = 2", (damage,))
            c.commit()
        with closing(Database(sqlite_url)) as database:
            assert fault_of_growth(database, before, present_tree(database)) == REWRITTEN
