"""What stands in a box: what is joined inside, group by group, the shut gates between, and what stands out."""

from __future__ import annotations

from collections.abc import Collection, Container, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field

from cfgtrack.model.defect import defects_on
from cfgtrack.model.hold import carries
from cfgtrack.model.lock import devices_on
from cfgtrack.model.part import EXPANSION, LOAD, SOURCE, InternalLink, Node
from cfgtrack.model.plant import HOLD, port_of
from cfgtrack.network.paths import Paths
from cfgtrack.show.flags import Flags
from cfgtrack.show.locks import with_locks
from cfgtrack.show.picture import Box, BoxRow, Sort
from cfgtrack.show.ties import Survey

FACING_NOTHING = "facing nothing"
_MANY = 4
_LISTED = 16


@dataclass(frozen=True, slots=True)
class Ends:
    """The lines that end at one box: for each port its row, and the text of every row."""

    row_of: dict[str, str] = field(default_factory=dict)
    texts: dict[str, str] = field(default_factory=dict)


def drawn_box(
    survey: Survey,
    owner: str,
    flags: Flags,
    groups: Sequence[tuple[BoxRow, ...]],
    members: Sequence[str] = (),
    *,
    at: bool = True,
) -> Box:
    """Return the box of a unit or place; with `members`, of all these, which are alike; with `at`, where that is."""
    plant = survey.plant
    thing = plant.units.get(owner) or plant.places[owner]
    part = plant.part_of(owner).title
    notes: list[str] = []
    if members:
        more = f" and {len(members) - _LISTED} more" if len(members) > _LISTED else ""
        notes.append(f"{len(members)} alike: {', '.join(members[:_LISTED])}{more}")
    if thing.aliases and not members:
        notes.append(f"also {', '.join(thing.aliases)}")
    if at and owner in plant.units and (place := survey.configuration.state(owner).value):
        notes.append(f"at {place}")
    return Box(
        owner,
        name=f"{members[0]} ... {members[-1]}" if members else "",
        title=part if members else thing.title or part,
        note=", ".join(notes),
        groups=tuple(rows for rows in groups if rows),
        flags=flags.owners.get(owner, ()),
        is_place=owner in plant.places and not plant.is_mobile(owner),
        moves=plant.is_mobile(owner),
    )


def box_rows(
    survey: Survey,
    owner: str,
    medium: str,
    ends: Ends,
    flags: Mapping[str, tuple[int, ...]],
    *,
    only: frozenset[int] | None = None,
    brief: bool = False,
) -> list[tuple[BoxRow, ...]]:
    """Return the groups of rows of one medium: each what is joined inside, or a run of shut gates.

    `only`: show only what is in one of these segments of the whole network. `brief`: only groups where lines end,
    and contacts of the same shells that face nothing.
    """
    if medium == HOLD:
        rows = [*([] if brief else hold_alarms(survey, owner)), *_hold_rows(survey, ends)]
        return [tuple(rows)] if rows else []
    inside = Inside(survey, owner, medium)
    groups: list[tuple[BoxRow, ...]] = []
    shown: set[str] = set()
    quiet: dict[str, list[str]] = {}
    drawn = {port_of(end) for end in ends.row_of}

    def faces_nothing(end: str) -> bool:
        return port_of(end) in drawn and not survey.facing(end)

    for members in inside.groups():
        if only is not None and survey.paths[medium].segment(members[0]) not in only:
            continue
        if brief and not any(member in ends.row_of or faces_nothing(member) for member in members):
            continue
        shown.update(members)
        groups.append(_shortened(tuple(_group(inside, members, ends, flags, quiet))))
    groups.append(tuple(_shut_rows(inside, shown)))
    if brief:
        quiet = {what: names for what, names in quiet.items() if what.startswith(FACING_NOTHING)}
    groups.append(tuple(_quiet_rows(quiet)))
    return [rows for rows in groups if rows]


def _shortened(rows: tuple[BoxRow, ...]) -> tuple[BoxRow, ...]:
    """Write a single node with a single line to it as one row."""
    if [row.sort for row in rows] in ([Sort.NODE, Sort.PORT], [Sort.ALARM, Sort.PORT]):
        node, port = rows
        flags = tuple(sorted({*node.flags, *port.flags}))
        return (BoxRow(f"{port.text}:  {node.text}", node.sort, port.key, flags),)
    return rows


