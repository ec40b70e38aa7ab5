"""The journal: the one door to the record.

    with open_journal("plant.db", clock=clock) as journal:
        journal.record([event])
        journal.configuration(at=instant)

Whatever was answered for a pair of times (at, known) is answered for ever: later events and corrections have a
later `known`. So a question needs no transaction, and readers never wait for writers.
"""

# ruff: noqa: S608 - the only text put into these statements is the conditions written here
from __future__ import annotations

import json
import time
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from functools import partial
from types import TracebackType

from cfgtrack.model import action as ac
from cfgtrack.model.action import Action
from cfgtrack.model.configuration import Configuration, View, place_line
from cfgtrack.model.definition import Definition
from cfgtrack.model.event import ABSENT, Entry, Event, LogLine
from cfgtrack.model.plant import Plant, owner_of, port_of
from cfgtrack.model.present import (
    NOTABLE,
    WRONG_CLOCK,
    Hours,
    Now,
    Stamped,
    Written,
    blames_clock,
    now,
    own_reading,
    written,
)
from cfgtrack.model.setting import CLOCK_AHEAD, HAPPENED_AHEAD
from cfgtrack.model.signature import Signer
from cfgtrack.model.trouble import NoAnswer, Problem
from cfgtrack.store import checkpoint
from cfgtrack.store.checkpoint import Checkpoint, Stored, Wanted
from cfgtrack.store.clock import is_served, present_of
from cfgtrack.store.columns import NEVER
from cfgtrack.store.database import WAIT, Database, Row
from cfgtrack.store.definitions import Definitions, read_definitions
from cfgtrack.store.loading import (
    RULES,
    Effect,
    Judge,
    LoadReport,
    keep_texts,
    load_definition,
    loaded_again,
    read_items,
    retire_unit,
)
from cfgtrack.store.migrations import check_current, is_empty, upgrade
from cfgtrack.store.record import Outcome, Recorder, SetAside
from cfgtrack.store.rows import IN_EFFECT, TOLD, entries_of, entry_of, find_entry, with_signature
from cfgtrack.store.security import expect_look
from cfgtrack.store.view import SqlView, read_configuration, read_mated, read_owner

Clock = Callable[[], int]

PAGE = 2_000
"""Events are read so many at a time: an answer of any length takes constant memory, and blocks nobody."""


def system_clock() -> int:
    """Return the present in microseconds since 1970, UTC."""
    return time.time_ns() // 1000


def create(url: str) -> None:
    """Make an empty journal. NoAnswer when there is something already."""
    database = Database(url, create=True)
    try:
        if not is_empty(database):
            raise NoAnswer(Problem(database.where, "exists", "there is a database already"))
        upgrade(database)
    finally:
        database.close()


def open_journal(
    url: str,
    *,
    clock: Clock,
    now: int | None = None,
    must_exist: bool = True,
    read_only: bool = False,
    wait: float = WAIT,
    accepts: str | None = None,
) -> Journal:
    """Open a journal; with `must_exist` false, make it first when it is missing.

    `clock` gives the present in microseconds since 1970, UTC; where there is a server its own clock does, and is asked
    when it is wanted first. With `now` every question of this opening is asked in one present: only what is recorded is
    stamped by the clock anew. A writer waits `wait` seconds for another one. `accepts` is the day of a clock that is
    far ahead of the last write: see `Appender`. NoAnswer when there is no journal, or when its schema isn't current.
    """
    may_make = not must_exist and not read_only
    database = Database(url, read_only=read_only, wait=wait, create=may_make)
    try:
        # What a creation that was cut off leaves is an empty database, too.
        if may_make and is_empty(database):
            upgrade(database)
        expect_look(database)
        check_current(database)
    except BaseException:
        database.close()
        raise
    return Journal(database, clock, now, accepts)


