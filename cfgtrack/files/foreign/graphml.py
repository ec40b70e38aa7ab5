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
from cfgtrack.files.foreign.lists import Joined, Listed, drawing_of, volume_text
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
_NO = frozenset(("false", "no", "0"))


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
    keys, defaults = _keys(root)
    read = _Reading()
    units: dict[str, Listed] = {}
    unread: dict[str, None] = {}
    twice = []
    for node in root.iter("node"):
        name, data = node.get("id", ""), defaults["node"] | _data(node, keys)
        if name in units:
            twice.append(name)
            continue
        unread.update(dict.fromkeys(data.keys() - _READ))
        told = _told(data)
        roles = frozenset(role for role in ROLES if read.flag(name, role, data.get(role, "")))
        units[name] = Listed(name, told["kind"], told["title"], read.medium(name, told["medium"]), told["status"],
                             read.litres(name, told["litres"]), told["loop"], roles)  # fmt: skip
    joints = []
    for edge in root.iter("edge"):
        data = defaults["edge"] | _data(edge, keys)
        unread.update(dict.fromkeys(data.keys() - _READ))
        told = _told(data)
        label = edge.get("id") or f"{edge.get('source', '')} - {edge.get('target', '')}"
        ways = [read.flag(label, name, data.get(name, "")) for name in ("one_way", "oneway")]
        ends = edge.get("source", ""), edge.get("target", "")
        ports = edge.get("sourceport", ""), edge.get("targetport", "")
        joints.append(Joined(*ends, *ports, told["title"] or edge.get("id", ""), told["kind"],
                             read.medium(label, told["medium"]), told["status"], any(ways)))  # fmt: skip
    graph = root.find("graph")
    title = _told(defaults["graph"] | _data(graph, keys))["title"] if graph is not None else ""
    found = drawing_of("GraphML", title, list(units.values()), joints)
    directed = [g for g in root.iter("graph") if g.get("edgedefault") == "directed"]
    if directed and joints:
        found.guessed["taken to pass both ways, though they are drawn with a direction"].append("all edges")
    for what, names in (
        ("nodes that are there twice", twice),
        ("hyperedges", [edge.get("id", "-") for edge in root.iter("hyperedge")]),
        ("data", [name for name in unread if name]),
        ("values that can't be read", read.left),
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


class _Reading:
    """Reads single values, and keeps those that it can't read, to be told: `left`."""

    def __init__(self) -> None:
        self.left: list[str] = []

    def _leave(self, of: str, name: str, text: str) -> None:
        self.left.append(f"{of}: {name} {text}")

    def medium(self, of: str, text: str) -> str:
        """Return a medium in which things can be joined."""
        if text and text.casefold() not in JOINTS:
            self._leave(of, "medium", text)
            return ""
        return text.casefold()

    def flag(self, of: str, name: str, text: str) -> bool:
        """Return a yes or no."""
        if text and text.casefold() not in _YES | _NO:
            self._leave(of, name, text)
        return text.casefold() in _YES

    def litres(self, of: str, text: str) -> float | None:
        """Return a volume in litres: a number alone is of litres."""
        try:
            litres = parse_quantity(volume_text(text), dimension="volume").value * 1000 if text else None
        except BadQuantity:
            litres = -1
        if litres is not None and litres < 0:
            self._leave(of, "litres", text)
            return None
        return litres


def _keys(root: Element) -> tuple[dict[str, str], dict[str, dict[str, str]]]:
    """Return the names of data by their keys, and by sort of element what those say that say nothing."""
    keys: dict[str, str] = {}
    defaults: dict[str, dict[str, str]] = {"graph": {}, "node": {}, "edge": {}}
    for key in root.iter("key"):
        name = key.get("attr.name") or key.get("yfiles.type") or key.get("id") or ""
        keys[key.get("id", "")] = name.casefold()
        text = clean(key.findtext("default", ""))
        for sort in defaults if text else ():
            if key.get("for", "all") in ("all", sort):
                defaults[sort][name.casefold()] = text
    return keys, defaults
