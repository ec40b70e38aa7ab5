"""`correct`, `withdraw`, `retire`, `explain`, `approve`, `acknowledge`: nothing is edited; each has its reason."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from cfgtrack.cli import session as s
from cfgtrack.cli.record import describing, tell, with_values, words_argument

if TYPE_CHECKING:
    from cfgtrack.answers.amend import Ruled

_event_argument = click.argument("target", metavar="EVENT-ID")
_reason = click.option("--reason", metavar="TEXT", required=True, help="Why.")
_on_record = s.options(
    _reason,
    s.shared("--at", metavar="TIME", help="When it was decided; else now."),
    s.authored,
    s.sure,
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


@s.command("retire")
@click.argument("unit", metavar="UNIT", shell_complete=s.complete_id)
@_reason
@s.shared("--at", metavar="TIME", help="From when on; else from now.")
@s.authored
@click.option("--id", "event_id", metavar="ID", help="The new event's own id.")
@s.dry_run
def retire_command(session: s.Session, /, unit: str, reason: str, event_id: str | None) -> None:
    """Retire a unit: from then on it is no longer of the plant.

    It must be joined to nothing then. The time before stays as it was, and `state` goes on to say that it is retired.
    A retirement that never was is withdrawn, as every event is; a unit that comes back is loaded:
    `load FILE --effective TIME --reason TEXT --back UNIT`.
    """
    from cfgtrack.answers.amend import retire

    tell(session, retire(session.writing, unit, reason=reason, event_id=event_id))


@s.command("explain")
@_event_argument
@_on_record
def explain_command(session: s.Session, /, target: str, reason: str, event_id: str | None) -> None:
    """Explain an as-found event that contradicted the record: its discrepancy is then closed."""
    from cfgtrack.answers.amend import explain

    tell(session, explain(session.writing, target, reason=reason, event_id=event_id))


@s.command("approve")
@click.argument("subjects", metavar="[SUBJECT]...", nargs=-1, shell_complete=s.complete_id)
@click.option(
    "--finding",
    "findings",
    metavar="FINGERPRINT",
    multiple=True,
    help="A finding that the exception is to; may be given again.",
)
@click.option(
    "--rule", metavar="RULE", help="All that this rule finds, of the subjects where they are given."
)
@click.option(
    "--count",
    type=click.IntRange(min=1),
    metavar="N",
    help="How many findings of the rule are meant, where they are more than ten.",
)
@click.option(
    "--second",
    metavar="EVENT-ID",
    help="All that this approval names, for as long as it says, as the second who approves it.",
)
@click.option(
    "--plan",
    metavar="SEQUENCE.toml",
    type=click.Path(path_type=Path),
    help="Of what this sequence would break; else of what is recorded.",
)
@click.option("--do", "action", metavar="ACTION", help="Of what this single action would break.")
@click.option("--from", "start", metavar="TIME", help="From when on; else from --at.")
@click.option(
    "--until",
    "end",
    metavar="TIME",
    help="Until when; else until further notice, for every later time that the same is broken anew.",
)
@_on_record
def approve_command(
    session: s.Session,
    /,
    subjects: tuple[str, ...],
    findings: tuple[str, ...],
    rule: str | None,
    count: int | None,
    second: str | None,
    plan: Path | None,
    action: str | None,
    **told: Any,
) -> None:
    """Approve an exception (a variance) to findings that are there, for a span of time. --by says who approves.

    Findings under it are shown by themselves, never hidden, and come back when it ends; what it doesn't name is not
    under it. While it runs it excuses each time that what it names is broken, and every answer says where that was
    anew. The findings are those of the past, or of a plan: what was approved on the plan holds when it is recorded. A
    step that can't be done is nothing to approve (3). What is catastrophic is approved by --finding alone.

    Where the rule needs two, it excuses nothing until a second person has approved the same: --second EVENT-ID. Nobody
    may have a hand in both, not as recorder either.
    """
    from cfgtrack.answers.amend import AllOf, SecondTo, approve

    if sum((rule is not None, bool(findings), second is not None)) != 1:
        raise click.UsageError(
            "Name the findings with --finding, the rule that finds them with --rule, or the approval to be the second"
            " to with --second."
        )
    if rule is None and (subjects or count is not None):
        raise click.UsageError(
            "What is named says what it is about, and is counted: SUBJECT and --count go with --rule."
        )
    if plan is not None and action is not None:
        raise click.UsageError("Give a sequence file with --plan, or a single action with --do.")
    meant: Any = findings
    if rule is not None:
        meant = AllOf(rule, subjects, count)
    elif second is not None:
        meant = SecondTo(second)
    found = approve(session.writing, meant, plan=plan or action, **told)
    _tell_ruled(session, found)


@s.command("acknowledge")
@click.argument("findings", metavar="FINGERPRINT...", nargs=-1, required=True)
@_on_record
def acknowledge_command(
    session: s.Session, /, findings: tuple[str, ...], reason: str, event_id: str | None
) -> None:
    """Acknowledge findings of the past by their fingerprints: they have been seen, and the reason says why that is all.

    They stay findings, and are shown with who acknowledged them, when and why. It excuses nothing that comes later.
    """
    from cfgtrack.answers.amend import acknowledge

    _tell_ruled(session, acknowledge(session.writing, findings, reason=reason, event_id=event_id))


def _tell_ruled(session: s.Session, found: Ruled) -> None:
    from cfgtrack.show.record import ruled_text

    session.answer(found, lambda: ruled_text(found, colour=session.colour))
