"""Pictures of the whole: a box a unit, one line for all that ties two of them. Also who holds whom."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from cfgtrack.model.configuration import Configuration
from cfgtrack.model.plant import HOLD, owner_of
from cfgtrack.network.network import Network
from cfgtrack.show.arrange import by_place, look_of, ranks
from cfgtrack.show.boxes import alarms
from cfgtrack.show.flags import Flags
from cfgtrack.show.picture import Box, Line, Look, Picture, Row, Sort
from cfgtrack.show.ties import Survey, Tie, find_ties

_MANY = 3


def compact_picture(
    configuration: Configuration,
    networks: Mapping[str, Network],
    media: Sequence[str],
    title: str,
    moment: str,
    flags: Flags,
) -> Picture:
    """Return the picture of everything, or (media: hold alone) of what holds what.

    With other media there too, of hold only what gives is drawn: grips and tethers. Bolts have their own picture.
    """
    survey = Survey(configuration, networks, media)
    holds = tuple(media) == (HOLD,)
    ties = [t for t in find_ties(survey, flags.owners) if holds or t.medium != HOLD or _gives(survey, t)]
    seats = _seats(survey) if holds else []
    tied = {owner_of(end) for t in ties for end in (t.a, t.b)} | {o for seat in seats for o in seat}
    passing = {unit for t in ties for unit in t.via}
    rows = {o: _rows(survey, o, holds=holds) for o in survey.plant.owners() if o not in passing}
    boxes = [o for o in rows if o in tied or rows[o] or o in flags.owners]
    units = survey.plant.units
    others = [o for o in rows if o not in boxes and (o in units or survey.plant.is_mobile(o))]
    if holds:
        others = []
    rank = ranks(survey, ties, boxes)
    lists, clusters = ([], []) if holds else by_place(survey, boxes, others)
    return Picture(
        title=title,
        moment=moment,
        boxes=(*(_box(survey, o, rows[o], flags, holds=holds) for o in boxes), *lists),
        lines=(
            *_lines(survey, ties, rank),
            *(Line(p, "", u, "", Look.MADE, HOLD, "stands on") for p, u in seats),
        ),
        clusters=tuple(clusters),
        notes=flags.notes,
        media=tuple(survey.plant.media),
    )


def _gives(survey: Survey, tie: Tie) -> bool:
    return look_of(survey, tie) in (Look.GIVES, Look.APART)


def _seats(survey: Survey) -> list[tuple[str, str]]:
    """Return (place, unit) for what is held by standing there."""
    places = [p.id for p in survey.plant.places.values() if p.holds]
    return [(p, thing) for p in places for thing in survey.configuration.standing_at(p)]


def _rows(survey: Survey, owner: str, *, holds: bool) -> list[Row]:
    if not holds:
        return list(alarms(survey, owner))
    paths = survey.paths[HOLD]
    if owner not in survey.plant.units or paths.is_held(owner):
        return []
    can_be_held = any(survey.medium_of(p) == HOLD for p in survey.plant.ports_of(owner))
    bearers = paths.bearers(owner)
    if bearers:
        return [Row(f"held by {', '.join(bearers)} alone", Sort.ALARM)]
    return [Row("NOT HELD", Sort.ALARM)] if can_be_held else []


def _box(survey: Survey, owner: str, rows: Sequence[Row], flags: Flags, *, holds: bool) -> Box:
    plant = survey.plant
    thing = plant.units.get(owner) or plant.places[owner]
    at = survey.configuration.state(owner).value if owner in plant.units and holds else ""
    return Box(
        owner,
        title=thing.title or plant.part_of(owner).title,
        note=f"at {at}" if at else "",
        groups=(tuple(rows),) if rows else (),
        flags=flags.owners.get(owner, ()),
        is_place=owner in plant.places,
    )


def _lines(survey: Survey, ties: Sequence[Tie], rank: Mapping[str, int]) -> list[Line]:
    """Return one line for all ties between two boxes that look alike."""
    merged: dict[tuple[str, str, Look], list[Tie]] = {}
    for tie in ties:
        a, b = owner_of(tie.a), owner_of(tie.b)
        if (rank[a], a) > (rank[b], b):
            a, b = b, a
        merged.setdefault((a, b, look_of(survey, tie)), []).append(tie)
    lines: list[Line] = []
    for (a, b, look), group in merged.items():
        media = list(dict.fromkeys(t.medium for t in group))
        lines.append(
            Line(a, "", b, "", look, media[0] if len(media) == 1 else "", _label(survey, group, look))
        )
    return lines


def _label(survey: Survey, group: Sequence[Tie], look: Look) -> str:
    counted: dict[str, int] = {}
    for tie in group:
        what = _hold_word(survey, tie) if tie.medium == HOLD else tie.medium
        counted[what] = counted.get(what, 0) + 1
    words = ", ".join(f"{n} {what}" if n > 1 else what for what, n in counted.items())
    said = {Look.APART: "not carrying", Look.CUT_OFF: "cut off", Look.DEAD: "no power"}.get(look)
    return f"{words}\n{said}" if said else words


def _hold_word(survey: Survey, tie: Tie) -> str:
    found = survey.plant.port(tie.a)
    assert found is not None
    return f"{found[1].id} {survey.configuration.state(tie.a).value}"
