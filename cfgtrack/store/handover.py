"""Handovers at the door: the tree head that one stands for must be one that this journal had."""

from __future__ import annotations

from cfgtrack.model.action import Action
from cfgtrack.model.handover import handed_over
from cfgtrack.store.database import Database
from cfgtrack.store.form import unrecordable
from cfgtrack.store.merkle import EMPTY_ROOT


def expect_own_head(database: Database, where: str, action: Action) -> None:
    """Raise Unrecordable for a handover of what this journal never was. Costs nothing for what is no handover."""
    if not action.body:
        return
    head = handed_over(action)  # its form, the gate has seen
    if head is None:
        return
    row = database.row("SELECT root FROM tree_head WHERE number = :size", {"size": head.size})
    root = EMPTY_ROOT if head.size == 0 else None if row is None else bytes(row[0])
    if root != head.root:
        sentence = (
            f"event {action.id} is a handover of a record of {head.size} events that this journal never was:"
            " is it a copy, or another one? (`cfgtrack head`)"
        )
        raise unrecordable(where, "handover", sentence)
