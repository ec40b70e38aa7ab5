"""One run of command lines in a folder of its own, written down: what was typed, how it ended, what it said.

The only seams to the package are its entry point and the surroundings that `fix_surroundings` holds still. Nothing
here knows what is inside, so that it can all be moved.
"""

from __future__ import annotations

import gc
import itertools
import json
import os
import re
import shutil
import sqlite3
import tempfile
import time
from collections import Counter
from collections.abc import Mapping
from contextlib import closing, suppress
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path
from typing import Any

from tests.clocks import take_any_time

CHECKOUT = Path(__file__).parents[2]
WORKED = 1_935_738_000_000_000
"""When the first command of a paper is run, microseconds since 1970: 2031-05-05T09:00:00Z."""
SECOND = 1_000_000

_CODE = re.compile(r"^\S.*?: ([a-z][a-z-]*): ", re.MULTILINE)
_CODE_IN_JSON = re.compile(r'^ *"code": "([a-z-]+)",$', re.MULTILINE)
_SERVER = re.compile(r"postgresql://\S*cfgtrack-pg-\w*")
"""The address of the tool's own server, with or without its password."""

_now = WORKED
_bytes = itertools.count(1)


def fix_surroundings() -> None:
    """Hold still what a command takes from its surroundings: the clock, random bytes, the user, the terminal.

    The clock is Python's `time.time_ns`; it moves a second with every command, and not within one.
    """
    time.time_ns = lambda: _now * 1000  # the one seam for the clock
    take_any_time()
    os.urandom = _not_random
    os.environ.update(LOGNAME="keeper", COLUMNS="100", XDG_DATA_HOME=os.devnull, TZ="UTC")
    os.environ.pop("CFGTRACK_DB", None)
    os.environ.pop("NO_COLOR", None)


def _not_random(size: int, /) -> bytes:
    """Return a number that no call returned before, well mixed so that ids differ from their first letter on."""
    return (next(_bytes) * 0x9E3779B97F4A7C15 % (1 << 64)).to_bytes(8, "big").ljust(size, b"\0")[:size]


@dataclass(frozen=True)
class Answer:
    """What a command said and how it ended; `status` is a text where it crashed."""

    status: int | str
    out: str
    err: str

    @property
    def json(self) -> Any:
        """What it said, as JSON; an empty object where it said none."""
        try:
            return json.loads(self.out)
        except ValueError:
            return {}


