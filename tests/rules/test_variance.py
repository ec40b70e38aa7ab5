"""Variances: findings under one are shown apart, and come back when it ends; it excuses what it names and no other."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cfgtrack.files.phrase import parse_phrase, split_phrase
from cfgtrack.model.event import Entry, Event
from cfgtrack.rules.approved import Withdrawal
from cfgtrack.rules.engine import Engine
from cfgtrack.rules.finding import Finding, Instance
from cfgtrack.rules.variance import (
    Older,
    Variance,
    Void,
    older_fingerprints,
    under_variance,
    variance_of,
)
from tests.happening import happened
from tests.rules.test_starter import ALL, Case, begin, world

MINUTE = 60_000_000
BROKEN = [case for case in ALL if case.breaks]
A, B, C = "a" * 12, "b" * 12, "c" * 12
ABOUT = {A: ("A:1",), B: ("B:1",), C: ("A:1", "B:1")}


def finding(*codes: str, rule: str = "R", mode: str = "always", time: int = 100, **more: Any) -> Finding:
    """Return a finding with instances of these fingerprints (A is about A:1, B about B:1, C about both), still open."""
    instances = tuple(Instance(code, ABOUT[code], ()) for code in codes or (A, B))
    return Finding.of(
        instances, rule=rule, title="", severity=1, mode=mode, time=time, since=time - 10, **more
    )


def variance(*codes: str, **more: Any) -> Variance:
    """Return a variance for what has these fingerprints, A and B where none is given, from 100 until 200."""
    return replace(Variance("V", "chief", "why", 100, frozenset(codes or (A, B)), 200), **more)


def codes_of(findings: Sequence[Finding]) -> list[tuple[str, ...]]:
    """Return the fingerprints of each finding."""
    return [f.fingerprints for f in findings]


@given(
    st.lists(st.tuples(st.sets(st.sampled_from((A, B, C)), min_size=1), st.integers(0, 300))),
    st.sets(st.sampled_from((A, B, C))),
    st.integers(0, 300),
)
def test_shown_apart_never_lost(drawn, named, start):
    """Every instance of every finding is either plain or excused, once: excused just where it is named, in its time."""
    findings = [finding(*sorted(codes), time=t) for codes, t in drawn]
    variances = [variance(start=start, end=start + 50, fingerprints=frozenset(named))]
    plain, excused = under_variance(findings, variances)
    told = [(code, f.time, bool(f.variance)) for f in (*plain, *excused) for code in f.fingerprints]
    assert sorted(told) == sorted(
        (code, t, code in named and start <= t < start + 50) for codes, t in drawn for code in codes
    )
    assert {f.variance for f in plain} <= {""}
    assert {f.variance for f in excused} <= {"V"}


@pytest.mark.parametrize(
    ("given_to", "excused"),
    [
        (variance(A, B), [(A, B)]),
        (variance(A), [(A,)]),
        (variance(B), [(B,)]),
        (variance(C), []),
        (variance(start=101), []),
        (variance(end=101), [(A, B)]),
        (variance(end=100), []),
        (variance(end=None), [(A, B)]),
        (variance(older=Older("R", "", ("A:1", "B:1", "X"))), [(A, B)]),
        (variance(older=Older("R", "", ("A:1",))), [(A,)]),
        (variance(older=Older("R", "", ())), []),
        (variance(older=Older("S", "", ("A:1", "B:1"))), []),
    ],
)
def test_what_it_covers(given_to, excused):
    """A variance covers the instances that it names, in [start, end); an older one those about its exact subjects."""
    if given_to.older is not None:
        given_to = replace(given_to, fingerprints=frozenset())
    plain, found = under_variance([finding()], [given_to])
    assert codes_of(found) == excused
    assert sorted(c for f in plain for c in f.fingerprints) == [
        c for c in (A, B) if not any(c in f for f in excused)
    ]


def test_it_excuses_who_it_names_alone():
    """Of what one action broke for two, one is excused and the other stands, each with what is said of it alone."""
    (stands,), (excused,) = under_variance([finding()], [variance(B)])
    assert (stands.subjects, excused.subjects) == (("A:1",), ("B:1",))


def test_one_about_several_needs_all_of_them():
    """An older approval for one of the subjects of an instance doesn't excuse it: it is about the others, too."""
    older = variance(fingerprints=frozenset(), older=Older("R", "", ("A:1",)))
    assert under_variance([finding(C)], [older])[1] == []


def test_what_has_no_subjects_is_not_excused_by_subjects():
    """An instance that is about nothing is under no older approval of subjects: all of none would be true."""
    nothing = Finding.of(
        (Instance(A, (), ()),), rule="R", title="", severity=1, mode="always", time=100, since=90
    )
    older = variance(fingerprints=frozenset(), older=Older("R", "", ("A:1",)))
    assert under_variance([nothing], [older]) == ([nothing], [])


