"""Mutants: small faults put into the code, one at a time, each of which some test should notice.

    python -m tests.bench.mutants --sample 150 --seed N [--modules cfgtrack/rules ...] [--jobs 2] [--folder DIR]
    python -m tests.bench.mutants --seed N --tests tests/rules --no-suite    a shorter look, at a part of the suite
    python -m tests.bench.mutants --seed N --only 7 33 --tests tests/rules/test_new.py   two of them, after a new test

The faults are those of cosmic-ray's operators, and two that it lacks: a statement left out, and None returned. First a
place is drawn, then one of the faults that can be put there, so no place counts double. The same tree and seed give
the same sample, and tests are no part of what it is drawn from.

One run of the suite, with few examples of each property, writes down what every test reaches; it is kept under the
folder for the next call on the same tree. A mutant then meets the tests that reach its statement: the short ones
first, then what killed others, in a process forked from one that has the libraries loaded. A fault in what runs on
import meets all that reach its file. What survives meets the whole suite, with its ordinary examples; only what drew
nothing and has passed already is not run again. A test that fails without any fault counts for nothing, and is named.
"""

import argparse
import bisect
import hashlib
import importlib
import json
import os
import resource
import select
import shutil
import signal
import subprocess
import sys
import tempfile
import time
import traceback
import warnings
from collections import Counter
from collections.abc import Callable, Iterable, Iterator
from contextlib import suppress
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path
from typing import Any, NoReturn, Self

import pytest
from coverage import CoverageData

from tests.bench.faults import Fault, Mutant, Source, draw
from tests.bench.reach import quick

CHECKOUT = Path(__file__).parents[2]
MODULES = [
    "cfgtrack/rules",
    "cfgtrack/network",
    "cfgtrack/analysis/check.py",
    "cfgtrack/model/possibility.py",
]
SHORT = 2.0  # seconds that the first tests a mutant meets may take together
ROOM = 4 << 30  # bytes that a mutant may take on top of what is loaded
ENDLESS = 60.0  # seconds of the processor that a test may take, and 20 times what it took without a fault
OPTIONS = ("-p", "no:cacheprovider", "-p", "no:randomly", "--hypothesis-seed=0", "-q")

# What reaches a line.


@dataclass
class Reach:
    """What one run of the suite saw: tests with their seconds, lines of files with who reached them."""

    tests: dict[str, dict[str, Any]]
    contexts: list[str]  # a test, or a fixture that tests share
    lines: dict[str, dict[str, list[int]]]  # file, line, places in `contexts`
    modules: list[str]

    @classmethod
    def read(cls, folder: Path, root: Path) -> Self:
        """Return what the processes of a run wrote into a folder."""
        tests: dict[str, dict[str, Any]] = {}
        modules: set[str] = set()
        contexts: dict[str, int] = {}
        lines: dict[str, dict[str, list[int]]] = {}
        shared: dict[str, float] = {}
        for path in sorted(folder.glob("tests-*.json")):
            told = json.loads(path.read_text())
            tests |= told["tests"]
            shared = {
                name: max(shared.get(name, 0.0), told["shared"].get(name, 0.0))
                for name in {*shared, *told["shared"]}
            }
            modules |= set(told["modules"])
        for path in sorted(folder.glob("lines-*")):
            data = CoverageData(str(path))
            data.read()
            for file in data.measured_files():
                into = lines.setdefault(str(Path(file).relative_to(root)), {})
                for line, found in data.contexts_by_lineno(file).items():
                    numbers = [contexts.setdefault(name, len(contexts)) for name in found if name]
                    into.setdefault(str(line), []).extend(numbers)
        for seen in tests.values():
            seen["seconds"] += sum(shared.get(f"fixture {name}", 0.0) for name in seen["fixtures"])
        return cls(tests, list(contexts), lines, sorted(modules))

    @cached_property
    def broken(self) -> list[str]:
        """The tests that fail without any fault."""
        return [name for name, seen in self.tests.items() if not seen["passed"]]

    @cached_property
    def _sharing(self) -> dict[str, list[str]]:
        found: dict[str, list[str]] = {}
        for name, seen in self.tests.items():
            for fixture in seen["fixtures"]:
                found.setdefault(f"fixture {fixture}", []).append(name)
        return found

    def of(self, chosen: Mutant) -> list[str]:
        """Return the tests that reach a mutant, the short ones first."""
        file = self.lines.get(chosen.fault.file, {})
        lines = file if chosen.lines is None else [str(line) for line in chosen.lines]
        contexts = {self.contexts[number] for line in lines for number in file.get(line, ())}
        names = {name for context in contexts for name in self._sharing.get(context, [context])}
        names &= self.tests.keys() - set(self.broken)
        return sorted(names, key=lambda name: (self.seconds(name), name))

    def seconds(self, name: str) -> float:
        """Return how long a test takes by itself, with what it shares with others."""
        return float(self.tests[name]["seconds"])


