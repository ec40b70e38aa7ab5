"""The tool against the plain reading: a small form of `python -m tests.rules.oracle`."""

from __future__ import annotations

from random import Random

import pytest

from tests.rules.oracle.agreement import differences
from tests.rules.oracle.worlds import Language, case

LANGUAGE = Language()


@pytest.mark.parametrize("batch", range(6))
def test_tool_and_plain_reading_agree(batch: int) -> None:
    """Of 72 cases, the tool finds the same broken as the plain reading, as long, with the same clocks."""
    for number in range(12 * batch, 12 * batch + 12):
        assert differences(case(Random(f"agreement/{number}"), LANGUAGE)) == [], number
