"""Deliberate tampering, kind by kind: what somebody who may write the database can do to it, and what notices.

    python -m tests.campaign --only tampering --seed 1

Each kind is tried on a copy of one journal in which every table has rows, and is held against three looks: an audit
alone, an audit against a head that was kept before, and the next question of a console that had seen the journal. What
the first can't tell (`Kind.needs`) is an attacker's who has the whole database and computes all of it anew, or puts an
older one back: the two others have to. What none of them can tell is listed apart (`BEYOND`), with the reason, and has
to stay so: a list of what can't be noticed is only true as long as it isn't.
"""

# ruff: noqa: E501 - a statement is more easily read in one line
import json
import random
import shutil
import sqlite3
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from contextlib import closing
from dataclasses import dataclass, field
from pathlib import Path

from sqlalchemy import make_url

from cfgtrack.answers.asking import Asking
from cfgtrack.answers.trust import audit
from cfgtrack.answers.upkeep import rebuild, restore
from cfgtrack.model.trouble import NoAnswer
from cfgtrack.store.canonical import canonical_json
from cfgtrack.store.merkle import Frontier, leaf_hash
from cfgtrack.store.rows import leaf_record
from tests.campaign.outcome import Outcome
from tests.cli import world
from tests.cli.conftest import Command
from tests.store.conftest import Server
from tests.store.forging import heads_anew, leaves_anew
from tests.store.signers import signer

MIDDLE = "C20"
"""An event in the middle of the journal."""
TARGET = f"id = '{MIDDLE}'"
EVENT_OF = f"(SELECT number FROM event WHERE {TARGET})"
LAST = "(SELECT max(number) FROM event)"
REFUSES = "BEGIN SELECT RAISE(ABORT, 'the journal is append-only'); END"
PAGE = 4096

Change = Callable[[sqlite3.Connection], None]
Words = tuple[str, ...]


@dataclass(frozen=True)
class Kind:
    """One kind of tampering. `needs` is "kept" where only an earlier head can show it: kept, or seen by a console.

    `why`: of what nothing can show, the reason.
    """

    name: str
    what: tuple[str, ...] | Change
    triggers_off: bool = True
    needs: str = ""
    why: str = ""


def _sql(name: str, *statements: str) -> Kind:
    return Kind(name, statements)


def _guard(name: str, *statements: str) -> Kind:
    return Kind(name, statements, triggers_off=False)


# --- computed anew ------------------------------------------------------------------------------------------------


def _reworded(connection: sqlite3.Connection) -> None:
    connection.execute(f"UPDATE event SET body = replace(body, 'ina', 'eve') WHERE {TARGET}")


def _reworded_with_leaf(connection: sqlite3.Connection) -> None:
    _reworded(connection)
    leaves_anew(connection)


def _forged_throughout(connection: sqlite3.Connection) -> None:
    _reworded_with_leaf(connection)
    heads_anew(connection)


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


def _anew(*statements: str) -> Change:
    """Return a change by some statements, with leaves and heads computed anew after it."""

    def change(connection: sqlite3.Connection) -> None:
        for statement in statements:
            assert connection.execute(statement).rowcount, f"{statement}: nothing was changed"
        leaves_anew(connection)
        heads_anew(connection)

    return change


