"""Deliberate tampering, kind by kind: what somebody who may write the database can do to it, and what notices.

    python -m tests.bench.tampering [--database sqlite|postgresql] [--seed N] [--flips N]

Each kind is tried on a copy of one journal in which every table has rows, and is held against two looks: an audit alone,
and an audit against a head that was kept before. What needs the second (`Kind.needs`) is an attacker's who has the whole
database and computes all of it anew, or puts an older one back: nothing in the database itself can tell.
"""

# ruff: noqa: E501 - a statement is more easily read in one line
import argparse
import json
import random
import shutil
import sqlite3
import tempfile
from collections.abc import Callable, Iterator
from contextlib import closing
from dataclasses import asdict, dataclass, field
from pathlib import Path

from sqlalchemy import make_url

from cfgtrack.answers.asking import Asking
from cfgtrack.answers.encode import json_of
from cfgtrack.answers.review import findings, review
from cfgtrack.answers.trust import audit, head
from cfgtrack.answers.upkeep import rebuild, restore
from cfgtrack.model.trouble import NoAnswer
from cfgtrack.store.canonical import canonical_json
from cfgtrack.store.merkle import Frontier, leaf_hash
from cfgtrack.store.rows import leaf_record
from tests.cli import world
from tests.cli.conftest import Command
from tests.store.conftest import Server

MIDDLE = "C20"
"""An event in the middle of the journal."""
TARGET = f"id = '{MIDDLE}'"
EVENT_OF = f"(SELECT number FROM event WHERE {TARGET})"
LAST = "(SELECT max(number) FROM event)"
REFUSES = "BEGIN SELECT RAISE(ABORT, 'the journal is append-only'); END"
PAGE = 4096

Change = Callable[[sqlite3.Connection], None]


@dataclass(frozen=True)
class Kind:
    """One kind of tampering. `needs` is "kept" where only an earlier head can show it."""

    name: str
    what: tuple[str, ...] | Change
    triggers_off: bool = True
    needs: str = ""


def _sql(name: str, *statements: str) -> Kind:
    return Kind(name, statements)


def _guard(name: str, *statements: str) -> Kind:
    return Kind(name, statements, triggers_off=False)


# --- computed anew ------------------------------------------------------------------------------------------------


def _leaves_anew(connection: sqlite3.Connection) -> None:
    rows = connection.execute("SELECT number, known, body FROM event ORDER BY number").fetchall()
    for number, known, body in rows:
        leaf = leaf_hash(leaf_record(body.encode(), number, known))
        connection.execute("UPDATE event SET leaf = ? WHERE number = ?", (leaf, number))


def _heads_anew(connection: sqlite3.Connection) -> None:
    tree = Frontier()
    heads = {number for (number,) in connection.execute("SELECT number FROM tree_head")}
    for number, leaf in connection.execute("SELECT number, leaf FROM event ORDER BY number").fetchall():
        tree.append(leaf)
        if number in heads:
            row = (tree.root(), tree.to_bytes(), number)
            connection.execute("UPDATE tree_head SET root = ?, frontier = ? WHERE number = ?", row)


def _reworded(connection: sqlite3.Connection) -> None:
    connection.execute(f"UPDATE event SET body = replace(body, 'ina', 'eve') WHERE {TARGET}")


def _reworded_with_leaf(connection: sqlite3.Connection) -> None:
    _reworded(connection)
    _leaves_anew(connection)


def _forged_throughout(connection: sqlite3.Connection) -> None:
    _reworded_with_leaf(connection)
    _heads_anew(connection)


def _tail_cut(connection: sqlite3.Connection) -> None:
    """Take the last event away, with everything that came of it."""
    (last,) = connection.execute(f"SELECT {LAST}").fetchone()
    for table in ("tree_head", "touch", "change", "event"):
        connection.execute(f"DELETE FROM {table} WHERE number = ?", (last,))
    connection.execute("DELETE FROM checkpoint")
    connection.execute("DELETE FROM settled")


def _swapped(connection: sqlite3.Connection) -> None:
    (one,) = connection.execute("SELECT body FROM event WHERE id = 'C10'").fetchone()
    (other,) = connection.execute("SELECT body FROM event WHERE id = 'C12'").fetchone()
    connection.execute("UPDATE event SET body = ? WHERE id = 'C10'", (other,))
    connection.execute("UPDATE event SET body = ? WHERE id = 'C12'", (one,))


