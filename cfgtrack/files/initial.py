"""The configuration from which a journal starts, as as-found events.

Each one is tried in memory against the laws of possibility, so that what can't be so is told with its line.
"""

from __future__ import annotations

import shlex
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field, replace
from datetime import date, time
from itertools import chain
from typing import Any

from cfgtrack.files.fields import Fields, shown
from cfgtrack.files.gather import Initial
from cfgtrack.files.several import InitialState, PriorLife, each_alone
from cfgtrack.files.source import Spot
from cfgtrack.files.table import Table
from cfgtrack.model.action import FOUND, INSPECT, MEASURE, Action
from cfgtrack.model.configuration import Configuration, place_line
from cfgtrack.model.definition import Definition
from cfgtrack.model.event import Event
from cfgtrack.model.kind import Kind
from cfgtrack.model.plant import Plant, owner_of
from cfgtrack.model.possibility import (
    Refusal,
    misfits,
    not_in_one_place,
    resolve,
    sites_apart,
    too_full,
    wrong_way_round,
)
from cfgtrack.model.quantity import CYCLES, QUANTITIES, BadQuantity, Quantity, dimension_of, parse_quantity
from cfgtrack.model.time import BadTime, format_instant, parse_instant
from cfgtrack.model.trouble import Problem, Problems
from cfgtrack.model.unknown import (
    AMBIGUOUS,
    MOVABLE,
    PLACE,
    PORT,
    THING,
    UNKNOWN,
    look_up,
    no_such,
    unknown,
)

Declared = Callable[[str], bool]


def read_initial(
    initial: Iterable[Initial], definition: Definition, declared: Declared, problems: Problems
) -> tuple[tuple[Action, ...], dict[str, tuple[Problem, ...]]]:
    """Return the as-found events of all files: where things are, then what is joined, then single statuses.

    And why the halves of some of those joints don't fit, by the id of the event: what is made already may.

    `declared` tells whether an address that `definition` doesn't have may belong to something that was noted
    as broken already.
    """
    reader = _InitialReader(definition.plant(), declared, problems)
    entries = (entry for one in initial for entry in _read_entries(one))
    for entry in each_alone(entries, reader.plant, reader.note):
        if isinstance(entry, PriorLife):
            reader.remember(entry)
        else:
            reader.add(entry)
    events = [*reader.places(), *reader.ports(), *reader.lives()]
    reader.try_out(definition.initial, events)
    return tuple(event for event, _ in events), reader.unfit


