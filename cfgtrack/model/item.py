"""Definition items as JSON objects, and back: the form in which the journal keeps them.

Only what differs from the default is written, and sets in alphabetical order.

>>> from cfgtrack.model.plant import Unit
>>> item_to_json("unit", Unit("PUMP-1", part="pump", tags=frozenset({"spare", "old"})))
{'id': 'PUMP-1', 'part': 'pump', 'tags': ['old', 'spare']}
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import MISSING, Field, fields, replace
from typing import Any

from cfgtrack.model.kind import Kind, Medium, Move
from cfgtrack.model.part import ROLES, InternalLink, Node, Part, Port, Thermal
from cfgtrack.model.plant import Place, Unit

Item = Medium | Kind | Part | Unit | Place

_CLASSES: dict[str, type] = {"medium": Medium, "kind": Kind, "part": Part, "unit": Unit, "place": Place}


def item_to_json(sort: str, item: Item) -> dict[str, Any]:
    """Return a definition item as a JSON object. `sort` is one of `definition.SORTS`; TypeError if not so."""
    if not isinstance(item, _CLASSES[sort]):
        raise TypeError(f"a {type(item).__name__} is no {sort}")
    return _object(item)


def item_from_json(sort: str, data: Mapping[str, Any]) -> Item:
    """Return the item of an object made by `item_to_json`. TypeError when a field is unknown or missing."""
    return _READERS[sort](data)


def _object(item: Any) -> dict[str, Any]:
    if isinstance(item, Node):
        # Each role has a field of its own, as in a definition file.
        return {**_plain(replace(item, roles=frozenset())), **dict.fromkeys(sorted(item.roles), True)}
    return _plain(item)


def _plain(item: Any) -> dict[str, Any]:
    return {
        name: _json(value)
        for name, default in _SHAPES[type(item)]
        if (value := getattr(item, name)) != default or default is MISSING
    }


def _json(value: Any) -> Any:
    if isinstance(value, frozenset):
        return sorted(value)
    if isinstance(value, tuple):
        return [_json(one) for one in value]
    if isinstance(value, Mapping):
        return [_object(one) for one in value.values()]
    return _object(value) if type(value) in _SHAPES else value


def _default(field: Field[Any]) -> Any:
    return field.default_factory() if field.default_factory is not MISSING else field.default


_SHAPES: dict[type, tuple[tuple[str, Any], ...]] = {
    made: tuple((f.name, _default(f)) for f in fields(made) if f.init)
    for made in (Medium, Move, Kind, Port, Node, InternalLink, Thermal, Part, Unit, Place)
}


def _medium(data: Mapping[str, Any]) -> Medium:
    return Medium(**data)


def _kind(data: Mapping[str, Any]) -> Kind:
    moves = (Move(**{**move, "sources": tuple(move["sources"])}) for move in data.get("moves", ()))
    return Kind(
        **{
            **data,
            "statuses": tuple(data["statuses"]),
            "moves": {move.action: move for move in moves},
            "fits": frozenset(data.get("fits", ())),
        }
    )


def _part(data: Mapping[str, Any]) -> Part:
    ports = (_port(port) for port in data.get("ports", ()))
    nodes = (_node(node) for node in data.get("nodes", ()))
    thermal = data.get("thermal")
    return Part(
        **{
            **_tagged(data),
            "ports": {port.name: port for port in ports},
            "nodes": {node.name: node for node in nodes},
            "links": tuple(InternalLink(**link) for link in data.get("links", ())),
            "thermal": None if thermal is None else Thermal(**thermal),
        }
    )


def _node(data: Mapping[str, Any]) -> Node:
    plain = {name: value for name, value in _tagged(data).items() if name not in ROLES}
    return Node(**plain, roles=frozenset(role for role in ROLES if data.get(role)))


def _port(data: Mapping[str, Any]) -> Port:
    known = _tagged(data)
    if "torque" in known:
        low, high = known["torque"]
        known["torque"] = (low, high)
    return Port(**known)


def _unit(data: Mapping[str, Any]) -> Unit:
    return Unit(**_tagged(data))


def _place(data: Mapping[str, Any]) -> Place:
    return Place(**{**_tagged(data), "facings": tuple(data.get("facings", ()))})


def _tagged(data: Mapping[str, Any]) -> dict[str, Any]:
    return {**data, "tags": frozenset(data["tags"])} if "tags" in data else dict(data)


_READERS: dict[str, Callable[[Mapping[str, Any]], Item]] = {
    "medium": _medium,
    "kind": _kind,
    "part": _part,
    "unit": _unit,
    "place": _place,
}
