"""What a reader makes of a file in a foreign form: units, how they are joined, and what it says of itself.

Everything is a unit whose ports are mated as the file has them joined, so that each can be parted, and a unit in a
file of ours can be changed like any other.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise

from cfgtrack.files.definition import shipped
from cfgtrack.files.fields import made_id
from cfgtrack.model.action import FOUND, Action
from cfgtrack.model.attribute import Attribute, attribute_of
from cfgtrack.model.definition import Definition
from cfgtrack.model.naming import IN_PHRASES, folded, is_alias, is_line
from cfgtrack.model.part import InternalLink, Node, Part, Port
from cfgtrack.model.plant import Unit, owner_of

JOINTS = {
    "fluid": "fluid-disconnect",
    "power": "electrical-connector",
    "data": "data-connector",
    "bond": "bond-strap",
    "hold": "bolt",
}
"""Of each medium the shipped kind of port that two units are joined with."""

GATES = {"fluid": "valve", "power": "switch"}
"""Of each medium the shipped kind that opens and shuts a link."""

PASSING = {"valve": "open", "switch": "on"}
SHUT = {"valve": "shut", "switch": "off"}

_BODY = "body"


class Uniquely:
    """Gives each of several things a name of its own: the wanted one, or that with a number behind it.

    >>> free = Uniquely()
    >>> free("N"), free("N"), free("N-2"), free("N")
    ('N', 'N-2', 'N-2-2', 'N-3')
    """

    def __init__(self) -> None:
        self._given: set[str] = set()
        self._kept: set[str] = set()
        self._often: Counter[str] = Counter()

    def keep(self, names: Iterable[str]) -> None:
        """Keep names, of those that can be ids, for the things that are called exactly so."""
        self._kept.update(name for name in names if ident(name) == name)

    def __call__(self, wanted: str, *, said: str = "") -> str:
        """Return the name of what is called `said`, and take it."""
        if said == wanted:
            self._kept.discard(wanted)
        name = wanted
        while name in self._given or name in self._kept:
            self._often[wanted] += 1
            name = f"{wanted}-{self._often[wanted] + 1}"
        self._given.add(name)
        return name


@dataclass(slots=True)
class Drawing:
    """Units, joints and statuses, in the making. `form` is what the file is in, `came` what it holds in its own words.

    `guessed` and `left_out` say what the reader took to be so, and what it has no place for, each with the names that
    it is about. `ids` leads from what the file calls something, by its sort, to the id of the unit. `joined` are
    pairs of ports; `statuses` those of valves and switches.
    """

    form: str
    title: str = ""
    came: Counter[str] = field(default_factory=Counter)
    guessed: dict[str, list[str]] = field(default_factory=lambda: defaultdict(list))
    left_out: dict[str, list[str]] = field(default_factory=lambda: defaultdict(list))
    parts: dict[str, Part] = field(default_factory=dict)
    units: dict[str, Unit] = field(default_factory=dict)
    joined: list[tuple[str, str]] = field(default_factory=list)
    statuses: dict[str, str] = field(default_factory=dict)
    ids: dict[tuple[str, str], str] = field(default_factory=dict)
    _same: dict[str, str] = field(default_factory=dict)
    _free: Uniquely = field(default_factory=Uniquely)
    _free_part: Uniquely = field(default_factory=Uniquely)
    _aliases: dict[str, tuple[str, ...]] = field(default_factory=dict)
    _given: dict[str, None] = field(default_factory=dict)

    def unit(
        self,
        sort: str,
        name: str,
        shape: Part,
        *,
        called: str = "",
        title: str = "",
        loop: str = "",
        tags: Collection[str] = (),
        aliases: Collection[str] = (),
        attributes: Mapping[str, str] | None = None,
    ) -> str:
        """Add a unit and return its id, made from `called` (else sort and name); units of one shape are of one part.

        The file's own name is kept as the title, unless another is given or the id says it. What the file calls it, and
        `aliases`, are aliases where they mean nothing else. `attributes` are read as those
        of a definition file are: numbers with their units, dates, texts.
        """
        wanted = ident(called or f"{sort}-{name}".upper())
        unit_id = self._free(wanted, said=called)
        self.units[unit_id] = Unit(
            unit_id,
            self._part(sort, shape),
            title=clean(title) or ("" if unit_id == (called or name) else clean(called or f"{sort} {name}")),
            loop=clean(loop),
            tags=frozenset(ident(tag) for tag in tags if tag),
            attributes=said(attributes or {}),
        )
        self._aliases[unit_id] = tuple(dict.fromkeys(map(clean, (called, name, *aliases))))
        self._given.update(dict.fromkeys(map(clean, aliases)))
        self.ids.setdefault((sort, name), unit_id)
        return unit_id

    def _part(self, sort: str, shape: Part) -> str:
        """Return the part of this shape, made where there is none: sort, sort-2, ..."""
        label = ident(sort.lower())
        shape = replace(shape, title=shape.title or clean(sort))
        key = f"{label}\n{shape}"
        if key not in self._same:
            self._same[key] = self._free_part(label)
            self.parts[self._same[key]] = replace(shape, id=self._same[key])
        return self._same[key]

    def keep(self, names: Iterable[str]) -> None:
        """Keep names for the units that are called exactly so: another's may only look like one of them as an id."""
        self._free.keep(names)

    def join(self, one: str, other: str) -> None:
        """Have two ports mated."""
        self.joined.append((one, other))

    def definition(self, *, at: int) -> Definition:
        """Return the definition: everything mated and set as the file has it, as found at an instant."""
        ours = shipped()
        pairs = [self._found(pair, at, "mated") for pair in self.joined]
        singles = [self._found((port,), at, status) for port, status in self.statuses.items()]
        return Definition(
            media=ours.media,
            kinds=ours.kinds,
            parts=self.parts,
            units=dict(self._called()),
            initial=(*pairs, *singles),
            title=clean(self.title),
        )

    def _called(self) -> Iterator[tuple[str, Unit]]:
        """Yield the units with their aliases: those that no other has, and that are no id."""
        taken = {*IN_PHRASES, *self.units, *self.parts, *shipped().kinds, *shipped().media}
        often = Counter(folded(alias) for aliases in self._aliases.values() for alias in aliases)
        if shared := [alias for alias in self._given if often[folded(alias)] > 1]:
            self.left_out[SHARED] = shared
        for name, unit in self.units.items():
            own = self._aliases[name]
            free = (a for a in own if often[folded(a)] == 1 and is_alias(a) and a not in taken)
            yield name, replace(unit, aliases=tuple(free))

    def _found(self, subjects: tuple[str, ...], at: int, status: str) -> Action:
        if len(subjects) == 2:
            unit = self.units[owner_of(subjects[0])]
            kind = shipped().kinds[self.parts[unit.part].ports[subjects[0].partition(":")[2]].kind]
            status = kind.joined or kind.statuses[-1]
        return Action(f"initial:{subjects[0]}", FOUND, subjects, at, status=status, by=BY, initial=True)


