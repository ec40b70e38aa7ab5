"""One run of the command: which database, which clock, which moment, what form of answer.

The options that many commands share are kept here, so that each command's function takes only its own.
"""

from __future__ import annotations

import functools
import os
import sys
from collections.abc import Callable, Iterable
from functools import cached_property
from pathlib import Path, PurePath
from typing import TYPE_CHECKING, Any, Concatenate, ParamSpec, TypeVar

import click

from cfgtrack.cli import terminal

if TYPE_CHECKING:
    from cfgtrack.answers.asking import Asking
    from cfgtrack.answers.console import Console
    from cfgtrack.answers.foreseeing import AfterStep
    from cfgtrack.answers.moment import Answer
    from cfgtrack.model.trouble import BadInput

STDOUT = PurePath("-")
"""What stands for standard output in the place of a file."""

P = ParamSpec("P")
Function = TypeVar("Function", bound=Callable[..., Any])


def default_database() -> str:
    """Return the database that is used when none is named: a file in the user's data folder."""
    return str(own_folder("XDG_DATA_HOME", ".local", "share") / "journal.db")


def own_folder(variable: str, *default: str) -> Path:
    """Return a folder of the user's own for cfgtrack: below what the environment says, else below his home."""
    if sys.platform in ("win32", "darwin"):
        return Path(click.get_app_dir("cfgtrack"))
    said = os.environ.get(variable)
    return (Path(said) if said else Path.home().joinpath(*default)) / "cfgtrack"


def login_name() -> str | None:
    """Return the operating system's name for whoever runs the command, None when it has none."""
    import getpass

    try:
        return getpass.getuser()
    except (KeyError, OSError):
        return None


class Session:
    """What every command needs to know: how its question is put, and how its answer is printed.

    The attributes are the shared options, as they were typed: see `answers.asking.Asking`.
    """

    def __init__(self, *, clock: Callable[[], int] | None = None) -> None:
        self.clock = clock  # None: the system's
        self.db = ""
        self.json = False
        self.no_pager = False
        self.colour = False
        self.at: str | None = None
        self.known_at: str | None = None
        self.outing: str | None = None
        self.by: str | None = None
        self.recorder: str | None = None
        self.dry_run = False
        self.wait: float | None = None
        self.sign: str | None = None
        self.sure = False
        self.accept_clock: str | None = None
        self._told = 0

    def begin(self, ctx: click.Context, db: str | None) -> None:
        """Take in what stands before the command, and what the environment says of colour (no-color.org)."""
        self.db = db or self.db
        if os.environ.get("NO_COLOR"):
            ctx.color = False
        self.colour = ctx.color is not False and terminal.is_terminal()

    # --- the database ---

    @property
    def database(self) -> str:
        """The database that is meant."""
        return self.db or default_database()

    @property
    def asking(self) -> Asking:
        """How a question is put: with the shared options."""
        from dataclasses import replace

        from cfgtrack.answers.asking import Asking

        asking = Asking(
            self.database,
            self.at,
            self.known_at,
            self.outing,
            self.by,
            self.recorder,
            self.dry_run,
            self.wait,
            sign=self.sign,
            console=self.console,
            sure=self.sure,
            accept_clock=self.accept_clock,
        )
        return asking if self.clock is None else replace(asking, clock=self.clock)

    @cached_property
    def console(self) -> Console:
        """What this console remembers, and its user's keys."""
        from cfgtrack.answers.console import Console

        heads = own_folder("XDG_STATE_HOME", ".local", "state") / "heads.json"
        return Console(heads, own_folder("XDG_CONFIG_HOME", ".config") / "keys")

    def tell_of_the_console(self) -> bool:
        """Print what somebody must be told whatever the answer is, once. Return whether there is nothing."""
        if "console" not in self.__dict__:
            return True
        found = self.console.found
        self.tell_notes([*map(str, found[self._told :]), *self.console.notes])
        self._told = len(found)
        self.console.notes.clear()
        return not found

    @property
    def writing(self) -> Asking:
        """How something is written: by who is named to write it down, else by whoever runs the command."""
        from dataclasses import replace

        return replace(self.asking, recorder=self.recorder or login_name())

    def make_folder(self) -> None:
        """Make the user's data folder for the database there, when none is named."""
        if not self.db:
            Path(self.database).parent.mkdir(mode=0o700, parents=True, exist_ok=True)

    # --- answers ---

    def answer(self, answer: Answer, text: Callable[[], str]) -> None:
        """Print an answer with its moment: the text, or with --json one object; what is to be told beside it apart."""
        self.tell_notes(answer.notes)
        self.tell(text, answer)

    def tell_notes(self, notes: Iterable[str]) -> None:
        """Print lines beside an answer, on standard error."""
        from cfgtrack.show.visible import visible

        terminal.line.clear()
        for note in notes:
            click.echo(terminal.fitted(visible(note)), err=True)

    def tell(self, text: Callable[[], str], answer: object) -> None:
        """Print an answer: the text, or with --json one object."""
        terminal.line.clear()
        self.tell_of_the_console()
        if self.json:
            from cfgtrack.answers.encode import json_of

            self.print_json(json_of(answer))
            return
        from cfgtrack.show.tables import in_zone, terminal_width, within
        from cfgtrack.show.visible import on_terminal, visible

        zone = str(getattr(getattr(answer, "moment", None), "zone", ""))
        with within(terminal_width()), in_zone(zone):
            said = text()
        if said:
            shown = on_terminal(said) if self.colour else visible(said)
            terminal.print_text(shown, colour=self.colour, paged=not self.no_pager)

    def print_json(self, data: dict[str, Any]) -> None:
        """Print one JSON object; where the journal isn't to be believed another one, which no reader takes for it."""
        import json

        from cfgtrack.show.visible import in_json

        if not self.tell_of_the_console():
            from cfgtrack.answers.encode import json_of

            data = {"beware": json_of(self.console.found), "answer": data}
        click.echo(in_json(json.dumps(data, ensure_ascii=False, indent=2)))

    def end(self, *, found: object = None, status: int = 0) -> None:
        """End the command with a status: 3 when something was `found` that the rules or the journal say no to."""
        if found or status:
            click.get_current_context().exit(status or 3)


