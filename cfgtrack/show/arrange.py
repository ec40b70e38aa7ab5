"""How a picture is arranged: which way lines run, and which boxes stand together."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterable, Mapping, Sequence

from cfgtrack.model.configuration import place_line
from cfgtrack.model.plant import HOLD, owner_of
from cfgtrack.show.picture import Box, Cluster, Look, Row, Sort
from cfgtrack.show.ties import Survey, Tie


def look_of(survey: Survey, tie: Tie) -> Look:
    """Return how a tie is drawn."""
    paths = survey.paths[tie.medium]
    if not tie.made:
        return Look.APART
    if tie.medium == HOLD:
        gives = survey.plant.is_flexible(tie.a) or survey.plant.is_flexible(tie.b)
        return Look.GIVES if gives else Look.MADE
    if paths.nodes("expansion") or paths.nodes("liquid"):
        return Look.CUT_OFF if paths.is_live(tie.a) and paths.is_cut_off(tie.a) else Look.MADE
    if paths.nodes("source") and not paths.is_fed(tie.a):
        return Look.DEAD
    return Look.MADE


def ranks(survey: Survey, ties: Iterable[Tie], owners: Sequence[str]) -> dict[str, int]:
    """Return how far each owner stands from where its medium comes from (hold: from the places that stay)."""
    near: dict[str, list[str]] = {owner: [] for owner in owners}
    for tie in ties:
        a, b = owner_of(tie.a), owner_of(tie.b)
        near[a].append(b)
        near[b].append(a)
    rank: dict[str, int] = {}
    for roots in _roots(survey, owners, near):
        queue = deque(root for root in roots if root not in rank)
        rank.update(dict.fromkeys(queue, 0))
        while queue:
            owner = queue.popleft()
            for far in near[owner]:
                if far not in rank:
                    rank[far] = rank[owner] + 1
                    queue.append(far)
    return rank


def _roots(
    survey: Survey, owners: Sequence[str], near: Mapping[str, Sequence[str]]
) -> Iterable[Sequence[str]]:
    """Yield sets of roots, each for what those before do not reach."""
    plant = survey.plant
    if survey.media == (HOLD,):
        yield [o for o in owners if o in plant.places and not plant.is_mobile(o)]
    among = set(owners)
    for sort in ("source", "expansion"):
        nodes = (owner_of(n) for paths in survey.paths.values() for n in paths.nodes(sort))
        yield [o for o in dict.fromkeys(nodes) if o in among]
    for owner in sorted(owners, key=lambda o: -len(near[o])):
        yield [owner]


# --- clusters -----------------------------------------------------------------------------------------------------


def by_place(survey: Survey, boxes: Sequence[str], others: Sequence[str]) -> tuple[list[Box], list[Cluster]]:
    """Return clusters of boxes by place, and boxes that list the `others` that stand there without any line.

    A place becomes a cluster where it keeps two things or more together; else its one thing goes outwards.
    """
    plant = survey.plant
    members: dict[str, list[str]] = {}
    listed: dict[str, list[str]] = {}
    for table, names in ((members, boxes), (listed, others)):
        for name in names:
            line = place_line(survey.configuration, name)
            table.setdefault(line[0] if line else "", []).append(name)
    lists: list[Box] = []
    children: dict[str, list[str]] = {}
    for place in plant.places:
        line = place_line(survey.configuration, place)
        children.setdefault(line[1] if len(line) > 1 else "", []).append(place)

    def build(place: str) -> tuple[list[str], list[Cluster]]:
        inner_boxes = list(members.get(place, ()))
        here = listed.get(place, [])
        if here:
            lists.append(_list(place, here))
            inner_boxes.append(lists[-1].id)
        inner: list[Cluster] = []
        for child in children.get(place, ()):
            child_boxes, child_clusters = build(child)
            inner_boxes += child_boxes
            inner += child_clusters
        if place and len(inner_boxes) + len(inner) > 1:
            return [], [Cluster(place, plant.places[place].title, tuple(inner_boxes), tuple(inner))]
        return inner_boxes, inner

    _, clusters = build("")
    while len(clusters) == 1 and not clusters[0].boxes:
        clusters = list(clusters[0].inner)
    return lists, clusters


def _list(place: str, names: Sequence[str]) -> Box:
    text = f"also at {place}: {', '.join(names)}" if place else f"nowhere known: {', '.join(names)}"
    return Box(f"also at {place}", groups=((Row(text, Sort.QUIET),),), is_list=True)


def by_loop(boxes: Sequence[str], loop_of: Callable[[str], str]) -> list[Cluster]:
    """Return a cluster for each loop; what is in none, or in several, stands outside."""
    members: dict[str, list[str]] = {}
    for box in boxes:
        members.setdefault(loop_of(box), []).append(box)
    return [Cluster(f"Loop {loop}", "", tuple(names)) for loop, names in sorted(members.items()) if loop]
