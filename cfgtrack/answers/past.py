"""What has happened, made ready for the rules: the one place where a check's start is built from the journal."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from functools import cache, cached_property, partial
from pathlib import Path
from typing import TYPE_CHECKING

from cfgtrack.answers.moment import Moment
from cfgtrack.model.action import ACKNOWLEDGE, APPROVE, BEGIN, BOOK_ACTIONS, END, NOTES
from cfgtrack.model.approval import Hands, hands_of, person_named
from cfgtrack.model.configuration import Configuration
from cfgtrack.model.event import Entry, Event
from cfgtrack.model.plant import Plant
from cfgtrack.model.trouble import NoAnswer, Problem
from cfgtrack.model.unknown import find
from cfgtrack.network.network import Network, compile_network
from cfgtrack.rules.acknowledgement import Acknowledgement, acknowledged, acknowledgement_of
from cfgtrack.rules.approved import Withdrawal
from cfgtrack.rules.finding import Clock, Finding, is_in_force
from cfgtrack.rules.rule import Rule, RuleSet
from cfgtrack.rules.variance import Times, Variance, Void, times_of, under_variance, variance_of
from cfgtrack.store.definitions import Definitions
from cfgtrack.store.journal import Journal

if TYPE_CHECKING:
    from cfgtrack.analysis.check import Start
    from cfgtrack.answers.judging import Judging
    from cfgtrack.rules.engine import Engine

NO_RULES = "no rules are loaded: nothing was judged"
"""What is said of a past without rules, lest it be read as one in which all is well."""


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
    `are_kept`: the rules are those that the journal keeps, and not set by whoever asks.
    """

    journal: Journal
    moment: Moment
    strict: bool = True
    are_kept: bool = True

    @cached_property
    def plant(self) -> Plant:
        """The plant as it was then."""
        return self.journal.plant(self.moment.at, self.moment.known)

    @cached_property
    def networks(self) -> Networks:
        """The plant's networks."""
        return Networks(self.plant)

    def networks_of(self, plant: Plant) -> Networks:
        """Return the networks of the plant of any span of the past."""
        return self.networks if plant is self.plant else Networks(plant)

    @cached_property
    def configuration(self) -> Configuration:
        """The whole configuration at the moment."""
        return self.journal.configuration(self.moment.at, self.moment.known)

    @cached_property
    def rules(self) -> RuleSet:
        """The rules kept in the journal."""
        whole = self.journal.whole_plant(self.moment.known) if self.strict else None
        return kept_rules(self.journal, whole, self.moment.known)

    @cached_property
    def start(self) -> Start:
        """The start of a check by any rules: the initial configuration, and every event since then."""
        from cfgtrack.analysis.check import Start
        from cfgtrack.rules.world import done_before

        base, began, history = Configuration(self.plant), None, list[Event]()
        before: list[Event] = []
        is_revised = bool(self.journal.dates_of_effect(self.moment.known))
        for entry in self.journal.entries(at=self.moment.at, known=self.moment.known):
            event = entry.event
            if event.action in BOOK_ACTIONS:
                continue
            if is_revised and event.action in NOTES and not any(map(self.plant.sort_of, event.subjects)):
                continue  # it is of a prior life: what was read comes later
            if event.initial and began in (None, event.happened):
                began = event.happened
                for earlier in history:
                    base.apply(earlier)
                before += (e for e in history if not e.initial)
                history.clear()
                base.apply(event)
            else:
                history.append(event)
        if began is None:
            began = history[0].happened if history else self.moment.at
        done = done_before(before)
        return Start(base, tuple(history), began, self.moment.at, done=done)

    @cached_property
    def _approvals(self) -> tuple[tuple[Variance, ...], tuple[Void, ...]]:
        return approvals(self.journal, self.moment.known)

    @property
    def variances(self) -> tuple[Variance, ...]:
        """Every approved exception that is recorded; what was withdrawn says so."""
        return self._approvals[0]

    @property
    def void(self) -> tuple[Void, ...]:
        """Every approval that is recorded and excuses nothing."""
        return self._approvals[1]

    @cached_property
    def acknowledgements(self) -> tuple[Acknowledgement, ...]:
        """Every acknowledgement that had been made at the moment."""
        at, known = self.moment.at, self.moment.known
        return tuple(map(acknowledgement_of, self.journal.of_action(ACKNOWLEDGE, at=at, known=known)))

    @cached_property
    def begun(self) -> dict[str, int]:
        """When the outings began that aren't over."""
        begun: dict[str, int] = {}
        at, known = self.moment.at, self.moment.known
        for entry in self.journal.of_action(BEGIN, END, at=at, known=known):
            outing = entry.event.outing or ""
            if entry.event.action == BEGIN:
                begun[outing] = entry.event.happened
            else:
                begun.pop(outing, None)
        return begun

    def in_force(self, rule_id: str) -> int | None:
        """Return since when a rule has been kept as it is kept now: an unbroken run of loads. None: it isn't kept."""
        return self._in_force.get(rule_id)

    @cached_property
    def _in_force(self) -> dict[str, int]:
        since: dict[str, tuple[Rule, int]] = {}
        texts: dict[str, str] = {}
        for known, kept in self.journal.rules_loads(self.moment.known):
            texts.update(kept)
            told = {name: text for name, text in texts.items() if text}
            now = {rule.id: rule.asks for rule in _rules_of(told).rules}
            before, since = since, {}
            for name, rule in now.items():
                unbroken = name in before and before[name][0] == rule
                since[name] = before[name] if unbroken else (rule, known)
        return {name: known for name, (_, known) in since.items()}

    @cached_property
    def judging(self) -> Judging:
        """The past as judged by the rules kept, from where it was judged last."""
        return self._judging(None)

    def _judging(self, before: int | None) -> Judging:
        from cfgtrack.answers.judging import Judging

        return Judging(self.journal, self.moment, self.rules, self.networks_of, before=before)

    def _afresh(self, rules: RuleSet) -> Judging | None:
        """Return the past judged by rules that aren't kept, where it goes through several plants. Else None."""
        from cfgtrack.answers.judging import Judging

        if not any(date <= self.moment.at for date in self.journal.dates_of_effect(self.moment.known)):
            return None
        found = next((judging for judged_by, judging in self._judged_afresh if judged_by is rules), None)
        if found is None:
            found = Judging(self.journal, self.moment, rules, self.networks_of, anew=())
            self._judged_afresh.append((rules, found))
        return found

    @cached_property
    def _judged_afresh(self) -> list[tuple[RuleSet, Judging]]:
        """The past as judged afresh, with the rules by which: a whole past isn't judged twice for one answer."""
        return []

    def start_for(self, rules: RuleSet) -> Start:
        """Return the start of a check by some rules: by those kept, from where the past was judged last."""
        if rules is self.rules and self.are_kept:
            return self.judging.start
        afresh = self._afresh(rules)
        return self.start if afresh is None else afresh.start

    @cached_property
    def engine(self) -> Engine:
        """The engine after judging all of the past."""
        from cfgtrack.analysis.check import judged

        if self.are_kept:
            return self.judging.engine()
        return judged(self.rules, self.start_for(self.rules), self.networks)

    def clocks(self) -> list[Clock]:
        """Return the running clocks: of the engine that has judged all of it, where there is one by now."""
        is_judged = self.are_kept and "engine" in self.__dict__
        return (self.engine if is_judged else self.judging.engine(settled=False)).clocks()

    def ready(self, rules: RuleSet, *events: Event) -> Callable[[Iterable[Event]], Engine]:
        """Return what gives an engine that has judged all of the past, ready for `events` and for others."""
        from cfgtrack.analysis.check import judged

        start = self.start_for(rules)
        return lambda coming: judged(rules, start, self.networks, coming=(*events, *coming))

    def engine_before(self, event: Event) -> Engine:
        """Return an engine at the moment, ready for one resolved event. It need not know what is over.

        A writer keeps the checkpoints that are made on the way, with `keep`.
        """
        self.judging = self._judging(event.happened)
        return self.judging.engine(coming=(event,), settled=False)

    def judge_to_keep(self) -> None:
        """Judge all of the past, for a writer: with `keep` the checkpoints that are made on the way are kept."""
        assert self.moment.known is not None
        span = self.journal.span(self.moment.at, self.moment.known)
        self.judging = self._judging(None if span is None else span[1])
        self.engine = self.judging.engine()

    def keep(self) -> None:
        """Keep the checkpoints that judging has made, if any. They are a cache: trouble with them is nobody's."""
        if "judging" in self.__dict__:
            with suppress(NoAnswer):
                self.judging.keep()

    def findings(self, *, as_it_is: bool = False) -> tuple[list[Finding], list[Finding]]:
        """Return all findings of the past: those that stand, and those under a variance.

        With `as_it_is` what is open is told with the reasons of the moment, not of when it began.
        """
        found = self.engine.findings(as_it_is=as_it_is)
        return under_variance(found, self.variances, at=self.moment.at, doer=self.doer, times=times_of(found))

    def unacknowledged(self, found: Iterable[Finding] | None = None) -> list[Finding]:
        """Return what broke a rule of the moment of an action while that rule was in force, and nobody acknowledged.

        Nothing puts it right: it is no open finding. What happened before the rule was kept is for a review. `found`
        are the findings that stand, where they are known already.
        """
        if not self.rules.rules:
            return []
        stand = self.findings()[0] if found is None else found
        done = (f for f in stand if f.mode == "at" and is_in_force(f, self.in_force))
        return acknowledged(done, self.acknowledgements)[0]

    def times(self, fingerprint: str) -> Sequence[int]:
        """Return when an instance was ever broken in this past."""
        return self._times(fingerprint)

    @cached_property
    def _times(self) -> Times:
        judged = self.engine if "engine" in self.__dict__ else self._judging(None).engine()
        return times_of(judged.findings())

    def doer(self, finding: Finding) -> str:
        """Return who did what broke a rule, by the one name that a person has; "" where that is not known."""
        return "" if finding.event is None else self._who_did(finding.event)

    @cached_property
    def _who_did(self) -> Callable[[str], str]:
        """Who did the event of an id. Each instance of a finding asks for the same."""

        @cache
        def who(event_id: str) -> str:
            entry = self.journal.entry(event_id)
            by = None if entry is None else entry.event.by
            return person_named(self.plant, by) if by else ""

        return who

    @property
    def events(self) -> int:
        """How many events the rules have judged."""
        if self.are_kept:
            return self.judging.events
        afresh = self._afresh(self.rules)
        return len(self.start.history) if afresh is None else afresh.events


