"""What follows from a finding is gone when that is cured: read again in the plainest way, with the cure as a step."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from functools import partial
from itertools import product

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cfgtrack.analysis import following
from cfgtrack.analysis.check import Start, check
from cfgtrack.analysis.cures import cured
from cfgtrack.analysis.following import Following
from cfgtrack.analysis.reorder import Plan
from cfgtrack.analysis.verdict import AS_LIKELY, Foreseen
from cfgtrack.files.phrase import parse_phrase
from cfgtrack.model.sequence import Outing, Step
from cfgtrack.model.sequence import Sequence as Proposed
from cfgtrack.rules.finding import Cure
from cfgtrack.rules.rule import RuleSet
from tests.analysis.test_cures import DEAD, MINUTE, ROOM, _ready, loop

RULES = RuleSet((ROOM, DEAD))
SHUT = ("shut PUMP:F", "shut YARD:F")
"""With these a hose may be taken off, which leaves the pump no room."""


def plan_of(*tracks: Sequence[str]) -> Proposed:
    """Return a plan of some tracks; a step ``=WORDS`` takes no time."""
    steps = tuple(
        Step(
            f"{name}{number}",
            "1",
            name,
            parse_phrase(words.strip("=").split(), loop().plant),
            (0, 0, 0) if words.startswith("=") else (MINUTE, 2 * MINUTE, 3 * MINUTE),
        )
        for name, track in zip("ABC", tracks, strict=False)
        for number, words in enumerate(track, 1)
    )
    return Proposed(outings=(Outing("1"),), steps=steps)


def traced(*tracks: Sequence[str]) -> tuple[list[Foreseen], Following]:
    """Return what a plan breaks, with what cures it, and what follows from what."""
    plan, start = plan_of(*tracks), Start(loop())
    ready, whole = partial(_ready, RULES, start), Plan(plan, loop(), 0)
    new = cured(check(RULES, start, plan).new, ready, plan=whole)
    found = Following(whole, ready)
    found.look(new)
    return new, found


def told(new: Sequence[Foreseen], found: Following) -> dict[str | None, str | None]:
    """Return by the step of each finding that follows the step of what it follows from."""
    return {new[i].step: new[cause].step for i, cause in found.of.items()}


# --- what is so, case by case -----------------------------------------------------------------------------------------


def test_what_a_missing_step_makes_impossible_follows_from_the_first():
    """A hose that was never taken off can't be capped, and so not uncapped: the second follows from the first."""
    new, found = traced([*SHUT, "cap PUMP:F", "uncap PUMP:F", "inspect PUMP"])
    assert [f.step for f in new] == ["A1", "A3", "A4"]
    assert told(new, found) == {"A4": "A3"}


def test_what_is_wrong_by_itself_follows_from_nothing():
    """Two faults that have nothing to do with each other: each is cured, and the other is still there."""
    new, found = traced(["open PUMP:V", "demate PUMP:P"])
    assert len(new) == 2
    assert found.of == {}


def test_a_fault_that_comes_back_by_itself_does_not_follow():
    """Of a valve that is shut, opened and shut again the second time is cut off anew: it follows not from the first."""
    new, found = traced(["shut PUMP:V", "open PUMP:V", "shut PUMP:V"])
    assert [f.step for f in new] == ["A1", "A3"]
    assert found.of == {}


def test_what_only_undoes_a_step_is_told_as_tried_at_that_moment():
    """A valve that cuts a pump off can be opened again at once; as a step before it that cures nothing."""
    new, found = traced(["shut PUMP:V", "inspect PUMP"])
    assert len(new) == 1
    assert found._runs <= following.MOST_WAYS
    cures = {cure.text: cure for cure in found.cures[0]}
    assert (cures["open PUMP:V"].at, cures["open PUMP:V"].momentary) == ("", True)


def test_only_so_many_runs_are_made(monkeypatch):
    """Where the plan would have to be run too often that is told, and the rest stands as what follows from nothing."""
    monkeypatch.setattr(following, "MOST_RUNS", 0)
    _, found = traced([*SHUT, "cap PUMP:F", "uncap PUMP:F"])
    assert (found.of, found.untried) == ({}, 2)


# --- the plainest reading ---------------------------------------------------------------------------------------------


def names(findings: Sequence[Foreseen]) -> set[tuple[str, str | None, str]]:
    """Return what findings with likely durations are known by: rule and step, and code."""
    return {(f.rule, f.step, code) for f in findings if f.mix == AS_LIKELY for code in f.fingerprints}


