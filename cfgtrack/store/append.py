"""Appending one event: resolved against the configuration just before it, and written.

An event later than everything it stands on is resolved against the configuration in memory and written in bulk.
A late one is resolved against the configuration as it was then, and what it disturbs is looked at again (see
`collision`). Both give the same rows.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace

from cfgtrack.model import action as ac
from cfgtrack.model.action import Action, plain_words
from cfgtrack.model.configuration import Configuration, View
from cfgtrack.model.event import AFTER_DEVICE, DEVICE, Entry, Event, done_to, effects, stays_on
from cfgtrack.model.gate import tells, told_otherwise
from cfgtrack.model.plant import Plant
from cfgtrack.model.possibility import Refusal, resolve
from cfgtrack.model.presence import NEEDS_NOBODY, Telling
from cfgtrack.model.present import day_of, size_of, stamp
from cfgtrack.model.setting import CLOCK_AHEAD
from cfgtrack.model.signature import Signer
from cfgtrack.model.time import format_instant
from cfgtrack.model.trouble import Problem, Refused
from cfgtrack.model.unknown import UNKNOWN
from cfgtrack.store import checkpoint, clock, collision
from cfgtrack.store.canonical import NotCanonical
from cfgtrack.store.collision import Collision, Disturbance, disturbance, is_inert
from cfgtrack.store.columns import NEVER
from cfgtrack.store.correction import Target, end_changes, target_of
from cfgtrack.store.database import Database, Row
from cfgtrack.store.definitions import Definitions, read_definitions, read_loads
from cfgtrack.store.form import Unrecordable
from cfgtrack.store.merkle import Frontier
from cfgtrack.store.permit import Permit
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

FLUSH = 1_000
"""So many events are buffered: enough for the database, few enough for the processor's caches."""

Mark = tuple[int, int, bytes]


@dataclass(slots=True)
class _Buffers:
    events: list[Row] = field(default_factory=list)
    touches: list[Row] = field(default_factory=list)
    changes: list[Row] = field(default_factory=list)


