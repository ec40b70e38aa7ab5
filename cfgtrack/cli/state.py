"""`state`, `history`, `diff`, `remarks`: what is, what was, and what happened in between."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING, Any

import click

from cfgtrack.cli import session as s

if TYPE_CHECKING:
    from cfgtrack.model.event import Entry
    from cfgtrack.store.journal import Journal

_MOST_NAMED = 12
"""So many units of a part are named in a message."""

thing_argument = click.argument("thing", shell_complete=s.complete_id)


def entry_json(entry: Entry) -> dict[str, Any]:
    """Return an event as the journal holds it, as a JSON object with RFC 3339 times."""
    from cfgtrack.model.codec import action_to_json
    from cfgtrack.model.time import format_instant

    times = {"happened": format_instant(entry.event.happened), "known": format_instant(entry.known)}
    return {**action_to_json(entry.event), "number": entry.number, **times}


@s.command("state")
@click.argument("thing", required=False, shell_complete=s.complete_id)
@s.asked_at
@click.option(
    "--clocks/--no-clocks",
    default=None,
    help="Judge the past, to tell the running clocks too; unasked only where the past is short.",
)
def state_command(
    session: s.Session,
    thing: str | None,
    clocks: bool | None,
) -> None:
    """Show the state of a unit, port, place, person or machine; of everything when none is named.

    What it is mated to, its status, where it is, what holds it, what feeds it, whether its liquid reaches an
    expansion volume, open ends, mate cycles, last values, running clocks, remarks.
    """
    from cfgtrack.cli.past import Past

    with session.read() as journal:
        moment = session.moment(journal)
        past = Past(journal, moment, strict=False)
        running = past.clocks() if past.is_judged(clocks) else []
        if thing is None:
            from cfgtrack.analysis.state import plant_state
            from cfgtrack.show.state import plant_text

            everything = plant_state(past.plant, past.configuration, past.networks, clocks=running)
            session.answer(
                moment,
                lambda: plant_text(everything, moment, colour=session.colour),
                lambda: {"state": everything.to_json()},
            )
            return
        from cfgtrack.analysis.state import unit_state
        from cfgtrack.show.state import state_text

        remarks = journal.remarks([thing], at=moment.at, known=moment.known)
        report = unit_state(
            past.plant, past.configuration, past.networks, thing, clocks=running, remarks=remarks
        )
        session.answer(
            moment,
            lambda: state_text(report, moment, colour=session.colour),
            lambda: {"state": report.to_json()},
        )


@s.command("history")
@click.argument("thing", required=False, shell_complete=s.complete_id)
@click.option("--from", "start", metavar="TIME", help="Only what happened at this time or later.")
@click.option("--to", "end", metavar="TIME", help="Only what happened before this time.")
@s.known_option
@s.outing_option
def history_command(session: s.Session, /, thing: str | None, start: str | None, end: str | None) -> None:
    """List what happened to a unit, port, place or part, in order of time.

    Without a thing: the whole journal in the order in which it was written, with what was corrected and by what.
    """
    from cfgtrack.show.record import history_text

    with session.read() as journal:
        moment = session.moment(journal)
        since = None if start is None else session.instant(journal, start, option="--from")
        until = None if end is None else session.instant(journal, end, option="--to")
        corrected: dict[str, str] = {}
        if thing is None:
            entries = _log(journal, moment.known, since, until, corrected)
        else:
            expect_known(journal, thing, moment.known)
            entries = list(journal.history(thing, start=since, end=until, known=moment.known))
        session.answer(
            moment,
            lambda: history_text(thing or "everything", entries, moment, corrected=corrected),
            lambda: {
                "history": [{**entry_json(e), "corrected_by": corrected.get(e.event.id)} for e in entries]
            },
        )


def _log(
    journal: Journal, known: int | None, since: int | None, until: int | None, corrected: dict[str, str]
) -> list[Entry]:
    entries = []
    for line in journal.log(known=known):
        happened = line.entry.event.happened
        if (since is None or since <= happened) and (until is None or happened < until):
            entries.append(line.entry)
            if line.corrected_by:
                corrected[line.entry.event.id] = line.corrected_by
    return entries


def expect_known(journal: Journal, thing: str, known: int | None, *, parts: bool = True) -> None:
    """Raise NoAnswer unless `thing` is a unit, place, port or node; or, unless `parts` is false, a part."""
    from cfgtrack.model.trouble import NoAnswer, Problem, near_hint

    plant = journal.plant(known)
    if plant.has(thing) or (parts and thing in plant.parts):
        return
    if thing in plant.parts:
        units = [unit.id for unit in plant.units.values() if unit.part == thing]
        named = ", ".join(units[:_MOST_NAMED]) or "none"
        more = f" and {len(units) - _MOST_NAMED} more" if len(units) > _MOST_NAMED else ""
        sentence = f"{thing} is a part, and no thing by itself; its units: {named}{more}"
        raise NoAnswer(Problem(thing, "no-such-thing", sentence))
    owner = thing.partition(":")[0]
    names: Iterable[str] = [*plant.owners(), *plant.parts]
    if plant.has_owner(owner):
        names = [*plant.ports_of(owner), *plant.nodes_of(owner)]
    hint = near_hint(thing, list(names))
    raise NoAnswer(Problem(thing, "no-such-thing", f"there is no unit, place, port or part {thing}{hint}"))


@s.command("diff")
@click.argument("before", metavar="TIME")
@click.argument("after", metavar="TIME", required=False)
@s.known_option
@s.outing_option
def diff_command(session: s.Session, /, before: str, after: str | None) -> None:
    """Show what differs between two times: statuses and mates, places, values, mate cycles. The second: else now."""
    from cfgtrack.analysis.difference import difference
    from cfgtrack.show.record import difference_text

    with session.read() as journal:
        first = session.moment_at(journal, before, option="TIME")
        second = session.moment_at(journal, after, option="TIME")
        rows = difference(
            journal.configuration(first.at, first.known), journal.configuration(second.at, second.known)
        )
        session.answer(
            second,
            lambda: difference_text(rows, first, second),
            lambda: {"before": first.to_json(), "difference": [row.to_json() for row in rows]},
        )


@s.command("remarks")
@thing_argument
@s.asked_at
def remarks_command(session: s.Session, /, thing: str) -> None:
    """Show the remarks and lessons that stick to a unit, port, part or place.

    Those of the unit that a port is on, and of the part that a unit is of, are shown too.
    """
    from cfgtrack.show.record import remarks_text

    with session.read() as journal:
        moment = session.moment(journal)
        expect_known(journal, thing, moment.known)
        found = journal.remarks([thing], at=moment.at, known=moment.known)
        session.answer(
            moment,
            lambda: remarks_text(found, moment) or f"no remarks on {thing} ({moment})",
            lambda: {"remarks": [entry_json(e) for e in found]},
        )
