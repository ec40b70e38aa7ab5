"""A SQLite file beside which nothing can be written: read all the same, with what its log holds.

To read a file in WAL mode SQLite wants to write beside it, unless it is told that nobody else writes. Where its folder
may not be written, or its disk is full, nobody else can begin to, either. Where there is a log with something in it,
that must be counted in: file and log are copied to where SQLite may.
Source: sqlite.org/wal.html, "Read-Only Databases".
"""

from __future__ import annotations

import os
import shutil
import sqlite3
from contextlib import closing
from pathlib import Path
from tempfile import TemporaryDirectory

from cfgtrack.model.trouble import NoAnswer, Problem

_WAL_VERSION = b"\x02"
_AT_VERSION = 19
"""Where the header of a SQLite file says whether it has a log (sqlite.org/fileformat.html, 1.3.3)."""

_TRIES = 3

_INDEX = 32_768
"""So many bytes SQLite wants beside a file to read it: those of the first part of its index of the log (ibid.)."""

Stamp = tuple[int, int, int]


class Sealed:
    """A database file that can be read only as if nobody ever wrote it. `readable` is what to open."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.readable = path
        self._folder: TemporaryDirectory[str] | None = None
        self._stamps = self._now()
        if self._log_size():
            self._copy()

    @classmethod
    def found(cls, path: Path) -> Sealed | None:
        """Return it, None for a file that SQLite can read in the usual way."""
        folder = path.parent
        is_full = path.is_file() and not has_room(folder)
        if not path.is_file() or (os.access(folder, os.W_OK) and not is_full):
            return None
        # Somebody who may write has it open, or has left both behind. Without room nobody can make use of that: whoever
        # opens it first makes the one anew.
        if not is_full and _exists(path, "-shm") and _exists(path, "-wal"):
            return None
        with path.open("rb") as file:
            header = file.read(_AT_VERSION + 1)
        return cls(path) if header[_AT_VERSION:] == _WAL_VERSION else None

    def close(self) -> None:
        """Give up the copy. NoAnswer when the file is not what it was: what was read may be of two minds."""
        if self._folder is not None:
            self._folder.cleanup()
        elif self._now() != self._stamps:
            raise self._changed()

    def _copy(self) -> None:
        for _ in range(_TRIES):
            before = self._now()
            self._folder = TemporaryDirectory(prefix="cfgtrack-read-")
            self.readable = Path(self._folder.name) / self.path.name
            for end in ("", "-wal"):
                if _exists(self.path, end):
                    shutil.copyfile(_beside(self.path, end), _beside(self.readable, end))
            if self._now() == before:
                with closing(sqlite3.connect(self.readable)) as copy:
                    copy.execute("PRAGMA wal_checkpoint(TRUNCATE)")
                return
            self._folder.cleanup()
        raise self._changed()

    def _log_size(self) -> int:
        return _size(self.path, "-wal")

    def _now(self) -> list[Stamp]:
        found = []
        for end in ("", "-wal"):
            if _exists(self.path, end):
                status = _beside(self.path, end).stat()
                found.append((status.st_ino, status.st_size, status.st_mtime_ns))
        return found

    def _changed(self) -> NoAnswer:
        sentence = "it was written while it was read, where nothing can be written beside it: ask again"
        return NoAnswer(Problem(str(self.path), "changed", sentence))


def has_room(folder: Path) -> bool:
    """Return whether a disk has room for what SQLite writes beside a file; also where nobody can tell."""
    try:
        return shutil.disk_usage(folder).free >= _INDEX
    except OSError:
        return True


def _size(path: Path, end: str) -> int:
    try:
        return _beside(path, end).stat().st_size
    except FileNotFoundError:
        return 0


def _beside(path: Path, end: str) -> Path:
    return path.with_name(path.name + end)


def _exists(path: Path, end: str) -> bool:
    return _beside(path, end).exists()
