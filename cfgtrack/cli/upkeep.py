"""`backup`, `restore`, `rebuild`, `migrate`, `completion`: what keeps the database and the command in order."""

from __future__ import annotations

from pathlib import Path

import click

from cfgtrack.cli import session as s


@s.command("backup")
@click.argument("target", metavar="FILE", type=click.Path(path_type=Path))
def backup_command(session: s.Session, /, target: Path) -> None:
    """Copy the database into a new file, as it is at one instant, while others read and write."""
    from cfgtrack.store.upkeep import backup

    events = backup(session.database, str(target))
    session.tell(
        lambda: f"backed up {events} events to {target}", lambda: {"file": str(target), "events": events}
    )


@s.command("restore")
@click.argument("source", metavar="FILE", type=click.Path(path_type=Path))
def restore_command(session: s.Session, /, source: Path) -> None:
    """Make the database from a backup, or from an archive (`export --form archive`), in SQLite or PostgreSQL.

    The database that --db names must not hold a journal yet: nothing is ever overwritten.
    """
    with source.open("rb") as file:
        is_archive = file.read(1) == b"{"
    session.make_folder()
    if is_archive:
        from cfgtrack.store.archive import read_archive

        with source.open(encoding="utf-8") as lines:
            events = read_archive(lines, session.database, clock=session.clock)
    else:
        from cfgtrack.store.upkeep import restore

        events = restore(str(source), session.database, clock=session.clock)
    session.tell(
        lambda: f"restored {events} events to {session.database}",
        lambda: {"database": session.database, "events": events},
    )


@s.command("rebuild")
def rebuild_command(session: s.Session, /) -> None:
    """Drop all derived states and derive them anew from the journal. Nothing recorded is touched."""
    from cfgtrack.store.upkeep import rebuild

    events = rebuild(session.database)
    session.tell(lambda: f"rebuilt from {events} events", lambda: {"events": events})


@s.command("migrate")
def migrate_command(session: s.Session, /) -> None:
    """Bring the database to this version's schema, in one transaction. Nothing to do when it is there."""
    from cfgtrack.store.upkeep import migrate

    before, after = migrate(session.database)
    text = f"already at {after}" if before == after else f"migrated from {before or 'nothing'} to {after}"
    session.tell(lambda: text, lambda: {"before": before, "after": after})


@s.command("completion")
@click.argument("shell", type=click.Choice(("bash", "zsh", "fish")))
def completion_command(session: s.Session, /, shell: str) -> None:
    """Print what makes commands, units, places and ports complete in a shell.

    bash: eval "$(cfgtrack completion bash)", best in ~/.bashrc; zsh and fish alike.
    """
    from click.shell_completion import get_completion_class

    from cfgtrack.cli.main import main

    del session
    completing = get_completion_class(shell)
    assert completing is not None
    if shell == "bash":
        # A port's colon is part of one word.
        click.echo("COMP_WORDBREAKS=${COMP_WORDBREAKS//:/}")
    click.echo(completing(main, {}, "cfgtrack", "_CFGTRACK_COMPLETE").source())
