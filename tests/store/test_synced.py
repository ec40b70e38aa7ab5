"""What is acknowledged is on the disk: no test can cut the power, so these ask what a power cut would depend on.

SQLite syncs inside its library, where Python can count nothing, and a program that could count is on no plain
machine. So two things are asked instead: of a kernel that can't sync, the store must take nothing as recorded; and
every connection that writes must have the setting by which SQLite syncs at every commit, also in WAL mode: FULL (2),
see "PRAGMA synchronous" on https://sqlite.org/pragma.html. Of PostgreSQL, that is the server's setting, with which a
session may interfere (https://www.postgresql.org/docs/current/wal-async-commit.html): ours must not.
"""

import ctypes
import errno
import os
import platform
import stat
import struct
from collections.abc import Callable
from contextlib import closing
from dataclasses import replace
from functools import partial
from pathlib import Path

import pytest

from cfgtrack.answers.asking import Asking
from cfgtrack.answers.upkeep import backup
from cfgtrack.model.action import Action
from cfgtrack.model.trouble import NoAnswer
from cfgtrack.store.archive import read_archive, write_archive
from cfgtrack.store.audit import audit
from cfgtrack.store.database import Database, Parameters
from cfgtrack.store.journal import Journal, create, open_journal
from cfgtrack.store.upkeep import migrate, rebuild, restore
from tests.store.conftest import FreshUrl
from tests.store.world import DEFINITION, START

MANY = 3_000


@pytest.fixture
def filled(url: str) -> str:
    """A journal with a plant and one event."""
    return fill(url)


def fill(url: str) -> str:
    """Give a journal a plant and one event."""
    with open_journal(url, clock=lambda: START) as journal:
        journal.load(DEFINITION, by=None, recorder=None)
        journal.record([Action("s0", "uncap", ("X:F",), START + 1)])
    return url


def record(journal: Journal) -> None:
    """Record one event."""
    journal.record([Action("s1", "cap", ("X:F",), START + 2)])


def record_many(journal: Journal) -> None:
    """Record as many as are written in bulk."""
    rows = ((f"row {i}", Action(f"b{i}", "remark", ("X",), START + 2, remark="on")) for i in range(MANY))
    assert journal.take(rows).recorded == MANY


def record_late(journal: Journal) -> None:
    """Record what stands before what is recorded."""
    journal.record([Action("l1", "remark", ("X",), START, remark="late")])


def withdraw(journal: Journal) -> None:
    """Withdraw an event."""
    journal.record([Action("w1", "withdraw", (), START + 2, withdraws="s0", reason="was not so")])


def load(journal: Journal) -> None:
    """Load a definition with a difference."""
    units = {**DEFINITION.units, "X": replace(DEFINITION.units["X"], title="another")}
    assert journal.load(replace(DEFINITION, units=units), by=None, recorder=None).changed


def keep_rules(journal: Journal) -> None:
    """Keep a rules file."""
    journal.keep_rules({"own.toml": "# none yet"}, by=None, recorder=None)


RECORDINGS: dict[str, Callable[[Journal], None]] = {
    f.__name__: f for f in (record, record_many, record_late, withdraw, load, keep_rules)
}


# --- a disk that can't sync -----------------------------------------------------------------------------------------

_SYNCS = {"x86_64": (74, 75), "aarch64": (82, 83), "riscv64": (82, 83)}
"""The numbers of fsync and fdatasync: Linux, include/uapi/asm-generic/unistd.h, and arch/x86's own table."""


def refuse_to_sync() -> None:
    """Have the kernel answer this process's every fsync and fdatasync with "input/output error", from now on.

    A seccomp filter, see seccomp(2): unprivileged, and there on every Linux of today. OSError where it isn't.
    """
    numbers = _SYNCS[platform.machine()]
    load_number, if_equal, answer = 0x20, 0x15, 0x06
    program = [(load_number, 0, 0, 0)]
    program += [(if_equal, len(numbers) - i, 0, number) for i, number in enumerate(numbers)]
    program += [(answer, 0, 0, 0x7FFF0000), (answer, 0, 0, 0x00050000 | errno.EIO)]
    code = ctypes.create_string_buffer(b"".join(struct.pack("=HBBI", *one) for one in program))
    pointer = struct.pack("@HP", len(program), ctypes.addressof(code))
    libc = ctypes.CDLL(None, use_errno=True)
    no_new_privileges, set_seccomp, filter_mode = 38, 22, 2
    words = [ctypes.c_ulong(n) for n in (1, 0, 0, 0)]
    if libc.prctl(no_new_privileges, *words) or libc.prctl(
        set_seccomp, ctypes.c_ulong(filter_mode), ctypes.c_char_p(pointer), *words[2:]
    ):
        raise OSError(ctypes.get_errno(), "no seccomp here")


def outcome(work: Callable[[], None]) -> str:
    """Return what came of `work` in a process of its own: "done", or what was told instead."""
    read, write = os.pipe()
    child = os.fork()
    if child == 0:
        told = "crashed"
        try:
            work()
            told = "done"
        except NoAnswer as trouble:
            told = str(trouble)
        finally:
            os.write(write, told.encode())
            os._exit(0)
    os.close(write)
    os.waitpid(child, 0)
    with os.fdopen(read) as pipe:
        return pipe.read()


needs_seccomp = pytest.mark.skipif(
    platform.system() != "Linux" or platform.machine() not in _SYNCS, reason="no way to refuse a sync here"
)


