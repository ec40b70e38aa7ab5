"""`audit`, `head`, `prove`, `verify`: why the record can be believed."""

from __future__ import annotations

from typing import Any

import click

from cfgtrack.cli import session as s

kept_option = click.option(
    "--kept", metavar="HEAD|FILE", help="A head that was kept elsewhere: its text, or the file that holds it."
)


_STATUS = {True: 0, False: 3, None: 4}
"""How verifying ends, by whether the proof is of the head that was kept."""


@s.command("audit")
@kept_option
@click.option("--state/--no-state", default=True, help="Compare the derived states too.")
def audit_command(session: s.Session, /, *, kept: str | None, state: bool) -> None:
    """Compute everything anew - events, tree, heads, states - and name the first bad event, if there is one.

    What refuses changes in the database is compared with what it was made as. For each fault it says what to do next.
    Against --kept, also whether the journal still begins with what that head stood for. Exit status 3 with a fault.
    """
    from cfgtrack.answers.trust import audit
    from cfgtrack.show.trust import audit_text

    found = audit(session.asking, kept=kept, state=state)
    session.answer(found, lambda: audit_text(found))
    session.end(found=found.faults)


@click.group("head", invoke_without_command=True)
@s.shared("--db", metavar="PATH|URL", help="The database; else $CFGTRACK_DB.")
@s.shared("--json", is_flag=True, help="Answer in JSON.")
@click.pass_context
def head_command(ctx: click.Context) -> None:
    """Print the tree head: one line that stands for everything recorded so far. Keep it elsewhere.

    Every console remembers by itself the largest head that it has seen of a journal, and says so when that is not what
    it finds: `head forget` is for whoever knows why.
    """
    if ctx.invoked_subcommand is not None:
        return
    from cfgtrack.answers.trust import head

    session = ctx.ensure_object(s.Session)
    found = head(session.asking)
    session.answer(found, lambda: found.head.text)


@s.command("forget", group=head_command)
@click.option("--reason", metavar="TEXT", required=True, help="Why what is here now is right.")
def forget_(session: s.Session, /, reason: str) -> None:
    """Forget what this console has seen of the journal: it remembers what is there now instead, and your reason.

    For a backup that was restored, or a new journal in the place of an old one.
    """
    from cfgtrack.answers.trust import forget
    from cfgtrack.show.trust import forgotten_text

    found = forget(session.asking, reason=reason)
    session.tell(lambda: forgotten_text(found), found)


@s.command("prove")
@click.argument("event_id", metavar="EVENT-ID", required=False)
@kept_option
def prove_command(session: s.Session, /, *, event_id: str | None, kept: str | None) -> None:
    """Print a proof, as JSON, for somebody who doesn't have the database: they run `verify` on it.

    With an event: that it is in the journal. With --kept alone: that the journal only grew since that head.
    """
    from cfgtrack.answers.trust import prove, prove_growth

    if event_id is not None and kept is None:
        session.print_json(prove(session.asking, event_id))
    elif kept is not None and event_id is None:
        session.print_json(prove_growth(session.asking, kept))
    else:
        raise click.UsageError("Name an event, or a head with --kept.")


@s.command("verify")
@click.argument("proof", metavar="FILE|-", type=click.File(encoding="utf-8"))
@kept_option
def verify_command(session: s.Session, /, *, proof: Any, kept: str | None) -> None:
    """Verify a proof made by `prove`, without any database. With --kept: that it is of the same journal.

    It prints what is proved: which event, in words, or from where on the journal grew. Exit status 3 when it is of
    another head; 4 without --kept: a proof that agrees with itself anybody can make, of a journal of his own.
    """
    from cfgtrack.answers.trust import verify
    from cfgtrack.show.trust import verified_text

    found = verify(proof, kept=kept)
    session.tell(lambda: verified_text(found), found)
    session.end(status=_STATUS[found.is_kept])
