"""`import` and `export`: many events in, and all of them out, streamed."""

from __future__ import annotations

import re
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, TextIO, TypeVar

import click

from cfgtrack.cli import session as s
from cfgtrack.cli.record import BASES

if TYPE_CHECKING:
    from cfgtrack.files.rows import Taken
    from cfgtrack.model.action import Action
    from cfgtrack.model.event import Entry
    from cfgtrack.model.plant import Plant
    from cfgtrack.model.trouble import Problem
    from cfgtrack.show.moment import Moment
    from cfgtrack.store.journal import Journal
    from cfgtrack.store.record import Tally

T = TypeVar("T")
_AS_IT_IS = "surrogateescape"
_STDIN = 0
FORMS = ("csv", "jsonl")
EXPORTS = (*FORMS, "archive", "ocel")
_EXPORTED = re.compile(
    rb'number,known,id,at,action,|[^\n]*"happened":[^\n]*"known":|\{"cfgtrack":"archive"|\{"objectTypes": \['
)
"""What an export begins with, in any of its forms."""
form_option = click.option("--form", type=click.Choice(FORMS), help="The form; else told by name or content.")


@s.command("import")
@click.argument("source", metavar="FILE|-")
@form_option
@s.authored
@click.option(
    "--basis", type=click.Choice(BASES), help="How well those events are known whose row doesn't say."
)
@s.shared("--outing", metavar="ID", help="The outing of the events whose row doesn't say.")
@click.option(
    "--rejects",
    metavar="FILE",
    type=click.Path(path_type=Path, dir_okay=False),
    help="Record what can be taken; write the other rows here with their reasons, to be mended and fed again.",
)
@s.dry_run
def import_command(
    session: s.Session, /, source: str, form: str | None, basis: str | None, rejects: Path | None
) -> None:
    """Record many events from CSV or JSON Lines; - is standard input. Feeding a file again is harmless.

    Loads of a definition, as `export` writes them too, are passed over: load the files, or use an archive.

    All or nothing: one row that can't be taken, and nothing is recorded; every such row is named. With --rejects
    the others are recorded all the same, and the exit status is 3 when rows were set aside.
    """
    said = {"by": session.by, "recorder": session.recorded_by, "basis": basis, "outing": session.outing}
    read = _STDIN if source == "-" else Path(source)
    if rejects is not None:
        session.expect_output(rejects, read=read)
    with session.write() as journal, _opened(source, keep=rejects is not None) as stream:
        feed = _Feed(
            plant=journal.plant(),
            where="stdin" if source == "-" else source,
            form=form or "",
            defaults={name: value for name, value in said.items() if value},
            starts=_outing_starts(journal),
            aside=None if rejects is None else {},
        )
        tally = feed.into(journal, stream, dry_run=session.dry_run)
        moment = session.moment(journal)
        if rejects is not None and feed.aside:
            with session.output(rejects, read=read) as file:
                feed.write_rejects(stream, file)
    problems = [p for found in (feed.aside or {}).values() for p in found]
    tally.refused = len(feed.aside or {})
    session.answer(
        moment,
        lambda: _tally_text(tally, rejects, moment, dry_run=session.dry_run),
        lambda: {
            "dry_run": session.dry_run,
            "recorded": tally.recorded,
            "repeated": tally.repeated,
            "refused": tally.refused,
            "problems": [{"where": p.where, "code": p.code, "sentence": p.sentence} for p in problems],
        },
    )
    session.end(found=problems)


def _tally_text(tally: Tally, rejects: Path | None, moment: Moment, *, dry_run: bool) -> str:
    from cfgtrack.show.loading import tally_text

    see = f": see {rejects}" if tally.refused else ""
    unjudged = (
        "\n  not judged: `cfgtrack review` tells what they break" if tally.recorded and not dry_run else ""
    )
    return f"{tally_text(tally, dry_run=dry_run)}{see} ({moment}){unjudged}"


def _outing_starts(journal: Journal) -> dict[str, int]:
    """Return when each recorded outing began, so that rows may give times inside it."""
    from cfgtrack.cli.past import events_of
    from cfgtrack.model.action import BEGIN

    return {event.outing: event.happened for event in events_of(journal, BEGIN) if event.outing}


@contextmanager
def _opened(source: str, *, keep: bool) -> Iterator[TextIO]:
    """Open the source as text. With `keep` it can be read twice: standard input is kept in a temporary file.

    What is no UTF-8 comes through as lone surrogates: whoever reads the rows can tell where it stands.
    """
    import io
    import shutil
    import tempfile

    if isinstance(sys.stdin, io.TextIOWrapper):
        sys.stdin.reconfigure(encoding="utf-8", errors=_AS_IT_IS)
    if source != "-":
        with Path(source).open(encoding="utf-8", errors=_AS_IT_IS, newline="") as stream:
            yield stream
    elif keep:
        with tempfile.TemporaryFile("w+", encoding="utf-8", errors=_AS_IT_IS, newline="") as spool:
            try:
                shutil.copyfileobj(sys.stdin, spool)
                spool.seek(0)
            except OSError as err:  # a temporary file has no name to tell
                raise OSError(err.errno, err.strerror, tempfile.gettempdir()) from err
            yield spool
    else:
        yield sys.stdin


def is_watched() -> bool:
    """Return whether somebody looks at standard error."""
    return sys.stderr.isatty()


def _counted(rows: Iterator[T]) -> Iterator[T]:
    """Pass rows on; on a terminal, tell now and then how many there were."""
    if not is_watched():
        yield from rows
        return
    number = 0
    for number, row in enumerate(rows, 1):
        if number % 1_000 == 0:
            click.echo(f"\r{number:,} rows", err=True, nl=False)
        yield row
    if number >= 1_000:
        click.echo(f"\r{number:,} rows read", err=True)


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
        for row in _counted(rows):
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


@s.command("export")
@click.option(
    "-o", "--output", metavar="FILE", type=click.Path(path_type=Path, dir_okay=False), help="Else stdout."
)
@click.option("--form", type=click.Choice(EXPORTS), help="The form; else told by the file's name.")
@s.known_option
@click.option(
    "--in-effect", is_flag=True, help="Leave out what was superseded or withdrawn, and order by time."
)
def export_command(session: s.Session, /, output: Path | None, form: str | None, in_effect: bool) -> None:
    """Write the journal, streamed.

    \b
    jsonl    every event with all that the journal holds of it; `import` takes it back (the default)
    csv      every event as people keep it, but for variances and what loads wrote: the definition, the
             initial configuration; `import` takes it back
    archive  the whole database, definition, rules and tree heads too; `restore` takes it back
    ocel     an object-centric event log (OCEL 2.0), for process-mining libraries
    """
    output = None if output == s.STDOUT else output
    chosen = form or (output.suffix[1:].lower() if output else "jsonl")
    if chosen not in EXPORTS:
        raise click.UsageError(f"Say which form with --form: {output} is neither .csv nor .jsonl.")
    if chosen == "archive" and (session.known_at or in_effect):
        raise click.UsageError("An archive holds everything: leave out --known-at and --in-effect.")
    with session.read() as journal:
        if output is None:
            _export(session, journal, chosen, sys.stdout, in_effect=in_effect)
        else:
            with (
                session.output(output, earlier=_EXPORTED) as file,
                file.open("w", encoding="utf-8", newline="") as stream,
            ):
                _export(session, journal, chosen, stream, in_effect=in_effect)


def _export(session: s.Session, journal: Journal, form: str, stream: TextIO, *, in_effect: bool) -> None:
    known = session.moment(journal).known
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
