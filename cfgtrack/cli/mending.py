"""`mend`: the fewest changes that make a sequence clear."""

from __future__ import annotations

from pathlib import Path

import click

from cfgtrack.cli import session as s
from cfgtrack.cli.check import rules_option
from cfgtrack.cli.terminal import line, showing_text


@s.command("mend")
@click.argument("sequence", metavar="[SEQUENCE.toml]", required=False, type=click.Path(path_type=Path))
@click.option(
    "-o", "--output", metavar="FILE", type=click.Path(path_type=Path), help="Write it, mended, there."
)
@click.option(
    "--most",
    type=click.IntRange(1, 1_000_000),
    default=2000,
    show_default=True,
    help="Judge so many sequences at most.",
)
@rules_option
@s.asked_at
def mend_command(
    session: s.Session,
    /,
    *,
    sequence: Path | None,
    output: Path | None,
    most: int,
    rules_files: tuple[Path, ...],
) -> None:
    """Find the fewest changes that make a sequence clear: steps added, moved, dropped, waits added or given up.

    Without a file: what is left of the plan in force. What it makes is checked as any sequence is; read it before
    anybody follows it. An interrupt (Ctrl-C) tells the best so far. Exit status: 0 clear, 3 not clear, 4 undecided.
    """
    from cfgtrack.answers.mending import mend
    from cfgtrack.show.mending import mended_text

    found = mend(
        session.asking,
        sequence,
        None if output == s.STDOUT else output,
        rules=rules_files,
        most=most,
        tell=showing_text("{} sequences judged, {} changes so far"),
    )
    line.clear()
    if output == s.STDOUT and not session.json:
        click.echo(found.text, nl=False)
    else:
        session.answer(found, lambda: mended_text(found))
    session.end(status={"clear": 0, "not clear": 3, "undecided": 4}[found.verdict])
