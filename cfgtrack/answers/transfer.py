"""Many events in, and all of them out, streamed."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, TextIO

from cfgtrack.answers.moment import Answer
from cfgtrack.answers.past import events_of

if TYPE_CHECKING:
    from cfgtrack.answers.asking import Asking
    from cfgtrack.files.rows import Taken
    from cfgtrack.model.action import Action
    from cfgtrack.model.event import Entry
    from cfgtrack.model.plant import Plant
    from cfgtrack.model.trouble import Problem
    from cfgtrack.store.journal import Journal
    from cfgtrack.store.record import Tally

Rows = Iterator["Taken | Problem"]

NOT_TEXT = "surrogateescape"
"""How a stream of rows is to treat what is no UTF-8: whoever reads the rows can then tell where it stands."""

_STDIN = 0
_EXPORTED = re.compile(
    rb'number,known,id,at,action,|[^\n]*"happened":[^\n]*"known":|\{"cfgtrack":"archive"|\{"objectTypes": \['
)
"""What an export begins with, in any of its forms."""


@dataclass(frozen=True, slots=True)
class Imported(Answer):
    """What became of rows of events. `problems` are those of the rows that were set aside."""

    dry_run: bool
    recorded: int
    repeated: int
    refused: int
    problems: tuple[Mapping[str, str], ...]


def take_in(
    asking: Asking,
    source: str | TextIO,
    *,
    form: str = "",
    basis: str | None = None,
    rejects: Path | None = None,
    passing: Callable[[Rows], Rows] = iter,
) -> Imported:
    """Record the rows of a CSV or JSON Lines file, or of standard input: all or none, save with a file of `rejects`.

    The asking's outing is that of the rows that don't say. A stream must treat what is no text as `NOT_TEXT` says.
    `passing` is handed the rows as they are read, and hands them on: to tell how far it is.
    """
    said = {"by": asking.by, "recorder": asking.recorder, "basis": basis, "outing": asking.outing}
    read = Path(source) if isinstance(source, str) else _STDIN
    if rejects is not None:
        asking.expect_writable(rejects, read=read)
    with asking.write() as journal, _opened(source, keep=rejects is not None) as stream:
        feed = _Feed(
            plant=journal.plant(),
            where=source if isinstance(source, str) else "stdin",
            form=form,
            defaults={name: value for name, value in said.items() if value},
            starts=_outing_starts(journal),
            aside=None if rejects is None else {},
            passing=passing,
        )
        tally = feed.into(journal, stream, dry_run=asking.dry_run)
        moment = asking.moment(journal)
        if rejects is not None and feed.aside:
            with asking.written(rejects, read=read) as file:
                feed.write_rejects(stream, file)
    aside = feed.aside or {}
    problems = tuple(
        {"where": p.where, "code": p.code, "sentence": p.sentence} for found in aside.values() for p in found
    )
    return Imported(moment, asking.dry_run, tally.recorded, tally.repeated, len(aside), problems)


def _outing_starts(journal: Journal) -> dict[str, int]:
    """Return when each recorded outing began, so that rows may give times inside it."""
    from cfgtrack.model.action import BEGIN

    return {event.outing: event.happened for event in events_of(journal, BEGIN) if event.outing}


@contextmanager
def _opened(source: str | TextIO, *, keep: bool) -> Iterator[TextIO]:
    """Open the source as text. With `keep` it can be read twice: a stream is kept in a temporary file."""
    import shutil
    import tempfile

    if isinstance(source, str):
        with Path(source).open(encoding="utf-8", errors=NOT_TEXT, newline="") as stream:
            yield stream
    elif keep:
        with tempfile.TemporaryFile("w+", encoding="utf-8", errors=NOT_TEXT, newline="") as spool:
            try:
                shutil.copyfileobj(source, spool)
                spool.seek(0)
            except OSError as err:  # a temporary file has no name to tell
                raise OSError(err.errno, err.strerror, tempfile.gettempdir()) from err
            yield spool
    else:
        yield source


@dataclass
class _Feed:
    """Rows on their way from a stream into the journal.

    `aside` takes the problems of each row that can't be recorded, by its place; when it is None, they are raised.
    """

    plant: Plant
    where: str
    form: str
    defaults: dict[str, str]
    starts: dict[str, int]
    aside: dict[str, list[Problem]] | None
    passing: Callable[[Rows], Rows]

    def into(self, journal: Journal, stream: TextIO, *, dry_run: bool) -> Tally:
        """Record the rows of a stream."""
        set_aside = None if self.aside is None else self._set_aside
        return journal.take(self._rows(stream), dry_run=dry_run, set_aside=set_aside)

    def _set_aside(self, where: str, event: Action, problems: tuple[Problem, ...]) -> None:
        del event
        assert self.aside is not None
        self.aside.setdefault(where, []).extend(problems)

    def _rows(self, stream: TextIO) -> Iterator[Taken]:
        from cfgtrack.files.rows import read_rows
        from cfgtrack.model.action import DEFINE
        from cfgtrack.model.trouble import BadInput, Problem

        malformed: list[Problem] = []
        rows = read_rows(
            stream,
            self.plant,
            where=self.where,
            form=self.form,
            defaults=self.defaults,
            outing_starts=self.starts,
        )
        for row in self.passing(rows):
            if not isinstance(row, Problem):
                if row[1].action != DEFINE:
                    yield row
            elif self.aside is None:
                malformed.append(row)
            else:
                self.aside.setdefault(row.where.partition(", column ")[0], []).append(row)
        if malformed:
            raise BadInput(malformed)

    def write_rejects(self, stream: TextIO, path: Path) -> None:
        """Write the rows that were set aside, with their reasons, from a second reading of the stream."""
        from cfgtrack.files.rows import write_rejects

        stream.seek(0)
        with path.open("w", encoding="utf-8", newline="") as out:
            write_rejects(stream, out, where=self.where, form=self.form, reasons=self.aside or {})


def export(asking: Asking, out: Path | TextIO, *, form: str, in_effect: bool = False) -> None:
    """Write the journal into a file or a stream, as jsonl, csv, archive or ocel; over nothing but an earlier export.

    With `in_effect` what was superseded or withdrawn is left out, and the rest ordered by time.
    """
    with asking.read() as journal:
        if not isinstance(out, Path):
            _export(asking, journal, form, out, in_effect=in_effect)
            return
        with (
            asking.written(out, earlier=_EXPORTED) as file,
            file.open("w", encoding="utf-8", newline="") as stream,
        ):
            _export(asking, journal, form, stream, in_effect=in_effect)


def _export(asking: Asking, journal: Journal, form: str, stream: TextIO, *, in_effect: bool) -> None:
    known = asking.moment(journal).known
    if form == "archive":
        from cfgtrack.store.archive import write_archive

        stream.writelines(write_archive(journal.database))
    elif form == "ocel":
        from cfgtrack.store.ocel import write_ocel

        stream.writelines(write_ocel(journal, known))
    else:
        entries = (
            journal.entries(known=known) if in_effect else (line.entry for line in journal.log(known=known))
        )
        _write_rows(entries, form, stream)


def _write_rows(entries: Iterator[Entry], form: str, stream: TextIO) -> None:
    from cfgtrack.files.rows import write_csv, write_jsonl
    from cfgtrack.model.action import APPROVE, DEFINE

    if form == "csv":
        kept = (e for e in entries if e.event.action not in (DEFINE, APPROVE) and not e.event.initial)
        write_csv(kept, stream)
    else:
        write_jsonl(entries, stream)
