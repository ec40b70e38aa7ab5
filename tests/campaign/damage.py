"""What is done to good input: slips, what programs do to files, and what somebody does who means harm."""

from __future__ import annotations

import json
import random
from collections.abc import Callable
from typing import Any

from cfgtrack.model.codec import IN_JSON

NASTY = (
    "",
    "\0",
    "\x1b[2J\x1b[1A",
    "\x9b2J",
    "\u202e",
    "\u200b",
    "\u2028",
    "\ufeff",
    "\ud800",
    "\U000e0041",
    "=1+1",
    "@",
    "'",
    '"',
    "\\",
    "\\u0000",
    "{",
    "[",
    "]]",
    "}",
    "#",
    ",",
    ";",
    "\t",
    "\r",
    "\n",
    "..",
    "/dev/zero",
    "/dev/stdin",
    "-1",
    "0",
    "1e400",
    "nan",
    "inf",
    "0x" + "f" * 5_000,
    "9" * 5_000,
    "true",
    "null",
    "2031-02-30T25:61:00Z",
    "9999-12-31T23:59:59Z",
    "0001-01-01T00:00:00Z",
    "+99:99",
    "a" * 300,
    "x" * 30_000,
    "a." * 2_000 + "a",
    "[" * 2_000,
    "PUMP-1",
    "PUMP-1:F1",
    "HALL:V1",
    "STORE",
    "é漢😀",
    "%s%n",
    "$(id)",
    "; DROP TABLE event; --",
    "--help",
    "--db",
    "-",
)
"""Words and signs that something has fallen over somewhere."""

VALUES: tuple[Any, ...] = (
    None,
    True,
    False,
    0,
    -1,
    1.5,
    2**53,
    2**80,
    -(2**63),
    1e308,
    [],
    {},
    [None],
    [[]],
    {"": ""},
    ["PUMP-1"],
    ["NOBODY"],
    {"PUMP-1": "STORE"},
    {"@": {"dimension": "pressure", "shown": 1, "unit": "bar", "value": 1e5}},
    {"pressure": {"dimension": "pressure", "shown": 7.1, "unit": "bar", "value": 0}},
    {"fingerprints": [1]},
    {"items": "x"},
    {"fingerprints": ["0123456789ab"], "start": "x"},
)
"""What stands in a field of JSON instead of what should."""

FIELDS = (*(told.name for told in IN_JSON), "number", "known", "at", "subject", "nothing")


def _cut(text: str, chance: random.Random) -> str:
    at = chance.randrange(len(text) + 1)
    return text[:at] + text[at + chance.randint(1, 12) :]


def _put(text: str, chance: random.Random) -> str:
    at = chance.randrange(len(text) + 1)
    return text[:at] + chance.choice(NASTY) + text[at:]


def _end(text: str, chance: random.Random) -> str:
    return text[: chance.randrange(len(text) + 1)]


def _other_sign(text: str, chance: random.Random) -> str:
    at = chance.randrange(len(text) + 1)
    return text[:at] + chr(chance.choice([chance.randrange(128), chance.randrange(0x3000)])) + text[at + 1 :]


def _lines(text: str, chance: random.Random) -> str:
    lines = text.splitlines(keepends=True) or [""]
    at = chance.randrange(len(lines))
    match chance.randrange(4):
        case 0:
            lines.insert(chance.randrange(len(lines)), lines[at])
        case 1:
            del lines[at]
        case 2:
            lines.insert(chance.randrange(len(lines)), lines.pop(at))
        case _:
            lines[at : at + 1] = [lines[at]] * 50
    return "".join(lines)


def _word(text: str, chance: random.Random) -> str:
    words = text.split('"')
    at = chance.randrange(len(words))
    words[at] = chance.choice([*NASTY, chance.choice(words)])
    return '"'.join(words)


WAYS: tuple[Callable[[str, random.Random], str], ...] = (
    _cut,
    _put,
    _put,
    _end,
    _other_sign,
    _lines,
    _word,
    _word,
)


def damaged(text: str, chance: random.Random) -> bytes:
    """Return a text damaged in one to three ways, in some encoding."""
    for _ in range(chance.choice((1, 1, 1, 2, 3))):
        text = chance.choice(WAYS)(text, chance)
    encoding = chance.choice(["utf-8"] * 12 + ["utf-8-sig", "utf-16", "latin-1"])
    raw = text.encode(encoding, "surrogatepass" if encoding.startswith("utf") else "replace")
    return damaged_bytes(raw, chance) if chance.random() < 0.1 else raw


def damaged_bytes(raw: bytes, chance: random.Random) -> bytes:
    """Return bytes of which one is another, or the end is gone."""
    at = chance.randrange(len(raw) + 1)
    return raw[:at] if chance.random() < 0.3 else raw[:at] + bytes([chance.randrange(256)]) + raw[at + 1 :]


def damaged_rows(text: str, chance: random.Random) -> bytes:
    """Return JSON Lines in which fields say what they shouldn't; sometimes damaged as a text."""
    if chance.random() < 0.3:
        return damaged(text, chance)
    rows = [json.loads(line) for line in text.splitlines()]
    for _ in range(chance.choice((1, 1, 2, 3))):
        row = chance.choice(rows)
        name = chance.choice([*row, *FIELDS])
        match chance.randrange(5):
            case 0:
                row.pop(name, None)
            case 1:
                row[name] = chance.choice(NASTY)
            case 2:
                row[name] = chance.choice(rows).get(name)
            case 3 if isinstance(row.get(name), list) and row[name]:
                row[name][chance.randrange(len(row[name]))] = chance.choice([*NASTY, *VALUES])
            case _:
                row[name] = chance.choice(VALUES)
    return "".join(json.dumps(row) + "\n" for row in rows).encode()


def damaged_words(words: tuple[str, ...], chance: random.Random) -> tuple[str, ...]:
    """Return a command line with one to three words that are others, gone, twice, or elsewhere."""
    found = list(words)
    for _ in range(chance.choice((1, 1, 2, 3))):
        at = chance.randrange(len(found) + 1)
        match chance.randrange(6):
            case 0:
                del found[at : at + 1]
            case 1:
                found.insert(at, chance.choice(NASTY))
            case 2:
                found[at : at + 1] = [chance.choice(NASTY)]
            case 3 if found:
                found.insert(at, chance.choice(found))
            case 4 if found:
                found.insert(chance.randrange(len(found)), found.pop(chance.randrange(len(found))))
            case _:
                at = min(at, len(found) - 1)
                if found:
                    found[at] = chance.choice(WAYS)(found[at], chance)
    return tuple(found)
