"""Hostile input for every kind of file and every command word, one case after the other, each on a journal of its own.

    python -m tests.campaign --only hostile --seed 1 --cases 500 --kind lines

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
import sqlite3
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from tests.campaign.damage import NASTY, damaged, damaged_bytes, damaged_rows, damaged_words
from tests.campaign.outcome import Outcome, Wrong, chance_of
from tests.cli import world
from tests.cli.conftest import Answer, Command
from tests.clocks import in_time

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
MORE_ROWS = """at,action,subject,subject2,outing,id,remark,values
2031-05-01T11:00:00Z,begin,,,W2,S1,,
11:05,cap,PUMP-2:F2,,W2,S2,"a, b",
11:10,shut,HALL:V1,,W2,S3,,
+00:12,measure,PUMP-1:F1,,W2,S4,,pressure="12 bar"
"""
GRAPH = """<?xml version="1.0"?>
<graphml xmlns="http://graphml.graphdrawing.org/xmlns"><key id="k" for="node" attr.name="kind" attr.type="string"/>
<graph edgedefault="directed"><node id="a"><data key="k">valve</data></node><node id="b"/>
<edge source="a" target="b"/></graph></graphml>
"""
WATER = """[TITLE]
two tanks
[JUNCTIONS]
 J1  10  5
 J2  12  0
[RESERVOIRS]
 R1  50
[TANKS]
 T1  40  5  0  10  20  0
[PIPES]
 P1  R1  J1  100  200  120  0  Open
 P2  J1  J2  50  150  120  0  CV
[PUMPS]
 U1  J2  T1  POWER 5
[VALVES]
 V1  J1  J2  100  PRV  30  0
[STATUS]
 P1  Closed
[OPTIONS]
 Units  LPS
