"""Which rules are kept, what does each ask, and what would others have found?"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from cfgtrack.answers.asking import Asking
from cfgtrack.answers.hardware import Loaded
from cfgtrack.answers.moment import Answer, Moment
from cfgtrack.answers.past import Past, find_rule, kept_rules, kept_texts
from cfgtrack.answers.review import Review, reviewed
from cfgtrack.files.rules import parse_rules, read_rules
from cfgtrack.model.unknown import find
from cfgtrack.rules.finding import SEVERITIES
from cfgtrack.rules.rule import Rule
from cfgtrack.store.journal import Journal


def load(asking: Asking, files: Sequence[Path]) -> Loaded:
    """Keep rules files by name, checked against the plant, with the rules kept already. BadInput with every problem."""
    with asking.write() as journal:
        plant = journal.plant()
        read_rules(list(files), plant)
        texts = {file.name: file.read_text(encoding="utf-8") for file in files}
        parse_rules({**kept_texts(journal), **texts}, plant)
        return _keep(asking, journal, texts)


def drop(asking: Asking, name: str) -> Loaded:
    """Judge by a kept rules file no longer. NoAnswer when none of this name is kept."""
    with asking.write() as journal:
        find("rules file", name, kept_texts(journal))
        return _keep(asking, journal, {name: ""})


def _keep(asking: Asking, journal: Journal, texts: dict[str, str]) -> Loaded:
    report = journal.keep_rules(texts, by=asking.by, recorder=asking.recorder, dry_run=asking.dry_run)
    return Loaded(Moment(*journal.moment()), asking.dry_run, report)


@dataclass(frozen=True, slots=True)
class KeptRules(Answer):
    """The rules that are kept: a line each, by column."""

    rules: tuple[Mapping[str, Any], ...]


def kept(asking: Asking) -> KeptRules:
    """Return the rules that are kept."""
    with asking.read() as journal:
        past = Past(journal, asking.moment(journal))
        return KeptRules(past.moment, tuple(map(_line, past.rules.rules)))


def _line(rule: Rule) -> dict[str, Any]:
    return {
        "id": rule.id,
        "severity": rule.severity,
        "category": SEVERITIES[rule.severity],
        "mode": rule.mode.key,
        "title": rule.title,
        "source": rule.source,
    }


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
    """A rule in plain words, by label; its `guards` are the items that it guards."""

    rule: Mapping[str, Any]


def explain(asking: Asking, rule_id: str) -> Explained:
    """Return what a kept rule asks, why, and what it guards. NoAnswer, with near names, when there is none."""
    with asking.read() as journal:
        moment = asking.moment(journal)
        rule = find_rule(kept_rules(journal, journal.plant(moment.known), moment.known), rule_id)
        guarded = rule.guards(journal.configuration(moment.at, moment.known))
    words = {
        "id": rule.id,
        "title": rule.title,
        "when": rule.mode.words(),
        "what": rule.condition.words(),
        "hazard": rule.hazard,
        "severity": rule.severity,
        "category": SEVERITIES[rule.severity],
        "source": rule.source,
        "written": rule.where,
        "guards": guarded,
    }
    return Explained(moment, words)


def try_files(asking: Asking, files: Sequence[Path]) -> Review:
    """Judge the whole recorded past by the rules in files, before they are adopted."""
    with asking.read() as journal:
        past = Past(journal, asking.moment(journal))
        past.rules = read_rules(list(files), past.plant)
        return reviewed(past)
