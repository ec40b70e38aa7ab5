"""A drawing from two lists: what there is, and what is joined to what. What a thing is, is guessed from its words.

A unit has a body for each medium in which it is joined to something. What its words call a valve or breaker has a gate
to that; a check valve or diode passes from the joint that leads to it to the one that leads from it. A joint that is
called a valve, a pipe or a cable is a unit between the two.
"""

from __future__ import annotations

import re
from collections import Counter, defaultdict
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from cfgtrack.files.cell import BARE_NUMBER
from cfgtrack.files.fields import Fields
from cfgtrack.files.foreign.drawing import (
    GATES,
    JOINTS,
    PASSING,
    SHUT,
    Drawing,
    Uniquely,
    clean,
    ident,
    rounded,
)
from cfgtrack.files.foreign.words import GATE, LINE, ONE_WAY, STORE, Guess, guess
from cfgtrack.files.sheet import read_sheet
from cfgtrack.files.source import read_text
from cfgtrack.model.naming import folded, is_alias
from cfgtrack.model.part import EXPANSION, LOAD, SOURCE, InternalLink, Node, Part, Port
from cfgtrack.model.trouble import Problems
from cfgtrack.model.unknown import AMBIGUOUS, UNKNOWN, no_such

UNIT_COLUMNS = ("name", "kind", "title", "medium", "status", "litres", "loop")
JOINT_COLUMNS = ("a", "b", "name", "kind", "medium", "status", "one_way")
_PASSES = {
    "fluid": {"open": True, "on": True, "shut": False, "closed": False, "off": False},
    "power": {"on": True, "closed": True, "off": False, "open": False},
}
"""Whether what has a status lets through: an open valve does, an open switch doesn't, as each trade means the word."""


_JOINED = ("joined", "mated", "connected")
"""What may be said of a joint besides: that it is one."""


Refuse = Callable[[str, str, str], None]
"""Takes a column, a code and a sentence, of what can't be taken as it is said."""


@dataclass(slots=True)
class Listed:
    """One thing: its name, and what is said of it. `key` is what joints call it by.

    `refuse` is told what can't be; without it that is left out by name.
    """

    key: str
    kind: str = ""
    title: str = ""
    medium: str = ""
    status: str = ""
    litres: float | None = None
    loop: str = ""
    roles: frozenset[str] = frozenset()
    refuse: Refuse | None = None


@dataclass(slots=True)
class Joined:
    """One joint of two things, each perhaps at a port that is named. With `one_way` it passes from `a` to `b` only."""

    a: str
    b: str
    port_a: str = ""
    port_b: str = ""
    name: str = ""
    kind: str = ""
    medium: str = ""
    status: str = ""
    one_way: bool = False
    refuse: Refuse | None = None


def drawing_of(form: str, title: str, units: Sequence[Listed], joints: Sequence[Joined]) -> Drawing:
    """Return the drawing that two lists make. What joins things that aren't listed is left out, by name."""
    return _Lists(Drawing(form, title=title), units, joints).drawing()


@dataclass(slots=True)
class _Half:
    """A port of a unit, before it is one: its medium, which end of its joint it is, whether that passes one way, and
    what it is `called` where that is no id.
    """

    name: str
    medium: str
    end: str
    one_way: bool
    called: str


