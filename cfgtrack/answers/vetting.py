"""What in a definition looks wrong, though it holds together?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from cfgtrack.analysis.vetting import Ground, Vetted, vet
from cfgtrack.answers.asking import Asking
from cfgtrack.answers.moment import Answer, Moment
from cfgtrack.answers.past import kept_rules
from cfgtrack.files.definition import read_definition
from cfgtrack.files.rules import read_rules
from cfgtrack.model.action import Action
from cfgtrack.model.configuration import Configuration
from cfgtrack.model.event import Event
from cfgtrack.model.plant import Plant
from cfgtrack.model.possibility import resolve
from cfgtrack.rules.rule import RuleSet


@dataclass(frozen=True, slots=True)
class Vetting(Answer):
    """What was found, by check; only checks that found something."""

    vetted: tuple[Vetted, ...]

    @property
    def doubts(self) -> int:
        """How many doubts there are."""
        return sum(len(one.doubts) for one in self.vetted)


def vetting(asking: Asking, files: Sequence[Path] = (), rules: Sequence[Path] = ()) -> Vetting:
    """Return what looks wrong in the plant and the rules that are kept; of `files`, in what they define by themselves.

    `rules` are looked at instead of those that are kept, which files have none of. BadInput with every problem.
    """
    if not files:
        with asking.read() as journal:
            moment = asking.recorded(journal)
            now = journal.configuration(moment.at, moment.known)
            kept = read_rules(list(rules), now.plant) if rules else kept_rules(journal, None, moment.known)
            return Vetting(moment, vet(Ground(now, kept)))
    definition = read_definition(list(files))
    now = configured(definition.plant(), definition.initial)
    at = max((event.happened for event in definition.initial), default=asking.clock())
    found = vet(Ground(now, read_rules(list(rules), now.plant) if rules else RuleSet()))
    return Vetting(Moment(at), found)


def configured(plant: Plant, initial: Sequence[Action]) -> Configuration:
    """Return the configuration that the events of a definition leave."""
    now = Configuration(plant)
    for action in initial:
        outcome = resolve(now, action)
        if isinstance(outcome, Event):
            now.apply(outcome)
    return now
