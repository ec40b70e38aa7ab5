"""Keeping a journal: copy it while others write, put a copy in its place, bring its schema forward, rebuild."""

from __future__ import annotations

import stat
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

from cfgtrack.model.trouble import BadInput, NoAnswer, Problem
from cfgtrack.store.archive import NO_COPY, Source, fill, read_archive, write_archive
from cfgtrack.store.audit import faults_of_file
from cfgtrack.store.database import Database
from cfgtrack.store.derive import rebuild_state
from cfgtrack.store.migrations import check_current, is_empty, upgrade
from cfgtrack.store.security import expect_owner

_SQLITE = b"SQLite format 3\x00"
"""What a backup begins with."""

_REFUSED = {
    "disk-full": "there is no room for the copy: make room and try again",
    "disk": "the disk refused to write the copy",
    "corrupt": f"the file is damaged; {NO_COPY}",
}
"""What is said of a copy, by the trouble's code."""


def copy_into(url: str, part: Path, target: str) -> int:
    """Copy a journal into a file, complete, that is to be `target`, while others write. Return its number of events.

    NoAnswer where the copy isn't whole: see `_expect_whole`.
    """
    with closing(Database(url, read_only=True)) as source:
        check_current(source)
        try:
            events = _copy_file(source, part) if source.is_file else _copy_rows(source, str(part))
            _settle(part)
            _expect_whole(part, target)
        except NoAnswer as err:
            # The journal is only read: what the disk refuses is the copy.
            code = err.problems[0].code
            if code in _REFUSED:
                raise NoAnswer(Problem(target, code, _REFUSED[code])) from err
            raise
    return events


def _copy_file(source: Database, part: Path) -> int:
    with closing(Database(str(part), create=True)) as copy:
        copy.rows("PRAGMA journal_mode = DELETE")
        with source.trouble():
            source.raw.backup(copy.raw)
        row = copy.row("SELECT coalesce(max(number), 0) FROM event")
        return 0 if row is None else int(row[0])


def _copy_rows(source: Database, target: str) -> int:
    return fill(target, Source(write_archive(source), source.where, is_text=False))


def _settle(part: Path) -> None:
    """Have all of the copy in one file."""
    with closing(Database(str(part))) as copy:
        copy.rows("PRAGMA wal_checkpoint(TRUNCATE)")
        copy.rows("PRAGMA journal_mode = DELETE")


def _expect_whole(part: Path, target: str) -> None:
    """Raise NoAnswer where what was copied isn't what was recorded: it was damaged, or is now.

    Looked at are all pages and indexes, what `restore` would ask of it, and the columns by which events are found.
    """
    with closing(Database(str(part), where=target)) as copy:
        for fault in faults_of_file(copy):
            raise NoAnswer(Problem(target, fault.code, f"{fault.sentence}; {NO_COPY}"))
        for _ in write_archive(copy):
            pass
        other = copy.row(_OTHER_COLUMNS)
    if other is not None:
        sentence = f"what is kept beside event number {other[0]} is not what is in it; {NO_COPY}"
        raise NoAnswer(Problem(target, "columns", sentence))


_OTHER_COLUMNS = """
    SELECT e.number FROM event e LEFT JOIN event t
        ON t.id = coalesce(json_extract(e.body, '$.supersedes'), json_extract(e.body, '$.withdraws'))
    WHERE json_extract(e.body, '$.id') IS NOT e.id OR json_extract(e.body, '$.action') IS NOT e.action
        OR json_extract(e.body, '$.happened') IS NOT e.happened OR t.number IS NOT e.corrects
        OR e.turn IS NOT CASE WHEN json_extract(e.body, '$.supersedes') IS NOT NULL AND t.happened = e.happened
            THEN t.turn ELSE e.number END
    ORDER BY e.number LIMIT 1
"""
"""The first event whose columns aren't those of its content. Of SQLite: a copy is always a file."""


@contextmanager
def reading(source: Path) -> Iterator[Source]:
    """Open a backup or an archive to `restore` it. BadInput when it is no file; NoAnswer when it is no journal."""
    if not stat.S_ISREG(source.stat().st_mode):
        raise BadInput(Problem(str(source), "not-a-file", "expected a backup or an archive, found no file"))
    with source.open("rb") as file:
        is_backup = file.read(len(_SQLITE)) == _SQLITE
        file.seek(0)
        if not is_backup:
            yield Source(file, str(source))
            return
    with _reading_database(str(source)) as found:
        yield found


@contextmanager
def _reading_database(url: str) -> Iterator[Source]:
    with closing(Database(url, read_only=True)) as old:
        check_current(old)
        yield Source(write_archive(old), old.where, is_text=False)


def restore(source: str, url: str) -> int:
    """Make a new journal at `url` of the one at `source`, in either kind of database. Return its number of events.

    NoAnswer when there is something at `url` already. Every leaf and every tree head is checked on the way.
    """
    with _reading_database(source) as found:
        return read_archive(found, url)


def migrate(url: str) -> tuple[str | None, str]:
    """Bring a journal's schema to the newest revision, all of the way or not at all. Return the old one and the new.

    NoAnswer when there is no journal, or one that is newer than this program.
    """
    with closing(Database(url)) as database:
        if is_empty(database):
            raise NoAnswer(Problem(database.where, "not-a-journal", "this database holds no journal"))
        expect_owner(database)
        return upgrade(database)


def rebuild(url: str) -> int:
    """Drop the derived state and build it anew from the journal. Return the number of events."""
    with closing(Database(url)) as database:
        check_current(database)
        expect_owner(database)
        with database.writing():
            return rebuild_state(database)
