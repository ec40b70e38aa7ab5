"""A configuration read from the database when and as far as it is asked for.

Events are resolved: they name everything that they changed. So the state of a subject at (at, known) is the
last of its changes that had happened and was known by then, and one index finds it.
"""

# ruff: noqa: S608 - the only text put into these statements is the conditions written here
from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import dataclass, field

from cfgtrack.model.configuration import Configuration, State, untouched
from cfgtrack.model.event import AFTER_DEVICE, DEVICE, END_AT, Effect
from cfgtrack.model.plant import Plant, owner_of
from cfgtrack.model.quantity import CYCLES
from cfgtrack.store.columns import AT_PLACE, NEVER
from cfgtrack.store.database import Database, Row

COUNTS = (
    "(c.happened < :at OR (c.happened = :at AND c.turn < :turn)) AND c.known <= :known AND c.until > :known"
)
"""What a change `c` must be to count at (at, known), just before `turn`."""

_LAST = f"""
    SELECT c.value, c.other, e.id FROM change c JOIN event e ON e.number = c.number
    WHERE c.subject = :subject AND c.aspect = :aspect AND c.happened <= :at AND {COUNTS}
    ORDER BY c.happened DESC, c.turn DESC LIMIT 1
"""

_LAST_OF_MANY_SQLITE = f"""
    SELECT s.value, c.value, c.other, e.id FROM json_each(:subjects) s
    JOIN change c ON c.subject = s.value AND c.aspect = ''
    AND (c.happened, c.turn, c.number) = (
        SELECT c.happened, c.turn, c.number FROM change c
        WHERE c.subject = s.value AND c.aspect = '' AND c.happened <= :at AND {COUNTS}
        ORDER BY c.happened DESC, c.turn DESC LIMIT 1)
    JOIN event e ON e.number = c.number
"""

_LAST_OF_MANY_POSTGRESQL = f"""
    SELECT s.s, c.value, c.other, e.id FROM json_array_elements_text((:subjects)::json) s(s)
    CROSS JOIN LATERAL (
        SELECT c.value, c.other, c.number FROM change c
        WHERE c.subject = s.s AND c.aspect = '' AND c.happened <= :at AND {COUNTS}
        ORDER BY c.happened DESC, c.turn DESC LIMIT 1) c
    JOIN event e ON e.number = c.number
"""

_VISITORS = f"""
    SELECT DISTINCT c.subject FROM change c
    WHERE c.aspect = '@' AND c.value = :place AND c.happened <= :at AND {COUNTS}
"""


_DEVICES = f"""
    SELECT c.aspect, c.value, c.other FROM change c
    WHERE c.subject = :subject AND c.aspect >= :first AND c.aspect < :end AND {COUNTS}
    ORDER BY c.happened, c.turn
"""


@dataclass(slots=True)
class SqlView:
    """The configuration at (`at`, `known`), every change of that instant included; or, with `turn`, as it was just
    before the event that has that turn. What has been read is remembered: a view is for one question.
    """

    database: Database
    plant: Plant
    at: int
    known: int
    turn: int = NEVER
    _states: dict[str, State] = field(default_factory=dict)
    _asked: set[str] = field(default_factory=set)

    def state(self, subject: str) -> State:
        """Return the state of a port, unit or mobile place. KeyError for anything else."""
        found = self._states.get(subject)
        if found is not None:
            return found
        before = untouched(self.plant, subject)
        owner = owner_of(subject)
        if owner != subject and owner in self._asked:
            self._read_ports(owner)
        else:
            self._asked.add(owner)
            self._states[subject] = self._read(subject) or before
        return self._states[subject]

    def _read(self, subject: str) -> State | None:
        aspect = "" if ":" in subject else AT_PLACE
        row = self.database.row(_LAST, {"subject": subject, "aspect": aspect, **self._moment()})
        return None if row is None else State(*row)

    def _read_ports(self, owner: str) -> None:
        # The second port of an owner that is asked for: the others will be, too.
        ports = [p for p in self.plant.ports_of(owner) if p not in self._states]
        sql = _LAST_OF_MANY_SQLITE if self.database.is_file else _LAST_OF_MANY_POSTGRESQL
        for port in ports:
            self._states[port] = untouched(self.plant, port)
        for subject, *state in self.database.rows(sql, {"subjects": json.dumps(ports), **self._moment()}):
            self._states[subject] = State(*state)

    def end_at(self, port: str) -> str:
        """Return the site where a free end of a flexible unit was last parted, "" where it goes with its unit."""
        if not self.plant.has_sites:
            return ""
        row = self.database.row(_LAST, {"subject": port, "aspect": END_AT, **self._moment()})
        return "" if row is None or row[0] == owner_of(port) else str(row[0])

    def devices_on(self, thing: str) -> Iterable[Effect]:
        """Return what put the locks and tags that hang on a thing there, and the defects that stand, in any order."""
        span = {"subject": thing, "first": DEVICE, "end": AFTER_DEVICE}
        last = {row[0]: row for row in self.database.rows(_DEVICES, {**span, **self._moment()})}
        return [Effect(thing, *row) for row in last.values() if row[1]]

    @property
    def is_bare(self) -> bool:
        """No: it isn't known without a look at each thing."""
        return False

    def standing_at(self, place: str) -> Iterable[str]:
        """Return the units and mobile places that stand directly at `place`, sorted."""
        rows = self.database.rows(_VISITORS, {"place": place, **self._moment()})
        at_home = [p.id for p in self.plant.places.values() if p.mobile and p.parent == place]
        candidates = sorted({*at_home, *(subject for (subject,) in rows)})
        return tuple(s for s in candidates if self.plant.can_move(s) and self.state(s).value == place)

    def _moment(self) -> dict[str, int]:
        return {"at": self.at, "turn": self.turn, "known": self.known}


