"""EPANET input files (INP): water networks, read by `wntr`, which the extra `epanet` brings."""

from __future__ import annotations

import math
import tempfile
import warnings
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

from cfgtrack.files.foreign.drawing import SHUT, Drawing, said, star, through
from cfgtrack.files.foreign.reader import Reader, missing, raw_of
from cfgtrack.model.part import EXPANSION, LOAD, SOURCE, Part
from cfgtrack.model.trouble import BadInput, Problem

_MEDIUM = "fluid"
_ONE_WAY = {"PRV": "pressure reducing", "PSV": "pressure sustaining"}
"""Valves that let nothing back: EPANET 2.2 User Manual, 3.1, valves."""


class Read(Reader):
    """Reads EPANET INP."""

    form = "EPANET INP"
    expects = "[TITLE], [JUNCTIONS], ..."

    def begins(self, head: str) -> bool:
        """Return whether a section of a network stands in the first text."""
        lines = {line.strip().upper() for line in head.splitlines() if line.lstrip().startswith("[")}
        return bool(lines & {"[JUNCTIONS]", "[RESERVOIRS]", "[PIPES]"})

    def read(self, path: Path) -> Drawing:
        """Return the junctions, tanks, reservoirs, pipes, pumps and valves of a network."""
        model = _model(path)
        drawing = _Water(model).drawing()
        if not drawing.units:
            raise BadInput(Problem(str(path), "empty", "expected junctions and pipes, found none"))
        return drawing


def _model(path: Path) -> Any:
    """Return wntr's model of a network. BadInput for what it can't read, in its own words."""
    text = raw_of(path).decode("utf-8", "replace")
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            import wntr
    except ImportError:
        raise missing(path, Read.form, "wntr", "epanet") from None
    with tempfile.TemporaryDirectory() as folder, warnings.catch_warnings():
        warnings.simplefilter("ignore")
        copy = Path(folder) / "network.inp"  # whatever the file is encoded in
        copy.write_text(text, encoding="utf-8")
        try:
            return wntr.network.WaterNetworkModel(str(copy))
        except Exception as err:  # noqa: BLE001 - of what it can't read it raises whatever comes up where it stumbles
            what = " ".join(str(err).split())[:200].replace(str(copy), path.name)
            raise BadInput(
                Problem(str(path), "syntax", f"wntr can't read it: {what or type(err).__name__}")
            ) from None


class _Water:
    """One network, turned into units and joints."""

    def __init__(self, model: Any) -> None:
        self.model = model
        title = " ".join(str(line) for line in (model.title or ())[:1])
        self.found = Drawing("EPANET INP", title=title)

    def drawing(self) -> Drawing:
        """Return what the network has become."""
        ends: dict[str, list[tuple[str, str]]] = defaultdict(list)
        for name, link in self.model.links():
            unit = self._link(str(name), link)
            ends[str(link.start_node_name)].append((unit, "A"))
            ends[str(link.end_node_name)].append((unit, "B"))
        for name, node in self.model.nodes():
            mine = ends[str(name)]
            unit = self._node(str(name), node, len(mine))
            for number, (link_unit, half) in enumerate(mine, 1):
                self.found.join(f"{link_unit}:{half}", f"{unit}:P{number}")
        self._leave_out()
        return self.found

    def _link(self, name: str, link: Any) -> str:
        sort = str(link.link_type).lower()
        self.found.came[f"{sort}s"] += 1
        shut = str(link.initial_status) == "Closed"
        is_valve = sort == "valve"
        one_way = bool(getattr(link, "check_valve", False)) or sort == "pump"
        if is_valve and link.valve_type in _ONE_WAY:
            one_way = True
        shape = through(
            _MEDIUM,
            gates=["V"] if is_valve or shut else [],
            one_way=one_way,
            litres=_volume(link) if sort == "pipe" else None,
            body=sort == "pipe",
        )
        if sort == "pipe":
            told = {"diameter": _metres(link.diameter), "length": _metres(link.length)}
            title = f"pipe, {told['diameter']} wide, {told['length']} long"
            shape = replace(shape, title=title, attributes=said(told))
        unit = self.found.unit(sort if not is_valve else f"{link.valve_type} valve".lower(), name, shape,
                               called=f"{sort}-{name}".upper(), title=f"{sort} {name}")  # fmt: skip
        self.found.ids["link", name] = unit
        if is_valve or shut:
            self.found.statuses[f"{unit}:V"] = SHUT["valve"] if shut else "open"
        if shut and not is_valve:
            self.found.guessed[f"given a valve V that is shut, as the {sort} is closed"].append(unit)
        if one_way:
            self.found.guessed[f"taken to pass one way only ({_why(sort, link)})"].append(unit)
        if is_valve:
            self.found.guessed[
                "taken for a valve that is open or shut: what it regulates is left out"
            ].append(unit)
        return unit

    def _node(self, name: str, node: Any, ports: int) -> str:
        sort = str(node.node_type).lower()
        self.found.came[f"{sort}s"] += 1
        roles = {"tank": {EXPANSION}, "reservoir": {SOURCE, EXPANSION}}.get(sort, set())
        if sort == "junction" and any(d for d in _demands(node)):
            roles = {LOAD}
        litres = _tank(node) if sort == "tank" else None
        shape: Part = star(_MEDIUM, [f"P{n}" for n in range(1, ports + 1)], litres=litres, roles=roles)
        height = {"elevation": _metres(node.elevation)} if hasattr(node, "elevation") else {}
        unit = self.found.unit(sort, name, shape, title=f"{sort} {name}", attributes=height)
        self.found.ids["node", name] = unit
        if sort == "tank":
            self.found.guessed["taken to have a free surface, so room to expand"].append(unit)
        if sort == "reservoir":
            self.found.guessed[
                "taken for a source, and to have room to expand: its level never changes"
            ].append(unit)
        return unit

    def _leave_out(self) -> None:
        model, left = self.model, self.found.left_out
        for what, names in (
            ("patterns", model.pattern_name_list),
            ("curves", model.curve_name_list),
            ("controls", model.control_name_list),
            ("sources of quality", model.source_name_list),
        ):
            if names:
                left[what] = [str(name) for name in names]
        left["of every item"] = [
            "coordinates",
            "demand",
            "roughness",
            "minor loss",
            "quality",
            "setting",
        ]


def _why(sort: str, link: Any) -> str:
    if sort == "pump":
        return "a pump"
    return f"a {_ONE_WAY[link.valve_type]} valve" if sort == "valve" else "it has a check valve"


def _demands(node: Any) -> Iterator[float]:
    for demand in node.demand_timeseries_list:
        yield demand.base_value


def _volume(pipe: Any) -> float | None:
    return _litres(math.pi / 4 * pipe.diameter**2 * pipe.length)


def _tank(tank: Any) -> float | None:
    return _litres(math.pi / 4 * tank.diameter**2 * tank.max_level)


def _litres(cubic_metres: float) -> float | None:
    return cubic_metres * 1000 if math.isfinite(cubic_metres) and cubic_metres > 0 else None


def _metres(length: float) -> str:
    return f"{length:.6g} m" if math.isfinite(length) else "unknown"
