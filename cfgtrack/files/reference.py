"""Reads the reference data that ships with cfgtrack: threads, what tightening rests on, liquids.

Each entry has its source and how that was come by (`TRUST`). Values are kept as they are written and in SI, and a value
of a wrong dimension is an error of the file like any other.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import cache
from math import nan
from types import MappingProxyType

from cfgtrack.files.source import in_order, parse_toml
from cfgtrack.files.table import Table
from cfgtrack.folders import top_folder
from cfgtrack.model.quantity import Quantity, from_si, parse_quantity
from cfgtrack.model.reference import (
    Fluid,
    FluidState,
    Pass,
    Proof,
    PropertyClass,
    Reference,
    Rise,
    Scatter,
    Surface,
    Thread,
    TighteningPattern,
    TurnOfNut,
)
from cfgtrack.model.trouble import BadInput, Problems
from cfgtrack.physics.bolts import stress_area_metric, stress_area_unified

TRUST = ("seen in source", "seen in a secondary source", "from memory", "computed")
"""How an entry was come by."""

FORMS = ("metric", "unified")
"""The forms of screw thread."""

STRESS_AREA = MappingProxyType(
    {
        "metric": "ISO 898-1 (edition not seen), nominal stress area",
        "unified": "ASME B1.1 (edition not seen), tensile stress area",
    }
)
"""Form of thread to where the formula of its stress area is from."""

ORDERS = ("cross", "circular")
"""The orders in which the bolts of a joint are tightened."""


Tables = dict[str, dict[str, Reference]]
"""Table name to id to entry."""

_UNREAD = Quantity(nan, "", nan, "count")
"""Stands for a value that isn't there or is wrong: that has been noted, and nothing is returned of such a file."""


def _quantity(table: Table, name: str, dimension: str) -> Quantity:
    found = _maybe(table, name, dimension, required=True)
    return _UNREAD if found is None else found


def _maybe(table: Table, name: str, dimension: str, *, required: bool = False) -> Quantity | None:
    value = table.get(name, required=required)
    if value is not None and not isinstance(value, str):
        table.wrong(name, "a number with its unit, in quotes", value)
        return None
    if value is None or table.measured(name, value, dimension) is None:
        return None
    return parse_quantity(value, dimension=dimension)


def _whole(table: Table, name: str) -> int:
    table.get(name, required=True)
    return table.count(name) or 0


def _origin(table: Table) -> tuple[str, str, str]:
    """Return what every entry says: title, source, trust. A thread takes it from its series."""
    table.ident("id")
    title, source = table.text("title", required=True), table.text("source", required=True)
    return title, source, table.reference("trust", "trust", TRUST, required=True)


def _read_threads(root: Table, tables: Tables) -> None:
    for series in root.tables("series"):
        origin = _origin(series)
        form = series.reference("form", "form", FORMS, required=True)
        for table in series.tables("threads"):
            name = _id(table, tables["thread"])
            diameter = _quantity(table, "diameter", "length")
            if form == "unified":
                threads = _whole(table, "threads_per_inch")
                pitch = parse_quantity(f"1/{threads} in", dimension="length") if threads else _UNREAD
            else:
                threads, pitch = 0, _quantity(table, "pitch", "length")
            table.finish()
            if not name or not 0 < pitch.value < diameter.value:
                if pitch.value <= 0 or pitch.value >= diameter.value:
                    sentence = f"expected more than nothing and less than the diameter, {diameter}"
                    table.note("pitch", "out-of-range", sentence)
                continue
            area, unit = (stress_area_unified, "in^2") if form == "unified" else (stress_area_metric, "mm^2")
            stress_area = from_si(
                area(diameter=diameter.value, pitch=pitch.value), unit=unit, dimension="area"
            )
            tables["thread"][name] = Thread(
                name,
                *origin,
                form,
                diameter,
                pitch,
                threads or None,
                stress_area,
                STRESS_AREA.get(form, ""),
            )
        series.finish()


def _read_tightening(root: Table, tables: Tables) -> None:
    for name, read in _TIGHTENING.items():
        for table in root.tables(name):
            entry_id = _id(table, tables[name])
            entry = read(table, (entry_id, *_origin(table)))
            table.finish()
            if entry_id:
                tables[name][entry_id] = entry
    for table in root.tables("surface"):
        scatter = table.text("scatter")
        if scatter:
            table.is_known("scatter", "scatter", scatter, tables["scatter"])


def _read_surface(table: Table, origin: tuple[str, str, str, str]) -> Reference:
    return Surface(*origin, _quantity(table, "nut_factor", "ratio"), table.text("scatter", required=True))


def _read_scatter(table: Table, origin: tuple[str, str, str, str]) -> Reference:
    return Scatter(*origin, _quantity(table, "scatter", "ratio"))


def _read_class(table: Table, origin: tuple[str, str, str, str]) -> Reference:
    form = table.reference("form", "form", FORMS, required=True)
    proof = []
    for one in table.tables("proof"):
        proof.append(
            Proof(
                _quantity(one, "stress", "pressure"),
                _maybe(one, "over", "length"),
                _quantity(one, "up_to", "length"),
            )
        )
        one.finish()
    if not proof:
        table.note("proof", "missing", "a class needs at least one proof stress")
    return PropertyClass(*origin, form, tuple(proof), table.flag("by_strain"))


