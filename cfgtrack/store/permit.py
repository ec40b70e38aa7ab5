"""Who records, in one transaction, and whether he may: judged by the people and roles that the plant has by then.

On a server the database's user is bound to a person, and the server judges too, whatever program asks it (see
`store/security.py`). In a file whoever writes says who he is; a signature proves it.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator
from dataclasses import replace

from cfgtrack.model.action import ACKNOWLEDGE, APPROVE, DEFINITIONS, Action
from cfgtrack.model.approval import person_called
from cfgtrack.model.codec import event_from_json
from cfgtrack.model.event import Entry, Event
from cfgtrack.model.people import ADMINISTER, DEFINE, done_on, has_roles, kinds_of, may, person_of, redrawn
from cfgtrack.model.plant import Plant
from cfgtrack.model.signature import Signer
from cfgtrack.model.trouble import Problem, Refused
from cfgtrack.store.database import Database
from cfgtrack.store.definitions import Definitions
from cfgtrack.store.form import unrecordable

NOT_ALLOWED = "not-allowed"
"""The code of what somebody may not do."""

GOVERNING = frozenset({"person", "permission", "setting"})
"""The sorts of item that only whoever administers the plant defines: else who defines could raise himself."""


class Permit:
    """What may be recorded in one transaction. People count as they are told before it, and in effect by then.

    `login` is what the server calls whoever writes: it becomes part of every event, where the plant has roles.
    """

    def __init__(
        self, database: Database, definitions: Definitions, known: int, signer: Signer | None = None
    ) -> None:
        self._database = database
        self._plant = definitions.plant(known)
        self._signer = signer
        self.is_needed = has_roles(self._plant)
        login = database.login
        self.login = login if self.is_needed or database.is_restricted else None
        person = None if login is None else person_of(self._plant, login)
        self._bound = None if person is None else person.id

    def who(self, action: Action) -> str:
        """Return who records an action: as the server knows him, by his signature, as he says; "" when nobody says."""
        if self._bound is not None:
            return self._bound
        return _said(self._plant, action)

    def said(self, where: str, action: Action) -> Action:
        """Return an action with whoever is known to record it as its recorder. Unrecordable when it names another one.

        What is signed already stays as it was said.
        """
        if not self.is_needed:
            return action
        if action.signed is not None:
            self._expect_one(where, action, action.signed.by)
            return action
        if self._bound is not None and action.action in (APPROVE, ACKNOWLEDGE):
            self._expect_own(where, action, self._bound)
        known = self._bound or (self._signer.person if self._signer is not None else None)
        if known is None:
            return action
        self._expect_one(where, action, known)
        return replace(action, recorder=known)

    def _expect_own(self, where: str, action: Action, person: str) -> None:
        if action.by is not None and action.by not in (person, self._plant.people[person].place):
            sentence = (
                f"event {action.id}: {person} records it, and names {action.by}: nobody approves for another"
            )
            raise unrecordable(where, NOT_ALLOWED, sentence)

    def _expect_one(self, where: str, action: Action, signer: str) -> None:
        for one in (self._bound, action.recorder if action.recorder in self._plant.people else None):
            if one is not None and one != signer:
                sentence = f"event {action.id}: it is recorded by {signer}, and names {one}: nobody records for another"
                raise unrecordable(where, NOT_ALLOWED, sentence)

    def expect_roles(self, where: str, action: Action, target: Entry | None) -> None:
        """Raise Unrecordable where whoever records lacks a role for an action, or for taking back its `target`.

        What a load carries is asked for by `expect_load`.
        """
        for kind in self._kinds(action, target):
            self._expect(where, action, kind, ())

    def expect(self, where: str, event: Event, target: Entry | None) -> None:
        """As `expect_roles`, and where he may not do so to all that the resolved event is about."""
        kinds = self._kinds(event, target)
        if not kinds:
            return
        on = done_on(self._plant, event, event.written)
        if target is not None:
            on += done_on(self._plant, target.event, target.event.written)
        if event.explains:
            explained = _event(self._database, "id", event.explains)
            on += [] if explained is None else done_on(self._plant, explained, explained.written)
        for kind in kinds:
            self._expect(where, event, kind, on)

    def _kinds(self, action: Action, target: Entry | None) -> tuple[str, ...]:
        if not self.is_needed or (action.action in DEFINITIONS and target is None):
            return ()
        kinds = kinds_of(action, None if target is None else target.event)
        if DEFINE not in kinds or target is None:
            return kinds
        return tuple(dict.fromkeys((*kinds, *_kinds_carried(self._database, target.number))))

    def _expect(self, where: str, action: Action, kind: str, on: Iterable[str]) -> None:
        why = self._why_not(action, kind, on)
        if why is not None:
            raise unrecordable(where, NOT_ALLOWED, f"event {action.id}: {why}")

    def expect_load(self, where: str, sorts: Iterable[str], recorder: str | None) -> None:
        """Raise Refused where whoever records may not define items of these sorts."""
        if not self.is_needed:
            return
        said = self.said(where, Action("", "", (), 0, recorder=recorder))
        for kind in kinds_of_load(sorts):
            why = self._why_not(said, kind, ())
            if why is not None:
                raise Refused([Problem(where, NOT_ALLOWED, why)])

    def expect_areas(self, where: str, event: Event, before: Definitions, after: Definitions) -> None:
        """Raise Refused where who doesn't administer defines what changes where permissions let people do something.

        Else who defines could raise himself, by a tag.
        """
        why = self._why_not(event, ADMINISTER, ()) if self.is_needed else None
        if why is None:
            return
        for era in after.eras():
            thing = redrawn(before.plant(era.since), after.plant_of(era))
            if thing is not None:
                sentence = f"it changes where permissions let people do something, at {thing}: {why}"
                raise Refused([Problem(where, NOT_ALLOWED, sentence)])

    def _why_not(self, action: Action, kind: str, on: Iterable[str]) -> str | None:
        if self._database.is_restricted and self._bound is None:
            return f"the database's user {self.login} is no person of this plant"
        return may(self._plant, self.who(action), kind, on)


def kinds_of_load(sorts: Iterable[str]) -> tuple[str, ...]:
    """Return which kinds of thing it is to define items of these sorts."""
    return tuple(sorted({ADMINISTER if sort in GOVERNING else DEFINE for sort in sorts} or {DEFINE}))


def why_not(database: Database, plant: Plant, entry: Entry, corrects: int | None) -> Iterator[str]:
    """Yield why whoever is said to have recorded an event might not; `plant`: that of when it was recorded.

    `corrects`: the number of what it corrects. Of a user whom the plant doesn't know what he said of himself counts, as
    of whoever writes a file.
    """
    event = entry.event
    target = None if corrects is None else _event(database, "number", corrects)
    explained = None if event.explains is None else _event(database, "id", event.explains)
    user = None if entry.login is None else person_of(plant, entry.login)
    told = [one for one in (event, target, explained) if one is not None]
    on = [thing for one in told for thing in done_on(plant, one, one.written)]
    kinds = () if event.action in DEFINITIONS and target is None else kinds_of(event, target)
    if DEFINE in kinds or event.action in DEFINITIONS:
        kinds = (*kinds, *_kinds_carried(database, entry.number if target is None else corrects))
    for kind in dict.fromkeys(kinds):
        why = may(plant, _said(plant, event) if user is None else user.id, kind, on)
        if why is not None:
            yield why


def _said(plant: Plant, action: Action) -> str:
    """Return who has signed an action, else who says that he records it: by his own name, or the place that he is."""
    if action.signed is not None:
        return action.signed.by
    return person_called(plant, action.recorder or "") or action.recorder or ""


def _event(database: Database, column: str, value: object) -> Event | None:
    row = database.row(f"SELECT body FROM event WHERE {column} = :value", {"value": value})  # noqa: S608 - id, number
    return None if row is None else event_from_json(json.loads(row[0]))


def _kinds_carried(database: Database, load: int | None) -> tuple[str, ...]:
    """Return which kinds of thing it is to bring, or take back, what an event carries; none where that is nothing."""
    rows = database.rows("SELECT DISTINCT sort FROM item WHERE load = :load", {"load": load})
    return kinds_of_load(str(sort) for (sort,) in rows) if rows else ()
