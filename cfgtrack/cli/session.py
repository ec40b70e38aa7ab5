"""One run of the command: which database, which clock, which moment, what form of answer.

The options that many commands share are kept here, so that each command's function takes only its own.
"""

from __future__ import annotations

import functools
import os
import re
import sys
import time
from collections.abc import Callable
from contextlib import AbstractContextManager
from pathlib import PurePath
from typing import TYPE_CHECKING, Any, Concatenate, ParamSpec, TypeVar

import click

if TYPE_CHECKING:
    from pathlib import Path

    from cfgtrack.show.moment import Moment
    from cfgtrack.store.journal import Journal

WIDTH = 100
"""Texts are no wider than this, and no wider than the terminal."""

STDOUT = PurePath("-")
"""What stands for standard output in the place of a file."""

P = ParamSpec("P")
Function = TypeVar("Function", bound=Callable[..., Any])


def system_clock() -> int:
    """Return the present in microseconds since 1970, UTC."""
    return time.time_ns() // 1000


def default_database() -> str:
    """Return the database that is used when none is named: a file in the user's data folder."""
    from pathlib import Path

    if sys.platform in ("win32", "darwin"):
        folder = Path(click.get_app_dir("cfgtrack"))
    else:
        data = os.environ.get("XDG_DATA_HOME")
        folder = (Path(data) if data else Path.home() / ".local" / "share") / "cfgtrack"
    return str(folder / "journal.db")


def login_name() -> str | None:
    """Return the operating system's name for whoever runs the command, None when it has none."""
    import getpass

    try:
        return getpass.getuser()
    except (KeyError, OSError):
        return None


def is_terminal() -> bool:
    """Return whether answers go to a terminal."""
    return sys.stdout.isatty()


class Session:
    """What every command needs to know. `now` is the one place where its present comes from.

    The other attributes are the shared options: `at`, `known_at` and `outing` as they were typed; `by` and
    `recorder` stand behind what is written; with `dry_run` nothing is. A writer waits `wait` seconds for another.
    """

    def __init__(self, *, clock: Callable[[], int] = system_clock) -> None:
        self.clock = clock  # read here, and by the journal when it stamps what it records: nowhere else
        self.db = ""
        self.json = False
        self.colour = False
        self.at: str | None = None
        self.known_at: str | None = None
        self.outing: str | None = None
        self.by: str | None = None
        self.recorder: str | None = None
        self.dry_run = False
        self.wait: float | None = None

    def begin(self, ctx: click.Context, db: str | None) -> None:
        """Take in what stands before the command, and what the environment says of colour (no-color.org)."""
        self.db = db or self.db
        if os.environ.get("NO_COLOR"):
            ctx.color = False
        self.colour = ctx.color is not False and is_terminal()

    @functools.cached_property
    def now(self) -> int:
        """The present: one for the whole command, because a clock that is read twice is two clocks."""
        return self.clock()

    # --- the database ---

    @property
    def database(self) -> str:
        """The database that is meant."""
        return self.db or default_database()

    @property
    def recorded_by(self) -> str | None:
        """Who writes it down: who is named, else whoever runs the command."""
        return self.recorder or login_name()

    def read(self) -> Journal:
        """Open the journal to ask."""
        from cfgtrack.store.journal import open_journal

        return open_journal(self.database, clock=self.clock, now=self.now, read_only=True)

    def write(self, *, create: bool = False) -> Journal:
        """Open the journal to write; with `create`, make it when it is missing."""
        from cfgtrack.store.database import WAIT
        from cfgtrack.store.journal import open_journal

        if create:
            self.make_folder()
        wait = WAIT if self.wait is None else self.wait
        return open_journal(self.database, clock=self.clock, now=self.now, must_exist=not create, wait=wait)

    def output(
        self, target: Path, *, earlier: re.Pattern[bytes] | None = None, read: Path | int | None = None
    ) -> AbstractContextManager[Path]:
        """Return what writes a file: see `files.writer.replacing`. Spared: the database, and the file that is read."""
        from cfgtrack.files.writer import replacing

        return replacing(target, spared=self._spared(read), earlier=earlier)

    def expect_output(self, target: Path, *, read: Path | int | None = None) -> None:
        """Raise what `output` would raise, before other work is done."""
        from cfgtrack.files.writer import expect_writable

        expect_writable(target, spared=self._spared(read))

    def _spared(self, read: Path | int | None) -> dict[str, Path | int]:
        from cfgtrack.store.database import spared

        return {**({} if read is None else {"the file that is read": read}), **spared(self.database)}

    def make_folder(self) -> None:
        """Make the user's data folder for the database there, when none is named."""
        if not self.db:
            from pathlib import Path

            Path(self.database).parent.mkdir(parents=True, exist_ok=True)

    # --- times ---

    def instant(self, journal: Journal, text: str, *, option: str, outing: str | None = None) -> int:
        """Read a time that was given with `option`. BadInput for no time, NoAnswer for an outing that never began.

        A time without a date counts inside `outing`, else inside the outing that was named for the command.
        """
        from cfgtrack.model.time import BadTime, parse_instant
        from cfgtrack.model.trouble import BadInput, NoAnswer, Problem

        outing = outing or self.outing
        start = None
        if outing and "T" not in text.upper():
            start = journal.outing_start(outing)
            if start is None:
                raise NoAnswer(Problem(option, "no-such-outing", f"outing {outing} has not begun"))
        try:
            return parse_instant(text, outing_start=start)
        except BadTime as err:
            raise BadInput([Problem(option, "bad-time", str(err))]) from None

    def moment(self, journal: Journal) -> Moment:
        """Return the pair of times that the question is asked for: --at and --known-at."""
        return self.moment_at(journal, self.at, option="--at")

    def moment_at(self, journal: Journal, at: str | None, *, option: str) -> Moment:
        """Return the pair of another time and --known-at."""
        from cfgtrack.show.moment import Moment

        known = None if self.known_at is None else self.instant(journal, self.known_at, option="--known-at")
        if at is None:
            return Moment(*journal.moment(None, known))
        when = self.instant(journal, at, option=option)
        return Moment(*journal.moment(when, known), first=_first(journal, known))

    # --- answers ---

    def answer(self, moment: Moment, text: Callable[[], str], data: Callable[[], dict[str, Any]]) -> None:
        """Print an answer with its moment: the text, or with --json one object."""
        self.tell(text, lambda: {**moment.to_json(), **data()})

    def tell(self, text: Callable[[], str], data: Callable[[], dict[str, Any]]) -> None:
        """Print an answer that is of no moment: the text, or with --json one object."""
        if self.json:
            self.print_json(data())
            return
        from shutil import get_terminal_size

        from cfgtrack.show.tables import within

        with within(min(WIDTH, get_terminal_size((WIDTH, 24)).columns)):
            said = text()
        if said:
            click.echo(said)

    def print_json(self, data: dict[str, Any]) -> None:
        """Print one JSON object."""
        import json

        click.echo(json.dumps(data, ensure_ascii=False, indent=2))

    def end(self, *, found: object) -> None:
        """End the command: exit status 3 when something was found that the rules or the journal say no to."""
        if found:
            click.get_current_context().exit(3)


