"""This step fails: held against a slow run that begins anew for every step, and asks what the rules say of it."""

from __future__ import annotations

import pickle
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cfgtrack.analysis.failures import Question, failures, failures_of
from cfgtrack.answers.encode import json_of
from cfgtrack.files.failures import ways_of_failing
from cfgtrack.model.action import MEASURE
from cfgtrack.model.event import Event
from cfgtrack.model.failing import Barred
from cfgtrack.model.possibility import Impossible, resolve
from cfgtrack.model.trouble import BadInput
from cfgtrack.rules.engine import Engine
from cfgtrack.rules.rule import RuleSet
from cfgtrack.rules.when.by import By
from tests.analysis.test_stops import planned, world
from tests.rules.worlds import draw_world

# --- the slow reference ----------------------------------------------------------------------------------------------


def broken_by(rules, begin, events, last):
    """Return what the last of some events breaks, in an engine that begins where the record does."""
    plain = RuleSet(tuple(rule for rule in rules.rules if not isinstance(rule.mode, By)))
    engine = Engine(plain, begin.configuration.fork(), start=begin.began)
    for event in begin.history:
        engine.step(event)
    engine.finish(begin.start)
    for event in events:
        engine.step(event)
        engine.settle()
    engine.advance(last.happened)
    noted = engine.noted
    engine.step(last)
    engine.settle()
    return {(b.rule.id, b.it, b.part) for b in engine.breaches_since(noted).values()}


def as_planned(begin, plan):
    """Return the events of a plan of one track, those that can't be done left out, and where each begins from."""
    now = begin.configuration.fork()
    for event in begin.history:
        now.apply(event)
    out, at = [], begin.start
    for step in plan.steps:
        at += step.takes[1]
        outcome = resolve(now, replace(step.action, id=f"step:{step.id}", happened=at))
        if isinstance(outcome, Event):
            out.append((step, outcome, now.fork()))
            now.apply(outcome)
    return out


def dying(rules, begin, done, number, barred):
    """Return the later steps that die of it if a step fails, each by trying it from the beginning of all."""
    dead, events = {done[number][0].id}, [event for _, event, _ in done[:number]]
    now = done[number][2].fork()
    out = []
    for later, (step, event, _) in enumerate(done[number + 1 :], number + 1):
        dies = None
        if any(one in dead for one in step.after):
            dies = "waits"
        else:
            outcome = resolve(now, replace(step.action, id=event.id, happened=event.happened))
            if isinstance(outcome, Impossible):
                dies = "impossible"
            elif barred.bars(outcome):
                dies = "barred"
            else:
                usual = broken_by(rules, begin, [e for _, e, _ in done[:later]], event)
                if broken_by(rules, begin, events, outcome) - usual:
                    dies = "breaks"
        if dies is None:
            now.apply(outcome)
            events.append(outcome)
        else:
            dead.add(step.id)
            out.append((step.id, dies))
    return out


@given(st.integers(0, 2**32), st.randoms(use_true_random=False))
@settings(max_examples=25)
def test_who_dies_is_who_does_when_all_is_run_anew(seed, r):
    """The steps that die of a failure, and why, are those of a run that knows no shortcut."""
    rules, begin, plan = planned(draw_world(seed))
    kept = tuple(step for step in plan.steps if step.action.action != MEASURE)[:10]
    waiting = tuple(
        replace(step, after=(r.choice(kept[:i]).id,) if i and r.random() < 0.3 else ())
        for i, step in enumerate(kept)
    )
    plan = replace(plan, steps=waiting)
    done = as_planned(begin, plan)
    known = {step.id for step, _, _ in done}
    report = failures(Question(rules, begin, plan, ways_of_failing()))
    turn = {step.id: number for number, (step, _, _) in enumerate(done)}
    ways = {one.id: one for one in ways_of_failing()}
    for failure in report.failures:
        way = ways[failure.fails[0].id]
        if way.found or way.bars == "doer":
            continue
        number = turn[failure.step]
        barred = Barred.by(way, done[number][1])
        expected = dying(rules, begin, done, number, barred)
        found = [(one.step, one.dies.value) for one in failure.dead if one.step in known]
        assert found == expected, (failure.step, way.id)


# --- a plant of its own -----------------------------------------------------------------------------------------------


def rows(report, step):
    """Return the failures of a step by the ways in which it fails."""
    return {tuple(way.id for way in one.fails): one for one in report.failures if one.step == step}


def question(**more):
    """Return the question about the box that is heated."""
    rules, begin, plan = world()
    return Question(rules, begin, plan, ways_of_failing(), **more)


