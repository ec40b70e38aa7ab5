"""What may be done next, as text."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from cfgtrack.answers.check import Choice, Choices
from cfgtrack.show.approved import standing_text
from cfgtrack.show.defects import DEFECTS, defect_table
from cfgtrack.show.findings import caution, severity_word
from cfgtrack.show.tables import count, heading, sections, table, titled


def choices_text(thing: str, found: Choices) -> str:
    """Return what may be done to a thing: allowed actions first, then those that would break a rule."""
    choices = found.can
    allowed = [c for c in choices if c.allowed]
    forbidden = [c for c in choices if not c.allowed]
    title = f"{thing}: {count(len(allowed), 'allowed action')}, {len(forbidden)} would break a rule"
    if found.barred:
        title += f", {count(len(found.barred), 'defect')}"
    under = tuple(finding for choice in choices for finding in choice.excused)
    return sections(
        heading(", ".join([title, *standing_text(under, found.moment.at)]), found.moment),
        table(
            ["allowed", "by", "starts the clock of"],
            [[c.action, ", ".join(c.by), ", ".join(c.starts)] for c in allowed],
        )
        if any(c.by for c in allowed)
        else table(["allowed", "starts the clock of"], [[c.action, ", ".join(c.starts)] for c in allowed]),
        table(["would break a rule", "severity", "rule", "why"], _broken(forbidden)),
        titled(DEFECTS, defect_table(found.barred)),
        caution(),
        f"more than are listed: {', '.join(found.more)}" if found.more else "",
    )


def _broken(choices: Sequence[Choice]) -> Iterator[list[str]]:
    for choice in choices:
        phrase = choice.action
        for finding in choice.findings:
            why = "; ".join(dict.fromkeys(reason.text for reason in finding.reasons))
            yield [phrase, severity_word(finding.severity), finding.rule, why]
            phrase = ""
