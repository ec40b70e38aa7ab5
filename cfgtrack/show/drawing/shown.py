"""From what a picture is of to what it shows: which boxes, and how much of each."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass, replace

from cfgtrack.answers.draw import Scene, Scope
from cfgtrack.model.plant import HOLD, owner_of, port_of
from cfgtrack.show.drawing.alarms import Alarms
from cfgtrack.show.drawing.fold import Pattern, folded
from cfgtrack.show.drawing.ground import ground_sheet
from cfgtrack.show.drawing.interior import is_inline
from cfgtrack.show.drawing.places import place_sheet
from cfgtrack.show.drawing.schematic import Contents, Schematic
from cfgtrack.show.drawing.sheet import Sheet
from cfgtrack.show.drawing.survey import Survey

MANY_BOXES = 100
"""Up to so many boxes are drawn each for itself, unless a fold is asked for."""


def shown(scene: Scene, *, title: str = "", fold: bool | None = None) -> Sheet:
    """Return what a picture shows. `fold`: boxes that are alike as one; None: only where there are too many of them.

    The same scene gives the same sheet. Boxes, rows, gates and bars don't depend on what is open, shut, on or off.
    """
    scope, plant = scene.scope, scene.plant
    media = [m for m in plant.media if scope.medium in ("", m)]
    survey = Survey(scene, media)
    if scope.sort == "places":
        sheet = place_sheet(survey)
    elif scope.medium == HOLD and scope.sort == "medium":
        sheet = ground_sheet(survey)
    else:
        sheet = _schematic(survey, _contents(survey, scope))
    sheet = replace(
        sheet,
        title=title or _title(scope),
        moment=str(scene.moment),
        media=tuple(plant.media),
        down=scope.medium == "power",
    )
    if fold or (fold is None and len(sheet.boxes) > MANY_BOXES):
        return folded(sheet, _patterns(survey))
    return sheet


def _schematic(survey: Survey, contents: Collection[Contents]) -> Sheet:
    owners = list(dict.fromkeys(one.owner for one in contents))
    alarms = Alarms(survey, owners)
    drawing = Schematic(survey, alarms, contents)
    boxes, lines = drawing.boxes(), drawing.lines()
    return Sheet(tuple(boxes), tuple(lines), verdict=alarms.verdict(), notes=alarms.notes())


def _title(scope: Scope) -> str:
    match scope.sort:
        case "everything":
            return "Everything, and what it is connected to"
        case "medium":
            return (
                "What holds what, down to the ground" if scope.subject == HOLD else f"Medium {scope.subject}"
            )
        case "around":
            medium = f", {scope.medium} only" if scope.medium else ""
            return f"{scope.subject} and what is connected to it{medium}"
        case "loop":
            return f"Loop {scope.subject} ({scope.medium})"
        case _:
            return "Places, and what stands in them"


# --- which boxes, and how much of each ---------------------------------------------------------------------------


def _contents(survey: Survey, scope: Scope) -> list[Contents]:
    if scope.sort == "around":
        return list(_around(survey, scope.subject, scope.hops))
    if scope.sort == "loop":
        return list(_loop(survey, scope.subject))
    locked = set(map(owner_of, survey.configuration.with_devices()))
    found = []
    for owner in survey.order:
        whole = list(_whole(survey, owner))
        found += whole or ([Contents(owner, "", ())] if owner in locked else [])
    return found


def _whole(survey: Survey, owner: str) -> Iterator[Contents]:
    """Yield all that a unit or place has of the media shown."""
    part = survey.plant.part_of(owner)
    for medium in survey.media:
        if survey.ends_of(owner, medium) or any(node.medium == medium for node in part.nodes.values()):
            yield Contents(owner, medium)


@dataclass(slots=True)
class _Reach:
    """The wholes (groups that any ways tie inside) of units and places, and which ties lead from one to another."""

    survey: Survey
    wholes: dict[tuple[str, str, int], list[tuple[str, str, int]]]
    of_end: dict[str, tuple[str, str, int]]

    @classmethod
    def of(cls, survey: Survey) -> _Reach:
        of_end: dict[str, tuple[str, str, int]] = {}
        reach = cls(survey, {}, of_end)
        for owner in survey.order:
            for medium in survey.media:
                if medium == HOLD:
                    if ends := survey.ends_of(owner, HOLD):
                        reach.wholes[owner, HOLD, 0] = []
                        of_end.update((end, (owner, HOLD, 0)) for end in ends)
                    continue
                inside = survey.inside(owner, medium)
                for turn, whole in enumerate(inside.wholes):
                    key = (owner, medium, turn)
                    reach.wholes[key] = []
                    of_end.update((f"{owner}:{e}", key) for g in whole for e in inside.groups[g].ends)
        for tie in survey.ties:
            if tie.a in of_end and tie.b in of_end:
                reach.wholes[of_end[tie.a]].append(of_end[tie.b])
                reach.wholes[of_end[tie.b]].append(of_end[tie.a])
        return reach

    def items(self, whole: tuple[str, str, int]) -> Iterator[str]:
        """Yield the addresses of all ends and nodes of a whole."""
        owner, medium, turn = whole
        if medium == HOLD:
            yield from self.survey.ends_of(owner, HOLD)
            return
        inside = self.survey.inside(owner, medium)
        for group in sorted(inside.wholes[turn]):
            yield from (
                f"{owner}:{name}" for name in (*inside.groups[group].ends, *inside.groups[group].nodes)
            )

    def contents(self, wholes: Collection[tuple[str, str, int]], centre: str = "") -> Iterator[Contents]:
        """Yield what to draw of some wholes, in the plant's order; all bolts and the like of the `centre` alone."""
        groups: dict[tuple[str, str], set[int]] = {}
        for owner, medium, turn in wholes:
            if medium == HOLD:
                groups[owner, HOLD] = set()
                continue
            groups.setdefault((owner, medium), set()).update(self.survey.inside(owner, medium).wholes[turn])
        media = {medium: i for i, medium in enumerate(self.survey.media)}
        for owner, medium in sorted(groups, key=lambda key: (self.survey.order[key[0]], media[key[1]])):
            found = groups[owner, medium]
            every = (
                owner == centre
                if medium == HOLD
                else len(found) == len(self.survey.inside(owner, medium).groups)
            )
            yield Contents(owner, medium, None if every else frozenset(found))


