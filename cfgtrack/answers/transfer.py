"""Many events in, and all of them out, streamed."""

from __future__ import annotations

import re
import shutil
import tempfile
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from functools import partial
from itertools import chain
from pathlib import Path
from typing import TextIO

from cfgtrack.answers.asking import Asking
from cfgtrack.answers.moment import Answer
from cfgtrack.answers.past import events_of
from cfgtrack.answers.timely import UNLIKELY, TimelyRows, clock_notes
from cfgtrack.files.rows import read_rows, write_csv, write_jsonl, write_rejects, write_xlsx
from cfgtrack.files.workbook import is_written
from cfgtrack.model.action import APPROVE, BEGIN, DEFINITIONS, PLANNING, RETIRE, REVISIONS, Action, Sourced
from cfgtrack.model.event import Entry
from cfgtrack.model.presence import presence_is_judged, unjudged
from cfgtrack.model.time import format_instant
from cfgtrack.model.trouble import BadInput, Problem, Refused
from cfgtrack.store.archive import write_archive
from cfgtrack.store.journal import Journal
from cfgtrack.store.ocel import write_ocel

ImportRows = Iterator["Sourced | Problem"]

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
    passing: Callable[[ImportRows], ImportRows] = iter,
) -> Imported:
    """Record the rows of a CSV or JSON Lines file, or of standard input: all or none, save with a file of `rejects`.

    The asking's outing is that of the rows that don't say. A stream must treat what is no text as `NOT_TEXT` says.
    `passing` is handed the rows as they are read, and hands them on: to tell how far it is.
    """
    said = {"recorder": asking.recorder, "basis": basis, "outing": asking.outing}
    read = Path(source) if isinstance(source, str) else _STDIN
    where = source if isinstance(source, str) else "stdin"
    aside: dict[str, list[Problem]] = {}
    passed = _PassedOver()

    def set_aside(row: str, problems: Iterable[Problem]) -> None:
        aside.setdefault(row, []).extend(problems)

    def good(rows: ImportRows) -> Iterator[Sourced]:
        for row in passing(rows):
            if wrong := row if isinstance(row, Problem) else _wrong(journal, row, timely):
                set_aside(wrong.where.partition(", column ")[0], [wrong])
            elif not isinstance(row, Problem) and not passed.takes(journal, row[1]):
                yield row
        _expect_all(list(chain(*aside.values())) if rejects is None else [], timely)

    if rejects is not None:
        asking.expect_writable(rejects, read=read)
    with asking.write() as journal, _opened(source, keep=rejects is not None) as stream:
        reading = partial(
            read_rows,
            plant=journal.whole_plant(),
            where=where,
            form=form,
            defaults={n: v for n, v in {"by": asking.doer(journal.plant()), **said}.items() if v},
            outing_starts={e.outing: e.happened for e in events_of(journal, BEGIN) if e.outing},
        )
        timely = None if asking.sure else TimelyRows(journal)
        if timely is not None and rejects is not None:
            # What is set aside can't be recorded first: when outings begin and end is read before all else.
            timely.foresee(row for row in reading(stream) if not isinstance(row, Problem))
            stream.seek(0)
        rows = reading(stream)
        plant, nobodys = journal.plant(), list[str]()

        def each(entry: Entry) -> None:
            if unjudged(plant, [entry.event]):
                nobodys.append(entry.event.id)

        tally = journal.take(
            good(rows),
            dry_run=asking.dry_run,
            each=each if presence_is_judged(plant) else None,
            set_aside=None if rejects is None else set_aside,
        )
        clocks = list(clock_notes(journal)) if tally.recorded else []
        moment = asking.recorded(journal)
        if rejects is not None and aside:
            stream.seek(0)
            with (
                asking.written(rejects, read=read) as file,
                file.open("w", encoding="utf-8", newline="") as out,
            ):
                write_rejects(stream, out, where=where, form=form, reasons=aside)
    told = tuple({"where": p.where, "code": p.code, "sentence": p.sentence} for p in chain(*aside.values()))
    notes = (*passed.told(), *clocks)
    if nobodys:
        told_by = f"note: of {len(nobodys)} of them nobody of the plant is said to have done it: presence isn't judged"
        notes = (*notes, told_by)
    return Imported(moment, asking.dry_run, tally.recorded, tally.repeated, len(aside), told, notes=notes)


def _expect_all(aside: list[Problem], timely: TimelyRows | None) -> None:
    """Raise what was wrong with rows that aren't set aside, Refused where nothing but their times is asked about."""
    problems = [*aside, *(() if timely is None else timely.late)]
    if problems:
        raise (Refused if all(one.code == UNLIKELY for one in problems) else BadInput)(problems)


