"""The audit: the journal compared with itself, and with a tree head that was kept elsewhere.

Everything is computed anew: the canonical JSON and the leaf of every event, the tree, every tree head, what a
`define` event commits to, and the derived state. What only the journal's owner could have forged (by computing
all of it anew as well) shows against a head that somebody else has kept.
"""

# ruff: noqa: S608 - the only text put into these statements is names written here
from __future__ import annotations

import json
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Any, ClassVar, NamedTuple, TypeGuard

from cfgtrack.model.action import DEFINITIONS
from cfgtrack.model.codec import event_from_json
from cfgtrack.model.event import Entry
from cfgtrack.model.handover import HANDOVERS, SaidHead, handed_over
from cfgtrack.model.people import has_roles
from cfgtrack.model.present import mark_of
from cfgtrack.model.trouble import UNFOLLOWABLE, NoAnswer, counted, recorded_by
from cfgtrack.store.canonical import NotCanonical, canonical_json
from cfgtrack.store.columns import NEVER
from cfgtrack.store.database import Database, Row
from cfgtrack.store.definitions import Definitions, read_definitions
from cfgtrack.store.derive import UNREADABLE, derive, stored_pages
from cfgtrack.store.driver import DAMAGED_NEXT
from cfgtrack.store.followed import unfollowable
from cfgtrack.store.guards import wrong_guards, wrong_structure
from cfgtrack.store.loading import texts_hash, texts_of
from cfgtrack.store.merkle import HASH_SIZE, Frontier, leaf_hash
from cfgtrack.store.permit import NOT_ALLOWED, why_not
from cfgtrack.store.proof import Head
from cfgtrack.store.rows import leaf_record
from cfgtrack.store.signing import (
    KEYS_LOST,
    faults,
    identity,
    other_than_keys,
    read_signed,
    revoked,
    signed_text,
)

PAGE = 5_000

_CARRYING = ", ".join(f"'{action}'" for action in sorted(DEFINITIONS))
"""The actions that carry items of the definition."""


_LOOSE = (
    "SELECT i.sort, i.id, i.load FROM item i WHERE i.load NOT IN"
    f" (SELECT number FROM event WHERE action IN ({_CARRYING})) ORDER BY i.load, i.sort, i.id LIMIT 5"
)

_BACKUP = (
    "keep this database as it is, and record nothing more in it; restore the last backup under another name, audit that"
    " against a head that you kept before it was made (`cfgtrack audit --kept HEAD`), say at every console that it is"
    " meant (`cfgtrack head forget --reason TEXT`), and record again what came after it"
)
_ANEW = (
    "somebody may have used it: audit against a head that you kept (`cfgtrack audit --kept HEAD`); where the events"
    " are sound, `cfgtrack export --form archive -o FILE` and `cfgtrack --db NEW restore FILE` make a new database"
)
_REBUILD = "derive it anew (`cfgtrack rebuild`), then audit again: what was recorded is not touched by that"

_SEEN = (
    "record nothing here; look for a newer copy, and ask others for their head (`cfgtrack head`); where it was meant,"
    " as a backup was restored, say so at every console (`cfgtrack head forget --reason TEXT`), and record again what"
    " came after"
)
UNREADABLE_ITEM = "unreadable"
"""The code of a definition that is no item."""

NEXT = {
    "rules": "load that rules file again (`cfgtrack rules load FILE`), or drop it (`cfgtrack rules drop NAME`)",
    UNREADABLE_ITEM: "load the definition again, or withdraw that event where it has a date of effect",
    "unguarded": _ANEW,
    "foreign": _ANEW,
    "structure": _ANEW,
    "state": _REBUILD,
    "damaged-file": DAMAGED_NEXT,
    "corrupt": DAMAGED_NEXT,
    "cut-off": (
        "is it a backup older than the head? then hold it against a head that was kept before it was made; else look"
        " whether the file was copied or moved without the one beside it that ends in -wal; else keep it as it is,"
        " restore the last backup under another name, and record again what is missing in that"
    ),
    UNFOLLOWABLE: "withdraw that event: till then nothing can be said of what came after it",
    "clock": "see what was recorded then (`cfgtrack history`), and correct when it happened where that is wrong",
    "rolled-back": _SEEN,
    "emptied": _SEEN,
    "another-journal": (
        "record nothing here; find out who put it there; where it was meant, say so at every console (`cfgtrack head"
        " forget --reason TEXT`)"
    ),
    "locked": "audit again when the other one is done",
    "disk": "see to the disk, then audit again",
    "permission": "have yourself be permitted to read it, then audit again",
    "no-server": "see to the server, then audit again",
}
"""What to do next, by the code of a fault; of any other one the record itself is no longer what was recorded."""