def _spelled_otherwise(connection: sqlite3.Connection) -> None:
    (body,) = connection.execute("SELECT body FROM item WHERE sort = 'place' AND id = 'STORE'").fetchone()
    row = (json.dumps(json.loads(body), indent=1), body)
    assert connection.execute("UPDATE item SET body = ? WHERE body = ? AND id = 'STORE'", row).rowcount == 1


def _forged_event(connection: sqlite3.Connection) -> None:
    sql = "SELECT number, known, body FROM event ORDER BY number DESC"
    number, known, body = connection.execute(sql).fetchone()
    event = {**json.loads(body), "id": "FORGED"}
    text = canonical_json(event)
    row = (
        number + 1, "FORGED", event["happened"], known + 1, number + 1, event["action"], None, text.decode(),
        leaf_hash(leaf_record(text, number + 1, known + 1)),
    )  # fmt: skip
    connection.execute("INSERT INTO event VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)", row)


def _loose_table(connection: sqlite3.Connection) -> None:
    """Make the table of events anew, as one that takes an id twice."""
    (sql,) = connection.execute("SELECT sql FROM sqlite_master WHERE name = 'event'").fetchone()
    loose = sql.replace("UNIQUE (id), ", "")
    assert loose != sql
    connection.execute("PRAGMA legacy_alter_table = ON")
    connection.execute("ALTER TABLE event RENAME TO old")
    connection.execute("DROP INDEX event_in_order")
    connection.execute("DROP INDEX event_of_action")
    connection.execute(loose)
    connection.execute("INSERT INTO event SELECT * FROM old")
    connection.execute("DROP TABLE old")
    connection.execute("CREATE INDEX event_in_order ON event (happened, turn, number)")
    connection.execute("CREATE INDEX event_of_action ON event (action, happened)")


def _redeclared(connection: sqlite3.Connection, column: str, more: str) -> None:
    """Put something more into the text of the table of events."""
    connection.execute("PRAGMA writable_schema = ON")
    sql = "UPDATE sqlite_master SET sql = replace(sql, ?, ?) WHERE name = 'event'"
    row = (f"{column} VARCHAR NOT NULL", f"{column} VARCHAR NOT NULL {more}")
    assert connection.execute(sql, row).rowcount == 1
    connection.execute("PRAGMA writable_schema = RESET")


def _conditioned(connection: sqlite3.Connection) -> None:
    _redeclared(connection, "body", "CHECK (number < 9999)")


def _collated(connection: sqlite3.Connection) -> None:
    _redeclared(connection, "action", "COLLATE NOCASE")


_TRIGGERS = (
    "event_no_update", "event_no_delete", "item_no_update", "item_no_delete", "tree_head_no_update",
    "tree_head_no_delete", "item_comes_new", "tree_head_comes_last",
)  # fmt: skip

