"""Recording: events in, each resolved against the configuration just before it; all of them kept, or none.

An event later than everything it stands on is resolved against the configuration in memory and written in bulk.
A late one is resolved against the configuration as it was then, and what it disturbs is looked at again (see
`collision`). Both give the same rows.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field
from itertools import islice
from typing import NamedTuple

from cfgtrack.model import event as ev
from cfgtrack.model.configuration import Configuration, View
from cfgtrack.model.event import BASES, Entry, Event, effects
from cfgtrack.model.plant import Plant, owner_of
from cfgtrack.model.possibility import Refusal, resolve
from cfgtrack.model.time import format_instant
from cfgtrack.model.trouble import NoAnswer, Problem, Refused, near_hint
from cfgtrack.store.canonical import LARGEST_INTEGER, NotCanonical
from cfgtrack.store.collision import Disturbance, collisions, disturbance, is_inert
from cfgtrack.store.columns import AT_PLACE, NEVER
from cfgtrack.store.database import Database, Row
from cfgtrack.store.merkle import Frontier
from cfgtrack.store.repeat import differences
from cfgtrack.store.rows import (
    CHANGE_COLUMNS,
    EVENT_COLUMNS,
    KEY_OF_CHANGE,
    TOUCH_COLUMNS,
    change_rows,
    entry_of,
    event_row,
    find_entry,
    owners_touched,
)
from cfgtrack.store.view import SqlView, read_configuration

CHUNK = 10_000
"""So many rows are read, put in order of time and checked together."""

FEW = 40
"""Up to so many rows it costs less to ask for each state than to read the whole configuration."""

SetAside = Callable[[str, Event, tuple[Problem, ...]], None]


@dataclass(slots=True)
class Tally:
    """What became of the rows: newly recorded, repeated (there already, with the same content), refused."""

    recorded: int = 0
    repeated: int = 0
    refused: int = 0


class Target(NamedTuple):
    """The event that a correction corrects."""

    entry: Entry
    turn: int


class Unrecordable(Exception):
    """One row can't be taken."""

    def __init__(self, problems: tuple[Problem, ...], collides: tuple[str, ...] = ()) -> None:
        super().__init__(problems)
        self.problems = problems
        self.collides = collides


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
        rows: Iterable[tuple[str, Event]],
        *,
        each: Callable[[Entry], None] | None = None,
        set_aside: SetAside | None = None,
    ) -> None:
        """Record rows of (where it comes from, event). Without `set_aside` every refusal is kept for `finish`."""
        for chunk in _chunks(rows):
            if self._head is None and len(chunk) > FEW:
                self._look_ahead()
            recorded = self._recorded_ids(chunk)
            self._in_chunk = {}
            for where, event in _in_order(chunk):
                try:
                    entry = self._take_one(where, event, recorded, at_once=set_aside is not None)
                except Unrecordable as refusal:
                    self.tally.refused += 1
                    if set_aside is not None:
                        set_aside(where, event, refusal.problems)
                    else:
                        self._problems.extend(refusal.problems)
                        self._collides.update(dict.fromkeys(refusal.collides))
                else:
                    if each is not None:
                        each(entry)
            self.flush()

    def finish(self) -> None:
        """Check what late events have disturbed, and close the tree. Refused, with all problems, if there are any."""
        self.flush()
        if not self._problems:
            for problem, other in collisions(self.database, self.plant, self._disturbances, self.known):
                self._problems.append(problem)
                self._collides[other] = None
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

    def _recorded_ids(self, chunk: list[tuple[str, Event]]) -> set[str]:
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

    def _take_one(self, where: str, event: Event, recorded: set[str], *, at_once: bool) -> Entry:
        if not _is_plain(event):
            _check_form(where, event)
        before = self._before(event.id, recorded)
        if before is not None:
            self._expect_same(where, event, before)
            self.tally.repeated += 1
            return before
        inert = is_inert(event)
        if self._head is not None and (inert or event.happened >= self._latest) and not _refers(event):
            return self._at_once(where, event, self._head, inert=inert)
        self.flush()
        if not at_once:
            return self._late(where, event)
        mark = self._mark()
        try:
            with self.database.attempt():
                entry = self._late(where, event)
                self.flush()
                self._expect_no_collision()
        except Unrecordable:
            self._in_chunk.pop(event.id, None)
            self._go_back(mark)
            raise
        self._disturbances.clear()
        return entry

    def _expect_no_collision(self) -> None:
        found = list(collisions(self.database, self.plant, self._disturbances, self.known))
        if found:
            raise Unrecordable(tuple(p for p, _ in found), tuple(o for _, o in found))

    def _mark(self) -> tuple[int, int, bytes, int]:
        return self.number, self.known, self.frontier.to_bytes(), self.tally.recorded

    def _go_back(self, mark: tuple[int, int, bytes, int]) -> None:
        self.number, self.known, frontier, self.tally.recorded = mark
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
        target = self._target(where, event)
        turn = self.number + 1
        if target is not None:
            if event.supersedes and target.entry.event.happened == event.happened:
                turn = target.turn
            self._end(target)
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

    # --- corrections ----------------------------------------------------------------------------------------

    def _target(self, where: str, event: Event) -> Target | None:
        """Return the event that this one supersedes or withdraws, after all that forbids it has been looked for."""
        if event.explains:
            self._expect_discrepancy(where, event)
        name = event.supersedes or event.withdraws
        if name is None:
            return None
        sql = "SELECT body, number, known, turn FROM event WHERE id = :id"
        row = self.database.row(sql, {"id": name})
        if row is None:
            raise _no(where, "no-such-event", f"there is no event {name} to correct")
        target = Target(entry_of(*row[:3]), row[3])
        other = self.database.row(
            "SELECT id FROM event WHERE corrects = :number", {"number": target.entry.number}
        )
        if other is not None:
            sentence = f"event {name} was corrected already, by {other[0]}: correct that one"
            raise _no(where, "corrected-already", sentence, other[0])
        if target.entry.event.action in (ev.WITHDRAW, ev.DEFINE):
            what = "a withdrawal can't be taken back: record the event again under a new id"
            if target.entry.event.action == ev.DEFINE:
                what = "a definition can't be taken back: load the right one"
            raise _no(where, "not-correctable", what, name)
        return target

    def _expect_discrepancy(self, where: str, event: Event) -> None:
        found = find_entry(self.database, event.explains or "")
        if found is None:
            raise _no(where, "no-such-event", f"there is no event {event.explains} to explain")
        if found.event.action != ev.FOUND:
            sentence = f"event {event.explains} is not an as-found event: there is nothing to explain"
            raise _no(where, "not-found-so", sentence, found.event.id)

    def _end(self, target: Target) -> None:
        """From now on the corrected event's changes no longer count."""
        event = target.entry.event
        aspects = ["", AT_PLACE, *event.values]
        for subject in dict.fromkeys([*event.subjects, *event.moved]):
            for aspect in aspects:
                self.database.execute(
                    "UPDATE change SET until = :known WHERE subject = :subject AND aspect = :aspect"
                    " AND happened = :happened AND turn = :turn AND number = :number",
                    {
                        "known": self.known,
                        "subject": subject,
                        "aspect": aspect,
                        "happened": event.happened,
                        "turn": target.turn,
                        "number": target.entry.number,
                    },
                )

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


