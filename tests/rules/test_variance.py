"""Variances: findings under one are shown apart, and come back when it ends; fingerprints stay what they are."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cfgtrack.files.phrase import parse_phrase, split_phrase
from cfgtrack.model.event import Event
from cfgtrack.rules.engine import Engine
from cfgtrack.rules.finding import Finding, alone
from cfgtrack.rules.variance import Variance, under_variance, variance_of
from tests.happening import happened
from tests.rules.test_starter import ALL, Case, begin, world

MINUTE = 60_000_000
BROKEN = [case for case in ALL if case.breaks]


def finding(**more: object) -> Finding:
    """Return a finding of rule R on A:1 and B:1, broken at 100 and still open."""
    said = {"rule": "R", "title": "", "severity": 1, "mode": "always", "time": 100, "since": 90, **more}
    return alone(("A:1", "B:1"), (), ("demate", "A:1", "B:1"), **said)


def variance(**more: object) -> Variance:
    """Return a variance from rule R for anything, from 100 until 200."""
    return replace(Variance("V", "chief", "why", 100, rule="R", end=200), **more)  # type: ignore[arg-type]


@given(
    st.lists(st.tuples(st.sampled_from("RST"), st.integers(0, 300))),
    st.sampled_from("RST"),
    st.integers(0, 300),
)
def test_shown_apart_never_lost(drawn, rule, start):
    """Every finding is either plain or excused, each once, in order; the excused ones name their variance."""
    findings = [finding(rule=r, time=t) for r, t in drawn]
    plain, excused = under_variance(findings, [variance(rule=rule, start=start, end=start + 50)])
    assert [f for f in findings if f in plain] == plain
    assert sorted([*plain, *(replace(f, variance="") for f in excused)], key=repr) == sorted(
        findings, key=repr
    )
    assert all(f.variance == "V" for f in excused)
    assert {(f.rule, f.time) for f in excused} == {
        (r, t) for r, t in drawn if r == rule and start <= t < start + 50
    }


@pytest.mark.parametrize(
    ("given_to", "covered"),
    [
        ({}, True),
        ({"rule": "S"}, False),
        ({"rule": "", "fingerprint": finding().fingerprints[0]}, True),
        ({"rule": "", "fingerprint": finding(rule="S").fingerprints[0]}, False),
        ({"fingerprint": "0" * 12}, False),
        ({"subjects": ("A:*", "B:*")}, True),
        ({"subjects": ("?:1",)}, True),
        ({"subjects": ("A:1",)}, False),  # it is about B:1 as well, and that was not approved
        ({"start": 101}, False),
        ({"end": 101}, True),
        ({"end": 100}, False),
        ({"end": None}, True),
    ],
)
def test_what_it_covers(given_to, covered):
    """A variance covers by rule, by fingerprint, by every subject, and in [start, end)."""
    plain, excused = under_variance([finding()], [variance(**given_to)])
    assert (len(plain), len(excused)) == ((0, 1) if covered else (1, 0))


@pytest.mark.parametrize(
    ("at", "covered"), [(99, False), (100, True), (199, True), (200, False), (5_000, False)]
)
def test_it_comes_back(at, covered):
    """What is still broken is excused while the variance runs, and is back at the very instant at which it ends."""
    _, excused = under_variance([finding(time=50)], [variance()], at=at)
    assert bool(excused) == covered


@pytest.mark.parametrize(("until", "covered"), [(150, True), (200, True), (201, False)])
def test_what_is_over(until, covered):
    """What has been put right stays excused only if it was broken at no instant outside the variance."""
    _, excused = under_variance([finding(until=until)], [variance()], at=10_000)
    assert bool(excused) == covered


def test_the_first_that_covers_is_named():
    """Of several variances that cover a finding the first is named."""
    several = [variance(rule="S", id="other"), variance(id="first"), variance(id="second")]
    assert [f.variance for f in under_variance([finding()], several)[1]] == ["first"]


def test_from_an_event():
    """A variance is an event: who, why, from what, for which subjects, and from when until when."""
    event = Event("E", "approve", ("A:*",), 100, by="chief", reason="why", body={"rule": "R", "end": 200})
    assert variance_of(event) == variance(id="E", subjects=("A:*",))
    assert variance_of(replace(event, body={"rule": "R", "start": 5})) == variance(
        id="E", subjects=("A:*",), start=5, end=None
    )


@pytest.mark.parametrize(
    "event",
    [
        Event("E", "approve", (), 0),
        Event("E", "approve", (), 0, body={}),
        Event("E", "inspect", (), 0, body={"rule": "R"}),
    ],
)
def test_from_nothing(event):
    """An approval that names neither a rule nor a finding excuses nothing: it is no variance."""
    with pytest.raises(ValueError, match="needs the rule, or the finding"):
        variance_of(event)


# --- fingerprints ---------------------------------------------------------------------------------------------------


def found(case: Case, *, before: Sequence[str] = (), shift: int = 0, swap: bool = False) -> list[Finding]:
    """Return what a case breaks after some other work, a while later, or with its pairs the other way round."""
    now, start = begin()
    engine = Engine(world()[1], now, start=start)
    lines = [*((0, words) for words in before), *((time + shift, words) for time, words in case.does)]
    for number, (time, words) in enumerate(lines):
        event = parse_phrase(split_phrase(words), now.plant, id=f"X{number}", happened=start + time)
        if swap and len(event.subjects) == 2:
            event = replace(event, subjects=event.subjects[::-1])
        outcome = happened(engine.world.configuration, event)
        engine.step(outcome)
    engine.finish(start + case.until + shift)
    return engine.findings()


OTHER = (
    "inspect BAY",
    "uncap HOSE-1:B",
    "cap HOSE-1:B",
    "measure HOSE-1:A pressure='1 bar'",
    "begin other",
    "end other",
)


@pytest.mark.parametrize("case", BROKEN, ids=str)
def test_the_same_cause_has_the_same_fingerprint(case):
    """A finding's fingerprint doesn't depend on the time, on what else was done before, or on which half was named
    first.
    """
    plain = [f.fingerprints for f in found(case)]
    assert [f.fingerprints for f in found(case, shift=7 * MINUTE)] == plain
    assert [f.fingerprints for f in found(case, before=OTHER)] == plain
    assert sorted(f.fingerprints for f in found(case, swap=True)) == sorted(plain)


def test_different_causes_have_different_fingerprints():
    """Over all the cases, two findings have one fingerprint only when rule, subjects and action are the same."""
    codes: dict[str, set[tuple[object, ...]]] = {}
    for case in BROKEN:
        for f in found(case):
            for one in f.instances:
                codes.setdefault(one.fingerprint, set()).add((f.rule, tuple(sorted(one.subjects))))
    assert all(len(told) == 1 for told in codes.values())
    assert len(codes) > 20


def test_it_stays_when_a_part_is_put_right():
    """What one blow has broken keeps its fingerprints when one item is put right and another is not yet."""
    open_end = "0:00 begin o\n0:01 uncap BAY:F2\n0:01 uncap HOSE-1:B\n0:02 end o"
    both = found(Case("capped-at-end", "", _lines(open_end), 3 * MINUTE, ()))
    partly = found(
        Case(
            "capped-at-end",
            "",
            _lines(open_end + "\n0:03 begin p\n0:04 cap HOSE-1:B\n0:05 end p"),
            6 * MINUTE,
            (),
        )
    )
    assert [f.subjects for f in both] == [("BAY:F2", "HOSE-1:B")]
    assert sorted((f.subjects, f.until is None) for f in partly) == [
        (("BAY:F2",), True),
        (("HOSE-1:B",), False),
    ]
    assert {code for f in partly for code in f.fingerprints} == {
        code for f in both for code in f.fingerprints
    }


def _lines(text: str) -> tuple[tuple[int, str], ...]:
    pairs = [line.split(maxsplit=1) for line in text.splitlines()]
    return tuple((int(time.partition(":")[2]) * MINUTE, words) for time, words in pairs)
