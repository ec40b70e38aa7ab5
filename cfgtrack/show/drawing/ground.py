"""What holds what, from the ground up: places that stay, what is bolted, latched or stands there, who grips it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from cfgtrack.model.hold import seat_of
from cfgtrack.model.plant import HOLD, owner_of
from cfgtrack.show.drawing.alarms import Alarms
from cfgtrack.show.drawing.places import place_lines
from cfgtrack.show.drawing.schematic import Contents, Schematic
from cfgtrack.show.drawing.sheet import Box, Form, Line, Look, Row, Sheet
from cfgtrack.show.drawing.survey import Survey


def ground_sheet(survey: Survey) -> Sheet:
    """Return everything that holds or is held: a box for what has bolts and the like, a row for what only stands."""
    owners = _held_with_halves(survey)
    places = _places(survey, owners)
    locked = set(map(owner_of, survey.configuration.with_devices()))
    shown = [owner for owner in survey.order if owner in owners or owner in places or owner in locked]
    alarms = Alarms(survey, list(survey.order))
    drawing = Schematic(survey, alarms, [Contents(owner, HOLD) for owner in shown])
    boxes = [_box(survey, alarms, box) for box in drawing.boxes()]
    boxes += [
        _loose(alarms, unit) for unit in survey.plant.units if unit not in owners and _is_loose(alarms, unit)
    ]
    lines = [
        *drawing.lines(),
        *(line for line in place_lines(survey) if line.a in places and line.b in places),
        *_seats(survey, owners),
    ]
    return Sheet(tuple(boxes), tuple(lines), verdict=alarms.verdict(), notes=alarms.notes())


def _held_with_halves(survey: Survey) -> dict[str, None]:
    """Return the units and places that have bolts, latches or the like."""
    return {owner: None for owner in survey.order if survey.ends_of(owner, HOLD)}


def _places(survey: Survey, owners: dict[str, None]) -> set[str]:
    """Return the places that any of it stands on, down to the ground, and those that hold what stands there."""
    plant, found = survey.plant, set[str]()
    for place in plant.places.values():
        if place.id in owners or place.holds:
            found.update(plant.ancestors(place.id))
    return found


def _box(survey: Survey, alarms: Alarms, box: Box) -> Box:
    plant = survey.plant
    place = plant.places.get(box.id)
    if place is None:
        return box
    rows = tuple(_standing(survey, alarms, box.id)) if place.holds else ()
    form = Form.MOVES if place.mobile else Form.PLACE if place.parent else Form.GROUND
    return replace(box, form=form, rows=(*box.rows, *rows))


def _standing(survey: Survey, alarms: Alarms, place: str) -> Iterator[Row]:
    """Yield a row for each unit that is held by standing here, and has no bolts or the like."""
    for unit in survey.configuration.standing_at(place):
        if unit in survey.plant.units and not survey.ends_of(unit, HOLD):
            yield Row(unit, unit, "stands here", medium=HOLD, is_text=True, marks=alarms.owner(unit))


def _seats(survey: Survey, owners: dict[str, None]) -> Iterator[Line]:
    """Yield a line from each place that holds what stands on it to what has a box."""
    for owner in owners:
        seat = seat_of(survey.configuration, owner) if survey.plant.can_move(owner) else ""
        if seat and owner in survey.plant.units:
            yield Line(seat, "", owner, "", HOLD, Look.MADE, label="stands on")


def _is_loose(alarms: Alarms, unit: str) -> bool:
    survey = alarms.survey
    return bool(survey.configuration.state(unit).value) and survey.paths(HOLD).holding(unit).is_loose


def _loose(alarms: Alarms, unit: str) -> Box:
    place = alarms.survey.configuration.state(unit).value
    return Box(unit, unit, (f"at {place}",), marks=(*alarms.held(unit), *alarms.owner(unit)))