def test_a_stuck_switch_keeps_the_connector_on():
    """Where the power can't be taken off the connector isn't parted: what follows is impossible, all is safe."""
    found = rows(failures(question()), "off")
    assert list(found) == [("stuck",)]
    failure = found["stuck",]
    assert [(one.step, one.dies.value) for one in failure.dead] == [
        ("part", "breaks"),
        ("cap", "impossible"),
        ("uncap", "impossible"),
        ("mate", "impossible"),
        ("on", "impossible"),
    ]
    assert failure.dead[0].why == "dead"
    assert (failure.safe, failure.left.until, failure.way_out.steps) == (True, None, ())


def test_a_connector_that_wont_seat_has_a_cap_for_a_way_out():
    """What can't be mated again is capped; the box gets cold, and that is told with its time."""
    failure = rows(failures(question()), "mate")["wont-seat",]
    assert [(one.step, one.dies.value) for one in failure.dead] == []
    assert (failure.left.runs_out.rule, failure.way_out.left.may.value) == ("warm", "until")
    assert [step.action for step in failure.way_out.steps] == ["cap BOX:J"]


def test_somebody_must_be_back_where_a_clock_runs_on_and_nothing_need_be_done():
    """Whoever reads JSON is told, too, that all is safe only until a time by which no outing is planned."""
    report = failures(question())
    told = {(one.step, one.fails[0].id): json_of(one)["must_be_back"] for one in report.failures}
    assert told["on", "stuck"]
    assert not told["off", "stuck"]  # nothing ever runs out
    assert not told["mate", "wont-seat"]  # there is something to be done first
    assert sum(told.values()) == 3


def test_one_step_is_answered_as_among_all():
    """A question about one step says of it what the question about all says, but for the length of ways."""
    whole = failures(question())
    alone = failures(question(only="part"))
    assert {one.step for one in alone.failures} == {"part"}
    assert [(one.fails, one.dead, one.left) for one in alone.failures] == [
        (one.fails, one.dead, one.left) for one in whole.failures if one.step == "part"
    ]


def test_failures_are_asked_in_parts():
    """Another process can be asked about some of the steps: the question is a value, and the parts are the whole."""
    whole = failures(question())
    told = pickle.loads(pickle.dumps(question()))
    assert failures_of(told, ["off", "mate"]) == [f for f in whole.failures if f.step in ("off", "mate")]
    with ThreadPoolExecutor(2) as executor:
        assert failures(question(), executor=executor, parts=3) == whole


OTHER = """
[[failure]]
id = "stuck"
title = "sticks"
cause = "rust"
action = ["de-energise"]
kind = ["switch"]
bars = "action"
[[failure]]
id = "hums"
title = "hums"
cause = "loose"
does = ["gate"]
bars = "nothing"
"""


def test_ways_of_failing_are_data(tmp_path):
    """A file adds ways of failing, and replaces those of the same id."""
    file = tmp_path / "failing.toml"
    file.write_text(OTHER, encoding="utf-8")
    ways = {one.id: one for one in ways_of_failing([file])}
    assert len(ways) == len(ways_of_failing()) + 1
    assert ways["stuck"].title == "sticks"
    asked = replace(question(), failing=tuple(ways.values()))
    told = {way.title: one for one in failures(asked).failures if one.step == "off" for way in one.fails}
    assert told.keys() == {"sticks", "hums"}
    # The plan takes the power off once: barred or not, no later step does it again, and both are one row.
    assert told["sticks"] is told["hums"]


@pytest.mark.parametrize(
    ("text", "code", "says"),
    [
        ('[[failure]]\nid = "x"\ntitle = "x"\ncause = "x"\nbars = "action"\n', "missing", "what it does"),
        (
            '[[failure]]\nid = "x"\ntitle = "x"\ncause = "x"\nbars = "all"\naction = ["mate"]\n',
            "unknown",
            "all",
        ),
        (
            '[[failure]]\nid = "x"\ntitle = "x"\ncause = "x"\nbars = "unit"\ndoes = ["flies"]\n',
            "unknown",
            "flies",
        ),
        ('[[failure]]\nid = "x"\ntitle = "x"\nbars = "unit"\ndoes = ["moves"]\n', "missing", "cause"),
        ('[[failure]]\nid = "x"\nhow = 3\n', "unknown", "how"),
    ],
)
def test_a_bad_way_of_failing_is_refused(tmp_path, text, code, says):
    """What is wrong with a way of failing is told with its place in the file."""
    file = tmp_path / "failing.toml"
    file.write_text(text, encoding="utf-8")
    with pytest.raises(BadInput) as err:
        ways_of_failing([file])
    assert any(code in one.code and says in one.sentence for one in err.value.problems), err.value.problems
    assert all(one.where.startswith(str(file)) for one in err.value.problems)
