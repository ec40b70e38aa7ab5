"""What an event means at once - rules it breaks, clocks it starts, remarks it meets - and how that is told."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from cfgtrack.answers.moment import json_of
from cfgtrack.cli import session as s

if TYPE_CHECKING:
    from cfgtrack.analysis.check import Deadline
    from cfgtrack.answers.moment import Moment
    from cfgtrack.model.event import Entry, Event
    from cfgtrack.rules.finding import Finding
    from cfgtrack.store.journal import Journal


@dataclass(frozen=True, slots=True)
class Consequence:
    """What an event means at once: rules it breaks, clocks it starts, remarks that stick to what it touches.

    `excused` are findings under a variance. `judged` is false when the past is too long to be judged again for it.
    """

    findings: tuple[Finding, ...] = ()
    excused: tuple[Finding, ...] = ()
    started: tuple[Deadline, ...] = ()
    remarks: tuple[Entry, ...] = ()
    judged: bool = True


def consequence(journal: Journal, event: Event) -> Consequence:
    """Return what an event that isn't recorded yet would mean at its time.

    Nothing of an impossible one, or of one that is recorded already: recording will say so.
    """
    from cfgtrack.analysis.options import try_action
    from cfgtrack.answers.moment import Moment
    from cfgtrack.answers.past import Past, concerned, kept_rules
    from cfgtrack.model.event import BOOK_ACTIONS
    from cfgtrack.model.possibility import resolve

    if event.action in BOOK_ACTIONS or journal.entry(event.id) is not None:
        return Consequence()
    remarks = tuple(journal.remarks(event.subjects, at=event.happened)) if event.subjects else ()
    past = Past(journal, Moment(*journal.moment(event.happened)))
    past.rules = concerned(kept_rules(journal, None), event.action)
    outcome = resolve(past.configuration, event)
    if not past.rules.rules or outcome.refusals:
        return Consequence(remarks=remarks)
    option = try_action(past.engine_before(outcome.event), outcome.event, variances=past.variances)
    return Consequence(option.findings, option.excused, option.started, remarks)


def consequence_of_correction(journal: Journal, entry: Entry) -> Consequence:
    """Return what a recorded correction has broken: the findings of the past as it now stands that are its own or new.

    What was put right by it is no longer found, so there is nothing to say of that.
    """
    from cfgtrack.answers.moment import Moment
    from cfgtrack.answers.past import Past

    at, known = journal.moment(None, entry.known)
    after = Past(journal, Moment(at, known), strict=False)
    if not after.rules.rules:
        return Consequence()
    if after.is_long:
        return Consequence(judged=False)
    before = {
        (f.fingerprint, f.time) for f in Past(journal, Moment(at, known - 1), strict=False).findings()[0]
    }
    new = (
        f for f in after.findings()[0] if (f.fingerprint, f.time) not in before or f.event == entry.event.id
    )
    return Consequence(tuple(new))


def with_what_followed(journal: Journal, entry: Entry, found: Consequence) -> Consequence:
    """Return what a recorded late event meant at once (`found`), and what it broke between its time and now."""
    later = consequence_of_correction(journal, entry)
    if not later.judged:
        return replace(found, judged=False)
    return replace(found, findings=later.findings)


# --- the answer ---------------------------------------------------------------------------------------------------


def tell(session: s.Session, journal: Journal, entry: Entry, found: Consequence) -> None:
    """Print one quiet line with the event's id, and all that it means at once."""
    from cfgtrack.answers.moment import Moment

    known = None if session.dry_run else entry.known
    moment = Moment(*journal.moment(entry.event.happened, known))
    session.tell(
        lambda: _text(session, entry, found, moment),
        lambda: {
            **moment.to_json(),
            "recorded": not session.dry_run,
            "judged": found.judged,
            "event": json_of(entry),
            "findings": [f.to_json() for f in found.findings],
            "excused": [f.to_json() for f in found.excused],
            "started": [d.to_json() for d in found.started],
            "remarks": [json_of(remark) for remark in found.remarks],
        },
    )


def _text(session: s.Session, entry: Entry, found: Consequence, moment: Moment) -> str:
    from cfgtrack.show.findings import findings_text
    from cfgtrack.show.record import contradiction_text, event_text, remarks_text

    done = "would record" if session.dry_run else "recorded"
    lines = [f"{done} {entry.event.id}: {event_text(entry.event)} ({moment})"]
    if contradicts := contradiction_text(entry.event):
        lines.append(contradicts)
    lines += [_clock_line(deadline) for deadline in found.started]
    if not found.judged:
        lines.append("  not judged: the past is long; `cfgtrack review` tells what it breaks")
    if found.remarks:
        lines.append(remarks_text(found.remarks, moment))
    if found.findings or found.excused:
        findings = (*found.findings, *found.excused)
        lines.append(findings_text(findings, moment, colour=session.colour))
    return "\n".join(lines)


def _clock_line(started: Deadline) -> str:
    from cfgtrack.show.span import deadline_text

    limit = "no limit by physics" if started.deadline is None else f"until {deadline_text(started.deadline)}"
    subject = f" for {started.subject}" if started.subject else ""
    return f"  clock started: {started.rule}{subject}, {limit}"
