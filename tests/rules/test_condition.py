"""What every condition and every mode offers, and what holds for one that says as little as it may."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import ClassVar, Self

from hypothesis import given
from hypothesis import strategies as st

from cfgtrack.model.configuration import Configuration
from cfgtrack.model.plant import Plant
from cfgtrack.rules import what, when
from cfgtrack.rules.condition import Clause, Condition, Ended, Judge, Part
from cfgtrack.rules.dependence import Dependence
from cfgtrack.rules.engine import Engine
from cfgtrack.rules.finding import Reason
from cfgtrack.rules.rule import Rule, RuleSet
from cfgtrack.rules.trail import Trail
from cfgtrack.rules.what.all import All
from cfgtrack.rules.what.any import AnyOf
from cfgtrack.rules.what.not_ import Not
from cfgtrack.rules.world import World
from tests.rules.test_engine import broken, run
from tests.rules.worlds import START, draw_world


def test_every_file_is_one():
    """Each file of the two folders is a condition or a mode, by the key that a rules file calls it by."""
    for package, found in ((what, what.CONDITIONS), (when, when.MODES)):
        assert package.__file__ is not None
        files = {path.stem.strip("_") for path in Path(package.__file__).parent.glob("*.py")} - {"init"}
        assert {one.__module__.rpartition(".")[2].strip("_") for one in found.values()} == files
        assert set(found) == files


@dataclass(frozen=True)
class _Silent(Condition):
    """Another condition, of which nothing is said but whether it is true."""

    key: ClassVar[str] = "silent"
    other: Condition

    @classmethod
    def read(cls, clause: Clause) -> Self | None:
        raise NotImplementedError

    def words(self) -> str:
        return "silent"

    def media(self) -> frozenset[str]:
        return self.other.media()

    def compile(self, world: World) -> Judge:
        return _SilentNode(self.other.compile(world))


class _SilentNode(Judge):
    """Judges another node. It adds the passing of time to what the base class says, and nothing else."""

    def __init__(self, node: Judge) -> None:
        self.node = node
        self.depends = Judge.depends | Dependence(timers=node.depends.timers)

    def holds(self, it: str | None) -> bool:
        return self.node.holds(it)

    def short(self, it: str | None) -> Mapping[Part, tuple[str, ...]]:
        return self.node.short(it)

    def met(self, it: str | None) -> tuple[str, ...]:
        return self.node.met(it)

    def reasons(self, it: str | None, ended: Ended, part: Part | None = None) -> tuple[Reason, ...]:
        return self.node.reasons(it, ended, part)


def silenced(rule: Rule) -> Rule:
    """Return a rule whose condition says nothing of what changes it."""
    return Rule(rule.id, "", "", rule.severity, "none", rule.mode, _Silent(rule.condition), rule.scope)


@given(st.integers(0, 2**32))
def test_who_says_nothing_is_never_unwatched(seed):
    """A condition that doesn't say what changes it breaks its rule just when the same one that says it does."""
    world = draw_world(seed)
    engines = [
        Engine(RuleSet(rules), Configuration(world.plant), start=START)
        for rules in (world.rules, tuple(map(silenced, world.rules)))
    ]
    said, silent = (broken(run(engine, world.events, world.end)) for engine in engines)
    assert silent == said


def test_what_parts_say_is_said_of_the_whole():
    """What is made of parts, one of which says nothing, may be changed by everything."""
    world = World(Configuration(Plant()), media=(), touched=None, now=0, trail=Trail())
    silent = _Silent(All(()))
    wholes: list[Condition] = [Not(silent), All((All(()), silent)), AnyOf((silent, All(())))]
    for whole in wholes:
        assert whole.compile(world).depends.everything
    assert not All(()).compile(world).depends.everything
