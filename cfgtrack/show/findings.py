"""Findings and running clocks as text, to be read at three in the morning: the answer first."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from typing import TYPE_CHECKING

from cfgtrack.analysis.verdict import AS_LIKELY, SEVERAL, Foreseen
from cfgtrack.answers.moment import Moment
from cfgtrack.model.action import BEGIN, END
from cfgtrack.model.time import format_instant
from cfgtrack.rules.finding import SEVERITIES, Clock, Cure, Finding, Reason
from cfgtrack.rules.saying import say_list
from cfgtrack.show.approved import approved_facts, approved_text, standing_text
from cfgtrack.show.defects import DEFECTS, defect_table
from cfgtrack.show.record import discrepancies_text
from cfgtrack.show.tables import (
    count,
    deadline_text,
    heading,
    indented,
    labelled,
    sections,
    span_text,
    styled,
    table,
    titled,
)

if TYPE_CHECKING:
    from cfgtrack.answers.review import Acknowledged, Open, Review
    from cfgtrack.rules.variance import Void

CAUTION = "This advises. Local codes, the approved procedure and licensed or certified people decide."
"""Stands under every check: a clean check is no permission."""

_COLOURS = {0: "magenta", 1: "red", 2: "red", 3: "yellow", 4: "blue"}
_MOST = 8
_LINKS = {"no-path": "broken by", "path": "over"}
"""What the links of a reason are to it, by its code."""


def findings_text(
    findings: Sequence[Finding],
    moment: Moment,
    *,
    checked: str = "",
    acknowledged: Sequence[Acknowledged] = (),
    colour: bool = False,
) -> str:
    """Return findings: how many and how bad, then each with where, what, why, what would cure it, and the hazard.

    `checked` says what was checked. Findings under a variance come last, apart. `acknowledged` tells which of them
    somebody has acknowledged.
    """
    return sections(*_findings(findings, moment, checked, acknowledged, colour=colour), caution())


def caution() -> str:
    """Return the caution as a paragraph."""
    return indented(CAUTION, by=0)


def _findings(
    findings: Sequence[Finding],
    moment: Moment,
    checked: str,
    acknowledged: Sequence[Acknowledged] = (),
    *,
    colour: bool,
) -> Iterator[str]:
    plain = [f for f in findings if not f.variance]
    excused = [f for f in findings if f.variance]
    yield "\n".join(_answer(plain, excused, moment, checked, colour=colour))
    for number, finding in enumerate(plain, 1):
        yield finding_text(number, finding, acknowledged, at=moment.at, colour=colour)
    if excused:
        yield "Under a variance, so not counted above:"
    for number, finding in enumerate(excused, len(plain) + 1):
        yield finding_text(number, finding, acknowledged, at=moment.at, colour=colour)


def still_open_text(findings: Sequence[Finding], at: int, *, colour: bool = False) -> str:
    """Return what is still open where something was done, at the moment `at`: a line each, and what was approved."""
    lines = [styled(f"Still open here: {count(len(findings), 'finding')}", colour=colour, bold=True)]
    for finding in findings:
        approved = "" if finding.approved is None else f"; {approved_text(finding.approved, at)}"
        said = f"{finding.headline}, since {format_instant(finding.time)}  [{finding.rule}]{approved}"
        lines.append(labelled(severity_word(finding.severity).upper(), said, to=4))
    return "\n".join(lines)


def _answer(
    plain: Sequence[Finding], excused: Sequence[Finding], moment: Moment, checked: str, *, colour: bool
) -> Iterator[str]:
    answer = count(len(plain), "finding").capitalize()
    by_severity = Counter(f.severity for f in plain)
    listed = ", ".join(f"{n} {severity_word(s)}" for s, n in sorted(by_severity.items()))
    approved = "; ".join(standing_text([*plain, *excused], moment.at))
    if plain:
        listed = f"{answer}: {listed}"
    yield heading("; ".join(filter(None, (listed or answer, approved))), moment, colour=colour)
    if checked:
        yield labelled("checked:", checked)
    silent = sum(f.no_verdict for f in plain)
    if silent:
        yield indented(f"{count(silent, 'rule')} could not be judged: NO VERDICT is not a pass")


def severity_word(severity: int) -> str:
    """Return the word for a severity: a category of MIL-STD-882E, or that a step can't be done."""
    return SEVERITIES.get(severity, "impossible")


