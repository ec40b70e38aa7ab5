"""What a definition was read from, as one hash: files that are the same byte for byte need not be read again.

The hash covers the definition files, the tables that they name, the shipped kinds, and the code that reads them: with
other code the same files may say something else, or be refused.
"""

from __future__ import annotations

import tomllib
from collections.abc import Callable, Iterator, Mapping, Sequence
from functools import cache
from hashlib import sha256
from pathlib import Path
from typing import Any

from cfgtrack.files.lines import long_key
from cfgtrack.files.source import read_named, read_raw
from cfgtrack.folders import top_folder
from cfgtrack.model.gate import MOST_DEPTH
from cfgtrack.model.trouble import Problems

TABLES = ("csv", "table")
"""The arrays of a definition file that name tables, in the order in which those are read."""


class Fingerprint:
    """Grows with each file that is read."""

    def __init__(self) -> None:
        self._hash = sha256(_reader())

    def add(self, raw: bytes) -> bytes:
        """Take in the bytes of a file, and return them."""
        self._hash.update(b"%d:" % len(raw))
        self._hash.update(raw)
        return raw

    def reading(
        self, read: Callable[[Path, Problems], bytes | None]
    ) -> Callable[[Path, Problems], bytes | None]:
        """Return what reads as `read` does, and takes in what was read."""

        def noting(path: Path, problems: Problems) -> bytes | None:
            raw = read(path, problems)
            return None if raw is None else self.add(raw)

        return noting

    def text(self) -> str:
        """Return it in hexadecimal."""
        return self._hash.hexdigest()


def fingerprint_of(paths: Sequence[Path]) -> str | None:
    """Return the fingerprint that a definition read from these files would have; None where they can't be read."""
    found, problems = Fingerprint(), Problems()
    read, read_table = found.reading(read_raw), found.reading(read_named)
    documents = [(path, read(path, problems)) for path in paths]
    for path, raw in documents:
        try:
            text = (raw or b"").decode("utf-8-sig").replace("\r\n", "\n")
            if long_key(text, MOST_DEPTH):
                return None
            named = _tables(tomllib.loads(text))
        except (ValueError, RecursionError):
            return None
        for file in named:
            read_table(path.parent / file, problems)
    return None if problems else found.text()


def _tables(data: Mapping[str, Any]) -> Iterator[str]:
    """Yield the files that a definition file names."""
    for name in TABLES:
        tables = data.get(name)
        for table in tables if isinstance(tables, list) else ():
            file = table.get("file") if isinstance(table, dict) else None
            if isinstance(file, str):
                yield file.strip()


@cache
def _reader() -> bytes:
    """Return a hash of the code that reads definitions, and of what ships with it."""
    here = Path(__file__).parent
    files = [*sorted(here.glob("*.py")), *sorted((here.parent / "model").glob("*.py"))]
    found = sha256()
    for file in [*files, top_folder("shared") / "kinds.toml"]:
        found.update(file.read_bytes())
    return found.digest()
