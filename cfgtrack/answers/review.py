"""What is open now, and what ever broke a rule?"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import ClassVar

from cfgtrack.analysis.cures import cured
from cfgtrack.answers.asking import Asking
from cfgtrack.answers.moment import Answer
from cfgtrack.answers.past import Past, rules_to_judge_by
from cfgtrack.model.defect import Defect, all_defects
from cfgtrack.model.event import Entry
from cfgtrack.model.time import Instant
from cfgtrack.rules.acknowledgement import acknowledged
from cfgtrack.rules.finding import Clock, Finding
from cfgtrack.rules.variance import Void


@dataclass(frozen=True, slots=True)
class Acknowledged:
    """One instance of a finding, broken at `time`, that was acknowledged: by which event, by whom, when and why."""

    fingerprint: str
    rule: str
    time: Instant
    event: str
    by: str
    happened: Instant
    reason: str


@dataclass(frozen=True, slots=True)
class Review(Answer):
    """What broke a rule, of so many `events` and `rules`. `excused` is what is under a variance.

    `acknowledged` is which of both somebody has acknowledged, `void` are the approvals that excuse nothing.
    """

    findings: tuple[Finding, ...]
    excused: tuple[Finding, ...]
    acknowledged: tuple[Acknowledged, ...]
    void: tuple[Void, ...]
    events: int
    rules: int


@dataclass(frozen=True, slots=True)
class Open(Review):
    """What is open: broken and not put right, the running clocks, and as-found events that nobody has explained.

    And the `defects`: what can't be done, until it is rectified. `past`: what broke a rule of the moment of an action
    while that was in force, which nothing puts right and nobody has acknowledged.
    """

    untold: ClassVar[tuple[str, ...]] = (*Answer.untold, "events", "rules", "past")

    clocks: tuple[Clock, ...]
    discrepancies: tuple[Entry, ...]
    defects: tuple[Defect, ...]
    past: tuple[Finding, ...] = field(default=(), kw_only=True)


def findings(asking: Asking) -> Open:
    """Return what is open: findings, running clocks, discrepancies, defects. NoAnswer without rules."""
    with asking.read() as journal:
        past = Past(journal, asking.moment(journal))
        rules_to_judge_by(past)
        every = past.findings()
        plain, excused = (
            sorted((f for f in found if f.is_open), key=lambda f: (f.severity, f.time)) for found in every
        )
        return Open(
            past.moment,
            tuple(cured(plain, past.ready(past.rules))),
            tuple(excused),
            _acknowledged(past, (*plain, *excused)),
            past.void,
            past.events,
            len(past.rules.rules),
            tuple(past.engine.clocks()),
            tuple(journal.discrepancies(past.moment.at, past.moment.known)),
            tuple(all_defects(past.configuration)),
            says=past.plant.says,
            past=tuple(past.unacknowledged(every[0])),
        )


def review(asking: Asking) -> Review:
    """Judge the whole recorded past by the rules kept. NoAnswer without rules."""
    with asking.read() as journal:
        past = Past(journal, asking.moment(journal))
        rules_to_judge_by(past)
        return reviewed(past)


def reviewed(past: Past) -> Review:
    """Return every finding of the past."""
    plain, excused = past.findings()
    return Review(
        past.moment,
        tuple(plain),
        tuple(excused),
        _acknowledged(past, (*plain, *excused)),
        past.void,
        past.events,
        len(past.rules.rules),
    )


def _acknowledged(past: Past, findings: Iterable[Finding]) -> tuple[Acknowledged, ...]:
    return tuple(
        Acknowledged(code, part.rule, part.time, one.event, one.by, one.happened, one.reason)
        for part, one in acknowledged(findings, past.acknowledgements)[1]
        for code in part.fingerprints
    )
