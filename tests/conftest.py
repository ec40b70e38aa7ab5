"""One seed for everything that is drawn: the order of the tests and Hypothesis' examples."""

import hypothesis
import pytest
from hypothesis import core

# No test is timed: a slow machine is no failure. Speed is measured as ratios in tests/bench.
hypothesis.settings.register_profile(
    "cfgtrack",
    deadline=None,
    print_blob=True,
    suppress_health_check=[hypothesis.HealthCheck.too_slow],
)
hypothesis.settings.load_profile("cfgtrack")


@pytest.hookimpl(trylast=True)
def pytest_configure(config: pytest.Config) -> None:
    """Seed Hypothesis with the seed in pytest's header, unless --hypothesis-seed gives another.

    trylast, because pytest-randomly settles its seed in the same hook.
    """
    if core.global_force_seed is None:
        core.global_force_seed = config.getoption("randomly_seed", None)
