"""How long a sequence takes: each sampled limit against every sample worked out anew, step by step."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import pytest
from hypothesis import event, given, settings
from hypothesis import strategies as st

from cfgtrack.analysis.campaign import Cancelled
from cfgtrack.analysis.check import Start, check
from cfgtrack.analysis.duration_model import Shape
from cfgtrack.analysis.how_long import HowLong, Limit, Sampling, how_long
from cfgtrack.analysis.sampling import chunks, draws_of, takes_in
from cfgtrack.model.action import Action
from cfgtrack.model.configuration import Configuration
from cfgtrack.model.part import Part, Port
from cfgtrack.model.plant import Plant, Unit
from cfgtrack.model.sequence import Outing, Schedule, Sequence, Step
from cfgtrack.rules.rule import Rule, RuleSet
from cfgtrack.rules.selection import Selection
from cfgtrack.rules.what.all import All
from cfgtrack.rules.what.status import Status
from cfgtrack.rules.when.within import Within
from tests.analysis.test_mixes import ITEMS, PLANT, looked_at, plan, plans, step
from tests.rules.worlds import KINDS, MEDIA, SECOND

ONCE = Sampling(samples=40, seed=3)


def asked(
    rules: RuleSet, sequence: Sequence, drawn: Sampling = ONCE, plant: Plant = PLANT, **more
) -> HowLong:
    """Ask how long a sequence takes."""
    return how_long(rules, Start(Configuration(plant)), sequence, drawn=drawn, **more)


def samples_of(sequence: Sequence, drawn: Sampling) -> list[dict[str, int]]:
    """Return what each step takes in each sample."""
    schedule = Schedule(sequence, 0)
    draws = draws_of(schedule, drawn.shape, drawn.seed)
    return [
        {name: takes[point] for name, point in schedule.number.items()}
        for chunk in chunks(draws, drawn.samples)
        for takes in (takes_in(draws, chunk, number) for number in range(len(chunk)))
    ]


def ends_in(sequence: Sequence, takes: dict[str, int]) -> dict[str, int]:
    """Return when each step of a one-outing plan ends, written anew. A step waits for none that is written after it."""
    ends: dict[str, int] = {}
    free: dict[str, int] = {}
    for one in sequence.steps:
        ends[one.id] = free[one.track] = (
            max([free.get(one.track, 0), *(ends[a] for a in one.after)]) + takes[one.id]
        )
    return ends


def out_of(limits: tuple[Limit, ...]) -> dict[tuple[str, str | None], tuple[int, int]]:
    """Return of each clock, by item and the step that starts it, in how many samples it ran and ran out."""
    return {
        (one.subject, one.starts): (one.in_time.samples, one.in_time.samples - one.in_time.hits)
        for one in limits
        if one.rule == "soon"
    }


@given(plans(), st.integers(1, 8))
@settings(max_examples=150)
def test_every_sample_is_judged_as_if_it_were_the_only_one(sequence: Sequence, limit: int) -> None:
    """What is counted of each clock over all samples is what each sample by itself says, whatever its order."""
    found = asked(looked_at(limit), sequence)
    event(f"{found.judged} orders judged")
    expected: dict[tuple[str, str], tuple[int, int]] = {}
    order = {one.id: number for number, one in enumerate(sequence.steps)}
    for takes in samples_of(sequence, ONCE):
        ends = ends_in(sequence, takes)
        over = max(ends.values(), default=0)
        for one in sequence.steps:
            item = one.action.subjects[0]
            if one.action.action != "inspect" or item not in ITEMS:
                continue
            mine = [s for s in sequence.steps if s.action.subjects == (item,)]
            done = sorted((ends[s.id], order[s.id], s.action.action) for s in mine)
            # At one instant only what is so when it is over counts: what was done last.
            met = [
                end
                for end, _, _ in done
                if end >= ends[one.id] and [v for e, _, v in done if e == end][-1] == "remark"
            ]
            ran, out = expected.get((item, one.id), (0, 0))
            is_out = min(met, default=over) - ends[one.id] > limit * SECOND
            expected[item, one.id] = (ran + 1, out + is_out)
    told = out_of(found.limits)
    unknown = {(one.subject, one.starts) for one in found.limits if one.in_time.unknown}
    every = [ends_in(sequence, takes) for takes in samples_of(sequence, ONCE)]
    for (item, name), (_, out) in expected.items():
        # Of steps that always end at one instant any may be named.
        same = [one.id for one in sequence.steps if all(ends[one.id] == ends[name] for ends in every)]
        known = [(item, one) for one in same if (item, one) in told]
        if unknown.isdisjoint(known):
            # A clock that is started and met at one instant, always, isn't seen.
            assert [told[one][1] for one in known] in ([out], [out] * len(known)) if known else out == 0, (
                item,
                name,
            )


# --- an order that only some samples have -------------------------------------------------------------------------

SWITCHES = Plant(
    MEDIA, KINDS, {"p": Part("p", ports={n: Port(n, "valve") for n in "AB"})}, {"P": Unit("P", "p")}, {}
)


def both_shut(limit: int) -> RuleSet:
    """Return the rule that when both valves are shut, one is opened within a time."""
    shut = All(tuple(Status(Selection(ids=(f"P:{n}",)), among=("shut",)) for n in "AB"))
    mode = Within(limit * SECOND, shut)
    condition = Status(Selection(ids=("P:A",)), among=("open",))
    return RuleSet((Rule("one-open", "", "it bursts", 1, "common practice", mode, condition),))


def valve(name: str, track: str, words: str, *takes: int, after: tuple[str, ...] = ()) -> Step:
    """Return a step; low, likely and high in seconds."""
    verb, item = words.split()
    low, likely, high = (one * SECOND for one in takes)
    return Step(name, "1", track, Action("", verb, (item,), 0), (low, likely, high), after)


CROSSING = (
    valve("a-off", "a", "shut P:A", 10, 10, 10),
    valve("a-on", "a", "open P:A", 60, 60, 60),
    valve("b-off", "b", "shut P:B", 20, 90, 100),
    valve("b-on", "b", "open P:B", 30, 30, 30),
)
"""With likely durations the second valve is shut when the first is open again; quick ones have both shut at once."""


def test_a_clock_that_only_some_orders_start_is_sampled_in_those_alone():
    """The likely order starts no clock; in the samples whose order does, how long it runs is what they say."""
    now = Configuration(SWITCHES)
    for name in "AB":
        now.set_state(f"P:{name}", now.state(f"P:{name}")._replace(value="open"))
    drawn = Sampling(samples=3_000, seed=5)
    found = how_long(both_shut(30), Start(now), plan(*CROSSING), drawn=drawn)
    clock, other = (one for one in found.limits if one.rule == "one-open")
    assert (clock.subject, other.subject) == ("P:A", "P:B")  # one for each that makes it so
    assert replace(other, subject="P:A") == clock
    spans = [70 * SECOND - takes["b-off"] for takes in samples_of(plan(*CROSSING), drawn)]
    running = [span for span in spans if span > 0]
    assert 0 < len(running) < len(spans)
    assert (clock.starts, clock.met, clock.likely) == ("b-off", "a-on", None)
    assert clock.in_time.samples == len(running)
    assert clock.in_time.hits == sum(span <= 30 * SECOND for span in running)
    assert clock.in_time.unknown == 0
    assert [one.step for one in clock.drivers] == ["b-off"]
    assert clock.drivers[0].correlation == pytest.approx(-1)
    assert found.judged > 1


@given(
    st.lists(st.tuples(st.integers(1, 9), st.integers(0, 9), st.integers(0, 9)), min_size=2, max_size=8),
    st.integers(1, 6),
    st.integers(1, 12),
)
@settings(max_examples=80)
def test_two_tracks_that_meet_in_a_clock_are_sampled_as_they_fall(spans, split: int, limit: int):
    """Two valves shut and opened in tracks of their own: how often both are shut too long is what each sample says."""
    steps = []
    for number, (low, more, most) in enumerate(spans):
        track, turn = ("a", number) if number < split else ("b", number - split)
        words = f"{'shut' if turn % 2 == 0 else 'open'} P:{track.upper()}"
        steps.append(valve(str(number), track, words, low, low + more, low + more + most))
    sequence = plan(*steps)
    now = Configuration(SWITCHES)
    for name in "AB":
        now.set_state(f"P:{name}", now.state(f"P:{name}")._replace(value="open"))
    found = how_long(both_shut(limit), Start(now), sequence, drawn=Sampling(60, 9))
    mine = [one for one in found.limits if one.rule == "one-open" and one.subject == "P:A"]
    if any(one.in_time.unknown for one in mine):
        event("some orders unknown")
        return
    ran = out = 0
    for takes in samples_of(sequence, Sampling(60, 9)):
        ends = ends_in(sequence, takes)
        turns = sorted((ends[one.id], one.action.subjects[0], one.action.action) for one in steps)
        state = {"P:A": "open", "P:B": "open"}
        began: int | None = None
        for time, valve_, verb in turns:
            both = set(state.values()) == {"shut"}
            state[valve_] = verb
            if not both and set(state.values()) == {"shut"}:
                ran += began is None
                began = time if began is None else began
            if began is not None and state["P:A"] == "open":
                out += time - began > limit * SECOND
                began = None
        if began is not None:
            out += turns[-1][0] - began > limit * SECOND
    assert sum(one.in_time.samples for one in mine) >= ran
    assert sum(one.in_time.samples - one.in_time.hits for one in mine) >= out
    if not any(turn[2] == "open" and turn[1] == "P:B" for turn in turns):
        # Where it is never shut anew while a clock runs there is one clock at a time.
        assert sum(one.in_time.samples for one in mine) == ran
        assert sum(one.in_time.samples - one.in_time.hits for one in mine) == out


def test_orders_that_were_not_judged_are_unknown_and_not_assumed(monkeypatch):
    """Where no more orders may be judged, the samples of others count against both ends of the interval."""
    monkeypatch.setattr("cfgtrack.analysis.how_long.MOST_ORDERS", 0)
    now = Configuration(SWITCHES)
    for name in "AB":
        now.set_state(f"P:{name}", now.state(f"P:{name}")._replace(value="open"))
    slow = tuple(replace(s, takes=(s.takes[1],) * 3) if s.track == "a" else s for s in CROSSING)
    # A clock that runs with likely durations, so that it is known; and quick ones are of another order.
    slow = (*slow[:2], replace(slow[2], takes=(5 * SECOND, 20 * SECOND, 69 * SECOND)), slow[3])
    found = how_long(both_shut(30), Start(now), plan(*slow), drawn=Sampling(samples=500, seed=2))
    clock = next(one for one in found.limits if one.rule == "one-open" and one.starts == "b-off")
    early = sum(takes["b-off"] < 10 * SECOND for takes in samples_of(plan(*slow), Sampling(500, 2)))
    if clock.in_time.unknown:
        assert clock.in_time.unknown == early
        assert clock.in_time.low < clock.in_time.probability < clock.in_time.high
    else:
        # All low, all high and the worst mixes are judged anyway: they may have shown that order.
        assert early


# --- budgets, starts, what drives them ----------------------------------------------------------------------------


def timed(*steps: Step, budget: int | None = None, **more) -> HowLong:
    """Ask of a plan of one outing with a budget, in seconds."""
    outing = Outing("1", None, None if budget is None else budget * SECOND)
    return asked(looked_at(5), Sequence(outings=(outing,), steps=steps), **more)


def test_a_budget_is_what_the_samples_say():
    """An outing's share within its budget, its mean and its quantiles are those of the sums of its steps."""
    steps = (step("1", "a", "inspect P", (10, 20, 60)), step("2", "a", "inspect P", (5, 5, 50)))
    drawn = Sampling(samples=1_000, seed=7)
    found = timed(*steps, budget=60, drawn=drawn)
    sums = sorted(
        takes["1"] + takes["2"] for takes in samples_of(Sequence(outings=(Outing("1"),), steps=steps), drawn)
    )
    (limit,) = found.limits
    assert limit.in_time.hits == sum(one <= 60 * SECOND for one in sums)
    assert (limit.limit_seconds, limit.likely_seconds, limit.worst_seconds) == (60, 35, -50)
    (outing,) = found.outings
    assert (outing.low, outing.likely, outing.high) == (15, 25, 110)
    assert outing.mean == pytest.approx(sum(sums) / len(sums) / SECOND, abs=1e-6)
    assert outing.p50 == sums[499] / SECOND
    assert outing.p95 == sums[949] / SECOND
    assert [one.step for one in limit.drivers] == ["1", "2"]


