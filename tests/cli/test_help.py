"""What the command says of itself."""

from __future__ import annotations

import re
from collections.abc import Iterator

import click
import pytest

from cfgtrack.cli.main import COMMANDS, VERBS, main
from cfgtrack.model.action import GENERAL_ACTIONS
from tests.cli.conftest import Command

LISTED = {name: line for names in COMMANDS.values() for name, (_, line) in names.items()}


def commands() -> Iterator[tuple[str, click.Command]]:
    """Yield every command with the words that call it."""
    context = click.Context(main)
    for name in main.list_commands(context):
        command = main.get_command(context, name)
        assert command is not None
        yield name, command
        if isinstance(command, click.Group):
            for inner in command.list_commands(context):
                below = command.get_command(context, inner)
                assert below is not None
                yield f"{name} {inner}", below


ALL = dict(commands())


@pytest.mark.parametrize("words", ALL)
def test_every_command_has_help(words: str, empty: Command) -> None:
    """Every command, and every option of it, says what it does; asking for help needs no database."""
    said = " ".join(empty.ok(*words.split(), "--help").split())
    command = ALL[words]
    assert command.help
    assert command.help.splitlines()[0] in said
    for param in command.params:
        if isinstance(param, click.Option):
            assert param.help, f"{words} {param.opts} has no help"
            assert param.opts[0] in said


def test_every_command_is_listed(empty: Command) -> None:
    """The top-level help names every command under a heading, with one line; the actions stand together."""
    said = empty.ok("--help")
    for name, line in LISTED.items():
        assert re.search(rf"(?m)^  {name} +{re.escape(line)}$", said)
    together = " ".join(
        said.partition("Short for `record ACTION`, as is every action of a plant's own kinds:")[2].split()
    )
    assert together == ", ".join(VERBS)
    assert {words for words in ALL if " " not in words} == {*LISTED, *VERBS}


def test_general_actions_are_commands() -> None:
    """An action of the work itself, which no kind of port brings along, is a command without any database."""
    assert set(VERBS) >= GENERAL_ACTIONS


@pytest.mark.parametrize("name", LISTED)
def test_command_is_named_as_listed(name: str) -> None:
    """A command's own name is the one it is found by."""
    assert ALL[name].name == name


@pytest.mark.parametrize("words", [w for w, c in ALL.items() if not isinstance(c, click.Group)])
def test_shared_options(words: str) -> None:
    """--db and --json may stand after every command."""
    options = {opt for param in ALL[words].params for opt in param.opts}
    assert {"--db", "--json"} <= options


def test_mistyped_command(empty: Command) -> None:
    """A command that is not there is bad usage, and near names are offered."""
    answer = empty("lod")
    assert answer.status == 2
    assert "load" in answer.err
    assert answer.out == ""
