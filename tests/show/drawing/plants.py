"""Small plants drawn at random, for pictures: valves, one-way links and volumes, mated or not, in any state."""

from __future__ import annotations

from random import Random

from cfgtrack.answers.draw import Scene, Scope
from cfgtrack.files.definition import parse_definition
from cfgtrack.model.configuration import Configuration
from cfgtrack.network.network import compile_network
from tests.happening import happened
from tests.show.world import MOMENT

_KINDS = {
    "fluid": ("fluid-disconnect", "valved-disconnect", "valve"),
    "power": ("electrical-connector", "electrical-connector", "switch"),
}
_ROLES = ("", "", "expansion = true, ", "source = true, ", "load = true, ")


def _part(name: str, rng: Random) -> str:
    ports, nodes, links, gates = [], [], [], 0
    for medium, (plain, other, gate) in _KINDS.items():
        own = [f"{medium[0].upper()}{i}" for i in range(rng.randrange(7))]
        ports += [f'{{ name = "{p}", kind = "{rng.choice((plain, other))}" }}' for p in own]
        inside = [f"N{medium[0]}{i}" for i in range(rng.randrange(3))]
        nodes += [f'{{ name = "{n}", {rng.choice(_ROLES)}medium = "{medium}" }}' for n in inside]
        items = own + inside
        for _ in range(rng.randrange(5) if len(items) > 1 else 0):
            a, b = rng.sample(items, 2)
            sort = rng.choice(("plain", "gate", "one-way", "gated one-way"))
            fields = [f'a = "{a}", b = "{b}"']
            if "gate" in sort:
                gates += 1
                ports.append(f'{{ name = "V{gates}", kind = "{gate}" }}')
                fields.append(f'gate = "V{gates}"')
            if "one-way" in sort:
                fields.append("one_way = true")
            links.append(f"{{ {', '.join(fields)} }}")
    ports += [f'{{ name = "B{i}", kind = "bolt" }}' for i in range(rng.randrange(3))]
    flexible = rng.random() < 0.2
    return f"""
[[part]]
id = "{name}"
flexible = {str(flexible).lower()}
port = [{", ".join(ports)}]
node = [{", ".join(nodes)}]
link = [{", ".join(links)}]
"""


def random_scene(rng: Random, scope: Scope) -> Scene:
    """Return a scene of a plant with a few parts of several units each, mated at random, every gate in any state."""
    parts = [f"part-{i}" for i in range(rng.randrange(1, 4))]
    units = [(f"U{i}", rng.choice(parts)) for i in range(rng.randrange(2, 9))]
    text = 'title = "Random"\n' + "".join(_part(part, rng) for part in parts)
    text += '[[place]]\nid = "FLOOR"\nholds = true\n'
    text += "".join(f'[[unit]]\nid = "{u}"\npart = "{p}"\nloop = "{rng.choice("AB")}"\n' for u, p in units)
    plant = parse_definition({"random.toml": text}).plant()
    free = [
        (port, plant.port(port)[1].id)  # type: ignore[index]
        for unit, _ in units
        for port in plant.ports_of(unit)
        if plant.port(port)[1].joined is not None  # type: ignore[index]
    ]
    rng.shuffle(free)
    joined = []
    while len(free) > 1 and rng.random() < 0.9:
        port, kind = free.pop()
        mate = next((m for m in free if m[1] == kind and m[0].split(":")[0] != port.split(":")[0]), None)
        if mate is not None:
            free.remove(mate)
            joined.append((port, mate[0]))
    gates = [
        (port, kind.statuses)
        for unit, _ in units
        for port in plant.ports_of(unit)
        if (kind := plant.port(port)[1]).joined is None  # type: ignore[index]
    ]
    statuses = {port: rng.choice(said) for port, said in gates}
    statuses |= {port: "capped" for port, kind in free if kind != "bolt" and rng.random() < 0.5}
    text += '[initial]\nat = 2031-04-01T00:00:00Z\nby = "survey"\njoined = ['
    text += ", ".join(f'["{a}", "{b}"]' for a, b in joined) + "]\n[initial.status]\n"
    text += "".join(f'"{port}" = "{status}"\n' for port, status in statuses.items())
    text += "[initial.place]\n" + "".join(f'{unit} = "FLOOR"\n' for unit, _ in units)
    definition = parse_definition({"random.toml": text})
    plant = definition.plant()
    now = Configuration(plant)
    for event in definition.initial:
        now.apply(happened(now, event))
    return Scene(MOMENT, plant, now, {m: compile_network(plant, m) for m in plant.media}, scope)
