"""`correct`, `withdraw`, `explain`, `approve`: nothing is edited; each is an event of its own, with its reason."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

import click

from cfgtrack.cli import session as s
from cfgtrack.cli.consequence import Consequence, consequence_of_correction, tell
from cfgtrack.cli.record import (
    Said,
    describing,
    new_id,
    said_event,
    said_time,
    with_values,
    words_argument,
    write,
)

if TYPE_CHECKING:
    from cfgtrack.model.event import Event
    from cfgtrack.store.journal import Journal

_event_argument = click.argument("target", metavar="EVENT-ID")
_reason = click.option("--reason", metavar="TEXT", required=True, help="Why.")
_on_record = s.options(
    _reason,
    s.shared("--at", metavar="TIME", help="When it was decided; else now."),
    s.authored,
    click.option("--id", "event_id", metavar="ID", help="The new event's own id."),
    s.dry_run,
)


@s.command("correct")
@_event_argument
@words_argument
@_reason
@s.shared("--at", metavar="TIME", help="When it really happened; else as was recorded.")
@describing
def correct_command(
    session: s.Session,
    /,
    target: str,
    words: tuple[str, ...],
    values: tuple[str, ...],
    event_id: str | None,
    **said: str | None,
) -> None:
    """Correct a recorded event by what really happened, in the words of `record`.

    The old event stays in the journal and no longer counts. What isn't said anew is taken from it: its time, its
    outing, who did it, how well it is known, its remark.
    """
    with session.write() as journal:
        old = expect_event(journal, target)
        told = Said(
            outing=session.outing,
            basis=said["basis"] or old.basis,
            remark=said["remark"],
            supersedes=target,
            reason=said["reason"],
        )
        session.outing = session.outing or old.outing
        happened = old.happened if session.at is None else session.instant(journal, session.at, option="--at")
        event = said_event(session, journal, with_values(words, values), happened, event_id, told)
        taken_over = {name: getattr(event, name) or getattr(old, name) for name in ("by", "outing", "remark")}
        _tell(session, journal, replace(event, **taken_over))


def expect_event(journal: Journal, event_id: str) -> Event:
    """Return the event with this id, in effect or not. NoAnswer when there is none."""
    from cfgtrack.model.trouble import NoAnswer, Problem

    entry = journal.entry(event_id)
    if entry is None:
        raise NoAnswer(Problem(event_id, "no-such-event", f"there is no event {event_id} in this journal"))
    return entry.event


def _tell(session: s.Session, journal: Journal, event: Event) -> None:
    """Record an event on the record itself. Of a correction, tell what it broke as the past now stands."""
    entry = write(session, journal, event)
    corrects = event.supersedes or event.withdraws
    found = consequence_of_correction(journal, entry) if corrects and not session.dry_run else Consequence()
    tell(session, journal, entry, found)


def _on_the_record(
    session: s.Session, journal: Journal, action: str, event_id: str | None, **fields: Any
) -> Event:
    """Return an event on the record itself: at --at, else now, whatever the record says of the future."""
    from cfgtrack.model.event import Event

    said = said_time(session, journal, event_id)
    fields = {"happened": journal.present if said is None else said, "subjects": (), **fields}
    return Event(
        id=event_id or new_id(), action=action, by=session.by, recorder=session.recorded_by, **fields
    )


@s.command("withdraw")
@_event_argument
@_on_record
def withdraw_command(session: s.Session, /, target: str, reason: str, event_id: str | None) -> None:
    """Withdraw a recorded event that did not happen. It stays in the journal and no longer counts."""
    with session.write() as journal:
        expect_event(journal, target)
        _tell(
            session,
            journal,
            _on_the_record(session, journal, "withdraw", event_id, withdraws=target, reason=reason),
        )


@s.command("explain")
@_event_argument
@_on_record
def explain_command(session: s.Session, /, target: str, reason: str, event_id: str | None) -> None:
    """Explain an as-found event that contradicted the record: its discrepancy is then closed."""
    with session.write() as journal:
        expect_event(journal, target)
        _tell(
            session,
            journal,
            _on_the_record(session, journal, "explain", event_id, explains=target, reason=reason),
        )


@s.command("approve")
@click.argument("subjects", metavar="[SUBJECT]...", nargs=-1, shell_complete=s.complete_id)
@click.option("--rule", metavar="RULE", help="The rule that the exception is to.")
@click.option("--finding", metavar="FINGERPRINT", help="The one finding that the exception is to.")
@click.option("--from", "start", metavar="TIME", help="From when on; else from --at.")
@click.option("--until", "end", metavar="TIME", help="Until when; else until further notice.")
@_on_record
def approve_command(
    session: s.Session,
    /,
    subjects: tuple[str, ...],
    rule: str | None,
    finding: str | None,
    start: str | None,
    end: str | None,
    reason: str,
    event_id: str | None,
) -> None:
    """Approve an exception (a variance) to a rule or to one finding, for subjects and a span of time.

    Findings under it are shown apart, never hidden, and come back when it ends. --by says who approves.
    """
    if (rule is None) == (finding is None):
        raise click.UsageError("Name the rule with --rule, or the finding with --finding.")
    if not session.by:
        raise click.UsageError("Say who approves with --by.")
    with session.write() as journal:
        if rule is not None:
            _expect_rule(journal, rule)
        body: dict[str, Any] = {"rule": rule} if rule is not None else {"fingerprint": finding}
        for name, text, option in (("start", start, "--from"), ("end", end, "--until")):
            if text is not None:
                body[name] = session.instant(journal, text, option=option)
        if "start" in body and body.get("end", body["start"] + 1) <= body["start"]:
            raise click.UsageError("--until must be later than --from.")
        event = _on_the_record(
            session, journal, "approve", event_id, subjects=subjects, body=body, reason=reason
        )
        _tell(session, journal, event)


def _expect_rule(journal: Journal, rule_id: str) -> None:
    from cfgtrack.answers.past import kept_rules
    from cfgtrack.answers.rules import find_rule

    find_rule(kept_rules(journal, None), rule_id)
