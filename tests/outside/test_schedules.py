"""Schedules, durations and sampled chances, against textbook examples, networkx and scipy.

Sources: B. W. Taylor, Introduction to Management Science, chapter 8 (Project Management): the activity table and
the critical path of its network problem with earliest and latest times, and the three time estimates of its PERT
problem with its critical path 1-3-5-7, length 24, variance and P(x <= 28) = .9633. Libraries: networkx
`dag_longest_path`, scipy.stats.
"""

from __future__ import annotations

from math import sqrt

import networkx as nx
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from cfgtrack.analysis.duration_model import Chance, Shape, drawing, expected, variance, wilson
from cfgtrack.analysis.sampling import chunks, draws_of, ranks
from cfgtrack.analysis.schedule import Ways, expected_times, probability_within, way_variance
from cfgtrack.model.action import Action
from cfgtrack.model.sequence import Outing, Schedule, Sequence, Step
from tests.analysis.test_durations import plans

SECOND = 1_000_000
SEEDS = 200


def activity(name: str, takes: tuple[int, int, int], *after: str) -> Step:
    """Return an activity as a step that has a track to itself; durations in seconds."""
    low, likely, high = (one * SECOND for one in takes)
    return Step(name, "1", name, Action("", "inspect", ("P",), 0), (low, likely, high), after)


def schedule_of(*steps: Step, budget: int | None = None) -> Schedule:
    """Return the schedule of one outing."""
    return Schedule(Sequence(outings=(Outing("1", 0, budget),), steps=steps), 0)


# --- Taylor, chapter 8 --------------------------------------------------------------------------------------------

NETWORK = {
    # activity: how long, earliest start and finish, latest start and finish, slack
    "1-2": (7, 0, 7, 2, 9, 2),
    "1-3": (10, 0, 10, 0, 10, 0),
    "2-4": (6, 7, 13, 9, 15, 2),
    "3-4": (5, 10, 15, 10, 15, 0),
    "3-5": (4, 10, 14, 14, 18, 4),
    "4-5": (3, 15, 18, 15, 18, 0),
    "5-6": (2, 18, 20, 18, 20, 0),
}


def test_earliest_and_latest_times_and_slack_are_those_of_the_textbook():
    """Earliest and latest start and finish, and the slack, of every activity; the critical path is 1-3-4-5-6 = 20."""
    steps = [
        activity(name, (row[0],) * 3, *(other for other in NETWORK if other[2] == name[0]))
        for name, row in NETWORK.items()
    ]
    schedule = schedule_of(*steps)
    ways = Ways(schedule, schedule.at_pace(1))
    rooms = ways.rooms("1")
    for name, (_, *told) in NETWORK.items():
        room = rooms[schedule.number[name]]
        found = (room.start, room.end, room.start + room.total, room.end + room.total, room.total)
        assert [one / SECOND for one in found] == told, name
    assert ways.times[-1] == 20 * SECOND
    critical = [schedule.steps[point].id for point in ways.critical("1")]
    assert critical == ["1-3", "3-4", "4-5", "5-6"]
    # 3-5 may be late by 4 and moves nothing else; 1-2 moves 2-4, so nothing of its slack is its own.
    assert [rooms[schedule.number[name]].free / SECOND for name in ("3-5", "1-2", "2-4")] == [4, 0, 2]


ESTIMATES = {
    "1": (5, 8, 17),
    "2": (7, 10, 13),
    "3": (3, 5, 7),
    "4": (1, 3, 5),
    "5": (4, 6, 8),
    "6": (3, 3, 3),
    "7": (3, 4, 5),
}
BEFORE = {"3": "1", "4": "1", "5": "34", "6": "2", "7": "56"}
"""The critical path is the source's; how the other activities hang on it is assumed: they are shorter anyhow."""


def test_pert_gives_the_textbook_length_variance_and_probability():
    """Expected durations, the critical path 1-3-5-7, its length 24, its variance 5.0 and P(x <= 28) = .9633."""
    schedule = schedule_of(*(activity(n, takes, *BEFORE.get(n, "")) for n, takes in ESTIMATES.items()))
    ways = Ways(schedule, expected_times(schedule))
    way = ways.critical("1")
    assert [schedule.steps[point].id for point in way] == ["1", "3", "5", "7"]
    assert [expected(schedule.takes[point]) / SECOND for point in way] == [9, 5, 6, 4]
    assert ways.times[-1] / SECOND == 24
    square = way_variance(schedule.takes[point] for point in way) / SECOND**2
    assert square == pytest.approx(5.0)
    # The table of the book is entered with z = 1.79; not rounded it is .9632.
    assert probability_within(28, 24, square) == pytest.approx(0.9633, abs=2e-4)
    assert probability_within(24 + 1.79 * sqrt(square), 24, square) == pytest.approx(0.9633, abs=5e-5)


# --- networkx -----------------------------------------------------------------------------------------------------


@given(plans(steps=9))
@settings(max_examples=200)
def test_the_critical_path_is_as_long_as_the_longest_path_of_networkx(plan: Sequence):
    """Of every outing the steps that are told as critical are a path, and none is longer."""
    schedule = Schedule(plan, 0)
    ways = Ways(schedule, schedule.at_pace(1))
    for outing in plan.outings:
        begin, over = schedule.spans[outing.id]
        graph = nx.DiGraph()
        graph.add_node(begin)
        for point in range(begin + 1, over + 1):
            graph.add_edges_from(
                (p, point, {"weight": schedule.takes[point][1]}) for p in schedule.before[point] if p >= begin
            )
        longest = nx.dag_longest_path_length(graph)
        way = ways.critical(outing.id)
        assert (
            sum(schedule.takes[point][1] for point in way) == longest == ways.times[over] - ways.times[begin]
        )
        assert nx.is_path(graph, (begin, *way, over))
        rooms = ways.rooms(outing.id)
        assert all(rooms[point].total == 0 for point in way)
        for point, room in rooms.items():
            # So much longer may it take, and no more.
            for more in (room.total, room.total + 1):
                takes = [*schedule.at_pace(1)]
                takes[point] += int(more)
                later = Ways(schedule, takes).times
                assert (later[over] - later[begin] > longest) == (more > room.total)


