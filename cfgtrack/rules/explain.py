"""Why a condition is false, and which single thing would cure it. Words first; what they rest on beside them."""

from __future__ import annotations

from collections.abc import Container, Iterable, Iterator, Sequence
from itertools import chain, islice

from cfgtrack.model.configuration import Configuration
from cfgtrack.model.event import MEASURE, PLACE, Event, effects
from cfgtrack.model.plant import owner_of
from cfgtrack.model.possibility import resolve
from cfgtrack.model.quantity import DIMENSIONS, QUANTITIES
from cfgtrack.model.time import format_duration
from cfgtrack.network.flow import Flow, Link
from cfgtrack.network.trace import trace
from cfgtrack.rules.breach import words
from cfgtrack.rules.custom import ask_why
from cfgtrack.rules.finding import Reason
from cfgtrack.rules.judge import MICRO, Cut, Judge
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
    Selection,
    Status,
    Value,
)
from cfgtrack.rules.selection import HOME, stands_at

MOST_CURES = 5
MOST_NAMES = 6


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
            return (_lost(judge, condition, it, ended),)
        case NoPath():
            return (_still(judge, condition, it),)
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


# --- paths --------------------------------------------------------------------------------------------------------


def _lost(judge: Judge, condition: Path, it: str | None, ended: Sequence[tuple[str, Link]]) -> Reason:
    direct, known = judge.direct(condition), judge.cuts.get(id(condition))
    if direct is not None and it is not None and known is not None and direct[0].goes_both_ways:
        vertices = direct[0].vertices(it)
        if vertices and all(v in known.ahead for v in vertices):
            return Reason("no-path", known.text, known.links, (it,), known.cures)
    beyond = tuple(judge.short_items(condition, it))
    cut = _cut(judge, condition, it, beyond, ended)
    return Reason("no-path", cut.text, cut.links, beyond, cut.cures)


def _cut(
    judge: Judge, condition: Path, it: str | None, beyond: Sequence[str], ended: Sequence[tuple[str, Link]]
) -> Cut:
    """Return the links whose end cut the last path, and those of which a single one would give it back to an item.

    What is cut off at one blow is cut off by the same links: where all links go both ways, the answer for one item
    serves for all others on its side.
    """
    flow = judge.world.flows[condition.medium]
    groups = [flow.vertices(item) for item in beyond]
    starts = [v for group in groups for v in group]
    known = judge.cuts.get(id(condition)) if it is not None else None
    if known is not None and starts and flow.goes_both_ways and all(v in known.ahead for v in starts):
        return known
    behind: Container[int] | None = judge.world.reach_of(condition.medium, condition.end)
    if behind is None:
        behind = flow.graph.behind(_ends(judge, condition, it))
    short = [[v for v in group if v not in behind] for group in groups]
    ahead = flow.graph.ahead(v for group in short for v in group)
    broken = [link for medium, link in ended if medium == condition.medium]
    cut = [link for link in broken if _joins(link, ahead, behind)]
    links = tuple(
        dict.fromkeys(link.name for link in cut or _all_on_the_way(judge, condition, it, starts, broken))
    )
    could = sorted((k for k in flow.could_be() if _joins(k, ahead, behind)), key=lambda k: k.name)
    several = any(len(group) > 1 for group in short)
    enough = (k for k in (*cut, *could) if not several or _restores(flow, k, short, ahead, behind))
    made = (to_make(judge, name) for name in dict.fromkeys(k.name for k in enough))
    cures = tuple(islice((cure for cure in made if cure), MOST_CURES))
    to = describe_selection(condition.end)
    text = f"there is no {condition.medium} path to {to}"
    if links:
        text = f"no {condition.medium} path is left to {to}: {_list(links)} was the last way"
    found = judge.cuts[id(condition)] = Cut(ahead, links, cures, text)
    return found


def _ends(judge: Judge, condition: Path, it: str | None) -> list[int]:
    return judge.world.vertices(condition.medium, judge.world.items(condition.end, it))


def _all_on_the_way(
    judge: Judge, condition: Path, it: str | None, starts: Sequence[int], broken: Sequence[Link]
) -> list[Link]:
    """Return the links of `broken` that were on a way which took several of them: no single one would give it back."""
    if len(broken) < 2:
        return []
    whole = judge.world.flows[condition.medium].graph.fork()
    for link in broken:
        whole.add(link.a, link.b)
        if not link.one_way:
            whole.add(link.b, link.a)
    ahead, behind = whole.ahead(starts), whole.behind(_ends(judge, condition, it))
    return [link for link in broken if _joins(link, ahead, behind)]