@dataclass(frozen=True, slots=True)
class Fault:
    """Something that is not as it was recorded. `number` and `event` say where, None for the whole."""

    told: ClassVar[tuple[str, ...]] = ("next",)

    code: str
    sentence: str
    number: int | None = None
    event: str | None = None

    @property
    def next(self) -> str:
        """What to do next."""
        return NEXT.get(self.code, _BACKUP)


@dataclass(slots=True)
class AuditReport:
    """What an audit found: how many events, the head to keep, and the faults, the first bad event first.

    `signed`: how many events are. `doubts` are signatures with keys that, as is told since, were revoked by then: the
    journal is as it was recorded, and who signed may not be who the key says. Or events that whoever is said to have
    recorded them might not: somebody went round the tool; clocks that were off; and events that nobody can
    follow. `logins`: how many events carry
    what a server called him; `roles`: whether anybody has a role by now.
    """

    events: int = 0
    head: Head | None = None
    faults: list[Fault] = field(default_factory=list)
    signed: int = 0
    doubts: list[Fault] = field(default_factory=list)
    logins: int = 0
    roles: bool = False

    @property
    def is_sound(self) -> bool:
        """Return whether nothing is wrong."""
        return not self.faults


class _EventRow(NamedTuple):
    number: int
    id: str
    happened: int
    known: int
    turn: int
    action: str
    corrects: int | None
    body: bytes
    leaf: bytes
    signed: bytes | None
    login: bytes | None

    @property
    def is_whole(self) -> bool:
        """Return whether each column holds what it was made for: SQLite keeps anything anywhere."""
        numbers = (self.happened, self.known, self.turn, self.corrects or 0)
        return all(type(n) is int for n in numbers) and all(_is_bytes(b) for b in (self.body, self.leaf))


def _recorded(row: Row) -> _EventRow:
    number, event_id, happened, known, turn, action, *rest = row
    return _EventRow(number, _text(event_id), happened, known, turn, _text(action), *rest)


def _login(row: _EventRow) -> str | None:
    return None if row.login is None else _text(row.login)


def _text(stored: object) -> str:
    return bytes(stored).decode(errors="replace") if _is_bytes(stored) else ""


def _is_bytes(stored: object) -> TypeGuard[bytes | memoryview]:
    return isinstance(stored, bytes | memoryview)


def audit(database: Database, *, kept: SaidHead | None = None, state: bool = True) -> AuditReport:
    """Compute everything anew and return what differs. With `state`, the derived state too.

    `kept` is a head from an earlier audit: the journal must still begin with what it stands for.
    """
    report = AuditReport()
    try:
        report.faults.extend(faults_of_file(database))
        report.faults.extend(_guards(database))
        _Auditor(database, report, kept).run()
        if state and report.is_sound:
            report.faults.extend(_state(database))
        if state and report.is_sound:
            definitions = read_definitions(database)
            lost = unfollowable(database, definitions)
            report.doubts.extend(Fault(UNFOLLOWABLE, one.sentence, one.number, one.event) for one in lost)
            report.doubts.extend(_unreadable(database, definitions))
    except NoAnswer as trouble:
        # A damaged page ends the reading: what is wrong is said, with how far the journal was sound.
        report.faults.append(_ended(trouble, report.events))
    except database.errors:
        # A column of another name, say: where the tables are as they were made it is a bug.
        if not report.faults:
            raise
    return report


def _ended(trouble: NoAnswer, events: int) -> Fault:
    """Return what ended the reading, after so many events. What to do then, a fault says by itself."""
    problem = trouble.problems[0]
    sentence = problem.sentence.removesuffix(f": {DAMAGED_NEXT}")
    return Fault(problem.code, f"after event number {events}: {sentence}" if events else sentence)


def faults_of_file(database: Database) -> Iterator[Fault]:
    """SQLite's own look at every page of the file, and at every index."""
    if not database.is_file:
        return
    for (said,) in database.rows("PRAGMA integrity_check(5)"):
        if said != "ok":
            yield Fault("damaged-file", f"the file is damaged: {_finding(str(said))}")


