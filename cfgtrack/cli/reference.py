"""`reference`: look up what ships with the tool - threads, tightening, fluids - and what follows from it."""

from __future__ import annotations

import click

from cfgtrack.cli import session as s


def _complete(ctx: click.Context, param: click.Parameter, incomplete: str) -> list[str]:
    """Return the tables, or the entries of the one that is named, that begin so."""
    from cfgtrack.answers.reference import names

    known = names(str(ctx.params.get("table")) if param.name == "name" else None)
    return [one for one in known if one.startswith(incomplete)]


@s.command("reference")
@click.argument("table", required=False, shell_complete=_complete)
@click.argument("name", required=False, shell_complete=_complete)
@click.option("--torque", metavar="TORQUE", help="Of a thread: the preload that this torque gives.")
@click.option("--preload", metavar="FORCE", help="Of a thread: the torque for this preload.")
@click.option(
    "--surface", metavar="SURFACE", help="With these two: the bolt's surface, from the table surface."
)
@click.option(
    "--warmed", metavar="DIFFERENCE", help="Of a fluid shut in: the rise of pressure when warmed so."
)
@click.option("--rise", metavar="PRESSURE", help="Of a fluid shut in: how far it may warm for this rise.")
def reference_command(
    session: s.Session,
    /,
    *,
    table: str | None,
    name: str | None,
    torque: str | None,
    preload: str | None,
    surface: str | None,
    warmed: str | None,
    rise: str | None,
) -> None:
    """List the reference tables, one TABLE, or everything that is known of one NAME in it, with its source.

    `reference thread M16 --torque "200 N*m" --surface lubricated` tells the preload, low, likely and high, and the part
    of the proof load; `reference fluid water --warmed "5 K"` tells how the pressure of a full, rigid volume rises.
    No database is needed. The tool advises: the approved procedure decides.
    """
    from cfgtrack.answers import reference
    from cfgtrack.show.reference import found_text, overview_text, table_text

    asked = {"torque": torque, "preload": preload, "warmed": warmed, "rise": rise}
    reference.expect_sense(table, name, surface=surface, **asked)
    if table is None:
        overview = reference.overview()
        session.tell(lambda: overview_text(overview.tables), overview)
    elif name is None:
        listed = reference.listed(table)
        session.tell(lambda: table_text(table, listed.entries), listed)
    else:
        found = reference.look_up(table, name, surface=surface, **asked)
        session.tell(lambda: found_text(found), found)
