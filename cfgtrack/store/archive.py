"""The whole journal as text: JSON Lines that hold everything recorded, and nothing derived.

The first line names the form. Then come, in the order of the journal, the events, each `define` event followed by
the items that it loaded, and the tree heads. Reading an archive checks every leaf and every head as it goes: so
what comes back is what went out, in whichever database.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator
from contextlib import closing
from pathlib import Path
from typing import Any

from cfgtrack.model.action import DEFINITIONS
from cfgtrack.model.signature import signed_from_json, signed_to_json
from cfgtrack.model.trouble import BadInput, Problem
from cfgtrack.model.unknown import UNKNOWN, no_such
from cfgtrack.store.canonical import NotCanonical, canonical_json
from cfgtrack.store.database import Database, Row, location
from cfgtrack.store.derive import rebuild_state
from cfgtrack.store.journal import create
from cfgtrack.store.loading import Bodies, items_hash
from cfgtrack.store.merkle import Frontier, leaf_hash
from cfgtrack.store.rows import EVENT_COLUMNS, leaf_record

FORM = {"cfgtrack": "archive", "version": 1}
PAGE = 5_000


def write_archive(database: Database) -> Iterator[str]:
    """Yield the archive's lines, each ended: everything up to the last event there is at the start."""
    yield _line(FORM)
    last = database.row("SELECT max(number) FROM tree_head")
    end = 0 if last is None or last[0] is None else int(last[0])
    heads = iter(
        database.rows(
            "SELECT number, known, root FROM tree_head WHERE number <= :end ORDER BY number", {"end": end}
        )
    )
    head = next(heads, None)
    sql = (
        "SELECT number, known, action, body, signed FROM event"
        " WHERE number > :after AND number <= :end ORDER BY number LIMIT :page"
    )
    after = 0
    while page := database.rows(sql, {"after": after, "end": end, "page": PAGE}):
        for number, known, action, body, signed in page:
            yield leaf_record(body.encode(), number, known, signed and signed.encode()).decode() + "\n"
            if action in DEFINITIONS:
                yield from _items(database, number)
            if head is not None and head[0] == number:
                yield _line({"head": {"size": number, "known": head[1], "root": bytes(head[2]).hex()}})
                head = next(heads, None)
        after = page[-1][0]


def _items(database: Database, number: int) -> Iterator[str]:
    sql = "SELECT sort, id, body FROM item WHERE load = :load ORDER BY sort, id"
    for sort, i, body in database.rows(sql, {"load": number}):
        item = None if body is None else json.loads(body)
        yield _line({"item": {"sort": sort, "id": i, "load": number, "body": item}})


def _line(record: dict[str, Any]) -> str:
    return canonical_json(record).decode() + "\n"


def read_archive(lines: Iterable[str], url: str, *, where: str = "archive") -> int:
    """Make a new journal at `url` of an archive's lines. Return its number of events. All of it, or nothing.

    BadInput, naming the line, when it is no archive or was changed; NoAnswer when there is something at `url`.
    """
    create(url)
    try:
        with closing(Database(url)) as database, database.writing():
            return fill_from_archive(database, lines, where=where)
    except BadInput:
        _uncreate(url)
        raise


def _uncreate(url: str) -> None:
    """Take the empty journal away again that was made for what turned out to be no archive."""
    found = location(url)
    if found.get_backend_name() == "sqlite" and found.database:
        for suffix in ("", "-wal", "-shm"):
            Path(found.database + suffix).unlink(missing_ok=True)


def fill_from_archive(database: Database, lines: Iterable[str], *, where: str = "archive") -> int:
    """Write an archive into an empty journal. Inside `Database.writing`. Return the number of events.

    BadInput, naming the line, when it is no archive or was changed.
    """
    reader = _ArchiveReader(database, where)
    for number, text in enumerate(lines, start=1):
        reader.line(number, text)
    return reader.end()


