"""Plants, rules and revisions drawn at random, and what a load must announce of them: worked out slowly, from the text.

Nothing here knows the tool. A plant is plain dictionaries, written as the TOML that a user would write. What is joined
and where everything stands is kept by hand along with what is recorded.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Iterator
from copy import deepcopy
from random import Random
from typing import Any

Plant = dict[str, Any]
Fields = dict[str, Any]

KINDS = {"fluid-disconnect": "fluid", "electrical-connector": "power"}
TAGS = ("hot", "cold", "spare")
LOOPS = ("", "EAST", "WEST")
PLACES = {"HALL": "", "RACK": "HALL", "YARD": ""}


# --- drawing ------------------------------------------------------------------------------------------------------


def draw_plant(r: Random) -> Plant:
    """Return a plant of a few parts and units, all in one hall, with some of their ports joined."""
    plant: Plant = {"parts": {}, "units": {}, "joints": [], "places": {}}
    for n in range(r.randint(1, 3)):
        plant["parts"][f"p{n}"] = _draw_part(r)
    for n in range(r.randint(2, 5)):
        _add_unit(r, plant, f"U{n}")
    for _ in range(r.randint(1, 6)):
        _join(r, plant, plant["joints"], taken=())
    return plant


def _draw_part(r: Random) -> Fields:
    ports = {
        f"P{n}": {
            "kind": r.choice(tuple(KINDS)),
            "size": r.choice(("", "DN25", "DN25", "DN40")),
            "keying": r.choice(("", "", "", "A", "B")),
            "gender": r.choice(("", "", "", "plug", "socket")),
            "tags": _tags(r),
        }
        for n in range(r.randint(1, 4))
    }
    nodes = {
        f"N{n}": {
            "medium": r.choice(("fluid", "fluid", "power")),
            "litres": r.random() < 0.6,
            "role": r.choice(("", "", "expansion", "source", "load")),
            "tags": _tags(r),
        }
        for n in range(r.randint(0, 3))
    }
    for node in nodes.values():
        node["litres"] = node["litres"] and node["medium"] == "fluid" and node["role"] != "expansion"
        if node["role"] == "expansion" and node["medium"] != "fluid":
            node["role"] = ""
    return {"ports": ports, "nodes": nodes, "tags": _tags(r), "flexible": r.random() < 0.3}


def _tags(r: Random) -> list[str]:
    return sorted(tag for tag in TAGS if r.random() < 0.3)


def _add_unit(r: Random, plant: Plant, name: str) -> None:
    plant["units"][name] = {
        "part": r.choice(sorted(plant["parts"])),
        "tags": _tags(r),
        "loop": r.choice(LOOPS),
    }
    plant["places"][name] = r.choice(("HALL", "RACK"))


def all_ports(plant: Plant) -> list[str]:
    """Return every port, as UNIT:PORT."""
    return [f"{u}:{p}" for u, unit in plant["units"].items() for p in plant["parts"][unit["part"]]["ports"]]


def port_of(plant: Plant, address: str) -> Fields:
    """Return the definition of a port."""
    unit, _, name = address.partition(":")
    found: Fields = plant["parts"][plant["units"][unit]["part"]]["ports"][name]
    return found


def wrong_with(plant: Plant, a: str, b: str) -> set[str]:
    """Return why two ports can't be joined: what must agree where both say it, and what must differ."""
    one, other = port_of(plant, a), port_of(plant, b)
    unit, far = a.partition(":")[0], b.partition(":")[0]
    wrong = {f for f in ("size", "keying") if one[f] and other[f] and one[f] != other[f]}
    if unit == far and not plant["parts"][plant["units"][unit]["part"]]["flexible"]:
        wrong.add("one-owner")
    if one["kind"] != other["kind"]:
        wrong.add("kind")
    if one["gender"] and one["gender"] == other["gender"]:
        wrong.add("gender")
    return wrong


