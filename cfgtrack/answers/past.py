"""What has happened, made ready for the rules: the one place where a check's start is built from the journal."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING

from cfgtrack.answers.moment import Moment
from cfgtrack.model.action import ACKNOWLEDGE, APPROVE, BOOK_ACTIONS
from cfgtrack.model.configuration import Configuration
from cfgtrack.model.event import Event
from cfgtrack.model.plant import Plant
from cfgtrack.model.trouble import NoAnswer, Problem
from cfgtrack.model.unknown import find
from cfgtrack.network.network import Network, compile_network
from cfgtrack.rules.acknowledgement import Acknowledgement, acknowledgement_of
from cfgtrack.rules.finding import Finding
from cfgtrack.rules.rule import Rule, RuleSet
from cfgtrack.rules.variance import Variance, Void, under_variance, variances_of
from cfgtrack.store.journal import Journal

if TYPE_CHECKING:
    from cfgtrack.analysis.check import Start
    from cfgtrack.rules.engine import Engine


LONG = 5_000
"""With more events than these in the journal, all of the past is judged only where that is the question."""


class Networks(Mapping[str, Network]):
    """The network of each medium of a plant, compiled when it is first asked for."""

    def __init__(self, plant: Plant) -> None:
        self._plant = plant
        self._compiled: dict[str, Network] = {}

    def __getitem__(self, medium: str) -> Network:
        if medium not in self._compiled:
            if medium not in self._plant.media:
                raise KeyError(medium)
            self._compiled[medium] = compile_network(self._plant, medium)
        return self._compiled[medium]

    def __iter__(self) -> Iterator[str]:
        return iter(self._plant.media)

    def __len__(self) -> int:
        return len(self._plant.media)


@dataclass
class Past:
    """The recorded past up to a moment, as the rules see it.

    The rules begin with the initial configuration: its as-found events are where judging starts, every later event
    is judged. What was recorded of the time before is only remembered.

    `strict`: rules that no longer fit the plant are an error, as they must be where the answer is a judgement.
    `notes` takes what is to be told beside the answer.
    """

    journal: Journal
    moment: Moment
    strict: bool = True
    notes: list[str] = field(default_factory=list)

    @cached_property
    def plant(self) -> Plant:
        """The plant as defined then."""
        return self.journal.plant(self.moment.known)

    @cached_property
    def networks(self) -> Networks:
        """The plant's networks."""
        return Networks(self.plant)

    @cached_property
    def configuration(self) -> Configuration:
        """The whole configuration at the moment."""
        return self.journal.configuration(self.moment.at, self.moment.known)

    @cached_property
    def rules(self) -> RuleSet:
        """The rules kept in the journal."""
        return kept_rules(self.journal, self.plant if self.strict else None, self.moment.known)

    @cached_property
    def start(self) -> Start:
        """The start of a check: the initial configuration, and every event since then."""
        from cfgtrack.analysis.check import Start

        base, began, history = Configuration(self.plant), None, list[Event]()
        for entry in self.journal.entries(at=self.moment.at, known=self.moment.known):
            event = entry.event
            if event.action in BOOK_ACTIONS:
                continue
            if event.initial and began in (None, event.happened):
                began = event.happened
                for earlier in history:
                    base.apply(earlier)
                history.clear()
                base.apply(event)
            else:
                history.append(event)
        if began is None:
            began = history[0].happened if history else self.moment.at
        return Start(configuration=base, history=tuple(history), began=began, start=self.moment.at)

    @cached_property
    def variances(self) -> tuple[Variance, ...]:
        """Every approved exception that is recorded."""
        return variances(self.journal, self.moment.known)

    @cached_property
    def void(self) -> tuple[Void, ...]:
        """Every approval that is recorded and excuses nothing."""
        return variances_of(events_of(self.journal, APPROVE, self.moment.known))[1]

    @cached_property
    def acknowledgements(self) -> tuple[Acknowledgement, ...]:
        """Every acknowledgement that had been made at the moment."""
        at, known = self.moment.at, self.moment.known
        return tuple(map(acknowledgement_of, self.journal.of_action(ACKNOWLEDGE, at=at, known=known)))

    @cached_property
    def engine(self) -> Engine:
        """The engine after judging all of the past."""
        from cfgtrack.analysis.check import judged

        return judged(self.rules, self.start, self.networks)

    def ready(self, rules: RuleSet) -> Callable[[Iterable[Event]], Engine]:
        """Return what gives an engine that has judged all of the past, ready for events that may come."""
        from cfgtrack.analysis.check import judged

        return lambda coming: judged(rules, self.start, self.networks, coming=coming)

    def engine_before(self, *events: Event) -> Engine:
        """Return an engine at the moment, ready for one resolved event, or for others in its stead.

        It has judged all of the past where that is short. Where it is long, it starts from the configuration at the
        moment and looks up what was done before when a rule asks: it then knows of no clock that runs already.
        """
        from cfgtrack.analysis.check import Start, judged

        if not self.is_long:
            return judged(self.rules, self.start, self.networks, coming=events)
        at = self.moment.at
        here = Start(configuration=self.configuration, began=at, start=at)
        return judged(self.rules, here, self.networks, coming=events, prior=self._last_done)

    @cached_property
    def is_long(self) -> bool:
        """Whether the journal is too long to be judged anew for every event that is recorded."""
        return next(iter(self.journal.log(after=LONG)), None) is not None

    def _last_done(self, subject: str, action: str) -> int | None:
        action, _, quantity = action.partition(" ")
        if not quantity:
            entry = self.journal.last(subject, action, at=self.moment.at, known=self.moment.known)
            return None if entry is None else entry.event.happened
        done = (
            e.event for e in self.journal.history(subject, end=self.moment.at + 1, known=self.moment.known)
        )
        times = [e.happened for e in done if action in ("", e.action) and quantity in e.values]
        return times[-1] if times else None

    def findings(self) -> tuple[list[Finding], list[Finding]]:
        """Return all findings of the past: those that stand, and those under a variance."""
        return under_variance(self.engine.findings(), self.variances, at=self.moment.at)

    def is_judged(self, *, asked: bool | None) -> bool:
        """Return whether an answer is to judge the past too: as asked; else where it is short, with a note if not.

        Never without rules.
        """
        if not self.rules.rules:
            return False
        if asked is None and self.is_long:
            self.notes.append(
                "note: the past is long, so it is not judged for this: no clocks, no findings; ask for them"
            )
            return False
        return asked is not False


