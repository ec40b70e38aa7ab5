"""What a terminal shows besides the answer: how far it is, page by page, and nobody else's warnings."""

from __future__ import annotations

import fcntl
import os
import pty
import struct
import subprocess
import sys
import termios
from pathlib import Path

import pytest

from cfgtrack.cli import terminal
from tests.cli.conftest import Command

AT = ("--at", "2031-05-01T10:00:00Z")
ROWS, WIDE = 12, 100
TOP = Path(__file__).parents[2]


def watched(monkeypatch: pytest.MonkeyPatch) -> None:
    """Let somebody look at standard error, and every look at the clock be a second after the one before."""
    monkeypatch.setattr("cfgtrack.cli.terminal.is_watched", lambda: True)
    terminal.line.clear()
    ticks = iter(range(1, 10_000))
    monkeypatch.setattr("time.monotonic", lambda: next(ticks))


@pytest.mark.parametrize("keeps", [True, False])
def test_how_far_it_is_promises_no_more_than_is_kept(
    keeps: bool, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """On a terminal the line says that an interrupt keeps what there is only where it does, and is taken away."""
    watched(monkeypatch)
    promise = " (Ctrl-C keeps what there is)" if keeps else ""
    tell = terminal.showing("steps", keeps=keeps)
    tell(1, 2)
    assert capsys.readouterr().err == f"\r1 of 2 steps{promise}\x1b[K"
    tell(2, 2)
    assert capsys.readouterr().err == "\r\x1b[K"


def test_how_far_it_is_in_words(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    """Words are put into the line's form; it is cleared once, and not where nothing was shown."""
    watched(monkeypatch)
    terminal.showing_text("{} sequences judged, {} changes")(7, 2)
    assert capsys.readouterr().err == "\r7 sequences judged, 2 changes (Ctrl-C keeps what there is)\x1b[K"
    terminal.line.clear()
    terminal.line.clear()
    assert capsys.readouterr().err == "\r\x1b[K"


def test_how_far_it_is_is_for_a_terminal_alone(capsys: pytest.CaptureFixture[str]) -> None:
    """Where nobody looks on nothing is shown."""
    terminal.showing("steps")(1, 2)
    terminal.showing_text()("x")
    terminal.line.clear()
    assert capsys.readouterr().err == ""


@pytest.mark.parametrize("words", [("mend", "bad.toml"), ("durations", "good.toml")])
def test_nothing_of_it_is_left_before_an_answer(
    words: tuple[str, str], cfgtrack: Command, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What was shown of how far it is is gone when the command ends: the last that standard error gets clears it."""
    watched(monkeypatch)
    err = cfgtrack(words[0], cfgtrack.folder / words[1]).err
    assert err.count("\r") >= 2, "nothing was shown"
    assert err.rpartition("\r")[2] == "\x1b[K"


PAGER = """#!/bin/sh
cat > "$PAGED"
"""

SAYS_SO = """
import sys
for stream in (sys.stdin, sys.stdout, sys.stderr):
    stream.isatty = lambda: True
from cfgtrack.cli.main import main
main(prog_name="cfgtrack")
"""
"""What stands for a terminal on a machine that gives out none: pipes that say that they are one."""


class Paged:
    """Runs command lines as on a terminal of `ROWS` lines, with a pager that keeps what it is given."""

    def __init__(self, cfgtrack: Command, pager: str) -> None:
        self.cfgtrack = cfgtrack
        self.kept = cfgtrack.folder / "paged.txt"
        self.pager = cfgtrack.folder / "pager"
        self.pager.write_text(pager)
        self.pager.chmod(0o700)

    def __call__(self, *words: str, **env: str) -> tuple[int, str]:
        """Return the exit status, and what the terminal showed."""
        environment = {
            **{name: text for name, text in os.environ.items() if name not in ("LINES", "COLUMNS", "LESS")},
            "CFGTRACK_DB": str(self.cfgtrack.db),
            "XDG_STATE_HOME": str(self.cfgtrack.state),
            "TERM": "xterm",
            "PAGER": str(self.pager),
            "PAGED": str(self.kept),
            **env,
        }
        try:
            ours, theirs = pty.openpty()
        except OSError:
            return _on_pipes(words, environment)
        fcntl.ioctl(theirs, termios.TIOCSWINSZ, struct.pack("HHHH", ROWS, WIDE, 0, 0))
        run = subprocess.Popen(
            [sys.executable, "-m", "cfgtrack", *words],
            stdin=theirs,
            stdout=theirs,
            stderr=theirs,
            env=environment,
            cwd=TOP,
        )
        os.close(theirs)
        shown = b""
        try:
            while piece := os.read(ours, 65536):
                shown += piece
        except OSError:  # the other end is closed
            pass
        os.close(ours)
        return run.wait(), shown.decode().replace("\r\n", "\n")


def _on_pipes(words: tuple[str, ...], environment: dict[str, str]) -> tuple[int, str]:
    """Return the same of a machine without terminals of its own, whose size the environment tells."""
    done = subprocess.run(
        [sys.executable, "-c", SAYS_SO, *words],
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        env={**environment, "LINES": str(ROWS), "COLUMNS": str(WIDE)},
        cwd=TOP,
        text=True,
        check=False,
    )
    return done.returncode, done.stdout


def test_pipes_that_say_so_stand_for_a_terminal(cfgtrack: Command, monkeypatch: pytest.MonkeyPatch) -> None:
    """A machine without terminals of its own sees the same paged, and the same shown, as one with them."""
    asked = (("check", str(cfgtrack.folder / "bad.toml"), *AT), ("history", "PUMP-2"))
    paged = Paged(cfgtrack, PAGER)
    on_terminal = [(paged(*words), paged.kept.read_text()) for words in asked]

    def none() -> tuple[int, int]:
        raise OSError("out of pty devices")

    monkeypatch.setattr("pty.openpty", none)
    assert [(paged(*words), paged.kept.read_text()) for words in asked] == on_terminal


def test_a_long_answer_is_paged_from_its_top(cfgtrack: Command) -> None:
    """The pager gets the whole answer, the verdict first; the exit status is the answer's."""
    paged = Paged(cfgtrack, PAGER)
    plain = cfgtrack("check", cfgtrack.folder / "bad.toml", *AT)
    status, shown = paged("check", str(cfgtrack.folder / "bad.toml"), *AT)
    assert plain.out.count("\n") > ROWS
    assert (status, shown) == (3, "")
    assert paged.kept.read_text().splitlines()[0].startswith("\x1b[1mNot clear")
    assert plain.status == 3


@pytest.mark.parametrize("words", [("draw", "--help"), ("--help",), ("record", "--help")])
def test_a_long_help_is_paged(words: tuple[str, ...], cfgtrack: Command) -> None:
    """The pager gets a help that is longer than the terminal, whole, and the terminal itself nothing."""
    paged = Paged(cfgtrack, PAGER)
    status, shown = paged(*words)
    assert (status, shown) == (0, "")
    assert paged.kept.read_text().startswith("Usage: ")
    assert "Show this message and exit." in paged.kept.read_text()


@pytest.mark.parametrize(
    ("words", "env"),
    [
        (("check", "BAD", *AT, "--no-pager"), {}),
        (("--no-pager", "draw", "--help"), {}),
        (("draw", "--help"), {"TERM": "dumb"}),
        (("--no-pager", "check", "BAD", *AT), {}),
        (("check", "BAD", *AT, "--json"), {}),
        (("check", "BAD", *AT), {"CFGTRACK_PAGER": ""}),
        (("check", "BAD", *AT), {"TERM": "dumb"}),
        (("history", "PUMP-2"), {}),
    ],
)
def test_what_is_not_paged(words: tuple[str, ...], env: dict[str, str], cfgtrack: Command) -> None:
    """A short answer, JSON, a dumb terminal, and whoever doesn't want it, get no pager."""
    paged = Paged(cfgtrack, PAGER)
    _, shown = paged(*(str(cfgtrack.folder / "bad.toml") if w == "BAD" else w for w in words), **env)
    assert shown
    assert not paged.kept.exists()


def test_nothing_is_paged_into_a_pipe(cfgtrack: Command) -> None:
    """Where the answer goes to a pipe it goes there at once."""
    assert cfgtrack("check", cfgtrack.folder / "bad.toml", *AT, CFGTRACK_PAGER="false").out


def test_a_pager_that_is_left_early(cfgtrack: Command) -> None:
    """Whoever leaves the pager at once sees no traceback, and the status stays the answer's."""
    for number in range(60):
        cfgtrack.ok("remark", "PUMP-1", f"{number} " * 400, "--at", "2031-05-01T08:30:00Z", "--sure")
    paged = Paged(cfgtrack, "#!/bin/sh\nexit 0\n")
    status, shown = paged("remarks", "PUMP-1", *AT)
    assert (status, shown) == (0, "")


WARNS = """
import logging, warnings
import cfgtrack.answers.state as state
real = state.everything
def everything(*a, **k):
    warnings.warn("someone else's warning", RuntimeWarning)
    logging.getLogger("someone").warning("someone else's log")
    return real(*a, **k)
state.everything = everything
from cfgtrack.cli.main import main
main(prog_name="cfgtrack")
"""


def test_nobody_elses_warnings(cfgtrack: Command) -> None:
    """What a library warns of or logs is kept from standard error, unless Python was asked for it; our words aren't."""
    environment = {**os.environ, "CFGTRACK_DB": str(cfgtrack.db), "XDG_STATE_HOME": str(cfgtrack.state)}
    environment.pop("PYTHONWARNINGS", None)

    def run(*options: str, words: tuple[str, ...] = ("state", *AT)) -> subprocess.CompletedProcess[str]:
        call = [sys.executable, *options, "-c", WARNS, *words]
        return subprocess.run(call, env=environment, capture_output=True, text=True, check=False)

    quiet = run()
    assert (quiet.returncode, quiet.stderr) == (0, "")
    assert "someone else's warning" in run("-W", "always").stderr
    assert "there is no unit" in run(words=("state", "PUMP-9", *AT)).stderr
