"""What a picture is of."""

import pytest

from cfgtrack.answers.draw import Scope, expect_there
from cfgtrack.model.trouble import NoAnswer
from tests.show.world import yard


@pytest.mark.parametrize(
    ("scope", "code"),
    [
        (Scope.one_medium("fluids"), "no-such-medium"),
        (Scope.around("PUMP-9"), "no-such-unit"),
        (Scope.loop("Q"), "no-such-loop"),
    ],
)
def test_a_scope_that_names_nothing_has_no_answer(scope, code):
    """An unknown medium, unit or loop is refused, with names that are near or that there are."""
    world = yard()
    with pytest.raises(NoAnswer) as trouble:
        expect_there(world.plant, world.networks, scope)
    [problem] = trouble.value.problems
    assert problem.code == code
    assert "near names" in problem.sentence or "there are" in problem.sentence