SQLITE = (
    Kind("an event reworded", _reworded),
    _sql("an event known later", f"UPDATE event SET known = known + 1 WHERE number = {LAST}"),
    _sql("an event that happened later", f"UPDATE event SET happened = happened + 1 WHERE {TARGET}"),
    _sql("an event of another action", f"UPDATE event SET action = 'remark' WHERE {TARGET}"),
    _sql("an event of another id", f"UPDATE event SET id = 'X' WHERE {TARGET}"),
    _sql("an event at another turn", f"UPDATE event SET turn = turn - 1 WHERE {TARGET}"),
    _sql("a correction that corrects nothing", "UPDATE event SET corrects = NULL WHERE corrects IS NOT NULL"),
    _sql("a correction of another event", f"UPDATE event SET corrects = {EVENT_OF} WHERE corrects IS NOT NULL"),
    _sql("a correction that was none", f"UPDATE event SET corrects = 3 WHERE {TARGET}"),
    _sql("another leaf", f"UPDATE event SET leaf = zeroblob(32) WHERE {TARGET}"),
    _sql("a short leaf", f"UPDATE event SET leaf = x'00' WHERE {TARGET}"),
    _sql("an event deleted", f"DELETE FROM event WHERE {TARGET}"),
    _sql("the last event deleted", f"DELETE FROM event WHERE number = {LAST}"),
    _sql("all events deleted", "DELETE FROM event"),
    Kind("two events swapped", _swapped),
    Kind("an event added", _forged_event),
    Kind("an event reworded, its leaf computed anew", _reworded_with_leaf),
    Kind("an event reworded, all computed anew", _forged_throughout, needs="kept"),
    Kind("the last event cut off with all that came of it", _tail_cut, needs="kept"),
    _sql("content that is no JSON", f"UPDATE event SET body = '{{' WHERE {TARGET}"),
    _sql("content with a blank more", f"UPDATE event SET body = body || ' ' WHERE {TARGET}"),
    _sql("content that is no text", f"UPDATE event SET body = CAST(CAST(body AS BLOB) || x'ff' AS TEXT) WHERE {TARGET}"),
    _sql("content as bytes", f"UPDATE event SET body = CAST(body AS BLOB) WHERE {TARGET}"),
    _sql("a time that is a text", f"UPDATE event SET happened = 'noon' WHERE {TARGET}"),
    _sql("an item reworded", "UPDATE item SET body = replace(body, 'Pump', 'Tank') WHERE id = 'pump'"),
    Kind("an item spelled otherwise", _spelled_otherwise),
    _sql("an item removed", "DELETE FROM item WHERE id = 'STORE'"),
    _sql("an item emptied", "UPDATE item SET body = NULL WHERE id = 'STORE'"),
    _sql("an item added to a load", "INSERT INTO item SELECT sort, 'NEW', load, body FROM item WHERE id = 'STORE'"),
    _sql("an item that no load brought", f"INSERT INTO item SELECT sort, 'NEW', {EVENT_OF}, body FROM item WHERE id = 'STORE'"),
    _sql("rules reworded", "UPDATE item SET body = replace(body, 'severity = 1', 'severity = 4') WHERE sort = 'rules'"),
    _sql("another tree head", f"UPDATE tree_head SET root = zeroblob(32) WHERE number = {LAST}"),
    _sql("another frontier", f"UPDATE tree_head SET frontier = zeroblob(40) WHERE number = {LAST}"),
    _sql("a tree head known later", f"UPDATE tree_head SET known = known + 1 WHERE number = {LAST}"),
    _sql("the last tree head deleted", f"DELETE FROM tree_head WHERE number = {LAST}"),
    _sql("a tree head of no event", f"INSERT INTO tree_head SELECT number + 1000, known, root, frontier FROM tree_head WHERE number = {LAST}"),
    _sql("another state", f"UPDATE change SET value = 'mated' WHERE number = {EVENT_OF}"),
    _sql("a state that ended", f"UPDATE change SET until = known + 1 WHERE number = {EVENT_OF}"),
    _sql("a state deleted", f"DELETE FROM change WHERE number = {EVENT_OF}"),
    _sql("a state added", f"INSERT INTO change SELECT 'PUMP-2:F1', aspect, happened, turn, number, known, until, value, other, cycle FROM change WHERE number = {EVENT_OF}"),
    _sql("a history without an event", f"DELETE FROM touch WHERE number = {EVENT_OF}"),
    _sql("a history with an event more", f"INSERT INTO touch VALUES ('PUMP-2', 0, {EVENT_OF})"),
    _sql("another memory of the rules", "UPDATE checkpoint SET memory = x'00' WHERE at = (SELECT max(at) FROM checkpoint)"),
    _sql("a memory of other events", "UPDATE checkpoint SET events = events + 1"),
    _sql("what had been settled deleted", "DELETE FROM settled"),
    _sql("what had been settled reworded", "UPDATE settled SET body = replace(body, 'expansion', 'Expansion')"),
    _sql("an older schema's number", "UPDATE alembic_version SET version_num = '0001'"),
    _sql("a newer schema's number", "UPDATE alembic_version SET version_num = '9999'"),
    _sql("no schema's number", "DELETE FROM alembic_version"),
    _guard("a table dropped", "DROP TABLE touch"),
    _guard("the table of what had been settled dropped", "DROP TABLE settled"),
    *(_guard(f"the trigger {name} dropped", f"DROP TRIGGER {name}") for name in _TRIGGERS),
    _guard("a trigger that never fires", "DROP TRIGGER event_no_update",
           f"CREATE TRIGGER event_no_update BEFORE UPDATE ON event WHEN 0 {REFUSES}"),
    _guard("a trigger of one column", "DROP TRIGGER event_no_update",
           f"CREATE TRIGGER event_no_update BEFORE UPDATE OF number ON event {REFUSES}"),
    _guard("a trigger that ignores", "DROP TRIGGER event_no_update",
           "CREATE TRIGGER event_no_update BEFORE UPDATE ON event BEGIN SELECT RAISE(IGNORE); END"),
    _guard("a trigger that does nothing", "DROP TRIGGER item_no_delete",
           "CREATE TRIGGER item_no_delete BEFORE DELETE ON item BEGIN SELECT 'RAISE(ABORT, x)'; END"),
    _guard("a trigger on another table", "DROP TRIGGER event_no_update",
           f"CREATE TRIGGER event_no_update BEFORE UPDATE ON touch {REFUSES}"),
    _guard("a trigger that is one in a comment", "DROP TRIGGER event_no_update",
           "CREATE TRIGGER event_no_update BEFORE UPDATE ON event BEGIN SELECT 1; /* RAISE(ABORT */ END"),
    _guard("a trigger more, that refuses", f"CREATE TRIGGER mine BEFORE INSERT ON event WHEN NEW.action = 'cap' {REFUSES}"),
    _guard("a trigger more, that rewrites states", "CREATE TRIGGER mine AFTER INSERT ON change BEGIN UPDATE change SET value = 'open' WHERE number = NEW.number; END"),
    Kind("events that may be doubled", _loose_table),
    Kind("a condition more", _conditioned, triggers_off=False),
    Kind("words compared otherwise", _collated, triggers_off=False),
    _guard("a column more", "ALTER TABLE event ADD COLUMN note VARCHAR DEFAULT 'x'"),
    _guard("an index dropped", "DROP INDEX event_in_order"),
    _guard("an index that refuses", "CREATE UNIQUE INDEX mine ON event (happened, known)"),
    _guard("an index of other columns", "DROP INDEX event_in_order", "CREATE INDEX event_in_order ON event (turn)"),
)  # fmt: skip
"""What is done to rows, to guards and to tables."""