def test_a_doer_on_two_tracks_does_one_thing_at_a_time():
    """Who has two tracks takes up what he can begin first, at a tie what is written first; and it is said."""
    steps = [
        step("1", "a", "inspect P", (10, 10, 10)),
        step("2", "b", "inspect P", (10, 10, 10)),
        step("3", "a", "inspect P", (10, 10, 10)),
    ]
    steps = [replace(one, action=replace(one.action, by="ANN")) for one in steps]
    found = timed(*steps, budget=25)
    assert [(one.step, one.waits_for, one.doer) for one in found.doer_waits] == [
        ("2", "1", "ANN"),
        ("3", "2", "ANN"),
    ]
    assert found.outings[0].likely == 30
    assert found.limits[0].in_time.hits == 0
    alone = [replace(one, action=replace(one.action, by=None)) for one in steps]
    assert timed(*alone, budget=25).outings[0].likely == 20


@given(plans(), st.data())
def test_no_doer_ever_does_two_things_at_once(sequence: Sequence, data: st.DataObject) -> None:
    """However steps are shared out, no two of one doer overlap, and no step waits that need not."""
    steps = tuple(
        replace(one, action=replace(one.action, by=data.draw(st.sampled_from(("ANN", "BEN")))))
        for one in sequence.steps
    )
    schedule = Schedule(replace(sequence, steps=steps), 0)
    takes = [data.draw(st.integers(low, high)) for low, _, high in schedule.takes]
    laid = sorted(schedule.lay_out(takes).steps, key=lambda one: (one.start, one.end))
    for doer in ("ANN", "BEN"):
        mine = [one for one in laid if one.step.action.by == doer]
        assert all(a.end <= b.start for a, b in pairwise(mine))
    likely = {one.step.id: one for one in schedule.lay_out(schedule.at_pace(1)).steps}
    for one in likely.values():
        ahead = [
            other.end
            for other in likely.values()
            if other.step.id in schedule.waits[one.step.id]
            or (
                other.step.track == one.step.track
                and steps.index(_by_id(steps, other)) < steps.index(_by_id(steps, one))
            )
        ]
        assert one.start == max(ahead, default=0)