[END]
"""
POWER = json.dumps(
    {
        "_module": "pandapower.auxiliary",
        "_class": "pandapowerNet",
        "_object": {
            name: {
                "_module": "pandas.core.frame",
                "_class": "DataFrame",
                "_object": {"columns": columns, "index": [*range(len(data))], "data": data},
            }
            for name, columns, data in (
                ("bus", ["name", "vn_kv", "in_service"], [["Bus 1", 20.0, True], ["Bus 2", 20.0, True]]),
                (
                    "line",
                    ["name", "from_bus", "to_bus", "length_km", "in_service"],
                    [["L 1", 0, 1, 1.0, True]],
                ),
                ("ext_grid", ["name", "bus", "in_service"], [[None, 0, True]]),
                ("load", ["name", "bus", "p_mw", "in_service"], [["town", 1, 0.1, True]]),
                ("switch", ["bus", "element", "et", "closed", "name"], [[0, 0, "l", False, "S"]]),
            )
        },
    },
    indent=1,
)
_VALVE = (
    '<PipingComponent ID="V1" ComponentClass="GateValve"><ConnectionPoints NumPoints="3"><Node ID="V1-0"/>'
    '<Node ID="V1-1" Type="process"/><Node ID="V1-2" Type="process"/></ConnectionPoints></PipingComponent>'
)
DRAWING = f"""<PlantModel>
<Equipment ID="E1" ComponentClass="PressureVessel"><Nozzle ID="N1"/></Equipment>
<Equipment ID="E2" ComponentClass="PressureVessel"><Nozzle ID="N2"/></Equipment>
<PipingNetworkSystem ID="P1"><GenericAttributes Number="1">
<GenericAttribute Name="LineNumberAssignmentClass" Value="47121"/></GenericAttributes>
<PipingNetworkSegment ID="S1"><CenterLine/>{_VALVE}<CenterLine/>
<Connection FromID="N1" ToID="N2"/></PipingNetworkSegment></PipingNetworkSystem>
</PlantModel>
"""
TWO_LISTS = (
    "name,kind,medium,title\nP-1,pump,fluid,Pump\nT-1,tank,fluid,Tank\nV-1,valve,fluid,\n",
    "a,b,kind,status\nP-1,V-1,pipe,\nV-1,T-1,valve,open\n",
)
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
    ("head", "forget", "--reason", "restored"),
    ("key", "new", "ANN"),
    ("key", "list"),
    ("explain", "GOOD", "--reason", "seen so"),
    ("load", "plant.toml", "--effective", AT, "--reason", "revision B"),
    ("rules", "load", "rules.toml", "--by", "lead"),
    ("rules", "list", "--known-at", AT),
    ("rules", "show", "rules.toml"),
    ("rules", "starter"),
    ("rules", "try", "rules.toml"),
    ("import", "rows.csv", "--form", "csv", "--rejects", "out.csv"),
    ("vet", "plant.toml", "--rules", "rules.toml"),
    ("new", "fresh", "--units", "units.csv", "--joints", "joints.csv"),
    ("convert", "net.graphml", "--to", "made", "--form", "graphml"),
    ("verify", "proof.json"),
    ("backup", "copy.db"),
    ("restore", "copy.db", "--db", "other.db"),
    ("rebuild",),
    ("migrate",),
    ("completion", "bash"),
    ("man",),
)


Made = tuple[str, ...]
Case = Callable[[Path, random.Random], Made]
Damage = Callable[[str, random.Random], bytes]


def _put(folder: Path, texts: dict[str, str | bytes]) -> None:
    for name, text in texts.items():
        (folder / name).write_bytes(text if isinstance(text, bytes) else text.encode())


def _said(folder: Path, words: Made) -> Made:
    """Return the words, with a file of the folder for each that begins with @."""
    return tuple(str(folder / word[1:]) if word.startswith("@") else word for word in words)


def _file(name: str, text: str, *lines: Made, damage: Damage = damaged, **whole: str) -> Case:
    """Make a case of one damaged file, beside others that are whole, and one of some command lines that read it."""

    def make(folder: Path, chance: random.Random) -> Made:
        _put(folder, {name: damage(text, chance), **{n.replace("_", "."): t for n, t in whole.items()}})
        return _said(folder, chance.choice(lines))

    return make


def _list(mapping: str, plant: str) -> Case:
    def make(folder: Path, chance: random.Random) -> Made:
        listed, map_too = UNITS.encode(), chance.random() < 0.3
        if not map_too:
            listed = damaged(UNITS, chance)
        mapped = damaged(mapping, chance) if map_too else mapping.encode()
        whole = plant.encode().replace(b"[initial]", mapped + b"\n[initial]")
        _put(folder, {"units.csv": listed, "plant.toml": whole})
        return _said(folder, ("load", "@plant.toml"))

    return make


def _workbook(plant: str) -> Case:
    def make(folder: Path, chance: random.Random) -> Made:
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
        mapping = MAPPED.replace("units.csv", "units.xlsx")
        torn = damaged_bytes(packed, chance) if chance.random() < 0.5 else packed
        _put(folder, {"units.xlsx": torn, "plant.toml": plant.replace("[initial]", f"{mapping}\n[initial]")})
        return _said(folder, ("load", "@plant.toml"))

    return make


def _lists(folder: Path, chance: random.Random) -> Made:
    hit = chance.randrange(2)
    units, joints = (damaged(one, chance) if n == hit else one.encode() for n, one in enumerate(TWO_LISTS))
    _put(folder, {"units.csv": units, "joints.csv": joints})
    return _said(folder, ("new", "@made", "--units", "@units.csv", "--joints", "@joints.csv"))


def _words(folder: Path, chance: random.Random) -> Made:
    words = damaged_words(chance.choice(WORDS), chance)
    _put(
        folder,
        {
            "plant.toml": world.PLANT,
            "rules.toml": world.RULES,
            "rows.csv": ROWS.replace(",R", ",S"),
            "units.csv": TWO_LISTS[0],
            "joints.csv": TWO_LISTS[1],
            "net.graphml": GRAPH,
        },
    )
    # No case leaves its folder, whatever becomes of where the output or the database is named.
    return tuple("x.dot" if word.startswith(("/", "..")) and "dev" not in word else word for word in words)


SIGNING = ("remark", "PUMP-1", "hums", "--at", AT, "--id", "S9", "--sign", "ANN")


class World:
    """Good journals to begin with, and what is made of them."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder / "good"
        self.folder.mkdir()
        good = self.good = Command(self.folder)
        key = good.json_of("key", "new", "ANN")["key"]
        # The one place that says whose key it is, for the plants of all cases.
        person = f'\n[[person]]\nid = "ANN"\nkey = "{key}"\n'
        plant = world.PLANT + person + '[[setting]]\nid = "unsigned-events"\nvalue = "allowed"\n'
        good.ok("load", good.file("plant.toml", plant), "--by", "survey")
        good.ok("rules", "load", good.file("rules.toml", world.RULES))
        good.ok("cap", "PUMP-2:F1", "--at", "2031-05-01T09:00:00Z", "--id", "GOOD")
        good.ok("import", good.file("rows.csv", ROWS))
        self.kept = good.ok("head").strip()
        good.ok("remark", "PUMP-1", "pin 3 is bent", "--at", AT, "--id", "R9")
        rows = good.ok("export", "--form", "jsonl")
        self.archive = good.ok("export", "--form", "archive")
        proofs = {"proof": good.ok("prove", "GOOD"), "growth": good.ok("prove", "--kept", self.kept)}
        self.head = good.ok("head").strip()
        self.verified = {
            n: good.ok("verify", good.file(f"{n}.json", text), "--kept", self.head)
            for n, text in proofs.items()
        }
        kept = [path for path in (good.state / "cfgtrack").iterdir() if path.suffix != ".lock"]
        self.memory = {path.name: path.read_text() for path in kept}
        with closing(sqlite3.connect(good.db)) as database:
            database.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        convert = ("convert", "@source", "--to", "@made", "--form")
        self.cases: dict[str, Case] = {
            "definition": _file("plant.toml", plant, ("load", "@plant.toml")),
            "revision": _file(
                "plant.toml", plant, ("load", "@plant.toml", "--effective", AT, "--reason", "revision B")
            ),
            "list": _list(LISTED, plant),
            "mapped": _list(MAPPED, plant),
            "workbook": _workbook(plant),
            "two lists": _lists,
            "rules": _file("rules.toml", world.RULES, ("rules", "load", "@rules.toml")),
            "sequence": _file("plan.toml", world.GOOD, ("check", "@plan.toml")),
            "rows": _file("rows.csv", MORE_ROWS, ("import", "@rows.csv")),
            "lines": _file("rows.jsonl", _renamed(rows), ("import", "@rows.jsonl"), damage=damaged_rows),
            "again": _file("rows.jsonl", rows, ("import", "@rows.jsonl"), damage=damaged_rows),
            "graph": _file("source", GRAPH, (*convert, "graphml")),
            "drawing": _file("source", DRAWING, (*convert, "dexpi")),
            "water": _file("source", WATER, (*convert, "epanet")),
            "power": _file("source", POWER, (*convert, "pandapower")),
            "archive": _file("a.jsonl", self.archive, RESTORING, damage=damaged_archive),
            "proof": _file("proof.json", proofs["proof"], ("verify", "@proof.json", "--kept", self.head)),
            "growth": _file("growth.json", proofs["growth"], ("verify", "@growth.json", "--kept", self.head)),
            "head": _file(
                "head.txt",
                self.head + "\n",
                ("audit", "--kept", "@head.txt"),
                ("verify", "@proof.json", "--kept", "@head.txt"),
                ("prove", "--kept", "@head.txt"),
                proof_json=proofs["proof"],
            ),
            "key": self._key,
            "memory": self._memory,
            "words": _words,
        }
        self.judges: dict[str, Callable[[Command, Answer], None]] = {
            "archive": self._judge_archive,
            "proof": lambda _, answer: self._judge_proof("proof", answer),
            "growth": lambda _, answer: self._judge_proof("growth", answer),
            "head": self._judge_head,
            "key": self._judge_key,
            "memory": self._judge_memory,
        }

    def fresh(self, folder: Path) -> Command:
        """Return the command on a copy of the good journal."""
        shutil.copyfile(self.good.db, folder / "plant.db")
        return Command(folder)

    # --- what isn't beside the journal --------------------------------------------------------------------------------

    def _key(self, folder: Path, chance: random.Random) -> Made:
        (kept,) = (self.good.config / "cfgtrack" / "keys").iterdir()
        keys = Command(folder).config / "cfgtrack" / "keys"
        keys.mkdir(mode=0o700, parents=True)
        (keys / kept.name).write_bytes(damaged(kept.read_text(), chance))
        (keys / kept.name).chmod(chance.choice((0o600, 0o600, 0o600, 0o644)))
        return SIGNING

    def _memory(self, folder: Path, chance: random.Random) -> Made:
        state = Command(folder).state / "cfgtrack"
        state.mkdir(mode=0o700, parents=True)
        hit = chance.choice(sorted(self.memory))
        for name, text in self.memory.items():
            there = text.replace(str(self.good.db), str(folder / "plant.db"))
            (state / name).write_bytes(damaged(there, chance) if name == hit else there.encode())
        return chance.choice((("state",), ("findings", "--json"), ("remark", "PUMP-1", "x", "--at", AT)))

    def _judge_archive(self, command: Command, answer: Answer) -> None:
        new = command.folder / "new.db"
        if answer.status:
            if new.exists() or list(command.folder.glob(".*.part")):
                raise Wrong("a refused restore left something")
            return
        kept = Command(command.folder / "kept")
        kept.folder.mkdir()
        if (
            leaves(new) != leaves(self.good.db)
            and kept("audit", "--db", new, "--kept", self.kept).status == 0
        ):
            raise Wrong("another journal came back under the head that was kept")
        command.db = new
        expect_agreement(command)

    def _judge_proof(self, which: str, answer: Answer) -> None:
        if not answer.status and answer.out != self.verified[which]:
            raise Wrong(f"a damaged proof is good and says {answer.out[:200]!r}")

    def _judge_head(self, command: Command, answer: Answer) -> None:
        if answer.status:
            return
        if answer.out.startswith("{") and command("verify", command.file("made.json", answer.out)).status:
            return  # a proof that is made for a head that never was, and fails
        size, root, *_ = (command.folder / "head.txt").read_text("utf-8-sig").split()
        if [int(size), root.lower()] != [int(self.head.split()[0]), self.head.split()[1]]:
            raise Wrong(f"another head is taken for this journal's: {size} {root[:80]}")

    def _judge_memory(self, command: Command, answer: Answer) -> None:
        del answer
        command.state = command.folder / "another console"

    def _judge_key(self, command: Command, answer: Answer) -> None:
        if not answer.status and command.json_of("history", "PUMP-1")["history"][-1]["signed"] is None:
            raise Wrong("it said nothing, and didn't sign")


