"""What an approval must hold: which findings it is of, for how long, and whose hands it went through."""

from __future__ import annotations

from typing import Any, NamedTuple

from cfgtrack.model.action import Action
from cfgtrack.model.plant import Plant
from cfgtrack.model.time import is_instant
from cfgtrack.model.unknown import DOER


def fault_of_approval(action: Action) -> str:
    """Return what is wrong with what an approval holds, "" for nothing. One that is void all the same has no fault."""
    body = action.body
    if not isinstance(body, dict) or not body:
        return "an approval names the findings that it is of by their fingerprints"
    told, rule, code = body.get("fingerprints"), body.get("rule"), body.get("fingerprint")
    if told is not None and not _is_names(told):
        return f"fingerprints: expected a list of texts, found {told!r}"
    for name, value in (("rule", rule), ("fingerprint", code)):
        if value is not None and not (isinstance(value, str) and value):
            return f"{name}: expected a text, found {value!r}"
    if not (told or rule or code):
        return "an approval names the findings that it is of by their fingerprints"
    for name in ("start", "end"):
        value = body.get(name)
        if value is not None and not is_instant(value):
            return f"{name}: expected a time in microseconds, found {value!r}"
    return ""


def _is_names(value: Any) -> bool:
    return isinstance(value, list) and bool(value) and all(isinstance(one, str) and one for one in value)


class Hands(NamedTuple):
    """Who had a hand in an approval, each by the one name that a person has.

    `checked`: whether the plant says who may approve; `why_not`: why who approved it may not, "" where he may.
    """

    people: frozenset[str]
    checked: bool = False
    why_not: str = ""


def hands_of(plant: Plant, event: Action) -> Hands:
    """Return whose hands an approval went through, in the plant as it was when that was recorded."""
    return Hands(frozenset(_person(_meant(plant, name)) for name in _names(event)))


def _meant(plant: Plant, name: str) -> str:
    """Return the id of the person or machine that is called so, else the name itself."""
    meant = plant.names.meant(name, DOER)
    return meant[0] if len(meant) == 1 else name


def as_named(event: Action) -> Hands:
    """Return whose hands an approval went through where nothing is known of a plant: names, however written."""
    return Hands(frozenset(map(_person, _names(event))))


def _person(name: str) -> str:
    return " ".join(name.split()).casefold()


def _names(event: Action) -> list[str]:
    """Return the names that an event bears: who did it, who wrote it down, who signed it."""
    signed = None if event.signed is None else event.signed.by
    return [name for name in (event.by, event.recorder, signed) if name and name.strip()]