def _chunks(rows: Iterable[tuple[str, Event]]) -> Iterator[list[tuple[str, Event]]]:
    source = iter(rows)
    while chunk := list(islice(source, CHUNK)):
        yield chunk


def _in_order(chunk: list[tuple[str, Event]]) -> list[tuple[str, Event]]:
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


def _no(where: str, code: str, sentence: str, *collides: str) -> Unrecordable:
    return Unrecordable((Problem(where, code, sentence),), collides)


def _is_plain(event: Event) -> bool:
    """Return whether an event is clearly well-formed: nearly all are, and `_check_form` takes its time."""
    return (
        bool(event.id)
        and -LARGEST_INTEGER <= event.happened <= LARGEST_INTEGER
        and event.basis in BASES
        and event.action not in ev.BOOK_ACTIONS
        and not event.supersedes
        and not event.withdraws
        and not event.explains
    )


def _check_form(where: str, event: Event) -> None:
    """Refuse what no event may look like, whatever the configuration."""
    wrong: list[tuple[str, str]] = []
    if not event.id:
        wrong.append(("id", "an event needs an id, made by its author"))
    if not -LARGEST_INTEGER <= event.happened <= LARGEST_INTEGER:
        wrong.append(("time", f"{format_instant(event.happened)} is too far from 1970 to be kept exactly"))
    if event.basis not in BASES:
        wrong.append(("basis", f"expected {', '.join(BASES)}; found {event.basis}"))
    if event.supersedes and event.withdraws:
        wrong.append(("correction", "an event supersedes another one or withdraws it, not both"))
    if (event.supersedes or event.withdraws) and not event.reason:
        wrong.append(("reason", "a correction needs a reason"))
    if (event.action == ev.WITHDRAW) != bool(event.withdraws):
        wrong.append(
            ("correction", "withdraw needs the id of the event that it withdraws, and only it has one")
        )
    if (event.action == ev.EXPLAIN) != bool(event.explains):
        wrong.append(
            (
                "explanation",
                "explain needs the id of the as-found event that it explains, and only it has one",
            )
        )
    if event.action == ev.EXPLAIN and not (event.reason or event.remark):
        wrong.append(("reason", "an explanation needs a reason or a remark"))
    if wrong:
        raise Unrecordable(tuple(Problem(where, code, sentence) for code, sentence in wrong))
