"""What a late event or a correction disturbs: later events that stood on the configuration as it was.

Every later event that touches the same hardware, as far as the new state reaches in time, is resolved again. It
must still be possible, and must still have changed what it is recorded to have changed: else the two contradict
each other, and both are shown.
"""

# ruff: noqa: S608 - the only text put into these statements is the conditions written here
from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from operator import itemgetter
from typing import NamedTuple

from cfgtrack.model import action as ac
from cfgtrack.model.action import Action, plain_words
from cfgtrack.model.configuration import View, place_line
from cfgtrack.model.event import LOCK_OF, TAG_OF, Entry, Event, effects, is_of_device, stays_on
from cfgtrack.model.lock import devices_on, is_box
from cfgtrack.model.plant import Plant, owner_of
from cfgtrack.model.possibility import FIT, Impossible, resolve
from cfgtrack.model.presence import Telling, acts_at, doer_of
from cfgtrack.model.revision import Left, not_carried_over, owners_otherwise
from cfgtrack.model.time import format_instant
from cfgtrack.model.trouble import Problem
from cfgtrack.store.columns import AT_PLACE, NEVER
from cfgtrack.store.database import Database
from cfgtrack.store.definitions import Definitions, unsound
from cfgtrack.store.rows import IN_EFFECT, entry_of, find_entry
from cfgtrack.store.view import SqlView, read_configuration

_MANY = 40
"""From so many owners on it costs less to read the whole configuration than to ask for each."""

_NAMED = 6
"""So many subjects of an event are named in a sentence."""

_INERT = ac.NOTES | {ac.BEGIN, ac.END} | ac.BOOK_ACTIONS
"""Actions that neither change a state nor depend on one, but for where whoever does them is."""


@dataclass(frozen=True, slots=True)
class Disturbance:
    """States that differ from (`happened`, `turn`) to `end`, inclusive, of whatever touches `owners`.

    `where` and `event` are the row that did it. Where it is the definition that differs, `before` is what it was; then
    what was impossible before isn't this row's doing.
    """

    where: str
    event: Event
    happened: int
    turn: int
    owners: frozenset[str]
    end: int
    before: Definitions | None = None


class Collision(NamedTuple):
    """A row, whose event is `event`, that contradicts the later event `other`: both ids; "" where there is none."""

    problem: Problem
    event: str
    other: str


def is_inert(plant: Plant, action: Action) -> bool:
    """Return whether an action can neither disturb another one nor be disturbed."""
    if action.action in (ac.MEASURE, ac.INSPECT) and not all(map(plant.sort_of, action.subjects)):
        # It is of a prior life: what it was done to came later.
        return True
    return action.action in _INERT and not (plant.has_sites and doer_of(plant, action) is not None)


def disturbance(
    view: SqlView,
    event: Event,
    *,
    by: tuple[str, Event],
    left: Iterable[str] = (),
    dates: Sequence[int] = (),
) -> Disturbance | None:
    """Return what `event`, just recorded or just taken away, disturbs; None when nothing comes after it.

    `view` is the configuration just after (or without) it, `left` the places that it emptied, `dates` those from which
    on the plant is another one.
    """
    is_before_another = bool(dates) and dates[-1] > view.at
    if not is_before_another and not _any_later(view):
        return None
    subjects = event.written
    owners = dict.fromkeys(owner_of(s) for s in subjects)
    if event.peer is not None:
        owners[owner_of(event.peer)] = None
    owners.update(dict.fromkeys(left))
    if is_of_device(view.plant, event):
        owners.update(dict.fromkeys(event.subjects[1:]))
    if event.place is not None:
        owners[event.place] = None
    owners.update(dict.fromkeys((*event.carried.values(), *filter(None, event.found.values()))))
    owners.update(
        dict.fromkeys(p.id for p in view.plant.places.values() if p.operates and p.operates in owners)
    )
    for owner in list(owners):
        owners.update(dict.fromkeys(_around(view.database, view.plant, owner, view.known)))
    if not is_before_another and not _touched_after(view.database, owners, view.at):
        return None
    # What hangs on a thing, and with it the next write of that, is of no one subject: it is looked at to the end.
    ends = [] if stays_on(view.plant, event) else [_next_write(view, subject) for subject in subjects]
    where, cause = by
    return Disturbance(where, cause, view.at, view.turn, frozenset(owners), max(ends, default=NEVER))


