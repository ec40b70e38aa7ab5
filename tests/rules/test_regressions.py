"""Cases once wrong, or that random ones seldom meet. A line of a history: second, action, subjects (and place)."""

from dataclasses import replace

import pytest

from cfgtrack.files.definition import parse_definition
from cfgtrack.model.action import Action
from cfgtrack.model.configuration import Configuration
from cfgtrack.rules.engine import Engine
from cfgtrack.rules.match import ActionMatch
from cfgtrack.rules.rule import Rule, RuleSet
from cfgtrack.rules.selection import Selection
from cfgtrack.rules.what.count import Count
from cfgtrack.rules.what.done import Done
from cfgtrack.rules.what.no_path import NoPath
from cfgtrack.rules.what.path import Path
from cfgtrack.rules.what.status import Status
from cfgtrack.rules.what.value import Value
from cfgtrack.rules.when.always import Always
from cfgtrack.rules.when.at import At
from cfgtrack.rules.when.by import By
from cfgtrack.rules.when.within import Within
from tests.happening import happened

SECOND = 1_000_000
WORLD = """
[[part]]
id = "box"
port = [
  { name = "F", kind = "valved-disconnect" },
  { name = "G", kind = "fluid-disconnect" },
  { name = "S", kind = "switch" },
  { name = "V", kind = "valve" },
]
node = [
  { name = "vol", medium = "fluid", litres = "1 L" },
  { name = "tank", medium = "fluid", expansion = true },
]
link = [{ a = "vol", b = "F" }, { a = "vol", b = "tank", gate = "V" }]
[[unit]]
id = "X"
part = "box"
[[unit]]
id = "Y"
part = "box"
[[unit]]
id = "Z"
part = "box"
[[place]]
id = "YARD"
holds = true
[[place]]
id = "SHED"
parent = "YARD"
tags = ["stowage"]
[[place]]
id = "SLED"
parent = "YARD"
mobile = true
[[place]]
id = "SLOT"
parent = "SLED"
"""
PLANT = parse_definition({"world.toml": WORLD}).plant()
IT, TANK = Selection(of="it"), Selection(expansion=True)
SWITCH = Selection(ids=("X:S",))
ON = Status(SWITCH, ("on",))
TOGETHER = ("0 place X YARD", "0 place Y YARD", "0 place Z YARD")


def rule(mode, condition, scope=None):
    """Return a rule."""
    return Rule("R", "", "", 1, "none", mode, condition, scope)


def events(*lines):
    """Return the resolved events of some lines, each of which must be possible."""
    now, out = Configuration(PLANT), []
    for number, line in enumerate(lines):
        time, action, *subjects = line.split()
        place = subjects.pop() if action == "place" else None
        status = subjects.pop() if action == "as-found" else None
        outing = "1" if action in ("begin", "end") else None
        event = Action(
            f"e{number}",
            action,
            tuple(subjects),
            int(time) * SECOND,
            place=place,
            status=status,
            outing=outing,
        )
        resolved = happened(now, event)
        now.apply(resolved)
        out.append(resolved)
    return out


def run(the_rule, *lines, end=100, touched=None):
    """Return what is broken by a history: (item, since, broken at, put right at), in seconds."""
    engine = Engine(RuleSet((the_rule,)), Configuration(PLANT), start=0, touched=touched)
    for event in events(*lines):
        engine.step(event)
    engine.finish(end * SECOND)
    return told(engine)


def told(engine):
    """Return the breaches of an engine in seconds."""
    return sorted(
        (b.it or "", b.since / SECOND, b.time / SECOND, None if until is None else until / SECOND)
        for b, until in engine.breaches()
    )


LOOK = ActionMatch(("inspect",), SWITCH)
SOON = rule(Within(5 * SECOND, LOOK), ON)


def test_clock_without_scope_is_met():
    """A clock of a rule without scope, that an action starts, is met by a later event."""
    assert run(SOON, "1 inspect X:S", "4 energise X:S") == []
    assert run(SOON, "1 inspect X:S", "6 energise X:S") == []
    assert run(SOON, "1 inspect X:S", "7 energise X:S") == [("X:S", 1, 6, 7)]


