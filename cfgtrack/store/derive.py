"""The derived state: what `touch` and `change` must hold, worked out from the journal alone.

Recording writes the same rows as it goes. Here they come from nothing but the events as recorded and the
definitions as they were known when each event was: so the two tables are a cache that can be dropped.
"""

# ruff: noqa: S608 - the only text put into these statements is names written here
from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import MISSING
from typing import NamedTuple, cast, get_type_hints

import msgspec

from cfgtrack.model.action import WITHDRAW
from cfgtrack.model.codec import IN_JSON, event_from_json
from cfgtrack.model.event import Event, effects
from cfgtrack.model.trouble import NoAnswer, Problem
from cfgtrack.store.columns import NEVER
from cfgtrack.store.database import Database, Row
from cfgtrack.store.definitions import read_definitions
from cfgtrack.store.rows import CHANGE_COLUMNS, KEY_OF_CHANGE, TOUCH_COLUMNS, change_rows, owners_touched

PAGE = 5_000


class Derived(NamedTuple):
    """The rows of the two derived tables that one page of events gives."""

    events: int
    touches: list[Row]
    changes: list[Row]


_HINTS = get_type_hints(Event)
WRITTEN = [
    (told.name, _HINTS[told.name], msgspec.NODEFAULT if told.unsaid is MISSING else told.unsaid)
    for told in sorted(IN_JSON, key=lambda told: told.unsaid is not MISSING)
]
"""The fields of an event in JSON: name, type, and what it is where it isn't said."""

_READ_PAGE = msgspec.json.Decoder(list[msgspec.defstruct("Written", WRITTEN)])  # type: ignore[misc] # just made
"""Reads a page of events, each with the fields of `Event`: five times as fast as making events."""

READ_EVENT = msgspec.json.Decoder(msgspec.defstruct("Strict", WRITTEN, forbid_unknown_fields=True))
"""Reads an event, and refuses what has another field, or another type of one, than events have."""

UNREADABLE = (msgspec.MsgspecError, KeyError, TypeError, AssertionError)
"""What comes of an event or a definition that isn't as it was recorded."""


def derive(database: Database) -> Iterator[Derived]:
    """Yield the rows that the journal gives, page by page in journal order."""
    corrected = "SELECT corrects, known FROM event WHERE corrects IS NOT NULL"
    ended: dict[int, int] = {int(n): int(known) for n, known in database.rows(corrected)}
    definitions = read_definitions(database)
    after = 0
    sql = (
        "SELECT number, happened, known, turn, action, corrects, body FROM event"
        " WHERE number > :after ORDER BY number LIMIT :page"
    )
    while page := database.rows(sql, {"after": after, "page": PAGE}):
        after = page[-1][0]
        touches: list[Row] = []
        changes: list[Row] = []
        events = _READ_PAGE.decode(f"[{','.join([row[6] for row in page])}]")
        for (number, happened, known, turn, action, corrects, _), written in zip(page, events, strict=True):
            event = cast("Event", written)
            plant = definitions.plant(happened, known)
            owners = owners_touched(plant, event)
            if action == WITHDRAW:
                owners |= owners_touched(plant, _event(database, corrects))
            touches.extend([(owner, happened, number) for owner in owners])
            until = ended.get(number, NEVER)
            changes.extend(change_rows(effects(plant, event), happened, turn, number, known, until))
        yield Derived(len(page), touches, changes)


def _event(database: Database, number: int) -> Event:
    row = database.row("SELECT body FROM event WHERE number = :number", {"number": number})
    assert row is not None
    return event_from_json(json.loads(row[0]))


def rebuild_state(database: Database) -> int:
    """Drop the derived state and build it anew, all but what judging leaves: that takes the rules. Return the number

    of events read. Inside `Database.writing`.
    """
    for table in ("touch", "change", "checkpoint", "settled"):
        database.execute(f"DELETE FROM {table}")
    events = 0
    try:
        for derived in derive(database):
            events += derived.events
            # In the order of the table's key, a page of rows lands on few pages of the file.
            database.insert("touch", TOUCH_COLUMNS, sorted(derived.touches))
            database.insert("change", CHANGE_COLUMNS, sorted(derived.changes, key=KEY_OF_CHANGE))
    except UNREADABLE as err:
        sentence = "the journal can't be read to its end: `cfgtrack audit` says where it was changed"
        raise NoAnswer(Problem(database.where, "changed", sentence)) from err
    return events


def stored_pages(database: Database, table: str) -> Iterator[list[Row]]:
    """Yield the rows of `touch` or `change` as they are stored, in the order of their keys, page by page."""
    columns, keys = (TOUCH_COLUMNS, 3) if table == "touch" else (CHANGE_COLUMNS, 5)
    named, order = ", ".join(columns), ", ".join(columns[:keys])
    marks = ", ".join(f":last_{column}" for column in columns[:keys])
    page = database.rows(f"SELECT {named} FROM {table} ORDER BY {order} LIMIT :page", {"page": PAGE})
    following = f"SELECT {named} FROM {table} WHERE ({order}) > ({marks}) ORDER BY {order} LIMIT :page"
    while page:
        yield page
        last = {f"last_{columns[i]}": page[-1][i] for i in range(keys)}
        page = database.rows(following, {**last, "page": PAGE})
