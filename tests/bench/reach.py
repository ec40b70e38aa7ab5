"""A pytest plugin that writes down which lines each test reaches, how long it takes, and whether it passes.

`tests.bench.mutants` loads it with `-p`; three variables of the environment speak to it:

    MUTANTS_WATCH   folder to write into; without it the plugin does nothing
    MUTANTS_LINES   JSON: folders and files whose lines are written down
    MUTANTS_LEAVE   a JSON file: names of tests that are left out, and of those that come first
"""

import json
import os
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import hypothesis
import pytest
from coverage import Coverage

QUICK = 25  # examples of a property; what says how many it draws keeps its number


def quick() -> None:
    """Have Hypothesis look shortly: few examples, none kept, and none made smaller."""
    hypothesis.settings.register_profile(
        "mutants",
        deadline=None,
        max_examples=QUICK,
        database=None,
        phases=[hypothesis.Phase.explicit, hypothesis.Phase.generate],
        suppress_health_check=list(hypothesis.HealthCheck),
    )
    hypothesis.settings.load_profile("mutants")


class Watch:
    """What one process of a run saw: every test's seconds and outcome, and what it reached."""

    def __init__(self, folder: Path, lines: list[str]) -> None:
        self.folder = folder
        self.tests: dict[str, dict[str, Any]] = {}
        self.context: list[str] = [""]
        self.coverage: Coverage | None = None
        self.lines = lines
        self.shared: dict[str, float] = {}  # seconds to make what many tests share, without what it stands on
        self.inner = [0.0]

    def pytest_sessionstart(self) -> None:
        """Begin to write down lines."""
        if self.lines:
            include = [name if name.endswith(".py") else f"{name}/*" for name in self.lines]
            name = str(self.folder / f"lines-{os.getpid()}")
            self.coverage = Coverage(name, config_file=False, include=include)
            self.coverage.start()

    def _enter(self, context: str) -> None:
        self.context.append(context)
        if self.coverage is not None:
            self.coverage.switch_context(context)

    def _leave(self) -> None:
        self.context.pop()
        if self.coverage is not None:
            self.coverage.switch_context(self.context[-1])

    @pytest.hookimpl(wrapper=True)
    def pytest_runtest_protocol(self, item: pytest.Item) -> Iterator[None]:
        """What runs now, runs for this test."""
        function = getattr(item, "function", None)
        self.tests[item.nodeid] = {
            "seconds": 0.0,
            "passed": True,
            "drawn": bool(getattr(function, "is_hypothesis_test", False)),
            "fixtures": list(getattr(item, "fixturenames", ())),
        }
        self._enter(item.nodeid)
        try:
            return (yield)
        finally:
            self._leave()

    @pytest.hookimpl(wrapper=True)
    def pytest_fixture_setup(self, fixturedef: pytest.FixtureDef) -> Iterator[None]:
        """What many tests share is reached by each of them, and made under one."""
        if fixturedef.scope == "function":
            return (yield)
        name = f"fixture {fixturedef.argname}"
        self._enter(name)
        self.inner.append(0.0)
        begun = time.monotonic()
        try:
            return (yield)
        finally:
            whole = time.monotonic() - begun
            self.shared[name] = max(self.shared.get(name, 0.0), whole - self.inner.pop())
            self.inner[-1] += whole
            self._leave()

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        """Add up a test's setup, call and teardown."""
        if report.nodeid in self.tests:  # with xdist, the controller hears of tests that it did not run
            self.tests[report.nodeid]["seconds"] += max(0.0, report.duration - self.inner[0])
            self.inner[0] = 0.0
            self.tests[report.nodeid]["passed"] &= not report.failed

    def pytest_sessionfinish(self) -> None:
        """Write it down: tests in JSON, lines in a file of coverage's, and the modules that were loaded."""
        if self.coverage is not None:
            self.coverage.stop()
            self.coverage.save()
        if self.tests:
            found = {"tests": self.tests, "shared": self.shared, "modules": _libraries()}
            (self.folder / f"tests-{os.getpid()}.json").write_text(json.dumps(found))


def _libraries() -> list[str]:
    """Return the loaded modules that are installed: not the project's, and not its tests."""
    return sorted(
        name
        for name, module in list(sys.modules.items())
        if "site-packages" in (getattr(module, "__file__", None) or "")
    )


class Leave:
    """Tests that are left out, and tests that come first."""

    def __init__(self, names: list[str], first: list[str]) -> None:
        self.names = set(names)
        self.first = set(first)

    def pytest_collection_modifyitems(self, config: pytest.Config, items: list[pytest.Item]) -> None:
        """Leave them out, and put the others in order."""
        config.hook.pytest_deselected(items=[item for item in items if item.nodeid in self.names])
        items[:] = [item for item in items if item.nodeid not in self.names]
        items.sort(key=lambda item: item.nodeid not in self.first)


class Failed:
    """Which test failed first, as the process that says the outcome heard it."""

    def __init__(self, folder: Path) -> None:
        self.told = folder / "failed"

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        """Write down the first."""
        if report.failed and not self.told.exists():
            self.told.write_text(report.nodeid)

    def pytest_collectreport(self, report: pytest.CollectReport) -> None:
        """A file that can't be imported failed as well."""
        if report.failed and not self.told.exists():
            self.told.write_text(report.nodeid)


def pytest_configure(config: pytest.Config) -> None:
    """Register what the environment asks for."""
    if "MUTANTS_WATCH" not in os.environ:
        return
    folder = Path(os.environ["MUTANTS_WATCH"])
    lines = json.loads(os.environ.get("MUTANTS_LINES", "[]"))
    if lines:
        quick()
    runs_tests = hasattr(config, "workerinput") or not config.getoption("numprocesses", None)
    if lines and runs_tests:
        config.pluginmanager.register(Watch(folder, lines), "mutants-watch")
    if "MUTANTS_LEAVE" in os.environ:
        told = json.loads(Path(os.environ["MUTANTS_LEAVE"]).read_text())
        config.pluginmanager.register(Leave(*told), "mutants-leave")
    if not hasattr(config, "workerinput"):
        config.pluginmanager.register(Failed(folder), "mutants-failed")