class _Lists:
    def __init__(self, found: Drawing, units: Sequence[Listed], joints: Sequence[Joined]) -> None:
        self.found = found
        self.units = {unit.key: unit for unit in units}
        self.guesses = {
            unit.key: guess(unit.kind) if unit.kind else guess(unit.title or unit.key) for unit in units
        }
        self.halves: dict[str, list[_Half]] = defaultdict(list)
        self.names: dict[str, Uniquely] = defaultdict(Uniquely)
        self.joints = joints
        for joint in joints:
            for key, port in ((joint.a, joint.port_a), (joint.b, joint.port_b)):
                self.names[key].keep([port])
        self.pairs: list[tuple[tuple[str, str], tuple[str, str]]] = []

    def drawing(self) -> Drawing:
        """Return what the lists make."""
        for number, joint in enumerate(self.joints, 1):
            if joint.a not in self.units or joint.b not in self.units:
                self.found.left_out["joints to what isn't listed"].append(f"{joint.a} - {joint.b}")
            elif joint.a == joint.b:
                self.found.left_out["joints of a thing to itself"].append(joint.a)
            else:
                self._joint(joint, number)
        self.found.keep(_called(unit) for unit in self.units.values())
        ids = {}
        for unit in self.units.values():
            ids[unit.key] = self._unit(unit)
        for (a, port_a), (b, port_b) in self.pairs:
            self.found.join(f"{ids[a]}:{port_a}", f"{ids[b]}:{port_b}")
        return self.found

    # --- joints ---

    def _joint(self, joint: Joined, number: int) -> None:
        means = guess(joint.kind or joint.name)
        medium = joint.medium or means.medium or self._medium_of(joint)
        status = joint.status.casefold()
        if status in _JOINED:
            status = ""
        gated = medium in GATES and (means.does == GATE or status in _PASSES[medium])
        if status and not gated:
            known = [*_PASSES.get(medium, ()), *_JOINED]
            expected = f"expected {', '.join(known)}, or no joint where there is none, found '{joint.status}'"
            self._refuse(joint, joint.name or f"{joint.a} - {joint.b}", expected)
            status = ""
        if not gated and means.does not in (LINE, ONE_WAY):
            self.found.came["joints"] += 1
            self._pair((joint.a, joint.port_a), (joint.b, joint.port_b), medium, one_way=joint.one_way)
            return
        key = f"\0{number}"
        name = joint.name or f"{joint.kind or 'joint'}-{number}"
        self.units[key] = Listed(key, joint.kind, name, medium, status, refuse=joint.refuse)
        self.guesses[key] = Guess(medium, GATE if gated else means.does, means.word or "status")
        self._pair((joint.a, joint.port_a), (key, "A"), medium, one_way=joint.one_way)
        self._pair((key, "B"), (joint.b, joint.port_b), medium, one_way=joint.one_way)

    def _medium_of(self, joint: Joined) -> str:
        """Return the medium of a joint whose own words don't say: that of one of its ends, else fluid."""
        ends = [self.units[key] for key in (joint.a, joint.b)]
        told = [unit.medium for unit in ends if unit.medium]
        told += [self.guesses[unit.key].medium for unit in ends if self.guesses[unit.key].medium]
        if told:
            return Counter(told).most_common(1)[0][0]
        self.found.guessed["taken for joints of a fluid: nothing says"].append(f"{joint.a} - {joint.b}")
        return "fluid"

    def _pair(self, a: tuple[str, str], b: tuple[str, str], medium: str, *, one_way: bool) -> None:
        ends = []
        for (key, port), end in ((a, "a"), (b, "b")):
            name = self.names[key](ident(port) if port else f"P{len(self.halves[key]) + 1}", said=port)
            called = clean(port) if is_alias(clean(port)) and port != name else ""
            self.halves[key].append(_Half(name, medium, end, one_way, called))
            ends.append((key, name))
        self.pairs.append((ends[0], ends[1]))

    # --- units ---

    def _unit(self, unit: Listed) -> str:
        means, halves = self.guesses[unit.key], self.halves[unit.key]
        media = list(dict.fromkeys(half.medium for half in halves)) or [
            unit.medium or means.medium or "fluid"
        ]
        main = next((m for m in (unit.medium, means.medium) if m in media), media[0])
        called = _called(unit)
        sort = unit.kind or means.word or "unit"
        shape = self._shape(unit, means, halves, media, main)
        unit_id = self.found.unit(sort, called, shape, called=called, title=unit.title, loop=unit.loop)
        self.found.came["units" if not unit.key.startswith("\0") else "units in joints"] += 1
        gate = next((p for p in shape.ports.values() if p.kind in PASSING), None)
        if gate is not None:
            self.found.statuses[f"{unit_id}:{gate.name}"] = self._status(unit, gate.kind, main, unit_id)
        elif unit.status:
            expected = f"expected none, as nothing says that {called} opens and shuts, found '{unit.status}'"
            self._refuse(unit, unit_id, expected)
        if means.does and not unit.roles:
            self.found.guessed[f"taken for {_SAID[means.does]}, by the word {means.word}"].append(unit_id)
        return unit_id

    def _status(self, unit: Listed, kind: str, medium: str, unit_id: str) -> str:
        passes = _PASSES[medium].get(unit.status.casefold())
        if passes is None and unit.status:
            expected = f"expected {', '.join(_PASSES[medium])} of a {kind}, found '{unit.status}'"
            self._refuse(unit, unit_id, expected)
        elif passes is None:
            self.found.guessed[f"taken to be {PASSING[kind]}: nothing says"].append(unit_id)
        return SHUT[kind] if passes is False else PASSING[kind]

    def _refuse(self, thing: Listed | Joined, name: str, expected: str) -> None:
        """Have a status refused, or left out by name."""
        if thing.refuse is not None:
            thing.refuse("status", UNKNOWN, expected)
        else:
            self.found.left_out["statuses that can't be read"].append(f"{name}: {thing.status}")

    def _shape(
        self, unit: Listed, means: Guess, halves: Sequence[_Half], media: Sequence[str], main: str
    ) -> Part:
        """Return the shape: a body for each medium; through a gate, or one way, in the medium that it is about."""
        gated = means.does == GATE and main in GATES and (not unit.medium or unit.medium == main)
        gate = self.names[unit.key]("V" if main == "fluid" else "S") if gated else ""
        ports = {half.name: Port(half.name, JOINTS[half.medium]) for half in halves}
        often = Counter(folded(half.called) for half in halves)
        for half in halves:
            if half.called and often[folded(half.called)] == 1 and half.called not in ports:
                ports[half.name] = replace(ports[half.name], aliases=(half.called,))
        gates = {gate: Port(gate, GATES[main])} if gate else {}
        mine = [half for half in halves if half.medium == main]
        nodes, links = {}, []
        for medium in media:
            body = "body" if len(media) == 1 else f"body-{medium}"
            is_main = medium == main
            both_ways = means.does == GATE and not any(half.one_way for half in mine)
            if is_main and len(mine) == 2 and (both_ways or means.does == ONE_WAY):
                enter, leave = mine if mine[0].end == "b" or mine[1].end == "a" else mine[::-1]
                links.append(InternalLink(enter.name, leave.name, gate, means.does == ONE_WAY))
                continue
            litres = unit.litres if is_main else None
            roles = unit.roles or (_ROLES.get(means.does, frozenset()) if is_main else frozenset())
            nodes[body] = Node(body, medium, litres=rounded(litres), roles=roles)
            for half in (half for half in halves if half.medium == medium):
                ends = (half.name, body) if half.end == "b" else (body, half.name)
                links.append(InternalLink(*ends, gate if is_main else "", half.one_way))
        return Part("", ports={**ports, **gates}, nodes=nodes, links=tuple(links))


