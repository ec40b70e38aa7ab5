"""Findings: what a rule says no to, and why. One value that tables, JSON, pictures and reports all show."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass, field
from typing import ClassVar

from cfgtrack.model.time import SECOND, Instant

SEVERITIES = {1: "catastrophic", 2: "critical", 3: "marginal", 4: "negligible"}
"""Categories of MIL-STD-882E, Table I."""


@dataclass(frozen=True, slots=True)
class Reason:
    """Why a condition is false. `code` names the sort of reason; `text` says it in words.

    `links` are the links whose breaking cut the last path; `beyond` the items now cut off, or that lack something;
    `cures` what would put it right: single links, or actions.
    """

    code: str
    text: str
    links: tuple[str, ...] = ()
    beyond: tuple[str, ...] = ()
    cures: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Finding:
    """A rule that is broken, or (mode "possible") a step that can't be done.

    `since` is when the condition became false or the clock started, `time` when the rule was broken, `until` when
    it was put right (None: still open). `event` is the event that broke it (None: time alone did, or it was so from
    the start), `step` the step of a proposal that it is; `cause` is what broke it and all that it broke at one blow.
    `no_verdict` marks a rule that could not be judged.
    """

    told: ClassVar[tuple[str, ...]] = ("fingerprint", "category")
    untold: ClassVar[tuple[str, ...]] = ("cause",)

    rule: str
    title: str
    severity: int
    mode: str
    subjects: tuple[str, ...]
    time: Instant
    since: Instant
    reasons: tuple[Reason, ...]
    until: Instant | None = None
    event: str | None = None
    step: str | None = None
    action: str = ""
    hazard: str = ""
    source: str = ""
    deadline: Instant | None = None
    trigger: str = ""
    no_verdict: bool = False
    variance: str = ""
    cause: tuple[str, ...] = field(default=())

    @property
    def is_open(self) -> bool:
        """Whether it still can, and must, be put right: a wrong order of actions is history, nothing mends it."""
        return self.until is None and self.mode != "at"

    @property
    def fingerprint(self) -> str:
        """A short code that the same cause always gets: rule, what broke it and all that it broke, but no time."""
        what = "\n".join([self.rule, self.mode, *sorted(self.cause)])
        return hashlib.sha256(what.encode()).hexdigest()[:12]

    @property
    def category(self) -> str | None:
        """The severity in its word; None for a step that can't be done."""
        return SEVERITIES.get(self.severity)


@dataclass(frozen=True, slots=True)
class Clock:
    """A limit of time: what must be true by when. `deadline` is None when physics sets no limit.

    Of a clock that runs, `trigger` and `missing` say what started it and what is still missing. `left` is what was left
    when it stopped, in microseconds.
    """

    told: ClassVar[tuple[str, ...]] = ("category", "left_seconds")
    untold: ClassVar[tuple[str, ...]] = ("left",)

    rule: str
    title: str
    severity: int
    subject: str
    started: Instant
    deadline: Instant | None
    trigger: str | None = None
    missing: tuple[Reason, ...] | None = None
    left: int | None = None

    @property
    def category(self) -> str | None:
        """The severity in its word."""
        return SEVERITIES.get(self.severity)

    @property
    def left_seconds(self) -> float | None:
        """What was left, in seconds."""
        return None if self.left is None else self.left / SECOND
