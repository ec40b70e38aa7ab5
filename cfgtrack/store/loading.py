"""Loading a hardware definition: what it adds and changes, as events of the journal like everything else.

Each load that changes something is a `define` event that commits to the items loaded by a hash, so that the tree
over the journal covers the definition too.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from hashlib import sha256
from typing import Any, ClassVar, NamedTuple

from cfgtrack.model.action import DEFINE, Action
from cfgtrack.model.definition import SORTS, Definition
from cfgtrack.model.event import Entry
from cfgtrack.model.item import item_from_json
from cfgtrack.model.plant import Plant, owner_of
from cfgtrack.model.trouble import Problem, Refused
from cfgtrack.store.canonical import NotCanonical, canonical_json, canonical_object
from cfgtrack.store.columns import AT_PLACE, NEVER
from cfgtrack.store.database import Database
from cfgtrack.store.item_text import item_text
from cfgtrack.store.record import Outcome, Recorder

RULES = "rules"
"""The sort under which the text of rules files is kept."""

Bodies = dict[str, dict[str, Any]]
"""Items of one sort: id to JSON object."""

Texts = dict[str, str]
"""Items of one sort: id to canonical JSON, as the journal keeps them."""


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
    events of the initial configuration, `entry` is the `define` event, None when nothing had to be written.
    """

    told: ClassVar[tuple[str, ...]] = ("event",)
    untold: ClassVar[tuple[str, ...]] = ("entry",)

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


_ITEMS = """
    SELECT i.id, i.body FROM item i WHERE i.sort = :sort AND i.body IS NOT NULL AND i.load = (
        SELECT max(o.load) FROM item o JOIN event e ON e.number = o.load
        WHERE o.sort = i.sort AND o.id = i.id AND e.known <= :known)
    ORDER BY i.id
"""


def read_items(database: Database, sort: str, known: int = NEVER) -> Bodies:
    """Return the items of one sort as they were known at `known`, in the order of their ids."""
    return {i: json.loads(body) for i, body in _read_texts(database, sort, known).items()}


def _read_texts(database: Database, sort: str, known: int = NEVER) -> Texts:
    return {i: str(body) for i, body in database.rows(_ITEMS, {"sort": sort, "known": known})}


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
) -> LoadReport:
    """Write what `definition` adds or changes and its initial configuration. Nothing is written when nothing changes.

    Refused when an initial state contradicts the journal, or a change takes away what it has a state of.
    """
    new = {s: {i: item_text(s, item) for i, item in definition.items(s).items()} for s in SORTS}
    with database.writing(keep=keep):
        report = LoadReport()
        items = _compared(database, new, report)
        writing = Recorder(database, Plant(), clock)
        if items:
            report.entry = _define(writing, items, by, recorder, definition, report)
        writing.appender.go_on_with(_plant_with(database, definition, report.missing))
        if report.changed:
            missed = list(_what_is_missed(database, writing.appender.plant, definition.origins))
            if missed:
                raise Refused(missed)
        initial = ((e.id, replace(e, recorder=recorder)) for e in definition.initial)
        before = writing.tally.recorded
        writing.take(initial)
        writing.finish()
        report.initial = replace(writing.tally, recorded=writing.tally.recorded - before)
    return report


def loaded_again(database: Database, fingerprint: str) -> LoadReport | None:
    """Return what loading files with this fingerprint would do, if they are those of the last load: nothing. Else None.

    None, too, where the definition was changed since by anything else.
    """
    row = database.row(
        "SELECT e.body FROM event e WHERE e.number = (SELECT max(i.load) FROM item i WHERE i.sort <> :rules)",
        {"rules": RULES},
    )
    files = None if row is None else json.loads(row[0]).get("body", {}).get("files")
    if files is None or files["sha256"] != fingerprint:
        return None
    return LoadReport(same=files["items"], initial=Outcome(repeated=files["initial"]))


def keep_texts(
    database: Database,
    texts: Mapping[str, str],
    by: str | None,
    recorder: str | None,
    *,
    clock: Callable[[], int],
    keep: bool,
) -> LoadReport:
    """Keep the text of rules files under their names; a new version only where a text differs."""
    bodies = {name: {"id": name, "text": text} for name, text in texts.items()}
    new = {RULES: {name: canonical_json(body).decode() for name, body in bodies.items()}}
    with database.writing(keep=keep):
        report = LoadReport()
        items = _compared(database, new, report)
        if items:
            writing = Recorder(database, Plant(), clock)
            report.entry = _define(writing, items, by, recorder, Definition(title="rules"), report)
            writing.finish()
    return report


def _plant_with(database: Database, definition: Definition, missing: Sequence[ItemName]) -> Plant:
    """Return the plant of a definition and of what it doesn't mention: the journal's, when it is written."""
    items: dict[str, dict[str, Any]] = {sort: {**definition.items(sort)} for sort in SORTS}
    for sort in {name.sort for name in missing}:
        old = read_items(database, sort)
        items[sort].update((i, item_from_json(sort, old[i])) for s, i in missing if s == sort)
    return Plant(*({i: items[sort][i] for i in sorted(items[sort])} for sort in SORTS))


def _compared(database: Database, new: Mapping[str, Texts], report: LoadReport) -> dict[str, Texts]:
    """Fill in `report`, and return the items that have to be written. Canonical texts are the same if the items are."""
    items: dict[str, Texts] = {}
    for sort, texts in new.items():
        old = _read_texts(database, sort)
        for i, text in texts.items():
            before = old.get(i)
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
    """Return a list of named things (ports, nodes, moves) by their names."""
    if isinstance(value, list) and value and all(isinstance(v, dict) for v in value):
        for key in ("name", "action"):
            if all(key in v for v in value):
                return {v[key]: v for v in value}
    return value


def _define(
    writing: Recorder,
    items: dict[str, Texts],
    by: str | None,
    recorder: str | None,
    definition: Definition,
    report: LoadReport,
) -> Entry:
    number = writing.appender.number + 1
    body: dict[str, Any] = {
        "count": sum(len(texts) for texts in items.values()),
        "items": _texts_hash(items),
    }
    if definition.fingerprint and not report.missing and not definition.notes:
        # What loading the same files again would find, so that it need not be found again.
        whole = sum(len(definition.items(sort)) for sort in SORTS)
        body["files"] = {
            "sha256": definition.fingerprint,
            "items": whole,
            "initial": len(definition.initial),
        }
    action = Action(
        id=f"define:{number}",
        action=DEFINE,
        subjects=(),
        happened=writing.appender.known,
        by=by,
        recorder=recorder,
        remark=definition.title or None,
        body=body,
    )
    entries: list[Entry] = []
    writing.take([(action.id, action)], each=entries.append)
    writing.expect_no_problem()
    rows = [(sort, i, number, text) for sort, texts in items.items() for i, text in texts.items()]
    writing.database.insert("item", ("sort", "id", "load", "body"), rows)
    return entries[0]


def items_hash(items: Mapping[str, Mapping[str, Any]]) -> str:
    """Return the SHA-256, in hexadecimal, of the canonical JSON of items: sort to id to object, null when removed."""
    return sha256(canonical_json(items)).hexdigest()


def _texts_hash(items: Mapping[str, Texts]) -> str:
    """Return the `items_hash` of items that are canonical text already."""
    text = canonical_object({sort: canonical_object(texts) for sort, texts in items.items()})
    try:
        return sha256(text.encode()).hexdigest()
    except UnicodeEncodeError as err:
        raise NotCanonical("half a surrogate pair in a text") from err


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
