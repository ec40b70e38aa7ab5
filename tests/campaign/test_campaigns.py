"""A small run of the campaigns that have no test file of their own; and none of them is clean by seeing nothing."""

from __future__ import annotations

import sqlite3
import subprocess
import sys
from collections.abc import Iterator
from contextlib import ExitStack, closing
from pathlib import Path

import pytest

from tests.campaign import broken_off, flips
from tests.campaign.campaigns import CAMPAIGNS, Ground, run
from tests.campaign.commands import command_names, session
from tests.campaign.outcome import COUNTED, Lost, Outcome, Wrong, chance_of, table
from tests.campaign.pages import READ_BY_NOBODY, Pages
from tests.campaign.processes import Creations, Crowd, Restores
from tests.campaign.skewed import clocks
from tests.campaign.tampering import made

ROOT = Path(__file__).parents[2]


@pytest.fixture
def ground() -> Iterator[Ground]:
    """What campaigns run on, small."""
    with ExitStack() as stack:
        yield Ground(seed=7, stack=stack)


def test_every_command_that_writes_is_all_or_nothing(ground: Ground, monkeypatch: pytest.MonkeyPatch) -> None:
    """Killed or without room: all of it is there or nothing, what was acknowledged is, and it can be said again.

    Every command of the command line is a step of the session, so that no new one is missed; whether it writes is seen.
    """
    seen = session(ground.folder())
    monkeypatch.setattr(broken_off, "session", lambda _: seen)
    rows = [row for name in ("kills-of-commands", "full-disk") for row in CAMPAIGNS[name](ground)]
    assert {step.command for step in seen} == command_names()
    assert len([step for step in seen if step.writes]) > 45
    assert all(row.is_clean for row in rows), [row.told for row in rows]
    assert [row.tried for row in rows] == [len(ground.writing)] * 2

    _expect_told(ground)


def _expect_told(ground: Ground) -> None:
    """Where a command says that it is done and nothing is there, or half of it is, the campaign says so."""
    step = next(step for step in ground.writing if step.seen_before.get("plant.db"))
    folder = ground.folder() / "session"
    step.console(folder)
    with pytest.raises(Lost):
        broken_off.look(step, folder, acknowledged=True)
    assert broken_off.look(step, folder, acknowledged=False) == "refused"
    assert broken_off.look(step, folder, acknowledged=True) == "found"
    (folder / "half").write_text("of it")
    with pytest.raises(Wrong, match="half"):
        broken_off.look(step, folder, acknowledged=False)


@pytest.mark.parametrize("name", ["flips", "aimed-flips"])
def test_a_flipped_bit_is_noticed_or_nobody_reads_it(name: str, ground: Ground) -> None:
    """Whichever bit of the file is turned round; those that are aimed at something by the audit alone."""
    (row,) = CAMPAIGNS[name](ground)
    assert row.is_clean, row.told
    assert row.found > row.tried // 3


def test_a_flip_that_nobody_looks_for_is_unnoticed(ground: Ground, monkeypatch: pytest.MonkeyPatch) -> None:
    """Where the audit finds nothing, flips that change what is recorded are told."""
    monkeypatch.setattr(flips, "is_sound", lambda *_: True)
    row = flips.aimed_flips(ground.folder(), 6, 1)
    assert row.unnoticed + row.crashed >= 5
    assert not row.is_clean


def test_what_a_byte_is_for(tmp_path: Path) -> None:
    """Where the file format's description says that nobody reads a byte, SQLite reads the same whatever it is."""
    path = made(tmp_path)
    raw = path.read_bytes()
    pages = Pages(raw)
    chance = chance_of(3)
    free = [byte for byte in range(100, len(raw)) if pages.what(byte) == "unallocated"]
    assert len(free) > 1_000
    changed = bytearray(raw)
    for byte in chance.sample(free, 500):
        changed[byte] ^= 0xFF
    path.write_bytes(changed)
    with closing(sqlite3.connect(path)) as connection:
        assert connection.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
    body = raw.index(b'"hums"')
    assert pages.what(body) == "content"
    assert "content" not in READ_BY_NOBODY


@pytest.mark.parametrize("database", ["sqlite", "postgresql"])
def test_a_wrong_clock_hides_nothing(database: str, tmp_path: Path, request: pytest.FixtureRequest) -> None:
    """Consoles whose clocks are off take turns: `known` grows, a jump is refused, all see what was acknowledged."""
    url = "" if database == "sqlite" else request.getfixturevalue("server").fresh()
    row = clocks(tmp_path, 20 if database == "sqlite" else 6, 3, url)
    assert row.is_clean, row.told
    assert bool(row.refused) is (database == "sqlite")


def test_a_clock_that_is_believed_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Where a jump is taken and nothing is marked, the campaign says so."""
    monkeypatch.setattr("cfgtrack.store.append.stamp", _Believed)
    row = clocks(tmp_path, 20, 3)
    assert row.unnoticed
    assert "isn't refused" in row.told[0] + row.told[-1] or "marked" in "".join(row.told)


class _Believed:
    jumps = False
    off = 0

    def __init__(self, clock: int, last: int | None, *, most: int) -> None:
        self.known = clock if last is None else max(clock, last + 1)


def test_one_command_runs_them_all_and_tells_one_table(ground: Ground) -> None:
    """A row a campaign, a column a fate; status 1 where something isn't as it must be."""
    words = [
        sys.executable,
        "-m",
        "tests.campaign",
        "--seed",
        "2",
        "--only",
        "flips",
        "hostile",
        "--cases",
        "4",
    ]
    done = subprocess.run(words, cwd=ROOT, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout + done.stderr
    *_, head, first, second = done.stdout.splitlines()
    assert head.split() == ["campaign", *COUNTED]
    assert [first.split()[:2], second.split()[:3]] == [["flips", "4"], ["hostile", "input", "4"]]
    assert [one.name for one in run(ground, [])] == []


def test_a_row_is_clean_only_where_all_ended_well() -> None:
    """Nothing tried is nothing shown; one that is unnoticed, lost or crashed is told, with what repeats it.

    And the row of a finding is as clean as the finding is.
    """
    row = Outcome("digging")
    fates = [row.is_clean]
    row.became("found")
    fates.append(row.is_clean)
    row.became("lost", "spade 3")
    row.fell(ValueError("bent"), "spade 4")
    assert [*fates, row.is_clean] == [False, True, False]
    assert row.told[0] == "digging: lost: spade 3"
    assert "ValueError('bent')" in row.told[1]
    assert [line.split()[1] for line in table([row])] == ["tried", "3"]
    for found in (
        Crowd(accepted=3, refused=2, answers=4, sound=False),
        Creations(early=5, late=11),
        Restores(late=14),
    ):
        row = found.outcome("digging")
        assert (found.is_clean, row.is_clean) == (False, False), row
        assert [told.partition("{")[0] for told in row.told] == ["digging: not clean: "]
    for clean in (
        Crowd(accepted=3, refused=2, answers=4),
        Creations(cut_off=5, late=11),
        Restores(early=1, late=13),
    ):
        row = clean.outcome("digging")
        assert (clean.is_clean, row.is_clean, row.told) == (True, True, [])
