"""`draw`: what is connected to what, as a picture."""

from __future__ import annotations

import re
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from cfgtrack.cli import session as s

if TYPE_CHECKING:
    from cfgtrack.cli.past import Past
    from cfgtrack.show.diagram import Scope

FORMS = ("svg", "png", "pdf", "dot")
TEXT_FORMS = ("svg", "dot")
_DRAWN = re.compile(rb"\x89PNG|%PDF|graph cfgtrack|(?=.*<svg).*cfgtrack", re.DOTALL)
"""What a picture begins with that was drawn here."""


@s.command("draw")
@click.option(
    "--medium", metavar="MEDIUM", default="", help="Only the links of one medium: fluid, power, ..."
)
@click.option("--loop", metavar="LOOP", help="One loop; its fluid unless --medium says otherwise.")
@click.option(
    "--unit", metavar="ID", shell_complete=s.complete_id, help="One unit or place and its neighbours."
)
@click.option(
    "--hops", type=click.IntRange(0), default=1, show_default=True, help="So many links away from --unit."
)
@click.option("--places", is_flag=True, help="The places, and what stands in them.")
@s.asked_at
@click.option(
    "--findings/--no-findings",
    "marked",
    default=None,
    help="Mark what open findings are about; unasked only where the past is short.",
)
@click.option("--title", default="", help="Stands above the picture.")
@click.option(
    "-o",
    "--output",
    metavar="FILE",
    type=click.Path(path_type=Path, dir_okay=False),
    help="Else DOT on stdout; with --json as text in the answer.",
)
@click.option("--form", type=click.Choice(FORMS), help="The form; else told by the file's name.")
def draw_command(
    session: s.Session,
    /,
    *,
    medium: str,
    loop: str | None,
    unit: str | None,
    hops: int,
    places: bool,
    marked: bool | None,
    title: str,
    output: Path | None,
    form: str | None,
) -> None:
    """Draw what is connected to what, now or at any time, as SVG, PNG, PDF or DOT: by the name of the file.

    Everything, one medium, one loop, one unit and its neighbours, or the places and what stands in them. What is
    cut off, open or dead stands out by its line and by text.
    """
    from cfgtrack.cli.past import Past
    from cfgtrack.show.diagram import diagram
    from cfgtrack.show.render import render

    if sum(map(bool, (loop, unit, places))) > 1:
        raise click.UsageError("Choose one of --loop, --unit and --places.")
    output = None if output == s.STDOUT else output
    chosen = form or (output.suffix[1:].lower() if output else "dot")
    if chosen not in FORMS:
        raise click.UsageError(f"Say which form with --form: {output} is none of {', '.join(FORMS)}.")
    with session.read() as journal:
        past = Past(journal, session.moment(journal), strict=False)
        scope = _scope(past, medium, loop, unit, hops, places=places)
        findings = (
            [f for f in past.findings()[0] if f.is_open]
            if past.rules.rules and past.is_judged(marked)
            else []
        )
        dot = diagram(
            past.plant, past.configuration, past.networks, scope, past.moment, findings=findings, title=title
        )
    if output is None and session.json:
        if chosen not in TEXT_FORMS:
            raise click.UsageError(f"{chosen} is no text: name a file with -o.")
        picture = render(dot, chosen).decode()
        session.answer(past.moment, str, lambda: {"form": chosen, "picture": picture})
        return
    if output is None:
        sys.stdout.buffer.write(render(dot, chosen))
        return
    with session.output(output, earlier=_DRAWN) as file:
        file.write_bytes(render(dot, chosen))
    session.answer(
        past.moment,
        lambda: f"drew {output} ({past.moment})",
        lambda: {"file": str(output), "form": chosen},
    )


def _scope(past: Past, medium: str, loop: str | None, unit: str | None, hops: int, *, places: bool) -> Scope:
    """Return what is to be drawn. NoAnswer for a medium, loop or unit that the plant doesn't have."""
    from cfgtrack.cli.state import expect_known
    from cfgtrack.model.trouble import NoAnswer, Problem, near_hint
    from cfgtrack.show.diagram import Scope

    if medium and medium not in past.plant.media:
        hint = near_hint(medium, list(past.plant.media))
        raise NoAnswer(Problem(medium, "no-such-medium", f"there is no medium {medium}{hint}"))
    if loop is not None:
        return Scope.loop(loop, medium=medium or "fluid")
    if unit is not None:
        expect_known(past.journal, unit, past.moment.known, parts=False)
        return Scope.around(unit, hops=hops, medium=medium)
    if places:
        return Scope.places()
    return Scope.one_medium(medium) if medium else Scope.everything()
