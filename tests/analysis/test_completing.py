"""Completing and whole ways: what is left out is put in, and no step of what is found can be taken."""

from __future__ import annotations

import pytest

from cfgtrack.analysis.check import Start, check
from cfgtrack.analysis.completing import complete
from cfgtrack.analysis.exchange import find_exchange, without
from cfgtrack.analysis.goal import Goal, Takes, Want
from cfgtrack.files.definition import parse_definition
from cfgtrack.files.rules import parse_rules
from cfgtrack.files.sequence import parse_sequence
from cfgtrack.files.sequence_writer import sequence_text
from cfgtrack.model.configuration import Configuration
from tests.happening import happened

PLANT_TEXT = """
[[part]]
id = "panel"
node = [{ name = "MAIN", medium = "fluid" }]
port = [{ name = "V", kind = "valve" }, { name = "F", kind = "fluid-disconnect", gender = "socket" }]
links = [["F", "MAIN", "V"]]
[[part]]
id = "hose"
flexible = true
node = [{ name = "BORE", medium = "fluid" }]
port = [{ name = "A", kind = "fluid-disconnect", gender = "plug" }]
links = [["A", "BORE"]]
[[part]]
id = "person"
port = [{ name = "HAND", kind = "valve" }]
[[place]]
id = "HALL"
site = true
holds = true
[[place]]
id = "BAY"
site = true
holds = true
[[place]]
id = "ANN"
parent = "HALL"
part = "person"
mobile = true
[[place]]
id = "BEN"
parent = "HALL"
part = "person"
mobile = true
[[unit]]
id = "PANEL"
part = "panel"
[[unit]]
id = "HOSE"
part = "hose"
[initial]
at = 2031-05-01T08:00:00Z
by = "survey"
[initial.status]
"PANEL:F" = "capped"
"HOSE:A" = "capped"
[initial.place]
"PANEL" = "BAY"
"HOSE" = "HALL"
"""

RULES_TEXT = """
[[rule]]
id = "home"
title = "Everybody is in the hall at the end"
hazard = "nobody is left behind"
severity = 2
source = "common practice"
mode = "by"
by = "outing"
scope = { mobile = true, part = "person" }
condition = { status = "it", at = "HALL" }

[[rule]]
id = "joined"
title = "The valve is opened only when the hose is on"
hazard = "it sprays"
severity = 2
source = "common practice"
mode = "at"
at = { action = "open", id = "PANEL:V" }
condition = { status = { id = "PANEL:F" }, is = "mated" }
"""

DEFINITION = parse_definition({"plant.toml": PLANT_TEXT})
PLANT = DEFINITION.plant()
RULES = parse_rules({"rules.toml": RULES_TEXT}, PLANT)
BEGUN = 1_935_400_000_000_000


def _start() -> Start:
    now = Configuration(PLANT)
    for event in DEFINITION.initial:
        now.apply(happened(now, event))
    return Start(now, began=BEGUN, start=BEGUN)


START = _start()
JOINED = Goal((Want("PANEL:V", ("open",)), Want("HOSE:A", ("mated",), mate="PANEL:F")))


def _ends_at(report, goal: Goal) -> bool:
    now = START.configuration.fork()
    for step in report.steps:
        now.apply(step.outcome)
    return goal.is_met(now)


def _sequence(*steps: str):
    told = ", ".join(f"{{ {step} }}" for step in steps)
    text = f'[[outing]]\nid = "W"\n[[outing.track]]\nname = "ANN"\nby = "ANN"\nsteps = [{told}]\n'
    return parse_sequence(text, PLANT)


def test_what_was_left_out_is_put_in_and_marked():
    """Of mating a hose and opening its valve, the taking, walking, uncapping and going home are put in; it is clear."""
    given = _sequence('id = "mate", do = "mate HOSE:A to PANEL:F"', 'id = "open", do = "open PANEL:V"')
    assert check(RULES, START, given).verdict == "not clear"
    done = complete(RULES, START, given, takes=Takes())
    assert done.report.verdict == "clear"
    assert done.left == ()
    added = [step for step in done.plan.steps if step.id in done.added]
    assert {step.title for step in added} == {"added"}
    said = {(step.action.action, step.action.subjects[0], step.action.place) for step in added}
    assert {("uncap", "PANEL:F", None), ("uncap", "HOSE:A", None), ("place", "ANN", "HALL")} <= said
    assert [step.id for step in done.plan.steps if step.id not in done.added] == ["mate", "open"]
    again = parse_sequence(sequence_text(done.plan), PLANT)
    assert check(RULES, START, again).verdict == "clear"


def test_a_sequence_that_lacks_nothing_is_left_as_it_is():
    """A sequence that is clear gets nothing added."""
    given = _sequence('id = "look", do = "inspect HOSE"')
    done = complete(RULES, START, given, takes=Takes())
    assert (done.added, done.left, done.plan.steps) == ((), (), given.steps)


def test_what_cannot_be_completed_is_told():
    """A step that nothing makes possible is named with the reason, and stays in: so it isn't clear."""
    given = _sequence('id = "no", do = "mate HOSE:A to HOSE:A"')
    done = complete(RULES, START, given, takes=Takes())
    assert [one.step for one in done.left] == ["no"]
    assert "itself" in done.left[0].why
    assert [step.id for step in done.plan.steps] == ["no"]
    assert done.report.verdict == "not clear"


@pytest.mark.parametrize(
    ("goal", "least"),
    [
        # By hand: go over, and home again; for the hose take it along, and uncap both halves.
        (Goal((Want("PANEL:F", ("demated",)),)), 3),
        (JOINED, 7),
    ],
)
def test_a_whole_way_is_clear_and_no_step_of_it_can_be_taken(goal, least):
    """A way found from ends to means is clear, reaches its goal, is as short as by hand, and without any step isn't."""
    found = find_exchange(RULES, START, goal)
    assert found.plan is not None
    assert found.report is not None
    assert found.report.verdict == "clear"
    assert _ends_at(found.report, goal)
    assert len(found.plan.steps) == least
    for step in found.plan.steps:
        report = check(RULES, START, without(found.plan, step.id))
        assert report.verdict != "clear" or not _ends_at(report, goal)


def test_what_cannot_be_is_told():
    """Of a goal that nothing brings about there is no plan, and what is lacking is told."""
    found = find_exchange(RULES, START, Goal((Want("PANEL:V", ("mated",)),)))
    assert found.plan is None
    assert "PANEL:V" in found.lacking[0]
