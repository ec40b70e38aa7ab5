"""Given only its goal, the demo's exchange is found; and the written one, with steps taken out, is completed.

What the goal is stands in demo/goal.toml, and that is where the written exchange ends; no thing of the demo is named.
"""

from __future__ import annotations

import random
from dataclasses import replace

import pytest

from cfgtrack.analysis.check import check
from cfgtrack.analysis.completing import complete
from cfgtrack.analysis.exchange import find_exchange, without
from cfgtrack.analysis.goal import Takes, swap
from cfgtrack.files.goal import read_goal, times_in
from cfgtrack.files.sequence import parse_sequence
from cfgtrack.files.sequence_writer import sequence_text
from cfgtrack.model.action import INSPECT, MEASURE, PLACE
from tests.demo.as_run import DEMO, PROMISES

FAILED, SPARE = PROMISES["exchanged"]["failed"], PROMISES["exchanged"]["spare"]


@pytest.fixture(scope="module")
def checked(past, rules):
    """Check a sequence from where the as-run journal ends."""
    return lambda plan: check(rules, past.start, plan, networks=past.networks)


def _end(past, report):
    now = past.configuration.fork()
    for step in report.steps:
        now.apply(step.outcome)
    return now


@pytest.fixture(scope="module")
def goal(past, written):
    """Give the goal in its file, with the durations of the written exchange."""
    read = read_goal(DEMO / "goal.toml", past.configuration)
    return replace(read, takes=Takes(times_in(written, past.plant)))


def test_the_goal_is_where_the_written_exchange_ends(past, written, checked, goal):
    """It wants nothing else, and nothing that promises.toml tells of the places afterwards is left out."""
    end = _end(past, checked(written))
    assert goal.is_met(end)
    assert not goal.is_met(past.configuration)
    places = PROMISES["afterwards"]["places"]
    assert {one.subject: one.places[0] for one in goal.wants if one.places} == places
    assert set(swap(past.configuration, FAILED, SPARE, places[FAILED])) <= set(goal.wants)


def test_the_exchange_is_found_given_only_its_goal(past, written, rules, checked, goal):
    """It is clear, ends where it should, and is no longer than the written one without what no rule asks to be read.

    Of steps drawn by a fixed seed none can be taken from it.
    """
    found = find_exchange(rules, past.start, goal, networks=past.networks)
    assert found.plan is not None
    plan = parse_sequence(sequence_text(found.plan), past.plant)
    told = checked(plan)
    assert told.verdict == "clear"
    assert goal.is_met(_end(past, told))
    reads = [step for step in written.steps if step.action.action in (MEASURE, INSPECT)]
    assert len(plan.steps) <= len(written.steps) - len(reads)
    for step in random.Random(12).sample(plan.steps, 5):
        fewer = checked(without(plan, step.id))
        assert fewer.verdict != "clear" or not goal.is_met(_end(past, fewer))


@pytest.mark.parametrize(("seed", "many"), [(1, 3), (2, 6), (7, 10)])
def test_what_is_taken_out_of_the_written_exchange_is_put_in_again(past, rules, written, checked, seed, many):
    """Walking, carrying, capping and uncapping, drawn and taken out: it isn't clear, and is so once completed."""
    moves = [
        step.id
        for step in written.steps
        if step.action.action in ("cap", "uncap")
        or (step.action.action == PLACE and past.plant.is_mobile(step.action.subjects[0]))
        or (
            past.plant.is_mobile(step.action.subjects[0].partition(":")[0]) and ":" in step.action.subjects[0]
        )
    ]
    stripped = written
    for step in random.Random(seed).sample(moves, many):
        stripped = without(stripped, step)
    assert checked(stripped).verdict == "not clear"
    takes = Takes(times_in(written, past.plant))
    done = complete(rules, past.start, stripped, takes=takes, networks=past.networks)
    assert (str(done.report.verdict), done.left) == ("clear", ())
    assert 0 < len(done.added) <= 2 * many
    assert {step.id for step in stripped.steps} <= {step.id for step in done.plan.steps}
