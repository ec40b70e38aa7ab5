"""A check as text: the verdict first, then what it stands on, then how far it goes."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

from cfgtrack.analysis.verdict import ALONE, AS_LIKELY, Margin, Verdict
from cfgtrack.answers.moment import Moment
from cfgtrack.model.time import format_instant
from cfgtrack.rules.finding import Finding
from cfgtrack.show.approved import standing_text
from cfgtrack.show.defects import defect_table, standing_line
from cfgtrack.show.findings import caution, clock_rows, finding_text, names_text, severity_word
from cfgtrack.show.orders import bad_order_text, verdict_of_orders
from cfgtrack.show.record import event_text, remarks_text
from cfgtrack.show.tables import (
    count,
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
    from cfgtrack.analysis.check import CheckReport
    from cfgtrack.analysis.orders import OrdersReport
    from cfgtrack.analysis.trial import StepResult
    from cfgtrack.answers.check import Checked


def checked_text(checked: Checked, *, by_step: bool, colour: bool = False) -> str:
    """Return what a check found, with the remarks on what it touches; `by_step` puts every step after its verdict."""
    from cfgtrack.show.kept import kept_text

    return sections(
        check_text(
            checked.check,
            checked.moment,
            by_step=by_step,
            colour=colour,
            orders=checked.orders,
            standing=standing_line(checked.standing),
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
) -> str:
    """Return what a check of a proposed sequence found, and of its `orders` where each was looked at.

    `standing` tells beneath the verdict which defects stand, if any do.
    """
    words = {step.step: step.action for step in report.steps}
    return sections(
        "\n".join(_head(report, moment, colour=colour, orders=orders, standing=standing)),
        "" if orders is None else bad_order_text(orders, words),
        steps_text(report, colour=colour) if by_step else "",
        *_all_findings(report, moment.at, colour=colour),
        titled("Clocks left running", _left_running(report)),
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


# --- the verdict --------------------------------------------------------------------------------------------------


def _head(
    report: CheckReport, moment: Moment, *, colour: bool, orders: OrdersReport | None, standing: str
) -> Iterator[str]:
    said = verdict_text(report, moment.at)
    if orders is not None and report.verdict is Verdict.CLEAR:
        # Clear in every order is clear in the written one; what is said of the others comes first.
        approved = said.removeprefix(f"Clear {report.said_for}")
        if orders.verdict is not Verdict.CLEAR:
            approved = f"; clear {report.said_for}{approved}"
        yield heading(verdict_of_orders(orders) + approved, moment, colour=colour)
    else:
        yield heading(said, moment, colour=colour)
        if orders is not None:
            yield labelled("orders:", verdict_of_orders(orders))
    if standing:
        yield standing
    yield labelled("checked:", _checked(report))
    if any(finding.no_verdict for finding in report.counted):
        yield indented("NO VERDICT is not a pass")


def verdict_text(report: CheckReport, at: int) -> str:
    """Return the verdict in a line: the word, for what it is said, and what it stands on. `at` is the moment asked."""
    said_for = "" if report.said_for == ALONE else f" {report.said_for}"
    grounds = list(_grounds(report))
    approved = standing_text((*report.counted, *report.excused), at)
    if report.verdict == Verdict.CLEAR:
        return ", ".join([f"Clear{said_for}", *approved])
    return f"{report.verdict.capitalize()}{said_for}: {', '.join([*grounds, *approved])}"


def _grounds(report: CheckReport) -> Iterator[str]:
    """Yield what a verdict that isn't clear stands on, with how many of each and how bad."""
    new = [finding for finding in report.new if not finding.no_verdict]
    if new or report.verdict == Verdict.NOT_CLEAR:
        yield f"{len(new)} new{_severities(new)}" if new else "nothing new"
    for findings, what in ((report.open, "open"), (report.past, "past and not acknowledged")):
        bad = [finding for finding in findings if not finding.no_verdict]
        if bad:
            yield f"{len(bad)} {what}{_severities(bad)}"
    if report.left_running:
        yield f"{count(len(report.left_running), 'clock')} left running"
    silent = sum(finding.no_verdict for finding in report.counted)
    if silent:
        yield f"{silent} without a verdict"
    if report.untried:
        yield f"{count(report.untried, 'mix', 'mixes')} of durations not tried"
    if not report.judged:
        yield "nothing had anything to judge"


def _severities(findings: Sequence[Finding]) -> str:
    by_severity = sorted(Counter(finding.severity for finding in findings).items())
    if len(findings) == 1:
        return f" ({severity_word(findings[0].severity)})"
    return f" ({', '.join(f'{n} {severity_word(s)}' for s, n in by_severity)})"


def _checked(report: CheckReport) -> str:
    impossible = sum(1 for step in report.steps if not step.possible)
    return ", ".join(
        part
        for part in (
            report.title and f'"{report.title}"',
            count(len(report.steps), "step"),
            impossible and f"{impossible} of them not possible",
            count(report.rules, "rule"),
            report.mixes > 1 and f"{report.mixes} sets of durations",
            f"{format_instant(report.start)} to {format_instant(report.end)}",
        )
        if part
    )


# --- what it stands on --------------------------------------------------------------------------------------------


def _all_findings(report: CheckReport, at: int, *, colour: bool) -> Iterator[str]:
    """Yield the findings that count, then those under a variance, each group under its title, numbered throughout."""
    number = 0
    for title, findings in (
        ("", report.new),
        ("Open before the first step, and still when all is done:", report.open),
        ("Past actions, in breach of a rule in force, that nobody has acknowledged:", report.past),
        ("Under a variance, so not counted above:", report.excused),
    ):
        if findings and title:
            yield indented(title, by=0)
        for finding in findings:
            number += 1
            yield finding_text(number, finding, at=at, colour=colour)


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
        verdict = f"{span_text(left)} left" if left >= 0 else f"OVER by {span_text(-left, up=True)}"
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
    yield labelled("judged:", count(report.judged, "instance"), by=0, to=14)
    assumed, doers = (
        f"{count(len(names), what)}, of {', '.join(names)}" if names else ""
        for names, what in ((report.assumed, "duration"), (report.doers_assumed, "doer"))
    )
    for label, text in (
        ("nothing for:", ", ".join(report.idle)),
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
    for name in report.unneeded:
        yield labelled("NOTE:", f"the plan says that it leaves {name}, and it doesn't", by=0, to=14)


# --- step by step -------------------------------------------------------------------------------------------------


def steps_text(report: CheckReport, *, colour: bool = False) -> str:
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
            event_text(step.done, step.outcome.moved),
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
    for clock in step.started:
        limit = "no limit" if clock.deadline is None else span_text(clock.deadline - clock.started)
        yield f"starts {clock.rule} of {clock.subject} ({limit})"
    for clock in step.stopped:
        left = "" if clock.left is None else f", {span_text(clock.left)} left"
        yield f"stops {clock.rule} of {clock.subject}{left}"
