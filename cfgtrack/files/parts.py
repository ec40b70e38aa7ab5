"""Parts, read from a hardware definition: ports, nodes and internal links, from tables and from rows."""

from __future__ import annotations

import re
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass, field, fields, make_dataclass
from itertools import chain, groupby
from operator import attrgetter
from typing import Any, NamedTuple

from cfgtrack.files.fields import ID, Fields, Made, id_of, shown
from cfgtrack.files.listing import Row
from cfgtrack.files.table import Table
from cfgtrack.model.kind import Kind
from cfgtrack.model.naming import folded
from cfgtrack.model.part import ROLES, Contact, InternalLink, Node, Part, Port, Thermal
from cfgtrack.model.plant import HOLD
from cfgtrack.model.quantity import QUANTITIES
from cfgtrack.model.time import SECOND
from cfgtrack.model.unknown import UNKNOWN, no_such

_PATTERN = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]*/[1-9]\d{0,5}", re.ASCII)
_COUNTED = re.compile(r"(\d{1,5})\.\.(\d{1,5})", re.ASCII)
_MOST_COUNTED = 10_000
_LITRES = 1000.0
_SHOWN = 6


@dataclass(slots=True)
class PartRows:
    """What CSV files say about one part."""

    ports: list[Row] = field(default_factory=list)
    contacts: list[Row] = field(default_factory=list)
    nodes: list[Row] = field(default_factory=list)
    links: list[Row] = field(default_factory=list)
    wires: list[Row] = field(default_factory=list)

    def all(self) -> Iterator[Row]:
        """Yield every row."""
        return chain(self.ports, self.contacts, self.nodes, self.links, self.wires)

    def add(self, other: PartRows) -> None:
        """Take in what other rows say of the part."""
        for one in fields(PartRows):
            getattr(self, one.name).extend(getattr(other, one.name))


PART_LISTS = frozenset(one.name for one in fields(PartRows))
"""The lists whose rows say something of a part."""


@dataclass(frozen=True, slots=True)
class Known:
    """What a part may refer to: `kinds` are those that hold together, `kind_ids` all that are named."""

    kinds: Mapping[str, Kind]
    kind_ids: Collection[str]
    media: Collection[str]
    places: Collection[str]


def read_part(table: Fields, rows: PartRows, known: Known) -> Part:
    """Return the part of a [[part]] table or a row, and its `rows`; of its ports only those whose kind is known."""
    ends = _Ends(known, table.ident("id"), rows.contacts)
    ports = [*map(ends.port, _below(table, "port")), *ends.ports_of(rows.ports)]
    ports += _ends_of_wires(rows.wires, ends)
    ends.check_contacts()
    nodes = [*map(ends.node, _below(table, "node")), *ends.nodes_of(rows.nodes)]
    wires = [wire for row in rows.wires if (wire := _wire(row, ends)) is not None]
    links = [*_links(table, ends)] if isinstance(table, Table) else []
    links += [link for row in rows.links if (link := _link(ends.fields(row, "link"), ends)) is not None]
    links += [link for wire in wires for link in _of_wire(wire, ends)]
    nodes += [wire.node for wire in wires]
    thermal = table.table("thermal") if isinstance(table, Table) else None
    remote = table.table("remote") if isinstance(table, Table) else None
    trapped = table.duration("trapped")
    part = Part(
        id=table.ident("id"),
        title=table.text("title"),
        mass=table.quantity("mass", "mass"),
        ports={port.name: port for port in ports if port is not None},
        nodes={node.name: node for node in nodes if node is not None},
        links=tuple(links),
        flexible=table.flag("flexible"),
        thermal=None if thermal is None else _thermal(thermal),
        trapped=None if trapped is None else trapped / SECOND,
        tags=table.tags(),
        remote={} if remote is None else _read_from(remote, known),
        aliases=table.aliases_of("id"),
        attributes=table.attributes(),
        lock_box=table.flag("lock_box"),
    )
    table.finish()
    return part


def _below(table: Fields, name: str) -> Iterator[Table]:
    """Yield the tables of a field: a row has none."""
    if isinstance(table, Table):
        yield from table.tables(name)