def _appended(connection: sqlite3.Connection, **said: object) -> None:
    """Append an event as the tool would: with leaf, frontier, head and states; `said` is what it says."""
    row = connection.execute("SELECT number, known, body FROM event ORDER BY number DESC").fetchone()
    number, known = row[0] + 1, row[1] + 1
    event = {**json.loads(row[2]), "id": "FORGED", **said}
    text = canonical_json({name: value for name, value in event.items() if value is not None})
    leaf = leaf_hash(leaf_record(text, number, known))
    connection.execute(
        "INSERT INTO event (number, id, happened, known, turn, action, body, leaf) VALUES (?, ?, ?, ?, ?, ?, ?, ?)",
        (number, "FORGED", event["happened"], known, number, event["action"], text.decode(), leaf),
    )
    tree = Frontier()
    for (one,) in connection.execute("SELECT leaf FROM event ORDER BY number").fetchall():
        tree.append(one)
    connection.execute(
        "INSERT INTO tree_head VALUES (?, ?, ?, ?)", (number, known, tree.root(), tree.to_bytes())
    )
    for owner in {str(subject).partition(":")[0] for subject in event["subjects"]}:
        connection.execute("INSERT INTO touch VALUES (?, ?, ?)", (owner, event["happened"], number))
    connection.execute("DELETE FROM checkpoint")
    connection.execute("DELETE FROM settled")


def _forged_event(connection: sqlite3.Connection) -> None:
    """Add an event, and nothing that comes of one."""
    _appended(connection)
    for table in ("tree_head", "touch"):
        connection.execute(f"DELETE FROM {table} WHERE number = {LAST}")


BACK_DATED: dict[str, object] = {
    "action": "approve", "subjects": [], "by": "lead", "reason": "it was agreed", "remark": None, "outing": None,
    "happened": 1_935_388_800_000_000, "body": {"fingerprints": ["0123456789ab"]},
}  # fmt: skip


def _approved(connection: sqlite3.Connection) -> None:
    """Append an approval that says it was given before all else."""
    _appended(connection, **BACK_DATED)


def _rekeyed(connection: sqlite3.Connection) -> None:
    """Put another key, and its own good signature, in the place of one: its leaf and all heads computed anew."""
    (text,) = connection.execute("SELECT signed FROM event WHERE id = 'S1'").fetchone()
    signed = json.loads(text)
    mine = signer(signed["by"], 9)
    signed["key"] = mine.key
    under = {name: value for name, value in signed.items() if name != "signature"}
    signed["signature"] = mine.sign(canonical_json(under)).hex()
    row = (canonical_json(signed).decode(),)
    connection.execute("UPDATE event SET signed = ? WHERE id = 'S1'", row)
    leaves_anew(connection)
    heads_anew(connection)


def _signature_spelled_otherwise(connection: sqlite3.Connection) -> None:
    (text,) = connection.execute("SELECT signed FROM event WHERE id = 'S1'").fetchone()
    connection.execute(
        "UPDATE event SET signed = ? WHERE id = 'S1'", (json.dumps(json.loads(text), indent=1),)
    )
    leaves_anew(connection)
    heads_anew(connection)


def _states_of_another(connection: sqlite3.Connection) -> None:
    sql = "UPDATE change SET value = CASE value WHEN 'open' THEN 'shut' ELSE 'open' END WHERE subject = 'HALL:V1'"
    assert connection.execute(sql).rowcount


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


def _redeclared(table: str, old: str, new: str) -> Change:
    """Return a change of the text of a table alone: what it says of a column."""

    def change(connection: sqlite3.Connection) -> None:
        connection.execute("PRAGMA writable_schema = ON")
        sql = "UPDATE sqlite_master SET sql = replace(sql, ?, ?) WHERE name = ? AND instr(sql, ?)"
        assert connection.execute(sql, (old, new, table, old)).rowcount == 1
        connection.execute("PRAGMA writable_schema = RESET")

    return change


_TRIGGERS = (
    "event_no_update", "event_no_delete", "item_no_update", "item_no_delete", "tree_head_no_update",
    "tree_head_no_delete", "item_comes_new", "tree_head_comes_last",
)  # fmt: skip

