"""Random plants in TOML, and a rough sense of how one stands, so that most of what is said of it is possible.

`Standing` knows ladders and places and no more: what it takes for possible may be refused, which is a case as well.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from random import Random
from typing import Any

from tests.corpus.paper import toml

Ladder = dict[str, tuple[tuple[str, ...], str]]

_CAPPED: Ladder = {
    "cap": (("demated",), "capped"),
    "uncap": (("capped",), "demated"),
    "mate": (("demated",), "mated"),
    "demate": (("mated",), "demated"),
}
_LATCH: Ladder = {"engage": (("released",), "engaged"), "release": (("engaged",), "released")}
LADDERS: dict[str, Ladder] = {
    "fluid-disconnect": _CAPPED,
    "valved-disconnect": {**_CAPPED, "open": (("mated",), "open"), "shut": (("open",), "mated")},
    "valve": {"open": (("shut",), "open"), "shut": (("open",), "shut")},
    "electrical-connector": _CAPPED,
    "data-connector": _CAPPED,
    "bond-strap": _CAPPED,
    "switch": {"energise": (("off",), "on"), "de-energise": (("on",), "off")},
    "bolt": {
        "engage": (("released",), "engaged"),
        "torque": (("engaged", "torqued"), "torqued"),
        "release": (("engaged", "torqued"), "released"),
    },
    "latch": _LATCH,
    "rail": _LATCH,
    "tether": _LATCH,
    "grip": {"grip": (("free",), "held"), "let-go": (("held",), "free")},
    "cover": {"cover": (("removed",), "fitted"), "uncover": (("fitted",), "removed")},
    "pin": {"push": (("out",), "in"), "pull": (("in",), "out")},
}
"""The moves of every kind: action, from which statuses, to which. `pin` is the random plants' own."""

STATUSES = {
    kind: tuple(dict.fromkeys([s for froms, to in moves.values() for s in (*froms, to)]))
    for kind, moves in LADDERS.items()
}
FIRST = {
    "valve": "shut", "switch": "off", "bolt": "released", "latch": "released", "rail": "released",
    "tether": "released", "grip": "free", "cover": "fitted", "pin": "out",
}  # fmt: skip
JOINS = ("mate", "engage", "grip")
FLEXIBLE = ("grip", "tether", "bond-strap")
HOLDS = ("bolt", "latch", "rail", "grip", "tether")

OWN_KIND = """
[[medium]]
id = "mark"
[[kind]]
id = "pin"
medium = "mark"
statuses = ["out", "in"]
carries = "in"
move = [{ action = "push", from = ["out"], to = "in" }, { action = "pull", from = ["in"], to = "out" }]
"""

_PORTS = {
    "F1": "fluid-disconnect", "F2": "fluid-disconnect", "R1": "valved-disconnect", "V1": "valve",
    "J1": "electrical-connector", "D1": "data-connector", "S1": "bond-strap", "K1": "switch", "B1": "bolt",
    "B2": "bolt", "L1": "latch", "H1": "grip", "T1": "tether", "C1": "cover", "P1": "pin",
}  # fmt: skip
_NODES: dict[str, dict[str, Any]] = {
    "VOL": {"medium": "fluid", "litres": "2 l"},
    "CAN": {"medium": "fluid", "litres": "0.2 l", "loop": "A", "tags": ["blocked-in"]},
    "TANK": {"medium": "fluid", "expansion": True, "loop": "A"},
    "BUS": {"medium": "power", "source": True},
    "HEAT": {"medium": "power", "load": True, "tags": ["heater", "redundant"]},
    "CPU": {"medium": "data", "load": True},
}
_FLUID, _POWER, _DATA = ("F1", "F2", "R1", "VOL", "CAN", "TANK"), ("J1", "BUS", "HEAT"), ("D1", "CPU")
_BASE = {
    **dict.fromkeys(("F1", "F2", "F3", "F4"), "fluid-disconnect"), "R1": "valved-disconnect", "V1": "valve",
    "V2": "valve", "J1": "electrical-connector", "J2": "electrical-connector", "J3": "electrical-connector",
    "K1": "switch", "K2": "switch", "D1": "data-connector", "S1": "bond-strap", "B1": "bolt", "B2": "bolt",
    "B3": "bolt", "B4": "bolt", "L1": "latch", "T1": "tether", "C1": "cover", "P1": "pin",
}  # fmt: skip
_BASE_NODES = {
    "SUPPLY": {"medium": "fluid", "source": True},
    "ACC": {"medium": "fluid", "expansion": True, "loop": "A"},
    "BUS": {"medium": "power", "source": True},
    "LAMP": {"medium": "power", "load": True, "tags": ["redundant"]},
    "LOG": {"medium": "data", "source": True},
}
_BASE_LINKS = (
    ("SUPPLY", "F1", "V1"), ("F2", "ACC", "V2"), ("F3", "ACC"), ("F1", "F2"), ("R1", "ACC", "V1"), ("F4", "SUPPLY"),
    ("BUS", "J1", "K1"), ("BUS", "J2", "K2"), ("BUS", "LAMP", "K1"), ("BUS", "J3"), ("LOG", "D1"),
)  # fmt: skip