RESTORING = ("restore", "@a.jsonl", "--db", "@new.db")


def damaged_archive(text: str, chance: random.Random) -> bytes:
    """Return an archive damaged as a text, or one in which rows say what they shouldn't, as JSON."""
    return damaged_rows(text, chance) if chance.random() < 0.4 else damaged(text, chance)


def _renamed(rows: str) -> str:
    """Return the rows of the journal as new ones: under other ids, and possible after those that are there."""
    new = []
    for line in rows.splitlines():
        row: dict[str, Any] = json.loads(line)
        row.pop("signed", None)  # what is signed keeps its id
        if row["action"] in ("remark", "measure", "begin"):
            new.append(json.dumps({**row, "id": f"new-{row['id']}"}))
    after = {"happened": 1_935_568_800_000_000, "by": "ina"}
    new.append(json.dumps({"id": "new-1", "action": "shut", "subjects": ["HALL:V1"], **after}))
    new.append(json.dumps({"id": "new-2", "action": "demate", "subjects": ["PUMP-1:J1", "HALL:J1"], **after}))
    new.append(
        json.dumps({"id": "new-3", "action": "place", "subjects": ["PUMP-2"], "place": "HALL", **after})
    )
    return "\n".join(new) + "\n"


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
    with TemporaryDirectory(prefix="cfgtrack-hostile-") as name, in_time(LONGEST):
        folder = Path(name) / "case"
        folder.mkdir()
        with _inside(folder):
            return _became(good, good.fresh(folder), kind, chance)


