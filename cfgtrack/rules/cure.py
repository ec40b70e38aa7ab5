"""Proposals: single actions that might put right what a rule says no to, as conditions make them. None is tried."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from itertools import islice
from typing import NamedTuple

from cfgtrack.model.action import Action

MOST_AT_ONCE = 50
"""For how many items at most actions are proposed: what cures must cure them all."""


class Proposal(NamedTuple):
    """An action that might help, and how it is said where its own words don't do.

    `others` are the same with other values: what is said holds only where they help, too.
    """

    action: Action
    said: str = ""
    others: tuple[Action, ...] = ()


def in_turn(several: Iterable[Iterator[Proposal]]) -> Iterator[Proposal]:
    """Yield the first of each, then the second of each, and so on."""
    waiting = list(islice(several, MOST_AT_ONCE))
    while waiting:
        left: list[Iterator[Proposal]] = []
        for one in waiting:
            proposal = next(one, None)
            if proposal is not None:
                yield proposal
                left.append(one)
        waiting = left
