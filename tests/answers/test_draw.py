"""What a picture is of."""

import pytest

from cfgtrack.answers.draw import Scope, expect_there
from cfgtrack.answers.past import Networks
from cfgtrack.answers.strip import items_of
from cfgtrack.files.definition import parse_definition
from cfgtrack.model.trouble import NoAnswer
from tests.show.world import yard


@pytest.mark.parametrize(
    ("scope", "what"),
    [
        (Scope.one_medium("fluids"), "medium"),
        (Scope.loop("Q"), "loop"),
    ],
)
def test_a_scope_that_names_nothing_has_no_answer(scope, what):
    """An unknown medium or loop is refused, with names that are near or that there are."""
    world = yard()
    with pytest.raises(NoAnswer) as trouble:
        expect_there(world.plant, world.networks, scope)
    [problem] = trouble.value.problems
    assert problem.code == "unknown"
    assert problem.sentence.startswith(f"there is no {what} {scope.subject}; ")
    assert "near names" in problem.sentence or "known: " in problem.sentence


COUPLING = """
[[part]]
id = "plate"
flexible = true
links = [["C:SUPPLY", "C:RETURN"]]
[[part.port]]
name = "C"
kind = "fluid-disconnect"
loop = "SHELL"
contact = [{ name = "SUPPLY", loop = "HOT" }, { name = "RETURN" }, { name = "SENSE", medium = "data", loop = "BUS" }]
[[unit]]
id = "P"
part = "plate"
loop = "UNIT"
"""


@pytest.mark.parametrize(
    ("loop", "medium", "found"),
    [("HOT", "fluid", "P:C:SUPPLY"), ("SHELL", "fluid", "P:C:RETURN"), ("BUS", "data", "P:C:SENSE")],
)
def test_a_contact_is_of_its_own_loop_else_of_its_shells(loop, medium, found):
    """A loop that is said of nothing but a contact can be asked for, and a strip of it watches that contact alone."""
    plant = parse_definition({"c.toml": COUPLING}).plant()
    scope = Scope.loop(loop, medium=medium)
    expect_there(plant, Networks(plant), scope)
    assert items_of(plant, Networks(plant), scope) == {medium: [found]}


def test_a_loop_of_another_medium_alone_is_not_there():
    """Of a shell each contact's loop is of that contact's medium."""
    plant = parse_definition({"c.toml": COUPLING}).plant()
    with pytest.raises(NoAnswer):
        expect_there(plant, Networks(plant), Scope.loop("HOT", medium="data"))