def _restores(
    flow: Flow, link: Link, short: Sequence[Sequence[int]], ahead: Container[int], behind: Container[int]
) -> bool:
    """Return whether a link gives all its vertices back to some item: one with several may want more than one."""
    near = [a for a, b in ((link.a, link.b), (link.b, link.a)) if a in ahead and b in behind]
    led = flow.graph.behind(near[: 1 if link.one_way else 2])
    return any(group and all(v in led for v in group) for group in short)


def _joins(link: Link, ahead: Container[int], behind: Container[int]) -> bool:
    """Return whether the link leads from what the start still reaches to what still reaches the end."""
    if link.a in ahead and link.b in behind:
        return True
    return not link.one_way and link.b in ahead and link.a in behind


def _still(judge: Judge, condition: NoPath, it: str | None) -> Reason:
    world = judge.world
    beyond = tuple(judge.short_items(condition, it))
    ends = world.items(condition.end, it)
    network = world.flows[condition.medium].network
    way = trace(network, world.configuration, beyond[:1], ends)
    over = tuple(step.link for step in way if step.link)
    to = way[-1].item if way else describe_selection(condition.end)
    text = f"{_list(beyond)} still has a {condition.medium} path to {to}"
    if over:
        text += f" over {_list(over)}"
    return Reason(
        "path",
        text,
        over,
        beyond,
        tuple(islice(_to_cut_off(judge, condition, beyond, ends, over), MOST_CURES)),
    )


def _to_cut_off(
    judge: Judge, condition: NoPath, starts: Sequence[str], ends: Sequence[str], over: Sequence[str]
) -> Iterator[str]:
    """Yield the valves and switches on the way of which one alone, shut, ends every path.

    Never a connector: to part it live is what such a rule forbids.
    """
    world = judge.world
    network = world.flows[condition.medium].network
    for gate in over:
        if gate in network.gates and not trace(network, world.configuration, starts, ends, without=gate):
            yield from _to_shut(judge, gate)


def to_make(judge: Judge, link: str) -> str:
    """Return the single action that would make a link, by the name of the link; "" where none is possible now."""
    configuration = judge.world.configuration
    for event in _could_make(judge, link):
        outcome = resolve(configuration, event)
        if not outcome.refusals and _makes(configuration, outcome.event, link):
            return words(event) + (f" facing {event.facing}" if event.facing else "")
    return ""


def _could_make(judge: Judge, link: str) -> Iterator[Event]:
    """Yield actions that might make a link: a unit's being placed, or every move of a half, then of both."""
    plant, now = judge.world.plant, judge.world.now
    thing, _, place = link.partition(" on ")
    if place:
        for facing in plant.places[place].facings or (None,):
            yield Event("", PLACE, (thing,), now, place=place, facing=facing)
        return
    halves = link.split(" - ")
    for subjects in (*((half,) for half in halves), tuple(halves)):
        found = plant.port(subjects[0])
        for action in found[1].moves if found is not None else ():
            yield Event("", action, subjects, now)


def _makes(configuration: Configuration, event: Event, link: str) -> bool:
    """Return whether a link is made once a resolved event has happened."""
    if " on " in link:
        return True
    after = {e.subject: (e.value, e.other) for e in effects(configuration.plant, event) if not e.aspect}
    halves = link.split(" - ")
    for half in halves:
        found = configuration.plant.port(half)
        value, mate = after.get(half) or configuration.state(half)[:2]
        if found is None or not found[1].is_carrying(value) or (len(halves) == 2 and mate not in halves):
            return False
    return True


def _to_shut(judge: Judge, gate: str) -> Iterator[str]:
    """Yield the actions that stop a valve or switch from carrying, but none that parts a connector."""
    found = judge.world.plant.port(gate)
    if found is None:
        return
    kind, now = found[1], judge.world.configuration.state(gate).value
    for move in kind.moves.values():
        if now in move.sources and not kind.is_carrying(move.target) and not kind.parts(move):
            yield f"{move.action} {gate}"


# --- items --------------------------------------------------------------------------------------------------------


def _status(judge: Judge, condition: Status, it: str | None) -> Reason:
    items = judge.failing(condition, it)
    text = f"{_list([_is_now(judge, i, condition) for i in items])}; must be {_wanted(condition.among, condition.at)}"
    return Reason("status", text, (), tuple(items), _first(_moves_to(judge, i, condition) for i in items))


def _first(cures: Iterable[Iterable[str]]) -> tuple[str, ...]:
    return tuple(islice(dict.fromkeys(chain.from_iterable(cures)), MOST_CURES))


