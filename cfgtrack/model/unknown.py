"""What is named and isn't there: one look-up of addresses, one code, one form of sentence, with near names.

Whatever name or word of a closed list is looked up and not found is `UNKNOWN`; how a command then ends is said at
`Problem.thing`.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping
from typing import TYPE_CHECKING, NamedTuple, TypeVar

from cfgtrack.model.trouble import BadInput, NoAnswer, Problem

if TYPE_CHECKING:
    from cfgtrack.model.plant import Plant

UNKNOWN, AMBIGUOUS = "unknown", "ambiguous"
T = TypeVar("T")

PORT = ("port",)
PLACE = ("place", "mobile place")
DOER = ("mobile place",)
MOVABLE = ("unit", "mobile place")
OWNER = ("unit", *PLACE)
THING = (*OWNER, "port", "contact", "node")
ANYTHING = (*THING, "part")
CAN_FAIL = (*OWNER, "port")

_LISTED = 40
"""So many known names are listed, at most, where none is near."""

_UNITS_LISTED = 12
"""So many units of a part are listed, and things that a name may mean."""

_MANY = 1000
"""Comparing a name with more others than this takes too long to do once for each bad row."""

_LONGEST = 200
"""No name is longer, so what is has none near; and looking for one would take long."""

_LETTERS = "abcdefghijklmnopqrstuvwxyz0123456789._/+-:"
"""What ids and addresses are made of, case aside; an alias has others."""


def find(what: str, name: str, known: Mapping[str, T]) -> T:
    """Return what has this name among those known. NoAnswer when nothing has."""
    if name not in known:
        raise NoAnswer(Problem(name, UNKNOWN, no_such(what, name, known)))
    return known[name]


class Looked(NamedTuple):
    """What was looked up by its id or by what else it is called: its `address`, else a code and a sentence why not."""

    address: str
    code: str = ""
    why: str = ""


def look_up(plant: Plant, text: str, wanted: Collection[str] = THING) -> Looked:
    """Return what is called so, of the sorts that are `wanted`: see `Plant.sort_of`."""
    meant = plant.names.meant(text, wanted)
    if len(meant) == 1:
        return Looked(meant[0])
    if meant:
        more = f" or one of {len(meant) - _UNITS_LISTED} more" if meant[_UNITS_LISTED:] else ""
        told = f"{text} may be {_either(meant[:_UNITS_LISTED])}{more}: say which by its id"
        return Looked(text, AMBIGUOUS, told)
    return Looked(text, UNKNOWN, unknown(plant, text, wanted))


def expect_thing(plant: Plant, text: str, wanted: Collection[str] = THING) -> str:
    """Return the address of what is called so. NoAnswer for nothing that is `wanted`, BadInput for several things."""
    found = look_up(plant, text, wanted)
    if found.code:
        problem = Problem(text, found.code, found.why)
        raise BadInput(problem) if found.code == AMBIGUOUS else NoAnswer(problem)
    return found.address


def no_such(what: str, name: str, known: Collection[str] = (), also: Collection[str] = ()) -> str:
    """Return that there is no `what` of this name, with near names, or what is known where that is little.

    `also` are the aliases of what is known: they may be near.
    """
    told = name if len(name) <= _LONGEST else f"{name[:_LONGEST]} ..."
    return f"there is no {what} {told}{instead(name, known, 'known:', also)}"


def unknown(plant: Plant, address: str, wanted: Collection[str]) -> str:
    """Return why there is nothing of a `wanted` sort at an address, "" when there is: see `Plant.sort_of`."""
    sort = plant.sort_of(address)
    if sort in wanted:
        return ""
    owner, colon, name = address.partition(":")
    if not plant.has_owner(owner):
        owner, name = next(plant.names.split(address), (owner, name))
    ports: list[str] = []
    if plant.has_owner(owner):
        part = plant.part_of(owner)
        ports = [*part.ports] if wanted == PORT else [*part.ports, *part.nodes]
        shell, deeper, contact = name.partition(":")
        if deeper and not sort and shell in part.ports and wanted != PORT:
            names = [*part.ports[shell].contacts]
            return f"{owner}:{shell} has no contact {contact}{instead(contact, names, 'it has')}"
        if colon and not sort:
            what = "port" if wanted == PORT else "port or node"
            return f"{owner} has no {what} {name}{instead(name, ports, 'it has', plant.names.inside(owner))}"
    if not sort and owner in plant.retired:
        return f"{owner} is retired, no longer of the plant: `cfgtrack history {owner}` tells since when, and why"
    if not sort:
        inside = ("port", "contact", "node")
        owners = OWNER if colon or wanted == PORT else [s for s in wanted if s not in inside]
        return no_such(_either(owners), owner, [*_names(plant, owners)], [*_aliases(plant, owners)])
    told = f"{address} is a {sort}, not a {_either(wanted)}"
    if sort == "contact":
        return f"{told}; it is mated, worn and locked with its shell {address.rpartition(':')[0]}"
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


def _aliases(plant: Plant, wanted: Collection[str]) -> Iterator[str]:
    for alias, ids in plant.names.owners.items():
        if any(plant.sort_of(one) in wanted for one in ids):
            yield alias
    if "part" in wanted:
        yield from plant.names.parts


def _either(wanted: Iterable[str]) -> str:
    sorts = [sort for sort in wanted if sort != "mobile place" or "place" not in wanted]
    return " or ".join(filter(None, (", ".join(sorts[:-1]), sorts[-1])))


def instead(name: str, known: Collection[str], listed: str = "", also: Collection[str] = ()) -> str:
    """Return the tail of a sentence: the near names, else (after `listed`) those known where they are few.

    Names that are `also` known may be near; they aren't listed.
    """
    if names := near(name, [*known, *also] if also else known):
        return f"; near names: {', '.join(names)}"
    return f"; {listed} {', '.join(known)}" if listed and 0 < len(known) <= _LISTED else ""


def near(name: str, known: Collection[str]) -> tuple[str, ...]:
    """Return up to three known names that a mistyped one may have meant, likeliest first; case doesn't count."""
    from difflib import get_close_matches

    if len(name) > _LONGEST:
        return ()
    meant = name.casefold()
    by_fold: dict[str, str] = {}
    for candidate in known if len(known) <= _MANY else _a_slip_away(meant, known):
        by_fold.setdefault(candidate.casefold(), candidate)
    return tuple(by_fold[fold] for fold in get_close_matches(meant, by_fold, n=3, cutoff=0.7))


def _a_slip_away(name: str, known: Collection[str]) -> Iterator[str]:
    """Yield every known name that differs by one letter too many, too few or changed, or by two that are swapped."""
    by_fold = {candidate.casefold(): candidate for candidate in known}
    letters = dict.fromkeys((*_LETTERS, *"".join(by_fold)))
    for i in range(len(name) + 1):
        start, end = name[:i], name[i:]
        meant = {start + end[1:], start + end[1:2] + end[:1] + end[2:]}
        meant.update(start + letter + rest for letter in letters for rest in (end, end[1:]))
        yield from (by_fold[one] for one in meant if one in by_fold)
