"""Recording: rows in, in order of time, each once; all of them kept, or none, or all that fit."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import islice
from math import inf
from typing import ClassVar

from cfgtrack.model.action import Action, Sourced
from cfgtrack.model.event import Entry
from cfgtrack.model.signature import Signer
from cfgtrack.model.trouble import Problem, Refused, or_no_answer
from cfgtrack.store.append import Appender, told
from cfgtrack.store.correction import Target, target_of
from cfgtrack.store.database import Database
from cfgtrack.store.form import Unrecordable, check_form, is_plain
from cfgtrack.store.handover import expect_own_head
from cfgtrack.store.rows import find_entry
from cfgtrack.store.signing import Door, differing

CHUNK = 10_000
"""So many rows are read, put in order of time and checked together."""

FEW = 40
"""Up to so many rows it costs less to ask for each state than to read the whole configuration."""

_Row = tuple[str, str]
"""Which row: where it comes from, and the id of its event."""

SetAside = Callable[[str, Iterable[Problem]], None]


@dataclass(slots=True)
class Outcome:
    """What became of the rows: newly recorded, repeated (there already, with the same content), refused."""

    untold: ClassVar[tuple[str, ...]] = ("refused",)

    recorded: int = 0
    repeated: int = 0
    refused: int = 0


class _Colliding(Exception):
    """Late rows of a chunk that contradict later events."""

    def __init__(self, rows: dict[_Row, Unrecordable]) -> None:
        super().__init__(rows)
        self.rows = rows


class Recorder:
    """Writes events inside a transaction that the caller has begun with `Database.writing`.

    `finish` ends its work: call it before the transaction is kept. What isn't signed is signed by `signer`, if there
    is one. `accepts`: see `Appender`.
    """

    def __init__(
        self,
        database: Database,
        clock: Callable[[], int],
        signer: Signer | None = None,
        *,
        accepts: str | None = None,
    ) -> None:
        self.database = database
        self.appender = Appender(database, clock, signer, accepts=accepts)
        self.door = Door(database, self.appender.plant, signer)
        self.tally = Outcome()
        self._in_chunk: dict[str, Entry] = {}
        self._problems: list[Problem] = []
        self._collides: dict[str, None] = {}

    # --- many rows ------------------------------------------------------------------------------------------

    def take(
        self,
        rows: Iterable[Sourced],
        *,
        each: Callable[[Entry], None] | None = None,
        set_aside: SetAside | None = None,
    ) -> None:
        """Record rows of (where it comes from, action). Without `set_aside` every refusal is kept for `finish`."""
        for chunk in _chunks(rows):
            if len(chunk) > FEW:
                self.appender.look_ahead()
            recorded = self._recorded_ids(chunk)
            if set_aside is None:
                refused = self._take_chunk(_in_order(chunk), recorded, each)
                for refusal in refused.values():
                    self._note(refusal)
            else:
                refused = self._take_what_fits(_in_order(chunk), recorded, each)
                for where, action in chunk:
                    if (where, action.id) in refused:
                        set_aside(where, refused[where, action.id].problems)
            self.tally.refused += len(refused)

    def take_together(self, rows: Sequence[Sourced], *, each: Callable[[Entry], None]) -> None:
        """Record corrections as one: each is held against the past without any of what they correct."""
        new: dict[str, tuple[Target, Sourced]] = {}
        for where, action in rows:
            if action.id in new or find_entry(self.database, action.id) is not None:
                continue
            try:
                target = target_of(self.database, where, action)
                assert target is not None
                permit = self.appender.permit
                permit.expect_roles(where, permit.said(where, action), target.entry)
            except Unrecordable as refusal:
                self._note(refusal)
                continue
            new[action.id] = target, (where, action)
        self.expect_no_problem()
        in_order = sorted(new.values(), key=lambda pair: _when(*pair))
        self.appender.set_aside([target for target, _ in in_order])
        chunk = [row for _, row in in_order]
        chunk += [row for row in rows if row not in chunk]
        for found in self._take_chunk(chunk, {action.id for _, action in rows}, each).values():
            self._note(found)

    def _note(self, refusal: Unrecordable) -> None:
        self._problems.extend(refusal.problems)
        self._collides.update(dict.fromkeys(refusal.collides))

    def _take_chunk(
        self, chunk: list[Sourced], recorded: set[str], each: Callable[[Entry], None] | None
    ) -> dict[_Row, Unrecordable]:
        """Record what can be of a chunk; return the refusals by row."""
        self._in_chunk = {}
        refused: dict[_Row, Unrecordable] = {}
        for where, action in chunk:
            try:
                entry = self._take_one(where, action, recorded)
            except Unrecordable as refusal:
                refused[where, action.id] = refusal
            else:
                if each is not None:
                    each(entry)
        self.appender.flush()
        return refused

    def _take_what_fits(
        self, chunk: list[Sourced], recorded: set[str], each: Callable[[Entry], None] | None
    ) -> dict[_Row, Unrecordable]:
        """Record a chunk without the rows that are refused or that collide with later events; return those.

        A late row may need another one of its chunk (demated again before the next mate): so collisions are looked
        for when all of it is in. Where there are any, it is done again without the rows that caused them.
        """
        refused: dict[_Row, Unrecordable] = {}
        while True:
            fitting = [row for row in chunk if (row[0], row[1].id) not in refused]
            mark, tally = self.appender.mark(), replace(self.tally)
            entries: list[Entry] = []
            try:
                with self.database.attempt():
                    found = self._take_chunk(fitting, recorded, entries.append)
                    self._expect_no_collision()
            except _Colliding as colliding:
                self.appender.go_back(mark)
                self.tally = tally
                refused.update(colliding.rows)
                continue
            self.appender.disturbances.clear()
            for entry in entries if each is not None else ():
                each(entry)  # type: ignore[misc] # not None: see the line above
            return {**refused, **found}

    def finish(self) -> None:
        """Check what late events have disturbed, and close the tree. Refused, with all problems, if there are any."""
        self.appender.flush()
        if not self._problems:
            for one in self.appender.collisions():
                self._problems.append(one.problem)
                self._collides.update(dict.fromkeys(filter(None, (one.other,))))
        self.expect_no_problem()
        self.appender.close_tree()

    def expect_no_problem(self) -> None:
        """Raise what has been found so far: NoAnswer when the rows only name what doesn't exist, else Refused."""
        if self._problems:
            raise or_no_answer(Refused(self._problems, collides=tuple(self._collides)))

    def _recorded_ids(self, chunk: list[Sourced]) -> set[str]:
        if len(chunk) == 1:
            return {chunk[0][1].id}
        ids = json.dumps([action.id for _, action in chunk])
        if self.database.is_file:
            sql = "SELECT e.id FROM json_each(:ids) i JOIN event e ON e.id = i.value"
        else:
            sql = "SELECT e.id FROM json_array_elements_text((:ids)::json) i(i) JOIN event e ON e.id = i.i"
        return {row[0] for row in self.database.rows(sql, {"ids": ids})}

    # --- one row --------------------------------------------------------------------------------------------

    def _take_one(self, where: str, action: Action, recorded: set[str]) -> Entry:
        if not is_plain(action):
            check_form(where, action)
        before = self._before(action.id, recorded)
        if before is not None:
            self._expect_same(where, action, before)
            self.tally.repeated += 1
            return before
        expect_own_head(self.database, where, action)
        if self.appender.permit.is_needed:
            action = self.appender.permit.said(where, action)
        action = self.door.pass_in(where, action)
        entry = self.appender.append(where, action)
        self.tally.recorded += 1
        self._in_chunk[action.id] = entry
        return entry

    def _expect_no_collision(self) -> None:
        found: dict[_Row, Unrecordable] = {}
        for one in self.appender.collisions():
            row = (one.problem.where, one.event)
            before = found.get(row)
            problems = (*(before.problems if before else ()), one.problem)
            others = (*(before.collides if before else ()), *filter(None, (one.other,)))
            found[row] = Unrecordable(problems, others)
        if found:
            raise _Colliding(found)

    def _before(self, event_id: str, recorded: set[str]) -> Entry | None:
        found = self._in_chunk.get(event_id)
        return find_entry(self.database, event_id) if found is None and event_id in recorded else found

    def _expect_same(self, where: str, action: Action, before: Entry) -> None:
        names = list(differing(action, before.event))
        if names == ["recorder"] and self.appender.permit.is_needed:
            # Who records is known, whoever a file names; it was so the first time, too.
            names = list(differing(self.appender.permit.said(where, action), before.event))
        if not names:
            if action.signed is None or action.signed == before.event.signed:
                return
            # Somebody would think that what this row tells of the signer is recorded.
            there = before.event.signed
            whose = "is signed by nobody" if there is None else f"has another signature, of {there.by}"
            sentence = f"event {action.id} exists, and {whose}: this row was changed, or is of another copy"
            raise Unrecordable((Problem(where, "exists", sentence),), (action.id,))
        sentence = (
            f"event {action.id} exists with a different {', '.join(names)}"
            f" (recorded as {told(before.event)}); to correct it, record a new event that supersedes it"
        )
        raise Unrecordable((Problem(where, "exists", sentence),), (action.id,))


def _chunks(rows: Iterable[Sourced]) -> Iterator[list[Sourced]]:
    source = iter(rows)
    while chunk := list(islice(source, CHUNK)):
        yield chunk


def _in_order(chunk: list[Sourced]) -> list[Sourced]:
    """Return the rows in order of time; as they stand when one of them refers to another one."""
    if any(e.supersedes or e.withdraws or e.explains for _, e in chunk):
        ids = {e.id for _, e in chunk}
        if any({e.supersedes, e.withdraws, e.explains} & ids for _, e in chunk):
            return chunk
    return sorted(chunk, key=lambda row: row[1].happened)


def _when(target: Target, row: Sourced) -> tuple[int, float]:
    """Return where a correction will stand in the order of time: at its instant last, save for one in place."""
    action = row[1]
    return action.happened, target.turn if target.entry.event.happened == action.happened else inf
