"""The demo's one command, run as the README says."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

pytestmark = pytest.mark.xdist_group("demo/out")  # one folder, so one process

DEMO = Path(__file__).parents[2] / "demo"


@pytest.fixture(scope="module")
def run():
    """Run the demo in the environment that the tests run in, which must be one that .ci/venv.sh made."""
    if not list(Path(sys.prefix).glob("installed-*")):
        pytest.skip("demo/run: this environment was not made by .ci/venv.sh")
    environment = {**os.environ, "CFGTRACK_VENV": sys.prefix}
    command = [str(DEMO / "run"), "--quiet"]
    return subprocess.run(command, env=environment, capture_output=True, text=True, check=False)


def test_the_demo_runs_through(run):
    """Every command of the demo ends with the exit status that the demo expects of it."""
    assert run.returncode == 0, run.stdout + run.stderr


def test_the_demo_says_where_its_pictures_are(run):
    """Every picture that the demo names at its end is there and not empty, in all four forms."""
    named = [line.strip() for line in run.stdout.splitlines() if line.startswith("    demo/out/")]
    assert {Path(name).suffix for name in named} == {".svg", ".png", ".pdf", ".dot"}
    assert all((DEMO.parent / name).stat().st_size > 0 for name in named)


def test_the_pictures_show_what_is_cut_off(run):
    """With V2 shut too, the picture of loop A says in words what has lost the accumulator."""
    picture = (DEMO / "out" / "loop-a-what-if.svg").read_text(encoding="utf-8")
    assert picture.count("CUT OFF") == 4