class Tree:
    """The checkout as it was when this began, and copies of it to put faults into, one a job.

    All are kept in a folder of this very content's own.
    """

    def __init__(self, checkout: Path, folder: Path, modules: list[str], tests: list[str]) -> None:
        self.files = _files(checkout)
        self.modules = modules
        self.tests = tests
        # Somebody may go on working in the checkout: it is read once.
        read = tempfile.mkdtemp(prefix="read-", dir=folder)
        digest = hashlib.sha256(json.dumps([sys.version, modules, tests]).encode())
        for name in self.files:
            there = Path(read) / name
            there.parent.mkdir(parents=True, exist_ok=True)
            shutil.copy2(checkout / name, there)
            digest.update(name.encode() + b"\0" + there.read_bytes() + b"\0")
        self.folder = folder / digest.hexdigest()[:16]
        self.origin = self.folder / "tree"
        if self.origin.exists():
            shutil.rmtree(read)
        else:
            self.folder.mkdir(exist_ok=True)
            Path(read).rename(self.origin)

    def copy(self, job: int) -> Path:
        """Return a job's copy of the tree, without any fault that an earlier run left in it."""
        at = self.folder / f"copy-{job}"
        for name in self.files:
            there = at / name
            if not there.exists() or there.read_bytes() != (self.origin / name).read_bytes():
                there.parent.mkdir(parents=True, exist_ok=True)
                shutil.copy2(self.origin / name, there)
        return at

    def sources(self) -> list[Source]:
        """Return the files that faults are put into."""
        chosen = [
            name
            for name in self.files
            if name.endswith(".py")
            and any(name == module or name.startswith(f"{module}/") for module in self.modules)
        ]
        return [Source(name, (self.origin / name).read_text()) for name in sorted(chosen)]

    def suite(
        self, at: Path, watch: Path, jobs: int, tests: list[str], **told: str
    ) -> subprocess.Popen[bytes]:
        """Start the suite, or some tests, in a copy; what it says goes to a file beside what is written down."""
        shutil.rmtree(watch, ignore_errors=True)
        watch.mkdir(parents=True)
        environment = {
            **os.environ,
            "PYTHONPATH": os.pathsep.join([str(at), str(CHECKOUT)]),
            "PYTHONHASHSEED": "0",
            "MUTANTS_WATCH": str(watch),
            **told,
        }
        command = [
            sys.executable,
            "-m",
            "pytest",
            "-n",
            str(jobs if jobs > 1 else 0),
            "-p",
            "tests.bench.reach",
            *OPTIONS,
        ]
        command += [
            f"--basetemp={self.folder / 'suite-temporary'}",
            *(["-x"] if "MUTANTS_LEAVE" in told else []),
            *tests,
        ]
        with (watch / "said").open("wb") as said:
            return subprocess.Popen(
                command, cwd=at, env=environment, stdout=said, stderr=said, start_new_session=True
            )

    def reach(self, jobs: int) -> Reach:
        """Return what the tests reach: as it was written down, or from a run of the suite."""
        kept = self.folder / "reach.json"
        if not kept.exists():
            at, watch = self.copy(0), self.folder / "watch"
            told = {"MUTANTS_LINES": json.dumps(self.modules), "CFGTRACK_CASES": "60"}
            status = _waited(self.suite(at, watch, jobs, self.tests, **told), None)
            if status not in (0, 1):
                raise SystemExit(f"the suite can't be run (status {status}): {watch / 'said'}")
            found = Reach.read(watch, at)
            kept.write_text(json.dumps([found.tests, found.contexts, found.lines, found.modules]))
        return Reach(*json.loads(kept.read_text()))


