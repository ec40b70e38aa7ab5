"""Input files as text, and TOML documents that know where each of their fields stands."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any, NamedTuple

from cfgtrack.files import lines
from cfgtrack.model.gate import MOST_DEPTH, has_huge_number, is_deeper
from cfgtrack.model.trouble import Problem, Problems

MOST_BYTES = 256_000_000
"""So large a file is read that isn't read as a stream."""

_LONGEST_ROW = 120
_TOO_DEEP = f"expected at most {MOST_DEPTH} tables and lists in one another"
_LONG_NUMBER = re.compile(r"[0-9a-fA-F_]{17}")
_AT_LINE = re.compile(r"\s*\(at line (\d+), column \d+\)|\s*\(at end of document\)")
_WHERE = re.compile(r"(.*?)(?::(\d+)| row (\d+)(?:, column .*)?)?\Z", re.DOTALL)
_FOREIGN = (
    (b"SQLite format 3\0", "a SQLite database"),
    (b"PK\x03\x04", "a zip archive or a spreadsheet's own format: name it .xlsx, or save it as CSV"),
    (b"%PDF", "a PDF"),
    (b"\xff\xfe", "UTF-16 text: save it as UTF-8"),
    (b"\xfe\xff", "UTF-16 text: save it as UTF-8"),
)


class Spot(NamedTuple):
    """A place in a file: `where` as an error names it, and the row (the line itself) that stands there."""

    where: str
    row: str | None = None


def cut(row: str) -> str:
    """Return a row as messages show it, cut where it gets long."""
    return row if len(row) <= _LONGEST_ROW else row[: _LONGEST_ROW - 4] + " ..."


def read_text(path: Path, problems: Problems) -> str | None:
    """Return the text of a file without its byte order mark, or None after noting why it can't be had."""
    raw = read_raw(path, problems)
    return None if raw is None else decode(raw, str(path), problems)


def read_raw(path: Path, problems: Problems) -> bytes | None:
    """Return the bytes of a file, or None after noting why they can't be had."""
    name = str(path)
    try:
        with path.open("rb") as file:
            raw = file.read(MOST_BYTES + 1)
    except FileNotFoundError:
        problems.add(name, "no-such-file", "there is no such file")
    except IsADirectoryError:
        problems.add(name, "not-a-file", "expected a file, found a folder")
    except OSError as err:
        problems.add(name, "unreadable", f"the file can't be read: {err.strerror or err}")
    except ValueError as err:  # a name that no file can have
        problems.add(name, "unreadable", f"the file can't be read: {err}")
    else:
        if len(raw) <= MOST_BYTES:
            return raw
        problems.add(name, "too-large", f"expected at most {MOST_BYTES // 1_000_000} MB")
    return None


def read_named(path: Path, problems: Problems) -> bytes | None:
    """Return the bytes of a file that another file names: a regular one, as no device or pipe is part of a plant."""
    try:
        is_other = path.exists() and not path.is_file() and not path.is_dir()
    except (OSError, ValueError):
        is_other = False  # what is wrong with it is told when it is read
    if is_other:
        problems.add(str(path), "not-a-file", "expected a file, found a device or a pipe")
        return None
    return read_raw(path, problems)


def decode(raw: bytes, name: str, problems: Problems) -> str | None:
    """Return UTF-8 bytes as text, or None after noting that they are none (or nothing at all)."""
    foreign = next((what for start, what in _FOREIGN if raw.startswith(start)), None)
    if foreign is not None:
        problems.add(name, "not-text", f"expected text, found {foreign}")
        return None
    if b"\0" in raw:
        problems.add(name, "not-text", "expected text, found a binary file")
        return None
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError as err:
        line = raw.count(b"\n", 0, err.start) + 1
        problems.add(
            f"{name}:{line}", "not-text", f"expected UTF-8 text, found the byte 0x{raw[err.start]:02x}"
        )
        return None
    if not text.strip():
        problems.add(name, "empty", "the file is empty")
        return None
    return text


