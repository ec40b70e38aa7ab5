"""A journal in a folder that may not be written is read all the same, and all of it."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest

from tests.cli import world
from tests.cli.conftest import Command

CHECKOUT = Path(__file__).parents[2]
PROGRAM = """if True:
    import ctypes, os, sys
    if os.geteuid() == 0:
        for capability in (1, 2, 3):
            if ctypes.CDLL(None).prctl(24, capability, 0, 0, 0):
                raise SystemExit("capabilities can't be given up here")
    os.execv(sys.argv[1], sys.argv[1:])
"""
"""Gives up what lets root write anywhere (capabilities(7): DAC_OVERRIDE, DAC_READ_SEARCH, FOWNER), and goes on."""


@pytest.fixture
def folder() -> Iterator[Path]:
    """A folder that everybody may enter: those that pytest makes are for their owner alone."""
    with TemporaryDirectory(prefix="cfgtrack-sealed-") as name:
        Path(name).chmod(0o755)
        yield Path(name)
        Path(name).chmod(0o755)


def asked(folder: Path, *words: str) -> subprocess.CompletedProcess[str]:
    """Ask the database in a folder as somebody who may not write there."""
    folder.chmod(0o555)
    environment = {**os.environ, "PYTHONPATH": str(CHECKOUT)}
    program = [
        sys.executable,
        "-c",
        PROGRAM,
        sys.executable,
        "-m",
        "cfgtrack",
        "--db",
        str(folder / "plant.db"),
    ]
    return subprocess.run(
        [*program, *words], capture_output=True, text=True, check=False, env=environment, cwd="/"
    )


def filled(folder: Path) -> Command:
    """Return the command on a journal in a folder."""
    command = Command(folder)
    command.ok("load", command.file("plant.toml", world.PLANT), "--by", "survey")
    command.ok("cap", "PUMP-2:F1", "--id", "E1")
    return command


def test_it_is_read(folder: Path) -> None:
    """Whoever may read the file is answered, and what he may not do is told."""
    filled(folder)
    before = sorted(folder.iterdir())
    answer = asked(folder, "history", "PUMP-2")
    assert answer.returncode == 0, answer.stderr
    assert "E1" in answer.stdout
    assert sorted(folder.iterdir()) == before
    refused = asked(folder, "uncap", "PUMP-2:F1")
    assert refused.returncode == 4
    assert "read-only" in refused.stderr


def test_what_is_in_its_log_is_read(folder: Path) -> None:
    """A file whose last writer was killed is read with the log that he left."""
    command = filled(folder)
    import sqlite3

    held = sqlite3.connect(command.db)
    held.execute("SELECT count(*) FROM event").fetchone()
    command.ok("uncap", "PUMP-2:F1", "--id", "LATER")
    with TemporaryDirectory(prefix="cfgtrack-sealed-") as name:
        copy = Path(name)
        for end in ("", "-wal"):
            shutil.copy(f"{command.db}{end}", copy / f"plant.db{end}")
        held.close()
        assert (copy / "plant.db-wal").stat().st_size
        for file in copy.iterdir():
            file.chmod(0o644)
        answer = asked(copy, "history", "PUMP-2")
        copy.chmod(0o755)
    assert answer.returncode == 0, answer.stderr
    assert "LATER" in answer.stdout


FULL = """if True:
    import collections, resource, shutil, signal
    signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    resource.setrlimit(resource.RLIMIT_FSIZE, (0, 0))
    whole = shutil.disk_usage
    shutil.disk_usage = lambda path: whole(path)._replace(free=4_096)
    from cfgtrack.cli.main import main
    main()
"""
"""No file can grow, and the system says that there is a page of room left."""


def on_a_full_disk(command: Command, *words: str) -> subprocess.CompletedProcess[str]:
    """Ask a database whose disk is full."""
    environment = {**os.environ, "PYTHONPATH": str(CHECKOUT), "XDG_STATE_HOME": str(command.state)}
    program = [sys.executable, "-c", FULL, "--db", str(command.db)]
    return subprocess.run([*program, *words], capture_output=True, text=True, check=False, env=environment)


def _without_its_moment(text: str) -> object:
    """Return what was answered, but for when, and by which clock: each asks by its own."""
    if not text or text.startswith('{"cfgtrack"'):
        return text
    return {name: one for name, one in json.loads(text).items() if name not in ("at", "known", "time_note")}


@pytest.mark.parametrize(
    "words", [("plant",), ("history",), ("audit",), ("export", "--form", "archive"), ("head",), ("findings",)]
)
def test_a_full_disk_keeps_nobody_from_asking(words: tuple[str, ...], folder: Path) -> None:
    """All that is recorded can be asked for where SQLite finds no room for its index; nothing is left beside it."""
    command = filled(folder)
    asked = words if words[0] == "export" else (*words, "--json")
    asked += ("--at", "2031-05-01T10:00:00Z") if words == ("findings",) else ()
    wanted = command(*asked)
    before = sorted(folder.iterdir())
    answer = on_a_full_disk(command, *asked)
    assert answer.returncode == wanted.status, answer.stderr
    assert _without_its_moment(answer.stdout) == _without_its_moment(wanted.out)
    assert sorted(folder.iterdir()) == before


def test_a_full_disk_is_called_full(folder: Path) -> None:
    """Who records is told that it is the room, and where, though SQLite only says that the disk refused."""
    command = filled(folder)
    answer = on_a_full_disk(command, "uncap", "PUMP-2:F1", "--id", "LATER")
    assert answer.returncode == 4
    assert f"{command.db}: disk-full: the disk that this file is on is full" in answer.stderr
    # What SQLite began to write is in nobody's way, then or afterwards.
    assert on_a_full_disk(command, "audit").returncode == 0
    command.ok("uncap", "PUMP-2:F1", "--id", "LATER")
    assert command.ok("audit").startswith("sound")
