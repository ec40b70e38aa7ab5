"""What isolates a joint of a large water grid, beside networkx in the same run: ``python -m tests.bench.plans_cuts``.

The grid is square: a joint at each crossing, a tube between neighbours with a valve at each of its ends, and a
reservoir in each corner. Its links are counted as links inside units plus mated interfaces. What is compared is a
smallest cut of the compiled network; networkx is given the same vertices and devices, one edge each, and tells one cut,
where `isolation` tells all, what else they cut off, and what has to stay shut.
"""

from __future__ import annotations

import argparse
import gc
import random
import time
from collections.abc import Callable
from typing import Any

import networkx as nx

from cfgtrack.analysis.isolation import cut_off, devices_of, isolation, segments_of
from cfgtrack.files.definition import shipped
from cfgtrack.model.configuration import Configuration, State
from cfgtrack.model.part import InternalLink, Node, Part, Port
from cfgtrack.model.plant import Plant, Unit
from cfgtrack.network.network import compile_network
from tests.bench.bench_rules import peak

TUBE = Part(
    "tube",
    ports={
        **{name: Port(name, "fluid-disconnect") for name in "AB"},
        **{name: Port(name, "valve") for name in ("VA", "VB")},
    },
    nodes={"body": Node("body", "fluid", litres=1.0)},
    links=(InternalLink("A", "body", "VA"), InternalLink("body", "B", "VB")),
)


def joint(*, is_end: bool) -> Part:
    """Return the part of a crossing, or of a corner with a reservoir."""
    roles = frozenset({"source", "expansion"} if is_end else ())
    ports = {name: Port(name, "fluid-disconnect") for name in "NESW"}
    links = tuple(InternalLink("water", name) for name in ports)
    return Part(
        "corner" if is_end else "joint",
        ports=ports,
        nodes={"water": Node("water", "fluid", litres=1.0, roles=roles)},
        links=links,
    )


def grid(side: int) -> tuple[Configuration, list[tuple[str, str, str]]]:
    """Return a grid with every valve open, and its tubes: each with the joints at its ends."""
    kinds = shipped()
    units, ports, tubes = dict[str, Unit](), dict[str, State](), list[tuple[str, str, str]]()
    corners = {(0, 0), (0, side - 1), (side - 1, 0), (side - 1, side - 1)}
    for x in range(side):
        for y in range(side):
            units[f"J{x}-{y}"] = Unit(f"J{x}-{y}", "corner" if (x, y) in corners else "joint")
            for there, here, far in (((x + 1, y), "E", "W"), ((x, y + 1), "N", "S")):
                if max(there) == side:
                    continue
                name, end = f"T{x}-{y}{here}", f"J{there[0]}-{there[1]}"
                units[name] = Unit(name, "tube")
                tubes.append((name, f"J{x}-{y}", end))
                for near, other in ((f"{name}:A", f"J{x}-{y}:{here}"), (f"{name}:B", f"{end}:{far}")):
                    ports[near], ports[other] = State("mated", other, None), State("mated", near, None)
                ports[f"{name}:VA"] = ports[f"{name}:VB"] = State("open", None, None)
    parts = {part.id: part for part in (TUBE, joint(is_end=False), joint(is_end=True))}
    now = Configuration(Plant(kinds.media, kinds.kinds, parts, units, {}))
    now.set_ports(ports)
    return now, tubes


def by_networkx(tubes: list[tuple[str, str, str]], side: int, target: str) -> int:
    """Return the size of a smallest cut as networkx finds it: each valve and each joint of a tube an edge."""
    graph: Any = nx.Graph()
    for tube, a, b in tubes:
        for end, half in ((a, "A"), (b, "B")):
            graph.add_edge(end, (tube, half), capacity=1)
            graph.add_edge((tube, half), tube, capacity=1)
    for x in (0, side - 1):
        for y in (0, side - 1):
            graph.add_edge("ends", f"J{x}-{y}")
    return int(nx.minimum_cut(graph, "ends", target)[0])


def timed(what: Callable[[], Any], times: int = 1) -> tuple[float, Any]:
    """Return the quickest of some runs, in seconds, and what it gives."""
    best, found = float("inf"), None
    for _ in range(times):
        gc.collect()
        begin = time.process_time()
        found = what()
        best = min(best, time.process_time() - begin)
    return best, found


def main() -> None:
    """Measure, and print ratios."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--side", type=int, default=92, help="joints along one side of the grid")
    parser.add_argument("--seed", type=int, default=1)
    said = parser.parse_args()
    now, tubes = grid(said.side)
    links = 2 * len(tubes) + 2 * len(tubes) + 4 * said.side**2
    chance = random.Random(said.seed)
    target = f"J{chance.randrange(1, said.side - 1)}-{chance.randrange(1, said.side - 1)}"
    compiling, network = timed(lambda: compile_network(now.plant, "fluid"))
    print(f"cuts: a grid of {links:,} links, {len(tubes) * 4:,} devices; compiled in {compiling:.2f} s")
    theirs, size = timed(lambda: by_networkx(tubes, said.side, target))
    ours, found = timed(lambda: isolation(network, now, [target]), 2)
    assert found.fewest == size
    ways = len(found.ways) + len(found.others)
    print(f"  a smallest cut of {size}: networkx, one cut {theirs:.2f} s")
    print(
        f"  isolate, {ways}{'' if found.complete else '+'} cuts with what they do: {ours:.2f} s"
        f" = {ours / theirs:.2f} of networkx"
    )
    print(f"  memory of isolate: {peak(lambda: isolation(network, now, [target])):.0f} MB")
    spent, devices = timed(lambda: devices_of(network, now))
    print(f"    of which to look at {len(devices):,} devices: {spent:.2f} s")
    valves = [f"{tube}:VA" for tube, *_ in chance.sample(tubes, 10)]
    spent, _ = timed(lambda: cut_off({"fluid": network}, now, valves), 2)
    print(f"  without ten valves: {spent:.2f} s")
    spent, _ = timed(lambda: segments_of(network, now), 2)
    print(f"  segments: {spent:.2f} s")


if __name__ == "__main__":
    main()
