"""A whole session on the tiny plant, as it looks: read it in session.txt."""

from __future__ import annotations

import os
import re
import shlex
from itertools import repeat
from pathlib import Path

import pytest

from cfgtrack.model.time import SECOND
from tests.cli import world
from tests.cli.conftest import Command

GOLDEN = Path(__file__).with_name("session.txt")


def play(cfgtrack: Command, script: list[str]) -> str:
    """Run the commands and return what a terminal would show, with exit statuses other than 0."""
    shown = []
    start = next(cfgtrack.ticks)
    for number, line in enumerate(script):
        # A second later than the one before; inside it the clock stands still, however often it is looked at.
        cfgtrack.ticks = repeat(start + number * SECOND)
        words = [str(cfgtrack.folder / w) if w.endswith(".toml") else w for w in shlex.split(line)]
        answer = cfgtrack(*words)
        shown.append(f"$ cfgtrack {line}\n{answer.err}{answer.out}")
        if answer.status:
            shown.append(f"(exit status {answer.status})\n")
    text = "\n".join(shown).replace(f"{cfgtrack.folder}/", "")
    # A load tells what code read it: so a head is another with every change of that.
    text = re.sub(r"head (\d+) (?:\w{4}-){2}\w{4}", r"head \1 (of the record)", text)
    return re.sub(r"(?<![0-9a-f])[0-9a-f]{12}(?![0-9a-f])", "(fingerprint)", text, flags=re.MULTILINE)


def test_session(empty: Command, monkeypatch: pytest.MonkeyPatch) -> None:
    """Every line of the session is as it was when somebody last read it; CFGTRACK_GOLDEN=write writes it anew."""
    monkeypatch.setattr("cfgtrack.cli.session.login_name", lambda: "leif")
    for name, text in (("plant", world.PLANT), ("rules", world.RULES), ("bad", world.BAD)):
        empty.file(f"{name}.toml", text)
    commands = [line[11:] for line in GOLDEN.read_text().splitlines() if line.startswith("$ cfgtrack ")]
    shown = play(empty, commands)
    if os.environ.get("CFGTRACK_GOLDEN") == "write":
        GOLDEN.write_text(shown)
    assert shown == GOLDEN.read_text()
