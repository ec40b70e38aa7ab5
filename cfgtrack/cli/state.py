"""`state`, `history`, `diff`, `remarks`: what is, what was, and what happened in between."""

from __future__ import annotations

from pathlib import Path

import click

from cfgtrack.cli import session as s

thing_argument = click.argument("thing", shell_complete=s.complete_id)


@s.command("state")
@click.argument("thing", required=False, shell_complete=s.complete_id)
@s.asked_at
@click.option(
    "--clocks/--no-clocks",
    default=True,
    help="Judge the past, to tell the running clocks too; else don't.",
)
@click.option("--units", is_flag=True, help="A line for each unit, however many, and all of every list.")
@s.foreseen_after
def state_command(
    session: s.Session,
    thing: str | None,
    *,
    clocks: bool,
    units: bool,
    after: str | None,
    plan: Path | None,
) -> None:
    """Show the state of a unit, port, place, person or machine; of everything when none is named.

    What it is mated to, its status, where it is, what holds it, what feeds it, whether its liquid reaches an
    expansion volume, open ends, mate cycles, last values, running clocks, remarks. Of everything: first what a rule or
    a need says is wrong, then what is merely open or off; a plant of more than 100 units is counted by part.
    """
    from cfgtrack.answers.state import everything, state
    from cfgtrack.show.state import plant_text, state_text

    if thing is None:
        whole = everything(session.asking, clocks=clocks, after=s.after_step(after, plan))
        session.answer(
            whole,
            lambda: plant_text(
                whole.state, whole.moment, last=whole.last, units=units, colour=session.colour
            ),
        )
    else:
        one = state(session.asking, thing, clocks=clocks, after=s.after_step(after, plan))
        session.answer(
            one, lambda: state_text(one.state, one.moment, last=one.last, units=units, colour=session.colour)
        )


@s.command("history")
@click.argument("thing", required=False, shell_complete=s.complete_id)
@click.option("--from", "start", metavar="TIME", help="Only what happened at this time or later.")
@click.option("--to", "end", metavar="TIME", help="Only what happened before this time.")
@s.known_option
@s.outing_option
def history_command(session: s.Session, /, thing: str | None, start: str | None, end: str | None) -> None:
    """List what happened to a unit, port, place or person, in order of time; of a part what happened to its units.

    Without a thing: the whole journal in the order in which it was written, with what was corrected and by what.
    """
    from cfgtrack.answers.history import history
    from cfgtrack.show.record import history_text
    from cfgtrack.show.tables import called

    found = history(session.asking, thing, start=start, end=end)
    of = called(found.thing, found.aliases) or "everything"
    session.answer(found, lambda: history_text(of, found.history, found.moment, found.says))


@s.command("diff")
@click.argument("before", metavar="TIME")
@click.argument("after", metavar="TIME", required=False)
@s.known_option
@s.outing_option
def diff_command(session: s.Session, /, before: str, after: str | None) -> None:
    """Show what differs between two times: statuses and mates, places, values, mate cycles. The second: else now."""
    from cfgtrack.answers.history import difference
    from cfgtrack.show.record import difference_text

    found = difference(session.asking, before, after)
    session.answer(found, lambda: difference_text(found.difference, found.before, found.moment))


@s.command("remarks")
@thing_argument
@s.asked_at
def remarks_command(session: s.Session, /, thing: str) -> None:
    """Show the remarks and lessons that stick to a unit, port, part or place.

    Those of the unit that a port is on, of the part that a unit is of and of the places where it is are shown too; of a
    place those on all that is in it.
    """
    from cfgtrack.answers.history import remarks
    from cfgtrack.show.record import remarks_text
    from cfgtrack.show.tables import called

    found = remarks(session.asking, thing)
    of = called(found.thing, found.aliases)
    session.answer(
        found,
        lambda: remarks_text(found.remarks, found.moment, of) or f"no remarks on {of} ({found.moment})",
    )
