"""`convert` and `new`: definition files from what others have drawn or listed, and for a new plant."""

from __future__ import annotations

from pathlib import Path

import click

from cfgtrack.cli import session as s

FORMS = ("dexpi", "epanet", "graphml", "pandapower")
_file = click.Path(path_type=Path)
at_option = s.shared("--at", metavar="TIME", help="The plant is so from this time on; else from now on.")


@s.command("convert")
@click.argument("source", metavar="FILE", type=_file)
@click.option("--to", "folder", metavar="FOLDER", type=_file, required=True, help="Where the files go.")
@click.option("--form", type=click.Choice(FORMS), help="The form; else told by what the file begins with.")
@at_option
@s.dry_run
def convert_command(session: s.Session, /, source: Path, folder: Path, form: str | None) -> None:
    """Turn a drawing or network in an open form into definition files, to be looked at, changed and loaded.

    Reads DEXPI XML (piping drawings), EPANET INP (water networks; needs the extra `epanet`), pandapower JSON (power
    nets) and GraphML. Says what came in, what was guessed, and what was left out. Never writes over a file.
    """
    from cfgtrack.answers.convert import convert
    from cfgtrack.show.converting import converted_text

    found = convert(session.asking, source, folder, form=form or "")
    session.answer(found, lambda: converted_text(found))


@s.command("new")
@click.argument("folder", metavar="FOLDER", type=_file)
@click.option("--units", metavar="FILE", type=_file, help="A CSV list of what there is: name, kind, ...")
@click.option("--joints", metavar="FILE", type=_file, help="A CSV list of what is joined to what: a, b, ...")
@at_option
@s.dry_run
def new_command(session: s.Session, /, folder: Path, units: Path | None, joints: Path | None) -> None:
    """Begin a plant: an empty one with comments, or one from a list of units and a list of joints.

    What a thing is, is guessed from its words, and said. Columns of the units: name, and as wanted kind, title, medium,
    status, litres, loop; of the joints: a, b (a unit, or UNIT:PORT), and name, kind, medium, status, one_way. Beside it
    stand the starter rules that fit, each with what it would guard.
    """
    from cfgtrack.answers.convert import new
    from cfgtrack.show.converting import converted_text

    found = new(session.asking, folder, units=units, joints=joints)
    session.answer(found, lambda: converted_text(found))
