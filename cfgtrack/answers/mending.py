"""Which fewest changes make a sequence clear?"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

from cfgtrack.analysis.check import CheckReport
from cfgtrack.analysis.comparison import Comparison, steps_compared
from cfgtrack.analysis.mending import Change
from cfgtrack.analysis.mending import mend as search
from cfgtrack.analysis.reorder import Plan
from cfgtrack.answers.asking import Asking
from cfgtrack.answers.check import judged
from cfgtrack.answers.moment import Answer
from cfgtrack.answers.past import Past, rules_to_judge_by
from cfgtrack.answers.proposing import proposed
from cfgtrack.files.sequence_writer import sequence_text
from cfgtrack.model.sequence import Sequence as Proposal
from cfgtrack.model.time import format_instant

WRITTEN = "# Mended from"
"""What a file that was mended begins with: such a one is written over, and no other."""

MOST = 2_000
"""So many sequences are judged at most, where nobody says otherwise."""


@dataclass(frozen=True, slots=True)
class MendedAnswer(Answer):
    """What makes a sequence clear: see `analysis.mending.Mended`. `before` is the verdict of it as it was.
    `judged`: how many instances of rules.

    `text`: the sequence with the changes, as a file; `file`: where it was written, if it was.
    """

    before: str
    verdict: str
    said_for: str
    changes: tuple[Change, ...]
    at_least: int
    proved: bool
    tried: int
    cut_short: bool
    wrong: str
    judged: int
    comparison: Comparison
    text: str
    file: str | None = None


def mend(
    asking: Asking,
    path: Path | None = None,
    output: Path | None = None,
    *,
    rules: Sequence[Path] = (),
    most: int = MOST,
    may_go_on: Callable[[], bool] = lambda: True,
    tell: Callable[[int, int], object] = lambda *_: None,
) -> MendedAnswer:
    """Return the fewest changes that make a sequence clear, and write it with them to a file where one is named.

    The sequence in a file, else what is left of the plan in force; by the rules in files, else by those kept. At most
    so many sequences are judged, and only while it `may_go_on`: then the best so far is told. As to `tell`, see the
    search.
    """
    if output is not None:
        asking.expect_writable(output, read=path)
    with asking.read() as journal:
        past = Past(journal, asking.moment(journal))
        chosen = rules_to_judge_by(past, rules)
        found = proposed(past, path)
        plan = Plan(found.sequence, past.configuration, past.moment.at, past.begun)
        reports: list[CheckReport] = []

        def judge(proposal: Proposal) -> CheckReport:
            report = judged(past, chosen, proposal, files=rules)
            reports.append(report)
            return report

        mended = search(
            past.ready(chosen),
            plan,
            judge,
            outlive=[rule.id for rule in chosen.rules if rule.may_outlive],
            most=most,
            may_go_on=may_go_on,
            tell=tell,
        )
    head = [
        f"{WRITTEN[2:]} {found.sequence.where or found.sequence.title} at {format_instant(past.moment.at)}:"
    ]
    head += [f"  {change.text}" for change in mended.changes] or ["  nothing was changed"]
    text = sequence_text(mended.sequence, head=head)
    if output is not None:
        with asking.written(output, earlier=re.compile(re.escape(WRITTEN).encode()), read=path) as part:
            part.write_text(text, encoding="utf-8")
    return MendedAnswer(
        past.moment,
        str(reports[0].verdict),
        str(mended.report.verdict),
        mended.report.said_for,
        mended.changes,
        mended.at_least,
        mended.proved,
        mended.tried,
        mended.cut_short,
        mended.wrong,
        mended.report.judged,
        steps_compared(found.sequence, mended.sequence),
        text,
        None if output is None else str(output),
        notes=found.notes,
    )
