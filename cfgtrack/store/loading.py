"""Loading a hardware definition: what it adds and changes, as events of the journal like everything else.

Each load that changes something is a `define` event that commits to the items loaded by a hash, so that the tree
over the journal covers the definition too.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property, partial
from hashlib import sha256
from types import MappingProxyType
from typing import Any, ClassVar, NamedTuple

from cfgtrack.model.action import DEFINE, NOTES, RETIRE, REVISE, WITHDRAW, Action
from cfgtrack.model.attribute import attribute_from_json, attribute_text
from cfgtrack.model.configuration import Configuration
from cfgtrack.model.definition import SORTS, Definition
from cfgtrack.model.event import Entry, Event
from cfgtrack.model.naming import clashes
from cfgtrack.model.people import ADMINISTER, has_roles, who_may
from cfgtrack.model.plant import Plant, owner_of
from cfgtrack.model.time import Instant, format_instant
from cfgtrack.model.trouble import BadInput, NoAnswer, Problem, Refused
from cfgtrack.model.unknown import UNKNOWN, expect_thing, no_such
from cfgtrack.store.canonical import NotCanonical, canonical_json, canonical_object
from cfgtrack.store.columns import AT_PLACE, NEVER
from cfgtrack.store.database import Database
from cfgtrack.store.definitions import ALWAYS, RETIRED, Definitions, read_definitions, unsound
from cfgtrack.store.item_text import item_text
from cfgtrack.store.record import Outcome, Recorder
from cfgtrack.store.rows import IN_EFFECT, entries_of, entry_of, find_entry
from cfgtrack.store.signing import KEYS_LOST, other_than_keys
from cfgtrack.store.view import read_configuration

RULES = "rules"
"""The sort under which the text of rules files is kept."""

ACCEPTED = "accepted"
"""What the body of a load says of what it takes away."""

MOVED = "@"
"""Comes between the id of an event of the initial configuration and the date from which a load says it otherwise."""

_NAMED = ("part", "unit", "place")
"""The sorts of item that an event of the definition names: those that have a history."""

Bodies = dict[str, dict[str, Any]]
"""Items of one sort: id to JSON object."""

Texts = dict[str, str]
"""Items of one sort: id to canonical JSON, as the journal keeps them."""

Written = dict[str, str | None]
"""Items of one sort as they are written: None for what is no longer so."""


class FieldChange(NamedTuple):
    """One field of an item: what it was and what it is now, None where it is absent."""

    field: str
    before: Any
    after: Any


class ItemName(NamedTuple):
    """What an item is called: by its sort and id."""

    sort: str
    id: str


class ItemChange(NamedTuple):
    """An item that a load changes."""

    sort: str
    id: str
    fields: tuple[FieldChange, ...]


@dataclass(frozen=True, slots=True)
class ToldAnew:
    """An event that a load tells anew: it counts no longer, and `by` does, from `since` on, with its subjects."""

    event: str
    by: str
    since: Instant
    subjects: tuple[str, ...]


@dataclass(slots=True)
class LoadReport:
    """What a load did, or would do. `same`: how many items are as they were.

    `missing` are the items in the journal that the definition doesn't mention; they stay. `initial` tells of the
    events of the initial configuration, `entries` are the events that carry what was written: one `define` or `revise`,
    and one for each earlier revision that is told anew. `anew` names those revisions, and what had been told of a prior
    life and is told otherwise. `retired` are the units that the files mention though they are no longer of the plant:
    they stay so, but for those that are `back`. `found` are the events of the initial configuration that were recorded,
    where something was defined before. `accepted` is why what a `Judge` asked for was accepted; the load is `refused`
    where nobody said why: then nothing is written.
    """

    told: ClassVar[tuple[str, ...]] = ("event",)
    untold: ClassVar[tuple[str, ...]] = ("entries", "found")

    refused: bool = False
    accepted: str | None = None

    added: list[ItemName] = field(default_factory=list)
    changed: list[ItemChange] = field(default_factory=list)
    same: int = 0
    missing: list[ItemName] = field(default_factory=list)
    retired: list[ItemName] = field(default_factory=list)
    back: list[ItemName] = field(default_factory=list)
    anew: list[ToldAnew] = field(default_factory=list)
    initial: Outcome = field(default_factory=Outcome)
    entries: list[Entry] = field(default_factory=list)
    found: list[Entry] = field(default_factory=list)

    @property
    def entry(self) -> Entry | None:
        """The event that carries what was written, the first of them where there are several."""
        return self.entries[0] if self.entries else None

    @property
    def event(self) -> str | None:
        """The id of that event."""
        return None if self.entry is None else self.entry.event.id


@dataclass
class Loading:
    """A load seen from inside its transaction, when all of it is written: both its sides, as far as they are asked for.

    `known` is when the last event before it became known, 0 where there is none; `definitions` what is defined now.
    """

    database: Database
    report: LoadReport
    known: int
    definitions: Definitions

    @property
    def is_first(self) -> bool:
        """Whether nothing was defined before."""
        return not self.definitions.eras(self.known)[-1].loads

    @cached_property
    def before(self) -> Configuration:
        """All that was recorded, over the plant as it was defined before."""
        return self._configuration(self.known)

    @cached_property
    def after(self) -> Configuration:
        """All that is recorded, the initial configuration too, over the plant as it is defined now."""
        return self._configuration(_last_known(self.database))

    def _configuration(self, known: int) -> Configuration:
        return read_configuration(self.database, self.definitions.plant(NEVER, known), NEVER, known)

    def texts(self, *, before: bool) -> dict[str, str]:
        """Return the texts of the rules files that are kept, name to text."""
        items = read_items(self.database, RULES, self.known if before else NEVER)
        return {name: text for name, body in items.items() if (text := str(body["text"]))}

    def initial(self) -> list[Action]:
        """Return the initial configuration as it was told last before, as events that were resolved."""
        sql = (
            f"SELECT e.body, e.number, e.known FROM event e WHERE e.id >= :first AND e.id < :end AND {IN_EFFECT}"  # noqa: S608 - the text is ours
            " ORDER BY e.happened, e.turn"
        )
        rows = self.database.rows(sql, {"first": "initial:", "end": "initial;", "known": self.known})
        # A joint that was moved since is told under the same name with a date.
        return [*{entry.event.id.partition(MOVED)[0]: entry.event for entry in entries_of(rows)}.values()]


def _last_known(database: Database) -> int:
    """Return when the last event became known, 0 where there is none."""
    row = database.row("SELECT known FROM event ORDER BY number DESC LIMIT 1")
    return 0 if row is None else int(row[0])


Judge = Callable[[Loading], Sequence[str]]
"""What looks at a load before it counts, and returns what somebody has to accept, in words."""


class _ToAccept(Exception):
    """There is something to accept, or other things than were accepted: what was written is taken back."""

    def __init__(self, grounds: tuple[str, ...]) -> None:
        super().__init__(grounds)
        self.grounds = grounds


_ITEMS = """
    SELECT i.id, i.body FROM item i WHERE i.sort = :sort AND i.body IS NOT NULL AND i.load = (
        SELECT max(o.load) FROM item o JOIN event e ON e.number = o.load
        WHERE o.sort = i.sort AND o.id = i.id AND e.known <= :known)
    ORDER BY i.id
