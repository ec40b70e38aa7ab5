"""Pictures that look inside: one medium, one loop, one unit and its neighbours."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from cfgtrack.model.configuration import Configuration
from cfgtrack.model.plant import HOLD, owner_of
from cfgtrack.network.network import Network
from cfgtrack.network.paths import loops_of
from cfgtrack.show.arrange import by_loop, by_place, left_of, look_of, says
from cfgtrack.show.boxes import Ends, Inside, box_rows
from cfgtrack.show.flags import Flags
from cfgtrack.show.picture import Box, Cluster, Line, Look, Picture, Row, Sort
from cfgtrack.show.tables import count
from cfgtrack.show.ties import Survey, Tie, find_ties

_MANY = 3


def detailed_picture(
    configuration: Configuration,
    networks: Mapping[str, Network],
    media: Sequence[str],
    title: str,
    moment: str,
    flags: Flags,
    *,
    around: str = "",
    hops: int = 1,
    loop: str = "",
) -> Picture:
    """Return the picture of some media: of all of the plant, of the neighbourhood of `around`, or of one `loop`."""
    survey = Survey(configuration, networks, media)
    ties = find_ties(survey, {*flags.owners, around})
    segments = _loop_segments(survey, media[0], loop) if loop else None
    if around:
        near = _within(ties, around, hops)
        ties = [t for t in ties if _leads_on(near, owner_of(t.a), owner_of(t.b), hops)]
    if segments is not None:
        ties = [t for t in ties if survey.paths[t.medium].segment(t.a) in segments]
    ends = _ends(survey, ties)
    passing = {unit for t in ties for unit in t.via}
    owners = [around, *(o for o in near if o != around)] if around else list(survey.plant.owners())
    contents = {
        o: _contents(survey, o, ends.get(o, Ends()), flags, segments, brief=bool(around) and o != around)
        for o in owners
        if o not in passing
    }
    boxes = [o for o, rows in contents.items() if o in ends or _stands_out(rows) or o == around]
    others = [o for o, rows in contents.items() if rows and o not in boxes and not around and not loop]
    rank = left_of(survey, ties)
    if around:
        rank = {(medium, owner): far for medium in media for owner, far in near.items()}
    lists, clusters = _clusters(survey, boxes, others, around=around, loop=loop)
    return Picture(
        title=title,
        moment=moment,
        boxes=(*(_box(survey, o, contents[o], flags) for o in boxes), *lists),
        lines=tuple(_lines(survey, ties, ends, rank)),
        clusters=tuple(clusters),
        notes=(*_left_out(survey, contents, media, around=around, loop=loop), *flags.notes),
        media=tuple(survey.plant.media),
    )


# --- which boxes --------------------------------------------------------------------------------------------------


def _distances(ties: Iterable[Tie], start: str) -> dict[str, int]:
    near: dict[str, list[str]] = {}
    for tie in ties:
        a, b = owner_of(tie.a), owner_of(tie.b)
        near.setdefault(a, []).append(b)
        near.setdefault(b, []).append(a)
    found = {start: 0}
    queue = [start]
    for owner in queue:
        for far in near.get(owner, ()):
            if far not in found:
                found[far] = found[owner] + 1
                queue.append(far)
    return found


def _within(ties: Iterable[Tie], start: str, hops: int) -> dict[str, int]:
    return {owner: far for owner, far in _distances(ties, start).items() if far <= hops}


def _leads_on(near: Mapping[str, int], a: str, b: str, hops: int) -> bool:
    """Whether a tie leads to a box that is shown: what ties two of the outermost to each other is left out."""
    return a in near and b in near and min(near[a], near[b]) < hops


def _loop_segments(survey: Survey, medium: str, loop: str) -> frozenset[int]:
    """Return the segments that are in a loop now; those in none count for the loop they are defined in."""
    paths = survey.paths[medium]
    found: set[int] = set()
    for owner in survey.plant.owners():
        for item in paths.network.items_of(owner):
            segment = paths.segment(item)
            if segment is None or segment in found:
                continue
            loops = loops_of(paths, item) or (survey.plant.loop_of(item),)
            if loop in loops:
                found.add(segment)
    return frozenset(found)


def _stands_out(groups: Sequence[tuple[Row, ...]]) -> bool:
    return any(row.sort is Sort.ALARM for rows in groups for row in rows)


def _left_out(
    survey: Survey, contents: Mapping[str, Sequence[object]], media: Sequence[str], *, around: str, loop: str
) -> list[str]:
    if around or loop:
        return []
    bare = sum(1 for o, rows in contents.items() if not rows and o in survey.plant.units)
    return [f"Not drawn: {count(bare, 'unit')} with nothing of {' or '.join(media)}"] if bare else []


def _clusters(
    survey: Survey, boxes: Sequence[str], others: Sequence[str], *, around: str, loop: str
) -> tuple[list[Box], list[Cluster]]:
    paths = survey.paths[survey.media[0]]
    if len(survey.media) == 1 and paths.nodes("expansion") and not around and not loop:

        def loop_of(owner: str) -> str:
            items = paths.network.items_of(owner)
            real = {name for item in items for name in loops_of(paths, item)}
            real |= {survey.plant.loop_of(item) for item in items if not loops_of(paths, item)} - {""}
            return real.pop() if len(real) == 1 else ""

        loops = by_loop(boxes, loop_of)
        if len(loops) > 1:
            lists, _ = by_place(survey, [], others)
            return lists, loops
    return by_place(survey, boxes, others)


# --- boxes and their rows -----------------------------------------------------------------------------------------


def _contents(
    survey: Survey,
    owner: str,
    ends: Ends,
    flags: Flags,
    segments: frozenset[int] | None,
    *,
    brief: bool,
) -> list[tuple[Row, ...]]:
    groups: list[tuple[Row, ...]] = []
    for medium in survey.media:
        rows = box_rows(survey, owner, medium, ends, flags.items, only=segments, brief=brief)
        if rows and len(survey.media) > 1 and not brief:
            rows[0] = (Row(medium, Sort.MEDIUM), *rows[0])
        groups += rows
    return groups


def _box(survey: Survey, owner: str, groups: Sequence[tuple[Row, ...]], flags: Flags) -> Box:
    plant = survey.plant
    thing = plant.units.get(owner) or plant.places[owner]
    at = survey.configuration.state(owner).value if owner in plant.units else ""
    return Box(
        owner,
        title=thing.title or plant.part_of(owner).title,
        note=f"at {at}" if at else "",
        groups=tuple(groups),
        flags=flags.owners.get(owner, ()),
        is_place=owner in plant.places and not plant.is_mobile(owner),
        moves=plant.is_mobile(owner),
    )


def _ends(survey: Survey, ties: Sequence[Tie]) -> dict[str, Ends]:
    """Give every port at which a line ends its row: one for all that lead from one group to one box and look alike."""
    insides: dict[tuple[str, str], Inside] = {}
    gathered: dict[tuple[str, tuple[str, ...], str, Look], list[str]] = {}
    for tie in ties:
        for near, far in ((tie.a, tie.b), (tie.b, tie.a)):
            owner = owner_of(near)
            where = (owner, tie.medium)
            if where not in insides:
                insides[where] = Inside(survey, owner, tie.medium)
            key = (owner, _alike(survey, tie, near, insides[where]), owner_of(far), look_of(survey, tie))
            gathered.setdefault(key, []).append(near)
    ends: dict[str, Ends] = {}
    for (owner, *_), found in gathered.items():
        ports = sorted(found, key=survey.plant.ports_of(owner).index)
        one = ends.setdefault(owner, Ends())
        one.texts[ports[0]] = _text(survey, ports)
        one.row_of.update(dict.fromkeys(ports, ports[0]))
    return ends


def _alike(survey: Survey, tie: Tie, port: str, inside: Inside) -> tuple[str, ...]:
    if tie.medium == HOLD:
        found = survey.plant.port(port)
        assert found is not None
        return (HOLD, found[1].id, survey.configuration.state(port).value)
    return (tie.medium, inside.leader(port))


def _text(survey: Survey, ports: Sequence[str]) -> str:
    found = survey.plant.port(ports[0])
    assert found is not None
    names = [port.partition(":")[2] for port in ports]
    listed = ", ".join(names) if len(names) <= _MANY + 1 else f"{names[0]} ... {names[-1]}"
    if found[1].medium == HOLD:
        status = survey.configuration.state(ports[0]).value
        return f"{listed}  {found[1].id} {status}"
    return listed


def _lines(
    survey: Survey, ties: Sequence[Tie], ends: Mapping[str, Ends], rank: Mapping[tuple[str, str], int]
) -> list[Line]:
    """Return one line for all ties between the same two rows."""
    merged: dict[tuple[str, str, str, str, Look, str], list[Tie]] = {}
    for tie in ties:
        a, b = tie.a, tie.b
        one, other = owner_of(a), owner_of(b)
        if (rank[tie.medium, one], one) > (rank[tie.medium, other], other):
            a, b, one, other = b, a, other, one
        key = (one, ends[one].row_of[a], other, ends[other].row_of[b], look_of(survey, tie), tie.medium)
        merged.setdefault(key, []).append(tie)
    return [
        Line(a, a_row, b, b_row, look, medium, _label(group, look, medium))
        for (a, a_row, b, b_row, look, medium), group in merged.items()
    ]


def _label(group: Sequence[Tie], look: Look, medium: str) -> str:
    via = list(dict.fromkeys(" ".join(t.via) for t in group if t.via))
    words = via if len(via) <= _MANY else [f"{via[0]} ... {via[-1]}"]
    if len(group) > 1:
        words = [*words, f"x {len(group)}"]
    said = says(look, medium)
    return "\n".join([*words, said] if said else words)
