"""Answers as JSON: one form of each sort of object, which the fields of its dataclass say.

What a class has beside fields: `told` names the properties that belong to the object too, `untold` the fields that
don't. A time is known by its type, `Instant`, and is told as RFC 3339, UTC. What is not there is null: a text that is
empty, too. A name that Python keeps for itself has an underscore more there.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import fields, is_dataclass
from datetime import date
from functools import cache
from typing import Any

from cfgtrack.answers.moment import Answer
from cfgtrack.model.action import APPROVE
from cfgtrack.model.attribute import attribute_to_json
from cfgtrack.model.codec import action_to_json
from cfgtrack.model.event import Entry, LogLine
from cfgtrack.model.quantity import Quantity
from cfgtrack.model.time import LATEST, format_instant, is_instant


def json_of(value: Any) -> Any:
    """Return a value as JSON has it; an answer with its moment first, an event as the journal has it but for times."""
    if isinstance(value, Quantity | date):
        return attribute_to_json(value)
    if isinstance(value, Entry):
        return _entry(value)
    if isinstance(value, LogLine):
        return {**_entry(value.entry), "corrected_by": value.corrected_by}
    if is_dataclass(value) and not isinstance(value, type):
        moment = json_of(value.moment) if isinstance(value, Answer) else {}
        if isinstance(value, Answer) and value.moment.time_note:
            moment["time_note"] = value.moment.time_note
        own = {name.rstrip("_"): tell(getattr(value, name)) for name, tell in _told(type(value))}
        return {**moment, **own}
    if isinstance(value, tuple) and hasattr(value, "_asdict"):
        return {name.rstrip("_"): json_of(one) for name, one in value._asdict().items()}
    if isinstance(value, Mapping):
        return {name: json_of(one) for name, one in value.items()}
    if isinstance(value, (tuple, list)):
        return [json_of(one) for one in value]
    return value.hex() if isinstance(value, bytes) else value


def _entry(entry: Entry) -> dict[str, Any]:
    event = entry.event
    told = {**action_to_json(event), "number": entry.number}
    if event.action == APPROVE and event.body:
        told["body"] = {
            name: _instant(one) if name in ("start", "end") and is_instant(one) else json_of(one)
            for name, one in event.body.items()
        }
    if event.signed is not None:
        told["signed"] = {"by": event.signed.by, "key": event.signed.key}
    if entry.login is not None:
        told["login"] = entry.login
    return {**told, "happened": format_instant(event.happened), "known": format_instant(entry.known)}


def _instant(value: int | None) -> str | None:
    """Return a time as text; None for one that no journal holds, which the audit of a forged one may meet."""
    return None if value is None or value > LATEST else format_instant(value)


def _instants(value: tuple[int, ...]) -> list[str | None]:
    return [_instant(one) for one in value]


def _text(value: str | float | None) -> str | float | None:
    return None if value == "" else value


_FORMS: dict[str, Callable[[Any], Any]] = {
    **dict.fromkeys(("Instant", "Instant | None"), _instant),
    "tuple[Instant, ...]": _instants,
    **dict.fromkeys(("str", "str | None", "str | float | None"), _text),
}


@cache
def _told(sort: type) -> tuple[tuple[str, Callable[[Any], Any]], ...]:
    """Return the fields and properties of a dataclass that are told, each with what tells its value."""
    untold = getattr(sort, "untold", ())
    types = {field.name: field.type for field in fields(sort) if field.name not in untold}
    types |= {name: getattr(sort, name).fget.__annotations__["return"] for name in getattr(sort, "told", ())}
    assert all(str(of) in _FORMS or "Instant" not in str(of) for of in types.values()), types
    return tuple((name, _FORMS.get(str(of), json_of)) for name, of in types.items())
