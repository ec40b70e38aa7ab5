"""Selections: what items of the plant a rule names, in its definition, then by where they are now."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from fnmatch import translate
from functools import lru_cache

from cfgtrack.model.attribute import Attribute, AttributeTest
from cfgtrack.model.configuration import View, place_line
from cfgtrack.model.hold import peer_of
from cfgtrack.model.part import ROLES, Contact, Node, Part, Port
from cfgtrack.model.plant import Plant, owner_of
from cfgtrack.model.unknown import PLACE, THING
from cfgtrack.rules.saying import say_either, say_places

_REFERENCES: dict[str, Callable[[View, str], list[str]]] = {
    "it": lambda _, it: [it],
    "peer of it": lambda view, it: [mate] if (mate := peer_of(view, it)) is not None else [],
    "unit of it": lambda _, it: [owner_of(it)],
    "ports of it": lambda view, it: view.plant.ports_of(owner_of(it)),
    "nodes of it": lambda view, it: view.plant.nodes_of(owner_of(it)),
    "contacts of it": lambda view, it: view.plant.contacts_of(it),
    "place of it": lambda view, it: place_line(view, owner_of(it))[:1],
}
REFERENCES = tuple(_REFERENCES)
"""What a selection may start from inside a rule: the item the rule is about, or what belongs to it.

``unit of it`` is the unit or place that a port or node belongs to; ``ports of it`` and ``nodes of it`` are those of
the owner; ``contacts of it`` those of a shell, or of all shells of a unit; ``place of it`` is where the owner stands
now. Empty where it means nothing (no mate, nowhere).
"""

WHATS = ("port", "contact", "node", "unit", "place")
_BY_COLONS = (("unit", "place"), ("port", "node"), ("contact",))
"""What an id names, by how many colons it has."""

_INSIDE = frozenset({"port", "contact", "node"})

HOME = "home"
"""Stands for a unit's own home where a place is asked for."""

_MARKS = frozenset("*?[")
"""What makes a pattern of a text."""

_NODE_FLAGS = ("source", "expansion", "load", "liquid")


