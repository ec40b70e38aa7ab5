"""The demo is loaded once for all tests about it: none of them writes into its journal."""

from __future__ import annotations

import pytest

from cfgtrack.files.rules import read_rules
from cfgtrack.files.sequence import read_sequence
from tests.demo.as_run import DEMO, PLAN, demo_past


@pytest.fixture(scope="session")
def past(tmp_path_factory):
    """Give the demo's journal after its as-run rows, seen from where they end."""
    with demo_past(tmp_path_factory.mktemp("demo")) as found:
        yield found


@pytest.fixture(scope="session")
def rules(past):
    """Give the demo's rules."""
    return read_rules([DEMO / "rules.toml"], past.plant)


@pytest.fixture(scope="session")
def written(past):
    """Give the exchange as it is written: the plan that passes."""
    return read_sequence(PLAN, past.plant)