PLACES: dict[str, dict[str, Any]] = {
    "SITE": {},
    "BASE": {"parent": "SITE", "part": "base", "holds": True, "sink": "20 degC"},
    "RACK": {"parent": "SITE", "holds": True, "sink": "-20 degC", "tags": ["stowage"]},
    "SHELF": {"parent": "RACK", "holds": True, "facings": ["up", "down"], "tags": ["stowage"]},
    "STAND": {"parent": "SITE", "part": "stand", "holds": True, "capacity": 1, "sink": "60 degC"},
    "AISLE": {"parent": "SITE", "holds": True, "tags": ["corridor"]},
    "ANN": {"parent": "SITE", "mobile": True, "part": "hands"},
    "BEN": {"parent": "SITE", "mobile": True, "part": "hands"},
    "ARM": {"parent": "SITE", "mobile": True, "part": "gripper"},
    "BAG": {"parent": "ANN", "mobile": True, "holds": True, "tags": ["stowage"]},
    "POCKET": {"parent": "BAG", "holds": True},
}
_FIXED_PARTS = {
    "base": _BASE,
    "stand": {
        "B1": "bolt",
        "B2": "bolt",
        "L1": "latch",
        "J1": "electrical-connector",
        "R1": "valved-disconnect",
    },
    "hands": {"LEFT": "grip", "RIGHT": "grip"},
    "gripper": {"GRIP": "grip", "L1": "latch"},
    "hose": {"A": "fluid-disconnect", "B": "fluid-disconnect"},
    "cord": {"A": "electrical-connector", "B": "electrical-connector"},
    "tool": {"H1": "grip", "T1": "tether"},
}


@dataclass
class Plant:
    """A random plant: its definition, and of each unit and place its ports (name to kind) and nodes."""

    text: str = ""
    parts: dict[str, str] = field(default_factory=dict)
    ports: dict[str, str] = field(default_factory=dict)
    sizes: dict[str, str] = field(default_factory=dict)
    nodes: list[str] = field(default_factory=list)
    units: list[str] = field(default_factory=list)


@dataclass
class Standing:
    """How a plant stands, roughly: the status and mate of each port, and where each unit and mobile place is."""

    plant: Plant
    status: dict[str, str] = field(default_factory=dict)
    mate: dict[str, str] = field(default_factory=dict)
    place: dict[str, str] = field(default_factory=dict)

    def copy(self) -> Standing:
        """Return another that may go another way."""
        return Standing(self.plant, dict(self.status), dict(self.mate), dict(self.place))

    def is_flexible(self, port: str) -> bool:
        """Return whether a half gives way: its kind does, or what it is on."""
        owner = port.partition(":")[0]
        return self.plant.parts.get(owner) in ("hose", "cord") or self.plant.ports[port] in FLEXIBLE

    def can_join(self, a: str, b: str) -> bool:
        """Return whether two halves could be joined, if both were free."""
        plant, (owner, other) = self.plant, (p.partition(":")[0] for p in (a, b))
        if owner == other or plant.ports[a] != plant.ports[b] or b in self.mate or a in self.mate:
            return False
        if plant.sizes.get(a, "") != plant.sizes.get(b, "") and plant.sizes.get(a) and plant.sizes.get(b):
            return False
        mobile = any(PLACES.get(o, {}).get("mobile") for o in (owner, other))
        return mobile or self.is_flexible(a) or self.is_flexible(b) or self._meet(owner, other)

    def _meet(self, owner: str, other: str) -> bool:
        here, there = self.place.get(owner, owner), self.place.get(other, other)
        return here == there

    def is_tied(self, unit: str) -> bool:
        """Return whether a rigid link still ties a unit."""
        return any(p.startswith(f"{unit}:") and not self.is_flexible(p) for p in self.mate)

    def apply(self, action: str, port: str, other: str) -> None:
        """Follow a move along a ladder."""
        target = LADDERS[self.plant.ports[port]][action][1]
        far = other or self.mate.get(port, "")
        if action in ("demate", "release", "let-go"):
            for half in (port, far):
                self.mate.pop(half, "")
        elif action in JOINS and other:
            self.mate[port], self.mate[other] = other, port
        self.status[port] = target
        if far and action not in ("cap", "uncap"):
            self.status[far] = target


