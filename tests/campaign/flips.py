"""Single bits of a journal's file turned round: anywhere, and aimed at what somebody would like to be otherwise.

    python -m tests.campaign --only flips aimed-flips --seed 1

The audit has to notice, against a head that was kept; or the bit is in a place that nobody reads (`pages`, with the
reason for each), and then all that anybody can ask must be as it was. An aimed flip has to be noticed by the audit
alone, or is of the two things that are read and say the same.
"""

from __future__ import annotations

import re
import sqlite3
from collections import Counter
from collections.abc import Sequence
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

from cfgtrack.answers.asking import Asking
from cfgtrack.answers.encode import json_of
from cfgtrack.answers.review import findings, review
from tests.campaign.outcome import Outcome, chance_of
from tests.campaign.pages import READ_BY_NOBODY, Pages
from tests.campaign.tampering import Seen, Words, clear, is_sound, made, seen_at

AIMS = {
    "body": "SELECT body FROM event WHERE number > 1",
    "leaf": "SELECT leaf FROM event",
    "signature": "SELECT signed FROM event WHERE signed IS NOT NULL",
    "root": "SELECT root FROM tree_head",
    "frontier": "SELECT frontier FROM tree_head WHERE number > 1",
    "definition": "SELECT body FROM item WHERE body IS NOT NULL AND length(body) > 8",
    "state": "SELECT subject || aspect FROM change",
    "touch": "SELECT owner FROM touch WHERE length(owner) > 3",
    "memory of the rules": "SELECT memory FROM checkpoint",
    "what had been settled": "SELECT body FROM settled",
    "text of a trigger": "SELECT sql FROM sqlite_master WHERE type = 'trigger'",
    "text of a table": "SELECT sql FROM sqlite_master WHERE type = 'table'",
}
"""What is aimed at, by where it is kept."""


def flips(folder: Path, number: int, seed: int, questions: Sequence[Words] = ()) -> Outcome:
    """Turn so many bits of a journal's file round, anywhere in it."""
    target = _Target(folder, "flips", questions)
    where: Counter[str] = Counter()
    for n in range(number):
        chance = chance_of(seed, "flip", n)
        what = target.flip(chance.randrange(len(target.whole)), chance.randrange(8), f"flip {n}")
        where.update([what] if what else [])
    target.outcome.notes += [
        f"{times} in {what}: {READ_BY_NOBODY[what]}" for what, times in sorted(where.items())
    ]
    return target.outcome


def aimed_flips(folder: Path, number: int, seed: int, questions: Sequence[Words] = ()) -> Outcome:
    """Turn so many bits round of what is recorded, derived or guards it, of each in turn."""
    target = _Target(folder, "aimed flips", questions)
    found = {aim: target.places(sql) for aim, sql in AIMS.items()}
    assert all(found.values()), {aim for aim, places in found.items() if not places}
    for n in range(number):
        aim = [*found][n % len(found)]
        chance = chance_of(seed, aim, n)
        start, length = chance.choice(found[aim])
        target.flip(
            start + chance.randrange(length), chance.randrange(8), f"aimed flip {n}, {aim}", alone=True
        )
    return target.outcome


class _Target:
    def __init__(self, folder: Path, name: str, questions: Sequence[Words]) -> None:
        self.outcome = Outcome(name)
        self.path = made(folder)
        self.copy = folder / "flipped.db"
        self.seen: Seen = seen_at(self.path, self.copy)
        self.whole = self.path.read_bytes()
        self.pages = Pages(self.whole)
        self.before = asked(self.path)
        self.questions = questions

    def places(self, sql: str) -> list[tuple[int, int]]:
        """Return where in the file the values of a column begin, and how long what stands there in one piece is."""
        with closing(sqlite3.connect(self.path)) as connection:
            values = [row[0] for row in connection.execute(sql)]
        found = []
        for value in values:
            # As far as it stands on its own page: what is longer goes on elsewhere.
            piece = (value.encode() if isinstance(value, str) else bytes(value))[:400]
            at = self.whole.find(piece)
            if at >= 0 and piece:
                found.append((at, len(piece)))
        return found

    def flip(self, byte: int, bit: int, case: str, *, alone: bool = False) -> str:
        """Turn one bit round, and see who notices; return what the byte is for where nobody does, else ""."""
        changed = bytearray(self.whole)
        changed[byte] ^= 1 << bit
        self.copy.write_bytes(changed)
        what = ""
        try:
            became, what = self._became(byte, alone=alone)
            self.outcome.became(became, f"{case}: bit {bit} of byte {byte}, {self.pages.what(byte)}")
        except Exception as err:  # noqa: BLE001 - whatever it is, it is told
            self.outcome.fell(err, f"{case}: bit {bit} of byte {byte}")
        clear(self.copy)
        return what

    def _became(self, byte: int, *, alone: bool) -> tuple[str, str]:
        url = str(self.copy)
        if not is_sound(url, None if alone else self.seen.head):
            self.seen.tells(url, self.questions)
            return "found", ""
        now, what = asked(self.copy), self.pages.what(byte)
        if what == "content":
            what = now.but_for(self.before)
        elif alone or now != self.before:
            what = ""
        return ("harmless", what) if what in READ_BY_NOBODY else ("unnoticed", "")


@dataclass(frozen=True)
class Asked:
    """All that is recorded and derived, and what judging the past gives, from what is remembered of it."""

    rows: tuple[object, ...]
    judged: tuple[object, ...]
    marks: tuple[str, ...]
    schema: tuple[tuple[str, str, str | None], ...]

    def but_for(self, other: Asked) -> str:
        """Return what alone differs of what is read and changes nothing, "" where it is something else."""
        if self.rows != other.rows or self.judged != other.judged:
            return ""
        if self.schema == other.schema:
            return "mark of a checkpoint" if self.marks != other.marks else ""
        same = [*map(_read, self.schema)] == [*map(_read, other.schema)]
        return "spelling of a table" if same and self.marks == other.marks else ""


def _read(row: tuple[str, str, str | None]) -> tuple[str, ...]:
    """Return the text of a table, with its name, as SQL reads it; of an index that a table makes its name."""
    name, table, sql = row
    if sql is None:
        return (name,)
    return name, table, re.sub(r"\bCONSTRAINT \S+", "CONSTRAINT", " ".join(sql.upper().split()))


def asked(path: Path) -> Asked:
    """Ask a journal for everything."""
    with closing(sqlite3.connect(f"file:{path}?mode=ro", uri=True)) as connection:
        tables = ("event", "item", "tree_head", "touch", "change", "settled")
        rows = [sorted(connection.execute(f"SELECT * FROM {table}"), key=repr) for table in tables]
        kept = connection.execute(
            "SELECT at, events, known, memory, shape FROM checkpoint ORDER BY at"
        ).fetchall()
        schema = tuple(
            connection.execute("SELECT name, tbl_name, sql FROM sqlite_master ORDER BY rootpage, name")
        )
    at = Asking(str(path), at="2031-05-02T00:00:00Z")
    judged = json_of(findings(at)), json_of(review(at))
    return Asked((rows, [row[:-1] for row in kept]), judged, tuple(row[-1] for row in kept), schema)
