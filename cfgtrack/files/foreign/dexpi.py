"""DEXPI XML (ISO 15926): piping drawings, as the DEXPI P&ID specifications 1.2 to 1.4 have them in the Proteus schema.

A piping network segment is a run: from what its connection comes from, over the components that stand in it in the
order of the flow, to what its connection goes to. A centre line between two of them is a pipe, a unit of its own;
where there is none they are flanged to each other. A component that a segment ends in belongs to it and is passed,
from its other node to the one that is named. Nodes are counted from the first behind the default one.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import NamedTuple
from xml.etree.ElementTree import Element

from cfgtrack.files.foreign.drawing import GATES, PASSING, SHUT, Drawing, Uniquely, ident, star, through
from cfgtrack.files.foreign.reader import Reader, words_of
from cfgtrack.files.foreign.xml import read_xml
from cfgtrack.model.part import EXPANSION, SOURCE, InternalLink, Node, Part, Port
from cfgtrack.model.quantity import BadQuantity, parse_quantity
from cfgtrack.model.trouble import BadInput, Problem

_MEDIUM = "fluid"
_ITEMS = ("PipingComponent", "PipeOffPageConnector", "PropertyBreak")
_VALVE = GATES[_MEDIUM]
_DRAWN = frozenset(
    (
        "Presentation", "Extent", "Position", "Label", "Text", "Drawing", "ShapeCatalogue", "GenericAttributes",
        "Association", "PlantInformation", "MetaData", "PipeFlowArrow", "PipeSlopeSymbol", "InsulationSymbol",
        "ConnectionPoints", "CenterLine", "Connection", "Scale", "Line", "PolyLine", "Circle", "TrimmedCurve",
        "PersistentID", "History", "CrossPageConnection", "Description", "Component",
    )
)  # fmt: skip
"""What is drawn or said of things, and is none."""


class Read(Reader):
    """Reads DEXPI XML."""

    form = "DEXPI XML"
    expects = "<PlantModel ...>"

    def begins(self, head: str) -> bool:
        """Return whether a plant model begins the file."""
        return "<PlantModel" in head or ":PlantModel" in head

    def read(self, path: Path) -> Drawing:
        """Return the equipment and the piping of a drawing."""
        root = read_xml(path)
        if root.tag != "PlantModel":
            raise BadInput(
                Problem(str(path), "wrong-kind", f"expected <PlantModel>, found <{root.tag[:60]}>")
            )
        drawing = _Sheet(root).drawing()
        if not drawing.units:
            raise BadInput(Problem(str(path), "empty", "expected equipment or piping, found none"))
        return drawing


class _End(NamedTuple):
    """One end of a run: an item and the number of its node, "" where the file names none."""

    item: str
    node: str


@dataclass(slots=True)
class _Item:
    """A piping component, a connector to another sheet, or a nozzle's equipment, before it is a unit."""

    element: Element
    loop: str = ""
    used: dict[str, str] = field(default_factory=dict)
    """Its nodes that something is joined to, each with the size there."""

    @property
    def sort(self) -> str:
        return self.element.get("ComponentClass") or self.element.tag

    @property
    def words(self) -> set[str]:
        return set(words_of(self.sort))

    def node(self, name: str, *, entry: bool) -> str:
        """Return the number of a node, the one by which the flow enters or leaves where none is named."""
        points = self.element.find("ConnectionPoints")
        flow = None if points is None else points.get("FlowIn" if entry else "FlowOut")
        flow = flow if flow and re.fullmatch(r"[1-9]\d?", flow, re.ASCII) else None
        return name or flow or ("1" if entry or self.ends == 1 else "2")

    @property
    def ends(self) -> int:
        """How many nodes it has by which something can be joined: all but the default one, and those of signals."""
        points = self.element.find("ConnectionPoints")
        nodes = [] if points is None else points.findall("Node")[1:]
        return sum(node.get("Type", "process") == "process" for node in nodes)


