"""The `cfgtrack` command group: which commands there are, and how trouble ends.

A command's module is imported when the command runs, so that each pays only for what it needs.
"""

from __future__ import annotations

import errno
import gc
import importlib
import math
import os
import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from itertools import pairwise, takewhile
from typing import TYPE_CHECKING, Any

import click

from cfgtrack import __version__
from cfgtrack.cli.session import Paged, Session, shared
from cfgtrack.cli.terminal import fitted, keep_quiet, line

if TYPE_CHECKING:
    from cfgtrack.answers.asking import Asking
    from cfgtrack.model.trouble import Trouble

COMMANDS: dict[str, dict[str, tuple[str, str]]] = {
    "Describe the plant": {
        "new": ("convert", "Begin a plant: an empty one, or one from two lists."),
        "convert": ("convert", "Turn a drawing or network in an open form into definition files."),
        "load": ("hardware", "Load a hardware definition, or say what it would change."),
        "plant": ("hardware", "Count what is defined: parts, units, places, ports, links."),
        "vet": ("hardware", "Say what looks wrong in a definition, though it holds together."),
        "rules": ("ruling", "Keep, explain and try rules."),
    },
    "Record": {
        "record": ("record", "Record that an action happened."),
        "correct": ("amend", "Correct a recorded event by a new one."),
        "withdraw": ("amend", "Withdraw a recorded event: it did not happen."),
        "retire": ("amend", "Retire a unit: it is no longer of the plant from then on."),
        "explain": ("amend", "Explain what was found otherwise than recorded."),
        "approve": ("amend", "Approve an exception to findings, of the past or of a plan."),
        "acknowledge": ("amend", "Acknowledge findings of the past."),
        "import": ("transfer", "Record many events from CSV or JSON Lines."),
        "export": ("transfer", "Write the journal as CSV or JSON Lines."),
    },
    "Ask": {
        "state": ("state", "Show the state of a thing, or of everything."),
        "history": ("state", "List what happened to a thing, or everything that happened."),
        "diff": ("state", "Show what differs between two times."),
        "remarks": ("state", "Show the remarks and lessons that stick to a thing."),
        "draw": ("draw", "Draw what is connected to what."),
        "reference": ("reference", "Look up threads, tightening and fluids, with their sources."),
    },
    "Judge": {
        "check": ("check", "Check a proposed sequence, or a single action, against the rules."),
        "can": ("check", "Show what may be done next to a thing."),
        "findings": ("review", "Show open findings, running clocks, discrepancies and defects."),
        "review": ("review", "Judge the whole recorded past: what broke a rule, and for how long."),
    },
    "Plan the work": {
        "plan": ("plan", "Keep the plan in force: adopt, show, list, drop."),
        "done": ("plan", "Record steps of the plan in force as done."),
        "skip": ("plan", "Leave steps of the plan in force out."),
        "progress": ("plan", "Show how the plan goes, as run against as planned."),
        "left": ("plan", "Write what is left of the plan as a sequence."),
        "without": ("isolation", "Show what is cut off if something is shut, off or demated."),
        "isolate": ("isolation", "Show which fewest devices isolate a thing, and their locks."),
        "segments": ("isolation", "Show what is joined as one in a medium, and what bounds it."),
        "checks": ("kept", "Show the checks that are kept, and whether they still hold."),
        "durations": ("durations", "Say how long a sequence takes, and how sure its limits are."),
        "which": ("which", "Say which spare, place or port would do best, and why."),
        "stops": ("stops", "Show after which steps of a sequence the work may stop."),
        "leave": ("stops", "Say whether the work may stop now, and the way to where it may."),
        "failures": ("stops", "Show what becomes of it when a step of a sequence fails."),
        "compare": ("kept", "Compare two revisions of a sequence: steps, findings, margins."),
        "mend": ("mending", "Find the fewest changes that make a sequence clear."),
        "complete": ("completing", "Put the steps in that a sequence left out."),
        "way": ("way", "Find a shortest way to what is wanted, or what forbids it."),
        "orders": ("orders", "Check every order of a sequence, and what its waits are good for."),
    },
    "Keep the record": {
        "audit": ("trust", "Prove that nothing in the journal was changed."),
        "head": ("trust", "Print the tree head, to keep elsewhere; or forget what was seen."),
        "key": ("key", "Make and list the keys that you sign with."),
        "prove": ("trust", "Prove that one event is in the journal."),
        "verify": ("trust", "Verify a proof, without the database."),
        "backup": ("upkeep", "Copy the database while others work."),
        "restore": ("upkeep", "Put a backup in the place of a lost database."),
        "rebuild": ("upkeep", "Derive all states anew from the journal."),
        "grant": ("upkeep", "Let the server's users do what goes with their roles, and no more."),
        "migrate": ("upkeep", "Bring the database to this version's schema."),
        "completion": ("upkeep", "Print what makes commands and ids complete in the shell."),
        "man": ("man", "Print the manual page."),
    },
}
"""Heading to command to (module in this package, what it does in one line)."""