SQLITE = (
    Kind("an event reworded", _reworded),
    _sql("an event known later", f"UPDATE event SET known = known + 1 WHERE number = {LAST}"),
    _sql("an event that happened later", f"UPDATE event SET happened = happened + 1 WHERE {TARGET}"),
    _sql("an event of another action", f"UPDATE event SET action = 'remark' WHERE {TARGET}"),
    _sql("an event of a server's user", f"UPDATE event SET login = 'eve' WHERE {TARGET}"),
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
    Kind("a number left out, all computed anew", _anew(f"UPDATE event SET number = number + 1, turn = turn + 1 WHERE number = {LAST}")),
    _sql("an event known before all others", f"UPDATE event SET known = 0 WHERE {TARGET}"),
    Kind("an event known later, all computed anew", _anew(f"UPDATE event SET known = known + 1 WHERE number = {LAST}", f"UPDATE tree_head SET known = known + 1 WHERE number = {LAST}"), needs="kept"),
    Kind("a handover of another record, all computed anew", _anew("UPDATE event SET body = replace(body, '\"size\":', '\"size\":1') WHERE id = 'H1'")),
    _sql("a signature stripped", "UPDATE event SET signed = NULL WHERE id = 'S1'"),
    Kind("a signature stripped, all computed anew", _anew("UPDATE event SET signed = NULL WHERE id = 'S1'"), needs="kept"),
    Kind("a signed event reworded, all computed anew", _anew("UPDATE event SET body = replace(body, 'hums', 'hisses') WHERE id = 'S1'")),
    Kind("what was signed reworded too", _anew("UPDATE event SET body = replace(body, 'hums', 'hisses'), signed = replace(signed, 'hums', 'hisses') WHERE id = 'S1'")),
    Kind("a signature moved to another event", _anew("UPDATE event SET signed = (SELECT signed FROM event WHERE id = 'S1') WHERE id = 'S2'")),
    Kind("a signature of another key", _rekeyed),
    Kind("a signature of another person", _anew("UPDATE event SET signed = replace(signed, 'ANN', 'BEN') WHERE id = 'S1'")),
    Kind("a signature of another journal", _anew("UPDATE event SET signed = replace(signed, '\"journal\":\"', '\"journal\":\"00') WHERE id = 'S1'")),
    Kind("a signature spelled otherwise", _signature_spelled_otherwise),
    Kind("the states of a valve turned round", _states_of_another),
    _sql("a checkpoint emptied of memory", "UPDATE checkpoint SET memory = zeroblob(length(memory))"),
    _sql("a checkpoint of another instant", "UPDATE checkpoint SET at = at + 1 WHERE at = (SELECT max(at) FROM checkpoint)"),
    Kind("an event reworded, its leaf computed anew", _reworded_with_leaf),
    Kind("an event reworded, all computed anew", _forged_throughout, needs="kept"),
    Kind("the last event cut off with all that came of it", _tail_cut, needs="kept"),
    _sql("content that is no JSON", f"UPDATE event SET body = '{{' WHERE {TARGET}"),
    _sql("content that is no event", f"UPDATE event SET body = '[]' WHERE {TARGET}"),
    Kind("content that is no event, all computed anew", _anew(f"UPDATE event SET body = '7' WHERE {TARGET}")),
    Kind("an event whose body is none, all computed anew", _anew("UPDATE event SET body = replace(body, '\"body\":{', '\"body\":[],\"x\":{') WHERE id = 'H1'")),
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
    _sql("a state that is empty in another way", f"UPDATE change SET cycle = '' WHERE number = {EVENT_OF} AND cycle = 0"),
    _sql("a state deleted", f"DELETE FROM change WHERE number = {EVENT_OF}"),
    _sql("a state added", f"INSERT INTO change SELECT 'PUMP-2:F1', aspect, happened, turn, number, known, until, value, other, cycle FROM change WHERE number = {EVENT_OF}"),
    _sql("a history without an event", f"DELETE FROM touch WHERE number = {EVENT_OF}"),
    _sql("a history with an event more", f"INSERT INTO touch VALUES ('PUMP-2', 0, {EVENT_OF})"),
    _sql("another memory of the rules", "UPDATE checkpoint SET memory = x'00' WHERE at = (SELECT max(at) FROM checkpoint)"),
    _sql("a memory of other events", "UPDATE checkpoint SET events = events + 1"),
    _sql("what had been settled deleted", "DELETE FROM settled"),
    _sql("what had been settled said to have been so later", "UPDATE settled SET at = at + 1 WHERE at = (SELECT min(at) FROM settled)"),
    _sql("what had been settled reworded", "UPDATE settled SET body = replace(body, 'expansion', 'Expansion')"),
    _sql("an older schema's number", "UPDATE alembic_version SET version_num = '0001'"),
    _sql("a newer schema's number", "UPDATE alembic_version SET version_num = '9999'"),
    _sql("no schema's number", "DELETE FROM alembic_version"),
    _guard("a table dropped", "DROP TABLE touch"),
    _guard("the table of what had been settled dropped", "DROP TABLE settled"),
    *(_guard(f"the trigger {name} dropped", f"DROP TRIGGER {name}") for name in _TRIGGERS),
    _guard("a trigger of another name", "DROP TRIGGER event_no_update",
           f"CREATE TRIGGER event_no_updates BEFORE UPDATE ON event {REFUSES}"),
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
    # A column of texts keeps what looks like a number as one then: 0042 as 42.
    Kind("numbers where texts were", _redeclared("change", "value VARCHAR", "value NUMERIC"), triggers_off=False),
    Kind("a column of another name", _redeclared("event", "body VARCHAR", "bodx VARCHAR"), triggers_off=False),
    Kind("a condition more", _redeclared("event", "body VARCHAR NOT NULL", "body VARCHAR NOT NULL CHECK (number < 9999)"), triggers_off=False),
    Kind("words compared otherwise", _redeclared("event", "action VARCHAR NOT NULL", "action VARCHAR NOT NULL COLLATE NOCASE"), triggers_off=False),
    _guard("a column more", "ALTER TABLE event ADD COLUMN note VARCHAR DEFAULT 'x'"),
    _guard("an index dropped", "DROP INDEX event_in_order"),
    _guard("an index that refuses", "CREATE UNIQUE INDEX mine ON event (happened, known)"),
    _guard("an index of other columns", "DROP INDEX event_in_order", "CREATE INDEX event_in_order ON event (turn)"),
)  # fmt: skip
"""What is done to rows, to guards and to tables."""