def _finding(said: str) -> str:
    """Return the first thing that SQLite says of a file, without the head that it puts before several."""
    lines = [line for line in said.splitlines() if line.strip() and not line.startswith("*** in database")]
    return lines[0].strip() if lines else "SQLite doesn't say how"


def _guards(database: Database) -> Iterator[Fault]:
    """What refuses to change what was recorded, and the tables, as the migrations made them."""
    for wrong in (*wrong_guards(database), *wrong_structure(database)):
        yield Fault(wrong.code, wrong.sentence)


class _Auditor:
    def __init__(self, database: Database, report: AuditReport, kept: SaidHead | None) -> None:
        self.database = database
        self.report = report
        self.kept = kept
        self.tree = Frontier()
        self.known = -NEVER
        self.heads = {number: rest for number, *rest in self._all_heads()}
        self.kept_root: bytes | None = Frontier().root()
        self.roots = {0: Frontier().root()}
        self.began = -NEVER  # when the last transaction ended
        self.people = database.row("SELECT 1 FROM item WHERE sort = 'person'") is not None
        self.settings = database.row("SELECT 1 FROM item WHERE sort = 'setting'") is not None
        self.journal = identity(database)

    def _all_heads(self) -> list[Row]:
        return self.database.rows("SELECT number, known, root, frontier FROM tree_head ORDER BY number")

    @cached_property
    def definitions(self) -> Definitions:
        """Every version of the definition that there is, read when it is wanted first."""
        return read_definitions(self.database)

    def run(self) -> None:
        """Go through the journal once, in order."""
        after = -NEVER
        # As bytes: a text in which one was changed may be none any more, and has to be named all the same.
        as_bytes = "CAST({} AS BLOB)" if self.database.is_file else "convert_to({}, 'UTF8')"
        event_id, action, body, signed, login = (
            as_bytes.format(n) for n in ("id", "action", "body", "signed", "login")
        )
        sql = (
            f"SELECT number, {event_id}, happened, known, turn, {action}, corrects, {body}, leaf, {signed}, {login}"
            " FROM event"
            " WHERE number > :after ORDER BY number LIMIT :page"
        )
        while page := self.database.rows(sql, {"after": after, "page": PAGE}):
            after = page[-1][0]
            for row in page:
                self._one(_recorded(row))
        self._ends()

    def _one(self, row: _EventRow) -> None:
        report = self.report
        if row.number != report.events + 1:
            self._fault(row, "gap", f"number {report.events + 1} is missing: the next event is {row.number}")
        if not row.is_whole:
            self._fault(row, "content", "it is damaged: a column of it holds what it can't hold")
            self.tree.append(bytes(HASH_SIZE))
        else:
            if row.known <= self.known:
                self._fault(row, "order", "it became known no later than the event before it")
            for code, sentence in self._wrong(row):
                self._fault(row, code, sentence)
            self.known = row.known
            self.tree.append(bytes(row.leaf))
        report.events += 1
        if self.kept is not None and self.kept.size == report.events:
            self.kept_root = self.tree.root()
        head = self.heads.pop(row.number, None)
        wanted = [row.known, self.tree.root(), self.tree.to_bytes()]
        if head is not None and [bytes(one) if _is_bytes(one) else one for one in head] != wanted:
            self._fault(
                row, "tree-head", "the tree head recorded with it is not the root of the events up to it"
            )
        elif head is not None:
            self.roots[row.number] = self.tree.root()
        self.began = row.known if head is not None else self.began

    def _fault(self, row: _EventRow, code: str, sentence: str) -> None:
        self.report.faults.append(Fault(code, sentence, row.number, row.id))

    def _wrong(self, row: _EventRow) -> Iterator[tuple[str, str]]:
        body = bytes(row.body)
        signed = None if row.signed is None else bytes(row.signed)
        if leaf_hash(leaf_record(body, row.number, row.known, signed, _login(row))) != bytes(row.leaf):
            yield "leaf", "its content is not what its leaf was made from"
        try:
            event: Any = json.loads(body)
            canonical = canonical_json(event)
        except (ValueError, NotCanonical, RecursionError):
            yield "content", "its content is no JSON"
            return
        if not isinstance(event, dict) or not isinstance(event.get("body", {}), dict):
            yield "content", "its content is no event"
            return
        if canonical != body:
            yield "content", "its content is not in canonical form"
        for name, column in (("id", row.id), ("happened", row.happened), ("action", row.action)):
            if event.get(name) != column:
                yield "columns", f"its {name} is {column}, in its content {event.get(name)}"
        self._clock(row, event)
        yield from self._correction(row, event)
        yield from self._signature(row, event)
        self._permission(row, event)
        if row.action in DEFINITIONS:
            yield from self._definition(row, event)

    def _clock(self, row: _EventRow, event: dict[str, Any]) -> None:
        """Tell, once a write, of a clock that was off: what is recorded is sound, and its `known` may not be when."""
        off = event.get("clock", 0)
        if type(off) is int and off and self.known == self.began:
            sentence = (
                f"when it was recorded, {mark_of(off, self.known)} (events {row.number}, {row.number - 1})"
            )
            self.report.doubts.append(Fault("clock", sentence, row.number, row.id))

    def _signature(self, row: _EventRow, content: dict[str, Any]) -> Iterator[tuple[str, str]]:
        """Who signed it, and which record it hands over."""
        handover = row.action in HANDOVERS and content.get("body")
        if row.signed is None and not self.settings and not handover:
            return
        try:
            event = event_from_json(content)
            signed = None if row.signed is None else read_signed(bytes(row.signed).decode())
            told = signed is None or signed_text(signed).encode() == bytes(row.signed or b"")
            if not told:
                yield "content", "its signature is not in canonical form"
            head = handed_over(event)
            if head is not None and self.roots.get(head.size) != head.root:
                yield (
                    "handover",
                    f"its handover is of a record of {head.size} events that the journal never was",
                )
            plant, now = (self.definitions.plant(NEVER, self.began), self.definitions.plant(row.known))
        except (*UNREADABLE, ValueError) as err:
            yield "signature", f"its signature can't be read: {err}"
            return
        for code, sentence in faults(signed, event, plant, self.journal):
            if code == KEYS_LOST and other_than_keys(self.database, row.number) is None:
                self._keys_lost(row, sentence)
                continue
            yield ("unsigned" if code in ("unsigned", KEYS_LOST) else "signature"), sentence
        if signed is not None:
            self.report.signed += 1
            if revoked(signed, now):
                sentence = (
                    f"the key that it is signed with was not that of {signed.by} by then, as is told since"
                )
                self.report.doubts.append(Fault("revoked", sentence, row.number, row.id))

    def _keys_lost(self, row: _EventRow, sentence: str) -> None:
        """Tell whose keys came in unsigned: so whoever lost his gets a new one, and a thief his first."""
        sql = "SELECT id FROM item WHERE load = :load AND sort = 'person' ORDER BY id"
        names = ", ".join(str(i) for (i,) in self.database.rows(sql, {"load": row.number}))
        todo = f"it brings keys of {names}: ask them, for whoever did it can sign as them since"
        told = f"{sentence}; {todo}"
        self.report.doubts.append(Fault("keys-lost", told, row.number, row.id))

    def _permission(self, row: _EventRow, content: dict[str, Any]) -> None:
        """Whether he who is said to have recorded it might, by the people and roles of then."""
        self.report.logins += row.login is not None
        if not self.people:
            return
        with suppress(*UNREADABLE, ValueError):
            plant = self.definitions.plant(row.known, self.began)
            if not has_roles(plant):
                return
            event = event_from_json(content)
            if row.signed is not None:
                event = replace(event, signed=read_signed(bytes(row.signed).decode()))
            entry = Entry(event, row.number, row.known, _login(row))
            for why in why_not(self.database, plant, entry, row.corrects):
                self.report.doubts.append(Fault(NOT_ALLOWED, why, row.number, row.id))

    def _correction(self, row: _EventRow, event: dict[str, Any]) -> Iterator[tuple[str, str]]:
        name = event.get("supersedes") or event.get("withdraws")
        target = None
        if name is not None:
            sql = "SELECT number, happened, turn FROM event WHERE id = :id"
            target = self.database.row(sql, {"id": name})
        if (target and target[0]) != row.corrects or (name is not None and target is None):
            yield (
                "correction",
                f"it is kept as a correction of number {row.corrects}, its content says {name}",
            )
        takes_turn = target is not None and event.get("supersedes") and target[1] == row.happened
        if row.turn != (target[2] if target is not None and takes_turn else row.number):
            yield "order", "its turn among the events of its instant is wrong"

    def _definition(self, row: _EventRow, event: dict[str, Any]) -> Iterator[tuple[str, str]]:
        try:
            found = texts_hash(texts_of(self.database, row.number))
        except NotCanonical:
            found = ""
        if found != (event.get("body") or {}).get("items"):
            yield "definition", "the definition items loaded with it are not those that it commits to"

    def _ends(self) -> None:
        report = self.report
        for number in self.heads:
            report.faults.append(
                Fault("tree-head", f"there is a tree head for number {number}, and no such event")
            )
        last = self.database.row("SELECT max(number) FROM tree_head")
        if report.events and (last is None or last[0] != report.events):
            report.faults.append(Fault("tree-head", "the last events are under no tree head", report.events))
        for sort, name, number in self.database.rows(_LOOSE):
            report.faults.append(self._loose(str(sort), str(name), number))
        if self.people and not report.faults:
            report.roles = has_roles(self.definitions.plant())
        report.head = Head(report.events, self.tree.root(), max(self.known, 0))
        if self.kept is not None:
            report.faults.extend(self._against(self.kept))

    def _loose(self, sort: str, name: str, number: int) -> Fault:
        """Return what is wrong with an item that came with no load: it names the event, and whose login wrote that."""
        event, login = _who_recorded(self.database, number)
        whose = f" that the login {login} recorded" if login else ""
        sentence = f"{sort} {name} came with an event{whose} that loads nothing: it counts for nothing"
        return Fault("definition", sentence, number, event)

    def _against(self, kept: SaidHead) -> Iterator[Fault]:
        events = self.report.events
        if kept.size > events:
            sentence = (
                f"the kept head is of {counted(kept.size, 'event')}, the journal has {events}: either the last"
                f" {kept.size - events} of them were lost, or this is a backup older than that head"
            )
            yield Fault("cut-off", sentence)
        elif not kept.is_of(kept.size, self.kept_root):
            sentence = f"the first {counted(kept.size, 'event')} are not those of the kept head"
            yield Fault("rewritten", sentence)


