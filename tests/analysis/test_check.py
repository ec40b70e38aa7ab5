"""A check is the engine's own run, laid out in time: it must tell what a run over the same events tells."""

from dataclasses import replace
from functools import partial

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cfgtrack.analysis.check import Start, check, one_step
from cfgtrack.answers.encode import json_of
from cfgtrack.model.action import Action
from cfgtrack.model.configuration import Configuration
from cfgtrack.model.event import Event
from cfgtrack.model.part import InternalLink, Node, Part, Port
from cfgtrack.model.plant import Place, Plant, Unit
from cfgtrack.model.sequence import Deadlock, LeftRunning, Outing, Sequence, Step, TooEarly
from cfgtrack.rules.acknowledgement import Acknowledgement
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
    assert told(report.new) == told(engine.findings(noted))
    late = {(b.rule.id, b.since, b.time, until) for b, until in engine.breaches()[noted:]}
    assert {(f.rule, f.since, f.time, f.until) for f in report.new} == late
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


def mated(plant=PLANT):
    """Return the pump standing in the yard, its tube open to the tank and its valve open."""
    now = Configuration(plant)
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
    assert report.new == ()
    assert report.end == 2 * MINUTE


def test_finding_names_its_step():
    """A finding names the step that broke the rule."""
    report = run((SHUT,), propose("shut P:F", "shut YARD:F", "demate P:F"))
    (finding,) = report.new
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
    assert report.new == ()


def test_tolerance_runs_out():
    """A path that stays cut for longer than the tolerance is a finding at the time when it ran out."""
    report = run((ROOM,), propose("shut P:F", "inspect P", minutes=6))
    (finding,) = report.new
    assert (finding.since, finding.time) == (6 * MINUTE, 11 * MINUTE)
    assert finding.reasons[0].links == ("P:F - YARD:F",)
    assert finding.subjects == ("P:vol",)
    assert [s.stopped for s in report.steps] == [(), ()]


def test_clock_still_runs():
    """A clock that still runs at the end is told apart from what is broken."""
    report = run((ROOM,), propose("shut P:F"))
    assert report.new == ()
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
    assert [(f.rule, f.step) for f in report.new] == [
        ("possible", "1"),
        ("shut", "4"),
    ]
    assert not report.steps[0].possible
    assert report.new[0].reasons[0].code == "status"


def test_open_before():
    """What was open before the proposal and stays so counts, apart from what is new; a past action isn't open."""
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
    assert [f.rule for f in report.open] == ["room"]
    assert [f.rule for f in report.older] == ["shut"]
    assert report.new == ()
    assert report.verdict == "not clear"


