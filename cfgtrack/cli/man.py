"""`man`: the manual page, made of what the commands say of themselves."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator

import click

from cfgtrack import __version__
from cfgtrack.cli import session as s
from cfgtrack.cli.actions import ACTIONS

ENVIRONMENT = {
    "CFGTRACK_DB": "The database, where --db names none: a file, or the address of a PostgreSQL server's.",
    "CFGTRACK_PAGER": "What long answers go through on a terminal, instead of $PAGER; empty for nothing.",
    "PAGER": "What long answers go through, else less(1).",
    "LESS": "What less(1) is told; -FRX where it is told nothing.",
    "NO_COLOR": "If it isn't empty, nothing is coloured.",
    "TERM": "On a terminal that is dumb nothing is paged.",
    "COLUMNS, LINES": "The size of the terminal, where it doesn't tell its own.",
    "XDG_DATA_HOME": "Where the default database is, in cfgtrack/; else ~/.local/share.",
    "XDG_STATE_HOME": "Where this console keeps the largest head that it has seen; else ~/.local/state.",
    "XDG_CONFIG_HOME": "Where the keys are that you sign with; else ~/.config.",
}
FILES = {
    "~/.local/share/cfgtrack/journal.db": "The database, where none is named.",
    "~/.local/state/cfgtrack/heads.json": "The largest head that this console has seen of each journal.",
    "~/.config/cfgtrack/keys/": "Your keys, readable by you alone.",
}
CAUTIONS = (
    "The tool advises. Local codes, the approved procedure and licensed or certified people decide. Stored pressure, "
    "toxic, hot or burning fluids, electric shock, arc flash and suspended load can kill: isolate, relieve, lock, tag "
    "and verify with an instrument before work starts. A record says what somebody reported, not what is so."
)
EXAMPLES = (
    ("Load a plant, and its rules:", "load plant.toml --by survey"),
    ("", "rules load rules.toml"),
    ("Ask how a thing stands, and what may be done to it:", "state PUMP-1"),
    ("", "can PUMP-1:F1"),
    ("Check an action before anybody does it, then a sequence:", "check --do 'demate PUMP-1:F1 by ann'"),
    ("", "check exchange.toml"),
    ("Record what was done:", ACTIONS["demate"].example),
    ("", ACTIONS["torque"].example),
    ("Draw it:", "draw -o plant.svg"),
)
_STATUS = re.compile(r"(\d) (.*)", re.DOTALL)


@s.command("man")
def man_command(session: s.Session, /) -> None:
    """Print the manual page, as man(1) reads it.

    \b
    cfgtrack man > cfgtrack.1
    man ./cfgtrack.1
    """
    del session
    click.echo(manual(), nl=False)


def manual() -> str:
    """Return the manual page."""
    from cfgtrack.cli.main import COMMANDS, VERBS, main

    about, statuses = (main.help or "").split("Exit status:")
    first, *paragraphs = [" ".join(one.split()) for one in about.split("\n\n") if one.strip()]
    lines = [
        rf'.TH CFGTRACK 1 "" "cfgtrack {_text(__version__)}" "User Commands"',
        ".nh",
        *_section("NAME", [rf"cfgtrack \- {_text(first[0].lower() + first[1:].rstrip('.'))}"]),
        *_section("SYNOPSIS", [".B cfgtrack", r"[\fIOPTION\fR]... \fICOMMAND\fR [\fIARGUMENT\fR]..."]),
        *_section("DESCRIPTION", _paragraphs([*paragraphs, *_more()])),
        *_section("OPTIONS", _options(main)),
        ".SH COMMANDS",
    ]
    for heading, names in COMMANDS.items():
        lines += [f".SS {_text(heading)}", *_listed({name: line for name, (_, line) in names.items()})]
    lines += [".SS Actions, each short for record ACTION", *_listed({v: ACTIONS[v].line for v in VERBS})]
    lines += _section("ENVIRONMENT", _listed(ENVIRONMENT)) + _section("FILES", _listed(FILES))
    told = " ".join(statuses.split()).partition(" The tool advises")[0].rstrip(".")
    found = (_STATUS.fullmatch(one.strip()) for one in told.split(";"))
    lines += _section("EXIT STATUS", _listed({one[1]: f"{one[2]}." for one in found if one is not None}))
    lines += _section("CAUTIONS", _paragraphs([CAUTIONS]))
    lines += _section("EXAMPLES", _examples())
    return "\n".join(lines) + "\n"


def _more() -> Iterator[str]:
    yield "Each command's options, and what each action needs, are told by cfgtrack COMMAND --help."
    yield "A long answer on a terminal goes through a pager, from its top; --no-pager prints it at once."


def _section(heading: str, lines: Iterable[str]) -> list[str]:
    return [f".SH {heading}", *lines]


def _paragraphs(texts: Iterable[str]) -> Iterator[str]:
    for i, text in enumerate(texts):
        if i:
            yield ".PP"
        yield _text(text)


def _listed(told: dict[str, str]) -> Iterator[str]:
    for name, text in told.items():
        yield from (".TP", rf"\fB{_text(name)}\fR", _text(text))


def _options(command: click.Command) -> Iterator[str]:
    context = click.Context(command, info_name="cfgtrack", max_content_width=100)
    records = (param.get_help_record(context) for param in command.get_params(context))
    yield from _listed({record[0]: record[1] for record in records if record is not None})


def _examples() -> Iterator[str]:
    for why, call in EXAMPLES:
        if why:
            yield from (".PP", _text(why))
        yield from (".PP", ".RS 4", ".nf", _text(f"cfgtrack {call}"), ".fi", ".RE")


def _text(text: str) -> str:
    """Return a line of text in which nothing is a request: a hyphen stays one that can be typed."""
    text = text.replace("\\", r"\e").replace("-", r"\-").replace("'", r"\(aq").replace("`", r"\(ga")
    text = text.replace("^", r"\(ha").replace("~", r"\(ti").replace('"', r"\(dq")
    return rf"\&{text}" if text.startswith(".") else text
