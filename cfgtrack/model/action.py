"""Actions: what somebody says was done, or proposes to do. Nothing has held it against the hardware yet."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from cfgtrack.model.quantity import Quantity

BASES = ("reported", "witnessed", "measured")
"""How well an action is known, weakest first."""

PLACE, LIFT, FOUND = "place", "lift", "as-found"
MEASURE, INSPECT, REMARK = "measure", "inspect", "remark"
BEGIN, END = "begin", "end"
WITHDRAW, EXPLAIN, DEFINE = "withdraw", "explain", "define"
APPROVE, ACKNOWLEDGE = "approve", "acknowledge"
REVISE, RETIRE = "revise", "retire"

NOTES = frozenset({MEASURE, INSPECT, REMARK})
"""Actions on anything that has a name: they change no state and are possible in any."""

GENERAL_ACTIONS = NOTES | {PLACE, LIFT, FOUND, BEGIN, END}
"""Actions of the work itself that belong to no kind of port."""

REVISIONS = frozenset({REVISE, RETIRE})
"""Actions that make the definition another one from when they happened on, their date of effect."""

DEFINITIONS = REVISIONS | {DEFINE}
"""Actions that carry items of the definition; what is defined without a date of effect holds for all times."""

BOOK_ACTIONS = DEFINITIONS | {WITHDRAW, EXPLAIN, APPROVE, ACKNOWLEDGE}
"""Actions on the record, not on hardware."""


@dataclass(frozen=True, slots=True)
class Action:
    """One action as it is said. `happened` is microseconds since 1970, UTC; 0 where it has no time yet.

    `subjects`: one or two ports, or one unit, place, or (remarks) part. `place`, `facing`: where to and which way
    round, for place and lift. `status`: what was found, for as-found. `acknowledges`: fingerprints of findings, a space
    between.
    """

    id: str
    action: str
    subjects: tuple[str, ...]
    happened: int
    place: str | None = None
    facing: str | None = None
    status: str | None = None
    by: str | None = None
    recorder: str | None = None
    basis: str = "reported"
    values: Mapping[str, Quantity] = field(default_factory=dict)
    outing: str | None = None
    remark: str | None = None
    supersedes: str | None = None
    withdraws: str | None = None
    explains: str | None = None
    acknowledges: str | None = None
    reason: str | None = None
    initial: bool = False
    body: Mapping[str, Any] | None = None


Sourced = tuple[str, Action]
"""Where an action is from (a file and row, or its own words), and the action."""