def _called(unit: Listed) -> str:
    """Return what a thing is called: one that is a joint is told by its number alone."""
    return unit.title if unit.key.startswith("\0") else unit.key


_ROLES: Mapping[str, frozenset[str]] = {
    SOURCE: frozenset((SOURCE,)),
    EXPANSION: frozenset((EXPANSION,)),
    STORE: frozenset((SOURCE, EXPANSION)),
    LOAD: frozenset((LOAD,)),
}
_SAID = {
    GATE: "something that opens and shuts",
    ONE_WAY: "something that passes one way only",
    LINE: "a line between two others",
    SOURCE: "a source",
    EXPANSION: "room to expand",
    STORE: "a source with room to expand",
    LOAD: "a load",
}


# --- the two lists as CSV files ---------------------------------------------------------------------------------------


def read_lists(units: Path, joints: Path | None, media: Iterable[str]) -> Drawing:
    """Return the drawing that a CSV file of units and one of joints make. BadInput with every problem of both."""
    problems = Problems()
    known = list(media)
    listed: dict[str, Listed] = {}
    for row in _rows(units, "unit", UNIT_COLUMNS, ("name",), problems):
        one = _listed(row, known)
        if one.key in listed:
            row.note("name", "duplicate", f"there is {one.key} already")
        elif one.key:
            listed[one.key] = one
    if not listed and not problems:
        problems.add(str(units), "empty", "expected units, found a header and no rows")
    joined: list[Joined] = []
    used: dict[str, str] = {}
    for row in _rows(joints, "joint", JOINT_COLUMNS, ("a", "b"), problems) if joints is not None else ():
        joined += _joined(row, known, listed, used)
    found = drawing_of("two lists", "", list(listed.values()), joined)
    problems.raise_if_any()
    return found


