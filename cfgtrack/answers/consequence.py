"""What an event means at once: rules it breaks, clocks it starts, remarks it meets."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from cfgtrack.answers.moment import Moment
from cfgtrack.answers.past import LONG, Past
from cfgtrack.model.action import Action
from cfgtrack.model.event import Entry
from cfgtrack.rules.finding import Clock, Finding
from cfgtrack.store.journal import Journal


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
    return Consequence(option.findings, option.excused, option.started, remarks)


def consequence_of_correction(journal: Journal, entries: Sequence[Entry]) -> Consequence:
    """Return what recorded corrections have broken: the findings of the past as it now stands that are theirs or new.

    What was put right by them is no longer found, so there is nothing to say of that.
    """
    before_known, after_known = min(e.known for e in entries) - 1, max(e.known for e in entries)
    at, known = journal.moment(None, after_known)
    after = Past(journal, Moment(at, known), strict=False)
    if not after.rules.rules:
        return Consequence()
    if after.is_long:
        return Consequence(judged=False)
    before = {
        (code, f.time)
        for f in Past(journal, Moment(at, before_known), strict=False).findings()[0]
        for code in f.fingerprints
    }
    own = {entry.event.id for entry in entries}
    new = (
        f
        for f in after.findings()[0]
        if f.event in own or any((code, f.time) not in before for code in f.fingerprints)
    )
    return Consequence(tuple(new))


def with_what_followed(journal: Journal, entry: Entry, found: Consequence) -> Consequence:
    """Return what a recorded late event meant at once (`found`), and what it broke between its time and now."""
    later = consequence_of_correction(journal, [entry])
    if not later.judged:
        return replace(found, judged=False)
    return replace(found, findings=later.findings)
