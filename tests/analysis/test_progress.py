"""As run against as planned: what has become of each step, held against plain words and counting by trying all."""

from __future__ import annotations

from dataclasses import replace
from itertools import combinations

from hypothesis import given, settings
from hypothesis import strategies as st

from cfgtrack.analysis.progress import (
    DONE,
    ELSEWHERE,
    LEFT,
    OTHERWISE,
    SKIPPED,
    THERE,
    Hours,
    Run,
    in_order,
    likely_length,
    run_of,
)
from cfgtrack.analysis.remainder import what_is_left
from cfgtrack.files.definition import parse_definition
from cfgtrack.files.sequence import parse_sequence
from cfgtrack.files.sequence_writer import sequence_text
from cfgtrack.model.action import SKIP, Action
from cfgtrack.model.configuration import Configuration
from cfgtrack.model.event import Entry, Event
from cfgtrack.model.sequence import Outing, Sequence, Step
from cfgtrack.model.time import HOUR, MINUTE

PLANT = parse_definition(
    {
        "plant.toml": """
place = [{ id = "BAY" }]
part = [{ id = "panel", port = [{ name = "V1", kind = "valve" }, { name = "V2", kind = "valve" },
    { name = "V3", kind = "valve" }, { name = "V4", kind = "valve" }] }]
unit = [{ id = "P", part = "panel" }, { id = "Q", part = "panel" }]
"""
    }
).plant()
PORTS = [f"{unit}:V{number}" for unit in "PQ" for number in (1, 2, 3, 4)]
ACTIONS = [(action, port) for port in PORTS for action in ("shut", "open")]


@st.composite
def plans(draw: st.DrawFn) -> Sequence:
    """Draw a plan of one outing, two tracks, no two steps of which say the same, and a few waits backwards."""
    said = draw(st.lists(st.sampled_from(ACTIONS), min_size=1, max_size=8, unique=True))
    steps: list[Step] = []
    for number, (action, port) in enumerate(said):
        track = draw(st.sampled_from(["a", "b"]))
        after = draw(st.lists(st.sampled_from([s.id for s in steps]), max_size=1)) if steps else []
        takes = (draw(st.integers(1, 9)) * MINUTE,) * 3
        name = f"S{number}"
        what = Action(name, action, (port,), 0, outing="N", by=track)
        steps.append(Step(name, "N", track, what, takes, tuple(after)))
    return Sequence("", (Outing("N", 0, HOUR),), tuple(steps))


def entry(number: int, action: str, port: str, step: str | None = None) -> Entry:
    """Return what was recorded a minute after what was recorded before it."""
    return Entry(Event(f"e{number}", action, (port,), number * MINUTE, outing="N", step=step), number, number)


def judged(plan: Sequence, entries: list[Entry]) -> Run:
    """Return the run of a plan, an hour after its outing began."""
    now = Configuration(PLANT)
    for one in entries:
        if one.event.action != SKIP:
            now.apply(one.event)
    return run_of(plan, entries, now, HOUR, hours={"N": Hours(0)})


@settings(max_examples=200, deadline=None)
@given(plans(), st.data())
def test_steps_that_all_differ_are_done_where_what_they_say_was_done(
    plan: Sequence, data: st.DataObject
) -> None:
    """The reference is a sentence: of a plan whose steps all say something else a step is done where an event names it,
    else where an event that names no step says just that. Where something else was done in its name it is still to be
    done. In whatever order, and whatever else was done."""
    steps = {s.id: s for s in plan.steps}
    did = data.draw(st.lists(st.sampled_from(plan.steps), unique_by=lambda s: s.id))
    entries: list[Entry] = []
    expected: dict[str, str] = {}
    for number, step in enumerate(data.draw(st.permutations(did))):
        action, (port, *_) = step.action.action, step.action.subjects
        how = data.draw(st.sampled_from(["named", "in words", "skipped", "named, and it was another thing"]))
        if how == "skipped":
            entries.append(
                Entry(
                    Event(f"e{number}", SKIP, (), number * MINUTE, step=step.id, reason="x"), number, number
                )
            )
            expected[step.id] = SKIPPED
            continue
        if how.endswith("thing"):
            action = "inspect"
        entries.append(entry(number, action, port, None if how == "in words" else step.id))
        expected[step.id] = ELSEWHERE if how.endswith("thing") else DONE
    found, besides = judged(plan, entries), 0
    for name in steps:
        state = found.of(name).state
        if expected.get(name) == ELSEWHERE and state == THERE:
            besides += 1  # a valve stands so to begin with
        elif name in expected:
            assert state == expected[name]
        else:
            assert state not in (DONE, OTHERWISE, SKIPPED)
    assert len(found.extra) == besides


