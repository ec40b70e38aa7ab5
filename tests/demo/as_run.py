"""The demo's journal after its as-run rows, as tests and benches ask it, and where its files are."""

from __future__ import annotations

import tomllib
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from cfgtrack.answers.moment import Moment
from cfgtrack.answers.past import Past
from cfgtrack.files.definition import read_definition
from cfgtrack.files.rows import read_rows
from cfgtrack.model.time import parse_instant
from cfgtrack.model.trouble import Problem
from cfgtrack.store.journal import create, open_journal

ROOT = Path(__file__).parents[2]
DEMO = ROOT / "demo"
PROMISES: dict[str, Any] = tomllib.loads((DEMO / "promises.toml").read_text(encoding="utf-8"))
PLAN, FAULTY = (DEMO / str(PROMISES["plan"][name]) for name in ("file", "faulty"))


def instant(promised: datetime) -> int:
    """Return a promised time in microseconds, as the tool has it."""
    return parse_instant(promised.astimezone(UTC).isoformat())


NOW = instant(PROMISES["now"])


@contextmanager
def demo_past(folder: Path) -> Iterator[Past]:
    """Give the demo's journal after its as-run rows, in a folder, seen from where they end: every row is taken."""
    path = str(folder / "journal.db")
    create(path)
    with open_journal(path, clock=lambda: NOW) as journal:
        journal.load(read_definition([DEMO / "hardware.toml"]), by="test", recorder="test")
        name = DEMO / "as-run.csv"
        with name.open(encoding="utf-8", newline="") as stream:
            rows = list(read_rows(stream, journal.plant(), where=str(name)))
        problems = [row for row in rows if isinstance(row, Problem)]
        assert problems == []
        tally = journal.take(row for row in rows if not isinstance(row, Problem))
        promised = PROMISES["journal"]
        taken = (promised["recorded"], len(promised["repeated"]), 0)
        assert (tally.recorded, tally.repeated, tally.refused) == taken
        yield Past(journal, Moment(*journal.moment()))