def _around(survey: Survey, centre: str, hops: int) -> Iterator[Contents]:
    """Yield a unit or place and what is within so many hops, over ties of any time; what is drawn on a line is none.

    Of each but the centre what the ties on the way end at, with all that any gates tie it to inside.
    """
    reach = _Reach.of(survey)
    start = [whole for whole in reach.wholes if whole[0] == centre]
    far = dict.fromkeys(start, 0)
    queue = list(start)
    while queue:
        whole = queue.pop(0)
        inline = whole[0] != centre and _is_inline(survey, whole[0])
        for other in reach.wholes[whole]:
            passes = _is_inline(survey, other[0]) and other[0] != centre
            cost = far[whole] + (not passes)
            if other in far or cost > hops or (passes and far[whole] >= hops and not inline):
                continue
            far[other] = cost
            if passes:
                queue.insert(0, other)
            else:
                queue.append(other)
    if not start:
        yield Contents(centre, "", ())
    for tie in survey.ties:  # beside the contacts of a joint those of the same shells, which may face nothing
        if reach.of_end.get(tie.a) in far and reach.of_end.get(tie.b) in far:
            for shell in (port_of(tie.a), port_of(tie.b)):
                contacts = survey.plant.contacts_of(shell)
                far.update((reach.of_end[end], 0) for end in contacts if end in reach.of_end)
    yield from reach.contents(far, centre)


def _is_inline(survey: Survey, owner: str) -> bool:
    plant = survey.plant
    return owner in plant.units and is_inline(plant, plant.part_of(owner), survey.media)


def _loop(survey: Survey, loop: str) -> Iterator[Contents]:
    """Yield what is defined to be in a loop, and what any ways lead to from there, up to what is of another loop.

    Whatever is shut or open: so the picture of a loop stays.
    """
    reach = _Reach.of(survey)
    defined = {whole: _defined(survey, reach.items(whole)) for whole in reach.wholes}
    found = dict.fromkeys(whole for whole, loops in defined.items() if loop in loops)
    queue = list(found)
    for whole in queue:
        if defined[whole] - {loop}:
            continue
        for other in reach.wholes[whole]:
            if other not in found:
                found[other] = None
                queue.append(other)
    yield from reach.contents(found)


def _defined(survey: Survey, items: Iterator[str]) -> set[str]:
    return {loop for item in items if (loop := survey.plant.loop_of(item))}


def _patterns(survey: Survey) -> Mapping[str, Pattern]:
    """Return what each unit and place is one of many of."""
    parts = {owner: survey.plant.part_of(owner) for owner in survey.order}
    return {owner: Pattern(part.id, part.title) for owner, part in parts.items() if part.id}
