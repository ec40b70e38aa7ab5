"""`checks` and `compare`: which kept checks still hold, and what differs between two revisions of a sequence."""

from __future__ import annotations

import click

from cfgtrack.cli import session as s


@s.command("checks")
@click.argument("name", required=False)
@s.asked_at
def checks_command(session: s.Session, /, name: str | None) -> None:
    """Show the checks that are kept, and whether they still hold: what they depended on that is otherwise since.

    NAME: one's name, event, or the beginning of its sha256. Ends with 3 where the last one of a name is stale.
    """
    from cfgtrack.answers.kept import checks
    from cfgtrack.show.kept import checks_text

    found = checks(session.asking, name)
    session.answer(found, lambda: checks_text(found, in_full=name is not None))
    session.end(found=found.is_any_stale)