BEYOND = (
    Kind("an event recorded in somebody's name", _appended, why=(
        "who may write the file may record: nothing in it says who typed. Where unsigned events are refused it needs a key")),
    Kind("an approval recorded as given long before", _approved, why=(
        "as above; it is told as known only since it was recorded, as any late event is")),
    Kind("a view, a table and an index beside", (
        "CREATE VIEW others AS SELECT * FROM event", "CREATE TABLE notes (text)", "CREATE INDEX known ON event (known)"),
         triggers_off=False, why="they change no write and no answer: that is their owner's affair"),
    Kind("numbers of SQLite's own that nobody reads", ("PRAGMA user_version = 7", "PRAGMA application_id = 7"),
         triggers_off=False, why="no answer rests on them"),
)  # fmt: skip
"""What neither the audit, nor a head, nor the next console can tell, each with the reason."""

STRICT = (
    Kind("an event recorded in somebody's name, where unsigned ones are refused", _appended),
    Kind("an approval recorded as given long before, where unsigned ones are refused", _approved),
    Kind("a signature stripped, all computed anew, where unsigned ones are refused",
         _anew("UPDATE event SET signed = NULL WHERE id = 'S1'")),
    Kind("an unsigned event reworded, all computed anew, under a handover that somebody signed",
         _anew("UPDATE event SET body = replace(body, 'survey', 'Survey') WHERE number = 2")),
)  # fmt: skip
"""What an audit alone finds where the plant takes signed events only."""

BYTES = "convert_to('x', 'UTF8')"
EMPTY = "RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN RETURN NULL; END $$"

