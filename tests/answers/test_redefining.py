"""What a load announces is what a slow comparison of two definitions finds; nothing counts before it is accepted."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from copy import deepcopy
from itertools import count
from pathlib import Path
from random import Random
from tempfile import TemporaryDirectory
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cfgtrack.answers import hardware
from cfgtrack.answers import rules as rulings
from cfgtrack.answers.asking import Asking
from cfgtrack.answers.hardware import Loaded
from cfgtrack.answers.history import history
from cfgtrack.answers.record import record
from cfgtrack.model.event import Event
from cfgtrack.model.time import SECOND, parse_instant
from cfgtrack.model.trouble import Refused
from cfgtrack.store.journal import create
from tests.answers import slow_comparison as slow
from tests.store.conftest import Server

CASES = int(os.environ.get("CFGTRACK_CASES", "100"))
START = parse_instant("2031-05-01T09:00:00Z")


@pytest.fixture(scope="module")
def blank(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """An empty journal in a file, to copy new ones from."""
    path = tmp_path_factory.mktemp("blank") / "blank.db"
    create(str(path))
    return path


class Drawn:
    """A plant that was drawn, loaded and worked on for a while; the present is kept by hand."""

    def __init__(self, seed: int, url: str, folder: Path) -> None:
        self.r = Random(seed)
        self.folder = folder
        ticks = count(START, SECOND)
        self.asking = Asking(url, by="survey", recorder="survey", clock=lambda: next(ticks))
        self.plant = slow.draw_plant(self.r)
        self.rules = slow.draw_rules(self.r)
        self.joined = {half: far for pair in self.plant["joints"] for half, far in (pair, pair[::-1])}
        self.places = dict(self.plant["places"])
        self.recorded = {*self.joined}
        self.parted: set[tuple[str, str]] = set()
        self.load(self.plant)
        self.load_rules(self.rules)
        for _ in range(self.r.randint(0, 3)):
            self.work()

    def load(self, plant: slow.Plant, accept: str | None = None, *, dry_run: bool = False) -> Loaded:
        """Load a plant's file."""
        file = self.folder / "plant.toml"
        file.write_text(slow.written(plant))
        return hardware.load(self._asking(dry_run), [file], accept=accept)

    def load_rules(
        self, rules: list[slow.Fields], accept: str | None = None, *, dry_run: bool = False
    ) -> Loaded:
        """Load a rules file."""
        file = self.folder / "rules.toml"
        file.write_text(slow.rules_written(rules))
        return rulings.load(self._asking(dry_run), [file], accept)

    def _asking(self, dry_run: bool) -> Asking:
        from dataclasses import replace

        return replace(self.asking, dry_run=dry_run)

    def work(self) -> None:
        """Part a joint, or take what is free elsewhere."""
        pairs = sorted((a, b) for a, b in self.joined.items() if a < b)
        tied = {half.partition(":")[0] for half in self.joined}
        free = [unit for unit in self.plant["units"] if unit not in tied]
        if pairs and self.r.random() < 0.6:
            a, b = self.r.choice(pairs)
            record(self.asking, ["demate", a])
            self.parted.add((a, b))
            del self.joined[a], self.joined[b]
        elif free:
            unit, place = self.r.choice(free), self.r.choice(("YARD", "HALL", "RACK"))
            if self.places[unit] != place:
                record(self.asking, ["place", unit, "at", place])
                self.places[unit] = place
                self.recorded |= {port for port in slow.all_ports(self.plant) if port.startswith(f"{unit}:")}

    def before(self) -> slow.Now:
        """Return how it stands."""
        return slow.Now(self.plant, self.joined, self.places)

    def after(self, files: slow.Plant) -> slow.Now:
        """Return how it stands once files are loaded: with what they join and place that is new."""
        new = [pair for pair in files["joints"] if not self.recorded & {*pair}]
        joined = self.joined | {half: far for pair in new for half, far in (pair, pair[::-1])}
        places = {**{u: p for u, p in files["places"].items() if u not in self.places}, **self.places}
        return slow.Now(slow.overlaid(self.plant, files), joined, places)

    def log(self) -> list[Any]:
        """Return all that is recorded."""
        return [line.entry for line in history(self.asking).history]


def assert_announced(loaded: Loaded, wanted: dict[str, Any]) -> None:
    """Assert that a load tells what the slow comparison found."""
    found = loaded.redefinition
    assert found is not None
    told = {
        one.rule: {
            "severity": one.severity,
            **{name: getattr(one, name) for name in ("guarded", "guards", "watched", "watches", "differs")},
            "lost": set(one.lost),
            "gained": set(one.gained),
        }
        for one in found.rules
    }
    assert told == wanted["rules"]
    assert {(one.a, one.b, one.code) for one in found.misfits} == wanted["misfits"]
    assert {(one.port, field.field) for one in found.ports for field in one.fields} == wanted["ports"]
    assert {one.id: sorted(one.mates) for one in found.gone if one.sort == "unit"} == wanted["gone"]
    assert bool(found.grounds) == wanted["accept"]
    assert found.unfit == ()