def _join(
    r: Random, plant: Plant, joints: list[tuple[str, str]], taken: Iterable[str]
) -> tuple[str, str] | None:
    used = {half for pair in joints for half in pair} | {*taken}
    free = [port for port in all_ports(plant) if port not in used]
    pairs = [(a, b) for a in free for b in free if a < b and not wrong_with(plant, a, b)]
    if not pairs:
        return None
    pair = r.choice(pairs)
    joints.append(pair)
    return pair


SORTS = ("port", "node", "unit")


def _selection(r: Random, what: str = "") -> Fields:
    found: Fields = {"what": what or r.choice(SORTS)}
    narrow = r.choice(("tag", "tag", "tag", "loop", "part", "own", "at"))
    if narrow == "tag":
        found["tag"] = r.choice(TAGS)
    elif narrow == "loop":
        found["loop"] = r.choice(LOOPS[1:])
    elif narrow == "part":
        found["part"] = r.choice(("p0", "p1"))
    elif narrow == "at":
        found["at"] = r.choice(("RACK", "HALL", "YARD"))
    elif found["what"] == "port":
        found["kind"] = r.choice(tuple(KINDS))
    elif found["what"] == "node":
        found[r.choice(("liquid", "source", "expansion"))] = True
    return found


def draw_rules(r: Random) -> list[Fields]:
    """Return rules of every form: with a scope and without, tied to an action, with a trigger, of two ends."""
    return [_draw_rule(r, n) for n in range(r.randint(1, 5))]


def _draw_rule(r: Random, n: int) -> Fields:
    rule: Fields = {"id": f"r{n}", "severity": r.randint(1, 4), "mode": "always"}
    liquid = {"of": "nodes of it", "liquid": True}
    ends = {"path": "fluid", "to": {"expansion": True, "what": "node"}}
    form = r.randrange(9)
    if form == 0:
        rule |= {"scope": _selection(r, "port"), "condition": {"status": "it", "is": "mated"}}
    elif form == 1:
        rule |= {"scope": _selection(r, "node"), "condition": {**ends, "from": "it"}}
    elif form == 2:
        rule |= {"scope": _selection(r, "unit"), "condition": {**ends, "from": liquid}}
    elif form == 3:
        rule |= {"condition": {"status": _selection(r, "port"), "is": "mated"}}
    elif form == 4:
        rule |= {"condition": {"count": _selection(r, "port"), "is": "mated", "at_least": 1}}
    elif form == 5:
        rule |= {"condition": {"no_path": "power", "from": _selection(r), "to": _selection(r, "node")}}
    elif form == 6:
        dead = {"no_path": "power", "from": "it", "to": {"what": "node", "source": True}}
        rule |= {"mode": "at", "at": {"action": "demate", **_selection(r, "port")}, "condition": dead}
    elif form == 7:
        parts = [
            {"status": _selection(r, "port"), "is": "mated"},
            {"not": {**ends, "from": _selection(r, "node")}},
        ]
        rule |= {"condition": {r.choice(("all", "any")): parts}}
    else:
        trigger = {"turns_true": {"status": _selection(r, "port"), "is": "demated"}}
        rule |= {"mode": "within", "within": "1 h", "trigger": trigger, "scope": _selection(r, "unit")}
        rule |= {"condition": {"status": {"of": "ports of it", "kind": "fluid-disconnect"}, "is": "capped"}}
    return rule


# --- as files -----------------------------------------------------------------------------------------------------