def _first(journal: Journal, known: int | None) -> int | None:
    """Return when the first thing that is recorded of the hardware happened: before, nothing is known."""
    from cfgtrack.model.action import BOOK_ACTIONS

    events = (entry.event for entry in journal.entries(known=known))
    return next((event.happened for event in events if event.action not in BOOK_ACTIONS), None)


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
)


def command(
    name: str, *, group: click.Group | None = None, **settings: Any
) -> Callable[[Callable[Concatenate[Session, P], None]], click.Command]:
    """Make a function a command that takes --db and --json too; its first argument is the session."""

    def wrap(function: Callable[Concatenate[Session, P], None]) -> click.Command:
        def run(*args: P.args, **kwargs: P.kwargs) -> None:
            function(click.get_current_context().ensure_object(Session), *args, **kwargs)

        functools.update_wrapper(run, function)
        make: Callable[[Callable[..., None]], click.Command] = click.command(name, **settings)
        made = make(_everywhere(run))
        made.params = [*made.params[2:], *made.params[:2]]
        if group is not None:
            group.add_command(made)
        return made

    return wrap


outing_option = shared("--outing", metavar="ID", help="The outing that HH:MM and +HH:MM are meant in.")
known_option = shared(
    "--known-at", metavar="TIME", help="As it was known at this time; else all that is recorded."
)
asked_at = options(
    shared(
        "--at", metavar="TIME", help="As it was at this time; else now, or the last event if that is later."
    ),
    known_option,
    outing_option,
)
"""The moment of a question: see `Session.moment`."""

authored = options(
    shared("--by", metavar="NAME", help="Who did it, or says so."),
    shared("--recorder", metavar="NAME", help="Who writes it down; else you."),
)
"""Who stands behind what is written."""

dry_run = shared("--dry-run", is_flag=True, help="Check everything and write nothing.")


def complete_id(ctx: click.Context, param: click.Parameter, incomplete: str) -> list[str]:
    """Return the units, places and, after the colon, ports that begin so. Nothing when the database can't tell."""
    del param
    from cfgtrack.model.trouble import Trouble

    session = ctx.ensure_object(Session)
    session.db = session.db or str(ctx.find_root().params.get("db") or "")
    owner, colon, _ = incomplete.partition(":")
    try:
        with session.read() as journal:
            if not colon:
                return journal.ids(incomplete)
            plant = journal.plant()
            ports = [*plant.ports_of(owner), *plant.nodes_of(owner)] if plant.has_owner(owner) else []
            return [port for port in ports if port.startswith(incomplete)]
    except Trouble:
        return []
