"""What a writer leaves for the next who judges, and what is said of it."""

from __future__ import annotations

from typing import Any

import pytest

from cfgtrack.model.trouble import NoAnswer, Problem
from cfgtrack.store import checkpoint
from cfgtrack.store.database import Database
from cfgtrack.store.journal import Journal, open_journal
from tests.cli.conftest import Command

AT = "2031-05-01T10:{:02}:00Z"


@pytest.fixture
def busy(cfgtrack: Command, monkeypatch: pytest.MonkeyPatch) -> Command:
    """The tiny plant after some events, with a checkpoint after each but the last."""
    monkeypatch.setattr(checkpoint, "EVERY", 1)
    for minute, words in enumerate(
        ("demate PUMP-1:J1", "shut HALL:V1", "de-energise HALL:K1", "inspect PUMP-1")
    ):
        cfgtrack.ok(*words.split(), "--at", AT.format(minute), "--id", f"E{minute}")
    return cfgtrack


def stored(command: Command) -> list[Any]:
    """Return the rows of all checkpoints, and of what is settled."""
    with open_journal(str(command.db), clock=lambda: 0) as journal:
        return [
            journal.database.rows(f"SELECT * FROM {table} ORDER BY at") for table in ("checkpoint", "settled")
        ]


def test_a_rebuild_leaves_the_same_bytes(busy: Command) -> None:
    """What the rules remember is dropped and judged again with everything derived, and an audit finds it right."""
    before = stored(busy)
    assert all(before)
    busy.ok("audit")
    busy.ok("rebuild")
    assert stored(busy) == before
    busy.ok("audit")


@pytest.mark.parametrize(
    "change",
    [
        "UPDATE checkpoint SET memory = (SELECT memory FROM checkpoint ORDER BY at LIMIT 1)",
        "UPDATE checkpoint SET memory = x'00' WHERE at = (SELECT max(at) FROM checkpoint)",
        "UPDATE checkpoint SET known = known - 1 WHERE at = (SELECT max(at) FROM checkpoint)",
        "UPDATE checkpoint SET events = events + 1 WHERE at = (SELECT max(at) FROM checkpoint)",
        "UPDATE checkpoint SET at = at + 1 WHERE at = (SELECT max(at) FROM checkpoint)",
        "DELETE FROM settled WHERE at = (SELECT max(at) FROM settled)",
        "UPDATE settled SET body = '[]'",
    ],
)
def test_an_audit_finds_what_was_changed(change: str, busy: Command) -> None:
    """Whoever changes what the rules remember is found out, and a rebuild puts it right."""
    before = stored(busy)
    database = Database(str(busy.db))
    database.execute(change)
    database.close()
    answer = busy("audit")
    assert (answer.status, "what the rules remember at" in answer.out) == (3, True)
    assert busy("audit", "--no-state").status == 0
    busy.ok("rebuild")
    assert stored(busy) == before


@pytest.mark.parametrize("damage", ["x'00'", "x''", "substr(memory, 1, length(memory) / 2)"])
def test_what_is_damaged_is_not_asked(damage: str, busy: Command) -> None:
    """Questions are answered and events recorded as ever though the last that the rules remember can't be read."""
    asked = (("findings",), ("state",))
    before = [busy(*words).out for words in asked]
    database = Database(str(busy.db))
    database.execute(f"UPDATE checkpoint SET memory = {damage} WHERE at = (SELECT max(at) FROM checkpoint)")
    database.close()
    assert [busy(*words).out for words in asked] == before
    assert "recorded E9" in busy.ok("inspect", "PUMP-1", "--at", AT.format(9), "--id", "E9")


def test_a_writer_who_is_stopped_leaves_the_next_a_longer_way(
    busy: Command, monkeypatch: pytest.MonkeyPatch
) -> None:
    """An event is recorded and told though no checkpoint can be kept; the next writer makes up for it."""
    before = stored(busy)

    def refuse(*_given: object) -> None:
        raise NoAnswer(Problem("database", "busy", "another writer's turn"))

    with monkeypatch.context() as patch:
        patch.setattr(Journal, "keep_checkpoints", refuse)
        assert "recorded E9" in busy.ok("inspect", "PUMP-1", "--at", AT.format(20), "--id", "E9")
        assert stored(busy) == before
    busy.ok("inspect", "PUMP-1", "--at", AT.format(21))
    found = stored(busy)
    assert len(found[0]) > len(before[0])
    busy.ok("rebuild")
    assert stored(busy) == found


def test_a_repeat_tells_what_the_event_means(cfgtrack: Command) -> None:
    """Who was cut off after his event was recorded, and says it again, is told what it breaks; also of a late one."""
    for at, words in ((30, "shut HALL:V1"), (20, "demate PUMP-1:J1")):
        event = (*words.split(), "--at", AT.format(at), "--id", f"E{at}", "--json")
        first = cfgtrack(*event).json
        assert first["findings"]
        assert cfgtrack(*event).json == first


def test_record_says_what_is_still_open_where_it_is_done(cfgtrack: Command) -> None:
    """What was broken before and still is comes with every event on what it names, and with no other; never twice."""
    first = cfgtrack("shut", "HALL:V1", "--at", AT.format(0), "--json").json
    (finding,) = first["findings"]
    assert first["open"] == []
    again = cfgtrack("inspect", "HALL:V1", "--at", AT.format(1), "--json").json
    assert again["findings"] == []
    assert [f["fingerprints"] for f in again["open"]] == [finding["fingerprints"]]
    said = cfgtrack.ok("inspect", "PUMP-1", "--at", AT.format(2))
    assert "Still open here: 1 finding" in said
    assert f"[{finding['rule']}]" in said
    assert cfgtrack("inspect", "PUMP-2", "--at", AT.format(3), "--json").json["open"] == []
    late = cfgtrack("inspect", "HALL:V1", "--at", "2031-05-01T10:00:30Z", "--json").json
    assert [f["fingerprints"] for f in late["open"]] == [finding["fingerprints"]]
    mended = cfgtrack("open", "HALL:V1", "--at", AT.format(4), "--json").json
    assert mended["open"] == []


@pytest.mark.parametrize(
    "words",
    [
        ("correct", "E0", "inspect", "PUMP-1", "--reason", "x"),
        ("withdraw", "E0", "--reason", "x", "--at", AT.format(9)),
        ("record", "inspect", "PUMP-1", "--supersedes", "E0", "--reason", "x", "--at", AT.format(0)),
        ("record", "inspect", "PUMP-1", "--at", AT.format(9)),
    ],
)
def test_what_cannot_be_read_is_told_before_anything_is_written(
    words: tuple[str, ...], busy: Command
) -> None:
    """Where the kept rules can't be read nothing is recorded that would then have to be judged by them."""
    with open_journal(str(busy.db), clock=lambda: 0) as journal:
        journal.keep_rules({"rules.toml": "no TOML ["}, by=None, recorder=None)
        before = journal.moment()
    answer = busy(*words)
    assert (answer.status, answer.out) == (2, "")
    with open_journal(str(busy.db), clock=lambda: 0) as journal:
        assert journal.moment() == before
