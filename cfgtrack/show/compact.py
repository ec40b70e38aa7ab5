"""Pictures of the whole: a box a unit, one line for all that ties two of them. Also who holds whom."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from cfgtrack.model.plant import HOLD, owner_of
from cfgtrack.show.alike import merge_alike
from cfgtrack.show.arrange import by_place, left_of, look_of, says
from cfgtrack.show.boxes import alarms, drawn_box, hold_alarms, lock_rows
from cfgtrack.show.flags import Flags
from cfgtrack.show.picture import Box, BoxRow, Cluster, Line, Look, Picture, Sort
from cfgtrack.show.ties import Survey, Tie, find_ties

NO_HOLDS = "Not drawn: what holds what (bolts, latches, seats); the picture of medium hold draws it"


def compact_picture(survey: Survey, flags: Flags) -> Picture:
    """Return the picture of everything, or (media: hold alone) of what holds what.

    With other media there too, of hold only what gives is drawn: grips and tethers. Bolts have their own picture.
    """
    holds = survey.media == (HOLD,)
    found = list(find_ties(survey, flags.owners))
    ties = [t for t in found if holds or t.medium != HOLD or _gives(survey, t)]
    alike = merge_alike(survey, ties, flags.owners)
    hidden = {unit for t in ties for unit in t.via} | alike.left_out
    rows = {o: _rows(survey, o, holds=holds) for o in survey.plant.owners() if o not in hidden}
    tied = {owner_of(end) for t in alike.ties for end in (t.a, t.b)}
    marked = {o for o in rows if any(lock_rows(survey, o)) or any(r.sort is Sort.ALARM for r in rows[o])}
    boxes = [o for o in rows if o in tied or o in flags.owners or o in marked]
    lists, clusters, seats = _seats(survey, boxes) if holds else (*_by_place(survey, boxes, rows), [])
    boxes += [place for place in dict.fromkeys(seat.a for seat in seats) if place not in boxes]
    return Picture(
        boxes=(
            *(
                drawn_box(survey, o, flags, [tuple(rows[o])], alike.members.get(o, ()), at=holds)
                for o in boxes
            ),
            *lists,
        ),
        lines=(*_lines(survey, alike.ties, left_of(survey, alike.ties)), *seats),
        clusters=tuple(clusters),
        notes=(NO_HOLDS,) if len(ties) < len(found) else (),
    )


def _by_place(survey: Survey, boxes: Sequence[str], known: Iterable[str]) -> tuple[list[Box], list[Cluster]]:
    plant = survey.plant
    others = [o for o in known if o not in boxes and plant.can_move(o)]
    return by_place(survey, boxes, others)


def _gives(survey: Survey, tie: Tie) -> bool:
    return look_of(survey, tie) in (Look.GIVES, Look.APART)


def _seats(survey: Survey, boxes: Sequence[str]) -> tuple[list[Box], list[Cluster], list[Line]]:
    """Return what is held by standing somewhere: a line for each box, one list a place for all else."""
    lists: list[Box] = []
    lines: list[Line] = []
    for place in survey.plant.places.values():
        there = survey.configuration.standing_at(place.id) if place.holds else ()
        lines += [Line(place.id, "", b, "", Look.MADE, HOLD, "stands on") for b in there if b in boxes]
        alone = [thing for thing in there if thing not in boxes]
        if alone:
            lists.append(
                Box(f"on {place.id}", groups=((BoxRow(", ".join(alone), Sort.QUIET),),), is_list=True)
            )
            lines.append(Line(place.id, "", lists[-1].id, "", Look.MADE, HOLD, "stand on"))
    return lists, [], lines


def _rows(survey: Survey, owner: str, *, holds: bool) -> list[BoxRow]:
    return [*(hold_alarms(survey, owner) if holds else alarms(survey, owner)), *lock_rows(survey, owner)]


def _lines(survey: Survey, ties: Sequence[Tie], rank: Mapping[tuple[str, str], int]) -> list[Line]:
    """Return one line for all ties between two boxes that look alike."""
    merged: dict[tuple[str, str, Look], list[Tie]] = {}
    for tie in ties:
        a, b = owner_of(tie.a), owner_of(tie.b)
        if (rank[tie.medium, a], a) > (rank[tie.medium, b], b):
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
    counted: dict[tuple[str, str], int] = {}
    for tie in group:
        what = _hold_word(survey, tie) if tie.medium == HOLD else (tie.medium, "")
        counted[what] = counted.get(what, 0) + 1
    words = ", ".join(_counted(n, *what) for what, n in counted.items())
    said = says(look, " or ".join(dict.fromkeys(t.medium for t in group)))
    return f"{words}\n{said}" if said else words


def _hold_word(survey: Survey, tie: Tie) -> tuple[str, str]:
    found = survey.plant.port(tie.a)
    assert found is not None
    return found[1].id, survey.configuration.state(tie.a).value


def _counted(number: int, what: str, status: str) -> str:
    """Return ``fluid``, ``3 fluid``, ``latch engaged`` or ``4 bolts torqued``."""
    if number > 1:
        plural = "" if not status else "es" if what.endswith(("ch", "s", "x")) else "s"
        what = f"{number} {what}{plural}"
    return f"{what} {status}".rstrip()
