"""One console of many: runs command lines on a database, one after the other, in a process and a present of its own.

    python -m tests.cli.console DATABASE NAME     reads a line of JSON, a list of words, for each command

Each is answered by a line of JSON: how it ended, what it said, and the time before and after it. A word `@N` stands for
the id that the Nth command recorded.
"""

from __future__ import annotations

import json
import sys
import time

import click
from click.testing import CliRunner

from cfgtrack.cli.main import main


def answer(database: str, name: str, words: list[str]) -> dict[str, object]:
    """Run one command line as `name`."""
    before = time.time_ns() // 1000
    done = CliRunner().invoke(main, ["--db", database, "--json", *words, "--by", name], prog_name="cfgtrack")
    trace = None if isinstance(done.exception, SystemExit) else repr(done.exception)
    said = {
        "status": done.exit_code,
        "out": done.stdout,
        "err": done.stderr,
        "crash": done.exception and trace,
    }
    return {**said, "before": before, "after": time.time_ns() // 1000}


def work(database: str, name: str) -> None:
    """Run what is asked for until there is no more."""
    ids: list[str] = []
    for line in sys.stdin:
        words = [ids[int(w[1:])] if w.startswith("@") else w for w in json.loads(line)]
        said = answer(database, name, words)
        ids.append(json.loads(str(said["out"]))["event"]["id"] if said["out"] else "")
        click.echo(json.dumps(said))


if __name__ == "__main__":
    work(sys.argv[1], sys.argv[2])
