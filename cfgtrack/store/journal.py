"""The journal: the one door to the record.

    with open_journal("plant.db", clock=clock) as journal:
        journal.record([event])
        journal.configuration(at=instant)

Whatever was answered for a pair of times (at, known) is answered for ever: later events and corrections have a
later `known`. So a question needs no transaction, and readers never wait for writers.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from types import TracebackType

from cfgtrack.model.action import BEGIN, Action
from cfgtrack.model.configuration import Configuration, View
from cfgtrack.model.definition import Definition
from cfgtrack.model.event import Entry, LogLine
from cfgtrack.model.plant import Plant
from cfgtrack.model.trouble import NoAnswer, Problem
from cfgtrack.store import questions
from cfgtrack.store.columns import NEVER
from cfgtrack.store.database import WAIT, Database
from cfgtrack.store.loading import (
    RULES,
    Author,
    LoadReport,
    keep_texts,
    load_definition,
    read_items,
    read_plant,
)
from cfgtrack.store.migrations import check_current, is_empty, upgrade
from cfgtrack.store.record import Outcome, Recorder, SetAside
from cfgtrack.store.rows import find_entry
from cfgtrack.store.view import SqlView, read_configuration, read_owner

Now = Callable[[], int]


def create(url: str, *, clock: Now) -> None:
    """Make an empty journal. NoAnswer when there is something already."""
    del clock
    database = Database(url, create=True)
    try:
        if not is_empty(database):
            raise NoAnswer(Problem(str(database.where), "exists", "there is a database already"))
        upgrade(database)
    finally:
        database.close()


def open_journal(
    url: str,
    *,
    clock: Now,
    now: int | None = None,
    must_exist: bool = True,
    read_only: bool = False,
    wait: float = WAIT,
) -> Journal:
    """Open a journal; with `must_exist` false, make it first when it is missing.

    `clock` gives the present in microseconds since 1970, UTC. With `now` every question of this opening is asked in
    that one present: only what is recorded is stamped by the clock. A writer waits `wait` seconds for another one.
    NoAnswer when there is no journal, or when its schema isn't current.
    """
    may_make = not must_exist and not read_only
    database = Database(url, read_only=read_only, wait=wait, create=may_make)
    try:
        # What a creation that was cut off leaves is an empty database, too.
        if may_make and is_empty(database):
            upgrade(database)
        check_current(database)
    except BaseException:
        database.close()
        raise
    return Journal(database, clock, now)


class Journal:
    """An open journal. Close it, or use it in a `with`."""

    def __init__(self, database: Database, clock: Now, now: int | None = None) -> None:
        self.database = database
        self.clock = clock
        self._now = now
        self._plants: dict[int, Plant] = {}

    def __enter__(self) -> Journal:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, raised: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def close(self) -> None:
        """Give the database back."""
        self.database.close()

    # --- the two times --------------------------------------------------------------------------------------

    def moment(self, at: int | None = None, known: int | None = None) -> tuple[int, int]:
        """Return the pair (at, known) that a question with these times is answered for.

        Without `at`: now, or the time of the last event in effect when that is later. Without `known`: all that the
        journal holds, told by the `known` of its last event.
        """
        if known is None:
            row = self.database.row("SELECT known FROM event ORDER BY number DESC LIMIT 1")
            known = 0 if row is None else int(row[0])
        if at is None:
            at = max(self.present, questions.last_happened(self.database, known=known)[0])
        return at, known

    @property
    def present(self) -> int:
        """The present: the one that the journal was opened in, else the clock's."""
        return self.clock() if self._now is None else self._now

    def recorded(self) -> tuple[int, int] | None:
        """Return when the first and the last event became known, None where there is none."""
        first = self.database.row("SELECT known FROM event ORDER BY number LIMIT 1")
        last = self.database.row("SELECT known FROM event ORDER BY number DESC LIMIT 1")
        return None if first is None or last is None else (int(first[0]), int(last[0]))

    def ahead(self) -> tuple[int, str] | None:
        """Return the last event that lies in the future though it was known before now: when it happened, and its id.

        What others have recorded since then doesn't count: however late this one comes to its turn, and however
        fast another one's clock is, what happened now did happen now.
        """
        now = self.present
        last = questions.last_happened(self.database, known=now)
        return last if last[0] > now else None

    # --- configurations -------------------------------------------------------------------------------------

    def plant(self, known: int | None = None) -> Plant:
        """Return the plant as defined by `known`. It is read once for each definition: treat it as read-only."""
        # All of the few definitions, and the last of them here: a planner that knows no better would look for it
        # through the whole journal from its end.
        rows = self.database.rows("SELECT number, known FROM event WHERE action = 'define'")
        load = max((int(number) for number, when in rows if known is None or when <= known), default=0)
        if load not in self._plants:
            self._plants[load] = read_plant(self.database, NEVER if known is None else known)
        return self._plants[load]

    def view(self, at: int | None = None, known: int | None = None) -> View:
        """Return the configuration at (at, known), read as far as it is asked for."""
        at, known = self.moment(at, known)
        return SqlView(self.database, self.plant(known), at, known)

    def configuration(self, at: int | None = None, known: int | None = None) -> Configuration:
        """Return the whole configuration at (at, known): states, measured values, mate cycles."""
        at, known = self.moment(at, known)
        return read_configuration(self.database, self.plant(known), at, known)

    def unit(self, owner: str, at: int | None = None, known: int | None = None) -> Configuration:
        """Return a configuration that holds only what concerns one unit or place itself: one indexed question."""
        at, known = self.moment(at, known)
        return read_owner(self.database, self.plant(known), owner, at, known)

    # --- events ---------------------------------------------------------------------------------------------

    def entries(
        self, *, at: int | None = None, known: int | None = None, since: int | None = None
    ) -> Iterator[Entry]:
        """Yield the events in effect with `since` < happened <= `at`, in the order in which they count."""
        known = self.moment(0, known)[1]
        return questions.entries(self.database, known=known, since=since, until=NEVER if at is None else at)

    def log(self, *, known: int | None = None, after: int = 0) -> Iterator[LogLine]:
        """Yield every event with a number above `after`, in journal order, with what has corrected it."""
        return questions.log(self.database, known=self.moment(0, known)[1], after=after)

    def history(
        self, subject: str, *, start: int | None = None, end: int | None = None, known: int | None = None
    ) -> Iterator[Entry]:
        """Yield the events in effect on a unit, port, place or part, with `start` <= happened < `end`, in order."""
        span = (-NEVER if start is None else start, NEVER if end is None else end)
        known = self.moment(0, known)[1]
        return questions.history(self.database, subject, start=span[0], end=span[1], known=known)

    def entry(self, event_id: str) -> Entry | None:
        """Return the event with this id, in effect or not, or None."""
        return find_entry(self.database, event_id)

    def corrected_by(self, event_id: str, known: int | None = None) -> Entry | None:
        """Return the event that superseded or withdrew the one with this id, or None."""
        return questions.corrected_by(self.database, event_id, known=self.moment(0, known)[1])

    def last(
        self, subject: str, action: str, *, at: int | None = None, known: int | None = None
    ) -> Entry | None:
        """Return the last event in effect of this action on `subject`, or None."""
        at, known = self.moment(at, known)
        return questions.last(self.database, subject, action, at=at, known=known)

    def discrepancies(self, at: int | None = None, known: int | None = None) -> list[Entry]:
        """Return the as-found events that contradicted the record and that nobody has explained yet."""
        at, known = self.moment(at, known)
        return questions.discrepancies(self.database, at=at, known=known)

    def remarks(
        self, subjects: Iterable[str], *, at: int | None = None, known: int | None = None
    ) -> list[Entry]:
        """Return the remarks on `subjects`, on the units and places that have them, and on their parts."""
        at, known = self.moment(at, known)
        return questions.remarks(self.database, self.plant(known), subjects, at=at, known=known)

    def outing_start(self, outing: str, known: int | None = None) -> int | None:
        """Return when an outing began, or None when the journal has no such beginning."""
        known = self.moment(0, known)[1]
        begun = questions.of_action(self.database, BEGIN, at=NEVER, known=known)
        return next((e.event.happened for e in reversed(begun) if e.event.outing == outing), None)

    def ids(self, prefix: str = "") -> list[str]:
        """Return the ids of units and places that begin with `prefix`, sorted."""
        return sorted(owner for owner in self.plant().owners() if owner.startswith(prefix))

    # --- writing --------------------------------------------------------------------------------------------

    def load(
        self,
        definition: Definition,
        *,
        by: str | None,
        recorder: str | None,
        id: str | None = None,  # noqa: A002 - the event's, as everywhere
        dry_run: bool = False,
    ) -> LoadReport:
        """Bring the plant to `definition` and record its initial configuration; twice is as good as once.

        Refused when an initial state contradicts the journal; then nothing is written.
        """
        author = Author(by, recorder)
        return load_definition(
            self.database, definition, author, clock=self.clock, event_id=id, keep=not dry_run
        )

    def keep_rules(
        self, texts: Mapping[str, str], *, by: str | None, recorder: str | None, dry_run: bool = False
    ) -> LoadReport:
        """Keep the texts of rules files, name to text; a new version only of what differs."""
        author = Author(by, recorder)
        return keep_texts(self.database, texts, author, clock=self.clock, keep=not dry_run)

    def rules(self, known: int | None = None) -> dict[str, str]:
        """Return the texts of the rules files as kept by `known`, name to text."""
        found = read_items(self.database, RULES, self.moment(0, known)[1])
        return {name: str(body["text"]) for name, body in found.items()}

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
            recorder = Recorder(self.database, self.plant(), self.clock)
            recorder.take(rows, each=each, set_aside=set_aside)
            recorder.finish()
        return recorder.tally
