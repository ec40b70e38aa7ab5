"""Findings: what a rule says no to, and why. One value that tables, JSON, pictures and reports all show."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass, field
from typing import Any

from cfgtrack.model.time import format_instant

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

    def to_json(self) -> dict[str, Any]:
        """Return the reason as a JSON object."""
        return {
            "code": self.code,
            "text": self.text,
            "links": list(self.links),
            "beyond": list(self.beyond),
            "cures": list(self.cures),
        }


@dataclass(frozen=True, slots=True)
class Finding:
    """A rule that is broken, or (mode "possible") a step that can't be done.

    `since` is when the condition became false or the clock started, `time` when the rule was broken, `until` when
    it was put right (None: still open). `event` is the event that broke it (None: time alone did, or it was so from
    the start); `cause` is what broke it and all that it broke at one blow. `no_verdict` marks a rule that could not be
    judged.
    """

    rule: str
    title: str
    severity: int
    mode: str
    subjects: tuple[str, ...]
    time: int
    since: int
    reasons: tuple[Reason, ...]
    until: int | None = None
    event: str | None = None
    action: str = ""
    hazard: str = ""
    source: str = ""
    deadline: int | None = None
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

    def to_json(self) -> dict[str, Any]:
        """Return the finding as a JSON object; times as RFC 3339, UTC."""
        return {
            "fingerprint": self.fingerprint,
            "rule": self.rule,
            "title": self.title,
            "severity": self.severity,
            "category": SEVERITIES.get(self.severity, ""),
            "hazard": self.hazard,
            "source": self.source,
            "mode": self.mode,
            "subjects": list(self.subjects),
            "since": format_instant(self.since),
            "time": format_instant(self.time),
            "until": None if self.until is None else format_instant(self.until),
            "deadline": None if self.deadline is None else format_instant(self.deadline),
            "trigger": self.trigger,
            "event": self.event,
            "action": self.action,
            "reasons": [r.to_json() for r in self.reasons],
            "no_verdict": self.no_verdict,
            "variance": self.variance,
        }


@dataclass(frozen=True, slots=True)
class Clock:
    """A running limit: what must be true by when. `limit` and `deadline` are None when physics sets no limit."""

    rule: str
    title: str
    severity: int
    subject: str
    trigger: str
    started: int
    deadline: int | None
    missing: tuple[Reason, ...] = ()

    def to_json(self) -> dict[str, Any]:
        """Return the clock as a JSON object."""
        return {
            "rule": self.rule,
            "title": self.title,
            "severity": self.severity,
            "subject": self.subject,
            "trigger": self.trigger,
            "started": format_instant(self.started),
            "deadline": None if self.deadline is None else format_instant(self.deadline),
            "missing": [r.to_json() for r in self.missing],
        }
