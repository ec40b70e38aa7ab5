"""Kept checks as text: a line each, and what of what they stood on is otherwise."""

from __future__ import annotations

from collections.abc import Iterator

from cfgtrack.answers.kept import ChecksAnswer, KeptStanding
from cfgtrack.model.kept import KeptCheck
from cfgtrack.model.time import format_instant
from cfgtrack.show.tables import count, heading, indented, labelled, sections, table

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
