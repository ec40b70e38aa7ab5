"""Which things there are: what a question may name, and what completes in a shell."""

from __future__ import annotations

from collections.abc import Iterable

from cfgtrack.answers.asking import Asking
from cfgtrack.model.trouble import BadInput, NoAnswer, Problem, near_hint
from cfgtrack.store.journal import Journal

_UNKNOWN = frozenset(("no-such-unit", "no-such-port", "no-such-place"))
_MOST_NAMED = 12
"""So many units of a part are named in a message."""


def expect_known(journal: Journal, thing: str, known: int | None, *, parts: bool = True) -> None:
    """Raise NoAnswer unless `thing` is a unit, place, port or node; or, unless `parts` is false, a part."""
    plant = journal.plant(known)
    if plant.has(thing) or (parts and thing in plant.parts):
        return
    if thing in plant.parts:
        units = [unit.id for unit in plant.units.values() if unit.part == thing]
        named = ", ".join(units[:_MOST_NAMED]) or "none"
        more = f" and {len(units) - _MOST_NAMED} more" if len(units) > _MOST_NAMED else ""
        sentence = f"{thing} is a part, and no thing by itself; its units: {named}{more}"
        raise NoAnswer(Problem(thing, "no-such-thing", sentence))
    owner = thing.partition(":")[0]
    names: Iterable[str] = [*plant.owners(), *plant.parts]
    if plant.has_owner(owner):
        names = [*plant.ports_of(owner), *plant.nodes_of(owner)]
    hint = near_hint(thing, list(names))
    raise NoAnswer(Problem(thing, "no-such-thing", f"there is no unit, place, port or part {thing}{hint}"))


def beginning(asking: Asking, incomplete: str) -> list[str]:
    """Return the units and places, and after a colon the ports and nodes, whose names begin so."""
    owner, colon, _ = incomplete.partition(":")
    with asking.read() as journal:
        if not colon:
            return journal.ids(incomplete)
        plant = journal.plant()
        names = [*plant.ports_of(owner), *plant.nodes_of(owner)] if plant.has_owner(owner) else []
        return [name for name in names if name.startswith(incomplete)]


def actions(asking: Asking) -> list[str]:
    """Return the actions along the ladders of the plant's kinds, each once."""
    with asking.read() as journal:
        kinds = journal.plant().kinds.values()
        return list(dict.fromkeys(action for kind in kinds for action in kind.moves))


def no_answer_if_unknown(err: BadInput) -> BadInput | NoAnswer:
    """Return the trouble to raise: there is no answer when all that is wrong is that a thing is unknown."""
    return NoAnswer(err.problems) if all(p.code in _UNKNOWN for p in err.problems) else err
