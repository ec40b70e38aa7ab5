"""Every order as text: the verdict first, the bad order step by step, the waits that cure it, those not needed."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING

from cfgtrack.analysis.verdict import Verdict
from cfgtrack.model.time import format_duration
from cfgtrack.show.asked import shown_moment
from cfgtrack.show.findings import caution, severity_word
from cfgtrack.show.tables import count, heading, indented, labelled, sections, table, titled

if TYPE_CHECKING:
    from cfgtrack.analysis.orders import BadOrder, Fault, OrdersReport, WaitFound
    from cfgtrack.answers.orders import Ordered

_LAST = 14
"""So many of the last steps of a bad order are listed, unless all are asked for."""


def orders_text(found: Ordered, *, whole: bool = False, colour: bool = False) -> str:
    """Return what every order of a sequence comes to; `whole` lists all steps of a bad order."""
    report = found.orders
    return sections(
        heading(verdict_of_orders(report), shown_moment(found.moment), colour=colour)
        + "\n"
        + labelled("checked:", _checked(report)),
        bad_order_text(report, found.words, whole=whole),
        titled("Waits of the plan", _waits(report)),
        "\n".join(_reach(report)),
        caution(),
    )


def verdict_of_orders(report: OrdersReport) -> str:
    """Return the verdict in a line."""
    said = report.said_for
    if report.verdict is Verdict.CLEAR:
        return f"Clear {said}"
    if report.bad is not None:
        how = "the shortest bad order has" if report.is_shortest else "a bad order has"
        return (
            f"Not clear {said}: {how} {count(len(report.bad.steps), 'step')}, and {_what(report.bad.fault)}"
        )
    why = [f"cut short after {report.situations} situations"] if report.cut else []
    why += [f"{one} can't be judged so" for one in report.unjudged]
    why += [f"{one} gave no verdict" for one in report.crashed]
    return f"Undecided {said}: {', '.join(why)}"


def _what(fault: Fault) -> str:
    """Return what is wrong with an order in a few words."""
    if fault.clock:
        of = f" of {fault.subject}" if fault.subject else ""
        if fault.elapsed <= fault.limit:
            return f"leaves the clock {fault.clock}{of} running"
        return f"the clock {fault.clock}{of} runs out"
    finding = fault.findings[0]
    if not finding.severity:
        return "its last step is impossible"
    return f"it breaks {finding.rule} ({severity_word(finding.severity)})"


def _checked(report: OrdersReport) -> str:
    return ", ".join(
        part
        for part in (
            report.title and f'"{report.title}"',
            count(report.steps, "step"),
            count(len(report.outings), "outing"),
            count(report.rules, "rule"),
            f"{count(report.situations, 'situation')} looked at",
        )
        if part
    )


# --- a bad order ------------------------------------------------------------------------------------------------------


def bad_order_text(report: OrdersReport, words: Mapping[str, str], *, whole: bool = False) -> str:
    """Return the bad order step by step, what is wrong with it, and what cures it; "" where there is none."""
    bad = report.bad
    if bad is None:
        return ""
    title = "Shortest bad order" if report.is_shortest else "A bad order (there may be a shorter one)"
    return titled(title, "\n".join((_steps(bad, words, whole=whole), *_why(bad.fault), *_cure(report))))


def _steps(bad: BadOrder, words: Mapping[str, str], *, whole: bool) -> str:
    rows = [(str(i), step, words[step]) for i, step in enumerate(bad.steps, 1)]
    if not whole and len(rows) > _LAST:
        left = len(rows) - _LAST + 1
        rows = [("...", "", f"{left} steps as they come (--all lists them)"), *rows[left:]]
    if bad.fault.step is None:
        rows.append(("", "", "and then the end"))
    return table(("", "step", "what is done"), rows)


def _why(fault: Fault) -> Iterator[str]:
    if fault.clock:
        started = f"after {fault.started} has ended" if fault.started else "from before the plan"
        yield labelled(
            "why:",
            f"{fault.clock}{f' of {fault.subject}' if fault.subject else ''} runs for up to"
            f" {format_duration(fault.elapsed)} {started}; it may for {format_duration(fault.limit)}",
        )
    for finding in fault.findings:
        yield labelled("why:", finding.headline)
        yield from (
            indented(reason.text) for reason in finding.reasons if reason.text not in finding.headline
        )


def _cure(report: OrdersReport) -> Iterator[str]:
    if report.cure:
        waits = "; ".join(f"{one.step} waits for {one.waits_for}" for one in report.cure)
        how = "no fewer do" if report.fewest else "none of them can be left out"
        yield labelled("cure:", f"{waits} ({how}: every order is clear then)")
    elif not report.cut and report.cure is None:
        yield labelled("cure:", "no extra waits with which every order is clear, as far as was searched")


# --- waits ------------------------------------------------------------------------------------------------------------


def _waits(report: OrdersReport) -> str:
    rows = [(one.step, one.waits_for, *_what_for(one)) for one in report.waits]
    return table(("step", "waits for", "needed", "without it"), rows) if rows else ""


def _what_for(one: WaitFound) -> tuple[str, str]:
    if one.needed is None:
        return "?", "cut short"
    if one.implied:
        return "no", "it follows from the other waits"
    if one.bad is None:
        return "no", "every order is clear, too"
    last = one.bad.steps[-1] if one.bad.steps else ""
    return "yes", f"{last}: {_what(one.bad.fault)}"


def _reach(report: OrdersReport) -> Iterator[str]:
    """Yield what is to be known of how far the verdict goes."""
    if report.cut:
        yield "Cut short: what was not looked at is not clear."
    needless = [one for one in report.waits if one.needed is False and not one.implied]
    if len(needless) > 1:
        yield "Each wait was left out alone: without two that aren't needed an order may be bad."
