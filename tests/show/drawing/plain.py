"""What a picture must show, read plainly from the plant's definition and the state of its halves: no code of `show/`.

What a picture shows of a unit may be one side of it only (of a heat exchanger in the picture of a loop). So it is held
to itself: of whatever it shows one end, it must show all that any link, open or shut, ties that to inside.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from cfgtrack.model.configuration import Configuration
from cfgtrack.model.kind import Kind
from cfgtrack.model.plant import Plant
from tests.show.drawing.readback import Picture, Thing

Pair = frozenset[str]
Turn = tuple[str, bool, bool]
"""A valve, switch or one-way link: its address ("" for one without), whether it lets through, and goes one way."""


@dataclass(slots=True)
class Inside:
    """What any links tie together in a unit or place: its ends, its nodes by name, and what is on the ways between."""

    ends: list[str] = field(default_factory=list)
    nodes: list[str] = field(default_factory=list)
    turns: Counter[Turn] = field(default_factory=Counter)


@dataclass(slots=True)
class Truth:
    """Of one medium: what is joined to what (and whether it lets through), insides, and the ends that nothing is at."""

    joints: dict[Pair, bool]
    insides: dict[str, list[Inside]]
    open_ends: set[str]

    def inside(self) -> dict[str, tuple[str, Inside]]:
        """Return the owner and inside of each end."""
        return {end: (owner, one) for owner, some in self.insides.items() for one in some for end in one.ends}


def truth(plant: Plant, now: Configuration, medium: str) -> Truth:
    """Return what is so of a medium."""
    ends: dict[str, str] = {}  # each end, with the port whose status is its
    for owner in (*plant.units, *plant.places):
        for port in plant.part_of(owner).ports.values():
            kind = plant.kinds[port.kind]
            if kind.joined is None:
                continue
            if port.contacts:
                names = [
                    f"{owner}:{port.name}:{c.name}" for c in port.contacts.values() if c.medium == medium
                ]
            else:
                names = [f"{owner}:{port.name}"] if kind.medium == medium else []
            ends.update(dict.fromkeys(names, f"{owner}:{port.name}"))
    joints: dict[Pair, bool] = {}
    open_ends = set()
    for end, half in ends.items():
        status, mate = now.state(half).value, now.state(half).other
        kind = _kind(plant, half)
        if mate is None:
            lowest = kind.statuses.index(kind.joined or "")
            if lowest and status == kind.statuses[lowest - 1]:
                open_ends.add(end)
            continue
        there = mate + end[len(half) :]
        if there in ends and ends[there] == mate:
            both = [_carries(plant, now, one) for one in (half, mate)]
            joints[frozenset((end, there))] = all(both)
    here: dict[str, list[str]] = {owner: [] for owner in (*plant.units, *plant.places)}
    for end in ends:
        here[end.partition(":")[0]].append(end)
    insides = {owner: _insides(plant, now, owner, medium, some) for owner, some in here.items()}
    return Truth(joints, insides, open_ends)


def _kind(plant: Plant, address: str) -> Kind:
    owner, _, name = address.partition(":")
    return plant.kinds[plant.part_of(owner).ports[name].kind]


def _carries(plant: Plant, now: Configuration, address: str) -> bool:
    kind = _kind(plant, address)
    if kind.carries is None:
        return False
    return kind.statuses.index(now.state(address).value) >= kind.statuses.index(kind.carries)


def _insides(plant: Plant, now: Configuration, owner: str, medium: str, here: list[str]) -> list[Inside]:
    part = plant.part_of(owner)
    nodes = [n.name for n in part.nodes.values() if n.medium == medium]
    names = {**{end.partition(":")[2]: end for end in here}, **{n: n for n in nodes}}
    group = {name: name for name in names}
    links = [link for link in part.links if link.a in names and link.b in names]
    for link in links:
        old, new = group[link.a], group[link.b]
        group = {name: new if g == old else g for name, g in group.items()}
    found: dict[str, Inside] = {}
    for name, thing in names.items():
        one = found.setdefault(group[name], Inside())
        (one.ends if ":" in thing else one.nodes).append(thing)
    for link in links:
        if link.gate or link.one_way:
            gate = f"{owner}:{link.gate}" if link.gate else ""
            lets = _carries(plant, now, gate) if gate else True
            found[group[link.a]].turns[gate, lets, link.one_way] += 1
    return list(found.values())


# --- a picture held to it -------------------------------------------------------------------------------------------


def faults_against(picture: Picture, plant: Plant, now: Configuration, media: Iterable[str]) -> list[str]:
    """Return all that a picture without folds says otherwise than it is, or doesn't say."""
    return [fault for medium in media for fault in _faults(picture, plant, truth(plant, now, medium), medium)]


