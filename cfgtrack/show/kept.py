"""Kept checks as text: a line each, and what of what they stood on is otherwise."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from cfgtrack.analysis.comparison import ClockLeft, Comparison, Differs, FindingTold, SteppedTold
from cfgtrack.answers.kept import ChecksAnswer, ComparedAnswer, KeptStanding
from cfgtrack.model.kept import KeptCheck
from cfgtrack.model.time import SECOND, format_instant
from cfgtrack.show.findings import names_text, severity_word
from cfgtrack.show.tables import count, heading, indented, labelled, sections, span_text, table, titled

_MARGINS = 8
"""So many margins are told."""

_TOLD = 3
"""So many changes are told of a check where all checks are listed."""


def checks_text(found: ChecksAnswer, *, in_full: bool) -> str:
    """Return the checks that are kept, the last first; of few `in_full` all that changed."""
    stale = sum(one.stale for one in found.checks if one.again is None)
    what = f"{count(len(found.checks), 'kept check')}{f', {stale} STALE' if stale else ''}"
    rows = [
        [
            one.check.name,
            one.check.verdict,
            _standing(one),
            format_instant(one.check.at),
            one.check.by or one.check.recorder,
            one.check.event,
        ]
        for one in found.checks
    ]
    return sections(
        heading(what, found.moment, colour=False),
        table(["name", "verdict", "stands", "checked for", "kept by", "event"], rows),
        *("\n".join(_told(one, in_full=in_full)) for one in found.checks if one.stale and one.again is None),
        *("\n".join(_stood_on(one.check)) for one in found.checks if in_full),
        indented(
            f"Compared with {found.file}."
            if found.file
            else "Of each text as it was kept; not compared with any file (--file F does).",
            by=0,
        ),
    )


def _standing(one: KeptStanding) -> str:
    if one.again is not None:
        return f"checked again: {one.again}"
    return "STALE" if one.stale else "holds"


def _told(one: KeptStanding, *, in_full: bool) -> Iterator[str]:
    shown = one.changes if in_full else one.changes[:_TOLD]
    yield indented(f"{one.check.name} is stale: {count(len(one.changes), 'change')} since", by=0)
    for change in shown:
        yield labelled(f"{change.event or change.code}:", change.sentence, to=18)
    if len(one.changes) > len(shown):
        yield indented(f"and {len(one.changes) - len(shown)} more: cfgtrack checks {one.check.name}")


def _stood_on(kept: KeptCheck) -> Iterator[str]:
    yield indented(f"{kept.name} stood on", by=0)
    yield labelled("sequence:", f"sha256 {kept.sha256}", to=18)
    yield labelled("rules:", f"sha256 {kept.rules}", to=18)
    yield labelled("head:", kept.head, to=18)
    yield labelled("program:", f"cfgtrack {kept.tool}", to=18)


def kept_text(kept: KeptCheck | None) -> str:
    """Return in a line what was kept of a check, "" for nothing."""
    if kept is None:
        return ""
    return labelled("kept:", f"as {kept.name}, in event {kept.event}, on head {kept.head}", by=0, to=14)


# --- two revisions compared -----------------------------------------------------------------------------------------


def compared_text(found: ComparedAnswer) -> str:
    """Return what differs between two revisions of a sequence."""
    what = found.comparison
    if what.same:
        short = "No step differs"
    else:
        counts = (
            (len(what.added), "added"),
            (len(what.dropped), "dropped"),
            (len(what.moved), "moved"),
            (len(what.changed), "changed"),
        )
        short = "Steps: " + (", ".join(f"{n} {word}" for n, word in counts if n) or "none differs")
    judged = f"{count(len(what.gained), 'finding')} gained, {len(what.lost) or 'none'} lost"
    if found.judged_nothing == "both":
        judged = "nothing was judged in either"
    elif found.judged_nothing:
        judged = f"nothing was judged in {found.judged_nothing}: {judged}"
    sides = [
        [label, side.name, count(side.steps, "step"), f"{side.verdict} {side.said_for}", side.sha256[:12]]
        for label, side in (("A", found.before), ("B", found.after))
    ]
    return sections(
        heading(f"{short}; {judged}", found.moment, colour=False),
        table(["", "revision", "steps", "verdict", "sha256"], sides),
        titled("Added", _steps(what.added)),
        titled("Dropped", _steps(what.dropped)),
        titled("Moved on their track", _steps(what.moved)),
        titled("Changed", "\n".join(_changed(what))),
        titled("Outings", "\n".join(labelled(one.what, _both(one), to=18) for one in what.outings)),
        titled("Findings gained", _findings(what.gained)),
        titled("Findings lost", _findings(what.lost)),
        titled("Clocks that are now left running", _clocks(what.left_running)),
        titled("Clocks no longer left running", _clocks(what.stopped)),
        titled("Clocks and budgets, the least that is left", _margins(what)),
    )


def _steps(steps: Sequence[SteppedTold]) -> str:
    return table(["step", "outing", "track", "what"], [[s.step, s.outing, s.track, s.action] for s in steps])


def _changed(what: Comparison) -> Iterator[str]:
    for one in what.changed:
        name = f"{one.step} (was {one.was})" if one.was else one.step
        yield labelled(name, "; ".join(f"{d.what}: {_both(d)}" for d in one.differs), to=18)


def _both(one: Differs) -> str:
    return f"{one.before or 'none'} -> {one.after or 'none'}"


def _findings(findings: Sequence[FindingTold]) -> str:
    rows = [
        [
            severity_word(f.severity),
            f.rule,
            f.step and f"step {f.step}",
            f.headline,
            names_text(f.fingerprints),
        ]
        for f in findings
    ]
    return table(["severity", "rule", "at", "what", "finding"], rows)


def _clocks(clocks: Sequence[ClockLeft]) -> str:
    return table(["of", "rule"], [[one.subject, one.rule] for one in clocks])


def _margins(what: Comparison) -> str:
    rows = [
        [one.subject, one.rule, _left(one.before_seconds), _left(one.after_seconds)]
        for one in what.margins[:_MARGINS]
    ]
    more = len(what.margins) - _MARGINS
    return "\n".join(
        filter(
            None,
            [
                table(["of", "rule", "A", "B"], rows),
                indented(f"and {more} more: --json lists all") if more > 0 else "",
            ],
        )
    )


def _left(seconds: float | None) -> str:
    return "not met" if seconds is None else span_text(round(seconds * SECOND))
