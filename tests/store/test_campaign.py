"""Short runs of the fault campaign and of the crowd; `tests.bench.campaign` runs them as long as one likes."""

from pathlib import Path

import pytest

from cfgtrack.model.trouble import NoAnswer
from cfgtrack.store.journal import create
from tests.bench.campaign import creations, crowd, kills


def test_killed_writers_lose_nothing_acknowledged(url: str) -> None:
    """After kill -9 at random moments every acknowledged event is there, whole and once."""
    result = kills(url, times=12, seed=5)
    assert result.acknowledged > 0
    assert result.is_clean, result


def test_a_creation_that_was_killed_can_be_done_again() -> None:
    """A journal whose making was cut off is either made or can be made."""
    assert creations(times=8, seed=5) == 0


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
    create(url, clock=lambda: 0)
    before = Path(url).read_bytes()
    with pytest.raises(NoAnswer, match="there is a database already"):
        create(url, clock=lambda: 0)
    assert Path(url).read_bytes() == before
