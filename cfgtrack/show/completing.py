"""Completing as text: the verdict before and after, what was added, and what could not be completed."""

from __future__ import annotations

from collections.abc import Iterator

from cfgtrack.answers.completing import CompletedAnswer
from cfgtrack.show.findings import caution
from cfgtrack.show.tables import count, heading, labelled, sections, table, titled


def completed_text(found: CompletedAnswer) -> str:
    """Return what was added to a sequence, and what it still lacks."""
    rows = [[one.step, one.outing, one.track, one.action, ", ".join(one.after)] for one in found.added]
    left = [[one.step or one.outing, one.why] for one in found.not_completed]
    return sections(
        "\n".join([heading(_verdict(found), found.moment, colour=False), *_grounds(found)]),
        titled("Added", table(["step", "outing", "track", "what", "after"], rows)) if rows else "",
        titled("Not completed", table(["where", "why"], left)) if left else "",
        caution(),
    )


def _verdict(found: CompletedAnswer) -> str:
    return f"{found.verdict.capitalize()} {found.said_for}, with {count(len(found.added), 'step')} added"


def _grounds(found: CompletedAnswer) -> Iterator[str]:
    yield labelled("before:", found.before)
    assumed = sum(one.assumed for one in found.added)
    if assumed:
        yield labelled("assumed:", f"{count(assumed, 'duration')} of 5 min")
    if found.file:
        yield labelled("written:", found.file)
