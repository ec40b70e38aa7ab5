"""Corrections: which event a new one supersedes or withdraws, and what no longer counts from then on."""

from __future__ import annotations

from typing import NamedTuple

from cfgtrack.model import action as ac
from cfgtrack.model.action import Action
from cfgtrack.model.event import LOCK_OF, MARKS, TAG_OF, Entry, defect_aspects
from cfgtrack.model.unknown import UNKNOWN, no_such
from cfgtrack.store.columns import AT_PLACE
from cfgtrack.store.database import Database
from cfgtrack.store.form import unrecordable
from cfgtrack.store.rows import entry_of, find_entry


class Target(NamedTuple):
    """The event that a correction corrects."""

    entry: Entry
    turn: int


def target_of(database: Database, where: str, action: Action) -> Target | None:
    """Return the event that this one supersedes or withdraws, after all that forbids it has been looked for."""
    if action.explains:
        _expect_discrepancy(database, where, action.explains)
    name = action.supersedes or action.withdraws
    if name is None:
        return None
    sql = "SELECT body, number, known, turn FROM event WHERE id = :id"
    row = database.row(sql, {"id": name})
    if row is None:
        raise unrecordable(where, UNKNOWN, f"{no_such('event', name)} to correct")
    target = Target(entry_of(*row[:3]), row[3])
    other = database.row("SELECT id FROM event WHERE corrects = :number", {"number": target.entry.number})
    if other is not None:
        sentence = f"event {name} was corrected already, by {other[0]}: correct that one"
        raise unrecordable(where, "corrected-already", sentence, other[0])
    was = target.entry.event.action
    if (was in ac.REVISIONS or action.action in ac.REVISIONS) and action.action not in (was, ac.WITHDRAW):
        what = (
            f"event {name} makes the definition another one: withdraw it, or load what is right with"
            " `--effective DATE --reason TEXT --corrects ID`"
        )
        raise unrecordable(where, "not-correctable", what, name)
    if target.entry.event.action in (ac.WITHDRAW, ac.DEFINE):
        what = "a withdrawal can't be taken back: record the event again under a new id"
        if target.entry.event.action == ac.DEFINE:
            what = "a definition can't be taken back: load the right one"
        raise unrecordable(where, "not-correctable", what, name)
    return target


def _expect_discrepancy(database: Database, where: str, name: str) -> None:
    found = find_entry(database, name)
    if found is None:
        raise unrecordable(where, UNKNOWN, f"{no_such('event', name)} to explain")
    other = database.row("SELECT id FROM event WHERE corrects = :number", {"number": found.number})
    if other is not None:
        sentence = f"event {name} was corrected, by {other[0]}: explain that one"
        raise unrecordable(where, "corrected-already", sentence, other[0])
    if found.event.action != ac.FOUND and not found.event.expected:
        sentence = f"event {name} is not an as-found event: there is nothing to explain"
        raise unrecordable(where, "not-found-so", sentence, found.event.id)


def end_changes(database: Database, target: Target, known: int) -> None:
    """From `known` on the corrected event's changes no longer count."""
    event = target.entry.event
    aspects = ["", AT_PLACE, *event.values, *(MARKS if event.ends or event.expected else ())]
    if event.action in ac.DEVICE_ACTIONS:
        aspects += (device + holder for holder in event.subjects[1:] for device in (LOCK_OF, TAG_OF))
    if event.action in ac.DEFECT_ACTIONS:
        aspects += (aspect for _, aspect in defect_aspects(event))
    for subject in dict.fromkeys([*event.written, *([event.by] if event.by and event.expected else [])]):
        for aspect in aspects:
            database.execute(
                "UPDATE change SET until = :known WHERE subject = :subject AND aspect = :aspect"
                " AND happened = :happened AND turn = :turn AND number = :number",
                {
                    "known": known,
                    "subject": subject,
                    "aspect": aspect,
                    "happened": event.happened,
                    "turn": target.turn,
                    "number": target.entry.number,
                },
            )
