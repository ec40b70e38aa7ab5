"""What a selection names: items of the plant, statically, then filtered by where they are now."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from fnmatch import translate
from functools import lru_cache

from cfgtrack.model.configuration import View, place_line
from cfgtrack.model.part import ROLES, Node, Part, Port
from cfgtrack.model.plant import Plant, owner_of
from cfgtrack.rules.rule import Selection

HOME = "home"
"""Stands for a unit's own home where a place is asked for."""

_NODE_FLAGS = ("source", "expansion", "load", "liquid")


@lru_cache(maxsize=4096)
def _pattern(text: str) -> re.Pattern[str]:
    return re.compile(translate(text))


def fits(name: str, patterns: Iterable[str]) -> bool:
    """Return whether `name` matches any of the shell patterns.

    >>> fits("RACK-2", ["RACK-*"])
    True
    """
    return any(name == p or _pattern(p).match(name) is not None for p in patterns)


def whats(selection: Selection) -> tuple[str, ...]:
    """Return which sorts of item a selection can name: said outright, or told by the fields that it uses."""
    if selection.what:
        return selection.what
    if selection.of:
        return ("port", "node", "unit", "place")
    if any(getattr(selection, flag) is not None for flag in _NODE_FLAGS):
        return ("node",)
    if selection.kinds:
        return ("port",)
    if selection.media:
        return ("port", "node")
    if selection.mobile is not None:
        return ("place",)
    if selection.ids:
        inside = [":" in i for i in selection.ids]
        return ("port", "node", "unit", "place") if len(set(inside)) == 2 else _by_colon(colon=inside[0])
    if selection.parts:
        return ("unit",)
    return ("port", "node", "unit", "place")


def _by_colon(*, colon: bool) -> tuple[str, ...]:
    return ("port", "node") if colon else ("unit", "place")