def _is_now(judge: Judge, item: str, condition: Status | Count) -> str:
    configuration = judge.world.configuration
    if condition.among and judge.world.plant.port(item):
        return f"{item} is {configuration.state(item).value}"
    owner = item.partition(":")[0]
    if owner in judge.world.plant.units or judge.world.plant.is_mobile(owner):
        return f"{item} is at {configuration.state(owner).value or 'no known place'}"
    return f"{item} is not"


def _wanted(among: tuple[str, ...], at: tuple[str, ...]) -> str:
    said = []
    if among:
        said.append(" or ".join(among))
    if at:
        said.append(f"at {_list_or(_places(at))}")
    return " ".join(said)


def _places(at: tuple[str, ...]) -> tuple[str, ...]:
    return tuple(f"a {a[1:]} place" if a.startswith("#") else a for a in at)


def _moves_to(judge: Judge, item: str, condition: Status | Count, *, away: bool = False) -> Iterator[str]:
    """Yield the single actions, possible now, after which an item has what a condition asks for; or no longer has."""
    configuration = judge.world.configuration
    for event in _could_move(judge, item, condition, away=away):
        outcome = resolve(configuration, event)
        if not outcome.refusals and _has(judge, outcome.event, item, condition) != away:
            yield words(event) + (f" facing {event.facing}" if event.facing else "")


def _could_move(judge: Judge, item: str, condition: Status | Count, *, away: bool) -> Iterator[Event]:
    """Yield actions that might: the moves of a port's ladder, and a unit's being placed where it should be."""
    plant, now = judge.world.plant, judge.world.now
    found = plant.port(item)
    if found is not None and condition.among:
        for action in found[1].moves:
            yield Event("", action, (item,), now)
    unit = plant.units.get(item)
    if unit is None or not condition.at or away:
        return
    for place in dict.fromkeys(unit.home if at == HOME else at for at in condition.at):
        if place in plant.places:
            for facing in plant.places[place].facings or (None,):
                yield Event("", PLACE, (item,), now, place=place, facing=facing)


def _has(judge: Judge, event: Event, item: str, condition: Status | Count) -> bool:
    """Return whether an item has what a condition asks for once a resolved event has happened."""
    then = judge.world.configuration.fork()
    then.apply(event)
    if condition.among and then.state(item).value not in condition.among:
        return False
    return not condition.at or stands_at(then, owner_of(item), condition.at)


def _count(judge: Judge, condition: Count, it: str | None) -> Reason:
    meeting = judge.meeting(condition, it)
    items = judge.world.items(condition.of, it)
    n = len(meeting)
    counted = _counted(condition)
    text = f"{n} of {len(items)} {counted}" if counted else _there(condition.of, items)
    if condition.least is not None and n < condition.least:
        text += f"; at least {condition.least} must: {condition.least - n} short"
        beyond, away = tuple(i for i in items if i not in set(meeting)), False
    else:
        most = condition.most or 0
        text += f"; at most {most} may: {n - most} too many"
        beyond, away = tuple(meeting), True
    one_off = abs(n - ((condition.most if away else condition.least) or 0)) == 1
    cures = (_moves_to(judge, i, condition, away=away) for i in beyond) if one_off else ()
    return Reason("count", text, (), beyond, _first(cures))


def _counted(condition: Count) -> str:
    """Return what the items of a count do that count; "" where it is enough that they are there."""
    wanted = _wanted(condition.among, condition.at)
    if wanted:
        return f"are {wanted}"
    return f"have a {condition.medium} path to {describe_selection(condition.end)}" if condition.end else ""


def _there(selection: Selection, items: Sequence[str]) -> str:
    """Return what is there of a selection, in words."""
    what = describe_selection(selection).removeprefix("any ")
    return f"{what}: {len(items)}" + (f" ({_list(items)})" if items else "")


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
        return f"{_list_or(condition.since)} of {item} was never done"
    got = "was never measured" if value is None else f"is {_number(condition.quantity, value)}"
    return f"{_quantity(condition)} of {item} {got}; must be {_range(condition.quantity, low, high)}"


def _quantity(condition: Value) -> str:
    """Return what a value condition looks at."""
    if condition.quantity == "cycles":
        return "mate cycles"
    return (
        f"time since the last {_list_or(condition.since)}"
        if condition.quantity == "elapsed"
        else condition.quantity
    )


def _to_set(judge: Judge, condition: Value, item: str) -> str:
    """Return the action that gives an item a new value: the one of that name, where its kind has one, or measuring."""
    quantity, found = condition.quantity, judge.world.plant.port(item)
    by_name = found is not None and quantity in found[1].moves
    return f"{quantity if by_name else MEASURE} {item} {quantity}=..."


def _number(quantity: str, value: float) -> str:
    if quantity == "elapsed":
        return format_duration(round(value * MICRO))
    dimension = QUANTITIES.get(quantity)
    return f"{value:.10g} {DIMENSIONS[dimension][0]}".rstrip() if dimension is not None else f"{value:.10g}"