SHARED = "names that several have, and so are none's alias"
BY = "drawing"
"""Who says how a plant stands that was read from a foreign file."""


def ident(text: str) -> str:
    """Return an id that is as near to a text as an id can be, of any text."""
    return made_id(text)[:_LONGEST_ID] or "X"


_LONGEST_ID = 60


def clean(text: str) -> str:
    """Return a text as a title can have it: on one line, without what no file can hold."""
    plain = "".join(c if c.isprintable() else " " for c in text)
    return " ".join(plain.encode("utf-8", "ignore").decode().split())[:200]


def said(attributes: Mapping[str, str]) -> dict[str, Attribute]:
    """Return attributes as a definition has them; blank ones are none."""
    texts = ((clean(name), clean(value)) for name, value in attributes.items())
    return {name: attribute_of(value) for name, value in texts if is_line(name) and is_line(value)}


def star(
    medium: str,
    ports: Sequence[str],
    *,
    litres: float | None = None,
    roles: Iterable[str] = (),
    gate: str = "",
    sizes: Mapping[str, str] | None = None,
    tags: Collection[str] = (),
    node: str = _BODY,
) -> Part:
    """Return the shape of what has one body to which each port leads; with a `gate`, only while that is open."""
    gates = {gate: Port(gate, GATES[medium])} if gate else {}
    halves = {p: Port(p, JOINTS[medium], size=(sizes or {}).get(p, "")) for p in ports}
    body = Node(node, medium, litres=rounded(litres), roles=frozenset(roles), tags=frozenset(tags))
    links = tuple(InternalLink(p, node, gate) for p in ports)
    return Part("", ports={**halves, **gates}, nodes={node: body}, links=links)


def through(
    medium: str,
    *,
    gates: Sequence[str] = (),
    one_way: bool = False,
    litres: float | None = None,
    size: str = "",
    body: bool = True,
) -> Part:
    """Return the shape of what leads from its port A to its port B: through gates in a row, or one way only.

    Between two gates is a node of its own; with `body` there is one behind port A in any case.
    """
    halves = {p: Port(p, JOINTS[medium], size=size) for p in "AB"}
    gated = {gate: Port(gate, GATES[medium]) for gate in gates}
    inner = [_BODY] if body else []
    inner += [f"{_BODY}{n}" for n in range(2, len(gates) + (0 if body else 1))]
    nodes = {name: Node(name, medium) for name in inner}
    if body:
        nodes[_BODY] = Node(_BODY, medium, litres=rounded(litres))
    points = ["A", *inner, "B"]
    row = list(pairwise(points))
    names = [*gates, *[""] * len(row)]
    links = tuple(InternalLink(a, b, gate, one_way) for (a, b), gate in zip(row, names, strict=False))
    return Part("", ports={**halves, **gated}, nodes=nodes, links=links)


def rounded(litres: float | None) -> float | None:
    """Return a volume as a definition file has it; None for what is none."""
    return float(f"{litres:.6g}") if litres is not None and 1e-9 < litres < 1e15 else None
