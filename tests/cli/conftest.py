"""The command as a user calls it, in this process: a clock that ticks a second, a database of its own."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from cfgtrack.cli.main import main
from cfgtrack.cli.session import Session
from cfgtrack.model.time import SECOND, parse_instant
from tests.cli import world


@dataclass
class Answer:
    """What a command said and how it ended."""

    status: int
    out: str
    err: str

    @property
    def json(self) -> Any:
        """What it said, as JSON."""
        return json.loads(self.out)


class Command:
    """Calls `cfgtrack` on one database. An uncaught exception comes out as itself.

    `also`: what stands behind every question that it asks of itself.
    """

    also: tuple[str, ...] = ()

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.db = folder / "plant.db"
        # Where clocks and plants are the same, journals are; so each has a console of its own.
        self.state = folder.parent / f"{folder.name}-state"
        self.config = folder.parent / f"{folder.name}-config"
        self.wait: float | None = None
        self.ticks = self.ticking()

    @staticmethod
    def ticking() -> Iterator[int]:
        """Yield the time of each look at the clock."""
        start = parse_instant("2031-05-01T09:00:00Z")
        while True:
            yield start
            start += SECOND

    def __call__(self, *arguments: object, stdin: str | None = None, **env: str) -> Answer:
        """Run a command line."""
        session = Session(clock=lambda: next(self.ticks))
        session.wait = self.wait
        done = CliRunner().invoke(
            main,
            [str(a) for a in arguments],
            obj=session,
            prog_name="cfgtrack",
            input=stdin,
            env={
                "CFGTRACK_DB": str(self.db),
                "XDG_STATE_HOME": str(self.state),
                "XDG_CONFIG_HOME": str(self.config),
                "COLUMNS": "100",
                **env,
            },
        )
        if done.exception is not None and not isinstance(done.exception, SystemExit):
            raise done.exception
        return Answer(done.exit_code, done.stdout, done.stderr)

    def ok(self, *arguments: object, stdin: str | None = None) -> str:
        """Run a command line that must end with 0; return what it said."""
        answer = self(*arguments, stdin=stdin)
        assert answer.status == 0, answer.out + answer.err
        return answer.out

    def json_of(self, *arguments: object) -> Any:
        """Run a question that must be answered with 0; return its answer as JSON."""
        return json.loads(self.ok("--json", *arguments))

    def naming(self, rule: str, *words: object) -> tuple[str, ...]:
        """Return the options that name all that a rule finds: now, or of a check of these words, which come after."""
        found = self("check" if words else "findings", *words, "--json", *self.also).json
        found = found["check"]["new"] if words else found["findings"]
        codes = (code for f in found if f["rule"] == rule for code in f["fingerprints"])
        return (*(word for code in codes for word in ("--finding", code)), *map(str, words))

    def file(self, name: str, text: str) -> Path:
        """Write a file beside the database."""
        path = self.folder / name
        path.write_text(text)
        return path


@pytest.fixture
def empty(tmp_path: Path) -> Command:
    """The command where there is no database yet."""
    return Command(tmp_path)


@pytest.fixture
def cfgtrack(empty: Command) -> Command:
    """The command on the tiny plant, with its rules."""
    empty.ok("load", empty.file("plant.toml", world.PLANT), "--by", "survey")
    empty.ok("rules", "load", empty.file("rules.toml", world.RULES))
    empty.file("good.toml", world.GOOD)
    empty.file("bad.toml", world.BAD)
    return empty