@dataclass(slots=True)
class _InitialReader:
    plant: Plant
    declared: Declared
    problems: Problems
    placed: dict[str, InitialState] = field(default_factory=dict)
    found: dict[str, InitialState] = field(default_factory=dict)
    before: dict[tuple[str, str], PriorLife] = field(default_factory=dict)
    unfit: dict[str, tuple[Problem, ...]] = field(default_factory=dict)

    def remember(self, entry: PriorLife) -> None:
        """Take in something of a prior life."""
        first = self.before.setdefault((entry.subject, entry.quantity), entry)
        if first is not entry:
            what = entry.quantity or "when it was inspected"
            sentence = f"{what} of {entry.subject} stands in the initial configuration already, at {first.spot.where}"
            self.note(entry, "twice", sentence)

    def lives(self) -> Iterator[tuple[Action, Spot]]:
        """Yield the events that tell of the time before: values of the start as one event a thing."""
        values: dict[str, dict[str, Quantity]] = {}
        firsts: dict[str, PriorLife] = {}
        for entry in self.before.values():
            if not self._is_there(entry, entry.subject, THING):
                continue
            if entry.at > entry.start:
                when = f"{format_instant(entry.at)} is later than the start, {format_instant(entry.start)}"
                self.note(entry, "later", f"{entry.subject}: {when}: record that as what happened")
            elif not entry.quantity:
                yield _told(entry, INSPECT), entry.spot
            elif (quantity := self._value(entry)) is not None:
                if entry.at < entry.start:
                    yield replace(_told(entry, MEASURE), values={entry.quantity: quantity}), entry.spot
                else:
                    firsts.setdefault(entry.subject, entry)
                    values.setdefault(entry.subject, {})[entry.quantity] = quantity
        for subject, told in values.items():
            entry = firsts[subject]
            event = replace(_told(entry, MEASURE), id=f"initial:{subject}:before", values=told, initial=True)
            yield event, entry.spot

    def _value(self, entry: PriorLife) -> Quantity | None:
        name = entry.quantity
        if name not in QUANTITIES:
            self.note(entry, UNKNOWN, f"{entry.subject}: {no_such('quantity', name, QUANTITIES)}")
            return None
        try:
            quantity = parse_quantity(entry.text, dimension=dimension_of(name))
        except BadQuantity as err:
            self.note(entry, "bad-quantity", f"{name} of {entry.subject}: {err}")
            return None
        if name == CYCLES and (wrong := self._wrong_cycles(entry, quantity)):
            self.note(entry, "counted", wrong)
            return None
        return quantity

    def _wrong_cycles(self, entry: PriorLife, quantity: Quantity) -> str:
        found = self.plant.port(entry.subject)
        if found is None or not any(move.cycle for move in found[1].moves.values()):
            return f"{entry.subject} has no mate cycles: they are a port's that is mated"
        if entry.at != entry.start:
            return f"cycles of {entry.subject} are those used at the start, so they have no time of their own"
        if quantity.value < 0 or quantity.value != int(quantity.value):
            return f"cycles of {entry.subject} are a whole number, found {entry.text}"
        return ""

    def add(self, entry: InitialState) -> None:
        """Take in one entry, by the ids of what it names."""
        sort = MOVABLE if entry.place else PORT
        entry = replace(
            entry,
            subject=self._meant(entry, entry.subject, sort),
            mate=entry.mate and self._meant(entry, entry.mate, PORT),
            place=entry.place and self._meant(entry, entry.place, PLACE),
        )
        if entry.mate == entry.subject:
            self.note(entry, "same", f"{entry.subject} can't be joined to itself")
            return
        known = self.placed if entry.place else self.found
        mine = [entry.subject, entry.mate] if not entry.status and entry.mate else [entry.subject]
        for subject in mine:
            first = known.get(subject)
            if first is not None:
                self.note(
                    entry,
                    "twice",
                    f"{subject} stands in the initial configuration already, at {first.spot.where}",
                )
        if not any(subject in known for subject in mine):
            known[entry.subject] = entry
            if len(mine) == 2:
                known[entry.mate] = replace(entry, subject=entry.mate, mate=entry.subject)

    def _meant(self, entry: InitialState, text: str, wanted: tuple[str, ...]) -> str:
        found = look_up(self.plant, text, wanted)
        if found.code == AMBIGUOUS:
            self.note(entry, AMBIGUOUS, found.why)
        return found.address

    def places(self) -> Iterator[tuple[Action, Spot]]:
        """Yield the events that say where things are, mobile places first: units may stand in them."""
        entries = sorted(self.placed.values(), key=lambda entry: not self.plant.is_mobile(entry.subject))
        for entry in entries:
            good = [self._is_there(entry, entry.subject, MOVABLE), self._is_place(entry)]
            if all(good):
                yield (
                    _event(entry, (entry.subject,), place=entry.place),
                    entry.spot,
                )

    def _is_place(self, entry: InitialState) -> bool:
        if not self._is_there(entry, entry.place, PLACE):
            return False
        place = self.plant.places[entry.place]
        wrong = list(wrong_way_round(place, entry.subject, entry.facing)) if entry.facing else []
        for refusal in wrong:
            self.note(entry, refusal.code, refusal.sentence)
        return not wrong

    def ports(self) -> Iterator[tuple[Action, Spot]]:
        """Yield the events that say what is joined, then those that give the statuses of single ports."""
        singles: list[tuple[Action, Spot]] = []
        done: set[str] = set()
        for entry in self.found.values():
            if entry.subject in done:
                continue
            done.add(entry.subject)
            if entry.mate in done:
                self.note(entry, "twice", f"{entry.mate} has another mate already, or is given a status")
            elif entry.mate:
                done.add(entry.mate)
                for event, spot in self._pair(entry):
                    if len(event.subjects) == 2:
                        yield event, spot
                    else:
                        singles.append((event, spot))
            elif (kind := self._kind(entry, entry.subject)) is not None and self._is_status(entry, kind):
                singles.append((_event(entry, (entry.subject,), status=entry.status), entry.spot))
        yield from singles

    def _pair(self, entry: InitialState) -> Iterator[tuple[Action, Spot]]:
        other = self.found.get(entry.mate, replace(entry, subject=entry.mate, mate=entry.subject))
        if other.mate != entry.subject:
            to = f"to {other.mate}" if other.mate else other.status
            sentence = (
                f"{entry.mate} stands in the initial configuration already, {to}, at {other.spot.where}"
            )
            self.note(entry, "twice", sentence)
            return
        kinds = [self._kind(one, one.subject) for one in (entry, other)]
        a, b = kinds
        if a is None or b is None or not (self._joins(entry, a) and self._joins(other, b)):
            return
        misfitting = list(misfits(self.plant, entry.subject, entry.mate))
        wanted = [one.status or kind.statuses[-1] for one, kind in ((entry, a), (other, b))]
        both = _highest_of_both(a, b, wanted)
        if both is None and misfitting:
            for refusal in misfitting:
                self.note(entry, refusal.code, refusal.sentence)
            return
        if both is None:
            sentence = f"{entry.subject} ({a.id}) and {entry.mate} ({b.id}) have no joined status in common"
            self.note(entry, "kind", sentence)
            return
        pair = (entry.subject, entry.mate)
        joint = _event(entry, pair, status=both)
        if misfitting:
            where, row = entry.spot.where, entry.spot.row
            why = (Problem(where, one.code, f"initial: {one.sentence}", row) for one in misfitting)
            self.unfit[joint.id] = tuple(why)
        yield joint, entry.spot
        for one, status in zip((entry, other), wanted, strict=True):
            if status != both:
                event = _event(one, (one.subject,), status=status)
                yield replace(event, id=f"{event.id}:{status}"), one.spot

    def _is_there(self, entry: InitialState | PriorLife, address: str, wanted: tuple[str, ...]) -> bool:
        why = "" if self.declared(address) else unknown(self.plant, address, wanted)
        if why:
            self.note(entry, UNKNOWN, why, thing=True)
        return self.plant.sort_of(address) in wanted

    def _kind(self, entry: InitialState, subject: str) -> Kind | None:
        found = self.plant.port(subject) if self._is_there(entry, subject, PORT) else None
        return None if found is None else found[1]

    def _is_status(self, entry: InitialState, kind: Kind) -> bool:
        status = entry.status
        if status not in kind.statuses:
            self.note(entry, UNKNOWN, f"{entry.subject}: {no_such('status', status, kind.statuses)}")
            return False
        if kind.is_joined(status):
            sentence = f'{entry.subject} {status}: say to what, as in {{is = "{status}", mate = "UNIT:PORT"}}'
            self.note(entry, "mate-missing", sentence)
            return False
        return True

    def _joins(self, entry: InitialState, kind: Kind) -> bool:
        """Return whether a port of this kind can have the mate that the entry gives it."""
        if kind.joined is None:
            self.note(entry, "one-sided", f"{entry.subject} is of kind {kind.id}: it has no mate")
            return False
        if not entry.status:
            return True
        if entry.status not in kind.statuses:
            return self._is_status(entry, kind)
        if not kind.is_joined(entry.status):
            self.note(entry, "status", f"{entry.subject} {entry.status} has no mate")
            return False
        return True

    def try_out(self, before: Iterable[Action], events: list[tuple[Action, Spot]]) -> None:
        """Note every event that is impossible, and every place that holds more than it can."""
        configuration = Configuration(self.plant)
        spots: dict[str, Spot] = {}
        for event in before:
            outcome = resolve(configuration, event)
            if isinstance(outcome, Event):
                configuration.apply(outcome)
        for event, spot in events:
            # Of a joint that doesn't fit that is told already.
            outcome = resolve(configuration, replace(event, initial=event.id not in self.unfit))
            if isinstance(outcome, Event):
                configuration.apply(outcome)
                spots[event.id] = spot
                continue
            for refusal in outcome.refusals:
                self._refuse(refusal, spot)
        for place in self.plant.places:
            full = too_full(configuration, place)
            if full is not None:
                self._refuse(full, spots.get(full.collides or "", Spot("initial")))
        for event, spot in events:
            # Where a thing is need not be said at the start.
            if len(event.subjects) == 2 and all(
                place_line(configuration, owner_of(s)) for s in event.subjects
            ):
                apart = not_in_one_place(configuration, *event.subjects)
                sites = sites_apart(configuration, *event.subjects) if self.plant.has_sites else ()
                for refusal in (apart,) if apart is not None else sites:
                    self._refuse(refusal, spot)

    def _refuse(self, refusal: Refusal, spot: Spot) -> None:
        self.problems.add(spot.where, refusal.code, refusal.sentence, row=spot.row)

    def note(self, entry: InitialState | PriorLife, code: str, sentence: str, *, thing: bool = False) -> None:
        """Note a problem of an entry."""
        self.problems.add(entry.spot.where, code, f"initial: {sentence}", row=entry.spot.row, thing=thing)


