"""The one writer of files: what stood there before is whole until all of the new is on the disk, or stays.

A slip of the finger destroys nothing: neither the database nor what is being read is ever written over.
"""

from __future__ import annotations

import errno
import os
import re
import secrets
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path

from cfgtrack.model.trouble import BadInput, Problem

COMPANIONS = ("-wal", "-shm", "-journal")
"""What SQLite puts beside a database, by the end of its name."""

OWNER_ALONE = 0o600
"""Who may read and write a new file. One that replaces another is open to whom that was."""

Spared = Mapping[str, Path | int]
"""What must not be written over, by whatever name or link: what it is, to its path or file descriptor."""

_DATABASE = b"SQLite format 3\x00"
_ENOUGH = 4_096
"""By so many bytes an earlier output is told."""


@contextmanager
def replacing(
    target: Path, *, spared: Spared | None = None, earlier: re.Pattern[bytes] | None = None, new: bool = False
) -> Iterator[Path]:
    """Yield a new file beside `target` to be written; it takes the place of `target` when the block ends well.

    It is on the disk before it does. After an exception it is gone, and `target` is as it was. A link stays a link:
    what it leads to is replaced. What is no file (a device, a pipe) is written as it is. With `new` nothing is
    replaced.
    `earlier` tells an earlier output by its first bytes: another file is left alone.
    BadInput when `target` is `spared`, any database, or no earlier output; FileExistsError where it is there and must
    be `new`; another OSError that names `target` when it can't be written.
    """
    expect_writable(target, spared=spared, earlier=earlier)
    if _is_device(target):
        with _named(target):
            yield target
        return
    real = Path(os.path.realpath(target))
    part = real.with_name(f".{real.stem[:40]}-{secrets.token_hex(6)}.part")
    with _named(target, part):
        try:
            part.touch(OWNER_ALONE, exist_ok=False)
            yield part
            _sync(part, os.O_RDWR)
            _take_the_place_of(real, part, new=new)
            _sync_folder(real.parent)
        finally:
            for suffix in ("", *COMPANIONS):
                part.with_name(part.name + suffix).unlink(missing_ok=True)


def expect_writable(
    target: Path, *, spared: Spared | None = None, earlier: re.Pattern[bytes] | None = None
) -> None:
    """Raise what `replacing` would raise before anything is written: for whoever has other work to do first."""
    _expect_spared(target, spared or {})
    if _is_device(target):
        return
    _expect_earlier(target, earlier)
    real = Path(os.path.realpath(target))
    if not real.parent.is_dir():
        raise FileNotFoundError(errno.ENOENT, "there is no such folder: make it first", str(target))
    if not os.access(real.parent, os.W_OK | os.X_OK):
        raise PermissionError(errno.EACCES, "you may not write in its folder: choose another", str(target))
    if real.exists() and not os.access(real, os.W_OK):
        raise PermissionError(errno.EACCES, "you may not write it: choose another file", str(target))


def _is_device(target: Path) -> bool:
    return target.exists() and not target.is_file()


@contextmanager
def _named(target: Path, part: Path | None = None) -> Iterator[None]:
    """Let trouble with what is written name the target: nobody knows the name of the part."""
    try:
        yield
    except OSError as err:
        if err.filename in (None, part, str(part)):
            raise OSError(err.errno, err.strerror, str(target)) from err
        raise


def _take_the_place_of(real: Path, part: Path, *, new: bool) -> None:
    if not new:
        if real.exists():
            part.chmod(real.stat().st_mode & 0o7777)
        part.replace(real)
        return
    try:
        real.hardlink_to(part)  # fails where a name is taken, however lately
    except FileExistsError:
        raise
    except OSError as err:
        if real.exists():
            raise FileExistsError(errno.EEXIST, "there is a file already", str(real)) from err
        part.rename(real)  # a file system without links


# --- what is spared ---------------------------------------------------------------------------------------------------


def _expect_spared(target: Path, spared: Spared) -> None:
    """Raise BadInput when writing `target` would destroy what is spared, or a database.

    A database's companions are spared with it, whether they are there or not.
    """
    for what, path in spared.items():
        others: list[Path | int] = [path]
        if isinstance(path, Path):
            others += [Path(os.path.realpath(path) + suffix) for suffix in COMPANIONS]
        if any(_is_same(target, other) for other in others):
            raise BadInput(Problem(str(target), "spared", f"this is {what}: name another file"))
    if target.is_file() and _first_bytes(target).startswith(_DATABASE):
        raise _left_alone(target, "a database")


def _expect_earlier(target: Path, earlier: re.Pattern[bytes] | None) -> None:
    """Raise BadInput when `target` has something in it that is no earlier output."""
    begins = _first_bytes(target) if earlier is not None and target.exists() else b""
    if earlier is not None and begins and earlier.match(begins) is None:
        raise _left_alone(target, "another file than an earlier one of these")


def _left_alone(target: Path, what: str) -> BadInput:
    sentence = f"this is {what}, and is left alone: name another file, or remove it yourself"
    return BadInput(Problem(str(target), "spared", sentence))


def _is_same(target: Path, other: Path | int) -> bool:
    if isinstance(other, Path) and os.path.realpath(target) == os.path.realpath(other):
        return True
    try:
        # A stream from a terminal or a pipe is no file that could be lost.
        status = other.stat() if isinstance(other, Path) else os.fstat(other)
        return target.is_file() and os.path.samestat(target.stat(), status)
    except OSError:
        return False


def _first_bytes(path: Path) -> bytes:
    """Return what a file begins with. OSError where nobody can tell: it is not written over then."""
    with path.open("rb") as file:
        return file.read(_ENOUGH)


# --- on the disk ------------------------------------------------------------------------------------------------------


def _sync_folder(folder: Path) -> None:
    """Have on the disk what a folder lists, where the system knows how to."""
    try:
        _sync(folder, os.O_RDONLY)
    except OSError as err:
        # Some systems open no folder, some folders may be written and not read, some file systems sync none.
        if err.errno not in (errno.EACCES, errno.EPERM, errno.EISDIR, errno.EINVAL, errno.ENOTSUP):
            raise


def _sync(path: Path, flags: int) -> None:
    handle = os.open(path, flags)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
