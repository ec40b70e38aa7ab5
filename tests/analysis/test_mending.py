"""Mending: each sort of change is found where it alone is needed, and what is mended is clear by the ordinary check."""

from contextlib import suppress
from itertools import permutations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cfgtrack.analysis.check import Start, check, judged
from cfgtrack.analysis.comparison import steps_compared
from cfgtrack.analysis.mending import Change, mend
from cfgtrack.analysis.reorder import Plan
from cfgtrack.analysis.verdict import Verdict
from cfgtrack.files.definition import parse_definition
from cfgtrack.files.rules import parse_rules
from cfgtrack.files.sequence import parse_sequence
from cfgtrack.files.sequence_writer import sequence_text
from cfgtrack.model.configuration import Configuration
from cfgtrack.model.sequence import Deadlock
from tests.cli import world
from tests.happening import happened

DEFINITION = parse_definition({"plant.toml": world.PLANT})
PLANT = DEFINITION.plant()
RULES = parse_rules({"rules.toml": world.RULES}, PLANT)
BEGUN = 1_935_400_000_000_000


def now():
    """Return the plant as it stands at first."""
    found = Configuration(PLANT)
    for event in DEFINITION.initial:
        found.apply(happened(found, event))
    return found


START = Start(now(), began=BEGUN, start=BEGUN)


def sequence(*tracks):
    """Return a sequence of one outing: texts of steps for each track."""
    told = "".join(
        f'[[outing.track]]\nname = "t{i}"\nsteps = [{", ".join(f"{{ {step} }}" for step in steps)}]\n'
        for i, steps in enumerate(tracks)
    )
    return parse_sequence(f'[[outing]]\nid = "W1"\n{told}', PLANT)


def checked(proposal):
    """Check a sequence as any is."""
    return check(RULES, START, proposal)


def mended(proposal, **more):
    """Mend a sequence."""
    plan = Plan(proposal, START.configuration, START.start)
    return mend(lambda coming: judged(RULES, START, coming=coming), plan, checked, **more)


OFF = 'id = "off", do = "de-energise HALL:K1", takes = "2 min"'
ON = 'id = "on", do = "energise HALL:K1", takes = "2 min"'
APART = 'id = "apart", do = "demate PUMP-1:J1", takes = "1 min"'
JOIN = 'id = "join", do = "mate PUMP-1:J1 HALL:J1", takes = "1 min"'

CASES = {
    "nothing": ([[OFF, APART, JOIN, ON]], []),
    "move": ([[APART, OFF, JOIN, ON]], ["move"]),
    "add": ([[OFF, APART, JOIN]], ["add"]),
    "add first": ([[APART, JOIN]], ["add", "add"]),
    "wait": ([[APART, JOIN], [OFF, ON]], ["wait"]),
    "drop": ([[OFF, 'id = "twice", do = "de-energise HALL:K1"', APART, JOIN, ON]], ["drop"]),
    "give up": ([[APART], [f'{OFF}, after = ["apart"]', JOIN, ON]], ["give up", "wait"]),
}


@pytest.mark.parametrize("name", CASES)
def test_what_is_needed_is_found(name):
    """A sequence that lacks one thing gets that, in as few changes as can be, and the check of the result is clear."""
    tracks, sorts = CASES[name]
    found = mended(sequence(*tracks))
    assert found.is_clear, found.wrong
    assert checked(found.sequence).verdict == Verdict.CLEAR
    assert len(found.changes) == len(sorts), [change.text for change in found.changes]
    assert found.proved
    if name not in ("wait", "give up"):
        assert sorted(change.sort for change in found.changes) == sorts
    assert (found.at_least, len(found.changes)) == (len(sorts), len(sorts))


ANY = [OFF, ON, APART, JOIN, 'id = "look", do = "inspect PUMP-1"']


@settings(max_examples=12)
@given(st.permutations(ANY), st.integers(1, 5), st.booleans())
def test_what_is_mended_is_clear_and_needs_each_change(steps, length, split):
    """Of steps in any order: what is called clear is so by the check, also as a file, and no change can be left out."""
    tracks = [steps[:length][:2], steps[:length][2:]] if split and length > 2 else [steps[:length]]
    before = sequence(*tracks)
    found = mended(before, most=80)
    if not found.is_clear:
        return
    again = parse_sequence(sequence_text(found.sequence), PLANT)
    assert checked(again).verdict == Verdict.CLEAR
    assert steps_compared(before, found.sequence).same == (not found.changes)
    for change in found.changes:
        fewer = before
        try:
            for other in found.changes:
                fewer = fewer if other is change else other.made(fewer)
        except (KeyError, StopIteration):
            continue  # another change has to do with the step that this one adds
        with suppress(Deadlock):
            assert checked(fewer).verdict != Verdict.CLEAR, change.text


@pytest.mark.parametrize("steps", list(permutations([OFF, APART, JOIN, ON], 4))[::5])
def test_never_more_than_sorting(steps):
    """Four steps in any order are mended with no more changes than it takes to put them in an order that is clear."""
    given_order = [step.split('"')[1] for step in steps]
    clear = [
        order for order in permutations([OFF, APART, JOIN, ON]) if checked(sequence(order)).verdict == "clear"
    ]
    orders = [[step.split('"')[1] for step in order] for order in clear]
    fewest = min(_moves(given_order, order) for order in orders)
    found = mended(sequence(list(steps)), most=600)
    assert found.is_clear
    assert len(found.changes) <= fewest


