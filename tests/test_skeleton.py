"""The package as a stranger gets it: built, and installed away from the checkout with what it declares."""

import importlib.metadata
import os
import re
import shutil
import subprocess
import sys
import tomllib
import zipfile
from pathlib import Path

import pytest
from hypothesis import core
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

import cfgtrack
from cfgtrack.files.definition import shipped
from cfgtrack.folders import top_folder

CHECKOUT = Path(__file__).parents[1]
HEAVY = {
    "alembic",
    "fontTools",
    "graphlay",
    "graphviz",
    "msgspec",
    "pint",
    "rustworkx",
    "sqlalchemy",
    "sqlite3",
    "typst",
}


def run(*command: str | Path, cwd: Path) -> subprocess.CompletedProcess[str]:
    """Run a command in an environment that says nothing of the checkout."""
    environment = {"PATH": os.defpath, "HOME": str(cwd)}
    return subprocess.run(command, cwd=cwd, env=environment, capture_output=True, text=True, check=False)


def succeed(*command: str | Path, cwd: Path) -> str:
    """Run a command that must end well, and return what it printed."""
    done = run(*command, cwd=cwd)
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout


def required(*extras: str) -> dict[str, importlib.metadata.Distribution]:
    """Return every distribution that cfgtrack asks for, with the extras, directly or not, by its name."""
    found: dict[str, importlib.metadata.Distribution] = {}
    project = tomllib.loads((CHECKOUT / "pyproject.toml").read_text())["project"]
    lists = [project["dependencies"], *(project["optional-dependencies"][extra] for extra in extras)]
    wanted = [Requirement(line) for lines in lists for line in lines]
    while wanted:
        requirement = wanted.pop()
        name = canonicalize_name(requirement.name)
        of_extras = [{"extra": extra} for extra in requirement.extras or {""}]
        if name not in found or requirement.extras:
            found[name] = importlib.metadata.distribution(name)
            wanted += [
                further
                for further in map(Requirement, found[name].requires or ())
                if not further.marker or any(further.marker.evaluate(extra) for extra in of_extras)
            ]
    return found


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The wheel, made from the source distribution: so that one is known to be complete too."""
    out = tmp_path_factory.mktemp("dist")
    succeed(sys.executable, "-m", "build", "--no-isolation", "--outdir", out, CHECKOUT, cwd=out)
    (built,) = out.glob("*.whl")
    return built


@pytest.fixture(scope="module")
def installed(wheel: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The bin folder of an environment with the wheel and what it requires: no test tools, no checkout."""
    home = tmp_path_factory.mktemp("installed")
    succeed(sys.executable, "-m", "venv", "--without-pip", home, cwd=home)
    pip: list[str | Path] = [sys.executable, "-m", "pip", "--python", home / "bin/python"]
    succeed(*pip, "install", "-qq", "--no-deps", "--no-index", wheel, cwd=home)
    (site,) = home.glob("lib/python*/site-packages")
    for distribution in required().values():
        for top in {file.parts[0] for file in distribution.files or ()} - {"..", "__pycache__"}:
            if not (site / top).exists():
                (site / top).symlink_to(str(distribution.locate_file(top)))
    return home / "bin"


def test_command(installed: Path, tmp_path: Path) -> None:
    """The installed command, and the module run as a program, tell the version that the package has."""
    expected = f"cfgtrack {cfgtrack.__version__}\n"
    assert succeed(installed / "cfgtrack", "--version", cwd=tmp_path) == expected
    assert succeed(installed / "python", "-m", "cfgtrack", "--version", cwd=tmp_path) == expected


def test_requirements_suffice(installed: Path, tmp_path: Path) -> None:
    """Every module imports without a warning where nothing but the declared requirements is installed."""
    program = """if True:
        import importlib, pkgutil, cfgtrack
        for module in pkgutil.walk_packages(cfgtrack.__path__, "cfgtrack."):
            if module.name != "cfgtrack.__main__":
                importlib.import_module(module.name)
        print(cfgtrack.__file__)
    """
    assert str(installed.parent) in succeed(installed / "python", "-W", "error", "-c", program, cwd=tmp_path)


def files_of(folder: Path) -> set[str]:
    """Return the files under `folder` by their paths in it, but for what Python leaves there."""
    files = {file.relative_to(folder).as_posix() for file in folder.rglob("*") if file.is_file()}
    return {file for file in files if "__pycache__" not in file}


FOLDERS = {
    "schema": {"env.py", "script.py.mako"},
    "shared": {"kinds.toml", "threads.toml", "tightening.toml", "fluids.toml"},
}


