"""pandapower JSON: power nets, as `pandapower.to_json` writes them.

Read without pandapower: its own reader imports and runs whatever a file names. The tables that say what is connected
to what have had the same columns since pandapower 2.0.
"""

from __future__ import annotations

import json
from collections import Counter, defaultdict
from collections.abc import Mapping
from dataclasses import replace
from itertools import pairwise
from pathlib import Path
from typing import Any

from cfgtrack.files.foreign.drawing import JOINTS, Drawing, clean, star, through
from cfgtrack.files.foreign.reader import Reader, raw_of
from cfgtrack.model.naming import folded, is_alias
from cfgtrack.model.part import LOAD, SOURCE, InternalLink, Node, Part, Port
from cfgtrack.model.trouble import BadInput, Problem, Problems

_MEDIUM = "power"
GRID = "grid"
"""The tag of a node by which an external grid feeds, or a generator that holds the frequency."""

_BRANCHES = {
    "line": ("from_bus", "to_bus"),
    "trafo": ("hv_bus", "lv_bus"),
    "trafo3w": ("hv_bus", "mv_bus", "lv_bus"),
    "impedance": ("from_bus", "to_bus"),
}
"""The tables of what leads from bus to bus, each with its columns of buses."""

_FEEDS = ("ext_grid", "gen", "sgen", "storage")
_DRAWS = ("load", "asymmetric_load", "motor", "shunt", "ward", "xward")
_SWITCHED = {"l": "line", "t": "trafo", "t3": "trafo3w"}
"""What a switch stands at one end of, by what its table says of it; else between two buses."""

Row = Mapping[str, Any]


class Read(Reader):
    """Reads pandapower JSON."""

    form = "pandapower JSON"
    expects = '{"_class": "pandapowerNet", ...}'

    def begins(self, head: str) -> bool:
        """Return whether a pandapower net is said to follow."""
        return head.lstrip().startswith("{") and "pandapowerNet" in head

    def read(self, path: Path) -> Drawing:
        """Return the buses of a net, what leads between them, and what is at them."""
        problems = Problems()
        net = _Net(path, problems)
        drawing = net.drawing()
        problems.raise_if_any()
        if not drawing.units:
            raise BadInput(Problem(str(path), "empty", "expected buses, found none"))
        return drawing