def written(plant: Plant) -> str:
    """Return a plant as a definition file."""
    lines = ['title = "Drawn"']
    for name, part in plant["parts"].items():
        lines += [
            "[[part]]",
            _line("id", name),
            _line("flexible", part["flexible"]),
            _line("tags", part["tags"]),
        ]
        for port, fields in part["ports"].items():
            lines += ["[[part.port]]", _line("name", port)]
            lines += [_line(key, value) for key, value in fields.items() if value]
        for node, fields in part["nodes"].items():
            lines += ["[[part.node]]", _line("name", node), _line("medium", fields["medium"])]
            lines += [_line("litres", "2 l")] if fields["litres"] else []
            lines += [_line(fields["role"], True)] if fields["role"] else []
            lines += [_line("tags", fields["tags"])]
    for name, unit in plant["units"].items():
        lines += ["[[unit]]", _line("id", name), _line("part", unit["part"]), _line("tags", unit["tags"])]
        lines += [_line("loop", unit["loop"])] if unit["loop"] else []
    for name, parent in PLACES.items():
        lines += ["[[place]]", _line("id", name), *([_line("parent", parent)] if parent else [])]
    lines += [
        "[initial]",
        "at = 2031-05-01T08:00:00Z",
        _line("joined", [list(pair) for pair in plant["joints"]]),
    ]
    lines += ["[initial.place]", *(_line(f'"{unit}"', place) for unit, place in plant["places"].items())]
    return "\n".join(lines) + "\n"


def _line(key: str, value: object) -> str:
    return f"{key} = {_toml(value)}"


def _toml(value: object) -> str:
    if isinstance(value, dict):
        return "{ " + ", ".join(_line(key, inner) for key, inner in value.items()) + " }"
    if isinstance(value, list):
        return "[" + ", ".join(map(_toml, value)) + "]"
    return json.dumps(value)


def rules_written(rules: list[Fields]) -> str:
    """Return rules as a rules file, in which a selection may name nothing."""
    texts = {"title": "it must be so", "hazard": "it bursts", "source": "common practice"}
    lines = ["may_be_empty = true"]
    for rule in rules:
        lines += ["[[rule]]", *(_line(key, value) for key, value in {**rule, **texts}.items())]
    return "\n".join(lines) + "\n"


# --- revising -----------------------------------------------------------------------------------------------------


def revised(r: Random, plant: Plant, recorded: Iterable[str]) -> Plant:
    """Return another version of a plant's files. `recorded` are the ports that anything is recorded of."""
    new = deepcopy(plant)
    edits: tuple[Callable[[], None], ...] = (
        lambda: _rename_tag(r, new),
        lambda: _rename_tag(r, new),
        lambda: _change_port(r, new),
        lambda: _change_port(r, new),
        lambda: _change_node(r, new),
        lambda: _change_unit(r, new),
        lambda: _remove_unit(r, new),
        lambda: _add(r, new, recorded),
        lambda: _drop_joint(r, new),
    )
    for _ in range(r.randint(1, 6)):
        r.choice(edits)()
    # A file whose own joints don't fit is refused as it is: whoever changes a part changes its joints.
    new["joints"] = [
        pair for pair in new["joints"] if {*pair} <= {*all_ports(new)} and not wrong_with(new, *pair)
    ]
    return new


def _rename_tag(r: Random, plant: Plant) -> None:
    old, new = r.choice(TAGS), r.choice((*TAGS, "new"))
    parts = [part for part in plant["parts"].values() if r.random() < 0.7]
    tagged = [*parts, *plant["units"].values()]
    tagged += [thing for part in parts for thing in (*part["ports"].values(), *part["nodes"].values())]
    for thing in tagged:
        thing["tags"] = sorted({new if tag == old else tag for tag in thing["tags"]})


def _change_port(r: Random, plant: Plant) -> None:
    part = r.choice(list(plant["parts"].values()))
    port = r.choice(list(part["ports"].values()))
    if plant["joints"] and r.random() < 0.7:
        port = port_of(plant, r.choice(r.choice(plant["joints"])))
    field, values = r.choice(
        (
            ("size", ("", "DN25", "DN40")),
            ("keying", ("", "A", "B")),
            ("gender", ("", "plug", "socket")),
            ("kind", tuple(KINDS)),
        )
    )
    port[field] = r.choice(values)
    part["flexible"] = part["flexible"] != (r.random() < 0.2)


