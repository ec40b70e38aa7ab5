"""The same commands on PostgreSQL, the database for many people at once."""

from __future__ import annotations

from itertools import repeat

from cfgtrack.model.time import SECOND, parse_instant
from tests.cli import world
from tests.cli.conftest import Command
from tests.store.conftest import Server

AT = "2031-05-01T10:00:00Z"
START = parse_instant("2031-05-01T09:00:00Z")


def test_a_session(server: Server, empty: Command) -> None:
    """Load, record, ask, check, draw, audit: the answers are those that SQLite gives, but for the ids of events."""
    plant, rules = empty.file("plant.toml", world.PLANT), empty.file("rules.toml", world.RULES)
    bad = empty.file("bad.toml", world.BAD)
    answers: list[list[tuple[int, str, str]]] = []
    url = server.empty()

    def at(now: int) -> Command:
        # However often a command looks at the clock: whether there is a database at all is seen in two ways.
        empty.ticks = repeat(now)
        return empty

    for database in (empty.folder / "plant.db", url):
        # Made at the same instants the two journals are one, so each is seen from a console of its own.
        empty.state = empty.folder / f"console-{len(answers)}"
        session = [
            at(START + n * SECOND)("--db", database, *words)
            for n, words in enumerate(
                (
                    ("load", plant, "--by", "survey"),
                    ("rules", "load", rules),
                    ("demate", "PUMP-1:J1", "--at", AT, "--id", "E1"),
                    ("demate", "PUMP-1:J1", "--at", AT, "--id", "E2"),
                    ("state", "PUMP-1", "--at", AT),
                    ("check", bad),
                    ("review",),
                    ("draw", "--loop", "A"),
                    ("audit",),
                    ("prove", "E1"),
                    ("export",),
                    ("state", "PUMP-9"),
                )
            )
        ]
        answers.append([(a.status, a.out, a.err) for a in session])
    assert answers[0] == answers[1]
    assert [status for status, _, _ in answers[1]] == [0, 0, 0, 3, 0, 3, 3, 0, 0, 0, 0, 4]


def test_between_databases(server: Server, cfgtrack: Command) -> None:
    """A journal moves to PostgreSQL and back with its tree head: nothing is lost on the way."""
    cfgtrack.ok("demate", "PUMP-1:J1", "--at", AT, "--id", "E1")
    head = cfgtrack.ok("head")
    url = server.empty()
    cfgtrack.ok("--db", url, "restore", cfgtrack.db)
    assert cfgtrack.ok("--db", url, "head") == head
    back = cfgtrack.folder / "back.db"
    cfgtrack.ok("--db", url, "backup", back)
    assert cfgtrack.ok("--db", back, "head") == head
    assert cfgtrack.ok("--db", back, "audit").startswith("sound")


def test_no_server(empty: Command) -> None:
    """Where no server answers, or the address is none, there is no answer, and the message says so."""
    answer = empty("--db", "postgresql://nobody@localhost:1/plant", "state")
    assert (answer.status, "no-server" in answer.err) == (4, True)
    answer = empty("--db", "mysql://localhost/plant", "state")
    assert (answer.status, "no-database" in answer.err) == (4, True)