@dataclass(frozen=True, slots=True)
class Selection:
    """Names items. Every field that is given must match; a field with several values matches any of them.

    `ids`, `parts`, `places` are shell patterns. `places` selects what the definition puts there (a place, the places
    inside it, and their fittings); `at` selects what stands there at the time (a unit, its ports and nodes).
    `of` starts from one of `REFERENCES` instead of from the whole plant. Where an id is asked for, what the thing is
    called besides does as well, whole and exact: no patterns. Every one of `attributes` must be met. Empty selections
    are errors unless `may_be_empty`.
    """

    of: str = ""
    ids: tuple[str, ...] = ()
    what: tuple[str, ...] = ()
    parts: tuple[str, ...] = ()
    kinds: tuple[str, ...] = ()
    media: tuple[str, ...] = ()
    places: tuple[str, ...] = ()
    at: tuple[str, ...] = ()
    loops: tuple[str, ...] = ()
    tags: tuple[str, ...] = ()
    source: bool | None = None
    expansion: bool | None = None
    load: bool | None = None
    liquid: bool | None = None
    mobile: bool | None = None
    may_be_empty: bool = False
    attributes: tuple[AttributeTest, ...] = ()

    @property
    def is_fixed(self) -> bool:
        """Whether it names the same items at all times and for every `it`."""
        return not self.of and not self.at

    def words(self) -> str:
        """Return the selection in words.

        >>> Selection(source=True).words()
        'any source'
        """
        if self == Selection(of=self.of):
            return self.of or "anything"
        if self == Selection(ids=self.ids, may_be_empty=self.may_be_empty):
            return say_either(self.ids)
        said = [self._noun()]
        for label, values in (
            ("named", say_either(self.ids)),
            ("of part", say_either(self.parts)),
            ("of medium", say_either(self.media)),
            ("in loop", say_either(self.loops)),
            ("tagged", say_either(self.tags)),
            ("of place", say_either(self.places)),
            ("standing at", say_places(self.at)),
            ("with", " and ".join(test.words() for test in self.attributes)),
        ):
            if values:
                said.append(f"{label} {values}")
        if self.of:
            said.append(f"among {self.of}")
        return "any " + " ".join(said)

    def _noun(self) -> str:
        """Return what sort of item it names: `not` before what it must not be."""
        flags = (
            (self.source, "source"),
            (self.expansion, "expansion volume"),
            (self.load, "load"),
            (self.liquid, "liquid-full volume"),
            (self.mobile, "place that moves"),
        )
        said = [name if flag else f"item that is no {name}" for flag, name in flags if flag is not None]
        return " and ".join(said) or say_either((*self.kinds, *self.what)) or "item"

    # --- what it names ---

    def sorts(self) -> tuple[str, ...]:
        """Return which sorts of item it can name: said outright, or told by the fields that it uses."""
        if self.what:
            return self.what
        if self.of:
            return WHATS
        if self._has_node_flags():
            return ("node",)
        if self.kinds:
            return ("port",)
        if self.media:
            return ("port", "node")
        if self.mobile is not None:
            return ("place",)
        if self.ids:
            deep = {min(i.count(":"), 2) for i in self.ids}
            return tuple(what for what in WHATS if any(what in _BY_COLONS[number] for number in deep))
        return ("unit",) if self.parts else WHATS

    def _has_node_flags(self) -> bool:
        return any(getattr(self, flag) is not None for flag in _NODE_FLAGS)

    def candidates(self, plant: Plant) -> tuple[str, ...]:
        """Return what it names whatever `of` and `at` say, in the order of the definition. Worked out once a plant."""
        found = plant.selected.get(self)
        if found is None:
            found = plant.selected[self] = tuple(self.by_ids(plant)._enumerate(plant))
        return found

    def by_ids(self, plant: Plant) -> Selection:
        """Return the selection with ids for what it calls otherwise."""
        if not plant.names:
            return self
        return replace(
            self,
            ids=tuple(id_or_pattern(plant, one, THING) for one in self.ids),
            parts=tuple(id_or_pattern(plant, part, ("part",)) for part in self.parts),
            places=tuple(id_or_pattern(plant, place, PLACE) for place in self.places),
            at=tuple(id_or_pattern(plant, place, PLACE) for place in self.at),
        )

    def items(self, view: View, it: str | None = None) -> tuple[str, ...]:
        """Return the items that it names now, given `it`."""
        return Bound(self, view).items(it)

    def matches(self, plant: Plant, address: str) -> bool:
        """Return whether `address` has everything that the fields other than `of` and `at` ask for.

        It must ask by ids: see `by_ids`.
        """
        owner, colon, name = address.partition(":")
        if not plant.has_owner(owner):
            return False
        if self.ids and not fits(address, self.ids):
            return False
        if not self._owner_fits(plant, owner):
            return False
        allowed = self.sorts()
        if not colon:
            return _is_of_sort(plant, owner, allowed) and self._owner_named(plant, owner)
        part = plant.part_of(owner)
        port = part.ports.get(name)
        if port is not None:
            return "port" in allowed and self._port_fits(plant, port, owner)
        node = part.nodes.get(name)
        if node is not None:
            return "node" in allowed and self._node_fits(plant, node, owner)
        shell, _, contact = name.partition(":")
        port = part.ports.get(shell)
        found = None if port is None else port.contacts.get(contact)
        return (
            port is not None
            and found is not None
            and "contact" in allowed
            and self._contact_fits(plant, found, port, owner)
        )

    def _owner_fits(self, plant: Plant, owner: str) -> bool:
        """Check the fields that speak of the unit or place an item belongs to."""
        if self.parts:
            unit = plant.units.get(owner)
            part = unit.part if unit is not None else plant.places[owner].part
            if not fits(part, self.parts):
                return False
        if self.places and not (
            owner in plant.places and any(fits(p, self.places) for p in plant.ancestors(owner))
        ):
            return False
        if self.mobile is not None:
            return owner in plant.places and plant.places[owner].mobile == self.mobile
        return True

    def _owner_named(self, plant: Plant, owner: str) -> bool:
        if self.kinds or self.media or self._has_node_flags():
            return False
        if self.loops and plant.loop_of(owner) not in self.loops:
            return False
        if not self._has_attributes(lambda: plant.attributes_of(owner)):
            return False
        return not self.tags or bool(_owner_tags(plant, owner) & set(self.tags))

    def _port_fits(self, plant: Plant, port: Port, owner: str) -> bool:
        if self._has_node_flags():
            return False
        if self.kinds and port.kind not in self.kinds:
            return False
        if self.media and set(self.media).isdisjoint(port.media(plant.kinds[port.kind].medium) or ("",)):
            return False
        return self._tagged(plant, port, port.loop, owner)

    def _contact_fits(self, plant: Plant, contact: Contact, port: Port, owner: str) -> bool:
        if self._has_node_flags():
            return False
        if self.kinds and port.kind not in self.kinds:
            return False
        if self.media and contact.medium not in self.media:
            return False
        return self._tagged(plant, contact, contact.loop or port.loop, owner, shell=port)

    def _node_fits(self, plant: Plant, node: Node, owner: str) -> bool:
        if self.kinds or (self.media and node.medium not in self.media):
            return False
        is_so = {**{role: role in node.roles for role in ROLES}, "liquid": plant.is_liquid(node)}
        if any(getattr(self, f) is not None and getattr(self, f) != is_so[f] for f in _NODE_FLAGS):
            return False
        return self._tagged(plant, node, node.loop, owner)

    def _tagged(
        self,
        plant: Plant,
        thing: Port | Contact | Node,
        loop: str,
        owner: str,
        *,
        shell: Port | None = None,
    ) -> bool:
        """Check loop, attributes and tags. What is inside a unit has its owner's attributes and tags too, a contact its
        shell's, once the selection is clearly about such things; else naming a tag of units would name all inside them.
        """
        if self.loops and (loop or plant.loop_of(owner)) not in self.loops:
            return False
        of_owner = bool(self.of) or set(self.sorts()) <= _INSIDE
        around: Mapping[str, Attribute] = {} if shell is None else shell.attributes
        if not self._has_attributes(
            lambda: (
                {**plant.attributes_of(owner), **around, **thing.attributes} if of_owner else thing.attributes
            )
        ):
            return False
        if not self.tags:
            return True
        tags = set(thing.tags)
        if of_owner:
            tags |= _owner_tags(plant, owner) | (shell.tags if shell is not None else frozenset())
        return bool(tags & set(self.tags))

    def _has_attributes(self, found: Callable[[], Mapping[str, Attribute]]) -> bool:
        if not self.attributes:
            return True
        attributes = found()
        return all(test.is_met(attributes) for test in self.attributes)

    def _enumerate(self, plant: Plant) -> Iterator[str]:
        """Yield every item that matches, testing what is inside once for all owners that are alike in what matters."""
        allowed = self.sorts()
        inside = not _INSIDE.isdisjoint(allowed)
        tags = frozenset(self.tags)
        names: dict[tuple[object, ...], tuple[str, ...]] = {}
        whole = "unit" in allowed or "place" in allowed
        for owner in plant.owners():
            if whole and _is_of_sort(plant, owner, allowed) and self.matches(plant, owner):
                yield owner
            if not inside or not self._owner_fits(plant, owner):
                continue
            part = plant.part_of(owner)
            loop = plant.loop_of(owner) if self.loops else ""
            alike: tuple[object, ...] = (part.id, loop, _owner_tags(plant, owner) & tags if tags else tags)
            if self.attributes:
                alike = (*alike, owner)
            if alike not in names:
                names[alike] = tuple(self._inside(plant, allowed, owner, part))
            for name in names[alike]:
                address = f"{owner}:{name}"
                if not self.ids or fits(address, self.ids):
                    yield address

    def _inside(self, plant: Plant, allowed: tuple[str, ...], owner: str, part: Part) -> Iterator[str]:
        """Yield the names of the ports, contacts and nodes that match, whatever `ids` says."""
        if "port" in allowed:
            yield from (n for n, port in part.ports.items() if self._port_fits(plant, port, owner))
        if "contact" in allowed:
            for port in part.ports.values():
                for name, contact in port.contacts.items():
                    if self._contact_fits(plant, contact, port, owner):
                        yield f"{port.name}:{name}"
        if "node" in allowed:
            yield from (n for n, node in part.nodes.items() if self._node_fits(plant, node, owner))


