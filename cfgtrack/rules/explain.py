"""Why a condition is false, and which single thing would cure it. Words first; what they rest on beside them."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from itertools import chain, islice

from cfgtrack.model.action import MEASURE, PLACE, Action
from cfgtrack.model.event import Event, effects
from cfgtrack.model.plant import owner_of
from cfgtrack.model.possibility import resolve
from cfgtrack.network.flow import Link
from cfgtrack.rules.breach import words
from cfgtrack.rules.custom import ask_why
from cfgtrack.rules.cut import MOST_CURES, lost, still
from cfgtrack.rules.describe import (
    MOST_NAMES,
    describe,
    say_counted,
    say_deed,
    say_either,
    say_list,
    say_number,
    say_quantity,
    say_range,
    say_since,
    say_there,
    say_wanted,
)
from cfgtrack.rules.finding import Reason
from cfgtrack.rules.judge import Judge
from cfgtrack.rules.rule import (
    All,
    AnyOf,
    Condition,
    Count,
    Custom,
    Done,
    NoPath,
    Not,
    Path,
    Status,
    Value,
)
from cfgtrack.rules.selection import HOME, stands_at

MOST_TRIED = 50
"""For how many items a cure is looked for."""


def explain(
    judge: Judge, condition: Condition, it: str | None, ended: Sequence[tuple[str, Link]] = ()
) -> tuple[Reason, ...]:
    """Return why `condition` is false for `it` now. `ended` are the links that just ended, by medium."""
    match condition:
        case All(parts):
            return tuple(r for p in parts if not judge.holds(p, it) for r in explain(judge, p, it, ended))
        case AnyOf(parts):
            return tuple(r for p in parts for r in explain(judge, p, it, ended))
        case Not(part):
            return (Reason("is-so", f"it must not be that {describe(part)}"),)
        case Path():
            return (lost(judge, condition, it, ended),)
        case NoPath():
            return (still(judge, condition, it),)
        case Status():
            return (_status(judge, condition, it),)
        case Count():
            return (_count(judge, condition, it),)
        case Value():
            return (_value(judge, condition, it),)
        case Done():
            return (_done(judge, condition, it),)
        case Custom():
            items = judge.world.items(condition.of, it)
            return (Reason("custom", ask_why(condition, judge.world, items), beyond=items),)


def _status(judge: Judge, condition: Status, it: str | None) -> Reason:
    items = judge.failing(condition, it)
    now = say_list([_is_now(judge, i, condition) for i in items])
    text = f"{now}; must be {say_wanted(condition.among, condition.at)}"
    return Reason("status", text, (), tuple(items), _first(_moves_to(judge, i, condition) for i in items))


def _first(cures: Iterable[Iterable[str]]) -> tuple[str, ...]:
    """Return the first few cures of the first many items: a plant where thousands lack something is not searched."""
    found = chain.from_iterable(islice(cures, MOST_TRIED))
    return tuple(islice(dict.fromkeys(found), MOST_CURES))


def _is_now(judge: Judge, item: str, condition: Status | Count) -> str:
    configuration = judge.world.configuration
    if condition.among and judge.world.plant.port(item):
        return f"{item} is {configuration.state(item).value}"
    owner = item.partition(":")[0]
    if owner in judge.world.plant.units or judge.world.plant.is_mobile(owner):
        return f"{item} is at {configuration.state(owner).value or 'no known place'}"
    return f"{item} is not"


def _moves_to(judge: Judge, item: str, condition: Status | Count, *, away: bool = False) -> Iterator[str]:
    """Yield the single actions, possible now, after which an item has what a condition asks for; or no longer has."""
    configuration = judge.world.configuration
    for event in _could_move(judge, item, condition, away=away):
        outcome = resolve(configuration, event)
        if isinstance(outcome, Event) and _has(judge, outcome, item, condition) != away:
            yield words(event) + (f" facing {event.facing}" if event.facing else "")


def _could_move(judge: Judge, item: str, condition: Status | Count, *, away: bool) -> Iterator[Action]:
    """Yield actions that might: the moves of a port's ladder, and a unit's being placed where it should be."""
    plant, now = judge.world.plant, judge.world.now
    found = plant.port(item)
    if found is not None and condition.among:
        for action in found[1].moves:
            yield Action("", action, (item,), now)
    unit = plant.units.get(item)
    if unit is None or not condition.at or away:
        return
    for place in dict.fromkeys(unit.home if at == HOME else at for at in condition.at):
        if place in plant.places:
            for facing in plant.places[place].facings or (None,):
                yield Action("", PLACE, (item,), now, place=place, facing=facing)


def _has(judge: Judge, event: Event, item: str, condition: Status | Count) -> bool:
    """Return whether an item has what a condition asks for once a resolved event has happened."""
    then = judge.world.configuration
    if event.place is not None:
        then = then.fork()
        then.apply(event)
    value = then.state(item).value if ":" in item else ""
    for effect in effects(then.plant, event):
        if effect.subject == item and not effect.aspect:
            value = effect.value
    if condition.among and value not in condition.among:
        return False
    return not condition.at or stands_at(then, owner_of(item), condition.at)


def _count(judge: Judge, condition: Count, it: str | None) -> Reason:
    meeting = judge.meeting(condition, it)
    items = judge.world.items(condition.of, it)
    n, meets = len(meeting), frozenset(meeting)
    counted = say_counted(condition)
    text = f"{n} of {len(items)} {counted}" if counted else say_there(condition.of, items)
    if condition.least is not None and n < condition.least:
        text += f"; at least {condition.least} must: {condition.least - n} short"
        beyond, away = tuple(i for i in items if i not in meets), False
    else:
        most = condition.most or 0
        text += f"; at most {most} may: {n - most} too many"
        beyond, away = tuple(meeting), True
    one_off = abs(n - ((condition.most if away else condition.least) or 0)) == 1
    cures = (_moves_to(judge, i, condition, away=away) for i in beyond) if one_off else ()
    return Reason("count", text, (), beyond, _first(cures))


def _value(judge: Judge, condition: Value, it: str | None) -> Reason:
    items = judge.failing(condition, it)
    said = [_is_out(judge, condition, item) for item in items[:MOST_NAMES]]
    cures = (
        () if condition.quantity in ("cycles", "elapsed") else (_to_set(judge, condition, i) for i in items)
    )
    return Reason("value", "; ".join(said), (), tuple(items), tuple(islice(cures, MOST_CURES)))


def _is_out(judge: Judge, condition: Value, item: str) -> str:
    value, (low, high) = judge.value_of(condition, item), judge.range_of(condition, item)
    if value is None and condition.quantity == "elapsed":
        return f"{say_either(condition.since)} of {item} was never done"
    got = (
        "was never measured"
        if value is None
        else f"is {say_number(condition.quantity, value, condition.unit)}"
    )
    span = say_range(condition.quantity, low, high, condition.unit)
    return f"{say_quantity(condition)} of {item} {got}; must be {span}"


def _to_set(judge: Judge, condition: Value, item: str) -> str:
    """Return the action that gives an item a new value: the one of that name, where its kind has one, or measuring."""
    quantity, found = condition.quantity, judge.world.plant.port(item)
    by_name = found is not None and quantity in found[1].moves
    return f"{quantity if by_name else MEASURE} {item} {quantity}=..."


def _done(judge: Judge, condition: Done, it: str | None) -> Reason:
    items = judge.failing(condition, it)
    text = f"{say_deed(condition)} of {say_list(items)} has not been done{say_since(condition)}; it must come first"
    value = f" {condition.quantity or 'QUANTITY'}=..." if condition.actions[0] == MEASURE else ""
    cures = tuple(f"{condition.actions[0]} {i}{value}" for i in items[:MOST_CURES])
    return Reason("order", text, (), tuple(items), cures)
