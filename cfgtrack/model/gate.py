"""The gate: what may be said at all, whatever the plant holds. Everything that comes from outside passes here.

What an action may say is one table, `_TAKES`; how long a text, how deep an object may be are the constants. What
follows from an action is resolved anew, and what a row tells of it is compared (`told_otherwise`), never believed.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from typing import Any

from cfgtrack.model import action as ac
from cfgtrack.model.action import Action
from cfgtrack.model.configuration import View
from cfgtrack.model.event import Event
from cfgtrack.model.handover import HANDOVERS, handed_over
from cfgtrack.model.kept import fault_of_kept
from cfgtrack.model.plan import fault_of_plan
from cfgtrack.model.quantity import QUANTITIES
from cfgtrack.model.unknown import UNKNOWN, no_such

MOST_NAME = 200
"""So many characters a name may have: an id, an alias, whoever did it, an outing."""

MOST_ADDRESS = 3 * MOST_NAME + 2
"""An address is up to three names and the colons between them."""

MOST_TEXT = 20_000
"""So many characters a free text may have: a remark, a reason, a title."""

MOST_NAMED = 10_000
"""So many things or findings one event may name."""

MOST_DEPTH = 32
"""So deep tables and lists may lie in one another."""

_NAMES = ("action", "facing", "status", "bars", "by", "recorder", "outing")
_ADDRESSES = ("id", "place", "supersedes", "withdraws", "explains", "step", "plan")
_FREE = ("remark", "reason")
_OUTINGS = frozenset(HANDOVERS)
_TO_A_PLACE = frozenset({ac.PLACE, ac.LIFT, ac.FOUND})
_INITIAL = frozenset({ac.FOUND, ac.MEASURE, ac.INSPECT})
_WITHOUT_STATE = ac.NOTES | ac.BOOK_ACTIONS | _OUTINGS
_OF_AN_APPROVAL = frozenset({"fingerprints", "rule", "fingerprint", "start", "end", "planned"})

_TAKES: Mapping[str, Callable[[Action], bool]] = {
    "subjects": lambda a: a.action not in _OUTINGS,
    "place": lambda a: a.action in _TO_A_PLACE or (isinstance(a, Event) and _may_follow(a, "place")),
    "facing": lambda a: a.action in _TO_A_PLACE and (a.place is not None or a.action == ac.LIFT),
    "status": lambda a: (a.action == ac.FOUND and a.place is None) or a.action in ac.DEFECT_ACTIONS,
    "bars": lambda a: a.action in ac.DEFECT_ACTIONS,
    "values": lambda a: a.action not in _OUTINGS | ac.BOOK_ACTIONS,
    "supersedes": lambda a: a.action not in (ac.WITHDRAW, ac.DEFINE),
    "withdraws": lambda a: a.action == ac.WITHDRAW,
    "explains": lambda a: a.action == ac.EXPLAIN,
    "acknowledges": lambda a: a.action == ac.ACKNOWLEDGE,
    "initial": lambda a: a.action in _INITIAL,
    "step": lambda a: a.action == ac.SKIP or a.action not in _OUTINGS | ac.BOOK_ACTIONS,
    "plan": lambda a: a.action in (ac.SKIP, ac.ABANDON) or a.action not in _OUTINGS | ac.BOOK_ACTIONS,
    "body": lambda a: (
        a.action in ac.DEFINITIONS | _OUTINGS or a.action in (ac.APPROVE, ac.ADOPT, ac.KEEP_CHECK)
    ),
}
"""Which actions may say what. What isn't listed every action may say."""

_FOLLOWS: Mapping[str, Callable[[Action], bool]] = {
    "peer": lambda a: a.action not in _WITHOUT_STATE and a.action not in (ac.PLACE, ac.LIFT),
    "moved": lambda a: a.action not in _WITHOUT_STATE,
    "place": lambda a: a.action not in _WITHOUT_STATE | _TO_A_PLACE,
    "carried": lambda a: a.action in _TO_A_PLACE,
    "ends": lambda a: a.action not in _WITHOUT_STATE,
    "found": lambda a: a.action not in ac.BOOK_ACTIONS,
    "parted": lambda a: a.action not in ac.BOOK_ACTIONS,
    "expected": lambda a: a.action not in ac.BOOK_ACTIONS,
}
"""From which actions what may follow, as a row tells it that the journal wrote."""


def _may_follow(action: Action, name: str) -> bool:
    return _FOLLOWS[name](action)


# --- texts and objects --------------------------------------------------------------------------------------------


