"""Which rules are kept, what does each ask, and what would others have found?"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from cfgtrack.answers.asking import Asking
from cfgtrack.answers.hardware import Loaded
from cfgtrack.answers.moment import Answer, now_of
from cfgtrack.answers.past import Past, find_rule, kept_rules, kept_texts
from cfgtrack.answers.redefining import Redefining, needless, reason_of
from cfgtrack.answers.review import Review, reviewed
from cfgtrack.answers.timely import clock_notes
from cfgtrack.files.rules import parse_rules, read_rules
from cfgtrack.model.approval import as_written, person_called, person_named
from cfgtrack.model.people import APPROVE, has_roles, may, who_may
from cfgtrack.model.plant import Plant
from cfgtrack.model.trouble import BadInput, Misput, Problem
from cfgtrack.model.unknown import find
from cfgtrack.rules.finding import SEVERITIES
from cfgtrack.rules.naming import by_ids
from cfgtrack.rules.rule import Rule, RuleSet
from cfgtrack.rules.saying import say_list
from cfgtrack.store.journal import Journal


def load(asking: Asking, files: Sequence[Path], accept: str | None = None) -> Loaded:
    """Keep rules files by name, checked against the plant, with the rules kept already. BadInput with every problem.

    Misput when two files have one name. Where a catastrophic or critical rule goes away or guards less than before,
    nothing is written unless `accept` says why.
    """
    if len({file.name for file in files}) < len(files):
        raise Misput("Rules files are kept by name: two of these have the same.")
    with asking.write() as journal:
        plant = journal.plant()
        loaded = read_rules(list(files), plant)
        texts = {file.name: file.read_text(encoding="utf-8") for file in files}
        # Those that are kept may name what is no longer there.
        parse_rules({**kept_texts(journal), **texts}, journal.whole_plant())
        warnings = [*(rule.warning(plant) for rule in loaded.rules), *_expect_approvers(plant, loaded)]
        notes = tuple(f"beware: {warning}" for warning in warnings if warning)
        return _keep(asking, journal, texts, accept, notes)


def _expect_approvers(plant: Plant, loaded: RuleSet) -> list[str]:
    """Return who of those to whom exceptions are left may not approve. BadInput where too few are left.

    Where nobody has a role, nobody is checked.
    """
    if not has_roles(plant):
        return []
    able = {as_written(one) for one in who_may(plant, APPROVE)}
    unable: dict[str, list[str]] = {}
    problems: list[Problem] = []
    for rule in loaded.rules:
        people = {one: as_written(person_named(plant, one)) for one in rule.approvers}
        idle = [one for one, person in people.items() if person not in able]
        if rule.approvers and len(able & {*people.values()}) < rule.approvals:
            many = ("one person", "two people")[rule.approvals - 1]
            why = [_why_not(plant, one) for one in idle]
            left_to = f"exceptions to rule {rule.id} need {many} of {say_list(rule.approvers)}"
            sentence = "; ".join([f"{left_to}, and too few may approve", *why])
            problems.append(Problem(rule.where, "approvers", sentence))
        for one in idle:
            unable.setdefault(one, []).append(rule.id)
    if problems:
        raise BadInput(problems)
    return [
        f"{say_list(rules)}: exceptions are left to {one}, too; {_why_not(plant, one)}"
        for one, rules in unable.items()
    ]


def _why_not(plant: Plant, name: str) -> str:
    return may(plant, person_called(plant, name) or name, APPROVE) or ""


def drop(asking: Asking, name: str, accept: str | None = None) -> Loaded:
    """Judge by a kept rules file no longer. NoAnswer when none of this name is kept. `accept`: as of `load`."""
    with asking.write() as journal:
        find("rules file", name, kept_texts(journal))
        return _keep(asking, journal, {name: ""}, accept)


def _keep(
    asking: Asking,
    journal: Journal,
    texts: dict[str, str],
    accept: str | None,
    notes: tuple[str, ...] = (),
) -> Loaded:
    judge, accept = Redefining(), reason_of(accept)
    report = journal.keep_rules(
        texts,
        by=asking.doer(journal.plant()),
        recorder=asking.recorder,
        dry_run=asking.dry_run,
        judge=judge,
        accept=accept,
    )
    notes = (*notes, *needless(accept, report), *clock_notes(journal))
    return Loaded(now_of(journal), asking.dry_run, report, judge.found, judge.vetted, notes=notes)


@dataclass(frozen=True, slots=True)
class RuleLine:
    """A rule in a line."""

    id: str
    severity: int
    category: str
    mode: str
    title: str
    source: str


@dataclass(frozen=True, slots=True)
class RuleInWords(RuleLine):
    """A rule in plain words. `guards` are the items that it guards, `written` is where it stands.

    `may_outlive`: a clock of it may run on when a sequence is over. An exception to it needs as many people as
    `approvals` says, of the `approvers` where there are any.
    """

    when: str
    what: str
    hazard: str
    written: str
    guards: tuple[str, ...]
    may_outlive: bool
    approvals: int
    approvers: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class KeptRules(Answer):
    """The rules that are kept, a line each."""

    rules: tuple[RuleLine, ...]


def kept(asking: Asking) -> KeptRules:
    """Return the rules that are kept."""
    with asking.read() as journal:
        past = Past(journal, asking.moment(journal))
        return KeptRules(past.moment, tuple(RuleLine(*_line(rule)) for rule in past.rules.rules))


def _line(rule: Rule) -> tuple[str, int, str, str, str, str]:
    return rule.id, rule.severity, SEVERITIES[rule.severity], rule.mode.key, rule.title, rule.source


@dataclass(frozen=True, slots=True)
class Texts(Answer):
    """The texts of rules files that are kept, by name."""

    files: Mapping[str, str]


def texts(asking: Asking, name: str | None = None) -> Texts:
    """Return the texts of the rules files that are kept, or of the one that is named. NoAnswer when it isn't kept."""
    with asking.read() as journal:
        moment = asking.moment(journal)
        found = kept_texts(journal, moment.known)
    if name is not None:
        found = {name: find("rules file", name, found)}
    return Texts(moment, found)


@dataclass(frozen=True, slots=True)
class Explained(Answer):
    """A rule in plain words."""

    rule: RuleInWords


def explain(asking: Asking, rule_id: str) -> Explained:
    """Return what a kept rule asks, why, and what it guards. NoAnswer, with near names, when there is none."""
    with asking.read() as journal:
        moment = asking.moment(journal)
        plant = journal.whole_plant(moment.known)
        rule = by_ids(find_rule(kept_rules(journal, plant, moment.known), rule_id), plant)
        guards = tuple(rule.guards(journal.configuration(moment.at, moment.known)))
    words = (rule.mode.words(), rule.condition.words(), rule.hazard, rule.where)
    exceptions = (rule.approvals, rule.approvers)
    return Explained(moment, RuleInWords(*_line(rule), *words, guards, rule.may_outlive, *exceptions))


def try_files(asking: Asking, files: Sequence[Path]) -> Review:
    """Judge the whole recorded past by the rules in files, before they are adopted."""
    with asking.read() as journal:
        past = Past(journal, asking.moment(journal), are_kept=False)
        past.rules = read_rules(list(files), past.plant)
        return reviewed(past)
