"""How a picture is arranged: which way lines run, and which boxes stand together."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence

from cfgtrack.model.configuration import place_line
from cfgtrack.model.plant import HOLD, owner_of
from cfgtrack.show.picture import Box, BoxRow, Cluster, Look, Sort
from cfgtrack.show.ties import Survey, Tie


def look_of(survey: Survey, tie: Tie) -> Look:
    """Return how a tie is drawn."""
    paths = survey.paths[tie.medium]
    if not tie.made:
        return Look.APART
    if tie.medium == HOLD:
        return Look.GIVES if survey.plant.gives(tie.a, tie.b) else Look.MADE
    if paths.nodes("expansion") or paths.nodes("liquid"):
        return Look.CUT_OFF if paths.is_live(tie.a) and paths.is_cut_off(tie.a) else Look.MADE
    if paths.nodes("source") and not paths.is_fed(tie.a):
        return Look.DEAD
    return Look.MADE


def says(look: Look, medium: str) -> str:
    """Return the words that a line carries where its link is not simply made."""
    words = {Look.APART: "not carrying", Look.CUT_OFF: "cut off", Look.DEAD: f"no {medium}"}
    return words.get(look, "")


def left_of(survey: Survey, ties: Sequence[Tie]) -> dict[tuple[str, str], int]:
    """Return, for (medium, owner), how far it stands from where the medium comes from: sources, else expansions.

    Of hold: from the places that stay. What none of these reaches is counted from what has most ties.
    """
    near = {medium: neighbours(t for t in ties if t.medium == medium) for medium in survey.media}
    return {
        (medium, owner): rank
        for medium, links in near.items()
        for owner, rank in distances(_roots(survey, medium, links), links).items()
    }


def neighbours(ties: Iterable[Tie]) -> dict[str, list[str]]:
    """Return the owners that each owner is tied to, once a tie."""
    near: dict[str, list[str]] = {}
    for tie in ties:
        a, b = owner_of(tie.a), owner_of(tie.b)
        near.setdefault(a, []).append(b)
        near.setdefault(b, []).append(a)
    return near


def distances(roots: Iterable[Sequence[str]], near: Mapping[str, Sequence[str]]) -> dict[str, int]:
    """Return how many ties each owner is from the nearest of some roots; what these don't reach, from the next ones."""
    rank: dict[str, int] = {}
    for some in roots:
        queue = deque(root for root in some if root not in rank)
        rank.update(dict.fromkeys(queue, 0))
        while queue:
            owner = queue.popleft()
            for far in near.get(owner, ()):
                if far not in rank:
                    rank[far] = rank[owner] + 1
                    queue.append(far)
    return rank


def _roots(survey: Survey, medium: str, near: Mapping[str, Sequence[str]]) -> Iterator[Sequence[str]]:
    """Yield sets of roots, each for what those before do not reach."""
    plant, paths = survey.plant, survey.paths[medium]
    if medium == HOLD:
        yield [o for o in near if o in plant.places and not plant.is_mobile(o)]
        yield [o for o in near if plant.is_mobile(o)]
    for sort in ("source", "expansion"):
        yield [o for o in dict.fromkeys(owner_of(n) for n in paths.nodes(sort)) if o in near]
    for owner in sorted(near, key=lambda o: -len(near[o])):
        yield [owner]


# --- clusters -----------------------------------------------------------------------------------------------------


def by_place(survey: Survey, boxes: Sequence[str], others: Sequence[str]) -> tuple[list[Box], list[Cluster]]:
    """Return clusters of boxes by place, and boxes that list the `others` that stand there without any line.

    A place becomes a cluster where it keeps two things or more together and no place inside it does: clusters
    within clusters would tear apart what is connected. What is in no cluster stands outside.
    """
    lists: list[Box] = []
    tree = _Tree(survey, boxes, others)

    def build(place: str) -> tuple[list[str], list[Cluster], list[tuple[str, list[str]]]]:
        shown = list(tree.boxes.get(place, ()))
        loose = [(place, tree.others[place])] if place in tree.others else []
        clusters: list[Cluster] = []
        for child in tree.children.get(place, ()):
            child_boxes, child_clusters, child_loose = build(child)
            shown += child_boxes
            clusters += child_clusters
            loose += child_loose
        if not place or clusters or not shown or len(shown) + len(loose) < 2:
            return shown, clusters, loose
        if loose:
            lists.append(_list(place, loose))
            shown.append(lists[-1].id)
        return [], [Cluster(place, _place_title(survey, place), tuple(shown))], []

    _, clusters, loose = build("")
    if loose:
        lists.append(_list("", loose))
    return lists, clusters


def _place_title(survey: Survey, place: str) -> str:
    around = place_line(survey.configuration, place)[1:]
    title = survey.plant.places[place].title
    return f"{title} (in {', '.join(around)})" if around else title


class _Tree:
    """Places by the place around them, as they are now, and what stands at each."""

    def __init__(self, survey: Survey, boxes: Sequence[str], others: Sequence[str]) -> None:
        self.boxes: dict[str, list[str]] = {}
        self.others: dict[str, list[str]] = {}
        self.children: dict[str, list[str]] = {}
        places = survey.plant.places
        for place in places:
            line = place_line(survey.configuration, place)
            self.children.setdefault(line[1] if len(line) > 1 else "", []).append(place)
        for table, names in ((self.boxes, boxes), (self.others, others)):
            for name in names:
                line = place_line(survey.configuration, name)
                if name in places and table is self.others:
                    line = line[1:]
                table.setdefault(line[0] if line else "", []).append(name)


def _list(cluster: str, loose: Sequence[tuple[str, Sequence[str]]]) -> Box:
    rows = [BoxRow("also here" if cluster else "elsewhere", Sort.MEDIUM)]
    for place, names in loose:
        where = "" if place == cluster else f"{place or 'nowhere known'}: "
        rows.append(BoxRow(f"{where}{', '.join(names)}", Sort.QUIET))
    return Box(f"also at {cluster}", groups=(tuple(rows),), is_list=True)


def by_loop(boxes: Sequence[str], loop_of: Callable[[str], str]) -> list[Cluster]:
    """Return a cluster for each loop; what is in none, or in several, stands outside."""
    members: dict[str, list[str]] = {}
    for box in boxes:
        members.setdefault(loop_of(box), []).append(box)
    return [Cluster(f"Loop {loop}", "", tuple(names)) for loop, names in sorted(members.items()) if loop]
