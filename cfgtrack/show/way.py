"""A way as text: first whether there is one and how short it is, then its steps; or what forbids it."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from cfgtrack.analysis.goal import TIME
from cfgtrack.analysis.search import INTERRUPTED
from cfgtrack.model.time import format_duration, format_instant
from cfgtrack.show.asked import shown_moment
from cfgtrack.show.findings import caution, severity_word
from cfgtrack.show.tables import count, heading, labelled, sections, table, titled

if TYPE_CHECKING:
    from cfgtrack.answers.way import WayAnswer


def way_text(way: WayAnswer, *, colour: bool = False) -> str:
    """Return a way, its steps, and how it was found."""
    rules = [[severity_word(one.severity), one.rule, one.title] for one in way.forbidden]
    return sections(
        "\n".join(_head(way, colour=colour)),
        table(["step", "from", "to", "whose", "what", "after"], list(_rows(way))) if way.steps else "",
        titled(
            "Forbidden by these together" if rules[1:] else "Forbidden by",
            table(["severity", "rule", "what it asks"], rules),
        )
        if rules
        else "",
        titled("Impossible, whatever the rules", "\n".join(f"  {one}" for one in way.impossible))
        if way.impossible
        else "",
        caution() if way.steps else "",
    )


def verdict_text(way: WayAnswer) -> str:
    """Return in a line whether there is a way, and how short it is."""
    if way.is_so:
        return "Nothing to do: all that is wanted is so"
    if way.found:
        how_many = count(len(way.steps), "step")
        if way.proved:
            return f"{how_many}, proved {'quickest' if way.least == TIME else 'shortest'}"
        if not way.at_least:
            return f"{how_many}, not proved {'quickest' if way.least == TIME else 'shortest'}"
        bound = format_duration(way.at_least) if way.least == TIME else count(way.at_least, "step")
        return f"{how_many}, at most: no way takes less than {bound}"
    if not way.proved:
        why = "interrupted" if way.ended == INTERRUPTED else "cut short"
        bound = f"; there is none of less than {way.at_least} {way.least}" if way.at_least else ""
        return f"No way found: {why}{bound}"
    if way.impossible:
        return "No way: it is impossible, whatever the rules"
    few = "a smallest set" if way.smallest else "a set"
    return f"No way: {few} of rules that forbids it has {len(way.forbidden)}" if way.forbidden else "No way"


def _head(way: WayAnswer, *, colour: bool) -> Iterator[str]:
    yield heading(verdict_text(way), shown_moment(way.moment), colour=colour)
    shown = way.wanted[:4]
    more = f"; and {len(way.wanted) - len(shown)} more" if way.wanted[4:] else ""
    yield labelled("wanted:", "; ".join(shown) + more)
    if way.steps:
        assumed = sum(step.assumed for step in way.steps)
        told = f", {count(assumed, 'duration')} assumed" if assumed else ""
        yield labelled("lasts:", f"{format_duration(way.lasts)}{told}")
        told = f": {', '.join(way.against)}" if way.against else ""
        yield labelled("checked:", f"{way.verdict} in the written order{told}")
    elif way.against:
        yield labelled("against:", "; ".join(way.against))
    yield labelled(
        "tried:", f"{count(way.looked, 'situation')}, {count(way.moves, 'move')} that might matter"
    )
    if way.file:
        yield labelled("written:", way.file)


def _rows(way: WayAnswer) -> Iterator[list[str]]:
    for step in way.steps:
        start, end = (format_instant(time)[11:16] for time in (step.start, step.end))
        yield [step.step, start, end, step.track, step.action, ", ".join(step.after)]
