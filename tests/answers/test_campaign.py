"""Many checks as one campaign: whoever does them, each is what `check` answers, of one moment."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest

from cfgtrack.analysis.campaign import Cancelled
from cfgtrack.answers.asking import Asking
from cfgtrack.answers.campaign import check_each
from cfgtrack.answers.check import Checked, check
from cfgtrack.answers.encode import json_of
from cfgtrack.model.time import parse_instant
from cfgtrack.model.trouble import BadInput
from tests.cli.conftest import Command

ACTIONS = ("demate PUMP-1:J1", "shut HALL:V1", "inspect PUMP-1", "de-energise HALL:K1")
NOW = parse_instant("2031-05-01T10:00:00Z")


def told(checks: list[Checked]) -> list[object]:
    """Return what checks tell, as JSON has it."""
    return [json_of(one) for one in checks]


def test_each_is_what_check_answers(cfgtrack: Command) -> None:
    """Files and single actions, done here or by threads, are answered in their order as `check` answers each alone."""
    asking = Asking(str(cfgtrack.db), clock=lambda: NOW)
    proposals: list[Path | str] = [cfgtrack.folder / "good.toml", *ACTIONS, cfgtrack.folder / "bad.toml"]
    alone = told([check(asking, one) for one in proposals])
    here = check_each(asking, proposals)
    with ThreadPoolExecutor(2) as threads:
        there = check_each(asking, proposals, executor=threads)
    assert told(here.results) == told(there.results) == alone
    assert len({one.check.verdict for one in here.results}) > 1


def test_all_are_of_one_moment(cfgtrack: Command) -> None:
    """However long a campaign goes on, all its checks are of the moment at which it began."""
    asking = Asking(str(cfgtrack.db), clock=lambda: next(cfgtrack.ticks))
    results = check_each(asking, ACTIONS).results
    assert len({(one.moment.at, one.moment.known) for one in results}) == 1


def test_what_is_done_is_kept(cfgtrack: Command) -> None:
    """Broken off, a campaign keeps what was done, and is not whole."""

    def enough(done: int, _: int) -> None:
        if done == 2:
            raise Cancelled

    found = check_each(Asking(str(cfgtrack.db), clock=lambda: NOW), ACTIONS, tell=enough)
    assert (len(found.results), found.pieces, found.is_whole) == (2, len(ACTIONS), False)


def test_a_bad_one_is_told(cfgtrack: Command) -> None:
    """What can't be read as an action ends the campaign as it ends a check."""
    with pytest.raises(BadInput):
        check_each(Asking(str(cfgtrack.db), clock=lambda: NOW), [*ACTIONS, "frob"])