def _range(quantity: str, low: float | None, high: float | None) -> str:
    parts = []
    if low is not None:
        parts.append(f"at least {_number(quantity, low)}")
    if high is not None:
        parts.append(f"at most {_number(quantity, high)}")
    return " and ".join(parts) or "measured"


def _done(judge: Judge, condition: Done, it: str | None) -> Reason:
    items = judge.failing(condition, it)
    text = f"{_deed(condition)} of {_list(items)} has not been done{_since(condition)}; it must come first"
    value = f" {condition.quantity or 'QUANTITY'}=..." if condition.actions[0] == MEASURE else ""
    cures = tuple(f"{condition.actions[0]} {i}{value}" for i in items[:MOST_CURES])
    return Reason("order", text, (), tuple(items), cures)


def _deed(condition: Done) -> str:
    return _list_or(condition.actions) + (f" ({condition.quantity})" if condition.quantity else "")


def _since(condition: Done) -> str:
    return f" since the last {_list_or(condition.since)}" if condition.since else ""


# --- words ----------------------------------------------------------------------------------------------------------


def _list(names: Sequence[str]) -> str:
    """Return names as a list in words, cut where it gets long."""
    if len(names) > MOST_NAMES:
        return ", ".join(names[:MOST_NAMES]) + f" and {len(names) - MOST_NAMES} more"
    return " and ".join(", ".join(names).rsplit(", ", 1)) if names else "nothing"


def _list_or(names: Sequence[str]) -> str:
    return " or ".join(names)


def describe_selection(selection: Selection) -> str:
    """Return a selection in words.

    >>> describe_selection(Selection(source=True))
    'any source'
    """
    if selection == Selection(of=selection.of):
        return selection.of or "anything"
    if selection == Selection(ids=selection.ids, may_be_empty=selection.may_be_empty):
        return " or ".join(selection.ids)
    said = [_noun(selection)]
    for label, values in (
        ("named", selection.ids),
        ("of part", selection.parts),
        ("of medium", selection.media),
        ("in loop", selection.loops),
        ("tagged", selection.tags),
        ("of place", selection.places),
        ("standing at", _places(selection.at)),
    ):
        if values:
            said.append(f"{label} {_list_or(values)}")
    if selection.of:
        said.append(f"among {selection.of}")
    return "any " + " ".join(said)


def _noun(selection: Selection) -> str:
    """Return what sort of item a selection names: `not` before what it must not be."""
    flags = (
        (selection.source, "source"),
        (selection.expansion, "expansion volume"),
        (selection.load, "load"),
        (selection.liquid, "liquid-full volume"),
        (selection.mobile, "place that moves"),
    )
    words_for = [name if flag else f"item that is no {name}" for flag, name in flags if flag is not None]
    return " and ".join(words_for) or _list_or((*selection.kinds, *selection.what)) or "item"


def describe(condition: Condition) -> str:
    """Return a condition in plain words."""
    s = describe_selection
    match condition:
        case All(parts):
            return " and ".join(f"({describe(p)})" if isinstance(p, AnyOf) else describe(p) for p in parts)
        case AnyOf(parts):
            return " or ".join(f"({describe(p)})" if isinstance(p, All) else describe(p) for p in parts)
        case Not(part):
            return f"not ({describe(part)})"
        case Path(medium, start, end):
            return f"{s(start)} has a {medium} path to {s(end)}"
        case NoPath(medium, start, end):
            return f"{s(start)} has no {medium} path to {s(end)}"
        case Status(of, among, at):
            return f"{s(of)} is {_wanted(among, at)}"
        case Count():
            return _describe_count(condition)
        case Value(of, quantity, low, high):
            span = "in its rated range" if condition.rated else _range(quantity, low, high)
            missing = ", or was never measured" if condition.unmeasured else ""
            return f"{_quantity(condition)} of {s(of)} is {span}{missing}"
        case Done(of):
            return f"{_deed(condition)} of {s(of)} has been done{_since(condition)}"
        case Custom(name, of):
            return f"{name} holds for {s(of)}"


def _describe_count(condition: Count) -> str:
    bounds = [f"at least {condition.least}"] if condition.least is not None else []
    bounds += [f"at most {condition.most}"] if condition.most is not None else []
    how_many = "none" if condition.most == 0 else " and ".join(bounds) or "any number"
    of, counted = describe_selection(condition.of), _counted(condition)
    if counted:
        return f"{how_many} of {of} {counted}"
    return f"there is {'no' if condition.most == 0 else how_many} {of.removeprefix('any ')}"