@settings(max_examples=200, deadline=None)
@given(plans(), st.lists(st.tuples(st.sampled_from(ACTIONS), st.integers(0, 9)), max_size=9))
def test_every_event_is_of_one_step_or_besides_the_plan(
    plan: Sequence, did: list[tuple[tuple[str, str], int]]
) -> None:
    """Whatever was recorded, each event stands in one place, and each step has one event at most."""
    names = [s.id for s in plan.steps]
    entries = [
        entry(number, action, port, names[which] if which < len(names) else None)
        for number, ((action, port), which) in enumerate(did)
    ]
    found = judged(plan, entries)
    told = [one.entry for one in found.steps if one.entry is not None] + list(found.extra)
    assert sorted(e.number for e in told) == [e.number for e in entries]
    assert {one.step.id for one in found.steps} == {*names}
    for one in found.steps:
        assert (one.entry is not None) == (one.state in (DONE, OTHERWISE, ELSEWHERE))


@settings(max_examples=200)
@given(st.permutations(range(7)))
def test_as_few_as_can_be_are_out_of_order(numbers: list[int]) -> None:
    """What is told to have been in order is a longest rising run, by trying every choice."""
    kept = in_order(numbers)
    assert kept == sorted(kept)
    run = [numbers[i] for i in kept]
    assert run == sorted(run)
    longest = max(
        size for size in range(1, 8) for some in combinations(numbers, size) if list(some) == sorted(some)
    )
    assert len(kept) == longest


@settings(max_examples=100, deadline=None)
@given(plans(), st.data())
def test_what_is_left_is_what_isnt_over_in_its_order(plan: Sequence, data: st.DataObject) -> None:
    """The remainder has every step that is left, in the order of its track, waiting for what is left alone; written as
    a file and read again it is the same."""
    did = data.draw(st.lists(st.sampled_from(plan.steps), unique_by=lambda s: s.id))
    entries = [entry(i, s.action.action, s.action.subjects[0], s.id) for i, s in enumerate(did)]
    run = judged(plan, entries)
    found = what_is_left(plan, run, HOUR, begun=["N"]).sequence
    left = [one.step.id for one in run.steps if one.state in (LEFT, ELSEWHERE)]
    assert [s.id for s in found.steps] == left
    for step in found.steps:
        assert {*step.after} == {a for s in plan.steps if s.id == step.id for a in s.after if a in left}
    if left:
        again = parse_sequence(sequence_text(found), PLANT)
        bare = [replace(s, where="") for s in again.steps]
        by_track = [s for steps in found.tracks("N").values() for s in steps]
        assert bare == [replace(s, where="", title="") for s in by_track]
        assert likely_length(plan, list(found.steps)) <= sum(s.takes[1] for s in found.steps)


def test_an_outing_that_is_over_hands_on_what_it_left() -> None:
    """What is left of a night that has ended comes first in the next one; a night whose start has passed begins now."""
    steps = tuple(
        Step(name, outing, "a", Action(name, "open", (port,), 0, outing=outing), (MINUTE,) * 3)
        for name, outing, port in (("X", "N", "P:V1"), ("Y", "N", "P:V2"), ("Z", "M", "P:V3"))
    )
    plan = Sequence("", (Outing("N", 0), Outing("M", 2 * HOUR)), steps)
    hours = {"N": Hours(0, HOUR)}
    run = run_of(plan, [entry(1, "open", "P:V1", "X")], Configuration(PLANT), HOUR, hours=hours)
    found = what_is_left(plan, run, HOUR, begun=[])
    assert [(s.id, s.outing) for s in found.sequence.steps] == [("Y", "M"), ("Z", "M")]
    assert [o.start for o in found.sequence.outings] == [2 * HOUR]
    assert "carried into M" in found.notes[0]
    late = what_is_left(plan, run, 3 * HOUR, begun=[])
    assert [o.start for o in late.sequence.outings] == [None]
    assert "1 h ago" in late.notes[1]


def test_what_is_so_and_will_be_undone_first_is_still_to_be_done() -> None:
    """A step whose result holds now is left where one that comes before it makes it otherwise, wherever that stands:
    on another track, further down, before what it waits for. Once nothing comes before it any more it is there.
    """
    told = (
        ("back", "a", "shut", "P:V1", ("gone",)),
        ("out", "b", "open", "P:V1", ()),
        ("gone", "b", "open", "P:V2", ()),
    )
    steps = tuple(
        Step(name, "N", track, Action(name, action, (port,), 0, outing="N"), (MINUTE,) * 3, after)
        for name, track, action, port, after in told
    )
    plan = Sequence("", (Outing("N", 0, HOUR),), steps)

    def found(number: int, port: str) -> Entry:
        told = entry(number, "as-found", port)
        return replace(told, event=replace(told.event, status="shut"))

    shut = [found(1, "P:V1"), found(2, "P:V2")]
    assert [one.state for one in judged(plan, shut).steps] == [LEFT] * 3
    did = [*shut, entry(3, "open", "P:V1", "out")]
    assert [one.state for one in judged(plan, did).steps] == [LEFT, DONE, LEFT]
    all_but = [*did, entry(4, "open", "P:V2", "gone")]
    assert [one.state for one in judged(plan, all_but).steps] == [LEFT, DONE, DONE]
    assert [one.state for one in judged(plan, [*all_but, found(5, "P:V1")]).steps] == [THERE, DONE, DONE]
