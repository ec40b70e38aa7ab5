"""GraphML: graphs in XML, as networkx, yEd and Gephi write them.

A node is a unit, an edge a joint of two. What they are is guessed from their words: the data called `kind`, `type`
or `class`, else their label or name. An edge passes both ways unless its data say `one_way`, whether the graph is
directed or not: most are drawn with a direction that means nothing, and what flows back would be hidden.
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from xml.etree.ElementTree import Element

from cfgtrack.files.foreign.drawing import JOINTS, Drawing, clean
from cfgtrack.files.foreign.lists import Joined, Listed, drawing_of
from cfgtrack.files.foreign.reader import Reader
from cfgtrack.files.foreign.xml import read_xml
from cfgtrack.model.part import ROLES
from cfgtrack.model.quantity import BadQuantity, parse_quantity
from cfgtrack.model.trouble import BadInput, Problem

_CALLED = {
    "kind": ("kind", "type", "class", "component", "category"),
    "title": ("title", "label", "name", "description"),
    "medium": ("medium",),
    "status": ("status", "state"),
    "litres": ("litres", "liters", "volume"),
    "loop": ("loop", "system", "circuit"),
}
"""What a unit or joint is told, by the names that others give it."""

_YES = frozenset(("true", "yes", "1"))


class Read(Reader):
    """Reads GraphML."""

    form = "GraphML"
    expects = "<graphml ...>"

    def begins(self, head: str) -> bool:
        """Return whether a graph begins the file."""
        return "<graphml" in head or ":graphml" in head

    def read(self, path: Path) -> Drawing:
        """Return the nodes and edges of all graphs of a file."""
        root = read_xml(path)
        if root.tag != "graphml":
            raise BadInput(Problem(str(path), "wrong-kind", f"expected <graphml>, found <{root.tag[:60]}>"))
        drawing = _drawing(root)
        if not drawing.units:
            raise BadInput(Problem(str(path), "empty", "expected nodes, found none"))
        return drawing


def _drawing(root: Element) -> Drawing:
    keys = {
        key.get("id", ""): (key.get("attr.name") or key.get("yfiles.type") or key.get("id") or "").casefold()
        for key in root.iter("key")
    }
    units: dict[str, Listed] = {}
    unread: dict[str, None] = {}
    twice = []
    for node in root.iter("node"):
        name, data = node.get("id", ""), _data(node, keys)
        if name in units:
            twice.append(name)
            continue
        unread.update(dict.fromkeys(data.keys() - _READ))
        told = _told(data)
        roles = frozenset(role for role in ROLES if data.get(role, "").casefold() in _YES)
        units[name] = Listed(name, told["kind"], told["title"], _medium(told["medium"]), told["status"],
                             _litres(told["litres"]), told["loop"], roles)  # fmt: skip
    joints = []
    for edge in root.iter("edge"):
        data = _data(edge, keys)
        unread.update(dict.fromkeys(data.keys() - _READ))
        told = _told(data)
        one_way = any(data.get(name, "").casefold() in _YES for name in ("one_way", "oneway"))
        ends = edge.get("source", ""), edge.get("target", "")
        ports = edge.get("sourceport", ""), edge.get("targetport", "")
        joints.append(Joined(*ends, *ports, told["title"] or edge.get("id", ""), told["kind"], _medium(told["medium"]),
                             told["status"], one_way))  # fmt: skip
    graph = root.find("graph")
    title = _told(_data(graph, keys))["title"] if graph is not None else ""
    found = drawing_of("GraphML", title, list(units.values()), joints)
    directed = [g for g in root.iter("graph") if g.get("edgedefault") == "directed"]
    if directed and joints:
        found.guessed["taken to pass both ways, though they are drawn with a direction"].append("all edges")
    for what, names in (
        ("nodes that are there twice", twice),
        ("hyperedges", [edge.get("id", "-") for edge in root.iter("hyperedge")]),
        ("data", [name for name in unread if name]),
    ):
        if names:
            found.left_out[what] = [clean(name) for name in names]
    return found


def _data(element: Element, keys: Mapping[str, str]) -> dict[str, str]:
    """Return the data of a node or edge by name; of several texts in one (yEd's labels) the first."""
    found: dict[str, str] = {}
    for data in element.findall("data"):
        texts = (text.strip() for text in data.itertext())
        text = next((clean(text) for text in texts if text), "")
        name = keys.get(data.get("key", ""), data.get("key", ""))
        if name in ("nodegraphics", "edgegraphics"):
            name = "label"
        if text:
            found.setdefault(name, text)
    return found


_READ = frozenset((*(name for names in _CALLED.values() for name in names), *ROLES, "one_way", "oneway"))


def _told(data: Mapping[str, str]) -> dict[str, str]:
    return {what: next((data[n] for n in names if data.get(n)), "") for what, names in _CALLED.items()}


def _medium(text: str) -> str:
    return text.casefold() if text.casefold() in JOINTS else ""


def _litres(text: str) -> float | None:
    """Return a volume in litres: a number alone is of litres."""
    for said in (text, f"{text} l"):
        try:
            return parse_quantity(said, dimension="volume").value * 1000 if text else None
        except BadQuantity:
            continue
    return None
