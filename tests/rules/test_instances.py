"""What is broken already never hides what breaks next: each case once gave a clean answer, or blamed another."""

from __future__ import annotations

from dataclasses import replace

import pytest

from cfgtrack.analysis.check import Start, check
from cfgtrack.analysis.options import options
from cfgtrack.model.action import Action
from cfgtrack.model.configuration import Configuration
from cfgtrack.model.sequence import Outing, Step
from cfgtrack.model.sequence import Sequence as Proposal
from cfgtrack.rules.condition import Condition
from cfgtrack.rules.engine import Engine
from cfgtrack.rules.finding import Finding
from cfgtrack.rules.match import ActionMatch
from cfgtrack.rules.rule import Rule, RuleSet
from cfgtrack.rules.selection import Selection
from cfgtrack.rules.variance import Variance, under_variance
from cfgtrack.rules.what.all import All
from cfgtrack.rules.what.any import AnyOf
from cfgtrack.rules.what.count import Count
from cfgtrack.rules.what.no_path import NoPath
from cfgtrack.rules.what.not_ import Not
from cfgtrack.rules.what.path import Path
from cfgtrack.rules.what.status import Status
from cfgtrack.rules.when.always import Always
from cfgtrack.rules.when.at import At
from cfgtrack.rules.when.by import By
from cfgtrack.rules.when.within import Within
from tests.rules.test_regressions import PLANT, SECOND, TANK, TOGETHER, events, rule

LIQUID = Selection(liquid=True)
SWITCHES = Selection(kinds=("switch",))
VALVES = Selection(kinds=("valve",))
ROOM = rule(Always(), Path("fluid", LIQUID, TANK))
ON = Status(SWITCHES, ("on",))
ALL_OPEN = ("0 open X:V", "0 open Y:V", "0 open Z:V")
ALL_ON = ("0 energise X:S", "0 energise Y:S", "0 energise Z:S")


def judged(the_rule: Rule, *lines: str, end: int = 100) -> Engine:
    """Return an engine that has judged a history."""
    engine = Engine(RuleSet((the_rule,)), Configuration(PLANT), start=0)
    for event in events(*lines):
        engine.step(event)
    engine.finish(end * SECOND)
    return engine


