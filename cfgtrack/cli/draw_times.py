"""`draw --timeline`: a plan, or an outing as it was recorded, over time."""

from __future__ import annotations

import re
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import click

from cfgtrack.cli import session as s

if TYPE_CHECKING:
    from collections.abc import Sequence

    from cfgtrack.answers.moment import Answer
    from cfgtrack.show.drawing.ink import Page

FORMS = ("svg", "png", "pdf")
_DRAWN = re.compile(rb"\x89PNG|%PDF|(?=.*<svg).*cfgtrack", re.DOTALL)
"""What a picture begins with that was drawn here."""

PAPERS = {"A4": (841.89, 595.28), "A3": (1190.55, 841.89)}
"""Sheets of ISO 216 across, in points."""

paper_option = click.option(
    "--paper",
    type=click.Choice(list(PAPERS), case_sensitive=False),
    help="A timeline or strip on sheets of this size, across; else as wide as a screen, in one piece.",
)

timeline_options = s.options(
    click.option(
        "--timeline",
        is_flag=True,
        help="The plan in force (or --plan FILE) over time: a lane a track, clocks, what holds, findings.",
    ),
    click.option(
        "--as-run",
        is_flag=True,
        help="With --timeline: an outing as it was recorded, the last that began or --outing ID.",
    ),
    click.option(
        "--stops", is_flag=True, help="With --timeline: whether the work may stop after each step, too."
    ),
    paper_option,
)


@dataclass(frozen=True, slots=True)
class Output:
    """Where a picture goes, and in which form."""

    file: Path | None
    form: str | None

    @property
    def chosen(self) -> str:
        """The form: as it is said, else by the file's name, else SVG."""
        form = self.form or (self.file.suffix[1:].lower() if self.file is not None else "svg")
        if form not in FORMS:
            told = ", ".join(FORMS)
            raise click.UsageError(f"Such a picture is one of {told}: say which with --form, or by the name.")
        return form

    def give(self, session: s.Session, answer: Answer, pages: Sequence[Page]) -> None:
        """Write a picture to its file, else to standard output, where --json gives the answer instead."""
        from cfgtrack.show.drawing.leaves import written

        drawn = written(pages, self.chosen)
        if self.file is None:
            if session.json:
                session.answer(answer, str)
            else:
                session.tell_notes(answer.notes)
                session.tell_of_the_console()
                sys.stdout.buffer.write(drawn)
            return
        with session.asking.written(self.file, earlier=_DRAWN) as file:
            file.write_bytes(drawn)
        session.answer(answer, lambda: f"drew {self.file} ({answer.moment})")


def draw_timeline(
    session: s.Session,
    output: Output,
    *,
    plan: Path | None,
    unit: str | None,
    as_run: bool,
    stops: bool,
    paper: str | None,
    title: str,
) -> None:
    """Draw a plan, or an outing as it was recorded, over time."""
    from cfgtrack.answers.timeline import recorded_timeline, timeline
    from cfgtrack.show.drawing.timeline import WIDTH, timeline_pages

    if as_run and (plan is not None or stops):
        raise click.UsageError("What was recorded has no --plan and no --stops: leave them out, or --as-run.")
    if as_run:
        found = recorded_timeline(session.asking, outing=session.outing, unit=unit)
    else:
        found = timeline(
            session.asking,
            plan,
            outing=session.outing,
            unit=unit,
            with_stops=stops,
            tell=s.showing("stop points", keeps=False),
        )
    width, height = PAPERS[paper] if paper else (WIDTH, None)
    output.give(session, found, timeline_pages(found, title=title, width=width, height=height))