def first_wrong_memory(past: Past) -> int | None:
    """Return the instant of the first checkpoint that isn't what judging from the beginning gives, None if all are."""
    from cfgtrack.answers.judging import Judging, form_of, told_by

    assert past.moment.known is not None
    known = past.moment.known
    stored = past.journal.stored_checkpoints(form_of(past.rules), known)
    if not stored:
        return None
    instants = [one.at for one in stored]
    anew = Judging(past.journal, past.moment, past.rules, past.networks_of, anew=instants)
    anew.engine()
    made = {one.at: one for one in anew.made}
    settled = sorted(pair for one in anew.made for pair in one.settled)
    if settled != past.journal.settled(instants[-1]):
        return instants[-1]
    for one in stored:
        right = made.get(one.at)
        if right is None or one.known != one.shaped or one.events != right.events:
            return one.at
        if told_by(one.memory) != told_by(right.memory):
            return one.at
    return None


def events_of(journal: Journal, action: str, known: int | None = None) -> list[Event]:
    """Return all events in effect of one action, whenever they happened."""
    return [entry.event for entry in journal.of_action(action, known=known)]


def approvals(journal: Journal, known: int | None = None) -> tuple[tuple[Variance, ...], tuple[Void, ...]]:
    """Return every approved exception that is recorded, and the approvals that are void.

    What was withdrawn, or corrected, is among them and says by what, save what was void anyhow.
    """
    return variances_of(journal, journal.ever(APPROVE, known=known))


def variances_of(
    journal: Journal, entries: Iterable[tuple[Entry, Entry | None]]
) -> tuple[tuple[Variance, ...], tuple[Void, ...]]:
    """Return the variances that approvals hold, each with what took it back, and those that are void."""
    held: list[Variance] = []
    void: list[Void] = []
    hands = partial(hands_in, journal.definitions())
    for entry, by in entries:
        found = variance_of(entry, hands, None if by is None else _withdrawal(by))
        if isinstance(found, Variance):
            held.append(found)
        elif by is None:
            void.append(found)
    return tuple(held), tuple(void)


def hands_in(definitions: Definitions, entry: Entry) -> Hands:
    """Return who had a hand in an approval, and whether they might, by the plant as it was when it was recorded."""
    return hands_of(definitions.plant(entry.known, entry.known), entry.event, entry.login)


def _withdrawal(by: Entry) -> Withdrawal:
    event = by.event
    return Withdrawal(event.id, event.by or event.recorder or "", by.known, event.reason or "")


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
    return _rules_of(kept_texts(journal, known), plant)


def _rules_of(texts: Mapping[str, str], plant: Plant | None = None) -> RuleSet:
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