"""


def read_items(database: Database, sort: str, known: int = NEVER) -> Bodies:
    """Return the items of one sort as they were known at `known`, in the order of their ids: of what has no dates."""
    return {i: json.loads(text) for i, text in _read_texts(database, sort, known).items()}


def _read_texts(database: Database, sort: str, known: int = NEVER) -> Texts:
    return {i: str(body) for i, body in database.rows(_ITEMS, {"sort": sort, "known": known})}


class Effect(NamedTuple):
    """From when on something is so, and why; `supersedes` is the revision that this one is told instead of.

    `back` are retired units that are of the plant again.
    """

    at: int
    reason: str
    supersedes: str | None = None
    back: tuple[str, ...] = ()


def load_definition(
    database: Database,
    definition: Definition,
    by: str | None,
    recorder: str | None,
    *,
    effect: Effect | None = None,
    begin: Callable[[], Recorder],
    keep: bool,
    judge: Judge | None = None,
    accept: str | None = None,
) -> LoadReport:
    """Write what `definition` adds or changes and its initial configuration. Nothing is written when nothing changes.

    With an `effect` it is so from a date on, and is compared with what was so then. Without one it is so as if it
    always had been; an item that was revised, from its last revision on: that is told anew, as a correction of it.
    Refused when an initial state contradicts the journal, a change takes away what it has a state of, or an alias is
    what something in the journal, that the definition doesn't mention, is called. Nothing is written either when
    `judge` finds what must be accepted, and `accept` doesn't say why. What nobody signs since keys are lost (see
    `Door.without_keys`) brings keys and nothing else, or is Refused.
    """
    new = {s: {i: item_text(s, item) for i, item in definition.items(s).items()} for s in SORTS}

    def write(accepted: Accepted | None) -> tuple[LoadReport, Definitions]:
        report = LoadReport(accepted=accepted and accepted.reason)
        writing = begin()
        each = report.found.append if writing.appender.definitions.loads else None
        if effect is not None and effect.supersedes:
            _expect_revision(database, effect.supersedes)
        why = {} if accepted is None else accepted.told()
        if writing.door.keys_lost is not None:
            why |= {KEYS_LOST: writing.door.keys_lost}
        _write_items(writing, definition, new, effect, by, recorder, report, why)
        if writing.door.keys_lost is not None:
            _expect_keys_alone(database, report)
        if report.entries:
            takes_away = bool(report.changed) or (effect is not None and effect.supersedes is not None)
            way_out = _SINCE_WHEN if effect is None else _RIGHT_DATE
            _expect_sound(writing, definition.origins, way_out if takes_away else "")
            _expect_administrator(writing)
        before = writing.tally.recorded
        initial = [replace(e, recorder=recorder) for e in definition.initial]
        rows = [row for row in initial if row.action not in NOTES]
        lives = [row for row in initial if row.action in NOTES]
        last = writing.appender.number
        writing.take(((e.id, e) for e in _initial(writing, rows, definition.unfit, effect, by)), each=each)
        writing.take(((e.id, e) for e in _lives(writing, lives, effect, report)), each=each)
        report.found = [entry for entry in report.found if entry.number > last]
        writing.finish()
        report.initial = replace(writing.tally, recorded=writing.tally.recorded - before)
        return report, writing.appender.definitions

    return _judged(database, write, judge, accept, keep=keep)


def loaded_again(database: Database, fingerprint: Callable[[], str | None]) -> LoadReport | None:
    """Return what loading files with this fingerprint would do, if they are those of the last load: nothing. Else None.

    None, too, where the definition was changed since by anything else.
    """
    row = database.row(
        "SELECT e.body FROM event e WHERE e.number = (SELECT max(i.load) FROM item i WHERE i.sort <> :rules)",
        {"rules": RULES},
    )
    files = None if row is None else json.loads(row[0]).get("body", {}).get("files")
    if files is None or files["sha256"] != fingerprint():
        return None
    if database.row(_ANY_SINCE, {**_MOVED, "rules": RULES}) is not None:
        return None
    return LoadReport(same=files["items"], initial=Outcome(repeated=files["initial"]))


_ANY_SINCE = """
    SELECT 1 FROM event e WHERE e.id >= :first AND e.id < :end AND e.id LIKE :moved
        AND e.number > (SELECT max(i.load) FROM item i WHERE i.sort <> :rules) LIMIT 1
