"""What of two halves faces what when they are mated: contacts of one name, and of a port without any all that comes.

Only contacts of one medium are joined. Where a name has another medium on the other side, or isn't there, the halves
fit and don't belong together: `unlike` says so.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator
from itertools import product

from cfgtrack.model.configuration import View
from cfgtrack.model.event import Event, effects
from cfgtrack.model.hold import mate_of
from cfgtrack.model.part import Port
from cfgtrack.model.plant import Plant, port_of


def facing(near: Collection[str], far: Collection[str]) -> Iterator[tuple[str, str]]:
    """Yield the pairs of contacts, by name, that two halves join in one medium; a port without any is "".

    >>> list(facing(["1", "2"], ["2", "3"])), list(facing(["1", "2"], [""]))
    ([('2', '2')], [('1', ''), ('2', '')])
    """
    if "" in near or "" in far:
        yield from product(near, far)
    else:
        yield from ((name, name) for name in near if name in far)


def lines(plant: Plant, port: Port, medium: str) -> tuple[str, ...]:
    """Return what a port joins in a medium: of a shell its contacts by name, of another itself by ""."""
    if port.contacts:
        return tuple(c.name for c in port.contacts.values() if c.medium == medium)
    return ("",) if plant.kinds[port.kind].medium == medium else ()


def joined(plant: Plant, near: Port, far: Port) -> dict[tuple[str, str], str]:
    """Return all pairs of contacts that two halves join, each with its medium."""
    return {
        pair: medium
        for medium in near.media(plant.kinds[near.kind].medium)
        for pair in facing(lines(plant, near, medium), lines(plant, far, medium))
    }


def faced_by(view: View, end: str) -> list[str]:
    """Return what a port or contact meets on the half that it is mated to, whether the joint is made or not.

    Of a contact that is one of its medium, or a port without any; of such a port all contacts of its medium. A shell
    meets the other half, and so does a port without contacts one of its sort.
    """
    port, plant = port_of(end), view.plant
    mate = mate_of(view, port)
    here, there = plant.port(port), None if mate is None else plant.port(mate)
    if mate is None or here is None or there is None:
        return []
    contact, far = plant.contact(end), there[0]
    if contact is None and (here[0].contacts or not far.contacts):
        return [mate]
    medium, name = (here[1].medium or "", "") if contact is None else (contact.medium, contact.name)
    met = facing([name], lines(plant, far, medium))
    return [f"{mate}:{other}" if other else mate for _, other in met]


def mismatches(view: View, event: Event) -> Iterator[str]:
    """Yield, in words, where the contacts of halves that an event joins don't belong together: it is done, and told."""
    joined_now = {e.subject: e.other for e in effects(view.plant, event) if not e.aspect and ":" in e.subject}
    for near, far in joined_now.items():
        one, other = view.plant.port(near), view.plant.port(far or "")
        if far is None or one is None or other is None or (near > far and joined_now.get(far) == near):
            continue
        differ = unlike(one[0], other[0], near, far)
        if differ and mate_of(view, near) != far:
            yield f"the contacts of {near} and {far} don't belong together: {'; '.join(differ)}"


def unlike(near: Port, far: Port, here: str, there: str) -> list[str]:
    """Return, in words, where the contacts of two halves don't belong together; `here` and `there` are their names."""
    if not near.contacts and not far.contacts:
        return []
    if not near.contacts:
        near, far, here, there = far, near, there, here
    if not far.contacts:
        names = _contacts(list(near.contacts))
        return [f"{there} names no contacts, and {here} has {names}"] if len(near.contacts) > 1 else []
    other = _other_sides(near, far)
    differ = (f"contact {name} is {one} on {here} and {two} on {there}" for name, one, two in other)
    return [*_missing(near, far, there), *_missing(far, near, here), *differ]


def _missing(near: Port, far: Port, there: str) -> list[str]:
    names = [name for name in near.contacts if name not in far.contacts]
    return [f"{there} has no {_contacts(names)}"] if names else []


def _contacts(names: list[str]) -> str:
    return f"contact{'s' if len(names) > 1 else ''} {', '.join(names)}"


def _other_sides(near: Port, far: Port) -> Iterator[tuple[str, str, str]]:
    """Yield the contacts that are of another medium, or of another loop, on the other side."""
    for name, one in near.contacts.items():
        other = far.contacts.get(name)
        if other is None:
            continue
        if one.medium != other.medium:
            yield name, one.medium, other.medium
        elif one.loop and other.loop and one.loop != other.loop:
            yield name, f"of loop {one.loop}", f"of loop {other.loop}"
