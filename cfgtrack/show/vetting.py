"""What in a definition looks wrong, as text."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

from cfgtrack.show.tables import count, heading, labelled, sections

if TYPE_CHECKING:
    from cfgtrack.analysis.vetting import Doubt, Vetted
    from cfgtrack.answers.vetting import Vetting

_FEW = 3
_MANY = 20


def vetting_text(found: Vetting) -> str:
    """Return every doubt under its check, with why it matters and what would cure it."""
    title = count(found.doubts, "doubt") if found.doubts else "nothing looks wrong"
    return sections(heading(title, found.moment), *map(_section, found.vetted))


def _section(vetted: Vetted) -> str:
    check = vetted.check
    lines = [f"{check.code}: {count(len(vetted.doubts), 'doubt')}"]
    lines += [labelled("why", check.reason), labelled("cure", check.cure)]
    return "\n".join([*lines, *_doubts(vetted.doubts, _MANY)])


def _doubts(doubts: Sequence[Doubt], most: int) -> Iterator[str]:
    for one in doubts[:most]:
        times = f" ({one.times} of it)" if one.times > 1 else ""
        yield labelled(one.where, f"{one.sentence}{times}", to=14)
    if len(doubts) > most:
        yield labelled("", f"and {len(doubts) - most} more", to=14)


def doubts_text(vetted: Sequence[Vetted]) -> str:
    """Return how many doubts there are about what is loaded, by check, with the first few."""
    number = sum(len(one.doubts) for one in vetted)
    if not number:
        return ""
    by_check = ", ".join(f"{one.check.code} {len(one.doubts)}" for one in vetted)
    first = [doubt for one in vetted for doubt in one.doubts[:1]][:_FEW]
    lines = [labelled(f"{count(number, 'doubt')}:", f"{by_check}; `cfgtrack vet` tells all", by=0, to=12)]
    return "\n".join([*lines, *_doubts(first, _FEW)])
