"""Which things there are: what completes in a shell."""

from __future__ import annotations

from cfgtrack.answers.asking import Asking


def beginning(asking: Asking, incomplete: str) -> list[str]:
    """Return the units and places, and after a colon the ports, contacts and nodes, whose names begin so."""
    owner, colon, _ = incomplete.partition(":")
    with asking.read() as journal:
        plant = journal.plant()
    names = sorted(plant.owners())
    if colon:
        inside = (plant.ports_of, plant.contacts_of, plant.nodes_of) if plant.has_owner(owner) else ()
        names = [name for names_of in inside for name in names_of(owner)]
    return [name for name in names if name.startswith(incomplete)]


def actions(asking: Asking) -> list[str]:
    """Return the actions along the ladders of the plant's kinds, each once."""
    with asking.read() as journal:
        kinds = journal.plant().kinds.values()
        return list(dict.fromkeys(action for kind in kinds for action in kind.moves))