class _PassedOver:
    """Rows about the hardware itself, which no import takes in, with those that take them back: what is new in them."""

    def __init__(self) -> None:
        self.found: dict[str, Action] = {}

    def takes(self, journal: Journal, action: Action) -> bool:
        """Return whether a row is passed over."""
        if action.action in DEFINITIONS:
            if action.action in REVISIONS and journal.entry(action.id) is None:
                self.found[action.id] = action
            if action.supersedes is not None:
                self.found.pop(action.supersedes, None)
            return True
        return action.withdraws is not None and self.found.pop(action.withdraws, None) is not None

    def told(self) -> Iterator[str]:
        """Yield what to say of those that were not taken back."""
        for one in self.found.values():
            when, named = format_instant(one.happened), " ".join(one.subjects)
            if one.action == RETIRE:
                yield f"note: {named} isn't retired by this: retire it, at {when}, or use an archive"
            else:
                yield f"note: {named} isn't revised by this: load the files, with --effective {when}"


def _wrong(journal: Journal, row: Sourced, timely: TimelyRows | None) -> Problem | None:
    """Return what the journal, or its clock, says against a row; None for nothing."""
    found = _not_loaded(journal, row)
    return timely.problem(row) if found is None and timely is not None else found


def _not_loaded(journal: Journal, row: Sourced) -> Problem | None:
    """Return what is wrong with a row that tells of the initial configuration and isn't in the journal; else None."""
    where, action = row
    if not action.initial or journal.entry(action.id) is not None:
        return None
    return Problem(
        where, "initial", "what was so before the first event is part of the definition: load that"
    )


@contextmanager
def _opened(source: str | TextIO, *, keep: bool) -> Iterator[TextIO]:
    """Open the source as text. With `keep` it can be read twice: a stream is kept in a temporary file."""
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


def export(asking: Asking, out: Path | TextIO, *, form: str, in_effect: bool = False) -> tuple[str, ...]:
    """Write the journal into a file or a stream, as jsonl, csv, xlsx (a file), archive or ocel.

    Over nothing but an earlier export.
    With `in_effect` what was superseded or withdrawn is left out, and the rest ordered by time. Returns what to say of
    what isn't in it, or isn't taken back by an import.
    """
    with asking.read() as journal:
        known = asking.recorded(journal).known
        retired = journal.of_action(RETIRE, known=known) if form in ("csv", "xlsx") else ()
        notes: tuple[str, ...] = ()
        if retired:
            names = ", ".join(" ".join(entry.event.subjects) for entry in retired)
            are = "is" if len(retired) == 1 else "are"
            notes = (f"note: that {names} {are} retired is in an archive only",)
        if not isinstance(out, Path):
            _export(journal, form, out, known, in_effect=in_effect)
            return notes
        if form == "xlsx":
            _export_workbook(asking, journal, out, known, in_effect=in_effect)
            return notes
        with (
            asking.written(out, earlier=_EXPORTED) as file,
            file.open("w", encoding="utf-8", newline="") as stream,
        ):
            _export(journal, form, stream, known, in_effect=in_effect)
        return notes


def _export_workbook(
    asking: Asking, journal: Journal, out: Path, known: int | None, *, in_effect: bool
) -> None:
    if out.is_file() and not is_written(out):
        sentence = "this is another file than an earlier one of these, and is left alone: name another file"
        raise BadInput(Problem(str(out), "spared", sentence))
    with asking.written(out) as file:
        write_xlsx(_kept(journal, known, in_effect=in_effect), file)


def _kept(journal: Journal, known: int | None, *, in_effect: bool) -> Iterator[Entry]:
    """Yield what people keep: all but variances, plans, what loads wrote, what was retired, and what took that back."""
    entries = journal.entries(known=known) if in_effect else (line.entry for line in journal.log(known=known))
    left_out = (*DEFINITIONS, *PLANNING, APPROVE)
    gone = {entry.event.id for entry in journal.log_of(*left_out)}
    return (
        e
        for e in entries
        if e.event.action not in left_out and not e.event.initial and e.event.withdraws not in gone
    )


def _export(journal: Journal, form: str, stream: TextIO, known: int | None, *, in_effect: bool) -> None:
    if form == "archive":
        stream.writelines(write_archive(journal.database))
    elif form == "ocel":
        stream.writelines(write_ocel(journal, known))
    elif form == "csv":
        write_csv(_kept(journal, known, in_effect=in_effect), stream)
    else:
        logged = (line.entry for line in journal.log(known=known))
        write_jsonl(journal.entries(known=known) if in_effect else logged, stream)
