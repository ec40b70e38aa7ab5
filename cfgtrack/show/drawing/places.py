"""The places and what stands in them."""

from __future__ import annotations

from collections.abc import Iterator

from cfgtrack.show.drawing.alarms import Alarms
from cfgtrack.show.drawing.schematic import headed
from cfgtrack.show.drawing.sheet import Box, Form, Line, Look, Row, Sheet
from cfgtrack.show.drawing.survey import Survey

NOWHERE = "place not known"


def place_sheet(survey: Survey) -> Sheet:
    """Return the tree of places; a row a unit that stands there, with where it faces and belongs."""
    plant = survey.plant
    alarms = Alarms(survey, list(survey.order))
    boxes = [
        headed(
            survey,
            Box(
                place.id,
                form=Form.MOVES if place.mobile else Form.PLACE,
                rows=tuple(
                    _row(survey, alarms, thing)
                    for thing in survey.configuration.standing_at(place.id)
                    if thing in plant.units
                ),
                marks=alarms.owner(place.id),
            ),
        )
        for place in plant.places.values()
    ]
    lost = [unit for unit in plant.units if not survey.configuration.state(unit).value]
    if lost:
        rows = tuple(_row(survey, alarms, unit) for unit in lost)
        boxes.append(Box(NOWHERE, NOWHERE, form=Form.PLACE, rows=rows))
    lines = tuple(place_lines(survey))
    return Sheet(tuple(boxes), lines, verdict=alarms.verdict(), notes=alarms.notes())


def _row(survey: Survey, alarms: Alarms, unit: str) -> Row:
    state = survey.configuration.state(unit)
    home = survey.plant.units[unit].home
    said = [f"facing {state.other}" if state.other else "", f"home {home}" if home != state.value else ""]
    return Row(
        unit,
        unit,
        ", ".join(filter(None, said)) if home else said[0],
        is_text=True,
        marks=(*alarms.held(unit), *alarms.owner(unit)),
    )


def place_lines(survey: Survey) -> Iterator[Line]:
    """Yield a line from each place to each place in it, as it is now."""
    for place in survey.plant.places.values():
        parent = survey.configuration.state(place.id).value if place.mobile else place.parent
        if parent:
            yield Line(parent, "", place.id, "", look=Look.INSIDE)
