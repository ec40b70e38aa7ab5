"""What is named and isn't there: one look-up of addresses, one code, one form of sentence, with near names.

Whatever name or word of a closed list is looked up and not found is `UNKNOWN`; how a command then ends is said at
`Problem.thing`.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from itertools import islice
from typing import TYPE_CHECKING, TypeVar

from cfgtrack.model.trouble import NoAnswer, Problem

if TYPE_CHECKING:
    from cfgtrack.model.plant import Plant

UNKNOWN = "unknown"
T = TypeVar("T")

PORT = ("port",)
PLACE = ("place", "mobile place")
MOVABLE = ("unit", "mobile place")
OWNER = ("unit", *PLACE)
THING = (*OWNER, "port", "node")
ANYTHING = (*THING, "part")

_LISTED = 40
"""So many known names are listed, at most, where none is near."""

_UNITS_LISTED = 12
"""So many units of a part are listed."""

_MANY = 1000
"""Comparing a name with more others than this takes too long to do once for each bad row."""


def find(what: str, name: str, known: Mapping[str, T]) -> T:
    """Return what has this name among those known. NoAnswer when nothing has."""
    if name not in known:
        raise NoAnswer(Problem(name, UNKNOWN, no_such(what, name, known)))
    return known[name]


def expect_thing(plant: Plant, address: str, wanted: Collection[str] = THING) -> None:
    """Raise NoAnswer for an address of nothing that is `wanted`."""
    if why := unknown(plant, address, wanted):
        raise NoAnswer(Problem(address, UNKNOWN, why))


def no_such(what: str, name: str, known: Collection[str] = ()) -> str:
    """Return that there is no `what` of this name, with near names, or what is known where that is little."""
    return f"there is no {what} {name}{instead(name, known, 'known:')}"


def unknown(plant: Plant, address: str, wanted: Collection[str]) -> str:
    """Return why there is nothing of a `wanted` sort at an address, "" when there is: see `Plant.sort_of`."""
    sort = plant.sort_of(address)
    if sort in wanted:
        return ""
    owner, colon, name = address.partition(":")
    ports: list[str] = []
    if plant.has_owner(owner):
        part = plant.part_of(owner)
        ports = [*part.ports] if wanted == PORT else [*part.ports, *part.nodes]
        if colon and not sort:
            what = "port" if wanted == PORT else "port or node"
            return f"{owner} has no {what} {name}{instead(name, ports, 'it has')}"
    if not sort:
        owners = OWNER if colon or wanted == PORT else [s for s in wanted if s not in ("port", "node")]
        return no_such(_either(owners), owner, [*_names(plant, owners)])
    told = f"{address} is a {sort}, not a {_either(wanted)}"
    if sort == "part":
        units = [unit.id for unit in plant.units.values() if unit.part == address]
        more = f" and {len(units) - _UNITS_LISTED} more" if units[_UNITS_LISTED:] else ""
        return f"{told}; its units: {', '.join(units[:_UNITS_LISTED]) or 'none'}{more}"
    return told + (instead("", ports, "it has") if wanted == PORT and not colon else "")


def _names(plant: Plant, wanted: Collection[str]) -> Iterator[str]:
    if "unit" in wanted:
        yield from plant.units
    yield from (p.id for p in plant.places.values() if ("mobile place" if p.mobile else "place") in wanted)
    if "part" in wanted:
        yield from plant.parts


def _either(wanted: Collection[str]) -> str:
    sorts = [sort for sort in wanted if sort != "mobile place" or "place" not in wanted]
    return " or ".join(filter(None, (", ".join(sorts[:-1]), sorts[-1])))


def instead(name: str, known: Collection[str], listed: str = "") -> str:
    """Return the tail of a sentence: the near names, else (after `listed`) those known where they are few, or nothing."""
    if names := near(name, known):
        return f"; near names: {', '.join(names)}"
    return f"; {listed} {', '.join(known)}" if listed and 0 < len(known) <= _LISTED else ""


def near(name: str, known: Collection[str]) -> tuple[str, ...]:
    """Return up to three known names that a mistyped one may have meant, likeliest first; case doesn't count."""
    from difflib import get_close_matches

    meant = name.casefold()
    by_fold: dict[str, str] = {}
    likely = known if len(known) <= _MANY else islice(_one_half_alike(meant, known), 2 * _MANY)
    for candidate in likely:
        by_fold.setdefault(candidate.casefold(), candidate)
    return tuple(by_fold[fold] for fold in get_close_matches(meant, by_fold, n=3, cutoff=0.7))


def _one_half_alike(name: str, known: Collection[str]) -> Iterator[str]:
    """Every name a single slip away, and some more: a single slip leaves one half of a name as it was."""
    half = (len(name) - 1) // 2  # two letters swapped in the middle spoil one half only
    start, end = name[:half], name[len(name) - half :]
    for candidate in known:
        fold = candidate.casefold()
        if abs(len(fold) - len(name)) <= 1 and (fold.startswith(start) or fold.endswith(end)):
            yield candidate