class Selector:
    """Resolves selections against one plant. What doesn't depend on `it` or on time is resolved once."""

    def __init__(self, plant: Plant) -> None:
        self.plant = plant
        self._bare: dict[int, tuple[Selection, bool]] = {}

    def candidates(self, selection: Selection) -> tuple[str, ...]:
        """Return the items of an unbound selection, whatever `at` says: in the order of the definition."""
        found = self.plant.selected.get(selection)
        if found is None:
            found = self.plant.selected[selection] = tuple(self._enumerate(selection))
        return found

    def items(self, selection: Selection, view: View, it: str | None = None) -> tuple[str, ...]:
        """Return the items that a selection names now, given `it`."""
        if selection.of:
            items: tuple[str, ...] = tuple(refer(view, selection.of, it))
            if not self._is_bare(selection):
                items = tuple(a for a in items if self.matches(selection, a))
        else:
            items = self.candidates(selection)
        if selection.at:
            items = tuple(a for a in items if stands_at(view, owner_of(a), selection.at))
        return items

    def _is_bare(self, selection: Selection) -> bool:
        """Return whether a selection asks for nothing beyond its reference. Remembered by identity: asked often."""
        found = self._bare.get(id(selection))
        if found is None:
            bare = selection == Selection(
                of=selection.of, at=selection.at, may_be_empty=selection.may_be_empty
            )
            found = self._bare[id(selection)] = (selection, bare)
        return found[1]

    def names(self, selection: Selection, address: str, view: View, it: str | None = None) -> bool:
        """Return whether a selection names `address` now."""
        if selection.of:
            return address in self.items(selection, view, it)
        if not self.matches(selection, address):
            return False
        return not selection.at or stands_at(view, owner_of(address), selection.at)

    def matches(self, selection: Selection, address: str) -> bool:
        """Return whether `address` has everything that the selection's fixed fields ask for."""
        owner, colon, name = address.partition(":")
        if not self.plant.has_owner(owner):
            return False
        if selection.ids and not fits(address, selection.ids):
            return False
        if not self._owner_fits(selection, owner):
            return False
        allowed = whats(selection)
        if not colon:
            return self._is_owner_of_sort(allowed, owner) and self._owner_named(selection, owner)
        part = self.plant.part_of(owner)
        port = part.ports.get(name)
        if port is not None:
            return "port" in allowed and self._port_fits(selection, port, owner)
        node = part.nodes.get(name)
        return node is not None and "node" in allowed and self._node_fits(selection, node, owner)

    def _is_owner_of_sort(self, allowed: tuple[str, ...], owner: str) -> bool:
        return ("unit" if owner in self.plant.units else "place") in allowed

    def _owner_fits(self, selection: Selection, owner: str) -> bool:
        """Check the fields that speak of the unit or place an item belongs to."""
        plant = self.plant
        if selection.parts:
            unit = plant.units.get(owner)
            part = unit.part if unit is not None else plant.places[owner].part
            if not fits(part, selection.parts):
                return False
        if selection.places and not (
            owner in plant.places and any(fits(p, selection.places) for p in plant.ancestors(owner))
        ):
            return False
        if selection.mobile is not None:
            return owner in plant.places and plant.places[owner].mobile == selection.mobile
        return True

    def _owner_named(self, selection: Selection, owner: str) -> bool:
        if selection.kinds or selection.media or any(getattr(selection, f) is not None for f in _NODE_FLAGS):
            return False
        if selection.loops and self.plant.loop_of(owner) not in selection.loops:
            return False
        return not selection.tags or bool(self._owner_tags(owner) & set(selection.tags))

    def _owner_tags(self, owner: str) -> frozenset[str]:
        unit = self.plant.units.get(owner)
        own = unit.tags if unit is not None else self.plant.places[owner].tags
        return own | self.plant.part_of(owner).tags

    def _port_fits(self, selection: Selection, port: Port, owner: str) -> bool:
        if any(getattr(selection, flag) is not None for flag in _NODE_FLAGS):
            return False
        if selection.kinds and port.kind not in selection.kinds:
            return False
        if selection.media and (self.plant.kinds[port.kind].medium or "") not in selection.media:
            return False
        return self._tagged(selection, port, owner)

    def _node_fits(self, selection: Selection, node: Node, owner: str) -> bool:
        if selection.kinds or (selection.media and node.medium not in selection.media):
            return False
        is_so = {
            **{role: role in node.roles for role in ROLES},
            "liquid": self.plant.is_liquid(node),
        }
        if any(getattr(selection, f) is not None and getattr(selection, f) != is_so[f] for f in _NODE_FLAGS):
            return False
        return self._tagged(selection, node, owner)

    def _tagged(self, selection: Selection, thing: Port | Node, owner: str) -> bool:
        """Check loop and tags. A port or node has its owner's tags too once the selection is clearly about ports
        or nodes; else naming a tag of units would name all that is inside them.
        """
        if selection.loops and (thing.loop or self.plant.loop_of(owner)) not in selection.loops:
            return False
        if not selection.tags:
            return True
        tags = set(thing.tags)
        if selection.of or set(whats(selection)) <= {"port", "node"}:
            tags |= self._owner_tags(owner)
        return bool(tags & set(selection.tags))

    def _enumerate(self, selection: Selection) -> Iterator[str]:
        """Yield every item that matches, testing ports and nodes once a part where their owner doesn't matter."""
        allowed = whats(selection)
        inside = "port" in allowed or "node" in allowed
        by_part = not selection.loops and not selection.tags
        names: dict[str, tuple[str, ...]] = {}
        whole = "unit" in allowed or "place" in allowed
        for owner in self.plant.owners():
            if whole and self._is_owner_of_sort(allowed, owner) and self.matches(selection, owner):
                yield owner
            if not inside or not self._owner_fits(selection, owner):
                continue
            part = self.plant.part_of(owner)
            if not by_part or part.id not in names:
                names[part.id] = tuple(self._inside(selection, allowed, owner, part))
            for name in names[part.id]:
                address = f"{owner}:{name}"
                if not selection.ids or fits(address, selection.ids):
                    yield address

    def _inside(
        self, selection: Selection, allowed: tuple[str, ...], owner: str, part: Part
    ) -> Iterator[str]:
        """Yield the names of the ports and nodes that match, whatever `ids` says."""
        if "port" in allowed:
            yield from (n for n, port in part.ports.items() if self._port_fits(selection, port, owner))
        if "node" in allowed:
            yield from (n for n, node in part.nodes.items() if self._node_fits(selection, node, owner))


def refer(view: View, reference: str, it: str | None) -> list[str]:
    """Return what one of `REFERENCES` means for `it`. Empty where it means nothing (no mate, nowhere)."""
    if it is None:
        return []
    plant, owner = view.plant, owner_of(it)
    if reference == "it":
        return [it]
    if reference == "peer of it":
        mate = view.state(it).other if plant.port(it) else None
        return [mate] if mate is not None else []
    if reference == "unit of it":
        return [owner]
    if reference == "ports of it":
        return plant.ports_of(owner)
    if reference == "nodes of it":
        return plant.nodes_of(owner)
    if reference == "place of it":
        return place_line(view, owner)[:1]
    raise ValueError(f"unknown reference {reference!r}")


def stands_at(view: View, owner: str, patterns: Iterable[str]) -> bool:
    """Return whether a unit or place is at (or inside) a place that one of `patterns` names.

    ``#tag`` names the places with a tag, ``home`` the unit's own home.
    """
    unit = view.plant.units.get(owner)
    named = tuple(unit.home if p == HOME and unit is not None else p for p in patterns)
    return any(place_fits(view.plant, place, named) for place in place_line(view, owner))


def place_fits(plant: Plant, place: str, patterns: Iterable[str]) -> bool:
    """Return whether a place matches a pattern of its id, or has the tag that a ``#tag`` pattern names."""
    for pattern in patterns:
        if pattern.startswith("#"):
            found = plant.places.get(place)
            if found is not None and pattern[1:] in found.tags:
                return True
        elif fits(place, (pattern,)):
            return True
    return False