POSTGRESQL = (
    _sql("an event reworded", f"UPDATE event SET body = replace(body, 'ina', 'eve') WHERE {TARGET}"),
    _sql("an event of another action", f"UPDATE event SET action = 'remark' WHERE {TARGET}"),
    _sql("another leaf", f"UPDATE event SET leaf = {BYTES} WHERE {TARGET}"),
    _sql("an event of another user of the server", f"UPDATE event SET login = 'eve' WHERE {TARGET}"),
    _sql("an item reworded", "UPDATE item SET body = replace(body, 'Pump', 'Tank') WHERE id = 'pump'"),
    _sql("another tree head", f"UPDATE tree_head SET root = {BYTES} WHERE number = {LAST}"),
    _sql("another state", f"UPDATE change SET value = 'mated' WHERE number = {EVENT_OF}"),
    _sql("a history without an event", f"DELETE FROM touch WHERE number = {EVENT_OF}"),
    _sql("a memory of other events", "UPDATE checkpoint SET events = events + 1"),
    _sql("what had been settled deleted", "DELETE FROM settled"),
    _sql("a signature stripped", "UPDATE event SET signed = NULL WHERE id = 'S1'"),
    _sql("a signature of another person", "UPDATE event SET signed = replace(signed, 'ANN', 'BEN') WHERE id = 'S1'"),
    _sql("a number left out", f"UPDATE event SET number = number + 1 WHERE number = {LAST}"),
    _sql("the last event deleted", f"DELETE FROM event WHERE number = {LAST}"),
    Kind("the last event cut off with all that came of it", (
        *(f"DELETE FROM {table} WHERE number = {LAST}" for table in ("tree_head", "touch")),
        "DELETE FROM checkpoint", "DELETE FROM settled", f"DELETE FROM event WHERE number = {LAST}"), needs="kept"),
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
    _guard("rows kept from nobody any more", "ALTER TABLE event DISABLE ROW LEVEL SECURITY"),
    _guard("rows hidden from their owner", "ALTER TABLE event FORCE ROW LEVEL SECURITY"),
    _guard("a policy dropped", "DROP POLICY event_recorded ON event"),
    _guard("a policy that lets everybody record as anybody", "ALTER POLICY event_recorded ON event WITH CHECK (true)"),
    _guard("a policy for one user alone", "ALTER POLICY event_looked_at ON event TO CURRENT_USER"),
    _guard("a function of a policy emptied",
           "CREATE OR REPLACE FUNCTION cfgtrack_may_look() RETURNS boolean LANGUAGE sql STABLE AS 'SELECT true'"),
    _guard("a right for everybody", "GRANT INSERT ON event TO PUBLIC"),
    _guard("the trigger dropped that works out what follows", "DROP TRIGGER event_taken_in ON event"),
    _guard("rows of another table", "CREATE TABLE more () INHERITS (item)"),
    _guard("a setting that keeps triggers from firing",
           "DO $$ BEGIN EXECUTE format('ALTER DATABASE %I SET session_replication_role = replica',"
           " current_database()); END $$"),
    _guard("events that may be doubled", "ALTER TABLE event DROP CONSTRAINT event_id_key"),
    _guard("a condition more", "ALTER TABLE event ADD CHECK (number < 9999)"),
    _guard("a value of its own", "ALTER TABLE event ALTER body SET DEFAULT 'x'"),
    _guard("a column that may be empty", "ALTER TABLE event ALTER leaf DROP NOT NULL"),
    _guard("a column more", "ALTER TABLE event ADD note text"),
    _guard("numbers where texts were", "ALTER TABLE change ALTER other TYPE bigint USING NULL"),
    _guard("an index dropped", "DROP INDEX event_in_order"),
    _guard("an index that refuses", "CREATE UNIQUE INDEX mine ON event (happened, known)"),
    _guard("a table dropped", "DROP TABLE touch"),
    _guard("no schema's number", "DELETE FROM alembic_version"),
)  # fmt: skip
"""The same, and what only a server can do."""


