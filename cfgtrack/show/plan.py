"""The plan in force as text: its revisions, what was done of it, and how it goes, exceptions first."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from typing import TYPE_CHECKING

from cfgtrack.model.plan import Revision
from cfgtrack.model.time import MINUTE, format_duration, format_instant
from cfgtrack.show.record import clock_line, remarks_text
from cfgtrack.show.tables import count, heading, indented, labelled, sections, styled, table, titled

if TYPE_CHECKING:
    from cfgtrack.analysis.progress import OutingRun
    from cfgtrack.answers.plan import Adopted, Dropped, Revisions, Shown
    from cfgtrack.answers.progress import Left, Progress, StepLine
    from cfgtrack.answers.steps import Stepped, Told

_FEW = 12
"""So many steps are listed by name; the rest is counted."""


def adopted_text(found: Adopted) -> str:
    """Return what was adopted, what it supersedes, and what is done of that and isn't in it."""
    revision = found.revision
    if found.event is None:
        return f"{revision.called} is in force already: nothing is written ({found.moment})"
    done = "adopted" if found.recorded else "would adopt"
    lines = [f"{done} {revision.called}, by event {revision.event} ({found.moment})"]
    left = found.steps - found.over
    over = f", {found.over} of them ended" if found.over else ""
    lines.append(f"  {count(found.steps, 'step')}{over}, {left} left; sha256 {revision.sha256}")
    if found.supersedes is not None:
        lines.append(f"  supersedes {found.supersedes.called}")
        changes = (("added", found.added), ("dropped", found.dropped), ("changed", found.changed))
        lines += [labelled(what, _named(steps), to=10) for what, steps in changes if steps]
    for gone in found.gone:
        now = "is not in it" if gone.now is None else f"now says {gone.now}"
        lines.append(
            labelled("BEWARE", f"{gone.step} is done ({gone.done}, event {gone.event}), and {now}", to=10)
        )
    if found.head is not None:
        lines.append(f"  head {found.head.short}")
    return "\n".join(lines)


def _named(steps: Sequence[str]) -> str:
    more = f" and {len(steps) - _FEW} more" if len(steps) > _FEW else ""
    return ", ".join(steps[:_FEW]) + more


def dropped_text(found: Dropped) -> str:
    """Return that no plan is in force any longer."""
    done = "dropped" if found.recorded else "would drop"
    left = f"with {count(found.left, 'step')} left"
    return f"{done} {found.revision.called}, {left}, by event {found.event.event.id} ({found.moment})"


def shown_text(found: Shown) -> str:
    """Return the text of a revision, under a comment line that says which it is."""
    one = found.revision
    force = "in force" if one.in_force else "NOT IN FORCE"
    who = f" by {one.by or one.recorder}" if one.by or one.recorder else ""
    head = f"# {one.called}, {force}, adopted {format_instant(one.adopted)}{who} ({found.moment})"
    return f"{head}\n{found.text.rstrip()}"


def revisions_text(found: Revisions) -> str:
    """Return every revision, a line each."""
    title = heading("Plans", found.moment)
    rows = [_revision_row(one, found.revisions) for one in found.revisions]
    heads = ["revision", "file", "sha256", "adopted", "by", "state", "event"]
    return sections(title, table(heads, rows) or "no plan was ever adopted")


def _revision_row(one: Revision, all_of_them: Sequence[Revision]) -> list[object]:
    later = [other for other in all_of_them if other.plan == one.plan and other.number > one.number]
    state = "IN FORCE" if one.in_force else "superseded" if later else "no longer in force"
    who = one.by or one.recorder
    return [one.number, one.name, one.sha256[:12], format_instant(one.adopted), who, state, one.event]


# --- steps --------------------------------------------------------------------------------------------------------

_STATES = {
    "recorded": "",
    "already": "ALREADY: nothing is recorded again; ",
    "there": "IT IS SO ALREADY, nothing is recorded: ",
}


def stepped_text(found: Stepped, *, colour: bool = False) -> str:
    """Return what was recorded of steps, what it means at once, and what comes next."""
    lines = [_told_line(one, found) for one in found.steps]
    if found.head is not None:
        lines.append(f"  head {found.head.short}")
    lines += [clock_line(clock) for clock in found.started]
    if found.remarks:
        lines.append(remarks_text(found.remarks))
    if found.findings or found.excused:
        from cfgtrack.show.findings import findings_text

        lines.append(findings_text((*found.findings, *found.excused), found.moment, colour=colour))
    if found.open:
        from cfgtrack.show.findings import still_open_text

        lines.append(still_open_text(found.open, found.moment.at, colour=colour))
    left = f"{count(found.left, 'step')} left of {found.revision.called}"
    lines.append(labelled("next", "; ".join((*found.next, left)), to=6))
    return "\n".join(lines)


