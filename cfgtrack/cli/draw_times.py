"""`draw --timeline`, `--strip` and `--against`: pictures of more than one moment."""

from __future__ import annotations

import re
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import click

from cfgtrack.cli import session as s
from cfgtrack.cli.terminal import showing

if TYPE_CHECKING:
    from collections.abc import Sequence

    from cfgtrack.answers.foreseeing import AfterStep
    from cfgtrack.answers.moment import Answer
    from cfgtrack.show.drawing.ink import Page

FORMS = ("svg", "png", "pdf")
_DRAWN = re.compile(rb"\x89PNG|%PDF|(?=.*<svg).*cfgtrack", re.DOTALL)
"""What a picture begins with that was drawn here."""

against_option = click.option(
    "--against",
    metavar="TIME",
    help="What differs from this time: what is only before, only now, changed. With --after, `now` is a time, too.",
)

timeline_options = s.options(
    click.option(
        "--timeline",
        is_flag=True,
        help="The plan in force (or --plan FILE) along a time axis: a lane a track, clocks, what holds, findings.",
    ),
    click.option(
        "--as-run",
        is_flag=True,
        help="With --timeline: an outing as it was recorded, the last that began or --outing ID.",
    ),
    click.option(
        "--stops", is_flag=True, help="With --timeline: whether the work may stop after each step, too."
    ),
    click.option(
        "--strip",
        is_flag=True,
        help="The plan in force (or --plan FILE) as frames: one after each step that changes a path.",
    ),
    click.option(
        "--steps",
        metavar="FIRST..LAST",
        help="With --strip: of these steps only; --outing ID: of that outing.",
    ),
    against_option,
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
        """Write a picture to its file, and tell which; else to standard output, or with --json what it shows."""
        from cfgtrack.answers.draw import DrawnFile
        from cfgtrack.show.drawing.leaves import written

        form = self.chosen
        if self.file is None and session.json:
            session.answer(answer, str)
            return
        drawn = written(pages, form)
        if self.file is None:
            session.tell_notes(answer.notes)
            session.tell_of_the_console()
            sys.stdout.buffer.write(drawn)
            return
        with session.asking.written(self.file, earlier=_DRAWN) as file:
            file.write_bytes(drawn)
        told = DrawnFile(answer.moment, str(self.file), form, notes=answer.notes)
        session.answer(told, lambda: f"drew {self.file} ({answer.moment})")


@dataclass(frozen=True, slots=True)
class Drawn:
    """What a picture is of, and what stands above it."""

    medium: str
    loop: str | None
    unit: str | None
    hops: int
    places: bool
    marked: bool
    plan: Path | None
    title: str


@dataclass(frozen=True, slots=True)
class InTime:
    """Which picture of more than one moment is meant: the options, as they were typed."""

    timeline: bool
    strip: bool
    as_run: bool
    stops: bool
    steps: str | None
    page: str | None
    against: str | None
    after: str | None

    def check(self, of: Drawn) -> None:
        """Raise UsageError for options that don't go together."""
        if self.timeline + self.strip + (self.against is not None) > 1:
            raise click.UsageError("Choose one of --timeline, --strip and --against.")
        self._check_company()
        if (self.timeline or self.strip) and (of.places or self.after):
            raise click.UsageError("A timeline or strip is of a plan: leave --places and --after out.")
        if self.timeline and (of.medium or of.loop):
            raise click.UsageError("A timeline is of a whole plan: leave --medium and --loop out.")
        if self.as_run and (of.plan is not None or self.stops):
            raise click.UsageError("What was recorded has no --plan and no --stops.")

    def _check_company(self) -> None:
        """Raise UsageError for an option without the one that it goes with."""
        if (self.as_run or self.stops) and not self.timeline:
            raise click.UsageError("--as-run and --stops go with --timeline.")
        if self.steps and not self.strip:
            raise click.UsageError("--steps goes with --strip.")


def draw_in_time(session: s.Session, output: Output, of: Drawn, how: InTime) -> None:
    """Draw a plan or outing over time, a plan frame by frame, or what differs between two times."""
    how.check(of)
    if how.timeline:
        _timeline(session, output, of, how)
    elif how.strip:
        _strip(session, output, of, how)
    else:
        _difference(session, output, of, how, s.after_step(how.after, of.plan))


def _across(paper: str) -> tuple[float, float]:
    """Return how wide and high a paper is that lies on its long side."""
    from cfgtrack.show.drawing.paper import PAPERS as SIZES

    short, long = SIZES[paper]
    return long, short


def _timeline(session: s.Session, output: Output, of: Drawn, how: InTime) -> None:
    """Draw a plan, or an outing as it was recorded, over time."""
    from cfgtrack.answers.timeline import recorded_timeline, timeline
    from cfgtrack.show.drawing.timeline import WIDTH, timeline_pages

    if how.as_run:
        found = recorded_timeline(session.asking, outing=session.outing, unit=of.unit)
    else:
        found = timeline(
            session.asking,
            of.plan,
            outing=session.outing,
            unit=of.unit,
            with_stops=how.stops,
            tell=showing("stop points", keeps=False),
        )
    width, height = _across(how.page) if how.page else (WIDTH, None)
    output.give(session, found, timeline_pages(found, title=of.title, width=width, height=height))


def _strip(session: s.Session, output: Output, of: Drawn, how: InTime) -> None:
    """Draw a plan frame by frame: one after each step that changes a path."""
    from cfgtrack.answers.strip import strip
    from cfgtrack.show.drawing.shown import shown
    from cfgtrack.show.drawing.strip import WIDTH, strip_pages

    tell = showing("frames", keeps=False)
    found = strip(
        session.asking,
        of.plan,
        medium=of.medium,
        loop=of.loop,
        unit=of.unit,
        hops=of.hops,
        outing=session.outing,
        steps=how.steps,
        tell=tell,
    )
    sheets = [shown(frame.scene, fold=False) for frame in found.frames]
    width, height = _across(how.page) if how.page else (WIDTH, None)
    output.give(session, found, strip_pages(found, sheets, title=of.title, width=width, height=height))


def _difference(session: s.Session, output: Output, of: Drawn, how: InTime, after: AfterStep | None) -> None:
    """Draw what differs between two times: what is only before, only now, and otherwise now."""
    from cfgtrack.answers.draw import DrawnText, before_and_now
    from cfgtrack.show.drawing.difference import difference_page
    from cfgtrack.show.drawing.leaves import written
    from cfgtrack.show.drawing.shown import shown

    before, now = before_and_now(
        session.asking,
        how.against or "",
        medium=of.medium,
        loop=of.loop,
        unit=of.unit,
        hops=of.hops,
        places=of.places,
        marked=of.marked,
        after=after,
    )
    page = difference_page(
        shown(before, fold=False), shown(now, fold=False), title=of.title, page=how.page or ""
    )
    text = ""
    if output.file is None and session.json:
        if output.chosen != "svg":
            raise click.UsageError(f"{output.chosen} is no text: name a file with -o.")
        text = written([page], "svg").decode()
    output.give(session, DrawnText(now.moment, "svg", text), [page])