class _Net:
    """One net, turned into units and joints."""

    def __init__(self, path: Path, problems: Problems) -> None:
        self.path = path
        self.problems = problems
        self.net = self._object()
        self.tables: dict[str, dict[str, Row]] = {}
        self.found = Drawing("pandapower JSON", title=clean(str(self.net.get("name") or "")))
        self.at_bus: dict[str, list[str]] = defaultdict(list)
        """Of each bus the ports that are joined to it."""
        self.parted: dict[str, list[str]] = defaultdict(list)

    def _object(self) -> dict[str, Any]:
        try:
            data = json.loads(raw_of(self.path), parse_constant=lambda _: None)
        except (ValueError, RecursionError) as err:
            line = getattr(err, "lineno", 0)
            where = f"{self.path}:{line}" if line else str(self.path)
            self.problems.add(
                where, "syntax", f"expected JSON: {getattr(err, 'msg', None) or type(err).__name__}"
            )
            return {}
        found = data.get("_object") if isinstance(data, dict) else None
        if not isinstance(found, dict) or data.get("_class") != "pandapowerNet":
            self.problems.add(str(self.path), "wrong-kind", f"expected {Read.expects}")
            return {}
        return found

    def drawing(self) -> Drawing:
        """Return what the net has become."""
        for name in ("bus", "switch", *_BRANCHES, *_FEEDS, *_DRAWS):
            self.tables[name] = self._table(name)
        switches = self._switches()
        for sort, columns in _BRANCHES.items():
            for index, row in self.tables[sort].items():
                self._branch(sort, index, row, columns, switches.pop((sort, index), {}))
        for index, row in self.tables["switch"].items():
            if row.get("et") == "b":
                self._switch(index, row)
        for sort in (*_FEEDS, *_DRAWS):
            for index, row in self.tables[sort].items():
                self._item(sort, index, row)
        for index, row in self.tables["bus"].items():
            self._bus(index, row)
        for sort, index in switches:
            self.found.left_out["switches at what isn't there"].append(f"{sort} {index}")
        for bus in self.at_bus.keys() - self.tables["bus"].keys():
            self.found.left_out["joints to buses that aren't there"] += [
                f"{bus}: {p}" for p in self.at_bus[bus]
            ]
        self._leave_out()
        return self.found

    # --- tables ---

    def _table(self, name: str) -> dict[str, Row]:
        """Return the rows of a table by their index, noting what is none."""
        frame = self.net.get(name)
        if frame is None:
            return {}
        try:
            text = frame["_object"]
            split = json.loads(text) if isinstance(text, str) else text
            columns, index, data = split["columns"], split["index"], split["data"]
            named = zip(index, data, strict=True)
            rows: dict[str, Row] = {_key(i): dict(zip(columns, row, strict=True)) for i, row in named}
        except (KeyError, TypeError, ValueError, RecursionError):
            self.problems.add(
                str(self.path), "wrong-type", f"{name}: expected a table of columns, index and data"
            )
            return {}
        needed = {"switch": ("bus", "element", "et", "closed"), "bus": (), **_BRANCHES}.get(name, ("bus",))
        for column in needed:
            if rows and column not in columns:
                self.problems.add(str(self.path), "missing-column", f"{name}: the column {column} is missing")
                return {}
        return rows

    def _switches(self) -> dict[tuple[str, str], dict[str, list[str]]]:
        """Return the switches in branches: by the branch's sort and index, then by its bus."""
        found: dict[tuple[str, str], dict[str, list[str]]] = defaultdict(lambda: defaultdict(list))
        for index, row in self.tables["switch"].items():
            sort = _SWITCHED.get(str(row["et"]))
            if sort is not None:
                found[sort, _key(row["element"])][_key(row["bus"])].append(index)
            elif row["et"] != "b":
                self.found.left_out["switches of a type that isn't known"].append(f"{index}: {row['et']}")
        return dict(found)

    # --- units ---

    def _branch(
        self, sort: str, index: str, row: Row, columns: tuple[str, ...], switches: dict[str, list[str]]
    ) -> None:
        """Take in what leads from bus to bus: a row of switches to its body from each end."""
        buses = [_key(row[column]) for column in columns]
        ports = "ABC"[: len(columns)]
        gates: dict[str, list[str]] = {port: [] for port in ports}
        set_by: dict[str, str] = {}
        for bus, at_it in switches.items():
            if bus not in buses:
                self.found.left_out["switches at no end of their branch"] += at_it
                continue
            port = ports[buses.index(bus)]
            for switch in at_it:
                gate = f"S{port}{len(gates[port]) + 1 if gates[port] else ''}"
                gates[port].append(gate)
                set_by[gate] = switch
        called = f"{sort}-{index}".upper()
        unit = self.found.unit(
            sort,
            index,
            _between(gates, {gate: _called(self.tables["switch"][one]) for gate, one in set_by.items()}),
            called=called,
            title=_name(sort, index, row),
            aliases=_called(row),
            attributes=_told(row),
        )
        self.found.came[sort] += 1
        for gate, switch in set_by.items():
            self._set(switch, f"{unit}:{gate}")
        for port, bus in zip(ports, buses, strict=True):
            self._at(bus, f"{unit}:{port}", row, unit)

    def _switch(self, index: str, row: Row) -> None:
        """Take in a switch between two buses."""
        unit = self.found.unit("switch", index, through(_MEDIUM, gates=["S"], body=False),
                               called=f"SWITCH-{index}", title=_name("switch", index, row),
                               aliases=_called(row))  # fmt: skip
        self.found.came["switch between buses"] += 1
        self._set(index, f"{unit}:S")
        self._at(_key(row["bus"]), f"{unit}:A", {}, unit)
        self._at(_key(row["element"]), f"{unit}:B", {}, unit)

    def _set(self, index: str, port: str) -> None:
        row = self.tables["switch"][index]
        self.found.ids["switch port", index] = port
        self.found.statuses[port] = "on" if row.get("closed") is True else "off"
        if not isinstance(row.get("closed"), bool):
            self.found.guessed["taken to be off: the net doesn't say"].append(port)

    def _item(self, sort: str, index: str, row: Row) -> None:
        """Take in what feeds or draws at one bus."""
        is_grid = sort == "ext_grid" or (sort == "gen" and row.get("slack") is True)
        role = SOURCE if sort in _FEEDS else LOAD
        shape = star(_MEDIUM, ["A"], roles=(role,), tags={GRID} if is_grid else ())
        unit = self.found.unit(
            sort,
            index,
            shape,
            called=f"{sort}-{index}".upper(),
            title=_name(sort, index, row),
            aliases=_called(row),
            attributes=_told(row),
        )
        self.found.came[sort] += 1
        if role == SOURCE and not is_grid:
            self.found.guessed["taken for a source: it may keep its bus alive"].append(unit)
        self._at(_key(row["bus"]), f"{unit}:A", row, unit)

    def _at(self, bus: str, port: str, row: Row, unit: str) -> None:
        """Have a port joined to a bus, unless one of them is out of service."""
        if row.get("in_service", True) is False:
            if unit not in self.parted["not connected: out of service"]:
                self.parted["not connected: out of service"].append(unit)
            return
        self.at_bus[bus].append(port)

    def _bus(self, index: str, row: Row) -> None:
        ports = self.at_bus.get(index, [])
        is_dead = row.get("in_service", True) is False
        names = [f"P{n}" for n in range(1, len(ports) + 1)]
        unit = self.found.unit(
            "bus",
            index,
            star(_MEDIUM, names),
            title=_name("bus", index, row),
            aliases=_called(row),
            attributes=_told(row),
        )
        self.found.came["bus"] += 1
        if is_dead:
            self.parted["not connected: a bus out of service"].append(unit)
            return
        for name, port in zip(names, ports, strict=True):
            self.found.join(port, f"{unit}:{name}")

    def _leave_out(self) -> None:
        self.found.guessed.update(self.parted)
        kept = {"bus", "switch", *_BRANCHES, *_FEEDS, *_DRAWS}
        for name, frame in self.net.items():
            if name in kept or name.startswith(("_", "res_")) or not isinstance(frame, dict):
                continue
            rows = len(self._table_of(frame))
            if rows:
                self.found.left_out[clean(name)] += [f"{rows} in all"]
        self.found.left_out["of every item"] = ["impedances", "limits", "coordinates", "results"]

    def _table_of(self, frame: Mapping[str, Any]) -> list[Any]:
        text = frame.get("_object")
        try:
            split = json.loads(text) if isinstance(text, str) else text
        except (ValueError, RecursionError):
            return []
        data = split.get("data") if isinstance(split, dict) else None
        return data if isinstance(data, list) else []