def test_variance_sets_apart():
    """A finding under a variance is shown apart, with the variance's id."""
    steps = propose("shut P:F", "shut YARD:F", "demate P:F")
    named = frozenset(code for f in run((SHUT,), steps).new for code in f.fingerprints)
    variance = Variance("V1", "somebody", "a reason", 0, named)
    report = run((SHUT,), steps, variances=(variance,))
    assert report.new == ()
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
    assert [(f.rule, f.time // MINUTE, f.until and f.until // MINUTE) for f in report.new] == [
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
    (finding,) = run((is_open,), sequence).new
    assert (finding.event, finding.until) == ("end:1", MINUTE)


def test_order_done_since():
    """A step that must come since another is missed by its absence."""
    looked = rule(
        "look",
        At(ActionMatch(("open",), Selection(ids=("P:V",)))),
        Done(Selection(ids=("P",)), ("inspect",), ("place",)),
    )
    assert [f.rule for f in run((looked,), propose("shut P:V", "open P:V")).new] == ["look"]
    assert run((looked,), propose("shut P:V", "inspect P", "open P:V")).new == ()


def test_met_at_once():
    """A clock that a step starts and stops at one instant is told neither as started nor as stopped."""
    is_open = Status(Selection(of="it"), ("open",))
    within = rule("soon", Within(5 * MINUTE, ActionMatch(("inspect",), Selection(ids=("P:V",)))), is_open)
    (step,) = run((within,), propose("inspect P:V")).steps
    assert (step.started, step.stopped) == ((), ())


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


# --- the verdict --------------------------------------------------------------------------------------------------

AT_ONCE = rule("at-once", Always(), ROOM.condition, ROOM.scope)
"""The pump's volume reaches the tank, always."""

SOON = rule(
    "soon",
    Within(5 * MINUTE, ActionMatch(("shut",), Selection(ids=("P:V",)))),
    Status(Selection(of="it"), ("open",)),
)


def past(*texts):
    """Return a start after these actions, a minute each, twenty minutes after the mated pump."""
    base = mated()
    now, events = base.fork(), []
    for number, text in enumerate(texts):
        action, subject = text.split()
        events.append(happened(now, Action(f"past{number}", action, (subject,), number * MINUTE)))
        now.apply(events[-1])
    return Start(base, tuple(events), 0, 20 * MINUTE)


def names(findings):
    """Return the rules of findings."""
    return [finding.rule for finding in findings]


def test_what_is_broken_already_counts():
    """A check of an innocent step with something open is not clear: nothing new, and what is open apart."""
    for proposal in (propose("inspect P"), one_step(Action("", "inspect", ("P",), 0))):
        report = check(RuleSet((AT_ONCE,)), past("shut P:V"), proposal)
        assert (report.verdict, report.verdict.status) == ("not clear", 3)
        assert (names(report.new), names(report.open)) == ([], ["at-once"])


def test_what_is_put_right_does_not_count():
    """What was open and is put right by the sequence is told apart, and doesn't count."""
    report = check(RuleSet((AT_ONCE,)), past("shut P:V"), propose("open P:V"))
    assert (report.verdict, names(report.open), names(report.mended)) == ("clear", [], ["at-once"])


def test_what_is_named_as_left_open_does_not_count_but_what_is_new_does():
    """A plan may leave open what it names and what was open before it: never what it breaks itself."""
    (finding,) = check(RuleSet((AT_ONCE,)), past("shut P:V"), propose("inspect P")).open
    named = replace(propose("inspect P"), leaves_open=(*finding.fingerprints, "nothing"))
    report = check(RuleSet((AT_ONCE,)), past("shut P:V"), named)
    assert (report.verdict, names(report.left_open), report.unneeded) == ("clear", ["at-once"], ("nothing",))
    again = replace(propose("open P:V", "shut P:V"), leaves_open=finding.fingerprints)
    report = check(RuleSet((AT_ONCE,)), past("shut P:V"), again)
    assert (report.verdict, names(report.new), names(report.left_open)) == ("not clear", ["at-once"], [])
    assert report.new[0].fingerprints == finding.fingerprints


def test_a_clock_that_is_left_running_counts():
    """A clock with a deadline that a plan starts, or finds running, and leaves running is no clear end."""
    report = run((SOON,), propose("shut P:V"))
    assert (report.verdict, names(report.left_running), report.new) == ("not clear", ["soon"], ())
    found = replace(past(), history=past("shut P:V").history, start=MINUTE)
    report = check(RuleSet((SOON,)), found, propose("inspect P"))
    assert (report.verdict, [c.started for c in report.left_running]) == ("not clear", [0])
    assert run((SOON,), propose("shut P:V", "open P:V")).verdict == "clear"
    endless = replace(SOON, mode=replace(SOON.mode, limit=10**16))
    assert run((endless,), propose("shut P:V")).verdict == "not clear"


def test_a_clock_may_outlive_the_plan_where_its_rule_says_so():
    """A clock of a rule that may outlive a sequence doesn't count."""
    assert run((replace(SOON, may_outlive=True),), propose("shut P:V")).verdict == "clear"


@pytest.mark.parametrize(
    ("start", "verdict"),
    [(0, "not clear"), (MINUTE, "clear"), (6 * MINUTE - 1, "clear"), (6 * MINUTE, "not clear")],
)
def test_a_later_outing_meets_a_clock_if_it_starts_in_time(start, verdict):
    """A clock that a later outing meets doesn't count: one that starts when the plan is over, before the deadline."""
    plan = replace(propose("shut P:V"), leaves_running=(LeftRunning("soon", "P:V", "2", start),))
    report = run((SOON,), plan)
    assert (report.verdict, report.unneeded) == (verdict, ())
    other = replace(plan, leaves_running=(LeftRunning("soon", "P:F", "2", 3 * MINUTE),))
    report = run((SOON,), other)
    assert (report.verdict, report.unneeded) == ("not clear", ("soon of P:F",))


def test_a_single_action_meets_no_clock():
    """The clocks that run when a single action has been done don't count: it ends nothing."""
    report = run((SOON,), one_step(Action("", "shut", ("P:V",), 0)))
    assert (report.verdict, len(report.clocks), report.left_running) == ("clear", 1, ())
    assert report.said_for == "for this action alone"


def test_what_is_left_locked_or_tagged_is_told():
    """Of a whole plan the locks and tags that hang when all is done are told, whoever put them on; nothing else is."""
    held = Start(mated().fork())
    held.configuration.apply(
        happened(held.configuration, Action("t0", "tag", ("YARD:F", "BEN"), 1, initial=True))
    )

    def left(*steps):
        return [
            (one.thing, one.holder, one.is_tag, one.event, one.since)
            for one in check(RuleSet((ROOM,)), held, propose(*steps)).left_on
        ]

    before = ("YARD:F", "BEN", True, "t0", 1)
    assert left("shut P:V", "lock P:V ANN") == [before, ("P:V", "ANN", False, "step:2", 2 * MINUTE)]
    assert left("shut P:V", "lock P:V ANN", "unlock P:V ANN", "untag YARD:F BEN") == []
    assert left("lock P:V ANN") == [before]
    alone = check(RuleSet((ROOM,)), held, one_step(Action("", "tag", ("P:V", "ANN"), 0)))
    assert alone.left_on == ()


def test_a_past_action_counts_while_its_rule_was_in_force_until_it_is_acknowledged():
    """An action that broke a rule in force counts until somebody acknowledges it; one from before is told only."""
    there = rule("there", Always(), Status(Selection(ids=("P",)), (), ("YARD",)))
    rules, begin = RuleSet((SHUT, there)), past("shut P:F", "shut YARD:F", "demate P:F")
    report = check(rules, begin, propose("inspect P"), in_force=lambda _: 2 * MINUTE)
    (finding,) = report.past
    assert (report.verdict, finding.rule, report.open, report.older) == ("not clear", "shut", (), ())
    report = check(rules, begin, propose("inspect P"), in_force=lambda _: 2 * MINUTE + 1)
    assert (report.verdict, report.past, names(report.older)) == ("clear", (), ["shut"])
    seen = Acknowledgement("A1", "lead", "seen", 3 * MINUTE, 3 * MINUTE, frozenset(finding.fingerprints))
    told = partial(check, rules, begin, in_force=lambda _: 0, acknowledgements=(seen,))
    assert told(propose("inspect P")).verdict == "clear"
    report = told(propose("inspect P", "mate P:F YARD:F", "demate P:F"))
    assert (names(report.past), names(report.new)) == ([], ["shut"])


@pytest.mark.parametrize(
    ("end", "verdict"), [(2 * MINUTE, "not clear"), (2 * MINUTE + 1, "clear"), (None, "clear")]
)
def test_a_variance_must_cover_a_finding_for_as_long_as_it_lasts(end, verdict):
    """What is open when the plan is over lasts to its end: a variance that ends before excuses it no more."""
    plan = propose("shut P:V", "inspect P")
    (finding,) = run((AT_ONCE,), plan).new
    variance = Variance("V1", "lead", "drained", 0, frozenset(finding.fingerprints), end)
    report = run((AT_ONCE,), plan, variances=(variance,))
    assert report.verdict == verdict
    assert [f.variance for f in report.excused] == (["V1"] if verdict == "clear" else [])


def test_a_variance_covers_what_was_open_before_from_the_start_on():
    """What was open before counts not when a variance runs from the start of the plan to its end."""
    begin = past("shut P:V")
    (finding,) = check(RuleSet((AT_ONCE,)), begin, propose("inspect P")).open
    for start, verdict in ((begin.start, "clear"), (begin.start + 1, "not clear")):
        variance = Variance("V1", "lead", "drained", start, frozenset(finding.fingerprints))
        report = check(RuleSet((AT_ONCE,)), begin, propose("inspect P"), variances=(variance,))
        assert report.verdict == verdict
    assert (finding.time, finding.until) == (0, None)


@pytest.mark.parametrize(("end", "verdict"), [(29 * MINUTE, "not clear"), (29 * MINUTE + 1, "clear")])
def test_a_variance_lasts_as_long_as_the_plan_may_take(end, verdict):
    """What was open before is excused only if the variance still runs when the plan is over with high durations."""
    begin = past("shut P:V")
    (finding,) = check(RuleSet((AT_ONCE,)), begin, propose("inspect P")).open
    plan = propose("inspect P")
    plan = replace(plan, steps=(replace(plan.steps[0], takes=(MINUTE, 5 * MINUTE, 9 * MINUTE)),))
    variance = Variance("V1", "lead", "drained", 0, frozenset(finding.fingerprints), end)
    assert check(RuleSet((AT_ONCE,)), begin, plan, variances=(variance,)).verdict == verdict


def test_all_that_is_left_open_is_needed():
    """Of several findings that a plan says it leaves open those that are open are needed, whichever comes first."""
    there = rule("there", Always(), Status(Selection(ids=("P",)), (), ("SHELF",)))
    rules = RuleSet((AT_ONCE, there))
    first, second = check(rules, past("shut P:V"), propose("inspect P")).open
    both = (*first.fingerprints, *second.fingerprints)
    report = check(rules, past("shut P:V"), replace(propose("inspect P"), leaves_open=both))
    assert (report.verdict, report.unneeded) == ("clear", ())


def test_each_clock_that_is_left_running_counts_once():
    """Two clocks of one rule and item that are left running are two, with whatever durations."""
    again = rule("soon", Within(30 * MINUTE, ActionMatch(("inspect",))), SHUT.condition)
    plan = propose("inspect P", "inspect P")
    steps = tuple(replace(step, takes=(MINUTE, 2 * MINUTE, 3 * MINUTE)) for step in plan.steps)
    plan = replace(plan, steps=steps, leaves_running=(LeftRunning("lost", "", "2", MINUTE),))
    report = run((again,), plan)
    assert [(c.rule, c.started) for c in report.left_running] == [
        ("soon", 2 * MINUTE),
        ("soon", 4 * MINUTE),
    ]
    assert report.unneeded == ("lost",)


def test_what_can_be_done_with_other_durations_alone_is_judged_then():
    """A step that can't be done with likely durations, and can with others, is judged with those."""
    places = {**PLANT.places, "SHELF": Place("SHELF")}
    now = mated(Plant(MEDIA, KINDS, PLANT.parts, PLANT.units, places))
    takes = (MINUTE, 4 * MINUTE, 5 * MINUTE)
    away = Action("", "place", ("P",), 0, place="SHELF")
    steps = (
        *(_step(i, text, takes, "a") for i, text in enumerate(("shut P:F", "shut YARD:F", "demate P:F"), 1)),
        _step(4, "inspect P", (5 * MINUTE,) * 3, "b"),
        Step("5", "1", "b", away, (MINUTE,) * 3),
    )
    there = rule("there", Always(), Path("hold", Selection(ids=("P",)), Selection(what=("place",))))
    report = check(RuleSet((there,)), Start(now), Sequence(outings=(Outing("1"),), steps=steps))
    assert {(f.rule, f.step) for f in report.new} == {("possible", "5"), ("there", "5")}


def test_nothing_to_judge_is_undecided():
    """Where no rule had anything to judge the verdict is undecided, and the rules are named."""
    report = run((SHUT, SOON), propose("inspect P"))
    assert (report.verdict, report.verdict.status) == ("undecided", 4)
    assert (report.judged, report.idle) == (0, ("shut", "soon"))
    report = run((SHUT, SOON), propose("shut P:V", "open P:V"))
    assert (report.verdict, report.judged, report.idle) == ("clear", 1, ("shut",))
    at_end = rule("outing", By("outing"), Status(Selection(ids=("P:F",)), ("open",)))
    assert run((at_end,), propose("inspect P")).verdict == "clear"
    assert run((at_end,), one_step(Action("", "inspect", ("P",), 0))).idle == ("outing",)


def test_no_verdict_is_undecided_and_not_clear_outranks_it():
    """A rule that can't be judged leaves it undecided; where another is broken besides, it is not clear."""
    silent = replace(SOON, id="silent", mode=replace(SOON.mode, limit="thermal"))
    report = run((silent,), propose("shut P:V", "open P:V"))
    assert (report.verdict, [f.no_verdict for f in report.new]) == ("undecided", [True])
    assert run((silent, AT_ONCE), propose("shut P:V", "open P:V")).verdict == "not clear"


def test_an_impossible_step_is_not_clear():
    """A step that can't be done is not clear, whatever is approved."""
    (finding,) = run((ROOM,), propose("open P:V")).new
    variance = Variance("V1", "lead", "never mind", 0, frozenset(finding.fingerprints))
    report = run((ROOM,), propose("open P:V"), variances=(variance,))
    assert (report.verdict, names(report.new)) == ("not clear", ["possible"])


def test_an_outing_too_early_is_refused_with_new_starts():
    """An outing before the moment asked about is refused; new starts keep the gaps and the time of day."""
    day, moment = 24 * 60 * MINUTE, 10**12
    steps = (_step(1, "inspect P", (MINUTE,) * 3), replace(_step(2, "inspect P", (MINUTE,) * 3), outing="2"))
    outings = (Outing("1", start=moment - 3 * day), Outing("2", start=moment - 2 * day + 5), Outing("3"))
    plan = Sequence(outings=outings, steps=steps)
    with pytest.raises(TooEarly) as caught:
        check(RuleSet((ROOM,)), Start(mated(), start=moment), plan)
    assert (caught.value.first.id, caught.value.starts) == ("1", {"1": moment, "2": moment + day + 5})
    later = replace(plan, outings=tuple(replace(o, start=caught.value.starts.get(o.id)) for o in outings))
    report = check(RuleSet((ROOM,)), Start(mated(), start=moment), later)
    assert [s.start for s in report.steps] == [moment, moment + day + 5]
    with pytest.raises(TooEarly) as caught:
        check(RuleSet((ROOM,)), Start(mated(), start=moment - 3 * day + 1), plan)
    assert caught.value.starts["1"] == moment - 2 * day


def test_an_outing_that_runs_into_the_next_is_a_finding():
    """An outing that should start before the one ahead of it is over starts when that is, and that is a finding."""
    steps = (
        replace(_step(1, "inspect P", (MINUTE, 2 * MINUTE, 6 * MINUTE))),
        replace(_step(2, "inspect P", (MINUTE,) * 3), outing="2"),
    )
    plan = Sequence(outings=(Outing("1"), Outing("2", start=4 * MINUTE)), steps=steps)
    report = run((ROOM,), plan)
    (finding,) = report.new
    assert (finding.rule, finding.subjects, finding.mix, finding.hinges_on) == (
        "overlap",
        ("1", "2"),
        "all high",
        "1",
    )
    assert report.steps[1].start == 4 * MINUTE
    late = replace(plan, outings=(Outing("1"), Outing("2", start=MINUTE)))
    report = run((ROOM,), late)
    assert [(f.rule, f.mix) for f in report.new] == [("overlap", "likely")]
    assert report.steps[1].start == 2 * MINUTE


def test_the_budget_of_an_outing_that_has_begun_counts_from_then():
    """Of an outing that has begun, the time that is gone counts; it goes on now, whatever its planned start was."""
    plan = replace(propose("inspect P", minutes=10), outings=(Outing("1", start=0, budget=30 * MINUTE),))
    begin = Start(mated(), start=25 * MINUTE)
    report = check(RuleSet((ROOM,)), begin, plan, begun={"1": MINUTE})
    (finding,) = report.new
    assert (finding.rule, finding.since, finding.deadline) == ("budget", MINUTE, 31 * MINUTE)
    assert (report.steps[0].start, report.verdict) == (25 * MINUTE, "not clear")
    report = check(RuleSet((ROOM,)), begin, plan, begun={"1": 5 * MINUTE})
    assert (report.verdict, [m.left for m in report.margins]) == ("clear", [0])
    with pytest.raises(TooEarly):
        check(RuleSet((ROOM,)), begin, plan)


def test_the_budget_is_asked_of_high_durations_too():
    """An outing that is over its budget with high durations alone is a finding that names the step that makes it so."""
    plan = propose("inspect P")
    steps = tuple(replace(step, takes=(MINUTE, 2 * MINUTE, 9 * MINUTE)) for step in plan.steps)
    plan = replace(plan, steps=steps, outings=(Outing("1", budget=8 * MINUTE),))
    (finding,) = run((ROOM,), plan).new
    assert (finding.rule, finding.mix, finding.hinges_on) == ("budget", "all high", "1")
    assert run((ROOM,), replace(plan, outings=(Outing("1", budget=9 * MINUTE),))).verdict == "clear"


def test_what_was_taken_for_granted_is_named():
    """Under the verdict stand the steps whose duration, and whose doer, was assumed."""
    plan = propose("inspect P", "inspect P", "inspect P")
    first, second, third = plan.steps
    steps = (replace(first, assumed=True), second, replace(third, doer_assumed=True))
    report = run((ROOM,), replace(plan, steps=steps))
    assert (report.assumed, report.doers_assumed) == (("1",), ("3",))
    assert report.unjudged == ("presence: the plant has no sites",)
