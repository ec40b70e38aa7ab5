"""`durations`: how long a sequence really takes."""

from __future__ import annotations

from pathlib import Path

import click

from cfgtrack.cli import session as s
from cfgtrack.cli.check import rules_option
from cfgtrack.cli.terminal import showing

MOST_SAMPLES = 1_000_000


@s.command("durations")
@click.argument("sequence", metavar="[SEQUENCE.toml]", required=False, type=click.Path(path_type=Path))
@click.option(
    "--samples", type=click.IntRange(1, MOST_SAMPLES), default=10_000, help="How many samples; else 10000."
)
@click.option("--seed", type=click.IntRange(0), default=1, help="From which seed; else 1.")
@click.option(
    "--shape",
    type=click.Choice(["triangular", "pert"]),
    default="triangular",
    help="How durations lie between low and high; else triangular.",
)
@rules_option
@s.asked_at
@click.option("--steps", "by_step", is_flag=True, help="List every step with its float, and every limit.")
def durations_command(
    session: s.Session,
    sequence: Path | None,
    samples: int,
    seed: int,
    shape: str,
    rules_files: tuple[Path, ...],
    by_step: bool,
) -> None:
    """Say how long a sequence really takes, and how sure its budgets and clocks are; else what is left of the plan.

    Steps are drawn between their low and high durations, from a seed: the same seed gives the same answer
    everywhere. Who has several tracks does one thing at a time. Nothing is recorded. Ctrl-C keeps what was drawn so
    far.
    """
    from cfgtrack.answers.durations import durations
    from cfgtrack.show.durations import durations_text

    found = durations(
        session.asking,
        sequence,
        rules=rules_files,
        samples=samples,
        seed=seed,
        shape=shape,
        tell=showing("samples"),
    )
    session.answer(found, lambda: durations_text(found, by_step=by_step, colour=session.colour))
