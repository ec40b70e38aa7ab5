"""`checks` and `compare`: which kept checks still hold, and what differs between two revisions of a sequence."""

from __future__ import annotations

from pathlib import Path

import click

from cfgtrack.cli import session as s


@s.command("checks")
@click.argument("name", required=False)
@click.option(
    "--file",
    "file",
    metavar="FILE",
    type=click.Path(path_type=Path),
    help="Compare with this file; without NAME, what is kept under the file's.",
)
@s.asked_at
def checks_command(session: s.Session, /, name: str | None, file: Path | None) -> None:
    """Show the checks that are kept, and whether they still hold: what they depended on that is otherwise since.

    NAME: one's name, event, or the beginning of its sha256. What is told is of the text that was kept: whether a file
    still holds that is told with --file. Ends with 3 where the last one of a name is stale.
    """
    from cfgtrack.answers.kept import checks
    from cfgtrack.show.kept import checks_text

    found = checks(session.asking, name, file=file)
    session.answer(found, lambda: checks_text(found, in_full=name is not None or file is not None))
    session.end(found=found.is_any_stale)


@s.command("compare")
@click.argument("one", metavar="A")
@click.argument("other", metavar="B")
@s.asked_at
def compare_command(session: s.Session, /, one: str, other: str) -> None:
    """Compare two revisions of a sequence: steps added, dropped, moved, changed; findings gained and lost.

    A, B: a file, a kept check by its name or event, or a revision of a plan by its number or event; `plan` is the one
    in force. Both are judged from the same moment on. Ends with 3 where B has findings that A hasn't, or leaves a
    clock running.
    """
    from cfgtrack.answers.kept import compare
    from cfgtrack.show.kept import compared_text

    found = compare(session.asking, one, other)
    session.answer(found, lambda: compared_text(found))
    session.end(found=found.comparison.gained or found.comparison.left_running)
