"""Findings and running clocks as text, to be read at three in the morning: the answer first."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from cfgtrack.analysis.verdict import AS_LIKELY, SEVERAL, Foreseen, folded, follows
from cfgtrack.answers.moment import Moment
from cfgtrack.model.action import BEGIN, END
from cfgtrack.model.time import SECOND, format_instant
from cfgtrack.rules.finding import SEVERITIES, Clock, Cure, Finding, Reason, join
from cfgtrack.rules.saying import FEW, say_list
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
_HAZARDS = 8
_LINKS = {"no-path": "broken by", "path": "through"}
"""What the links of a reason are to it, by its code."""

_BEYOND = {"no-path": "cut off"}
"""What the items of a reason are to it, by its code."""

FEW_CURES = 1
"""So many cures stand in the table; the details have them all."""


@dataclass(frozen=True, slots=True)
class Wanted:
    """How much is told of findings: the table alone, all `details` of each, or those of the findings with `numbers`.

    `follows`: what follows from another finding has its own line, too.
    """

    details: bool = False
    numbers: tuple[int, ...] = ()
    follows: bool = False

    def has(self, number: int) -> bool:
        """Return whether the details of a finding are wanted."""
        return self.details or number in self.numbers


SHORT, FULL = Wanted(), Wanted(details=True)


def findings_text(
    findings: Sequence[Finding],
    moment: Moment,
    *,
    checked: str = "",
    acknowledged: Sequence[Acknowledged] = (),
    past: int = 0,
    wanted: Wanted = FULL,
    beside: bool = False,
    colour: bool = False,
) -> str:
    """Return findings: how many and how bad, a line each with what would cure it, the hazards, then the details.

    `checked` says what was checked. Findings under a variance come last, apart. `acknowledged` tells which of them
    somebody has acknowledged. Beside what is open, so many of the `past` nobody has. `beside` another answer, which has
    told the moment already, it isn't told again.
    """
    told = _findings(
        findings, moment, checked, acknowledged, past=past, wanted=wanted, beside=beside, colour=colour
    )
    return sections(*told, caution())


def caution() -> str:
    """Return the caution as a paragraph."""
    return indented(CAUTION, by=0)


def _findings(
    findings: Sequence[Finding],
    moment: Moment,
    checked: str,
    acknowledged: Sequence[Acknowledged] = (),
    *,
    past: int,
    wanted: Wanted,
    beside: bool,
    colour: bool,
) -> Iterator[str]:
    plain = [f for f in findings if not f.variance]
    excused = [f for f in findings if f.variance]
    yield "\n".join(_answer(plain, excused, moment, checked, past=past, beside=beside, colour=colour))
    numbered = list(enumerate((*plain, *excused), 1))
    first, last = numbered[: len(plain)], numbered[len(plain) :]
    if len(numbered) > 1 or not wanted.has(1):
        yield finding_table(first, at=moment.at, colour=colour)
        yield titled(EXCUSED, finding_table(last, at=moment.at, colour=colour))
    elif excused:
        yield EXCUSED
    yield hazards_text([(number, one) for number, one in first if not wanted.has(number)])
    yield details_text(numbered, wanted, acknowledged, at=moment.at, colour=colour)


EXCUSED = "Under a variance, so not counted above:"

Numbered = Sequence[tuple[int, Finding]]


def finding_table(
    numbered: Numbered,
    *,
    at: int,
    following: Mapping[int, Sequence[Finding]] | None = None,
    colour: bool = False,
) -> str:
    """Return findings under their numbers, a row each: how bad, where, what is wrong, what cures it, what follows.

    What was approved of it by the moment `at` stands there, too.
    """
    rows = []
    for number, finding in numbered:
        word = severity_word(finding.severity).upper()
        said = [_with_rule(finding), _only_with(finding), _follows_from(finding), _short_cure(finding)]
        if finding.approved is not None:
            said += [f"{label} {text}" for label, text in approved_facts(finding.approved, at)]
        said += [_following(following[number])] if following and number in following else []
        where = finding.step or _end_of(finding) or _seconds(finding.time)
        rows.append(
            [
                str(number),
                f"NO VERDICT, {word}" if finding.no_verdict else word,
                where,
                "\n".join(filter(None, said)),
            ]
        )
    where = "step" if any(finding.step for _, finding in numbered) else "when"
    text = table(["no", "severity", where, "what is wrong"], rows)
    for word in dict.fromkeys(row[1] for row in rows):
        fg = next(
            _COLOURS.get(f.severity) for (_, f), row in zip(numbered, rows, strict=True) if row[1] == word
        )
        text = _coloured(text, word, fg, colour=colour)
    return text


def _with_rule(finding: Finding) -> str:
    """Return what is wrong with the id of the rule, by which it is excused; what can't be done breaks none."""
    return f"{finding.headline}  [{finding.rule}]" if finding.severity in SEVERITIES else finding.headline