class _Sheet:
    """One drawing, turned into units and joints."""

    def __init__(self, root: Element) -> None:
        self.root = root
        for catalogue in root.findall("ShapeCatalogue"):
            root.remove(catalogue)
        self.top = {id(element) for element in root}
        self.found = Drawing(
            "DEXPI XML", title=_attribute(root.find("MetaData"), "DrawingName", "DrawingSubTitle")
        )
        self.items: dict[str, _Item] = {}
        self.nozzles: dict[str, tuple[str, str]] = {}
        """Of each nozzle the equipment that it is on, and the name of its port there."""
        self.joints: list[tuple[_End | None, _End | None, str]] = []
        """The ends of what is joined, and the id of the pipe between them, "" where there is none."""
        self.pipes: dict[str, tuple[Element, str, str]] = {}
        self.unit_of: dict[str, str] = {}
        self.actuated = dict(self._actuated())
        self.read: set[int] = set()
        """The sets of attributes that have become those of a unit."""

    def drawing(self) -> Drawing:
        """Return what the drawing has become."""
        for element in self.root.iter("Equipment"):
            self._equipment(element)
        for system in self.root.iter("PipingNetworkSystem"):
            for segment in system.iter("PipingNetworkSegment"):
                self._components(segment, system)
        for system in self.root.iter("PipingNetworkSystem"):
            for segment in system.iter("PipingNetworkSegment"):
                self._run(segment, system)
        self._use_nodes()
        self._units()
        self._join()
        self._leave_out()
        for names in (*self.found.guessed.values(), *self.found.left_out.values()):
            names[:] = [self.unit_of.get(name, name) for name in names]
        return self.found

    # --- what there is ---

    def _equipment(self, element: Element) -> None:
        """Take in a piece of equipment that has nozzles; its inner parts come with it."""
        name = element.get("ID", "")
        nozzles = element.findall("Nozzle")
        if not name or name in self.items:
            return
        if nozzles or id(element) in self.top:
            self.items[name] = _Item(element)
        free = Uniquely()
        for nozzle in nozzles:
            if nozzle.get("ID") and nozzle.get("ID") not in self.nozzles:
                port = free(ident(_tag_name(nozzle) or nozzle.get("ID", "")))
                self.nozzles[nozzle.get("ID", "")] = (name, port)

    def _components(self, segment: Element, system: Element) -> None:
        loop = _line_number(segment) or _line_number(system)
        for element in segment:
            if _is_item(element):
                self.items.setdefault(element.get("ID", ""), _Item(element, loop))
            elif element.tag not in _DRAWN:
                what = " ".join(words_of(element.get("ComponentClass") or element.tag))
                self.found.left_out[f"in a line: {what}"].append(element.get("ID") or "-")

    def _actuated(self) -> Iterator[tuple[str, str]]:
        """Yield each valve that is actuated, with the number of what actuates it: its tag on the drawing."""
        for system in self.root.iter("ActuatingSystem"):
            number = _attribute(system, "ActuatingSystemNumber")
            for association in system.iter("Association"):
                if association.get("Type") == "refers to" and number:
                    yield association.get("ItemID", ""), number

    # --- how it is joined ---

    def _run(self, segment: Element, system: Element) -> None:
        """Take in one segment: its connections, and what they run through."""
        connections = segment.findall("Connection")
        name = segment.get("ID") or f"segment-{len(self.pipes) + 1}"
        if len(connections) > 1:
            for connection in connections:
                self._joint(_end(connection, "From"), _end(connection, "To"), "")
            return
        line = _line_number(segment) or _line_number(system)
        start = _end(connections[0], "From") if connections else None
        stop = _end(connections[0], "To") if connections else None
        own = [e for e in segment if e.tag == "CenterLine" or _is_item(e)]
        at: _End | None = start
        if start is not None and own and own[0].get("ID") == start.item:
            own = own[1:]
        pipe = False
        number = 0
        size = _size(segment) or _size(system)
        for element in own:
            if element.tag == "CenterLine":
                pipe = True
                continue
            item = self.items[element.get("ID", "")]
            is_last = stop is not None and stop.item == element.get("ID")
            leaving = stop.node if is_last and stop is not None else ""
            enter, leave = self._through(item, leaving)
            number += pipe
            self._joint(
                at,
                _End(element.get("ID", ""), enter),
                self._pipe(segment, name, number, line, size, pipe=pipe),
            )
            at, pipe = _End(element.get("ID", ""), leave), False
        if stop is None or at is None or at.item != stop.item or pipe:
            number += pipe
            self._joint(at, stop, self._pipe(segment, name, number, line, size, pipe=pipe))

    def _through(self, item: _Item, leaving: str) -> tuple[str, str]:
        """Return by which node a run enters a component and by which it leaves it."""
        leave = leaving or item.node("", entry=False)
        enter = item.node("", entry=True)
        if enter == leave:
            others = [str(n) for n in range(1, item.ends + 1) if str(n) != leave]
            enter = others[0] if others and item.ends > 1 else leave
        return enter, leave

    def _pipe(self, segment: Element, name: str, number: int, line: str, size: str, *, pipe: bool) -> str:
        if not pipe:
            return ""
        pipe_id = name if number == 1 else f"{name}.{number}"
        self.pipes.setdefault(pipe_id, (segment, line, size))
        return pipe_id

    def _joint(self, a: _End | None, b: _End | None, pipe: str) -> None:
        if a is None and b is None and not pipe:
            return
        if not pipe and (a is None or b is None):
            return
        self.joints.append((a, b, pipe))

    def _known(self, end: _End | None, *, entry: bool) -> _End | None:
        """Return an end as a unit has it: of a nozzle its equipment, and the port there; None for what isn't there."""
        if end is None:
            return None
        if end.item in self.nozzles:
            return _End(*self.nozzles[end.item])
        item = self.items.get(end.item)
        if item is None or item.element.tag == "Equipment":
            return None
        return _End(end.item, item.node(end.node, entry=entry))

    def _use_nodes(self) -> None:
        """Note which nodes are joined to something; a second joint at one node is left out."""
        kept = []
        for a, b, pipe in self.joints:
            ends = []
            for end, entry in ((a, False), (b, True)):
                known = self._known(end, entry=entry)
                if end is not None and known is None:
                    self.found.left_out["joints to what the drawing doesn't have"].append(end.item)
                if known is not None and known.node in self.items[known.item].used:
                    self.found.left_out["second joints at one node"].append(f"{known.item} node {known.node}")
                    known = None
                if known is not None:
                    self.items[known.item].used[known.node] = ""
                ends.append(known)
            kept.append((ends[0], ends[1], pipe))
        self.joints = kept

    # --- units ---

    def _units(self) -> None:
        tags = {name: self.actuated.get(name) or _tag_name(item.element) for name, item in self.items.items()}
        often = Counter(tags.values())
        for name, item in self.items.items():
            self.found.came[item.sort] += 1
            shape, status = self._shape(name, item)
            sort, tag = " ".join(words_of(item.sort)), tags[name]
            called = tag if tag and often[tag] == 1 else name
            title = f"{sort} {tag or called}"
            told = _told(item.element)
            self.read |= {id(group) for group in item.element.findall("GenericAttributes")}
            self.unit_of[name] = self.found.unit(
                sort,
                name,
                shape,
                called=called,
                title=title,
                loop=item.loop,
                aliases=[tag or ""],
                attributes=told,
            )
            if status:
                self.found.statuses[f"{self.unit_of[name]}:V"] = status
        for name, (_, line, size) in self.pipes.items():
            self.found.came["pipes (centre lines)"] += 1
            shape = through(_MEDIUM, size=size)
            self.unit_of[name] = self.found.unit("pipe", name, shape, called=name, loop=line)

    def _shape(self, name: str, item: _Item) -> tuple[Part, str]:
        """Return the shape of an item, and the status of its valve, "" where it has none."""
        if item.element.tag == "Equipment":
            return self._vessel(name, item), ""
        if item.element.tag == "PipeOffPageConnector":
            self.found.guessed[
                "taken for a source: what another sheet has there may be under pressure"
            ].append(name)
            return star(_MEDIUM, list(item.used) or ["1"], roles=(SOURCE,)), ""
        ends = sorted({*item.used, *(str(n) for n in range(1, item.ends + 1))})
        words = item.words
        if "flange" in words and "blind" in words:
            return star(_MEDIUM, ends[:1]), ""
        if "valve" not in words and not {"safety", "rupture", "bursting"} & words:
            return star(_MEDIUM, ends), ""
        return self._valve(name, item, ends)

    def _valve(self, name: str, item: _Item, ends: Sequence[str]) -> tuple[Part, str]:
        words, guessed = item.words, self.found.guessed
        enter, leave = self._flow(item, ends)
        if words & {"check", "return"} and len(ends) == 2:
            guessed["taken to pass one way only, as drawn"].append(name)
            return _one_way(ends, enter, leave), ""
        if words & {"safety", "relief", "rupture", "bursting"}:
            guessed["taken to be shut, and to pass one way only: it opens by itself"].append(name)
            gated = (
                _one_way(ends, enter, leave, gate="V") if len(ends) == 2 else star(_MEDIUM, ends, gate="V")
            )
            return gated, SHUT[_VALVE]
        shut = _says(item.element, "NormallyClose", "LockedClose", "CarSealedClose", "normally closed")
        opened = _says(item.element, "NormallyOpen", "LockedOpen", "CarSealedOpen", "normally open")
        free = len(item.used) < len(ends)
        if not shut and not opened:
            shut = free
            why = "shut: nothing is drawn behind it" if free else "open: the drawing doesn't say"
            guessed[f"taken to be {why}"].append(name)
        if len(ends) != 2:
            guessed["taken for a valve that shuts all its ways at once"].append(name)
            return star(_MEDIUM, ends, gate="V"), SHUT[_VALVE] if shut else PASSING[_VALVE]
        links = (InternalLink(ends[0], ends[1], "V"),)
        shape = Part("", ports={**_halves(ends), "V": Port("V", _VALVE)}, links=links)
        return shape, SHUT[_VALVE] if shut else PASSING[_VALVE]

    def _flow(self, item: _Item, ends: Sequence[str]) -> tuple[str, str]:
        """Return by which of two nodes the flow enters and leaves."""
        points = item.element.find("ConnectionPoints")
        enter = "" if points is None else points.get("FlowIn", "")
        leave = "" if points is None else points.get("FlowOut", "")
        if enter not in ends:
            enter = next((end for end in ends if end != leave), ends[0])
        if leave not in ends or leave == enter:
            leave = next((end for end in ends if end != enter), ends[-1])
        return enter, leave

    def _vessel(self, name: str, item: _Item) -> Part:
        """Return the shape of equipment: a body for each chamber that its nozzles are in, one where they don't say."""
        element = item.element
        mine = [n for n in element.findall("Nozzle") if self.nozzles.get(n.get("ID", ""), ("",))[0] == name]
        of = {self.nozzles[n.get("ID", "")][1]: _chamber(n) for n in mine}
        chambers = {chamber for chamber in of.values() if chamber}
        bodies = (
            {chamber: f"body{i}" for i, chamber in enumerate(sorted(chambers), 1)}
            if len(chambers) > 1
            else {}
        )
        nodes: dict[str, Node] = {}
        links = []
        words = item.words
        roles = frozenset({EXPANSION} if words & {"tank", "silo", "basin"} else ())
        if roles:
            self.found.guessed["taken to have a free surface, so room for its liquid to expand"].append(name)
        litres = _litres(element) if len(bodies) < 2 else None
        for port, chamber in of.items():
            body = bodies.get(chamber, "body")
            nodes.setdefault(body, Node(body, _MEDIUM, litres=litres, roles=roles))
            links.append(InternalLink(port, body))
        if not of:
            nodes["body"] = Node("body", _MEDIUM, litres=litres, roles=roles)
        return Part("", ports=_halves(tuple(of)), nodes=nodes, links=tuple(links))

    def _join(self) -> None:
        """Join the units."""
        for a, b, pipe in self.joints:
            ends = [None if end is None else f"{self.unit_of[end.item]}:{end.node}" for end in (a, b)]
            if not pipe:
                if ends[0] and ends[1]:
                    self.found.join(ends[0], ends[1])
                continue
            for half, end in zip("AB", ends, strict=True):
                if end:
                    self.found.join(f"{self.unit_of[pipe]}:{half}", end)
                else:
                    self.found.guessed["taken to be open ends: nothing is drawn there"].append(
                        f"{pipe} {half}"
                    )

    def _leave_out(self) -> None:
        """Name what has no place here: instruments, signals, and what is only drawn."""
        kept = {"PlantModel", "PipingNetworkSystem", "PipingNetworkSegment", "Nozzle", *_ITEMS, *_DRAWN}
        for element in self.root:
            if element.tag in kept or element.get("ID", "") in self.items:
                continue
            name = element.get("ComponentClass") or element.tag
            self.found.left_out[" ".join(words_of(name))].append(
                _tag_name(element) or element.get("ID") or "-"
            )
        lost = [e for e in self.root.iter("GenericAttributes") if id(e) not in self.read]
        told = sorted({g.get("Name", "") for e in lost for g in e if g.get("Value")})
        names = [_ENDING.sub("", one) for one in told if one]
        if names:
            self.found.left_out["attributes of what is no unit"] = list(dict.fromkeys(names))