IT = Selection(of="it")
ANYTHING = Selection()


def _is_of_sort(plant: Plant, owner: str, allowed: tuple[str, ...]) -> bool:
    return ("unit" if owner in plant.units else "place") in allowed


def _owner_tags(plant: Plant, owner: str) -> frozenset[str]:
    unit = plant.units.get(owner)
    own = unit.tags if unit is not None else plant.places[owner].tags
    return own | plant.part_of(owner).tags


class Bound:
    """A selection over one view, made ready to be asked often."""

    __slots__ = ("_candidates", "_is_bare", "_is_it", "_matched", "_view", "selection")

    def __init__(self, selection: Selection, view: View) -> None:
        self.selection = selection = selection.by_ids(view.plant)
        self._view = view
        self._candidates: tuple[str, ...] | None = None
        self._matched: dict[str, bool] = {}
        self._is_it = selection == IT
        self._is_bare = selection == Selection(
            of=selection.of, at=selection.at, may_be_empty=selection.may_be_empty
        )

    def items(self, it: str | None) -> tuple[str, ...]:
        """Return the items that the selection names now, given `it`."""
        if self._is_it:
            return () if it is None else (it,)
        view, selection = self._view, self.selection
        if selection.of:
            items = () if it is None else tuple(_REFERENCES[selection.of](view, it))
            if not self._is_bare:
                items = tuple(a for a in items if self._matches(a))
        else:
            if self._candidates is None:
                self._candidates = selection.candidates(view.plant)
            items = self._candidates
        if selection.at:
            items = tuple(a for a in items if stands_at(view, owner_of(a), selection.at))
        return items

    def names(self, address: str) -> bool:
        """Return whether the selection, for no `it`, names `address` now."""
        at = self.selection.at
        return (
            not self.selection.of
            and self._matches(address)
            and (not at or stands_at(self._view, owner_of(address), at))
        )

    def _matches(self, address: str) -> bool:
        """Return whether an address has all that the selection asks of it but for where it is: that never changes."""
        found = self._matched.get(address)
        if found is None:
            found = self._matched[address] = self.selection.matches(self._view.plant, address)
        return found


