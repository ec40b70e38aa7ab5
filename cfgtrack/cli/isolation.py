"""`without`, `isolate`, `segments`: what is cut off, what isolates, what is joined as one."""

from __future__ import annotations

import click

from cfgtrack.cli import session as s

things_argument = click.argument(
    "things", metavar="THING...", nargs=-1, required=True, shell_complete=s.complete_id
)
ends_option = click.option(
    "--from",
    "ends",
    metavar="THING|tag=TAG|loop=LOOP",
    multiple=True,
    help="From here; else from every source and expansion, and for hold from what stays.",
)


@s.command("without")
@things_argument
@ends_option
@s.asked_at
def without_command(session: s.Session, /, things: tuple[str, ...], ends: tuple[str, ...]) -> None:
    """Show what is cut off from what if things are shut, off or demated.

    A valve is shut, a switch off, a joint demated; of a unit or place all joints are. No rule is asked.
    """
    from cfgtrack.answers.isolation import without
    from cfgtrack.show.isolation import without_text

    found = without(session.asking, things, ends=ends)
    session.answer(found, lambda: without_text(found))


@s.command("isolate")
@things_argument
@ends_option
@click.option(
    "--medium", "media", metavar="MEDIUM", multiple=True, help="In this medium; else in all of its but hold."
)
@click.option(
    "--for",
    "holders",
    metavar="NAME",
    multiple=True,
    help="Who works behind the locks: a person or lock box.",
)
@click.option(
    "--most", type=click.IntRange(1, 10_000), default=100, show_default=True, help="List so many sets."
)
@s.asked_at
def isolate_command(
    session: s.Session,
    /,
    *,
    things: tuple[str, ...],
    ends: tuple[str, ...],
    media: tuple[str, ...],
    holders: tuple[str, ...],
    most: int,
) -> None:
    """Show which fewest valves, breakers and joints isolate a thing, and the locks that they need.

    All smallest sets; what is shut already counts as given, and check valves let through one way. Ends with 3 where
    nothing isolates it.
    """
    from cfgtrack.answers.isolation import isolate
    from cfgtrack.show.isolation import isolation_text

    found = isolate(session.asking, things, media=media, ends=ends, holders=holders, most=most)
    session.answer(found, lambda: isolation_text(found))
    session.end(found=any(one.fewest is None for one in found.isolation))


@s.command("segments")
@click.argument("medium")
@s.asked_at
def segments_command(session: s.Session, /, medium: str) -> None:
    """Show what is joined as one in a medium, largest first, and what bounds it."""
    from cfgtrack.answers.isolation import segments
    from cfgtrack.show.isolation import segments_text

    found = segments(session.asking, medium)
    session.answer(found, lambda: segments_text(found))