def _around(database: Database, plant: Plant, owner: str, known: int) -> Iterator[str]:
    """Yield every place where a unit has ever stood, what carried it, and whatever has stood in a mobile place.

    More than is needed: that costs a look at an event too many, never one too few.
    """
    yield from _carriers(database, plant, owner, known)
    seen = {owner}
    queue = [owner]
    while queue:
        for place in _fixed_in(plant, queue.pop()):
            sql = (
                "SELECT DISTINCT subject FROM change WHERE value = :place AND aspect = '@' AND until > :known"
            )
            inside = [row[0] for row in database.rows(sql, {"place": place, "known": known})]
            inside += [p.id for p in plant.places.values() if p.mobile and p.parent == place]
            yield from inside
            queue += [i for i in inside if i not in seen and plant.is_mobile(i)]
            seen.update(inside)


def _carriers(database: Database, plant: Plant, owner: str, known: int) -> Iterator[str]:
    """Yield every place where something has ever stood, and the mobile ones around it, with where those have."""
    seen, queue = {owner}, [owner]
    while queue:
        one = queue.pop()
        if not plant.can_move(one):
            continue
        sql = "SELECT DISTINCT value FROM change WHERE subject = :one AND aspect = :at AND until > :known"
        stood = [row[0] for row in database.rows(sql, {"one": one, "at": AT_PLACE, "known": known})]
        if plant.is_mobile(one):
            stood.append(plant.places[one].parent)
        yield from stood
        carriers = [at for place in stood for at in plant.ancestors(place) if plant.is_mobile(at)]
        yield from carriers
        queue += [at for at in carriers if at not in seen]
        seen.update(carriers)


def _fixed_in(plant: Plant, place: str) -> Iterator[str]:
    """Yield a place that moves and the places that are fixed in it, nothing for what isn't one."""
    if plant.is_mobile(place):
        yield place
        queue = [*plant.slots_of(place)]
        while queue:
            at = queue.pop()
            yield at
            queue += plant.slots_of(at)


def _any_later(view: SqlView) -> bool:
    """Return whether anything at all comes after the event: most are recorded as they happen, and nothing does."""
    sql = (
        "SELECT action FROM event WHERE happened >= :at AND (happened > :at OR turn > :turn)"
        " ORDER BY happened, turn, number LIMIT 50"
    )
    later = view.database.rows(sql, {"at": view.at, "turn": view.turn})
    inert = ac.BOOK_ACTIONS if view.plant.has_sites else _INERT
    return len(later) == 50 or any(action not in inert for (action,) in later)


def _touched_after(database: Database, owners: Iterable[str], happened: int) -> bool:
    sql = "SELECT 1 FROM touch WHERE owner = :owner AND happened >= :happened LIMIT 1"
    return any(database.row(sql, {"owner": owner, "happened": happened}) for owner in owners)


def _next_write(view: SqlView, subject: str) -> int:
    sql = (
        "SELECT happened FROM change WHERE subject = :subject AND aspect = :aspect AND happened >= :at"
        " AND (happened > :at OR turn > :turn) AND known <= :known AND until > :known"
        " ORDER BY happened, turn LIMIT 1"
    )
    parameters = {
        "subject": subject,
        "aspect": "" if ":" in subject else AT_PLACE,
        "at": view.at,
        "turn": view.turn,
        "known": view.known,
    }
    row = view.database.row(sql, parameters)
    return NEVER if row is None else int(row[0])


def of_definition(before: Definitions, after: Definitions, *, by: tuple[str, Event]) -> Iterator[Disturbance]:
    """Yield what it disturbs that the definition is another one: wherever, and as long as, an owner is otherwise."""
    where, event = by
    since = sorted({era.since for definitions in (before, after) for era in definitions.eras()})
    for start, end in pairwise([*since, NEVER]):
        then, now = before.plant(start), after.plant(start)
        owners = frozenset() if then is now else owners_otherwise(then, now)
        if owners:
            yield Disturbance(where, event, start, -1, owners, end - 1, before)