def finding_text(
    number: int, finding: Finding, acknowledged: Sequence[Acknowledged] = (), *, at: int, colour: bool
) -> str:
    """Return one finding under its number: what, where, when, why, what would cure it, the hazard, what was approved.

    `at` is the moment that is asked about.
    """
    word = severity_word(finding.severity).upper()
    if finding.no_verdict:
        word = f"NO VERDICT, {word}"
    title = labelled(f"{number}. {word}", f"{finding.headline}  [{finding.rule}]", by=0, to=3)
    first, *rest = title.splitlines()
    lines = [styled(first, colour=colour, fg=_COLOURS.get(finding.severity), bold=True), *rest]
    lines += [labelled(label, text, by=3, to=11) for label, text in _facts(finding, at) if text]
    lines += [labelled("seen", text, by=3, to=11) for text in _seen(finding, acknowledged)]
    return "\n".join(lines)


def _seen(finding: Finding, acknowledged: Sequence[Acknowledged]) -> Iterator[str]:
    """Yield who has acknowledged a finding, when and why; of which of its instances, where not of all."""
    mine: dict[str, list[Acknowledged]] = {}
    for one in acknowledged:
        if one.time == finding.time and one.fingerprint in finding.fingerprints:
            mine.setdefault(one.event, []).append(one)
    for event, named in mine.items():
        first = named[0]
        which = (
            ""
            if len(named) == len(finding.fingerprints)
            else f"{names_text([n.fingerprint for n in named])}: "
        )
        by = f" by {first.by}" if first.by else ""
        when = format_instant(first.happened)
        yield f"{which}acknowledged{by}, {when}: {first.reason} (event {event})"


def _facts(finding: Finding, at: int) -> Iterator[tuple[str, str]]:
    yield "rule", finding.title
    yield "where", _where(finding)
    yield "when", _when(finding)
    if isinstance(finding, Foreseen) and finding.mix != AS_LIKELY:
        yield "durations", _takes(finding)
    yield "ends", _ends(finding.ends)
    yield "concerns", names_text(finding.subjects)
    for reason in finding.reasons[:_MOST]:
        yield "why", reason.text
        yield _LINKS.get(reason.code, "links"), _unless_said(reason.links, reason.text)
        yield "beyond", _unless_said([b for b in reason.beyond if b not in finding.subjects], reason.text)
    if len(finding.reasons) > _MOST:
        yield "why", f"and {count(len(finding.reasons) - _MOST, 'more reason')}"
    yield "cure", _either(finding.cures)
    yield ("" if finding.cures else "cure"), _not_all_tried(finding)
    yield "hazard", finding.hazard
    yield "source", finding.source
    if finding.approved is not None:
        yield from approved_facts(finding.approved, at)
    yield "finding", names_text(finding.fingerprints)


def _takes(finding: Foreseen) -> str:
    """Return with which durations a finding comes, and what it hinges on."""
    if finding.hinges_on is None:
        return finding.mix
    if finding.hinges_on == SEVERAL:
        return f"{finding.mix}: {SEVERAL}, no single step makes the difference"
    return f"{finding.mix}: step {finding.hinges_on} makes the difference"


def _either(cures: Sequence[Cure]) -> str:
    return "; or ".join(map(_cure, cures))


def _cure(cure: Cure) -> str:
    return cure.text + (f" (starts {say_list(cure.starts)})" if cure.starts else "")


def _not_all_tried(finding: Finding) -> str:
    """Say how many candidates for a cure were tried, where that is not all, or where none of them cures."""
    if finding.tried is None:
        return ""
    tried, candidates = finding.tried
    if tried < candidates:
        none = "" if finding.cures else "none: "
        return f"{none}the first {tried} of {candidates} candidates were tried"
    were = "was" if tried == 1 else "were"
    return "" if finding.cures or not tried else f"none: {count(tried, 'candidate')} {were} tried"