BYTES = "convert_to('x', 'UTF8')"
EMPTY = "RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN RETURN NULL; END $$"

POSTGRESQL = (
    _sql("an event reworded", f"UPDATE event SET body = replace(body, 'ina', 'eve') WHERE {TARGET}"),
    _sql("an event of another action", f"UPDATE event SET action = 'remark' WHERE {TARGET}"),
    _sql("another leaf", f"UPDATE event SET leaf = {BYTES} WHERE {TARGET}"),
    _sql("an item reworded", "UPDATE item SET body = replace(body, 'Pump', 'Tank') WHERE id = 'pump'"),
    _sql("another tree head", f"UPDATE tree_head SET root = {BYTES} WHERE number = {LAST}"),
    _sql("another state", f"UPDATE change SET value = 'mated' WHERE number = {EVENT_OF}"),
    _sql("a history without an event", f"DELETE FROM touch WHERE number = {EVENT_OF}"),
    _sql("a memory of other events", "UPDATE checkpoint SET events = events + 1"),
    _sql("what had been settled deleted", "DELETE FROM settled"),
    _guard("a trigger dropped", "DROP TRIGGER event_append_only ON event"),
    _guard("a trigger disabled", "ALTER TABLE item DISABLE TRIGGER item_append_only"),
    _guard("a trigger for replicas alone", "ALTER TABLE event ENABLE REPLICA TRIGGER event_append_only"),
    _guard("all triggers disabled", "ALTER TABLE tree_head DISABLE TRIGGER ALL"),
    _guard("a trigger that never fires", "DROP TRIGGER event_append_only ON event",
           "CREATE TRIGGER event_append_only BEFORE UPDATE ON event FOR EACH ROW WHEN (false)"
           " EXECUTE FUNCTION append_only()"),
    _guard("a trigger of one column", "DROP TRIGGER event_append_only ON event",
           "CREATE TRIGGER event_append_only BEFORE UPDATE OF number ON event EXECUTE FUNCTION append_only()"),
    _guard("a trigger of another function", "DROP TRIGGER event_append_only ON event",
           f"CREATE FUNCTION lets() {EMPTY}",
           "CREATE TRIGGER event_append_only BEFORE DELETE OR UPDATE OR TRUNCATE ON event"
           " EXECUTE FUNCTION lets()"),
    _guard("a function emptied", f"CREATE OR REPLACE FUNCTION append_only() {EMPTY}"),
    _guard("a function that lets one through",
           "CREATE OR REPLACE FUNCTION append_only() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN IF current_user ="
           " 'postgres' THEN RETURN NULL; END IF; RAISE EXCEPTION 'the journal is append-only'; END $$"),
    _guard("a function with a setting of its own", "ALTER FUNCTION append_only() SET search_path = 'pg_catalog'"),
    _guard("a function of the same name elsewhere", "CREATE SCHEMA elsewhere",
           f"CREATE FUNCTION elsewhere.append_only() {EMPTY}", "DROP TRIGGER event_append_only ON event",
           "CREATE TRIGGER event_append_only BEFORE DELETE OR UPDATE OR TRUNCATE ON event"
           " EXECUTE FUNCTION elsewhere.append_only()"),
    _guard("a trigger more, that swallows", f"CREATE FUNCTION gone() {EMPTY}",
           "CREATE TRIGGER mine BEFORE INSERT ON event FOR EACH ROW EXECUTE FUNCTION gone()"),
    _guard("a rule that swallows", "CREATE RULE mine AS ON INSERT TO touch DO INSTEAD NOTHING"),
    _guard("a rule that keeps a trigger from firing", "CREATE RULE mine AS ON UPDATE TO event DO INSTEAD NOTHING"),
    _guard("a policy", "CREATE POLICY mine ON event USING (action <> 'cap')"),
    _guard("rows hidden from others", "ALTER TABLE event ENABLE ROW LEVEL SECURITY"),
    _guard("rows of another table", "CREATE TABLE more () INHERITS (item)"),
    _guard("a setting that keeps triggers from firing",
           "DO $$ BEGIN EXECUTE format('ALTER DATABASE %I SET session_replication_role = replica',"
           " current_database()); END $$"),
    _guard("events that may be doubled", "ALTER TABLE event DROP CONSTRAINT event_id_key"),
    _guard("a condition more", "ALTER TABLE event ADD CHECK (number < 9999)"),
    _guard("a value of its own", "ALTER TABLE event ALTER body SET DEFAULT 'x'"),
    _guard("a column that may be empty", "ALTER TABLE event ALTER leaf DROP NOT NULL"),
    _guard("a column more", "ALTER TABLE event ADD note text"),
    _guard("an index dropped", "DROP INDEX event_in_order"),
    _guard("an index that refuses", "CREATE UNIQUE INDEX mine ON event (happened, known)"),
    _guard("a table dropped", "DROP TABLE touch"),
    _guard("no schema's number", "DELETE FROM alembic_version"),
)  # fmt: skip
"""The same, and what only a server can do."""


