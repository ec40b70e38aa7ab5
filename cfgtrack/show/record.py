"""What happened, as text: events, what they mean at once, histories, remarks, discrepancies, differences."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from cfgtrack.answers.moment import Moment, Says, by_id
from cfgtrack.model import action as ac
from cfgtrack.model.action import Action, plain_words
from cfgtrack.model.event import Entry, Event, LogLine
from cfgtrack.model.handover import TreeHead, handed_over
from cfgtrack.model.kind import with_mate
from cfgtrack.model.present import mark_of
from cfgtrack.model.quantity import BadQuantity, as_written, dimension_of, format_number, from_si
from cfgtrack.model.time import format_instant, is_instant
from cfgtrack.rules.approved import SLOW
from cfgtrack.show.approved import approved_text
from cfgtrack.show.tables import count, deadline_text, heading, labelled, sections, table

if TYPE_CHECKING:
    from cfgtrack.analysis.difference import Difference
    from cfgtrack.answers.amend import Ruled
    from cfgtrack.answers.record import Recorded
    from cfgtrack.rules.finding import Clock

_MOST = 8
_FEW = 3
_REMARKS = 12


def event_text(event: Action, moved: Sequence[str] = (), says: Says = by_id) -> str:
    """Return what was done, or would be with what would have `moved`: ``place PUMP-2 at BAY-1``.

    `says`: what a status is called.
    """
    if event.action == ac.FOUND:
        return f"as found: {_found(event, says)}"
    words = plain_words(event)
    words[0] = "let go" if event.action == "let-go" else event.action
    if event.place is not None and event.action in (ac.PLACE, ac.LIFT):
        words += ["by" if event.action == ac.LIFT else "at", event.place]
    if event.facing:
        words += ["facing", event.facing]
    if event.action in (ac.BEGIN, ac.END) and event.outing:
        words.append(event.outing)
    words += [about for about in (event.withdraws, event.explains, event.acknowledges) if about]
    if event.action == ac.SKIP and event.step:
        words.append(event.step)
    if event.action == ac.ADOPT and event.body:
        words += [str(event.body.get("name", "")), f"(sha256 {str(event.body.get('sha256', ''))[:12]})"]
    if event.action == ac.KEEP_CHECK and event.body:
        told = (event.body.get(name, "") for name in ("name", "verdict", "said_for"))
        words += [str(one) for one in told if one]
    if event.action == ac.APPROVE:
        words += _approved(event.body or {})
    words += [f"{name}={as_written(quantity)}" for name, quantity in event.values.items()]
    moved = (*event.moved, *event.carried) if isinstance(event, Event) else moved
    if moved:
        more = len(moved) - _MOST
        words.append("with " + ", ".join([*moved[:_MOST], *([f"{more} more"] if more > 0 else [])]))
    return " ".join(words)


def _approved(body: Mapping[str, Any]) -> Iterator[str]:
    """Yield what an `approve` event excuses, and for how long."""
    for label, name in (("of rule", "rule"), ("of finding", "fingerprint")):
        if body.get(name):
            yield f"{label} {body[name]}"
    named = body.get("fingerprints")
    if isinstance(named, list) and named:
        yield f"of {count(len(named), 'finding')} {', '.join(map(str, named[:_MOST]))}"
        if len(named) > _MOST:
            yield f"and {len(named) - _MOST} more"
    for label, name in (("from", "start"), ("until", "end")):
        if is_instant(body.get(name)):
            yield f"{label} {format_instant(body[name])}"


def _found(event: Action, says: Says) -> str:
    subject = event.subjects[0] if event.subjects else ""
    if event.place is not None:
        facing = f" facing {event.facing}" if event.facing else ""
        return f"{subject} at {event.place}{facing}"
    mate = event.peer if isinstance(event, Event) else None
    mate = event.subjects[1] if len(event.subjects) == 2 else mate
    return f"{subject} {with_mate(says(subject, event.status or ''), mate)}"


def recorded_text(found: Recorded, *, colour: bool = False) -> str:
    """Return one quiet line with the event's id, the same for those recorded as one with it, and what it all means."""
    moment, lines = found.moment, list[str]()
    done = "recorded" if found.recorded else "would record"
    for event in (found.event.event, *(entry.event for entry in found.others)):
        own = replace(moment, at=event.happened)
        lines.append(f"{done} {event.id}: {event_text(event, says=found.says)} ({own})")
        if contradicts := contradiction_text(event):
            lines.append(contradicts)
    if found.head is not None:
        lines.append(f"  head {found.head.short}")
    lines += [clock_line(deadline) for deadline in found.started]
    if found.remarks:
        lines.append(remarks_text(found.remarks))
    if found.findings or found.excused:
        from cfgtrack.show.findings import findings_text

        findings = (*found.findings, *found.excused)
        lines.append(findings_text(findings, moment, beside=True, colour=colour))
    if found.open:
        from cfgtrack.show.findings import still_open_text

        lines.append(still_open_text(found.open, moment.at, colour=colour))
    return "\n".join(lines)