def test_what_cannot_be_done_is_never_excused():
    """A step that isn't possible stays so, whatever names it."""
    step = finding(mode="possible")
    assert under_variance([step], [variance()]) == ([step], [])


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
    """Of several variances that cover an instance the first is named; two may share a finding between them."""
    several = [variance(C, id="other"), variance(B, id="first"), variance(id="second")]
    assert [(f.variance, f.fingerprints) for f in under_variance([finding()], several)[1]] == [
        ("second", (A,)),
        ("first", (B,)),
    ]


def two(*codes: str, **more: Any) -> Finding:
    """Return a finding, broken at 100, to which two must approve an exception."""
    return finding(*codes, approvals=2, **more)


def by(who: str, *codes: str, **more: Any) -> Variance:
    """Return a variance by somebody, known at 50."""
    told = {"id": who, "by": who, "known": 50, "start": 50, "approver": who, "people": frozenset([who])}
    return variance(*codes, **{**told, **more})


def test_two_may_share_no_hand():
    """It takes two approvals that no hand is in both of; which come first, and what else there is, doesn't matter."""
    ann, ben = by("ann", A), by("ben", A)
    clerk = by("cy", A, people=frozenset(["cy", "ann"]))
    assert under_variance([two(A)], [ann])[1] == []
    assert under_variance([two(A)], [ann, by("ann", A, id="again"), clerk])[1] == []
    for some in ([ann, ben], [ben, clerk], [ann, clerk, ben]):
        ((excused,), plain) = under_variance([two(A)], some)[::-1]
        assert plain == []
        assert excused.approved is not None
        assert len({name for one in excused.approved.approvals for name in (one.by,)}) == 2
    assert (
        under_variance([two(A)], [by("ann", A, people=frozenset()), by("ben", A, people=frozenset())])[1]
        == []
    )


def test_instances_part_ways():
    """Of one finding, what two approved is excused, what one approved waits, and what nobody did has nothing told."""
    plain, excused = under_variance([two(A, B, C)], [by("ann", A, B), by("ben", A)])
    assert codes_of(excused) == [(A,)]
    assert [(f.fingerprints, f.approved is not None and f.approved.waits) for f in plain] == [
        ((B,), True),
        ((C,), False),
    ]


def test_those_that_run_longest_are_told():
    """Renewed before it ends, an exception runs as long as the last: nobody is told that it runs out before."""
    short, long = by("ann", A, end=150), by("ann", A, id="renewed", end=500)
    for some in ([short, long], [long, short]):
        (excused,) = under_variance([finding(A)], some)[1]
        assert (excused.variance, excused.approved and excused.approved.until) == ("renewed", 500)


def test_before_the_fact_goes_first():
    """Where approvals of before the fact are enough, a longer one that came after doesn't make it after."""
    (excused,) = under_variance([finding(A)], [by("late", A, known=101, end=None), by("ann", A)])[1]
    assert excused.approved is not None
    assert (excused.variance, excused.approved.fact) == ("ann", "before")


@pytest.mark.parametrize(
    ("one", "at", "standing"),
    [
        (by("ann", A), 150, "runs"),
        (by("ann", A, end=140), 150, "ran out"),
        (by("ann", A, end=150), 150, "ran out"),
        (by("ann", A, start=151), 150, "not yet"),
        (by("ann", A, end=140), None, "runs"),
        (by("ann", A, end=100), None, "not throughout"),
        (by("ann", A, withdrawal=Withdrawal("W", "", 60, "x")), 150, "withdrawn"),
        (by("ann", A, may=lambda on: f"not {on}"), 150, "not his"),
    ],
)
def test_what_an_approval_is_to_a_finding(one, at, standing):
    """It runs, ran out, begins later, doesn't run throughout, was withdrawn, or is by somebody who may not."""
    plain, excused = under_variance([finding(A)], [one], at=at)
    assert bool(excused) == (standing == "runs")
    (told,) = (*plain, *excused)
    assert told.approved is not None
    assert [one.standing for one in told.approved.approvals] == [standing]


def test_a_rule_that_leaves_it_to_some():
    """Where a rule names who may except from it, nobody else's approval counts, whoever may else."""
    left = finding(A, approvers=("Chief",))
    assert under_variance([left], [by("ann", A)])[1] == []
    assert under_variance([left], [by("chief", A)])[0] == []


def approval(body: dict[str, Any] | None, *subjects: str, **more: Any) -> Entry:
    """Return an approval that holds `body`, known at 120."""
    told = {"by": "chief", "reason": "why", **more}
    return Entry(Event("E", "approve", subjects, 100, body=body, **told), 7, 120)


