"""The running state: what the rules remember at some instants of the past, so that it isn't judged from its beginning.

A checkpoint holds all that judging must go on with after its instant: the configuration, the clocks, what is broken. It
is derived from the journal: dropped, and judged again, it comes out in the same bytes. `settled` tells what was broken
before the last of them and can't change any more.

Where they stand is a function of the journal, too. The events in effect are counted in their order; a
place is the end of an instant in which that count passes another multiple of `EVERY`, save for the last of all: more
may come to that. Of those few are kept: the last, and the further back the fewer (`is_kept`).

One is valid for a question of (at, known) that is asked with the same definition and rules (`shape`) when it isn't
later than `at` and no row with a later `known` has shaped it. Rows that come after it was made can't be told by
that: so whatever is written takes those away, in its own transaction, that it might have shaped (`forget`).
"""

# ruff: noqa: S608 - the only text put into these statements is names and conditions written here
from __future__ import annotations

from collections.abc import Iterable, Sequence
from hashlib import sha256
from typing import NamedTuple

from cfgtrack.model.action import BOOK_ACTIONS, DEFINE, REVISIONS, WITHDRAW
from cfgtrack.store.columns import NEVER
from cfgtrack.store.database import Database, Row
from cfgtrack.store.rows import IN_EFFECT

EVERY = 128
"""After so many events there is a place for a checkpoint."""

KEPT = 4
"""How many checkpoints are kept at least of every distance: up to so many places back all, then every second, ..."""


_BOOK = ", ".join(f"'{action}'" for action in sorted(BOOK_ACTIONS))
_INITIAL = """e.body LIKE '%"initial"_true%'"""
"""What an event of the initial configuration is known by: its canonical text holds this, and no other's. (A colon would
begin a parameter.)"""


class Checkpoint(NamedTuple):
    """What is remembered after the instant `at`, whose events are all in it, as the `events`-th of all in effect.

    `settled` are the texts of what came to its end, each with its instant, since the checkpoint before.
    """

    at: int
    events: int
    memory: bytes
    settled: tuple[tuple[int, str], ...] = ()


class Wanted(NamedTuple):
    """Which checkpoints are to be made: the `last` place, and those that are kept when `ever` so many were recorded.

    `stale`: there are some that are kept no longer. `instants`: the very ones, whatever else is said.
    """

    last: int = 0
    ever: int = 0
    stale: bool = False
    instants: frozenset[int] | None = None

    def at(self, instant: int, before: int, after: int) -> bool:
        """Return whether one is to be made after an instant: so many events counted before it, so many after it."""
        if self.instants is not None:
            return instant in self.instants
        place = after // EVERY
        return before // EVERY < place <= self.last and (place == self.last or is_kept(after, self.ever))


def is_kept(events: int, ever: int) -> bool:
    """Return whether a checkpoint is kept that isn't the last, of so many events, when `ever` so many were recorded.

    With `ever` growing one is dropped, sooner or later, and never wanted again.
    """
    place = events // EVERY
    return ever // EVERY - place < KEPT * (place & -place)