@pytest.mark.parametrize("name", FOLDERS)
def test_folder_is_shipped(name: str, installed: Path, tmp_path: Path) -> None:
    """The installed package finds the migrations and the reference data within itself, every file as it stands here."""
    program = f"from cfgtrack.folders import top_folder; print(top_folder({name!r}))"
    folder = Path(succeed(installed / "python", "-c", program, cwd=tmp_path).strip())
    assert installed.parent in folder.parents
    assert files_of(folder) == files_of(CHECKOUT / name)
    assert files_of(folder) >= FOLDERS[name]
    for file in files_of(folder):
        assert (folder / file).read_bytes() == (CHECKOUT / name / file).read_bytes()


@pytest.mark.parametrize("name", FOLDERS)
def test_folder_of_the_checkout(name: str) -> None:
    """In a checkout the same folders are found at its top."""
    assert top_folder(name) == CHECKOUT / name


def test_installed_kinds(installed: Path, tmp_path: Path) -> None:
    """The installed package ships the media and kinds that the checkout has."""
    program = "from cfgtrack.files.definition import shipped as s; print(*s().media, *s().kinds)"
    here = [*shipped().media, *shipped().kinds]
    assert succeed(installed / "python", "-W", "error", "-c", program, cwd=tmp_path).split() == here


def test_wheel_holds_the_package_alone(wheel: Path) -> None:
    """The wheel brings one package, typed and licensed, and puts nothing else on anybody's import path."""
    names = zipfile.ZipFile(wheel).namelist()
    assert {re.split(r"-\d", name)[0].split("/")[0] for name in names} == {"cfgtrack"}
    assert "cfgtrack/py.typed" in names
    assert any(name.endswith("licenses/LICENSE") for name in names)


def test_installed_reference(installed: Path, tmp_path: Path) -> None:
    """The installed command answers from the reference data as the checkout does."""
    words = ("reference", "thread", "M12", "--torque", "80 N*m", "--surface", "zinc")
    here = succeed(sys.executable, "-m", "cfgtrack", *words, cwd=CHECKOUT)
    assert succeed(installed / "cfgtrack", *words, cwd=tmp_path) == here
    assert "84.27" in succeed(installed / "cfgtrack", "reference", "thread", "M12", cwd=tmp_path)


@pytest.mark.parametrize("argument", ["--version", "--help"])
def test_start_up_is_light(argument: str, tmp_path: Path) -> None:
    """What asks nothing of a database or a rule loads no library that such questions need."""
    program = f"""if True:
        import sys
        from cfgtrack.cli.main import main
        try:
            main(["{argument}"])
        except SystemExit:
            print("loaded:", *sys.modules)
    """
    loaded = succeed(sys.executable, "-c", program, cwd=tmp_path).rpartition("loaded:")[2].split()
    assert set(loaded) & HEAVY == set()
    assert "click" in loaded


def test_lock_is_complete() -> None:
    """Every distribution that is needed for running or testing is pinned, at the version that runs here."""
    lines = (CHECKOUT / "requirements.lock").read_text().splitlines()
    pins = dict(line.split("==") for line in lines if not line.startswith("#"))
    pinned = {canonicalize_name(name): version for name, version in pins.items()}
    needed = {name: found.version for name, found in required("postgres", "test", "outside").items()}
    assert needed.items() - pinned.items() == set()


BREACHES = {
    "Imports point down": ("model/breach.py", "import cfgtrack.rules\n"),
    "The core does no I/O and reads no clock": ("physics/breach.py", "import sqlite3\n"),
    "The command line answers nothing by itself": ("cli/breach.py", "import cfgtrack.store\n"),
    "An answer prints nothing and reads no clock": ("answers/breach.py", "import time\n"),
    "Texts and pictures are made of answers": ("show/breach.py", "import cfgtrack.store\n"),
    "Only the store knows SQL": ("show/breach.py", "from sqlalchemy import text\n"),
    "Each library of the pictures has one place": ("show/breach.py", "import typst\n"),
}


@pytest.fixture
def copy(tmp_path: Path) -> Path:
    """A copy of the package's folders with no code in them, and the real contracts."""
    package_folder = CHECKOUT / "cfgtrack"
    for package in (*package_folder.glob("*.py"), *package_folder.glob("*/**/__init__.py")):
        target = tmp_path / package.relative_to(CHECKOUT)
        target.parent.mkdir(parents=True, exist_ok=True)
        target.touch()
    (tmp_path / "pyproject.toml").write_text((CHECKOUT / "pyproject.toml").read_text())
    return tmp_path


@pytest.mark.parametrize("contract", BREACHES)
def test_layers_are_guarded(contract: str, copy: Path) -> None:
    """Each import contract is broken by an import that it forbids, and by that one alone."""
    file, text = BREACHES[contract]
    (copy / "cfgtrack" / file).write_text(text)
    lint = Path(sys.executable).with_name("lint-imports")
    done = run(lint, "--no-cache", "--no-logo", cwd=copy)
    verdicts = dict(re.findall(r"^(.+) (KEPT|BROKEN)$", done.stdout, re.MULTILINE))
    assert verdicts == {name: "BROKEN" if name == contract else "KEPT" for name in BREACHES}
    assert done.returncode == 1