@needs_seccomp
def test_a_sync_can_be_refused(tmp_path: Path) -> None:
    """The refusal hits what it is meant to hit: syncing fails and writing doesn't."""

    def work() -> None:
        refuse_to_sync()
        with (tmp_path / "f").open("w") as file:
            file.write("x")
            file.flush()
            for sync in (os.fsync, os.fdatasync):
                with pytest.raises(OSError, match=os.strerror(errno.EIO)):
                    sync(file.fileno())

    assert outcome(work) == "done"
    assert (tmp_path / "f").read_text() == "x"


@needs_seccomp
@pytest.mark.parametrize("recording", RECORDINGS)
def test_what_the_disk_has_not_taken_is_not_acknowledged(tmp_path: Path, recording: str) -> None:
    """Where nothing can be synced nothing is acknowledged: nobody knows, it is said, and there is all or nothing."""

    def work(url: str, *, syncs: bool) -> None:
        with open_journal(url, clock=lambda: START) as journal:
            # The first commit into a file of SQLite's is synced even where the others aren't.
            journal.record([Action("before", "remark", ("X",), START + 1, remark="on")])
            if not syncs:
                refuse_to_sync()
            RECORDINGS[recording](journal)

    found = []
    for syncs in (True, False):
        url = str(tmp_path / f"{syncs}.db")
        create(url)
        fill(url)
        told = "done" if syncs else "this may be recorded or not; look before you do it again"
        assert told in outcome(partial(work, url, syncs=syncs))
        with open_journal(url, clock=lambda: START) as journal:
            assert audit(journal.database).is_sound
            found.append([line.entry.event.id for line in journal.log()])
    whole, left = found
    assert left in (whole, whole[: whole.index("before") + 1])


# --- the setting ----------------------------------------------------------------------------------------------------


@pytest.fixture
def settings(monkeypatch: pytest.MonkeyPatch) -> set[tuple[object, ...]]:
    """What every connection of the store is set to at each commit, and when it is closed."""
    seen: set[tuple[object, ...]] = set()
    execute, close = Database.execute, Database.close

    def look(database: Database) -> None:
        if not database.is_file:
            sql = "SELECT name, source FROM pg_settings WHERE name IN ('synchronous_commit', 'fsync')"
            seen.update((name, "ours") for name, source in database.rows(sql) if source == "session")
            seen.add(("looked",))
        elif not database.read_only:
            pragmas = ("synchronous", "foreign_keys", "recursive_triggers")
            seen.add(tuple(database.rows(f"PRAGMA {name}")[0][0] for name in pragmas))

    def looked_at(database: Database, sql: str, parameters: Parameters = ()) -> None:
        if sql == "COMMIT":
            look(database)
        execute(database, sql, parameters)

    def closed(database: Database) -> None:
        if not database.connection.closed:
            look(database)
        close(database)

    monkeypatch.setattr(Database, "execute", looked_at)
    monkeypatch.setattr(Database, "close", closed)
    return seen


def expect_synced(seen: set[tuple[object, ...]], url: str) -> None:
    """Full synchronisation, and what keeps the journal append-only."""
    assert seen == ({("looked",)} if "://" in url else {(2, 1, 1)})
    seen.clear()


@pytest.mark.parametrize("recording", RECORDINGS)
def test_recording_is_synced(filled: str, settings: set[tuple[object, ...]], recording: str) -> None:
    """Whatever is recorded, alone or in bulk, commits on a connection that syncs."""
    with open_journal(filled, clock=lambda: START) as journal:
        RECORDINGS[recording](journal)
    expect_synced(settings, filled)


def test_making_a_journal_is_synced(tmp_path: Path, server, settings: set[tuple[object, ...]]) -> None:
    """A new journal is made, or brought forward, on a connection that syncs."""
    for url in (str(tmp_path / "new.db"), server.empty()):
        create(url)
        expect_synced(settings, url)
        migrate(url)
        expect_synced(settings, url)


def test_rebuilding_is_synced(filled: str, settings: set[tuple[object, ...]]) -> None:
    """The derived state is built anew on a connection that syncs."""
    rebuild(filled)
    expect_synced(settings, filled)


def test_restoring_is_synced(
    filled: str, fresh_url: FreshUrl, server, tmp_path: Path, settings: set[tuple[object, ...]]
) -> None:
    """A journal that is put in the place of another, or read from an archive, is written with syncs."""
    with closing(Database(filled)) as database:
        lines = list(write_archive(database))
    settings.clear()
    for n, url in enumerate((str(tmp_path / "restored.db"), server.empty())):
        restore(filled, url)
        assert settings
        assert settings <= {(2, 1, 1), ("looked",)}
        settings.clear()
        read_archive(lines, str(tmp_path / f"read-{n}.db"))
        expect_synced(settings, "a file")


def test_a_backup_is_synced(
    filled: str, tmp_path: Path, settings: set[tuple[object, ...]], monkeypatch: pytest.MonkeyPatch
) -> None:
    """The copy is on the disk before it has its name, and its name is on the disk before the backup is done."""
    folder = tmp_path / "backups"
    folder.mkdir()
    target = folder / "monday.db"
    synced: list[tuple[str, bool]] = []

    def sync(handle: int) -> None:
        real = os.fstat(handle)
        (path,) = [p for p in (folder, *folder.iterdir()) if p.stat().st_ino == real.st_ino]
        if stat.S_ISREG(real.st_mode):
            assert {p.name for p in folder.iterdir()} == {path.name}, "all of the copy is in one file"
        synced.append((path.name, target.exists()))

    monkeypatch.setattr(os, "fsync", sync)
    backup(Asking(filled), target)
    (part, before), after = synced
    assert part.endswith(".part")
    assert (before, after) == (False, ("backups", True))
    assert settings <= {(2, 1, 1), ("looked",)}
    assert (2, 1, 1) in settings