def _read_pass(table: Table, origin: tuple[str, str, str, str]) -> Reference:
    return Pass(
        *origin,
        _maybe(table, "share", "ratio"),
        table.reference("order", "order", ORDERS),
        _maybe(table, "after", "time"),
    )


def _read_pattern(table: Table, origin: tuple[str, str, str, str]) -> Reference:
    order = table.get("order", required=True)
    if order is not None and not _is_order(order):
        table.note("order", "not-an-order", "expected the numbers from 1 on, each of them once")
        order = None
    return TighteningPattern(*origin, tuple(order or ()))


def _is_order(value: object) -> bool:
    """Return whether a value is a list of the numbers from 1 on, each of them once."""
    if not isinstance(value, list) or not value or not all(type(one) is int for one in value):
        return False
    return sorted(value) == list(range(1, len(value) + 1))


def _read_turn(table: Table, origin: tuple[str, str, str, str]) -> Reference:
    return TurnOfNut(
        *origin, _quantity(table, "angle", "angle"), table.count("over") or 0, _whole(table, "up_to")
    )


def _read_fluids(root: Table, tables: Tables) -> None:
    for table in root.tables("fluid"):
        name = _id(table, tables["fluid"])
        origin = (name, *_origin(table))
        freezes = _quantity(table, "freezes", "temperature")
        states = tuple(_read_state(one) for one in table.tables("state"))
        table.finish()
        if not states:
            table.note("state", "missing", "a fluid needs at least one state")
        if name:
            tables["fluid"][name] = Fluid(*origin, freezes, states)


def _read_state(table: Table) -> FluidState:
    rises: list[Rise] = []
    for one in table.tables("rises"):
        found = Rise(_quantity(one, "warmed", "temperature difference"), _quantity(one, "rise", "pressure"))
        before = rises[-1] if rises else None
        if before is not None and not (
            found.warmed.value > before.warmed.value and found.rise.value > before.rise.value
        ):
            one.note("", "not-rising", "expected more warming and a higher rise than in the one before")
        rises.append(found)
        one.finish()
    state = FluidState(
        _quantity(table, "temperature", "temperature"),
        _maybe(table, "pressure", "pressure"),
        _quantity(table, "density", "density"),
        _quantity(table, "expansivity", "expansivity"),
        _maybe(table, "compressibility", "compressibility"),
        tuple(rises),
    )
    table.finish()
    return state


def _id(table: Table, taken: Mapping[str, Reference]) -> str:
    name = table.ident("id")
    if name in taken:
        table.note("id", "duplicate", f"there is {name} already")
        return ""
    return name


_TIGHTENING: Mapping[str, Callable[[Table, tuple[str, str, str, str]], Reference]] = {
    "surface": _read_surface,
    "scatter": _read_scatter,
    "class": _read_class,
    "pass": _read_pass,
    "pattern": _read_pattern,
    "turn": _read_turn,
}

_FILES: Mapping[str, tuple[tuple[str, ...], Callable[[Table, Tables], None]]] = {
    "threads.toml": (("thread",), _read_threads),
    "tightening.toml": (tuple(_TIGHTENING), _read_tightening),
    "fluids.toml": (("fluid",), _read_fluids),
}

TABLES: Mapping[str, tuple[str, str]] = MappingProxyType(
    {
        "thread": ("threads.toml", "screw threads: diameter, pitch, stress area"),
        "surface": ("tightening.toml", "surfaces of bolts: nut factor K"),
        "scatter": ("tightening.toml", "how far preloads differ, by the way of tightening"),
        "class": ("tightening.toml", "property classes and grades: proof stress"),
        "pass": ("tightening.toml", "passes round the bolts of a joint"),
        "pattern": ("tightening.toml", "cross patterns of 4, 8 and 12 bolts"),
        "turn": ("tightening.toml", "turns of the nut past snug"),
        "fluid": (
            "fluids.toml",
            "liquids: expansion, compressibility, freezing, rise of pressure when shut in",
        ),
    }
)
"""Table name to (file in shared/, what is in it)."""


def parse_reference(name: str, text: str) -> Tables:
    """Read the text of a reference file, one of those that `TABLES` names, into its tables.

    Raises BadInput with every problem of the file.
    """
    problems = Problems()
    names, read = _FILES[name]
    tables: Tables = {table: {} for table in names}
    document = parse_toml(name, text, problems)
    if document is not None:
        root = Table(document, (), document.data, problems)
        root.text("title", required=True)
        read(root, tables)
        root.finish()
    if problems:
        raise BadInput(in_order(problems.found, [name]))
    return tables


@cache
def _shipped(file: str) -> Tables:
    path = top_folder("shared") / file
    return parse_reference(file, path.read_text(encoding="utf-8"))


def shipped_table(name: str) -> Mapping[str, Reference]:
    """Return a table of `TABLES` as it ships with cfgtrack, by id in the order of the file."""
    return MappingProxyType(_shipped(TABLES[name][0])[name])