# --- who notices --------------------------------------------------------------------------------------------------


@dataclass
class Tampering:
    """What a campaign found. `unnoticed` and `crashed` have to be empty; `by_kept_head_alone` is among the found.

    `harmless` are flipped bits that changed nothing that anybody can ask for.
    """

    tried: int = 0
    found: int = 0
    harmless: int = 0
    by_kept_head_alone: list[str] = field(default_factory=list)
    unnoticed: list[str] = field(default_factory=list)
    crashed: list[str] = field(default_factory=list)

    @property
    def is_clean(self) -> bool:
        """Return whether all that was tried was noticed, or changed nothing."""
        return self.tried > 0 and not self.unnoticed and not self.crashed

    def look(self, kind: str, url: str, kept: str, needs: str = "") -> None:
        """Audit what somebody has changed, and note who notices."""
        self.tried += 1
        try:
            if not _is_sound(url):
                self.found += 1
            elif not _is_sound(url, kept):
                self.found += 1
                self.by_kept_head_alone.append(kind)
                if not needs:
                    self.unnoticed.append(f"{kind} (without a kept head)")
            else:
                self.unnoticed.append(kind)
        except Exception as err:  # noqa: BLE001 - whatever it is, it is told
            self.crashed.append(f"{kind}: {err!r}")


