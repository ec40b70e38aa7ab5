"""`way`: a shortest way to what is wanted, or why there is none."""

from __future__ import annotations

import time
from pathlib import Path

import click

from cfgtrack.cli import session as s
from cfgtrack.cli.check import rules_option
from cfgtrack.cli.terminal import showing_text

LONGEST = 60
"""So many seconds are searches given altogether, where nobody says otherwise."""

PROVING = 5
"""Seconds in which a shortest way is looked for before any will do. Then it is looked for again, if none was found."""


@s.command("way")
@click.argument("goal", metavar="[GOAL.toml]", required=False, type=click.Path(path_type=Path))
@click.option(
    "--swap",
    "swaps",
    metavar="OLD NEW",
    nargs=2,
    multiple=True,
    shell_complete=s.complete_id,
    help="NEW where OLD is, joined as that is now.",
)
@click.option("--to", metavar="PLACE", default="", help="Where OLD is to stand then; else out of the way.")
@click.option(
    "--want", "wants", metavar="WHAT", multiple=True, help="As in --want 'V1 shut' or 'PUMP-1 at BAY-1'."
)
@click.option(
    "--keep", "keep", metavar="THING", multiple=True, help="Its valves and switches stand as now at the end."
)
@click.option("--by", "workers", metavar="NAME", multiple=True, help="Who works; else whoever can.")
@click.option(
    "--least", type=click.Choice(["steps", "time"]), help="What is to be least: the number of steps, or time."
)
@click.option(
    "--times",
    metavar="SEQUENCE.toml",
    type=click.Path(path_type=Path),
    help="How long things take, as in this sequence.",
)
@rules_option
@s.asked_at
@click.option(
    "-o", "--output", metavar="FILE", type=click.Path(path_type=Path), help="Write the way as a sequence."
)
@click.option("--most", metavar="N", type=click.IntRange(1), help="Look into so many situations at most.")
@click.option(
    "--seconds", metavar="N", type=click.IntRange(1), help="Look for so long at most; else for a minute."
)
def way_command(  # noqa: PLR0917 - one parameter an option
    session: s.Session,
    goal: Path | None,
    swaps: tuple[tuple[str, str], ...],
    to: str,
    wants: tuple[str, ...],
    keep: tuple[str, ...],
    workers: tuple[str, ...],
    least: str | None,
    times: Path | None,
    rules_files: tuple[Path, ...],
    output: Path | None,
    most: int | None,
    seconds: int | None,
) -> None:
    """Find a shortest way to what is wanted, through what is possible and allowed; or say what forbids it.

    From the present, or from --at any time. Where a shortest one isn't found in seconds it is any that is clear, and
    from which no step can be taken. Ctrl-C keeps what there is by then. Ends with 0 with a way, 3 where there is none,
    4 where none was found.
    """
    from cfgtrack.answers.way import Asked, way
    from cfgtrack.show.way import way_text

    begun = time.monotonic()
    until = begun + (LONGEST if seconds is None else seconds)
    proving = begun + (PROVING if seconds is None else min(PROVING, seconds))
    found = way(
        session.asking,
        goal,
        output,
        asked=Asked(swaps, to, wants, keep, workers, least or "", times),
        rules=rules_files,
        most=most,
        may_go_on=lambda: time.monotonic() < until,
        may_prove=lambda: time.monotonic() < proving,
        tell=showing_text(),
    )
    session.answer(found, lambda: way_text(found, colour=session.colour))
    session.end(status=found.status)