def _by_id(steps, laid):
    return next(one for one in steps if one.id == laid.step.id)


def test_the_same_seed_gives_the_same_answer_and_another_gives_another():
    """Asked twice it is the same to the last digit; with another seed the samples are others."""
    steps = (step("1", "a", "inspect P:A", (1, 5, 9)), step("2", "b", "remark P:A", (1, 5, 12)))
    first = timed(*steps, budget=9, drawn=Sampling(700, 1))
    assert timed(*steps, budget=9, drawn=Sampling(700, 1)) == first
    assert timed(*steps, budget=9, drawn=Sampling(700, 2)).outings != first.outings
    assert timed(*steps, budget=9, drawn=Sampling(700, 1, Shape.PERT)).outings != first.outings


@pytest.mark.parametrize("stop", [Cancelled, KeyboardInterrupt])
def test_an_interrupt_keeps_what_was_drawn(stop: type[BaseException]):
    """Who is told of the progress may stop it: what was drawn by then is the answer, and it says so."""
    steps = (step("1", "a", "inspect P", (1, 5, 9)),)

    def tell(done: int, of: int) -> None:
        assert of == 5_000
        if done >= 1_000:
            raise stop

    found = timed(*steps, budget=6, drawn=Sampling(5_000, 1), tell=tell)
    assert (found.samples, found.is_whole) == (1_000, False)
    assert found.limits[0].in_time == timed(*steps, budget=6, drawn=Sampling(1_000, 1)).limits[0].in_time