class Inside:
    """One unit's or place's items of one medium, grouped by its own made links that go both ways."""

    def __init__(self, survey: Survey, owner: str, medium: str) -> None:
        self.survey = survey
        self.owner = owner
        self.medium = medium
        self.paths: Paths = survey.paths[medium]
        self.part = survey.plant.part_of(owner)
        self.items = [a for a in self.paths.network.items_of(owner) if self._is_item(a)]
        self._leader = {item: item for item in self.items}
        for link in self.links():
            if not link.one_way and self.is_made(link):
                self._join(self.address(link.a), self.address(link.b))

    def _is_item(self, address: str) -> bool:
        return self.paths.network.item(address) is not None

    def address(self, name: str) -> str:
        """Return the address of a name inside."""
        return f"{self.owner}:{name}"

    def links(self) -> Iterator[InternalLink]:
        """Yield the internal links of this medium."""
        for link in self.part.links:
            if self._is_item(self.address(link.a)) and self._is_item(self.address(link.b)):
                yield link

    def is_made(self, link: InternalLink) -> bool:
        """Return whether an internal link lets through."""
        return not link.gate or carries(self.survey.configuration, self.address(link.gate))

    def _join(self, a: str, b: str) -> None:
        a, b = self.leader(a), self.leader(b)
        if a != b:
            self._leader[max(a, b, key=self.items.index)] = min(a, b, key=self.items.index)

    def leader(self, item: str) -> str:
        """Return the item that stands for all that an item is joined to inside."""
        while self._leader[item] != item:
            item = self._leader[item]
        return item

    def groups(self) -> list[list[str]]:
        """Return the items, those that are joined inside together, in the part's order."""
        groups: dict[str, list[str]] = {}
        for item in self.items:
            groups.setdefault(self.leader(item), []).append(item)
        return list(groups.values())


def _group(
    inside: Inside,
    members: Sequence[str],
    ends: Ends,
    flags: Mapping[str, tuple[int, ...]],
    quiet: dict[str, list[str]],
) -> Iterator[BoxRow]:
    """Yield the rows of what is joined inside: nodes, open gates, one-way links, then ports."""
    plant = inside.survey.plant
    for address in members:
        node = plant.node(address)
        if node is not None:
            yield from _node_rows(inside, address, node, flags.get(address, ()))
    yield from _open_gates(inside, set(members))
    told: set[str] = set()
    for address in members:
        if plant.node(address) is not None:
            continue
        row = ends.row_of.get(address)
        if row is not None:
            if row not in told:
                told.add(row)
                marks = [flags.get(port, ()) for port, key in ends.row_of.items() if key == row]
                yield BoxRow(ends.texts[row], Sort.PORT, row, tuple(sorted({n for m in marks for n in m})))
            continue
        yield from _idle_port(inside, address, flags.get(address, ()), quiet)


def _idle_port(
    inside: Inside, address: str, flags: tuple[int, ...], quiet: dict[str, list[str]]
) -> Iterator[BoxRow]:
    """Yield a row for a port or contact without a line if it stands out, else note it under what it is."""
    name = address.partition(":")[2]
    state = inside.survey.configuration.state(port_of(address))
    if inside.paths.is_open_end(address):
        yield BoxRow(f"{name}  OPEN END", Sort.ALARM, address, flags)
    elif flags:
        text = f"{name}  {state.value}" + (f" to {state.other}" if state.other else "")
        yield BoxRow(text, Sort.ALARM, address, flags)
    elif state.other is not None:
        facing = inside.survey.facing(address)
        quiet.setdefault("not drawn" if facing else f"{FACING_NOTHING} of {state.other}", []).append(
            f"{name} to {', '.join(facing)}" if facing else name
        )
    else:
        quiet.setdefault(state.value, []).append(name)


def _node_rows(inside: Inside, address: str, node: Node, flags: tuple[int, ...]) -> Iterator[BoxRow]:
    words = [node.name]
    if node.litres is not None:
        words.append(f"{node.litres:g} l")
    words += [role for role in (SOURCE, EXPANSION) if role in node.roles]
    alarm = ""
    if node.litres is not None and inside.paths.is_cut_off(address):
        alarm = "CUT OFF"
    if LOAD in node.roles and not inside.paths.is_fed(address):
        alarm = f"NO {inside.medium.upper()}"
    if alarm:
        yield BoxRow("  ".join([*words, alarm]), Sort.ALARM, address, flags)
    elif flags or len(words) > 1 or LOAD in node.roles:
        yield BoxRow("  ".join(words), Sort.NODE, address, flags)
    else:
        yield BoxRow(words[0], Sort.QUIET, address)


def _open_gates(inside: Inside, members: set[str]) -> Iterator[BoxRow]:
    """Yield a row for the open gates within a group, and one for each made one-way link that leads out of it."""
    gates = [
        link.gate
        for link in inside.links()
        if link.gate and not link.one_way and inside.is_made(link) and inside.address(link.a) in members
    ]
    by_status: dict[str, list[str]] = {}
    for gate in dict.fromkeys(gates):
        by_status.setdefault(_status(inside, gate), []).append(gate)
    for status, names in by_status.items():
        yield BoxRow(f"{status}: {', '.join(names)}", Sort.OPEN_GATE)
    for link in inside.links():
        if link.one_way and inside.is_made(link) and inside.address(link.a) in members:
            gate = f" ({link.gate} {_status(inside, link.gate)})" if link.gate else ""
            yield BoxRow(f"{link.a} → {link.b} one way{gate}", Sort.OPEN_GATE)


