"""`rules`: keep them in the database, say in plain words what they mean, try them before they are adopted."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from cfgtrack.cli import session as s

if TYPE_CHECKING:
    from cfgtrack.model.configuration import Configuration
    from cfgtrack.model.plant import Plant
    from cfgtrack.rules.rule import Rule, RuleSet
    from cfgtrack.show.moment import Moment
    from cfgtrack.store.journal import Journal

_files = click.argument("files", metavar="FILE...", nargs=-1, required=True, type=click.Path(path_type=Path))


@click.group("rules")
def rules_command() -> None:
    """Keep rules in the database, explain them, and try new ones over the recorded past."""


def read_rules(files: tuple[Path, ...], plant: Plant) -> RuleSet:
    """Read rules files against a plant. BadInput with every problem."""
    from cfgtrack.files import rules

    return rules.read_rules(list(files), plant)


@s.command("load", group=rules_command)
@_files
@s.authored
@s.dry_run
def load(session: s.Session, /, files: tuple[Path, ...]) -> None:
    """Keep rules files in the database, by file name: a new version of what differs, the older ones stay readable.

    They are checked against the plant first, together with the rules kept already.
    """
    from cfgtrack.cli.past import kept_texts
    from cfgtrack.files.rules import parse_rules

    if len({file.name for file in files}) < len(files):
        raise click.UsageError("Rules files are kept by name: two of these have the same.")
    with session.write() as journal:
        plant = journal.plant()
        read_rules(files, plant)
        texts = {file.name: file.read_text(encoding="utf-8") for file in files}
        parse_rules({**kept_texts(journal), **texts}, plant)
        _keep(session, journal, texts)


def _keep(session: s.Session, journal: Journal, texts: dict[str, str]) -> None:
    """Keep texts by name, and tell what that changed."""
    from cfgtrack.cli.hardware import load_json
    from cfgtrack.show.loading import load_text
    from cfgtrack.show.moment import Moment

    report = journal.keep_rules(texts, by=session.by, recorder=session.recorded_by, dry_run=session.dry_run)
    moment = Moment(*journal.moment())
    session.answer(
        moment,
        lambda: load_text(report, moment, dry_run=session.dry_run),
        lambda: {"dry_run": session.dry_run, "load": load_json(report)},
    )


@s.command("drop", group=rules_command)
@click.argument("name", metavar="FILE-NAME")
@s.authored
@s.dry_run
def drop(session: s.Session, /, name: str) -> None:
    """Judge by a kept rules file no longer. Its older versions stay readable, and old checks can be repeated."""
    from cfgtrack.cli.past import kept_texts

    with session.write() as journal:
        _expect_file(name, kept_texts(journal))
        _keep(session, journal, {name: ""})


@s.command("list", group=rules_command)
@s.known_option
def list_(session: s.Session) -> None:
    """List the rules that are kept: severity, mode, title."""
    from cfgtrack.show.tables import heading, table

    rules, _, moment = _kept(session)
    rows = [_row(rule) for rule in rules.rules]
    session.answer(
        moment,
        lambda: (
            heading(f"{len(rows)} rules", moment)
            + "\n\n"
            + table(list(rows[0]) if rows else [], [list(row.values()) for row in rows])
        ),
        lambda: {"rules": rows},
    )


def _row(rule: Rule) -> dict[str, Any]:
    from cfgtrack.rules.finding import SEVERITIES

    return {
        "id": rule.id,
        "severity": SEVERITIES[rule.severity],
        "mode": rule.mode.key,
        "title": rule.title,
        "source": rule.source,
    }


@s.command("show", group=rules_command)
@click.argument("name", required=False)
@s.known_option
def show(session: s.Session, /, name: str | None) -> None:
    """Print the text of the rules files that are kept, or of the one that is named."""
    from cfgtrack.cli.past import kept_texts

    with session.read() as journal:
        moment = session.moment(journal)
        texts = kept_texts(journal, moment.known)
    if name is not None:
        _expect_file(name, texts)
    wanted = texts if name is None else {name: texts[name]}
    session.answer(
        moment,
        lambda: "\n".join(f"# {file}  ({moment})\n{text}" for file, text in wanted.items()),
        lambda: {"files": wanted},
    )


def _expect_file(name: str, texts: dict[str, str]) -> None:
    from cfgtrack.model.trouble import NoAnswer, Problem, near_hint

    if name not in texts:
        hint = near_hint(name, list(texts))
        raise NoAnswer(Problem(name, "no-such-file", f"no rules file of this name is kept{hint}"))


@s.command("explain", group=rules_command)
@click.argument("rule_id", metavar="RULE")
@s.asked_at
def explain(session: s.Session, /, rule_id: str) -> None:
    """Say in plain words what a rule asks, why, and what it guards now."""
    from cfgtrack.cli.past import kept_rules

    with session.read() as journal:
        moment = session.moment(journal)
        rule = find_rule(kept_rules(journal, journal.plant(moment.known), moment.known), rule_id)
        guarded = rule.guards(journal.configuration(moment.at, moment.known))
    facts = {
        "title": rule.title,
        "when": rule.mode.words(),
        "what": rule.condition.words(),
        "hazard": rule.hazard,
        "severity": _row(rule)["severity"],
        "source": rule.source,
        "written": rule.where,
    }
    session.answer(
        moment,
        lambda: _explained(rule_id, facts, guarded, moment),
        lambda: {"rule": {"id": rule.id, **facts, "guards": guarded}},
    )


def _explained(rule_id: str, facts: dict[str, str], guarded: list[str], moment: Moment) -> str:
    from cfgtrack.show.tables import heading, labelled

    lines = [labelled(label, text) for label, text in facts.items() if text]
    lines.append(labelled("guards", f"{len(guarded)}: {', '.join(guarded)}"))
    return "\n".join([heading(f"Rule {rule_id}", moment), "", *lines])


def find_rule(rules: RuleSet, rule_id: str) -> Rule:
    """Return the rule with this id. NoAnswer, with near names, when there is none."""
    from cfgtrack.model.trouble import NoAnswer, Problem, near_hint

    for rule in rules.rules:
        if rule.id == rule_id:
            return rule
    hint = near_hint(rule_id, [rule.id for rule in rules.rules])
    raise NoAnswer(Problem(rule_id, "no-such-rule", f"no rule {rule_id} is kept{hint}"))


@s.command("try", group=rules_command)
@_files
@s.asked_at
def try_(
    session: s.Session,
    files: tuple[Path, ...],
) -> None:
    """Judge the whole recorded past by the rules in files, before they are adopted. Exit status 3 with findings."""
    from cfgtrack.cli.past import Past
    from cfgtrack.cli.review import tell_past

    with session.read() as journal:
        moment = session.moment(journal)
        past = Past(journal, moment)
        past.rules = read_rules(files, past.plant)
        session.end(found=tell_past(session, past))


@s.command("starter", group=rules_command)
def starter(session: s.Session) -> None:
    """Print the starter set that comes with the tool: a rules file to begin with, each rule with its source."""
    from importlib.resources import files

    text = (files("cfgtrack") / "rules" / "starter.toml").read_text(encoding="utf-8")
    if session.json:
        import tomllib

        session.print_json({"rules": tomllib.loads(text)["rule"]})
    else:
        click.echo(text, nl=False)


def _kept(session: s.Session) -> tuple[RuleSet, Configuration, Moment]:
    from cfgtrack.cli.past import Past

    with session.read() as journal:
        past = Past(journal, session.moment(journal))
        return past.rules, past.configuration, past.moment