def fault_of_text(text: str, most: int = MOST_TEXT, *, is_free: bool = False) -> str:
    """Return what keeps a text from being kept, "" for nothing. Only a free text may have a NUL: no server takes one.

    >>> fault_of_text("a" * 300, MOST_NAME)
    'expected at most 200 characters, found 300'
    """
    if len(text) > most:
        return f"expected at most {most:,} characters, found {len(text):,}"
    if "\0" in text and not is_free:
        return "expected text, found a NUL character"
    if not text.isascii() and any("\ud800" <= sign <= "\udfff" for sign in text):
        return "expected text, found half a surrogate pair"
    return ""


def is_deeper(value: Any, most: int = MOST_DEPTH) -> bool:
    """Return whether lists and objects lie in one another more than `most` deep. Asks without going down itself.

    >>> is_deeper([[1]], 1), is_deeper([[1]], 2)
    (True, False)
    """
    level = [value]
    for _ in range(most):
        level = [one for outer in level if isinstance(outer, dict | list) for one in _inside(outer)]
        if not level:
            return False
    return any(isinstance(one, dict | list) for one in level)


def _inside(outer: Any) -> Iterable[Any]:
    return outer.values() if isinstance(outer, dict) else outer


def texts_in(value: Any) -> Iterator[str]:
    """Yield every text in an object, names too."""
    return (one for one in _leaves(value) if isinstance(one, str))


def has_huge_number(value: Any) -> bool:
    """Return whether a whole number of more than 64 bits is in an object: no other program reads one."""
    return any(isinstance(one, int) and not -(2**63) <= one < 2**63 for one in _leaves(value))


def _leaves(value: Any) -> Iterator[Any]:
    queue = [value]
    while queue:
        one = queue.pop()
        if isinstance(one, dict):
            yield from one
            queue.extend(one.values())
        elif isinstance(one, list | tuple):
            queue.extend(one)
        else:
            yield one


# --- actions ------------------------------------------------------------------------------------------------------


def is_plain(action: Action) -> bool:
    """Return whether an action says nothing but plain names, and what any may say: nearly all do, and it is quick.

    Whoever isn't plain is looked at by `faults`.
    """
    if (
        action.body is not None
        or action.initial
        or action.values
        or action.place is not None
        or action.status is not None
        or action.bars is not None
        or action.facing is not None
        or len(action.subjects) > 2
        or not action.subjects
        or action.action in _WITHOUT_STATE
        or (isinstance(action, Event) and tells(action))
    ):
        return False
    said = (
        action.id,
        action.by,
        action.recorder,
        action.outing,
        action.step,
        action.plan,
        action.remark,
        action.reason,
        *action.subjects,
    )
    if "" in said:
        return False
    together = "".join(filter(None, said))
    return len(together) <= MOST_NAME and together.isprintable()


def tells(event: Event) -> bool:
    """Return whether an event, as a row tells it, says anything of what follows from it."""
    return bool(
        event.moved
        or event.peer is not None
        or event.place is not None
        or event.carried
        or event.ends
        or event.found
        or event.parted
        or event.expected is not None
    )


def faults(action: Action) -> Iterator[tuple[str, str]]:
    """Yield a code and a sentence for everything that an action may not say, in this form or at all."""
    for name, takes in _TAKES.items():
        value = getattr(action, name)
        if value not in (None, (), {}, False) and not takes(action):
            yield "unexpected", f"{action.action} takes no {name}"
    if isinstance(action, Event):
        yield from _told_wrongly(action)
    if action.action in ac.NOTES and not action.subjects:
        yield "subjects", f"{action.action} takes a unit, port or place, none given"
    if action.action in ac.NOTES and len({*action.subjects}) < len(action.subjects):
        yield "subjects", f"{action.action} takes each unit, port or place once"
    yield from _bad_texts(action)
    yield from _bad_values(action)
    if action.body is not None:
        yield from _bad_body(action, action.body)


def _told_wrongly(event: Event) -> Iterator[tuple[str, str]]:
    for name, follows in _FOLLOWS.items():
        if name != "place" and getattr(event, name) and not follows(event):
            yield "unexpected", f"{name} doesn't follow from {event.action}"


def _bad_texts(action: Action) -> Iterator[tuple[str, str]]:
    for names, most in ((_NAMES, MOST_NAME), (_ADDRESSES, MOST_ADDRESS), (_FREE, MOST_TEXT)):
        for name in names:
            text = getattr(action, name)
            if text == "" and name != "id":
                yield "text", f"{name}: expected a text, found an empty one: leave it out"
            if text and (fault := fault_of_text(text, most, is_free=names is _FREE)):
                yield "text", f"{name}: {fault}"
    for name, named in (("subjects", action.subjects), ("acknowledges", (action.acknowledges or "").split())):
        yield from _bad_names(name, named)
    if isinstance(action, Event):
        told = [*action.moved, *action.parted, *filter(None, (action.peer,))]
        for places in (action.carried, action.ends, action.found):
            told += [*places, *places.values()]
        yield from _bad_names("what follows", told)


