"""What keeps the database in order: copies, and the schema and states that are derived anew."""

from __future__ import annotations

from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from cfgtrack.answers.asking import Asking
from cfgtrack.answers.moment import now_of
from cfgtrack.answers.past import Past
from cfgtrack.files.writer import replacing
from cfgtrack.model.trouble import NoAnswer, Problem, Trouble
from cfgtrack.store import upkeep
from cfgtrack.store.archive import fill
from cfgtrack.store.database import expect_nothing_left_of, file_of, named, spared
from cfgtrack.store.security import apply, grants


@dataclass(frozen=True, slots=True)
class BackedUp:
    """A backup: the file, and how many events it holds."""

    file: str
    events: int


@dataclass(frozen=True, slots=True)
class Restored:
    """A database that was restored, and how many events it holds."""

    database: str
    events: int


@dataclass(frozen=True, slots=True)
class Rebuilt:
    """From how many events the states were derived anew."""

    events: int


@dataclass(frozen=True, slots=True)
class Migrated:
    """The schema's revision before and after; None before: none at all."""

    before: str | None
    after: str


@dataclass(frozen=True, slots=True)
class Granted:
    """The statements that a server was told, or of a dry run would be; `missing` are users that it doesn't have."""

    granted: bool
    statements: tuple[str, ...]
    missing: tuple[str, ...]


def backup(asking: Asking, target: Path) -> BackedUp:
    """Copy the database into a new file, as it is at one instant, while others read and write.

    NoAnswer when there is something of that name, BadInput when it is the database's own. The copy is complete and on
    the disk when this returns; a backup that is cut off leaves no file under that name.
    """
    taken = Problem(str(target), "exists", "there is a file of this name already: it is left alone")
    if target.exists():
        raise NoAnswer(taken)
    try:
        with replacing(target, spared=spared(asking.database), new=True) as part:
            asking.look()
            return BackedUp(str(target), upkeep.copy_into(asking.database, part, str(target)))
    except FileExistsError:  # made by somebody else meanwhile
        raise NoAnswer(taken) from None


def restore(asking: Asking, source: Path) -> Restored:
    """Make the database from a backup or an archive: all of it, or nothing, whenever it is cut off.

    A new file is made beside and takes its name when it is complete and on the disk; an empty database (or a journal
    without an event) is filled in one transaction. NoAnswer when there is something already.
    """
    target = file_of(asking.database)
    with upkeep.reading(source) as found:
        if target is None or target.exists():
            events = fill(asking.database, found)
        else:
            expect_nothing_left_of(target)
            try:
                with replacing(target, new=True) as part:
                    events = fill(str(part), found, where=named(asking.database))
            except FileExistsError:  # made by somebody else meanwhile
                sentence = "there is a database already: it is left alone"
                raise NoAnswer(Problem(named(asking.database), "exists", sentence)) from None
    asking.look()
    return Restored(named(asking.database), events)


def rebuild(asking: Asking) -> Rebuilt:
    """Drop all derived states and derive them anew from the journal, and what the rules kept remember of it, too."""
    asking.look()
    events = upkeep.rebuild(asking.database)
    # Rules that no longer fit, or another one's turn: the next record does it.
    with suppress(Trouble), asking.write() as journal:
        past = Past(journal, now_of(journal), strict=False)
        if past.rules.rules:
            past.judge_to_keep()
            past.keep()
    return Rebuilt(events)


def grant(asking: Asking) -> Granted:
    """Have the server let each user do what goes with his person's roles, and nothing else; a dry run only says how.

    NoAnswer for a file, Refused for whoever isn't the owner of the tables.
    """
    with asking.write() as journal:
        found = grants(journal.database, journal.plant(journal.present))
        if not asking.dry_run:
            apply(journal.database, found.statements)
    return Granted(not asking.dry_run, found.statements, found.missing)


def migrate(asking: Asking) -> Migrated:
    """Bring the database to this version's schema, in one transaction."""
    done = upkeep.migrate(asking.database)
    asking.look()
    return Migrated(*done)
