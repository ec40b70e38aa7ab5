"""Events as rows and back: what one event writes into each table."""

# ruff: noqa: S608 - the only text put into a statement is the condition written here
from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace
from json.encoder import encode_basestring
from operator import attrgetter, itemgetter
from typing import Any

from cfgtrack.model.codec import IN_JSON, Form, event_from_json, to_json
from cfgtrack.model.event import Effect, Entry, Event
from cfgtrack.model.gate import fault_of_text
from cfgtrack.model.plant import Plant, owner_of
from cfgtrack.model.presence import doer_of
from cfgtrack.store.canonical import NotCanonical, canonical_json
from cfgtrack.store.columns import AT_PLACE, NEVER
from cfgtrack.store.database import Database, Row
from cfgtrack.store.merkle import leaf_hash
from cfgtrack.store.signing import read_signed, signed_text

EVENT_COLUMNS = (
    "number",
    "id",
    "happened",
    "known",
    "turn",
    "action",
    "corrects",
    "body",
    "leaf",
    "signed",
    "login",
)
TOUCH_COLUMNS = ("owner", "happened", "number")
CHANGE_COLUMNS = (
    "subject",
    "aspect",
    "happened",
    "turn",
    "number",
    "known",
    "until",
    "value",
    "other",
    "cycle",
)

TOLD = "e.known + 0 <= :known"
"""What an event `e` must be to have been known by `known`. The sum keeps a planner that has no statistics yet from
looking for it in the index of `known`, where nearly every event qualifies."""

IN_EFFECT = f"{TOLD} AND NOT EXISTS (SELECT 1 FROM event x WHERE x.corrects = e.number AND x.known <= :known)"
"""What an event `e` must be to count at `known`: told by then, and neither superseded nor withdrawn."""


def leaf_record(
    body: bytes, number: int, known: int, signed: bytes | None = None, login: str | None = None
) -> bytes:
    """Return what a leaf of the tree is the hash of: the event, its number and when it became known; who signed it.

    The members in alphabetical order make it canonical JSON itself. What is signed is of version 2; what isn't is as
    it was before there were signatures, so that no leaf of then, nor what recording costs, is another. Version 3 has
    what the server called whoever recorded it.
    """
    if login is not None:
        more = b"" if signed is None else b'"signed":%b,' % signed
        return b'{"event":%b,"known":%d,"login":%b,"number":%d,%b"version":3}' % (
            body,
            known,
            encode_basestring(login).encode(),
            number,
            more,
        )
    if signed is None:
        return b'{"event":%b,"known":%d,"number":%d}' % (body, known, number)
    return b'{"event":%b,"known":%d,"number":%d,"signed":%b,"version":2}' % (body, known, number, signed)


def event_row(
    event: Event, number: int, known: int, turn: int, corrects: int | None, login: str | None = None
) -> tuple[Row, bytes]:
    """Return the row of `event`, and its leaf. NotCanonical when it holds what JSON can't."""
    text = event_text(event)
    signed = None if event.signed is None else signed_text(event.signed)
    try:
        leaf = leaf_hash(
            leaf_record(text.encode(), number, known, None if signed is None else signed.encode(), login)
        )
    except UnicodeEncodeError as err:
        raise NotCanonical("half a surrogate pair in a text") from err
    row = (number, event.id, event.happened, known, turn, event.action, corrects, text, leaf, signed, login)
    return row, leaf


def event_text(event: Event) -> str:
    """Return `canonical_json` of an event's JSON object, as text: written directly, as every event comes here."""
    told = zip(_VALUES(event), _UNSAID, _STARTS, _WRITERS, strict=True)
    parts = [s + write(value) for value, unsaid, s, write in told if value is not unsaid and value != unsaid]
    return f"{{{','.join(parts)}}}"


def _texts(texts: Iterable[str]) -> str:
    return f"[{','.join(map(encode_basestring, texts))}]"


def _flag(flag: bool) -> str:  # noqa: FBT001 - the value itself
    return "true" if flag else "false"


def _object(form: Form) -> Callable[[Any], str]:
    return lambda value: canonical_json(to_json(form, value)).decode()


_WRITE: dict[Form, Callable[[Any], str]] = {
    Form.TEXT: encode_basestring,
    Form.NUMBER: str,
    Form.TEXTS: _texts,
    Form.FLAG: _flag,
    Form.VALUES: _object(Form.VALUES),
    Form.BODY: _object(Form.BODY),
    Form.PLACES: _object(Form.PLACES),
}
_SORTED = sorted(IN_JSON)
_UNSAID = [told.unsaid for told in _SORTED]
_STARTS = [f'"{told.name}":' for told in _SORTED]
_WRITERS = [_WRITE[told.form] for told in _SORTED]
_VALUES = attrgetter(*(told.name for told in _SORTED))


def entry_of(body: str, number: int, known: int) -> Entry:
    """Return the entry that a row of `event` holds."""
    return Entry(event_from_json(json.loads(body)), number, known)


def with_signature(entry: Entry, signed: str | None, login: str | None = None) -> Entry:
    """Return an entry with what its row holds of whoever recorded it: the signature, and what the server called him."""
    if login is not None:
        entry = replace(entry, login=login)
    return entry if signed is None else replace(entry, event=replace(entry.event, signed=read_signed(signed)))


MANY = 200
"""From so many events on, a faster reader is worth the time that it takes to load."""


def entries_of(rows: Sequence[Row]) -> list[Entry]:
    """Return the entries of many rows that begin with body, number, known."""
    if len(rows) < MANY:
        return [entry_of(*row[:3]) for row in rows]
    import msgspec

    read = msgspec.json.decode(f"[{','.join([row[0] for row in rows])}]")
    return [Entry(event_from_json(event), row[1], row[2]) for event, row in zip(read, rows, strict=True)]


def owners_touched(plant: Plant, event: Event) -> dict[str, None]:
    """Return the units, places and parts that an event names or changes, each once; with sites, who did it."""
    owners: dict[str, None] = {}
    for subject in event.subjects:
        owners[owner_of(subject)] = None
    for subject in event.moved:
        owners[owner_of(subject)] = None
    if event.peer is not None:
        owners[owner_of(event.peer)] = None
    if event.place is not None:
        owners[event.place] = None
    for subject in (*event.carried, *event.ends, *event.found, *event.parted):
        owners[owner_of(subject)] = None
    if plant.has_sites and (doer := doer_of(plant, event)) is not None:
        owners[doer] = None
    return owners


KEY_OF_CHANGE = itemgetter(0, 1, 2, 3, 4)
"""The key of a row of `change`, to sort by."""


def change_rows(
    effects: Sequence[Effect], happened: int, turn: int, number: int, known: int, until: int = NEVER
) -> list[Row]:
    """Return the rows of what an event has written. Of two writes of one thing the last counts."""
    found: Iterable[Effect] = effects
    if len(effects) > 2:
        found = {(e.subject, e.aspect): e for e in effects}.values()
    return [
        (
            e.subject,
            e.aspect or ("" if ":" in e.subject else AT_PLACE),
            happened,
            turn,
            number,
            known,
            until,
            e.value,
            e.other,
            e.cycle,
        )
        for e in found
    ]


def find_entry(database: Database, event_id: str) -> Entry | None:
    """Return the entry of the event with this id, or None."""
    if fault_of_text(event_id, is_free=True):  # no database keeps such a text, nor takes it in a question
        return None
    row = database.row(
        "SELECT body, number, known, signed, login FROM event WHERE id = :id", {"id": event_id}
    )
    return None if row is None else with_signature(entry_of(*row[:3]), *row[3:])