def test_from_an_event():
    """A variance is an event: who, why, of which findings, and from when until when."""
    as_told = {"id": "E", "happened": 100, "known": 120, "people": frozenset(["chief"]), "approver": "chief"}
    assert variance_of(approval({"fingerprints": [A, B], "end": 200}, "A:1")) == variance(**as_told)
    from_five = variance(A, **as_told, start=5, end=None)
    assert variance_of(approval({"fingerprints": [A], "start": 5})) == from_five
    written = approval({"fingerprints": [A, B], "end": 200}, recorder="Night  Clerk")
    people = frozenset(["chief", "night clerk"])
    assert variance_of(written) == variance(**{**as_told, "people": people}, recorder="Night  Clerk")


def test_from_an_older_event():
    """What was approved for a rule and exact subjects, or for one finding, is read as it was meant."""
    by_rule = variance_of(approval({"rule": "R"}, "A:1", "B:1"))
    assert isinstance(by_rule, Variance)
    assert (by_rule.older, by_rule.fingerprints) == (Older("R", "", ("A:1", "B:1")), frozenset())
    by_code = variance_of(approval({"fingerprint": "0" * 12, "end": 300}))
    assert isinstance(by_code, Variance)
    assert (by_code.older, by_code.end) == (Older("", "0" * 12), 300)


@pytest.mark.parametrize(
    ("event", "why"),
    [
        (approval({"rule": "R"}), "it is of all that rule R finds"),
        (approval({"rule": "R"}, "A:*", "B:1"), "it is of whatever fits A:*"),
        (approval(None), "by their fingerprints"),
        (approval({}), "by their fingerprints"),
        (approval({"start": 5}), "by their fingerprints"),
        (approval({"fingerprints": []}), "fingerprints: expected a list of texts, found []"),
        (approval({"fingerprints": [""]}), "fingerprints: expected a list of texts"),
        (approval({"fingerprints": A}), "fingerprints: expected a list of texts"),
        (approval({"rule": 7}), "rule: expected a text, found 7"),
        (approval({"fingerprint": ["x"]}), "fingerprint: expected a text"),
        (approval({"fingerprints": [A], "start": "noon"}), "start: expected a time in microseconds"),
        (approval({"fingerprints": [A], "end": True}), "end: expected a time in microseconds"),
        (approval({"fingerprints": [A], "end": 2**60}), "end: expected a time in microseconds"),
        (approval({"fingerprints": [A]}, by=" "), "it doesn't say who approved it"),
        (approval({"fingerprints": [A]}, by=None), "it doesn't say who approved it"),
    ],
)
def test_what_is_void(event, why):
    """An approval that names nothing exactly, or whose body is damaged, excuses nothing and is listed."""
    void = variance_of(event)
    assert isinstance(void, Void)
    assert why in void.why
    assert (void.event, void.by) == ("E", event.event.by or "")


def test_what_is_no_approval():
    """Nothing but an approval is asked for its variance."""
    with pytest.raises(ValueError, match="inspect is no approval"):
        variance_of(Entry(Event("E", "inspect", (), 0), 1, 0))


# --- fingerprints of before -------------------------------------------------------------------------------------------

OLDER: dict[str, list[str]] = json.loads(
    Path(__file__).with_name("older_fingerprints.json").read_text(encoding="utf-8")
)
"""What the findings of the starter set's cases were called when one code was of all that an event broke at one blow:
written down by the last version that did so."""


@pytest.mark.parametrize("case", [case for case in BROKEN if str(case) in OLDER], ids=str)
def test_an_older_fingerprint_is_that_of_before(case):
    """What an older approval named by its code is found by the same code still."""
    assert sorted(set(older_fingerprints(found(case)))) == OLDER[str(case)]


def test_older_fingerprints_excuse_what_had_them():
    """An approval by an older code excuses all that had it, and nothing else."""
    case = next(case for case in BROKEN if len(OLDER.get(str(case), ())) > 1)
    findings = found(case)
    codes = older_fingerprints(findings)
    older = variance(fingerprints=frozenset(), start=0, end=None, older=Older(fingerprint=codes[0]))
    _, excused = under_variance(findings, [older])
    assert codes_of(excused) == [
        f.fingerprints for f, code in zip(findings, codes, strict=True) if code == codes[0]
    ]


# --- fingerprints ---------------------------------------------------------------------------------------------------


def found(case: Case, *, before: Sequence[str] = (), shift: int = 0, swap: bool = False) -> list[Finding]:
    """Return what a case breaks after some other work, a while later, or with its pairs the other way round."""
    now, start = begin()
    engine = Engine(world()[1], now, start=start)
    lines = [*((0, words) for words in before), *((time + shift, words) for time, words in case.does)]
    for number, (time, words) in enumerate(lines):
        event = parse_phrase(split_phrase(words), now.plant, id=f"X{number}", happened=start + time)
        if swap and len([s for s in event.subjects if now.plant.port(s)]) == 2:
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
