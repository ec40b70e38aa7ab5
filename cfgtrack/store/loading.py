"""Loading a hardware definition: what it adds and changes, as events of the journal like everything else.

Each load that changes something is a `define` event that commits to the items loaded by a hash, so that the tree
over the journal covers the definition too.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from hashlib import sha256
from typing import Any, ClassVar, NamedTuple

from cfgtrack.model.action import DEFINE, Action
from cfgtrack.model.attribute import attribute_from_json, attribute_text
from cfgtrack.model.configuration import Configuration
from cfgtrack.model.definition import SORTS, Definition
from cfgtrack.model.event import Entry
from cfgtrack.model.item import item_from_json, item_to_json
from cfgtrack.model.naming import clashes
from cfgtrack.model.plant import Plant, owner_of
from cfgtrack.model.trouble import Problem, Refused
from cfgtrack.store.canonical import canonical_json
from cfgtrack.store.columns import AT_PLACE, NEVER
from cfgtrack.store.database import Database
from cfgtrack.store.record import Outcome, Recorder
from cfgtrack.store.rows import IN_EFFECT, entries_of
from cfgtrack.store.view import read_configuration

RULES = "rules"
"""The sort under which the text of rules files is kept."""

Bodies = dict[str, dict[str, Any]]
"""Items of one sort: id to JSON object."""


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


@dataclass(slots=True)
class LoadReport:
    """What a load did, or would do. `same`: how many items are as they were.

    `missing` are the items in the journal that the definition doesn't mention; they stay. `initial` tells of the
    events of the initial configuration, `entry` is the `define` event, None when nothing had to be written. `accepted`
    is why what `Judge` asked for was accepted; it is `refused` where nobody said why: then nothing is written.
    """

    told: ClassVar[tuple[str, ...]] = ("event",)
    untold: ClassVar[tuple[str, ...]] = ("entry",)

    refused: bool = False
    accepted: str | None = None

    added: list[ItemName] = field(default_factory=list)
    changed: list[ItemChange] = field(default_factory=list)
    same: int = 0
    missing: list[ItemName] = field(default_factory=list)
    initial: Outcome = field(default_factory=Outcome)
    entry: Entry | None = None

    @property
    def event(self) -> str | None:
        """The id of the `define` event."""
        return None if self.entry is None else self.entry.event.id


@dataclass
class Loading:
    """A load seen from inside its transaction, when all of it is written: both its sides, as far as they are asked for.

    `known` is when the last event before it became known, 0 where there is none.
    """

    database: Database
    report: LoadReport
    known: int

    @property
    def is_first(self) -> bool:
        """Whether nothing was defined before."""
        sql = "SELECT 1 FROM event WHERE action = 'define' AND known <= :known LIMIT 1"
        return self.database.row(sql, {"known": self.known}) is None

    @cached_property
    def before(self) -> Configuration:
        """All that was recorded, over the plant as it was defined before."""
        return self._configuration(self.known)

    @cached_property
    def after(self) -> Configuration:
        """All that is recorded, the initial configuration too, over the plant as it is defined now."""
        return self._configuration(_last_known(self.database))

    def _configuration(self, known: int) -> Configuration:
        return read_configuration(self.database, read_plant(self.database, known), NEVER, known)

    def texts(self, *, before: bool) -> dict[str, str]:
        """Return the texts of the rules files that are kept, name to text."""
        items = read_items(self.database, RULES, self.known if before else NEVER)
        return {name: text for name, body in items.items() if (text := str(body["text"]))}

    def initial(self) -> list[Action]:
        """Return the events of the initial configuration that were in effect before, as they were resolved."""
        sql = (
            f"SELECT e.body, e.number, e.known FROM event e WHERE e.id >= :first AND e.id < :end AND {IN_EFFECT}"  # noqa: S608 - the text is ours
            " ORDER BY e.number"
        )
        rows = self.database.rows(sql, {"first": "initial:", "end": "initial;", "known": self.known})
        return [entry.event for entry in entries_of(rows) if entry.event.initial]


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
    """Return the items of one sort as they were known at `known`, in the order of their ids."""
    return {i: json.loads(body) for i, body in database.rows(_ITEMS, {"sort": sort, "known": known})}


def read_plant(database: Database, known: int = NEVER) -> Plant:
    """Return the plant as it was known at `known`."""
    read: dict[str, dict[str, Any]] = {
        sort: {i: item_from_json(sort, body) for i, body in read_items(database, sort, known).items()}
        for sort in SORTS
    }
    return Plant(*(read[sort] for sort in SORTS))


def load_definition(
    database: Database,
    definition: Definition,
    by: str | None,
    recorder: str | None,
    *,
    clock: Callable[[], int],
    keep: bool,
    judge: Judge | None = None,
    accept: str | None = None,
) -> LoadReport:
    """Write what `definition` adds or changes and its initial configuration. Nothing is written when nothing changes.

    Refused when an initial state contradicts the journal, a change takes away what it has a state of, or an alias is
    what something in the journal, that the definition doesn't mention, is called. Nothing is written either when
    `judge` finds what must be accepted, and `accept` doesn't say why.
    """
    new = {s: {i: item_to_json(s, item) for i, item in definition.items(s).items()} for s in SORTS}

    def write(reason: str | None, grounds: Sequence[str]) -> LoadReport:
        report = LoadReport(accepted=reason)
        items = _compared(database, new, report)
        writing = Recorder(database, Plant(), clock)
        if items or grounds:
            report.entry = _define(writing, items, by, recorder, definition.title, reason, grounds)
        writing.appender.go_on_with(read_plant(database))
        if report.changed:
            missed = list(_what_is_missed(database, writing.appender.plant, definition.origins))
            if missed:
                raise Refused(missed)
        if report.added or report.changed:
            doubles = [
                Problem(_where(writing.appender.plant, one.id, definition.origins), "duplicate", one.sentence)
                for one in clashes(writing.appender.plant)
            ]
            if doubles:
                raise Refused(doubles)
        initial = ((e.id, replace(e, recorder=recorder)) for e in definition.initial)
        before = writing.tally.recorded
        writing.take(initial)
        writing.finish()
        report.initial = replace(writing.tally, recorded=writing.tally.recorded - before)
        return report

    return _judged(database, write, judge, accept, keep=keep)


def keep_texts(
    database: Database,
    texts: Mapping[str, str],
    by: str | None,
    recorder: str | None,
    *,
    clock: Callable[[], int],
    keep: bool,
    judge: Judge | None = None,
    accept: str | None = None,
) -> LoadReport:
    """Keep the text of rules files under their names; a new version only where a text differs. Judged as a load is."""
    new = {RULES: {name: {"id": name, "text": text} for name, text in texts.items()}}

    def write(reason: str | None, grounds: Sequence[str]) -> LoadReport:
        report = LoadReport(accepted=reason)
        items = _compared(database, new, report)
        if items:
            writing = Recorder(database, Plant(), clock)
            report.entry = _define(writing, items, by, recorder, "rules", reason, grounds)
            writing.finish()
        return report

    return _judged(database, write, judge, accept, keep=keep)


def _judged(
    database: Database,
    write: Callable[[str | None, Sequence[str]], LoadReport],
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
                report = write(accept if grounds else None, grounds)
                _expect_accepted(judge, Loading(database, report, known), grounds)
        except _ToAccept as more:
            if accept is None:
                report.refused, report.entry = True, None
                return report
            grounds = more.grounds
        else:
            return report


def _expect_accepted(judge: Judge | None, loading: Loading, grounds: tuple[str, ...]) -> None:
    """Raise _ToAccept unless what has to be accepted is what was."""
    found = () if judge is None else tuple(judge(loading))
    if found != grounds:
        raise _ToAccept(found)


def _compared(database: Database, new: Mapping[str, Bodies], report: LoadReport) -> dict[str, Bodies]:
    """Fill in `report`, and return the items that have to be written."""
    items: dict[str, Bodies] = {}
    for sort, bodies in new.items():
        old = read_items(database, sort)
        for i, body in bodies.items():
            # Written and read back, so that a 2.0 and a 2 are the same here as they will be in the journal.
            after = json.loads(canonical_json(body))
            before = old.get(i)
            if before == after:
                report.same += 1
                continue
            items.setdefault(sort, {})[i] = body
            if before is None:
                report.added.append(ItemName(sort, i))
            else:
                report.changed.append(ItemChange(sort, i, tuple(_changes("", before, after))))
        report.missing.extend(ItemName(sort, i) for i in old if i not in bodies)
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


def _define(
    writing: Recorder,
    items: dict[str, Bodies],
    by: str | None,
    recorder: str | None,
    title: str,
    reason: str | None,
    accepted: Sequence[str],
) -> Entry:
    number = writing.appender.number + 1
    body: dict[str, Any] = {
        "count": sum(len(bodies) for bodies in items.values()),
        "items": items_hash(items),
        **({"accepted": {"reason": reason, "what": list(accepted)}} if accepted else {}),
    }
    action = Action(
        id=f"define:{number}",
        action=DEFINE,
        subjects=(),
        happened=writing.appender.known,
        by=by,
        recorder=recorder,
        remark=title or None,
        body=body,
    )
    entries: list[Entry] = []
    writing.take([(action.id, action)], each=entries.append)
    writing.expect_no_problem()
    rows = [
        (sort, i, number, canonical_json(body).decode())
        for sort, bodies in items.items()
        for i, body in bodies.items()
    ]
    writing.database.insert("item", ("sort", "id", "load", "body"), rows)
    return entries[0]


def items_hash(items: Mapping[str, Mapping[str, Any]]) -> str:
    """Return the SHA-256, in hexadecimal, of the canonical JSON of items: sort to id to object, null when removed."""
    return sha256(canonical_json(items)).hexdigest()


# --- what a new definition may not take away --------------------------------------------------------------------


def _what_is_missed(
    database: Database, plant: Plant, origins: Mapping[tuple[str, str], str]
) -> Iterator[Problem]:
    """Yield a problem for every recorded state that `plant`, the new definition, has no room for.

    A state of the past counts as well: it can still be asked for. `origins`: (sort, id) to where an item is written.
    """
    sql = (
        "SELECT DISTINCT subject, aspect, value FROM change"
        " WHERE until = :never AND aspect IN ('', :place) ORDER BY subject"
    )
    told: set[str] = set()
    for subject, aspect, value in database.rows(sql, {"never": NEVER, "place": AT_PLACE}):
        sentence = (
            _no_place(plant, subject, value) if aspect == AT_PLACE else _no_status(plant, subject, value)
        )
        if sentence is not None and sentence not in told:
            told.add(sentence)
            yield Problem(_where(plant, owner_of(subject), origins), "in-use", sentence)


def _no_place(plant: Plant, subject: str, value: str) -> str | None:
    if not plant.can_move(subject):
        return f"{subject} has been moved and is neither a unit nor a mobile place any more"
    return None if value in plant.places else f"{subject} has been at {value}, which is no place any more"


def _no_status(plant: Plant, subject: str, value: str) -> str | None:
    found = plant.port(subject)
    if found is None:
        return f"{subject} has been {value} and is no port any more"
    if value not in found[1].statuses:
        return f"{subject} has been {value}, which a {found[1].id} can't be any more"
    return None


def _where(plant: Plant, owner: str, origins: Mapping[tuple[str, str], str]) -> str:
    part = plant.part_of(owner).id if plant.has_owner(owner) else ""
    for key in (("unit", owner), ("place", owner), ("part", part)):
        if key in origins:
            return f"{origins[key]}, {key[0]} {key[1]}"
    return owner
