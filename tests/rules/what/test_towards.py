"""What conditions propose that might make them true, or false: the likeliest first, none of it tried."""

from __future__ import annotations

from collections.abc import Iterator
from math import isnan

import pytest

from cfgtrack.model.action import Action
from cfgtrack.model.configuration import Configuration
from cfgtrack.model.part import InternalLink, Node, Part, Port
from cfgtrack.model.plant import Place, Plant, Unit
from cfgtrack.rules.breach import words
from cfgtrack.rules.condition import Condition
from cfgtrack.rules.cure import Proposal
from cfgtrack.rules.selection import Selection
from cfgtrack.rules.trail import Trail
from cfgtrack.rules.what.all import All
from cfgtrack.rules.what.any import AnyOf
from cfgtrack.rules.what.count import Count
from cfgtrack.rules.what.done import Done
from cfgtrack.rules.what.no_path import NoPath
from cfgtrack.rules.what.not_ import Not
from cfgtrack.rules.what.path import Path
from cfgtrack.rules.what.status import Status
from cfgtrack.rules.what.value import ANY_QUANTITY, Value
from cfgtrack.rules.world import World
from tests.happening import happened
from tests.rules.worlds import KINDS, MEDIA, START


def world() -> World:
    """Return two lamps, each with a switch before its bus, in a rack: A's is on, B's is off."""
    lamp = Part(
        "lamp",
        ports={"S": Port("S", "switch"), "B": Port("B", "bolt", torque=(2.0, 3.0)), "F": Port("F", "tube")},
        nodes={
            "lamp": Node("lamp", "power", roles=frozenset({"load"})),
            "bus": Node("bus", "power", roles=frozenset({"source"})),
        },
        links=(InternalLink("bus", "lamp", "S"),),
    )
    places = {
        "RACK": Place("RACK", holds=True),
        "SHELF": Place("SHELF", tags=frozenset({"store"})),
        "TOP": Place("TOP", "SHELF", facings=("up", "down")),
        "BAY": Place("BAY"),
    }
    units = {name: Unit(name, "lamp", home="BAY") for name in "AB"}
    now = Configuration(Plant(MEDIA, KINDS, {"lamp": lamp}, units, places))
    for action, subject, place in (
        ("place", "A", "RACK"),
        ("place", "B", "RACK"),
        ("switch-on", "A:S", None),
    ):
        now.apply(happened(now, Action(subject, action, (subject,), START, place=place)))
    return World(now, media=tuple(MEDIA), touched=None, now=START, trail=Trail())


def said(proposals: Iterator[Proposal]) -> list[str]:
    """Return proposals in words."""

    def one(action: Action) -> str:
        return words(action) + (f" {action.facing}" if action.facing else "")

    return [proposal.said or one(proposal.action) for proposal in proposals]


A, B, BOTH = (Selection(ids=ids) for ids in (("A:S",), ("B:S",), ("A:S", "B:S")))
LAMPS, UNITS, BUS = Selection(load=True), Selection(what=("unit",)), Selection(source=True)
BOLT = Selection(ids=("A:B",))


def placed(unit: str, *places: str) -> list[str]:
    """Return where a unit may be put: on the top of the shelf each way round."""
    ways = {"TOP": (" up", " down")}
    return [f"place {unit} at {place}{way}" for place in places for way in ways.get(place, ("",))]