# --- who notices --------------------------------------------------------------------------------------------------

LOOKS = ("audit", "audit with a kept head", "next console")


@dataclass
class Tampering:
    """A campaign of tampering: its `outcome`, and for each kind who notices it, of `LOOKS`."""

    outcome: Outcome
    noticed: dict[str, tuple[bool, ...]] = field(default_factory=dict)
    questions: Sequence[Words] = ()

    def look(self, kind: str, url: str, seen: "Seen", needs: str = "") -> None:
        """Audit what somebody has changed, have a console ask, and note who notices."""
        try:
            alone = not is_sound(url)
            # What is found without a head is found with one.
            by = (alone, alone or not is_sound(url, seen.head), seen.tells(url, self.questions))
        except Exception as err:  # noqa: BLE001 - whatever it is, it is told
            self.outcome.fell(err, kind)
            return
        self.noticed[kind] = by
        alone, kept, console = by
        if alone is not kept and not needs:
            self.outcome.became("unnoticed", f"{kind} (without a kept head)")
        elif not kept:
            self.outcome.became("unnoticed", kind)
        elif needs and not console:
            self.outcome.became("unnoticed", f"{kind} (by the next console)")
        else:
            self.outcome.became("found")

    @property
    def by_kept_head_alone(self) -> list[str]:
        """Return what an audit without a kept head does not notice."""
        return [kind for kind, (alone, kept, _) in self.noticed.items() if kept and not alone]

    def note(self) -> None:
        """Note who notices how many, and which kinds need a head."""
        by = Counter(
            look for seen in self.noticed.values() for look, told in zip(LOOKS, seen, strict=True) if told
        )
        self.outcome.notes.append(
            f"of {len(self.noticed)}: " + ", ".join(f"{look} {by[look]}" for look in LOOKS)
        )
        self.outcome.notes.extend(f"no audit alone: {kind}" for kind in self.by_kept_head_alone)


def is_sound(url: str, kept: str | None = None) -> bool:
    """Return whether an audit finds nothing, against a head that was kept if there is one."""
    try:
        found = audit(Asking(url), kept=kept)
    except NoAnswer:
        return False  # nobody takes that for a journal
    assert found.sound is (found.head is not None), "a head to keep is of a sound journal"
    assert all(fault.next for fault in found.faults)
    return found.sound


QUESTIONS = (("state",), ("history",), ("findings",), ("export", "--form", "csv"))
"""What is asked of a tampered journal besides: whatever it says, it says it."""


@dataclass(frozen=True)
class Seen:
    """What was seen of a journal before: its head, and what a console remembers, which is copied for each look."""

    head: str
    memory: Path

    @classmethod
    def of(cls, url: str, folder: Path) -> "Seen":
        """Look at a journal, at a console that is kept in a folder."""
        folder.mkdir(exist_ok=True)
        command = Command(folder)
        command.state = folder / "seen"
        found = command.ok("head", "--db", url).strip()
        return cls(found, command.state / "cfgtrack")

    def tells(self, url: str, questions: Sequence[Words] = ()) -> bool:
        """Return whether a console that has seen the journal says BEWARE, or takes what is there for no journal.

        It is asked these `questions` too: none may fall over.
        """
        command = Command(self.memory.parent)
        command.state = self.memory.parent / "now"
        shutil.rmtree(command.state, ignore_errors=True)
        shutil.copytree(self.memory, command.state / "cfgtrack")
        answer = command("head", "--db", url)
        for question in questions:
            command(*question, "--db", url)
        return answer.status == 4 or "BEWARE" in answer.err


