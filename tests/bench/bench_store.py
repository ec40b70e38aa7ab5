"""How fast the journal is, as ratios to the bare floor on the same machine.

    python -m tests.bench.bench_store [--events N] [--units N] [--only sqlite|postgresql]

Floors: the same rows inserted plainly with the same durability; the same question asked of the driver without the
store; hashing the same bytes.
"""

import argparse
import gc
import hashlib
import random
import shutil
import statistics
import sys
import tempfile
import time
from collections import deque
from collections.abc import Callable, Iterator
from contextlib import closing
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import Any

from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from cfgtrack.answers.amend import correct
from cfgtrack.answers.asking import Asking
from cfgtrack.answers.console import Console
from cfgtrack.answers.record import record
from cfgtrack.model.action import Action
from cfgtrack.model.definition import Definition
from cfgtrack.model.kind import Kind, Medium, Move
from cfgtrack.model.part import Part, Port
from cfgtrack.model.people import Person
from cfgtrack.model.plant import Place, Unit
from cfgtrack.model.signature import Signer
from cfgtrack.store.audit import audit
from cfgtrack.store.columns import NEVER
from cfgtrack.store.database import Database
from cfgtrack.store.derive import rebuild_state
from cfgtrack.store.journal import Journal, create, open_journal, system_clock
from cfgtrack.store.rows import CHANGE_COLUMNS, EVENT_COLUMNS, TOUCH_COLUMNS
from cfgtrack.store.view import EVERYTHING, ONE_OWNER, SqlView

SECOND = 1_000_000
PORTS = 10


def plant(units: int) -> Definition:
    """Return a plant of so many units of ten fluid disconnects each, all in one bay."""
    moves = [
        Move("cap", ("demated",), "capped", each=True),
        Move("uncap", ("capped",), "demated", each=True),
        Move("mate", ("demated",), "mated", cycle=True),
        Move("demate", ("mated",), "demated"),
    ]
    kind = Kind(
        "disconnect",
        "fluid",
        ("capped", "demated", "mated"),
        {m.action: m for m in moves},
        joined="mated",
        carries="mated",
        initial="demated",
    )
    part = Part("box", ports={f"F{i}": Port(f"F{i}", "disconnect") for i in range(PORTS)})
    return Definition(
        media={"fluid": Medium("fluid")},
        kinds={"disconnect": kind},
        parts={"box": part},
        units={f"UNIT-{i}": Unit(f"UNIT-{i}", "box") for i in range(units)},
        places={"SITE": Place("SITE"), "BAY": Place("BAY", parent="SITE")},
        initial=tuple(
            Action(f"initial:UNIT-{i}", "as-found", (f"UNIT-{i}",), 0, place="BAY", initial=True)
            for i in range(units)
        ),
    )


