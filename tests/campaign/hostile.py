"""Hostile input for every kind of file and every command word, one case after the other, each on a journal of its own.

A case is *refused* where the command says why and the journal is as it was; *found* where it was taken, and everything
that is asked of the journal afterwards agrees; *unnoticed* where it was taken and something doesn't, or where the
journal was changed by what was refused; *crashed* where there was a traceback, or no answer in time.
"""

from __future__ import annotations

import io
import json
import os
import random
import shutil
import signal
import sqlite3
import traceback
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from tests.campaign.damage import NASTY, damaged, damaged_bytes, damaged_rows, damaged_words
from tests.cli import world
from tests.cli.conftest import Answer, Command

LONGEST = 20
"""Seconds in which a command must have answered."""

AT = "2031-05-01T10:00:00Z"
MOST_SAID = 200_000
"""So many characters a refusal may take, with all of its rows."""

UNITS = "id,part,title,home,tags\nPUMP-7,pump,Spare,STORE,a b\nPUMP-8,pump,,STORE,\n"
LISTED = '[[csv]]\nfile = "units.csv"\ntable = "units"\n'
MAPPED = """
[[table]]
file = "units.csv"
of = "units"
columns = { id = "id", part = "part", home = "home" }
leave_out = ["title", "tags"]
"""
ROWS = f"""at,action,subject,subject2,outing,id,remark,values
{AT},begin,,,W1,R1,,
10:05,demate,PUMP-1:F1,,W1,R2,"a, b",
10:10,cap,PUMP-1:F1,,W1,R3,,
+00:12,measure,PUMP-1:F1,,W1,R4,,pressure="12 bar"
"""
GRAPH = """<?xml version="1.0"?>
<graphml xmlns="http://graphml.graphdrawing.org/xmlns"><key id="k" for="node" attr.name="kind" attr.type="string"/>
<graph edgedefault="directed"><node id="a"><data key="k">valve</data></node><node id="b"/>
<edge source="a" target="b"/></graph></graphml>
"""
WORDS = (
    ("shut", "HALL:V1", "--by", "ina", "--at", AT),
    ("record", "place", "PUMP-2", "at", "HALL", "--at", AT, "--id", "E9"),
    ("remark", "PUMP-1", "pin 3 is bent", "--outing", "W1"),
    ("measure", "PUMP-1:F1", "pressure=12 bar", "--basis", "measured"),
    ("lock", "HALL:V1", "by", "ANN"),
    ("as-found", "HALL:V1", "shut"),
    ("correct", "GOOD", "uncap", "PUMP-2:F1", "--reason", "typo"),
    ("withdraw", "GOOD", "--reason", "not so"),
    ("acknowledge", "0123456789ab", "--reason", "seen"),
    ("approve", "--finding", "0123456789ab", "--reason", "x", "--by", "ina"),
    ("retire", "PUMP-2", "--reason", "worn"),
    ("state", "PUMP-1", "--at", AT, "--json"),
    ("history", "PUMP-1:F1", "--from", AT, "--to", AT),
    ("diff", AT, "2031-05-02T10:00:00Z"),
    ("remarks", "PUMP-1"),
    ("can", "PUMP-1:F1"),
    ("check", "--do", "demate PUMP-1:F1 by ina"),
    ("findings", "--known-at", AT),
    ("review",),
    ("draw", "--unit", "PUMP-1", "-o", "x.dot"),
    ("export", "--form", "csv"),
    ("audit", "--json"),
    ("prove", "GOOD"),
    ("reference", "thread", "M16", "--torque", "200 N*m"),
    ("rules", "explain", "expansion"),
    ("rules", "drop", "rules.toml"),
    ("plant",),
    ("head",),
)


@dataclass
class Report:
    """What became of the cases. `told` are the first of those that went wrong, to be done again by their numbers."""

    tried: int = 0
    refused: int = 0
    found: int = 0
    unnoticed: int = 0
    crashed: int = 0
    told: list[str] = field(default_factory=list)

    @property
    def is_clean(self) -> bool:
        """Return whether every case was refused or found."""
        return self.tried == self.refused + self.found and not self.unnoticed and not self.crashed


class Wrong(Exception):
    """Something doesn't agree after a case was taken, or was said that mustn't be."""


Made = tuple[str, ...]
Case = Callable[[Path, random.Random], Made]


def _file(name: str, text: str, words: Made, damage: Callable[[str, random.Random], bytes] = damaged) -> Case:
    def make(folder: Path, chance: random.Random) -> Made:
        (folder / name).write_bytes(damage(text, chance))
        return tuple(str(folder / word[1:]) if word.startswith("@") else word for word in words)

    return make


