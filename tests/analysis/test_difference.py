"""What differs between two configurations, held to a comparison subject by subject."""

from random import Random

from hypothesis import given
from hypothesis import strategies as st

from cfgtrack.analysis.difference import Difference, difference
from cfgtrack.model.action import Action
from cfgtrack.model.configuration import Configuration
from cfgtrack.model.event import Event
from cfgtrack.model.possibility import resolve
from cfgtrack.model.quantity import parse_quantity
from tests.happening import happened
from tests.show.world import AT, yard


def _some_events(seed: int, length: int) -> tuple[Configuration, Configuration]:
    """Return the yard before and after random possible actions."""
    r = Random(seed)
    before = yard().configuration
    after = before.fork()
    ports = [p for owner in before.plant.owners() for p in before.plant.ports_of(owner)]
    for number in range(length):
        port = r.choice(ports)
        found = before.plant.port(port)
        assert found is not None
        kind = found[1]
        action = r.choice(list(kind.moves))
        subjects = (port, r.choice(ports)) if kind.joins(kind.moves[action]) else (port,)
        event = Action(f"e{number}", action, subjects, AT + number)
        if r.random() < 0.2:
            event = Action(
                f"e{number}", "measure", (port,), AT, values={"length": parse_quantity(f"{r.random()} m")}
            )
        elif r.random() < 0.2:
            event = Action(f"e{number}", "place", (r.choice(list(before.plant.units)),), AT, place="SITE")
        outcome = resolve(after, event)
        if isinstance(outcome, Event):
            after.apply(outcome)
    return before, after


@given(st.integers(0, 10_000), st.integers(0, 40))
def test_a_row_for_exactly_what_differs(seed, length):
    """Every subject whose state, cycles or values differ has its row, and nothing else has one."""
    before, after = _some_events(seed, length)
    subjects = [p for o in before.plant.owners() for p in before.plant.ports_of(o)]
    subjects += [*before.plant.units, "INA"]
    wanted = {
        (s, "status" if ":" in s else "place") for s in subjects if before.state(s)[:2] != after.state(s)[:2]
    }
    wanted |= {(s, "cycles") for s in subjects if before.cycles.get(s) != after.cycles.get(s)}
    wanted |= set(after.values)
    rows = difference(before, after)
    assert [(row.subject, row.aspect) for row in rows] == sorted(wanted)


@given(st.integers(0, 10_000), st.integers(0, 40))
def test_the_other_way_round_is_the_mirror(seed, length):
    """From after to before the same rows come with their sides exchanged."""
    before, after = _some_events(seed, length)
    there = [
        (r.subject, r.aspect, r.before, r.after, r.before_other, r.after_other)
        for r in difference(before, after)
    ]
    back = [
        (r.subject, r.aspect, r.after, r.before, r.after_other, r.before_other)
        for r in difference(after, before)
    ]
    assert there == back


def test_nothing_differs_from_itself():
    """A configuration has no difference from its copy."""
    configuration = yard().configuration
    assert difference(configuration, configuration.fork()) == []


def test_a_row_names_both_sides_and_the_event():
    """A demate shows on both halves, with the mate that was lost and the event that did it."""
    before = yard().configuration
    after = before.fork()
    after.apply(happened(after, Action("e1", "demate", ("PUMP-1:F1",), AT)))
    assert difference(before, after) == [
        Difference("PANEL-1:P1", "status", "mated", "demated", "PUMP-1:F1", None, "e1"),
        Difference("PUMP-1:F1", "status", "mated", "demated", "PANEL-1:P1", None, "e1"),
    ]


def test_what_one_plant_lacks_is_nothing_on_that_side():
    """A unit that was defined in between has no state before."""
    before, after = yard(), yard('[[unit]]\nid = "PUMP-3"\npart = "pump"')
    placed = Event("e1", "as-found", ("PUMP-3",), AT, place="FLOOR")
    after.configuration.apply(placed)
    rows = difference(before.configuration, after.configuration)
    assert [(row.subject, row.aspect, row.before, row.after) for row in rows] == [
        ("PUMP-3", "part", None, "pump"),
        ("PUMP-3", "place", None, "FLOOR"),
    ]
