"""`stops`, `leave` and `failures`: where the work may stop, and what becomes of it when a step can't be done."""

from __future__ import annotations

from pathlib import Path

import click

from cfgtrack.cli import session as s
from cfgtrack.cli.check import rules_option
from cfgtrack.cli.terminal import showing

_sequence = click.argument(
    "sequence", metavar="[SEQUENCE.toml]", required=False, type=click.Path(path_type=Path)
)


def _step_alone(sequence: Path | None, step: str | None) -> tuple[Path | None, str | None]:
    """Return the sequence and the step that are named: one word that is no file is a step of the plan in force."""
    if sequence is not None and step is None and not sequence.suffix and not sequence.exists():
        return None, str(sequence)
    return sequence, step


@s.command("stops")
@_sequence
@click.argument("step", required=False)
@click.option("--step", "named", metavar="STEP", help="The same: what is so after this step, first.")
@rules_option
@s.asked_at
@click.option("--all", "whole", is_flag=True, help="A line for every step, not one for those that are alike.")
@click.option("--ways", is_flag=True, help="List the steps of the ways, too.")
def stops_command(
    session: s.Session,
    /,
    *,
    sequence: Path | None,
    step: str | None,
    named: str | None,
    rules_files: tuple[Path, ...],
    whole: bool,
    ways: bool,
) -> None:
    """Show after which steps of a sequence the work may stop, until when, and the shortest way to where it may.

    Without a file: of what is left of the plan in force. The verdict is of how all is left once everybody has come in.
    What is so after one STEP comes first, in full; a STEP alone is one of the plan in force.
    """
    from cfgtrack.answers.stops import expect_step, stops
    from cfgtrack.show.stops import stops_text

    sequence, step = _step_alone(sequence, step)
    if step is not None and named is not None and step != named:
        raise click.UsageError(f"Name one step, {step} or {named}.")
    step = named or step
    found = stops(session.asking, sequence, rules=rules_files, tell=showing("stop points", keeps=False))
    expect_step(found, step)
    session.answer(found, lambda: stops_text(found, step=step, whole=whole, ways=ways, colour=session.colour))


@s.command("leave")
@rules_option
@s.asked_at
def leave_command(session: s.Session, rules_files: tuple[Path, ...]) -> None:
    """Say whether the work may stop now, until when, what is open, and the way to where it may. Status 3 on no."""
    from cfgtrack.answers.stops import leave
    from cfgtrack.show.stops import leave_text

    found = leave(session.asking, rules=rules_files)
    session.answer(found, lambda: leave_text(found, colour=session.colour))
    session.end(found=found.is_no)


@s.command("failures")
@_sequence
@click.argument("step", required=False)
@click.option(
    "--failing",
    "failing_files",
    metavar="FILE",
    multiple=True,
    type=click.Path(path_type=Path),
    help="Further ways of failing, or other ones of the same ids.",
)
@rules_option
@s.asked_at
@click.option("--all", "whole", is_flag=True, help="Those with a way out, too.")
def failures_command(
    session: s.Session,
    sequence: Path | None,
    step: str | None,
    failing_files: tuple[Path, ...],
    rules_files: tuple[Path, ...],
    whole: bool,
) -> None:
    """Show for each step what becomes of it when that fails: which later steps die, is all safe, what is the way out.

    Of one STEP in full; a STEP alone is one of the plan in force. Those without a way out come first; a way that isn't
    found may still be there.
    """
    from cfgtrack.answers.stops import failures
    from cfgtrack.show.stops import failures_text

    sequence, step = _step_alone(sequence, step)
    found = failures(
        session.asking,
        sequence,
        step,
        rules=rules_files,
        failing=failing_files,
        tell=showing("steps", keeps=False),
    )
    in_full = step is not None
    session.answer(found, lambda: failures_text(found, whole=whole, in_full=in_full, colour=session.colour))