def test_late_is_put_right():
    """A clock that ran out is open until the condition is true after all."""
    assert run(SOON, "1 inspect X:S", "20 energise X:S", "30 de-energise X:S") == [("X:S", 1, 6, 20)]


STAYS = rule(Within(5 * SECOND, LOOK, stays=True, until=ActionMatch(("remark", "measure", "shut"))), ON)


def test_undone_before_it_is_met():
    """What must stay until its trigger is undone need not stay when that came before it was met."""
    held = rule(Within(5 * SECOND, LOOK, stays=True, until=ActionMatch(("de-energise",), SWITCH)), ON)
    assert run(held, "0 energise X:S", "1 inspect X:S", "2 de-energise X:S") == []
    turn = Within(9 * SECOND, Status(Selection(ids=("X:V",)), ("open",)), stays=True)
    history = ("1 open X:V", "2 shut X:V", "3 energise X:S", "4 de-energise X:S")
    assert run(rule(turn, ON), *history) == []
    assert run(rule(turn, ON), *history[:1], *history[2:]) == [("X:V", 1, 4, None)]


def test_each_trigger_is_a_clock_of_its_own():
    """Two triggers that both hold when the condition is lost are two breaches, each since its own."""
    lost = ("0 energise X:S", "1 inspect X:S", "2 inspect X:S", "3 de-energise X:S", "9 energise X:S")
    assert run(STAYS, *lost) == [("X:S", 1, 3, 9), ("X:S", 2, 3, 9)]


def test_first_instant_is_one_change():
    """What is false as things stand and true by the end of the first instant was never false."""
    assert run(rule(Always(), ON), "0 energise X:S") == []
    assert run(rule(Always(), ON), "1 energise X:S") == [("", 0, 0, 1)]


def test_end_of_outing_does_not_split_an_instant():
    """An outing's end amid the events of an instant leaves them one change for what must always hold."""
    lines = ("1 energise X:S", "5 de-energise X:S", "5 end", "5 energise X:S")
    assert run(rule(Always(), ON), *lines) == [("", 0, 0, 1)]
    assert run(rule(By("outing"), ON), *lines) == [("", 5, 5, 5)]


def test_elapsed_at_the_last_instant():
    """A time that is up at the very end of a run is up."""
    waited = Value(SWITCH, "elapsed", high=9.0, unmeasured=True, since=("inspect",))
    assert run(rule(Always(), waited), "1 inspect X:S", end=10) == []
    since = rule(Always(), Value(SWITCH, "elapsed", low=9.0, unmeasured=True, since=("inspect",)))
    assert run(since, "1 inspect X:S", end=9) == [("", 1, 1, None)]
    assert run(since, "1 inspect X:S", end=10) == [("", 1, 1, 10)]


def test_tally_is_stepped_back():
    """A rule first judged after a mark knows nothing, after stepping back, of what happened in between."""
    shut = rule(At(ActionMatch(("open",))), Status(Selection(ids=("*:S",)), ("off",)))
    engine = Engine(RuleSet((shut,)), Configuration(PLANT), start=0)
    energise, look = events("1 energise X:S", "2 open X:V")
    mark = engine.mark()
    engine.step(energise)
    engine.step(look)
    assert told(engine) == [("X:V", 2, 2, None)]
    engine.back(mark)
    engine.step(look)
    assert told(engine) == []


def test_lost_and_found_and_lost_in_one_event():
    """An event that takes one link and makes another of the same items is judged by its outcome."""
    swap = (*TOGETHER, "0 open Y:V", "0 open Z:V", "1 mate X:F Y:F", "1 open X:F", "2 as-found X:F Z:F open")
    only = rule(Always(), Path("fluid", IT, TANK), Selection(ids=("X:vol",)))
    assert run(only, *swap, "3 as-found X:F Y:F open", "4 as-found Y:F Z:F open") == [
        ("X:vol", 0, 0, 1),
        ("X:vol", 4, 4, None),
    ]


