"""The demo's plan in any order: it is clear in each, and what its waits are good for.

Nothing here names a thing of the demo's plant: waits are the plan's own, taken out one by one.
"""

from __future__ import annotations

from random import Random
from typing import TYPE_CHECKING

import pytest

from cfgtrack.analysis.orders import (
    Ground,
    Orders,
    Wait,
    orders,
    without_wait,
)
from cfgtrack.analysis.verdict import Verdict
from tests.rules.test_engine import CASES

if TYPE_CHECKING:
    from cfgtrack.model.sequence import Sequence

USUAL = 300
"""So many cases are tried of what is drawn, unless more are asked for."""


@pytest.fixture(scope="module")
def ground(past, rules, written):
    """Give what its orders are searched on."""
    return Ground(
        rules,
        past.start_for(rules),
        written,
        networks=past.networks,
        variances=past.variances,
        begun=past.begun,
    )


def test_clear_in_every_order(ground):
    """The plan is clear in every order that its waits and its people allow."""
    report = orders(ground)
    assert report.verdict is Verdict.CLEAR
    assert (report.cut, report.unjudged, report.crashed) == (False, (), ())


def waits_of(plan: Sequence) -> list[Wait]:
    """Return the waits of a plan."""
    return [Wait(step.id, other) for step in plan.steps for other in step.after]


def test_each_wait_is_needed_or_is_not(ground, written):
    """Without a wait either some order goes wrong, and not with the wait; or every order is clear without it, too.

    Of all of them a few each time, drawn anew; all where `CFGTRACK_CASES` asks for more than usual.
    """
    searching = Orders(ground)
    assert searching.search(written).bad is None
    known, number = searching.known, {outing.id: n for n, outing in enumerate(written.outings)}
    outing_of = {step.id: number[step.outing] for step in written.steps}
    waits = waits_of(written)
    for wait in waits if CASES > USUAL else Random().sample(waits, 4):
        without = without_wait(written, wait)
        found = searching.anew_from(without, outing_of[wait.step], known)
        assert not found.cut
        if found.bad is not None:
            told = searching.replay(without, found.bad.steps)
            assert told is not None
            assert told.steps == found.bad.steps
            steps = found.bad.steps
            assert wait.waits_for not in steps[: steps.index(wait.step)]
