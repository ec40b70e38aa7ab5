"""Candidates side by side, as text: the best first, with the reason."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from cfgtrack.model.time import format_instant
from cfgtrack.show.asked import shown_moment
from cfgtrack.show.tables import count, heading, indented, labelled, sections, table

if TYPE_CHECKING:
    from cfgtrack.analysis.which import Candidate
    from cfgtrack.answers.which import Which

TOLD = 5
"""How many candidates are told in full; the others are named."""

_ASKED = {"stand-in": "in place of {}", "stowage": "to put {}", "connection": "to mate with {}"}


def which_text(found: Which, *, colour: bool = False) -> str:
    """Return candidates side by side: the verdict, the reasons, then the facts."""
    best = found.candidates[0]
    title = f"{best.thing} {_ASKED[found.role].format(found.thing)}: {best.reason}"
    told, others = found.candidates[:TOLD], found.candidates[TOLD:]
    return sections(
        "\n".join([heading(title, shown_moment(found.moment), colour=colour), *_tried_in(found)]),
        _table(told),
        "\n".join(
            labelled(f"{number}. {one.thing}", one.reason, by=0, to=_widest(told))
            for number, one in enumerate(told, 1)
        ),
        "\n".join(_besides(found, [one.thing for one in others])),
    )


def _widest(told: tuple[Candidate, ...]) -> int:
    return max(len(one.thing) for one in told) + 5


def _tried_in(found: Which) -> Iterator[str]:
    if found.tried_in is None:
        return
    used = (
        "which doesn't use it: not tried"
        if found.instead_of is None
        else f"each instead of {found.instead_of}"
    )
    yield labelled("tried in:", f'"{found.tried_in}", {used}')


def _table(told: tuple[Candidate, ...]) -> str:
    rows = [
        [
            one.thing,
            one.where if one.where != one.thing else "",
            _verdict(one),
            "" if one.fetch_seconds is None else f"{one.fetch_seconds / 60:.0f} min",
            _heat(one),
            "" if one.room is None else str(one.room),
            "" if one.wear is None else f"{one.wear.left} of {one.wear.rated}",
            "" if one.checked is None else format_instant(one.checked.when)[:10],
            str(one.remarks or ""),
            str(len(one.defects) or ""),
            str(len(one.clocks) or ""),
            str(one.joined or ""),
        ]
        for one in told
    ]
    heads = [
        "what",
        "is at",
        "in the plan",
        "way",
        "heat",
        "room",
        "cycles",
        "checked",
        "remarks",
        "defects",
        "clocks",
        "joined",
    ]
    return table(heads, rows)


def _verdict(one: Candidate) -> str:
    if one.tried is None:
        return ""
    found = f", {count(one.tried.findings, 'finding')}" if one.tried.findings else ""
    return f"{one.tried.verdict}{found}"


def _heat(one: Candidate) -> str:
    if one.connectors:
        return ", ".join(one.connectors[:2])
    if not one.heaters:
        return ""
    return "on" if all(load.sources for load in one.heaters) else "OFF"


def _besides(found: Which, others: list[str]) -> Iterator[str]:
    if others:
        yield labelled("also:", ", ".join(others), by=0)
    if found.untried:
        yield indented(f"{found.untried} of them not tried in the plan", by=0)
    if any(one.checked is not None for one in found.candidates):
        yield labelled(
            "checked:", f"last {found.check_out}; cycles: the fewest left of any port after the plan", by=0
        )
