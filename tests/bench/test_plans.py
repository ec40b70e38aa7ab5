"""The bench of what a plan is asked: its plans are what they are said to be."""

from __future__ import annotations

import pytest

from cfgtrack.analysis.orders import orders
from cfgtrack.analysis.verdict import Verdict
from tests.bench.plans import cases, row
from tests.bench.plans_orders import exchanges


@pytest.mark.parametrize(("tracks", "long"), [(2, 40), (3, 20)])
def test_plan_of_exchanges_is_clear_in_every_order(tracks: int, long: int) -> None:
    """Each track has so many steps, at least one step in five waits for another, and every order is clear."""
    ground = exchanges(tracks, long)
    steps = ground.proposal.steps
    assert [len(mine) for mine in ground.proposal.tracks("1").values()] == [long] * tracks
    assert sum(bool(step.after) for step in steps) * 5 >= len(steps)
    assert orders(ground, cures=False).verdict is Verdict.CLEAR


def test_table_of_tiny_plans() -> None:
    """Each case is measured, beside its peer."""
    told = [row(case) for case in cases(small=True)]
    assert [len(one) for one in told] == [6] * len(told)
    assert all(float(one[1].split()[0]) > 0 for one in told)
