"""`load` and `plant`: the hardware definition, in and counted."""

from __future__ import annotations

from pathlib import Path

import click

from cfgtrack.cli import session as s


@s.command("load")
@click.argument("files", metavar="FILE...", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option("--effective", metavar="TIME", help="From when on it is so; else as if it always had been.")
@click.option("--reason", metavar="TEXT", help="Why it is so from then on.")
@click.option("--corrects", metavar="EVENT-ID", help="An earlier revision that this one is told instead of.")
@s.authored
@s.dry_run
def load_command(
    session: s.Session,
    /,
    files: tuple[Path, ...],
    effective: str | None,
    reason: str | None,
    corrects: str | None,
) -> None:
    """Load a hardware definition: media, kinds, parts, units, places and the initial configuration, from TOML.

    Makes the database when there is none. Loading the same again changes nothing. What the files no longer mention
    stays. With --dry-run: says what it would add and change, field by field.

    \b
    load plant.toml --effective 2031-05-01T08:00:00Z --reason "revision B: a drain port"

    revises the hardware: what differs is so from then on, and the time before stays as it was.
    """
    from cfgtrack.answers.hardware import load
    from cfgtrack.show.loading import load_text

    if not session.dry_run:
        session.make_folder()
    found = load(session.writing, files, effective=effective, reason=reason, corrects=corrects)
    session.answer(found, lambda: load_text(found))


@s.command("plant")
@s.asked_at
def plant_command(session: s.Session) -> None:
    """Count what is defined: parts, units, places, ports by kind, links by medium."""
    from cfgtrack.answers.hardware import defined
    from cfgtrack.show.loading import overview_text

    found = defined(session.asking)
    session.answer(found, lambda: overview_text(found.definition, found.moment))