def work(events: int, units: int) -> Iterator[tuple[str, Action]]:
    """Yield so many events in order of time: mate, demate, cap, uncap, all over the plant, one a second."""
    chosen = random.Random(1)
    for i in range(events // 4):
        a, b = chosen.sample(range(units), 2)
        port = f"F{chosen.randrange(PORTS)}"
        near, far = f"UNIT-{a}:{port}", f"UNIT-{b}:{port}"
        steps = (("mate", (near, far)), ("demate", (near,)), ("cap", (near,)), ("uncap", (near,)))
        for k, (action, subjects) in enumerate(steps):
            at = (4 * i + k + 1) * SECOND
            event = Action(
                f"ada-{i:08d}-{k}", action, subjects, at, by="ada", recorder="bo", outing="outing-1"
            )
            yield "bench", event


def timed(what: Callable[[], Any], *, times: int = 1) -> float:
    """Return the median time that `what` takes, seconds."""
    spent = []
    for _ in range(times):
        start = time.perf_counter()
        what()
        spent.append(time.perf_counter() - start)
    return statistics.median(spent)


class Bench:
    """The measurements on one database. `fresh` makes an empty journal and returns its URL."""

    def __init__(self, name: str, fresh: Callable[[], str], events: int, units: int) -> None:
        self.name = name
        self.fresh = fresh
        self.events = events
        self.units = units
        self.url = fresh()

    def run(self) -> None:
        """Measure everything and print a line for each."""
        with open_journal(self.url, clock=system_clock) as journal:
            journal.load(plant(self.units), by=None, recorder=None)
            self.bulk(journal)
            self.one_by_one(journal)
            self.questions(journal)
            self.correction(journal)
            self.upkeep(journal)
        self.signatures()
        self.console()

    def line(self, what: str, value: str, floor: str = "", ratio: float | None = None) -> None:
        """Print one measurement."""
        shown = "" if ratio is None else f"{ratio:.2f}x"
        print(f"{self.name:<11} {what:<44} {value:>16} {floor:>22} {shown:>8}", flush=True)

    def bulk(self, journal: Journal) -> None:
        """Record all events in one transaction; against inserting the same rows."""
        before = journal.moment()[1]
        made = timed(lambda: deque(work(self.events, self.units), maxlen=0))
        spent = timed(lambda: journal.take(work(self.events, self.units))) - made
        floor = self.plain_inserts(journal.database, before)
        each, least = 1e6 * spent / self.events, 1e6 * floor / self.events
        what = f"{self.events} events recorded in bulk"
        self.line(what, f"{each:.1f} us/event", f"{least:.1f} us, plain inserts", spent / floor)
        if journal.database.is_file:
            journal.database.rows("PRAGMA wal_checkpoint(TRUNCATE)")
            size = Path(str(journal.database.url.database)).stat().st_size
        else:
            size = journal.database.rows("SELECT pg_database_size(current_database())")[0][0]
        self.line("size", f"{size / self.events:.0f} B/event")

    def plain_inserts(self, database: Database, before: int) -> float:
        """Return how long the rows of all events take when the driver alone inserts them, in one transaction."""
        tables = {"event": EVENT_COLUMNS, "touch": TOUCH_COLUMNS, "change": CHANGE_COLUMNS}
        with closing(Database(self.fresh())) as other:
            spent = 0.0
            with other.writing():
                if other.is_file:
                    # The keys of other tables' rows point to events that the first rows, left out here, hold.
                    other.execute("PRAGMA defer_foreign_keys = ON")
                for table, columns in tables.items():
                    names, marks = ", ".join(columns), ", ".join("?" * len(columns))
                    number = "number > (SELECT count(*) FROM event WHERE known <= :before)"
                    cursor = database.raw.execute(
                        database.spelled(f"SELECT {names} FROM {table} WHERE {number} ORDER BY number"),
                        {"before": before},
                    )
                    while page := cursor.fetchmany(50_000):
                        start = time.perf_counter()
                        if other.is_file:
                            other.raw.executemany(f"INSERT INTO {table} ({names}) VALUES ({marks})", page)
                        else:
                            with other.raw.cursor().copy(f"COPY {table} ({names}) FROM STDIN") as copy:
                                for row in page:
                                    copy.write_row(row)
                        spent += time.perf_counter() - start
                start = time.perf_counter()
            # What is left is the commit.
            return spent + time.perf_counter() - start

    def one_by_one(self, journal: Journal) -> None:
        """Record events each in a transaction of its own; against the same rows inserted so."""
        first = (self.events + 10) * SECOND
        events = [
            Action(f"single-{i}", "cap" if i % 2 == 0 else "uncap", ("UNIT-1:F1",), first + i * SECOND)
            for i in range(40)
        ]
        spent = statistics.median([timed(partial(journal.record, [e])) for e in events])
        database = journal.database
        tables = {"event": EVENT_COLUMNS, "touch": TOUCH_COLUMNS, "change": CHANGE_COLUMNS}
        with closing(Database(self.fresh())) as other:
            floors = []
            number = database.rows("SELECT max(number) FROM event")[0][0]
            for n in range(number - 20, number):
                rows = {
                    t: database.rows(f"SELECT {', '.join(c)} FROM {t} WHERE number = :n", {"n": n})
                    for t, c in tables.items()
                }
                floors.append(timed(partial(_insert, other, tables, rows)))
        floor = statistics.median(floors)
        self.line("one event", f"{1e3 * spent:.2f} ms", f"{1e3 * floor:.2f} ms, plain inserts", spent / floor)

    def signatures(self) -> None:
        """Record and audit the same events with signatures; against without."""
        private = Ed25519PrivateKey.from_private_bytes(bytes(32))
        key = f"ed25519:{private.public_key().public_bytes_raw().hex()}"
        units = 20
        whole = plant(units)
        people = {"ADA": Person("ADA", key=key)}
        spent: dict[str, tuple[float, float, float]] = {}
        for name, signer in (("without", None), ("with", Signer("ADA", key, private.sign))):
            with open_journal(self.fresh(), clock=system_clock) as journal:
                journal.load(replace(whole, people=people), by=None, recorder=None)
                journal.signer = signer
                rows = list(work(2_000, units))
                bulk = timed(lambda journal=journal, rows=rows: journal.take(rows))  # type: ignore[misc]
                first = 10_000 * SECOND
                events = [
                    Action(f"one-{i}", "cap" if i % 2 == 0 else "uncap", ("UNIT-1:F1",), first + i * SECOND)
                    for i in range(40)
                ]
                one = statistics.median([timed(partial(journal.record, [e])) for e in events])
                check = timed(lambda journal=journal: audit(journal.database, state=False))  # type: ignore[misc]
                spent[name] = bulk / 2_000, one, check / 2_000
        for what, a, b in zip(
            ("signing, each in bulk", "one signed event", "audit of a signed event"),
            spent["with"],
            spent["without"],
            strict=True,
        ):
            self.line(what, f"{1e6 * a:.0f} us", f"{1e6 * b:.0f} us, unsigned", a / b)

    def console(self) -> None:
        """Record at a console that remembers heads, by the answer that the command gives; against one that doesn't."""
        url = self.fresh()
        with open_journal(url, clock=system_clock) as journal:
            journal.load(plant(20), by=None, recorder=None)
        with tempfile.TemporaryDirectory() as folder:
            asking = Asking(url)
            watched = replace(asking, console=Console(Path(folder) / "heads.json", Path(folder)))
            spent: dict[bool, list[float]] = {True: [], False: []}
            for i in range(80):
                words = ["inspect", "UNIT-1"]
                who = watched if i % 2 else asking
                spent[bool(i % 2)].append(timed(partial(record, who, words)))
        with_it, without = (statistics.median(spent[name]) for name in (True, False))
        self.line(
            "one event, heads remembered",
            f"{1e3 * with_it:.2f} ms",
            f"{1e3 * without:.2f} ms, not remembered",
            with_it / without,
        )

    def questions(self, journal: Journal) -> None:
        """Ask for one unit and for the whole plant at random past times; against the bare questions."""
        chosen = random.Random(2)
        known = journal.moment()[1]
        journal.plant(known=known)
        database = journal.database
        asked = [
            (f"UNIT-{chosen.randrange(self.units)}", chosen.randrange(self.events) * SECOND)
            for _ in range(60)
        ]
        spent = statistics.median([timed(partial(journal.unit, *a, known)) for a in asked])
        floors = []
        for owner, at in asked:
            parameters = {
                "at": at,
                "turn": NEVER,
                "known": known,
                "owner": owner,
                "first": f"{owner}:",
                "end": f"{owner};",
            }
            sql = database.spelled(EVERYTHING % ONE_OWNER)
            floors.append(timed(partial(_fetched, database, sql, parameters)))
        floor = statistics.median(floors)
        self.line(
            "state of one unit at a past time",
            f"{1e3 * spent:.2f} ms",
            f"{1e3 * floor:.2f} ms, bare query",
            spent / floor,
        )
        view = [timed(partial(_state, journal, a, known)) for a in asked]
        self.line("state of one port at a past time", f"{1e3 * statistics.median(view):.2f} ms")
        at = self.events * SECOND // 2
        spent = timed(lambda: journal.configuration(at, known), times=3)
        sql = database.spelled(EVERYTHING % "1 = 1")
        parameters = {"at": at, "turn": NEVER, "known": known}
        floor = timed(partial(_fetched, database, sql, parameters), times=3)
        what = f"all {self.units * PORTS} ports at a past time"
        self.line(what, f"{spent:.2f} s", f"{floor:.2f} s, bare query", spent / floor)

    def correction(self, journal: Journal) -> None:
        """Supersede an event deep in the past by one that says the same of another person."""
        chosen = random.Random(3)
        spent = []
        for i in range(10):
            number = chosen.randrange(self.events // 8) * 4 + 2 + self.units
            [(event_id,)] = journal.database.rows("SELECT id FROM event WHERE number = :n", {"n": number})
            entry = journal.entry(event_id)
            assert entry is not None
            event = entry.event
            corrected = Action(
                f"correction-{i}",
                event.action,
                event.subjects,
                event.happened,
                by="cleo",
                supersedes=event.id,
                reason="it was Cleo",
            )
            spent.append(timed(partial(journal.record, [corrected])))
        self.line("a correction deep in the past", f"{1e3 * statistics.median(spent):.2f} ms")

    def upkeep(self, journal: Journal) -> None:
        """Audit and rebuild everything; the audit against hashing the same bytes."""
        database = journal.database
        count = journal.database.rows("SELECT count(*) FROM event")[0][0]
        spent = timed(lambda: _sound(database, state=False))

        def hashed() -> None:
            for (body,) in database.raw.execute("SELECT body FROM event ORDER BY number"):
                hashlib.sha256(body.encode()).digest()

        floor = timed(hashed)
        self.line(
            "audit of the journal",
            f"{count / spent:,.0f} events/s",
            f"{count / floor:,.0f}/s, hashing",
            spent / floor,
        )
        spent = timed(lambda: _rebuilt(database))
        self.line("rebuild of the derived state", f"{count / spent:,.0f} events/s")
        spent = timed(lambda: _sound(database, state=True))
        self.line("audit of journal and derived state", f"{count / spent:,.0f} events/s")


RULES = """
title = "Rules of the bench"

[[rule]]
id = "closed-again"
title = "A port that was uncapped is free within half a minute"
hazard = "it leaks"
severity = 2
source = "common practice"
mode = "within"
within = "30 s"
scope = { kind = "disconnect" }
trigger = { action = "uncap" }
condition = { status = "it", is = ["demated"] }

[[rule]]
id = "not-many-open"
title = "Of a box no more than nine ports are mated, save for an hour"
hazard = "it is too heavy to lift"
severity = 3
source = "common practice"
mode = "always"
tolerance = "1 h"
scope = { what = "unit", id = "UNIT-*" }
condition = { count = { of = "ports of it" }, is = ["mated"], at_most = 9 }

[[rule]]
id = "looked-at"
title = "The ports of two boxes are inspected before they are mated"
hazard = "a damaged seal"
severity = 3
source = "common practice"
mode = "at"
at = { action = "mate", id = ["UNIT-1:*", "UNIT-2:*"] }
condition = { done = "inspect", of = "it", since = "demate" }

[[rule]]
id = "never-capped"
title = "The first port of three boxes is never capped"
hazard = "it is wanted"
severity = 4
source = "common practice"
mode = "always"
scope = { id = ["UNIT-3:F1", "UNIT-4:F1", "UNIT-5:F1"] }
condition = { not = { status = "it", is = ["capped"] } }
"""
"""Rules with clocks that start and stop all the time, with what was last done, and with findings."""

HOUR = 3_600 * SECOND


class Judged:
    """The measurements of recording as people do it: with rules, and all that an event means at once."""

    def __init__(self, name: str, fresh: Callable[[], str], events: int, units: int) -> None:
        self.name = name
        self.events = events
        self.units = units
        self.urls = {100: fresh(), events: fresh()}
        self.serial = 0

    def run(self) -> None:
        """Measure everything and print a line for each."""
        firsts = {count: self.fill(count) for count in self.urls}
        self.line("the first record after new rules", firsts[self.events])
        spent = {count: self.recording(count) for count in self.urls}
        for count, each in spent.items():
            self.line(f"a record after {count} events", each, "after 100 events", each / spent[100])
        with open_journal(self.urls[self.events], clock=system_clock) as journal:
            [(many, size, settled)] = journal.database.rows(
                "SELECT count(*), sum(length(memory)), (SELECT count(*) FROM settled) FROM checkpoint"
            )
        print(f"{self.name:<11} {many} checkpoints of {size / many / 1024:.0f} KiB; {settled} settled")
        end = self.events * SECOND
        self.line("a record of an hour ago", self.once(self.events, end - HOUR))
        for back, what in ((HOUR, "an hour"), (24 * HOUR, "a day")):
            self.line(f"a correction {what} back", self.corrected(end - back))
            self.line("  and the next record", self.once(self.events, None))

    def line(self, what: str, spent: float, floor: str = "", ratio: float | None = None) -> None:
        """Print one measurement."""
        shown = "" if ratio is None else f"{ratio:.2f}x"
        print(f"{self.name:<11} {what:<44} {1e3 * spent:>13.1f} ms {floor:>22} {shown:>8}", flush=True)

    def fill(self, count: int) -> float:
        """Load a plant, so many events, and then rules; return how long the first record takes."""
        with open_journal(self.urls[count], clock=lambda: 0) as journal:
            journal.load(plant(self.units), by=None, recorder=None)
            journal.take(work(count, self.units))
            journal.keep_rules({"bench.toml": RULES}, by=None, recorder=None)
        return self.once(count, None)

    def recording(self, count: int) -> float:
        """Return the median time of many records, one after the other, enough for checkpoints to be made."""
        return statistics.median(self.once(count, None) for _ in range(150))

    def once(self, count: int, at: int | None) -> float:
        """Record an event, at the end of the past if no time is given; return how long that takes."""
        self.serial += 1
        when = (count + 10 + self.serial) * SECOND if at is None else at
        asking = Asking(self.urls[count], at=when, clock=lambda: when)
        return timed(lambda: record(asking, ["inspect", f"UNIT-{7 + self.serial % 20}:F3"]))

    def corrected(self, at: int) -> float:
        """Correct who did an event of a time; return how long that takes."""
        url = self.urls[self.events]
        with open_journal(url, clock=system_clock) as journal:
            entry = next(e for e in journal.entries(since=at) if e.event.action == "cap")
        words, now = [entry.event.action, *entry.event.subjects], (self.events + 10 + self.serial) * SECOND
        asking = Asking(url, by="cleo", clock=lambda: now)
        return timed(lambda: correct(asking, entry.event.id, words, reason="it was Cleo"))


def _fetched(database: Database, sql: str, parameters: dict[str, Any]) -> list[Any]:
    found: list[Any] = database.raw.execute(sql, parameters).fetchall()
    return found


def _insert(database: Database, tables: dict[str, tuple[str, ...]], rows: dict[str, list[Any]]) -> None:
    with database.writing():
        for table, columns in tables.items():
            marks = ", ".join(["?" if database.is_file else "%s"] * len(columns))
            for row in rows[table]:
                database.raw.execute(f"INSERT INTO {table} ({', '.join(columns)}) VALUES ({marks})", row)


def _state(journal: Journal, asked: tuple[str, int], known: int) -> None:
    view = journal.view(asked[1], known)
    assert isinstance(view, SqlView)
    view.state(f"{asked[0]}:F1")


def _sound(database: Database, *, state: bool) -> None:
    faults = audit(database, state=state).faults
    assert not faults, faults


def _rebuilt(database: Database) -> None:
    with database.writing():
        rebuild_state(database)


def main() -> None:
    """Read the arguments and measure."""
    parser = argparse.ArgumentParser(description="How fast the journal is.")
    parser.add_argument("--events", type=int, default=100_000)
    parser.add_argument("--units", type=int, default=1_000)
    parser.add_argument("--judged", action="store_true", help="only what is judged as it is recorded")
    parser.add_argument("--only", choices=["sqlite", "postgresql"])
    chosen = parser.parse_args()
    gc.set_threshold(50_000, 20, 20)  # as the command does (cli/main.py)
    print(f"{'database':<11} {'what':<44} {'measured':>16} {'floor':>22} {'ratio':>8}")
    with tempfile.TemporaryDirectory(prefix="cfgtrack-bench-") as folder:
        if chosen.only != "postgresql":
            _on_sqlite(Path(folder), chosen)
        if chosen.only != "sqlite":
            _on_postgresql(chosen)


def _run(name: str, fresh: Callable[[], str], chosen: argparse.Namespace) -> None:
    if not chosen.judged:
        Bench(name, fresh, chosen.events, chosen.units).run()
    Judged(name, fresh, chosen.events, chosen.units).run()


def _on_sqlite(folder: Path, chosen: argparse.Namespace) -> None:
    pattern = folder / "pattern.db"
    create(str(pattern))

    def fresh() -> str:
        path = folder / f"journal-{time.perf_counter_ns()}.db"
        shutil.copy(pattern, path)
        return str(path)

    _run("sqlite", fresh, chosen)


def _on_postgresql(chosen: argparse.Namespace) -> None:
    try:
        from tests.store.conftest import Server

        server = Server(durable=True)
    except ImportError:
        print("postgresql: skipped, no server in this environment", file=sys.stderr)
        return
    try:
        _run("postgresql", server.fresh, chosen)
    finally:
        server.close()


if __name__ == "__main__":
    main()
