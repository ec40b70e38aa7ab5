"""A link is made when both of its halves carry: in the state of things, in what holds what, and in pictures."""

from itertools import product

import pytest

from cfgtrack.analysis.state import unit_state
from cfgtrack.answers.draw import Scene, Scope
from cfgtrack.answers.moment import Moment
from cfgtrack.files.definition import parse_definition
from cfgtrack.model.action import Action
from cfgtrack.model.configuration import Configuration
from cfgtrack.model.hold import is_made, rigid_group
from cfgtrack.network.network import compile_network
from cfgtrack.show.drawing.sheet import Look
from cfgtrack.show.drawing.shown import shown
from tests.happening import happened

WORLD = """
[[kind]]
id = "clamp"
medium = "hold"
statuses = ["off", "on", "locked"]
joined = "on"
carries = "locked"
[[part]]
id = "tank"
port = [
  { name = "F", kind = "valved-disconnect" },
  { name = "G", kind = "valved-disconnect" },
  { name = "C", kind = "clamp" },
]
node = [{ name = "VOL", medium = "fluid", litres = "1 l" }]
links = [["F", "VOL"], ["VOL", "G"]]
[[part]]
id = "hose"
flexible = true
port = [{ name = "A", kind = "valved-disconnect" }, { name = "B", kind = "valved-disconnect" }]
links = [["A", "B"]]
[[unit]]
id = "T1"
part = "tank"
[[unit]]
id = "T2"
part = "tank"
[[unit]]
id = "H"
part = "hose"
[[place]]
id = "FLOOR"
[initial]
at = 2031-05-01T00:00:00Z
place = { T1 = "FLOOR", T2 = "FLOOR" }
joined = [["T1:F", "T2:F"], ["T1:G", "H:A"], ["H:B", "T2:G"], ["T1:C", "T2:C"]]
"""
HALVES = tuple(product((True, False), repeat=2))


def world(**found):
    """Return the plant and its configuration, with some halves found at other statuses than the top."""
    definition = parse_definition({"world.toml": WORLD})
    now = Configuration(definition.plant())
    for event in definition.initial:
        now.apply(happened(now, event))
    for half, status in found.items():
        outcome = happened(now, Action("e", "as-found", (half.replace("_", ":"),), 0, status=status))
        now.apply(outcome)
    return now.plant, now, {m: compile_network(now.plant, m) for m in now.plant.media}


@pytest.mark.parametrize(("ours", "theirs"), HALVES)
def test_an_interface_is_made_when_both_halves_carry(ours, theirs):
    """Of a mated pair with a valve in each half, fluid passes when both are open; each half tells the same."""
    plant, now, networks = world(T1_F="open" if ours else "mated", T2_F="open" if theirs else "mated")
    for half, mate in (("T1:F", "T2:F"), ("T2:F", "T1:F")):
        assert now.state(half).other == mate
        assert is_made(now, half) == (ours and theirs)
        (port,) = unit_state(plant, now, networks, half).ports
        assert (port.mate, port.made) == (mate, ours and theirs)


@pytest.mark.parametrize(("ours", "theirs"), HALVES)
def test_what_is_half_locked_holds_nothing(ours, theirs):
    """A clamp that is closed and not locked on both sides holds neither unit to the other."""
    plant, now, networks = world(T1_C="locked" if ours else "on", T2_C="locked" if theirs else "on")
    for unit, other in (("T1", "T2"), ("T2", "T1")):
        hold = unit_state(plant, now, networks, unit).hold
        assert hold is not None
        assert [link.far for link in hold.links] == ([f"{other}:C"] if ours and theirs else [])
        assert (other in rigid_group(now, unit)) == (ours and theirs)


@pytest.mark.parametrize("shut", [None, "T1_G", "H_A", "H_B", "T2_G", "T1_F", "T2_F"])
def test_a_line_says_that_nothing_passes_where_either_half_is_shut(shut):
    """A line between two halves, of a hose too, is drawn as one that nothing passes when either half is shut."""
    plant, now, networks = world(**({shut: "mated"} if shut else {}))
    sheet = shown(Scene(Moment(0), plant, now, networks, Scope.one_medium("fluid")))
    looks = {frozenset((line.a_row, line.b_row)): line.look for line in sheet.lines}
    assert len(looks) == 3
    for ends, look in looks.items():
        assert (look is Look.NOT_CARRYING) == (shut is not None and shut.replace("_", ":") in ends)
