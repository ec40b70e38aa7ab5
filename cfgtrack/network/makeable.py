"""What could be joined: any joint of halves that fit, every valve and switch open. Of a definition, not of a moment.

Every unit of a part can be joined alike, so all is worked out part by part, whatever number of units there is: a vertex
is a port, contact or node of a part. What fits is what `possibility.misfits` lets pass: of shells their contacts
face those of their names then.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from itertools import product
from typing import NamedTuple

from cfgtrack.model.part import Part, Port
from cfgtrack.model.plant import HOLD, Plant
from cfgtrack.network.facing import facing, lines


class Vertex(NamedTuple):
    """A port, contact (``PORT:CONTACT``) or node of a part."""

    part: str
    name: str

    @property
    def port(self) -> str:
        """The port of a port or contact."""
        return self.name.partition(":")[0]


class _Shape(NamedTuple):
    """What decides what a port fits."""

    kind: str
    size: str
    keying: str
    gender: str


@dataclass(slots=True)
class Makeable:
    """What could be joined in a plant. `owners`: how many units and places are of each part."""

    plant: Plant
    owners: Counter[str] = field(init=False)
    _ports: dict[_Shape, list[Vertex]] = field(init=False)
    _fits: dict[_Shape, tuple[_Shape, ...]] = field(init=False)
    _common: dict[_Shape, bool] = field(init=False)
    """Whether what fits a shape is of two parts, or of several things: then it fits whatever is of that shape."""

    def __post_init__(self) -> None:
        plant = self.plant
        self.owners = Counter(unit.part for unit in plant.units.values())
        self.owners.update(place.part for place in plant.places.values() if place.part)
        found = defaultdict[_Shape, list[Vertex]](list)
        mated = {kind.id for kind in plant.kinds.values() if kind.joined is not None}
        for part in self.parts():
            for port in part.ports.values():
                if port.kind in mated:
                    found[_shape(port)].append(_made(Vertex, (part.id, port.name)))
        self._ports = dict(found)
        self._fits = {one: tuple(other for other in found if self._fit(one, other)) for one in found}
        self._common = {one: self._is_common(shapes) for one, shapes in self._fits.items()}

    def _is_common(self, shapes: Iterable[_Shape]) -> bool:
        ports = (at for shape in shapes for at in self._ports[shape])
        first = next(ports, None)
        return first is not None and (
            self.owners[first.part] > 1 or any(at.part != first.part for at in ports)
        )

    def parts(self) -> Iterator[Part]:
        """Yield the parts that there is something of."""
        return (part for part in self.plant.parts.values() if self.owners[part.id])

    def _fit(self, one: _Shape, other: _Shape) -> bool:
        kinds = self.plant.kinds
        return (
            kinds[one.kind].mates_with(kinds[other.kind])
            and not (one.size and other.size and one.size != other.size)
            and not (one.keying and other.keying and one.keying != other.keying)
            and not (one.gender and one.gender == other.gender)
        )

    def belong_together(self, one: Port, other: Port) -> bool:
        """Return whether two halves fit, and say so by a size or a keying that both have."""
        same = (one.size and one.size == other.size) or (one.keying and one.keying == other.keying)
        return bool(same) and self._fit(_shape(one), _shape(other))

    def has_mate(self, part: Part, port: Port) -> bool:
        """Return whether anything in the plant fits a port."""
        shape = _shape(port)
        if self._common[shape]:
            return True
        here, shapes = Vertex(part.id, port.name), self._fits[shape]
        return any(self._meet(here, there) for shape in shapes for there in self._ports[shape])

    def _meet(self, here: Vertex, there: Vertex) -> bool:
        """Return whether halves that fit can be those of two owners, or of one that bends round."""
        if here.part != there.part or self.owners[here.part] > 1:
            return True
        if here.port == there.port:
            return False
        part = self.plant.parts[here.part]
        return any(self._bends(part, part.ports[one.port]) for one in (here, there))

    def _bends(self, part: Part, port: Port) -> bool:
        kind = self.plant.kinds[port.kind]
        return kind.medium != HOLD and (port.flexible or kind.flexible or part.flexible)

    def fits(self, one: Vertex, other: Vertex) -> bool:
        """Return whether two ports could be joined."""
        near, far = (self.plant.parts[at.part].ports[at.name] for at in (one, other))
        return self._fit(_shape(near), _shape(far)) and self._meet(one, other)

    def reaching(
        self, medium: str, ends: Iterable[Vertex], joints: Iterable[tuple[Vertex, Vertex]] = ()
    ) -> set[Vertex]:
        """Return what could have a path of a medium to any of `ends`, in the direction in which its paths lead.

        `joints`: ports that are joined though they don't fit.
        """
        behind, found = self._behind(medium), self._found_joined(medium, joints)
        pending = {shape: self._lines(ports, medium) for shape, ports in self._ports.items()}
        inward, outward = set(ends), set[Vertex]()
        queue = list(inward)
        while queue:
            here = queue.pop()
            came = [one for one in behind.get(here, ()) if one not in inward]
            inward.update(came)
            queue += came
            if here in inward and (port := self._port(here)) is not None:
                over = [*self._over(here, _shape(port), pending), *found.pop(here, ())]
                outward.update(over)
                queue += over
        return inward | outward

    def _found_joined(
        self, medium: str, joints: Iterable[tuple[Vertex, Vertex]]
    ) -> dict[Vertex, list[Vertex]]:
        """Return what each port or contact is joined to by joints that don't fit."""
        found = defaultdict[Vertex, list[Vertex]](list)
        for pair in joints:
            near, far = (self._lines((at,), medium) for at in pair)
            for one, other in facing(near, far):
                for a, b in product(near[one], far[other]):
                    found[a].append(b)
                    found[b].append(a)
        return found

    def _lines(self, ports: Iterable[Vertex], medium: str) -> dict[str, list[Vertex]]:
        """Return what ports join in a medium, by the name of the contact, "" of a port without any."""
        found = defaultdict[str, list[Vertex]](list)
        for at in ports:
            for name in lines(self.plant, self.plant.parts[at.part].ports[at.name], medium):
                found[name].append(Vertex(at.part, f"{at.name}:{name}") if name else at)
        return found

    def _over(
        self, here: Vertex, shape: _Shape, pending: dict[_Shape, dict[str, list[Vertex]]]
    ) -> Iterator[Vertex]:
        """Yield the ports and contacts from which a joint leads to `here`, each once: they are taken from `pending`."""
        line = here.name.partition(":")[2]
        for other in self._fits[shape]:
            for far in [far for far in pending[other] if any(facing([line], [far]))]:
                left = []
                for there in pending[other][far]:
                    if self._meet(there, here):
                        yield there
                    else:
                        left.append(there)
                pending[other][far] = left

    def _port(self, at: Vertex) -> Port | None:
        port = self.plant.parts[at.part].ports.get(at.port)
        return port if port is not None and self.plant.kinds[port.kind].joined is not None else None

    def _behind(self, medium: str) -> dict[Vertex, list[Vertex]]:
        """Return from where each port or node is reached over one link inside its part."""
        found = self.plant.media.get(medium)
        upstream = found is not None and found.upstream
        out = defaultdict[Vertex, list[Vertex]](list)
        for part in self.parts():
            names = set(carriers(self.plant, part, medium))
            for link in part.links:
                if link.a not in names or link.b not in names:
                    continue
                a, b = Vertex(part.id, link.a), Vertex(part.id, link.b)
                if upstream or not link.one_way:
                    out[a].append(b)
                if not upstream or not link.one_way:
                    out[b].append(a)
        return out


def carriers(plant: Plant, part: Part, medium: str) -> Iterator[str]:
    """Yield the ports, contacts and nodes of a part that links of a medium can lead to."""
    for name, port in part.ports.items():
        if plant.kinds[port.kind].joined is not None:
            yield from (f"{name}:{line}" if line else name for line in lines(plant, port, medium))
    yield from (name for name, node in part.nodes.items() if node.medium == medium)


def _shape(port: Port) -> _Shape:
    return _made(_Shape, (port.kind, port.size, port.keying, port.gender))


_made = tuple.__new__
"""Makes a named tuple at the cost of a plain one: shapes are asked for of every port of a plant."""
