"""What an approval must hold: which findings it is of, for how long, and whose hands it went through."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import Any, NamedTuple

from cfgtrack.model.action import Action
from cfgtrack.model.people import APPROVE, has_roles, may, person_of
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
    planned = body.get("planned")
    if planned is not None and not (
        isinstance(planned, int) and not isinstance(planned, bool) and planned > 0
    ):
        return f"planned: expected how often a plan breaks them, found {planned!r}"
    for name in ("start", "end"):
        value = body.get(name)
        if value is not None and not is_instant(value):
            return f"{name}: expected a time in microseconds, found {value!r}"
    return ""


def _is_names(value: Any) -> bool:
    return isinstance(value, list) and bool(value) and all(isinstance(one, str) and one for one in value)


def _everywhere(_on: Iterable[str]) -> str | None:
    """Say of nothing why it may not be approved."""
    return None


class Hands(NamedTuple):
    """Whose hands an approval went through: of `people`, each by the one name that a person has.

    `approver` is he who approved; `checked`: whether the plant says who may; `why_not`: why he may not, "" where he
    may; `may`: tells why he may not approve what is about some things, None where he may.
    """

    people: frozenset[str]
    approver: str = ""
    checked: bool = False
    why_not: str = ""
    may: Callable[[Iterable[str]], str | None] = _everywhere


def hands_of(plant: Plant, event: Action, login: str | None = None) -> Hands:
    """Return whose hands an approval went through, by the plant as it was when that was recorded.

    `login`: what a database's server called whoever recorded it.
    """
    bound = person_of(plant, login or "")
    names = [*_names(event), *(() if bound is None else (bound.id,))]
    people = frozenset(as_written(person_named(plant, name)) for name in names)
    approver = person_named(plant, event.by or "")
    if not has_roles(plant):
        return Hands(people, approver)

    def may_approve(on: Iterable[str]) -> str | None:
        return may(plant, approver, APPROVE, on)

    return Hands(people, approver, True, may_approve(()) or "", may_approve)


def person_called(plant: Plant, name: str) -> str:
    """Return the id of the person that is called so: by it, or as the place that moves which he is; "" for nobody."""
    if name in plant.people:
        return name
    meant = plant.names.meant(name, DOER)
    place = meant[0] if len(meant) == 1 else name
    return next((one.id for one in plant.people.values() if one.place and one.place == place), "")


def person_named(plant: Plant, name: str) -> str:
    """Return the one name that somebody has: a person's id, else that of a person or machine, else as it is written."""
    if found := person_called(plant, name):
        return found
    meant = plant.names.meant(name, DOER)
    return meant[0] if len(meant) == 1 else as_written(name)


def as_named(event: Action) -> Hands:
    """Return whose hands an approval went through where nothing is known of a plant."""
    return Hands(frozenset(map(as_written, _names(event))), as_written(event.by or ""))


def as_written(name: str) -> str:
    """Return a name that two ways to write it, which differ in blanks and capitals alone, have in common."""
    return " ".join(name.split()).casefold()


def _names(event: Action) -> list[str]:
    """Return the names that an event bears: who did it, who wrote it down, who signed it."""
    signed = None if event.signed is None else event.signed.by
    return [name for name in (event.by, event.recorder, signed) if name and name.strip()]