def _moves(one, other):
    """Return how few names must be moved to make one order the other: all but the longest common turn."""
    best = 0
    for picked in range(1 << len(one)):
        some = [name for i, name in enumerate(one) if picked >> i & 1]
        if some == [name for name in other if name in some]:
            best = max(best, len(some))
    return len(one) - best


def test_cut_short():
    """A search that may judge nothing more tells how far it got, and calls nothing clear."""
    found = mended(sequence([APART, OFF, JOIN, ON]), most=1)
    assert (found.is_clear, found.cut_short, found.changes) == (False, True, ())
    assert found.wrong == "breaks dead-before-touch"
    assert mended(sequence([APART, OFF, JOIN, ON]), may_go_on=lambda: False).cut_short


def test_what_can_not_be_done_is_not_left_out():
    """A step that can't be done, and whose end isn't there already, is not dropped to make a sequence clear."""
    found = mended(sequence(['id = "x", do = "mate PUMP-1:F1 HALL:P2"']), most=60)
    assert not found.is_clear


CLOCK = """
[[rule]]
id = "valve-soon"
title = "After the switch is off, the valve is shut within 10 min"
hazard = "bang"
severity = 2
source = "common practice"
mode = "within"
within = "10 min"
trigger = { action = "de-energise", id = "HALL:K1" }
condition = { status = "HALL:V1", is = "shut" }
"""
CLOCKED = parse_rules({"rules.toml": 'title = "clock"\n' + CLOCK}, PLANT)


def of_clock(proposal, **more):
    """Mend a sequence by the rule with the clock alone."""
    plan = Plan(proposal, START.configuration, START.start)
    return mend(
        lambda coming: judged(CLOCKED, START, coming=coming),
        plan,
        lambda changed: check(CLOCKED, START, changed),
        **more,
    )


SHUT = 'id = "shut", do = "shut HALL:V1", takes = '


def test_a_slow_step_is_not_made_quick():
    """A step that takes longer than a clock allows is not replaced by itself, done faster: it is done before."""
    found = of_clock(sequence([OFF, f'{SHUT}"15 min"']))
    assert found.is_clear
    assert [(change.sort, change.step) for change in found.changes] == [("move", "shut")]
    assert found.proved


def test_what_is_added_takes_as_long_as_the_lead_says():
    """An added action takes as long as a step that does the same, else as one of its sort, else as is assumed."""
    twice = of_clock(sequence([f'{SHUT}"15 min"', 'id = "open", do = "open HALL:V1"', OFF]))
    assert twice.is_clear
    for change in twice.changes:
        assert change.added is None or change.added.takes[1] == 15 * 60 * 1_000_000
    lacks = of_clock(sequence([OFF]))
    assert lacks.is_clear
    assert "(5 min assumed)" in lacks.changes[0].text


def test_broken_with_other_durations_alone():
    """What is broken only where all takes long is mended, too: here in one change."""
    slow = [OFF, f'{SHUT}["1 min", "5 min", "9 min"], after = ["look"]']
    proposal = sequence(slow, ['id = "look", do = "inspect PUMP-1", takes = ["1 min", "3 min", "4 min"]'])
    assert [f.mix for f in check(CLOCKED, START, proposal).new] == ["all high"]
    found = of_clock(proposal)
    assert found.is_clear
    assert len(found.changes) == 1


def test_never_is_nothing_left():
    """The only step of a sequence is never dropped, nor made possible by undoing first what it would do."""
    found = of_clock(sequence(['id = "on", do = "energise HALL:K1"']))
    assert (found.is_clear, found.changes) == (False, ())
    assert "to drop the only step would leave nothing" in found.wrong
    twice = of_clock(sequence([OFF, 'id = "twice", do = "de-energise HALL:K1"', f'{SHUT}"1 min"']))
    assert [change.text for change in twice.changes] == ["drop twice: HALL:K1 is off already"]


def _every(proposal):
    """Yield every single move and wait, and every wait given up."""
    for step in proposal.steps:
        for other in proposal.steps:
            if other is step:
                continue
            if other.track == step.track:
                yield Change("move", step.id, before=other.id)
            elif other.id not in step.after:
                yield Change("wait", step.id, waits_for=other.id)
        yield Change("move", step.id)
        yield from (Change("give up", step.id, waits_for=name) for name in step.after)


@settings(max_examples=6)
@given(st.permutations([OFF, APART, JOIN, ON, f'{SHUT}"3 min"']), st.integers(2, 5), st.booleans())
def test_no_fewer_than_brute_force(steps, length, split):
    """Of all sets of up to two moves and waits none that is clear has fewer changes than what is found.

    And what is said to be needed at least isn't more than any of them.
    """
    chosen = steps[:length]
    before = sequence(*([chosen[:2], chosen[2:]] if split and length > 2 else [chosen]))
    found = mended(before)
    fewest = _fewest(before)
    if fewest is not None:
        assert found.is_clear
        assert len(found.changes) <= fewest
        assert found.at_least <= fewest
    if found.proved and found.is_clear and fewest is not None:
        assert len(found.changes) == found.at_least or not found.changes


def _fewest(before):
    """Return the fewest moves and waits, up to two, that make a sequence clear; None for none."""
    level = [before]
    for size in range(3):
        if any(_is_clear(one) for one in level):
            return size
        following = []
        for one in level if size < 2 else ():
            for change in _every(one):
                with suppress(KeyError, StopIteration):
                    following.append(change.made(one))
        level = list({tuple((s.id, s.after) for s in one.steps): one for one in following}.values())
    return None


def _is_clear(proposal):
    with suppress(Deadlock):
        return checked(proposal).verdict == Verdict.CLEAR
    return False