class Journal:
    """An open journal. Close it, or use it in a `with`. What is recorded is signed by its `signer`, if it has one.

    `at_end` is called with it before it is closed, where all went well.
    """

    def __init__(
        self, database: Database, clock: Clock, now: int | None = None, accepts: str | None = None
    ) -> None:
        self.database = database
        self.clock = clock
        self.accepts = accepts
        self.signer: Signer | None = None
        self.at_end: Callable[[Journal], None] | None = None
        self._now = now
        self._present: int | None = None
        self._wrote: Recorder | None = None
        self._definitions: Definitions | None = None

    def __enter__(self) -> Journal:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, raised: BaseException | None, trace: TracebackType | None
    ) -> None:
        try:
            if kind is None and self.at_end is not None:
                self.at_end(self)
        finally:
            self.close()

    def close(self) -> None:
        """Give the database back."""
        self.database.close()

    # --- the two times --------------------------------------------------------------------------------------

    def moment(self, at: int | None = None, known: int | None = None) -> tuple[int, int]:
        """Return the pair (at, known) that a question with these times is answered for.

        Without `at`: now, see `model/present.py`. Without `known`: all that the journal holds, told by the `known` of
        its last event.
        """
        if at is None:
            found, known = self.now(known)
            return found.at, known
        return at, self._known(known)

    def now(self, known: int | None = None) -> tuple[Now, int]:
        """Return what is now, as known, and as known when: without `known`, as `moment` has it."""
        known = self._known(known)
        found = self.written(known)
        at = now(self.present, found)
        last = self.last_happened(known)
        at = max(at, last[0] if last[0] <= at else self.last_happened(known, at + self._soon)[0])
        whose = "the server's clock" if is_served(self.database) else "this clock"
        return Now(at, self.present, found, self.plant().span(CLOCK_AHEAD), whose), known

    def written(self, known: int | None = None) -> Written:
        """Return what the record says of now, as known."""
        sql = "SELECT known, body FROM event WHERE known <= :known ORDER BY known DESC LIMIT 1"
        row = self.database.row(sql, {"known": NEVER if known is None else known})
        if row is None:
            return Written()
        known, clock = int(row[0]), self.present
        last = own_reading(known, _off(row[1]))
        if known <= clock + NOTABLE:
            return Written(known, last)
        # It is ahead of this clock: who says so, and does it count?
        wrong = self._blamed(known)
        if not wrong:
            return Written(known, last, self._first_after(clock))
        start = min(wrong)
        row = self.database.row(
            "SELECT known FROM event WHERE number < :start ORDER BY number DESC LIMIT 1", {"start": start}
        )
        before = 0 if row is None else int(row[0])
        found = written(before, self._stamps(start, known, wrong), clock)
        return found if before <= clock else replace(found, event=self._first_after(clock))

    def _first_after(self, clock: int) -> str:
        """Return the id of the first event that became known after what a clock says."""
        row = self.database.row(
            "SELECT id FROM event WHERE known > :clock ORDER BY known LIMIT 1", {"clock": clock}
        )
        return "" if row is None else str(row[0])

    def _blamed(self, known: int) -> frozenset[int]:
        """Return the numbers of the events that were taken back because the clock was wrong, as known."""
        sql = (
            "SELECT x.corrects, x.body FROM event x WHERE x.corrects IS NOT NULL AND x.known <= :known"
            " AND lower(x.body) LIKE :wrong"
        )
        rows = self.database.rows(sql, {"known": known, "wrong": f"%{WRONG_CLOCK}%"})
        return frozenset(int(row[0]) for row in rows if blames_clock(json.loads(row[1]).get("reason")))

    def _stamps(self, start: int, known: int, wrong: frozenset[int]) -> Iterator[Stamped]:
        """Yield what the events from a number on say of their clocks, as known."""
        sql = (
            "SELECT number, id, known, body FROM event WHERE number >= :start AND known <= :known"
            " ORDER BY number LIMIT :page"
        )
        while True:
            page = self.database.rows(sql, {"start": start, "known": known, "page": PAGE})
            for number, name, when, body in page:
                yield Stamped(str(name), int(when), _off(body), number in wrong)
            if len(page) < PAGE:
                return
            start = int(page[-1][0]) + 1

    def later(self, at: int, known: int) -> int | None:
        """Return when the first event in effect after an instant happened, None where there is none."""
        sql = f"SELECT e.happened FROM event e WHERE e.happened > :at AND {IN_EFFECT} ORDER BY e.happened LIMIT 1"
        row = self.database.row(sql, {"at": at, "known": known})
        return None if row is None else int(row[0])

    @property
    def _soon(self) -> int:
        return self.plant().span(HAPPENED_AHEAD)

    def _known(self, known: int | None) -> int:
        if known is not None:
            return known
        return self.recorded_last() or 0

    def recorded_last(self) -> int | None:
        """Return when the last event became known, None where there is none."""
        row = self.database.row("SELECT known FROM event ORDER BY number DESC LIMIT 1")
        return None if row is None else int(row[0])

    def last_happened(self, known: int, until: int = NEVER) -> tuple[int, str]:
        """Return when the last event in effect until an instant happened, and its id; 0 and "" when there is none."""
        sql = (
            f"SELECT e.happened, e.id FROM event e WHERE e.happened <= :until AND {IN_EFFECT}"
            " ORDER BY e.happened DESC LIMIT 1"
        )
        row = self.database.row(sql, {"known": known, "until": until})
        return (0, "") if row is None else (int(row[0]), str(row[1]))

    @property
    def present(self) -> int:
        """The present: the server's where there is one, else the one that the journal was opened in, or the clock's."""
        if self._present is not None:
            return self._present
        own = self._now
        found = present_of(self.database, self.clock if own is None else lambda: own)
        if own is not None:
            self._present = found
        return found

    def known_before(self, entry: Entry) -> int:
        """Return when what was recorded just before an event became known; 0 before the first."""
        sql = "SELECT known FROM event WHERE number < :number ORDER BY number DESC LIMIT 1"
        row = self.database.row(sql, {"number": entry.number})
        return 0 if row is None else int(row[0])

    def since(self, entry: Entry) -> int:
        """Return how many events have been recorded since this one."""
        row = self.database.row("SELECT number FROM event ORDER BY number DESC LIMIT 1")
        return 0 if row is None else int(row[0]) - entry.number

    def ahead(self) -> tuple[tuple[int, str] | None, tuple[int, str] | None]:
        """Return the last event that lies a little ahead though it was known before now, and the last that lies far.

        Each by when it is said to happen, and its id. What others have recorded since then doesn't count: however late
        this one comes to its turn, and however fast another one's clock is, what happened now did happen now.
        """
        here = self.present
        last = self.last_happened(here)
        if last[0] <= here:
            return None, None
        soon = here + self._soon
        if last[0] <= soon:
            return last, None
        near = self.last_happened(here, soon)
        return near if near[0] > here else None, last

    # --- configurations -------------------------------------------------------------------------------------

    def definitions(self) -> Definitions:
        """Return every version of the definition that there is by now."""
        self._definitions = read_definitions(self.database, self._definitions)
        return self._definitions

    def plant(self, at: int | None = None, known: int | None = None) -> Plant:
        """Return the plant at an instant as defined by `known`; without an instant after every date of effect.

        It is made once for each definition: treat it as read-only.
        """
        return self.definitions().plant(NEVER if at is None else at, NEVER if known is None else known)

    def dates_of_effect(self, known: int | None = None) -> Sequence[int]:
        """Return, in order, the instants from which on the plant is another one than before, as known."""
        return self.definitions().dates(NEVER if known is None else known)

    def whole_plant(self, known: int | None = None) -> Plant:
        """Return all that the plant ever had, as known, in one: what may be named where no instant is."""
        return self.definitions().whole(NEVER if known is None else known)

    def view(self, at: int | None = None, known: int | None = None) -> View:
        """Return the configuration at (at, known), read as far as it is asked for."""
        at, known = self.moment(at, known)
        return SqlView(self.database, self.plant(at, known), at, known)

    def configuration(self, at: int | None = None, known: int | None = None) -> Configuration:
        """Return the whole configuration at (at, known): states, measured values, mate cycles."""
        at, known = self.moment(at, known)
        return read_configuration(self.database, self.plant(at, known), at, known)

    def ever_mated(self, known: int | None = None) -> tuple[tuple[str, str], ...]:
        """Return the pairs of halves that were mated at any time, as known, each pair once, in order."""
        return read_mated(self.database, self._known(known))

    def unit(self, owner: str, at: int | None = None, known: int | None = None) -> Configuration:
        """Return a configuration that holds only what concerns one unit or place itself: one indexed question."""
        at, known = self.moment(at, known)
        return read_owner(self.database, self.plant(at, known), owner, at, known)

    def owner_in(self, plant: Plant, owner: str, at: int, known: int) -> Configuration:
        """Return what was so of one unit or place of a plant at (at, known), whether it was there then or not."""
        return read_owner(self.database, plant, owner, at, known)

    def revision(self, date: int, known: int) -> Event | None:
        """Return the last event in effect that made the plant another one from a date of effect on."""
        found = [e.event for e in self.of_action(*sorted(ac.REVISIONS), at=date, known=known)]
        return next((event for event in reversed(found) if event.happened == date), None)

    # --- events ---------------------------------------------------------------------------------------------

    def entries(
        self, *, at: int | None = None, known: int | None = None, since: int | None = None
    ) -> Iterator[Entry]:
        """Yield the events in effect with `since` < happened <= `at`, in the order in which they count."""
        sql = (
            "SELECT e.body, e.number, e.known, e.happened, e.turn, e.signed, e.login FROM event e"
            " WHERE (e.happened, e.turn, e.number) > (:happened, :turn, :number) AND e.happened <= :until"
            f" AND {IN_EFFECT}"
            " ORDER BY e.happened, e.turn, e.number LIMIT :page"
        )
        fixed = {"until": NEVER if at is None else at, "known": self._known(known), "page": PAGE}
        last: Row = (None, 0, None, -NEVER, 0) if since is None else (None, NEVER, None, since, NEVER)
        while True:
            page = self.database.rows(sql, {**fixed, "happened": last[3], "turn": last[4], "number": last[1]})
            yield from (
                with_signature(entry, *row[5:]) for entry, row in zip(entries_of(page), page, strict=True)
            )
            if len(page) < PAGE:
                return
            last = page[-1]

    def log(self, *, known: int | None = None, after: int = 0) -> Iterator[LogLine]:
        """Yield every event with a number above `after`, in journal order, with what has corrected it."""
        sql = (
            "SELECT e.body, e.number, e.known, x.id, e.signed, e.login FROM event e"
            " LEFT JOIN event x ON x.corrects = e.number AND x.known <= :known"
            f" WHERE e.number > :after AND {TOLD} ORDER BY e.number LIMIT :page"
        )
        known = self._known(known)
        while True:
            page = self.database.rows(sql, {"after": after, "known": known, "page": PAGE})
            for entry, row in zip(entries_of(page), page, strict=True):
                yield LogLine(with_signature(entry, *row[4:]), row[3])
            if len(page) < PAGE:
                return
            after = page[-1][1]

    def history(
        self, subject: str, *, start: int | None = None, end: int | None = None, known: int | None = None
    ) -> Iterator[Entry]:
        """Yield the events in effect on a unit, port, place or part, with `start` <= happened < `end`, in order.

        Of a contact: what was done to its shell, too; of a shell, what was told of its contacts.
        """
        sql = (
            "SELECT e.body, e.number, e.known, e.signed, e.login FROM touch t JOIN event e ON e.number = t.number"
            " WHERE t.owner = :owner AND t.happened >= :start AND t.happened < :end"
            f" AND {IN_EFFECT} ORDER BY e.happened, e.turn"
        )
        span = {"start": -NEVER if start is None else start, "end": NEVER if end is None else end}
        parameters = {"owner": owner_of(subject), "known": self._known(known), **span}
        rows = self.database.rows(sql, parameters)
        found = (with_signature(entry, *row[3:]) for entry, row in zip(entries_of(rows), rows, strict=True))
        return (entry for entry in found if _is_told_of(subject, entry))

    def rulings_taken_back(self, subject: str, known: int | None = None) -> Iterator[tuple[Entry, Entry]]:
        """Yield the approvals about a unit, port, place or part that no longer count, each with what took it back."""
        for entry, by in self.ever(ac.APPROVE, known=known):
            owners = map(owner_of, entry.event.written)
            if by is not None and owner_of(subject) in owners and _is_told_of(subject, entry):
                yield entry, by

    def redefinitions(self, owner: str, known: int | None = None) -> list[Entry]:
        """Return the events in effect that made a unit or place another one, or its part, or a part; not the first."""
        sql = "SELECT sort, load, body FROM item WHERE id = :id AND sort IN ('unit', 'place', 'part') ORDER BY load"
        rows = self.database.rows(sql, {"id": owner})
        parts = {json.loads(body).get("part") for sort, _, body in rows if sort != "part" and body} - {
            None,
            "",
        }
        numbers = [load for _, load, _ in rows[1:]]
        for part in parts - {owner}:
            found = self.database.rows(sql, {"id": part})
            numbers += [load for sort, load, _ in found if sort == "part"][1:]
        one = f"SELECT e.body, e.number, e.known FROM event e WHERE e.number = :number AND {IN_EFFECT}"
        told = {"known": self._known(known)}
        return [
            entry_of(*row)
            for number in sorted(set(numbers))
            for row in self.database.rows(one, {**told, "number": number})
        ]

    def entry(self, event_id: str) -> Entry | None:
        """Return the event with this id, in effect or not, or None."""
        return find_entry(self.database, event_id)

    def last(
        self, subject: str, action: str, *, at: int | None = None, known: int | None = None
    ) -> Entry | None:
        """Return the last event in effect of this action on `subject`, or None."""
        at, known = self.moment(at, known)
        found = self._done(owner_of(subject), action, at, known, "ORDER BY e.happened DESC, e.turn DESC")
        return next((e for e in found if subject in (*e.event.subjects, *e.event.moved)), None)

    def _done(self, owner: str, action: str, at: int, known: int, order: str = "") -> Iterator[Entry]:
        """Yield the events in effect of one action that touched a unit, place or part."""
        sql = (
            "SELECT e.body, e.number, e.known FROM touch t JOIN event e ON e.number = t.number"
            " WHERE t.owner = :owner AND t.happened <= :at AND e.action = :action"
            f" AND {IN_EFFECT} {order}"
        )
        parameters = {"owner": owner, "at": at, "known": known, "action": action}
        return (entry_of(*row) for row in self.database.rows(sql, parameters))

    def noted(self, owner: str, at: int, known: int) -> list[Event]:
        """Return what was read of one unit or place, inspected or remarked, in order, whether it was there or not."""
        found = (entry for action in sorted(ac.NOTES) for entry in self._done(owner, action, at, known))
        return [entry.event for entry in self._in_order(found)]

    def log_of(self, *actions: str) -> list[Entry]:
        """Return all events of these actions, in effect or not, in journal order."""
        each = {f"action{i}": action for i, action in enumerate(actions)}
        sql = (
            "SELECT e.body, e.number, e.known FROM event e"
            f" WHERE e.action IN ({', '.join(f':{name}' for name in each)}) ORDER BY e.number"
        )
        return entries_of(self.database.rows(sql, each))

    def of_action(self, *actions: str, at: int = NEVER, known: int | None = None) -> list[Entry]:
        """Return all events in effect of these actions, in order."""
        each = {f"action{i}": action for i, action in enumerate(actions)}
        sql = (
            "SELECT e.body, e.number, e.known FROM event e"
            f" WHERE e.action IN ({', '.join(f':{name}' for name in each)}) AND e.happened <= :at"
            f" AND {IN_EFFECT} ORDER BY e.happened, e.turn"
        )
        return entries_of(self.database.rows(sql, {"at": at, "known": self._known(known), **each}))

    def ever(self, *actions: str, known: int | None = None) -> list[tuple[Entry, Entry | None]]:
        """Return all events of these actions, in order, as signed, each with what has superseded or withdrawn it."""
        each = {f"action{i}": action for i, action in enumerate(actions)}
        sql = (
            "SELECT e.body, e.number, e.known, e.signed, e.login, x.body, x.number, x.known FROM event e"
            " LEFT JOIN event x ON x.corrects = e.number AND x.known <= :known"
            f" WHERE e.action IN ({', '.join(f':{name}' for name in each)}) AND {TOLD}"
            " ORDER BY e.happened, e.turn, e.number"
        )
        rows = self.database.rows(sql, {"known": self._known(known), **each})
        return [
            (with_signature(entry_of(*row[:3]), *row[3:5]), None if row[5] is None else entry_of(*row[5:]))
            for row in rows
        ]

    def _in_order(self, found: Iterable[Entry]) -> list[Entry]:
        """Return a few events, each once, in the order in which they count: by turns, which corrections take over."""
        each = {entry.number: entry for entry in found}
        sql = "SELECT happened, turn FROM event WHERE number = :number"
        places = {number: self.database.row(sql, {"number": number}) for number in each}
        return sorted(each.values(), key=lambda entry: tuple(places[entry.number] or ()))

    def discrepancies(self, at: int | None = None, known: int | None = None) -> list[Entry]:
        """Return the as-found events that contradicted the record and that nobody has explained yet."""
        at, known = self.moment(at, known)
        # An explanation answers for good, whatever the moment that it is about.
        explained = {e.event.explains for e in self.of_action(ac.EXPLAIN, known=known)}
        found = [e for e in self.of_action(ac.FOUND, at=at, known=known) if e.event.expected]
        found += self._found_elsewhere(at, known)
        return self._in_order(e for e in found if e.event.id not in explained)

    def _found_elsewhere(self, at: int, known: int) -> list[Entry]:
        """Return the events in effect whose doer was found elsewhere than the record had him."""
        places = self.plant(at, known).places.values()
        doers = json.dumps([place.id for place in places if place.mobile])
        each = (
            "json_each(:doers) s"
            if self.database.is_file
            else "json_array_elements_text((:doers)::json) s(value)"
        )
        sql = (
            f"SELECT e.body, e.number, e.known FROM {each}"
            f" JOIN change c ON c.subject = s.value AND c.aspect = '{ABSENT}' JOIN event e ON e.number = c.number"
            " WHERE c.happened <= :at AND c.known <= :known AND c.until > :known"
        )
        return entries_of(self.database.rows(sql, {"doers": doers, "at": at, "known": known}))

    def remarks(
        self,
        subjects: Iterable[str],
        *,
        at: int | None = None,
        known: int | None = None,
        around: bool = False,
        inside: bool = False,
        places: Iterable[str] = (),
    ) -> list[Entry]:
        """Return the remarks on `subjects`, on the units and places that have them, on their parts, and on `places`.

        Of a unit or place: on its ports and nodes, too; of a contact: on its shell; of a shell: on its contacts. With
        `around`: on the places where each is, out to its site. With `inside`, of a place: on all that is in it.
        """
        at, known = self.moment(at, known)
        plant = self.plant(at, known)
        subjects = tuple(subjects)
        whole = {subject for subject in subjects if plant.has_owner(subject)}
        wanted = dict.fromkeys(places)
        for subject in subjects:
            owner = owner_of(subject)
            wanted.update({subject: None, port_of(subject): None, owner: None})
            if plant.has_owner(owner):
                wanted[plant.part_of(owner).id] = None
        view = self.view(at, known)
        if around:
            owners = {owner_of(subject) for subject in subjects}
            wanted.update(
                (place, None) for owner in owners if plant.has_owner(owner) for place in _around(view, owner)
            )
        if inside:
            within = {thing for place in whole if place in plant.places for thing in _inside(view, place)}
            whole |= within
            wanted.update(dict.fromkeys(within))
        owned = dict.fromkeys(owner_of(w) for w in wanted)
        told = (e for owner in owned for e in self._done(owner, ac.REMARK, at, known))
        return self._in_order(
            e
            for e in told
            if any(s in wanted or port_of(s) in subjects or owner_of(s) in whole for s in e.event.subjects)
        )

    def outing_start(self, outing: str, known: int | None = None) -> int | None:
        """Return when an outing began, or None when the journal has no such beginning."""
        begun = self.of_action(ac.BEGIN, known=known)
        return next((e.event.happened for e in reversed(begun) if e.event.outing == outing), None)

    def hours(self, *, at: int = NEVER, known: int | None = None) -> dict[str, Hours]:
        """Return when each outing began first, and ended last, unless it has begun again since."""
        found: dict[str, Hours] = {}
        for entry in self.of_action(ac.BEGIN, ac.END, at=at, known=known):
            name, when = entry.event.outing or "", entry.event.happened
            if entry.event.action == ac.BEGIN:
                found[name] = found.get(name, Hours(name, when)).begun(when)
            elif name in found:
                found[name] = found[name].over(when)
        return found

    def last_done(self, known: int, until: int) -> int | None:
        """Return when the last event on hardware in effect until an instant happened, None where there is none."""
        return checkpoint.last_done(self.database, until, known)

    def handover(self) -> int | None:
        """Return when the first initial configuration in effect is of, None where there is none."""
        sql = "SELECT 1 FROM event WHERE id >= 'initial:' AND id < 'initial;' LIMIT 1"
        if self.database.row(sql) is None:
            return None
        return checkpoint.first_initial(self.database, NEVER, NEVER)

    # --- the running state ----------------------------------------------------------------------------------

    def checkpoint(self, form: str, before: int, known: int) -> Checkpoint | None:
        """Return the last checkpoint before an instant from which a question as known can be judged by the kept rules.

        `form` stands for the program that judges, and for the form in which it remembers.
        """
        shape = checkpoint.shape_of(self.database, form, known)
        return checkpoint.find_checkpoint(self.database, shape, before - 1, known)

    def settled(self, at: int) -> list[tuple[int, str]]:
        """Return what had been settled at the instant of a checkpoint that is still valid: when, and its text."""
        return checkpoint.settled_until(self.database, at)

    def stored_checkpoints(self, form: str, known: int) -> list[Stored]:
        """Return the checkpoints that there are, for an audit."""
        return checkpoint.stored(self.database, form, known)

    def keep_checkpoints(self, made: Sequence[Checkpoint], form: str, known: int) -> None:
        """Keep checkpoints, in order, that were made in judging the past as `known` to its end by the kept rules.

        What was overtaken meanwhile is left out.
        """
        if self.database.is_restricted:
            return  # whoever else judges believes only what the owner of the tables has kept
        with self.database.writing():
            checkpoint.keep(self.database, form, made, known)

    def wanted_checkpoints(self, before: int, known: int, *, since: Checkpoint | None) -> Wanted:
        """Return which checkpoints are to be made in judging the past as known up to an instant, not included."""
        return checkpoint.wanted(self.database, before, known, since)

    def span(self, at: int, known: int) -> tuple[int, int] | None:
        """Return the instants of the first and the last event on hardware that is in effect; None where there is none.

        The first is that of the initial configuration, if there is one.
        """
        return checkpoint.span(self.database, at, known)

    # --- writing --------------------------------------------------------------------------------------------

    def load(
        self,
        definition: Definition,
        *,
        by: str | None,
        recorder: str | None,
        effect: Effect | None = None,
        dry_run: bool = False,
        judge: Judge | None = None,
        accept: str | None = None,
        keys_lost: str | None = None,
    ) -> LoadReport:
        """Bring the plant to `definition` and record its initial configuration; twice is as good as once.

        With an `effect` it is so from a date on, else as if it always had been. Refused when an initial state, or what
        is recorded, contradicts it; then nothing is written. Neither is it where `judge` finds what must be accepted,
        and `accept` doesn't say why. `keys_lost` is why nobody signs a load of keys where all must be signed.
        """
        return load_definition(
            self.database,
            definition,
            by,
            recorder,
            effect=effect,
            begin=partial(self._recorder, keys_lost),
            keep=not dry_run,
            judge=judge,
            accept=accept,
        )

    def retire(
        self,
        unit: str,
        effect: Effect,
        *,
        by: str | None,
        recorder: str | None,
        event_id: str,
        dry_run: bool = False,
    ) -> Entry:
        """Record that a unit is no longer of the plant from a date on.

        NoAnswer for no such unit, Refused when it is joined to something then, or something was done to it later.
        """
        return retire_unit(
            self.database, unit, effect, event_id, by, recorder, begin=self._recorder, keep=not dry_run
        )

    def loaded_again(self, fingerprint: Callable[[], str | None]) -> LoadReport | None:
        """Return what `load` would do with files of this fingerprint, if that is known without understanding them."""
        return loaded_again(self.database, fingerprint)

    def keep_rules(
        self,
        texts: Mapping[str, str],
        *,
        by: str | None,
        recorder: str | None,
        dry_run: bool = False,
        judge: Judge | None = None,
        accept: str | None = None,
    ) -> LoadReport:
        """Keep the texts of rules files, name to text; a new version only of what differs. Judged as `load` is."""
        return keep_texts(
            self.database,
            texts,
            by,
            recorder,
            begin=self._recorder,
            keep=not dry_run,
            judge=judge,
            accept=accept,
        )

    def rules(self, known: int | None = None) -> dict[str, str]:
        """Return the texts of the rules files as kept by `known`, name to text."""
        found = read_items(self.database, RULES, self._known(known))
        return {name: str(body["text"]) for name, body in found.items()}

    def rules_loads(self, known: int | None = None) -> list[tuple[int, dict[str, str]]]:
        """Return every load of rules files by `known`, in order: when it became known, and the texts that it kept."""
        sql = (
            "SELECT e.known, i.id, i.body FROM item i JOIN event e ON e.number = i.load"
            " WHERE i.sort = :sort AND e.known <= :known ORDER BY e.number, i.id"
        )
        loads: dict[int, dict[str, str]] = {}
        for when, name, body in self.database.rows(sql, {"sort": RULES, "known": self._known(known)}):
            loads.setdefault(int(when), {})[name] = "" if body is None else str(json.loads(body)["text"])
        return list(loads.items())

    def _recorder(self, keys_lost: str | None = None) -> Recorder:
        self._wrote = Recorder(self.database, self.clock, self.signer, accepts=self.accepts)
        if keys_lost is not None:
            self._wrote.door.without_keys(keys_lost)
        return self._wrote

    def clock_off(self) -> tuple[int, int] | None:
        """Return by how much the clock was off when this opening wrote last, and the write before; None if it wasn't.

        By how much: see `Stamp`.
        """
        wrote = None if self._wrote is None else self._wrote.appender
        if wrote is None or wrote.last is None or not wrote.off or not wrote.written:
            return None
        return wrote.off, wrote.last

    def clocks(self) -> tuple[int, int]:
        """Return what the console's own clock says, and the present: they differ where a server's clock does."""
        return self.clock() if self._now is None else self._now, self.present

    def record(self, actions: Iterable[Action], *, dry_run: bool = False) -> list[Entry]:
        """Record all of `actions` or, when one is impossible, none: Refused then carries a problem for each.

        An action that is recorded already, with the same content, is given back as it is. With `dry_run`
        everything is checked and nothing kept. The entries come back in the order of `actions`.
        """
        given = list(actions)
        recorded: dict[str, Entry] = {}
        self.take(
            ((a.id, a) for a in given),
            dry_run=dry_run,
            each=lambda entry: recorded.update({entry.event.id: entry}),
        )
        return [recorded[a.id] for a in given]

    def correct(self, actions: Sequence[Action], *, dry_run: bool = False) -> list[Entry]:
        """Record corrections as one, or, when one of them is impossible, none, as `record` does.

        Each is held against what all of them leave: two events may so be exchanged though neither could be alone.
        """
        recorded: dict[str, Entry] = {}
        with self.database.writing(keep=not dry_run):
            recorder = self._recorder()
            rows = [(a.id, a) for a in actions]
            recorder.take_together(rows, each=lambda entry: recorded.update({entry.event.id: entry}))
            recorder.finish()
        return [recorded[a.id] for a in actions]

    def take(
        self,
        rows: Iterable[tuple[str, Action]],
        *,
        dry_run: bool = False,
        each: Callable[[Entry], None] | None = None,
        set_aside: SetAside | None = None,
    ) -> Outcome:
        """Record many rows of (where it comes from, action), in one transaction and constant memory.

        `each` is told of every event that is now in the journal. With `set_aside` the rows that can't be taken are
        handed over with their problems, and the rest is recorded; without it, Refused tells of all, and nothing is.
        """
        with self.database.writing(keep=not dry_run):
            recorder = self._recorder()
            recorder.take(rows, each=each, set_aside=set_aside)
            recorder.finish()
        return recorder.tally