class Appender:
    """The end of the journal, inside a transaction. What it writes is buffered until `flush`.

    `number` is that of the last event, `known` the one that the next event gets; `disturbances` are what the late
    events so far may have disturbed, `changed_from` the earliest instant that the past is different from now.

    Each event is held against the plant of its instant. `plant` is the last one, after every date of effect. `prior`
    are events of a prior life, by id: each is held against the plant of a later instant, when what it is of is there.

    `accepts` is the day that the console's clock says and that somebody accepts, should it be further ahead than the
    plant allows: else nothing can be written. `off` is by how much the clock is off the `last` write, which each event
    then says.
    """

    def __init__(
        self,
        database: Database,
        console: Callable[[], int],
        signer: Signer | None = None,
        *,
        accepts: str | None = None,
    ) -> None:
        self.database = database
        self._go_on_with(read_definitions(database))
        self.number, last, now = clock.last_write(database, console)
        most = self.plant.span(CLOCK_AHEAD)
        stamped = stamp(now, last, most=most)
        self.last, self.known, self.off = last, stamped.known, stamped.off
        self._jump: Refused | None = None
        if stamped.jumps and not clock.is_served(database) and accepts != day_of(now):
            self._jump = _jump(now, now - stamped.off, most)
        self.permit = Permit(database, self.definitions, self.known, signer)
        head = database.row("SELECT frontier FROM tree_head ORDER BY number DESC LIMIT 1")
        self.frontier = Frontier.from_bytes(bytes(head[0])) if head else Frontier()
        self.prior: dict[str, int] = {}
        self.disturbances: list[Disturbance] = []
        self.changed_from = NEVER
        self.recent: dict[str, Entry] = {}
        self._first = self.number
        self._buffers = _Buffers()
        self._head: Configuration | None = None
        self._latest = NEVER
        self._seen_until = 0

    @property
    def written(self) -> int:
        """How many events have been written."""
        return self.number - self._first

    def append(self, where: str, action: Action) -> Entry:
        """Resolve and write one event. Unrecordable when it is impossible, or corrects what can't be corrected."""
        inert = is_inert(self._plant(action.happened), action)
        in_order = (inert or action.happened >= self._latest) and action.happened >= self._last_effect
        if self._head is not None and in_order and not _refers(action):
            return self._at_once(where, action, self._head, inert=inert)
        self.flush()
        if not _refers(action):
            return self._late(where, action)
        # Should it be refused after all, the event that it corrects goes on to count.
        with self.database.attempt():
            return self._late(where, action)

    def set_aside(self, targets: Sequence[Target]) -> None:
        """Have events count no more that the next ones to be appended correct, one each, in this order.

        Each of those is then held against what all of them leave.
        """
        for ahead, target in enumerate(targets):
            end_changes(self.database, target, self.known + ahead)
        self._seen_until = self.known + len(targets)

    def collisions(self) -> Iterator[Collision]:
        """Yield what the late events so far contradict."""
        return collision.collisions(self.database, self.definitions, self.disturbances, self.known)

    def close_tree(self) -> None:
        """Write the tree head over everything, when there is something new, and forget what judged without it."""
        # On a server that watches its users it is the server's affair, as all that follows from an event.
        if self.number > self._first and not self.database.is_restricted:
            head = (self.number, self.known - 1, self.frontier.root(), self.frontier.to_bytes())
            self.database.insert("tree_head", ("number", "known", "root", "frontier"), [head])
            checkpoint.forget(self.database, self.changed_from)

    def look_again(self) -> Definitions:
        """From here on what has been loaded meanwhile is the definition. Return what was before."""
        self.flush()
        before = self.definitions
        # The items of a load that is known already may have come since.
        self._go_on_with(Definitions(self.database, read_loads(self.database), before.items))
        self._head = None
        return before

    def _go_on_with(self, definitions: Definitions) -> None:
        self.definitions = definitions
        dates = definitions.dates()
        self._last_effect = dates[-1] if dates else -NEVER
        self._last_plant: Plant | None = None

    @property
    def plant(self) -> Plant:
        """The plant after every date of effect."""
        if self._last_plant is None:
            self._last_plant = self.definitions.plant()
        return self._last_plant

    def _plant(self, at: int) -> Plant:
        return self.plant if at >= self._last_effect else self.definitions.plant(at)

    def flush(self) -> None:
        """Write what is buffered."""
        rows, self._buffers, self.recent = self._buffers, _Buffers(), {}
        self.database.insert("event", EVENT_COLUMNS, rows.events)
        if self.database.is_restricted:
            return
        # In the order of the table's key, many rows land on few pages of the file.
        self.database.insert("touch", TOUCH_COLUMNS, sorted(rows.touches))
        self.database.insert("change", CHANGE_COLUMNS, sorted(rows.changes, key=KEY_OF_CHANGE))

    def look_ahead(self) -> None:
        """Read the configuration after everything recorded, once: what in-order events are resolved against."""
        if self._head is not None:
            return
        self.flush()
        self._head = read_configuration(self.database, self.plant, NEVER, self.known)
        last = self.database.row(
            "SELECT max(happened) FROM change WHERE until = :never"
            " AND (aspect IN ('', '@') OR (aspect >= :device AND aspect < :after))",
            {"never": NEVER, "device": DEVICE, "after": AFTER_DEVICE},
        )
        if self.plant.has_sites:
            # What changed nothing also says where whoever did it was.
            marks = ", ".join(f"'{action}'" for action in sorted(NEEDS_NOBODY))
            last = self.database.row(f"SELECT max(happened) FROM event WHERE action NOT IN ({marks})")  # noqa: S608
        self._latest = last[0] if last is not None and last[0] is not None else -NEVER

    def mark(self) -> Mark:
        """Return where the journal stands, to go back to."""
        return self.number, self.known, self.frontier.to_bytes()

    def go_back(self, mark: Mark) -> None:
        """Take up again at a mark, after the database has been rolled back to it."""
        self.number, self.known, frontier = mark
        self.frontier = Frontier.from_bytes(frontier)
        self._buffers = _Buffers()
        self.disturbances.clear()
        self._go_on_with(read_definitions(self.database, self.definitions))
        if self._head is not None:
            self._head = None
            self.look_ahead()

    # --- in order, and late ----------------------------------------------------------------------------------

    def _at_once(self, where: str, action: Action, head: Configuration, *, inert: bool) -> Entry:
        event = self._resolved(where, action, head)
        entry = self._write(where, event, turn=self.number + 1, corrects=None)
        if not inert:
            self._latest = event.happened
        return entry

    def _late(self, where: str, action: Action) -> Entry:
        target = target_of(self.database, where, action)
        turn = self.number + 1
        if target is not None:
            if action.supersedes and target.entry.event.happened == action.happened:
                turn = target.turn
            self.permit.expect_roles(where, action, target.entry)
            end_changes(self.database, target, self.known)
        view = self._view(action.happened, turn)
        event = self._resolved(where, action, view)
        corrects = None if target is None else target.entry.number
        left = [view.state(s).value for s in _carried(view.plant, event)]
        entry = self._write(where, event, turn=turn, corrects=corrects, target=target)
        self.flush()
        self._disturb(where, event, turn, left)
        if target is not None:
            self._disturb(where, target.entry.event, target.turn, (), cause=event)
        if target is not None and target.entry.event.action in ac.REVISIONS:
            self.defined_anew(where, event)
        self._catch_up(event, target)
        return entry

    def defined_anew(self, where: str, event: Event) -> None:
        """Note what another definition, which an event brought or took away, may have disturbed."""
        before = self.look_again()
        self.permit.expect_areas(where, event, before, self.definitions)
        self.disturbances += collision.of_definition(before, self.definitions, by=(where, event))

    def _disturb(
        self, where: str, event: Event, turn: int, left: Iterable[str], cause: Event | None = None
    ) -> None:
        """Note what `event`, just recorded or (with `cause`) just taken away, may have disturbed."""
        view = self._view(event.happened, turn)
        if is_inert(view.plant, event):
            return
        if cause is not None:
            left = [view.state(s).value for s in _carried(view.plant, event)]
        dates = self.definitions.dates()
        found = disturbance(view, event, by=(where, cause or event), left=left, dates=dates)
        if found is not None:
            self.disturbances.append(found)

    def _view(self, at: int, turn: int) -> SqlView:
        """Return the configuration just before a turn, without anything that is to be corrected together."""
        return SqlView(self.database, self._plant(at), at, max(self.known, self._seen_until), turn)

    def _resolved(self, where: str, action: Action, view: View) -> Event:
        if action.id in self.prior:
            then = self.definitions.plant(self.prior[action.id])
            view = SqlView(self.database, then, action.happened, self.known)
        outcome = resolve(view, action, Telling.RECORDED)
        if isinstance(outcome, Event):
            told_wrong = (
                isinstance(action, Event) and tells(action) and [*told_otherwise(view, action, outcome)]
            )
            if told_wrong:
                why = "; ".join(told_wrong)
                sentence = f"what is told to follow from it doesn't: {why}"
                raise Unrecordable((Problem(where, "consequence", sentence),))
            return outcome
        problems = tuple(self._problem(where, refusal) for refusal in outcome.refusals)
        collides = tuple(r.collides for r in outcome.refusals if r.collides)
        raise Unrecordable(problems, collides)

    def _problem(self, where: str, refusal: Refusal) -> Problem:
        sentence = refusal.sentence
        if refusal.collides:
            other = self.recent.get(refusal.collides) or find_entry(self.database, refusal.collides)
            if other is not None:
                sentence += f": event {refusal.collides}, {told(other.event)}"
        return Problem(where, refusal.code, sentence, thing=refusal.code == UNKNOWN)

    # --- late events ----------------------------------------------------------------------------------------

    def _catch_up(self, event: Event, target: Target | None) -> None:
        """After a late event: set the configuration ahead right wherever it may have changed."""
        if self._head is None:
            return
        events = [event] if target is None else [event, target.entry.event]
        plant = self._head.plant
        view = SqlView(self.database, plant, NEVER, self.known)
        for subject in {s for e in events for s in e.written}:
            if plant.port(subject) is not None or plant.can_move(subject):
                self._head.set_state(subject, view.state(subject))
        for end in {s for e in events for s in e.ends}:
            if plant.port(end) is not None:
                self._head.set_end(end, view.end_at(end))
        hung = (done_to(plant, e) for e in events if stays_on(plant, e))
        for thing in {thing for things in hung for thing in things}:
            self._head.set_devices(thing, view.devices_on(thing))
        if not is_inert(plant, event):
            self._latest = max(self._latest, event.happened)

    # --- writing --------------------------------------------------------------------------------------------

    def _write(
        self, where: str, event: Event, *, turn: int, corrects: int | None, target: Target | None = None
    ) -> Entry:
        number, known = self.number + 1, self.known
        if self.permit.is_needed:
            self.permit.expect(where, event, None if target is None else target.entry)
        if self.off:
            if self._jump is not None:
                raise self._jump
            event = replace(event, clock=self.off)
        try:
            row, leaf = event_row(event, number, known, turn, corrects, self.permit.login)
        except NotCanonical as err:
            raise Unrecordable(
                (Problem(where, "not-json", f"event {event.id} can't be kept: {err}"),)
            ) from err
        buffers = self._buffers
        buffers.events.append(row)
        plant, head = self._plant(event.happened), self._head
        owners = owners_touched(plant, event)
        if target is not None:
            self._changes_from(target.entry.event)
            if event.action == ac.WITHDRAW:
                owners |= owners_touched(plant, target.entry.event)
        buffers.touches.extend([(owner, event.happened, number) for owner in owners])
        # What comes before the last date of effect may write what is no longer there: `_catch_up` sees to the rest.
        is_ahead = head is not None and head.plant is plant
        written = head.apply(event)[0] if head is not None and is_ahead else effects(plant, event)
        buffers.changes.extend(change_rows(written, event.happened, turn, number, known))
        entry = Entry(event, number, known, self.permit.login)
        self._changes_from(event)
        self.recent[event.id] = entry
        self.frontier.append(leaf)
        self.number, self.known = number, known + 1
        if len(buffers.events) >= FLUSH:
            self.flush()
        return entry

    def _changes_from(self, event: Event) -> None:
        """Note that what is recorded makes the past different from this event on."""
        # Where judging begins, and what by, all of the past is judged anew.
        happened = -NEVER if event.initial or event.action == ac.DEFINE else event.happened
        if event.action in ac.REVISIONS:
            # What is remembered of the instant just before says what time alone makes of this one.
            happened -= 1
        self.changed_from = min(self.changed_from, happened)


def _jump(now: int, last: int, most: int) -> Refused:
    sentence = (
        f"this clock says {format_instant(now)}, {size_of(now - last)} after the last write, {format_instant(last)};"
        f" the plant allows {size_of(most)}. Set the clock, or, if it is right, name the day that it says:"
        f" --accept-clock {day_of(now)}"
    )
    return Refused(Problem("clock", "clock-ahead", sentence))


def told(action: Action) -> str:
    """Return an action or event in words, for a message."""
    what = " ".join(plain_words(action))
    if action.place:
        what += f" at {action.place}"
    return f"{what} ({format_instant(action.happened)})"


def _refers(action: Action) -> bool:
    return bool(action.supersedes or action.withdraws or action.explains)


def _carried(plant: Plant, event: Event) -> list[str]:
    """Return the units and mobile places that a resolved event puts somewhere."""
    also = (*event.carried, *event.found)
    if event.place is None:
        return [*also]
    return [*(s for s in (*event.subjects, *event.moved) if plant.can_move(s)), *also]