def wanted(database: Database, before: int, known: int, since: Checkpoint | None) -> Wanted:
    """Return which checkpoints are wanted of the past as known up to an instant, not included, after the one `since`.

    None where an initial configuration was recorded, and isn't in effect: who asks as known then may need it.
    """
    if since is None and _is_without_initial(database, known):
        return Wanted()
    sql = (
        "SELECT count(*) FROM event e WHERE e.happened > :since AND e.happened < :before"
        f" AND e.action NOT IN ({_BOOK}) AND {IN_EFFECT}"
    )
    after, counted = (-NEVER, 0) if since is None else (since.at, since.events)
    row = database.row(sql, {"since": after, "before": before, "known": known})
    assert row is not None
    ever = _ever(database)
    return Wanted((counted + int(row[0])) // EVERY, ever, bool(_stale(database, ever)))


def _is_without_initial(database: Database, known: int) -> bool:
    if first_initial(database, NEVER, known) is not None:
        return False
    return database.row(f"SELECT 1 FROM event e WHERE {_INITIAL} LIMIT 1") is not None


def first_initial(database: Database, at: int, known: int) -> int | None:
    """Return the instant of the first event of an initial configuration that is in effect, None where there is none."""
    sql = (
        f"SELECT e.happened FROM event e WHERE {_INITIAL} AND e.happened <= :at AND {IN_EFFECT}"
        " ORDER BY e.happened, e.turn, e.number LIMIT 1"
    )
    row = database.row(sql, {"at": at, "known": known})
    return None if row is None else int(row[0])


def span(database: Database, at: int, known: int) -> tuple[int, int] | None:
    """Return the instants of the first and the last event on hardware that is in effect; None where there is none.

    The first is that of the initial configuration, if there is one.
    """
    last = last_done(database, at, known)
    if last is None:
        return None
    first = first_initial(database, at, known)
    if first is None:
        row = database.row(_DONE.format(way=""), {"at": at, "known": known})
        assert row is not None
        first = int(row[0])
    return first, last


def last_done(database: Database, at: int, known: int) -> int | None:
    """Return the instant of the last event on hardware that is in effect; None where there is none."""
    row = database.row(_DONE.format(way="DESC"), {"at": at, "known": known})
    return None if row is None else int(row[0])


_DONE = (
    f"SELECT e.happened FROM event e WHERE e.action NOT IN ({_BOOK}) AND e.happened <= :at AND {IN_EFFECT}"
    " ORDER BY e.happened {way}, e.turn {way}, e.number {way} LIMIT 1"
)


def shape_of(database: Database, form: str, known: int) -> str:
    """Return what stands for the definition and the rules as known: what each load of them commits to, in order.

    `form` stands for the program that judges, and for the form in which it remembers.
    """
    sql = "SELECT body FROM event WHERE action = :define AND known <= :known ORDER BY number"
    digest = sha256(form.encode())
    for (body,) in database.rows(sql, {"define": DEFINE, "known": known}):
        digest.update(sha256(body.encode()).digest())
    return digest.hexdigest()


def find_checkpoint(database: Database, shape: str, at: int, known: int) -> Checkpoint | None:
    """Return the last checkpoint that is valid for a question, without what was settled before it."""
    sql = (
        "SELECT at, events, memory FROM checkpoint WHERE at <= :at AND known <= :known AND shape = :shape"
        " ORDER BY at DESC LIMIT 1"
    )
    row = database.row(sql, {"at": at, "known": known, "shape": shape})
    return None if row is None else Checkpoint(row[0], row[1], bytes(row[2]))


def settled_until(database: Database, at: int) -> list[tuple[int, str]]:
    """Return what came to its end up to an instant that a valid checkpoint is of: when, and its text, in order."""
    sql = "SELECT at, body FROM settled WHERE at <= :at ORDER BY at, place"
    return [(when, text) for when, text in database.rows(sql, {"at": at})]


class Stored(NamedTuple):
    """A checkpoint as it is stored, and the last `known` that the journal gives for it: `shaped`."""

    at: int
    events: int
    known: int
    memory: bytes
    shaped: int


def stored(database: Database, form: str, known: int) -> list[Stored]:
    """Return the checkpoints that a question as known now could go on from."""
    sql = "SELECT at, events, known, memory FROM checkpoint WHERE shape = :shape ORDER BY at"
    rows = database.rows(sql, {"shape": shape_of(database, form, known)})
    return [Stored(at, n, k, bytes(memory), _last_known(database, -NEVER, at)) for at, n, k, memory in rows]


# --- writing --------------------------------------------------------------------------------------------------


def forget(database: Database, happened: int) -> None:
    """Take away the checkpoints that what is written now, of this instant at the earliest, might have shaped."""
    database.execute("DELETE FROM checkpoint WHERE at >= :happened", {"happened": happened})
    _forget_settled(database)


def _forget_settled(database: Database) -> None:
    """Take away what was settled after the last checkpoint: whoever goes on from there finds it again."""
    sql = "DELETE FROM settled WHERE at > (SELECT coalesce(max(at), :never) FROM checkpoint)"
    database.execute(sql, {"never": -NEVER})


def keep(database: Database, form: str, made: Sequence[Checkpoint], known: int) -> None:
    """Write checkpoints that were made in judging all of the past as known, in order; inside `Database.writing`.

    Left out is what has been overtaken: what a row that came in between might have shaped, and what isn't kept.
    """
    shape, limit = shape_of(database, form, known), _changed_since(database, known)
    made = [one for one in made if one.at < limit]
    if made:
        _write(database, shape, made)
    _thin(database)


def _write(database: Database, shape: str, made: Sequence[Checkpoint]) -> None:
    ever = _ever(database)
    before = database.row(
        "SELECT at, known FROM checkpoint WHERE at < :at ORDER BY at DESC LIMIT 1", {"at": made[0].at}
    )
    at, known = (-NEVER, 0) if before is None else (int(before[0]), int(before[1]))
    rows: list[Row] = []
    for one in made:
        if one is made[-1] or is_kept(one.events, ever):
            known = max(known, _last_known(database, at, one.at))
            at = one.at
            rows.append((one.at, one.events, known, shape, one.memory))
    _insert(database, "checkpoint", ("at", "events", "known", "shape", "memory"), rows)
    _insert(
        database, "settled", ("at", "place", "body"), _places(pair for one in made for pair in one.settled)
    )


def _places(settled: Iterable[tuple[int, str]]) -> list[Row]:
    """Return rows of what was settled: several of one instant stand in the order of their texts."""
    rows: list[Row] = []
    for at, text in sorted(settled):
        place = rows[-1][1] + 1 if rows and rows[-1][0] == at else 0
        rows.append((at, place, text))
    return rows


def _insert(database: Database, table: str, columns: Sequence[str], rows: Sequence[Row]) -> None:
    """Insert rows, save those that another writer, who judged the same, has written already."""
    names, marks = ", ".join(columns), ", ".join(f":{column}" for column in columns)
    sql = f"INSERT INTO {table} ({names}) VALUES ({marks}) ON CONFLICT DO NOTHING"
    for row in rows:
        database.execute(sql, dict(zip(columns, row, strict=True)))


def _stale(database: Database, ever: int) -> list[int]:
    """Return the instants of the checkpoints that are kept no longer. There are always few."""
    stored = database.rows("SELECT at, events FROM checkpoint ORDER BY at")
    return [int(at) for at, events in stored[:-1] if not is_kept(events, ever)]


def _thin(database: Database) -> None:
    for at in _stale(database, _ever(database)):
        database.execute("DELETE FROM checkpoint WHERE at = :at", {"at": at})


def _ever(database: Database) -> int:
    """Return how many events there would be if none had been withdrawn: a count that never falls."""
    sql = "SELECT coalesce(max(number), 0), (SELECT count(*) FROM event WHERE corrects > 0) FROM event"
    row = database.row(sql)
    assert row is not None
    # The sum keeps a planner from the index of `corrects`, where nearly every event is null.
    book = [
        database.row(
            "SELECT count(*) FROM event WHERE action = :action AND corrects + 0 IS NULL", {"action": action}
        )
        for action in sorted(BOOK_ACTIONS - {WITHDRAW})
    ]
    return int(row[0]) - int(row[1]) - sum(int(one[0]) for one in book if one is not None)


def _last_known(database: Database, after: int, at: int) -> int:
    """Return the last `known` of all rows that shaped what happened after one instant, up to another."""
    span = {"after": after, "at": at}
    told = database.row("SELECT max(known) FROM event WHERE happened > :after AND happened <= :at", span)
    sql = (
        "SELECT max(x.known) FROM event e JOIN event x ON x.corrects = e.number"
        " WHERE e.happened > :after AND e.happened <= :at"
    )
    corrected = database.row(sql, span)
    return max(int(row[0] or 0) for row in (told, corrected) if row is not None)


def _changed_since(database: Database, known: int) -> int:
    """Return the earliest instant of the past that rows which became known later have changed."""
    sql = (
        f"SELECT e.action, e.happened, {_INITIAL}, t.action, t.happened, {_INITIAL.replace('e.', 't.')}"
        " FROM event e LEFT JOIN event t ON t.number = e.corrects WHERE e.known > :known"
    )
    limit = NEVER
    for action, happened, is_initial, other, then, was_initial in database.rows(sql, {"known": known}):
        if action == DEFINE or is_initial or was_initial:
            return -NEVER
        limit = min(limit, happened - (action in REVISIONS))
        limit = limit if then is None else min(limit, then - (other in REVISIONS))
    return limit
