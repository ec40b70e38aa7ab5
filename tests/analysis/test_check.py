"""A check is the engine's own run, laid out in time: it must tell what a run over the same events tells."""

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cfgtrack.analysis.check import Delay, Start, check, one_step
from cfgtrack.answers.encode import json_of
from cfgtrack.model.action import Action
from cfgtrack.model.configuration import Configuration
from cfgtrack.model.event import Event
from cfgtrack.model.part import InternalLink, Node, Part, Port
from cfgtrack.model.plant import Place, Plant, Unit
from cfgtrack.model.sequence import Deadlock, Outing, Sequence, Step
from cfgtrack.rules.engine import Engine
from cfgtrack.rules.match import ActionMatch
from cfgtrack.rules.rule import Rule, RuleSet
from cfgtrack.rules.selection import Selection
from cfgtrack.rules.variance import Variance
from cfgtrack.rules.what.done import Done
from cfgtrack.rules.what.path import Path
from cfgtrack.rules.what.status import Status
from cfgtrack.rules.when.always import Always
from cfgtrack.rules.when.at import At
from cfgtrack.rules.when.by import By
from cfgtrack.rules.when.within import Within
from tests.happening import happened
from tests.rules.worlds import KINDS, MEDIA, SECOND, START, draw_world


def told(findings):
    """Return what findings say, whatever the events are called."""
    return sorted(((f.rule, f.subjects, f.since, f.time, f.until, f.reasons) for f in findings), key=repr)


@given(st.integers(0, 2**32))
@settings(max_examples=200)
def test_check_is_a_run(seed):
    """Past and proposal checked in two parts give the findings of one run over all of it."""
    world = draw_world(seed)
    past, tail = world.events[: world.fork], world.events[world.fork :]
    now = past[-1].happened if past else START
    tail = tuple(replace(e, happened=e.happened + SECOND) for e in tail)
    begin = Start(Configuration(world.plant), past, START, now)
    rules = RuleSet(tuple(r for r in world.rules if not isinstance(r.mode, By)))
    steps, at = [], now
    for event in tail:
        takes = event.happened - at
        at = event.happened
        steps.append(Step(event.id, "1", "1", replace(event, id=""), (takes, takes, takes)))
    report = check(rules, begin, Sequence(outings=(Outing("1"),), steps=tuple(steps)))

    engine = Engine(rules, Configuration(world.plant), start=START)
    for event in past:
        engine.step(event)
    engine.finish(now)
    noted = engine.noted
    # Ids of their own, as every event has: what two events break at one instant is told as two findings.
    first, last = (Event(f"the {a}", a, (), t, outing="1") for a, t in (("begin", now), ("end", at)))
    for event in (first, *tail, last):
        engine.step(event)
    engine.end_sequence()
    assert told(report.findings) == told(engine.findings(noted))
    late = {(b.rule.id, b.since, b.time, until) for b, until in engine.breaches()[noted:]}
    assert {(f.rule, f.since, f.time, f.until) for f in report.findings} == late
    assert all(s.possible for s in report.steps)


# --- one small loop -----------------------------------------------------------------------------------------------

PUMP = Part(
    "pump",
    ports={"F": Port("F", "tube"), "V": Port("V", "valve"), "B": Port("B", "bolt")},
    nodes={"vol": Node("vol", "fluid", litres=1.0)},
    links=(InternalLink("vol", "F", "V"),),
)
BASE = Part(
    "base",
    ports={"F": Port("F", "tube"), "B": Port("B", "bolt")},
    nodes={"tank": Node("tank", "fluid", roles=frozenset({"expansion"}))},
    links=(InternalLink("F", "tank"),),
)
PLANT = Plant(
    MEDIA,
    KINDS,
    {"pump": PUMP, "base": BASE},
    {"P": Unit("P", "pump")},
    {"YARD": Place("YARD", part="base", holds=True)},
)
MINUTE = 60 * SECOND


def mated():
    """Return the pump standing in the yard, its tube open to the tank and its valve open."""
    now = Configuration(PLANT)
    for action, subjects, place in (
        ("as-found", ("P",), "YARD"),
        ("mate", ("P:F", "YARD:F"), None),
        ("open", ("P:F",), None),
        ("open", ("YARD:F",), None),
        ("open", ("P:V",), None),
    ):
        now.apply(happened(now, Action("set-up", action, subjects, 0, place=place, initial=True)))
    return now


def rule(name, mode, condition, scope=None):
    """Return a rule of severity 1."""
    return Rule(name, "", "", 1, "common practice", mode, condition, scope)


