"""The one search: best first, from where a field stands to where it should, over moves that the field allows.

It is A*. A move is tried only when nothing that promises better is left: until then all that is known of it is what its
parent's `Outlook` says, so a move that leads nowhere costs nothing but its place in the queue. The field stands at one
situation at a time, and is led back and forth over the tree of those that were met. Whatever promises equally well is
tried deepest first, so where the outlook is right the search walks straight to the end.

A way that is found is proved shortest, as no outlook is ever too gloomy. Cut short, `bound` says what no way undercuts;
a greedy search, which promises more than it may, says nothing of that.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Hashable, Iterable
from dataclasses import dataclass
from heapq import heappop, heappush
from typing import Any, Generic, Protocol, TypeVar

M = TypeVar("M", bound=Hashable)
M_co = TypeVar("M_co", covariant=True, bound=Hashable)

ALL_TRIED, CUT_SHORT, INTERRUPTED = "all tried", "cut short", "interrupted"


class Outlook(Protocol[M_co]):
    """What a situation promises: no way from it costs less than `cost`; nor, by each of its `moves`, than is said of
    that. `arrived`: it is where one wants to be.
    """

    @property
    def cost(self) -> int:
        """What no way from here undercuts."""
        ...

    @property
    def arrived(self) -> bool:
        """Whether this is where one wants to be."""
        ...

    def moves(self) -> Iterable[tuple[M_co, int]]:
        """Yield the moves that may matter from it, each with what no way that begins with it undercuts."""
        ...


class Field(Protocol[M]):
    """What is searched. It stands at one situation at a time, and steps back as far as it stepped forward."""

    def mark(self) -> int:
        """Return the point to step back to."""
        ...

    def back(self, mark: int) -> None:
        """Step back to a mark, exactly."""
        ...

    def go(self, move: M) -> int | None:
        """Make a move; return what it costs, None where it can't be made or isn't allowed: then step back."""
        ...

    def situation(self) -> Hashable:
        """Return what tells this situation from all others: what may come of two that are alike is alike."""
        ...

    def outlook(self, before: Outlook[M] | None, move: M | None) -> Outlook[M] | None:
        """Return what the situation promises, reached from one that promised `before`; None where no way leads on."""
        ...


@dataclass(frozen=True, slots=True)
class Found(Generic[M]):
    """What a search found: the `way`, None for none, and its cost. No way costs less than `bound`; 0 with greed.

    `nodes`: how many situations were looked into. `ended`: with a way, "" is that it is the shortest; without one,
    `ALL_TRIED` says that there is none.
    """

    way: tuple[M, ...] | None
    cost: int
    bound: int
    nodes: int
    ended: str = ""

    @property
    def proved(self) -> bool:
        """Whether the way is proved to be a shortest one; without a way, that there is none."""
        return self.ended == ALL_TRIED if self.way is None else self.cost == self.bound


@dataclass(slots=True, eq=False)
class _Node:
    """A situation in the tree: how it was reached, from where (`before`), and at what cost; `depth` moves deep."""

    before: _Node | None
    move: Any
    cost: int
    depth: int
    outlook: Any = None
    mark: int = -1


class Limit:
    """How long a search may take: so many `nodes`, and as long as `may_go_on` says so."""

    def __init__(self, nodes: int | None = None, may_go_on: Callable[[], bool] = lambda: True) -> None:
        self.left, self._may_go_on = nodes, may_go_on

    def is_over(self) -> bool:
        """Count one more node; return whether that is too many."""
        if self.left is not None:
            self.left -= 1
        return (self.left is not None and self.left < 0) or not self._may_go_on()


def search(
    field: Field[M],
    *,
    limit: Limit | None = None,
    tell: Callable[[int, int], object] = lambda *_: None,
    greed: int = 1,
) -> Found[M]:
    """Return a shortest way to where the field should be. `tell` is told of nodes and bound.

    With `greed` above 1 a way is sought that may cost so many times the least, and quicker: then nothing is proved but
    that there is none, and the bound stays 0. An interrupt keeps what is known.
    """
    limit = Limit() if limit is None else limit
    root = _Node(None, None, 0, 0)
    walker = _Walker(field, root)
    least: dict[Hashable, int] = {}
    slips: Counter[M] = Counter()
    queue: list[tuple[int, int, int, int, _Node]] = []
    serial = nodes = bound = 0

    def push(node: _Node, promise: int) -> None:
        nonlocal serial
        # Of equals the deepest first, then whose move has disappointed the least, then the latest.
        serial -= 1
        heappush(queue, (node.cost + greed * promise, -node.depth, slips[node.move], serial, node))

    push(root, 0)
    try:
        while queue:
            promised, _, _, _, node = heappop(queue)
            if greed == 1:
                bound = max(bound, promised)
            if limit.is_over():
                return Found(None, 0, bound, nodes, CUT_SHORT)
            if node.outlook is None:
                if not walker.go_on_to(node) or not _is_cheapest(field, node, least):
                    continue
                nodes += 1
                tell(nodes, bound)
                node.outlook = field.outlook(node.before.outlook if node.before else None, node.move)
                if node.outlook is None:
                    slips[node.move] += 1
                    continue
                if node.cost + greed * node.outlook.cost > promised:
                    slips[node.move] += 1
                    push(node, node.outlook.cost)
                    continue
            if node.outlook.arrived:
                return Found(_way_to(node), node.cost, node.cost if greed == 1 else 0, nodes)
            for move, promise in node.outlook.moves():
                push(_Node(node, move, node.cost, node.depth + 1), max(promise, node.outlook.cost))
        return Found(None, 0, bound, nodes, ALL_TRIED)
    except KeyboardInterrupt:
        return Found(None, 0, bound, nodes, INTERRUPTED)
    finally:
        walker.leave()


def _is_cheapest(field: Field[M], node: _Node, least: dict[Hashable, int]) -> bool:
    """Return whether nothing leads to the situation at less, or at as much, than this does."""
    situation = field.situation()
    if node.cost >= least.get(situation, node.cost + 1):
        return False
    least[situation] = node.cost
    return True


def _way_to(node: _Node) -> tuple[Any, ...]:
    way = []
    while node.before is not None:
        way.append(node.move)
        node = node.before
    return tuple(reversed(way))


class _Walker:
    """Leads a field about the tree: back to where two ways part, and on from there."""

    def __init__(self, field: Field[Any], root: _Node) -> None:
        self._field, self._way = field, [root]
        self._start = root.mark = field.mark()

    def go_on_to(self, node: _Node) -> bool:
        """Go to a node that nobody has been to, at what its move costs; False where that can't be made."""
        if node.before is None:
            return True
        self._go_to(node.before)
        cost = self._step(node)
        if cost is not None:
            node.cost = node.before.cost + cost
        return cost is not None

    def _go_to(self, node: _Node) -> None:
        ahead = []
        while not (node.depth < len(self._way) and self._way[node.depth] is node):
            ahead.append(node)
            assert node.before is not None
            node = node.before
        if len(self._way) > node.depth + 1:
            self._field.back(self._way[node.depth + 1].mark)
            del self._way[node.depth + 1 :]
        for one in reversed(ahead):
            self._step(one)

    def _step(self, node: _Node) -> int | None:
        node.mark = self._field.mark()
        cost = self._field.go(node.move)
        if cost is None:
            self._field.back(node.mark)
        else:
            self._way.append(node)
        return cost

    def leave(self) -> None:
        """Lead the field back to where it stood."""
        self._field.back(self._start)