def ruled_text(found: Ruled, *, colour: bool = False) -> str:
    """Return an approval or acknowledgement that was recorded, with each finding that it names, and what it makes."""
    lines = [recorded_text(found, colour=colour)]
    for one in found.named:
        lines.append(labelled(one.fingerprint, f"{one.headline} [{one.rule}]", by=2, to=16))
        if one.approved is not None:
            lines.append(
                labelled("", f"approved {approved_text(one.approved, found.moment.at)}", by=2, to=16)
            )
    event = found.event.event
    if event.action == ac.APPROVE and not is_instant((event.body or {}).get("end")):
        lines.append(
            labelled("BEWARE", f"{FOR_GOOD}; --until TIME gives it an end, as does withdraw {event.id}")
        )
    return "\n".join(lines)


FOR_GOOD = "it runs UNTIL FURTHER NOTICE, for every later time that the same is broken anew"
"""What is told of an approval without an end."""


def clock_line(started: Clock) -> str:
    """Return a clock that was started, in a line."""
    limit = "no limit by physics" if started.deadline is None else f"until {deadline_text(started.deadline)}"
    subject = f" for {started.subject}" if started.subject else ""
    return f"  clock started: {started.rule}{subject}, {limit}"


def history_text(subject: str, lines: Iterable[LogLine], moment: Moment, says: Says = by_id) -> str:
    """Return events, each with the id of what corrected it, as a table in the order in which they are given.

    `says`: what a status is called.
    """
    told = [*lines]
    withdrawals = {line.entry.event.id: bool(line.entry.event.withdraws) for line in told}
    rows = [_history_row(*line, withdrawals, says) for line in told]
    if not rows:
        return f"{heading(f'History of {subject}', moment)}\n\nnothing recorded"
    title = heading(f"History of {subject}: {count(len(rows), 'event')}", moment)
    return sections(title, table(["no.", "happened", "what", "by", "basis", "notes", "event"], rows))


def _history_row(
    entry: Entry, corrected_by: str | None, withdrawals: Mapping[str, bool], says: Says
) -> list[object]:
    """Return an event's row. `withdrawals`: whether what may have corrected it withdraws it, by its id."""
    event = entry.event
    basis = "" if event.basis == "reported" else event.basis
    number = entry.number if not corrected_by else f"({entry.number})"
    notes = "; ".join((*_notes(entry, corrected_by, withdrawals), *_back_dated(entry)))
    by = event.by or ""
    if event.recorder and event.recorder != event.by:
        by = f"{by} (rec. {event.recorder})".strip()
    if event.signed is not None:
        by = f"{by}, signed {event.signed.by}".removeprefix(", ")
    if entry.login is not None:
        by = f"{by}, user {entry.login}".removeprefix(", ")
    return [number, format_instant(event.happened), event_text(event, says=says), by, basis, notes, event.id]


def _back_dated(entry: Entry) -> Iterator[str]:
    """Yield of an approval that it is for a time from before it was recorded."""
    event = entry.event
    told = (event.body or {}).get("start")
    start = told if isinstance(told, int) else event.happened
    if event.action == ac.APPROVE and entry.known - start > SLOW:
        yield f"back-dated: recorded {format_instant(entry.known)}"


_HOW = {True: "withdrawn", False: "corrected", None: "corrected or withdrawn"}


def _notes(entry: Entry, corrected_by: str | None, withdrawals: Mapping[str, bool]) -> Iterator[str]:
    event = entry.event
    if corrected_by:
        yield f"NO LONGER COUNTS: {_HOW[withdrawals.get(corrected_by)]} by {corrected_by}"
    if event.supersedes:
        yield f"corrects {event.supersedes}"
    if event.reason:
        yield f"because: {event.reason}"
    accepted = (event.body or {}).get("accepted")
    if isinstance(accepted, Mapping):
        what = [*map(str, accepted["what"][:_FEW])]
        if len(accepted["what"]) > _FEW:
            what.append(f"{len(accepted['what']) - _FEW} more")
        yield f"accepted, because {accepted['reason']}: {'; '.join(what)}"
    lost = (event.body or {}).get("keys_lost")
    if isinstance(lost, str):
        yield f"SIGNED BY NOBODY, as keys were said to be lost: {lost}"
    if event.expected:
        yield f"the record said: {event.expected}"
    if (head := _head_of(event)) is not None:
        yield f"for the record at {head.short}"
    if event.clock:
        yield mark_of(event.clock, entry.known)
    yield from _beside(event)


def _beside(event: Event) -> Iterator[str]:
    """Yield in which outing something was done, as which step, and what was remarked."""
    if event.outing and event.action not in (ac.BEGIN, ac.END):
        yield f"in {event.outing}"
    if event.step and event.action != ac.SKIP:
        yield f"step {event.step}"
    if event.remark:
        yield event.remark


def _head_of(event: Event) -> TreeHead | None:
    """Return the tree head that a handover stands for, None for none."""
    try:
        return handed_over(event)
    except ValueError:
        return None