def _highest_of_both(a: Kind, b: Kind, wanted: list[str]) -> str | None:
    """Return the highest status that both ladders have, joined and on neither above what is wanted."""
    for status in reversed(a.statuses):
        if status not in b.statuses or not (a.is_joined(status) and b.is_joined(status)):
            continue
        if a.rank(status) <= a.rank(wanted[0]) and b.rank(status) <= b.rank(wanted[1]):
            return status
    return None


def _told(entry: PriorLife, action: str) -> Action:
    name = entry.quantity or action
    return Action(f"initial:{entry.subject}:{name}", action, (entry.subject,), entry.at, by=entry.by)


def _event(
    entry: InitialState, subjects: tuple[str, ...], *, place: str | None = None, status: str | None = None
) -> Action:
    return Action(
        id=f"initial:{entry.subject}",
        action=FOUND,
        subjects=subjects,
        happened=entry.at,
        place=place,
        facing=entry.facing or None,
        status=status,
        by=entry.by,
        initial=True,
    )


# --- what the tables and rows say, one entry a subject -----------------------------------------------------------


def _read_entries(initial: Initial) -> Iterator[InitialState | PriorLife]:
    """Yield one file's entries, noting what is none."""
    table = initial.table
    if table is None:
        for row in [*initial.rows, *initial.joints][:1]:
            row.note("", "missing", "rows for [initial] need an [initial] table with its time: at = ...")
        return
    at = table.instant("at", required=True) or 0
    by = table.text("by") or None
    yield from _joined(table, at, by)
    for name in _KEYED:
        yield from _lines(table, name, at, by)
    yield from _lives(table, at, by)
    parts = table.table("parts")
    for name in parts.values if parts is not None else ():
        below = parts.table(name) if parts is not None else None
        if below is not None:
            yield from _of_part(below, name, at, by)
    table.finish()
    for row in initial.rows:
        yield from _row(row, at, by)
    for row in initial.joints:
        yield from _joint(row, at, by)


