"""The demo's journal after its as-run rows, as tests and benches ask it, and where its files are."""

from __future__ import annotations

import csv
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
FAILED, SPARE = PROMISES["exchanged"]["failed"], PROMISES["exchanged"]["spare"]
TRAPPING = str(next(f for f in PROMISES["fault"] if f["repair"].startswith("1-"))["links"][0])
"""The valve whose shutting is the faulty plan's first fault."""

RACK = TRAPPING.partition(":")[0]
PLAN, FAULTY = (DEMO / str(PROMISES["plan"][name]) for name in ("file", "faulty"))
NIGHTS: list[str] = [o["id"] for o in tomllib.loads(PLAN.read_text(encoding="utf-8"))["outing"]]


def instant(promised: datetime) -> int:
    """Return a promised time in microseconds, as the tool has it."""
    return parse_instant(promised.astimezone(UTC).isoformat())


NOW = instant(PROMISES["now"])


def recorded_outings() -> list[str]:
    """Return the outings of the as-run rows, in their order."""
    with (DEMO / "as-run.csv").open(encoding="utf-8", newline="") as stream:
        return list(dict.fromkeys(row["outing"] for row in csv.DictReader(stream) if row["outing"]))


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
