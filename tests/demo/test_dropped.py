"""With one step of the demo's plan left out: no grave finding is hidden, and a cure does what its row tells."""

from __future__ import annotations

from dataclasses import replace

import pytest

from cfgtrack.analysis.verdict import folded
from cfgtrack.answers.check import judged, with_cures
from cfgtrack.model.sequence import Step
from cfgtrack.show.check import check_text


def _dropped(written, step):
    """Return the plan without a step, and without the waits for it."""
    kept = (one for one in written.steps if one.id != step)
    steps = (replace(one, after=tuple(a for a in one.after if a != step)) for one in kept)
    return replace(written, steps=tuple(steps))


def _literally(plan, cure):
    """Return the plan with a cure done as it is told: a wait, another order, or steps that take no time."""
    steps = list(plan.steps)
    ids = [one.id for one in steps]
    if cure.waits_for is not None:
        at = ids.index(cure.step)
        steps[at] = replace(steps[at], after=(*steps[at].after, cure.waits_for))
    elif cure.before is not None:
        moved = steps.pop(ids.index(cure.step))
        at = [one.id for one in steps].index(cure.before)
        steps.insert(at, replace(moved, outing=steps[at].outing))
    else:
        where, _, step = cure.at.split(" ")
        at = ids.index(step)
        mine, after = steps[at], where == "after"
        waits = () if after else mine.after
        steps[at + after : at + after] = [
            Step(f"own-{n}", mine.outing, mine.track, action, (0, 0, 0), waits)
            for n, action in enumerate(cure.done)
        ]
    return replace(plan, steps=tuple(steps))


def _wrong(findings):
    return {(one.rule, one.event) for one in findings}


@pytest.mark.parametrize("step", ["2A-11", "2V-12", "2T-10"])
def test_no_grave_finding_is_hidden_and_a_cure_does_what_is_told(past, rules, written, step):
    """Each grave finding has its row, each hazard is told, and the cure of a row takes away what is told with it."""
    plan = _dropped(written, step)
    report = with_cures(past, rules, plan, judged(past, rules, plan))
    assert report.new
    within = folded(report.new)
    rows = [line.split() for line in check_text(report, past.moment).splitlines() if line[:1].isdigit()]
    numbers = {int(words[0]) for words in rows if words[0].isdigit() and words[1].isupper()}
    assert numbers == {n for n, _ in enumerate(report.new, 1)} - within
    assert all(one.severity not in (1, 2) for n, one in enumerate(report.new, 1) if n in within)
    text = " ".join(check_text(report, past.moment).split())
    assert all(" ".join(one.hazard.split()) in text for one in report.new)
    for cause in {one.follows for one in report.new if one.follows is not None}:
        again = judged(past, rules, _literally(plan, report.new[cause - 1].cures[0]))
        left = _wrong(again.new)
        assert left <= _wrong(report.new)
        assert not left & _wrong(one for one in report.new if one.follows == cause)
        assert len(again.left_running) <= len(report.left_running)
