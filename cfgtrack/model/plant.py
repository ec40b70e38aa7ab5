"""The plant: kinds, parts, units and places, and the look-ups that everything else stands on.

Addresses are text: ``UNIT:NAME`` or ``PLACE:NAME`` for a port, gate or node, ``UNIT:PORT:CONTACT`` for a contact of a
shell, the bare id for a unit or place.
Units and places share one space of ids.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field

from cfgtrack.model.attribute import Attribute
from cfgtrack.model.kind import Kind, Medium, with_mate
from cfgtrack.model.naming import Names
from cfgtrack.model.part import EXPANSION, Contact, Node, Part, Port
from cfgtrack.model.people import Permission, Person
from cfgtrack.model.setting import Setting, span_of, value_of
from cfgtrack.model.unknown import ANYTHING

HOLD = "hold"
"""The medium of structural hold: the one medium whose links the model itself must understand."""


@dataclass(frozen=True, slots=True)
class Unit:
    """One serialised item of a part. `home` is where it belongs when it is not in use.

    `aliases` is what else it is called, on a drawing or a list; `attributes` what else is said of it.
    """

    id: str
    part: str
    title: str = ""
    home: str = ""
    loop: str = ""
    tags: frozenset[str] = frozenset()
    aliases: tuple[str, ...] = ()
    attributes: Mapping[str, Attribute] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Place:
    """Where a unit can be: a node in a tree of places.

    `part` gives its fixed fittings (ports and so on). `holds`: a unit standing here is held by that alone.
    `mobile`: a person, an arm, a bag: it moves, so nothing fixed to it is kept from moving. `capacity`: how many
    units (counting what is fixed together as one) it takes, people and machines that visit not counted; None means no
    limit. `facings`: the orientations it accepts; empty means that any will do. `sink`: thermal environment, K. `site`:
    work on what is here is done by who is here. `operates`: the machine where this person acts as well. `aliases`,
    `attributes`: as of a unit. `lifts`: of a place that moves, the mass that it may carry, kg. `lock_box`: people put
    their locks on it, and what its own locks are on stays locked till theirs are off. `zone`: of the tz database,
    whose time of day is told beside UTC for what is here and in the places inside that have none of their own.
    """

    id: str
    parent: str = ""
    title: str = ""
    part: str = ""
    holds: bool = False
    mobile: bool = False
    capacity: int | None = None
    facings: tuple[str, ...] = ()
    sink: float | None = None
    loop: str = ""
    tags: frozenset[str] = frozenset()
    site: bool = False
    operates: str = ""
    aliases: tuple[str, ...] = ()
    attributes: Mapping[str, Attribute] = field(default_factory=dict)
    lifts: float | None = None
    lock_box: bool = False
    zone: str = ""

    @property
    def ways_round(self) -> tuple[str | None, ...]:
        """The orientations in which a thing can be put here; None alone where any will do."""
        return self.facings or (None,)


_NO_PART = Part(id="")


@dataclass(slots=True)
class Plant:
    """Everything that the hardware definition says. Treat as read-only once built.

    `retired` are the units that are no longer of the plant: nothing else here knows them. `selected` remembers what a
    selection of items found, `fitting` which places patterns name: both follow from the definition alone.
    """

    media: Mapping[str, Medium] = field(default_factory=dict)
    kinds: Mapping[str, Kind] = field(default_factory=dict)
    parts: Mapping[str, Part] = field(default_factory=dict)
    units: Mapping[str, Unit] = field(default_factory=dict)
    places: Mapping[str, Place] = field(default_factory=dict)
    retired: Mapping[str, Unit] = field(default_factory=dict)
    settings: Mapping[str, Setting] = field(default_factory=dict)
    people: Mapping[str, Person] = field(default_factory=dict)
    permissions: Mapping[str, Permission] = field(default_factory=dict)
    selected: dict[object, tuple[str, ...]] = field(
        default_factory=dict, init=False, repr=False, compare=False
    )
    fitting: dict[tuple[str, ...], Mapping[str, str]] = field(
        default_factory=dict, init=False, repr=False, compare=False
    )
    _ports: dict[str, tuple[Port, Kind] | None] = field(
        default_factory=dict, init=False, repr=False, compare=False
    )
    _slots: dict[str, list[str]] | None = field(default=None, init=False, repr=False, compare=False)
    _has_sites: bool | None = field(default=None, init=False, repr=False, compare=False)
    _names: Names | None = field(default=None, init=False, repr=False, compare=False)

    @property
    def names(self) -> Names:
        """What its things are called besides their ids. Gathered at the first call."""
        if self._names is None:
            self._names = Names(self)
        return self._names

    def setting(self, name: str) -> str:
        """Return to what something is set, of `SETTINGS`."""
        return value_of(self.settings, name)

    def span(self, name: str) -> int:
        """Return to what a duration is set, of `SETTINGS`, in microseconds."""
        return span_of(self.settings, name)

    def resolve(self, text: str, wanted: Collection[str] = ANYTHING) -> str:
        """Return the address of what is called so, ids first; the text itself where nothing is, or several things are.

        `wanted` are the sorts of thing that may be meant: see `sort_of`. `unknown.look_up` says why there is none.
        """
        found = self.names.meant(text, wanted)
        return found[0] if len(found) == 1 else text

    def attributes_of(self, address: str) -> Mapping[str, Attribute]:
        """Return the attributes of a unit or place, with those of its part that it has none of its own for; a port's
        or node's own.
        """
        own = self.own_attributes_of(address)
        of_part = {} if ":" in address else self.part_of(address).attributes
        return {**of_part, **own} if of_part else own

    def own_attributes_of(self, address: str) -> Mapping[str, Attribute]:
        """Return the attributes of a unit, place, port, contact or node that it has itself."""
        found: Mapping[str, Attribute] = self._thing(address).attributes
        return found

    def aliases_of(self, address: str) -> tuple[str, ...]:
        """Return what a unit, place, port, node or part is called besides its id."""
        found: tuple[str, ...] = self._thing(address).aliases
        return found

    def _thing(self, address: str) -> Unit | Place | Port | Contact | Node | Part:
        owner, colon, name = address.partition(":")
        if not colon:
            return self.units.get(owner) or self.places.get(owner) or self.parts[owner]
        part = self.part_of(owner)
        return part.ports.get(name) or self.contact(address) or part.nodes[name]

    def part_of(self, owner: str) -> Part:
        """Return the part of a unit, or the fittings of a place. KeyError for an unknown owner."""
        unit = self.units.get(owner)
        if unit is not None:
            return self.parts[unit.part]
        place = self.places[owner]
        return self.parts[place.part] if place.part else _NO_PART

    def port(self, address: str) -> tuple[Port, Kind] | None:
        """Return port and kind at `address`, or None when there is no such port. Remembered after the first call."""
        try:
            return self._ports[address]
        except KeyError:
            found = self._find_port(address)
            self._ports[address] = found
            return found

    def says(self, address: str, status: str) -> str:
        """Return the words for the status of what is at `address`, as its kind says them: a contact's are its shell's.

        What is no port (a place, a unit) has no ladder: `status` itself.
        """
        found = self.port(address) or self.port(address.rpartition(":")[0])
        return status if found is None else found[1].says(status)

    def says_any(self, address: str, statuses: Iterable[str]) -> str:
        """Return the words for statuses of which any will do at `address`."""
        return " or ".join(self.says(address, status) for status in statuses)

    def says_joined(self, address: str, status: str, mate: str | None) -> str:
        """Return the words for the status of what is at `address`, with what it is joined to, if it is."""
        return with_mate(self.says(address, status), mate)

    def _find_port(self, address: str) -> tuple[Port, Kind] | None:
        owner, colon, name = address.partition(":")
        if not colon or not self.has_owner(owner):
            return None
        port = self.part_of(owner).ports.get(name)
        return None if port is None else (port, self.kinds[port.kind])

    def contact(self, address: str) -> Contact | None:
        """Return the contact at `address` (``UNIT:PORT:CONTACT``), or None."""
        shell, _, name = address.rpartition(":")
        found = self.port(shell)
        return None if found is None else found[0].contacts.get(name)

    def media_of(self, port: str) -> frozenset[str]:
        """Return what the port at `port` carries: of a shell the media of its contacts."""
        found = self.port(port)
        if found is None:
            return frozenset()
        return frozenset(found[0].media(found[1].medium) or ("",))

    def node(self, address: str) -> Node | None:
        """Return the node at `address`, or None."""
        owner, _, name = address.partition(":")
        return self.part_of(owner).nodes.get(name) if self.has_owner(owner) else None

    def is_liquid(self, node: Node) -> bool:
        """Return whether a node is a volume that needs room to expand."""
        medium = self.media.get(node.medium)
        return node.litres is not None and (medium is None or medium.volumes_need == EXPANSION)

    def has_owner(self, owner: str) -> bool:
        """Return whether `owner` is a unit or a place."""
        return owner in self.units or owner in self.places

    def sort_of(self, address: str) -> str:
        """Return whether an address is a unit, place, mobile place, port, contact, node or part: "" when it is none."""
        if ":" in address:
            for sort, look in (("port", self.port), ("node", self.node), ("contact", self.contact)):
                if look(address) is not None:
                    return sort
            return ""
        if address in self.units:
            return "unit"
        if address in self.places:
            return "mobile place" if self.places[address].mobile else "place"
        return "part" if address in self.parts else ""

    def owners(self) -> Iterator[str]:
        """Yield every unit and every place."""
        yield from self.units
        yield from self.places

    def ports_of(self, owner: str) -> list[str]:
        """Return the addresses of all ports (gates and covers too) of a unit or place, in the part's order."""
        return [f"{owner}:{name}" for name in self.part_of(owner).ports]

    def contacts_of(self, address: str) -> list[str]:
        """Return the addresses of the contacts of a port, or of all ports of a unit or place."""
        owner, colon, name = address.partition(":")
        ports = self.part_of(owner).ports
        shells = [ports[name]] if name in ports else [] if colon else ports.values()
        return [f"{owner}:{port.name}:{contact}" for port in shells for contact in port.contacts]

    def nodes_of(self, owner: str) -> list[str]:
        """Return the addresses of all nodes of a unit or place."""
        return [f"{owner}:{name}" for name in self.part_of(owner).nodes]

    def is_flexible(self, address: str) -> bool:
        """Return whether the port at `address` gives: its kind, its part or itself is declared flexible."""
        found = self.port(address)
        if found is None:
            return False
        port, kind = found
        return port.flexible or kind.flexible or self.part_of(owner_of(address)).flexible

    def gives(self, a: str, b: str) -> bool:
        """Return whether an interface of two ports gives: either is flexible."""
        return self.is_flexible(a) or self.is_flexible(b)

    @property
    def has_sites(self) -> bool:
        """Whether any place is a site: only then is it judged whether who does something is there."""
        if self._has_sites is None:
            self._has_sites = any(place.site for place in self.places.values())
        return self._has_sites

    def can_move(self, owner: str) -> bool:
        """Return whether `owner` can be taken elsewhere: a unit, or a place that moves."""
        return owner in self.units or self.is_mobile(owner)

    def is_mobile(self, owner: str) -> bool:
        """Return whether `owner` is a place that moves (a person, an arm, a bag)."""
        place = self.places.get(owner)
        return place is not None and place.mobile

    def ancestors(self, place: str) -> Iterator[str]:
        """Yield `place` and then the places around it, up to the root."""
        while place:
            yield place
            found = self.places.get(place)
            place = found.parent if found else ""

    def slots_of(self, place: str) -> Sequence[str]:
        """Return the places that are fixed directly inside `place`. Remembered after the first call."""
        if self._slots is None:
            self._slots = {}
            for slot in self.places.values():
                if slot.parent and not slot.mobile:
                    self._slots.setdefault(slot.parent, []).append(slot.id)
        return self._slots.get(place, ())

    def loop_of(self, address: str) -> str:
        """Return the loop that the definition gives an item: its own first, else its shell's, else its owner's."""
        owner, colon, name = address.partition(":")
        if colon:
            part = self.part_of(owner)
            contact = self.contact(address)
            if contact is not None and contact.loop:
                return contact.loop
            name = name.partition(":")[0]
            thing = part.ports.get(name) or part.nodes.get(name)
            if thing is not None and thing.loop:
                return thing.loop
        unit = self.units.get(owner)
        return unit.loop if unit is not None else self.places[owner].loop


def owner_of(address: str) -> str:
    """Return the unit or place of an address.

    >>> owner_of("PUMP-1:F2")
    'PUMP-1'
    """
    return address.partition(":")[0]


def port_of(address: str) -> str:
    """Return the port of an address of a port or contact.

    >>> port_of("CABLE-1:J1:3")
    'CABLE-1:J1'
    """
    owner, colon, name = address.partition(":")
    return f"{owner}{colon}{name.partition(':')[0]}"