def _waited(process: subprocess.Popen[bytes], seconds: float | None) -> int:
    """Return the status of a suite when it ends; where nobody waits so long, it may put its servers away, and ends."""
    try:
        return process.wait(seconds)
    finally:
        for number, grace in ((signal.SIGINT, 30), (signal.SIGKILL, None)):
            with suppress(ProcessLookupError, subprocess.TimeoutExpired):
                os.killpg(process.pid, number)
                process.wait(grace)


# A mutant meets tests.


class Endless(BaseException):
    """A test doesn't end. No exception that a test, or Hypothesis, would take for a failure to look into."""


class Meeting:
    """Some tests in their order, each with a time to end in, and which of them failed first."""

    def __init__(self, names: list[str], reach: Reach) -> None:
        self.order = {name: place for place, name in enumerate(names)}
        self.reach = reach
        self.failed: str | None = None
        self.timed_out = False
        self.passed: list[str] = []

    def pytest_configure(self) -> None:
        """Few examples, as when the lines were written down."""
        quick()

    @pytest.hookimpl(trylast=True)
    def pytest_collection_modifyitems(self, items: list[pytest.Item]) -> None:
        """Take those tests, in that order."""
        items[:] = [item for item in items if item.nodeid in self.order]
        items.sort(key=lambda item: self.order[item.nodeid])

    @pytest.hookimpl(wrapper=True)
    def pytest_runtest_protocol(self, item: pytest.Item) -> Iterator[None]:
        """Give a test its time."""
        signal.setitimer(signal.ITIMER_PROF, ENDLESS + 20 * self.reach.seconds(item.nodeid), ENDLESS)
        try:
            return (yield)
        finally:
            signal.setitimer(signal.ITIMER_PROF, 0)

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        """Remember the first that failed, and those that passed before."""
        if report.failed:
            self.failed = self.failed or report.nodeid
            self.timed_out |= "Endless" in report.longreprtext
        elif report.when == "teardown":
            self.passed.append(report.nodeid)

    def pytest_collectreport(self, report: pytest.CollectReport) -> None:
        """A file of tests that can't be imported has failed."""
        if report.failed:
            self.failed = self.failed or report.nodeid


def _end(*_: object) -> NoReturn:
    raise Endless


def _in_child(at: Path, fault: Fault | None, meeting: Meeting) -> dict[str, Any]:
    """Run tests in this forked process, in a copy of the tree."""
    os.chdir(at)
    os.environ["PYTHONPATH"] = str(at)
    os.environ["PYTHONDONTWRITEBYTECODE"] = "1"
    os.environ["CFGTRACK_CASES"] = "60"
    sys.dont_write_bytecode = True
    sys.path[:] = [str(at), *(entry for entry in sys.path if Path(entry or ".").resolve() != CHECKOUT)]
    for name in [name for name in sys.modules if name.partition(".")[0] in {"cfgtrack", "tests"}]:
        del sys.modules[name]
    importlib.invalidate_caches()
    taken = int(Path("/proc/self/statm").read_text().split()[0]) * resource.getpagesize()
    resource.setrlimit(resource.RLIMIT_AS, (taken + ROOM, taken + ROOM))
    signal.signal(signal.SIGTERM, signal.SIG_DFL)
    signal.signal(signal.SIGPROF, _end)
    if fault is not None:
        signal.setitimer(signal.ITIMER_PROF, ENDLESS)
        try:
            importlib.import_module(
                fault.file.removesuffix(".py").removesuffix("/__init__").replace("/", ".")
            )
        except BaseException as error:  # noqa: BLE001 - whatever it is, a test would meet it
            return {"killed": f"its import ({type(error).__name__})"}
        signal.setitimer(signal.ITIMER_PROF, 0)
    files = list(dict.fromkeys(name.partition("::")[0] for name in meeting.order))
    options = [*OPTIONS, "-n", "0", "-x", "-W", "ignore::pytest.PytestAssertRewriteWarning"]
    status = int(
        pytest.main([*options, f"--basetemp={at.parent / f'{at.name}-temporary'}", *files], plugins=[meeting])
    )
    if meeting.failed is None and (status != 0 or len(meeting.passed) < len(meeting.order)):
        return {
            "trouble": f"pytest ended with {status}, {len(meeting.passed)} of {len(meeting.order)} tests passed"
        }
    return {"killed": meeting.failed, "timed_out": meeting.timed_out, "passed": meeting.passed}


