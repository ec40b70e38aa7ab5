"""May the work stop? Held against the ordinary check of a copy of the plan that ends there, and starts again later."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cfgtrack.analysis.check import Start, check
from cfgtrack.analysis.leaving import May
from cfgtrack.analysis.stops import StopReport, Stops, Walk, WayOut, stop_now, stop_points
from cfgtrack.analysis.way_out import Move, Whence, nothing_barred
from cfgtrack.files.definition import parse_definition
from cfgtrack.files.rules import parse_rules
from cfgtrack.files.sequence import parse_sequence
from cfgtrack.model.action import REMARK, Action
from cfgtrack.model.configuration import Configuration
from cfgtrack.model.sequence import LeftRunning, Outing, Sequence, Step
from cfgtrack.model.time import HOUR, MINUTE, format_instant
from cfgtrack.rules.rule import RuleSet
from cfgtrack.rules.when.by import By
from tests.happening import happened
from tests.rules.worlds import SECOND, START, World, draw_world

FAR = 10**9 * SECOND


def planned(world: World) -> tuple[RuleSet, Start, Sequence]:
    """Return the rules, the past and the plan that a random world makes: its last events, one after the other."""
    past, tail = world.events[: world.fork], world.events[world.fork :]
    now = past[-1].happened if past else START
    begin = Start(Configuration(world.plant), past, START, now)
    steps, at = [], now
    for number, event in enumerate(tail):
        takes = event.happened + SECOND - at
        at = event.happened + SECOND
        action = replace(event, id="", outing=None)
        steps.append(Step(str(number), "1", "1", action, (takes, takes, takes)))
    return RuleSet(tuple(world.rules)), begin, Sequence(outings=(Outing("1"),), steps=tuple(steps))


def ended(plan: Sequence, steps: int, back: int | None) -> Sequence:
    """Return a plan that ends its outing after so many steps; with an outing that starts later and does nothing."""
    kept = plan.steps[:steps]
    if back is None:
        return replace(plan, steps=kept)
    nothing = Step("back", "2", "1", Action("", REMARK, (), 0, remark="back"), (0, 0, 0))
    return replace(plan, outings=(*plan.outings, Outing("2", back)), steps=(*kept, nothing))


def in_the_end(rules: RuleSet, rule: str) -> bool:
    """Return whether a rule is asked at the end of a whole sequence alone: at no stop point but the last."""
    mode = next(one.mode for one in rules.rules if one.id == rule)
    return isinstance(mode, By) and mode.end == "sequence"


@given(st.integers(0, 2**32))
@settings(max_examples=60)
def test_a_stop_point_is_a_plan_that_ends_there(seed):
    """What is open at a stop point, and what time breaks first, is what the check of a plan says that ends there."""
    rules, begin, plan = planned(draw_world(seed))
    points = stop_points(rules, begin, plan).points
    turn = {step.id: number for number, step in enumerate(plan.steps, 1)}
    for point in points[1:]:
        left, number = point.as_it_stands, turn[point.step or ""]
        report = check(rules, begin, ended(plan, number, None))
        is_last = point is points[-1]
        expected = {
            code
            for finding in (*report.new, *report.open)
            if (finding.is_open or finding.event == "end:1")
            and (is_last or not in_the_end(rules, finding.rule))
            for code in finding.fingerprints
        }
        found = {code for finding in left.found for code in finding.fingerprints}
        assert found == expected, (number, left.found)

        told = {(finding.time, finding.fingerprints) for finding in report.new}
        later = check(rules, begin, ended(plan, number, report.end + FAR))
        times = [
            finding.time
            for finding in later.new
            if finding.mode in ("always", "within")
            and report.end <= finding.time < report.end + FAR
            and (finding.time, finding.fingerprints) not in told
        ]
        first = None if left.first is None else left.first.time
        assert first == min(times, default=None), number
        assert (left.may is May.NO) == bool(found)


@given(st.integers(0, 2**32))
@settings(max_examples=40)
def test_a_way_is_a_plan_that_may_be_left(seed):
    """A plan that goes on by a way out, step by step, is possible, breaks nothing more, and ends as it should."""
    rules, begin, plan = planned(draw_world(seed))
    walk = Walk(rules, begin, plan)
    stops = Stops(walk)
    stops.find()
    turn = {step.id: number for number, step in enumerate(plan.steps, 1)}
    for place, way in zip(walk.places[1:], stops.ways_out[1:], strict=True):
        if place.step is None or way is None or not way.moves:
            continue
        number = turn[place.step.id]
        assert way.left.may is not May.NO
        before = check(rules, begin, ended(plan, number, None))
        further = [
            Step(f"w{i}", "1", "1", replace(move.action, id=""), (move.takes,) * 3)
            for i, move in enumerate(way.moves)
        ]
        whole = check(rules, begin, replace(plan, steps=(*plan.steps[:number], *further)))
        assert [step.step for step in whole.steps if not step.possible and step.step.startswith("w")] == []
        assert whole.end - before.end == way.end - way.start
        known = {code for finding in before.new for code in finding.fingerprints}
        fresh = [
            f for f in whole.new if f.mode in ("at", "always", "within") and not set(f.fingerprints) <= known
        ]
        assert fresh == [], (number, way.moves)
        still = [f for f in (*whole.new, *whole.open) if f.is_open and not in_the_end(rules, f.rule)]
        assert still == [], (number, way.moves)


# --- a plant of its own ----------------------------------------------------------------------------------------------

PLANT = """
[[part]]
id = "box"
port = [{ name = "J", kind = "electrical-connector" }, { name = "F", kind = "fluid-disconnect" }]
node = [{ name = "HEAT", medium = "power", load = true }]
links = [["J", "HEAT"]]
[[part]]
id = "wall"
port = [{ name = "J", kind = "electrical-connector" }, { name = "K", kind = "switch" }]
node = [{ name = "BUS", medium = "power", source = true }]
links = [["J", "BUS", "K"]]
[[place]]
id = "WALL"
part = "wall"
[[unit]]
id = "BOX"
part = "box"
[initial]
at = 2031-05-01T08:00:00Z
joined = [["BOX:J", "WALL:J"]]
status = { "WALL:K" = "on", "BOX:F" = "capped" }
place = { BOX = "WALL" }
"""

RULES = """
[[rule]]
id = "dead"
title = "No live connector is parted"
hazard = "shock"
severity = 1
source = "common practice"
mode = "at"
at = { action = ["mate", "demate"], kind = "electrical-connector" }
condition = { no_path = "power", from = "it", to = { source = true } }
[[rule]]
id = "warm"
title = "The box is heated, but for an hour"
hazard = "frost"
severity = 2
source = "common practice"
mode = "always"
tolerance = "1 h"
condition = { path = "power", from = "BOX:HEAT", to = { source = true } }
[[rule]]
id = "closed"
title = "Every open end is capped at the end of an outing"
hazard = "dirt"
severity = 3
source = "common practice"
mode = "by"
by = "outing"
scope = { part = "box", kind = ["electrical-connector", "fluid-disconnect"] }
condition = { status = "it", is = ["capped", "mated"] }
"""

PLAN = """
title = "Look at the connector"
[[outing]]
id = "W1"
start = 2031-05-01T10:00:00Z
budget = "5 min"
[[outing.track]]
name = "ann"
steps = [
    { id = "off", do = "de-energise WALL:K", takes = "1 min" },
    { id = "part", do = "demate BOX:J", takes = "2 min" },
    { id = "cap", do = "cap BOX:J", takes = "3 min" },
    { id = "uncap", do = "uncap BOX:J", takes = "1 min" },
    { id = "mate", do = "mate BOX:J WALL:J", takes = "2 min" },
    { id = "on", do = "energise WALL:K", takes = "1 min" },
]
"""

LATER = """
[[outing]]
id = "W2"
start = {start}
[[outing.track]]
name = "ann"
steps = [{{ id = "look", do = "inspect BOX" }}]
"""


def world(plan: str = PLAN):
    """Return the rules, the start and the plan of a box that is heated."""
    definition = parse_definition({"plant.toml": PLANT})
    plant = definition.plant()
    now = Configuration(plant)
    history = tuple(happened(now, event) for event in definition.initial)
    rules = parse_rules({"rules.toml": RULES}, plant)
    began = history[0].happened
    return rules, Start(Configuration(plant), history, began, began), parse_sequence(plan, plant)


def way_of(way: WayOut | None) -> WayOut:
    """Return a way that must be there."""
    assert way is not None
    return way


def verdicts(report: StopReport) -> dict[str | None, tuple[str, str | None]]:
    """Return the verdict after each step, with until when."""
    return {
        point.step: (point.may.value, None if point.until is None else format_instant(point.until)[11:16])
        for point in report.points
    }


def test_the_three_verdicts():
    """A clock runs until its deadline, an open end may not be left, and what is closed and heated may be for ever."""
    assert verdicts(stop_points(*world())) == {
        None: ("yes", None),
        "off": ("until", "11:01"),
        "part": ("no", "10:03"),
        "cap": ("until", "11:01"),
        "uncap": ("no", "10:07"),
        "mate": ("until", "11:01"),
        "on": ("yes", None),
    }


@pytest.mark.parametrize(
    ("start", "expected"), [("2031-05-01T11:01:00Z", "until"), ("2031-05-01T11:02:00Z", "no")]
)
def test_who_comes_back_too_late_may_not_leave(start, expected):
    """A clock that runs out before the next outing starts is no stop point; one that runs out as it starts is."""
    points = stop_points(*world(PLAN + LATER.format(start=start))).points
    verdict = {point.step: point for point in points}["off"]
    assert (verdict.may.value, format_instant(verdict.until or 0)) == (expected, "2031-05-01T11:01:00Z")
    assert format_instant(verdict.as_it_stands.back or 0) == start
    assert verdict.verdict.sets == ("warm",)


def test_the_way_out_is_the_shorter_one():
    """Where a connector is parted it is mated again, or capped as the plan has it: one step, so the shortest."""
    points = {point.step: point for point in stop_points(*world()).points}
    way = way_of(points["part"].way_out)
    assert [(step.action, step.whence.value, step.step) for step in way.steps] == [
        ("mate BOX:J WALL:J", "back", "part")
    ]
    assert way.proved
    assert way.minutes == 2
    assert points["off"].way_out is None


def test_a_way_that_takes_too_long_is_over_budget():
    """A way out that ends after the budget of its outing is over says by how much."""
    points = {point.step: point for point in stop_points(*world()).points}
    assert [way_of(points[name].way_out).over_minutes for name in ("part", "uncap")] == [0, 4]


def test_what_is_left_running_by_intent_counts_for_nothing():
    """A clock that a later outing meets, as the plan says, sets no verdict, nor one that may outlive the work."""
    rules, begin, plan = world()
    met = LeftRunning("warm", "BOX:HEAT", "W2", plan.outings[0].start + 30 * MINUTE)
    assert verdicts(stop_points(rules, begin, replace(plan, leaves_running=(met,))))["off"] == ("yes", None)
    late = replace(met, start=plan.outings[0].start + 2 * HOUR)
    assert verdicts(stop_points(rules, begin, replace(plan, leaves_running=(late,))))["off"][0] == "until"
    outlives = replace(rules, rules=tuple(replace(r, may_outlive=r.id == "warm") for r in rules.rules))
    assert verdicts(stop_points(outlives, begin, plan))["off"] == ("yes", None)


def test_now_without_a_plan_goes_back_over_what_was_recorded():
    """What was recorded since the outing began is taken back, where nobody knows what was to come."""
    rules, begin, plan = world()
    now = Configuration(begin.configuration.plant)
    for event in begin.history:
        now.apply(event)
    done = list(begin.history)
    for number, step in enumerate(plan.steps[:2]):
        event = happened(
            now, replace(step.action, id=f"E{number}", happened=begin.start + (number + 1) * MINUTE)
        )
        now.apply(event)
        done.append(event)
    then = replace(begin, history=tuple(done), start=done[-1].happened)
    point = stop_now(rules, then, Sequence(), begun={"W1": begin.start}, recorded=then)
    assert (point.may, point.outing, point.verdict.sets) == (May.NO, "W1", ("closed",))
    assert [(step.action, step.whence.value) for step in way_of(point.way_out).steps] in (
        [("mate BOX:J WALL:J", "back")],
        [("cap BOX:J", "near")],
    )
    unknown = stop_now(rules, then, Sequence(), recorded=then)
    assert [step.whence.value for step in way_of(unknown.way_out).steps] == ["near"]


def test_what_time_breaks_anyway_is_told_of_a_way():
    """A way on which a clock runs out, as it would if nothing were done, is none in time, but is one that says so."""
    walk = Walk(*world())
    place = walk.go_to(2)
    on = Move(Action("", "energise", ("WALL:K",), 0), MINUTE, Whence.NEAR)
    slowly = [Move(Action("", "mate", ("BOX:J", "WALL:J"), 0), 2 * HOUR, Whence.NEAR), on]
    assert walk.ways.attempt(slowly, place.stopping) is None
    until = place.time + 3 * HOUR
    way = walk.ways.though_late(slowly, place.stopping, until, bars=nothing_barred, most=0)
    assert way is not None
    assert [finding.rule for finding in way.late] == ["warm"]
    in_time = walk.ways.attempt([replace(slowly[0], takes=MINUTE), on], place.stopping)
    assert in_time is not None
    assert in_time.late == ()


def test_how_far_it_is_ends_with_all_that_there_are():
    """Whoever is told how far it is hears of every stop point that is done, up to the last of them."""
    told = []
    report = stop_points(*world(), tell=lambda *so_far: told.append(so_far))
    assert told == [(number, len(report.points)) for number in range(1, len(report.points) + 1)]