_ENDING = re.compile(r"(AssignmentClass|Specialization|Representation)+\Z")
"""What the standard puts behind the names of attributes."""


def _is_item(element: Element) -> bool:
    """Return whether what stands in a segment is passed by its flow: by its tag, or as it has nodes to be joined by."""
    has_nodes = element.tag not in _DRAWN and element.find("ConnectionPoints") is not None
    return bool(element.get("ID")) and (element.tag in _ITEMS or has_nodes)


def _halves(names: Sequence[str]) -> dict[str, Port]:
    return {name: Port(name, "fluid-disconnect") for name in names}


def _one_way(ends: Sequence[str], enter: str, leave: str, *, gate: str = "") -> Part:
    gates = {gate: Port(gate, _VALVE)} if gate else {}
    return Part("", ports={**_halves(ends), **gates}, links=(InternalLink(enter, leave, gate, one_way=True),))


def _end(connection: Element, which: str) -> _End | None:
    item = connection.get(f"{which}ID")
    node = connection.get(f"{which}Node", "")
    return _End(item, node if re.fullmatch(r"[1-9]\d?", node, re.ASCII) else "") if item else None


def _attributes(element: Element | None) -> Iterator[tuple[str, str, str]]:
    """Yield name, value and unit of what is said of an element itself."""
    for group in [] if element is None else element.findall("GenericAttributes"):
        for one in group.findall("GenericAttribute"):
            yield one.get("Name", ""), one.get("Value", ""), one.get("Units", "")