def remarks_text(entries: Iterable[Entry], moment: Moment | None = None, of: str = "") -> str:
    """Return remarks under a heading, with the moment where nothing else tells it; "" when there are none.

    Beside another answer, so without a moment, only the last few are told, and how many there are before them.
    """
    told = list(entries)
    earlier = len(told) - _REMARKS if moment is None else 0
    lines = list(remark_lines(told[max(earlier, 0) :]))
    title = "Remarks" if moment is None else heading(f"Remarks on {of}", moment)
    if earlier > 0:
        title += f", the last {_REMARKS} of {len(told)}: `cfgtrack remarks THING` tells all on a thing"
    return "\n".join([title, *lines]) if lines else ""


def remark_lines(entries: Iterable[Entry]) -> Iterator[str]:
    """Yield each remark: what it sticks to, its text, who made it and when."""
    for entry in entries:
        event = entry.event
        by = f", {event.by}" if event.by else ""
        text = f"{event.remark or event_text(event)} ({format_instant(event.happened)}{by})"
        yield labelled(f"{', '.join(event.subjects)}:", text, to=14)


def contradiction_text(event: Event) -> str:
    """Return what an event contradicts, and what closes the discrepancy; "" when it contradicts nothing."""
    if not event.expected:
        return ""
    return "\n".join(
        [
            labelled(
                "DISCREPANCY", f"the record said {event.expected}; it stays open until it is explained:"
            ),
            labelled("", f"cfgtrack explain {event.id} --reason TEXT"),
        ]
    )


def found_or_there(event: Event, says: Says = by_id) -> str:
    """Return what was found, or who was found doing what."""
    if event.action == ac.FOUND:
        return _found(event, says)
    where = event.found.get(event.by or "")
    return f"{event.by} at {where}: {event_text(event)}" if where else f"{event.by}: {event_text(event)}"


def discrepancies_text(entries: Iterable[Entry], moment: Moment, says: Says = by_id) -> str:
    """Return the events that contradicted the record and that nobody has explained yet."""
    rows = [
        [
            format_instant(e.event.happened),
            found_or_there(e.event, says),
            e.event.expected,
            e.event.by,
            e.event.id,
        ]
        for e in entries
    ]
    if not rows:
        return f"{heading('No open discrepancies', moment)}"
    title = heading(count(len(rows), "open discrepancy", "open discrepancies"), moment)
    return sections(title, table(["happened", "found", "the record said", "by", "event"], rows))


# --- between two moments ------------------------------------------------------------------------------------------


def difference_text(rows: Sequence[Difference], before: Moment, after: Moment) -> str:
    """Return what differs. Two halves that were mated or demated together are one row that names both."""
    told = {row.subject: row for row in rows if row.aspect == "status"}
    cells = []
    for row in rows:
        mate = _same_of(row, told)
        if mate is None:
            subject = row.subject
        elif mate < row.subject:
            continue
        else:
            subject = f"{row.subject} and {mate}"
        sides = [_side(row, mate, after=False), _side(row, mate, after=True)]
        wrote = dict.fromkeys((row.event, told[mate].event if mate is not None else row.event))
        cells.append([subject, row.aspect, *sides, ", ".join(filter(None, wrote))])
    title = count(len(cells), "difference")
    span = [labelled("from", str(before), to=6), labelled("to", str(after), to=6)]
    return sections("\n".join([title, *span]), table(["subject", "what", "before", "after", "event"], cells))


def _same_of(row: Difference, told: Mapping[str, Difference]) -> str | None:
    """Return the other half of which the same is told the other way round: both were mated to each other or neither."""
    mate = row.before_other or row.after_other
    other = told.get(mate) if mate is not None and row.aspect == "status" else None
    if other is None or (other.before, other.after) != (row.before, row.after):
        return None
    theirs, ours = (other.before_other, other.after_other), (row.before_other, row.after_other)
    halves = {(None, None), (mate, row.subject)}
    return mate if {*zip(ours, theirs, strict=True)} <= halves else None


def _side(row: Difference, mate: str | None = None, *, after: bool) -> str:
    """Return one side of a difference; of two halves in a row, with their `mate`, that of both."""
    value, other = (row.after, row.after_other) if after else (row.before, row.before_other)
    if value is None:
        return "-"
    if row.aspect in ("part", "link", "defined"):
        return str(value)
    if row.aspect == "status":
        said = (row.words_after if after else row.words_before) or str(value)
        if mate is not None:
            return f"{said}, to each other" if other else f"both {said}"
        return with_mate(said, other)
    if row.aspect == "place":
        return f"{value or 'place not known'}" + (f" facing {other}" if other else "")
    return (
        str(value)
        if row.aspect in ("cycles", "lock", "tag", "defect")
        else quantity_text(row.aspect, float(value), other or "")
    )


def quantity_text(quantity: str, value: float, unit: str) -> str:
    """Return a value kept in SI in the unit that the user wrote; in SI, and saying so, where that is unknown."""
    try:
        return as_written(from_si(value, unit=unit, dimension=dimension_of(quantity)))
    except BadQuantity:
        return f"{format_number(value)} (SI)"