def _where(finding: Finding) -> str:
    event = finding.event or ""
    if finding.step:
        return f"step {finding.step}: {finding.action}" if finding.action else f"step {finding.step}"
    if finding.action in (BEGIN, END):
        began, _, outing = event.partition(":")
        return (
            f"{finding.action} of outing {outing}"
            if began == finding.action
            else f"event {event}: {finding.action}"
        )
    return finding.action or (f"event {event}" if event else "")


def _when(finding: Finding) -> str:
    text = format_instant(finding.time)
    if finding.deadline is not None:
        at_deadline = finding.time == finding.deadline
        text = f"{deadline_text(finding.time) if at_deadline else text}, deadline {deadline_text(finding.deadline)}"
    if finding.trigger:
        text += f", after {finding.trigger} at {format_instant(finding.since)}"
    elif finding.since != finding.time:
        text += f", so since {format_instant(finding.since)}"
    if finding.until is not None and finding.until != finding.time:
        text += f", until {format_instant(finding.until)} ({span_text(finding.until - finding.time)})"
    return text


def _ends(ends: Sequence[int]) -> str:
    """Return the ends at which something was so, where it was at more than one."""
    told = [format_instant(end) for end in ends]
    return f"at {count(len(told), 'end')}: {names_text(told)}" if len(told) > 1 else ""


def names_text(names: Sequence[str]) -> str:
    """Return names, or the first of many."""
    more = f" and {len(names) - _MOST} more" if len(names) > _MOST else ""
    return ", ".join(names[:_MOST]) + more


def _unless_said(names: Sequence[str], text: str) -> str:
    """Leave out names that the sentence has already said."""
    return names_text([name for name in names if name not in text])


def review_text(review: Review, *, colour: bool = False) -> str:
    """Return everything that was found in the past."""
    checked = f"{review.events} events, {review.rules} rules"
    found = (*review.findings, *review.excused)
    seen = review.acknowledged
    text = findings_text(found, review.moment, checked=checked, acknowledged=seen, colour=colour)
    return sections(text, _void_text(review.void))


def _void_text(void: Sequence[Void]) -> str:
    """Return the approvals that excuse nothing, and why; "" where there are none."""
    rows = [[one.event, one.by, one.why] for one in void]
    return titled(
        f"{count(len(rows), 'void approval')}: not counted as exceptions", table(["event", "by", "why"], rows)
    )


def open_text(found: Open, *, colour: bool = False) -> str:
    """Return what is open: findings, then running clocks, then discrepancies, then what can't be done."""
    return sections(
        review_text(found, colour=colour),
        clocks_text(found.clocks, found.moment, colour=colour),
        discrepancies_text(found.discrepancies, found.moment),
        titled(DEFECTS, defect_table(found.defects)),
    )


# --- clocks -------------------------------------------------------------------------------------------------------


def clocks_text(clocks: Sequence[Clock], moment: Moment, *, colour: bool = False) -> str:
    """Return running clocks, the first to run out first, with what is left of each and what is missing."""
    title = f"{count(len(clocks), 'running clock')}".capitalize()
    return sections(heading(title, moment, colour=colour), clock_rows(clocks, moment))


def clock_rows(clocks: Iterable[Clock], moment: Moment) -> str:
    """Return the table of running clocks alone, with what is left at the moment; "" when none runs."""
    ordered = sorted(
        clocks, key=lambda c: (c.deadline is None, c.deadline or 0, c.severity, c.rule, c.subject)
    )
    rows = [
        [
            _left(clock, moment.at),
            "no limit" if clock.deadline is None else deadline_text(clock.deadline),
            clock.subject,
            f"{clock.title} [{clock.rule}, {clock.category}]",
            f"{clock.trigger} at {format_instant(clock.started)}",
            _missing(clock.missing or ()),
        ]
        for clock in ordered
    ]
    return table(["left", "deadline", "of", "clock", "started by", "missing"], rows)


def _left(clock: Clock, now: int) -> str:
    if clock.deadline is None:
        return "-"
    left = clock.deadline - now
    return span_text(left) if left >= 0 else f"RUN OUT {span_text(-left, up=True)} ago"


def _missing(reasons: Sequence[Reason]) -> str:
    return "; ".join(dict.fromkeys(reason.text for reason in reasons))
