"""Which things there are: what completes in a shell, and what to call instead of what there isn't."""

from __future__ import annotations

from collections.abc import Collection, Sequence

from cfgtrack.answers.asking import Asking
from cfgtrack.model.plant import Plant


def beginning(asking: Asking, incomplete: str) -> list[str]:
    """Return the units and places, and after a colon what is inside, whose ids or aliases begin so."""
    with asking.read() as journal:
        plant = journal.plant()
    whole = [*sorted(plant.owners()), *sorted(plant.names.owners)]
    found = [name for name in whole if name.startswith(incomplete)]
    for owner, _ in plant.names.split(incomplete):
        part = plant.part_of(owner)
        contacts = (f"{port.name}:{contact}" for port in part.ports.values() for contact in port.contacts)
        inside = (*part.ports, *contacts, *part.nodes, *plant.names.inside(owner))
        # By whatever name the owner is told: what was typed stays.
        found += [f"{told}:{name}" for told in _told(plant, owner, incomplete) for name in inside]
    return [name for name in dict.fromkeys(found) if name.startswith(incomplete)]


def _told(plant: Plant, owner: str, incomplete: str) -> list[str]:
    """Return by which of its names the owner of what is incomplete is told."""
    names = (owner, *plant.aliases_of(owner))
    return [name for name in names if incomplete.startswith(f"{name}:")]


def steps(asking: Asking, incomplete: str) -> list[str]:
    """Return the steps of the plan in force that are left and whose ids begin so, also at the end of a range."""
    from cfgtrack.answers.past import Past
    from cfgtrack.answers.proposing import as_run, plan_in_force

    first, dots, last = incomplete.rpartition("..")
    with asking.read() as journal:
        past = Past(journal, asking.moment(journal), strict=False)
        left = as_run(past, plan_in_force(past)).left
    return [f"{first}{dots}{step.id}" for step in left if step.id.startswith(last)]


def actions(asking: Asking) -> list[str]:
    """Return the actions along the ladders of the plant's kinds, each once."""
    with asking.read() as journal:
        kinds = journal.plant().kinds.values()
        return list(dict.fromkeys(action for kind in kinds for action in kind.moves))


def instead(asking: Asking, words: Sequence[str], commands: Collection[str], verbs: Collection[str]) -> str:
    """Return what to call instead of a command that there isn't: fitted to what is named, where there is a plant.

    `words` are those of the line up to its first option; `verbs` the actions that are commands without a plant.
    """
    from cfgtrack.files.action import actions_of
    from cfgtrack.files.trade_words import for_command
    from cfgtrack.model.trouble import Trouble

    try:
        with asking.read() as journal:
            plant = journal.plant()
    except Trouble:
        return for_command(words, commands, verbs, None)
    return for_command(words, [*commands, *actions_of(plant)], actions_of(plant), plant)


def commands_meant(word: str, known: Collection[str]) -> list[str]:
    """Return the commands, of those that are known, that another word may mean, likeliest first; else near ones."""
    from cfgtrack.files.trade_words import meant_commands

    return meant_commands(word, known)


def action_meant(asking: Asking, words: Sequence[str], call: str = "{}") -> str:
    """Return the command for what was put as an action, "" where the first word is none nor means one.

    `call` is the command, with `{}` for the action.
    """
    from cfgtrack.files.action import actions_of
    from cfgtrack.files.trade_words import call_for

    with asking.read() as journal:
        plant = journal.plant()
    return call_for(words, actions_of(plant), plant, call)


def slips(word: str, known: Collection[str]) -> list[str]:
    """Return the known words that a word is a slip of a letter from."""
    from cfgtrack.files.trade_words import near_words

    return near_words(word, known)
