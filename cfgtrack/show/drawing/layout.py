"""Where boxes and lines go: the one place that knows the layout engine. It is young, so all of it is behind `placed`.

The engine is deterministic: the same nodes and edges in the same order get the same positions on every machine.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

Point = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Node:
    """A box to place. `rank`: how far along the flow it stands, None: the engine decides."""

    width: float
    height: float
    rank: int | None = None


@dataclass(frozen=True, slots=True)
class End:
    """Where a line ends at its box: "left", "right", "top" or "bottom", and how far along it from its middle."""

    side: str
    offset: float


@dataclass(frozen=True, slots=True)
class Edge:
    """A line to lay out, between two nodes by their numbers. `label`: the room that its label needs."""

    a: int
    b: int
    a_end: End | None = None
    b_end: End | None = None
    label: tuple[float, float] | None = None


@dataclass(frozen=True, slots=True)
class Placed:
    """`corners`: each node's top left one; `routes`: the points of each line, from `a` to `b`; `ranks` of the nodes."""

    corners: tuple[Point, ...]
    routes: tuple[tuple[Point, ...], ...]
    labels: tuple[Point | None, ...]
    ranks: tuple[int | None, ...]


def placed(nodes: Sequence[Node], edges: Sequence[Edge], *, down: bool, aspect: float = 0.0) -> Placed:
    """Return where nodes and edges go. An edge from a node to itself gets no route.

    `aspect`: how many times as wide as high the whole should be; a long strip is folded for it (0: never).
    """
    import graphlay

    if not nodes:
        return Placed((), (), (), ())
    drawn = [i for i, edge in enumerate(edges) if edge.a != edge.b]
    graph = {
        "nodes": [_node(node) for node in nodes],
        "edges": [_edge(edges[i], nodes) for i in drawn],
    }
    found = graphlay.layout(graph, options=_options(len(nodes), down=down, aspect=aspect))
    routes: list[tuple[Point, ...]] = [()] * len(edges)
    labels: list[Point | None] = [None] * len(edges)
    for i, edge in zip(drawn, found.edges, strict=True):
        routes[i] = _squared([(point["x"], point["y"]) for point in edge["points"]])
        at = edge["label_anchor"]
        labels[i] = None if at is None else (at["x"], at["y"])
    corners = [
        (node["center"]["x"] - node["size"]["width"] / 2, node["center"]["y"] - node["size"]["height"] / 2)
        for node in found.nodes
    ]
    return Placed(tuple(corners), tuple(routes), tuple(labels), tuple(node["rank"] for node in found.nodes))


def _squared(points: list[Point]) -> tuple[Point, ...]:
    """Return a way with right angles only: the engine runs straight between ends that are less than a point apart."""
    way = points[:1]
    for (ax, ay), (bx, by) in pairwise(points):
        if abs(ax - bx) > _FLAT and abs(ay - by) > _FLAT:
            middle = (ax + bx) / 2, (ay + by) / 2
            upright = abs(ay - by) > abs(ax - bx)
            way += [(ax, middle[1]), (bx, middle[1])] if upright else [(middle[0], ay), (middle[0], by)]
        way.append((bx, by))
    return tuple(way)


_FLAT = 0.005


def _options(size: int, *, down: bool, aspect: float) -> dict[str, Any]:
    return {
        "direction": "topbottom" if down else "leftright",
        "effort": "balanced" if size <= _MANY else "fast",
        "spacing": {"layer_gap": 34, "node_gap": 20, "dummy_gap": 12, "isolated_gap": 20, "stub": 12},
        "routing": {"bundle_parallel": False, "lane_gap": 7},
        "wrap": {"viewport_aspect": aspect},
        "tuning": {"wrap": {"max_cut_edges": 12, "min_gain": 1.1}},
    }


_MANY = 1_500


def _node(node: Node) -> dict[str, Any]:
    said: dict[str, Any] = {"size": {"width": node.width, "height": node.height}, "shape": "box"}
    if node.rank is not None:
        said["rank"] = {"fixed": node.rank}
    return said


def _edge(edge: Edge, nodes: Sequence[Node]) -> dict[str, Any]:
    said: dict[str, Any] = {"source": edge.a, "target": edge.b, "weight": 1.0}
    for name, end, node in (
        ("source_port", edge.a_end, nodes[edge.a]),
        ("target_port", edge.b_end, nodes[edge.b]),
    ):
        if end is not None:
            along = node.height if end.side in ("left", "right") else node.width
            said[name] = {"offset": {"side": end.side, "t": 2 * end.offset / along}}
    if edge.label is not None:
        said["label_size"] = {"width": edge.label[0], "height": edge.label[1]}
    return said
