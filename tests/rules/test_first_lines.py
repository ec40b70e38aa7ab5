"""A finding's first line says what is wrong: of every condition, in every mode, never what would be right."""

from __future__ import annotations

import pytest

from cfgtrack.model.configuration import Configuration
from cfgtrack.rules.engine import Engine
from cfgtrack.rules.finding import Finding, Reason, say_wrong
from cfgtrack.rules.rule import RuleSet
from tests.rules.test_engine import CASES
from tests.rules.worlds import START, draw_world

GOOD = "All is as it must be"


def found(seed: int) -> list[tuple[Finding, str]]:
    """Return what the history of a drawn world breaks by rules with a title that says the good case; each with that
    rule's condition in words.
    """
    from dataclasses import replace

    world = draw_world(seed)
    rules = tuple(replace(rule, title=f"{GOOD}, by {rule.id}") for rule in world.rules)
    engine = Engine(RuleSet(rules), Configuration(world.plant), start=START)
    for event in world.events:
        engine.step(event)
    engine.finish(world.events[-1].happened + 10_000_000_000 if world.events else START)
    words = {rule.id: rule.condition.words() for rule in rules}
    return [(finding, words[finding.rule]) for finding in engine.findings()]


def test_no_first_line_is_the_rules_good_case():
    """Whatever rule is broken, however: the first line is neither its title nor its condition, and names a fault."""
    modes, codes = set[str](), set[str]()
    for seed in range(min(CASES, 300)):
        for finding, condition in found(seed):
            modes.add(finding.mode)
            codes.update(reason.code for reason in finding.reasons)
            assert GOOD not in finding.headline
            assert finding.headline != condition
            assert not finding.headline.endswith(f": {condition}")
            assert finding.headline not in (finding.action, ", ".join(finding.subjects))
    assert modes >= {"always", "at", "within", "by"}
    assert codes >= {"no-path", "path", "count", "status", "value", "order", "is-so"}


@pytest.mark.parametrize("late", ["", "time ran out", "for too long"])
@pytest.mark.parametrize("action", ["", "shut V1"])
@pytest.mark.parametrize(
    "reason",
    [
        None,
        Reason(
            "no-path", "no fluid path is left to any tank", ("V1",), ("A:VOL",), to="any tank", noun="volume"
        ),
        Reason(
            "path", "A still has a power path to B", (), ("A",), to="still has a power path to B", noun="port"
        ),
        Reason("status", "A is open; must be shut", (), ("A",)),
    ],
)
def test_a_first_line_names_the_fault(late, action, reason):
    """With and without an action, in time or late, with and without a reason the line says that something is wrong."""
    said = say_wrong(("A",), () if reason is None else (reason,), action, late=late)
    faults = ("cut", "still has", "must be", "is broken")
    assert any(fault in said for fault in faults)
    assert said.startswith(late or action)


def test_time_that_ran_out_is_told():
    """What broke because a clock ran out doesn't read as if the action had broken it at once."""
    reason = Reason("no-path", "x", ("V1",), ("A:VOL",), to="any tank", noun="volume")
    assert say_wrong((), (reason,), "shut V1") == "shut V1 cuts A:VOL off from any tank"
    late = say_wrong((), (reason,), "shut V1", late="time ran out")
    assert late == "time ran out after shut V1: A:VOL is cut off from any tank"