def _coloured(text: str, word: str, fg: str | None, *, colour: bool) -> str:
    return "\n".join(
        line.replace(word, styled(word, colour=colour, fg=fg, bold=True), 1) for line in text.splitlines()
    )


def _follows_from(finding: Finding) -> str:
    """Say of a finding that follows from another from which."""
    if not isinstance(finding, Foreseen) or finding.follows is None:
        return ""
    return f"follows from {finding.follows}: gone with its cure"


def _only_with(finding: Finding) -> str:
    """Return with which durations alone a finding comes; "" where it does with likely ones."""
    if not isinstance(finding, Foreseen) or finding.mix == AS_LIKELY:
        return ""
    return f"only with durations {_takes(finding)}"


def _short_cure(finding: Finding) -> str:
    """Return the first cure, and how many more there are; none of what follows from another, which that cures."""
    if follows(finding):
        return ""
    if not finding.cures:
        tried = _not_all_tried(finding).removeprefix("none: ")
        return f"no cure found: {tried}" if tried.startswith("the first") else tried
    more = len(finding.cures) - FEW_CURES
    others = f" (or {count(more, 'other way')})" if more > 0 else ""
    return f"cure: {_either(finding.cures[:FEW_CURES])}{others}"


def _following(findings: Sequence[Finding]) -> str:
    """Say how many findings follow from another and are told with it: how bad they are, and at which steps."""
    steps: dict[int, list[str]] = {}
    for one in sorted(findings, key=lambda one: one.severity):
        steps.setdefault(one.severity, []).append(one.step or _seconds(one.time))
    told = (
        f"{len(at)} {severity_word(severity)} ({names_text(list(dict.fromkeys(at)))})"
        for severity, at in steps.items()
    )
    follow = "follows" if len(findings) == 1 else "follow"
    return f"and {len(findings)} that {follow} from it: {', '.join(told)}"


def _end_of(finding: Finding) -> str:
    began, _, outing = (finding.event or "").partition(":")
    return f"{began} {outing}" if outing and began in (BEGIN, END) else ""