def _became(good: World, command: Command, kind: str, chance: random.Random) -> str:
    before = leaves(command.db)
    answer = command(*good.cases[kind](command.folder, chance))
    expect_visible(answer)
    if answer.status == 1:
        raise Wrong(f"ends in 1: {answer.err[:200]}")
    changed = leaves(command.db) != before
    if changed and answer.status not in (0, 3):
        raise Wrong(f"writes and ends in {answer.status}")
    if answer.status and not (answer.err.strip() or answer.out.strip()):
        raise Wrong(f"ends in {answer.status} and says nothing")
    if kind in good.judges:
        good.judges[kind](command, answer)
    if changed:
        expect_agreement(command)
    return "refused" if answer.status and not changed else "found"


@contextmanager
def _inside(folder: Path) -> Iterator[None]:
    before = Path.cwd()
    os.chdir(folder)
    try:
        yield
    finally:
        os.chdir(before)


def run(seed: int, cases: int, *, kind: str = "", first: int = 0) -> Outcome:
    """Do so many cases, from the `first` on, of every kind in turn; the same seed and number is the same case."""
    report = Outcome("hostile input")
    taken: Counter[str] = Counter()
    with TemporaryDirectory(prefix="cfgtrack-hostile-") as name:
        good = World(Path(name))
        kinds = [one for one in good.cases if not kind or one == kind]
        for number in range(first, first + cases):
            of = kinds[number % len(kinds)]
            with report.case(f"case {number}, {of}"):
                became = one(good, of, chance_of(seed, number, of))
                report.became(became)
                taken[of] += became == "found"
    report.notes.append("taken, by kind: " + ", ".join(f"{of} {taken[of]}" for of in kinds))
    return report
