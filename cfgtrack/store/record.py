"""Recording: events in, each resolved against the configuration just before it; all of them kept, or none.

An event later than everything it stands on is resolved against the configuration in memory and written in bulk.
A late one is resolved against the configuration as it was then, and what it disturbs is looked at again (see
`collision`). Both give the same rows.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field, replace
from itertools import islice

from cfgtrack.model import event as ev
from cfgtrack.model.configuration import Configuration, View
from cfgtrack.model.event import Entry, Event, effects
from cfgtrack.model.plant import Plant, owner_of
from cfgtrack.model.possibility import Refusal, resolve
from cfgtrack.model.time import format_instant
from cfgtrack.model.trouble import NoAnswer, Problem, Refused, near_hint
from cfgtrack.store.canonical import NotCanonical
from cfgtrack.store.collision import Disturbance, collisions, disturbance, is_inert
from cfgtrack.store.columns import NEVER
from cfgtrack.store.correction import Target, end_changes, target_of
from cfgtrack.store.database import Database, Row
from cfgtrack.store.form import Unrecordable, check_form, is_plain
from cfgtrack.store.merkle import Frontier
from cfgtrack.store.repeat import differences
from cfgtrack.store.rows import (
    CHANGE_COLUMNS,
    EVENT_COLUMNS,
    KEY_OF_CHANGE,
    TOUCH_COLUMNS,
    change_rows,
    event_row,
    find_entry,
    owners_touched,
)
from cfgtrack.store.view import SqlView, read_configuration

CHUNK = 10_000
"""So many rows are read, put in order of time and checked together."""

FEW = 40
"""Up to so many rows it costs less to ask for each state than to read the whole configuration."""

Taken = tuple[str, Event]
"""A row: where it comes from, and its event."""

_Row = tuple[str, str]
"""Which row: where it comes from, and the id of its event."""

SetAside = Callable[[str, Event, tuple[Problem, ...]], None]


@dataclass(slots=True)
class Tally:
    """What became of the rows: newly recorded, repeated (there already, with the same content), refused."""

    recorded: int = 0
    repeated: int = 0
    refused: int = 0


class _Colliding(Exception):
    """Late rows of a chunk that contradict later events."""

    def __init__(self, rows: dict[_Row, Unrecordable]) -> None:
        super().__init__(rows)
        self.rows = rows


@dataclass(slots=True)
class _Buffers:
    events: list[Row] = field(default_factory=list)
    touches: list[Row] = field(default_factory=list)
    changes: list[Row] = field(default_factory=list)


class Recorder:
    """Writes events inside a transaction that the caller has begun with `Database.writing`.

    `finish` ends its work: call it before the transaction is kept.
    """

    def __init__(self, database: Database, plant: Plant, clock: Callable[[], int]) -> None:
        self.database = database
        self.plant = plant
        last = database.row("SELECT number, known FROM event ORDER BY number DESC LIMIT 1") or (0, 0)
        self.number = int(last[0])
        self.known = max(clock(), int(last[1]) + 1)
        head = database.row("SELECT frontier FROM tree_head ORDER BY number DESC LIMIT 1")
        self.frontier = Frontier.from_bytes(bytes(head[0])) if head else Frontier()
        self.tally = Tally()
        self._first = self.number
        self._buffers = _Buffers()
        self._in_chunk: dict[str, Entry] = {}
        self._disturbances: list[Disturbance] = []
        self._head: Configuration | None = None
        self._latest = NEVER
        self._problems: list[Problem] = []
        self._collides: dict[str, None] = {}

    # --- many rows ------------------------------------------------------------------------------------------

    def take(
        self,
        rows: Iterable[Taken],
        *,
        each: Callable[[Entry], None] | None = None,
        set_aside: SetAside | None = None,
    ) -> None:
        """Record rows of (where it comes from, event). Without `set_aside` every refusal is kept for `finish`."""
        for chunk in _chunks(rows):
            if self._head is None and len(chunk) > FEW:
                self._look_ahead()
            recorded = self._recorded_ids(chunk)
            if set_aside is None:
                refused = self._take_chunk(_in_order(chunk), recorded, each)
                for refusal in refused.values():
                    self._problems.extend(refusal.problems)
                    self._collides.update(dict.fromkeys(refusal.collides))
            else:
                refused = self._take_what_fits(_in_order(chunk), recorded, each)
                for where, event in chunk:
                    if (where, event.id) in refused:
                        set_aside(where, event, refused[where, event.id].problems)
            self.tally.refused += len(refused)

    def _take_chunk(
        self, chunk: list[Taken], recorded: set[str], each: Callable[[Entry], None] | None
    ) -> dict[_Row, Unrecordable]:
        """Record what can be of a chunk; return the refusals by row."""
        self._in_chunk = {}
        refused: dict[_Row, Unrecordable] = {}
        for where, event in chunk:
            try:
                entry = self._take_one(where, event, recorded)
            except Unrecordable as refusal:
                refused[where, event.id] = refusal
            else:
                if each is not None:
                    each(entry)
        self.flush()
        return refused

    def _take_what_fits(
        self, chunk: list[Taken], recorded: set[str], each: Callable[[Entry], None] | None
    ) -> dict[_Row, Unrecordable]:
        """Record a chunk without the rows that are refused or that collide with later events; return those.

        A late row may need another one of its chunk (demated again before the next mate): so collisions are looked
        for when all of it is in. Where there are any, it is done again without the rows that caused them.
        """
        refused: dict[_Row, Unrecordable] = {}
        while True:
            fitting = [row for row in chunk if (row[0], row[1].id) not in refused]
            mark = self._mark()
            entries: list[Entry] = []
            try:
                with self.database.attempt():
                    found = self._take_chunk(fitting, recorded, entries.append)
                    self._expect_no_collision()
            except _Colliding as colliding:
                self._go_back(mark)
                refused.update(colliding.rows)
                continue
            self._disturbances.clear()
            for entry in entries if each is not None else ():
                each(entry)  # type: ignore[misc] # not None: see the line above
            return {**refused, **found}

    def finish(self) -> None:
        """Check what late events have disturbed, and close the tree. Refused, with all problems, if there are any."""
        self.flush()
        if not self._problems:
            for one in collisions(self.database, self.plant, self._disturbances, self.known):
                self._problems.append(one.problem)
                self._collides[one.other] = None
        self.expect_no_problem()
        if self.number > self._first:
            head = (self.number, self.known - 1, self.frontier.root(), self.frontier.to_bytes())
            self.database.insert("tree_head", ("number", "known", "root", "frontier"), [head])

    def go_on_with(self, plant: Plant) -> None:
        """From here on `plant` is the definition."""
        self.flush()
        self.plant = plant
        self._head = None

    def expect_no_problem(self) -> None:
        """Raise what has been found so far: NoAnswer when the rows only name what doesn't exist, else Refused."""
        if self._problems:
            if all(p.code == "unknown" for p in self._problems):
                raise NoAnswer(self._problems)
            raise Refused(self._problems, collides=tuple(self._collides))

    def flush(self) -> None:
        """Write what is buffered."""
        rows, self._buffers = self._buffers, _Buffers()
        self.database.insert("event", EVENT_COLUMNS, rows.events)
        # In the order of the table's key, many rows land on few pages of the file.
        self.database.insert("touch", TOUCH_COLUMNS, sorted(rows.touches))
        self.database.insert("change", CHANGE_COLUMNS, sorted(rows.changes, key=KEY_OF_CHANGE))

    def _look_ahead(self) -> None:
        """Read the configuration after everything recorded: what in-order events are resolved against."""
        self.flush()
        self._head = read_configuration(self.database, self.plant, NEVER, self.known)
        last = self.database.row(
            "SELECT max(happened) FROM change WHERE until = :never AND aspect IN ('', '@')", {"never": NEVER}
        )
        self._latest = last[0] if last is not None and last[0] is not None else -NEVER

    def _recorded_ids(self, chunk: list[Taken]) -> set[str]:
        if len(chunk) == 1:
            return {chunk[0][1].id}
        import json

        ids = json.dumps([event.id for _, event in chunk])
        if self.database.is_file:
            sql = "SELECT e.id FROM json_each(:ids) i JOIN event e ON e.id = i.value"
        else:
            sql = "SELECT e.id FROM json_array_elements_text((:ids)::json) i(i) JOIN event e ON e.id = i.i"
        return {row[0] for row in self.database.rows(sql, {"ids": ids})}

    # --- one row --------------------------------------------------------------------------------------------

    def _take_one(self, where: str, event: Event, recorded: set[str]) -> Entry:
        if not is_plain(event):
            check_form(where, event)
        before = self._before(event.id, recorded)
        if before is not None:
            self._expect_same(where, event, before)
            self.tally.repeated += 1
            return before
        inert = is_inert(event)
        if self._head is not None and (inert or event.happened >= self._latest) and not _refers(event):
            return self._at_once(where, event, self._head, inert=inert)
        self.flush()
        if not _refers(event):
            return self._late(where, event)
        # Should it be refused after all, the event that it corrects goes on to count.
        with self.database.attempt():
            return self._late(where, event)

    def _expect_no_collision(self) -> None:
        found: dict[_Row, Unrecordable] = {}
        for one in collisions(self.database, self.plant, self._disturbances, self.known):
            row = (one.problem.where, one.event)
            before = found.get(row)
            problems = (*(before.problems if before else ()), one.problem)
            others = (*(before.collides if before else ()), one.other)
            found[row] = Unrecordable(problems, others)
        if found:
            raise _Colliding(found)

    def _mark(self) -> tuple[int, int, bytes, Tally]:
        return self.number, self.known, self.frontier.to_bytes(), replace(self.tally)

    def _go_back(self, mark: tuple[int, int, bytes, Tally]) -> None:
        self.number, self.known, frontier, self.tally = mark
        self.frontier = Frontier.from_bytes(frontier)
        self._buffers = _Buffers()
        self._disturbances.clear()
        if self._head is not None:
            self._look_ahead()

    def _before(self, event_id: str, recorded: set[str]) -> Entry | None:
        found = self._in_chunk.get(event_id)
        return find_entry(self.database, event_id) if found is None and event_id in recorded else found

    def _expect_same(self, where: str, event: Event, before: Entry) -> None:
        differing = differences(event, before.event)
        if not differing:
            return
        sentence = (
            f"event {event.id} exists with a different {', '.join(differing)}"
            f" (recorded as {told(before.event)}); to correct it, record a new event that supersedes it"
        )
        raise Unrecordable((Problem(where, "exists", sentence),), (event.id,))

    def _at_once(self, where: str, event: Event, head: Configuration, *, inert: bool) -> Entry:
        resolved = self._resolved(where, event, head)
        entry = self._write(where, resolved, turn=self.number + 1, corrects=None)
        if not inert:
            self._latest = event.happened
        return entry

    def _late(self, where: str, event: Event) -> Entry:
        target = target_of(self.database, where, event)
        turn = self.number + 1
        if target is not None:
            if event.supersedes and target.entry.event.happened == event.happened:
                turn = target.turn
            end_changes(self.database, target, self.known)
        view = SqlView(self.database, self.plant, event.happened, self.known, turn)
        resolved = self._resolved(where, event, view)
        corrects = None if target is None else target.entry.number
        left = [view.state(s).value for s in _carried(self.plant, resolved)]
        entry = self._write(where, resolved, turn=turn, corrects=corrects, withdrawn=target)
        self.flush()
        self._disturb(where, entry.event, turn, left)
        if target is not None:
            self._disturb(where, target.entry.event, target.turn, (), cause=entry.event)
        self._catch_up(entry.event, target)
        return entry

    def _disturb(
        self, where: str, event: Event, turn: int, left: Iterable[str], cause: Event | None = None
    ) -> None:
        """Note what `event`, just recorded or (with `cause`) just taken away, may have disturbed."""
        if is_inert(event):
            return
        view = SqlView(self.database, self.plant, event.happened, self.known, turn)
        if cause is not None:
            left = [view.state(s).value for s in _carried(self.plant, event)]
        found = disturbance(view, event, by=(where, cause or event), left=left)
        if found is not None:
            self._disturbances.append(found)

    def _resolved(self, where: str, event: Event, view: View) -> Event:
        outcome = resolve(view, event)
        if outcome.refusals:
            problems = tuple(self._problem(where, refusal) for refusal in outcome.refusals)
            collides = tuple(r.collides for r in outcome.refusals if r.collides)
            raise Unrecordable(problems, collides)
        return outcome.event

    def _problem(self, where: str, refusal: Refusal) -> Problem:
        sentence = refusal.sentence
        if refusal.code == "unknown":
            sentence += self._near(refusal.subject)
        if refusal.collides:
            other = self._in_chunk.get(refusal.collides) or find_entry(self.database, refusal.collides)
            if other is not None:
                sentence += f": event {refusal.collides}, {told(other.event)}"
        return Problem(where, refusal.code, sentence)

    def _near(self, subject: str) -> str:
        owner = owner_of(subject)
        if self.plant.has_owner(owner):
            return near_hint(subject, self.plant.ports_of(owner))
        return near_hint(owner, list(self.plant.owners()))

    # --- late events ----------------------------------------------------------------------------------------

    def _catch_up(self, event: Event, target: Target | None) -> None:
        """After a late event: set the configuration ahead right wherever it may have changed."""
        if self._head is None:
            return
        subjects = {
            s
            for e in ([event] if target is None else [event, target.entry.event])
            for s in (*e.subjects, *e.moved)
        }
        view = SqlView(self.database, self.plant, NEVER, self.known)
        for subject in subjects:
            if (
                self.plant.port(subject) is not None
                or subject in self.plant.units
                or self.plant.is_mobile(subject)
            ):
                self._head.set_state(subject, view.state(subject))
        self._latest = max(self._latest, event.happened)

    # --- writing --------------------------------------------------------------------------------------------

    def _write(
        self, where: str, event: Event, *, turn: int, corrects: int | None, withdrawn: Target | None = None
    ) -> Entry:
        number, known = self.number + 1, self.known
        try:
            row, leaf = event_row(event, number, known, turn, corrects)
        except NotCanonical as err:
            raise Unrecordable(
                (Problem(where, "not-json", f"event {event.id} can't be kept: {err}"),)
            ) from err
        buffers = self._buffers
        buffers.events.append(row)
        owners = owners_touched(event)
        if event.action == ev.WITHDRAW and withdrawn is not None:
            owners |= owners_touched(withdrawn.entry.event)
        buffers.touches.extend([(owner, event.happened, number) for owner in owners])
        written = effects(self.plant, event) if self._head is None else self._head.apply(event)[0]
        buffers.changes.extend(change_rows(written, event.happened, turn, number, known))
        entry = Entry(event, number, known)
        self._in_chunk[event.id] = entry
        self.frontier.append(leaf)
        self.number, self.known = number, known + 1
        self.tally.recorded += 1
        return entry


def told(event: Event) -> str:
    """Return an event in words, for a message."""
    what = " ".join([event.action, *event.subjects])
    if event.place:
        what += f" at {event.place}"
    return f"{what} ({format_instant(event.happened)})"


def _chunks(rows: Iterable[Taken]) -> Iterator[list[Taken]]:
    source = iter(rows)
    while chunk := list(islice(source, CHUNK)):
        yield chunk


def _in_order(chunk: list[Taken]) -> list[Taken]:
    """Return the rows in order of time; as they stand when one of them refers to another one."""
    if any(e.supersedes or e.withdraws or e.explains for _, e in chunk):
        ids = {e.id for _, e in chunk}
        if any({e.supersedes, e.withdraws, e.explains} & ids for _, e in chunk):
            return chunk
    return sorted(chunk, key=lambda row: row[1].happened)


def _refers(event: Event) -> bool:
    return bool(event.supersedes or event.withdraws or event.explains)


def _carried(plant: Plant, event: Event) -> list[str]:
    """Return the units and mobile places that a resolved event puts somewhere."""
    if event.place is None:
        return []
    return [s for s in (*event.subjects, *event.moved) if s in plant.units or plant.is_mobile(s)]
