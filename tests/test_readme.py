"""What the README shows is what happens: its examples are run, in order, on the demo's files."""

import doctest
import os
import re
import shlex
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
TEXT = (ROOT / "README.md").read_text()
FLAGS = doctest.ELLIPSIS | doctest.NORMALIZE_WHITESPACE


def examples(text: str) -> list[tuple[str, str]]:
    """Return (command, expected output) for every command in the README's console blocks."""
    out: list[tuple[str, str]] = []
    for block in re.findall(r"```console\n(.*?)```", text, re.DOTALL):
        for line in block.splitlines(keepends=True):
            if line.startswith("$ "):
                out.append((line[2:].strip(), ""))
            else:
                command, expected = out[-1]
                out[-1] = (command, expected + line)
    return out


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A copy of the demo's files, as somebody would work on them."""
    where = tmp_path_factory.mktemp("readme") / "demo"
    shutil.copytree(ROOT / "demo", where, ignore=shutil.ignore_patterns("out"))
    return where


def run(command: str, folder: Path, environment: dict[str, str]) -> str:
    """Run one command as a shell would; return what it prints on both streams."""
    words = shlex.split(command)
    assert words[0] == "cfgtrack"
    done = subprocess.run(
        [sys.executable, "-m", *words],
        check=False,
        cwd=folder,
        env=environment,
        capture_output=True,
        text=True,
        timeout=120,
    )
    assert done.returncode in (0, 3), done.stderr
    return done.stdout + done.stderr


def test_examples_of_the_readme_do_what_it_shows(folder):
    """Every console example prints what the README says, in the order in which it is read."""
    environment = {**os.environ, "COLUMNS": "100"}
    wrong = []
    for command, expected in examples(TEXT):
        if command.startswith("export "):
            name, _, value = command.removeprefix("export ").partition("=")
            environment[name] = value
            continue
        printed = run(command, folder, environment)
        if expected and not doctest.OutputChecker().check_output(expected, printed, FLAGS):
            wrong.append(f"$ {command}\n{printed}\n--- expected\n{expected}")
    assert not wrong, "\n\n".join(wrong)


def test_check_result_of_the_readme_is_real(folder):
    """The check result that the README opens with is what the command above it prints."""
    shown = re.search(r"<!-- from: (.*?) -->\n```text\n(.*?)```", TEXT, re.DOTALL)
    assert shown is not None
    environment = {**os.environ, "COLUMNS": "100", "CFGTRACK_DB": str(folder / "shown.db")}
    for command in ("load hardware.toml --by x", "rules load rules.toml --by x", "import as-run.csv"):
        run(f"cfgtrack {command}", folder, environment)
    printed = run(shown[1].replace("demo/", ""), folder, environment)
    assert doctest.OutputChecker().check_output(shown[2], printed, FLAGS), printed