def _is_sound(url: str, kept: str | None = None) -> bool:
    try:
        found = audit(Asking(url), kept=kept)
    except NoAnswer:
        return False  # nobody takes that for a journal
    assert found.sound is (found.head is not None), "a head to keep is of a sound journal"
    assert all(fault.next for fault in found.faults)
    return found.sound


def made(folder: Path) -> tuple[Path, str]:
    """Return a journal in which every table has rows, closed, in one file; and its head."""
    command = Command(folder)
    command.ok("load", command.file("plant.toml", world.PLANT), "--by", "survey")
    command.ok("rules", "load", command.file("rules.toml", world.RULES))
    acts = [("shut", "HALL:V1"), ("open", "HALL:V1"), ("de-energise", "HALL:K1"), ("energise", "HALL:K1")]
    rows = ["id,action,subject,at,by"]
    for n in range(296):
        action, on = acts[n % 4]
        rows.append(f"C{n},{action},{on},2031-05-01T{9 + n // 60:02}:{n % 60:02}:00Z,ina")
    command.ok("import", command.file("rows.csv", "\n".join(rows) + "\n"))
    at = ("--at", "2031-05-01T20:00:00Z")
    command(
        "correct", "C3", "energise", "HALL:K1", "--at", "2031-05-01T09:03:00Z", "--reason", "bo", "--by", "bo"
    )
    command("remark", "PUMP-1", "--remark", "runs well", *at, "--id", "LAST")
    with closing(sqlite3.connect(command.db)) as connection:
        connection.execute("PRAGMA journal_mode = DELETE")
        for table in ("event", "item", "tree_head", "touch", "change", "checkpoint", "settled"):
            assert connection.execute(f"SELECT 1 FROM {table}").fetchone(), table
    assert _is_sound(str(command.db))
    return command.db, head(Asking(str(command.db))).head.text


# --- a file -------------------------------------------------------------------------------------------------------


def sqlite_campaign(folder: Path, *, flips: int = 0, seed: int = 1) -> Tampering:
    """Try every kind on a file; other files in its place; and so many random flipped bits."""
    path, kept = made(folder)
    result = Tampering()
    copy = folder / "tampered.db"
    for kind in SQLITE:
        shutil.copy(path, copy)
        _tamper(kind, copy)
        result.look(kind.name, str(copy), kept, kind.needs)
        _clear(copy)
    for name, needs in _whole_files(path, copy, folder):
        result.look(name, str(copy), kept, needs)
        _clear(copy)
    _flip(path, copy, kept, result, flips=flips, seed=seed)
    return result


def _clear(copy: Path) -> None:
    for suffix in ("", "-wal", "-shm"):
        copy.with_name(copy.name + suffix).unlink(missing_ok=True)


def _tamper(kind: Kind, path: Path) -> None:
    """Change a file as somebody would who knows SQLite: where it helps, with the triggers off, then on again."""
    with closing(sqlite3.connect(path)) as connection:
        connection.execute("PRAGMA foreign_keys = OFF")
        sql = "SELECT name, sql FROM sqlite_master WHERE type = 'trigger'"
        triggers = connection.execute(sql).fetchall() if kind.triggers_off else []
        for name, _ in triggers:
            connection.execute(f"DROP TRIGGER {name}")
        if callable(kind.what):
            kind.what(connection)
        else:
            for statement in kind.what:
                assert connection.execute(statement).rowcount, f"{kind.name}: nothing was changed"
        for _, text in triggers:
            connection.execute(text)
        connection.commit()