@pytest.mark.parametrize(
    ("body", "verdict", "status"),
    [
        ("assert True", "1 passed, 0 failed, 0 skipped", 0),
        ("assert False", "0 passed, 1 failed, 0 skipped", 1),
        ("import pytest; pytest.skip('missing')", "0 passed, 0 failed, 1 skipped", 1),
    ],
    ids=["passed", "failed", "skipped"],
)
def test_a_skipped_test_is_no_pass(body: str, verdict: str, status: int, tmp_path: Path) -> None:
    """The verdict on a run is good only if every test passed: a skipped one spoils it like a failed one."""
    (tmp_path / "test_it.py").write_text(f"def test_it():\n    {body}\n")
    run(sys.executable, "-m", "pytest", "--junitxml=report.xml", cwd=tmp_path)
    done = run(sys.executable, CHECKOUT / ".ci/verdict.py", "report.xml", cwd=tmp_path)
    assert (done.stdout.splitlines()[-1], done.returncode) == (verdict, status)


def test_no_test_is_no_pass(tmp_path: Path) -> None:
    """The verdict on a run without a single test is bad."""
    run(sys.executable, "-m", "pytest", "--junitxml=report.xml", cwd=tmp_path)
    assert run(sys.executable, CHECKOUT / ".ci/verdict.py", "report.xml", cwd=tmp_path).returncode == 1


def test_one_seed(request: pytest.FixtureRequest) -> None:
    """The printed seed of the order is the seed of the drawn examples; without an order to draw, nothing is forced."""
    given = request.config.getoption("--hypothesis-seed")
    ordered_by = request.config.getoption("randomly_seed", None)
    assert str(core.global_force_seed) == str(ordered_by if given is None else given)


DRAWS = """if True:
    import pytest
    from hypothesis import given, settings, strategies as st

    @pytest.mark.parametrize("name", "abcdefgh")
    @settings(max_examples=5, database=None)
    @given(number=st.integers())
    def test_it(name, number):
        with open("drawn", "a") as file:
            print(name, number, *{"one", "two", "three", "four", "five"}, file=file)
"""


def drawn(folder: Path, *options: str) -> list[str]:
    """Run a few tests of random examples as ours are run, and return what each drew, in order."""
    shutil.copy(CHECKOUT / "tests" / "conftest.py", folder)
    (folder / "test_it.py").write_text(DRAWS)
    (folder / "drawn").unlink(missing_ok=True)
    # What it imports is the checkout's.
    environment = {
        "PATH": os.defpath,
        "HOME": str(folder),
        "PYTHONHASHSEED": "7",
        "PYTHONPATH": str(CHECKOUT),
    }
    command = [sys.executable, "-m", "pytest", "-q", "-p", "no:cacheprovider", *options]
    done = subprocess.run(
        command, cwd=folder, env=environment, capture_output=True, text=True, check=False, timeout=300
    )
    assert done.returncode == 0, done.stdout + done.stderr
    lines = (folder / "drawn").read_text().splitlines()
    assert {line[0] for line in lines} == set("abcdefgh")
    return lines


def test_one_number_repeats_a_run(tmp_path: Path) -> None:
    """The same seed gives the same order, examples and sets again, and another seed gives others."""
    once = drawn(tmp_path, "--randomly-seed=1")
    assert drawn(tmp_path, "--randomly-seed=1") == once
    other = drawn(tmp_path, "--randomly-seed=2")
    assert [line[0] for line in other] != [line[0] for line in once]
    assert sorted(other) != sorted(once)


def test_examples_are_repeated_in_written_order(tmp_path: Path) -> None:
    """A failed run's examples can be had again one after the other as written, for a debugger: same seed, no order."""
    shuffled = drawn(tmp_path, "--randomly-seed=1")
    written = drawn(tmp_path, "-p", "no:randomly", "--hypothesis-seed=1")
    assert [line[0] for line in written] == sorted(line[0] for line in written)
    assert sorted(written) == sorted(shuffled)


MAKERS = {"cfgtrack/model/possibility.py", "cfgtrack/model/codec.py"}


def test_only_resolving_makes_events() -> None:
    """In the package an event is made where an action is resolved, or read back from its own JSON, and nowhere else."""
    found = {
        file.relative_to(CHECKOUT).as_posix()
        for file in (CHECKOUT / "cfgtrack").rglob("*.py")
        if re.search(r"\bEvent(\.of)?\(", re.sub(r"class Event\(Action\)", "", file.read_text()))
    }
    assert found == MAKERS
