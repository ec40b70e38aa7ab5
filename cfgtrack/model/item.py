"""Definition items as JSON objects, and back: the form in which the journal keeps them.

Only what differs from the default is written, and sets in alphabetical order.

>>> from cfgtrack.model.plant import Unit
>>> item_to_json("unit", Unit("PUMP-1", part="pump", tags=frozenset({"spare", "old"})))
{'id': 'PUMP-1', 'part': 'pump', 'tags': ['old', 'spare']}
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import MISSING, Field, fields, replace
from typing import Any

from cfgtrack.model.attribute import attribute_from_json, attribute_to_json
from cfgtrack.model.kind import Kind, Medium, Move
from cfgtrack.model.part import ROLES, Contact, InternalLink, Node, Part, Port, Thermal
from cfgtrack.model.people import Area, Permission, Person
from cfgtrack.model.plant import Place, Unit
from cfgtrack.model.setting import Setting

Item = Medium | Kind | Part | Unit | Place | Setting | Person | Permission

_CLASSES: dict[str, type] = {
    "medium": Medium,
    "kind": Kind,
    "part": Part,
    "unit": Unit,
    "place": Place,
    "setting": Setting,
    "person": Person,
    "permission": Permission,
}


def item_to_json(sort: str, item: Item) -> dict[str, Any]:
    """Return a definition item as a JSON object. `sort` is one of `definition.SORTS`; TypeError if not so."""
    if not isinstance(item, _CLASSES[sort]):
        raise TypeError(f"a {type(item).__name__} is no {sort}")
    return _object(item)


def item_from_json(sort: str, data: Mapping[str, Any]) -> Item:
    """Return the item of an object made by `item_to_json`. TypeError when a field is unknown or missing."""
    item: Item = _made(_CLASSES[sort], data)
    return item


def inner_to_json(item: Port | Node) -> dict[str, Any]:
    """Return a port or node as the JSON object that stands in its part's."""
    return _object(item)


def _object(item: Any) -> dict[str, Any]:
    if isinstance(item, Node):
        # Each role has a field of its own, as in a definition file.
        return {**_plain(replace(item, roles=frozenset())), **dict.fromkeys(sorted(item.roles), True)}
    return _plain(item)


def _plain(item: Any) -> dict[str, Any]:
    return {
        name: _attributes(value) if name == "attributes" else _json(value)
        for name, default in _SHAPES[type(item)]
        if (value := getattr(item, name)) != default or default is MISSING
    }


def _json(value: Any) -> Any:
    if isinstance(value, frozenset):
        return sorted(value)
    if isinstance(value, tuple):
        return [_json(one) for one in value]
    if isinstance(value, Mapping):
        if value and all(isinstance(one, tuple | str) for one in value.values()):
            return {name: _json(one) for name, one in value.items()}
        return [_object(one) for one in value.values()]
    return _object(value) if type(value) in _SHAPES else value


def _attributes(found: Mapping[str, Any]) -> dict[str, Any]:
    return {name: attribute_to_json(value) for name, value in found.items()}


def _default(field: Field[Any]) -> Any:
    return field.default_factory() if field.default_factory is not MISSING else field.default


_SHAPES: dict[type, tuple[tuple[str, Any], ...]] = {
    made: tuple((f.name, _default(f)) for f in fields(made) if f.init)
    for made in (
        Medium,
        Move,
        Kind,
        Contact,
        Port,
        Node,
        InternalLink,
        Thermal,
        Part,
        Unit,
        Place,
        Setting,
        Person,
        Area,
        Permission,
    )
}


def _made(made: type, data: Mapping[str, Any]) -> Any:
    known = {name: _READ.get(name, _as_it_is)(value) for name, value in data.items()}
    if made is Node:
        known["roles"] = frozenset(role for role in ROLES if known.pop(role, False))
    return made(**known)


def _all_of(made: type, name: str) -> Callable[[Iterable[Any]], Any]:
    """Return what reads the items inside another one, by their names."""
    return lambda found: {one[name]: _made(made, one) for one in found}


def _as_it_is(value: Any) -> Any:
    return value


_READ: dict[str, Callable[[Any], Any]] = {
    **dict.fromkeys(("sources", "statuses", "facings", "torque", "reach", "aliases", "who", "may"), tuple),
    **dict.fromkeys(("fits", "tags", "roles"), frozenset),
    "moves": _all_of(Move, "action"),
    "contacts": _all_of(Contact, "name"),
    "ports": _all_of(Port, "name"),
    "nodes": _all_of(Node, "name"),
    "attributes": lambda found: {name: attribute_from_json(value) for name, value in found.items()},
    "links": lambda links: tuple(InternalLink(**link) for link in links),
    "on": lambda area: Area(**{name: tuple(values) for name, values in area.items()}),
    "thermal": lambda thermal: Thermal(**thermal),
    "remote": lambda remote: (
        {name: tuple(places) for name, places in remote.items()}
        if isinstance(remote, Mapping)
        else tuple(remote)
    ),
}
"""What reads the fields that JSON holds in another form, whichever item they are of."""
