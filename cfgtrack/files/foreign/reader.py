"""What every reader of a foreign form offers, and which there are."""

from __future__ import annotations

import importlib
import re
from abc import ABC, abstractmethod
from collections.abc import Iterator
from pathlib import Path
from typing import ClassVar

from cfgtrack.files.foreign.drawing import Drawing
from cfgtrack.model.trouble import BadInput, NoAnswer, Problem, Problems

FORMS = {
    "dexpi": "dexpi",
    "epanet": "epanet",
    "graphml": "graphml",
    "pandapower": "pandapower",
}
"""The forms that can be read, each with the module of this folder whose class `Read` reads it."""

_ENOUGH = 65_536
"""By so many bytes a form is told."""

MOST = 300_000_000
"""No larger file is read, bytes: a slip, or somebody means harm."""


class Reader(ABC):
    """Reads one foreign form. `form` names it, `expects` says how such a file begins."""

    form: ClassVar[str]
    expects: ClassVar[str]

    @abstractmethod
    def begins(self, head: str) -> bool:
        """Return whether the first text of a file looks to be of this form."""

    @abstractmethod
    def read(self, path: Path) -> Drawing:
        """Return what stands in a file. BadInput for what is none of this form, NoAnswer for a missing extra."""

    def can_read(self, path: Path) -> bool:
        """Return whether a file looks to be of this form."""
        return self.begins(_head(path))


def reader_of(path: Path, form: str = "") -> Reader:
    """Return the reader of one of `FORMS`; with "" the one that the file looks to be for. BadInput for none."""
    if form:
        return _reader(form)
    for reader in map(_reader, FORMS):
        if reader.can_read(path):
            return reader
    known = ", ".join(f"{_reader(name).form} ({_reader(name).expects})" for name in FORMS)
    raise BadInput(Problem(str(path), "wrong-kind", f"expected one of {known}; found none of them"))


def _reader(form: str) -> Reader:
    module = importlib.import_module(f"{__package__}.{FORMS[form]}")
    found = module.Read()
    assert isinstance(found, Reader)
    return found


def raw_of(path: Path, *, first: int = -1) -> bytes:
    """Return the bytes of a file, or the first of them. BadInput where they can't be had, or are too many."""
    problems = Problems()
    try:
        if path.stat().st_size > MOST:
            problems.add(str(path), "too-large", f"expected at most {MOST // 1_000_000} MB")
        with path.open("rb") as file:
            raw = b"" if problems else file.read(MOST + 1 if first < 0 else first)
        if len(raw) > MOST:  # a device or a pipe, whose size nobody can tell before
            problems.add(str(path), "too-large", f"expected at most {MOST // 1_000_000} MB")
    except FileNotFoundError:
        problems.add(str(path), "no-such-file", "there is no such file")
    except IsADirectoryError:
        problems.add(str(path), "not-a-file", "expected a file, found a folder")
    except (OSError, ValueError) as err:
        problems.add(
            str(path), "unreadable", f"the file can't be read: {getattr(err, 'strerror', None) or err}"
        )
    problems.raise_if_any()
    if not raw.strip():
        raise BadInput(Problem(str(path), "empty", "the file is empty"))
    return raw


def _head(path: Path) -> str:
    """Return the first text of a file, whatever it is encoded in, without NULs and a byte order mark."""
    return raw_of(path, first=_ENOUGH).replace(b"\0", b"").decode("utf-8", "replace").lstrip("\ufeff\ufffd")


def missing(path: Path, form: str, library: str, extra: str) -> NoAnswer:
    """Return the trouble that a library is missing which an extra brings."""
    sentence = f"reading {form} needs {library}, which is not installed: pip install 'cfgtrack[{extra}]'"
    return NoAnswer(Problem(str(path), "missing-extra", sentence))


def words_of(text: str) -> Iterator[str]:
    """Yield the words of a name in small letters, those that are written together too.

    >>> list(words_of("SpringLoadedGlobeSafetyValve-1"))
    ['spring', 'loaded', 'globe', 'safety', 'valve', '1']
    """
    for word in re.findall(r"[A-Z]+(?![a-z])|[A-Z]?[a-z]+|\d+|[^\W\d_]+", text):
        yield word.lower()