def test_an_outing_that_runs_into_the_next_is_a_limit_too():
    """That one outing is over before the next one starts has a margin and a chance as a budget has."""
    outings = (Outing("1", 0), Outing("2", 8 * SECOND))
    steps = (
        Step("1", "1", "a", Action("", "inspect", ("P",), 0), (SECOND, 5 * SECOND, 10 * SECOND)),
        Step("2", "2", "a", Action("", "inspect", ("P",), 0), (SECOND,) * 3),
    )
    found = asked(looked_at(5), Sequence(outings=outings, steps=steps), Sampling(400, 1))
    (limit,) = found.limits
    assert (limit.rule, limit.worst_seconds, limit.likely_seconds) == ("overlap", -2, 3)
    assert 0 < limit.in_time.probability < 1


@given(plans(), st.integers(1, 8))
@settings(max_examples=60)
def test_the_closest_margins_are_those_of_check(sequence: Sequence, limit: int) -> None:
    """What is left at worst is no more than what `check` says of the same clock, if it runs in any sample."""
    told = check(looked_at(limit), Start(Configuration(PLANT)), sequence)
    found = asked(looked_at(limit), sequence, Sampling(20, 1))
    for margin in told.margins:
        same = [one for one in found.limits if (one.rule, one.subject) == (margin.rule, margin.subject)]
        assert min((one.worst for one in same), default=margin.left) <= margin.left


