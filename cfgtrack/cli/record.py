"""`record`: one action that happened, in the words of the trade; and the actions that are commands themselves."""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any, TypedDict

import click

from cfgtrack.cli import session as s
from cfgtrack.cli.consequence import (
    Consequence,
    consequence,
    consequence_of_correction,
    tell,
    with_what_followed,
)

if TYPE_CHECKING:
    from cfgtrack.model.event import Entry, Event
    from cfgtrack.model.trouble import BadInput, NoAnswer
    from cfgtrack.store.journal import Journal

_BEHIND = 120_000_000
"""By so much clocks may differ, or a command be slow to begin, before anybody is told, microseconds."""

_LETTERS = "0123456789abcdefghjkmnpqrstvwxyz"
_UNKNOWN = frozenset(("no-such-unit", "no-such-port", "no-such-place"))
BASES = ("reported", "witnessed", "measured")


class Said(TypedDict, total=False):
    """What can be said of an event besides its words and its time, by the option's name."""

    by: str | None
    recorder: str | None
    outing: str | None
    basis: str | None
    remark: str | None
    supersedes: str | None
    reason: str | None


def complete_words(ctx: click.Context, param: click.Parameter, incomplete: str) -> list[str]:
    """Return what the next word of an action phrase may be: an action, then units, places and ports."""
    if ctx.params.get("words"):
        return s.complete_id(ctx, param, incomplete)
    from cfgtrack.cli.main import VERBS, own_actions

    return [action for action in (*VERBS, *own_actions(ctx)) if action.startswith(incomplete)]


words_argument = click.argument(
    "words", metavar="ACTION [SUBJECT]...", nargs=-1, required=True, shell_complete=complete_words
)
describing = s.options(
    s.shared("--outing", metavar="ID", help="The outing it belongs to; HH:MM and +HH:MM are meant in it."),
    s.authored,
    click.option("--basis", type=click.Choice(BASES), help="How well it is known; else reported."),
    click.option("--remark", metavar="TEXT", help="Free text, kept with the event."),
    click.option(
        "--value", "values", metavar="NAME=VALUE", multiple=True, help="A measured value, with unit."
    ),
    click.option("--id", "event_id", metavar="ID", help="The event's id, so that repeating it is harmless."),
    s.dry_run,
)
"""What can be said of an event besides the action itself."""


@s.command("record")
@words_argument
@s.shared("--at", metavar="TIME", help="When it happened; else now.")
@describing
@click.option("--supersedes", metavar="EVENT-ID", help="The event that this one corrects; needs --reason.")
@click.option("--reason", metavar="TEXT", help="Why the correction is right.")
def record_command(
    session: s.Session,
    /,
    words: tuple[str, ...],
    values: tuple[str, ...],
    event_id: str | None,
    **said: str | None,
) -> None:
    """Record that an action happened.

    \b
    record mate PUMP-1:F1 PANEL-A:F1 --at 2031-05-01T09:12:00Z --by ina
    record torque PUMP-1:B1 torque="25 N*m"
    record place PUMP-2 at BAY-1 facing up
    record as-found PUMP-1:F2 mated to PANEL-B:F1

    What is impossible is refused (3), with the event it collides with. What is forbidden has happened all the same:
    it is recorded (0), and the rule that it breaks is shown at once. --dry-run warns without recording.
    """
    with session.write() as journal:
        happened = when_it_happened(session, journal, event_id)
        told = Said(outing=session.outing, **said)  # type: ignore[typeddict-item] # the options' own names
        if words[0] == "remark" and said["remark"]:
            # `remark THING --remark TEXT`: the text of the option is the remark's own.
            words, told["remark"] = (*words, said["remark"]), None
        event = said_event(session, journal, with_values(words, values), happened, event_id, told)
        found = Consequence() if event.supersedes else consequence(journal, event)
        is_late = happened < journal.moment()[0] and journal.entry(event.id) is None
        entry = write(session, journal, event)
        if not session.dry_run and event.supersedes:
            found = consequence_of_correction(journal, entry)
        elif not session.dry_run and is_late:
            found = with_what_followed(journal, entry, found)
        tell(session, journal, entry, found)


def verb(action: str) -> click.Command:
    """Return the command that is short for `record ACTION`."""
    subjects = click.Argument(["words"], metavar="[SUBJECT]...", nargs=-1, shell_complete=s.complete_id)
    callback = record_command.callback
    assert callback is not None

    def run(words: tuple[str, ...], **given: Any) -> None:
        callback(words=(action, *words), **given)

    return click.Command(
        action,
        callback=run,
        params=[subjects if p.name == "words" else p for p in record_command.params],
        help=f"Short for `record {action}`: see `cfgtrack record --help`.",
    )