def collisions(
    database: Database, definitions: Definitions, disturbances: Iterable[Disturbance], known: int
) -> Iterator[Collision]:
    """Yield a collision for every later event that no longer fits what is recorded before it.

    And for every state that isn't possible in the plant that begins at a later date of effect.
    """
    disturbances = list(disturbances)
    if anew := next((one for one in disturbances if one.before is not None), None):
        loose = [
            Problem(anew.where, "not-yet", f"{_said(anew.event)}: {why}") for why in unsound(definitions)
        ]
        if loose:
            yield from (Collision(problem, anew.event.id, "") for problem in loose)
            return
    checked: set[int] = set()
    told: set[str] = set()
    judged = Judged(database)
    for one in disturbances:
        for date in definitions.dates():
            # A plant begins before whatever else happens at that instant.
            if one.happened < date <= one.end or (one.before is not None and date == one.happened):
                for found in _not_carried_over(database, definitions, one, date, known):
                    if found.problem.sentence not in told:
                        told.add(found.problem.sentence)
                        yield found
        for turn, entry in _later(database, definitions, one, known, checked):
            event = entry.event
            plant = definitions.plant(event.happened)
            view = SqlView(database, plant, event.happened, known, turn)
            # Who loads is asked to accept that a joint that is made doesn't fit; no late event can make it so.
            may_fit_ill = one.before is None or _is_made(database, definitions, event, known)
            why = _contradiction(view, entry, judged, may_fit_ill=may_fit_ill)
            if why is not None and one.before is not None:
                view = SqlView(database, one.before.plant(event.happened), event.happened, known, turn)
                why = why if _contradiction(view, entry, judged) is None else None
            if why is not None:
                yield Collision(
                    Problem(one.where, "collides", _sentence(one, event, why)), one.event.id, event.id
                )


def _not_carried_over(
    database: Database, definitions: Definitions, one: Disturbance, date: int, known: int
) -> Iterator[Collision]:
    """Yield a collision for every state just before a date of effect that the plant from then on has no room for."""
    before, after = definitions.plant(date - 1), definitions.plant(date)
    view: View = SqlView(database, before, date, known, -1)
    owners = sorted(one.owners & {*before.owners()})
    if len(owners) > _MANY:
        view = read_configuration(database, before, date, known, -1)
    for left in (*not_carried_over(view, after, owners), *_left_locked(database, view, after, owners, known)):
        if one.before is None:
            later = _revision_at(database, date, known)
            yield Collision(
                Problem(one.where, "collides", _sentence(one, later, left.sentence)), one.event.id, later.id
            )
            continue
        did = find_entry(database, left.event)
        since = f" (event {left.event}, {format_instant(did.event.happened)})" if did is not None else ""
        sentence = f"{_said(one.event)} from {format_instant(date)} on isn't possible: {left.sentence}{since}"
        yield Collision(Problem(one.where, "collides", sentence), one.event.id, left.event)


def _left_locked(
    database: Database, view: View, after: Plant, owners: Iterable[str], known: int
) -> Iterator[Left]:
    """Yield the locks and tags of boxes that are none in the plant after: their keys would be nowhere."""
    sql = "SELECT DISTINCT subject FROM change WHERE aspect IN (:lock, :tag) AND until > :known ORDER BY subject"
    for box in owners:
        if not is_box(view.plant, box) or is_box(after, box):
            continue
        why = "is retired" if box in after.retired else "is no lock box"
        named = {"lock": LOCK_OF + box, "tag": TAG_OF + box, "known": known}
        for (thing,) in database.rows(sql, named):
            for one in devices_on(view, thing):
                if one.holder == box:
                    yield Left(thing, f"{one.what} is on {thing}, and {box} {why}", one.event)


def _revision_at(database: Database, date: int, known: int) -> Event:
    """Return the first event that makes the plant another one from a date of effect on."""
    sql = (
        "SELECT e.body, e.number, e.known FROM event e WHERE e.action IN (:revise, :retire)"
        f" AND e.happened = :date AND {IN_EFFECT} ORDER BY e.number LIMIT 1"
    )
    named = {"revise": ac.REVISE, "retire": ac.RETIRE}
    row = database.row(sql, {**named, "date": date, "known": known})
    assert row is not None
    return entry_of(*row).event


@dataclass(slots=True)
class Judged:
    """Whether presence was judged when an event was recorded: the plant had sites by then."""

    database: Database
    _since: int | None = None

    def telling(self, plant: Plant, known: int) -> Telling:
        """Return how an event that became known then is to be looked at again in a plant."""
        if not plant.has_sites:
            return Telling.RECORDED
        if self._since is None:
            sql = (
                "SELECT min(e.known) FROM item i JOIN event e ON e.number = i.load"
                " WHERE i.sort = 'place' AND i.body LIKE :site"
            )
            row = self.database.row(sql, {"site": '%"site":true%'})
            self._since = NEVER if row is None or row[0] is None else int(row[0])
        return Telling.RECORDED if known > self._since else Telling.BEFORE