def made(folder: Path, *, unsigned: str = "allowed") -> Path:
    """Return a journal in which every table has rows, and some events are signed, closed, in one file."""
    command = Command(folder)
    nobody, command.config = command.config, folder / "keys of ANN"
    key = command.json_of("key", "new", "ANN")["key"]
    plant = world.PLANT + f'\n[[person]]\nid = "ANN"\nkey = "{key}"\n[[person]]\nid = "BEN"\n'
    plant += f'[[setting]]\nid = "unsigned-events"\nvalue = "{unsigned}"\n'
    command.ok("load", command.file("plant.toml", plant), "--by", "survey")
    ann = command.config
    command.config = ann if unsigned == "refused" else nobody
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
    command.config = ann
    for n in (1, 2):
        command("remark", "PUMP-1", "--remark", "hums", *at, "--id", f"S{n}")
    command.config = ann if unsigned == "refused" else nobody
    command("begin", "NIGHT", *at, "--id", "H1")
    command("remark", "PUMP-1", "--remark", "runs well", *at, "--id", "LAST")
    with closing(sqlite3.connect(command.db)) as connection:
        connection.execute("PRAGMA journal_mode = DELETE")
        for table in ("event", "item", "tree_head", "touch", "change", "checkpoint", "settled"):
            assert connection.execute(f"SELECT 1 FROM {table}").fetchone(), table
        assert connection.execute("SELECT count(*) FROM event WHERE signed IS NOT NULL").fetchone() >= (2,)
    assert is_sound(str(command.db))
    return command.db


# --- a file -------------------------------------------------------------------------------------------------------


def sqlite_campaign(folder: Path, questions: Sequence[Words] = ()) -> Tampering:
    """Try every kind on a file, and other files in its place."""
    path = made(folder)
    result = Tampering(Outcome("tampering, sqlite"), questions=questions)
    copy = folder / "tampered.db"
    seen = seen_at(path, copy)
    for kind in SQLITE:
        shutil.copy(path, copy)
        _tamper(kind, copy)
        result.look(kind.name, str(copy), seen, kind.needs)
        clear(copy)
    for name, needs in _whole_files(path, copy, folder):
        result.look(name, str(copy), seen, needs)
        clear(copy)
    (folder / "strict").mkdir()
    strict = made(folder / "strict", unsigned="refused")
    seen = seen_at(strict, copy)
    for kind in STRICT:
        shutil.copy(strict, copy)
        _tamper(kind, copy)
        result.look(kind.name, str(copy), seen)
        clear(copy)
    result.note()
    return result


def beyond(folder: Path) -> dict[str, tuple[bool, ...]]:
    """Do what nothing can tell; return for each who notices it all the same, of `LOOKS`."""
    path = made(folder)
    copy = folder / "tampered.db"
    seen = seen_at(path, copy)
    noticed: dict[str, tuple[bool, ...]] = {}
    for kind in BEYOND:
        shutil.copy(path, copy)
        _tamper(kind, copy, expect_rows=False)
        noticed[kind.name] = _who_notices(str(copy), seen)
        clear(copy)
    # Who saw the journal before its last event knows nothing of that.
    _older(path, copy)
    before = Seen.of(str(copy), folder / "before")
    shutil.copy(path, copy)
    last_reworded = _anew("UPDATE event SET body = replace(body, 'runs well', 'leaks') WHERE id = 'LAST'")
    _tamper(Kind("", last_reworded), copy)
    noticed[AFTER_EVERY_HEAD] = _who_notices(str(copy), before)
    shutil.copy(path, copy)
    _tamper(Kind("", _forged_throughout), copy)
    shutil.rmtree(seen.memory)
    seen.memory.mkdir()
    noticed[WITHOUT_MEMORY] = _who_notices(str(copy), seen)
    return noticed


AFTER_EVERY_HEAD = "the last event reworded, all computed anew, which nobody had seen"
WITHOUT_MEMORY = "an event reworded, all computed anew, and what the console remembered taken away"


def _who_notices(url: str, seen: Seen) -> tuple[bool, ...]:
    return not is_sound(url), not is_sound(url, seen.head), seen.tells(url)