class Document:
    """A parsed TOML file: its `data`, and the line of each table, field and element."""

    __slots__ = ("_lines", "_numbers", "_text", "data", "name")

    def __init__(self, name: str, text: str, data: dict[str, Any]) -> None:
        self.name = name
        self.data = data
        self._text = text
        self._lines: list[str] = text.splitlines()
        self._numbers: dict[lines.Keys, int] | None = None

    def spot(self, path: lines.Keys) -> Spot:
        """Return where the value at `path` stands, or what it stands in when it has no line of its own."""
        if self._numbers is None:
            self._numbers = lines.line_numbers(self._text)
        while path not in self._numbers:
            path = path[:-1]
        return self.line(self._numbers[path])

    def line(self, number: int) -> Spot:
        """Return the line of that number."""
        row = self._lines[number - 1].strip() if 0 < number <= len(self._lines) else ""
        return Spot(f"{self.name}:{number}", cut(row) or None)


def parse_toml(name: str, text: str, problems: Problems) -> Document | None:
    """Return the parsed document, or None after noting where its syntax breaks."""
    text = text.replace("\r\n", "\n")
    if number := lines.long_key(text, MOST_DEPTH):
        sentence = f"expected at most {MOST_DEPTH} names in a dotted key"
        spot = Document(name, text, {}).line(number)
        problems.add(spot.where, "depth", sentence, row=spot.row)
        return None
    try:
        data = tomllib.loads(text)
        if is_deeper(data):
            problems.add(name, "depth", _TOO_DEEP)
        elif _LONG_NUMBER.search(text) and has_huge_number(data):
            problems.add(name, "syntax", "expected TOML: a whole number has at most 64 bits")
        else:
            return Document(name, text, data)
    except tomllib.TOMLDecodeError as err:
        _note_syntax(Document(name, text, {}), text, str(err), problems)
    except RecursionError:
        problems.add(name, "depth", _TOO_DEEP)
    except ValueError as err:
        problems.add(name, "syntax", f"expected TOML: {err}")
    return None


def read_document(
    path: Path, problems: Problems, read: Callable[[Path, Problems], bytes | None] = read_raw
) -> Document | None:
    """Return the TOML document in a file, or None after noting what is wrong with it."""
    raw = read(path, problems)
    text = None if raw is None else decode(raw, str(path), problems)
    return None if text is None else parse_toml(str(path), text, problems)


def _note_syntax(document: Document, text: str, message: str, problems: Problems) -> None:
    found = _AT_LINE.search(message)
    number = int(found[1]) if found and found[1] else text.rstrip().count("\n") + 1
    spot = document.line(number)
    what = _AT_LINE.sub("", message)
    what = what[0].lower() + what[1:]
    cut = "; the file ends in the middle of something" if found and not found[1] else ""
    first = text.lstrip().partition("\n")[0]
    if document.name.lower().endswith(".csv") or (number == 1 and _is_header(first)):
        problems.add(
            spot.where,
            "wrong-kind",
            "expected TOML, found what looks like CSV; CSV files are named in a [[csv]] table",
            row=spot.row,
        )
        return
    if first.startswith(("{", "<")):
        kind = "JSON" if first[0] == "{" else "XML or HTML"
        problems.add(spot.where, "wrong-kind", f"expected TOML, found what looks like {kind}", row=spot.row)
        return
    problems.add(spot.where, "syntax", f"expected TOML: {what}{cut}", row=spot.row)


def _is_header(line: str) -> bool:
    return "=" not in line and "[" not in line and any(line.count(mark) >= 1 for mark in ",;\t")


def in_order(problems: Sequence[Problem], names: Sequence[str]) -> list[Problem]:
    """Return the problems once each, by file and line; files that others name come behind those of `names`."""
    rank = {name: i for i, name in enumerate(names)}

    def key(problem: Problem) -> tuple[int, int]:
        found = _WHERE.match(problem.where)
        assert found is not None
        return rank.setdefault(found[1], len(rank)), int(found[2] or found[3] or 0)

    return sorted(dict.fromkeys(problems), key=key)


Find = Callable[[str], Spot]
"""Gives the spot of a field of one table or row, "" for the table or row itself."""
