"""The record proves itself, and survives the loss of its database."""

from __future__ import annotations

import sqlite3
from contextlib import closing

import pytest

from tests.cli.conftest import Command

AT = "2031-05-01T10:00:00Z"


def test_audit_against_kept_head(cfgtrack: Command) -> None:
    """A sound journal audits clean, also against a head that was kept; against a foreign head it doesn't."""
    head = cfgtrack.ok("head").strip()
    cfgtrack.ok("cap", "PUMP-1:F2", "--at", AT)
    assert cfgtrack.ok("audit", "--kept", head).startswith("sound")
    size, root, known = head.split()
    foreign = " ".join((size, root[::-1], known))
    answer = cfgtrack("audit", "--kept", foreign, "--json")
    assert answer.status == 3
    assert [f["code"] for f in answer.json["faults"]] == ["rewritten"]
    assert cfgtrack("audit", "--kept", "nonsense").status == 2


def test_audit_names_the_changed_event(cfgtrack: Command) -> None:
    """A change behind the program's back is found, and the event is named."""
    cfgtrack.ok("cap", "PUMP-1:F2", "--at", AT, "--id", "E1")
    cfgtrack.ok("uncap", "PUMP-1:F2", "--at", AT, "--id", "E2")
    with sqlite3.connect(cfgtrack.db) as connection:
        triggers = connection.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall()
        for (name,) in triggers:
            connection.execute(f'DROP TRIGGER "{name}"')
        connection.execute("UPDATE event SET body = replace(body, 'F2', 'F1') WHERE id = 'E1'")
    connection.close()
    answer = cfgtrack("audit")
    assert answer.status == 3
    assert "event E1" in answer.out


def test_proof_without_database(cfgtrack: Command) -> None:
    """One event's place in the journal is proved to somebody who has only the proof and a head."""
    cfgtrack.ok("cap", "PUMP-1:F2", "--at", AT, "--id", "E1")
    head = cfgtrack.ok("head").strip()
    proof = cfgtrack.file("proof.json", cfgtrack.ok("prove", "E1"))
    cfgtrack.db.unlink()
    assert cfgtrack.ok("verify", proof, "--kept", head).startswith("verified")
    assert cfgtrack("verify", proof, "--kept", "1 " + "00" * 32 + " 0").status == 3
    proof.write_text(proof.read_text().replace("F2", "F1"))
    assert cfgtrack("verify", proof).status == 2
    assert cfgtrack("verify", cfgtrack.file("no.json", "no")).status == 2


def test_consistency_proof(cfgtrack: Command) -> None:
    """That the journal only grew since a kept head is proved likewise."""
    head = cfgtrack.ok("head").strip()
    cfgtrack.ok("cap", "PUMP-1:F2", "--at", AT)
    proof = cfgtrack.ok("prove", "--kept", head)
    assert cfgtrack.ok("verify", "-", stdin=proof).startswith("verified")
    assert cfgtrack("prove").status == 2


@pytest.mark.parametrize("archive", [False, True])
def test_backup_and_restore(archive: bool, cfgtrack: Command) -> None:
    """A backup, or an archive, makes the same journal again; nothing is ever overwritten."""
    cfgtrack.ok("cap", "PUMP-1:F2", "--at", AT, "--id", "E1")
    head, history = cfgtrack.ok("head"), cfgtrack.ok("history")
    copy = cfgtrack.folder / "copy"
    if archive:
        cfgtrack.ok("export", "--form", "archive", "-o", copy)
    else:
        cfgtrack.ok("backup", copy)
    assert cfgtrack("restore", copy).status == 4
    for file in cfgtrack.folder.glob("plant.db*"):
        file.unlink()
    cfgtrack.ok("restore", copy)
    assert (cfgtrack.ok("head"), cfgtrack.ok("history")) == (head, history)
    assert cfgtrack.ok("audit").startswith("sound")
    assert cfgtrack("restore", cfgtrack.folder / "none").status == 2


def test_migrate_leaves_a_newer_database_alone(cfgtrack: Command) -> None:
    """The database of a newer program stays as it is: it is told, and the status is 4."""
    with closing(sqlite3.connect(cfgtrack.db)) as database, database:
        database.execute("UPDATE alembic_version SET version_num = '9999'")
    before = cfgtrack.db.read_bytes()
    answer = cfgtrack("migrate")
    assert (answer.status, answer.out) == (4, "")
    assert "its schema is 9999, newer than this program's" in answer.err
    assert cfgtrack.db.read_bytes() == before


def test_rebuild_and_migrate(cfgtrack: Command) -> None:
    """Derived states are made anew with the same answers; a current schema needs no migration."""
    before = cfgtrack.ok("state")
    assert cfgtrack.ok("rebuild").startswith("rebuilt from")
    assert cfgtrack.ok("state", "--at", "2031-05-01T09:00:03Z").splitlines()[1:] == before.splitlines()[1:]
    assert cfgtrack.ok("migrate").startswith("already at")


CHANGED = {
    "a time that is a text": "UPDATE event SET happened = 'noon'",
    "content that is no JSON": "UPDATE event SET body = '{'",
    "content that is no event": "UPDATE event SET body = '[]'",
    "an item that is no JSON": "UPDATE item SET body = '{'",
}


@pytest.mark.parametrize("what", CHANGED)
def test_what_falls_over_a_changed_journal_says_so(what: str, cfgtrack: Command) -> None:
    """Whatever somebody did to it, each question is answered, or it is said that it was changed: no traceback."""
    with closing(sqlite3.connect(cfgtrack.db)) as connection, connection:
        for (name,) in connection.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
            connection.execute(f"DROP TRIGGER {name}")
        connection.execute(CHANGED[what])
    said = []
    for words in (
        ("state",),
        ("history",),
        ("findings",),
        ("export",),
        ("head",),
        ("cap", "PUMP-1:F2"),
        ("plant",),
    ):
        answer = cfgtrack(*words)
        assert answer.status in (0, 3, 4), (words, answer)
        said.append(answer.err)
    assert "the journal: changed: it isn't as it was recorded" in "".join(said)
    assert "`cfgtrack audit` says where" in "".join(said)
    assert cfgtrack("audit").status == 3


def test_a_bug_stays_a_bug(cfgtrack: Command, monkeypatch: pytest.MonkeyPatch) -> None:
    """What falls over a sound journal is no matter of the journal's, and comes out as itself."""

    def fall(*_: object, **__: object) -> None:
        raise RuntimeError("a bug")

    monkeypatch.setattr("cfgtrack.answers.trust.head", fall)
    with pytest.raises(RuntimeError, match="a bug"):
        cfgtrack("head")
