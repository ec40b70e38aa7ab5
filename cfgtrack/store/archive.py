"""The whole journal as text: JSON Lines that hold everything recorded, and nothing derived.

The first line names the form. Then come, in the order of the journal, the events, each `define` event followed by
the items that it loaded, and the tree heads. Reading an archive checks every leaf and every head as it goes: so
what comes back is what went out, in whichever database.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import msgspec

from cfgtrack.model.action import DEFINITIONS
from cfgtrack.model.signature import signed_from_json, signed_to_json
from cfgtrack.model.trouble import BadInput, NoAnswer, Problem, Trouble
from cfgtrack.model.unknown import UNKNOWN, no_such
from cfgtrack.store.canonical import NotCanonical, canonical_json
from cfgtrack.store.columns import NEVER
from cfgtrack.store.database import Database, Row, file_of
from cfgtrack.store.derive import READ_EVENT, rebuild_state
from cfgtrack.store.loading import Bodies, Written, items_hash, texts_hash, texts_of
from cfgtrack.store.merkle import Frontier, leaf_hash
from cfgtrack.store.migrations import bring_forward, is_empty, revision_of
from cfgtrack.store.rows import EVENT_COLUMNS, leaf_record

FORM = {"cfgtrack": "archive", "version": 1}
PAGE = 5_000

MOST_LINE = 64_000_000
"""No line of an archive has more characters: an event that names as much as one may, and an item, have less."""

NO_COPY = (
    "so no copy was made, and older ones are as they were: keep those; `cfgtrack audit` of the database itself says"
    " what is wrong with it and what to do, and where that is sound it is the copy's disk"
)
"""What is said where a copy would not be what was recorded."""


def write_archive(database: Database) -> Iterator[str]:
    """Yield the archive's lines, each ended: everything up to the last event there is at the start.

    Every leaf, head and definition is held against what is written. NoAnswer where one doesn't fit: what was written
    until then is no archive, and isn't taken for one, as its last events are under no head.
    """
    yield _line(FORM)
    [(end, events)] = database.rows(
        "SELECT (SELECT coalesce(max(number), 0) FROM tree_head), (SELECT coalesce(max(number), 0) FROM event)"
    )
    if events != end:
        raise _changed(database, f"there are {events} events, and the last tree head is of {end}")
    tree = Frontier()
    heads = iter(
        database.rows(
            "SELECT number, known, root FROM tree_head WHERE number <= :end ORDER BY number", {"end": end}
        )
    )
    head = next(heads, None)
    sql = (
        "SELECT number, known, action, body, signed, login, leaf FROM event"
        " WHERE number > :after AND number <= :end ORDER BY number LIMIT :page"
    )
    after = 0
    while page := database.rows(sql, {"after": after, "end": end, "page": PAGE}):
        for number, known, action, body, signed, login, leaf in page:
            try:
                record = leaf_record(body.encode(), number, known, signed and signed.encode(), login)
            except (AttributeError, TypeError, ValueError):  # a column that was made to hold something else
                record = b""
            made = leaf_hash(record)
            tree.append(made)
            if number != tree.size or made != leaf:
                raise _changed(database, f"event number {number} is not what its leaf was made from")
            yield record.decode() + "\n"
            if action in DEFINITIONS:
                yield from _items(database, number, body)
            if head is not None and head[0] == number:
                if bytes(head[2]) != tree.root():
                    raise _changed(database, f"the tree head of number {number} is not that of the events")
                yield _line({"head": {"size": number, "known": head[1], "root": bytes(head[2]).hex()}})
                head = next(heads, None)
        after = page[-1][0]
    if tree.size != end:
        raise _changed(database, f"event number {tree.size + 1} is missing")


def _changed(database: Database, sentence: str) -> NoAnswer:
    return NoAnswer(Problem(database.where, "changed", f"{sentence}; {NO_COPY}"))


def _items(database: Database, number: int, event: str) -> Iterator[str]:
    found = texts_of(database, number)
    if not _commits_to(event, found):
        raise _changed(database, f"the items loaded with event number {number} are not those it commits to")
    for sort, texts in found.items():
        for i, body in texts.items():
            item = None if body is None else json.loads(body)
            yield _line({"item": {"sort": sort, "id": i, "load": number, "body": item}})


def _commits_to(event: str, texts: dict[str, Written]) -> bool:
    try:
        return bool(json.loads(event)["body"]["items"] == texts_hash(texts))
    except (ValueError, KeyError, TypeError, NotCanonical):
        return False


def _line(record: dict[str, Any]) -> str:
    return canonical_json(record).decode() + "\n"


@dataclass(frozen=True, slots=True)
class Source:
    """The lines of an archive, and what they are called: a text whose lines have numbers, or another database."""

    lines: Iterable[str | bytes]
    where: str = "archive"
    is_text: bool = True


def read_archive(source: Source | Iterable[str], url: str) -> int:
    """Make a new journal at `url` of an archive's lines. Return its number of events. All of it, or nothing.

    BadInput, naming the line, when it is no archive or was changed; NoAnswer when there is something at `url`.
    """
    file = file_of(url)
    is_new = file is not None and not file.exists()
    try:
        return fill(url, source if isinstance(source, Source) else Source(source))
    except Trouble:
        if file is not None and is_new:  # the empty file that was made for what turned out to be no archive
            for suffix in ("", "-wal", "-shm"):
                Path(f"{file}{suffix}").unlink(missing_ok=True)
        raise


def fill(url: str, source: Source, *, where: str | None = None) -> int:
    """Write an archive into a database that holds nothing yet. Return the number of events.

    One transaction, the tables included: whenever it is cut off, the database is as it was. Nothing yet is no table at
    all, or a journal without an event. `where`: what trouble with the database calls it.
    BadInput, naming the line, when it is no archive or was changed; NoAnswer when the database holds something.
    """
    file = file_of(url)
    with closing(Database(url, create=file is not None and not file.exists(), where=where)) as database:
        _expect_room(database)
        if file is not None:
            database.rows("PRAGMA journal_mode = WAL")
        with database.writing():
            bring_forward(database)
            _expect_room(database)
            events = fill_from_archive(database, source)
        if file is not None:
            database.rows("PRAGMA wal_checkpoint(TRUNCATE)")
    return events


def _expect_room(database: Database) -> None:
    """Raise NoAnswer when the database holds events, or something else than a journal."""
    if is_empty(database):
        return
    if revision_of(database) is None:
        raise NoAnswer(Problem(database.where, "not-a-journal", "this database holds something else"))
    if database.row("SELECT 1 FROM event LIMIT 1") is not None:
        raise NoAnswer(Problem(database.where, "exists", "there is a database already: it is left alone"))


def fill_from_archive(database: Database, source: Source | Iterable[str]) -> int:
    """Write an archive into an empty journal. Inside `Database.writing`. Return the number of events.

    BadInput, naming the line, when it is no archive or was changed.
    """
    source = source if isinstance(source, Source) else Source(source)
    reader = _ArchiveReader(database, source)
    for number, text in enumerate(_bounded(source.lines), start=1):
        reader.line(number, text)
    return reader.end()


def _bounded(lines: Iterable[str | bytes]) -> Iterator[str | bytes]:
    """Yield lines; of one that is longer than any is, as of a file that is no archive, no more than its beginning."""
    readline = getattr(lines, "readline", None)
    if readline is None:
        yield from lines
        return
    while text := readline(MOST_LINE + 1):
        yield text


class _ArchiveReader:
    def __init__(self, database: Database, source: Source) -> None:
        self.database = database
        self.source = source
        self.tree = Frontier()
        self.at = 0
        self.headed = 0
        self.known = 0
        self.events: list[Row] = []
        self.lines: list[int] = []
        self.items: list[Row] = []
        self.heads: list[Row] = []
        self.commits: str | None = None
        self.loaded: dict[str, Bodies] = {}

    def line(self, at: int, text: str | bytes) -> None:
        """Take one line."""
        self.at = at
        if self.source.is_text and len(text) > MOST_LINE:
            raise self._bad("too-large", f"expected a line of at most {MOST_LINE // 1_000_000} MB")
        try:
            record = json.loads(text if isinstance(text, str) else text.decode())
            self._take(record)
        except UnicodeDecodeError:
            raise self._bad(
                "not-text", "this line is no UTF-8 text: the file was damaged, or saved as another"
            ) from None
        except (KeyError, TypeError, AttributeError, ValueError, RecursionError):
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
        sort, i, load = item["sort"], item["id"], item["load"]
        if load != self.tree.size:
            raise self._bad("definition", f"item {i} belongs to event number {load}")
        if not (_is_kept(sort) and _is_kept(i)):
            raise self._bad("not-an-archive", "expected texts as the sort and the id of an item")
        body = None if item["body"] is None else canonical_json(item["body"]).decode()
        loaded = self.loaded.setdefault(sort, {})
        if i in loaded:
            raise self._bad("doubled", f"{sort} {i} was loaded with event number {load} already")
        loaded[i] = item["body"]
        self.items.append((sort, i, load, body))

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
        if type(known) is not int or not -NEVER <= known <= NEVER:
            raise self._bad("not-an-archive", "expected a whole number as when the event became known")
        if self.tree.size and known <= self.known:
            raise self._bad("order", f"event number {number} became known no later than the one before it")
        body = canonical_json(event)
        signed = record.get("signed")
        self._expect_event(event, body)
        try:
            text = None if signed is None else canonical_json(signed_to_json(signed_from_json(signed)))
        except ValueError as err:
            raise self._bad("not-an-archive", f"signed: {err}") from None
        login = record.get("login")
        if login is not None and not (_is_kept(login) and login):
            raise self._bad("not-an-archive", "expected a text as the login")
        leaf = leaf_hash(leaf_record(body, number, known, text, login))
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
            login,
        )
        self.events.append(row)
        self.lines.append(self.at)
        self.known = known
        if event["action"] in DEFINITIONS:
            self.commits = str(event["body"]["items"])

    def _expect_event(self, event: dict[str, Any], body: bytes) -> None:
        try:
            READ_EVENT.decode(body)
        except msgspec.MsgspecError as err:
            raise self._bad(
                "not-an-archive", f"this is no event of a journal: {_lowered(str(err))}"
            ) from None
        if not all(_is_kept(event[name]) for name in ("id", "action")):
            raise self._bad("not-an-archive", "an event needs an id and an action, without a NUL in it")

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
        root = self.tree.root()
        is_same = (head["size"], head["known"], head["root"]) == (self.tree.size, self.known, root.hex())
        if not is_same:
            sentence = (
                f"the events up to number {self.tree.size} are not those of the tree head: they were changed"
            )
            raise self._bad("changed", sentence)
        if self.headed == self.tree.size:
            raise self._bad("doubled", f"there is a tree head of {self.headed} events already")
        self.headed = self.tree.size
        self.heads.append((head["size"], head["known"], root, self.tree.to_bytes()))

    def _write(self) -> None:
        try:
            with self.database.attempt():
                self.database.insert("event", EVENT_COLUMNS, self.events)
        except self.database.doubled:
            raise self._doubled() from None
        self.database.insert("item", ("sort", "id", "load", "body"), self.items)
        self.database.insert("tree_head", ("number", "known", "root", "frontier"), self.heads)
        self.events, self.lines, self.items, self.heads = [], [], [], []

    def _doubled(self) -> BadInput:
        """Return what is wrong with the first of the events to be written that the database took for a double."""
        ids: dict[str, int] = {}
        corrected: set[int] = set()
        for row, line in zip(self.events, self.lines, strict=True):
            self.at = line
            number, i, corrects = row[0], row[1], row[6]
            first = ids.get(i) or self._number("SELECT number FROM event WHERE id = :it", i)
            if first is not None:
                return self._bad("doubled", f"event {i} is in it already, as number {first}")
            before = corrects is not None and self._number(
                "SELECT number FROM event WHERE corrects = :it", corrects
            )
            if before or corrects in corrected:
                return self._bad("doubled", f"what event {i} corrects has been corrected already")
            ids[i] = number
            if corrects is not None:
                corrected.add(corrects)
        raise AssertionError("a database that refuses events that aren't doubled")

    def _number(self, sql: str, it: object) -> int | None:
        row = self.database.row(sql, {"it": it})
        return None if row is None else int(row[0])

    def end(self) -> int:
        """Write the rest, and derive the state."""
        self._write()
        if self.headed != self.tree.size or self.at == 0:
            raise self._bad(
                "cut-off", "the archive ends in the middle: its last events are under no tree head"
            )
        try:
            rebuild_state(self.database)
        except (NoAnswer, LookupError, AttributeError, ValueError) as err:
            if isinstance(err, NoAnswer) and err.problems[0].code != "changed":
                raise
            sentence = "its events can't be followed to the end: it was not written by this program"
            raise BadInput(Problem(self.source.where, "changed", sentence)) from err
        return self.tree.size

    def _bad(self, code: str, sentence: str) -> BadInput:
        where = f"{self.source.where}:{self.at}" if self.source.is_text else self.source.where
        return BadInput(Problem(where, code, sentence))


def _is_kept(text: object) -> bool:
    """Return whether a database keeps this as a name: PostgreSQL takes no NUL."""
    return isinstance(text, str) and bool(text) and "\0" not in text


def _lowered(sentence: str) -> str:
    return sentence[:1].lower() + sentence[1:]
