"""What PostgreSQL itself lets its users do with a journal, whatever program asks."""

from __future__ import annotations

import random
from itertools import count

from sqlalchemy import make_url

from cfgtrack.model.trouble import Refused
from cfgtrack.store.audit import audit
from cfgtrack.store.journal import open_journal
from tests.store.conftest import Server
from tests.store.world import CANDIDATES, DEFINITION, START


def as_user(url: str, user: str) -> str:
    """Return the URL of a database as another user opens it."""
    return make_url(url).set(username=user).render_as_string(hide_password=False)


def test_oracle(server: Server) -> None:
    url = server.fresh()
    server.admin.execute("DROP ROLE IF EXISTS tess")
    server.admin.execute("CREATE ROLE tess LOGIN")
    ticks = count(START)
    clock = lambda: next(ticks)
    with open_journal(url, clock=clock) as journal:
        journal.load(DEFINITION, by=None, recorder=None)
        for t in (
            "event",
            "item",
            "tree_head",
            "touch",
            "change",
            "checkpoint",
            "settled",
            "alembic_version",
        ):
            journal.database.execute(f"GRANT SELECT ON {t} TO tess")
        journal.database.execute("GRANT INSERT ON event, item TO tess")
        journal.database.execute("GRANT UPDATE (until) ON change TO tess")
    from dataclasses import replace

    rnd = random.Random(5)
    done = []
    with open_journal(as_user(url, "tess"), clock=clock) as journal:
        assert journal.database.is_restricted
        for n in range(400):
            action = replace(
                rnd.choice(CANDIDATES), id=f"E{n}", happened=START + 10 + rnd.randrange(1000), recorder="T"
            )
            if done and rnd.random() < 0.2:
                action = replace(action, supersedes=rnd.choice(done), reason="so")
            try:
                journal.record([action])
                done.append(action.id)
            except Refused:
                pass
    with open_journal(url, clock=clock) as journal:
        report = audit(journal.database)
        assert report.faults == []
