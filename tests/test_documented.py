"""What README.md and DEVELOPERS.md name exists, and what exists is named there."""

import re
import shlex
from pathlib import Path

import click
import pytest
from click.testing import CliRunner

from cfgtrack.cli.main import COMMANDS, VERBS, main
from cfgtrack.model.trouble import Trouble

ROOT = Path(__file__).parent.parent
README, DEVELOPERS = ((ROOT / name).read_text() for name in ("README.md", "DEVELOPERS.md"))
FENCE = re.compile(r"^```(\w*)\n(.*?)^```$", re.DOTALL | re.MULTILINE)


def below(name: str) -> click.Command:
    """Return a command of the program."""
    found = main.get_command(click.Context(main), name)
    assert found is not None
    return found


def calls() -> dict[str, click.Command]:
    """Return every command by the words that call it: `rules load` as well as `rules`."""
    found: dict[str, click.Command] = {}
    for name in main.list_commands(click.Context(main)):
        found[name] = below(name)
        inner = getattr(found[name], "commands", {})
        found.update({f"{name} {word}": command for word, command in inner.items()})
    return found


CALLS = calls()


def code(text: str) -> list[list[str]]:
    """Return the words of every code span and of every command line in the blocks of a Markdown text."""
    lines = [line for _, block in FENCE.findall(text) for line in block.splitlines() if "cfgtrack" in line]
    lines = [part for line in lines for part in re.split(r"\|+|&&|;", line.removeprefix("$ "))]
    lines = [line for line in lines if re.match(r"\s*(\w+=\S* )*cfgtrack ", line)]
    spans = [span for line in FENCE.sub("", text).split("\n\n") for span in re.findall(r"`([^`]+)`", line)]
    return [words for line in (*lines, *spans) if (words := shlex.split(line.replace("'", '"'), posix=False))]


def named(text: str) -> set[str]:
    """Return the commands that a text names as code: `state`, `cfgtrack state X`, or a line of a console block."""
    found = set()
    for words in code(text):
        rest = words[words.index("cfgtrack") + 1 :] if "cfgtrack" in words else words
        found |= {" ".join(rest[:n]) for n in (1, 2)}
    return found & CALLS.keys()


def unknown(text: str) -> set[str]:
    """Return the commands and options that a text calls the program with and that it doesn't have."""
    out = set()
    everywhere = {"-h", "--help", *(o for p in main.params for o in p.opts)}
    anywhere = everywhere.union(*(p.opts for command in CALLS.values() for p in command.params))
    for words in code(text):
        if "cfgtrack" not in words:
            out |= {w for w in words if re.fullmatch(r"--[a-z][a-z-]*", w)} - anywhere
            continue
        options = set(everywhere)
        rest = words[words.index("cfgtrack") + 1 :]
        name = next((w for w in rest if not w.startswith("-")), None)
        if name is not None and name.islower():
            out |= {name} - CALLS.keys()
        for call in (name, " ".join(rest[:2])):
            if call in CALLS:
                options |= {o for p in CALLS[call].params for o in p.opts}
        given = {w.partition("=")[0] for w in rest if re.match(r"--?[a-z]", w)}
        out |= {f"{name} {option}" for option in given - options}
    return out


def statuses(text: str) -> set[int]:
    """Return the numbers of a text's list of exit statuses: `Exit status: 0 done, ...`, up to the paragraph's end."""
    found = re.search(r"Exit status:(.*?)(\n\s*\n|\n- |\Z)", text, re.DOTALL)
    assert found is not None, "there is no list of exit statuses"
    return {int(n) for n in re.findall(r"(?<![\w.])\d+(?![\w.])", found[1])}


def table() -> str:
    """Return the table of commands as it stands in DEVELOPERS.md."""
    rows = ["| command | what it does |", "| --- | --- |"]
    for names in COMMANDS.values():
        for name, (_, line) in names.items():
            rows.append(f"| `{name}` | {line} |")
            inner = [call for call in CALLS if call.startswith(f"{name} ")]
            rows += [f"| `{call}` | {CALLS[call].get_short_help_str(200)} |" for call in inner]
    return "\n".join([*rows, f"| {', '.join(f'`{v}`' for v in VERBS)} | Short for `record ACTION`. |"])


def test_the_table_of_commands_is_that_of_the_program() -> None:
    """DEVELOPERS.md lists every command with the line by which the program lists it."""
    assert table() in DEVELOPERS, f"paste into DEVELOPERS.md:\n{table()}"


@pytest.mark.parametrize("call", CALLS)
def test_every_command_is_documented(call: str) -> None:
    """Every command stands in the README or in DEVELOPERS.md, as code."""
    assert call in named(README) | named(DEVELOPERS)


def test_what_is_documented_exists() -> None:
    """Every command and every option that the two name is one of the program's."""
    assert len(named(README)) > 5
    assert unknown(README) == set()
    of_tests = {
        "--hypothesis-seed",
        "--randomly-seed",
        "--seed",
        "--cases",
        "--first",
        "--kind",
        "--only",
        "--size",
    }
    assert unknown(DEVELOPERS) - of_tests == set()


EXAMPLE = """Ask `frob`, `diff` or `cfgtrack patch --now` with `--json` or `--jsn`; state has words around it.

```console
$ cfgtrack history X --known-at 2031-01-01 --sideways
cfgtrack import prints no command
$ A=1 cfgtrack export -o x | cfgtrack audit --tree=2
```
"""


def test_documents_are_read_as_they_are_meant() -> None:
    """Only code counts, whole words, the rest of a pipe too; what doesn't exist is found."""
    assert named(EXAMPLE) == {"diff", "history", "export", "audit", "import"}
    assert unknown(EXAMPLE) == {"patch", "patch --now", "--jsn", "history --sideways", "audit --tree"}


def test_every_exit_status_is_documented() -> None:
    """The README, DEVELOPERS.md and the program's help list the same statuses: those that it has."""
    of_trouble = {kind.exit_status for kind in Trouble.__subclasses__()}
    assert of_trouble == {2, 3, 4}
    help_text = main.help
    assert help_text is not None
    for text in (README, DEVELOPERS, help_text):
        assert statuses(text) == {0, 1} | of_trouble


@pytest.mark.parametrize(
    ("words", "status"),
    [("--version", 0), ("plant --nonsense", 2), ("nonsense", 2), ("plant", 4)],
)
def test_exit_statuses_are_what_is_documented(words: str, status: int) -> None:
    """Done is 0, bad usage 2, and where there is no database the answer is 4."""
    answer = CliRunner().invoke(main, ["--db", "none.db", *words.split()])
    assert answer.exit_code == status


def test_a_crash_is_no_verdict(monkeypatch: pytest.MonkeyPatch) -> None:
    """A bug ends with status 1 and its traceback, never as one of the program's answers."""

    def crash(*_: object) -> None:
        raise ZeroDivisionError

    monkeypatch.setattr("cfgtrack.cli.hardware.plant_command.callback", crash)
    answer = CliRunner().invoke(main, ["plant"])
    assert answer.exit_code == 1
    assert isinstance(answer.exception, ZeroDivisionError)