TOWARDS: dict[str, tuple[Condition, bool, list[str]]] = {
    "on": (Status(B, ("on",)), True, ["switch-on B:S", "switch-off B:S"]),
    "no longer on": (Status(A, ("on",)), False, ["switch-off A:S", "switch-on A:S"]),
    "what is not so": (Status(BOTH, ("on",)), True, ["switch-on B:S", "switch-off B:S"]),
    "at a place": (Status(A, (), ("BAY",)), True, placed("A", "BAY")),
    "at home": (Status(A, (), ("home",)), True, placed("A", "BAY")),
    "at a place and inside it": (Status(A, (), ("SHELF",)), True, placed("A", "SHELF", "TOP")),
    "at a tagged place": (Status(A, (), ("#store",)), True, placed("A", "SHELF", "TOP")),
    "away from a place": (Status(A, (), ("RACK",)), False, placed("A", "SHELF", "TOP", "BAY")),
    "away from a tagged place": (
        Status(Selection(ids=("A",)), (), ("R*", "#store")),
        False,
        placed("A", "BAY"),
    ),
    "a path": (Path("power", LAMPS, BUS), True, ["switch-on B:S", "switch-off B:S"]),
    "no longer a path": (Path("power", LAMPS, BUS), False, ["switch-off A:S"]),
    "no path": (NoPath("power", LAMPS, BUS), True, ["switch-off A:S"]),
    "no longer no path": (NoPath("power", LAMPS, BUS), False, ["switch-on B:S", "switch-off B:S"]),
    "one more": (Count(BOTH, ("on",), least=2), True, ["switch-on B:S", "switch-off B:S"]),
    "one less": (Count(BOTH, ("on",), most=0), True, ["switch-off A:S", "switch-on A:S"]),
    "one more or one less": (
        Count(BOTH, ("on",), least=1, most=1),
        False,
        ["switch-on B:S", "switch-off B:S", "switch-off A:S", "switch-on A:S"],
    ),
    "one more at a place": (
        Count(UNITS, (), ("BAY",), least=1),
        True,
        ["place A at BAY", "place B at BAY"],
    ),
    "one less at a place": (
        Count(UNITS, (), ("RACK", "#store"), most=1),
        True,
        ["place A at BAY", "place B at BAY"],
    ),
    "one more with a path": (
        Count(LAMPS, least=2, medium="power", end=BUS),
        True,
        ["switch-on B:S", "switch-off B:S"],
    ),
    "one less with a path": (Count(LAMPS, most=0, medium="power", end=BUS), True, ["switch-off A:S"]),
    "enough as it is": (Count(BOTH, ("on",), least=1, most=1), True, []),
    "done": (Done(BOLT, ("inspect", "torque")), True, ["inspect A:B", "torque A:B"]),
    "done and measured": (Done(BOLT, ("torque",), (), "torque"), True, ["torque A:B torque"]),
    "measured": (Done(BOLT, ("measure",)), True, [f"measure A:B {ANY_QUANTITY}"]),
    "done again before": (Done(BOLT, ("inspect",), ("release",)), False, []),
    "in a range": (
        Value(BOLT, "torque", 2.0, 3.0),
        True,
        ["torque A:B torque, at least 2 N*m and at most 3 N*m"],
    ),
    "in the rated range": (
        Value(BOLT, "torque", rated=True),
        True,
        ["torque A:B torque, at least 2 N*m and at most 3 N*m"],
    ),
    "read by hand": (Value(BOLT, "pressure", high=5.0), True, ["measure A:B pressure, at most 5 Pa"]),
    "long ago": (Value(BOLT, "elapsed", low=5.0, since=("inspect", "torque")), True, ["inspect A:B", "torque A:B"]),
    "worn": (Value(A, "cycles", low=1.0), True, []),
    "no longer any of which one can't be": (
        AnyOf((Count(BOTH, ("on",), most=0), Status(B, ("off",)))),
        False,
        ["switch-on B:S", "switch-off B:S"],
    ),
    "not": (Not(Status(A, ("on",))), True, ["switch-off A:S", "switch-on A:S"]),
    "no longer not": (Not(Status(B, ("on",))), False, ["switch-on B:S", "switch-off B:S"]),
    "all": (
        All((Status(B, ("on",)), Path("power", LAMPS, BUS), Status(A, ("off",)))),
        True,
        ["switch-on B:S", "switch-on B:S", "switch-off A:S", "switch-off B:S", "switch-off B:S", "switch-on A:S"],
    ),
    "no longer all": (
        All((Status(A, ("on",)), Status(BOLT, ("released",)))),
        False,
        ["switch-off A:S", "engage A:B", "switch-on A:S", "torque A:B", "release A:B"],
    ),
    "any": (
        AnyOf((Status(A, ("off",)), Status(B, ("on",)))),
        True,
        ["switch-off A:S", "switch-on B:S", "switch-on A:S", "switch-off B:S"],
    ),
    "no longer any": (
        AnyOf((Status(A, ("off",)), Status(B, ("off",)))),
        False,
        ["switch-on B:S", "switch-off B:S"],
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", TOWARDS)
def test_what_is_proposed(name):
    """Those that fall short are offered what they lack, those that meet it what ends that: alternatives in turn."""
    condition, true, proposed = TOWARDS[name]
    judge = condition.compile(world())
    assert said(judge.towards(None, true=true)) == proposed


def test_what_one_instance_lacks():
    """Of one instance that falls short only what might put that right is proposed."""
    now = world()
    every = All((Path("power", LAMPS, BUS), Status(BOTH, ("off",)), Count(BOTH, ("on",), least=2)))
    judge = every.compile(now)
    by_part = {part: said(judge.towards(None, part, true=True)) for part in judge.short(None)}
    assert by_part == {
        ("B:lamp",): ["switch-on B:S", "switch-off B:S"],
        ("A:S",): ["switch-off A:S", "switch-on A:S"],
        ("#2",): ["switch-on B:S", "switch-off B:S"],
    }
    apart = Status(Selection(ids=("A:S", "A:B", "B:S")), ("on",)).compile(now)
    assert said(apart.towards(None, ("B:S",), true=True)) == ["switch-on B:S", "switch-off B:S"]
    none = NoPath("power", LAMPS, BUS).compile(now)
    assert said(none.towards(None, ("A:lamp", "A:bus"), true=True)) == ["switch-off A:S"]


def test_what_is_done_is_done_before():
    """What was done since then is so no longer when any of that is done again."""
    now = world()
    for action in ("inspect", "cap"):
        now.apply(happened(now.configuration, Action(action, action, ("A:F",), START)))
    capped = Done(Selection(ids=("A:F",)), ("cap",), ("inspect", "open")).compile(now)
    assert capped.holds(None)
    assert said(capped.towards(None, true=False)) == ["inspect A:F", "open A:F"]


def test_a_value_is_tried_at_both_ends():
    """A value must do at both ends of its range; one that must be out of it is tried with no number at all."""
    judge = Value(BOLT, "torque", 2.0, 3.0).compile(world())
    (proposal,) = judge.towards(None, true=True)
    assert [a.values["torque"].value for a in (proposal.action, *proposal.others)] == [3.0, 2.0]
    above = Value(BOLT, "torque", 2.0, unmeasured=True).compile(world())
    (proposal,) = above.towards(None, true=False)
    assert isnan(proposal.action.values["torque"].value)
    assert proposal.others == ()
    assert proposal.said == "torque A:B torque, not at least 2 N*m"