def _joined(table: Table, at: int, by: str | None) -> Iterator[InitialState]:
    pairs = table.get("joined")
    if pairs is not None and not isinstance(pairs, list):
        table.wrong("joined", 'a list of pairs such as [["A-1:F1", "B-1:F1"]]', pairs)
        return
    for i, pair in enumerate(pairs or ()):
        if not isinstance(pair, list) or len(pair) != 2 or not all(isinstance(one, str) for one in pair):
            sentence = f'expected two ports such as ["A-1:F1", "B-1:F1"], found {shown(pair)}'
            table.note_element(("joined", i), "wrong-type", sentence)
        elif pair[0] == pair[1]:
            table.note_element(("joined", i), "same", f"{pair[0]} can't be joined to itself")
        else:
            yield InitialState(pair[0], table.element("joined", i), at, by, mate=pair[1])


_KEYED = {
    "status": ("is", "mate", 'a status or {is = "mated", mate = "B-1:F1"}'),
    "place": ("at", "facing", 'a place or {at = "RACK-1", facing = "up"}'),
}
"""The tables of one line a subject: what a line that is a table must say, what it may, and what it may look like."""


def _lines(table: Table, name: str, at: int, by: str | None) -> Iterator[InitialState]:
    must, may, expected = _KEYED[name]
    for subject, spot, value in _keyed(table, name):
        said = {must: value} if isinstance(value, str) else value
        if _is_texts(said, {must, may}, must):
            yield InitialState(subject, spot, at, by, **{name: said[must], may: said.get(may, "")})
        else:
            sentence = f"{subject}: expected {expected}, found {shown(value)}"
            table.note_element((name, subject), "wrong-type", sentence)


_LIFE = '{cycles = 7, time = "1200 h", inspect = "2030-11-02T10:00:00Z"}'