def _later(
    database: Database, definitions: Definitions, one: Disturbance, known: int, checked: set[int]
) -> Iterator[tuple[int, Entry]]:
    """Yield (turn, entry) of the later events to look at again, in order, and note them in `checked`."""
    sql = (
        "SELECT e.number, e.turn, e.body, e.known FROM touch t JOIN event e ON e.number = t.number"
        " WHERE t.owner = :owner AND t.happened >= :happened AND t.happened <= :end"
        " AND (e.happened > :happened OR e.turn > :turn)"
        f" AND {IN_EFFECT}"
    )
    parameters = {"happened": one.happened, "turn": one.turn, "end": one.end, "known": known}
    found: list[tuple[int, int, Entry]] = []
    owners: Iterable[str] = one.owners
    if len(one.owners) > _MANY:
        # Most of what another definition concerns was never touched: of a first load nothing was.
        owners = one.owners & {owner for (owner,) in database.rows("SELECT DISTINCT owner FROM touch")}
    for owner in sorted(owners):
        for number, turn, body, when in database.rows(sql, {**parameters, "owner": owner}):
            if number not in checked:
                checked.add(number)
                entry = entry_of(body, number, when)
                found.append((entry.event.happened, turn, entry))
    for _, turn, entry in sorted(found, key=itemgetter(0, 1)):
        if not is_inert(definitions.plant(entry.event.happened), entry.event):
            yield turn, entry


def _is_made(database: Database, definitions: Definitions, event: Event, known: int) -> bool:
    """Return whether the joint that an event is about is made at last."""
    halves = event.subjects
    now = SqlView(database, definitions.plant(), NEVER, known)
    return len(halves) == 2 and all(map(now.plant.port, halves)) and now.state(halves[0]).other == halves[1]


def _contradiction(view: SqlView, entry: Entry, judged: Judged, *, may_fit_ill: bool = False) -> str | None:
    """Return why an event can't have been so, as things stand before it now; None when it can."""
    event, plant = entry.event, view.plant
    again = resolve(view, event, judged.telling(plant, entry.known))
    if isinstance(again, Impossible):
        why = [r.sentence for r in again.refusals if not (may_fit_ill and r.code in FIT)]
        return "; ".join(why) or None
    if _was_found(view, event, again):
        again = replace(again, found=event.found, parted=event.parted, expected=event.expected)
    try:
        then, now = set(effects(plant, event)), set(effects(plant, again))
    except KeyError as gone:
        return f"it changed {gone.args[0]}, which isn't there"
    if then == now:
        return None
    differing = sorted({e.subject for e in then ^ now})
    return f"it would have changed {', '.join(differing)} otherwise than is recorded"


def _was_found(view: SqlView, event: Event, again: Event) -> bool:
    """Return whether the doer of an event was found elsewhere, and may have been, whatever is told of him since.

    He may have gone there first; but he can't have done it at another site, nor have held more then.
    """
    if event.by is None or not (event.found or (event.expected and event.action != ac.FOUND)):
        return False
    stood, stands = event.found.get(event.by), again.found.get(event.by)
    is_there = stood in acts_at(view, event.by) if stands is None and stood is not None else stands == stood
    if not is_there or not {*again.found, *again.parted} <= {*event.found, *event.parted}:
        return False
    # What he left there was his to leave, and what was parted is on nothing else since.
    left = [one for one in event.found if one != event.by and one not in again.found]
    mates = [view.state(half).other for half in event.parted]
    return all(event.by in place_line(view, one) for one in left) and all(
        mate is None or mate in event.parted for mate in mates
    )


def _sentence(one: Disturbance, later: Event, why: str) -> str:
    what = " ".join(plain_words(later)) + (f" at {later.place}" if later.place else "")
    mine = _said(one.event)
    if one.event.action == ac.DEFINE:
        return (
            f"the definition contradicts event {later.id}, {what} at {format_instant(later.happened)}: {why}."
            " If it is so from a date on only, say so: `load --effective DATE --reason TEXT`"
        )
    # What takes an event back is recorded now, and it is the time of that event that is otherwise.
    since = format_instant(one.event.happened if one.event.withdraws is None else one.happened)
    when = f"at {since}" if one.event.withdraws is None else f"from {since} on"
    if one.before is not None:
        return (
            f"{mine} from {since} on collides with later event {later.id}, {what} at"
            f" {format_instant(later.happened)}: {why}. Give the date from which it really is so, or correct"
            f" {later.id} first"
        )
    return (
        f"{mine} {when} collides with later event {later.id}, {what} at"
        f" {format_instant(later.happened)}: {why}."
        f" Correct the time, or supersede or withdraw {later.id} together with it"
    )


def _said(event: Event) -> str:
    action, *subjects = plain_words(event)
    if event.withdraws:
        subjects = [event.withdraws]
    named = subjects[:_NAMED]
    more = f" and {len(subjects) - _NAMED} more" if len(subjects) > _NAMED else ""
    return " ".join([action, *named]) + more