def _unreadable(database: Database, definitions: Definitions) -> Iterator[Fault]:
    """Tell of definitions that nobody can read, and whose login brought them: they are as they were recorded."""
    for era in definitions.eras():
        definitions.plant_of(era)
    for sort, name, number in definitions.unreadable:
        event, login = _who_recorded(database, number)
        what = f"{sort} {name} of event {event}{recorded_by(login)}"
        sentence = f"{what} can't be read: it stays as it was, till it is loaded anew"
        yield Fault(UNREADABLE_ITEM, sentence, number, event)


def _who_recorded(database: Database, number: int) -> tuple[str | None, str | None]:
    """Return the id of an event, and what the server called whoever recorded it."""
    row = database.row("SELECT id, login FROM event WHERE number = :number", {"number": number})
    return (None, None) if row is None else (str(row[0]), row[1])


def _state(database: Database) -> Iterator[Fault]:
    """Compare the derived state with what the journal gives; name the first event whose part of it differs."""
    try:
        if _sum(_derived(database)) == _sum(_stored(database)):
            return
        derived, stored = _by_number(_derived(database)), _by_number(_stored(database))
        number = min(n for n in derived.keys() | stored.keys() if derived.get(n) != stored.get(n))
    except UNREADABLE:
        yield Fault("state", "the derived state can't be worked out from the journal")
        return
    row = database.row("SELECT id FROM event WHERE number = :number", {"number": number})
    sentence = "the derived state is not what the journal gives from here on"
    yield Fault("state", sentence, number, None if row is None else row[0])


Pages = Iterator[tuple[list[Row], int]]
"""Rows of a derived table, and the column that holds the number of the event that wrote them."""


def _derived(database: Database) -> Pages:
    for page in derive(database):
        yield page.touches, 2
        yield page.changes, 4


def _stored(database: Database) -> Pages:
    for table, at in (("touch", 2), ("change", 4)):
        yield from ((page, at) for page in stored_pages(database, table))


# A row's hash differs from one run of Python to the next, so nobody can prepare rows that cancel out.


def _sum(pages: Pages) -> int:
    return sum(sum(map(_hash, rows)) for rows, _ in pages)


def _hash(row: Row) -> int:
    # With what each is of: an empty text, empty bytes and 0 have one hash.
    return hash((row, *map(type, row)))


def _by_number(pages: Pages) -> dict[int, int]:
    sums: dict[int, int] = {}
    for rows, at in pages:
        for row in rows:
            sums[row[at]] = sums.get(row[at], 0) + _hash(row)
    return sums