def events_of(journal: Journal, action: str, known: int | None = None) -> list[Event]:
    """Return all events in effect of one action, whenever they happened."""
    return [entry.event for entry in journal.of_action(action, known=known)]


def variances(journal: Journal, known: int | None = None) -> tuple[Variance, ...]:
    """Return every approved exception that is recorded."""
    return variances_of(events_of(journal, APPROVE, known))[0]


def rules_to_judge_by(past: Past, files: Sequence[Path] = ()) -> RuleSet:
    """Return the rules in files, else those kept. NoAnswer when there are none: without rules there is no verdict."""
    if files:
        from cfgtrack.files.rules import read_rules

        return read_rules(list(files), past.plant)
    if not past.rules.rules:
        sentence = "no rules are kept here: load some with `cfgtrack rules load FILE`"
        raise NoAnswer(Problem("rules", "no-rules", sentence))
    return past.rules


def kept_rules(journal: Journal, plant: Plant | None, known: int | None = None) -> RuleSet:
    """Return the rules that the journal keeps. BadInput when one no longer fits the plant.

    Without a plant nothing is compared with it, which is quick: each was, when it was loaded.
    """
    texts = kept_texts(journal, known)
    if not texts:
        return RuleSet()
    from cfgtrack.files.rules import parse_rules

    return parse_rules(texts, plant)


def find_rule(rules: RuleSet, rule_id: str) -> Rule:
    """Return the rule with this id. NoAnswer, with near names, when there is none."""
    return find("rule", rule_id, {rule.id: rule for rule in rules.rules})


def kept_texts(journal: Journal, known: int | None = None) -> dict[str, str]:
    """Return the texts of the rules files that are kept, by name. An empty text is a file that was dropped."""
    return {name: text for name, text in journal.rules(known).items() if text}


def concerned(rules: RuleSet, action: str) -> RuleSet:
    """Return the rules that a single event with this action can break, or whose clocks it can start."""
    return replace(rules, rules=tuple(rule for rule in rules.rules if rule.mode.concerns(action)))
