"""The verdict of a check in one word, and the sorts of facts that it stands on."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, fields, replace
from enum import StrEnum
from typing import Any, ClassVar, TypeVar

from cfgtrack.model.time import SECOND
from cfgtrack.rules.finding import Clock, Finding
from cfgtrack.rules.variance import Times, Variance, nobody, under_variance

AS_LIKELY = "likely"
ALL_LOW = "all low"
ALL_HIGH = "all high"
A_MIX = "a mix"

SEVERAL = "several together"
"""What a finding hinges on where no single step that takes as long as is likely would take it away."""

IN_WRITTEN_ORDER = "in the written order"
ALONE = "for this action alone"


class Verdict(StrEnum):
    """Whether a proposal may be done as far as the rules go. `status` is the exit status that says the same."""

    CLEAR = "clear"
    NOT_CLEAR = "not clear"
    UNDECIDED = "undecided"

    @property
    def status(self) -> int:
        """0 for clear, 3 for not clear, 4 for what can't be decided."""
        return {Verdict.CLEAR: 0, Verdict.NOT_CLEAR: 3, Verdict.UNDECIDED: 4}[self]


@dataclass(frozen=True, slots=True)
class Foreseen(Finding):
    """A finding of a proposal. `mix`: the durations with which it first comes, of likely, all low, all high, a mix.

    `hinges_on`: the step that, were it to take as long as is likely, would take the finding away, or `SEVERAL`; None
    with likely durations, and where that wasn't looked for to the end. `follows`: the place, among all that is new and
    counted from 1, of the finding that it follows from; see `following`. `nobody_at`: where nobody is who could do what
    might cure it.
    """

    untold: ClassVar[tuple[str, ...]] = (*Finding.untold, "nobody_at")

    mix: str = AS_LIKELY
    hinges_on: str | None = None
    follows: int | None = None
    nobody_at: str = ""


def follows(finding: Finding) -> bool:
    """Return whether a finding follows from another."""
    return isinstance(finding, Foreseen) and finding.follows is not None


_GRAVE = 2
"""What is as severe as that, or more, is never told with another: catastrophic, critical."""


def folded(findings: Sequence[Finding]) -> set[int]:
    """Return the numbers of those findings, from 1, that may be told with the one that they follow from.

    That are steps that are impossible, and what is neither grave nor graver than what it follows from.
    """
    return {
        number
        for number, one in enumerate(findings, 1)
        if isinstance(one, Foreseen)
        and one.follows is not None
        and (one.severity == 0 or one.severity >= max(findings[one.follows - 1].severity, _GRAVE + 1))
    }


@dataclass(frozen=True, slots=True)
class StillRunning(Clock):
    """A clock with a deadline that a proposal leaves running. `mix`: the durations with which it first does."""

    mix: str = AS_LIKELY


@dataclass(frozen=True, slots=True)
class Margin:
    """How close a clock or a budget comes: what is `left` at the least over all durations, and with which (`mix`).

    `met` is the step with which the clock is met, None for a budget, and where an outing's begin or end does it.
    """

    told: ClassVar[tuple[str, ...]] = ("left_seconds",)
    untold: ClassVar[tuple[str, ...]] = ("left",)

    rule: str
    title: str
    subject: str
    left: int
    mix: str
    met: str | None = None

    @property
    def left_seconds(self) -> float:
        """What is left, in seconds."""
        return self.left / SECOND


_F = TypeVar("_F", bound=Finding)


def foreseen(finding: Finding, mix: str, hinges_on: str | None = None) -> Foreseen:
    """Return a finding with the durations with which it comes."""
    return Foreseen(**_fields(finding, Finding), mix=mix, hinges_on=hinges_on)


def still_running(clock: Clock, mix: str) -> StillRunning:
    """Return a clock with the durations with which it is left running."""
    return StillRunning(**_fields(clock, Clock), mix=mix)


def _fields(value: Any, sort: type) -> dict[str, Any]:
    return {field.name: getattr(value, field.name) for field in fields(sort)}


def covered(
    findings: Sequence[_F],
    variances: Sequence[Variance],
    start: int,
    end: int,
    doer: Callable[[Finding], str] = nobody,
    *,
    times: Times | None = None,
) -> tuple[list[_F], list[_F]]:
    """Return (findings that stand, findings under a variance for as long as they last, which name it).

    What is still open when the proposal is over lasts to its `end`, and what was open before it from its `start` on.
    `doer` tells who breaks it, `times` when it ever was, or will be, broken.
    """
    plain: list[_F] = []
    excused: list[_F] = []
    for finding in findings:
        lasting = finding
        if finding.is_open:
            lasting = replace(finding, time=max(finding.time, start), until=end + 1)
        stands, under = under_variance([lasting], variances, began=finding.time, doer=doer, times=times)
        for parts, out in ((stands, plain), (under, excused)):
            out += [replace(finding, **_parted(part)) for part in parts]
    return plain, excused


def _parted(part: Finding) -> dict[str, Any]:
    """Return the fields of a part of a finding, but for the times, which were those of how long it lasts."""
    return {name: value for name, value in _fields(part, type(part)).items() if name not in ("time", "until")}
