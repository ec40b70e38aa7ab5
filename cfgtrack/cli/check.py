"""`check` and `can`: what a proposal would break, and what may be done next."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import click

from cfgtrack.cli import session as s
from cfgtrack.cli.telling import told_in_full, wanted_of
from cfgtrack.cli.terminal import showing_text

SITUATIONS = "{} situations"
"""How far a search of every order is."""

rules_option = click.option(
    "--rules",
    "rules_files",
    metavar="FILE",
    multiple=True,
    type=click.Path(path_type=Path),
    help="Judge by these rules instead of those kept in the database.",
)


@s.command("check")
@click.argument("sequences", metavar="[SEQUENCE.toml]", nargs=-1, type=click.Path(path_type=Path))
@click.option(
    "--do", "action", metavar="ACTION", help="A single action instead, as in --do 'demate PUMP-1:F1'."
)
@rules_option
@s.asked_at
@click.option(
    "--every-order",
    is_flag=True,
    help="Every order that waits and doers allow, not the written one alone; see `orders`.",
)
@click.option(
    "--keep",
    is_flag=True,
    help="Keep what comes of it in the journal: `checks` tells whether it still holds.",
)
@click.option("--name", metavar="NAME", help="What it is kept under; else the file's name.")
@s.authored
@told_in_full
@click.option("--follows", is_flag=True, help="List what follows from another finding, too.")
@click.option(
    "--steps", "by_step", is_flag=True, help="List every step, with the clocks it starts and stops."
)
def check_command(
    session: s.Session,
    /,
    *,
    sequences: tuple[Path, ...],
    action: str | None,
    rules_files: tuple[Path, ...],
    details: bool,
    numbers: tuple[int, ...],
    follows: bool,
    by_step: bool,
    every_order: bool,
    keep: bool,
    name: str | None,
) -> None:
    """Check a proposed sequence, or a single action, against the rules: from the present, or from --at any time.

    Without either: what is left of the plan in force.
    The verdict is the first line and the exit status: clear (0), not clear (3), undecided (4). Nothing is recorded,
    but for what --keep keeps.
    """
    from cfgtrack.answers.check import check
    from cfgtrack.show.check import checked_text

    sequence = sequences[0] if sequences else None
    proposal = sequence or action
    if len([*sequences, *([action] if action else [])]) > 1 or (sequence and " " in str(sequence)):
        _refuse_words(session, sequences, action)
    if keep and (action is not None or rules_files):
        raise click.UsageError(
            "--keep keeps the check of a sequence, or of what is left, by the rules that are kept."
        )
    if every_order and (action is not None or keep):
        raise click.UsageError("--every-order goes with a sequence, and isn't kept.")
    if name and not keep:
        raise click.UsageError("--name goes with --keep.")
    if keep:
        from cfgtrack.answers.kept import check_and_keep

        found = check_and_keep(session.writing, sequence, name=name)
    else:
        tell = showing_text(SITUATIONS) if every_order else None
        found = check(session.asking, proposal, rules=rules_files, every_order=every_order, tell=tell)
    wanted = wanted_of(details=details, numbers=numbers, follows=follows)
    session.answer(found, lambda: checked_text(found, by_step=by_step, wanted=wanted, colour=session.colour))
    session.end(status=found.verdict.status)


def _refuse_words(session: s.Session, sequences: tuple[Path, ...], action: str | None) -> None:
    """Refuse what isn't one sequence file or one action; where an action is meant, say how it is put."""
    from cfgtrack.answers.things import action_meant

    words = [word for one in (*([action] if action else []), *sequences) for word in str(one).split()]
    is_file = any(one.exists() or one.suffix == ".toml" for one in sequences)
    if not is_file and (said := action_meant(session.asking, words, "check --do '{}'")):
        raise click.UsageError(f"Give an action as one text: {said}")
    if len(sequences) > 1 or action:
        raise click.UsageError("Give a sequence file, or a single action with --do.")


@s.command("can")
@click.argument("things", metavar="THING", nargs=-1, required=True, shell_complete=s.complete_id)
@rules_option
@click.option("--by", metavar="NAME", help="Who would do it: a person or machine; else anybody who is there.")
@s.asked_at
@s.foreseen_after
def can_command(
    session: s.Session,
    things: tuple[str, ...],
    rules_files: tuple[Path, ...],
    by: str | None,
    after: str | None,
    plan: Path | None,
) -> None:
    """Show what may be done next to a unit, port, place, person or machine: each action allowed, or what it breaks.

    Of a volume or another node inside a unit: what may be done to the ports and gates that lead to it.
    """
    if len(things) > 1:
        from cfgtrack.answers.things import action_meant

        said = action_meant(session.asking, things, "check --do '{}'")
        told = f" Of one action ask {said}" if said else ""
        raise click.UsageError(f"`can` takes one thing, as in `cfgtrack can {things[-1]}`.{told}")
    from cfgtrack.answers.check import can
    from cfgtrack.show.choices import choices_text
    from cfgtrack.show.tables import called

    found = can(replace(session.asking, by=by), things[0], rules=rules_files, after=s.after_step(after, plan))
    session.answer(found, lambda: choices_text(called(found.thing, found.aliases), found))