def _attribute(element: Element | None, *names: str) -> str:
    """Return the first value that an element has for one of these names, "" where it has none."""
    told: Mapping[str, str] = {}
    for name, value, _ in _attributes(element):
        told = {name.removesuffix("AssignmentClass"): value, **told} if value else told
    return next((told[name] for name in names if told.get(name)), "")


_UNITS = {
    "bar": "bar", "degreecelsius": "degC", "kilowatt": "kW", "millimetre": "mm", "metre": "m", "metresquared": "m^2",
    "metrecubed": "m^3", "metrecubedperhour": "m^3/h", "reciprocalminute": "1/min", "kilogram": "kg", "watt": "W",
    "kelvin": "K", "pascal": "Pa", "kilopascal": "kPa", "megapascal": "MPa", "litre": "l",
}  # fmt: skip
"""Units as the standard calls them, as we do."""


def _told(element: Element) -> dict[str, str]:
    """Return what is said of an element, by the attribute's name: a number with its unit where it has one."""
    found: dict[str, str] = {}
    for name, value, unit in _attributes(element):
        if value:
            found.setdefault(_ENDING.sub("", name), f"{value} {_UNITS.get(unit.casefold(), unit)}".strip())
    return found


def _tag_name(element: Element) -> str:
    names = ("TagName", "SubTagName", "PipingComponentName", "ProcessInstrumentationFunctionNumber",
             "InstrumentationLoopFunctionNumber", "ActuatingSystemNumber")  # fmt: skip
    return _attribute(element, *names) or element.get("TagName", "")


def _line_number(element: Element) -> str:
    return _attribute(element, "LineNumber")


def _size(element: Element) -> str:
    return _attribute(element, "NominalDiameterRepresentation").replace(" ", "")


def _says(element: Element, *words: str) -> bool:
    told = " ".join(f"{name} {value}" for name, value, _ in _attributes(element) if value).casefold()
    return any(word.casefold() in told for word in words)


def _chamber(nozzle: Element) -> str:
    return next(
        (a.get("ItemID", "") for a in nozzle.findall("Association") if a.get("Type") == "is located in"), ""
    )


_LITRES = {
    "metrecubed": "m^3",
    "litre": "l",
    "decimetrecubed": "l",
    "gallon(us)": "gal",
    "m3": "m^3",
    "l": "l",
}


def _litres(element: Element) -> float | None:
    for name, value, unit in _attributes(element):
        if name.startswith("NominalCapacity(Volume)") and value and unit.casefold() in _LITRES:
            try:
                return parse_quantity(f"{value} {_LITRES[unit.casefold()]}", dimension="volume").value * 1000
            except BadQuantity:
                return None
    return None