def accepted(event: Event) -> str | None:
    """Return why something was accepted with a load, None where nothing was."""
    found: str | None = (event.body or {}).get("accepted", {}).get("reason")
    return found


def never_fitted(plant: slow.Plant, a: str, b: str) -> bool:
    """Return whether two ports can't have been joined in a plant: they don't fit, or one isn't there."""
    there = slow.all_ports(plant)
    return not (a in there and b in there) or bool(slow.wrong_with(plant, a, b))


def assert_nothing_slips_through(drawn: Drawn) -> None:
    """Revise a plant's files and load them: tried, then as they are, then with a reason."""
    files = slow.revised(drawn.r, drawn.plant, drawn.recorded)
    if slow.written(files) == slow.written(drawn.plant):
        return
    after = drawn.after(files)
    wanted = slow.announced(drawn.before(), after, files, drawn.rules, drawn.rules)
    log = drawn.log()
    if any(never_fitted(after.plant, a, b) for a, b in drawn.parted):
        # That it was joined once is recorded, and would be impossible: nobody can accept that.
        with pytest.raises(Refused, match=r"the definition contradicts event|is no port any more"):
            drawn.load(files, "the drawing says so")
        assert drawn.log() == log
        return
    tried = drawn.load(files, dry_run=True)
    assert drawn.log() == log
    assert tried.redefinition is not None
    joints = {(joint.a, joint.b) for joint in tried.redefinition.joints}
    assert joints == {tuple(sorted(p)) for p in {*files["joints"]} ^ {*drawn.plant["joints"]}}
    if not (tried.load.entry or tried.load.refused or tried.load.initial.recorded):
        # Only what stays anyway was left out of the files.
        assert wanted["accept"] is False
        gone = {one.id: sorted(one.mates) for one in tried.redefinition.gone if one.sort == "unit"}
        assert gone == wanted["gone"]
        return
    assert_announced(tried, wanted)
    assert tried.load.refused == wanted["accept"]
    loaded = drawn.load(files)
    assert_announced(loaded, wanted)
    assert loaded.load.refused == wanted["accept"]
    if wanted["accept"]:
        assert drawn.log() == log
        loaded = drawn.load(files, "the drawing says so")
        assert_announced(loaded, wanted)
    first = drawn.log()[len(log)].event
    # Where nothing but the initial configuration has more, there is nothing to define.
    assert first.action == "define" if loaded.load.entry else not wanted["accept"]
    assert accepted(first) == ("the drawing says so" if wanted["accept"] else None)
    for rule in drawn.rules:
        explained = rulings.explain(drawn.asking, rule["id"]).rule.guards
        assert {*explained} == slow.guards(rule, after)
    again = drawn.load(files)
    assert not again.load.refused
    assert again.load.entry is None


@settings(max_examples=CASES)
@given(seed=st.integers(0, 2**32))
def test_a_load_announces_what_a_slow_comparison_finds(blank: Path, seed: int) -> None:
    """Random revisions of random plants: guarded before and after, misfits, changed ports, what is gone; SQLite."""
    with TemporaryDirectory() as folder:
        url = shutil.copy(blank, Path(folder) / "plant.db")
        assert_nothing_slips_through(Drawn(seed, str(url), Path(folder)))


@pytest.mark.parametrize("seed", range(5))
def test_so_it_is_on_postgresql(server: Server, tmp_path: Path, seed: int) -> None:
    """The same on PostgreSQL."""
    assert_nothing_slips_through(Drawn(seed, server.fresh(), tmp_path))


@settings(max_examples=CASES // 2)
@given(seed=st.integers(0, 2**32))
def test_rules_announce_what_a_slow_comparison_finds(blank: Path, seed: int) -> None:
    """Rules that are narrowed, lowered, exchanged or left out are told, and a bad loss has to be accepted."""
    with TemporaryDirectory() as folder:
        drawn = Drawn(seed, str(shutil.copy(blank, Path(folder) / "plant.db")), Path(folder))
        new = _other_rules(drawn.r, drawn.rules)
        if new == drawn.rules:
            return
        now, log = drawn.before(), drawn.log()
        wanted = slow.announced(now, now, drawn.plant, drawn.rules, new)
        loaded = drawn.load_rules(new)
        assert_announced(loaded, wanted)
        assert loaded.load.refused == wanted["accept"]
        if wanted["accept"]:
            assert drawn.log() == log
            drawn.load_rules(new, "others judge it")
        assert accepted(drawn.log()[-1].event) == ("others judge it" if wanted["accept"] else None)


def _other_rules(r: Random, rules: list[slow.Fields]) -> list[slow.Fields]:
    new = [rule for rule in deepcopy(rules) if r.random() < 0.8]
    drawn: Iterator[slow.Fields] = iter(slow.draw_rules(r))
    for rule in new:
        if r.random() < 0.3:
            rule["severity"] = r.randint(1, 4)
        if r.random() < 0.3:
            other = next(drawn, None)
            if other is not None:
                kept = {"id": rule["id"], "severity": rule["severity"]}
                rule.clear()
                rule.update({**other, **kept})
    return new or [{**rules[0], "id": "another"}]
