"""A check as text: the verdict first, then what it stands on, then how far it goes."""

from __future__ import annotations

import textwrap
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from typing import TYPE_CHECKING

from cfgtrack.analysis.verdict import ALONE, AS_LIKELY, Margin, Verdict, folded, follows
from cfgtrack.answers.moment import Moment, Says, by_id
from cfgtrack.model.time import format_instant
from cfgtrack.rules.finding import Clock, Finding
from cfgtrack.show.approved import standing_text
from cfgtrack.show.defects import defect_table, standing_line
from cfgtrack.show.findings import (
    EXCUSED,
    SHORT,
    Wanted,
    caution,
    clock_rows,
    details_text,
    finding_table,
    hazards_text,
    names_text,
    severity_word,
    subjects_of,
)
from cfgtrack.show.orders import bad_order_text, verdict_of_orders
from cfgtrack.show.record import event_text, remarks_text
from cfgtrack.show.tables import (
    columns,
    count,
    indented,
    labelled,
    sections,
    span_text,
    styled,
    table,
    titled,
)

if TYPE_CHECKING:
    from cfgtrack.analysis.check import CheckReport
    from cfgtrack.analysis.orders import OrdersReport
    from cfgtrack.analysis.trial import StepResult
    from cfgtrack.answers.check import Checked

NO_BREAK = "\u00a0"


def checked_text(checked: Checked, *, by_step: bool, wanted: Wanted = SHORT, colour: bool = False) -> str:
    """Return what a check found, with the remarks on what it touches; `by_step` puts every step after its verdict."""
    from cfgtrack.show.kept import kept_text

    if wanted.numbers and not wanted.details:
        return check_text(checked.check, checked.moment, orders=checked.orders, wanted=wanted, colour=colour)
    return sections(
        check_text(
            checked.check,
            checked.moment,
            by_step=by_step,
            colour=colour,
            orders=checked.orders,
            standing=standing_line(checked.standing),
            wanted=wanted,
            says=checked.says,
        ),
        titled("Defects of what it touches, as it begins", defect_table(checked.defects)),
        remarks_text(checked.remarks),
        kept_text(checked.kept),
    )


def check_text(
    report: CheckReport,
    moment: Moment,
    *,
    by_step: bool = False,
    colour: bool = False,
    orders: OrdersReport | None = None,
    standing: str = "",
    wanted: Wanted = SHORT,
    says: Says = by_id,
) -> str:
    """Return what a check of a proposed sequence found, and of its `orders` where each was looked at.

    The verdict first, then a table of all that is wrong; where the details of some findings are asked for, these alone.
    `standing` tells beneath the verdict which defects stand, if
    any do. Of each finding so much is told as is `wanted`.
    """
    words = {step.step: step.action for step in report.steps}
    head = _head(report, moment, colour=colour, orders=orders, standing=standing)
    numbered = _numbered(report)
    if wanted.numbers and not wanted.details:
        verdict = next(head)
        return sections(verdict, details_text(numbered, wanted, at=moment.at, colour=colour), caution())
    return sections(
        "\n".join(head),
        "" if orders is None else bad_order_text(orders, words),
        *_tables(report, wanted, moment.at, colour=colour),
        titled("Clocks left running", _left_running(report)),
        _better(report),
        hazards_text([(n, f) for n, f in enumerate(report.counted, 1) if not wanted.has(n)]),
        details_text(numbered, wanted, at=moment.at, colour=colour),
        steps_text(report, says=says, colour=colour) if by_step else "",
        titled("Open before, and left so by the plan", _lines(report.left_open)),
        titled("Open before, and put right", _lines(report.mended)),
        titled(
            f"{'Other clocks' if report.left_running else 'Clocks'} still running at the end",
            _other_clocks(report),
        ),
        titled("Locks and tags left on at the end", _left_on(report)),
        titled("Budgets", _budgets(report)),
        titled("Closest margins", _margins(report.margins)),
        "\n".join(_reach(report)),
        caution(),
    )


def _better(report: CheckReport) -> str:
    """Say where changes of the whole plan are looked for, if anything is wrong with it."""
    if report.said_for == ALONE or not (report.new or report.left_running):
        return ""
    return indented("`cfgtrack mend PLAN` looks for changes of the whole plan.", by=0)


