"""Actions and events as JSON objects and back. The fields of the two types are the one table behind all forms.

>>> action_to_json(Action("e1", "mate", ("A-1:F1", "B-1:F1"), 0, by="ina"))
{'id': 'e1', 'action': 'mate', 'happened': 0, 'subjects': ['A-1:F1', 'B-1:F1'], 'by': 'ina'}
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import MISSING, Field, fields
from enum import IntEnum
from typing import Any, NamedTuple

from cfgtrack.model.action import Action
from cfgtrack.model.event import Event
from cfgtrack.model.quantity import from_json as quantity_from_json
from cfgtrack.model.quantity import to_json as quantity_to_json


class Form(IntEnum):
    """What a field holds, in the order in which JSON objects tell it: single facts before lists and objects."""

    TEXT = 0
    NUMBER = 1
    TEXTS = 2
    FLAG = 3
    VALUES = 4
    BODY = 5
    PLACES = 6


_FORMS = {
    "str": Form.TEXT,
    "str | None": Form.TEXT,
    "int": Form.NUMBER,
    "tuple[str, ...]": Form.TEXTS,
    "bool": Form.FLAG,
    "Mapping[str, Quantity]": Form.VALUES,
    "Mapping[str, Any] | None": Form.BODY,
    "Mapping[str, str]": Form.PLACES,
}


class Told(NamedTuple):
    """One field of an action or event. JSON leaves out what is `unsaid`; `rank` is where it stands in an object."""

    name: str
    form: Form
    unsaid: Any
    rank: tuple[int, int]


def _told(field: Field[Any]) -> Told:
    form = _FORMS[str(field.type)]
    default = field.default if field.default_factory is MISSING else field.default_factory()
    if default is MISSING:
        return Told(field.name, form, () if form is Form.TEXTS else MISSING, (0, form))
    return Told(field.name, form, default, (1, 0) if default is None else (2, form))


SAID = tuple(_told(field) for field in fields(Action) if field.compare)
"""What may be said of an action: all but who signed it."""

FILLED_IN = tuple(_told(field) for field in fields(Event)[len(fields(Action)) :])
"""What resolving adds."""

TEXTS = tuple(told.name for told in SAID if told.form is Form.TEXT and told.name not in ("id", "action"))
"""What may be said in a text of one's own: all but the action itself and whom it is about."""

_AFTER = [told.name for told in SAID].index("status") + 1
IN_JSON = tuple(sorted((*SAID[:_AFTER], *FILLED_IN, *SAID[_AFTER:]), key=lambda told: told.rank))
"""Every field in the order of a JSON object; what follows from the hardware stands after what was done to it."""


def action_to_json(action: Action) -> dict[str, Any]:
    """Return an action or event as a JSON object: only what differs from the default, tuples as lists."""
    out: dict[str, Any] = {}
    for name, form, unsaid, _ in IN_JSON:
        value = getattr(action, name, unsaid)
        if value != unsaid:
            out[name] = to_json(form, value)
    return out


def said_to_json(action: Action) -> dict[str, Any]:
    """Return what was said of an action or event, as `action_to_json` does, without what resolving filled in."""
    told = ((name, form, getattr(action, name), unsaid) for name, form, unsaid, _ in SAID)
    return {name: to_json(form, value) for name, form, value, unsaid in told if value != unsaid}


def to_json(form: Form, value: Any) -> Any:
    """Return the value of a field as JSON has it."""
    if form is Form.TEXTS:
        return list(value)
    if form is Form.VALUES:
        return {name: quantity_to_json(quantity) for name, quantity in value.items()}
    return value


def event_from_json(data: Mapping[str, Any]) -> Event:
    """Return the event of an object made by `action_to_json`. TypeError when a field is unknown or missing."""
    return Event(**_fields(data))


def said_from_json(data: Mapping[str, Any]) -> Action:
    """Return the action of an object made by `said_to_json`. TypeError when a field is unknown or missing."""
    return Action(**_fields(data))


def _fields(data: Mapping[str, Any]) -> dict[str, Any]:
    known = dict(data)
    known["subjects"] = tuple(known.get("subjects", ()))
    for name in ("moved", "parted"):
        if name in known:
            known[name] = tuple(known[name])
    if "values" in known:
        known["values"] = {name: quantity_from_json(quantity) for name, quantity in known["values"].items()}
    return known