@dataclass
class Case:
    """A mutant on its way: who it has met, and what became of it."""

    number: int
    mutant: Mutant | None  # None: the tree as it is
    waiting: list[list[str]]
    passed: list[str] = field(default_factory=list)
    killed: str | None = None
    timed_out: bool = False
    met_suite: bool = False
    trouble: str | None = None
    seconds: float = 0.0

    @property
    def is_over(self) -> bool:
        """Return whether no tests wait for it."""
        return self.killed is not None or self.trouble is not None or not self.waiting


@dataclass
class Running:
    """A forked process that runs tests against a case."""

    case: Case
    job: int
    process: int
    pipe: int
    begun: float
    until: float
    said: bytes = b""


class Forge:
    """Runs cases in forked processes, a few at a time."""

    def __init__(self, tree: Tree, reach: Reach, jobs: int) -> None:
        self.tree = tree
        self.reach = reach
        self.copies = [tree.copy(job) for job in range(jobs)]
        self.kills: Counter[str | None] = Counter()
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            for name in reach.modules:
                with suppress(Exception):  # some want a module before them that isn't loaded
                    importlib.import_module(name)

    def put(self, job: int, chosen: Mutant | None) -> None:
        """Write a mutant into a copy, and have no compiled form of the file beside it."""
        if chosen is not None:
            there = self.copies[job] / chosen.fault.file
            there.write_text(chosen.text)
            for compiled in (there.parent / "__pycache__").glob(f"{there.stem}.*"):
                compiled.unlink()

    def take_back(self, job: int, chosen: Mutant | None) -> None:
        """Give a copy its own file again."""
        if chosen is not None:
            shutil.copy(self.tree.origin / chosen.fault.file, self.copies[job] / chosen.fault.file)

    def run(self, cases: Iterable[Case], tell: Callable[[Case], None]) -> None:
        """Run the cases, and tell of each when it is over."""
        waiting = list(cases)[::-1]
        free = list(range(len(self.copies)))
        running: dict[int, Running] = {}
        try:
            while waiting or running:
                while waiting and free:
                    case = waiting.pop()
                    if case.is_over:
                        tell(case)
                        continue
                    begun = self._begin(case, free.pop(0))
                    running[begun.pipe] = begun
                for pipe in select.select(list(running), [], [], 1.0)[0]:
                    if part := os.read(pipe, 65536):
                        running[pipe].said += part
                        continue
                    ended = running.pop(pipe)
                    self._ended(ended)
                    bisect.insort(free, ended.job)
                    waiting.append(ended.case)
                for one in running.values():
                    if time.monotonic() > one.until:
                        os.killpg(one.process, signal.SIGKILL)
        finally:
            for one in running.values():
                os.killpg(one.process, signal.SIGKILL)
                self._ended(one)

    def _begin(self, case: Case, job: int) -> Running:
        # After what is quickly done come those that killed most so far.
        names = sorted(case.waiting.pop(0), key=lambda name: -self.kills[name] if case.passed else 0)
        self.put(job, case.mutant)
        read, write = os.pipe()
        now = time.monotonic()
        sys.stdout.flush()
        process = os.fork()
        if process == 0:
            self._be_child(case, job, names, write)
        os.close(write)
        with suppress(PermissionError):  # the child did it first
            os.setpgid(process, process)
        longest = 600 + 60 * sum(map(self.reach.seconds, names))
        return Running(case, job, process, read, now, now + longest)

    def _be_child(self, case: Case, job: int, names: list[str], write: int) -> NoReturn:
        os.setpgid(0, 0)
        said = os.open(self.tree.folder / f"said-{job}", os.O_WRONLY | os.O_CREAT | os.O_TRUNC)
        os.dup2(said, 1)
        os.dup2(said, 2)
        try:
            fault = None if case.mutant is None else case.mutant.fault
            told = _in_child(self.copies[job], fault, Meeting(names, self.reach))
        except BaseException:  # noqa: BLE001 - told to the parent, which can't see it otherwise
            told = {"trouble": traceback.format_exc()}
        with os.fdopen(write, "w") as pipe:
            json.dump(told, pipe)
        os._exit(0)

    def _ended(self, ended: Running) -> None:
        os.waitpid(ended.process, 0)
        with suppress(ProcessLookupError):  # what it left running
            os.killpg(ended.process, signal.SIGKILL)
        os.close(ended.pipe)
        case = ended.case
        self.take_back(ended.job, case.mutant)
        case.seconds += time.monotonic() - ended.begun
        told = json.loads(ended.said or '{"killed": "its tests"}')
        case.killed = told.get("killed")
        case.timed_out = told.get("timed_out", not ended.said)
        self.kills[case.killed] += 1
        case.trouble = told.get("trouble")
        case.passed += told.get("passed", [])

    def sift(self, cases: list[Case], tell: Callable[[Case], None]) -> None:
        """Have the mutants meet the tests that reach them.

        Who kills is tried without any fault; what fails there too has killed nobody.
        """
        again = cases
        while again:
            for case in again:
                assert case.mutant is not None
                case.waiting, case.killed, case.passed = (
                    _batches(self.reach, self.reach.of(case.mutant)),
                    None,
                    [],
                )
            self.run(again, tell)
            killers = sorted({case.killed for case in cases if case.killed in self.reach.tests})
            liars = self._liars(killers)
            self.reach.broken += liars
            again = [case for case in cases if case.killed in liars]

    def _liars(self, killers: list[str]) -> list[str]:
        liars: list[str] = []
        while killers:
            control = Case(0, None, [killers])
            self.run([control], lambda _: None)
            if control.trouble is not None:
                raise SystemExit(
                    f"the tests that kill can't be tried on the tree as it is: {control.trouble}"
                )
            if control.killed is None:
                break
            liars.append(control.killed)
            killers = [name for name in killers if name not in {control.killed, *control.passed}]
        return liars

    def meet_suite(self, case: Case, seconds: float) -> None:
        """Have a survivor meet the whole suite; again, without the test that killed it, if that fails anyhow."""
        fails_anyhow = True
        while fails_anyhow:
            case.trouble, case.timed_out = None, False
            case.killed = self._killer(case, seconds)
            name = case.killed if case.killed in self.reach.tests else None
            fails_anyhow = name is not None and self._fails(name)
            self.reach.broken += [name] if name is not None and fails_anyhow else []

    def _fails(self, name: str) -> bool:
        """Return whether a test fails without any fault, with its ordinary examples."""
        return _waited(self.tree.suite(self.copies[0], self.tree.folder / "control", 1, [name]), None) != 0

    def _killer(self, case: Case, seconds: float) -> str | None:
        assert case.mutant is not None
        seen = {name for name in case.passed if not self.reach.tests[name]["drawn"]}
        leave = self.tree.folder / "leave.json"
        # What reaches the line is the likeliest to notice, now that it draws more.
        first = {name for name in case.passed if self.reach.tests[name]["drawn"]}
        leave.write_text(json.dumps([sorted({*seen, *self.reach.broken}), sorted(first)]))
        watch = self.tree.folder / "suite"
        begun = time.monotonic()
        self.put(0, case.mutant)
        told = {"MUTANTS_LEAVE": str(leave), "PYTHONDONTWRITEBYTECODE": "1"}
        process = self.tree.suite(self.copies[0], watch, len(self.copies), self.tree.tests, **told)
        try:
            status = _waited(process, seconds)
        except subprocess.TimeoutExpired:
            case.timed_out = True
            return "the suite"
        finally:
            self.take_back(0, case.mutant)
            case.seconds += time.monotonic() - begun
        failed = watch / "failed"
        case.met_suite = True
        if status not in (0, 5) and not failed.exists():  # 5: nothing was left to run
            case.trouble = f"the suite ended with {status}: {(watch / 'said').read_text()[-300:]}"
        return failed.read_text() if failed.exists() else None


