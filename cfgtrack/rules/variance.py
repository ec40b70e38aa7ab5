"""Variances: approved exceptions. A finding under one is shown apart, never hidden, and comes back when it ends."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from cfgtrack.model.action import APPROVE
from cfgtrack.model.event import Event
from cfgtrack.rules.finding import Finding
from cfgtrack.rules.selection import fits


@dataclass(frozen=True, slots=True)
class Variance:
    """An exception to a rule, or to one finding by its fingerprint, for `subjects` (shell patterns; empty means any).

    It counts in [`start`, `end`); `end` None means until further notice.
    """

    id: str
    by: str
    reason: str
    start: int
    rule: str = ""
    fingerprint: str = ""
    subjects: tuple[str, ...] = ()
    end: int | None = None

    def covers(self, finding: Finding, *, at: int | None = None) -> bool:
        """Return whether a finding is under this variance (see `under_variance`)."""
        if self.rule and self.rule != finding.rule:
            return False
        if self.fingerprint and not all(code == self.fingerprint for code in finding.fingerprints):
            return False
        if self.subjects and not all(fits(s, self.subjects) for s in finding.subjects):
            return False
        first = last = at if at is not None and finding.is_open else finding.time
        if finding.until is not None:
            last = max(first, finding.until - 1)
        return self.start <= first and (self.end is None or last < self.end)


def variance_of(event: Event) -> Variance:
    """Return the variance that an `approve` event holds. ValueError when it names neither rule nor finding."""
    body = event.body or {}
    rule, fingerprint = str(body.get("rule", "")), str(body.get("fingerprint", ""))
    if event.action != APPROVE or not (rule or fingerprint):
        raise ValueError("a variance needs the rule, or the finding, that it is from")
    start, end = body.get("start"), body.get("end")
    return Variance(
        id=event.id,
        by=event.by or "",
        reason=event.reason or "",
        start=event.happened if start is None else int(start),
        rule=rule,
        fingerprint=fingerprint,
        subjects=tuple(event.subjects),
        end=None if end is None else int(end),
    )


def under_variance(
    findings: Iterable[Finding], variances: Sequence[Variance], *, at: int | None = None
) -> tuple[list[Finding], list[Finding]]:
    """Return (findings that stand, findings under a variance, which name it).

    `at` is the moment that is asked about (microseconds): what is broken and not put right yet is under a variance
    while that runs, whenever it broke; what is over only when it was broken at no instant outside it.
    """
    plain: list[Finding] = []
    excused: list[Finding] = []
    for finding in findings:
        cover = next((v for v in variances if v.covers(finding, at=at)), None)
        if cover is None:
            plain.append(finding)
        else:
            excused.append(replace(finding, variance=cover.id))
    return plain, excused
