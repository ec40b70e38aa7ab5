"""`import` and `export`: many events in, and all of them out, streamed."""

from __future__ import annotations

import io
import sys
from pathlib import Path
from typing import TextIO, TypeVar, cast

import click

from cfgtrack.cli import session as s
from cfgtrack.cli.terminal import counted, is_terminal
from cfgtrack.model.action import BASES

T = TypeVar("T")
FORMS = ("csv", "jsonl")
EXPORTS = (*FORMS, "xlsx", "archive", "ocel")
form_option = click.option("--form", type=click.Choice(FORMS), help="The form; else told by name or content.")


@s.command("import")
@click.argument("source", metavar="FILE|-")
@form_option
@s.authored
@s.sure
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

    Loads of a definition and retirements, as `export` writes them too, are left out, which is told: load the files,
    retire the units, or use an archive. What is recorded is known as from now; an archive keeps when it was known.

    A time that is hardly right (far after now, long before the last event, before the initial configuration, outside
    its outing's hours) is asked about, row by row: --sure takes them all.

    All or nothing: one row that can't be taken, and nothing is recorded; every such row is named. With --rejects
    the others are recorded all the same, and the exit status is 3 when rows were set aside.
    """
    from cfgtrack.answers.transfer import take_in
    from cfgtrack.show.loading import imported_text

    found = take_in(
        session.writing,
        _stdin() if source == "-" else source,
        form=form or "",
        basis=basis,
        rejects=rejects,
        passing=counted,
    )
    session.answer(found, lambda: imported_text(found, rejects))
    session.end(found=found.problems)


def _stdin() -> TextIO:
    """Return standard input, to be read as rows are."""
    from cfgtrack.answers.transfer import NOT_TEXT

    if isinstance(sys.stdin, io.TextIOWrapper):
        sys.stdin.reconfigure(encoding="utf-8", errors=NOT_TEXT)
    return sys.stdin


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
    csv      every event as people keep it, but for variances, retirements and what loads wrote: the
             definition, the initial configuration; `import` takes it back
    xlsx     the rows of csv as a sheet of a workbook (needs openpyxl: cfgtrack[xlsx])
    archive  the whole database, definition, rules and tree heads too; `restore` takes it back
    ocel     an object-centric event log (OCEL 2.0), for process-mining libraries
    """
    from cfgtrack.answers.transfer import export

    output = None if output == s.STDOUT else output
    chosen = form or (output.suffix[1:].lower() if output else "jsonl")
    if chosen not in EXPORTS:
        raise click.UsageError(f"Say which form with --form: {output} is neither .csv, .jsonl nor .xlsx.")
    if chosen == "xlsx" and output is None:
        raise click.UsageError("A workbook needs a file: say it with -o.")
    if chosen == "archive" and (session.known_at or in_effect):
        raise click.UsageError("An archive holds everything: leave out --known-at and --in-effect.")
    notes = export(session.asking, output or _seen(chosen), form=chosen, in_effect=in_effect)
    session.tell_notes(notes)


def _seen(form: str) -> TextIO:
    """Return standard output for an export. JSON is the same when it is made visible; CSV is, on a terminal alone."""
    from cfgtrack.show.visible import Seen, in_json, visible

    if form == "csv" and not is_terminal():
        return sys.stdout
    return cast("TextIO", Seen(sys.stdout, visible if form == "csv" else in_json))