def seen_at(path: Path, copy: Path) -> Seen:
    """Have a console see a journal where its copies will stand."""
    shutil.copy(path, copy)
    seen = Seen.of(str(copy), path.parent)
    clear(copy)
    return seen


def clear(copy: Path) -> None:
    """Remove a database with what stands beside it."""
    for suffix in ("", "-wal", "-shm"):
        copy.with_name(copy.name + suffix).unlink(missing_ok=True)


def _tamper(kind: Kind, path: Path, *, expect_rows: bool = True) -> None:
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
                changed = connection.execute(statement).rowcount
                assert changed or not expect_rows, f"{kind.name}: nothing was changed"
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
    # Who forges has a console that has seen nothing of all this.
    command.db, command.config, command.state = copy, folder / "no keys", folder / "forging"
    command.ok("load", folder / "plant.toml", "--by", "eve")
    yield "another journal in its place", "kept"
    command.state = folder / "restoring"
    _restored(path, copy, command)
    yield "an archive forged, and restored", "kept"
    # The last event was in the log beside the file alone, and the file was copied without it.
    shutil.copy(path, command.db)
    command.state = folder / "losing"
    with closing(sqlite3.connect(copy)) as writing:
        writing.execute("PRAGMA journal_mode = WAL")
        writing.execute("PRAGMA wal_autocheckpoint = 0")
        without = copy.read_bytes()
        command.ok("remark", "PUMP-1", "--remark", "lost", "--at", "2031-05-01T21:00:00Z")
        newer = Seen.of(str(copy), folder / "newer")
    clear(copy)
    copy.write_bytes(without)
    assert not is_sound(str(copy), newer.head), "a lost log is found by the head of what was in it"
    assert newer.tells(str(copy)), "and by who had seen that"
    clear(copy)
    _older(path, copy)
    yield "an older state of the file put back", "kept"
    _older(path, copy)
    command.state = folder / "going on"
    command.ok("remark", "PUMP-1", "--remark", "gone on", "--at", "2031-05-01T21:00:00Z")
    yield "an older state of the file, gone on with", "kept"


def _restored(path: Path, copy: Path, command: Command) -> None:
    """Restore an archive of the journal in which an event says something else, and all is computed anew."""
    source = path.with_name("source.db")
    shutil.copy(path, source)
    _tamper(Kind("", _forged_throughout), source)
    archive = path.with_name("archive.jsonl")
    archive.write_text(command.ok("--db", source, "export", "--form", "archive"))
    clear(copy)
    command.ok("restore", archive)


def _older(path: Path, copy: Path) -> None:
    shutil.copy(path, copy)
    _tamper(Kind("", _tail_cut), copy)


# --- a server -----------------------------------------------------------------------------------------------------


def postgresql_campaign(
    server: Server, folder: Path, questions: Sequence[Words] = (), kinds: Sequence[Kind] = POSTGRESQL
) -> Tampering:
    """Try every kind, or these `kinds`, on a database of a server."""
    import psycopg

    path = made(folder)
    base = server.empty()
    restore(Asking(base), path)
    rebuild(Asking(base))
    seen = Seen.of(base, folder)
    assert is_sound(base, seen.head)
    result = Tampering(Outcome("tampering, postgresql"), questions=questions)
    of = make_url(base).database
    for n, kind in enumerate(kinds):
        name = f"t{n}_{of}"
        server.admin.execute(f"CREATE DATABASE {name} TEMPLATE {of}")
        url = str(server.server.get_uri(database=name))
        with psycopg.connect(url, autocommit=True) as connection:
            if kind.triggers_off:
                connection.execute("SET session_replication_role = replica")
            assert not callable(kind.what)
            for statement in kind.what:
                assert connection.execute(statement.encode()).rowcount, f"{kind.name}: nothing was changed"
        result.look(kind.name, url, seen, kind.needs)
        server.admin.execute(f"DROP DATABASE {name} WITH (FORCE)")
    result.note()
    return result
