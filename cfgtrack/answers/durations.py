"""How long does a sequence really take, and how sure are its budgets and clocks?"""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import Executor
from dataclasses import dataclass
from pathlib import Path

from cfgtrack.analysis.campaign import Tell
from cfgtrack.analysis.duration_model import Shape
from cfgtrack.analysis.how_long import HowLong, Sampling, how_long
from cfgtrack.answers.asking import Asking
from cfgtrack.answers.moment import Answer
from cfgtrack.answers.past import Past, rules_to_judge_by
from cfgtrack.answers.proposing import proposed, telling_new_starts


@dataclass(frozen=True, slots=True)
class Durations(Answer):
    """How long a sequence takes."""

    durations: HowLong


def durations(
    asking: Asking,
    sequence: Path | None = None,
    *,
    rules: Sequence[Path] = (),
    samples: int = 10_000,
    seed: int = 1,
    shape: str = Shape.TRIANGULAR,
    executor: Executor | None = None,
    tell: Tell | None = None,
) -> Durations:
    """Return how long a sequence file takes, else what is left of the plan in force.

    Judged by the rules in files, else by those kept. Samples are drawn by any executor of `concurrent.futures`,
    that of a Dask cluster too; whichever draws them, they are the same.
    """
    with asking.read() as journal:
        past = Past(journal, asking.moment(journal))
        chosen = rules_to_judge_by(past, rules)
        plan = proposed(past, sequence)
        with telling_new_starts(plan.sequence):
            found = how_long(
                chosen,
                past.start_for(chosen),
                plan.sequence,
                drawn=Sampling(samples, seed, Shape(shape)),
                networks=past.networks,
                begun=past.begun,
                executor=executor,
                tell=tell,
            )
        return Durations(past.moment, found, notes=plan.notes)