ONE_OWNER = "(c.subject = :owner OR (c.subject >= :first AND c.subject < :end))"
"""The condition for a unit or place and its ports: `first` and `end` enclose all texts that begin with ``OWNER:``."""

EVERYTHING = f"""
    SELECT c.subject, c.aspect, c.turn, c.value, c.other, e.id, last.cycles FROM (
        SELECT c.subject, c.aspect, max(c.happened) AS happened, sum(c.cycle) AS cycles
        FROM change c WHERE {COUNTS} AND %s GROUP BY c.subject, c.aspect) last
    JOIN change c ON c.subject = last.subject AND c.aspect = last.aspect AND c.happened = last.happened
    JOIN event e ON e.number = c.number WHERE {COUNTS}
"""
"""The last changes of everything, or of what a condition on `c` leaves; of one instant, all of them."""


def read_configuration(
    database: Database, plant: Plant, at: int, known: int, turn: int = NEVER
) -> Configuration:
    """Return the whole configuration at (at, known): every change of that instant included, or those before a turn."""
    return _filled(plant, database.rows(EVERYTHING % "1 = 1", {"at": at, "turn": turn, "known": known}))


def read_mated(database: Database, known: int) -> tuple[tuple[str, str], ...]:
    """Return the pairs of halves that were mated at any time, as known, each pair once, in order."""
    sql = (
        "SELECT DISTINCT subject, other FROM change"
        " WHERE aspect = '' AND other IS NOT NULL AND known <= :known AND until > :known"
    )
    found = database.rows(sql, {"known": known})
    return tuple(sorted({(min(a, b), max(a, b)) for a, b in found if ":" in a and ":" in b}))


def read_owner(database: Database, plant: Plant, owner: str, at: int, known: int) -> Configuration:
    """Return a configuration that holds what is known of one unit or place, its ports included; all else is blank."""
    parameters = {
        "at": at,
        "turn": NEVER,
        "known": known,
        "owner": owner,
        "first": f"{owner}:",
        "end": f"{owner};",
    }
    return _filled(plant, database.rows(EVERYTHING % ONE_OWNER, parameters))


def _filled(plant: Plant, rows: Iterable[Row]) -> Configuration:
    configuration = Configuration(plant)
    turns: dict[tuple[str, str], int] = {}
    counted: dict[tuple[str, str], int] = {}
    for subject, aspect, turn, value, other, event, cycles in rows:
        if not plant.sort_of(subject):  # a port may have gone since, or its unit been retired
            continue
        # Several changes of one instant come in any order: the one with the last turn counts.
        if turns.setdefault((subject, aspect), turn) > turn:
            continue
        turns[subject, aspect] = turn
        if cycles:
            counted[subject, aspect] = int(cycles)
        if aspect in ("", AT_PLACE):
            configuration.set_state(subject, State(value, other, event))
        elif aspect != CYCLES:
            configuration.set_value(Effect(subject, aspect, value, other))
    for (subject, _), cycles in counted.items():
        configuration.cycles[subject] = configuration.cycles.get(subject, 0) + cycles
    return configuration