def said_time(session: s.Session, journal: Journal, event_id: str | None) -> int | None:
    """Return --at, else when an event of that id is recorded to have happened: so repeating is harmless. Else None."""
    if session.at is not None:
        return session.instant(journal, session.at, option="--at")
    repeated = journal.entry(event_id) if event_id else None
    return None if repeated is None else repeated.event.happened


def when_it_happened(session: s.Session, journal: Journal, event_id: str | None) -> int:
    """Return what `said_time` finds, else now. BadInput when the clock must be wrong, or the record is ahead of it.

    Then only the user knows. Where the record was written to by a clock well ahead of this one, one of the two is
    wrong: that is told, and nobody is kept from recording.
    """
    from cfgtrack.model.time import SECOND, format_duration, format_instant
    from cfgtrack.model.trouble import BadInput, Problem

    said = said_time(session, journal, event_id)
    if said is not None:
        return said
    now = format_instant(journal.present)
    first, last = journal.recorded() or (journal.present, journal.present)
    ahead = journal.ahead()
    wrong = ""
    if ahead is not None:
        wrong = (
            f"the last recorded event, {ahead[1]}, is of {format_instant(ahead[0])}, later than now, {now}"
            " (if that is wrong, correct or withdraw it)"
        )
    elif first - journal.present > _BEHIND:
        wrong = f"this clock says {now}, and the record was begun at {format_instant(first)}"
    if wrong:
        raise BadInput([Problem("--at", "missing", f"say when it happened: {wrong}")])
    if last - journal.present > _BEHIND:
        behind = format_duration((last - journal.present) // SECOND * SECOND)
        click.echo(
            f"clock: this one says {now}; the last entry was recorded {behind} later, by another clock:"
            " one of them is wrong. This event is taken to have happened now: if not, correct it with --at.",
            err=True,
        )
    return journal.present


def write(session: s.Session, journal: Journal, event: Event) -> Entry:
    """Record one event, unless only a dry run is asked for. Refused when it is impossible."""
    entries: list[Entry] = []
    journal.take([(event.action, event)], dry_run=session.dry_run, each=entries.append)
    return entries[0]


def with_values(words: tuple[str, ...], values: tuple[str, ...]) -> tuple[str, ...]:
    """Return an action's words with the values of --value."""
    for value in values:
        if "=" not in value:
            raise click.UsageError(
                f"Write --value as NAME=VALUE, as in --value voltage='0 V'; found {value}."
            )
        if words[0] == "remark":
            raise click.UsageError("A remark takes no value: record a measure.")
    return (*words, *values)


# --- what was said ------------------------------------------------------------------------------------------------


def said_event(
    session: s.Session,
    journal: Journal,
    words: Sequence[str],
    happened: int,
    event_id: str | None,
    said: Said,
) -> Event:
    """Return the event that words and options say. BadInput, or NoAnswer when all that is wrong is a name."""
    from cfgtrack.files.phrase import parse_phrase
    from cfgtrack.model.trouble import BadInput

    try:
        event = parse_phrase(
            words, journal.plant(), id=event_id or new_id(), happened=happened, where=words[0]
        )
    except BadInput as err:
        raise no_answer_if_unknown(err) from None
    told: dict[str, Any] = {name: value for name, value in {**said, "by": session.by}.items() if value}
    _expect_once(event, told, words[0])
    return replace(event, **{"recorder": event.recorder or session.recorded_by, **told})


def _expect_once(event: Event, told: dict[str, Any], where: str) -> None:
    """Raise BadInput for what the words say one way and an option another way."""
    from cfgtrack.model.trouble import BadInput, Problem

    problems = [
        Problem(where, "duplicate", f"{name} is given twice: {getattr(event, name)} and {told[name]}")
        for name in ("by", "outing", "remark")
        if getattr(event, name) and told.get(name, getattr(event, name)) != getattr(event, name)
    ]
    if problems:
        raise BadInput(problems)


def no_answer_if_unknown(err: BadInput) -> BadInput | NoAnswer:
    """Return the trouble to raise: there is no answer when all that is wrong is that a thing is unknown."""
    from cfgtrack.model.trouble import NoAnswer

    return NoAnswer(err.problems) if all(p.code in _UNKNOWN for p in err.problems) else err


def new_id() -> str:
    """Return an id that nobody else makes: 60 random bits, in letters that can be read out over a radio."""
    number = int.from_bytes(os.urandom(8)) >> 4
    letters = "".join(_LETTERS[(number >> shift) & 31] for shift in range(55, -1, -5))
    return f"{letters[:4]}-{letters[4:8]}-{letters[8:]}"
