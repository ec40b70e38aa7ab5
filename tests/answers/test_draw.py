"""What a picture is of."""

import pytest

from cfgtrack.answers.draw import Scope, expect_there
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