def _list(mapping: str) -> Case:
    def make(folder: Path, chance: random.Random) -> Made:
        hit = chance.random() < 0.3
        plant = world.PLANT.replace("[initial]", f"{mapping}\n[initial]")
        (folder / "units.csv").write_bytes(UNITS.encode() if hit else damaged(UNITS, chance))
        broken = damaged(mapping, chance) if hit else b""
        (folder / "plant.toml").write_bytes(
            world.PLANT.encode().replace(b"[initial]", broken + b"\n[initial]") if hit else plant.encode()
        )
        return ("load", str(folder / "plant.toml"))

    return make


def _workbook(folder: Path, chance: random.Random) -> Made:
    import openpyxl
    from openpyxl.cell.cell import ILLEGAL_CHARACTERS_RE

    book = openpyxl.Workbook()
    sheet = book.active
    assert sheet is not None
    for line in UNITS.splitlines():
        sheet.append(line.split(","))
    # What no XML can hold stands in no workbook.
    text = ILLEGAL_CHARACTERS_RE.sub("", chance.choice(NASTY)).replace("\ud800", "")
    sheet.cell(chance.randint(1, 4), chance.randint(1, 6), text[:3_000])
    raw = io.BytesIO()
    book.save(raw)
    packed = raw.getvalue()
    (folder / "units.xlsx").write_bytes(damaged_bytes(packed, chance) if chance.random() < 0.5 else packed)
    mapping = MAPPED.replace("units.csv", "units.xlsx")
    (folder / "plant.toml").write_text(world.PLANT.replace("[initial]", f"{mapping}\n[initial]"))
    return ("load", str(folder / "plant.toml"))


def _words(folder: Path, chance: random.Random) -> Made:
    del folder
    words = damaged_words(chance.choice(WORDS), chance)
    # No case leaves its folder, whatever becomes of where the output or the database is named.
    return tuple("x.dot" if word.startswith(("/", "..")) and "dev" not in word else word for word in words)


class World:
    """Good journals to begin with, and what is made of them."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        good = Command(folder)
        good.ok("load", good.file("plant.toml", world.PLANT), "--by", "survey")
        good.ok("rules", "load", good.file("rules.toml", world.RULES))
        good.ok("cap", "PUMP-2:F1", "--at", "2031-05-01T09:00:00Z", "--id", "GOOD")
        good.ok("import", good.file("rows.csv", ROWS))
        good.ok("remark", "PUMP-1", "pin 3 is bent", "--at", AT, "--id", "R9")
        self.rows = good.ok("export", "--form", "jsonl")
        self.proof = good.ok("prove", "GOOD")
        with closing(sqlite3.connect(good.db)) as database:
            database.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        self.database = good.db
        self.cases: dict[str, Case] = {
            "definition": _file("plant.toml", world.PLANT, ("load", "@plant.toml")),
            "list": _list(LISTED),
            "mapped": _list(MAPPED),
            "workbook": _workbook,
            "rules": _file("rules.toml", world.RULES, ("rules", "load", "@rules.toml")),
            "sequence": _file("plan.toml", world.GOOD, ("check", "@plan.toml")),
            "rows": _file("rows.csv", ROWS.replace(",R", ",S"), ("import", "@rows.csv")),
            "lines": _file("rows.jsonl", _renamed(self.rows), ("import", "@rows.jsonl"), damaged_rows),
            "again": _file("rows.jsonl", self.rows, ("import", "@rows.jsonl"), damaged_rows),
            "graph": _file("net.graphml", GRAPH, ("convert", "@net.graphml", "--to", "@new")),
            "proof": _file("proof.json", self.proof, ("verify", "@proof.json")),
            "words": _words,
        }

    def fresh(self, folder: Path) -> Command:
        """Return the command on a copy of the good journal."""
        shutil.copyfile(self.database, folder / "plant.db")
        return Command(folder)


def _renamed(rows: str) -> str:
    """Return the rows of the journal as new ones: under other ids, and possible after those that are there."""
    new = []
    for line in rows.splitlines():
        row: dict[str, Any] = json.loads(line)
        if row["action"] in ("remark", "measure", "begin"):
            new.append(json.dumps({**row, "id": f"new-{row['id']}"}))
    after = {"happened": 1_935_568_800_000_000, "by": "ina"}
    new.append(json.dumps({"id": "new-1", "action": "shut", "subjects": ["HALL:V1"], **after}))
    new.append(json.dumps({"id": "new-2", "action": "demate", "subjects": ["PUMP-1:J1", "HALL:J1"], **after}))
    new.append(
        json.dumps({"id": "new-3", "action": "place", "subjects": ["PUMP-2"], "place": "HALL", **after})
    )
    return "\n".join(new) + "\n"


@contextmanager
def in_time(seconds: int) -> Iterator[None]:
    """Raise TimeoutError where what is done takes longer."""

    def late(*_: Any) -> None:
        raise TimeoutError(f"not done in {seconds} s")

    before = signal.signal(signal.SIGALRM, late)
    signal.alarm(seconds)
    try:
        yield
    finally:
        signal.alarm(0)
        signal.signal(signal.SIGALRM, before)


def leaves(database: Path) -> list[Any]:
    """Return the leaves of a journal: what is recorded, and in which order."""
    with closing(sqlite3.connect(database)) as opened:
        return opened.execute("SELECT number, leaf FROM event ORDER BY number").fetchall()


ACTING = {
    chr(n) for n in [*range(32), *range(0x7F, 0xA0), 0x200B, *range(0x2028, 0x202F), 0xFEFF, 0xE0041]
} - set("\n\t")


def expect_visible(answer: Answer) -> None:
    """Raise Wrong where an answer would act on a terminal, or says more than anybody can read."""
    acting = ACTING & {*answer.out, *answer.err}
    if acting:
        raise Wrong(f"acts on a terminal: {sorted(map(ascii, acting))}")
    if len(answer.err) > MOST_SAID:
        raise Wrong(f"a message of {len(answer.err)} characters")


QUESTIONS = (
    ("audit",),
    ("state",),
    ("findings",),
    ("history",),
    ("remarks", "PUMP-1"),
    ("draw", "-o", "{}"),
    ("vet",),
)


def expect_agreement(command: Command) -> None:
    """Raise Wrong where something of a journal doesn't agree: its audit, its answers, what it gives and takes back."""
    for question in QUESTIONS:
        answer = command(*(word.format(command.folder / "seen.dot") for word in question))
        expect_visible(answer)
        if answer.status not in ((0,) if question[0] in ("audit", "draw") else (0, 3, 4)):
            raise Wrong(f"{question} ends in {answer.status}: {answer.err[:200]}")
    for form in ("jsonl", "csv"):
        file = command.folder / f"all.{form}"
        command.ok("export", "--form", form, "-o", file)
        if form == "csv" and "\0" in file.read_text(encoding="utf-8"):
            continue  # a NUL in a remark: only JSON brings it back
        again = command("--json", "import", file)
        if again.status != 0 or again.json["recorded"]:
            raise Wrong(f"its {form} doesn't come back: {again.err[:300]}")
    before = leaves(command.db)
    command.ok("rebuild")
    if command("audit").status or leaves(command.db) != before:
        raise Wrong("rebuilt it isn't the same")


