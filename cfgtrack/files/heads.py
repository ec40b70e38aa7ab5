"""What a console remembers of journals: a small file of the user's own, shared by all his processes.

It is replaced as a whole, when what it then holds is on the disk; whoever changes it has the lock beside it. What only
grows, with each event that is recorded, is a line of the log beside it, and nobody waits for the disk: after a power
cut an earlier tree is remembered, which is one all the same. A journal is remembered by its identity, with the largest
tree that was seen of it anywhere, and where; and for each place which journal stood there, and the largest tree of it
there: what a copy elsewhere went on to is nothing that this place has lost.
"""

from __future__ import annotations

import errno
import json
import os
import stat
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any
from zlib import crc32

_PRIVATE = 0o600
WAIT, _PAUSE = 10.0, 0.01
"""So long a process waits for another that remembers something, seconds, and so long between two tries."""
LONGEST_LOG = 4_096
"""A log of more bytes is made one with the file that it stands beside."""
MOST_BYTES = 64_000_000
"""Neither of them has more bytes: a place is some hundreds."""


@dataclass(frozen=True, slots=True)
class Remembered:
    """The largest tree of a journal that was seen: its size, its frontier, and when its last event became known.

    `at`: the place where it was seen, "" where nobody wrote that down.
    """

    size: int
    frontier: bytes
    known: int
    at: str = ""


@dataclass(frozen=True, slots=True)
class Stood:
    """Which journal stood in a place, and the largest tree of it that was seen there; None where that isn't known."""

    journal: str
    seen: Remembered | None


@dataclass(slots=True)
class Memory:
    """What is remembered: of journals by identity, of places what stood there, and what was forgotten, and why."""

    journals: dict[str, Remembered] = field(default_factory=dict)
    places: dict[str, Stood] = field(default_factory=dict)
    forgotten: list[dict[str, Any]] = field(default_factory=list)

    def keep(self, place: str, name: str, seen: Remembered) -> None:
        """Remember the tree of a journal that stands in a place, unless a larger one is: of the journal, and there."""
        before, stood = self.journals.get(name), self.places.get(place)
        seen = replace(seen, at=place)
        if before is None or before.size < seen.size:
            self.journals[name] = seen
        if stood is None or stood.journal != name or stood.seen is None or stood.seen.size < seen.size:
            self.places[place] = Stood(name, seen)


class Unreadable(Exception):
    """The file is there, and can't be read as one of these."""


def read_memory(file: Path) -> Memory:
    """Return what is remembered; nothing where there is no file. Unreadable or OSError where nobody can tell."""
    # First the log: whoever makes the two one writes the file before the log goes.
    grown = list(_grown(file))
    memory = _read_file(file)
    for one in grown:
        memory.keep(*one)
    return memory


def _read_file(file: Path) -> Memory:
    try:
        data = json.loads(_bytes_of(file))
        journals = {name: _remembered(one, str(one.get("at", ""))) for name, one in data["journals"].items()}
        places = {str(place): _stood(place, one) for place, one in data["places"].items()}
        return Memory(journals, places, list(data["forgotten"]))
    except FileNotFoundError:
        return Memory()
    except (ValueError, KeyError, TypeError, AttributeError, RecursionError) as err:
        raise Unreadable(str(file)) from err


def _remembered(told: dict[str, Any], at: str) -> Remembered:
    return Remembered(int(told["size"]), bytes.fromhex(told["frontier"]), int(told["known"]), at)


def _stood(place: str, told: str | dict[str, Any]) -> Stood:
    # Earlier versions wrote down the journal alone.
    return (
        Stood(told, None) if isinstance(told, str) else Stood(str(told["journal"]), _remembered(told, place))
    )


def _bytes_of(file: Path) -> bytes:
    """Return the bytes of a file. Unreadable where it is none, or has more of them than was ever written."""
    with file.open("rb") as handle:
        raw = handle.read(MOST_BYTES + 1) if stat.S_ISREG(os.fstat(handle.fileno()).st_mode) else None
    if raw is None or len(raw) > MOST_BYTES:
        raise Unreadable(str(file))
    return raw