class Paper:
    """Runs command lines in a new folder, and keeps them with their answers. `url`: a database elsewhere."""

    def __init__(self, url: str = "") -> None:
        global _now, _bytes  # every paper begins at the same time, with the same numbers
        _now, _bytes = WORKED, itertools.count(1)
        self._above = Path(tempfile.mkdtemp(prefix="cfgtrack-corpus-"))
        self.folder = self._above / "work"
        self.folder.mkdir()
        self.url = url
        self.db: Path | str = "plant.db"
        self.lines: list[str] = []
        self.tally: Counter[str] = Counter()

    def __enter__(self) -> Paper:
        os.chdir(self.folder)
        # Each paper is of a console and a user of its own.
        os.environ.update(
            XDG_STATE_HOME=str(self._above / "state"), XDG_CONFIG_HOME=str(self._above / "config")
        )
        return self

    def __exit__(self, *_: object) -> None:
        os.chdir("/")
        shutil.rmtree(self._above)
        gc.unfreeze()  # the command line freezes what it leaves, as if the process ended
        gc.collect()

    def __call__(self, *words: object, stdin: str | None = None, **env: str) -> Answer:
        """Run a command line and write it down."""
        global _now  # noqa: PLW0603 - the clock of the whole process
        _now += SECOND
        from click.testing import CliRunner

        from cfgtrack.cli.main import main

        typed = [self._word(word) for word in words]
        done = CliRunner().invoke(
            main,
            typed,
            prog_name="cfgtrack",
            input=stdin,
            env={"CFGTRACK_DB": self.url or self._word(self.db), **env},
        )
        status: int | str = done.exit_code
        if done.exception is not None and not isinstance(done.exception, SystemExit):
            status = f"CRASH {type(done.exception).__name__}: {done.exception}"
        answer = Answer(status, self._neutral(done.stdout), self._neutral(done.stderr))
        self._write(typed, stdin, answer)
        return answer

    def file(self, name: str, text: str | bytes) -> Path:
        """Write a file into the folder, and write it down."""
        data = text if isinstance(text, bytes) else text.encode()
        (self.folder / name).write_bytes(data)
        self.lines += [f"=== file {name}", data.decode("utf-8", "backslashreplace")]
        return self.folder / name

    def databases(self) -> None:
        """Write down what the databases in the folder hold, a line a table: how many rows, and a hash of them."""
        for path in sorted(self.folder.rglob("*.db")):
            with closing(sqlite3.connect(path)) as connection, suppress(sqlite3.DatabaseError):
                names = connection.execute(
                    "SELECT name FROM sqlite_master WHERE type = 'table' ORDER BY name"
                ).fetchall()
                for (name,) in names:
                    rows = sorted(map(repr, connection.execute(f'SELECT * FROM "{name}"')))
                    told = sha256("\n".join(rows).encode()).hexdigest()
                    self.note(f"{path.relative_to(self.folder)} {name}: {len(rows)} rows, {told[:16]}")

    def note(self, text: str) -> None:
        """Write a line between the answers."""
        self.lines.append(f"=== {text}")

    def text(self) -> str:
        """Return all that was written down, as text that can be compared line by line."""
        return "\n".join(self.lines).replace("\0", "\\0") + "\n"

    def _word(self, word: object) -> str:
        """Return a word as it is typed: files by their names in this folder, others copied into it."""
        text = str(word)
        if isinstance(word, Path) and text.startswith(f"{CHECKOUT}/"):
            shutil.copy(word, self.folder / word.name)
            return word.name
        return text.removeprefix(f"{self.folder}/")

    def _neutral(self, text: str) -> str:
        for path, name in ((self.folder, "FOLDER"), (CHECKOUT, "CHECKOUT")):
            text = text.replace(str(path), name)
        return _SERVER.sub("DATABASE", text)

    def _write(self, typed: list[str], stdin: str | None, answer: Answer) -> None:
        words = self._neutral(" ".join(repr(w) if not w or set(w) & set(" \n\"'") else w for w in typed))
        self.lines.append(f"$ cfgtrack {words}\n? {answer.status}")
        if stdin is not None:
            self.lines.append(f"--- stdin\n{stdin}")
        if answer.out:
            self.lines.append(answer.out)
        if answer.err:
            self.lines.append(f"--- stderr\n{answer.err}")
        for name in (word for before, word in itertools.pairwise(typed) if before in ("-o", "--rejects")):
            if (self.folder / name).is_file() and not name.endswith((".png", ".pdf", ".db")):
                self.lines.append(f"--- {name}\n{(self.folder / name).read_text(encoding='utf-8')}")
        self.tally[f"status {answer.status}"] += 1
        codes = [
            *_CODE.findall(answer.err),
            *_CODE_IN_JSON.findall(answer.out if "import" in typed[:1] else ""),
        ]
        self.tally.update(f"code {code}" for code in codes)

    def both(self, *words: object) -> Answer:
        """Ask a question for its text and for its JSON; return the latter."""
        self(*words)
        return self(*words, "--json")


def toml(value: Any) -> str:
    """Return a value in TOML, on one line."""
    if isinstance(value, Mapping):
        return "{ " + ", ".join(f"{json.dumps(n)} = {toml(v)}" for n, v in value.items()) + " }"
    if isinstance(value, list | tuple):
        return "[" + ", ".join(toml(v) for v in value) + "]"
    return json.dumps(value, ensure_ascii=False)