def _told_line(one: Told, found: Stepped) -> str:
    event = next((entry.event for entry in found.events if entry.event.id == one.event), None)
    how = _STATES[one.state]
    if one.state == "recorded" and not found.recorded:
        how = "would record: "
    by = "" if event is None or not event.by else f" by {event.by}"
    at = "" if event is None else f" at {format_instant(event.happened)}"
    named = f" [{one.event}]" if one.event else ""
    return "\n".join((f"{one.step}: {how}{one.what}{by}{at}{named}", *(f"  {told}" for told in one.beside)))


# --- how it goes --------------------------------------------------------------------------------------------------


def progress_text(found: Progress, *, whole: bool = False, colour: bool = False) -> str:
    """Return how the plan goes: the verdict, what isn't as planned (the `whole` if asked for), the outings."""
    lines = found.steps if whole else [step for step in found.steps if step.deviations]
    title = "Every step" if whole else "Not as planned"
    heads = ["step", "planned", "state", "at", "late", "what"]
    extra = table(
        ["besides the plan", "at", "by", "event"],
        [[one.what, format_instant(one.at), one.by, one.event] for one in found.extra],
    )
    return sections(
        f"{styled(_verdict(found), colour=colour, bold=True)}\n{indented(f'{found.revision.called} ({found.moment})')}",
        titled(title, table(heads, map(_step_row, lines))),
        extra,
        table(
            ["outing", "state", "steps", "began", "used", "work left", "budget", "spare"],
            _outings(found.outings),
        ),
    )


def _verdict(found: Progress) -> str:
    counts = found.counts
    done = counts["done"] + counts["otherwise"]
    told = [f"{done} of {len(found.steps)} steps done", f"{counts['left'] + counts['elsewhere']} left"]
    told += [f"{counts['skipped']} skipped"] if counts["skipped"] else []
    told += [f"{counts['there']} there already"] if counts["there"] else []
    codes: dict[str, int] = {}
    for step in found.steps:
        for code in dict.fromkeys(one.code for one in step.deviations):
            codes[code] = codes.get(code, 0) + 1
    told += [f"{number} {_CODES[code]}" for code, number in codes.items() if code in _CODES]
    told += [f"{len(found.extra)} besides the plan"] if found.extra else []
    if found.late is not None:
        told.append(late_text(found.late))
    return f"{'As planned' if found.as_planned else 'Not as planned'}: {', '.join(told)}"


_CODES = {
    "other-thing": "at another port or thing",
    "other-action": "done otherwise",
    "out-of-order": "out of order",
    "passed-over": "passed by",
    "barred": "that can't be done",
    "out-of-range": "out of range",
    "other-step": "recorded as of another step",
    "other-value": "with another value",
    "no-value": "without a value",
    "other-doer": "by somebody else",
    "other-outing": "in another outing",
}


def late_text(late: int) -> str:
    """Return how late or early something is, in whole minutes.

    >>> late_text(31 * MINUTE), late_text(-5 * MINUTE), late_text(20_000_000)
    ('31 min late', '5 min early', 'on time')
    """
    minutes = round(abs(late) / MINUTE)
    if not minutes:
        return "on time"
    return f"{format_duration(minutes * MINUTE)} {'late' if late > 0 else 'early'}"


def _step_row(one: StepLine) -> list[object]:
    at = "" if one.at is None else format_instant(one.at)
    late = "" if one.late is None else _signed(one.late)
    what = "; ".join(deviation.sentence for deviation in one.deviations)
    event = f" [{one.event}]" if one.event and one.deviations else ""
    return [one.id, one.planned, one.state, at, late, what + event]


def _signed(span: int) -> str:
    minutes = round(span / MINUTE)
    return f"{minutes:+d} min" if minutes else "0"


_CALLED = {"over": "ended"}
"""What the state of an outing is called, where its key says it by another word."""


def _outings(outings: Iterable[OutingRun]) -> Iterator[list[object]]:
    for one in outings:
        began = "" if one.began is None else format_instant(one.began)
        used = _whole(one.used) if one.used else ""
        budget = "" if one.budget is None else _whole(one.budget)
        spare = "" if one.spare is None or one.state == "over" else _whole(one.spare)
        if one.spare is not None and one.spare < 0 and spare:
            spare = f"{_whole(-one.spare)} EXCEEDED"
        work = _whole(one.work) if one.work else ""
        skipped = f", {one.skipped} skipped" if one.skipped else ""
        yield [
            one.id,
            _CALLED.get(one.state, one.state),
            f"{one.over - one.skipped} of {one.steps}{skipped}",
            began,
            used,
            work,
            budget,
            spare,
        ]


def _whole(span: int) -> str:
    return format_duration(round(span / MINUTE) * MINUTE)


def left_text(found: Left) -> str:
    """Return the sequence that is left, or where it was written."""
    if found.file is None:
        return found.text.rstrip()
    work = format_duration(found.minutes * MINUTE)
    left = f"{count(found.steps, 'step')} left of {found.revision.called}, {work} of work"
    return f"wrote {found.file}: {left} ({found.moment})"