def keep_in_memory(file: Path, place: str, name: str, seen: Remembered) -> None:
    """Remember the tree of a journal, as `Memory.keep` does. Unreadable or OSError where that can't be done."""
    log = file.with_suffix(".log")
    if not file.exists() or (log.exists() and log.stat().st_size > LONGEST_LOG):
        change_memory(file, lambda memory: memory.keep(place, name, seen))
        return
    told = json.dumps([place, name, seen.size, seen.frontier.hex(), seen.known])
    # A line that a power cut has torn is closed by the next one.
    line = f"\n{crc32(told.encode()):08x} {told}\n".encode()
    with _locked(file.with_suffix(".lock")):
        handle = os.open(log, os.O_WRONLY | os.O_CREAT | os.O_APPEND, _PRIVATE)
        try:
            os.write(handle, line)
        finally:
            os.close(handle)


def _grown(file: Path) -> Iterator[tuple[str, str, Remembered]]:
    """Yield what the log tells: its whole lines, each of which proves itself."""
    try:
        lines = _bytes_of(file.with_suffix(".log")).splitlines()
    except FileNotFoundError:
        return
    for line in lines:
        # A torn one says nothing: what it would have said is only later than the one before it.
        with suppress(ValueError, TypeError, RecursionError):
            crc, told = line.split(b" ", 1)
            if int(crc, 16) == crc32(told):
                place, name, size, frontier, known = json.loads(told)
                yield str(place), str(name), Remembered(int(size), bytes.fromhex(frontier), int(known))


def change_memory(file: Path, change: Callable[[Memory], None], *, anew: bool = False) -> None:
    """Change what is remembered, one process at a time. With `anew` what can't be read is begun anew.

    Unreadable or OSError where that can't be done; then it is as it was.
    """
    file.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
    with _locked(file.with_suffix(".lock")):
        try:
            memory = read_memory(file)
        except Unreadable:
            if not anew:
                raise
            memory = Memory()
        log = file.with_suffix(".log")
        before = _text(memory)
        change(memory)
        after = _text(memory)
        if anew or after != before or log.exists():
            _replace(file, after)
            log.unlink(missing_ok=True)


def _text(memory: Memory) -> bytes:
    journals = {name: {**_told(one), "at": one.at} for name, one in memory.journals.items()}
    places = {
        place: one.journal if one.seen is None else {"journal": one.journal, **_told(one.seen)}
        for place, one in memory.places.items()
    }
    data = {"journals": journals, "places": places, "forgotten": memory.forgotten}
    return json.dumps(data, ensure_ascii=False, indent=1).encode("utf-8", "surrogatepass")


def _told(seen: Remembered) -> dict[str, Any]:
    return {"size": seen.size, "frontier": seen.frontier.hex(), "known": seen.known}


def _replace(file: Path, text: bytes) -> None:
    part = file.with_name(f".{file.name}-{os.getpid()}.part")
    handle = os.open(part, os.O_WRONLY | os.O_CREAT | os.O_EXCL, _PRIVATE)
    try:
        with os.fdopen(handle, "wb") as out:
            out.write(text)
            out.flush()
            os.fsync(handle)
        part.replace(file)
    finally:
        part.unlink(missing_ok=True)


@contextmanager
def _locked(lock: Path) -> Iterator[None]:
    handle = os.open(lock, os.O_RDWR | os.O_CREAT, _PRIVATE)
    try:
        _lock(handle)
        yield
    finally:
        os.close(handle)  # and the lock with it


def _lock(handle: int) -> None:
    try:
        import fcntl
    except ImportError:
        import msvcrt

        msvcrt.locking(handle, msvcrt.LK_LOCK, 1)  # type: ignore[attr-defined,unused-ignore] # Windows
        return
    # Nobody waits for a process that was stopped while it had the lock.
    for _ in range(int(WAIT / _PAUSE)):
        try:
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            time.sleep(_PAUSE)
        else:
            return
    raise TimeoutError(errno.ETIMEDOUT, "another process holds its lock")