def one(good: World, kind: str, chance: random.Random) -> str:
    """Do one case: return what became of it, "refused" or "found". Wrong, or whatever it crashed with."""
    with TemporaryDirectory(prefix="cfgtrack-abuse-") as name, _inside(Path(name)), in_time(LONGEST):
        folder = Path(name)
        command = good.fresh(folder)
        before = leaves(command.db)
        answer = command(*good.cases[kind](folder, chance))
        expect_visible(answer)
        if answer.status == 1:
            raise Wrong(f"ends in 1: {answer.err[:200]}")
        if leaves(command.db) != before:
            if answer.status not in (0, 3):
                raise Wrong(f"writes and ends in {answer.status}")
            expect_agreement(command)
            return "found"
        if answer.status and not (answer.err.strip() or answer.out.strip()):
            raise Wrong(f"ends in {answer.status} and says nothing")
        return "refused" if answer.status else "found"


@contextmanager
def _inside(folder: Path) -> Iterator[None]:
    before = Path.cwd()
    os.chdir(folder)
    try:
        yield
    finally:
        os.chdir(before)


def run(seed: int, cases: int, *, only: str = "", first: int = 0) -> Report:
    """Do so many cases, from the `first` on, of every kind in turn; the same seed and number is the same case."""
    report = Report()
    with TemporaryDirectory(prefix="cfgtrack-abuse-") as name:
        good = World(Path(name))
        kinds = [kind for kind in good.cases if not only or kind == only]
        for number in range(first, first + cases):
            kind = kinds[number % len(kinds)]
            report.tried += 1
            try:
                became = one(good, kind, random.Random(f"{seed} {number} {kind}"))
            except Wrong as wrong:
                report.unnoticed += 1
                report.told.append(f"{number} {kind}: unnoticed: {wrong}")
            except BaseException as err:
                if isinstance(err, KeyboardInterrupt):
                    raise
                report.crashed += 1
                last = traceback.extract_tb(err.__traceback__)[-1]
                report.told.append(f"{number} {kind}: crashed: {err!r:.200} ({last.filename}:{last.lineno})")
            else:
                setattr(report, became, getattr(report, became) + 1)
    return report
