"""The demo's one command, run as the README says."""

import json
import os
import re
import subprocess
import sys
import tomllib
from importlib.metadata import distribution
from pathlib import Path

import pytest

DEMO = Path(__file__).parents[2] / "demo"


def is_of_this_checkout() -> bool:
    """Return whether .ci/venv.sh made this environment for this checkout: for another it would install anew."""
    told = distribution("cfgtrack").read_text("direct_url.json")
    made = list(Path(sys.prefix).glob("installed-*"))
    return bool(made and told) and json.loads(told or "{}").get("url") == DEMO.parent.resolve().as_uri()


def test_the_demo(tmp_path):
    """Every command of the demo ends with the status it should, and its pictures are there, in all four forms.

    The one of what would be cut off says so in words, of as many volumes as the demo promises. One test, because
    there is one demo/out: tests may run side by side. What consoles remember of it stays there too.
    """
    if not is_of_this_checkout():
        pytest.skip("demo/run: .ci/venv.sh did not make this environment for this checkout")
    own = {name: str(tmp_path / name) for name in ("XDG_STATE_HOME", "XDG_CONFIG_HOME")}
    environment = {**os.environ, **own, "CFGTRACK_VENV": sys.prefix}
    command = [str(DEMO / "run"), "--quiet"]
    run = subprocess.run(command, env=environment, capture_output=True, text=True, check=False)
    assert run.returncode == 0, run.stdout + run.stderr
    assert not any(tmp_path.iterdir())
    assert (DEMO / "out" / "state").is_dir()
    named = [line.strip() for line in run.stdout.splitlines() if line.startswith("    demo/out/")]
    assert {Path(name).suffix for name in named} == {".svg", ".png", ".pdf", ".dot"}
    assert all((DEMO.parent / name).stat().st_size > 0 for name in named)
    what_if = tomllib.loads((DEMO / "promises.toml").read_text(encoding="utf-8"))["what_if"]
    picture = (DEMO / "out" / what_if["picture"]).read_text(encoding="utf-8")
    cut_off = re.findall(r'data-what="bar"[^>]*data-look="cut_off"', picture)
    assert len(cut_off) == what_if["cut_off"]
