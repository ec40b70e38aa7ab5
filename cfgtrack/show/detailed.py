"""Pictures that look inside: one medium, one loop, one unit and its neighbours."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from cfgtrack.answers.draw import Scope
from cfgtrack.model.plant import HOLD, owner_of, port_of
from cfgtrack.network.paths import loops_of
from cfgtrack.show.alike import merge_alike
from cfgtrack.show.arrange import by_loop, by_place, distances, left_of, look_of, neighbours, says
from cfgtrack.show.boxes import Ends, Inside, box_rows, drawn_box, lock_rows
from cfgtrack.show.flags import Flags
from cfgtrack.show.picture import Box, BoxRow, Cluster, Line, Look, Picture, Sort
from cfgtrack.show.tables import count
from cfgtrack.show.ties import Survey, Tie, find_ties

_MANY = 3


def detailed_picture(survey: Survey, flags: Flags, scope: Scope) -> Picture:
    """Return the picture of some media: of everything, of a unit or place and its neighbours, or of one loop."""
    around = scope.subject if scope.sort == "around" else ""
    ties = find_ties(survey, {*flags.owners, around})
    if around:
        return _around(survey, ties, flags, around, scope.hops).picture()
    segments = _loop_segments(survey, scope.subject) if scope.sort == "loop" else None
    if segments is not None:
        ties = [t for t in ties if survey.paths[t.medium].segment(t.a) in segments]
    return _whole(survey, ties, flags, segments).picture()


@dataclass(slots=True)
class _Drawing:
    """What is drawn: ties, boxes with their rows, and what is left out."""

    survey: Survey
    flags: Flags
    ties: list[Tie]
    ends: dict[str, Ends]
    rank: dict[tuple[str, str], int]
    contents: dict[str, list[tuple[BoxRow, ...]]]
    boxes: list[str]
    others: list[str] = field(default_factory=list)
    members: dict[str, tuple[str, ...]] = field(default_factory=dict)
    clustered: bool = True
    by_loop: bool = False
    notes: tuple[str, ...] = ()

    def picture(self) -> Picture:
        lists, clusters = self._clusters()
        return Picture(
            boxes=(*map(self._box, self.boxes), *lists),
            lines=tuple(_lines(self.survey, self.ties, self.ends, self.rank)),
            clusters=tuple(clusters),
            notes=self.notes,
        )

    def _box(self, owner: str) -> Box:
        members = self.members.get(owner, ())
        return drawn_box(self.survey, owner, self.flags, self.contents[owner], members)

    def _clusters(self) -> tuple[list[Box], list[Cluster]]:
        if not self.clustered:
            return [], []
        if self.by_loop:
            loops = by_loop(self.boxes, lambda owner: _loop_of(self.survey, owner))
            if len(loops) > 1:
                return by_place(self.survey, [], self.others)[0], loops
        return by_place(self.survey, self.boxes, self.others)


def _around(survey: Survey, ties: list[Tie], flags: Flags, centre: str, hops: int) -> _Drawing:
    tied = {centre, *(owner_of(end) for t in ties for end in (t.a, t.b))}
    near = {o: far for o, far in _far_off(survey, centre).items() if o in tied and far <= 2 * hops}
    ties = [t for t in ties if _leads_on(near, owner_of(t.a), owner_of(t.b), 2 * hops)]
    ends = _ends(_Insides(survey), ties)
    owners = [centre, *(o for o in near if o != centre)]
    return _Drawing(
        survey,
        flags,
        ties,
        ends,
        rank={(medium, owner): far for medium in survey.media for owner, far in near.items()},
        contents={o: _contents(survey, o, ends.get(o, Ends()), flags, brief=o != centre) for o in owners},
        boxes=owners,
        clustered=False,
    )


def _whole(survey: Survey, ties: list[Tie], flags: Flags, segments: frozenset[int] | None) -> _Drawing:
    insides = _Insides(survey)
    alike = merge_alike(survey, ties, flags.owners, insides.group_of)
    ends = _ends(insides, alike.ties)
    hidden = {unit for t in ties for unit in t.via} | alike.left_out
    owners = [o for o in survey.plant.owners() if o not in hidden]
    contents = {o: _contents(survey, o, ends.get(o, Ends()), flags, segments) for o in owners}
    locked = set(map(owner_of, survey.configuration.with_devices()))
    boxes = [o for o, rows in contents.items() if o in ends or _stands_out(rows) or (rows and o in locked)]
    whole = segments is None
    return _Drawing(
        survey,
        flags,
        alike.ties,
        ends,
        rank=left_of(survey, alike.ties),
        contents=contents,
        boxes=boxes,
        others=[o for o, rows in contents.items() if rows and o not in ends and o not in boxes]
        if whole
        else [],
        members=alike.members,
        by_loop=whole and bool(survey.paths[survey.media[0]].nodes("expansion")),
        notes=_left_out(survey, contents) if whole else (),
    )


class _Insides:
    """The inside of units and places, worked out once each."""

    def __init__(self, survey: Survey) -> None:
        self.survey = survey
        self._found: dict[tuple[str, str], Inside] = {}

    def of(self, owner: str, medium: str) -> Inside:
        if (owner, medium) not in self._found:
            self._found[owner, medium] = Inside(self.survey, owner, medium)
        return self._found[owner, medium]

    def group_of(self, owner: str, port: str) -> str:
        medium = self.survey.medium_of(port) or ""
        return self.of(owner, medium).leader(port)


# --- which boxes --------------------------------------------------------------------------------------------------


def _far_off(survey: Survey, centre: str) -> dict[str, int]:
    """Return how far off each owner is, two a hop: what passes on is none, and lies between where it is a box."""
    ties = find_ties(survey, {centre}, marked=False)
    found = distances([[centre]], neighbours(ties))
    between: dict[str, int] = {}
    for tie in ties:
        ends = [2 * found[owner] + 1 for owner in (owner_of(tie.a), owner_of(tie.b)) if owner in found]
        between.update({unit: min([*ends, between.get(unit, ends[0])]) for unit in tie.via if ends})
    return {owner: 2 * far for owner, far in found.items()} | between


def _leads_on(near: Mapping[str, int], a: str, b: str, hops: int) -> bool:
    """Whether a tie leads to a box that is shown: what ties two of the outermost to each other is left out."""
    return a in near and b in near and min(near[a], near[b]) < hops


def _loop_segments(survey: Survey, loop: str) -> frozenset[int]:
    """Return the segments that are in a loop now; those in none count for the loop they are defined in."""
    paths = survey.paths[survey.media[0]]
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


def _stands_out(groups: Sequence[tuple[BoxRow, ...]]) -> bool:
    return any(row.sort is Sort.ALARM for rows in groups for row in rows)


def _left_out(survey: Survey, contents: Mapping[str, Sequence[object]]) -> tuple[str, ...]:
    bare = sum(1 for o, rows in contents.items() if not rows and o in survey.plant.units)
    return (f"Not drawn: {count(bare, 'unit')} with nothing of {' or '.join(survey.media)}",) if bare else ()


def _loop_of(survey: Survey, owner: str) -> str:
    """Return the one loop that a unit or place is in now (by definition, where it is cut off), "" for several."""
    paths = survey.paths[survey.media[0]]
    loops: set[str] = set()
    for item in paths.network.items_of(owner):
        loops.update(loops_of(paths, item) or {survey.plant.loop_of(item)} - {""})
    return loops.pop() if len(loops) == 1 else ""


# --- boxes and their rows -----------------------------------------------------------------------------------------


def _contents(
    survey: Survey,
    owner: str,
    ends: Ends,
    flags: Flags,
    segments: frozenset[int] | None = None,
    *,
    brief: bool = False,
) -> list[tuple[BoxRow, ...]]:
    groups: list[tuple[BoxRow, ...]] = []
    for medium in survey.media:
        rows = box_rows(survey, owner, medium, ends, flags.items, only=segments, brief=brief)
        if rows and len(survey.media) > 1 and not brief:
            rows[0] = (BoxRow(medium, Sort.MEDIUM), *rows[0])
        groups += rows
    only = None
    if brief:
        only = {port_of(end) for end in ends.row_of}
    elif segments is not None:
        paths = survey.paths[survey.media[0]]
        only = {p for p in survey.plant.ports_of(owner) if not segments.isdisjoint(paths.segments(p))}
    locks = tuple(lock_rows(survey, owner, survey.media, only=only))
    return [*groups, locks] if locks else groups


def _ends(insides: _Insides, ties: Sequence[Tie]) -> dict[str, Ends]:
    """Give every port at which a line ends its row: one for all that lead from one group to one box and look alike."""
    survey = insides.survey
    gathered: dict[tuple[str, tuple[str, ...], str, Look], list[str]] = {}
    for tie in ties:
        for near, far in ((tie.a, tie.b), (tie.b, tie.a)):
            owner = owner_of(near)
            key = (owner, _alike(insides, tie, near), owner_of(far), look_of(survey, tie))
            gathered.setdefault(key, []).append(near)
    ends: dict[str, Ends] = {}
    for (owner, *_), found in gathered.items():
        ports = sorted(set(found), key=survey.ends_of(owner).index)
        one = ends.setdefault(owner, Ends())
        one.texts[ports[0]] = _text(survey, ports)
        one.row_of.update(dict.fromkeys(ports, ports[0]))
    return ends


def _alike(insides: _Insides, tie: Tie, port: str) -> tuple[str, ...]:
    if tie.medium == HOLD:
        found = insides.survey.plant.port(port)
        assert found is not None
        return (HOLD, found[1].id, insides.survey.configuration.state(port).value)
    return (tie.medium, insides.group_of(owner_of(port), port))


def _text(survey: Survey, ports: Sequence[str]) -> str:
    found = survey.plant.port(ports[0])
    names = [port.partition(":")[2] for port in ports]
    listed = ", ".join(names) if len(names) <= _MANY + 1 else f"{names[0]} ... {names[-1]} ({len(names)})"
    if found is not None and found[1].medium == HOLD:
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