MOST_WAIT = 86_400
"""Nobody waits longer than a day for somebody else to be done with writing, seconds."""

VERBS = (
    "mate", "demate", "open", "shut", "cap", "uncap", "engage", "torque", "release", "grip", "let-go",
    "energise", "de-energise", "cover", "uncover", "place", "lift", "lock", "unlock", "transfer", "cut",
    "tag", "untag", "defect", "rectify", "as-found", "measure", "inspect", "remark", "begin", "end",
)  # fmt: skip
"""Shipped actions that are commands of their own: short for `record ACTION`. Those of a plant's own kinds are too."""

_MODULES = {name: module for names in COMMANDS.values() for name, (module, _) in names.items()}


class Commands(Paged, click.Group):
    """Finds commands by name in `COMMANDS` and `VERBS`; ends with the exit status of the trouble that it meets."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Return the name of every command, then the actions; of the plant's own kinds too, where there is one."""
        return [*_MODULES, *VERBS, *own_actions(ctx)]

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Import and return a command, None for an unknown name."""
        if cmd_name in VERBS or (cmd_name not in _MODULES and cmd_name in own_actions(ctx)):
            from cfgtrack.cli.record import verb

            return verb(cmd_name)
        if cmd_name not in _MODULES:
            return None
        module = importlib.import_module(f"cfgtrack.cli.{_MODULES[cmd_name]}")
        found = getattr(module, f"{cmd_name}_command")
        assert isinstance(found, click.Command)
        return found

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """Resolve as click does; for a command that there isn't, say which one is meant."""
        ctx.meta[_DATABASE] = _named_database(ctx, args)
        try:
            return super().resolve_command(ctx, args)
        except click.exceptions.NoSuchCommand as err:
            from cfgtrack.answers.things import instead

            words = list(takewhile(lambda word: not word.startswith("-"), args))
            told = instead(_looking(ctx), words, [*_MODULES, *VERBS], VERBS)
            if words and words[0] == "help" and len(words) > 1:
                told = self._help_for(ctx, words[1:])
            raise click.UsageError(f"No such command '{err.command_name}'. {told}", ctx=ctx) from None

    def _help_for(self, ctx: click.Context, words: Sequence[str]) -> str:
        """Return whose help to ask for, by the words that stand behind `help`: a call that there is."""
        from cfgtrack.answers.things import commands_meant

        known = [*_MODULES, *VERBS]
        if words[0] in known:
            found = self.get_command(ctx, words[0])
            inside = [one for one in words[1:2] if isinstance(found, click.Group) and one in found.commands]
            return f"Say `cfgtrack {' '.join((words[0], *inside))} --help`."
        if calls := [f"`cfgtrack {one} --help`" for one in commands_meant(words[0], known)]:
            return f"Say {', or '.join(calls)}."
        return "`cfgtrack --help` lists the commands."

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """Write the commands under their headings, without importing one."""
        del ctx
        for heading, names in COMMANDS.items():
            with formatter.section(heading):
                formatter.write_dl([(name, line) for name, (_, line) in names.items()])
        with formatter.section("Short for `record ACTION`, as is every action of a plant's own kinds"):
            formatter.write_text(", ".join(VERBS))

    def invoke(self, ctx: click.Context) -> object:
        """Run the command. Trouble becomes its lines on standard error and its exit status; a bug stays a bug."""
        # What is imported lives to the end: looking through it for garbage costs a third of it.
        gc.set_threshold(50_000, 20, 20)
        try:
            with _fit_to_print():
                answer = super().invoke(ctx)
            sys.stdout.flush()
        except (click.ClickException, click.exceptions.Exit, click.Abort):
            line.clear()
            raise
        except Exception as err:
            line.clear()
            trouble = trouble_of(err) or _of_what_was_changed(ctx, err)
            if trouble is None:
                raise
            ctx.ensure_object(Session).tell_of_the_console()
            for note in getattr(trouble, "__notes__", ()):
                click.echo(fitted(_fit(note)), err=True)
            for told in trouble.lines():
                click.echo(fitted(_fit(told, lines=False)), err=True)
            ctx.exit(trouble.exit_status)
        else:
            if not ctx.ensure_object(Session).tell_of_the_console():
                ctx.exit(3)
            return answer
        finally:
            gc.freeze()  # the process ends: what it holds need not be looked through once more

    def make_context(
        self, info_name: str | None, args: list[str], parent: click.Context | None = None, **extra: Any
    ) -> click.Context:
        """Take what stands before the command."""
        with _fit_to_print():
            return super().make_context(info_name, args, parent, **extra)

    def main(self, args: Sequence[str] | None = None, *rest: Any, **settings: Any) -> Any:
        """Run the command line. Where an answer finds no room, help too, that is told, and nobody takes it for one."""
        if args is None:
            keep_quiet()
        typed = list(sys.argv[1:] if args is None else args)
        for word in typed:
            if not _is_text(word):
                from cfgtrack.model.password import without_passwords

                found = without_passwords(ascii(word))
                click.echo(f"command line: not-text: expected UTF-8 text, found {found}", err=True)
                sys.exit(2)
        try:
            return super().main(typed, *rest, **settings)
        except OSError as err:
            if err.errno not in _NO_ROOM:
                raise
            _give_up_output()
            click.echo(
                "output: disk-full: the answer found no room where it goes; what was recorded before it is kept",
                err=True,
            )
            sys.exit(4)