def _rows(
    path: Path, what: str, columns: Sequence[str], required: Sequence[str], problems: Problems
) -> Iterator[Fields]:
    text = read_text(path, problems)
    lines = [] if text is None else text.splitlines(keepends=True)
    for row in read_sheet(lines, str(path), columns, required, problems) if lines else ():
        yield row.fields(str(path), problems, label=what)


def _listed(row: Fields, media: Sequence[str]) -> Listed:
    said = row.text("litres")
    litres = row.measured("litres", volume_text(said), "volume") if said else None
    return Listed(
        row.text("name", required=True),
        row.text("kind"),
        row.text("title"),
        row.reference("medium", "medium", media),
        row.text("status"),
        None if litres is None else litres * 1000,
        row.text("loop"),
        refuse=row.note,
    )


def volume_text(text: str) -> str:
    """Return a volume with its unit: a number alone is of litres."""
    return f"{text} l" if BARE_NUMBER.fullmatch(text) else text


def _split(said: str) -> Iterator[tuple[str, str]]:
    """Yield the unit and the port that the end of a joint may be, at each of its colons."""
    for colon in re.finditer(":", said):
        yield said[: colon.start()], said[colon.end() :]


def _joined(
    row: Fields, media: Sequence[str], listed: Mapping[str, Listed], used: dict[str, str]
) -> Iterator[Joined]:
    """Yield the joint of a row, after noting ends that aren't listed and ports that are joined already."""
    ends: list[tuple[str, str]] = []
    for column in ("a", "b"):
        said = row.text(column, required=True)
        meant = [(said, "")] if said in listed else [one for one in _split(said) if one[0] in listed]
        name, port = meant[0] if meant else (said.partition(":")[0], "")
        if meant[1:]:
            either = " or ".join(f"port {port} of {unit}" for unit, port in reversed(meant))
            row.note(column, AMBIGUOUS, f"{said} may be {either}: call one of the two otherwise")
        elif said and not meant:
            row.note(column, UNKNOWN, no_such("unit", name, listed))
        elif port and said in used:
            row.note(column, "twice", f"{said} is joined already, at {used[said]}")
        else:
            ends.append((name, port))
        if port:
            used.setdefault(said, row.spot(column).where)
    medium, one_way = row.reference("medium", "medium", media), row.flag("one_way")
    texts = [row.text(name) for name in ("name", "kind", "status")]
    if len(ends) == 2 and ends[0][0] == ends[1][0]:
        row.note("b", "same", f"{ends[0][0]} can't be joined to itself")
    elif len(ends) == 2:
        (a, port_a), (b, port_b) = ends
        name, kind, status = texts
        yield Joined(a, b, port_a, port_b, name, kind, medium, status, one_way, row.note)