ROOM = rule(
    "room",
    Always(5 * MINUTE),
    Path("fluid", Selection(of="it"), Selection(expansion=True)),
    Selection(liquid=True),
)
SHUT = rule(
    "shut", At(ActionMatch(("demate",), Selection(ids=("P:F",)))), Status(Selection(ids=("P:V",)), ("shut",))
)


def propose(*steps, minutes=1):
    """Return a sequence of one outing and one track from actions, each a text of words."""
    takes = (minutes * MINUTE,) * 3
    made = [_step(i, text, takes) for i, text in enumerate(steps, 1)]
    return Sequence(outings=(Outing("1"),), steps=tuple(made))


def _step(number, text, takes, track="1", after=()):
    action, *subjects = text.split()
    return Step(str(number), "1", track, Action("", action, tuple(subjects), 0), takes, after)


def run(rules, sequence, **more):
    """Check a sequence from the mated pump."""
    return check(RuleSet(rules), Start(mated()), sequence, **more)


def test_clean():
    """A sequence that breaks nothing has no findings, and ends when its last step does."""
    report = run((ROOM, SHUT), propose("shut P:V", "shut P:F", "shut YARD:F", "open P:V", minutes=0.5))
    assert report.findings == ()
    assert report.end == 2 * MINUTE


def test_finding_names_its_step():
    """A finding names the step that broke the rule."""
    report = run((SHUT,), propose("shut P:F", "shut YARD:F", "demate P:F"))
    (finding,) = report.findings
    assert finding.step == "3"
    assert finding.time == 3 * MINUTE


def test_tolerance_starts_and_stops():
    """A step that cuts the path starts a clock, the one that restores it stops it and tells what was left."""
    report = run((ROOM,), propose("shut P:F", "inspect P", "open P:F"))
    (started,), (stopped,) = report.steps[0].started, report.steps[2].stopped
    assert (started.rule, started.subject, started.started) == ("room", "P:vol", MINUTE)
    assert started.deadline == 6 * MINUTE
    assert stopped.left == 3 * MINUTE
    assert json_of(started) == {
        "rule": "room",
        "title": None,
        "severity": 1,
        "category": "catastrophic",
        "subject": "P:vol",
        "started": "1970-01-01T00:01:00Z",
        "deadline": "1970-01-01T00:06:00Z",
        "trigger": None,
        "missing": None,
        "left_seconds": None,
    }
    assert json_of(stopped) == {**json_of(started), "left_seconds": 180}
    assert json_of(replace(started, deadline=None))["deadline"] is None
    assert report.findings == ()


def test_tolerance_runs_out():
    """A path that stays cut for longer than the tolerance is a finding at the time when it ran out."""
    report = run((ROOM,), propose("shut P:F", "inspect P", minutes=6))
    (finding,) = report.findings
    assert (finding.since, finding.time) == (6 * MINUTE, 11 * MINUTE)
    assert finding.reasons[0].links == ("P:F - YARD:F",)
    assert finding.subjects == ("P:vol",)
    assert [s.stopped for s in report.steps] == [(), ()]


def test_clock_still_runs():
    """A clock that still runs at the end is told apart from what is broken."""
    report = run((ROOM,), propose("shut P:F"))
    assert report.findings == ()
    (clock,) = report.clocks
    assert clock.deadline == 6 * MINUTE
    (told,) = json_of(report)["clocks"]
    assert {k: told[k] for k in ("rule", "subject", "trigger", "started", "deadline")} == {
        "rule": "room",
        "subject": "P:vol",
        "trigger": "shut P:F",
        "started": "1970-01-01T00:01:00Z",
        "deadline": "1970-01-01T00:06:00Z",
    }
    assert [reason["code"] for reason in told["missing"]] == ["no-path"]
    assert json_of(replace(clock, deadline=None))["deadline"] is None


def test_impossible_step_is_a_finding():
    """A step that can't be done is a finding, and the rest is checked without it."""
    report = run((SHUT,), propose("mate P:F YARD:F", "shut P:F", "shut YARD:F", "demate P:F"))
    assert [(f.rule, f.step) for f in report.findings] == [
        ("possible", "1"),
        ("shut", "4"),
    ]
    assert not report.steps[0].possible
    assert report.findings[0].reasons[0].code == "status"