def _change_node(r: Random, plant: Plant) -> None:
    nodes = [
        node
        for part in plant["parts"].values()
        for node in part["nodes"].values()
        if node["medium"] == "fluid"
    ]
    for node in nodes[:1]:
        node["role"] = r.choice(("", "expansion"))
        node["litres"] = r.random() < 0.5 and node["role"] != "expansion"


def _change_unit(r: Random, plant: Plant) -> None:
    unit = r.choice(list(plant["units"].values()))
    unit["tags"], unit["loop"] = _tags(r), r.choice(LOOPS)


def _remove_unit(r: Random, plant: Plant) -> None:
    if len(plant["units"]) > 1:
        name = r.choice(list(plant["units"]))
        del plant["units"][name], plant["places"][name]
        plant["joints"] = [
            pair for pair in plant["joints"] if not any(half.startswith(f"{name}:") for half in pair)
        ]


def _add(r: Random, plant: Plant, recorded: Iterable[str]) -> None:
    if r.random() < 0.7:
        _add_unit(r, plant, f"V{len(plant['units'])}")
    _join(r, plant, plant["joints"], taken=recorded)


def _drop_joint(r: Random, plant: Plant) -> None:
    if plant["joints"]:
        plant["joints"].remove(r.choice(plant["joints"]))


def overlaid(old: Plant, files: Plant) -> Plant:
    """Return what is defined after a load: what the files don't mention stays."""
    both: Plant = {name: {**old[name], **files[name]} for name in ("parts", "units")}
    return {**both, "joints": files["joints"], "places": files["places"]}


# --- what a rule guards and watches -------------------------------------------------------------------------------


class Now:
    """A plant as it stands: what is joined to what, and where every unit is."""

    def __init__(self, plant: Plant, joined: dict[str, str], places: dict[str, str]) -> None:
        self.plant = plant
        self.joined = joined
        self.places = places

    def things(self) -> Iterator[tuple[str, str, Fields, str, Fields]]:
        """Yield every unit, port and node: its address, sort, own fields, and its unit with its part."""
        for name, unit in self.plant["units"].items():
            part = self.plant["parts"][unit["part"]]
            yield name, "unit", unit, name, part
            for port, fields in part["ports"].items():
                yield f"{name}:{port}", "port", fields, name, part
            for node, fields in part["nodes"].items():
                yield f"{name}:{node}", "node", fields, name, part

    def selected(self, wanted: Fields) -> set[str]:
        """Return what a selection names now. All that it says must be so."""
        return {thing[0] for thing in self.things() if self._is(wanted, *thing[1:])}

    def _is(self, wanted: Fields, sort: str, own: Fields, name: str, part: Fields) -> bool:
        unit = self.plant["units"][name]
        tags = {*unit["tags"], *part["tags"], *(own["tags"] if sort != "unit" else ())}
        role = own.get("role", "")
        is_so = {
            "what": lambda v: sort == v,
            "tag": lambda v: v in tags,
            "loop": lambda v: unit["loop"] == v,
            "part": lambda v: unit["part"] == v,
            "kind": lambda v: sort == "port" and own["kind"] == v,
            "liquid": lambda v: sort == "node" and own["litres"] == v,
            "source": lambda v: sort == "node" and (role == "source") == v,
            "expansion": lambda v: sort == "node" and (role == "expansion") == v,
            "at": lambda v: v in self._around(name),
        }
        return all(is_so[key](value) for key, value in wanted.items() if key != "of")

    def _around(self, unit: str) -> list[str]:
        at = self.places.get(unit, "")
        return [at, PLACES[at]] if at else []

    def of(self, wanted: Fields, it: str) -> set[str]:
        """Return what a selection names that starts from an item: the ports or nodes of its unit."""
        sort = wanted["of"].split()[0].removesuffix("s")
        owner = it.partition(":")[0]
        return {
            address
            for address, of_sort, own, name, part in self.things()
            if of_sort == sort and name == owner and self._is(wanted, of_sort, own, name, part)
        }


