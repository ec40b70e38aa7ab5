"""Findings as flags on a picture: a number on every item that a finding names, and a list to look it up in."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from cfgtrack.model.plant import owner_of
from cfgtrack.rules.finding import Finding
from cfgtrack.show.findings import severity_word

_MOST = 12
_FEW = 2


@dataclass(frozen=True, slots=True)
class Flags:
    """`items`: the numbers at each address; `owners`: those of a unit or place, whatever of it is named."""

    items: dict[str, tuple[int, ...]]
    owners: dict[str, tuple[int, ...]]
    notes: tuple[str, ...] = ()


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
        tuple(_notes(findings)),
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


def _notes(findings: Sequence[Finding]) -> list[str]:
    notes = [
        f"[!{i}] {severity_word(f.severity)}: {f.title} ({f.rule})" for i, f in enumerate(findings[:_MOST], 1)
    ]
    if len(findings) > _MOST:
        notes.append(f"and {len(findings) - _MOST} more findings")
    return notes
