"""`findings` and `review`: what is open now, and everything that ever broke a rule."""

from __future__ import annotations

from typing import TYPE_CHECKING

from cfgtrack.cli import session as s
from cfgtrack.cli.state import entry_json

if TYPE_CHECKING:
    from cfgtrack.cli.past import Past


@s.command("findings")
@s.asked_at
def findings_command(session: s.Session) -> None:
    """Show what is open: rules that are broken and not put right, running clocks, discrepancies not explained.

    Exit status 3 when a finding is open, 0 when none is.
    """
    from cfgtrack.cli.past import Past, rules_to_judge_by
    from cfgtrack.show.findings import clocks_text, findings_text
    from cfgtrack.show.record import discrepancies_text

    with session.read() as journal:
        moment = session.moment(journal)
        past = Past(journal, moment)
        rules_to_judge_by(past)
        plain, excused = (
            sorted((f for f in found if f.is_open), key=lambda f: (f.severity, f.time))
            for found in past.findings()
        )
        clocks = past.clocks()
        contradicted = journal.discrepancies(moment.at, moment.known)
    session.answer(
        moment,
        lambda: "\n\n".join(
            text
            for text in (
                findings_text([*plain, *excused], moment, checked=checked(past), colour=session.colour),
                clocks_text(clocks, moment, colour=session.colour),
                discrepancies_text(contradicted, moment),
            )
            if text
        ),
        lambda: {
            "findings": [f.to_json() for f in plain],
            "excused": [f.to_json() for f in excused],
            "clocks": [c.to_json() for c in clocks],
            "discrepancies": [entry_json(e) for e in contradicted],
        },
    )
    session.end(found=plain)


def checked(past: Past) -> str:
    """Return what was judged, for the head of an answer."""
    return f"{len(past.start.history)} events, {len(past.rules.rules)} rules"


@s.command("review")
@s.asked_at
def review_command(session: s.Session) -> None:
    """Judge the whole recorded past by the rules kept: everything that ever broke one, and for how long.

    Exit status 3 when there is a finding, 0 when there is none.
    """
    from cfgtrack.cli.past import Past, rules_to_judge_by

    with session.read() as journal:
        past = Past(journal, session.moment(journal))
        rules_to_judge_by(past)
        session.end(found=tell_past(session, past))


def tell_past(session: s.Session, /, past: Past) -> bool:
    """Print every finding of the past; return whether one stands that no variance covers."""
    from cfgtrack.show.findings import findings_text

    plain, excused = past.findings()
    found = [*plain, *excused]
    session.answer(
        past.moment,
        lambda: findings_text(found, past.moment, checked=checked(past), colour=session.colour),
        lambda: {
            "findings": [f.to_json() for f in plain],
            "excused": [f.to_json() for f in excused],
            "events": len(past.start.history),
            "rules": len(past.rules.rules),
        },
    )
    return bool(plain)