def _checked(condition: Fields) -> Iterator[Any]:
    """Yield what a condition checks: where a path starts, what has a status, what is counted; in all its parts."""
    for key in ("all", "any"):
        for part in condition.get(key, ()):
            yield from _checked(part)
    if "not" in condition:
        yield from _checked(condition["not"])
    for key in ("from", "status", "count"):
        if key in condition:
            yield condition[key]


def _looked_at(condition: Fields) -> Iterator[Any]:
    """Yield what a condition asks something of: what it checks; what must not be reached as well."""
    yield from _checked(condition)
    for key in ("all", "any"):
        for part in condition.get(key, ()):
            yield from (part["to"] for _ in range("no_path" in part))
    if "no_path" in condition:
        yield condition["to"]


def guards(rule: Fields, now: Now) -> set[str]:
    """Return what a rule guards: its scope; else what its action is done to; else what its condition checks."""
    if "scope" in rule:
        return now.selected(rule["scope"])
    if "at" in rule:
        return now.selected({key: value for key, value in rule["at"].items() if key != "action"})
    named = (one for one in _checked(rule["condition"]) if isinstance(one, dict) and "of" not in one)
    return {item for one in named for item in now.selected(one)}


def watches(rule: Fields, now: Now) -> set[str]:
    """Return what a rule watches: what it guards, and what it looks at for each of those."""
    found = guards(rule, now)
    looks = [*_looked_at(rule["condition"]), *_looked_at(rule.get("trigger", {}).get("turns_true", {}))]
    free = {item for one in looks if isinstance(one, dict) and "of" not in one for item in now.selected(one)}
    own = [one for one in looks if isinstance(one, dict) and "of" in one]
    return found | free | {item for it in found for one in own for item in now.of(one, it)}


# --- the comparison -----------------------------------------------------------------------------------------------


def announced(
    before: Now, after: Now, files: Plant, rules: list[Fields], new_rules: list[Fields]
) -> dict[str, Any]:
    """Return what a load must announce, and whether somebody has to accept it."""
    lines = {
        name: _of_rule(name, rules, new_rules, before, after)
        for name in {r["id"] for r in (*rules, *new_rules)}
    }
    pairs = {(a, b) for a, b in before.joined.items() if a < b}
    misfits = {
        (a, b, code)
        for a, b in pairs
        for code in wrong_with(after.plant, a, b) - wrong_with(before.plant, a, b)
    }
    ports = {
        (half, field)
        for pair in pairs
        for half in pair
        for field in ("kind", "size", "keying", "gender", "tags")
        if port_of(before.plant, half)[field] != port_of(after.plant, half)[field]
    }
    gone = {
        name: sorted(far for half, far in after.joined.items() if half.startswith(f"{name}:"))
        for name in before.plant["units"]
        if name not in files["units"]
    }
    less = any(line["severity"] <= 2 and (line["lost"] or line["guards"] is None) for line in lines.values())
    return {"rules": lines, "misfits": misfits, "ports": ports, "gone": gone, "accept": less or bool(misfits)}


def _of_rule(
    name: str, rules: list[Fields], new_rules: list[Fields], before: Now, after: Now
) -> dict[str, Any]:
    old = next((rule for rule in rules if rule["id"] == name), None)
    new = next((rule for rule in new_rules if rule["id"] == name), None)
    was, now = ((set() if rule is None else guards(rule, at)) for rule, at in ((old, before), (new, after)))
    saw, sees = ((set() if rule is None else watches(rule, at)) for rule, at in ((old, before), (new, after)))
    lost = (was - now) | (saw - sees)
    if old is not None and new is not None and old["severity"] <= 2 < new["severity"]:
        lost = was | saw
    return {
        "severity": (old or new or {})["severity"],
        "guarded": None if old is None else len(was),
        "guards": None if new is None else len(now),
        "watched": None if old is None else len(saw),
        "watches": None if new is None else len(sees),
        "lost": lost,
        "gained": (now - was) | (sees - saw),
        "differs": old is not None and new is not None and old != new,
    }