def _seconds(time: int) -> str:
    return format_instant(time // SECOND * SECOND)


def hazards_text(numbered: Numbered) -> str:
    """Return what can hurt, each hazard once, with the numbers of the findings that it is of."""
    of: dict[str, list[int]] = {}
    for number, finding in numbered:
        if finding.hazard:
            of.setdefault(finding.hazard, []).append(number)
    lines = [labelled(_numbers(numbers), hazard, to=_HAZARDS) for hazard, numbers in of.items()]
    return titled("Hazards", "\n".join(lines))


def _numbers(numbers: Sequence[int]) -> str:
    """Return numbers as a list, runs of them as a range."""
    runs = list[list[int]]()
    for number in numbers:
        if runs and runs[-1][-1] == number - 1:
            runs[-1].append(number)
        else:
            runs.append([number])
    return ", ".join(str(run[0]) if len(run) == 1 else f"{run[0]}-{run[-1]}" for run in runs)


def details_text(
    numbered: Numbered,
    wanted: Wanted,
    acknowledged: Sequence[Acknowledged] = (),
    *,
    at: int,
    colour: bool = False,
) -> str:
    """Return the details that are wanted of findings; where some have none, how to ask for them."""
    told = [
        finding_text(number, finding, acknowledged, at=at, colour=colour)
        for number, finding in numbered
        if wanted.has(number)
    ]
    if not told and numbered:
        findings = [finding for _, finding in numbered]
        more = "" if wanted.follows or not folded(findings) else "; what follows: --follows"
        return indented(f"Why, since when, source and codes of each: --details, or --finding NO{more}", by=0)
    return sections(*told)


def still_open_text(findings: Sequence[Finding], at: int, *, colour: bool = False) -> str:
    """Return what is still open where something was done, at the moment `at`: a line each, and what was approved."""
    lines = [styled(f"Still open here: {count(len(findings), 'finding')}", colour=colour, bold=True)]
    for finding in findings:
        approved = "" if finding.approved is None else f"; {approved_text(finding.approved, at)}"
        said = f"{finding.headline}, since {format_instant(finding.time)}  [{finding.rule}]{approved}"
        lines.append(labelled(severity_word(finding.severity).upper(), said, to=4))
    return "\n".join(lines)


def _answer(
    plain: Sequence[Finding],
    excused: Sequence[Finding],
    moment: Moment,
    checked: str,
    *,
    beside: bool,
    past: int,
    colour: bool,
) -> Iterator[str]:
    answer = count(len(plain), "open finding" if past else "finding").capitalize()
    by_severity = Counter(f.severity for f in plain)
    listed = ", ".join(f"{n} {severity_word(s)}" for s, n in sorted(by_severity.items()))
    approved = "; ".join(standing_text([*plain, *excused], moment.at))
    if plain:
        listed = f"{answer}: {listed}"
    title = "; ".join(filter(None, (listed or answer, approved, past_count(past) if past else "")))
    if beside:
        yield styled(indented(title, by=0), colour=colour, bold=True)
    else:
        yield heading(title, moment, colour=colour)
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
        yield (
            _BEYOND.get(reason.code, "items"),
            _unless_said([b for b in reason.beyond if b not in finding.subjects], reason.text),
        )
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
    """Return a cure in words: where in the plan it is done, and how far it was tried."""
    starts = f" (starts {say_list(cure.starts)})" if cure.starts else ""
    at = f"{cure.at}: " if cure.at else ""
    return f"{at}{cure.text}{starts}{' (tried at that moment only)' if cure.momentary else ''}"


def _not_all_tried(finding: Finding) -> str:
    """Say how many candidates for a cure were tried, where that is not all, or where none of them cures."""
    if finding.tried is None:
        return ""
    tried, candidates = finding.tried
    if tried < candidates:
        none = "" if finding.cures else "none: "
        return f"{none}the first {tried} of {candidates} candidates were tried"
    action = "action or other order of steps" if isinstance(finding, Foreseen) and finding.step else "action"
    return (
        ""
        if finding.cures or not tried
        else f"none: no single {action} cures it ({tried} tried){_nobody(finding)}"
    )


def _nobody(finding: Finding) -> str:
    """Say where nobody is who could do anything."""
    return (
        f": nobody is at {finding.nobody_at}" if isinstance(finding, Foreseen) and finding.nobody_at else ""
    )


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
        text += f", since {format_instant(finding.since)}"
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


def review_text(review: Review, *, past: int = 0, wanted: Wanted = SHORT, colour: bool = False) -> str:
    """Return everything that was found in the past; or of what is open that, and how much of the `past` isn't."""
    checked = f"{review.events} events, {review.rules} rules"
    found = (*review.findings, *review.excused)
    seen = review.acknowledged
    text = findings_text(
        found, review.moment, checked=checked, acknowledged=seen, past=past, wanted=wanted, colour=colour
    )
    return sections(text, _void_text(review.void))


def _void_text(void: Sequence[Void]) -> str:
    """Return the approvals that excuse nothing, and why; "" where there are none."""
    rows = [[one.event, one.by, one.why] for one in void]
    return titled(
        f"{count(len(rows), 'void approval')}: not counted as exceptions", table(["event", "by", "why"], rows)
    )


def open_text(found: Open, *, wanted: Wanted = SHORT, colour: bool = False) -> str:
    """Return what is open: findings, then running clocks, then discrepancies, then what can't be done."""
    return sections(
        review_text(found, past=len(found.past), wanted=wanted, colour=colour),
        clocks_text(found.clocks, found.moment, colour=colour),
        discrepancies_text(found.discrepancies, found.moment, found.says),
        titled(DEFECTS, defect_table(found.defects)),
    )


def past_count(number: int) -> str:
    """Return how many findings of the past nothing puts right and nobody has acknowledged, and what tells of them."""
    return f"{number} past and not acknowledged: see review"


def past_line(number: int) -> str:
    """Return that as a line of caution."""
    return labelled("caution:", past_count(number))


# --- clocks -------------------------------------------------------------------------------------------------------


def clocks_text(clocks: Sequence[Clock], moment: Moment, *, colour: bool = False) -> str:
    """Return running clocks, the first to run out first, with what is left of each and what is missing."""
    title = f"{count(len(clocks), 'running clock')}".capitalize()
    return sections(heading(title, moment, colour=colour), clock_rows(clocks, moment))


def clock_rows(clocks: Iterable[Clock], moment: Moment) -> str:
    """Return the table of running clocks alone, with what is left at the moment; "" when none runs.

    Clocks of one rule that one cause started at one instant are one row, with the deadline of the first to run out.
    """
    ordered = sorted(
        clocks, key=lambda c: (c.deadline is None, c.deadline or 0, c.severity, c.rule, c.subject)
    )
    groups: dict[tuple[object, ...], list[Clock]] = {}
    for clock in ordered:
        is_over = clock.deadline is not None and clock.deadline < moment.at
        key = (clock.rule, clock.trigger, clock.started, clock.deadline is None, is_over)
        groups.setdefault(key, []).append(clock)
    rows = [
        [
            _left(first, moment.at),
            _deadline(group),
            subjects_of(group),
            f"{first.title} [{first.rule}, {first.category}]",
            f"{first.trigger} at {format_instant(first.started)}",
            _missing(join(r for clock in group for r in clock.missing or ())),
        ]
        for group in groups.values()
        for first in group[:1]
    ]
    return table(["left", "deadline", "of", "clock", "started by", "missing"], rows)


def _deadline(group: Sequence[Clock]) -> str:
    """Return the deadline of clocks, the first to run out first."""
    first, last = group[0].deadline, group[-1].deadline
    if first is None:
        return "no limit"
    return deadline_text(first) + (" (the first)" if first != last else "")


def subjects_of(group: Sequence[Clock]) -> str:
    """Return what clocks are of: one by name, several by number, with the first to run out."""
    names = [clock.subject for clock in group]
    if len(names) == 1:
        return names[0]
    nouns = {reason.noun or "item" for clock in group for reason in clock.missing or ()}
    noun = nouns.pop() if len(nouns) == 1 else "item"
    more = len(names) - FEW
    told = f"{', '.join(names[:FEW])} and {more} more" if more > 0 else say_list(names)
    return f"{len(names)} {noun}s: {told}"


def _left(clock: Clock, now: int) -> str:
    if clock.deadline is None:
        return "-"
    left = clock.deadline - now
    return span_text(left) if left >= 0 else f"RUN OUT {span_text(-left, up=True)} ago"


def _missing(reasons: Sequence[Reason]) -> str:
    return "; ".join(dict.fromkeys(reason.text for reason in reasons))
