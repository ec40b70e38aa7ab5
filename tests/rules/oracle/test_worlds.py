"""What is drawn is what it should be: the same from a seed, possible, and rich in what is easily got wrong."""

from __future__ import annotations

from collections import Counter
from random import Random

from hypothesis import HealthCheck, given, settings

from tests.rules.oracle.census import WANTED, census, plainly
from tests.rules.oracle.worlds import Case, case, cases


def test_a_seed_is_a_case() -> None:
    """The same seed draws the same case, another one another."""
    assert case(Random("1/2")) == case(Random("1/2"))
    assert case(Random("1/2")) != case(Random("1/3"))


def test_all_that_is_wanted_comes_up() -> None:
    """Of 200 cases at least 6 hold each thing that is easily got wrong; of many more it is 5 %."""
    counts = Counter(name for number in range(200) for name in census(case(Random(f"wanted/{number}"))))
    assert {name: counts[name] for name in WANTED if counts[name] < 6} == {}


@settings(max_examples=25, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large])
@given(cases())
def test_hypothesis_draws_cases(drawn: Case) -> None:
    """Whatever hypothesis draws can be judged, and no breach lies outside what was judged."""
    last = drawn.horizon if drawn.plan is None else None
    for breach in plainly(drawn).breaches:
        assert breach.since <= breach.time
        assert last is None or breach.time <= last
        assert breach.until is None or breach.until >= breach.time