def _numbered(report: CheckReport) -> list[tuple[int, Finding]]:
    """Return the findings that count, then those under a variance, each with its number."""
    return list(enumerate((*report.counted, *report.excused), 1))


# --- the verdict --------------------------------------------------------------------------------------------------


def _head(
    report: CheckReport,
    moment: Moment,
    *,
    colour: bool,
    orders: OrdersReport | None,
    standing: str,
) -> Iterator[str]:
    said = verdict_text(report, moment.at)
    if orders is not None and report.verdict is Verdict.CLEAR:
        # Clear in every order is clear in the written one; what is said of the others comes first.
        approved = said.removeprefix(f"Clear {report.said_for}")
        if orders.verdict is not Verdict.CLEAR:
            approved = f"; clear {report.said_for}{approved}"
        yield _verdict_line(verdict_of_orders(orders) + approved, moment, colour=colour)
    else:
        yield _verdict_line(said, moment, colour=colour)
        if orders is not None:
            yield labelled("orders:", verdict_of_orders(orders))
    if standing:
        yield standing
    yield labelled("checked:", _checked(report))
    if len({finding.severity for finding in report.counted}) > 1:
        yield labelled("severity:", _severities(report.counted))
    if any(finding.no_verdict for finding in report.counted):
        yield indented("NO VERDICT is not a pass")


def _verdict_line(said: str, moment: Moment, *, colour: bool) -> str:
    """Return the verdict under which the moment stands: broken, if it must be, only between what it stands on."""
    unbroken = ", ".join(part.replace(" ", NO_BREAK) for part in said.split(", "))
    lines = textwrap.wrap(unbroken, columns(), subsequent_indent="  ", break_long_words=False)
    if max(map(len, lines), default=0) > columns():
        lines = textwrap.wrap(said, columns(), break_long_words=False, break_on_hyphens=False)
    first, *rest = (line.replace(NO_BREAK, " ") for line in lines)
    if not rest and len(first) + len(str(moment)) + 4 <= columns():
        return f"{styled(first, colour=colour, bold=True)}  ({moment})"
    verdict = "\n".join(styled(line, colour=colour, bold=True) for line in (first, *rest))
    return f"{verdict}\n{indented(f'({moment})')}"


def verdict_text(report: CheckReport, at: int) -> str:
    """Return the verdict in a line: the word, for what it is said, and what it stands on. `at` is the moment asked."""
    said_for = "" if report.said_for == ALONE else f" {report.said_for}"
    grounds = list(_grounds(report))
    approved = standing_text((*report.counted, *report.excused), at)
    if report.verdict == Verdict.CLEAR:
        return ", ".join([f"Clear{said_for}", *approved])
    return f"{report.verdict.capitalize()}{said_for}: {', '.join([*grounds, *approved])}"


def _grounds(report: CheckReport) -> Iterator[str]:
    """Yield what a verdict that isn't clear stands on, with how many of each and, where all are as bad, how bad."""
    new = [finding for finding in report.new if not finding.no_verdict]
    if new or report.verdict == Verdict.NOT_CLEAR:
        yield f"{len(new)} new{_one_severity(new)}{_that_follow(new)}" if new else "nothing new"
    for findings, what in ((report.open, "open"), (report.past, "past and not acknowledged")):
        bad = [finding for finding in findings if not finding.no_verdict]
        if bad:
            yield f"{len(bad)} {what}{_one_severity(bad)}"
    if report.left_running:
        yield f"{count(len(report.left_running), 'clock')} left running"
    silent = sum(finding.no_verdict for finding in report.counted)
    if silent:
        yield f"{silent} without a verdict"
    if report.untried:
        yield f"{count(report.untried, 'mix', 'mixes')} of durations not tried"
    if not report.judged:
        yield "nothing had anything to judge"


def _that_follow(findings: Sequence[Finding]) -> str:
    """Say how many of several findings follow from others."""
    n = sum(map(follows, findings))
    own = len(findings) - n
    return f": {own} and {n} that follow{'s' * (n == 1)} from {'it' if own == 1 else 'them'}" if n else ""


