"""Actions: what somebody says was done, or proposes to do. Nothing has held it against the hardware yet."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, NamedTuple

from cfgtrack.model.quantity import Quantity
from cfgtrack.model.signature import Signed

BASES = ("reported", "witnessed", "measured")
"""How well an action is known, weakest first."""

PLACE, LIFT, FOUND = "place", "lift", "as-found"
MEASURE, INSPECT, REMARK = "measure", "inspect", "remark"
BEGIN, END = "begin", "end"
WITHDRAW, EXPLAIN, DEFINE = "withdraw", "explain", "define"
APPROVE, ACKNOWLEDGE = "approve", "acknowledge"
LOCK, UNLOCK, TRANSFER, CUT = "lock", "unlock", "transfer", "cut"
TAG, UNTAG = "tag", "untag"
DEFECT, RECTIFY = "defect", "rectify"
REVISE, RETIRE = "revise", "retire"
ADOPT, ABANDON, SKIP = "adopt", "abandon", "skip"
KEEP_CHECK = "keep-check"

NOTES = frozenset({MEASURE, INSPECT, REMARK})
"""Actions on anything that has a name: they change no state and are possible in any."""

GENERAL_ACTIONS = NOTES | {PLACE, LIFT, FOUND, BEGIN, END}
"""Actions of the work itself that belong to no kind of port."""

DEVICE_ACTIONS = frozenset({LOCK, UNLOCK, TRANSFER, CUT, TAG, UNTAG})
"""Actions with somebody's lock or tag: on a port whose kind has a move of that name they are that move."""

DEFECT_ACTIONS = frozenset({DEFECT, RECTIFY})
"""That something can't be done to a thing, and that it can again: on ports as `DEVICE_ACTIONS` are."""

REVISIONS = frozenset({REVISE, RETIRE})
"""Actions that make the definition another one from when they happened on, their date of effect."""

DEFINITIONS = REVISIONS | {DEFINE}
"""Actions that carry items of the definition; what is defined without a date of effect holds for all times."""

PLANNING = frozenset({ADOPT, ABANDON})
"""Actions by which everybody's plan is another one, or none."""

BOOK_ACTIONS = DEFINITIONS | PLANNING | {WITHDRAW, EXPLAIN, APPROVE, ACKNOWLEDGE, SKIP, KEEP_CHECK}
"""Actions on the record, not on hardware."""


@dataclass(frozen=True, slots=True)
class Action:
    """One action as it is said. `happened` is microseconds since 1970, UTC; 0 where it has no time yet.

    `subjects`: one or two ports, or one unit, place, or (remarks) part; of a lock or tag what it hangs on, then whose
    it is, and for a transfer whose it is from then on. `place`, `facing`: where to and which way
    round, for place and lift. `status`: what was found, for as-found; of defect and rectify, what is wrong. `bars`: of
    these two the action that can't be done, None for any. `acknowledges`: fingerprints of findings, a space
    between. `step`: the step of the plan in force that it is of, and `plan` the event that adopted what it was said by.
    `signed`: whose signature stands under it; it is no part of what is said.
    """

    id: str
    action: str
    subjects: tuple[str, ...]
    happened: int
    place: str | None = None
    facing: str | None = None
    status: str | None = None
    bars: str | None = None
    by: str | None = None
    recorder: str | None = None
    basis: str = "reported"
    values: Mapping[str, Quantity] = field(default_factory=dict)
    outing: str | None = None
    step: str | None = None
    plan: str | None = None
    remark: str | None = None
    supersedes: str | None = None
    withdraws: str | None = None
    explains: str | None = None
    acknowledges: str | None = None
    reason: str | None = None
    initial: bool = False
    body: Mapping[str, Any] | None = None
    signed: Signed | None = field(default=None, compare=False)


def device_words(action: Action) -> list[str]:
    """Return the words of an action with a lock or tag: what it is done to, and whose the lock or tag is."""
    thing, *holders = action.subjects or ("",)
    between = {LOCK: ["with"], TAG: ["with"], TRANSFER: ["from", "to"]}.get(action.action, ["from"])
    if action.by and action.action not in (TRANSFER, CUT) and holders in ([], [action.by]):
        between, holders = ["by"], [action.by]
    pairs = zip(between, holders, strict=False)
    return [action.action, thing, *(word for pair in pairs for word in pair)]


class Objection(NamedTuple):
    """Why an action can't be so: code, sentence, whom it is about, and the event that stands against it."""

    code: str
    sentence: str
    subject: str
    collides: str | None = None


def plain_words(action: Action) -> list[str]:
    """Return an action and what it is done to, in a few words for a sentence."""
    if action.action in DEVICE_ACTIONS and not any(":" in one for one in action.subjects[1:]):
        return device_words(action)
    if action.action in DEFECT_ACTIONS and action.status:
        return defect_words(action)
    return [action.action, *action.subjects]


def defect_words(action: Action) -> list[str]:
    """Return the words of a defect, or of what rectifies it: what can't be done, to what, and what is wrong."""
    barred = [action.bars] if action.bars else []
    return [action.action, *barred, *action.subjects, *([action.status] if action.status else [])]


Sourced = tuple[str, Action]
"""Where an action is from (a file and row, or its own words), and the action."""