# --- the two shapes -----------------------------------------------------------------------------------------------

SHAPES = {
    Shape.TRIANGULAR: lambda low, likely, high: stats.triang((likely - low) / (high - low), low, high - low),
    Shape.PERT: lambda low, likely, high: stats.beta(
        1 + 4 * (likely - low) / (high - low), 1 + 4 * (high - likely) / (high - low), low, high - low
    ),
}


@pytest.mark.parametrize("shape", Shape)
@given(st.tuples(st.integers(0, 10**10), st.integers(0, 10**10), st.integers(1, 10**10)))
@settings(max_examples=60)
def test_durations_are_drawn_as_scipy_has_them(shape: Shape, parts: tuple[int, int, int]):
    """A number drawn evenly becomes the duration below which that share lies, by scipy's triangle and scipy's beta."""
    low, likely, high = parts[0], parts[0] + parts[1], parts[0] + parts[1] + parts[2]
    drawn = np.linspace(0, 1, 1001)[1:-1]
    found = np.array(drawing(shape, (low, likely, high))(drawn.tolist()))
    truth = SHAPES[shape](low, likely, high).ppf(drawn)
    assert np.abs(found - truth).max() <= 1 + (high - low) * (1e-9 if shape is Shape.TRIANGULAR else 1e-4)
    assert (np.diff(found) >= 0).all()


@given(st.integers(0, 100), st.integers(0, 100), st.integers(1, 100))
def test_pert_expects_what_the_beta_does(low: int, more: int, most: int):
    """(low + 4 likely + high) / 6 is the mean of the beta of scipy; of a symmetric one the variance is more."""
    takes = (low, low + more, low + more + most)
    assert expected(takes) == pytest.approx(SHAPES[Shape.PERT](*takes).mean())
    middle = (0, 50, 100)
    # Of a symmetric one it is 1/28 of the width squared, and PERT says 1/36.
    assert variance(middle) * 36 / 28 == pytest.approx(SHAPES[Shape.PERT](*middle).var())


# --- chances ------------------------------------------------------------------------------------------------------


def within(schedule: Schedule, shape: Shape, seed: int, limit: float, samples: int) -> Chance:
    """Sample how often all is over within a limit, in seconds."""
    draws = draws_of(schedule, shape, seed)
    hits = sum(sum(end <= limit * SECOND for end in chunk.times[-1]) for chunk in chunks(draws, samples))
    return Chance(hits, samples)


@pytest.mark.parametrize(
    ("shape", "steps", "limit", "truth"),
    [
        (Shape.TRIANGULAR, [(10, 20, 60)], 50, stats.triang(0.2, 10, 50).cdf(50)),
        (Shape.TRIANGULAR, [(10, 20, 60)], 58.5, stats.triang(0.2, 10, 50).cdf(58.5)),
        (Shape.PERT, [(10, 20, 60)], 30, SHAPES[Shape.PERT](10, 20, 60).cdf(30)),
        (Shape.PERT, [(10, 10, 60)], 15, SHAPES[Shape.PERT](10, 10, 60).cdf(15)),
        # Two alike, from 0 with the likely value at the end, x <= 1: the integral of 2 x (1 - x)^2 is 1/6.
        (Shape.TRIANGULAR, [(0, 100, 100), (0, 100, 100)], 100, 1 / 6),
    ],
)
def test_the_interval_covers_the_truth_as_often_as_it_says(shape, steps, limit, truth):
    """Over 200 seeds the 95 % interval of a sampled probability covers the closed form in 92 to 98 %."""
    names = [str(number) for number in range(len(steps))]
    schedule = schedule_of(
        *(
            activity(name, takes, *names[:number][-1:])
            for number, (name, takes) in enumerate(zip(names, steps, strict=True))
        )
    )
    chances = [within(schedule, shape, seed, limit, 500) for seed in range(SEEDS)]
    covered = sum(one.low <= truth <= one.high for one in chances)
    assert 0.92 * SEEDS <= covered <= 0.98 * SEEDS
    # And all of them together are a sample of it.
    together = sum(one.hits for one in chances) / (500 * SEEDS)
    assert together == pytest.approx(truth, abs=4 * sqrt(truth * (1 - truth) / (500 * SEEDS)))


@given(st.integers(0, 60), st.integers(1, 60))
def test_the_interval_is_wilsons(hits: int, more: int):
    """It is what scipy gives as Wilson's, at 0 and at 1 too; the standard error is that of a share."""
    samples = hits + more
    truth = stats.binomtest(hits, samples).proportion_ci(0.95, method="wilson")
    assert wilson(hits, samples) == pytest.approx((truth.low, truth.high), abs=1e-12)
    assert wilson(samples, samples) == pytest.approx(
        tuple(stats.binomtest(samples, samples).proportion_ci(0.95, method="wilson")), abs=1e-12
    )
    share = hits / samples
    assert Chance(hits, samples).standard_error == pytest.approx(sqrt(share * (1 - share) / samples))


@given(st.lists(st.integers(0, 9), min_size=1, max_size=20))
def test_ranks_are_those_of_scipy(values: list[int]):
    """Equal values share the middle of their ranks."""
    assert ranks(values) == stats.rankdata(values).tolist()
