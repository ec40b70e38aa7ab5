"""A short run of the hostile input; `python -m tests.campaign --only hostile` runs as many cases as one likes."""

from __future__ import annotations

import os
import random
from pathlib import Path

import pytest

from tests.campaign import hostile
from tests.campaign.hostile import World, one, run
from tests.campaign.outcome import Wrong

CASES = int(os.environ.get("CFGTRACK_HOSTILE", "220"))


def test_hostile_input_is_refused_or_found() -> None:
    """Of every kind of input, whatever is done to it: told, or taken as what it says; no crash, nothing unnoticed."""
    report = run(11, CASES)
    assert report.is_clean, "\n".join(report.told)
    assert report.tried == CASES
    assert report.refused > CASES // 3


def test_a_case_is_repeated_by_its_number() -> None:
    """The same seed and number is the same case, whichever cases come before it."""
    whole, alone = run(7, 24), run(7, 1, first=23)
    first = run(7, 23)
    assert alone.refused == whole.refused - first.refused
    assert alone.found == whole.found - first.found


def test_a_command_that_falls_over_is_no_clean_campaign(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A traceback is counted as a crash, and told with the number that repeats it."""

    def fall(*_: object, **__: object) -> None:
        raise RuntimeError("fallen")

    good = run(3, 6, kind="rows")
    kept = World(tmp_path)  # made while rows can still be read
    monkeypatch.setattr("cfgtrack.answers.transfer.read_rows", fall)
    monkeypatch.setattr(hostile, "World", lambda folder: kept)
    report = run(3, 6, kind="rows")
    assert good.crashed == 0
    assert (report.crashed, report.is_clean) == (6, False)
    assert report.told[0].startswith("hostile input: crashed: case 0, rows: RuntimeError")


def test_an_answer_that_acts_is_no_clean_campaign(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Where nothing is filtered, answers act on the terminal, and the campaign says so."""
    good = World(tmp_path)
    good.cases["bad"] = lambda folder, _: ("remark", "PUMP-1", "\u202e", "--at", hostile.AT)
    assert one(good, "bad", random.Random(1)) == "found"
    for room in ("visible", "tables"):
        monkeypatch.setattr(f"cfgtrack.show.{room}.visible", lambda text, **_: text)
    with pytest.raises(Wrong, match="acts on a terminal"):
        one(good, "bad", random.Random(1))


def test_a_change_by_what_was_refused_is_wrong(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A journal that isn't as it was after a refusal is no refusal."""
    good = World(tmp_path)
    seen = iter([[1], [2]])
    monkeypatch.setattr(hostile, "leaves", lambda _: next(seen))
    good.cases["bad"] = lambda folder, _: ("state", "NOBODY")
    with pytest.raises(Wrong, match="writes and ends in 4"):
        one(good, "bad", random.Random(1))
