"""The one writer of files: what stood there before is whole until all of the new is on the disk, or stays.

A slip of the finger destroys nothing: neither the database nor what is being read is ever written over.
"""

from __future__ import annotations

import os
import secrets
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path

from cfgtrack.model.trouble import BadInput, Problem

COMPANIONS = ("-wal", "-shm", "-journal")
"""What SQLite puts beside a database, by the end of its name."""

_DATABASE = b"SQLite format 3\x00"


@contextmanager
def replacing(target: Path, *, spared: Mapping[str, Path | int] | None = None) -> Iterator[Path]:
    """Yield a new file beside `target` to be written; it takes the place of `target` when the block ends well.

    It is on the disk before it does. After an exception, or when the block removes it because there is nothing to
    write, `target` is as it was. A link stays a link: what it leads to is replaced. What is no file (a device, a pipe)
    is written as it is.
    `spared`, what it is to its path or file descriptor: what must not be written over, by whatever name or link.
    BadInput when `target` is one of these, or any database; OSError that names `target` when it can't be written.
    """
    expect_spared(target, spared or {})
    real = Path(os.path.realpath(target))
    is_device = real.exists() and not real.is_file()
    part = real if is_device else real.with_name(f".cfgtrack-{secrets.token_hex(6)}.part")
    try:
        if is_device:
            yield real
        else:
            with _taking_the_place_of(real, part):
                yield part
    except OSError as err:
        if err.filename in (None, str(part), part):
            raise OSError(err.errno, err.strerror, str(target)) from err
        raise


@contextmanager
def _taking_the_place_of(real: Path, part: Path) -> Iterator[None]:
    try:
        part.touch(exist_ok=False)
        if real.exists():
            part.chmod(real.stat().st_mode & 0o7777)
        yield
        if part.exists():
            sync(part)
            part.replace(real)
            sync(real.parent)
    finally:
        for suffix in ("", *COMPANIONS):
            part.with_name(part.name + suffix).unlink(missing_ok=True)


def expect_spared(target: Path, spared: Mapping[str, Path | int]) -> None:
    """Raise BadInput when writing `target` would destroy what is spared, or a database.

    A database's companions are spared with it, whether they are there or not.
    """
    for what, path in spared.items():
        others: list[Path | int] = [path]
        if isinstance(path, Path):
            others += [Path(os.path.realpath(path) + suffix) for suffix in COMPANIONS]
        if any(_is_same(target, other) for other in others):
            raise BadInput([Problem(str(target), "spared", f"this is {what}: name another file")])
    if target.is_file() and _is_database(target):
        sentence = "this is a database, and is left alone: name another file, or remove it yourself"
        raise BadInput([Problem(str(target), "spared", sentence)])


def _is_same(target: Path, other: Path | int) -> bool:
    if isinstance(other, Path) and os.path.realpath(target) == os.path.realpath(other):
        return True
    try:
        # A stream from a terminal or a pipe is no file that could be lost.
        status = other.stat() if isinstance(other, Path) else os.fstat(other)
        return target.is_file() and os.path.samestat(target.stat(), status)
    except OSError:
        return False


def _is_database(path: Path) -> bool:
    try:
        with path.open("rb") as file:
            return file.read(len(_DATABASE)) == _DATABASE
    except OSError:
        return False


def sync(path: Path) -> None:
    """Have a file, or what a folder lists, on the disk."""
    handle = os.open(path, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
