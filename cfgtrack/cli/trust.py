"""`audit`, `head`, `prove`, `verify`: why the record can be believed."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from cfgtrack.cli import session as s
from cfgtrack.files.source import decode

if TYPE_CHECKING:
    from cfgtrack.store.audit import AuditReport
    from cfgtrack.store.proof import Head

_MOST_OF_A_HEAD = 1_000
"""A file that holds a head holds no more bytes than these before its end."""

kept_option = click.option(
    "--kept", metavar="HEAD|FILE", help="A head that was kept elsewhere: its text, or the file that holds it."
)


def read_head(kept: str) -> Head:
    """Return the head that an option gives, as a text or as a file. BadInput when it is neither."""
    from cfgtrack.model.trouble import Problems
    from cfgtrack.store.proof import Head

    path = Path(kept)
    if not path.is_file():
        return Head.parse(kept)
    problems = Problems()
    with path.open("rb") as file:
        text = decode(file.read(_MOST_OF_A_HEAD), kept, problems)
    problems.raise_if_any()
    return Head.parse((text or "").strip())


def head_json(head: Head) -> dict[str, Any]:
    """Return a head as a JSON object."""
    return {"size": head.size, "root": head.root.hex(), "known": head.known, "text": head.text()}


@s.command("audit")
@kept_option
@click.option("--state/--no-state", default=True, help="Compare the derived states too.")
def audit_command(session: s.Session, /, *, kept: str | None, state: bool) -> None:
    """Compute everything anew - events, tree, heads, states - and name the first bad event, if there is one.

    Against --kept, also whether the journal still begins with what that head stood for. Exit status 3 with a fault.
    """
    from cfgtrack.show.moment import Moment
    from cfgtrack.store.audit import audit

    head = None if kept is None else read_head(kept)
    with session.read() as journal:
        report = audit(journal.database, kept=head, state=state)
        # A journal that isn't sound may not be able to tell its last event.
        moment = session.moment(journal) if report.is_sound else Moment(session.now)
    session.answer(
        moment,
        lambda: f"{_audit_text(report)}\n  ({moment})",
        lambda: {
            "sound": report.is_sound,
            "events": report.events,
            "head": None if report.head is None else head_json(report.head),
            "faults": [
                {"number": f.number, "event": f.event, "code": f.code, "sentence": f.sentence}
                for f in report.faults
            ],
        },
    )
    session.end(found=report.faults)


def _audit_text(report: AuditReport) -> str:
    if report.is_sound:
        lines = [f"sound: {report.events} events are as they were recorded"]
    else:
        lines = [f"NOT SOUND: {len(report.faults)} faults"]
    for fault in report.faults:
        where = f"event {fault.event} (number {fault.number})" if fault.number is not None else "the journal"
        lines.append(f"  {where}: {fault.code}: {fault.sentence}")
    if report.head is not None:
        lines.append(f"head to keep elsewhere: {report.head.text()}")
    return "\n".join(lines)


@s.command("head")
def head_command(session: s.Session, /) -> None:
    """Print the tree head: one line that stands for everything recorded so far. Keep it elsewhere."""
    from cfgtrack.store.proof import current_head

    with session.read() as journal:
        moment = session.moment(journal)
        head = current_head(journal.database)
    session.answer(moment, head.text, lambda: {"head": head_json(head)})


@s.command("prove")
@click.argument("event_id", metavar="EVENT-ID", required=False)
@kept_option
def prove_command(session: s.Session, /, *, event_id: str | None, kept: str | None) -> None:
    """Print a proof, as JSON, for somebody who doesn't have the database: they run `verify` on it.

    With an event: that it is in the journal. With --kept alone: that the journal only grew since that head.
    """
    from cfgtrack.store.proof import prove, prove_consistency

    if (event_id is None) == (kept is None):
        raise click.UsageError("Name an event, or a head with --kept.")
    with session.read() as journal:
        if event_id is not None:
            session.print_json(prove(journal.database, event_id))
        elif kept is not None:
            session.print_json(prove_consistency(journal.database, read_head(kept)))


@s.command("verify")
@click.argument("proof", metavar="FILE|-", type=click.File(encoding="utf-8"))
@kept_option
def verify_command(session: s.Session, /, *, proof: Any, kept: str | None) -> None:
    """Verify a proof made by `prove`, without any database. With --kept: that it is of the same journal.

    Exit status 3 when the proof is good but of another head.
    """
    import json

    from cfgtrack.model.trouble import BadInput, Problem
    from cfgtrack.store.proof import verify_proof

    try:
        data = json.load(proof)
    except (ValueError, RecursionError) as err:
        raise BadInput([Problem(proof.name, "syntax", f"expected a proof as JSON: {err}")]) from None
    head = verify_proof(data)
    wanted = head if kept is None else read_head(kept)
    same = (wanted.size, wanted.root) == (head.size, head.root)
    if session.json:
        session.print_json({"verified": True, "head": head_json(head), "is_kept": same if kept else None})
    else:
        click.echo(f"verified under the head {head.text()}")
        if not same:
            click.echo("this is NOT the head that was kept")
    session.end(found=not same)