# --- options that commands share ----------------------------------------------------------------------------------


def options(*decorators: Callable[[Function], Function]) -> Callable[[Function], Function]:
    """Return one decorator that adds several options, in the order in which they are given."""

    def wrap(function: Function) -> Function:
        for decorate in reversed(decorators):
            function = decorate(function)
        return function

    return wrap


def shared(*declarations: str, **settings: Any) -> Callable[[Function], Function]:
    """Return an option whose value the session keeps, under the option's own name."""

    def keep(ctx: click.Context, param: click.Parameter, value: Any) -> None:
        if value is not None and value is not False:
            assert param.name is not None
            setattr(ctx.ensure_object(Session), param.name, value)

    return click.option(*declarations, expose_value=False, callback=keep, **settings)


_everywhere = options(
    shared("--db", metavar="PATH|URL", help="The database; else $CFGTRACK_DB."),
    shared("--json", is_flag=True, help="Answer in JSON."),
    shared("--no-pager", is_flag=True, help="Print a long answer at once, also on a terminal."),
)


class Paged(click.Command):
    """A command whose help, where it is longer than the terminal, is shown as a long answer is."""

    def get_help_option(self, ctx: click.Context) -> click.Option | None:
        """Return click's own, but that it shows its text so."""
        found = super().get_help_option(ctx)
        if found is not None:
            found.callback = _show_help
        return found


def _show_help(ctx: click.Context, param: click.Parameter, value: bool) -> None:
    del param
    if value and not ctx.resilient_parsing:
        colour = ctx.color is not False and terminal.is_terminal()
        terminal.print_text(ctx.get_help(), colour=colour, paged=not ctx.ensure_object(Session).no_pager)
        ctx.exit()


