"""The picture of places: the tree, and what stands where, whether it is held, and where it belongs."""

from __future__ import annotations

from collections.abc import Iterator

from cfgtrack.model.plant import HOLD
from cfgtrack.show.boxes import lock_rows
from cfgtrack.show.flags import Flags
from cfgtrack.show.picture import Box, BoxRow, Line, Look, Picture, Sort
from cfgtrack.show.ties import Survey

_NOWHERE = "nowhere known"


def place_picture(survey: Survey, flags: Flags) -> Picture:
    """Return the tree of places; each box lists the units that stand there."""
    plant = survey.plant
    boxes = [
        Box(
            place.id,
            title=place.title,
            note="moves" if place.mobile else "",
            groups=tuple(rows for rows in [tuple(_standing(survey, place.id, flags))] if rows),
            flags=flags.owners.get(place.id, ()),
            is_place=not place.mobile,
            moves=place.mobile,
        )
        for place in plant.places.values()
    ]
    lost = [u for u in plant.units if not survey.configuration.state(u).value]
    if lost:
        boxes.append(Box(_NOWHERE, groups=(tuple(_unit_row(survey, u, flags) for u in lost),)))
    return Picture(tuple(boxes), tuple(_tree(survey)))


def _standing(survey: Survey, place: str, flags: Flags) -> Iterator[BoxRow]:
    """Yield a row for each unit of which there is something to say, and one for all others."""
    yield from lock_rows(survey, place)
    plain: list[str] = []
    for thing in survey.configuration.standing_at(place):
        if thing in survey.plant.units:
            row = _unit_row(survey, thing, flags)
            if row.text == thing and not row.flags:
                plain.append(thing)
            else:
                yield row
    if plain:
        yield BoxRow(", ".join(plain), Sort.PORT)


def _unit_row(survey: Survey, unit: str, flags: Flags) -> BoxRow:
    state = survey.configuration.state(unit)
    home = survey.plant.units[unit].home
    facing = f" facing {state.other}" if state.other else ""
    away = f", home {home}" if home and home != state.value else ""
    loose = HOLD in survey.paths and survey.paths[HOLD].holding(unit).is_loose
    locks = "".join(f"  {row.text}" for row in lock_rows(survey, unit))
    text = f"{unit}{facing}{away}" + ("  NOT HELD" if loose else "") + locks
    return BoxRow(text, Sort.ALARM if loose else Sort.PORT, unit, flags.owners.get(unit, ()))


def _tree(survey: Survey) -> Iterator[Line]:
    for place in survey.plant.places.values():
        parent = survey.configuration.state(place.id).value if place.mobile else place.parent
        if parent:
            yield Line(parent, "", place.id, "", Look.INSIDE)