def _batches(reach: Reach, names: list[str]) -> list[list[str]]:
    """Return tests in two parts: what is quickly done, and the rest."""
    sums = 0.0
    for number, name in enumerate(names):
        sums += reach.seconds(name)
        if sums > SHORT and number:
            return [names[:number], names[number:]]
    return [names] if names else []


def _fate(case: Case) -> str:
    if case.killed is not None:
        return f"{'has no end in' if case.timed_out else 'killed by'} {case.killed}"
    if case.trouble is not None:
        return f"NOT JUDGED: {case.trouble}"
    return f"SURVIVED {len(case.passed)} tests that reach it{', and the suite' if case.met_suite else ''}"


def main(words: list[str] | None = None, checkout: Path = CHECKOUT) -> list[Case]:
    """Read the arguments, draw, run, and say what became of each."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").partition("\n")[0])
    parser.add_argument("--sample", type=int, default=150)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--modules", nargs="+", default=MODULES, help="folders and files to put faults into")
    parser.add_argument("--tests", nargs="+", default=[], help="the part of the suite to run, instead of all")
    parser.add_argument("--only", nargs="+", type=int, help="numbers of mutants in the sample: just those")
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--folder", type=Path, default=Path(tempfile.gettempdir()) / "cfgtrack-mutants")
    parser.add_argument("--no-suite", action="store_true", help="survivors don't meet the rest of the suite")
    parser.add_argument("--longest", type=float, default=3600, help="seconds the suite may take with a fault")
    chosen = parser.parse_args(words)
    signal.signal(
        signal.SIGTERM, lambda *_: sys.exit(128 + signal.SIGTERM)
    )  # so that what was begun is ended
    begun = time.monotonic()
    chosen.folder.mkdir(parents=True, exist_ok=True)
    tree = Tree(
        checkout, chosen.folder.resolve(), [module.rstrip("/") for module in chosen.modules], chosen.tests
    )
    reach = tree.reach(chosen.jobs)
    print(f"{len(reach.tests)} tests, {time.monotonic() - begun:.0f} s to know what they reach", flush=True)
    for name in reach.broken:
        print(f"fails without any fault, counts for nothing: {name}")
    mutants, number, places = draw(tree.sources(), chosen.sample, chosen.seed)
    print(f"{len(mutants)} mutants of {number} at {places} places, seed {chosen.seed}", flush=True)

    def tell(case: Case) -> None:
        assert case.mutant is not None
        print(f"{case.number:4} {case.mutant.where}  {case.mutant.what}")
        print(f"     {_fate(case)} ({case.seconds:.1f} s)", flush=True)

    forge = Forge(tree, reach, chosen.jobs)
    cases = [Case(number, each, []) for number, each in enumerate(mutants, 1)]
    cases = [case for case in cases if not chosen.only or case.number in chosen.only]
    forge.sift(cases, tell)
    print(f"{time.monotonic() - begun:.0f} s until all had met the tests that reach them", flush=True)
    survivors = [] if chosen.no_suite else [case for case in cases if case.killed is None]
    for case in survivors:
        forge.meet_suite(case, chosen.longest)
        tell(case)
    left = [case for case in cases if case.killed is None]
    endless = sum(case.timed_out for case in cases)
    killed = f"{len(cases) - len(left)} killed, {endless} of them by time"
    share = f"{len(left)} survived ({len(left) / max(1, len(cases)):.1%})"
    print(f"\nseed {chosen.seed}: {len(cases)} mutants, {killed}, {share}, {time.monotonic() - begun:.0f} s")
    for case in left:
        tell(case)
    return cases


def _files(checkout: Path) -> list[str]:
    """Return the files of a checkout that belong to it; of any other folder, all."""
    if (checkout / ".git").exists():
        command = ["git", "ls-files", "-z", "--cached", "--others", "--exclude-standard"]
        told = subprocess.run(command, cwd=checkout, capture_output=True, check=True).stdout.decode()
        return sorted({name for name in told.split("\0") if name and (checkout / name).is_file()})
    found = (path.relative_to(checkout) for path in checkout.rglob("*") if path.is_file())
    return sorted(str(path) for path in found if "__pycache__" not in path.parts)


if __name__ == "__main__":
    main()