def _read_from(table: Table, known: Known) -> dict[str, tuple[str, ...]]:
    """Return of each quantity of a [part.remote] table the places from which it is read."""
    found = {}
    for name in table.values:
        places = _places(table, name, known)
        if name not in QUANTITIES:
            table.note(name, UNKNOWN, no_such("quantity", name, QUANTITIES))
        found[name] = places
    table.finish()
    return found


def _places(fields: Fields, name: str, known: Known) -> tuple[str, ...]:
    """Return the places that a field lists, after noting those that nobody defines."""
    places = (id_of(one, known.places) for one in fields.words(name))
    return tuple(one for one in places if fields.is_known(name, "place", one, known.places))


class _Ends:
    """The ports, contacts and nodes of one part by name, with what is needed to judge its links.

    `medium` is None for a port that is no end of a link; a name that stands in `broken` is not judged. `called`: what
    else they are called. `rows` are those of its contacts that stand in lists of their own.
    """

    def __init__(self, known: Known, part: str, rows: Iterable[Row]) -> None:
        self.known = known
        self.part = part
        self._rows: dict[str, list[Row]] = {}
        for row in rows:
            self._rows.setdefault(row.text("port"), []).append(row)
        self.medium: dict[str, str | None] = {}
        self.kinds: dict[str, Kind] = {}
        self.broken: set[str] = set()
        self.where: dict[str, Fields | Row] = {}
        self.called: dict[str, str] = {}

    def fields(self, row: Row, what: str) -> Fields:
        """Return a row of this part for reading field by field."""
        fields = row.fields(f"part {self.part}, {what}")
        fields.text("part")
        return fields

    def ports_of(self, rows: Iterable[Row]) -> Iterator[Port | None]:
        """Yield the ports of rows of lists, as `port` does."""
        mine, where, kinds = self.medium, self.where, self.kinds
        for row, name, title, model in _likened(rows):
            if model is not None and name not in mine and name not in self._rows:
                kind, medium, contacts, before_title, after_title = model
                mine[name] = medium
                where[name] = row
                for contact in contacts:
                    mine[f"{name}:{contact.name}"] = contact.medium
                    where[f"{name}:{contact.name}"] = row
                kinds[name] = kind
                port = _WRITABLE_PORT(name, *before_title, title, *after_title)
                port.__class__ = Port
                yield port
                continue
            before, rows_left = row.listing.noted, len(self._rows)
            port = self.port(self.fields(row, "port"))
            is_model = port is not None and not port.aliases
            if is_model and row.listing.noted == before and len(self._rows) == rows_left:
                assert port is not None
                shell = (kinds[port.name], mine[port.name], tuple(port.contacts.values()))
                row.listing.remember(row, (*shell, *_around_title(port)))
            yield port

    def nodes_of(self, rows: Iterable[Row]) -> Iterator[Node | None]:
        """Yield the nodes of rows of lists, as `node` does."""
        for row, name, title, model in _likened(rows):
            if model is not None and name not in self.medium:
                medium, before_title, after_title = model
                self.medium[name] = medium
                self.where[name] = row
                node = _WRITABLE_NODE(name, *before_title, title, *after_title)
                node.__class__ = Node
                yield node
                continue
            before = row.listing.noted
            node = self.node(self.fields(row, "node"))
            if node is not None and not node.aliases and row.listing.noted == before:
                row.listing.remember(row, (node.medium, *_around_title(node)))
            yield node

    def port(self, fields: Fields) -> Port | None:
        """Return the port of a table or row, None when it has no usable name or kind, or is there twice."""
        name = self._name(fields, "port")
        kind = self.known.kinds.get(fields.reference("kind", "kind", self.known.kind_ids, required=True))
        contacts = self._contacts(fields, name, kind)
        port = Port(
            name=name,
            kind=kind.id if kind else "",
            size=fields.text("size"),
            keying=fields.text("keying"),
            gender=fields.text("gender"),
            flexible=fields.flag("flexible"),
            loop=fields.text("loop"),
            tags=fields.tags(),
            cycles=fields.count("cycles"),
            torque=_torque(fields),
            pattern=_pattern(fields),
            title=fields.text("title"),
            site=fields.reference("site", "place", self.known.places),
            remote=_places(fields, "remote", self.known),
            reach=_places(fields, "reach", self.known),
            contacts={contact.name: contact for contact in contacts},
            aliases=self._aliases(fields, name),
            attributes=fields.attributes(),
            rated_pressure=fields.quantity("rated_pressure", "pressure"),
            rated_current=fields.quantity("rated_current", "current"),
        )
        fields.finish()
        if kind is None:
            self.broken.add(name)
            return None
        if not self._add(fields, name, kind.medium if kind.joined and not contacts else None):
            return None
        self.kinds[name] = kind
        for contact in contacts:
            self._add(fields, f"{name}:{contact.name}", contact.medium)
            self.called.update(
                {folded(f"{name}:{alias}"): f"{name}:{contact.name}" for alias in contact.aliases}
            )
        return port

    def _contacts(self, fields: Fields, port: str, kind: Kind | None) -> list[Contact]:
        """Return the contacts of a shell: those named in short, of its kind's medium, in tables and in rows."""
        own = "" if kind is None else kind.medium or ""
        found: dict[str, Contact] = {}
        for name in (one for word in fields.words("contacts") for one in _counted(word)):
            if not ID.fullmatch(name):
                fields.note("contacts", "bad-id", f"expected names of contacts, found {shown(name)}")
            elif name in found:
                fields.note("contacts", "duplicate", f"the contact {name} is there twice")
            else:
                found[name] = Contact(name, own)
        tables = fields.tables("contact") if isinstance(fields, Table) else ()
        rows = (self._contact_row(row) for row in self._rows.pop(port, ()))
        for one in chain(tables, rows):
            contact = self._contact(one, own)
            if contact.name in found:
                one.note("name", "duplicate", f"{port} has a contact {contact.name} already")
            elif contact.name:
                found[contact.name] = contact
        if found and kind is not None and (kind.joined is None or kind.medium == HOLD):
            sentence = f"{port} is of kind {kind.id}: only a connector or coupling has contacts"
            fields.note("name", "no-shell", sentence)
            return []
        return list(found.values())

    def _contact_row(self, row: Row) -> Fields:
        fields = self.fields(row, "contact")
        fields.text("port", required=True)
        return fields

    def _contact(self, fields: Fields, own: str) -> Contact:
        contact = Contact(
            name=fields.ident("name"),
            medium=fields.reference("medium", "medium", self.known.media) or own,
            loop=fields.text("loop"),
            tags=fields.tags(),
            title=fields.text("title"),
            aliases=fields.aliases_of("name"),
            attributes=fields.attributes(),
            rated_current=fields.quantity("rated_current", "current"),
        )
        if contact.medium == HOLD:
            fields.note("medium", "no-contact", "what holds is a port of its own: a bolt, a latch")
        fields.finish()
        return contact

    def check_contacts(self) -> None:
        """Note rows of contacts whose port nobody defines."""
        for port, rows in self._rows.items():
            for row in map(self._contact_row, rows):
                if port and port not in self.broken:
                    row.note("port", UNKNOWN, no_such("port", port, self.kinds), thing=True)

    def end(self, row: Row, name: str, contacts: Mapping[str, Contact]) -> Port | None:
        """Return a connector that a table of wires makes, None after noting that nobody knows its kind."""
        mapping = row.listing.mapping
        kind = self.known.kinds.get(mapping.table.reference("ends", "kind", self.known.kind_ids))
        if kind is None:
            self.broken.update((name, *(f"{name}:{contact}" for contact in contacts)))
            return None
        self.medium[name] = None if contacts else kind.medium
        self.medium.update({f"{name}:{contact.name}": contact.medium for contact in contacts.values()})
        self.where.update(dict.fromkeys((name, *(f"{name}:{contact}" for contact in contacts)), row))
        self.kinds[name] = kind
        return Port(name, kind.id, contacts=dict(contacts))

    def node(self, fields: Fields) -> Node | None:
        """Return the node of a table or row, None when it has no usable name or medium, or is there twice."""
        name = self._name(fields, "node")
        medium = fields.reference("medium", "medium", self.known.media, required=True)
        volume = fields.quantity("litres", "volume")
        node = Node(
            name=name,
            medium=medium,
            litres=None if volume is None else float(f"{volume * _LITRES:.12g}"),
            roles=frozenset(role for role in ROLES if fields.flag(role)),
            loop=fields.text("loop"),
            tags=fields.tags(),
            title=fields.text("title"),
            remote=_places(fields, "remote", self.known),
            aliases=self._aliases(fields, name),
            attributes=fields.attributes(),
            rated_pressure=fields.quantity("rated_pressure", "pressure"),
        )
        if node.rated_pressure is not None and node.litres is None:
            fields.note(
                "rated_pressure", "unexpected", "only a volume is rated for a pressure: say its litres"
            )
        fields.finish()
        if not medium:
            self.broken.add(name)
            return None
        return node if self._add(fields, name, medium) else None

    def _name(self, fields: Fields, what: str) -> str:
        name = fields.ident("name")
        if name:
            fields.label = f"{fields.label.rpartition(', ')[0]}, {what} {name}".removeprefix(", ")
        return name

    def _aliases(self, fields: Fields, name: str) -> tuple[str, ...]:
        aliases = fields.aliases_of("name")
        self.called.update({folded(alias): name for alias in aliases})
        return aliases

    def name_of(self, text: str) -> str:
        """Return the name that a text means: itself where it is one, or means none."""
        if isinstance(text, Made):
            return self.called.get(folded(text.said)) or self.name_of(str(text))
        return text if text in self.medium or text in self.broken else self.called.get(folded(text), text)

    def _add(self, fields: Fields, name: str, medium: str | None) -> bool:
        if not name:
            return False
        if name in self.medium:
            fields.note(
                "name", "duplicate", f"the part has {name} already, at {self.where[name].spot('name').where}"
            )
            return False
        self.medium[name] = medium
        self.where[name] = fields
        return True

    def has(self, name: str) -> bool:
        """Return whether the part uses a name, usable or not."""
        return name in self.medium or name in self.broken

    def contacts_of(self, port: str) -> list[str]:
        """Return the names of the contacts of a shell."""
        return [name.partition(":")[2] for name in self.medium if name.startswith(f"{port}:")]

    def names(self) -> Collection[str]:
        """Return every name that the part uses, usable or not."""
        return [*self.medium, *sorted(self.broken)]


