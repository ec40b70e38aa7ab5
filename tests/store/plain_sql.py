"""Events and loads in plain SQL, as somebody writes them who has psql and knows how the journal is kept.

Nothing of the tool is asked: the leaf is RFC 6962's hash by hashlib, the canonical JSON (RFC 8785) json's own,
which is the same for what is said here.
"""

from __future__ import annotations

import hashlib
import json
from typing import Any, cast

import psycopg


def said(action: str, person: str, name: str, *subjects: str, **more: object) -> dict[str, object]:
    """Return what an event says, as the journal writes it down."""
    told = {"id": name, "action": action, "happened": MOMENT, "recorder": person, **more}
    return {**told, "subjects": list(subjects)} if subjects else told


MOMENT = 1_619_900_000_000_000
"""2021-05-01T20:13:20Z, after all that is told of the beginning."""


def insert_event(db: psycopg.Connection[Any], event: dict[str, object], **other: object) -> int:
    """Insert an event by hand, each column as it has to be but for what is `other`; return its number."""
    clock = "(extract(epoch FROM clock_timestamp()) * 1000000)::bigint"
    last = db.execute(f"SELECT number, known, {clock} FROM event ORDER BY number DESC LIMIT 1").fetchone()
    assert last is not None
    number, known = last[0] + 1, other.get("known", max(last[1] + 1, last[2]))
    body = json.dumps(event, ensure_ascii=False, separators=(",", ":"), sort_keys=True)
    login = db.info.user
    leaf = f'{{"event":{body},"known":{known},"login":{json.dumps(login)},"number":{number},"version":3}}'
    named = event.get("supersedes") or event.get("withdraws")
    target = db.execute("SELECT number, happened, turn FROM event WHERE id = %s", [named]).fetchone()
    turn = target[2] if target and "supersedes" in event and target[1] == event["happened"] else number
    row = {
        "number": number,
        "id": event["id"],
        "happened": event["happened"],
        "known": known,
        "turn": turn,
        "action": event["action"],
        "corrects": target and target[0],
        "body": body,
        "leaf": hashlib.sha256(b"\0" + leaf.encode()).digest(),
        "signed": None,
        "login": login,
        **other,
    }
    marks = ", ".join(f"%({name})s" for name in row)
    db.execute(f"INSERT INTO event ({', '.join(row)}) VALUES ({marks})", row)
    return int(number)


def insert_load(
    db: psycopg.Connection[Any],
    person: str,
    sort: str,
    item: dict[str, object],
    action: str = "define",
    **more: object,
) -> int:
    """Insert a load of one item, as `insert_event` does."""
    name = str(item["id"])
    text = json.dumps(item, ensure_ascii=False, separators=(",", ":"), sort_keys=True)
    commits = hashlib.sha256(json.dumps({sort: {name: item}}, separators=(",", ":"), sort_keys=True).encode())
    body = {"count": 1, "items": commits.hexdigest()}
    number = insert_event(db, said(action, person, f"{action}-{name}", body=body, **more))
    db.execute(INTO_ITEM, [sort, name, number, text])
    return number


INTO_ITEM = "INSERT INTO item (sort, id, load, body) VALUES (%s, %s, %s, %s)"


class Spelled:
    """A connection that hands out the insertion of an event as text, so that it can be said inside another one."""

    def __init__(self, db: psycopg.Connection[Any]) -> None:
        self.db, self.info, self.text = db, db.info, ""

    def execute(self, query: str, parameters: Any = None) -> Any:
        """Run a question; keep what inserts."""
        if not query.startswith("INSERT"):
            return self.db.execute(query, parameters)
        self.text = psycopg.ClientCursor(self.db).mogrify(query, parameters)
        return None


def insert_around(
    db: psycopg.Connection[Any], event: dict[str, object], sort: str, item: dict[str, object]
) -> None:
    """Insert an item in a statement that reads from a function, which inserts its event and has that closed."""
    db.execute(
        "CREATE FUNCTION pg_temp.f(q text) RETURNS int LANGUAGE plpgsql VOLATILE AS"
        " $$ BEGIN EXECUTE q; SET CONSTRAINTS ALL IMMEDIATE; RETURN 1; END $$"
    )
    spelled = Spelled(db)
    number = insert_event(cast("psycopg.Connection[Any]", spelled), event)
    text = json.dumps(item, ensure_ascii=False, separators=(",", ":"), sort_keys=True)
    db.execute(
        "INSERT INTO item (sort, id, load, body) SELECT %s, %s, %s, %s FROM pg_temp.f(%s)",
        [sort, item["id"], number, text, spelled.text],
    )
