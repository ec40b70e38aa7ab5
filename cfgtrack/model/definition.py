"""A hardware definition: what a plant is made of, and the configuration from which its journal starts."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from cfgtrack.model.action import Action
from cfgtrack.model.kind import Kind, Medium
from cfgtrack.model.part import Part
from cfgtrack.model.people import Permission, Person
from cfgtrack.model.plant import Place, Plant, Unit
from cfgtrack.model.setting import Setting
from cfgtrack.model.trouble import Problem

SORTS = {
    "medium": "media",
    "kind": "kinds",
    "part": "parts",
    "unit": "units",
    "place": "places",
    "setting": "settings",
    "person": "people",
    "permission": "permissions",
}
"""The sorts of definition item, in the order in which one may refer to another, and where a definition has them."""


@dataclass(frozen=True, slots=True)
class Definition:
    """Parsed and cross-checked: every reference in it resolves. `initial` holds the as-found events to start from.

    `origins` tells where each item came from: (sort, id) to ``file:line`` or ``file:row``. `notes` are to be told to
    whoever gave the files. `unfit`: by id, why the halves of joints of `initial` don't fit; there are none where nobody
    asked to have them so. `fingerprint`: of what it was read from, "" where that isn't known.
    """

    media: Mapping[str, Medium] = field(default_factory=dict)
    kinds: Mapping[str, Kind] = field(default_factory=dict)
    parts: Mapping[str, Part] = field(default_factory=dict)
    units: Mapping[str, Unit] = field(default_factory=dict)
    places: Mapping[str, Place] = field(default_factory=dict)
    initial: tuple[Action, ...] = ()
    title: str = ""
    origins: Mapping[tuple[str, str], str] = field(default_factory=dict)
    notes: tuple[str, ...] = ()
    unfit: Mapping[str, tuple[Problem, ...]] = field(default_factory=dict)
    fingerprint: str = ""
    settings: Mapping[str, Setting] = field(default_factory=dict)
    people: Mapping[str, Person] = field(default_factory=dict)
    permissions: Mapping[str, Permission] = field(default_factory=dict)

    def items(self, sort: str) -> Mapping[str, Any]:
        """Return the items of one of `SORTS` by id."""
        found: Mapping[str, Any] = getattr(self, SORTS[sort])
        return found

    def plant(self) -> Plant:
        """Return the plant that this definition describes."""
        return Plant(**{name: self.items(sort) for sort, name in SORTS.items()})
