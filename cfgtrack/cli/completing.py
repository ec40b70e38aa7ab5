"""`complete`: a sequence with the uncapping, capping, carrying and walking that it left out."""

from __future__ import annotations

from pathlib import Path

import click

from cfgtrack.cli import session as s
from cfgtrack.cli.check import rules_option


@s.command("complete")
@click.argument("sequence", metavar="[SEQUENCE.toml]", required=False, type=click.Path(path_type=Path))
@click.option(
    "-o", "--output", metavar="FILE", type=click.Path(path_type=Path), help="Write it, completed, there."
)
@click.option(
    "--times",
    metavar="SEQUENCE.toml",
    type=click.Path(path_type=Path),
    help="How long what is added takes, as in this sequence.",
)
@rules_option
@s.asked_at
def complete_command(
    session: s.Session,
    /,
    *,
    sequence: Path | None,
    output: Path | None,
    times: Path | None,
    rules_files: tuple[Path, ...],
) -> None:
    """Put in what a sequence left out: uncapping, capping, carrying, walking, and what rules ask for at its ends.

    Without a file: what is left of the plan in force. What was given stays as it is; what is added has the title added.
    The result is checked as any sequence is. Exit status: 0 clear, 3 not clear, 4 undecided.
    """
    from cfgtrack.answers.completing import complete
    from cfgtrack.show.completing import completed_text

    found = complete(
        session.asking,
        sequence,
        None if output == s.STDOUT else output,
        rules=rules_files,
        times=times,
    )
    if output == s.STDOUT and not session.json:
        click.echo(found.text, nl=False)
    else:
        session.answer(found, lambda: completed_text(found))
    session.end(status={"clear": 0, "not clear": 3, "undecided": 4}[found.verdict])
