"""What ships with the tool - threads, tightening, fluids - and what follows from it. No database is asked."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from cfgtrack import __version__
from cfgtrack.analysis.tightening import Tightening, tighten
from cfgtrack.analysis.warming import Warming, warm
from cfgtrack.files.reference import TABLES, shipped_table
from cfgtrack.model.quantity import BadQuantity, Quantity, parse_quantity
from cfgtrack.model.reference import Fluid, PropertyClass, Reference, Scatter, Surface, Thread
from cfgtrack.model.trouble import BadInput, Misput, NoAnswer, Problem
from cfgtrack.model.unknown import UNKNOWN, find, no_such


@dataclass(frozen=True, slots=True)
class Shipped:
    """What is told of no moment, but of this version of the tool."""

    version: str = field(default=__version__, init=False)


@dataclass(frozen=True, slots=True)
class ReferenceTable:
    """A table: what is in it, and how many entries."""

    table: str
    what: str
    entries: int


@dataclass(frozen=True, slots=True)
class Overview(Shipped):
    """Which tables there are."""

    tables: tuple[ReferenceTable, ...]


@dataclass(frozen=True, slots=True)
class Listed(Shipped):
    """One table."""

    table: str
    entries: tuple[Reference, ...]


@dataclass(frozen=True, slots=True)
class Found(Shipped):
    """One entry of a table, and what was asked about it: what a torque does to a thread, or warming to a fluid."""

    table: str
    entry: Reference
    tightening: Tightening | None = None
    warming: Warming | None = None


def overview() -> Overview:
    """Return which tables there are."""
    return Overview(
        tuple(ReferenceTable(name, what, len(shipped_table(name))) for name, (_, what) in TABLES.items())
    )


def listed(table: str) -> Listed:
    """Return a table. NoAnswer, with near names, when there is no such table."""
    return Listed(table, tuple(entries(table).values()))


def look_up(
    table: str,
    name: str,
    *,
    surface: str | None = None,
    torque: str | None = None,
    preload: str | None = None,
    warmed: str | None = None,
    rise: str | None = None,
) -> Found:
    """Return an entry of a table. NoAnswer, with near names, when it isn't there; BadInput for no such quantity.

    Misput where what is asked doesn't go together.

    Of a thread with a `surface`: which preload a `torque` gives, or which torque a `preload` takes. Of a fluid: how far
    the pressure rises in a full rigid volume when it is `warmed`, or how far it may warm for a `rise`.
    """
    expect_sense(table, name, surface=surface, torque=torque, preload=preload, warmed=warmed, rise=rise)
    entry = find(table, name, entries(table))
    if surface is not None:
        return Found(table, entry, _tightening(entry, surface, torque=torque, preload=preload))
    if warmed is not None or rise is not None:
        return Found(table, entry, warming=_warming(entry, warmed=warmed, rise=rise))
    return Found(table, entry)


def expect_sense(table: str | None, name: str | None, *, surface: str | None, **asked: str | None) -> None:
    """Raise Misput for what doesn't go with the entry that is named, or with each other."""
    for wanted, options in (("thread", ("torque", "preload")), ("fluid", ("warmed", "rise"))):
        given = [f"--{option}" for option in options if asked[option] is not None]
        if len(given) > 1:
            raise Misput(f"Give {' or '.join(given)}, not both.")
        if given and (table != wanted or name is None):
            raise Misput(f"{given[0]} asks about one {wanted}: `reference {wanted} NAME`.")
    others = _wrong_with(table, name, surface=surface, **asked)
    if (surface is None) != (asked["torque"] is None and asked["preload"] is None):
        sentence = f"--torque or --preload goes with --surface, one of {', '.join(entries('surface'))}."
        if not others:
            raise Misput(sentence)
        raise BadInput([Problem("--surface", "missing", sentence.rstrip(".")), *others])
    if len(others) > 1:
        raise BadInput(others)


def _wrong_with(
    table: str | None, name: str | None, *, surface: str | None, **asked: str | None
) -> list[Problem]:
    """Return all that is wrong with what an entry is asked, each by itself: so that one run names them all."""
    found = list[Problem]()
    if table is not None and table in TABLES and name is not None and name not in entries(table):
        found.append(Problem(name, UNKNOWN, no_such(table, name, entries(table))))
    if surface is not None and surface not in entries("surface"):
        found.append(Problem(surface, UNKNOWN, no_such("surface", surface, entries("surface"))))
    for option in _DIMENSIONS:
        if (text := asked.get(option)) is not None:
            try:
                _quantity(option, text)
            except BadInput as err:
                found += err.problems
    return found


_DIMENSIONS = {
    "torque": "torque",
    "preload": "force",
    "warmed": "temperature difference",
    "rise": "pressure",
}
"""Each option that takes a quantity, and what sort it is of."""


def names(table: str | None = None) -> list[str]:
    """Return the names of the tables, or of the entries of one; of one that isn't there, none."""
    return list(TABLES) if table is None else list(entries(table)) if table in TABLES else []


def entries(name: str) -> Mapping[str, Reference]:
    """Return the entries of a table by id. NoAnswer, with near names, when there is no such table."""
    find("reference table", name, TABLES)
    return shipped_table(name)


def _quantity(option: str, text: str) -> Quantity:
    """Read what was given with an option: nothing below zero makes sense with any of them."""
    try:
        found = parse_quantity(text, dimension=_DIMENSIONS[option])
    except BadQuantity as err:
        raise BadInput(Problem(f"--{option}", "bad-quantity", str(err))) from None
    if found.value < 0:
        why = "cooling is not covered: a full volume that cools draws bubbles" if option == "warmed" else ""
        sentence = why or f"expected nothing below zero, found {text}"
        raise BadInput(Problem(f"--{option}", "out-of-range", sentence))
    return found


def _tightening(entry: Reference, surface: str, *, torque: str | None, preload: str | None) -> Tightening:
    """Work out what a torque, or the torque for a preload, does to a thread."""
    found = find("surface", surface, entries("surface"))
    assert isinstance(entry, Thread)
    assert isinstance(found, Surface)
    scatter = entries("scatter")[found.scatter]
    assert isinstance(scatter, Scatter)
    classes = [one for one in entries("class").values() if isinstance(one, PropertyClass)]
    given = {
        "torque": None if torque is None else _quantity("torque", torque),
        "preload": None if preload is None else _quantity("preload", preload),
    }
    return tighten(entry, found, scatter, classes, **given)


def _warming(entry: Reference, *, warmed: str | None, rise: str | None) -> Warming:
    """Work out the rise of pressure in a full rigid volume, or how far it may warm, from each state of a fluid."""
    assert isinstance(entry, Fluid)
    answer = warm(
        entry,
        warmed=None if warmed is None else _quantity("warmed", warmed),
        rise=None if rise is None else _quantity("rise", rise),
    )
    if not answer.from_:
        sentence = f"nobody here knows how {entry.id} gives under pressure: ask its maker"
        raise NoAnswer(Problem(entry.id, "no-data", sentence))
    if all(one.rise is None for one in answer.from_):
        end = max((state.rises[-1].warmed for state in entry.state if state.rises), key=lambda q: q.value)
        raise NoAnswer(Problem("--warmed", "beyond-table", f"the rises of {entry.id} are known up to {end}"))
    return answer
