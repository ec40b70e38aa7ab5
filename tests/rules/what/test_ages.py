"""How old what was measured or done may be: time alone makes it too old, at the very microsecond."""

from __future__ import annotations

import pytest

from cfgtrack.files.phrase import parse_phrase, split_phrase
from cfgtrack.files.rules import parse_rules
from cfgtrack.rules.engine import Engine
from cfgtrack.rules.finding import Finding
from tests.happening import happened
from tests.rules.test_starter import begin, microseconds

RULE = """
[[rule]]
id = "R"
title = "t"
hazard = "h"
severity = 1
source = "common practice"
mode = "always"
tolerance = "{tolerance}"
scope = "{scope}"
condition = {condition}
"""
PRESSURE = '{ value = "it", quantity = "pressure", max = "1 bar", max_age = "30 min" }'
READ = '{ done = "measure", of = "it", quantity = "pressure", max_age = "30 min" }'
HALF_AN_HOUR = microseconds("0:30")


def found(
    condition: str, *does: str, until: str, scope: str = "BAY:F1", tolerance: str = "0 s"
) -> list[Finding]:
    """Return what breaks a rule with this condition, of lines of a time since the start and an action."""
    now, start = begin()
    text = RULE.format(condition=condition, scope=scope, tolerance=tolerance)
    engine = Engine(parse_rules({"r.toml": text}, now.plant), now, start=start)
    for number, line in enumerate(does):
        time, words = line.split(maxsplit=1)
        happens = start + microseconds(time)
        event = parse_phrase(split_phrase(words), now.plant, id=f"E{number}", happened=happens)
        engine.step(happened(engine.world.configuration, event))
    engine.finish(start + microseconds(until))
    return engine.findings()


def spans(findings: list[Finding]) -> list[tuple[int, int | None]]:
    """Return from when until when each was broken, in microseconds since the start."""
    _, start = begin()
    return [(f.since - start, None if f.until is None else f.until - start) for f in findings]


@pytest.mark.parametrize("condition", [PRESSURE, READ])
def test_time_alone_makes_it_too_old(condition):
    """A reading counts for exactly its age: a microsecond later it doesn't, until the next."""
    does = ('0:00 measure BAY:F1 pressure="1 bar"', '1:00 measure BAY:F1 pressure="1 bar"')
    assert spans(found(condition, *does, until="1:30")) == [(HALF_AN_HOUR + 1, microseconds("1:00"))]
    both = [(HALF_AN_HOUR + 1, microseconds("1:00")), (microseconds("1:30") + 1, None)]
    assert spans(found(condition, *does, until="1:30:00.000001")) == both


@pytest.mark.parametrize("condition", [PRESSURE, READ])
def test_another_reading_does_not_count(condition):
    """Another quantity, and the same quantity of another thing, keep no reading young."""
    does = (
        '0:00 measure BAY:F1 pressure="1 bar"',
        '0:20 measure BAY:F1 temperature="20 degC"',
        '0:20 measure BAY:F3 pressure="1 bar"',
        '0:20 measure BAY pressure="1 bar"',
        "0:20 inspect BAY:F1",
    )
    assert spans(found(condition, *does, until="0:40")) == [(HALF_AN_HOUR + 1, None)]


def test_what_another_action_told_counts():
    """A value is as old as the action that told it, whichever that was."""
    does = ('0:00 measure BAY:F1 pressure="1 bar"', '0:20 inspect BAY:F1 pressure="1 bar"')
    assert spans(found(PRESSURE, *does, until="0:50")) == []
    assert spans(found(READ, *does, until="0:50")) == [(HALF_AN_HOUR + 1, None)]


def test_why_it_does_not_count():
    """The reason tells the value that there is, and why it doesn't count."""
    (old,) = found(PRESSURE, '0:00 measure BAY:F1 pressure="1 bar"', until="0:31")
    assert "pressure of BAY:F1 was 1 bar when it was measured 30 min 0.000001 s ago" in old.reasons[0].text
    assert "must be at most 1 bar, measured at most 30 min ago" in old.reasons[0].text
    since = '{ value = "it", quantity = "pressure", max = "1 bar", since = "demate" }'
    does = ('0:00 measure BAY:F1 pressure="1 bar"', "0:01 demate PUMP-1:F1")
    before = found(since, *does, until="0:02")[-1]
    assert "was 1 bar when it was measured before the last demate" in before.reasons[0].text


def test_since_is_later_than():
    """What was measured by the very action since which it is asked for was measured before that was over."""
    since = '{ value = "it", quantity = "pressure", max = "1 bar", since = "demate" }'
    told = ('0:00 measure BAY:F1 pressure="1 bar"', '0:01 demate PUMP-1:F1 pressure="0 bar"')
    assert spans(found(since, *told, until="0:02")) == [(microseconds("0:01"), None)]
    assert spans(found(since, *told, '0:01 measure BAY:F1 pressure="0 bar"', until="0:02")) == []


@pytest.mark.parametrize(("words", "broken"), [("engage PUMP-1:B1 BAY:B1", True), ("cap BAY:F1", False)])
def test_a_unit_is_engaged_at_its_ports(words, broken):
    """Since an action along a ladder, asked of a unit, means since one of its ports took it."""
    does = ("0:00 release PUMP-1:B1", "0:00 demate PUMP-1:F1", "0:01 inspect PUMP-1", f"0:02 {words}")
    done = '{ done = "inspect", of = "PUMP-1", since = ["engage", "cap"] }'
    later = [span for span in spans(found(done, *does, until="0:03", scope="PUMP-1")) if span[0]]
    assert later == ([(microseconds("0:02"), None)] if broken else [])
