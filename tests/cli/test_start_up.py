"""What a command costs before it does anything, and how it ends when something else goes wrong."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from cfgtrack.cli import state
from tests.cli.conftest import Command

AT = "2031-05-01T10:00:00Z"


def run(cfgtrack: Command, program: str, *arguments: str, **env: str) -> subprocess.CompletedProcess[str]:
    """Run a Python program in a process of its own, on the command's database."""
    environment = {**os.environ, "CFGTRACK_DB": str(cfgtrack.db), **env}
    return subprocess.run(
        [sys.executable, "-c", program, *arguments],
        env=environment,
        capture_output=True,
        text=True,
        check=False,
    )


LOADED = """
import sys
from cfgtrack.cli.main import main
try:
    main()
except SystemExit as end:
    print("loaded:", end.code, *sys.modules)
"""


@pytest.mark.parametrize(
    ("words", "needless"),
    [
        (
            ("cap", "PUMP-1:F2", "--at", AT, "--sure"),
            {"alembic", "fontTools", "graphlay", "graphviz", "networkx", "typst"},
        ),
        (
            ("state", "PUMP-1", "--at", AT),
            {"alembic", "cfgtrack.analysis.which", "fontTools", "graphlay", "graphviz", "networkx", "typst"},
        ),
        (("completion", "zsh"), {"sqlalchemy", "alembic", "pint", "rustworkx"}),
        (("rules", "starter"), {"sqlalchemy", "alembic", "pint", "rustworkx"}),
        (("reference", "fluid", "water"), {"sqlalchemy", "alembic", "rustworkx", "CoolProp"}),
    ],
    ids=lambda value: value[0] if isinstance(value, tuple) else None,
)
def test_only_what_is_needed(words: tuple[str, ...], needless: set[str], cfgtrack: Command) -> None:
    """A command loads no library that it has no use for, and not the search for a spare."""
    done = run(cfgtrack, LOADED, *words)
    status, *loaded = done.stdout.rpartition("loaded:")[2].split()
    assert status == "0", done.stderr
    assert set(loaded) & needless == set()


def test_a_bug_is_a_traceback(cfgtrack: Command) -> None:
    """What nobody foresaw is no message but a traceback, and the exit status is 1."""
    program = "import cfgtrack.answers.asking as a; a.Asking.read = None\nfrom cfgtrack.cli.main import main; main()"
    done = run(cfgtrack, program, "state")
    assert done.returncode == 1
    assert "Traceback" in done.stderr


def test_broken_pipe(cfgtrack: Command) -> None:
    """When nobody reads the answer any more the command ends with 1 and without a traceback."""
    command = f"{sys.executable} -m cfgtrack export --db {cfgtrack.db} | true; echo ${{PIPESTATUS[0]}}"
    lines = "\\n".join("x" * 100 for _ in range(190))
    for _ in range(10):
        cfgtrack.ok("remark", "PUMP-1", lines, "--at", AT)
    done = subprocess.run(["bash", "-c", command], capture_output=True, text=True, check=False)
    assert done.stdout.strip() == "1"
    assert "Traceback" not in done.stderr


def test_completion(cfgtrack: Command) -> None:
    """Commands, actions, units, places and, after the colon, ports complete; the shell's script says how."""
    assert "COMP_WORDBREAKS" in cfgtrack.ok("completion", "bash")

    def offered(*words: str) -> list[str]:
        env = {
            "_CFGTRACK_COMPLETE": "bash_complete",
            "COMP_WORDS": " ".join(("cfgtrack", *words)),
            "COMP_CWORD": str(len(words)),
        }
        done = run(cfgtrack, "from cfgtrack.cli.main import main; main(prog_name='cfgtrack')", **env)
        return [line.partition(",")[2] for line in done.stdout.splitlines() if line]

    assert offered("withd") == ["withdraw"]
    assert offered("record", "unc") == ["uncap", "uncover"]
    assert offered("state", "PUMP") == ["PUMP-1", "PUMP-2"]
    assert offered("record", "cap", "PUMP-1:F") == ["PUMP-1:F1", "PUMP-1:F2"]
    assert offered("defect", "unc") == ["uncap", "uncover"]
    assert offered("defect", "PUMP") == offered("rectify", "uncap", "PUMP") == ["PUMP-1", "PUMP-2"]
    assert offered("mate", "HALL:P") == ["HALL:P1", "HALL:P2"]
    assert offered("--db", str(cfgtrack.folder / "none"), "state", "PUMP") == []


def test_no_colour(cfgtrack: Command, monkeypatch: pytest.MonkeyPatch) -> None:
    """Nothing is coloured that goes to a pipe, nor anywhere when NO_COLOR is set."""
    seen: list[bool] = []
    command = state.state_command
    assert command.callback is not None
    real = command.callback

    def spy(*args: object, **kwargs: object) -> None:
        import click

        seen.append(click.get_current_context().obj.colour)
        real(*args, **kwargs)

    monkeypatch.setattr(command, "callback", spy)
    cfgtrack("state")
    monkeypatch.setattr("cfgtrack.cli.terminal.is_terminal", lambda: True)
    cfgtrack("state")
    assert "\x1b" not in cfgtrack("state", NO_COLOR="1").out
    assert seen == [False, True, False]


def test_module_and_script_are_one(cfgtrack: Command) -> None:
    """`python -m cfgtrack` is the same command."""
    done = subprocess.run(
        [sys.executable, "-m", "cfgtrack", "--db", cfgtrack.db, "state", "--json", "--at", AT],
        capture_output=True,
        text=True,
        check=False,
        cwd=Path(__file__).parents[2],
    )
    assert (done.returncode, done.stderr) == (0, "")
