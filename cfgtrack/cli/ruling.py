"""`rules`: keep them in the database, say in plain words what they mean, try them before they are adopted."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from cfgtrack.cli import session as s
from cfgtrack.cli.telling import told_in_full, wanted_of

if TYPE_CHECKING:
    from cfgtrack.answers.hardware import Loaded

_files = click.argument("files", metavar="FILE...", nargs=-1, required=True, type=click.Path(path_type=Path))


@click.group("rules")
def rules_command() -> None:
    """Keep rules in the database, explain them, and try new ones over the recorded past."""


@s.command("load", group=rules_command)
@_files
@s.authored
@s.accept
@s.dry_run
def load_(session: s.Session, /, files: tuple[Path, ...], accept: str | None) -> None:
    """Keep rules files in the database, by file name: a new version of what differs, the older ones stay readable.

    They are checked against the plant first, together with the rules kept already. Where a catastrophic or critical
    rule goes away or guards less, nothing is written and the exit status is 3, unless --accept says why.
    """
    from cfgtrack.answers.rules import load

    _tell(session, load(session.writing, files, accept))


def _tell(session: s.Session, /, loaded: Loaded) -> None:
    from cfgtrack.show.loading import load_text

    session.answer(loaded, lambda: load_text(loaded))
    session.end(found=loaded.load.refused)


@s.command("drop", group=rules_command)
@click.argument("name", metavar="FILE-NAME")
@s.authored
@s.accept
@s.dry_run
def drop_(session: s.Session, /, name: str, accept: str | None) -> None:
    """Judge by a kept rules file no longer. Its older versions stay readable, and old checks can be repeated.

    Where a catastrophic or critical rule goes away with it, --accept must say why.
    """
    from cfgtrack.answers.rules import drop

    _tell(session, drop(session.writing, name, accept))


@s.command("list", group=rules_command)
@s.known_option
def list_(session: s.Session) -> None:
    """List the rules that are kept: severity, mode, title."""
    from cfgtrack.answers.rules import kept
    from cfgtrack.show.rules import kept_text

    found = kept(session.asking)
    session.answer(found, lambda: kept_text(found))


@s.command("show", group=rules_command)
@click.argument("name", required=False)
@s.known_option
def show_(session: s.Session, /, name: str | None) -> None:
    """Print the text of the rules files that are kept, or of the one that is named."""
    from cfgtrack.answers.rules import texts
    from cfgtrack.show.rules import texts_text

    found = texts(session.asking, name)
    session.answer(found, lambda: texts_text(found))


@s.command("explain", group=rules_command)
@click.argument("rule_id", metavar="RULE")
@s.asked_at
def explain_(session: s.Session, /, rule_id: str) -> None:
    """Say in plain words what a rule asks, why, and what it guards now."""
    from cfgtrack.answers.rules import explain
    from cfgtrack.show.rules import explained_text

    found = explain(session.asking, rule_id)
    session.answer(found, lambda: explained_text(found))


@s.command("try", group=rules_command)
@_files
@told_in_full
@s.asked_at
def try_(
    session: s.Session,
    files: tuple[Path, ...],
    *,
    details: bool,
    numbers: tuple[int, ...],
) -> None:
    """Judge the whole recorded past by the rules in files, before they are adopted. Exit status 3 with findings."""
    from cfgtrack.answers.rules import try_files
    from cfgtrack.show.findings import review_text

    found = try_files(session.asking, files)
    wanted = wanted_of(details=details, numbers=numbers)
    session.answer(found, lambda: review_text(found, wanted=wanted, colour=session.colour))
    session.end(found=found.findings)


@s.command("starter", group=rules_command)
def starter_(session: s.Session) -> None:
    """Print the starter set that comes with the tool: a rules file to begin with, each rule with its source."""
    from cfgtrack.answers.starter import starter

    found = starter()
    if session.json:
        session.print_json({"rules": found.rules})
    else:
        click.echo(found.text, nl=False)