def _one_severity(findings: Sequence[Finding]) -> str:
    words = {severity_word(finding.severity) for finding in findings}
    return f" ({words.pop()})" if len(words) == 1 else ""


def _severities(findings: Iterable[Finding]) -> str:
    by_severity = sorted(Counter(finding.severity for finding in findings).items())
    return ", ".join(f"{n} {severity_word(s)}" for s, n in by_severity)


def _checked(report: CheckReport) -> str:
    impossible = sum(1 for step in report.steps if not step.possible)
    return ", ".join(
        part
        for part in (
            report.title and f'"{report.title}"',
            count(len(report.steps), "step") + (f" ({impossible} impossible)" if impossible else ""),
            report.said_for != ALONE and f"until {format_instant(report.end)}",
        )
        if part
    )


# --- what it stands on --------------------------------------------------------------------------------------------


def _tables(report: CheckReport, wanted: Wanted, at: int, *, colour: bool) -> Iterator[str]:
    """Yield the table of what counts, then of what is under a variance, each group under its title."""
    following: dict[int, list[Finding]] = {}
    within = set[int]() if wanted.follows else folded(report.new)
    for n, finding in enumerate(report.new, 1):
        if n in within and finding.follows is not None:
            following.setdefault(finding.follows, []).append(finding)
    number = 0
    for title, findings in (
        ("", report.new),
        ("Open before the first step, and still when all is done", report.open),
        ("Past actions, in breach of a rule in force, that nobody has acknowledged", report.past),
        (EXCUSED.removesuffix(":"), report.excused),
    ):
        told = [(n, f) for n, f in enumerate(findings, number + 1) if n not in within]
        number += len(findings)
        text = finding_table(told, at=at, following=following, colour=colour)
        yield titled(indented(f"{title}:", by=0), text) if title else text


def _lines(findings: Sequence[Finding]) -> str:
    """Return findings a line each."""
    rows = [
        [
            names_text(f.fingerprints),
            severity_word(f.severity),
            f.rule,
            names_text(f.subjects),
            format_instant(f.since),
        ]
        for f in findings
    ]
    return table(["finding", "severity", "rule", "concerns", "since"], rows)


def _left_running(report: CheckReport) -> str:
    found = [clock for clock in report.left_running if clock.mix == AS_LIKELY]
    rows = clock_rows(found, Moment(report.end))
    more = [
        f"{clock.subject or 'clock'} [{clock.rule}], with durations {clock.mix}, started by {clock.trigger} at "
        f"{format_instant(clock.started)}"
        for clock in report.left_running
        if clock.mix != AS_LIKELY
    ]
    return "\n".join(filter(None, [rows, *(indented(line) for line in more)]))


def _other_clocks(report: CheckReport) -> str:
    counted = {(clock.rule, clock.subject, clock.started) for clock in report.left_running}
    others = [clock for clock in report.clocks if (clock.rule, clock.subject, clock.started) not in counted]
    return clock_rows(others, Moment(report.end))


def _left_on(report: CheckReport) -> str:
    steps = {f"step:{step.step}": f"step {step.step}" for step in report.steps}
    rows = [
        [
            one.thing,
            "tag" if one.is_tag else "lock",
            one.holder,
            steps.get(one.event, format_instant(one.since)),
        ]
        for one in report.left_on
    ]
    return table(["on", "what", "whose", "since"], rows)


def _budgets(report: CheckReport) -> str:
    rows = []
    for outing in report.outings:
        span = report.layout.spans.get(outing.id)
        if outing.budget is None or span is None:
            continue
        takes = span[1] - report.begun.get(outing.id, span[0])
        left = outing.budget - takes
        verdict = f"{span_text(left)} left" if left >= 0 else f"EXCEEDED by {span_text(-left, up=True)}"
        begun = f"begun at {format_instant(report.begun[outing.id])}" if outing.id in report.begun else ""
        rows.append(
            [outing.id, outing.title, span_text(outing.budget), span_text(takes, up=True), verdict, begun]
        )
    return table(["outing", "title", "budget", "likely", "verdict", ""], rows)


def _margins(margins: Sequence[Margin]) -> str:
    rows = [
        [
            span_text(one.left),
            one.subject,
            f"{one.title} [{one.rule}]",
            one.met and f"step {one.met}",
            one.mix,
        ]
        for one in margins
    ]
    return table(["left", "of", "limit", "met at", "durations"], rows)