def _counted(word: str) -> Iterator[str]:
    """Yield the names that a word counts up: ``1..4`` is four of them."""
    found = _COUNTED.fullmatch(word)
    if found is None or not 0 <= int(found[2]) - int(found[1]) < _MOST_COUNTED:
        yield word
    else:
        yield from (str(number) for number in range(int(found[1]), int(found[2]) + 1))


def _writable(made: type[Port] | type[Node]) -> type[Any]:
    """Return a class of the same fields that isn't frozen: an instance of it becomes a `made` when it is whole.

    What is frozen writes each of its fields by a call, which takes four times as long; a list may have 100,000 ports.
    """
    return make_dataclass(made.__name__, [(one.name, Any) for one in fields(made)], slots=True)


_WRITABLE_PORT, _WRITABLE_NODE = _writable(Port), _writable(Node)


def _likened(rows: Iterable[Row]) -> Iterator[tuple[Row, str, str, Any]]:
    """Yield rows of several lists as `Listing.likened` does those of one."""
    for listing, mine in groupby(rows, attrgetter("listing")):
        yield from listing.likened(mine)


def _around_title(one: Port | Node) -> tuple[tuple[Any, ...], tuple[Any, ...]]:
    """Return the values of a port or node between its name, which comes first, and its title, and those behind that."""
    names = [each.name for each in fields(one)]
    values = [getattr(one, name) for name in names]
    at = names.index("title")
    return tuple(values[1:at]), tuple(values[at + 1 :])