class _ArchiveReader:
    def __init__(self, database: Database, where: str) -> None:
        self.database = database
        self.where = where
        self.tree = Frontier()
        self.at = 0
        self.headed = 0
        self.events: list[Row] = []
        self.items: list[Row] = []
        self.heads: list[Row] = []
        self.commits: str | None = None
        self.loaded: dict[str, Bodies] = {}

    def line(self, at: int, text: str) -> None:
        """Take one line."""
        self.at = at
        try:
            record = json.loads(text)
            self._take(record)
        except (KeyError, TypeError, AttributeError, ValueError, NotCanonical):
            raise self._bad("not-an-archive", "this line is not one of an archive") from None
        if len(self.events) >= PAGE:
            self._write()

    def _take(self, record: dict[str, Any]) -> None:
        if self.at == 1:
            if record != FORM:
                raise self._bad("not-an-archive", f"expected an archive's first line {_line(FORM).strip()}")
        elif "event" in record:
            self._event(record)
        elif "item" in record:
            self._item(record["item"])
        else:
            self._head(record["head"])

    def _item(self, item: dict[str, Any]) -> None:
        if item["load"] != self.tree.size:
            raise self._bad("definition", f"item {item['id']} belongs to event number {item['load']}")
        body = None if item["body"] is None else canonical_json(item["body"]).decode()
        self.loaded.setdefault(item["sort"], {})[item["id"]] = item["body"]
        self.items.append((item["sort"], item["id"], item["load"], body))

    def _expect_definition(self) -> None:
        """The items since the last event are those that it commits to."""
        if self.commits is None and not self.loaded:
            return
        if self.commits != items_hash(self.loaded):
            sentence = f"the items loaded with event number {self.tree.size} are not those that it commits to"
            raise self._bad("changed", sentence)
        self.commits, self.loaded = None, {}

    def _event(self, record: dict[str, Any]) -> None:
        self._expect_definition()
        event, number, known = record["event"], record["number"], record["known"]
        if number != self.tree.size + 1:
            raise self._bad("gap", f"expected event number {self.tree.size + 1}, found {number}")
        body = canonical_json(event)
        signed = record.get("signed")
        text = None if signed is None else canonical_json(signed_to_json(signed_from_json(signed)))
        leaf = leaf_hash(leaf_record(body, number, known, text))
        self.tree.append(leaf)
        corrects, turn = self._corrects(event, number)
        row = (
            number,
            event["id"],
            event["happened"],
            known,
            turn,
            event["action"],
            corrects,
            body.decode(),
            leaf,
            text and text.decode(),
        )
        self.events.append(row)
        if event["action"] in DEFINITIONS:
            self.commits = str(event["body"]["items"])

    def _corrects(self, event: dict[str, Any], number: int) -> tuple[int | None, int]:
        name = event.get("supersedes") or event.get("withdraws")
        if name is None:
            return None, number
        self._write()
        row = self.database.row("SELECT number, happened, turn FROM event WHERE id = :id", {"id": name})
        if row is None:
            raise self._bad(UNKNOWN, f"{no_such('event', name)} before it, which it corrects")
        same = event.get("supersedes") and row[1] == event["happened"]
        return row[0], row[2] if same else number

    def _head(self, head: dict[str, Any]) -> None:
        self._expect_definition()
        if head["size"] != self.tree.size or head["root"] != self.tree.root().hex():
            sentence = (
                f"the events up to number {self.tree.size} are not those of the tree head: they were changed"
            )
            raise self._bad("changed", sentence)
        self.headed = self.tree.size
        self.heads.append((head["size"], head["known"], self.tree.root(), self.tree.to_bytes()))

    def _write(self) -> None:
        self.database.insert("event", EVENT_COLUMNS, self.events)
        self.database.insert("item", ("sort", "id", "load", "body"), self.items)
        self.database.insert("tree_head", ("number", "known", "root", "frontier"), self.heads)
        self.events, self.items, self.heads = [], [], []

    def end(self) -> int:
        """Write the rest, and derive the state."""
        self._write()
        if self.headed != self.tree.size or self.at == 0:
            raise self._bad(
                "cut-off", "the archive ends in the middle: its last events are under no tree head"
            )
        rebuild_state(self.database)
        return self.tree.size

    def _bad(self, code: str, sentence: str) -> BadInput:
        return BadInput(Problem(f"{self.where}:{self.at}", code, sentence))