def told(the_rule: Rule, *lines: str, end: int = 100) -> list[tuple[str, int, int | None]]:
    """Return for whom a history breaks a rule: whom, when, until when, in seconds."""
    found = judged(the_rule, *lines, end=end).findings()
    return [(" ".join(f.subjects), f.time // SECOND, f.until and f.until // SECOND) for f in found]


def test_a_rule_without_scope_tells_all_that_it_is_broken_for():
    """Valves are shut one after another: each volume that is cut off is told, and ends by itself."""
    lines = (*ALL_OPEN, "1 shut X:V", "2 shut Y:V", "3 open X:V")
    assert told(ROOM, *lines) == [("X:vol", 1, 3), ("Y:vol", 2, None)]


def test_a_variance_for_the_first_leaves_the_second():
    """What was approved of the first valve excuses nothing that the second cuts off."""
    first, second = judged(ROOM, *ALL_OPEN, "1 shut X:V", "2 shut Y:V").findings()
    approved = Variance("v", "lead", "known", 0, frozenset(first.fingerprints))
    plain, excused = under_variance([first, second], [approved])
    assert [f.subjects for f in plain] == [second.subjects]
    assert [f.subjects for f in excused] == [first.subjects]


def proposing(*words: str) -> Proposal:
    """Return a plan of one track that shuts these valves."""
    steps = (Step(valve, "1", "a", Action("", "shut", (valve,), 0), (SECOND,) * 3) for valve in words)
    return Proposal(outings=(Outing("1"),), steps=tuple(steps))


def test_a_check_and_what_may_be_done_tell_the_second_too():
    """With X cut off already, to shut Y is not clear by itself, and is not allowed."""
    history = events(*ALL_OPEN, "1 shut X:V")
    begin = Start(Configuration(PLANT), tuple(history), 0, 9 * SECOND)
    report = check(RuleSet((ROOM,)), begin, proposing("Y:V"))
    assert [f.subjects for f in report.new] == [("Y:vol",)]
    assert [f.subjects for f in report.open] == [("X:vol",)]
    (shut,) = (o for o in options(RuleSet((ROOM,)), begin, "Y:V")[0] if o.event.action == "shut")
    assert [f.subjects for f in shut.findings] == [("Y:vol",)]


INSTANCED: dict[str, tuple[Condition, tuple[str, ...], list[tuple[str, int, int | None]]]] = {
    "status, by item": (ON, (*ALL_ON, "1 de-energise X:S", "2 de-energise Y:S", "3 energise X:S"),
                        [("X:S", 1, 3), ("Y:S", 2, None)]),
    "status under all, by item": (All((ON, Status(VALVES, ("shut",)))), (*ALL_ON, "1 de-energise X:S", "2 open Y:V"),
                                  [("X:S", 1, None), ("Y:V", 2, None)]),
    "count, as one, by the further item": (Count(SWITCHES, ("on",), least=2),
                                           (*ALL_ON, "1 de-energise X:S", "2 de-energise Y:S", "3 de-energise Z:S"),
                                           [("X:S Y:S", 2, None), ("Z:S", 3, None)]),
    "any, by what falls short in every alternative": (AnyOf((ON, Status(SWITCHES, ("off",)))),
                                                      ("1 energise X:S",), [("", 1, None)]),
    "not, of those that make it true": (Not(AnyOf((Status(Selection(ids=("X:S",)), ("on",)),
                                                   Status(Selection(ids=("Y:S",)), ("on",))))),
                                        ("1 energise X:S", "2 energise Y:S"), [("X:S", 1, None), ("Y:S", 2, None)]),
    "no_path, by pair": (NoPath("fluid", Selection(ids=("X:vol",)), TANK),
                         ("0 place X YARD", "0 place Y YARD", "1 open X:V", "2 open Y:V", "3 mate X:F Y:F",
                          "4 open X:F" ),
                         [("X:vol X:tank", 1, None), ("X:vol Y:tank", 4, None)]),
}  # fmt: skip


@pytest.mark.parametrize("name", INSTANCED)
def test_each_condition_says_for_whom(name):
    """What breaks next is a breach of its own, by item, by pair, or by the further item of what is judged as one."""
    condition, lines, expected = INSTANCED[name]
    found = judged(rule(Always(), condition), *lines).breaches()
    seen = [(" ".join(b.part or b.items), b.time // SECOND, u and u // SECOND) for b, u in found]
    assert seen == expected


def test_tolerance_runs_for_each():
    """Two switches that are off by turns, each for less than the tolerance, break nothing; one off longer does."""
    soon = rule(Always(5 * SECOND), ON)
    turns = ("1 de-energise X:S", "5 energise X:S", "5 de-energise Y:S", "9 energise Y:S")
    assert told(soon, *ALL_ON, *turns) == []
    assert told(soon, *ALL_ON, *turns[:1], *turns[2:]) == [("X:S", 6, None)]


def test_a_clock_for_each_that_makes_the_trigger_true():
    """A rule without scope starts a clock for the second switch though the first one's runs already."""
    trigger = Not(ON)
    within = rule(Within(5 * SECOND, trigger), ON)
    found = told(within, *ALL_ON, "1 de-energise X:S", "4 de-energise Y:S")
    assert [(time, until) for _, time, until in found] == [(6, None), (9, None)]
    assert {
        b.it for b, _ in judged(within, *ALL_ON, "1 de-energise X:S", "4 de-energise Y:S").breaches()
    } == {"X:S", "Y:S"}


@pytest.mark.parametrize("mode", ["always", "within"])
def test_what_is_broken_is_told_of_what_it_reaches_next(mode):
    """A volume that has a path has another by an event far from it, that changes no reach: the second is told too."""
    on = Status(Selection(of="ports of it", kinds=("switch",)), ("on",))
    apart = NoPath("fluid", Selection(of="nodes of it", liquid=True), TANK)
    scope = Selection(ids=("X",))
    kept = rule(Within(5 * SECOND, on) if mode == "within" else Always(5 * SECOND), apart, scope)
    lines = (
        *TOGETHER,
        "0 mate X:F Y:F",
        "0 open X:F",
        "2 energise X:S",
        "2 open X:V",
        "20 open Y:V",
        "30 shut Y:V",
    )
    assert [(b.part, b.since // SECOND, u and u // SECOND) for b, u in judged(kept, *lines).breaches()] == [
        (("X:vol", "X:tank"), 2, None),
        (("X:vol", "Y:tank"), 2 if mode == "within" else 20, 30),
    ]


LATE = ("1 inspect X", "2 energise Z:S", "8 energise X:S", "12 de-energise X:S", "20 energise Y:S")


def test_what_is_late_is_put_right_item_by_item():
    """Of two switches that are late each is put right when it is on; one that is off again meanwhile is late anew."""
    soon = rule(Within(5 * SECOND, ActionMatch(("inspect",))), ON)
    found = judged(soon, *LATE)
    assert [(b.part, b.time // SECOND, u and u // SECOND) for b, u in found.breaches()] == [
        (("X:S",), 6, 8),
        (("Y:S",), 6, 20),
        (("X:S",), 12, None),
    ]
    assert [(b.deed and b.deed.words) for b, _ in found.breaches()] == ["inspect X"] * 2 + ["de-energise X:S"]


def test_what_is_late_tells_its_clock():
    """What was not met in time, what falls short anew, and what has not stayed, tell when and by what it began."""
    clock = (1 * SECOND, 6 * SECOND, "inspect X")
    soon = Within(5 * SECOND, ActionMatch(("inspect",)))
    for mode, lines in (
        (soon, LATE),
        (replace(soon, stays=True), (*ALL_ON, "1 inspect X", "9 de-energise X:S")),
    ):
        findings = judged(rule(mode, ON), *lines).findings()
        assert findings
        assert {(f.since, f.deadline, f.trigger) for f in findings} == {clock}


@pytest.mark.parametrize("mode", [Within(5 * SECOND, ActionMatch(("de-energise",))), Always(5 * SECOND)])
def test_a_clock_that_ran_out_runs_no_more(mode):
    """A clock is told as started, then as stopped, be it met or run out; what did both meanwhile is told as neither."""
    engine = Engine(RuleSet((rule(mode, Status(SWITCHES, ("on",))),)), Configuration(PLANT), start=0)
    *on, first, second = events(*ALL_ON, "1 de-energise X:S", "4 energise X:S")
    for event in on:
        engine.step(event)
    engine.advance(1 * SECOND)
    turned = engine.turned
    engine.step(first)
    engine.settle()
    assert [(t.starts, t.started) for t in engine.turns(turned)] == [(True, SECOND)]
    mark, then = engine.mark(), engine.turned
    engine.step(second)
    engine.settle()
    assert [(t.starts, engine.clock_of(t).left) for t in engine.turns(then)] == [(False, 2 * SECOND)]
    assert engine.turns(turned) == []
    engine.back(mark)
    engine.finish(9 * SECOND)
    assert [(t.starts, t.started) for t in engine.turns(then)] == [(False, SECOND)]
    assert engine.turns(turned) == []
    assert engine.clocks() == []


# --- ends -------------------------------------------------------------------------------------------------------------

CLOSED = rule(By("outing"), Status(VALVES, ("shut",)))


def test_an_end_judges_every_time():
    """A valve open at the end of one outing, shut, and open at the end of another is found at both."""
    lines = ("0 begin", "1 open X:V", "2 end", "3 shut X:V", "4 begin", "5 open X:V", "6 end")
    assert told(CLOSED, *lines) == [("X:V", 2, 3), ("X:V", 6, None)]


def test_what_stays_open_is_one_finding_with_its_ends():
    """A valve open at the ends of two outings is one finding that lists both, and ends when it is shut, no sooner."""
    lines = ("0 begin", "1 open X:V", "2 end", "3 begin", "4 end")
    (finding,) = judged(CLOSED, *lines).findings()
    assert (finding.time, finding.ends, finding.until) == (2 * SECOND, (2 * SECOND, 4 * SECOND), None)
    (finding,) = judged(CLOSED, *lines, "7 shut X:V").findings()
    assert finding.until == 7 * SECOND


# --- whom to blame ----------------------------------------------------------------------------------------------------


def causes(the_rule: Rule, *lines: str) -> list[str]:
    """Return what is blamed for each finding."""
    return [f.action for f in judged(the_rule, *lines).findings()]


@pytest.mark.parametrize("mode", [Always(), Always(5 * SECOND)])
def test_the_event_that_made_it_so_is_blamed(mode):
    """Of several events in one instant the one that made it so is named, whatever came after it."""
    one = rule(mode, ON)
    after = ("9 de-energise X:S", "9 inspect Y", "9 open Z:V")
    assert causes(one, *ALL_ON, *after) == ["de-energise X:S"]
    assert causes(one, *ALL_ON, *after[1:], after[0]) == ["de-energise X:S"]
    back = ("9 de-energise X:S", "9 energise X:S", "9 de-energise Y:S")
    assert causes(one, *ALL_ON, *back) == ["de-energise Y:S"]


def test_what_was_so_at_the_start_is_blamed_on_nobody():
    """What was false at the start isn't blamed on the first event, and is another thing when that does it later."""
    one = rule(Always(), ON)
    started, later = judged(
        one, "0 energise Y:S", "0 energise Z:S", "0 inspect X", "5 energise X:S", "9 de-energise X:S"
    ).findings()
    assert (started.action, later.action) == ("", "de-energise X:S")
    assert not set(started.fingerprints) & set(later.fingerprints)


def test_a_finding_is_split_by_its_instances():
    """Of a finding with two instances one may be left, with just its own subjects and words."""
    (finding,) = judged(rule(At(ActionMatch(("inspect",))), ON), "1 inspect X").findings()
    assert isinstance(finding, Finding)
    assert len(finding.fingerprints) == 3
    part = finding.only(finding.fingerprints[1:2])
    assert part is not None
    assert part.fingerprints == finding.fingerprints[1:2]
    assert "X:S" in finding.headline
    assert "X:S" not in part.headline
    assert finding.only(()) is None
    assert replace(part, instances=finding.instances).fingerprints == finding.fingerprints


def test_each_further_item_is_blamed_on_what_made_it_fall_short():
    """Two switches that fall short further in one instant, each by an event of its own, are two breaches."""
    one = rule(Always(), Count(SWITCHES, ("on",), least=3))
    lines = (*ALL_ON, "1 de-energise X:S", "5 de-energise Y:S", "5 de-energise Z:S", "5 inspect X")
    found = judged(one, *lines).findings()
    assert [(f.subjects, f.action) for f in found] == [
        (("X:S",), "de-energise X:S"),
        (("Y:S",), "de-energise Y:S"),
        (("Z:S",), "de-energise Z:S"),
    ]