def _lives(table: Table, at: int, by: str | None) -> Iterator[PriorLife]:
    """Yield what the lines of [initial.before] say: a quantity with its value, or with that and its time; or a time."""
    for subject, spot, said in _keyed(table, "before"):
        if not isinstance(said, dict) or not said:
            sentence = f"{subject}: expected what was so before, as in {_LIFE}, found {shown(said)}"
            table.note_element(("before", subject), "wrong-type", sentence)
            continue
        for name, value in said.items():
            told = value if isinstance(value, dict) else {"at": value} if name == INSPECT else {"is": value}
            is_whole = told.keys() <= {"is", "at"} and ("at" in told if name == INSPECT else "is" in told)
            try:
                when = _instant(told["at"]) if "at" in told else at
            except BadTime as err:
                table.note_element(("before", subject), "bad-time", f"{name} of {subject}: {err}")
                continue
            text = told.get("is", "")
            if not is_whole or (name == INSPECT) == ("is" in told) or not isinstance(text, str | int | float):
                sentence = f"{name} of {subject}: expected a value, and maybe its time, found {shown(value)}"
                table.note_element(("before", subject), "wrong-type", sentence)
                continue
            quantity = "" if name == INSPECT else name
            yield PriorLife(
                subject, spot, at, when, by, quantity, text if isinstance(text, str) else shown(text)
            )


def _instant(value: Any) -> int:
    if isinstance(value, date | time):
        value = value.isoformat()
    if not isinstance(value, str):
        raise BadTime(f"expected a time such as 2030-05-01T08:00:00Z, found {shown(value)}")
    return parse_instant(value)


def _keyed(table: Table, name: str) -> Iterator[tuple[str, Spot, Any]]:
    below = table.get(name)
    if below is not None and not isinstance(below, dict):
        table.wrong(name, "a table of one line a subject", below)
        return
    for subject, value in (below or {}).items():
        yield subject, table.element(name, subject), value


def _is_texts(value: Any, names: set[str], required: str) -> bool:
    return (
        isinstance(value, dict)
        and required in value
        and value.keys() <= names
        and all(isinstance(one, str) and one for one in value.values())
    )


def _pairs(row: Fields, values: str) -> Iterator[tuple[str, str]]:
    """Yield what `cycles=7 time="1200 h"` says, name by name."""
    try:
        words = shlex.split(values)
    except ValueError as err:
        row.note("values", "bad-values", str(err))
        return
    for word in words:
        name, equals, text = word.partition("=")
        if not (name and equals and text):
            sentence = f'expected values such as cycles=7 time="1200 h", found {word}'
            row.note("values", "bad-values", sentence)
        else:
            yield name, text


def _of_part(table: Table, part: str, at: int, by: str | None) -> Iterator[InitialState | PriorLife]:
    """Yield what the units of a part are to begin with, where nothing else is said of them."""
    entries = chain[InitialState | PriorLife](_lines(table, "status", at, by), _lives(table, at, by))
    yield from (replace(entry, part=part) for entry in entries)
    place, facing = table.text("place"), table.text("facing")
    if place:
        yield InitialState("", table.spot("place"), at, by, place=place, facing=facing, part=part)
    table.finish()


def _row(row: Fields, at: int, by: str | None) -> Iterator[InitialState | PriorLife]:
    part = row.text("part")
    subject = row.text("subject", required=not part)
    mate, status = row.text("mate"), row.text("status")
    place, facing = row.text("place"), row.text("facing")
    values, inspected = row.text("values"), row.instant("inspected")
    row.finish()
    if not subject and not part:
        return
    told = subject or part
    if facing and not place:
        row.note("facing", "missing", f"{told} faces {facing}, but where? place is missing")
    if not (mate or status or place or values or inspected is not None):
        row.note("", "missing", f"{told} needs a mate, a status or a place, or what was so before")
    if inspected is not None:
        yield PriorLife(subject, row.spot("inspected"), at, inspected, by, part=part)
    for name, text in _pairs(row, values):
        yield PriorLife(subject, row.spot("values"), at, at, by, name, text, part=part)
    if mate and mate == subject:
        row.note("mate", "same", f"{subject} can't be joined to itself")
    elif mate or status:
        yield InitialState(subject, row.spot(), at, by, mate=mate, status=status, part=part)
    if place:
        yield InitialState(
            "" if part else subject, row.spot("place"), at, by, place=place, facing=facing, part=part
        )


def _joint(row: Fields, at: int, by: str | None) -> Iterator[InitialState]:
    a, b = row.text("a", required=True), row.text("b", required=True)
    status = row.text("status")
    row.finish()
    if a and a == b:
        row.note("b", "same", f"{a} can't be joined to itself")
    elif a and b:
        yield InitialState(a, row.spot(), at, by, mate=b, status=status)
