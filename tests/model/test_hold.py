"""What holds what, in a yard small enough to see."""

from cfgtrack.model.action import Action
from cfgtrack.model.hold import grippers, hangs, holds, moves_with, seat_of
from tests.happening import happened
from tests.show.world import AT, yard


def now():
    """Return the yard's configuration."""
    return yard().configuration


def test_what_holds_a_unit_is_joined_made_and_of_hold():
    """A pump's bolts hold it once they are torqued; its hoses and connectors never do."""
    assert {joint.near for joint in holds(now(), "PUMP-1")} == {"PUMP-1:B1", "PUMP-1:B2"}
    assert not any(joint.gives for joint in holds(now(), "PUMP-1"))


def test_a_gripper_is_a_place_that_moves():
    """The spare is in a hand; what is bolted to a panel is gripped by nobody, though it is held."""
    assert grippers(now(), ["PUMP-2"]) == {"INA"}
    assert grippers(now(), ["PUMP-1"]) == set()
    let_go = now()
    let_go.apply(happened(let_go, Action("e", "let-go", ("PUMP-2:H",), AT)))
    assert grippers(let_go, ["PUMP-2"]) == set()


def test_a_seat_is_a_place_that_holds():
    """What stands on the floor is held by it; what stands in a bay that only guides it is not."""
    assert seat_of(now(), "ACC-1") == "FLOOR"
    assert seat_of(now(), "PUMP-1") == ""


def test_what_hangs_has_nothing_else_to_be_held_by():
    """A cable hangs by its ends; a pump without its bolts does not hang by its hoses."""
    assert hangs(now(), "CABLE-1")
    assert not hangs(now(), "PUMP-1")


def test_a_place_that_moves_moves_alone_and_a_unit_with_what_is_fixed_to_it():
    """A hand is no part of what it grips: it gives."""
    assert moves_with(now(), "INA") == ["INA"]
    assert moves_with(now(), "PUMP-2") == ["PUMP-2"]
