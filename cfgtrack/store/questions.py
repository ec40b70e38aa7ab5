"""What can be asked of the events themselves. SQL in, entries out."""

# ruff: noqa: S608 - the only text put into these statements is the conditions written here
from __future__ import annotations

from collections.abc import Iterable, Iterator

from cfgtrack.model import action as ac
from cfgtrack.model.event import Entry, LogLine
from cfgtrack.model.plant import Plant, owner_of
from cfgtrack.store.columns import NEVER
from cfgtrack.store.database import Database, Parameters, Row
from cfgtrack.store.rows import IN_EFFECT, TOLD, entries_of, entry_of

PAGE = 2_000
"""Events are read so many at a time: an answer of any length takes constant memory, and blocks nobody."""


def entries(
    database: Database, *, known: int, since: int | None = None, until: int = NEVER
) -> Iterator[Entry]:
    """Yield the events in effect with `since` < happened <= `until`, in the order in which they count."""
    sql = (
        "SELECT e.body, e.number, e.known, e.happened, e.turn FROM event e"
        " WHERE (e.happened, e.turn, e.number) > (:happened, :turn, :number) AND e.happened <= :until"
        f" AND {IN_EFFECT}"
        " ORDER BY e.happened, e.turn, e.number LIMIT :page"
    )
    last: Row = (None, 0, None, -NEVER, 0) if since is None else (None, NEVER, None, since, NEVER)
    while True:
        parameters = {"happened": last[3], "turn": last[4], "number": last[1], "until": until, "known": known}
        page = database.rows(sql, {**parameters, "page": PAGE})
        yield from entries_of(page)
        if len(page) < PAGE:
            return
        last = page[-1]


def last_happened(database: Database, *, known: int) -> tuple[int, str]:
    """Return when the last event in effect happened, and its id; 0 and "" when there is none."""
    sql = f"SELECT e.happened, e.id FROM event e WHERE {IN_EFFECT} ORDER BY e.happened DESC LIMIT 1"
    row = database.row(sql, {"known": known})
    return (0, "") if row is None else (int(row[0]), str(row[1]))


def log(database: Database, *, known: int, after: int = 0) -> Iterator[LogLine]:
    """Yield every event with a number above `after`, in the order of the journal, corrected or not."""
    sql = (
        "SELECT e.body, e.number, e.known, x.id FROM event e"
        " LEFT JOIN event x ON x.corrects = e.number AND x.known <= :known"
        f" WHERE e.number > :after AND {TOLD} ORDER BY e.number LIMIT :page"
    )
    while True:
        page = database.rows(sql, {"after": after, "known": known, "page": PAGE})
        yield from (LogLine(entry, row[3]) for entry, row in zip(entries_of(page), page, strict=True))
        if len(page) < PAGE:
            return
        after = page[-1][1]


def history(database: Database, subject: str, *, start: int, end: int, known: int) -> Iterator[Entry]:
    """Yield the events in effect that name or change `subject`, with `start` <= happened < `end`, in order."""
    sql = (
        "SELECT e.body, e.number, e.known FROM touch t JOIN event e ON e.number = t.number"
        " WHERE t.owner = :owner AND t.happened >= :start AND t.happened < :end"
        f" AND {IN_EFFECT} ORDER BY e.happened, e.turn"
    )
    parameters = {"owner": owner_of(subject), "start": start, "end": end, "known": known}
    for entry in entries_of(database.rows(sql, parameters)):
        if ":" not in subject or _names(entry, subject):
            yield entry


def _names(entry: Entry, port: str) -> bool:
    event = entry.event
    return port in event.subjects or port in event.moved or port == event.peer


def last(database: Database, subject: str, action: str, *, at: int, known: int) -> Entry | None:
    """Return the last event in effect of this action on `subject`, or None."""
    sql = (
        "SELECT e.body, e.number, e.known FROM touch t JOIN event e ON e.number = t.number"
        " WHERE t.owner = :owner AND t.happened <= :at AND e.action = :action"
        f" AND {IN_EFFECT} ORDER BY e.happened DESC, e.turn DESC"
    )
    parameters = {"owner": owner_of(subject), "at": at, "known": known, "action": action}
    found = (entry_of(*row) for row in database.rows(sql, parameters))
    return next((e for e in found if subject in e.event.subjects or subject in e.event.moved), None)


_OF_ACTION = (
    "SELECT e.body, e.number, e.known FROM event e"
    " WHERE e.action = :action AND e.happened <= :at"
    f" AND {IN_EFFECT} ORDER BY e.happened, e.turn"
)


def of_action(database: Database, action: str, *, at: int, known: int) -> list[Entry]:
    """Return all events in effect of one action, in order."""
    return entries_of(database.rows(_OF_ACTION, {"action": action, "at": at, "known": known}))


def discrepancies(database: Database, *, at: int, known: int) -> list[Entry]:
    """Return the as-found events that contradicted the record and that nobody has explained yet."""
    found = [e for e in of_action(database, ac.FOUND, at=at, known=known) if e.event.expected]
    # An explanation answers for good, whatever the moment that it is about.
    explained = {e.event.explains for e in of_action(database, ac.EXPLAIN, at=NEVER, known=known)}
    return [e for e in found if e.event.id not in explained]


def remarks(database: Database, plant: Plant, subjects: Iterable[str], *, at: int, known: int) -> list[Entry]:
    """Return the remarks that stick to `subjects`, to the units and places that have them, and to their parts."""
    wanted: dict[str, None] = {}
    for subject in subjects:
        owner = owner_of(subject)
        wanted.update({subject: None, owner: None})
        if plant.has_owner(owner):
            wanted[plant.part_of(owner).id] = None
    sql = (
        "SELECT e.body, e.number, e.known FROM touch t JOIN event e ON e.number = t.number"
        " WHERE t.owner = :owner AND t.happened <= :at AND e.action = :action"
        f" AND {IN_EFFECT}"
    )
    found: dict[int, Entry] = {}
    for owner in dict.fromkeys(owner_of(w) for w in wanted):
        parameters: Parameters = {"owner": owner, "at": at, "known": known, "action": ac.REMARK}
        for row in database.rows(sql, parameters):
            entry = entry_of(*row)
            if any(s in wanted for s in entry.event.subjects):
                found[entry.number] = entry
    return sorted(found.values(), key=lambda e: (e.event.happened, e.number))


def corrected_by(database: Database, event_id: str, *, known: int) -> Entry | None:
    """Return the event that superseded or withdrew another one by `known`, or None."""
    sql = (
        "SELECT x.body, x.number, x.known FROM event x JOIN event e ON x.corrects = e.number"
        " WHERE e.id = :id AND x.known <= :known"
    )
    row = database.row(sql, {"id": event_id, "known": known})
    return None if row is None else entry_of(*row)
