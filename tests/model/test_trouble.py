"""Trouble carries its facts and says them."""

import pickle

import pytest

from cfgtrack.model.trouble import MOST_TOLD, BadInput, NoAnswer, Problem, Problems, Refused, Trouble

SHORT = Problem("plant.toml:3", "unknown", "expected a kind, found 'flud'; near names: fluid")
WITH_ROW = Problem("events.csv row 7, column port", "unknown", "no port 'J9'", row="mate,PUMP-1:J9")


def test_bad_input_names_every_problem():
    """Every problem of an input is one line, `where: code: sentence`, with the offending row below it."""
    assert str(BadInput([SHORT, WITH_ROW])).splitlines() == [
        "plant.toml:3: unknown: expected a kind, found 'flud'; near names: fluid",
        "events.csv row 7, column port: unknown: no port 'J9'",
        "    mate,PUMP-1:J9",
    ]


def test_of_very_many_problems_the_last_are_counted():
    """What is wrong in every row of a long table is told for some rows, and counted by its code for the others."""
    trouble = BadInput([SHORT] * MOST_TOLD + [WITH_ROW] * 2 + [Problem("x", "syntax", "y")])
    told = list(trouble.lines())
    assert told[:-1] == [str(SHORT)] * MOST_TOLD
    assert told[-1] == "... and 3 more: 2 unknown, 1 syntax"
    assert len(trouble.problems) == MOST_TOLD + 3


def test_a_refusal_names_the_events_it_collides_with():
    """A refusal ends in the events that stand in the way."""
    refused = Refused(WITH_ROW, collides=["E-1", "E-2"])
    assert list(refused.lines())[-1] == "    collides with event E-1, E-2"
    assert list(Refused([SHORT]).lines()) == [str(SHORT)]


@pytest.mark.parametrize(
    ("trouble", "status"), [(BadInput([SHORT]), 2), (Refused(SHORT), 3), (NoAnswer(SHORT), 4)]
)
def test_exit_status(trouble, status):
    """Each kind of trouble is one family and has an exit status of its own."""
    assert isinstance(trouble, Trouble)
    assert trouble.exit_status == status
    assert trouble.problems == (SHORT,)


@pytest.mark.parametrize("trouble", [BadInput([SHORT, WITH_ROW]), Refused(SHORT), NoAnswer(SHORT)])
def test_trouble_passes_between_processes(trouble):
    """Trouble raised in a worker process says the same thing in the one that waits for it."""
    assert str(pickle.loads(pickle.dumps(trouble))) == str(trouble)


def test_nothing_collected_raises_nothing():
    """A good input leaves no problems and raises nothing."""
    problems = Problems()
    problems.raise_if_any()
    assert not problems
    assert len(problems) == 0


def test_all_collected_is_raised_at_once():
    """Problems are raised together, in the order they were found."""
    problems = Problems()
    problems.add(SHORT.where, SHORT.code, SHORT.sentence)
    problems.add(WITH_ROW.where, WITH_ROW.code, WITH_ROW.sentence, row=WITH_ROW.row)
    assert problems
    assert len(problems) == 2
    with pytest.raises(BadInput) as raised:
        problems.raise_if_any()
    assert raised.value.problems == (SHORT, WITH_ROW)
