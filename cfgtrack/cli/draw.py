"""`draw`: what is connected to what, as a picture."""

from __future__ import annotations

import re
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from cfgtrack.cli import session as s
from cfgtrack.cli.draw_times import Drawn, InTime, Output, draw_in_time, timeline_options

if TYPE_CHECKING:
    from cfgtrack.answers.draw import Scene

FORMS = ("svg", "png", "pdf", "dot", "graphml")
TEXT_FORMS = ("svg", "dot", "graphml")
_DRAWN = re.compile(rb"\x89PNG|%PDF|graph cfgtrack|(?=.*<(?:svg|graphml)).*cfgtrack", re.DOTALL)
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
@timeline_options
@s.asked_at
@s.foreseen_after
@click.option(
    "--findings/--no-findings",
    "marked",
    default=True,
    help="Mark what open findings are about; else don't.",
)
@click.option(
    "--fold/--no-fold",
    default=None,
    help="Draw units that are alike as one, with how many; else only where there are too many for a page.",
)
@click.option("--title", default="", help="Stands above the picture.")
@click.option(
    "--page",
    type=click.Choice(["A4", "A3"], case_sensitive=False),
    help="Fit it on a page of this size, a timeline or strip on several; refused where it could not be read.",
)
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
    marked: bool,
    fold: bool | None,
    title: str,
    page: str | None,
    output: Path | None,
    form: str | None,
    after: str | None,
    plan: Path | None,
    timeline: bool,
    as_run: bool,
    stops: bool,
    strip: bool,
    steps: str | None,
    against: str | None,
) -> None:
    """Draw what is connected to what, now or at any time, as SVG, PNG, PDF, DOT or GraphML: by the name of the file.

    Everything, one medium, one loop, one unit and its neighbours, or the places and what stands in them; with --medium
    hold what holds what. A port is a row, a valve or switch a symbol on its line. What a rule or a need says is wrong
    is marked and told first, what is merely open or unpowered is noted.

    GraphML is no picture: it holds every port, volume and link of one medium or of all, made or not, for other
    programs.
    """
    from cfgtrack.answers.draw import DrawnFile, DrawnText, scene

    if sum(map(bool, (loop, unit, places))) > 1:
        raise click.UsageError("Choose one of --loop, --unit and --places.")
    output = None if output == s.STDOUT else output
    if timeline or strip or as_run or stops or steps or against is not None:
        of = Drawn(medium, loop, unit, hops, places, marked, plan, title)
        how = InTime(timeline, strip, as_run, stops, steps, page, against, after)
        draw_in_time(session, Output(output, form), of, how)
        return
    chosen = form or (output.suffix[1:].lower() if output else "dot")
    if chosen not in FORMS:
        raise click.UsageError(f"Say which form with --form: {output} is none of {', '.join(FORMS)}.")
    if chosen == "graphml" and (loop or unit or places):
        raise click.UsageError("GraphML holds whole media: leave --loop, --unit and --places out.")
    if page and chosen in TEXT_FORMS and chosen != "svg":
        raise click.UsageError(f"--page is for SVG, PNG and PDF: {chosen} has no size.")
    found = scene(
        session.asking,
        medium=medium,
        loop=loop,
        unit=unit,
        hops=hops,
        places=places,
        marked=marked,
        after=s.after_step(after, plan),
    )
    drawn = _drawn(found, chosen, medium, title, fold=fold, page=page or "")
    if output is None and session.json:
        if chosen not in TEXT_FORMS:
            raise click.UsageError(f"{chosen} is no text: name a file with -o.")
        session.answer(DrawnText(found.moment, chosen, drawn.decode()), str)
    elif output is None:
        sys.stdout.buffer.write(drawn)
    else:
        with session.asking.written(output, earlier=_DRAWN) as file:
            file.write_bytes(drawn)
        session.answer(
            DrawnFile(found.moment, str(output), chosen),
            lambda: f"drew {output} ({found.moment})",
        )


def _drawn(found: Scene, form: str, medium: str, title: str, *, fold: bool | None, page: str) -> bytes:
    """Return the picture of a scene in a form, or the graph of its links."""
    if form == "graphml":
        from cfgtrack.show.graphml import graphml

        return graphml(found, [medium] if medium else found.networks, title=title).encode()
    from cfgtrack.show.drawing.shown import shown

    sheet = shown(found, title=title, fold=fold)
    if form == "dot":
        from cfgtrack.show.drawing.dot import dot

        return dot(sheet).encode()
    from cfgtrack.show.drawing.arrange import drawn
    from cfgtrack.show.drawing.leaves import written

    return written([drawn(sheet, page=page)], form)