def _fit(text: str, *, lines: bool = True) -> str:
    """Return a text for standard error: nothing in it acts on the terminal, and no password of an address is told."""
    from cfgtrack.model.password import without_passwords
    from cfgtrack.show.visible import visible

    return visible(without_passwords(text), lines=lines)


@contextmanager
def _fit_to_print() -> Iterator[None]:
    """Let what click says of a slip repeat only what is `_fit` of what was typed."""
    try:
        yield
    except click.NoSuchOption as err:
        raise click.UsageError(
            fitted(_fit(f"No such option '{err.option_name}'.{_option_meant(err)}"), before=len("Error: ")),
            ctx=err.ctx,
        ) from None
    except click.ClickException as err:
        said = err.format_message()
        if (shown := fitted(_fit(said), before=len("Error: "))) == said:
            raise
        if isinstance(err, click.UsageError):
            raise click.UsageError(shown, ctx=err.ctx) from None
        raise click.ClickException(shown) from None


_OPTIONS = {
    **dict.fromkeys(("--since", "--after", "--start", "--begin"), "--from"),
    **dict.fromkeys(("--until", "--before", "--end"), "--to"),
    **dict.fromkeys(("--when", "--time", "--date", "--on", "--as-of"), "--at"),
    **dict.fromkeys(("--who", "--user", "--author", "--person", "--actor"), "--by"),
    **dict.fromkeys(("--note", "--comment", "--message", "--text", "-m"), "--remark"),
    **dict.fromkeys(("--why", "--because"), "--reason"),
    **dict.fromkeys(("--force", "--yes", "-y", "--really"), "--sure"),
    **dict.fromkeys(("--simulate", "--test", "--what-if", "-n"), "--dry-run"),
    **dict.fromkeys(("--database", "--file", "-d"), "--db"),
    **dict.fromkeys(("--out", "--to-file"), "--output"),
    **dict.fromkeys(("--format", "--as-json", "-j"), "--json"),
    **dict.fromkeys(("--action", "--step"), "--do"),
}
"""What other programs call an option, and what ours is called. A command need not have it."""


def _option_meant(err: click.NoSuchOption) -> str:
    """Return what to say instead of an option that a command hasn't: never one that is only spelled alike."""
    command = err.ctx.command if err.ctx else None
    known = [opt for param in (command.params if command else ()) for opt in param.opts]
    from cfgtrack.answers.things import slips

    meant = [one for one in (_OPTIONS.get(err.option_name, ""),) if one in known]
    meant += slips(err.option_name, known)
    if meant:
        return f" Did you mean {' or '.join(map(repr, meant))}?"
    if "--value" in known:
        return " A measured value is written NAME=VALUE with its unit, as in torque='25 N*m'."
    return f" `{err.ctx.command_path} --help` lists them." if err.ctx else ""


def _is_text(word: str) -> bool:
    """Return whether a word came in as UTF-8: other bytes come as lone surrogates, which nothing can keep or print.

    No system hands on a NUL, but whoever calls this from Python may: nothing is named so.
    """
    if "\0" in word:
        return False
    try:
        word.encode()
    except UnicodeEncodeError:
        return False
    return True


_DATABASE = "cfgtrack.database"
_NO_ROOM = (errno.ENOSPC, errno.EDQUOT, errno.EFBIG)


def _give_up_output() -> None:
    """Let what is still buffered for standard output go: Python would try to write it once more at its end."""
    with suppress(OSError, ValueError):
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def own_actions(ctx: click.Context) -> list[str]:
    """Return the actions of the plant's own kinds, none when the database can't tell."""
    from cfgtrack.answers.things import actions
    from cfgtrack.model.trouble import Trouble

    try:
        return [action for action in actions(_looking(ctx)) if action not in VERBS]
    except Trouble:
        return []