def _faults(picture: Picture, plant: Plant, real: Truth, medium: str) -> list[str]:
    faults = []
    rows = {t.key: t for t in picture.of("row") if t.data["medium"] == medium}
    twice = [k for k, n in Counter(t.key for t in picture.of("row")).items() if n > 1]
    faults += [f"row {key} is drawn twice" for key in twice]
    drawn = Counter(
        frozenset((t.data["a"], t.data["b"])) for t in picture.of("line") if t.data["medium"] == medium
    )
    faults += [f"line {sorted(pair)} is drawn {n} times" for pair, n in drawn.items() if n != 1]
    for pair, lets in real.joints.items():
        here = [end for end in pair if end in rows]
        if len(here) == len(pair):
            line = next((t for t in picture.of("line") if {t.data["a"], t.data["b"]} == pair), None)
            if line is None:
                faults.append(f"joint {sorted(pair)} isn't drawn")
            elif (line.data["look"] == "not_carrying") == lets:
                faults.append(f"joint {sorted(pair)} lets through: {lets}, drawn as {line.data['look']}")
        for end in here:
            row = rows[end]
            (other,) = pair - {end}
            port = other if plant.port(other) else other.rpartition(":")[0]
            if row.data["joined"] != "yes" or row.data.get("to") != port:
                faults.append(f"row {end} is mated to {other}, and says {dict(row.data)}")
    faults += [f"line {sorted(pair)} isn't there" for pair in drawn if pair not in real.joints]
    for end, row in rows.items():
        if end not in {e for pair in real.joints for e in pair} and row.data.get("joined") == "yes":
            faults.append(f"row {end} is mated to nothing and says that it is")
        is_open = row.data.get("joined") == "no" and row.data.get("capped") == "no"
        if end in real.inside() and is_open != (end in real.open_ends):
            faults.append(f"row {end} is an open end: {end in real.open_ends}, and says {dict(row.data)}")
    return faults + _faults_inside(picture, real, rows)


def _faults_inside(picture: Picture, real: Truth, rows: Mapping[str, Thing]) -> list[str]:
    faults = []
    inside = real.inside()
    wanted: dict[str, Counter[Turn]] = {}
    seen: set[int] = set()
    medium = next(iter(rows.values())).data["medium"] if rows else ""
    texts = {t.key: t.data.get("texts", "") for t in picture.of("bar") if t.data["medium"] == medium}
    for end in rows:
        if end not in inside:
            continue
        owner, one = inside[end]
        wanted.setdefault(owner, Counter())
        if id(one) not in seen:
            seen.add(id(one))
            wanted[owner] += one.turns
            faults += [f"end {e} isn't drawn, and {end} is" for e in one.ends if e not in rows]
            said = " ".join(text for key, text in texts.items() if key.partition(":")[0] == owner)
            faults += [
                f"{owner}:{n} isn't drawn, and {end} is"
                for n in one.nodes
                if n not in said.replace(";", " ").split()
            ]
    for owner, some in real.insides.items():
        words = (
            " ".join(text for key, text in texts.items() if key.partition(":")[0] == owner)
            .replace(";", " ")
            .split()
        )
        for one in some:
            if not one.ends and one.nodes and set(one.nodes) <= set(words):
                wanted[owner] = wanted.get(owner, Counter()) + one.turns
    found: dict[str, Counter[Turn]] = {}
    for gate in picture.of("gate"):
        if gate.data["medium"] == medium:
            # One of these has no address; another's stands first in its key, before the way that it is on.
            named = "" if gate.data["symbol"] in ("check valve", "diode") else gate.key.partition(" ")[0]
            turn = (named, gate.data["state"] == "open", gate.data["one-way"] == "yes")
            found.setdefault(gate.box(), Counter())[turn] += 1
    for owner, turns in wanted.items():
        if turns != found.get(owner, Counter()):
            faults.append(
                f"{owner}: valves and switches are {dict(turns)}, drawn {dict(found.get(owner, Counter()))}"
            )
    return faults
