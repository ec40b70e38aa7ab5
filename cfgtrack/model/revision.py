"""When the definition becomes another one: whom that concerns, and which states it has no room for."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import replace
from typing import NamedTuple

from cfgtrack.model.configuration import View
from cfgtrack.model.kind import Kind
from cfgtrack.model.lock import devices_on, takes_locks
from cfgtrack.model.part import Contact, Node, Part, Port
from cfgtrack.model.plant import Place, Plant, Unit


def owners_otherwise(before: Plant, after: Plant) -> frozenset[str]:
    """Return the units and places of which another definition may make something impossible, or possible.

    Those that are in one plant only; those whose part, ports or kinds of port differ in more than words and ratings.
    """
    if before.media == after.media and before.kinds == after.kinds:
        kinds: set[str] = set()
    else:
        kinds = {
            name
            for name in before.kinds.keys() | after.kinds.keys()
            if _is_other_kind(before.kinds.get(name), after.kinds.get(name))
        }
    parts = {
        name
        for name in before.parts.keys() | after.parts.keys()
        if _differ(before.parts.get(name), after.parts.get(name), kinds)
    }
    found: set[str] = set()
    pairs: tuple[tuple[Mapping[str, Unit | Place], Mapping[str, Unit | Place]], ...] = (
        (before.units, after.units),
        (before.places, after.places),
    )
    for then, now in pairs:
        for name in then.keys() | now.keys():
            one, other = then.get(name), now.get(name)
            if (
                one is None
                or other is None
                or not parts.isdisjoint((one.part, other.part))
                or (one is not other and _owner_of_account(one) != _owner_of_account(other))
            ):
                found.add(name)
    return frozenset(found)


def _differ(then: Part | None, now: Part | None, kinds: set[str]) -> bool:
    if then is None or now is None:
        return True
    if kinds and any(port.kind in kinds for part in (then, now) for port in part.ports.values()):
        return True
    return then is not now and _of_account(then) != _of_account(now)


def _is_other_kind(then: Kind | None, now: Kind | None) -> bool:
    if then is None or now is None:
        return True
    return then != now and replace(then, title="", words={}) != replace(now, title="", words={})


def _of_account(part: Part) -> Part:
    """Return a part without what only rules and people look at."""
    return replace(
        part,
        title="",
        tags=frozenset(),
        aliases=(),
        attributes={},
        mass=None,
        thermal=None,
        trapped=None,
        ports={name: _port_of_account(port) for name, port in part.ports.items()},
        nodes={name: _node_of_account(node) for name, node in part.nodes.items()},
    )


def _owner_of_account(owner: Unit | Place) -> Unit | Place:
    bare = replace(owner, title="", tags=frozenset(), loop="", aliases=(), attributes={})
    return replace(bare, lifts=None) if isinstance(bare, Place) else bare


def _port_of_account(port: Port) -> Port:
    return replace(
        port,
        title="",
        tags=frozenset(),
        loop="",
        aliases=(),
        attributes={},
        cycles=None,
        torque=None,
        pattern="",
        rated_pressure=None,
        rated_current=None,
        contacts={name: _contact_of_account(contact) for name, contact in port.contacts.items()},
    )


def _contact_of_account(contact: Contact) -> Contact:
    return Contact(contact.name, contact.medium)


def _node_of_account(node: Node) -> Node:
    return replace(
        node,
        title="",
        tags=frozenset(),
        loop="",
        aliases=(),
        attributes={},
        litres=None,
        rated_pressure=None,
        roles=frozenset(),
    )


class Left(NamedTuple):
    """A state that another plant has no room for: of what, in words, and by which event."""

    port: str
    sentence: str
    event: str


def not_carried_over(view: View, after: Plant, owners: Iterable[str]) -> Iterator[Left]:
    """Yield why the configuration can't go on as it is in another plant: what `owners` are joined to, and how.

    A unit that is retired, and a port that is gone, must be joined to nothing, and no lock or tag may hang on it; what
    is there must still be possible.
    """
    told: set[str] = set()
    for owner in owners:
        for thing in (owner, *view.plant.ports_of(owner)):
            yield from _devices_left(view, after, thing)
        for port in view.plant.ports_of(owner):
            status, mate, event = view.state(port)
            found = after.port(port)
            if event is None or port in told:
                continue
            if found is None:
                if mate is not None:
                    gone = "is retired" if owner in after.retired else f"has no port {port.partition(':')[2]}"
                    yield Left(
                        port,
                        f"{port} is {view.plant.says_joined(port, status, mate)}, and {owner} {gone}",
                        event,
                    )
                    told.add(mate)
            elif status not in found[1].statuses or (mate is not None) != found[1].is_joined(status):
                sentence = f"{port} is {view.plant.says(port, status)}, which a {found[1].id} can't be"
                yield Left(port, sentence, event)


def _devices_left(view: View, after: Plant, thing: str) -> Iterator[Left]:
    """Yield the locks and tags that are on what can have none in another plant."""
    for one in devices_on(view, thing):
        if not (takes_locks(after, thing) or (one.is_tag and after.port(thing) is not None)):
            yield Left(thing, f"{one.what} is on {thing}, which takes none from then on", one.event)
