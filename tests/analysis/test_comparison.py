"""Two revisions of a sequence compared: random edits are told as they were made, and as few as can be."""

from itertools import combinations, permutations

from hypothesis import given
from hypothesis import strategies as st

from cfgtrack.analysis.comparison import steps_compared
from cfgtrack.model.action import Action
from cfgtrack.model.sequence import Outing, Sequence, Step
from cfgtrack.model.time import MINUTE

ONE = (MINUTE, MINUTE, MINUTE)


def plan(*tracks, auto=False):
    """Return a plan: a list of step names for each track; without ids of their own where `auto`."""
    steps = [
        Step(
            f"W.{t}.{i}" if auto else name,
            "W",
            str(t),
            Action(name, "inspect", (name,), 0),
            ONE,
        )
        for t, names in enumerate(tracks)
        for i, name in enumerate(names, 1)
    ]
    return Sequence(outings=(Outing("W"),), steps=tuple(steps))


NAMES = st.permutations(list("abcdefg")).flatmap(
    lambda names: st.integers(0, len(names)).map(lambda n: names[:n])
)


def fewest_moved(one, other):
    """Return how few of the common names must be taken out for the others to stand in the same turn, trying all."""
    common = [name for name in one if name in other]
    turn = [name for name in other if name in one]
    for count in range(len(common) + 1):
        for gone in combinations(common, count):
            if [n for n in common if n not in gone] == [n for n in turn if n not in gone]:
                return count
    raise AssertionError


@given(NAMES, NAMES)
def test_added_dropped_and_moved(one, other):
    """Added and dropped is what only one has; moved are the fewest steps whose turn is another (trying every set)."""
    found = steps_compared(plan(one), plan(other))
    assert {s.step for s in found.added} == set(other) - set(one)
    assert {s.step for s in found.dropped} == set(one) - set(other)
    assert len(found.moved) == fewest_moved(one, other)
    assert not found.changed
    assert found.same == (one == other)
    assert found.changes == len(found.added) + len(found.dropped) + len(found.moved)


@given(NAMES, NAMES)
def test_steps_without_ids(one, other):
    """Steps that nobody named are the same where they say the same in the same turn: one put in shifts none."""
    found = steps_compared(plan(one, auto=True), plan(other, auto=True))
    common = len(one) - len(found.dropped)
    assert common == len(other) - len(found.added)
    assert common >= max((len(_run(one, other)), 0))
    assert not found.moved
    if one == other:
        assert found.same


def _run(one, other):
    """Return the longest run of names that stands in both."""
    runs = (one[i:j] for i in range(len(one)) for j in range(i, len(one) + 1))
    return max((run for run in runs if _has(other, run)), key=len, default=[])


def _has(names, run):
    return any(names[i : i + len(run)] == run for i in range(len(names) - len(run) + 1))


def test_all_orders_of_four():
    """Of every order of four steps against every other the fewest that moved are told."""
    for one in permutations("abcd"):
        found = steps_compared(plan("abcd"), plan(one))
        assert len(found.moved) == fewest_moved("abcd", one)


def test_a_step_on_another_track_is_changed():
    """A step that somebody else's track now has is changed, not moved: its track is another."""
    found = steps_compared(plan("ab", "c"), plan("a", "bc"))
    assert [(c.step, [(d.what, d.before, d.after) for d in c.differs]) for c in found.changed] == [
        ("b", [("track", "0", "1")])
    ]
    assert not found.moved