# --- patterns and places ------------------------------------------------------------------------------------------


@lru_cache(maxsize=4096)
def _pattern(text: str) -> re.Pattern[str]:
    return re.compile(translate(text))


def fits(name: str, patterns: Iterable[str]) -> bool:
    """Return whether `name` matches any of the shell patterns.

    >>> fits("RACK-2", ["RACK-*"])
    True
    """
    return any(name == p or _pattern(p).match(name) is not None for p in patterns)


def stands_at(view: View, owner: str, patterns: Iterable[str]) -> bool:
    """Return whether a unit or place is at (or inside) a place that one of `patterns` names.

    ``#tag`` names the places with a tag, ``home`` the unit's own home.
    """
    plant, named = view.plant, tuple(patterns)
    if HOME in named:  # each unit has another: nothing of that is remembered
        unit = plant.units.get(owner)
        named = tuple(unit.home if p == HOME and unit is not None else p for p in named)
        return any(place_fits(plant, place, named) for place in place_line(view, owner))
    fitting, known = _places_fitting(plant, named), plant.places
    return any(
        place in fitting or (place not in known and place_fits(plant, place, named))
        for place in place_line(view, owner)
    )


def _places_fitting(plant: Plant, patterns: tuple[str, ...]) -> Mapping[str, str]:
    """Return the places that `patterns` name: of one plant they are looked for once."""
    found = plant.fitting.get(patterns)
    if found is None:
        found = {place: place for place in plant.places if place_fits(plant, place, patterns)}
        plant.fitting[patterns] = found
    return found


def place_fits(plant: Plant, place: str, patterns: Sequence[str]) -> bool:
    """Return whether a place is called so, fits a pattern of its id, or has the tag that a ``#tag`` pattern names."""
    for pattern in patterns:
        if pattern.startswith("#"):
            found = plant.places.get(place)
            if found is not None and pattern[1:] in found.tags:
                return True
        elif fits(place, (pattern,)):
            return True
    return bool(plant.names) and any(id_or_pattern(plant, p, PLACE) == place for p in patterns)


def id_or_pattern(plant: Plant, text: str, wanted: Sequence[str]) -> str:
    """Return the id of what is called so, of the sorts that are `wanted`; the text itself where it is a pattern that
    ids fit: what a pattern names it names still when somebody gives a thing that name.
    """
    found = plant.resolve(text, wanted)
    return text if _other_fitting(plant, text, found, wanted) else found


def also_fitting(plant: Plant, text: str, wanted: Sequence[str]) -> str:
    """Return, of what something is called, the first other id of a `wanted` sort that it fits as a pattern, else ""."""
    return _other_fitting(plant, text, plant.resolve(text, wanted), wanted)


def _other_fitting(plant: Plant, text: str, found: str, wanted: Sequence[str]) -> str:
    """Return the first id of a `wanted` sort, save what is `found` by a text, that it fits as a pattern, else ""."""
    if found == text or not _MARKS.intersection(text):
        return ""
    if wanted == ("part",):
        ids: Iterable[str] = plant.parts
    elif wanted == PLACE:
        ids = plant.places
    else:
        inside = (plant.ports_of, plant.nodes_of, plant.contacts_of)
        ids = (one for o in plant.owners() for one in (o, *(a for among in inside for a in among(o))))
    return next((one for one in ids if one != found and fits(one, (text,))), "")