def _whole_files(path: Path, copy: Path, folder: Path) -> Iterator[tuple[str, str]]:
    """Put other files in the place of the journal's, and yield what that is and what it needs to be noticed."""
    whole = path.read_bytes()
    copy.write_bytes(whole[: len(whole) // 2 // PAGE * PAGE])
    yield "half of the file", ""
    copy.write_bytes(b"")
    yield "an empty file", ""
    copy.write_bytes(whole[: PAGE * 5] + random.Random(3).randbytes(PAGE) + whole[PAGE * 6 :])
    yield "a page of noise", ""
    command = Command(folder)
    command.db = copy
    command.ok("load", folder / "plant.toml", "--by", "survey")
    yield "another journal in its place", "kept"
    # The last event was in the log beside the file alone, and the file was copied without it.
    shutil.copy(path, command.db)
    with closing(sqlite3.connect(copy)) as writing:
        writing.execute("PRAGMA journal_mode = WAL")
        writing.execute("PRAGMA wal_autocheckpoint = 0")
        without = copy.read_bytes()
        command.ok("remark", "PUMP-1", "--remark", "lost", "--at", "2031-05-01T21:00:00Z")
        newer = head(Asking(str(copy))).head.text
    _clear(copy)
    copy.write_bytes(without)
    assert not _is_sound(str(copy), newer), "a lost log is found by the head of what was in it"
    _clear(copy)
    _older(path, copy)
    yield "an older state of the file put back", "kept"


def _older(path: Path, copy: Path) -> None:
    shutil.copy(path, copy)
    _tamper(Kind("", _tail_cut), copy)


def _flip(path: Path, copy: Path, kept: str, result: Tampering, *, flips: int, seed: int) -> None:
    """Flip single bits anywhere in the file. What no audit notices has to have changed nothing that anybody asks."""
    chosen = random.Random(seed)
    whole = path.read_bytes()
    before = _asked(path)
    for _ in range(flips):
        changed = bytearray(whole)
        at = chosen.randrange(len(whole))
        changed[at] ^= 1 << chosen.randrange(8)
        copy.write_bytes(changed)
        result.tried += 1
        try:
            if not _is_sound(str(copy), kept):
                result.found += 1
            elif _asked(copy) == before:
                result.harmless += 1
            else:
                result.unnoticed.append(f"byte {at} of the file")
        except Exception as err:  # noqa: BLE001 - whatever it is, it is told
            result.crashed.append(f"byte {at} of the file: {err!r}")
        _clear(copy)


def _asked(path: Path) -> tuple[object, ...]:
    """Return all that is recorded and derived, and what judging the past gives, from what is remembered of it."""
    with closing(sqlite3.connect(f"file:{path}?mode=ro", uri=True)) as connection:
        tables = ("event", "item", "tree_head", "touch", "change")
        rows = [sorted(connection.execute(f"SELECT * FROM {table}"), key=repr) for table in tables]
    judged = json_of(findings(Asking(str(path), at="2031-05-02T00:00:00Z")))
    return rows, judged, json_of(review(Asking(str(path), at="2031-05-02T00:00:00Z")))


# --- a server -----------------------------------------------------------------------------------------------------


def postgresql_campaign(server: Server, folder: Path) -> Tampering:
    """Try every kind on a database of a server."""
    import psycopg

    path, kept = made(folder)
    base = server.empty()
    restore(Asking(base), path)
    rebuild(Asking(base))
    assert _is_sound(base, kept)
    result = Tampering()
    of = make_url(base).database
    for n, kind in enumerate(POSTGRESQL):
        name = f"t{n}_{of}"
        server.admin.execute(f"CREATE DATABASE {name} TEMPLATE {of}")
        url = str(server.server.get_uri(database=name))
        with psycopg.connect(url, autocommit=True) as connection:
            if kind.triggers_off:
                connection.execute("SET session_replication_role = replica")
            assert not callable(kind.what)
            for statement in kind.what:
                assert connection.execute(statement.encode()).rowcount, f"{kind.name}: nothing was changed"
        result.look(kind.name, url, kept, kind.needs)
        server.admin.execute(f"DROP DATABASE {name} WITH (FORCE)")
    return result


def main() -> None:
    """Read the arguments, run, and say what was found."""
    parser = argparse.ArgumentParser(description="Deliberate tampering.")
    parser.add_argument("--database", choices=["sqlite", "postgresql"], default="sqlite")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--flips", type=int, default=800)
    chosen = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        if chosen.database == "sqlite":
            result = sqlite_campaign(Path(folder), flips=chosen.flips, seed=chosen.seed)
        else:
            server = Server()
            try:
                result = postgresql_campaign(server, Path(folder))
            finally:
                server.close()
    print(chosen.database, json.dumps(asdict(result), indent=1), "clean" if result.is_clean else "NOT CLEAN")


if __name__ == "__main__":
    main()