def command(
    name: str, *, group: click.Group | None = None, **settings: Any
) -> Callable[[Callable[Concatenate[Session, P], None]], click.Command]:
    """Make a function a command that takes --db, --json and --no-pager too; its first argument is the session."""

    def wrap(function: Callable[Concatenate[Session, P], None]) -> click.Command:
        def run(*args: P.args, **kwargs: P.kwargs) -> None:
            try:
                function(click.get_current_context().ensure_object(Session), *args, **kwargs)
            except Exception as err:
                from cfgtrack.model.trouble import BadInput, Misput

                if isinstance(err, Misput):
                    raise click.UsageError(str(err)) from None
                if isinstance(err, BadInput) and (
                    wrong := _given_to_the_wrong_one(click.get_current_context())
                ):
                    raise wrong from None
                raise

        functools.update_wrapper(run, function)
        make: Callable[[Callable[..., None]], click.Command] = click.command(
            name, **{"cls": Paged, **settings}
        )
        made = make(_everywhere(run))
        made.params = [*made.params[3:], *made.params[:3]]
        if group is not None:
            group.add_command(made)
        return made

    return wrap


def _given_to_the_wrong_one(ctx: click.Context) -> BadInput | None:
    """Return what to say of files that stand on the line and belong to another command, None where none does."""
    from cfgtrack.cli.mistaken import mistaken

    words = ctx.command_path.removeprefix(ctx.find_root().command_path).strip()
    values = [ctx.params.get(str(one.name)) for one in ctx.command.params if isinstance(one, click.Argument)]
    named = [one for value in values for one in (value if isinstance(value, tuple) else (value,)) if one]
    return mistaken(words, named)


outing_option = shared("--outing", metavar="ID", help="The outing that HH:MM and +HH:MM are meant in.")
known_option = shared(
    "--known-at", metavar="TIME", help="As it was known at this time; else all that is recorded."
)
asked_at = options(
    shared("--at", metavar="TIME", help="As it was at this time; else now."),
    known_option,
    outing_option,
)
"""The moment of a question: see `Session.moment`."""

foreseen_after = options(
    click.option("--after", metavar="STEP", help="As it is foreseen after this step of the plan in force."),
    click.option(
        "--plan",
        metavar="FILE",
        type=click.Path(path_type=Path),
        help="With --after: of this sequence instead.",
    ),
)
"""That a question is about what is foreseen: see `after_step`."""


def after_step(after: str | None, plan: Path | None) -> AfterStep | None:
    """Return after which step something is foreseen, None for a question about what is recorded."""
    if after is None:
        if plan is not None:
            raise click.UsageError("Say after which step of it: --plan goes with --after.")
        return None
    from cfgtrack.answers.foreseeing import AfterStep

    return AfterStep(after, plan)


authored = options(
    shared("--by", metavar="NAME", help="Who did it, or says so."),
    shared("--recorder", metavar="NAME", help="Who writes it down; else you."),
    shared("--sign", metavar="NAME", help="Whose key signs it; else the only one here that the plant knows."),
    shared(
        "--accept-clock",
        metavar="DAY",
        help="The day that this clock says, if that is right though it is far ahead of the last write.",
    ),
)
"""Who stands behind what is written, and by which clock."""

sure = shared("--sure", is_flag=True, help="It happened then, however unlikely that is.")
"""That what is said of when something happened is so."""

accept = click.option(
    "--accept",
    metavar="REASON",
    help="Why it may be that less is guarded, or that a made joint no longer fits; the journal keeps it.",
)
"""Why somebody takes what a definition or rules would lose."""

dry_run = shared("--dry-run", is_flag=True, help="Check everything and write nothing.")


def complete_step(ctx: click.Context, param: click.Parameter, incomplete: str) -> list[str]:
    """Return the steps of the plan in force that begin so. Nothing when the database can't tell."""
    del param
    from cfgtrack.answers.things import steps

    return _completed(ctx, steps, incomplete)


def complete_id(ctx: click.Context, param: click.Parameter, incomplete: str) -> list[str]:
    """Return the units, places and, after the colon, ports that begin so. Nothing when the database can't tell."""
    del param
    from cfgtrack.answers.things import beginning

    return _completed(ctx, beginning, incomplete)


def _completed(ctx: click.Context, ask: Callable[[Asking, str], list[str]], incomplete: str) -> list[str]:
    from dataclasses import replace

    from cfgtrack.model.trouble import Trouble

    session = ctx.ensure_object(Session)
    session.db = session.db or str(ctx.find_root().params.get("db") or "")
    try:
        return ask(replace(session.asking, console=None), incomplete)
    except Trouble:
        return []
