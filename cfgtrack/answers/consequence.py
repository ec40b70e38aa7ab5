"""What an event means at once: rules it breaks, clocks it starts, remarks it meets."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from functools import partial
from typing import TYPE_CHECKING

from cfgtrack.answers.moment import Moment
from cfgtrack.answers.past import LONG, Past
from cfgtrack.model.action import Action
from cfgtrack.model.event import Entry, Event
from cfgtrack.rules.finding import Clock, Finding
from cfgtrack.store.journal import Journal

if TYPE_CHECKING:
    from cfgtrack.rules.engine import Engine


@dataclass(frozen=True, slots=True)
class Consequence:
    """What an event means at once: rules it breaks, clocks it starts, remarks that stick to what it touches.

    `excused` are findings under a variance. `judged` is false when the past is too long to be judged again for it.
    """

    findings: tuple[Finding, ...] = ()
    excused: tuple[Finding, ...] = ()
    started: tuple[Clock, ...] = ()
    remarks: tuple[Entry, ...] = ()
    judged: bool = True


def consequence(past: Past, action: Action, entry: Entry) -> Consequence:
    """Return what an action that has become an event means on the past as it was known just before."""
    remarks: tuple[Entry, ...] = ()
    if action.subjects:
        remarks = tuple(past.journal.remarks(action.subjects, at=past.moment.at, known=past.moment.known))
    if not past.rules.rules:
        return Consequence(remarks=remarks)
    from cfgtrack.analysis.options import try_action

    past.is_long = entry.number - 1 > LONG
    option = try_action(past.engine_before(entry.event), entry.event, variances=past.variances)
    findings = option.findings
    if findings:
        from cfgtrack.analysis.course import Course
        from cfgtrack.analysis.cures import cured

        ready = partial(_ready, past, entry.event)
        findings = tuple(cured(findings, ready, Course((entry.event,))))
    return Consequence(findings, option.excused, option.started, remarks)


def _ready(past: Past, event: Event, coming: Iterable[Event]) -> Engine:
    """Return an engine just before an event, ready for it and for what else may come."""
    return past.engine_before(event, *coming)


def consequence_of_correction(journal: Journal, entry: Entry) -> Consequence:
    """Return what a recorded correction has broken: the findings of the past as it now stands that are its own or new.

    What was put right by it is no longer found, so there is nothing to say of that.
    """
    at, known = journal.moment(None, entry.known)
    after = Past(journal, Moment(at, known), strict=False)
    if not after.rules.rules:
        return Consequence()
    if after.is_long:
        return Consequence(judged=False)
    before = {
        (code, f.time)
        for f in Past(journal, Moment(at, known - 1), strict=False).findings()[0]
        for code in f.fingerprints
    }
    new = (
        f
        for f in after.findings()[0]
        if f.event == entry.event.id or any((code, f.time) not in before for code in f.fingerprints)
    )
    return Consequence(tuple(new))


def with_what_followed(journal: Journal, entry: Entry, found: Consequence) -> Consequence:
    """Return what a recorded late event meant at once (`found`), and what it broke between its time and now."""
    later = consequence_of_correction(journal, entry)
    if not later.judged:
        return replace(found, judged=False)
    return replace(found, findings=later.findings)
