"""The plain evaluator against the cases of the starter set, which people worked out by hand."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

import pytest

from cfgtrack.answers.starter import starter
from tests.rules.oracle.phrases import clock, read
from tests.rules.oracle.plain import Breach, judge

FOLDER = Path(__file__).parents[1] / "cases"
WORLD = tomllib.loads((FOLDER / "world.toml").read_text(encoding="utf-8"))
CASES = [
    pytest.param(case, id=f"{path.stem}: {case['name']}")
    for path in sorted(FOLDER.glob("*.toml"))
    if path.stem != "world"
    for case in tomllib.loads(path.read_text(encoding="utf-8"))["case"]
]


def _subjects(breach: Breach) -> set[str]:
    return {breach.item} if breach.item is not None else set(breach.short)


@pytest.mark.parametrize("case", CASES)
def test_starter_case(case: dict[str, Any]) -> None:
    """Each case breaks just the rules that it says, at those times, for those things."""
    events = []
    for line in case["does"].strip().splitlines():
        time, _, phrase = line.partition(" ")
        events.append(read(phrase, clock(time, 0)))
    horizon = clock(case["until"], 0) if "until" in case else events[-1]["happened"]
    found: dict[tuple[int, str], set[str]] = {}
    for breach in judge(WORLD, starter().rules, events, start=0, horizon=horizon).breaches:
        found.setdefault((breach.time, breach.rule), set()).update(_subjects(breach))
    wanted = {}
    for line in case.get("breaks", "").strip().splitlines():
        time, rule, *subjects = line.split()
        wanted[(clock(time, 0), rule)] = set(subjects)
    assert found == wanted