def _looking(ctx: click.Context) -> Asking:
    """Return a look beside the command's own: what is named there is not settled yet."""
    from dataclasses import replace

    root = ctx.find_root()
    session = Session(clock=root.ensure_object(Session).clock)
    session.db = str(root.meta.get(_DATABASE) or root.params.get("db") or "")
    return replace(session.asking, console=None)


def _named_database(ctx: click.Context, args: list[str]) -> str:
    """Return the database that the command line names, before the command or after it, "" when it names none."""
    after = [b for a, b in pairwise(args) if a == "--db"]
    after += [a.removeprefix("--db=") for a in args if a.startswith("--db=")]
    return str(after[-1] if after else ctx.params.get("db") or "")


def trouble_of(err: Exception) -> Trouble | None:
    """Return the trouble that an exception stands for: itself, or a named file that can't be read or written."""
    from cfgtrack.model.trouble import BadInput, NoAnswer, Problem, Trouble

    if isinstance(err, Trouble):
        return err
    if isinstance(err, OSError) and err.errno in _NO_ROOM and err.filename:
        return NoAnswer(
            Problem(str(err.filename), "disk-full", "there is no room for it: make room and try again")
        )
    if isinstance(err, IsADirectoryError) and isinstance(err.filename, str):
        return BadInput(Problem(err.filename, "not-a-file", "expected a file, found a folder"))
    if isinstance(err, OSError) and isinstance(err.filename, str) and err.strerror:
        code = "no-such-file" if isinstance(err, FileNotFoundError) else "file"
        return BadInput(Problem(err.filename, code, err.strerror[0].lower() + err.strerror[1:]))
    return None


def _of_what_was_changed(ctx: click.Context, err: Exception) -> Trouble | None:
    """Return what to say where the journal isn't as it was recorded, so that what fell over it is no bug; else None."""
    from cfgtrack.answers.asking import Asking
    from cfgtrack.answers.trust import audit
    from cfgtrack.model.trouble import UNFOLLOWABLE, NoAnswer, Problem, Trouble

    session = ctx.ensure_object(Session)
    if isinstance(err, OSError):
        return None
    try:
        found = audit(Asking(session.database, wait=session.wait))
    except Trouble:
        return None
    if found.sound:
        lost = next((one for one in found.doubts if one.code == UNFOLLOWABLE), None)
        return None if lost is None else NoAnswer(Problem("the journal", UNFOLLOWABLE, lost.sentence))
    sentence = (
        "it isn't as it was recorded, and can't be read: `cfgtrack audit` says where, and what to do next"
    )
    return NoAnswer(Problem("the journal", "changed", sentence))


class Seconds(click.FloatRange):
    """A time to wait, in seconds: a number from 0 to `MOST_WAIT`."""

    name = "seconds"

    def __init__(self) -> None:
        super().__init__(0, MOST_WAIT)

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        """Read it. No number (nan) is in no range, and compares so that click lets it through."""
        found = super().convert(value, param, ctx)
        if math.isnan(found):
            self.fail(f"{value} is not in the range {self._describe_range()}.", param, ctx)
        return found


@click.group(cls=Commands, context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100})
@click.version_option(__version__, prog_name="cfgtrack", message="%(prog)s %(version)s")
@click.option("--db", metavar="PATH|URL", envvar="CFGTRACK_DB", help="The database; else $CFGTRACK_DB.")
@shared("--json", is_flag=True, help="Answer in JSON.")
@shared(
    "--no-pager",
    is_flag=True,
    help="Print a long answer at once; else through $CFGTRACK_PAGER, $PAGER or less.",
)
@shared(
    "--wait", type=Seconds(), metavar="SECONDS", help="Wait so long for somebody else who writes; else 30."
)
@click.pass_context
def main(ctx: click.Context, db: str | None) -> None:
    """Track what is mated, held, powered and pressurised, and judge the next step.

    Times are RFC 3339 (2031-05-01T08:00:00Z); inside an outing also HH:MM, or +HH:MM from its start. Ports are
    written UNIT:PORT. An alias will do wherever an id does; one that begins with a hyphen stands behind --. --db and
    --json may stand before or after the command.

    Exit status: 0 done, nothing found; 1 crash; 2 bad usage or input; 3 the rules or the journal say no;
    4 cannot answer (no such unit, no database). The tool advises: approved procedures and qualified people decide.
    """
    ctx.ensure_object(Session).begin(ctx, db)
