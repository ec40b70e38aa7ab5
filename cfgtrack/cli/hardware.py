"""`load`, `plant` and `vet`: the hardware definition, in, counted and looked at."""

from __future__ import annotations

from pathlib import Path

import click

from cfgtrack.cli import session as s
from cfgtrack.cli.check import rules_option


@s.command("load")
@click.argument("files", metavar="FILE...", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option("--effective", metavar="TIME", help="From when on it is so; else as if it always had been.")
@click.option("--reason", metavar="TEXT", help="Why it is so from then on.")
@click.option("--corrects", metavar="EVENT-ID", help="An earlier revision that this one is told instead of.")
@click.option(
    "--back",
    metavar="UNIT",
    multiple=True,
    shell_complete=s.complete_id,
    help="A retired unit of the files that is of the plant again from then on; may be given again.",
)
@click.option(
    "--keys-lost",
    metavar="REASON",
    help="Load new keys, and nothing else, where all must be signed and nobody can any more.",
)
@s.authored
@s.sure
@s.accept
@s.dry_run
def load_command(
    session: s.Session,
    /,
    files: tuple[Path, ...],
    effective: str | None,
    reason: str | None,
    corrects: str | None,
    back: tuple[str, ...],
    keys_lost: str | None,
    accept: str | None,
) -> None:
    """Load a hardware definition: media, kinds, parts, units, places and the initial configuration, from TOML.

    Makes the database when there is none. Loading the same again changes nothing. What the files no longer mention
    stays. With --dry-run: says what it would add and change, field by field.

    It is judged before it counts: how many items each rule guarded and guards, which made joints no longer fit. Where a
    catastrophic or critical rule guards less, or a made joint no longer fits, nothing is written and the exit status is
    3, unless --accept says why; the journal keeps that. What it breaks in the past as it now stands is told.

    \b
    load plant.toml --effective 2031-05-01T08:00:00Z --reason "revision B: a drain port"

    revises the hardware: what differs is so from then on, and the time before stays as it was.
    """
    from cfgtrack.answers.hardware import load
    from cfgtrack.show.loading import load_text

    if not session.dry_run:
        session.make_folder()
    told = {"effective": effective, "reason": reason, "corrects": corrects}
    found = load(session.writing, files, **told, back=back, accept=accept, keys_lost=keys_lost)
    session.answer(found, lambda: load_text(found, colour=session.colour))
    session.end(found=found.load.refused)


@s.command("plant")
@s.asked_at
def plant_command(session: s.Session) -> None:
    """Count what is defined: parts, units, places, ports by kind, links by medium."""
    from cfgtrack.answers.hardware import defined
    from cfgtrack.show.loading import overview_text

    found = defined(session.asking)
    session.answer(found, lambda: overview_text(found.definition, found.moment))


@s.command("vet")
@click.argument("files", metavar="[FILE...]", nargs=-1, type=click.Path(path_type=Path))
@rules_option
@s.asked_at
def vet_command(session: s.Session, /, files: tuple[Path, ...], rules_files: tuple[Path, ...]) -> None:
    """Say what looks wrong in a definition, though it holds together, and what would cure it.

    Ends that can be swapped, paths from power to control, volumes that can't expand or have no rating, ports that
    nothing fits or reaches, loops without a name, rules that guard nothing.

    Of the plant that the database has, with the rules kept; of FILEs, of what they define by themselves, with those of
    --rules. Exit status 3 with doubts. `load` tells the first few.
    """
    from cfgtrack.answers.vetting import vetting
    from cfgtrack.show.vetting import vetting_text

    found = vetting(session.asking, files, rules_files)
    session.answer(found, lambda: vetting_text(found))
    session.end(found=found.doubts)
