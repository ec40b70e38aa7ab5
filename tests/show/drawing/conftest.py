"""The demo's journal, with its rules, as a database: it is made once, and nobody writes into it."""

from __future__ import annotations

from pathlib import Path

import pytest
from click.testing import CliRunner

from cfgtrack.answers.asking import Asking
from cfgtrack.cli.main import main
from tests.demo.as_run import DEMO


@pytest.fixture(scope="session")
def demo(tmp_path_factory: pytest.TempPathFactory) -> str:
    """Give the path of the demo's database after its as-run rows."""
    path = tmp_path_factory.mktemp("drawn") / "journal.db"
    _do(path, "load", DEMO / "hardware.toml", "--by", "handover survey")
    _do(path, "rules", "load", DEMO / "rules.toml", "--by", "tower lead")
    _do(path, "import", DEMO / "as-run.csv")
    return str(path)


def _do(path: Path, *words: object) -> None:
    made = CliRunner().invoke(main, [*map(str, words), "--db", str(path)], catch_exceptions=False)
    assert made.exit_code == 0, made.output


@pytest.fixture(scope="session")
def asking(demo: str) -> Asking:
    """Give how the demo is asked about the evening before its plan begins."""
    return Asking(demo, at="2025-11-01T00:00:00Z")
