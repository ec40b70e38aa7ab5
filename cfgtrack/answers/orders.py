"""Is every order of a sequence possible and allowed? Which waits would make it so, and which aren't needed?"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import ClassVar

from cfgtrack.analysis import orders as analysis
from cfgtrack.analysis.orders import OrdersReport
from cfgtrack.answers.asking import Asking
from cfgtrack.answers.moment import Answer
from cfgtrack.answers.past import Past, rules_to_judge_by
from cfgtrack.answers.proposing import proposed, telling_new_starts
from cfgtrack.files.phrase import phrase
from cfgtrack.model.sequence import Sequence as Proposal
from cfgtrack.model.sequence import expect_in_time
from cfgtrack.rules.rule import RuleSet

MOST_SITUATIONS = 20_000
"""So many situations are looked at in one search, where nobody says otherwise: the longest takes about a minute."""


@dataclass(frozen=True, slots=True)
class Ordered(Answer):
    """What every order of a sequence comes to. `words` are its steps as they are said, by id."""

    untold: ClassVar[tuple[str, ...]] = (*Answer.untold, "words")

    orders: OrdersReport
    words: dict[str, str]


def orders(
    asking: Asking,
    sequence: Path | None = None,
    *,
    rules: Sequence[Path] = (),
    waits: bool = False,
    most: int = MOST_SITUATIONS,
    tell: Callable[[int], None] | None = None,
) -> Ordered:
    """Check every order of a sequence file, else of what is left of the plan in force; with `waits` each of its waits.

    Not more than `most` situations are looked at in one search. A KeyboardInterrupt ends it with what it has.
    """
    with asking.read() as journal:
        past = Past(journal, asking.moment(journal))
        chosen = rules_to_judge_by(past, rules)
        plan = proposed(past, sequence)
        report = every_order(past, chosen, plan.sequence, waits=waits, most=most, tell=tell)
        words = {step.id: phrase(step.action) for step in plan.sequence.steps}
        return Ordered(past.moment, report, words, notes=plan.notes)


def every_order(
    past: Past,
    rules: RuleSet,
    proposal: Proposal,
    *,
    waits: bool = False,
    cures: bool = True,
    most: int = MOST_SITUATIONS,
    tell: Callable[[int], None] | None = None,
) -> OrdersReport:
    """Search every order of a proposal from a recorded past."""
    begin = past.start_for(rules)
    with telling_new_starts(proposal):
        expect_in_time(proposal, begin.start, past.begun)
        ground = analysis.Ground(
            rules, begin, proposal, networks=past.networks, variances=past.variances, begun=past.begun
        )
        return analysis.orders(ground, most=most, tell=tell, cures=cures, waits=waits)
