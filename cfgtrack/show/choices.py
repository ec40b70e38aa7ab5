"""What may be done next, as text."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from cfgtrack.rules.finding import Finding
from cfgtrack.show.findings import caution, severity_word
from cfgtrack.show.moment import Moment
from cfgtrack.show.tables import count, heading, sections, table


@dataclass(frozen=True, slots=True)
class Choice:
    """One action that could be done.

    `refusals`: why it can't be, in sentences. `findings`: what it would break. `starts`: rules whose clocks it starts.
    """

    phrase: str
    findings: tuple[Finding, ...] = ()
    refusals: tuple[str, ...] = ()
    starts: tuple[str, ...] = ()

    def to_json(self) -> dict[str, Any]:
        """Return the choice as a JSON object."""
        return {
            "action": self.phrase,
            "possible": not self.refusals,
            "allowed": not self.refusals and not self.findings,
            "refusals": list(self.refusals),
            # the action is no event yet: it has no id
            "findings": [{**finding.to_json(), "event": None} for finding in self.findings],
            "starts": list(self.starts),
        }


def choices_text(subject: str, choices: Sequence[Choice], moment: Moment) -> str:
    """Return what may be done to a thing: allowed actions first, then those that would break a rule."""
    allowed = [c for c in choices if not c.refusals and not c.findings]
    forbidden = [c for c in choices if not c.refusals and c.findings]
    impossible = [c for c in choices if c.refusals]
    title = f"{subject}: {count(len(allowed), 'allowed action')}, {len(forbidden)} would break a rule"
    return sections(
        heading(title, moment),
        table(["allowed", "starts the clock of"], [[c.phrase, ", ".join(c.starts)] for c in allowed]),
        table(["would break a rule", "severity", "rule", "why"], _broken(forbidden)),
        table(["not possible", "why"], [[c.phrase, "; ".join(c.refusals)] for c in impossible]),
        caution(),
    )


def _broken(choices: Sequence[Choice]) -> Iterator[list[str]]:
    for choice in choices:
        phrase = choice.phrase
        for finding in choice.findings:
            why = "; ".join(dict.fromkeys(reason.text for reason in finding.reasons))
            yield [phrase, severity_word(finding.severity), finding.rule, why]
            phrase = ""
