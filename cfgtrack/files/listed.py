"""The sorts of list that tables hold: what each is about, and its columns."""

from __future__ import annotations

from dataclasses import dataclass, field

from cfgtrack.model.part import ROLES

QUANTITY = "quantity"
"""The column that makes several of one row."""


@dataclass(frozen=True, slots=True)
class Listed:
    """A sort of list. `columns` are those that its rows may have, `required` those that each must.

    `ids` are the columns that hold an id or an address, each with what else it is an id of: a name is one among the
    names of the same part. `numbered`: a row may stand for several, with a `quantity`. `attributed`: other columns may
    be attributes of what a row is.
    """

    columns: tuple[str, ...]
    required: tuple[str, ...]
    ids: dict[str, str] = field(default_factory=dict)
    numbered: bool = False
    attributed: bool = False


_PORT = (
    "part name kind size keying gender flexible loop tags cycles torque_low torque_high pattern title"
    " site remote reach contacts aliases rated_pressure rated_current"
)
_PLACE = (
    "id parent title part holds mobile capacity facings sink loop tags site operates aliases lifts lock_box"
    " zone"
)
_NODE = "loop tags title remote aliases rated_pressure"
_NAMED = {"part": "part", "name": "name", "site": "owner"}
_ENDS = {"part": "part", "name": "name", "a": "name", "b": "name", "gate": "name"}
_THERE = {"subject": "owner", "mate": "owner", "place": "owner", "part": "part"}

LISTS: dict[str, Listed] = {
    "parts": Listed(
        ("id", "title", "mass", "flexible", "trapped", "tags", "aliases", "lock_box"),
        ("id",),
        {"id": "part"},
        attributed=True,
    ),
    "ports": Listed(
        tuple(_PORT.split()),
        ("part", "name", "kind"),
        _NAMED,
        attributed=True,
    ),
    "contacts": Listed(
        ("part", "port", "name", "medium", "loop", "tags", "title", "aliases", "rated_current"),
        ("part", "port", "name"),
        {"part": "part", "port": "name", "name": "name of a contact"},
        attributed=True,
    ),
    "nodes": Listed(
        ("part", "name", "medium", "litres", *ROLES, *_NODE.split()),
        ("part", "name", "medium"),
        _NAMED,
        attributed=True,
    ),
    "links": Listed(("part", "a", "b", "gate", "one_way"), ("part", "a", "b"), _ENDS),
    "wires": Listed(
        ("part", "name", "medium", "a", "b", "loop", "tags", "title", "aliases"),
        ("part", "name", "medium", "a", "b"),
        _ENDS,
        attributed=True,
    ),
    "units": Listed(
        ("id", "part", "title", "home", "loop", "tags", "aliases"),
        ("id", "part"),
        {"id": "owner", "part": "part", "home": "owner"},
        numbered=True,
        attributed=True,
    ),
    "places": Listed(
        tuple(_PLACE.split()),
        ("id",),
        {"id": "owner", "parent": "owner", "part": "part", "operates": "owner"},
        numbered=True,
        attributed=True,
    ),
    "joints": Listed(("a", "b", "status"), ("a", "b"), {"a": "owner", "b": "owner"}),
    "initial": Listed(
        ("subject", "part", "mate", "status", "place", "facing", "values", "inspected"), (), _THERE
    ),
}
"""The lists that a definition may have as tables. What a row says is read where a table of TOML would be."""