def _status(inside: Inside, gate: str) -> str:
    """Return the status of a gate, with whose locks and tags are on it, and what can't be done to it."""
    now, address = inside.survey.configuration, inside.address(gate)
    return with_locks(now.state(address).value, devices_on(now, address), defects_on(now, address))


def _shut_rows(inside: Inside, shown: Collection[str]) -> Iterator[BoxRow]:
    """Yield a row for every gate that does not let through, with what it parts of what is shown, and from what."""
    parted: dict[str, list[str]] = {}
    for link in inside.links():
        if not link.gate or inside.is_made(link):
            continue
        if inside.address(link.a) in shown or inside.address(link.b) in shown:
            parted.setdefault(link.gate, []).append(f"{link.a} | {link.b}")
    bare = [gate for gate in parted if not list(inside.survey.configuration.devices_on(inside.address(gate)))]
    if len(bare) > _MANY:
        status = _status(inside, bare[0])
        yield BoxRow(f"{', '.join(bare)}: {status}", Sort.SHUT_GATE, inside.address(bare[0]))
        parted = {gate: links for gate, links in parted.items() if gate not in bare}
    for gate, links in parted.items():
        row = f"{gate} {_status(inside, gate)}:  {', '.join(links)}"
        yield BoxRow(row, Sort.SHUT_GATE, inside.address(gate))


def _quiet_rows(quiet: Mapping[str, Sequence[str]]) -> Iterator[BoxRow]:
    for what, names in quiet.items():
        listed = ", ".join(names) if len(names) <= _MANY else f"{len(names)} ports"
        yield BoxRow(f"{what}: {listed}", Sort.QUIET)


def _hold_rows(survey: Survey, ends: Ends) -> list[BoxRow]:
    return [BoxRow(text, Sort.PORT, key) for key, text in ends.texts.items() if _is_hold(survey, ends, key)]


def _is_hold(survey: Survey, ends: Ends, key: str) -> bool:
    return any(row == key and survey.medium_of(port) == HOLD for port, row in ends.row_of.items())


def lock_rows(
    survey: Survey, owner: str, media: Sequence[str] = (), *, only: Container[str] | None = None
) -> Iterator[BoxRow]:
    """Yield a row for every port with a lock, tag or defect, and for those of a unit or place itself.

    Left out are the gates of links of these `media`: there the mark stands beside their status. `only`: these ports.
    """
    now = survey.configuration
    if not now.with_devices():
        return
    defects = defects_on(now, owner)
    own = with_locks("", devices_on(now, owner), defects).strip()
    if own:
        yield BoxRow(own, Sort.ALARM if defects else Sort.PORT)
    shown = {
        link.gate for medium in media if medium != HOLD for link in Inside(survey, owner, medium).links()
    }
    for address in survey.plant.ports_of(owner):
        devices, defects = devices_on(now, address), defects_on(now, address)
        name = address.partition(":")[2]
        if (devices or defects) and name not in shown and (only is None or address in only):
            text = with_locks(now.state(address).value, devices, defects)
            yield BoxRow(f"{name} {text}", Sort.ALARM if defects else Sort.PORT)


def hold_alarms(survey: Survey, owner: str) -> Iterator[BoxRow]:
    """Say it when no place that stays holds a unit: an alarm when nobody carries it either, and it doesn't hang."""
    holding = survey.paths[HOLD].holding(owner)
    if owner not in survey.plant.units or holding.held:
        return
    if holding.bearers:
        yield BoxRow(f"held by {', '.join(holding.bearers)} alone", Sort.PORT)
    elif holding.is_loose:
        yield BoxRow("NOT HELD", Sort.ALARM)


def alarms(survey: Survey, owner: str) -> Iterator[BoxRow]:
    """Yield what stands out about a unit or place, for a box without inner rows."""
    plant = survey.plant
    for medium, paths in survey.paths.items():
        if medium == HOLD:
            continue
        ends = [p for p in plant.ports_of(owner) if medium in plant.media_of(p) and paths.is_open_end(p)]
        nodes = [(a, n) for a in plant.nodes_of(owner) if (n := plant.node(a)) and n.medium == medium]
        cut = [a for a, n in nodes if n.litres is not None and paths.is_cut_off(a)]
        dead = [a for a, n in nodes if LOAD in n.roles and not paths.is_fed(a)]
        yield from _alarm("OPEN END", ends)
        yield from _alarm("CUT OFF", cut)
        yield from _alarm(f"NO {medium.upper()}", dead)


def _alarm(what: str, addresses: Iterable[str]) -> Iterator[BoxRow]:
    names = [a.partition(":")[2] for a in addresses]
    if names:
        listed = ", ".join(names) if len(names) <= _MANY else f"{len(names)} of them"
        yield BoxRow(f"{what}: {listed}", Sort.ALARM)
