"""The starter set, rule by rule: cases that break it, and cases that just don't.

Each rule has a file in `cases`, named for it, with named cases in the world of `cases/world.toml`. A case is what is
done from the start on, a line an action: how long after the start (hours:minutes, seconds where it matters), and the
action as on the command line. `until` is how long the work is looked at, beyond the last action where not given.
`breaks` are all findings, whole and in order: when, rule, subjects. None: the case just keeps the rule.
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from fractions import Fraction
from functools import cache
from importlib import resources
from pathlib import Path

import pytest

from cfgtrack.analysis.check import Start, check
from cfgtrack.files.definition import parse_definition
from cfgtrack.files.phrase import parse_phrase, split_phrase
from cfgtrack.files.rules import parse_rules
from cfgtrack.model.configuration import Configuration
from cfgtrack.model.definition import Definition
from cfgtrack.model.event import Event
from cfgtrack.model.sequence import Sequence
from cfgtrack.rules.engine import Engine
from cfgtrack.rules.finding import Finding
from cfgtrack.rules.rule import RuleSet
from tests.happening import happened

CASES = Path(__file__).with_name("cases")
STARTER = (resources.files("cfgtrack.rules") / "starter.toml").read_text(encoding="utf-8")
IDS = [rule["id"] for rule in tomllib.loads(STARTER)["rule"]]
WORLD = "world"


@dataclass(frozen=True, slots=True)
class Case:
    """One case: lines of (time since the start in microseconds, words), and what they break."""

    rule: str
    name: str
    does: tuple[tuple[int, str], ...]
    until: int
    breaks: tuple[tuple[int, str, tuple[str, ...]], ...]

    def __str__(self) -> str:
        return f"{self.rule}: {self.name}"


def microseconds(text: str) -> int:
    """Return the microseconds of a time such as 1:30, 0:15:00.000001."""
    hours, minutes, seconds = (*text.split(":"), "0")[:3]
    found = ((int(hours) * 60 + int(minutes)) * 60 + Fraction(seconds)) * 1_000_000
    assert found.denominator == 1
    return int(found)


def read_case(rule: str, data: dict[str, object]) -> Case:
    """Return the case of a table of a case file."""
    lines = [str(line).split(maxsplit=1) for line in str(data["does"]).strip().splitlines()]
    does = tuple((microseconds(time), words) for time, words in lines)
    until = microseconds(str(data["until"])) if "until" in data else does[-1][0]
    broken = [line.split() for line in str(data.get("breaks", "")).strip().splitlines()]
    breaks = tuple(
        (microseconds(time), rule_id, tuple(sorted(subjects))) for time, rule_id, *subjects in broken
    )
    assert set(data) <= {"name", "does", "until", "breaks"}
    return Case(rule, str(data["name"]), does, until, breaks)


def read_cases() -> list[Case]:
    """Return the cases of every case file."""
    files = sorted(path for path in CASES.glob("*.toml") if path.stem != WORLD)
    return [
        read_case(path.stem, data)
        for path in files
        for data in tomllib.loads(path.read_text(encoding="utf-8"))["case"]
    ]


@cache
def world() -> tuple[Definition, RuleSet]:
    """Return the world of the cases and the starter set, read against it."""
    definition = parse_definition({"world.toml": (CASES / f"{WORLD}.toml").read_text(encoding="utf-8")})
    return definition, parse_rules({"starter.toml": STARTER}, definition.plant())


def begin() -> tuple[Configuration, int]:
    """Return the configuration that the cases start from, and when."""
    definition, _ = world()
    now = Configuration(definition.plant())
    for event in definition.initial:
        outcome = happened(now, event)
        now.apply(outcome)
    return now, definition.initial[0].happened


def history(case: Case) -> list[Event]:
    """Return what a case does, resolved: all of it is possible."""
    now, start = begin()
    events = []
    for number, (time, words) in enumerate(case.does):
        event = parse_phrase(split_phrase(words), now.plant, id=f"E{number}", happened=start + time)
        outcome = happened(now, event)
        now.apply(outcome)
        events.append(outcome)
    return events


def found(findings: list[Finding], start: int) -> list[tuple[int, str, tuple[str, ...]]]:
    """Return findings as a case names them."""
    assert not any(f.no_verdict for f in findings)
    return sorted((f.time - start, f.rule, tuple(sorted(f.subjects))) for f in findings)


ALL = read_cases()


@pytest.mark.parametrize("case", ALL, ids=str)
def test_case(case):
    """What a case does breaks what it says, then and of those, and nothing else."""
    now, start = begin()
    engine = Engine(world()[1], now, start=start)
    for event in history(case):
        engine.step(event)
    engine.finish(start + case.until)
    assert found(engine.findings(), start) == sorted(case.breaks)


@pytest.mark.parametrize("rule", IDS)
def test_every_rule_has_both(rule):
    """Every rule of the starter set has a case that breaks it alone, and one that just doesn't."""
    cases = [case for case in ALL if case.rule == rule]
    assert any(case.breaks and {broken for _, broken, _ in case.breaks} == {rule} for case in cases)
    assert any(not case.breaks for case in cases)
    assert len({case.name for case in cases}) == len(cases)


def test_every_case_is_of_a_rule():
    """No case file is left of a rule that is gone."""
    assert {case.rule for case in ALL} == set(IDS)


def test_nothing_is_broken_from_the_start():
    """The world of the cases keeps every rule by itself."""
    now, start = begin()
    report = check(world()[1], Start(now, began=start, start=start), Sequence())
    assert report.new == report.open == ()


@pytest.mark.parametrize("rule", world()[1].rules, ids=lambda rule: rule.id)
def test_every_rule_says_what_it_is_for(rule):
    """Every rule has a title, a hazard and a category of MIL-STD-882E, Table I; for its source see test_sources.py."""
    assert rule.title
    assert rule.hazard
    assert rule.severity in (1, 2, 3, 4)