HOSE = ("demate PUMP:F", "mate PUMP:F YARD:F", "cap PUMP:F", "uncap PUMP:F")
WORDS = (*HOSE, "shut PUMP:V", "open PUMP:V", "switch-off YARD:S", "switch-on YARD:S", "demate PUMP:P")


def read_again(track: Sequence[str]) -> int:
    """Return how many findings follow in a plan, after its causes are put right in the written plan.

    With one choice of cures at the least, of each cause one, all that follows must be gone.
    """
    track = [*SHUT, *track]
    new, found = traced(track)
    causes = sorted(set(found.of.values()))
    followers = names([new[i] for i in found.of])
    choices = list(
        product(*(tuple(c for c in new[cause].cures if c.done or not c.actions) for cause in causes))
    )
    assert any(
        not followers & left_with(track, new, dict(zip(causes, ways, strict=True))) for ways in choices
    )
    return len(found.of)


def left_with(
    track: Sequence[str], new: Sequence[Foreseen], ways: Mapping[int, Cure]
) -> set[tuple[str, str, str]]:
    """Return what is wrong with a plan in which some findings are put right, each by a step or by another order."""
    lines = [(f"A{number}", words) for number, words in enumerate(track, 1)]
    for cause, cure in ways.items():
        ids = [one for one, _ in lines]
        if cure.before is not None:
            moved = lines.pop(ids.index(cure.step or ""))
            lines.insert([one for one, _ in lines].index(cure.before), moved)
            continue
        at = ids.index(new[cause].step or "")
        lines[at + (new[cause].mode == "always") : at + (new[cause].mode == "always")] = [
            ("", f"={action}") for action in cure.actions
        ]
    said = {f"A{number}": one for number, (one, _) in enumerate(lines, 1)}
    again = check(RULES, Start(loop()), plan_of([words for _, words in lines])).new
    return {(rule, said.get(step or "", ""), code) for rule, step, code in names(again)}


@settings(max_examples=60, deadline=None)
@given(st.lists(st.sampled_from(WORDS), min_size=2, max_size=5))
def test_what_follows_is_gone_with_the_cure_as_a_step(track):
    """With what it follows from cured by a step of its own, in the plan as written, what follows is gone."""
    read_again(track)


@pytest.mark.parametrize("track", list(product(HOSE, repeat=3))[::3])
def test_what_follows_is_gone_in_every_short_plan(track):
    """The same of short plans about one hose, one by one."""
    read_again(track)


def literally(track: Sequence[str], cure: Cure) -> list[tuple[str, str]]:
    """Return the steps of a plan, with the ids they had, when a cure is done just as it is told."""
    lines = [(f"A{number}", words) for number, words in enumerate(track, 1)]
    ids = [one for one, _ in lines]
    if cure.before is not None:
        moved = lines.pop(ids.index(cure.step or ""))
        lines.insert([one for one, _ in lines].index(cure.before), moved)
        return lines
    where, _, step = cure.at.split(" ")
    at = ids.index(step) + (where == "after")
    return [*lines[:at], *(("", f"={action}") for action in cure.actions), *lines[at:]]


@pytest.mark.parametrize("track", list(product(HOSE, repeat=3))[::2])
def test_the_cure_that_is_told_first_takes_away_what_follows_and_adds_nothing(track):
    """Done just as it is told, alone, in the plan as written: what follows is gone, and nothing is new at any pace."""
    track = [*SHUT, *track]
    new, found = traced(track)
    told = {cause: cures[0] for cause, cures in found.cures.items() if cures and not cures[0].momentary}
    assert set(found.of.values()) <= told.keys()
    for cause, cure in told.items():
        lines = literally(track, cure)
        said = {f"A{number}": one for number, (one, _) in enumerate(lines, 1)}
        again = check(RULES, Start(loop()), plan_of([words for _, words in lines])).new
        left = {(f.rule, said[f.step or ""]) for f in again}
        assert left <= {(f.rule, f.step) for f in new}
        assert not left & {(new[i].rule, new[i].step) for i, of in found.of.items() if of == cause}
        assert (new[cause].rule, new[cause].step) not in left


def test_something_follows_somewhere():
    """The plans that are read again have findings that follow: else nothing would be tested."""
    assert sum(read_again(track) for track in product(HOSE, repeat=2)) > 0


def test_following_changes_no_finding():
    """What is looked at is as it was: neither the findings nor the plan are changed."""
    track = [*SHUT, "cap PUMP:F", "uncap PUMP:F"]
    new, _ = traced(track)
    plain = check(RULES, Start(loop()), plan_of(track)).new
    assert [replace(f, cures=(), tried=None) for f in new] == list(plain)
