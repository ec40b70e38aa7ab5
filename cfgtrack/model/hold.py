"""What is joined to, carries, grips and holds what in a configuration: the one meaning that all who ask share.

A *joint* is a mated interface of any medium, seen from one of its sides. It *holds* when it is of structural hold and
made. A *grip* is such a hold between a unit and a place that moves (a hand, a crane); a *seat* holds what stands on it.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import NamedTuple

from cfgtrack.model.configuration import View
from cfgtrack.model.plant import HOLD, Plant, owner_of, port_of


class Joint(NamedTuple):
    """A mated interface, seen from one side: own port, far port, and whether it gives (a hose, a tether, a hand)."""

    near: str
    far: str
    medium: str | None
    gives: bool


# --- joined -------------------------------------------------------------------------------------------------------


def mate_of(view: View, address: str) -> str | None:
    """Return the port to which the port at `address` is mated, or None."""
    return view.state(address).other if view.plant.port(address) else None


def peer_of(view: View, address: str) -> str | None:
    """Return the port, or of a contact the contact, to which the one at `address` is mated, or None."""
    port = port_of(address)
    mate = mate_of(view, port)
    if mate is None or port == address:
        return mate
    peer = f"{mate}{address.removeprefix(port)}"
    return peer if view.plant.contact(peer) is not None else None


def carries(view: View, address: str) -> bool:
    """Return whether the half, valve or switch at `address` lets its medium through."""
    found = view.plant.port(address)
    return found is not None and found[1].is_carrying(view.state(address).value)


def is_made(view: View, address: str) -> bool:
    """Return whether the interface at port `address` carries its medium: both halves say so."""
    return carries(view, address) and (mate := mate_of(view, address)) is not None and carries(view, mate)


def joints(view: View, owner: str) -> Iterator[Joint]:
    """Yield every mated interface of a unit or place."""
    plant = view.plant
    for near in plant.ports_of(owner):
        far = view.state(near).other
        if far is not None:
            yield Joint(near, far, _medium(plant, near), plant.gives(near, far))


def _medium(plant: Plant, port: str) -> str | None:
    found = plant.port(port)
    return None if found is None else found[1].medium


def is_grip(plant: Plant, joint: Joint) -> bool:
    """Return whether a joint is a grip, as its kind says: neither side leaves the other."""
    return any(
        found is not None and found[1].grip for found in (plant.port(joint.near), plant.port(joint.far))
    )


def is_tether(plant: Plant, joint: Joint) -> bool:
    """Return whether a joint is a tether: its kind says so, or one of its halves has a reach."""
    halves = (plant.port(joint.near), plant.port(joint.far))
    return any(found is not None and (found[1].tether or bool(found[0].reach)) for found in halves)


# --- held and gripped -----------------------------------------------------------------------------------------------


def is_of_hold(plant: Plant, port: str) -> bool:
    """Return whether a port is there to hold: a bolt, a latch, a hand."""
    return _medium(plant, port) == HOLD


def holds(view: View, owner: str) -> Iterator[Joint]:
    """Yield the joints of a unit or place that hold."""
    return (joint for joint in joints(view, owner) if joint.medium == HOLD and is_made(view, joint.near))


def grippers(view: View, units: Iterable[str]) -> set[str]:
    """Return the places that move (hands, cranes) that grip any of some units."""
    far = (owner_of(joint.far) for unit in units for joint in holds(view, unit))
    return {owner for owner in far if view.plant.is_mobile(owner)}


def seat_of(view: View, owner: str) -> str:
    """Return the place that holds a unit or mobile place by its standing there, "" when none does."""
    at = view.plant.places.get(view.state(owner).value)
    return at.id if at is not None and at.holds else ""


def hangs(view: View, unit: str) -> bool:
    """Return whether a unit has nothing to be held by but what it is mated to (a hose between two panels)."""
    ports = view.plant.ports_of(unit)
    return any(view.state(p).other for p in ports) and not any(is_of_hold(view.plant, p) for p in ports)


# --- carried along ----------------------------------------------------------------------------------------------------


def rigid_group(view: View, unit: str) -> list[str]:
    """Return `unit` and all units that are fixed to it, directly or not, over holds that don't give."""
    group = {unit: None}
    queue = [unit]
    while queue:
        for joint in holds(view, queue.pop()):
            owner = owner_of(joint.far)
            if not joint.gives and owner in view.plant.units and owner not in group:
                group[owner] = None
                queue.append(owner)
    return list(group)


def moves_with(view: View, thing: str) -> list[str]:
    """Return what moves when a unit or mobile place is taken elsewhere, itself first, but for what stands in it."""
    return rigid_group(view, thing) if thing in view.plant.units else [thing]


def aboard(view: View, place: str) -> list[str]:
    """Return all that moves with a mobile place: units and mobile places in it, directly or not, and its slots.

    Each once, also where two are recorded to be in each other: a late event may say so, and is refused for it.
    """
    out: dict[str, None] = {}
    queue = [place]
    while queue:
        at = queue.pop()
        slots, standing = view.plant.slots_of(at), view.standing_at(at)
        queue += [s for s in (*slots, *filter(view.plant.is_mobile, standing)) if s not in out]
        out.update(dict.fromkeys((*slots, *standing)))
    return list(out)