def _reach(report: CheckReport) -> Iterator[str]:
    """Yield how far the verdict goes: what was judged, what wasn't, and what was taken for granted."""
    judged = [count(report.judged, "instance"), count(report.rules, "rule")]
    judged += [f"{report.mixes} sets of durations"] if report.mixes > 1 else []
    yield labelled("judged:", ", ".join(judged), by=0, to=14)
    assumed, doers = (
        f"{count(len(names), what)}, of {', '.join(names)}" if names else ""
        for names, what in ((report.assumed, "duration"), (report.doers_assumed, "doer"))
    )
    for label, text in (
        _idle(report),
        ("assumed:", "; ".join(filter(None, (assumed, doers)))),
    ):
        if text:
            yield labelled(label, text, by=0, to=14)
    if report.older:
        told = (
            f"{count(len(report.older), 'action')} of the past from before the rule was in force: see review"
        )
        yield labelled("not counted:", told, by=0, to=14)
    for words in report.unjudged:
        yield labelled("not judged:", words, by=0, to=14)
    if report.untraced:
        told = f"what follows from {count(report.untraced, 'more finding')}"
        yield labelled("not tried:", told, by=0, to=14)
    for name in report.unneeded:
        yield labelled("NOTE:", f"the plan says that it leaves {name}, and it doesn't", by=0, to=14)


def _idle(report: CheckReport) -> tuple[str, str]:
    """Return, under which label, the rules that had nothing to judge: of an impossible step nothing is."""
    names = ", ".join(report.idle)
    if all(step.possible for step in report.steps):
        return "nothing for:", names
    return "not judged:", names and f"{names}: a step that is impossible is not judged"


# --- step by step -------------------------------------------------------------------------------------------------


def steps_text(report: CheckReport, *, says: Says = by_id, colour: bool = False) -> str:
    """Return a check step by step: when, who, what; possible or not, what it breaks, which clocks it moves."""
    numbers: dict[str, list[int]] = {}
    counted = len(report.counted)
    for number, finding in enumerate(report.new, 1):
        numbers.setdefault(finding.event or "", []).append(number)
    for number, excused in enumerate(report.excused, counted + 1):
        numbers.setdefault(excused.event or "", []).append(number)
    rows = [
        [
            format_instant(step.end),
            step.track,
            step.step,
            event_text(step.done, step.outcome.moved, says),
            _verdict(step, numbers.get(step.done.id, [])),
            "; ".join(_clocks_moved(step)),
        ]
        for step in report.steps
    ]
    title = styled("Step by step (times are those at which a step ends)", colour=colour, bold=True)
    return f"{title}\n{table(['at', 'track', 'step', 'what', 'verdict', 'clocks'], rows)}"


def _verdict(step: StepResult, numbers: Sequence[int]) -> str:
    listed = f" {', '.join(map(str, numbers))}" if numbers else ""
    if not step.possible:
        return f"NOT POSSIBLE:{listed}"
    return f"FINDING{listed}" if numbers else "ok"


def _clocks_moved(step: StepResult) -> Iterator[str]:
    """Yield the clocks that a step starts and stops, those of one rule as one, the first to run out first."""
    for group in _of_one_rule(step.started):
        first = group[0]
        limit = "no limit" if first.deadline is None else span_text(first.deadline - first.started)
        least = "at the least " if first.deadline != group[-1].deadline else ""
        yield f"starts {first.rule} of {subjects_of(group)} ({least}{limit})"
    for group in _of_one_rule(step.stopped):
        left = min((clock.left for clock in group if clock.left is not None), default=None)
        least = " at the least" if len({clock.left for clock in group}) > 1 else ""
        told = "" if left is None else f", {span_text(left)} left{least}"
        yield f"stops {group[0].rule} of {subjects_of(group)}{told}"


def _of_one_rule(clocks: Sequence[Clock]) -> Iterable[Sequence[Clock]]:
    groups: dict[str, list[Clock]] = {}
    for clock in sorted(clocks, key=lambda one: (one.deadline is None, one.deadline or 0)):
        groups.setdefault(clock.rule, []).append(clock)
    return groups.values()