def _between(gates: Mapping[str, list[str]], called: Mapping[str, list[str]]) -> Part:
    """Return the shape of a branch: its body, and to it from each port the gates that stand there, in a row.

    `called`: how the net calls each gate.
    """
    ports = {port: Port(port, JOINTS[_MEDIUM]) for port in gates}
    nodes = {"body": Node("body", _MEDIUM)}
    links: list[InternalLink] = []
    for port, names in gates.items():
        ports.update({name: Port(name, "switch") for name in names})
        inner = [f"n{name}" for name in names[1:]]
        nodes.update({name: Node(name, _MEDIUM) for name in inner})
        row = pairwise([port, *inner, "body"])
        links += [InternalLink(a, b, gate) for (a, b), gate in zip(row, names or [""], strict=True)]
    often = Counter(folded(clean(one)) for names in called.values() for one in names)
    for gate, names in called.items():
        told = list(map(clean, names))
        free = (
            one for one in told if often[folded(one)] == 1 and is_alias(one) and one not in {*ports, *nodes}
        )
        ports[gate] = replace(ports[gate], title=" ".join(told), aliases=tuple(free))
    return Part("", ports=ports, nodes=nodes, links=tuple(links))


def _key(value: Any) -> str:
    """Return an index as text: 3 and 3.0 are the same bus."""
    if isinstance(value, float) and value.is_integer():
        value = int(value)
    return clean(str(value))


def _name(sort: str, index: str, row: Row) -> str:
    name = row.get("name")
    return clean(f"{sort} {index}: {name}" if name not in (None, "") else f"{sort} {index}")


def _called(row: Row) -> list[str]:
    name = row.get("name")
    return [] if name in (None, "") else [str(name)]


_TOLD = {
    "vn_kv": ("rated voltage", "kV"),
    "length_km": ("length", "km"),
    "sn_mva": ("rated power", "MV*A"),
    "max_i_ka": ("rated current", "kA"),
    "std_type": ("type", ""),
}
"""What is told of items, by its column: as which attribute, and in which unit."""


def _told(row: Row) -> dict[str, str]:
    """Return what a row tells of its item, by the attribute's name."""
    found = {}
    for column, (name, unit) in _TOLD.items():
        value = row.get(column)
        if isinstance(value, str) or (isinstance(value, (int, float)) and not isinstance(value, bool)):
            found[name] = f"{value} {unit}".strip()
    return found