def _torque(fields: Fields) -> tuple[float, float] | None:
    if fields.is_row:
        low = fields.quantity("torque_low", "torque", required="torque_high" in fields.values)
        high = fields.quantity("torque_high", "torque", required="torque_low" in fields.values)
        name = "torque_high"
    else:
        value: Any = fields.get("torque")
        if value is None:
            return None
        if not isinstance(value, list) or len(value) != 2:
            fields.wrong("torque", 'a range such as ["20 N*m", "30 N*m"]', value)
            return None
        low, high = (fields.measured("torque", one, "torque") for one in value)
        name = "torque"
    if low is None or high is None:
        return None
    if low > high:
        fields.note(name, "out-of-range", f"expected the low torque first, found {low:g} to {high:g} N*m")
        return None
    return low, high


def _pattern(fields: Fields) -> str:
    value = fields.text("pattern")
    if value and not _PATTERN.fullmatch(value):
        fields.note("pattern", "bad-pattern", f"expected a joint and a turn such as base/3, found '{value}'")
        return ""
    return value


class _Written(NamedTuple):
    """A link as it is written: its ends, its gate, and what notes a problem of one of them."""

    a: str
    b: str
    gate: str
    note: Callable[..., None]


def _links(table: Table, ends: _Ends) -> Iterator[InternalLink]:
    for one in table.tables("link"):
        link = _link(one, ends)
        if link is not None:
            yield link
    short = table.get("links")
    if short is not None and not isinstance(short, list):
        table.wrong("links", 'a list of links such as [["F1", "VOL"]]', short)
        return
    for i, names in enumerate(short or ()):
        if (
            not isinstance(names, list)
            or len(names) not in (2, 3)
            or not all(isinstance(n, str) for n in names)
        ):
            sentence = (
                f'expected two ends and perhaps a gate such as ["F1", "VOL", "V1"], found {shown(names)}'
            )
            table.note_element(("links", i), "wrong-type", sentence)
            continue

        def note(_: str, code: str, sentence: str, *, thing: bool = False, i: int = i) -> None:
            table.note_element(("links", i), code, sentence, thing=thing)

        link = _made(_Written(names[0], names[1], "".join(names[2:]), note), ends)
        if link is not None:
            yield link


