"""`findings` and `review`: what is open now, and everything that ever broke a rule."""

from __future__ import annotations

from cfgtrack.cli import session as s
from cfgtrack.cli.telling import told_in_full, wanted_of


@s.command("findings")
@told_in_full
@s.asked_at
def findings_command(session: s.Session, *, details: bool, numbers: tuple[int, ...]) -> None:
    """Show what is open: rules that are broken and not put right, running clocks, discrepancies not explained.

    Exit status 3 when a finding is open, 0 when none is.
    """
    from cfgtrack.answers.review import findings
    from cfgtrack.show.findings import open_text

    found = findings(session.asking)
    wanted = wanted_of(details=details, numbers=numbers)
    session.answer(found, lambda: open_text(found, wanted=wanted, colour=session.colour))
    session.end(found=found.findings)


@s.command("review")
@told_in_full
@s.asked_at
def review_command(session: s.Session, *, details: bool, numbers: tuple[int, ...]) -> None:
    """Judge the whole recorded past by the rules kept: everything that ever broke one, and for how long.

    Exit status 3 when there is a finding, 0 when there is none.
    """
    from cfgtrack.answers.review import review
    from cfgtrack.show.findings import review_text

    found = review(session.asking)
    wanted = wanted_of(details=details, numbers=numbers)
    session.answer(found, lambda: review_text(found, wanted=wanted, colour=session.colour))
    session.end(found=found.findings)
