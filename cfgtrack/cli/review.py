"""`findings` and `review`: what is open now, and everything that ever broke a rule."""

from __future__ import annotations

from cfgtrack.cli import session as s


@s.command("findings")
@s.asked_at
def findings_command(session: s.Session) -> None:
    """Show what is open: rules that are broken and not put right, running clocks, discrepancies not explained.

    Exit status 3 when a finding is open, 0 when none is.
    """
    from cfgtrack.answers.review import findings
    from cfgtrack.show.findings import open_text

    found = findings(session.asking)
    session.answer(found, lambda: open_text(found, colour=session.colour))
    session.end(found=found.findings)


@s.command("review")
@s.asked_at
def review_command(session: s.Session) -> None:
    """Judge the whole recorded past by the rules kept: everything that ever broke one, and for how long.

    Exit status 3 when there is a finding, 0 when there is none.
    """
    from cfgtrack.answers.review import review
    from cfgtrack.show.findings import review_text

    found = review(session.asking)
    session.answer(found, lambda: review_text(found, colour=session.colour))
    session.end(found=found.findings)