def _link(fields: Fields, ends: _Ends) -> InternalLink | None:
    a, b = fields.text("a", required=True), fields.text("b", required=True)
    found = _Written(a, b, fields.text("gate"), fields.note)
    one_way = fields.flag("one_way")
    fields.finish()
    link = _made(found, ends)
    return None if link is None else InternalLink(link.a, link.b, link.gate, one_way)


def _ends_of_wires(rows: Iterable[Row], ends: _Ends) -> Iterator[Port]:
    """Yield the connectors that wires end at and nobody defines, where a table of wires says that it makes them."""
    shells: dict[str, tuple[Row, dict[str, Contact]]] = {}
    for row in rows:
        kind = row.listing.mapping.ends
        for end in ("a", "b") if kind else ():
            shell, _, contact = row.text(end).partition(":")
            if not shell or ends.has(shell) or not (ID.fullmatch(shell) and ID.fullmatch(contact or shell)):
                continue
            contacts = shells.setdefault(shell, (row, {}))[1]
            if contact:
                contacts[contact] = Contact(contact, row.text("medium"))
    for shell, (row, contacts) in shells.items():
        port = ends.end(row, shell, contacts)
        if port is not None:
            yield port


class _Wire(NamedTuple):
    """A wire: what it is itself, and the fields that say where it goes."""

    node: Node
    fields: Fields


def _wire(row: Row, ends: _Ends) -> _Wire | None:
    """Return a wire, which is a node between its two ends; None when it has no usable name or medium."""
    fields = ends.fields(row, "wire")
    fields.text("a", required=True)
    fields.text("b", required=True)
    node = ends.node(fields)
    return None if node is None else _Wire(node, fields)


def _of_wire(wire: _Wire, ends: _Ends) -> Iterator[InternalLink]:
    """Yield the two links of a wire."""
    wires = wire.node.name
    for end in ("a", "b"):
        name = ends.name_of(wire.fields.text(end))
        a, b = (name, wires) if end == "a" else (wires, name)
        link = _made(_Written(a, b, "", _ends_note(wire.fields, end)), ends) if name else None
        if link is not None:
            yield link