def test_mate_of_what_may_change():
    """With only one half of a mated pair among what may change, its link is still there."""
    base = Configuration(PLANT)
    for event in events(*TOGETHER, "0 open X:V", "0 mate X:F Y:F", "0 open X:F"):
        base.apply(event)
    reach = rule(Always(), Path("fluid", IT, TANK), Selection(ids=("Y:vol",)))
    for half in ("X:F", "Y:F"):
        engine = Engine(RuleSet((reach,)), base.fork(), start=0, touched=[half])
        engine.finish(1)
        assert told(engine) == []


def test_what_stands_in_a_slot_goes_along():
    """A rule on where a unit is notices that the sled it stands in, in a slot, has been taken elsewhere."""
    away = rule(Always(), Status(IT, at=("YARD",)), Selection(ids=("X",), at=("YARD",)))
    stowed = rule(Always(), Status(Selection(ids=("X",)), at=("#stowage",)))
    assert run(stowed, "0 place X SLOT", "3 place SLED SHED", "5 place SLED YARD") == [
        ("", 0, 0, 3),
        ("", 5, 5, None),
    ]
    assert run(away, "0 place X SLOT", "3 place SLED SHED") == []


def test_destination_is_where_it_is_now():
    """A place that moves is inside the place where it stands, not where it was defined to be."""
    looked = rule(At(ActionMatch(("place",), to=("#stowage",))), Done(Selection(ids=("X",)), ("inspect",)))
    assert run(looked, "1 place X SLED") == []
    assert run(looked, "0 inspect X", "1 place SLED SHED", "2 place X SLED", "3 place Y SLED") == []
    assert run(looked, "1 place SLED SHED", "2 place X SLED") == [("SLED", 1, 1, None), ("X", 2, 2, None)]


# --- clocks side by side ------------------------------------------------------------------------------------------

LATCH = rule(Within(5 * SECOND, ActionMatch(("inspect",))), Status(Selection(of="it"), ("on",)))


def test_one_clock_runs_out_another_does_not():
    """When one clock runs out, those with later deadlines run on: for the same item and for others."""
    assert run(LATCH, "1 inspect X:S", "4 inspect X:S", "8 energise X:S") == [("X:S", 1, 6, 8)]
    others = ("1 inspect X:S", "2 inspect Y:S", "3 inspect Z:S", "7 energise Y:S", "8 energise Z:S")
    assert run(LATCH, *others, "20 energise X:S") == [("X:S", 1, 6, 20)]
    assert run(LATCH, "1 inspect X:S", "1 inspect Y:S", "3 energise X:S") == [("Y:S", 1, 6, None)]


def test_clocks_are_told_first_deadline_first():
    """Clocks that run are told in the order of their deadlines."""
    engine = Engine(RuleSet((LATCH,)), Configuration(PLANT), start=0)
    for event in events("1 inspect Y:S", "2 inspect Z:S", "3 inspect X:S"):
        engine.step(event)
    engine.finish(4 * SECOND)
    assert [c.subject for c in engine.clocks()] == ["Y:S", "Z:S", "X:S"]
    assert [c.deadline for c in engine.clocks()] == [6 * SECOND, 7 * SECOND, 8 * SECOND]


def test_what_runs_out_first_is_judged_first():
    """Of clocks that all run out before anything happens each is judged as things are when it does."""
    waits = Value(SWITCH, "elapsed", low=100.0, since=("inspect",))
    rules = [replace(rule(Within(s * SECOND, LOOK), waits), id=f"R{s}") for s in (9, 5, 7, 3)]
    engine = Engine(RuleSet(tuple(rules)), Configuration(PLANT), start=0)
    for event in events("1 inspect X:S"):
        engine.step(event)
    engine.finish(50 * SECOND)
    assert [b.rule.id for b, _ in engine.breaches()] == ["R3", "R5", "R7", "R9"]
    for breach, _ in engine.breaches():
        (reason,) = breach.reasons
        assert f"is {breach.rule.id[1:]} s;" in reason.text


def test_tolerances_side_by_side():
    """When one tolerance is used up, those of others that began later are not."""
    on = rule(Always(5 * SECOND), Status(IT, ("on",)), Selection(ids=("X:S", "Y:S")))
    lines = ("0 energise X:S", "0 energise Y:S", "1 de-energise X:S", "4 de-energise Y:S", "8 energise Y:S")
    assert run(on, *lines) == [("X:S", 1, 6, None)]


