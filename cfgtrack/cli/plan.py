"""`plan`, `done`, `skip`, `progress`, `left`: one plan for every console, and how it goes."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from cfgtrack.cli import session as s
from cfgtrack.model.action import BASES

if TYPE_CHECKING:
    from cfgtrack.answers.steps import Stepped

_revision = click.option(
    "--revision",
    metavar="REVISION",
    help="By which revision: its number, event or digest; else the one in force.",
)
_recorded_at = s.shared("--at", metavar="TIME", help="When it was decided; else now.")


@click.group("plan")
def plan_command() -> None:
    """Keep the plan in force in the journal, so that a step is the same step on every console."""


@s.command("adopt", group=plan_command)
@click.argument("file", metavar="FILE", type=click.Path(path_type=Path))
@_recorded_at
@s.authored
@s.sure
@click.option("--id", "event_id", metavar="ID", help="The event's own id, so that repeating it is harmless.")
@s.dry_run
def adopt_(session: s.Session, /, file: Path, event_id: str | None) -> None:
    """Adopt a sequence file as the plan in force; while one is in force, as its next revision.

    A file with errors is refused, and nothing is written. What is done of the revision before counts for the new one
    where that says the same; what it lacks, or says otherwise, is told. The same file again changes nothing.
    """
    from cfgtrack.answers.plan import adopt
    from cfgtrack.show.plan import adopted_text

    found = adopt(session.writing, file, event_id=event_id)
    session.answer(found, lambda: adopted_text(found))


@s.command("drop", group=plan_command)
@click.option("--reason", metavar="TEXT", required=True, help="Why.")
@_recorded_at
@s.authored
@s.sure
@click.option("--id", "event_id", metavar="ID", help="The event's own id, so that repeating it is harmless.")
@s.dry_run
def drop_(session: s.Session, /, reason: str, event_id: str | None) -> None:
    """Have no plan in force any longer. Its revisions stay readable; the next one adopted is another plan."""
    from cfgtrack.answers.plan import drop
    from cfgtrack.show.plan import dropped_text

    found = drop(session.writing, reason=reason, event_id=event_id)
    session.answer(found, lambda: dropped_text(found))


@s.command("show", group=plan_command)
@click.argument("revision", required=False)
@s.asked_at
def show_(session: s.Session, /, revision: str | None) -> None:
    """Print the plan in force, or the revision that is named by its number, event or digest: a sequence file."""
    from cfgtrack.answers.plan import shown
    from cfgtrack.show.plan import shown_text

    found = shown(session.asking, revision)
    session.answer(found, lambda: shown_text(found))


@s.command("list", group=plan_command)
@s.asked_at
def list_(session: s.Session) -> None:
    """List every revision of every plan: when it was adopted, by whom, which is in force."""
    from cfgtrack.answers.plan import revisions
    from cfgtrack.show.plan import revisions_text

    found = revisions(session.asking)
    session.answer(found, lambda: revisions_text(found))


@s.command("done")
@click.argument("steps", metavar="STEP...", nargs=-1, required=True, shell_complete=s.complete_step)
@s.shared("--at", metavar="TIME", help="When the last of them was done; else now.")
@s.shared(
    "--outing", metavar="ID", help="The outing it was done in, if not as planned; HH:MM is meant in it."
)
@click.option(
    "--value", "values", metavar="NAME=VALUE", multiple=True, help="What was read, where not as planned."
)
@_revision
@s.authored
@s.sure
@click.option("--basis", type=click.Choice(BASES), help="How well it is known; else reported.")
@click.option("--remark", metavar="TEXT", help="Free text, kept with the event.")
@click.option(
    "--corrects", metavar="EVENT-ID", help="The event that this one stands instead of; needs --reason."
)
@click.option("--reason", metavar="TEXT", help="Why it is corrected.")
@s.dry_run
def done_command(
    session: s.Session,
    /,
    steps: tuple[str, ...],
    values: tuple[str, ...],
    revision: str | None,
    basis: str | None,
    remark: str | None,
    corrects: str | None,
    reason: str | None,
) -> None:
    """Record steps of the plan in force as done: each the planned action, as planned but for what is said here.

    \b
    done 2V-07
    done 2V-01..2V-06 --at 19:40 --outing W2
    done 2V-08 --value pressure="3.1 bar"

    All of them or none, each its own event. A range is of one track, in its order, without what is skipped; the last
    is done at --at, those before it as they were planned to take. What is done already is harmless to say again; said
    otherwise than it is recorded it is refused. A step whose planned reading isn't said otherwise is recorded as read
    so, and that is told; where another quantity is said, the planned one isn't recorded. What a step did not wait for
    is told, too. What was done at another port is recorded as such, as in `cfgtrack shut V2 step=2V-07`: the step is
    still to be done, unless it is skipped, as the other stands for it. A wrong step is taken back with `withdraw`, or
    by the right one with `done STEP --corrects EVENT-ID`.
    """
    from cfgtrack.answers.steps import Saying, done
    from cfgtrack.answers.things import action_meant
    from cfgtrack.model.trouble import Trouble

    for value in values:
        if "=" not in value:
            raise click.UsageError(
                f"Write --value as NAME=VALUE, as in --value voltage='0 V'; found {value}."
            )
    if bool(corrects) != bool(reason):
        raise click.UsageError("A correction names the event and why: --corrects EVENT-ID and --reason TEXT.")
    saying = Saying(values, revision, basis, remark, corrects, reason)
    try:
        found = done(session.writing, steps, saying)
    except Trouble:
        if len(steps) > 1 and (said := action_meant(session.asking, steps)):
            raise click.UsageError(
                f"`done` takes steps of the plan in force. What was done is {said}"
            ) from None
        raise
    _tell(session, found)


def _tell(session: s.Session, /, found: Stepped) -> None:
    from cfgtrack.show.plan import stepped_text

    session.answer(found, lambda: stepped_text(found, colour=session.colour))


@s.command("skip")
@click.argument("steps", metavar="STEP...", nargs=-1, required=True, shell_complete=s.complete_step)
@click.option("--reason", metavar="TEXT", required=True, help="Why.")
@_recorded_at
@_revision
@s.authored
@s.sure
@s.dry_run
def skip_command(session: s.Session, /, steps: tuple[str, ...], reason: str, revision: str | None) -> None:
    """Leave steps of the plan in force out, with the reason. A skipped step may still be done.

    So somebody says, too, that what was done at another port in the name of a step stands for it.
    """
    from cfgtrack.answers.steps import skip

    _tell(session, skip(session.writing, steps, reason=reason, revision=revision))


@s.command("progress")
@s.asked_at
@click.option(
    "--all", "whole", is_flag=True, help="List every step, and not only those that aren't as planned."
)
def progress_command(session: s.Session, /, *, whole: bool) -> None:
    """Show how the plan in force goes, as run against as planned: done, skipped, elsewhere, out of order, besides.

    The verdict first, then what isn't as planned, then the outings with what is left of their budgets. Exit status 3
    when something isn't as planned; that it is late is told, and is none of that.
    """
    from cfgtrack.answers.progress import progress
    from cfgtrack.show.plan import progress_text

    found = progress(session.asking)
    session.answer(found, lambda: progress_text(found, whole=whole, colour=session.colour))
    session.end(found=not found.as_planned)


@s.command("left")
@click.option("-o", "--output", type=click.Path(path_type=Path), help="The file to write; else the screen.")
@s.asked_at
def left_command(session: s.Session, /, output: Path | None) -> None:
    """Write what is left of the plan in force as a sequence file, from the recorded configuration and the real time.

    Outings that have begun go on now; what one that has ended left is carried over into the next; one that should have
    begun by now is told. The file can be checked, edited and adopted.
    """
    from cfgtrack.answers.progress import left
    from cfgtrack.show.plan import left_text

    found = left(session.asking, None if output == s.STDOUT else output)
    session.answer(found, lambda: left_text(found))
