"""The manual page: made of the commands themselves, and such as man(1) reads it."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
from pathlib import Path

from cfgtrack.cli import man
from cfgtrack.cli.main import COMMANDS, VERBS
from tests.cli.conftest import Command

ROOT = Path(__file__).parents[2]
KEPT = ROOT / "man" / "cfgtrack.1"
SECTIONS = (
    *("NAME", "SYNOPSIS", "DESCRIPTION", "OPTIONS", "COMMANDS", "ENVIRONMENT"),
    *("FILES", "EXIT STATUS", "CAUTIONS", "EXAMPLES"),
)
"""In the order of man-pages(7), "Sections within a manual page", with COMMANDS and CAUTIONS between."""

REQUESTS = {"TH", "SH", "SS", "TP", "PP", "RS", "RE", "nf", "fi", "B", "nh"}
"""What man(7) defines, as far as it is used, and `nh` of groff(7): no word is broken."""


def test_the_page_has_its_sections_and_only_requests_of_man(empty: Command) -> None:
    """The title first, the standard sections in their order, and every line that begins with a dot is one of man(7)."""
    lines = empty.ok("man").splitlines()
    assert lines[0].startswith(".TH CFGTRACK 1 ")
    assert [line.removeprefix(".SH ") for line in lines if line.startswith(".SH ")] == [*SECTIONS]
    assert {line[1:].split()[0] for line in lines if line.startswith(".")} <= REQUESTS
    assert lines.count(".nf") == lines.count(".fi")
    assert not [line for line in lines if line.startswith("'")]
    used = {sign for line in lines for sign in re.findall(r"\\(\(..|f.|.)", line)}
    assert used <= {"-", "e", "&", "fB", "fI", "fR", "(aq", "(ga", "(ha", "(ti", "(dq"}
    assert re.fullmatch(r"cfgtrack \\- [a-z].*[^.]", lines[lines.index(".SH NAME") + 1])


def test_the_page_lists_every_command_and_status(empty: Command) -> None:
    """Each command and action stands there with its line; each exit status; each variable of ours that is read."""
    text = empty.ok("man").replace("\\-", "-")
    for name in (*(n for names in COMMANDS.values() for n in names), *VERBS):
        assert f".TP\n\\fB{name}\\fR\n" in text
    statuses = text.partition(".SH EXIT STATUS")[2].partition(".SH")[0]
    assert re.findall(r"\\fB(\d)\\fR", statuses) == ["0", "1", "2", "3", "4"]
    sources = "".join(path.read_text() for path in (ROOT / "cfgtrack").rglob("*.py"))
    read = set(re.findall(r'"((?:CFGTRACK|XDG)_[A-Z_]+)"', sources))
    assert {"CFGTRACK_DB", "CFGTRACK_PAGER", "XDG_STATE_HOME"} <= read
    assert read <= {*man.ENVIRONMENT}


def test_the_examples_are_calls_of_the_command(cfgtrack: Command) -> None:
    """Each example names a command, and options, that there are."""
    for _, call in man.EXAMPLES:
        name, *rest = call.split()
        said = cfgtrack.ok(name, "--help")
        for option in (word for word in rest if word.startswith("-")):
            assert option in said


def test_the_page_that_is_installed_is_the_commands(empty: Command) -> None:
    """What the wheel carries is what the command prints; CFGTRACK_GOLDEN=write writes it anew."""
    if os.environ.get("CFGTRACK_GOLDEN") == "write":
        KEPT.parent.mkdir(exist_ok=True)
        KEPT.write_text(empty.ok("man"))
    assert empty.ok("man") == KEPT.read_text()


def test_the_formatter_has_nothing_to_say(empty: Command) -> None:
    """groff, with all its warnings on, complains of nothing; where there is none, each macro is one of man(7)."""
    page = empty.ok("man")
    assert {line[1:].split()[0] for line in page.splitlines() if line.startswith(".")} <= REQUESTS
    if shutil.which("groff") is None:
        return
    done = subprocess.run(
        ["groff", "-man", "-Tutf8", "-ww", "-z"], input=page, capture_output=True, text=True, check=False
    )
    assert (done.returncode, done.stderr) == (0, "")
    shown = subprocess.run(
        ["groff", "-man", "-Tascii", "-P-cbou"], input=page, capture_output=True, text=True, check=True
    ).stdout
    assert "cfgtrack check --do 'demate PUMP-1:F1 by ann'" in shown
    assert 'cfgtrack torque PUMP-1:B1 torque="25 N*m" --by ann' in shown
