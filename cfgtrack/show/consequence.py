"""What was recorded, and what it means at once, as text."""

from __future__ import annotations

from typing import TYPE_CHECKING

from cfgtrack.show.record import contradiction_text, event_text, remarks_text

if TYPE_CHECKING:
    from cfgtrack.answers.record import Recorded
    from cfgtrack.rules.finding import Clock


def recorded_text(found: Recorded, *, colour: bool = False) -> str:
    """Return one quiet line with the event's id, and all that it means at once."""
    event, moment = found.event.event, found.moment
    done = "recorded" if found.recorded else "would record"
    lines = [f"{done} {event.id}: {event_text(event)} ({moment})"]
    if contradicts := contradiction_text(event):
        lines.append(contradicts)
    lines += [_clock_line(deadline) for deadline in found.started]
    if not found.judged:
        lines.append("  not judged: the past is long; `cfgtrack review` tells what it breaks")
    if found.remarks:
        lines.append(remarks_text(found.remarks, moment))
    if found.findings or found.excused:
        from cfgtrack.show.findings import findings_text

        findings = (*found.findings, *found.excused)
        lines.append(findings_text(findings, moment, colour=colour))
    return "\n".join(lines)


def _clock_line(started: Clock) -> str:
    from cfgtrack.show.span import deadline_text

    limit = "no limit by physics" if started.deadline is None else f"until {deadline_text(started.deadline)}"
    subject = f" for {started.subject}" if started.subject else ""
    return f"  clock started: {started.rule}{subject}, {limit}"