def test_time_is_up_between_events():
    """A time since an action is up when it is, though nothing happens then."""
    aged = Value(SWITCH, "elapsed", low=3.0, unmeasured=True, since=("inspect",))
    assert run(rule(Always(), aged), "1 inspect X:S", "9 inspect Y:S") == [("", 1, 1, 4)]
    fresh = Value(SWITCH, "elapsed", high=3.0, unmeasured=True, since=("inspect",))
    assert run(rule(Always(), fresh), "1 inspect X:S", "3 inspect Y:S", "9 inspect X:S") == [
        ("", 4.000001, 4.000001, 9),
        ("", 12.000001, 12.000001, None),
    ]


def test_order_within_an_instant():
    """Of two actions at one instant the later one is later."""
    checked = rule(Always(), Done(SWITCH, ("inspect",), ("energise",)))
    assert run(checked, "0 energise X:S", "0 inspect X:S") == []
    assert run(checked, "0 inspect X:S", "0 energise X:S") == [("", 0, 0, None)]


def test_links_of_an_earlier_instant_are_not_to_blame():
    """A clock that runs out names no link that ended in an instant before."""
    soon = rule(Within(5 * SECOND, LOOK), Path("fluid", Selection(ids=("Y:vol",)), TANK))
    engine = Engine(RuleSet((soon,)), Configuration(PLANT), start=0)
    for event in events(*TOGETHER, "0 open Z:V", "1 shut Z:V", "2 inspect X:S"):
        engine.step(event)
    engine.finish(100 * SECOND)
    (finding,) = engine.findings()
    assert finding.reasons[0].links == ()


def test_not_earlier_than_the_last():
    """An event from before the engine's time is a mistake of whoever runs it."""
    engine = Engine(RuleSet((SOON,)), Configuration(PLANT), start=0)
    late, early = events("0 energise X:S", "0 inspect X:S")
    engine.step(replace(late, happened=5))
    with pytest.raises(ValueError, match="before the engine's time"):
        engine.step(early)
    engine.step(replace(early, happened=5))


def test_too_many_is_not_too_few():
    """A count with both bounds says which of them is crossed; its finding has a short code of twelve digits."""
    one = rule(Always(), Count(Selection(ids=("?:S",), what=("port",)), ("on",), least=1, most=1))
    engine = Engine(RuleSet((one,)), Configuration(PLANT), start=0)
    for event in events("1 energise X:S", "2 energise Y:S"):
        engine.step(event)
    engine.finish(100 * SECOND)
    few, many = engine.findings()
    assert "at least 1" in few.reasons[0].text
    assert "at most 1" in many.reasons[0].text
    assert len(few.fingerprints[0]) == len(many.fingerprints[0]) == 12


def test_late_and_undone_need_not_stay():
    """What was met late must stay until its trigger is undone: undone while it was late, it need not."""
    turn = rule(Within(5 * SECOND, Status(Selection(ids=("X:V",)), ("open",)), stays=True), ON)
    late = ("1 open X:V", "9 energise X:S", "12 de-energise X:S", "20 energise X:S")
    assert run(turn, *late) == [("X:V", 1, 6, 9), ("X:V", 1, 12, 20)]
    assert run(turn, late[0], "8 shut X:V", *late[1:]) == [("X:V", 1, 6, 9)]


def test_each_end_by_the_event_that_joined_it():
    """Of two things that one comes to stand with, at one instant, each is told with what brought it there."""
    apart = rule(Always(), NoPath("hold", IT, Selection(ids=("Y", "Z"))), Selection(ids=("X",)))
    engine = Engine(RuleSet((apart,)), Configuration(PLANT), start=0)
    for event in events("1 place X YARD", "1 place Y YARD", "1 place Z YARD"):
        engine.step(event)
    engine.settle()
    blamed = [(b.part, b.deed and b.deed.id) for b, _ in engine.breaches()]
    assert blamed == [(("X", "Y"), "e1"), (("X", "Z"), "e2")]
