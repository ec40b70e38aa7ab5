"""`correct`, `withdraw`, `explain`, `approve`: nothing is edited; each is an event of its own, with its reason."""

from __future__ import annotations

import click

from cfgtrack.cli import session as s
from cfgtrack.cli.record import describing, tell, with_values, words_argument

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
@click.option(
    "--and",
    "others",
    metavar='EVENT-ID "WORDS"',
    type=(str, str),
    multiple=True,
    help="Another event to correct, with what really happened: all are recorded as one, or none.",
)
@describing
def correct_command(
    session: s.Session,
    /,
    target: str,
    words: tuple[str, ...],
    values: tuple[str, ...],
    event_id: str | None,
    reason: str,
    basis: str | None,
    remark: str | None,
    others: tuple[tuple[str, str], ...],
) -> None:
    """Correct a recorded event by what really happened, in the words of `record`.

    The old event stays in the journal and no longer counts. What isn't said anew is taken from it: its time, its
    outing, who did it, how well it is known, its remark.

    \b
    correct E7 shut WALL:V --and E8 "open WALL:V" --reason "the other way round"

    corrects two events as one, each of which may be impossible alone. --at, --value, --basis and --remark are about the
    first; with --id X the next are X-2, X-3.
    """
    from cfgtrack.answers.amend import correct

    words = with_values(words, values)
    found = correct(
        session.writing,
        target,
        words,
        reason=reason,
        event_id=event_id,
        basis=basis,
        remark=remark,
        others=others,
    )
    tell(session, found)


@s.command("withdraw")
@_event_argument
@_on_record
def withdraw_command(session: s.Session, /, target: str, reason: str, event_id: str | None) -> None:
    """Withdraw a recorded event that did not happen. It stays in the journal and no longer counts."""
    from cfgtrack.answers.amend import withdraw

    tell(session, withdraw(session.writing, target, reason=reason, event_id=event_id))


@s.command("explain")
@_event_argument
@_on_record
def explain_command(session: s.Session, /, target: str, reason: str, event_id: str | None) -> None:
    """Explain an as-found event that contradicted the record: its discrepancy is then closed."""
    from cfgtrack.answers.amend import explain

    tell(session, explain(session.writing, target, reason=reason, event_id=event_id))


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
    from cfgtrack.answers.amend import approve

    found = approve(
        session.writing,
        subjects,
        reason=reason,
        rule=rule,
        finding=finding,
        start=start,
        end=end,
        event_id=event_id,
    )
    tell(session, found)