def _bad_names(name: str, named: Iterable[str]) -> Iterator[tuple[str, str]]:
    found = list(named)
    if len(found) > MOST_NAMED:
        yield "text", f"{name}: expected at most {MOST_NAMED:,}, found {len(found):,}"
    fault = next(filter(None, (fault_of_text(one, MOST_ADDRESS) for one in found)), "")
    if fault:
        yield "text", f"{name}: {fault}"


def _bad_values(action: Action) -> Iterator[tuple[str, str]]:
    for name, quantity in action.values.items():
        if name not in QUANTITIES:
            yield UNKNOWN, no_such("quantity", name[:MOST_NAME], QUANTITIES)
        elif quantity.dimension != QUANTITIES[name]:
            yield "bad-quantity", f"{name} is a {QUANTITIES[name]}, found a {quantity.dimension}: {quantity}"


def _bad_body(action: Action, body: Any) -> Iterator[tuple[str, str]]:
    if is_deeper(body):
        yield "depth", f"body: expected at most {MOST_DEPTH} tables and lists in one another"
        return
    if action.action == ac.APPROVE and isinstance(body, dict):
        for name in body.keys() - _OF_AN_APPROVAL:
            yield "approval", f"body: {no_such('member', str(name)[:MOST_NAME], sorted(_OF_AN_APPROVAL))}"
        codes = body.get("fingerprints")
        yield from _bad_names("fingerprints", filter(_is_text, codes if isinstance(codes, list) else ()))
        start, end = body.get("start"), body.get("end")
        if isinstance(start, int) and isinstance(end, int) and end <= start:
            yield "approval", "body: its end must be later than its start"
    if action.action in _OUTINGS:
        try:
            if handed_over(action) is None or body.keys() - {"head"}:
                yield "handover", "body: expected the head of the handover, and nothing else"
        except (ValueError, AttributeError) as err:
            yield "handover", f"body: {err}"
    for name, code, fault_of in ((ac.ADOPT, "plan", fault_of_plan), (ac.KEEP_CHECK, "check", fault_of_kept)):
        if action.action == name:
            if fault := fault_of(body):
                yield code, f"body: {fault}"
            return
    if fault := next(filter(None, map(fault_of_text, texts_in(body))), ""):
        yield "text", f"body: {fault}"


def _is_text(value: object) -> bool:
    return isinstance(value, str)


# --- what follows from them ---------------------------------------------------------------------------------------


def told_otherwise(view: View, told: Event, event: Event) -> Iterator[str]:
    """Yield where a row tells otherwise what follows from it: `event` is what it was resolved to in `view`.

    What it doesn't tell isn't compared. Where somebody was found may since be recorded in another way, which the row
    then says again: that is no contradiction.
    """
    if told.peer not in (None, event.peer):
        yield f"its mate is told as {told.peer}, and is {event.peer or 'none'}"
    if told.moved and {*told.moved} != {*event.moved}:
        yield f"it is told to move {_listed(told.moved)}, and moves {_listed(event.moved)}"
    if told.place not in (None, event.place):
        yield f"it is told to bring something to {told.place}, and brings {_where(event.place)}"
    for what, places, resolved in (
        ("carried to", told.carried, event.carried),
        ("found at", told.found, event.found),
    ):
        for thing, place in places.items():
            there = resolved.get(thing) or (view.state(thing).value if view.plant.can_move(thing) else "")
            if place != there:
                yield f"{thing} is told to be {what} {place}, and is {_where(there)}"
    for end, site in told.ends.items():
        lies = event.ends.get(end) or (view.end_at(end) if view.plant.port(end) is not None else None)
        if (site or None) != (lies or None):
            yield f"{end} is told to lie at {site or 'nothing'}, and lies {_where(lies)}"
    for half in told.parted:
        port = view.plant.port(half)
        if half not in event.parted and (port is None or port[1].is_joined(view.state(half).value)):
            yield f"{half} is told to be demated or released by it, and isn't"


def _where(place: str | None) -> str:
    return f"at {place}" if place else "at no other place"


def _listed(names: Iterable[str]) -> str:
    found = sorted(names)
    more = f" and {len(found) - 6} more" if len(found) > 6 else ""
    return (", ".join(found[:6]) or "nothing") + more
