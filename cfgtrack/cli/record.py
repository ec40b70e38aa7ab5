"""`record`: one action that happened, in the words of the trade; and the actions that are commands themselves."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from cfgtrack.cli import session as s
from cfgtrack.cli.actions import help_of
from cfgtrack.model.action import BASES, DEFECT_ACTIONS

if TYPE_CHECKING:
    from cfgtrack.answers.record import Recorded


def complete_words(ctx: click.Context, param: click.Parameter, incomplete: str) -> list[str]:
    """Return what the next word of an action phrase may be: an action, then units, places and ports."""
    if ctx.params.get("words"):
        return s.complete_id(ctx, param, incomplete)
    return _actions(ctx, incomplete)


def complete_barred(ctx: click.Context, param: click.Parameter, incomplete: str) -> list[str]:
    """Return what the next word after `defect` or `rectify` may be: the action that can't be done, or of what."""
    barred = [] if ctx.params.get("words") else _actions(ctx, incomplete)
    return [*barred, *s.complete_id(ctx, param, incomplete)]


def _actions(ctx: click.Context, incomplete: str) -> list[str]:
    from cfgtrack.cli.main import VERBS, own_actions

    return [action for action in (*VERBS, *own_actions(ctx)) if action.startswith(incomplete)]


words_argument = click.argument(
    "words", metavar="ACTION [SUBJECT]...", nargs=-1, required=True, shell_complete=complete_words
)
describing = s.options(
    s.shared("--outing", metavar="ID", help="The outing it belongs to; HH:MM and +HH:MM are meant in it."),
    s.authored,
    s.sure,
    click.option("--basis", type=click.Choice(BASES), help="How well it is known; else reported."),
    click.option("--remark", metavar="TEXT", help="Free text, kept with the event."),
    click.option(
        "--value", "values", metavar="NAME=VALUE", multiple=True, help="A measured value, with unit."
    ),
    click.option("--id", "event_id", metavar="ID", help="The event's id, so that repeating it is harmless."),
    s.dry_run,
)
"""What can be said of an event besides the action itself."""


class Record(s.Paged):
    """`record`, whose help is that of the action that is named: `record mate --help`."""

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        """Remember which action is named: help is asked for before the words are read."""
        ctx.meta[_NAMED] = next((word for word in args if not word.startswith("-")), "")
        return super().parse_args(ctx, args)

    def get_help(self, ctx: click.Context) -> str:
        """Return the help of the action, else of `record` itself."""
        from cfgtrack.cli.main import VERBS

        named = ctx.meta.get(_NAMED, "")
        if named not in VERBS:
            return super().get_help(ctx)
        command = verb(named)
        return command.get_help(click.Context(command, info_name=f"record {named}", parent=ctx.parent))


_NAMED = "cfgtrack.record.action"


@s.command("record", cls=Record)
@words_argument
@s.shared("--at", metavar="TIME", help="When it happened; else now.")
@describing
@click.option("--supersedes", metavar="EVENT-ID", help="The event that this one corrects; needs --reason.")
@click.option("--reason", metavar="TEXT", help="Why the correction is right, or a lock is cut.")
@click.option(
    "--head", metavar="HEAD|FILE", help="The head that is handed over (begin, end); else the present one."
)
def record_command(
    session: s.Session,
    /,
    words: tuple[str, ...],
    values: tuple[str, ...],
    event_id: str | None,
    **said: str | None,
) -> None:
    """Record that an action happened. `cfgtrack record ACTION --help` says what one needs.

    \b
    record mate PUMP-1:F1 PANEL-A:F1 --at 2031-05-01T09:12:00Z --by ina
    record torque PUMP-1:B1 torque="25 N*m"
    record place PUMP-2 at BAY-1 facing up
    record lift PUMP-2 by CRANE-1 by ina
    record as-found PUMP-1:F2 mated to PANEL-B:F1
    record lock PANEL-A:V1 --by ina
    record lock PANEL-A:V1 with KEY-BOX --by ina
    record defect release PUMP-1:B1 seized torque="140 N*m" --by ina
    record rectify release PUMP-1:B1 --by ina

    What is impossible is refused (3), with the event it collides with. What is forbidden has happened all the same:
    it is recorded (0), and the rule that it breaks is shown at once. --dry-run warns without recording.
    """
    from cfgtrack.answers.record import record

    words = with_values(words, values)
    if words[0] == "remark" and said["remark"]:
        # `remark THING --remark TEXT`: the text of the option is the remark's own.
        words, said["remark"] = (*words, said["remark"]), None
    tell(session, record(session.writing, words, event_id=event_id, **said))


def tell(session: s.Session, found: Recorded) -> None:
    """Print what was recorded, and all that it means at once."""
    from cfgtrack.show.record import recorded_text

    session.answer(found, lambda: recorded_text(found, colour=session.colour))


def verb(action: str) -> click.Command:
    """Return the command that is short for `record ACTION`."""
    is_of_defect = action in DEFECT_ACTIONS
    subjects = click.Argument(
        ["words"],
        metavar="[ACTION] [SUBJECT]... [WHY]" if is_of_defect else "[SUBJECT]...",
        nargs=-1,
        shell_complete=complete_barred if is_of_defect else s.complete_id,
    )
    callback = record_command.callback
    assert callback is not None

    def run(words: tuple[str, ...], **given: Any) -> None:
        callback(words=(action, *words), **given)

    return click.Command(
        action,
        callback=run,
        params=[subjects if p.name == "words" else p for p in record_command.params],
        help=help_of(action),
    )


def with_values(words: tuple[str, ...], values: tuple[str, ...]) -> tuple[str, ...]:
    """Return an action's words with the values of --value."""
    for value in values:
        if "=" not in value:
            raise click.UsageError(
                f"Write --value as NAME=VALUE, as in --value voltage='0 V'; found {value}."
            )
        if words[0] == "remark":
            raise click.UsageError("A remark takes no value: record a measure.")
    return (*words, *values)
