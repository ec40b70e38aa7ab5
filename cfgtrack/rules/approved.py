"""What approvals make of a finding: who approved it, from when until when, and whether before or after the fact."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import ClassVar

from cfgtrack.model.time import Instant

SLOW = 120_000_000
"""By so much a command may be slow to begin, or clocks differ, before an approval was recorded late, microseconds."""

SOON = 24 * 3_600_000_000
"""What runs out within so long is told to run out soon, microseconds."""


class Standing(StrEnum):
    """What one approval is to a finding that it names."""

    RUNS = "runs"
    RAN_OUT = "ran out"
    NOT_YET = "not yet"
    NOT_THROUGHOUT = "not throughout"
    WITHDRAWN = "withdrawn"
    NOT_HIS = "not his"


class Fact(StrEnum):
    """Whether something was approved before it was broken, or after."""

    BEFORE = "before"
    AFTER = "after"


@dataclass(frozen=True, slots=True)
class Withdrawal:
    """What took an approval back: the event, by whom, when that became known, and why."""

    event: str
    by: str
    known: Instant
    reason: str


@dataclass(frozen=True, slots=True)
class Approval:
    """One approval that names a finding, and what it is to it (`standing`).

    `by` approved it, `recorder` wrote that down; it was decided at `happened`, and is known from `known` on. It is for
    [`start`, `end`). `checked`: whether the plant said by then who may approve. `did_it`: whether he who approved did
    himself what broke the rule. `withdrawal`: what took it back. `anew`: when the rule was broken, where that was
    later than what was approved, and not for the first time; else None.
    """

    told: ClassVar[tuple[str, ...]] = ("back_dated",)

    event: str
    by: str
    recorder: str
    reason: str
    happened: Instant
    known: Instant
    start: Instant
    end: Instant | None
    standing: str
    checked: bool = False
    did_it: bool = False
    withdrawal: Withdrawal | None = None
    anew: Instant | None = None

    @property
    def is_late(self) -> bool:
        """Whether it was recorded later than it was decided."""
        return self.known - self.happened > SLOW

    @property
    def back_dated(self) -> bool:
        """Whether it is for a time from before it was known."""
        return self.known - self.start > SLOW


@dataclass(frozen=True, slots=True)
class Approved:
    """What approvals make of a finding, of which `needs` people must approve an exception.

    Where it `excuses`, `approvals` are those that do, together, and `fact` says whether they all were known, and ran,
    when the rule was broken. Else they are all that name it.
    """

    told: ClassVar[tuple[str, ...]] = ("by", "until", "waits", "anew")

    needs: int
    excuses: bool
    fact: str | None
    approvals: tuple[Approval, ...]

    @property
    def by(self) -> tuple[str, ...]:
        """Who approved what runs, each once."""
        return tuple(dict.fromkeys(one.by for one in self.running))

    @property
    def running(self) -> tuple[Approval, ...]:
        """Those that run for as long as the finding is asked about."""
        return tuple(one for one in self.approvals if one.standing == Standing.RUNS)

    @property
    def until(self) -> Instant | None:
        """Until when it is excused; None: until further notice, or it isn't."""
        ends = [one.end for one in self.approvals if one.end is not None]
        return min(ends) if self.excuses and ends else None

    @property
    def anew(self) -> Instant | None:
        """When what is excused was broken anew, after an approval of it was given; None: it is what was approved."""
        return (
            next((one.anew for one in self.approvals if one.anew is not None), None) if self.excuses else None
        )

    @property
    def waits(self) -> bool:
        """Whether somebody has approved it, and too few people have."""
        return not self.excuses and bool(self.running)
