"""Definition items as the text in which the journal keeps them: canonical JSON.

A plant has many ports and nodes that differ in nothing but their names and titles: what they share is written once. A
test holds this to `canonical_json(item_to_json(...))`.
"""

from __future__ import annotations

from collections.abc import Callable, Collection
from dataclasses import fields, replace
from json.encoder import encode_basestring
from operator import attrgetter
from typing import Any

from cfgtrack.model.item import Item, inner_to_json, item_to_json
from cfgtrack.model.part import Node, Part, Port
from cfgtrack.store.canonical import canonical_json, canonical_object

_OWN = ("name", "title")
_HERE = "\0"
"""Stands where a name or title goes: no JSON has it, where it would be escaped."""


def item_text(sort: str, item: Item) -> str:
    """Return a definition item as canonical JSON. NotCanonical or TypeError where it can't be."""
    if not isinstance(item, Part) or sort != "part":
        return canonical_json(item_to_json(sort, item)).decode()
    bare = item_to_json(sort, replace(item, ports={}, nodes={}))
    members = {name: canonical_json({"": value}).decode()[4:-1] for name, value in bare.items()}
    for name, inside, texts in (("ports", item.ports, _PORTS), ("nodes", item.nodes, _NODES)):
        if inside:
            members[name] = f"[{','.join(texts(inside.values()))}]"
    return canonical_object(members)


def _writer(made: type[Port] | type[Node]) -> Callable[[Collection[Any]], list[str]]:
    """Return what writes ports or nodes."""
    own = [one for one in fields(made) if one.name not in _OWN]
    shared = attrgetter(*(one.name for one in own if one.default_factory is not dict))
    extras = attrgetter(*(one.name for one in own if one.default_factory is dict))
    titled: dict[Any, list[str]] = {}
    untitled: dict[Any, list[str]] = {}

    def pieces_of(one: Any, known: dict[Any, list[str]], key: Any) -> list[str]:
        if len(known) > _MOST:
            known.clear()
        members = {name: canonical_json({"": v}).decode()[4:-1] for name, v in inner_to_json(one).items()}
        members.update(dict.fromkeys(_OWN if one.title else _OWN[:1], _HERE))
        known[key] = canonical_object(members).split(_HERE)
        return known[key]

    def texts(ones: Collection[Any]) -> list[str]:
        found = []
        for one, key in zip(ones, map(shared, ones), strict=True):
            if any(extras(one)):
                found.append(canonical_json(inner_to_json(one)).decode())
                continue
            title = one.title
            known = titled if title else untitled
            pieces = known.get(key) or pieces_of(one, known, key)
            if title:
                a, b, c = pieces
                found.append(f"{a}{encode_basestring(one.name)}{b}{encode_basestring(title)}{c}")
            else:
                found.append(f"{pieces[0]}{encode_basestring(one.name)}{pieces[1]}")
        return found

    return texts


_MOST = 20_000
_PORTS, _NODES = _writer(Port), _writer(Node)