def draw_plant(r: Random) -> tuple[Plant, Standing]:
    """Return a random plant, and how its initial configuration has it stand."""
    plant = Plant()
    parts = {name: _random_part(r, name) for name in ("pump", "panel", "box")}
    kinds = {**_FIXED_PARTS, **{name: ports for name, (ports, _) in parts.items()}}
    texts = ['title = "A random plant"', OWN_KIND]
    texts += [_fixed_part(r, name) for name in _FIXED_PARTS]
    texts += [text for _, text in parts.values()]
    names = [("pump", r.randint(1, 2)), ("panel", r.randint(1, 2)), ("box", r.randint(0, 2))]
    names += [("hose", r.randint(0, 2)), ("cord", 1), ("tool", 1)]
    for part, number in names:
        for n in range(1, number + 1):
            _add_unit(r, plant, texts, f"{part.upper()}-{n}", part)
    for place, fields in PLACES.items():
        texts.append(
            f"[[place]]\nid = {toml(place)}\n" + "".join(f"{k} = {toml(v)}\n" for k, v in fields.items())
        )
        if "part" in fields:
            plant.parts[place] = fields["part"]
    for owner, part in plant.parts.items():
        plant.ports.update({f"{owner}:{name}": kind for name, kind in kinds[part].items()})
        plant.nodes += [f"{owner}:{name}" for name in _nodes_of(part, parts)]
        plant.sizes.update({f"{owner}:{p}": size for p, size in _SIZES.items() if f"{owner}:{p}" in plant.ports
                            and part in ("base", "pump", "panel", "box")})  # fmt: skip
    standing = _initial(r, plant, texts)
    plant.text = "\n".join(texts)
    return plant, standing


_SIZES = {"F1": "DN15", "F4": "DN20", "F3": ""}


def _nodes_of(part: str, parts: dict[str, tuple[dict[str, str], str]]) -> list[str]:
    if part == "base":
        return list(_BASE_NODES)
    if part in ("hose", "cord"):
        return ["BORE"]
    return [n for n in _NODES if part in parts and f'"name" = "{n}"' in parts[part][1]]


def _add_unit(r: Random, plant: Plant, texts: list[str], name: str, part: str) -> None:
    plant.units.append(name)
    plant.parts[name] = part
    more = f"home = {toml(r.choice(('RACK', 'BASE', 'STAND')))}\n" if r.random() < 0.6 else ""
    more += (
        'tags = ["loose"]\n' if part == "tool" else r.choice(("", 'tags = ["spare"]\n', 'title = "Old"\n'))
    )
    texts.append(f'[[unit]]\nid = "{name}"\npart = "{part}"\n{more}')


def _fixed_part(r: Random, name: str) -> str:
    ports = [_port(r, n, kind, sized=name == "base") for n, kind in _FIXED_PARTS[name].items()]
    said = f"[[part]]\nid = {toml(name)}\nport = [\n  " + ",\n  ".join(toml(p) for p in ports) + ",\n]\n"
    if name == "base":
        nodes = [{"name": n, **more} for n, more in _BASE_NODES.items()]
        links = [dict(zip(("a", "b", "gate"), link, strict=False)) for link in _BASE_LINKS]
        for link in links:
            if "gate" in link and r.random() < 0.2:
                link["gate"] = {"V1": "V2", "V2": "V1", "K1": "K2", "K2": "K1"}[link["gate"]]
        more = [{**link, **({"one_way": True} if r.random() < 0.15 else {})} for link in links]
        said += f"node = {toml(nodes)}\nlink = {toml(more)}\n"
    elif name in ("hose", "cord"):
        medium = "fluid" if name == "hose" else "power"
        node = {"name": "BORE", "medium": medium, **({"litres": "0.3 l"} if name == "hose" else {})}
        said += f'flexible = true\nnode = [{toml(node)}]\nlinks = [["A", "BORE"], ["BORE", "B"]]\n'
    return said


def _port(r: Random, name: str, kind: str, *, sized: bool) -> dict[str, Any]:
    port: dict[str, Any] = {"name": name, "kind": kind}
    if sized and _SIZES.get(name):
        port["size"] = _SIZES[name]
    if sized and name in ("J1", "J2"):
        port["keying"] = "A" if name == "J1" else "B"
    if sized and name == "J3":
        port["gender"] = "plug"
    if r.random() < 0.2:
        port["tags"] = [r.choice(("supply", "return", "behind"))]
    if kind in ("fluid-disconnect", "electrical-connector", "bolt") and r.random() < 0.5:
        port["cycles"] = r.randint(1, 3)
    if kind == "bolt":
        port["torque"] = ["20 N*m", "30 N*m"]
        port["pattern"] = f"joint/{name[1:]}"
    return port


