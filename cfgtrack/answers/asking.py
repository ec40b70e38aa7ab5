"""What stands behind a question besides the question itself: which database, which clock, which moment, who writes."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager
from dataclasses import dataclass, field, replace
from pathlib import Path

from cfgtrack.answers.console import Console
from cfgtrack.answers.moment import Moment, now_of
from cfgtrack.model.action import BOOK_ACTIONS
from cfgtrack.model.plant import Plant
from cfgtrack.model.time import BadTime, format_instant, parse_instant
from cfgtrack.model.trouble import BadInput, NoAnswer, Problem
from cfgtrack.model.unknown import AMBIGUOUS, DOER, UNKNOWN, look_up, no_such
from cfgtrack.model.zone import only_zone
from cfgtrack.store.database import WAIT, spared
from cfgtrack.store.journal import Journal, open_journal, system_clock


@dataclass(frozen=True, slots=True)
class Asking:
    """How a question is put to a `database` (a path or URL).

    Times (`at`, `known_at`) are texts, read as everywhere, or microseconds since 1970, UTC; a text without a date
    counts inside `outing`. `by` and `recorder` stand behind what is written; with `dry_run` nothing is. A writer waits
    `wait` seconds for another. The `clock` is read once a question: the present of the question; and by the journal
    when it stamps what it records. Where there is a server its clock counts for both. The `console` remembers what it
    has seen of the journal, and has the key of whoever signs: `sign` says who; without a console nobody remembers or
    signs.

    `settled`: the times are of an earlier look for the same question: whoever asked named none.

    `sure`: what is said of when something happened is so, however unlikely. `accept_clock` is the day that the clock
    says, of one that is right though it is further ahead of the last write than the plant allows. See
    `model/present.py`.
    """

    database: str = field(repr=False)
    at: str | int | None = None
    known_at: str | int | None = None
    outing: str | None = None
    by: str | None = None
    recorder: str | None = None
    dry_run: bool = False
    wait: float | None = None
    clock: Callable[[], int] = system_clock
    sign: str | None = None
    console: Console | None = None
    sure: bool = False
    accept_clock: str | None = None
    settled: bool = False

    def read(self) -> Journal:
        """Open the journal to ask."""
        journal = open_journal(self.database, clock=self.clock, now=self.clock(), read_only=True)
        with _closed_in_trouble(journal):
            if self.console is not None:
                self.console.look(journal)
        return journal

    def look(self) -> None:
        """Have the console look at the journal, for whoever opens it in another way."""
        if self.console is not None:
            self.read().close()

    def write(self, *, create: bool = False) -> Journal:
        """Open the journal to write; with `create`, make it when it is missing."""
        wait = WAIT if self.wait is None else self.wait
        journal = open_journal(
            self.database,
            clock=self.clock,
            now=self.clock(),
            must_exist=not create,
            wait=wait,
            accepts=self.accept_clock,
        )
        if self.console is not None:
            with _closed_in_trouble(journal):
                self.console.look(journal, writing=True, making=create)
                journal.signer = self.console.signer(journal.plant, self.sign)
            journal.at_end = self.console.keep
        return journal

    def written(
        self, target: Path, *, earlier: re.Pattern[bytes] | None = None, read: Path | int | None = None
    ) -> AbstractContextManager[Path]:
        """Return what writes a file: see `files.writer.replacing`. Spared: the database, and the file that is read."""
        from cfgtrack.files.writer import replacing

        return replacing(target, spared=self._spared(read), earlier=earlier)

    def expect_writable(self, target: Path, *, read: Path | int | None = None) -> None:
        """Raise what `written` would raise, before other work is done."""
        from cfgtrack.files import writer

        writer.expect_writable(target, spared=self._spared(read))

    def _spared(self, read: Path | int | None) -> dict[str, Path | int]:
        return {**({} if read is None else {"the file that is read": read}), **spared(self.database)}

    def doer(self, plant: Plant) -> str | None:
        """Return who `by` means: the id of a person or machine where it is what one is called. BadInput for several."""
        if not self.by:
            return self.by
        found = look_up(plant, self.by, DOER)
        if found.code == AMBIGUOUS:
            raise BadInput(Problem("--by", found.code, found.why))
        return found.address

    def instant(self, journal: Journal, given: str | int, *, option: str) -> int:
        """Read a time that was given as `option`. BadInput for no time, NoAnswer for an outing that never began."""
        if isinstance(given, int):
            return given
        start = None
        if self.outing and "T" not in given.upper():
            start = journal.outing_start(self.outing)
            if start is None:
                raise NoAnswer(
                    Problem(option, UNKNOWN, f"{no_such('outing', self.outing)}: it has not begun")
                )
        try:
            return parse_instant(given, outing_start=start)
        except BadTime as err:
            raise BadInput(Problem(option, "bad-time", str(err))) from None

    def moment(self, journal: Journal) -> Moment:
        """Return the pair of times that the question is asked for: `at` and `known_at`. NoAnswer as `now_of` has it."""
        return self.moment_at(journal, self.at, option="--at")

    def recorded(self, journal: Journal) -> Moment:
        """Return the same for what tells only what is recorded, or records: it is answered whatever clocks say."""
        return self.moment_at(journal, self.at, option="--at", judged=False)

    def moment_at(
        self, journal: Journal, at: str | int | None, *, option: str, judged: bool = True
    ) -> Moment:
        """Return the pair of another time and `known_at`."""
        known, later = None, ""
        as_known = self.known_at is not None and not self.settled
        if self.known_at is not None:
            known = self.instant(journal, self.known_at, option="--known-at")
            if known > journal.present:
                later = (
                    f"WHICH IS AFTER NOW, {format_instant(journal.present)}: WHAT IS STAMPED BY THEN COUNTS"
                )
        if at is None:
            found = now_of(journal, known, judged=judged)
            time_note = ", ".join(filter(None, (later, found.time_note)))
            later_event = journal.later(found.at, found.known or 0)
            found = replace(found, later=later_event, time_note=time_note)
        else:
            when = self.instant(journal, at, option=option)
            first = _first(journal, known)
            found = Moment(*journal.moment(when, known), first=first, time_note=later, exact=not self.settled)
        return replace(found, as_known=as_known, zone=_zone(journal, found))


def _zone(journal: Journal, moment: Moment) -> str:
    """Return the zone of a plant that has one in all."""
    return only_zone(journal.plant(moment.at, moment.known).places)


@contextmanager
def _closed_in_trouble(journal: Journal) -> Iterator[None]:
    """Give a journal back where what is done with it first ends in trouble."""
    try:
        yield
    except BaseException:
        journal.close()
        raise


def _first(journal: Journal, known: int | None) -> int | None:
    """Return when the first thing that is recorded of the hardware happened: before, nothing is known."""
    events = (entry.event for entry in journal.entries(known=known))
    return next((event.happened for event in events if event.action not in BOOK_ACTIONS), None)