def _off(body: str) -> int:
    """Return what an event says of the clock by which it was recorded: see `Stamp`."""
    off = json.loads(body).get("clock", 0) if '"clock":' in body else 0
    return off if type(off) is int else 0


def _is_told_of(subject: str, entry: Entry) -> bool:
    """Return whether an event on the owner of a subject belongs to the history of that subject."""
    told = (*entry.event.written, entry.event.peer or "")
    return ":" not in subject or any(_is_of(subject, one) for one in told)


def _is_of(subject: str, address: str) -> bool:
    """Return whether what happened to a port, contact or node belongs to the history of another, or of itself."""
    return address in (subject, port_of(subject)) or port_of(address) == subject


def _around(view: View, owner: str) -> Iterator[str]:
    """Yield the places where a unit or place is, the innermost first, out to its site; without sites all of them."""
    for place in place_line(view, owner):
        yield place
        if place in view.plant.places and view.plant.places[place].site:
            return


def _inside(view: View, place: str) -> Iterator[str]:
    """Yield every unit and place that is in a place, and in what is in it, each once."""
    met, ahead = {place}, [place]
    while ahead:
        here = ahead.pop()
        for thing in (*view.standing_at(here), *view.plant.slots_of(here)):
            if thing not in met:
                met.add(thing)
                yield thing
                if thing in view.plant.places:
                    ahead.append(thing)