def _ends_note(fields: Fields, end: str) -> Callable[..., None]:
    """Return what notes a problem of a link at the one of its ends that was said."""

    def note(_: str, code: str, sentence: str, *, thing: bool = False) -> None:
        fields.note(end, code, sentence, thing=thing)

    return note


def _made(link: _Written, ends: _Ends) -> InternalLink | None:
    """Return the link, None after noting why it can't be one."""
    link = link._replace(
        a=ends.name_of(link.a), b=ends.name_of(link.b), gate=link.gate and ends.name_of(link.gate)
    )
    good = [_is_end(link, name, end, ends) for name, end in (("a", link.a), ("b", link.b))]
    if not all(good):
        return None
    if link.a == link.b:
        link.note("b", "link-end", f"{link.a} can't be linked to itself: b must be another port or node")
        return None
    media = {name: ends.medium.get(name) for name in (link.a, link.b) if name not in ends.broken}
    if len(set(media.values())) > 1:
        told = " and ".join(f"{name} is {medium}" for name, medium in media.items())
        link.note("b", "media-differ", f"{told}: a link has one medium")
        return None
    medium = next(iter(media.values()), None)
    if link.gate and not _is_gate(link, medium, ends):
        return None
    return InternalLink(link.a, link.b, link.gate)


def _is_end(link: _Written, name: str, end: str, ends: _Ends) -> bool:
    if not end:
        return False
    if not ends.has(end):
        shell, inside = end.partition(":")[0], ends.contacts_of(end.partition(":")[0])
        why = f"{shell} has no contact {end.partition(':')[2]}; it has {', '.join(inside[:_SHOWN])}"
        if not inside or ":" not in end:
            why = no_such("port, contact or node", end, ends.names(), ends.called)
        link.note(name, UNKNOWN, why, thing=True)
        return False
    if end not in ends.broken and ends.medium[end] is None:
        inside = ends.contacts_of(end)
        why = f"{end} is of kind {ends.kinds[end].id}: a link ends at a node or at one half of an interface"
        if inside:
            why = f"{end} is a shell: a link ends at one of its contacts, such as {end}:{inside[0]}"
        link.note(name, "link-end", why)
        return False
    return True


def _is_gate(link: _Written, medium: str | None, ends: _Ends) -> bool:
    gate = link.gate
    if gate in ends.broken:
        return False
    kind = ends.kinds.get(gate)
    if kind is None:
        what = "contact" if ":" in gate else "node"
        is_node = f"{gate} is a {what}, not a port" if gate in ends.medium else ""
        link.note("gate", UNKNOWN, is_node or no_such("port", gate, ends.kinds, ends.called), thing=True)
    elif kind.joined is not None:
        link.note(
            "gate",
            "not-a-gate",
            f"{gate} is of kind {kind.id}, which has a mate: a gate is a valve or switch",
        )
    elif kind.carries is None:
        link.note("gate", "not-a-gate", f"{gate} is of kind {kind.id}, which never lets anything through")
    elif kind.medium is not None and medium is not None and kind.medium != medium:
        link.note("gate", "media-differ", f"{gate} gates {kind.medium}, the link is {medium}")
    else:
        return True
    return False


def _thermal(table: Table) -> Thermal | None:
    """Return the data of a [part.thermal] table in SI units, None after noting what is missing or wrong."""
    capacity = table.quantity("capacity", "heat capacity", required=True)
    leak = table.quantity("leak", "thermal conductance", required=True)
    start = table.quantity("start", "temperature", required=True)
    limit = table.quantity("limit", "temperature", required=True)
    heater = table.quantity("heater", "power")
    biot = table.number("biot")
    table.finish()
    if capacity == 0:
        table.note("capacity", "out-of-range", "expected more than 0 J/K")
    if limit is not None and limit == start:
        sentence = "it is limit too: nobody can tell whether the unit may grow no colder or no warmer"
        table.note("start", "contradiction", sentence)
    if capacity is None or leak is None or start is None or limit is None:
        return None
    return Thermal(capacity, leak, start, limit, heater=heater or 0.0, biot=biot)
