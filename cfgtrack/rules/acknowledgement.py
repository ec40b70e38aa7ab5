"""Acknowledgements: somebody has seen that a rule was broken, and says why that is settled. Nothing is excused by it.

One names instances of findings by their fingerprints, and counts for what had happened by then and no later.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from cfgtrack.model.action import ACKNOWLEDGE
from cfgtrack.model.event import Entry
from cfgtrack.model.time import Instant
from cfgtrack.rules.finding import Finding
from cfgtrack.rules.variance import shared_out


@dataclass(frozen=True, slots=True)
class Acknowledgement:
    """Who acknowledged findings with these `fingerprints`, when, and why. `event` is the one that says so."""

    event: str
    by: str
    reason: str
    happened: Instant
    known: Instant
    fingerprints: frozenset[str]

    def covers(self, fingerprint: str, time: int) -> bool:
        """Return whether it is of an instance that was broken at `time`: neither said nor recorded before that."""
        return fingerprint in self.fingerprints and time <= min(self.happened, self.known)


def acknowledgement_of(entry: Entry) -> Acknowledgement:
    """Return the acknowledgement that an event of the journal is. ValueError when it is none."""
    event = entry.event
    if event.action != ACKNOWLEDGE:
        raise ValueError(f"{event.action} is no acknowledgement")
    named = frozenset((event.acknowledges or "").split())
    return Acknowledgement(event.id, event.by or "", event.reason or "", event.happened, entry.known, named)


def acknowledged(
    findings: Iterable[Finding], acknowledgements: Sequence[Acknowledgement]
) -> tuple[list[Finding], list[tuple[Finding, Acknowledgement]]]:
    """Return (findings that nobody has acknowledged, those that somebody has, with the first who did).

    A finding's instances may part ways.
    """
    still: list[Finding] = []
    seen: list[tuple[Finding, Acknowledgement]] = []
    for finding in findings:
        time = finding.time

        def who(code: str, time: int = time) -> Acknowledgement | None:
            return next((one for one in acknowledgements if one.covers(code, time)), None)

        for part, one in shared_out(finding, who):
            if one is None:
                still.append(part)
            else:
                seen.append((part, one))
    return still, seen