def test_open_before():
    """What was open before the proposal is told apart; what was broken at an action in the past isn't open."""
    base = mated()
    past = []
    now = base.fork()
    for i, text in enumerate(("shut P:F", "shut YARD:F", "demate P:F")):
        action, subject = text.split()
        event = happened(now, Action(f"past{i}", action, (subject,), i * MINUTE))
        now.apply(event)
        past.append(event)
    begin = Start(base, tuple(past), 0, 20 * MINUTE)
    report = check(RuleSet((ROOM, SHUT)), begin, propose("inspect P"))
    assert [f.rule for f in report.before] == ["room"]
    assert report.findings == ()


def test_variance_sets_apart():
    """A finding under a variance is shown apart, with the variance's id."""
    steps = propose("shut P:F", "shut YARD:F", "demate P:F")
    named = frozenset(code for f in run((SHUT,), steps).findings for code in f.fingerprints)
    variance = Variance("V1", "somebody", "a reason", 0, named)
    report = run((SHUT,), steps, variances=(variance,))
    assert report.findings == ()
    assert [f.variance for f in report.excused] == ["V1"]


def test_stop_points_and_ends():
    """A rule for stop points is judged after every step, one for the outing and one for the sequence at their end."""
    capped = Status(Selection(ids=("P:F",)), ("demated", "open"))
    rules = (
        rule("stop", By("stop"), capped),
        rule("outing", By("outing"), capped),
        rule("all", By("sequence"), capped),
    )
    report = run(rules, propose("shut P:F", "open P:F", "shut P:F"))
    assert [(f.rule, f.time // MINUTE, f.until and f.until // MINUTE) for f in report.findings] == [
        ("stop", 1, 2),
        ("all", 3, None),
        ("outing", 3, None),
        ("stop", 3, None),
    ]


def test_outings_one_after_the_other():
    """An outing that ends when the next begins is judged as it ended, whatever is done then in the next."""
    steps = (_step(1, "shut P:F", (MINUTE,) * 3), replace(_step(2, "open P:F", (0, 0, 0)), outing="2"))
    sequence = Sequence(outings=(Outing("1"), Outing("2")), steps=steps)
    is_open = rule("outing", By("outing"), Status(Selection(ids=("P:F",)), ("open",)))
    (finding,) = run((is_open,), sequence).findings
    assert (finding.event, finding.until) == ("end:1", MINUTE)


def test_order_done_since():
    """A step that must come since another is missed by its absence."""
    looked = rule(
        "look",
        At(ActionMatch(("open",), Selection(ids=("P:V",)))),
        Done(Selection(ids=("P",)), ("inspect",), ("place",)),
    )
    assert [f.rule for f in run((looked,), propose("shut P:V", "open P:V")).findings] == ["look"]
    assert run((looked,), propose("shut P:V", "inspect P", "open P:V")).findings == ()


def test_met_at_once():
    """A clock that a step starts and stops at one instant is told neither as started nor as stopped."""
    is_open = Status(Selection(of="it"), ("open",))
    within = rule("soon", Within(5 * MINUTE, ActionMatch(("inspect",), Selection(ids=("P:V",)))), is_open)
    (step,) = run((within,), propose("inspect P:V")).steps
    assert (step.started, step.stopped) == ((), ())


def test_outing_on_time_is_not_delayed():
    """An outing that starts as planned isn't delayed; one that is planned before the moment of the check is."""
    steps = (_step(1, "inspect P", (MINUTE,) * 3),)
    on_time = Sequence(outings=(Outing("1", start=10**12),), steps=steps)
    assert run((), on_time).delayed == ()
    late = check(RuleSet(), Start(mated(), start=10**12), replace(on_time, outings=(Outing("1", start=5),)))
    assert late.delayed == (Delay("1", 5, 10**12),)


def test_tracks_wait():
    """Steps that wait for each other are a deadlock; a step that waits for one of another track runs after it."""
    takes = (MINUTE,) * 3
    two = (_step(1, "shut P:V", takes, "a", ("2",)), _step(2, "shut P:F", takes, "b", ("1",)))
    with pytest.raises(Deadlock):
        run((), Sequence(outings=(Outing("1"),), steps=two))
    report = run((), Sequence(outings=(Outing("1"),), steps=(two[0], replace(two[1], after=()))))
    assert [(s.step, s.end // MINUTE) for s in report.steps] == [("2", 1), ("1", 2)]


def test_single_action():
    """A single proposed action is checked like a sequence of one step."""
    within = rule(
        "soon",
        Within(5 * MINUTE, ActionMatch(("shut",), Selection(ids=("P:V",)))),
        Status(Selection(of="it"), ("open",)),
    )
    report = run((within,), one_step(Action("", "shut", ("P:V",), 0)))
    assert [d.deadline for d in report.steps[0].started] == [5 * MINUTE]
