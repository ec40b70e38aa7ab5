"""Findings as flags on a picture: a number on every item that a finding names, and a list to look it up in."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass

from cfgtrack.model.plant import owner_of
from cfgtrack.rules.finding import Finding
from cfgtrack.rules.saying import say_list
from cfgtrack.show.findings import severity_word
from cfgtrack.show.picture import Box, Sort
from cfgtrack.show.tables import count

_BARE = (Sort.SHUT_GATE, Sort.MEDIUM, Sort.QUIET)
"""Rows that are drawn without numbers."""

_MOST = 12
_FEW = 2


@dataclass(frozen=True, slots=True)
class Flags:
    """`items`: the numbers at each address; `owners`: those of a unit or place, whatever of it is named."""

    items: dict[str, tuple[int, ...]]
    owners: dict[str, tuple[int, ...]]
    findings: tuple[Finding, ...] = ()

    def notes(self, boxes: Iterable[Box]) -> tuple[str, ...]:
        """Return the list of what the numbers mean that some boxes carry."""
        rows = [row for box in boxes for group in box.groups for row in group if row.sort not in _BARE]
        drawn = {n for box in boxes if not box.is_list for n in box.flags} | {
            n for row in rows for n in row.flags
        }
        return tuple(_notes(self.findings, drawn))


def flag(findings: Sequence[Finding]) -> Flags:
    """Return the flags of findings, numbered from 1 in the order given."""
    items: dict[str, list[int]] = {}
    owners: dict[str, list[int]] = {}
    for number, finding in enumerate(findings, 1):
        for name in _names(finding):
            items.setdefault(name, []).append(number)
        for owner in dict.fromkeys(owner_of(name) for name in _names(finding)):
            owners.setdefault(owner, []).append(number)
    return Flags(
        {name: tuple(numbers) for name, numbers in items.items()},
        {name: tuple(numbers) for name, numbers in owners.items()},
        tuple(findings),
    )


def _names(finding: Finding) -> dict[str, None]:
    """Return what a finding names: its subjects, what is cut off, and the ends of the links that broke.

    Where many links are named they are a whole path, which would flag half a plant: those are left to the words.
    """
    names = dict.fromkeys(finding.subjects)
    for reason in finding.reasons:
        names.update(dict.fromkeys(reason.beyond))
        if len(reason.links) <= _FEW:
            names.update(dict.fromkeys(e for link in reason.links for e in link.split() if ":" in e))
    return names


def _excused(finding: Finding) -> str:
    """Return by whom a finding is excused, and whether it was broken anew since."""
    if finding.approved is None or not finding.approved.excuses:
        return ""
    anew = "" if finding.approved.anew is None else ", BROKEN ANEW since"
    return f", EXCUSED by {say_list(finding.approved.by)}{anew}"


def _notes(findings: Sequence[Finding], drawn: Collection[int]) -> Iterator[str]:
    """Yield what each number that is drawn means, and how many findings mark nothing in the picture."""
    told = [(i, f) for i, f in enumerate(findings, 1) if i in drawn]
    for number, finding in told[:_MOST]:
        yield f"[!{number}] {severity_word(finding.severity)}: {finding.headline} ({finding.rule}){_excused(finding)}"
    if len(told) > _MOST:
        yield f"and {len(told) - _MOST} more findings"
    if others := len(findings) - len(told):
        yield f"Not marked: {count(others, 'finding')} about what isn't drawn"
