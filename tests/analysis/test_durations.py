"""The worst mix of durations, against all mixes tried one by one."""

from itertools import product

from hypothesis import given, settings
from hypothesis import strategies as st

from cfgtrack.analysis.durations import Durations
from cfgtrack.model.action import Action
from cfgtrack.model.sequence import Outing, Schedule, Sequence, Step, lay_out


@st.composite
def plans(draw, *, steps=6):
    """Draw a small plan: outings with tracks side by side, waits between them, and durations that vary."""
    length = draw(st.integers(2, steps))
    outings = [Outing("1", draw(st.sampled_from((None, 2))), None)]
    if draw(st.booleans()):
        outings.append(Outing("2", draw(st.sampled_from((None, 4, 9)))))
    made: list[Step] = []
    for number in range(length):
        low, more, most = (draw(st.integers(0, 4)) for _ in range(3))
        where = [*(o.id for o in outings)][draw(st.integers(0, len(outings) - 1))]
        # An outing waits for none that comes later.
        ahead = [s.id for s in made if s.outing <= where]
        after = tuple(draw(st.lists(st.sampled_from(ahead), max_size=2, unique=True))) if ahead else ()
        takes = (low, low + more, low + more + most)
        action = Action("", "inspect", ("P",), 0)
        made.append(Step(str(number), where, draw(st.sampled_from("ab")), action, takes, after))
    return Sequence(outings=tuple(outings), steps=tuple(made))


@given(plans(), st.data())
@settings(max_examples=400)
def test_no_mix_drives_two_points_further_apart(plan, data):
    """Of all mixes of low and high durations none drives two points further apart than the one that is found."""
    schedule = Schedule(plan, 0)
    points = range(len(schedule.steps))
    start, end = data.draw(st.sampled_from(points)), data.draw(st.sampled_from(points))
    beyond = data.draw(st.integers(-5, 40))
    gaps = [
        (times := schedule.times(takes))[end] - times[start]
        for takes in product(*({low, high} for low, _, high in schedule.takes))
    ]
    durations = Durations(schedule)
    found, bound = durations.widest(start, end, beyond), durations.bound(start, end)
    if found is None:
        assert (bound, max(gaps) <= 0) == (None, True)
        return
    assert found.is_sure
    times = schedule.times(found.takes)
    assert times[end] - times[start] == found.gap
    assert found.gap <= max(gaps) <= found.bound == bound
    assert (found.gap > beyond) == (max(gaps) > beyond)


@given(plans(), st.data())
def test_what_lies_between_low_and_high_drives_nothing_further_apart(plan, data):
    """No duration between its low and its high one drives two points further apart than low and high ones do."""
    schedule = Schedule(plan, 0)
    points = range(len(schedule.steps))
    start, end = data.draw(st.sampled_from(points)), data.draw(st.sampled_from(points))
    takes = [data.draw(st.integers(low, high)) for low, _, high in schedule.takes]
    times = schedule.times(takes)
    found = Durations(schedule).widest(start, end, times[end] - times[start] - 1)
    if times[end] > times[start]:
        assert found is not None
        assert found.gap >= times[end] - times[start]


def test_too_many_ways_are_said_not_to_be_tried():
    """Where the ways through a plan are too many to try, the answer says that it isn't sure."""
    made = []
    for rank in range(12):
        for track in "abcd":
            after = tuple(f"{other}{rank - 1}" for other in "abcd") if rank else ()
            takes = (1, 1 + (rank % 2), 2 + ord(track) % 3)
            made.append(Step(f"{track}{rank}", "1", track, Action("", "inspect", ("P",), 0), takes, after))
    schedule = Schedule(Sequence(outings=(Outing("1"),), steps=tuple(made)), 0)
    found = Durations(schedule).widest(schedule.number["a10"], schedule.number["b11"], 10**6)
    assert found is not None
    assert found.is_sure  # out of reach: no way need be tried
    found = Durations(schedule).widest(schedule.number["a10"], schedule.number["b11"], found.gap)
    assert found is not None
    assert found.is_sure == (found.bound <= found.gap)


@given(plans())
def test_a_schedule_lays_out_as_its_steps_wait(plan):
    """A step starts when its track is free, its outing has begun and all that it waits for has ended, and no later."""
    layout = lay_out(plan, 1)
    laid = {one.step.id: one for one in layout.steps}
    over = 1
    for outing in plan.outings:
        begin, end = layout.spans[outing.id]
        assert begin == max(over, outing.start or over)
        over = end
        mine = [step for step in plan.steps if step.outing == outing.id]
        assert end == max([begin, *(laid[step.id].end for step in mine)])
        free = dict.fromkeys("ab", begin)
        for step in mine:
            one = laid[step.id]
            assert one.start == max([free[step.track], *(laid[a].end for a in step.after)])
            assert one.end == one.start + step.takes[1]
            free[step.track] = one.end
    ends = [one.end for one in layout.steps]
    assert ends == sorted(ends)