"""
_MOVED = {"first": "initial:", "end": "initial;", "moved": f"%{MOVED}%"}


def _files(definition: Definition, definitions: Definitions, report: LoadReport) -> dict[str, Any]:
    """Return what loading the same files again would find, so that it need not be found again; else nothing.

    Where hardware was revised, what is loaded may be told of any of its dates.
    """
    if not definition.fingerprint or report.missing or definition.notes or definitions.dates():
        return {}
    whole = sum(len(definition.items(sort)) for sort in SORTS)
    found = {"sha256": definition.fingerprint, "items": whole, "initial": len(definition.initial)}
    return {"files": found}


def _write_items(
    writing: Recorder,
    definition: Definition,
    new: Mapping[str, Texts],
    effect: Effect | None,
    by: str | None,
    recorder: str | None,
    report: LoadReport,
    why: Mapping[str, Any],
) -> None:
    """Write what differs from what there is, each as a version of what it replaces."""
    definitions = writing.appender.definitions
    era = definitions.era(NEVER if effect is None else effect.at)
    bodies = definitions.bodies(era)
    if effect is not None and effect.supersedes:
        # What it says instead is compared with what would be without it.
        bodies = _without(definitions, effect)
    retired = bodies.pop(RETIRED)
    there: Mapping[str, Mapping[str, tuple[int, str]]] = bodies
    changed: dict[str, Written] = {sort: {**texts} for sort, texts in _compared(there, new, report).items()}
    back = () if effect is None else effect.back
    _expect_retired(back, retired, new["unit"])
    if back:
        changed[RETIRED] = dict.fromkeys(back)
        report.back = [ItemName("unit", i) for i in back]
    report.retired = [ItemName("unit", i) for i in new["unit"] if i in retired and i not in back]
    report.missing = [one for one in report.missing if one.sort != "unit" or one.id not in retired]
    # What was revised is told anew as that revision was: all that came with it, and from the same date on.
    effects = {load.number: load.effective for load in definitions.loads}
    by_load: dict[int, dict[str, Written]] = {}
    for sort, texts in changed.items():
        for i, text in texts.items():
            number = there[sort][i][0] if effect is None and i in there[sort] else 0
            replaced = number if effects.get(number, ALWAYS) != ALWAYS else 0
            by_load.setdefault(replaced, {}).setdefault(sort, {})[i] = text
    carry = partial(_carry, writing, by=by, recorder=recorder, title=definition.title)
    for number in sorted(by_load):
        items = by_load[number]
        # What is written now need not be read back out of it.
        loaded = ((sort, i) for sort, texts in items.items() if sort != RETIRED for i in texts)
        made = {(sort, i): definition.items(sort)[i] for sort, i in loaded}
        definitions.remember(writing.appender.number + 1, made)
        changed_here = sorted({i for texts in items.values() for i in texts})
        if number:
            items = _with_the_rest(writing.database, number, items)
            row = writing.database.row("SELECT id, happened FROM event WHERE number = :n", {"n": number})
            assert row is not None
            mine: Effect | None = Effect(int(row[1]), _AGAIN, str(row[0]))
        else:
            mine = effect
        files = _files(definition, definitions, report) if mine is None else {}
        entry = carry(items, mine, sort_of_event(mine), more={**why, **files})
        report.entries.append(entry)
        if number and mine is not None and mine.supersedes:
            report.anew.append(ToldAnew(mine.supersedes, entry.event.id, mine.at, tuple(changed_here)))
    if ACCEPTED in why and not by_load:
        # A joint of the drawing that changes what is guarded: the reason has to stand somewhere.
        report.entries.append(carry({}, effect, sort_of_event(effect), more=why))


_AGAIN = "loaded again without a date of effect"


def sort_of_event(effect: Effect | None) -> str:
    """Return the action of the event that carries what is loaded."""
    return DEFINE if effect is None else REVISE


def _without(definitions: Definitions, effect: Effect) -> dict[str, dict[str, tuple[int, str]]]:
    row = definitions.database.row("SELECT number FROM event WHERE id = :id", {"id": effect.supersedes})
    assert row is not None
    others = tuple(load for load in definitions.loads if load.number != row[0])
    found = Definitions(definitions.database, others)
    return found.bodies(found.era(effect.at))


def _with_the_rest(database: Database, number: int, items: Mapping[str, Written]) -> dict[str, Written]:
    """Return what an event carries, with some items otherwise."""
    found = texts_of(database, number)
    for sort, texts in items.items():
        found.setdefault(sort, {}).update(texts)
    return found


def _expect_retired(back: Sequence[str], retired: Mapping[str, Any], named: Mapping[str, Any]) -> None:
    wrong = [
        Problem(unit, "not-retired", f"unit {unit} isn't retired at the date of effect")
        if unit not in retired
        else Problem(unit, "missing", f"unit {unit} isn't in the files: what is it from then on?")
        for unit in back
        if unit not in retired or unit not in named
    ]
    if wrong:
        raise Refused(wrong)


def _expect_revision(database: Database, name: str) -> None:
    row = database.row("SELECT action FROM event WHERE id = :id", {"id": name})
    if row is None:
        raise NoAnswer(Problem(name, UNKNOWN, f"{no_such('event', name)} to correct"))
    if row[0] != REVISE:
        raise Refused([Problem(name, "not-correctable", f"event {name} is no revision: {row[0]}")])


def _expect_sound(writing: Recorder, origins: Mapping[tuple[str, str], str], way_out: str) -> None:
    """Raise Refused where what is defined now doesn't hold together, or has no room for what is recorded.

    With no `way_out` nothing can be missed: there is only more than there was.
    """
    definitions = writing.appender.definitions
    problems = [Problem("load", "not-yet", why) for why in unsound(definitions)]
    for era in definitions.eras():
        plant = definitions.plant_of(era)
        doubles = (
            Problem(_where(plant, one.id, origins), "duplicate", one.sentence) for one in clashes(plant)
        )
        problems += (double for double in doubles if double not in problems)
    if way_out and not problems:
        problems += _what_is_missed(writing.database, definitions, origins, way_out)
    if problems:
        raise Refused(problems)


def _expect_keys_alone(database: Database, report: LoadReport) -> None:
    """Raise Refused where what nobody signs, since keys are lost, brings something else than keys."""
    for entry in report.entries:
        other = other_than_keys(database, entry.number)
        if other is not None:
            sentence = (
                f"it brings {other}, too: load nothing but the new keys, then sign the rest with one of them"
            )
            raise Refused([Problem("--keys-lost", "not-keys", sentence)])


def _expect_administrator(writing: Recorder) -> None:
    """Raise Refused where there are roles and nobody could give or take one any more."""
    definitions, had = writing.appender.definitions, writing.appender.permit.is_needed
    for era in definitions.eras():
        plant = definitions.plant_of(era)
        had = had or has_roles(plant)
        if had and not who_may(plant, ADMINISTER):
            sentence = (
                f"nobody would have the role {ADMINISTER}, and so nobody could give or take a role any more"
            )
            raise Refused([Problem("load", "no-administrator", sentence)])


def _initial(
    writing: Recorder,
    initial: Sequence[Action],
    unfit: Mapping[str, tuple[Problem, ...]],
    effect: Effect | None,
    by: str | None,
) -> Iterator[Action]:
    """Yield the events of the initial configuration that are to be recorded, or repeated.

    The joints of the drawing are its initial rows. One that was moved since, by a load with a date of effect, is no
    longer as it was recorded at first: what says so now is compared with that. With an `effect` what differs is so from
    then on, as found, for the reason that the load gives.

    BadInput where the halves of a joint that isn't recorded yet don't fit. One that is counts like any that was made.
    """
    database, wrong = writing.database, list[Problem]()
    told_anew = _told_anew(database)
    for said in initial:
        last = told_anew.get(said.id)
        # Rows are many: the first telling is looked up only where it matters.
        matters = effect is not None or said.id in unfit
        first = find_entry(database, said.id) if matters else None
        if last is not None and _says_the_same(said, last.event):
            yield replace(said, **_as_recorded(last.event))
        elif effect is None or (first is not None and last is None and _says_the_same(said, first.event)):
            wrong += unfit.get(said.id, ()) if first is None else ()
            yield said
        else:
            wrong += unfit.get(said.id, ())
            yield replace(
                said,
                id=f"{said.id}{MOVED}{format_instant(effect.at)}",
                happened=effect.at,
                by=by if by is not None else said.by,
                initial=False,
                reason=effect.reason,
            )
    if wrong:
        raise BadInput(wrong)


def _lives(
    writing: Recorder, lives: Sequence[Action], effect: Effect | None, report: LoadReport
) -> Iterator[Action]:
    """Yield the events of a prior life that are to be recorded: what is so already only counts as repeated.

    A prior life is of before, whatever date a load has: readings and inspections have their own times, and the values
    of the start are those of when a thing comes, if that is later. What is told otherwise is told instead of what was.
    """
    appender = writing.appender
    for row in lives:
        loads = _versions(writing.database, row.id)
        said = replace(row, recorder=loads[0].event.recorder) if loads and not row.initial else row
        since = _there_since(appender.definitions, row.subjects[0])
        comes_later = since > row.happened
        if comes_later and row.initial:
            said = replace(said, happened=since, id=f"{row.id}{MOVED}{format_instant(since)}")
        if not loads:
            if comes_later:
                appender.prior[said.id] = since
            yield said
            continue
        last = _corrected_last(writing.database, loads[-1])
        if _is_told(said, last.event) or _is_told(said, loads[-1].event):
            writing.tally.repeated += 1
            continue
        name = f"{row.id}{MOVED}{format_instant(said.happened)}"
        again = sum(one.event.id.startswith(name) for one in loads)
        name = f"{name}+{again}" if again else name
        if comes_later:
            appender.prior[name] = since
        said = replace(said, id=name, reason=_AGAIN if effect is None else effect.reason)
        if last.event.action != WITHDRAW:
            said = replace(said, supersedes=last.event.id)
            report.anew.append(ToldAnew(last.event.id, name, said.happened, said.subjects))
        yield said


def _there_since(definitions: Definitions, thing: str) -> int:
    """Return from when on a thing is of the plant, `ALWAYS` where it never is: that is told when it is recorded."""
    eras = definitions.eras()
    return next((era.since for era in eras if definitions.plant_of(era).sort_of(thing)), ALWAYS)


def _versions(database: Database, name: str) -> list[Entry]:
    """Return all that loads have said under the name of an event of the initial configuration, in effect or not."""
    sql = (
        "SELECT e.body, e.number, e.known FROM event e WHERE e.id = :name OR (e.id >= :first AND e.id < :end)"
        " ORDER BY e.number"
    )
    return entries_of(database.rows(sql, {"name": name, "first": f"{name}{MOVED}", "end": f"{name}A"}))


def _corrected_last(database: Database, entry: Entry) -> Entry:
    """Return the event that corrects the one that corrects this one, and so on; this one, where none does."""
    sql = "SELECT e.body, e.number, e.known FROM event e WHERE e.corrects = :number"
    while (row := database.row(sql, {"number": entry.number})) is not None:
        entry = entry_of(*row)
    return entry


def _is_told(said: Action, told: Event) -> bool:
    return said.action == told.action and said.happened == told.happened and _says_the_same(said, told)


def _told_anew(database: Database) -> dict[str, Entry]:
    """Return, by the event of the initial configuration, the last one in effect that says otherwise what that said."""
    sql = (
        "SELECT e.body, e.number, e.known FROM event e WHERE e.id >= :first AND e.id < :end AND e.id LIKE :moved"
        " AND NOT EXISTS (SELECT 1 FROM event x WHERE x.corrects = e.number) ORDER BY e.happened, e.turn"
    )
    return {entry.event.id.partition(MOVED)[0]: entry for entry in entries_of(database.rows(sql, _MOVED))}


def _says_the_same(said: Action, told: Event) -> bool:
    same = (said.place, said.facing, said.status, said.values)
    return said.subjects == told.subjects[: len(said.subjects)] and same == (
        told.place,
        told.facing,
        told.status,
        told.values,
    )


def _as_recorded(told: Event) -> dict[str, Any]:
    return {
        "id": told.id,
        "happened": told.happened,
        "by": told.by,
        "recorder": told.recorder,
        "initial": told.initial,
        "reason": told.reason,
    }


def retire_unit(
    database: Database,
    unit: str,
    effect: Effect,
    event_id: str,
    by: str | None,
    recorder: str | None,
    *,
    begin: Callable[[], Recorder],
    keep: bool,
) -> Entry:
    """Write that a unit is no longer of the plant from a date on. Said again under its id it is a harmless repeat.

    NoAnswer for no such unit then, Refused when it is joined to something or something was done to it later.
    """
    with database.writing(keep=keep):
        before = find_entry(database, event_id)
        if before is not None:
            given = (RETIRE, (unit,), effect.at, effect.reason)
            event = before.event
            if given == (event.action, event.subjects, event.happened, event.reason):
                return before
            sentence = f"event {event_id} exists, and says something else"
            raise Refused([Problem(event_id, "exists", sentence)], collides=(event_id,))
        writing = begin()
        plant = writing.appender.definitions.plant(effect.at)
        expect_thing(plant, unit, ("unit",))
        items = {RETIRED: {unit: canonical_json({"id": unit}).decode()}}
        entry = _carry(writing, items, effect, RETIRE, by=by, recorder=recorder, event_id=event_id)
        writing.finish()
        return entry


def keep_texts(
    database: Database,
    texts: Mapping[str, str],
    by: str | None,
    recorder: str | None,
    *,
    begin: Callable[[], Recorder],
    keep: bool,
    judge: Judge | None = None,
    accept: str | None = None,
) -> LoadReport:
    """Keep the text of rules files under their names; a new version only where a text differs. Judged as a load is."""
    bodies = {name: {"id": name, "text": text} for name, text in texts.items()}
    new = {RULES: {name: canonical_json(body).decode() for name, body in bodies.items()}}

    def write(accepted: Accepted | None) -> tuple[LoadReport, None]:
        report = LoadReport(accepted=accepted and accepted.reason)
        there = {RULES: {i: (0, text) for i, text in _read_texts(database, RULES).items()}}
        items = _compared(there, new, report)
        if items:
            writing = begin()
            why = accepted.told() if accepted is not None else {}
            entry = _carry(writing, items, None, DEFINE, by=by, recorder=recorder, title="rules", more=why)
            report.entries.append(entry)
            writing.finish()
        return report, None

    return _judged(database, write, judge, accept, keep=keep)


class Accepted(NamedTuple):
    """What somebody accepted, in words, and why."""

    reason: str
    grounds: tuple[str, ...]

    def told(self) -> dict[str, Any]:
        """Return it as the body of an event keeps it."""
        return {ACCEPTED: {"reason": self.reason, "what": [*self.grounds]}}


def _judged(
    database: Database,
    write: Callable[[Accepted | None], tuple[LoadReport, Definitions | None]],
    judge: Judge | None,
    accept: str | None,
    *,
    keep: bool,
) -> LoadReport:
    """Have a load written and looked at; once more, with the reason, where there is something to accept."""
    grounds: tuple[str, ...] = ()
    while True:
        report = LoadReport()
        try:
            with database.writing(keep=keep):
                known = _last_known(database)
                report, definitions = write(Accepted(accept, grounds) if accept and grounds else None)
                definitions = definitions or read_definitions(database)
                _expect_accepted(judge, Loading(database, report, known, definitions), grounds)
        except _ToAccept as more:
            if accept is None:
                report.refused = True
                report.entries.clear()
                report.found.clear()
                return report
            grounds = more.grounds
        else:
            return report


def _expect_accepted(judge: Judge | None, loading: Loading, grounds: tuple[str, ...]) -> None:
    """Raise _ToAccept unless what has to be accepted is what was."""
    found = () if judge is None else tuple(judge(loading))
    if found != grounds:
        raise _ToAccept(found)


def _compared(
    there: Mapping[str, Mapping[str, tuple[int, str]]], new: Mapping[str, Texts], report: LoadReport
) -> dict[str, Texts]:
    """Fill in `report`, and return the items that have to be written. Canonical texts are the same if the items are.

    `there`: sort and id to (load, text).
    """
    items: dict[str, Texts] = {}
    for sort, texts in new.items():
        old = there.get(sort, {})
        for i, text in texts.items():
            before = old[i][1] if i in old else None
            if before == text:
                report.same += 1
                continue
            items.setdefault(sort, {})[i] = text
            if before is None:
                report.added.append(ItemName(sort, i))
            else:
                fields = _changes("", json.loads(before), json.loads(text))
                report.changed.append(ItemChange(sort, i, tuple(fields)))
        report.missing.extend(ItemName(sort, i) for i in old if i not in texts)
    return items


def _changes(path: str, before: Any, after: Any) -> Iterator[FieldChange]:
    before, after = _by_name(before), _by_name(after)
    if isinstance(before, dict) and isinstance(after, dict):
        for name in dict.fromkeys([*before, *after]):
            if before.get(name) != after.get(name):
                inside = f"{path}.{name}" if path else str(name)
                yield from _changes(inside, before.get(name), after.get(name))
    else:
        yield FieldChange(path, before, after)


def _by_name(value: Any) -> Any:
    """Return a list of named things (ports, nodes, moves) by their names; of attributes a number or date as a text."""
    if isinstance(value, dict) and value.keys() in ({"dimension", "shown", "unit", "value"}, {"date"}):
        return attribute_text(attribute_from_json(value))
    if isinstance(value, list) and value and all(isinstance(v, dict) for v in value):
        for key in ("name", "action"):
            if all(key in v for v in value):
                return {v[key]: v for v in value}
    return value


def _carry(
    writing: Recorder,
    items: Mapping[str, Mapping[str, str | None]],
    effect: Effect | None,
    action: str,
    *,
    by: str | None,
    recorder: str | None,
    event_id: str | None = None,
    title: str = "",
    more: Mapping[str, Any] = MappingProxyType({}),
) -> Entry:
    """Record the event that carries items, and write them. From then on the appender knows of them.

    `more` is what else the event's body says.
    """
    writing.appender.permit.expect_load(action, items, recorder)
    number = writing.appender.number + 1
    body: dict[str, Any] = {
        "count": sum(len(texts) for texts in items.values()),
        "items": texts_hash(items),
        **more,
    }
    named = (
        sorted({i for sort in (*_NAMED, RETIRED) for i in items.get(sort, ())}) if effect is not None else ()
    )
    said = Action(
        id=event_id or f"{action}:{number}",
        action=action,
        subjects=tuple(named),
        happened=writing.appender.known if effect is None else effect.at,
        by=by,
        recorder=recorder,
        remark=title or None,
        reason=None if effect is None else effect.reason,
        supersedes=None if effect is None else effect.supersedes,
        body=body,
    )
    entries: list[Entry] = []
    writing.take([(action, said)], each=entries.append)
    writing.expect_no_problem()
    rows = [(sort, i, number, text) for sort, texts in items.items() for i, text in texts.items()]
    writing.database.insert("item", ("sort", "id", "load", "body"), rows)
    if RULES not in items:
        writing.appender.defined_anew(action, entries[0].event)
    return entries[0]


def items_hash(items: Mapping[str, Mapping[str, Any]]) -> str:
    """Return the SHA-256, in hexadecimal, of the canonical JSON of items: sort to id to object, null when removed."""
    return sha256(canonical_json(items)).hexdigest()


def texts_of(database: Database, load: int) -> dict[str, Written]:
    """Return what the event of a number carries, as it is kept: sort to id to text, None when removed; in order."""
    found: dict[str, Written] = {}
    sql = "SELECT sort, id, body FROM item WHERE load = :load ORDER BY sort, id"
    for sort, i, body in database.rows(sql, {"load": load}):
        found.setdefault(sort, {})[i] = body
    return found


def texts_hash(items: Mapping[str, Mapping[str, str | None]]) -> str:
    """Return the `items_hash` of items that are canonical text already."""
    told = {
        sort: canonical_object({i: "null" if text is None else text for i, text in texts.items()})
        for sort, texts in items.items()
    }
    text = canonical_object(told)
    try:
        return sha256(text.encode()).hexdigest()
    except UnicodeEncodeError as err:
        raise NotCanonical("half a surrogate pair in a text") from err


# --- what a new definition may not take away --------------------------------------------------------------------


def _what_is_missed(
    database: Database, definitions: Definitions, origins: Mapping[tuple[str, str], str], way_out: str
) -> Iterator[Problem]:
    """Yield a problem for every recorded state that the plant of its time has no room for, with the `way_out`.

    A state of the past counts as well: it can still be asked for. `origins`: (sort, id) to where an item is written.
    """
    sql = (
        "SELECT DISTINCT subject, aspect, value FROM change WHERE until = :never AND aspect IN ('', :place)"
        " AND happened >= :since AND happened < :end ORDER BY subject"
    )
    told: set[str] = set()
    for plant, span in definitions.spans():
        for subject, aspect, value in database.rows(sql, {"never": NEVER, "place": AT_PLACE, **span}):
            missed = _no_place if aspect == AT_PLACE else _no_status
            sentence = missed(plant, subject, value)
            if sentence is not None and sentence not in told:
                told.add(sentence)
                where = _where(plant, owner_of(subject), origins)
                yield Problem(where, "in-use", f"{sentence}. {way_out}")


_RIGHT_DATE = "Give the date from which it really is so, or correct what is recorded first"
_SINCE_WHEN = "If it is so from a date on only, say so: `load --effective DATE --reason TEXT`"


def _no_place(plant: Plant, subject: str, value: str) -> str | None:
    if not plant.can_move(subject):
        return f"{subject} has been moved and is neither a unit nor a mobile place any more"
    return None if value in plant.places else f"{subject} has been at {value}, which is no place any more"


def _no_status(plant: Plant, subject: str, value: str) -> str | None:
    found = plant.port(subject)
    if found is None:
        return f"{subject} has had a status and is no port any more"
    if value not in found[1].statuses:
        return f"{subject} has been {value}, which a {found[1].id} can't be any more"
    return None


def _where(plant: Plant, owner: str, origins: Mapping[tuple[str, str], str]) -> str:
    part = plant.part_of(owner).id if plant.has_owner(owner) else ""
    for key in (("unit", owner), ("place", owner), ("part", part)):
        if key in origins:
            return f"{origins[key]}, {key[0]} {key[1]}"
    return owner
