"""Keeping a journal: copy it while others write, put a copy in its place, bring its schema forward, rebuild."""

from __future__ import annotations

from contextlib import closing
from pathlib import Path

from cfgtrack.model.trouble import NoAnswer, Problem
from cfgtrack.store.archive import fill_from_archive, read_archive, write_archive
from cfgtrack.store.database import Database
from cfgtrack.store.derive import rebuild_state
from cfgtrack.store.journal import create
from cfgtrack.store.migrations import check_current, is_empty, upgrade

_REFUSED = {
    "disk-full": "there is no room for the copy: make room and try again",
    "disk": "the disk refused to write the copy",
}
"""What is said of a copy, by the trouble's code."""


def copy_into(url: str, part: Path, target: str) -> int:
    """Copy a journal into a file, complete, that is to be `target`, while others write. Return its number of events."""
    with closing(Database(url)) as source:
        check_current(source)
        try:
            events = _copy_file(source, part) if source.is_file else _copy_rows(source, str(part))
            _settle(part)
        except NoAnswer as err:
            # The journal is only read: what the disk refuses is the copy.
            code = err.problems[0].code
            if code in _REFUSED:
                raise NoAnswer(Problem(target, code, _REFUSED[code])) from err
            raise
    return events


def _copy_file(source: Database, part: Path) -> int:
    with closing(Database(str(part), create=True)) as copy:
        copy.raw.execute("PRAGMA journal_mode = DELETE")
        with source.trouble():
            source.raw.backup(copy.raw)
        row = copy.row("SELECT coalesce(max(number), 0) FROM event")
        return 0 if row is None else int(row[0])


def _copy_rows(source: Database, target: str) -> int:
    create(target)
    with closing(Database(target)) as copy, copy.writing():
        return fill_from_archive(copy, write_archive(source), where=str(source.where))


def _settle(part: Path) -> None:
    """Have all of the copy in one file."""
    with closing(Database(str(part))) as copy:
        copy.rows("PRAGMA wal_checkpoint(TRUNCATE)")
        copy.rows("PRAGMA journal_mode = DELETE")


def restore(source: str, url: str) -> int:
    """Make a new journal at `url` of the one at `source`, in either kind of database. Return its number of events.

    NoAnswer when there is something at `url` already. Every leaf and every tree head is checked on the way.
    """
    with closing(Database(source, read_only=True)) as old:
        check_current(old)
        return read_archive(write_archive(old), url, where=str(old.where))


def migrate(url: str) -> tuple[str | None, str]:
    """Bring a journal's schema to the newest revision, all of the way or not at all. Return the old one and the new.

    NoAnswer when there is no journal, or one that is newer than this program.
    """
    with closing(Database(url)) as database:
        if is_empty(database):
            raise NoAnswer(Problem(str(database.where), "not-a-journal", "this database holds no journal"))
        return upgrade(database)


def rebuild(url: str) -> int:
    """Drop the derived state and build it anew from the journal. Return the number of events."""
    with closing(Database(url)) as database:
        check_current(database)
        with database.writing():
            return rebuild_state(database)
