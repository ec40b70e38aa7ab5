"""`backup`, `restore`, `rebuild`, `grant`, `migrate`, `completion`: what keeps database and command in order."""

from __future__ import annotations

from pathlib import Path

import click

from cfgtrack.cli import session as s


@s.command("backup")
@click.argument("target", metavar="FILE", type=click.Path(path_type=Path))
def backup_command(session: s.Session, /, target: Path) -> None:
    """Copy the database into a new file, as it is at one instant, while others read and write."""
    from cfgtrack.answers.upkeep import backup

    found = backup(session.asking, target)
    session.tell(lambda: f"backed up {found.events} events to {found.file}", found)


@s.command("restore")
@click.argument("source", metavar="FILE", type=click.Path(path_type=Path))
def restore_command(session: s.Session, /, source: Path) -> None:
    """Make the database from a backup, or from an archive (`export --form archive`), in SQLite or PostgreSQL.

    The database that --db names must hold nothing yet: nothing is ever overwritten. All of it is restored, or nothing.
    """
    from cfgtrack.answers.upkeep import restore

    session.make_folder()
    found = restore(session.asking, source)
    session.tell(
        lambda: f"restored {found.events} events to {found.database}, known as from when they were recorded",
        found,
    )


@s.command("rebuild")
def rebuild_command(session: s.Session, /) -> None:
    """Drop all derived states and derive them anew from the journal. Nothing recorded is touched."""
    from cfgtrack.answers.upkeep import rebuild

    found = rebuild(session.asking)
    session.tell(lambda: f"rebuilt from {found.events} events", found)


@s.command("grant")
@s.dry_run
def grant_command(session: s.Session, /) -> None:
    """Grant the users of a PostgreSQL server what goes with the roles of the people that they are, and revoke the rest.

    --dry-run prints the statements, for whoever may say them. Users themselves are the server's: CREATE ROLE makes one.
    """
    from cfgtrack.answers.upkeep import grant
    from cfgtrack.show.trust import granted_text

    found = grant(session.asking)
    session.tell(lambda: granted_text(found), found)


@s.command("migrate")
def migrate_command(session: s.Session, /) -> None:
    """Bring the database to this version's schema, in one transaction. Nothing to do when it is there."""
    from cfgtrack.answers.upkeep import migrate

    found = migrate(session.asking)
    before, after = found.before or "nothing", found.after
    text = f"already at {after}" if before == after else f"migrated from {before} to {after}"
    session.tell(lambda: text, found)


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
    source = completing(main, {}, "cfgtrack", "_CFGTRACK_COMPLETE").source()
    # bash takes a reply as it is: an alias with blanks in it must come quoted.
    click.echo(source.replace("COMPREPLY+=($value)", 'COMPREPLY+=("$(printf %q "$value")")'))
