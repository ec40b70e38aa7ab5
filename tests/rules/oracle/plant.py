"""The hardware of a case as plain dictionaries: who owns which port and node, which links there are inside."""

from __future__ import annotations

import tomllib
from fnmatch import fnmatchcase
from pathlib import Path
from typing import Any, NamedTuple

import pint

UREG: pint.UnitRegistry[float] = pint.UnitRegistry()
SECOND = 1_000_000
SHIPPED = tomllib.loads((Path(__file__).parents[3] / "shared" / "kinds.toml").read_text(encoding="utf-8"))

Table = dict[str, Any]


class Link(NamedTuple):
    """A link inside one owner, by the full ids of its ends and its gate."""

    a: str
    b: str
    gate: str | None
    one_way: bool


def si(text: str | float) -> float:
    """Return a quantity in SI base units; a bare number is itself.

    >>> si("2 min"), si("0 degC"), si(0.5)
    (120.0, 273.15, 0.5)
    """
    if isinstance(text, (int, float)):
        return float(text)
    number, _, unit = text.partition(" ")
    if not unit:
        return float(number)
    return float(UREG.Quantity(float(number), unit).to_base_units().magnitude)


def micros(text: str) -> int:
    """Return a duration in microseconds, also one in several parts.

    >>> micros("1 h 30 min")
    5400000000
    """
    words = text.split()
    pairs = zip(words[::2], words[1::2], strict=True)
    return round(sum(si(f"{number} {unit}") for number, unit in pairs) * SECOND)


def listed(value: Any) -> list[Any]:
    """Return what may be told once or as a list as a list."""
    return list(value) if isinstance(value, (list, tuple)) else [value]


def like(text: str, patterns: Any) -> bool:
    """Return whether a text is like any of the patterns."""
    return any(fnmatchcase(text, pattern) for pattern in listed(patterns))


class Plant:
    """What is defined: media, kinds, parts, units, places, ports, nodes and the links inside."""

    def __init__(self, hardware: Table) -> None:
        """Take a parsed hardware file; kinds and media that ship with the tool are added."""
        self.hardware = hardware
        self.media: dict[str, Table] = {m["id"]: m for m in [*SHIPPED["medium"], *hardware.get("medium", [])]}
        self.kinds: dict[str, Table] = {k["id"]: k for k in [*SHIPPED["kind"], *hardware.get("kind", [])]}
        self.parts: dict[str, Table] = {p["id"]: p for p in hardware.get("part", [])}
        self.units: dict[str, Table] = {u["id"]: u for u in hardware.get("unit", [])}
        self.places: dict[str, Table] = {p["id"]: p for p in hardware.get("place", [])}
        self.ports: dict[str, Table] = {}
        self.nodes: dict[str, Table] = {}
        self.owner: dict[str, str] = {}
        self.links: list[Link] = []
        self.chosen: dict[str, list[str]] = {}
        for owner, told in [*self.units.items(), *self.places.items()]:
            part = self.parts.get(told.get("part", ""), {})
            for port in part.get("port", []):
                self.ports[f"{owner}:{port['name']}"] = port
                self.owner[f"{owner}:{port['name']}"] = owner
            for node in part.get("node", []):
                self.nodes[f"{owner}:{node['name']}"] = node
                self.owner[f"{owner}:{node['name']}"] = owner
            for a, b, *gate in part.get("links", []):
                self.links.append(_link(owner, a, b, gate[0] if gate else None, one_way=False))
            for link in part.get("link", []):
                one_way = link.get("one_way", False)
                self.links.append(_link(owner, link["a"], link["b"], link.get("gate"), one_way=one_way))

    def told(self, owner: str) -> Table:
        """Return what is told of a unit or place."""
        return self.units.get(owner) or self.places[owner]

    def part(self, owner: str) -> Table:
        """Return the part of a unit or place, empty where it has none."""
        return self.parts.get(self.told(owner).get("part", ""), {})

    def kind(self, port: str) -> Table:
        """Return a port's kind."""
        return self.kinds[self.ports[port]["kind"]]

    def medium(self, item: str) -> str | None:
        """Return the medium of a port or node, None for what has none."""
        if item in self.ports:
            return self.kind(item).get("medium")
        return self.nodes[item]["medium"] if item in self.nodes else None

    def tags(self, item: str) -> set[str]:
        """Return an item's tags: its own, and its owner's and their part's."""
        owner = self.owner.get(item, item)
        own = self.ports.get(item) or self.nodes.get(item) or {}
        every = [own, self.told(owner), self.part(owner)]
        return {tag for table in every for tag in table.get("tags", [])}

    def items(self) -> list[str]:
        """Return every item that a selection may name."""
        return sorted({*self.units, *self.places, *self.ports, *self.nodes})

    def what(self, item: str) -> str:
        """Return what sort of item it is."""
        for name, items in (("unit", self.units), ("place", self.places), ("port", self.ports)):
            if item in items:
                return name
        return "node"

    def at_least(self, port: str, status: str, rung: str) -> bool:
        """Return whether a status stands on a rung of the port's ladder, or above."""
        ladder = self.kind(port)["statuses"]
        named = self.kind(port).get(rung)
        return named is not None and ladder.index(status) >= ladder.index(named)


def _link(owner: str, a: str, b: str, gate: str | None, *, one_way: bool) -> Link:
    return Link(f"{owner}:{a}", f"{owner}:{b}", f"{owner}:{gate}" if gate else None, one_way)
