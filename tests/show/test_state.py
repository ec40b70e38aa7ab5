"""The state of things as text: golden, within the width, and with nothing that only colour says."""

import click
import pytest

from cfgtrack.analysis.state import plant_state, unit_state
from cfgtrack.model.action import Action
from cfgtrack.model.event import Entry, Event
from cfgtrack.model.quantity import parse_quantity
from cfgtrack.show.record import quantity_text
from cfgtrack.show.state import plant_text, state_text
from tests.happening import happened
from tests.show.golden import assert_golden
from tests.show.world import AT, CLOCK, MOMENT, yard

_REMARK = Entry(Event("r1", "remark", ("PUMP-1",), AT, by="ina", remark="F1 weeps when cold"), 3, AT)


@pytest.mark.parametrize(
    "thing", ["PUMP-1", "PUMP-2", "PANEL-1", "INA", "BAY", "PUMP-1:F1", "COOL-1", "CABLE-1"]
)
def test_state_reads_as_it_was_read(thing):
    """Each sort of thing, as a person has read it."""
    text = state_text(unit_state(*yard(), thing, clocks=[CLOCK], remarks=[_REMARK]), MOMENT)
    assert_golden(f"state-{thing.replace(':', '-')}.txt", text)


def test_everything_reads_as_it_was_read():
    """The whole yard, as a person has read it."""
    assert_golden("everything.txt", plant_text(plant_state(*yard(), clocks=[CLOCK]), MOMENT))


def test_every_answer_fits_and_names_its_moment():
    """No line of any state is longer than 100 columns, and each answer carries its moment."""
    world = yard()
    for thing in world.plant.owners():
        text = state_text(unit_state(*world, thing), MOMENT)
        assert all(len(line) <= 100 for line in text.splitlines()), thing
        assert str(MOMENT) in text


def test_colour_says_nothing_that_the_text_does_not():
    """With the colours taken away the coloured answer is the plain one."""
    report = unit_state(*yard(), "PUMP-2")
    assert click.unstyle(state_text(report, MOMENT, colour=True)) == state_text(report, MOMENT)
    everything = plant_state(*yard())
    assert click.unstyle(plant_text(everything, MOMENT, colour=True)) == plant_text(everything, MOMENT)


def test_a_calm_plant_says_so():
    """When nothing stands out the answer says that, and what was looked at."""
    world = yard()
    for action, subject in (("open", "PANEL-1:V2"), ("cap", "HOSE-2:E2"), ("let-go", "PUMP-2:H")):
        event = Action("e", action, (subject,), AT)
        world.configuration.apply(happened(world.configuration, event))
    text = plant_text(plant_state(*world), MOMENT)
    assert "OPEN END" not in text
    assert "NOT HELD" in text
    assert "nothing cut off" not in text


def test_a_value_comes_back_in_the_unit_it_was_written_in():
    """18 ft lbf come back as 18 ft lbf; a quantity that nobody knows comes back in SI, and says so."""
    torque = parse_quantity("18 ft lbf", dimension="torque")
    assert quantity_text("torque", torque.value, torque.unit) == "18 ft lbf"
    assert quantity_text("glamour", 3.0, "m") == "3 (SI)"


def test_measured_values_are_listed():
    """The last value of a port stands in its unit's state."""
    world = yard()
    event = Event("m", "measure", ("PUMP-1:B1",), AT, values={"torque": parse_quantity("25 N*m")})
    world.configuration.apply(event)
    assert "25 N*m" in state_text(unit_state(*world, "PUMP-1"), MOMENT)