def _random_part(r: Random, name: str) -> tuple[dict[str, str], str]:
    """Return the ports of a random part, and its text."""
    ports = {p: kind for p, kind in _PORTS.items() if r.random() < 0.75}
    nodes = [n for n in _NODES if r.random() < 0.6]
    media = [[e for e in ends if e in ports or e in nodes] for ends in (_FLUID, _POWER, _DATA)]
    gates = [[g for g in (gate,) if g in ports] for gate in ("V1", "K1", "")]
    links = []
    for ends, gate in zip(media, gates, strict=True):
        for _ in range(r.randint(1, 4) if len(ends) > 1 else 0):
            link: dict[str, Any] = dict(zip("ab", r.sample(ends, 2), strict=True))
            if gate and r.random() < 0.3:
                link["gate"] = gate[0]
            links.append({**link, **({"one_way": True} if r.random() < 0.2 else {})})
    made = [_port(r, n, kind, sized=True) for n, kind in ports.items()]
    for port in made:
        if port["name"] == "J1":
            port.update(keying=r.choice(("A", "B")), gender=r.choice(("plug", "socket")))
            port.pop(r.choice(("keying", "gender", "name-only")), None)
    fields: dict[str, Any] = {
        "id": name,
        "title": name.title(),
        "mass": f"{r.randint(2, 90)} kg",
        "port": made,
    }
    fields["node"] = [{"name": n, **_NODES[n]} for n in nodes]
    fields["link"] = links
    if r.random() < 0.7:
        limit = r.choice(("0 degC", "40 degC"))
        fields["thermal"] = {"capacity": "3600 J/K", "leak": r.choice(("1 W/K", "20 W/K")), "start": "20 degC",
                             "limit": limit, **({"heater": "90 W"} if r.random() < 0.5 else {}),
                             **({"biot": 0.3} if r.random() < 0.2 else {})}  # fmt: skip
    if r.random() < 0.6:
        fields["trapped"] = r.choice(("2 min", "5 min"))
    if r.random() < 0.5:
        fields["tags"] = ["heated"]
    return ports, "[[part]]\n" + "".join(f"{k} = {toml(v)}\n" for k, v in fields.items() if v != [])


def _initial(r: Random, plant: Plant, texts: list[str]) -> Standing:
    """Write the initial configuration; return how it has the plant stand."""
    now = Standing(plant, status={p: FIRST.get(kind, "demated") for p, kind in plant.ports.items()})
    places: dict[str, Any] = {}
    for unit in plant.units:
        chosen = r.choice(("BASE", "BASE", "BASE", "RACK", "SHELF", "STAND", "BAG", ""))
        if chosen == "STAND" and "STAND" in now.place.values():
            chosen = "BASE"
        if chosen:
            places[unit] = {"at": chosen, "facing": "up"} if chosen == "SHELF" else chosen
            now.place[unit] = chosen
    for mobile in ("ANN", "BEN", "ARM"):
        if r.random() < 0.4:
            places[mobile] = now.place[mobile] = r.choice(("BASE", "AISLE", "RACK"))
    joined, status = [], {}
    for port, kind in plant.ports.items():
        join = next((a for a in JOINS if a in LADDERS[kind]), "")
        mates = [o for o in plant.ports if join and now.can_join(port, o) and not _misfit(port, o)]
        if mates and r.random() < 0.4:
            other = r.choice(mates)
            now.apply(join, port, other)
            joined.append([port, other])
            if kind in ("bolt", "valved-disconnect"):
                now.status[port] = now.status[other] = "torqued" if kind == "bolt" else "open"
        elif not join or kind in ("fluid-disconnect", "electrical-connector"):
            free = {"valve": "open", "switch": "on", "cover": "removed", "pin": "in"}.get(kind, "capped")
            if port not in now.mate and r.random() < 0.6:
                status[port] = now.status[port] = free
    status = {port: value for port, value in status.items() if port not in now.mate}
    texts.append(f'[initial]\nat = 2031-05-01T08:00:00Z\nby = "survey"\njoined = {toml(joined)}\n'
                 f"status = {toml(status)}\nplace = {toml(places)}\n")  # fmt: skip
    return now


def _misfit(a: str, b: str) -> bool:
    """Return whether keys or genders may keep two connectors apart: the initial configuration must be possible."""
    return a.endswith((":J1", ":J2", ":J3")) and b.endswith((":J1", ":J2", ":J3"))
