"""Parts: the pattern from which units are made, and the fittings that places have."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from cfgtrack.model.attribute import Attribute


@dataclass(frozen=True, slots=True)
class Contact:
    """One of the pins of a connector, or of the lines of a coupling: joined with its shell, to the one of its name.

    Links inside the part lead to the contact, written ``PORT:CONTACT``. What is mated, worn, keyed and locked is the
    shell. `rated_current` in A; without, that of the shell.
    """

    name: str
    medium: str
    loop: str = ""
    tags: frozenset[str] = frozenset()
    title: str = ""
    aliases: tuple[str, ...] = ()
    attributes: Mapping[str, Attribute] = field(default_factory=dict)
    rated_current: float | None = None


@dataclass(frozen=True, slots=True)
class Port:
    """One half of an interface, or a valve, switch or cover that gates one.

    `size` and `keying` must agree with the mate's where both are given; `gender` (plug, socket, ...) must differ.
    `cycles` is the rated number of mates; `torque` the allowed range in N*m (low, high); `pattern` the bolt's
    joint and its turn in the tightening order, as in ``base/3``. `site` is the site it is worked at where that isn't
    its owner's (a bulkhead); `remote` the places from which it is worked as well; `reach`, of a tether's half, the
    places within which whoever hangs on it stays. `contacts`: of a shell, which joins them all at once; what it carries
    is what they do, each of its own medium. Without them the port is one contact of its kind's medium. `aliases` is
    what else it is called, after its owner; `attributes` what else is said of it. `rated_pressure` in Pa,
    `rated_current` in A, of each contact that has none of its own: of a joint the lower of its halves' counts.
    """

    name: str
    kind: str
    size: str = ""
    keying: str = ""
    gender: str = ""
    flexible: bool = False
    loop: str = ""
    tags: frozenset[str] = frozenset()
    cycles: int | None = None
    torque: tuple[float, float] | None = None
    pattern: str = ""
    title: str = ""
    site: str = ""
    remote: tuple[str, ...] = ()
    reach: tuple[str, ...] = ()
    contacts: Mapping[str, Contact] = field(default_factory=dict)
    aliases: tuple[str, ...] = ()
    attributes: Mapping[str, Attribute] = field(default_factory=dict)
    rated_pressure: float | None = None
    rated_current: float | None = None

    def media(self, of_kind: str | None) -> tuple[str, ...]:
        """Return what it carries: of a shell the media of its contacts, else that of its kind, if there is one."""
        return tuple(dict.fromkeys(c.medium for c in self.contacts.values())) or (
            (of_kind,) if of_kind else ()
        )


SOURCE, EXPANSION, LOAD = "source", "expansion", "load"
ROLES = (SOURCE, EXPANSION, LOAD)
"""What a node can be: where its medium comes from, where a volume has room to expand, what is meant to be fed."""


@dataclass(frozen=True, slots=True)
class Node:
    """A point inside a part where its medium collects: a volume, a bus, a heater. `roles`: some of `ROLES`.

    `litres`: of a volume that its medium fills. What such a volume needs, its medium says. `remote`: the places from
    which it is read as well. `aliases`, `attributes`: as of a port. `rated_pressure` of a volume, in Pa.
    """

    name: str
    medium: str
    litres: float | None = None
    roles: frozenset[str] = frozenset()
    loop: str = ""
    tags: frozenset[str] = frozenset()
    title: str = ""
    remote: tuple[str, ...] = ()
    aliases: tuple[str, ...] = ()
    attributes: Mapping[str, Attribute] = field(default_factory=dict)
    rated_pressure: float | None = None


@dataclass(frozen=True, slots=True)
class InternalLink:
    """A link inside a part between two of its ports, contacts or nodes, made always or while `gate` carries.

    With `one_way` the medium goes from `a` to `b` only (check valve, diode).
    """

    a: str
    b: str
    gate: str = ""
    one_way: bool = False


@dataclass(frozen=True, slots=True)
class Thermal:
    """Lumped thermal data: capacity J/K, leak W/K, heater power W, temperatures K.

    `biot`, where given, lets an answer say whether the lump is a fair model (Bi < 0.1).
    """

    capacity: float
    leak: float
    start: float
    limit: float
    heater: float = 0.0
    biot: float | None = None


@dataclass(frozen=True, slots=True)
class Part:
    """A part number: its ports, nodes and internal links. With `flexible`, every link to it gives (a hose).

    `trapped`: seconds that its liquid may stay isolated before the pressure reaches the rated one. `remote`: of each
    quantity that is read from elsewhere as well, the places from which it is. `attributes` are those of its units too.
    `lock_box`: a unit of it, or a place that it fits out, is a group lock box (29 CFR 1910.147 (f)(3)).
    """

    id: str
    title: str = ""
    mass: float | None = None
    ports: Mapping[str, Port] = field(default_factory=dict)
    nodes: Mapping[str, Node] = field(default_factory=dict)
    links: tuple[InternalLink, ...] = ()
    flexible: bool = False
    thermal: Thermal | None = None
    trapped: float | None = None
    tags: frozenset[str] = frozenset()
    remote: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    aliases: tuple[str, ...] = ()
    attributes: Mapping[str, Attribute] = field(default_factory=dict)
    lock_box: bool = False