def test_what_an_outing_has_used_already_counts_in_all_that_is_told_of_it() -> None:
    """Of an outing that began 100 s ago each time is so much longer; its budget is that of the same work 100 s less."""
    steps = (step("1", "a", "inspect P", (1, 2, 9)), step("2", "a", "inspect Q", (2, 4, 12)))
    outing = Outing("1", None, 112 * SECOND)
    later = Outing("2")
    after = replace(step("3", "a", "inspect P", (1, 3, 5)), outing="2")
    begun = asked(
        RuleSet(), Sequence(outings=(outing, later), steps=(*steps, after)), begun={"1": -100 * SECOND}
    )
    fresh = asked(
        RuleSet(), Sequence(outings=(replace(outing, budget=12 * SECOND), later), steps=(*steps, after))
    )
    for name in ("low", "likely", "high", "expected", "mean", "p05", "p50", "p95", "used"):
        told, alone = (getattr(found.outings[0], name) for found in (begun, fresh))
        assert told == pytest.approx(alone + 100), name
        assert getattr(begun.outings[1], name) == pytest.approx(getattr(fresh.outings[1], name)), name
    assert begun.outings[0].pert_within == pytest.approx(fresh.outings[0].pert_within)
    (limit,), (other,) = begun.limits, fresh.limits
    assert (limit.in_time, limit.worst, limit.likely) == (other.in_time, other.worst, other.likely)
    # What is left by the likely durations is the same, told of the budget and of the outing.
    assert limit.likely_seconds == 112 - begun.outings[0].likely
    assert [(one.start, one.end) for one in begun.steps] == [(100.0, 102.0), (102.0, 106.0), (0.0, 3.0)]
