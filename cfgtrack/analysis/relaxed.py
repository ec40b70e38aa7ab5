"""What a plan needs at least: the outlook of a search, from a picture of it in which nothing that is so is ever lost.

A *fact* is what may be so of a thing. A *deed* is a move as far as the picture knows it: it needs some of each of its
*clauses* (sets of facts), and gives facts. What a clause asks is always asked, whatever else is so: so the picture may
leave needs out, never make any up, and what it says is never too gloomy.

The outlook is a set of *landmarks*: sets of deeds of each of which any plan has at least one, found one after another as
cuts between what is so and what is wanted (the LM-cut of Helmert and Domshlak, ICAPS 2009). A landmark stays one until one of
its deeds is done, so what a situation promises is worked out from what the one before it promised.

A fact that is wanted at the end, is so, and can't stay so on the way there has to come about *again*.
"""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from heapq import heappop, heappush
from math import inf

Fact = tuple[str, Hashable]
"""Of what, and what of it: ``("PUMP:B1", "torqued")``."""

Clause = frozenset[Fact]


@dataclass(slots=True, eq=False)
class Deed:
    """A move in the picture. `writes` are the subjects of whose facts those that it `gives` take the place."""

    name: Hashable
    gives: dict[Fact, None]
    writes: frozenset[str]
    needs: dict[Clause, None] = field(default_factory=dict)
    weight: int = 1


@dataclass(frozen=True, slots=True)
class Promise:
    """What a situation promises: `landmarks`, each with what it costs; `left` are facts that must come about again.

    `true` is what is so there, `version` tells by how much knowledge of needs it was made.
    """

    cost: int
    landmarks: tuple[tuple[int, frozenset[int]], ...]
    left: frozenset[Fact]
    true: frozenset[Fact]
    version: int


class Picture:
    """The deeds and what is `wanted` at the end. Deeds and needs may be added at any time."""

    def __init__(self) -> None:
        self.deeds: list[Deed] = []
        self.wanted: dict[Clause, None] = {}
        self._stale = True
        self._version = 0

    def add(self, deed: Deed) -> int:
        """Add a deed; return its number."""
        self.deeds.append(deed)
        self._stale = True
        return len(self.deeds) - 1

    def need(self, number: int, clause: Clause) -> bool:
        """Note what a deed needs; return whether that is new."""
        needs = self.deeds[number].needs
        if clause in needs:
            return False
        needs[clause] = None
        self._stale = True
        return True

    def want(self, clause: Clause) -> bool:
        """Note what is wanted at the end; return whether that is new."""
        if clause in self.wanted:
            return False
        self.wanted[clause] = None
        self._stale = True
        return True

    def give(self, number: int, facts: Iterable[Fact]) -> None:
        """Note what more a deed may give."""
        self.deeds[number].gives.update(dict.fromkeys(facts))
        self._stale = True

    # --- as numbers ---

    def _compile(self) -> None:
        self._stale = False
        self._version += 1
        clauses: dict[Clause, int] = {}
        again = {next(iter(clause)) for clause in self.wanted if len(clause) == 1}
        wanted = [frozenset((fact, "again") if fact in again else fact for fact in c) for c in self.wanted]
        self._again: dict[Fact, object] = {fact: (fact, "again") for fact in again}
        number: dict[object, int] = {}
        self._number = number

        def of(fact: object) -> int:
            return number.setdefault(fact, len(number))

        def clause_of(clause: Iterable[object]) -> int:
            key = frozenset(clause)
            found = clauses.get(key)  # type: ignore[call-overload]
            if found is None:
                found = clauses[key] = len(clauses)  # type: ignore[index]
                self._facts_of.append([of(fact) for fact in key])
            return found

        self._facts_of: list[list[int]] = []
        self._goals = [clause_of(clause) for clause in wanted]
        self._needs = [[clause_of(clause) for clause in deed.needs] for deed in self.deeds]
        self._gives = [
            [*map(of, deed.gives), *(of(self._again[fact]) for fact in deed.gives if fact in again)]
            for deed in self.deeds
        ]
        self._missing = [len(needs) for needs in self._needs]
        self._needless = [deed for deed, lacks in enumerate(self._missing) if not lacks]
        self._weights = [deed.weight for deed in self.deeds]
        self._clauses_with: list[list[int]] = [[] for _ in number]
        for clause, facts in enumerate(self._facts_of):
            for fact in facts:
                self._clauses_with[fact].append(clause)
        self._clauses_with += [[] for _ in range(len(number) - len(self._clauses_with))]
        self._needing: list[list[int]] = [[] for _ in self._facts_of]
        for deed, needs in enumerate(self._needs):
            for clause in needs:
                self._needing[clause].append(deed)
        self._givers: list[list[int]] = [[] for _ in number]
        for deed, gives in enumerate(self._gives):
            for fact in gives:
                self._givers[fact].append(deed)
        self._writers: dict[str, frozenset[int]] = {}
        for fact in again:
            self._writers[fact[0]] = frozenset(
                n for n, deed in enumerate(self.deeds) if fact[0] in deed.writes and fact not in deed.gives
            )

    # --- what it promises ---

    def promise(self, true: frozenset[Fact], before: Promise | None = None, deed: int = -1) -> Promise | None:
        """Return what a situation in which so much is `true` promises; None where what is wanted is out of reach.

        `deed` led to it from a situation that promised `before`.
        """
        if self._stale:
            self._compile()
        left = self._left(true, before)
        so = [self._number[fact] for fact in true if fact in self._number]
        so += [
            self._number[again] for fact, again in self._again.items() if fact in true and fact not in left
        ]
        weights = list(self._weights)
        landmarks = [] if before is None else [one for one in before.landmarks if deed not in one[1]]
        for cost, deeds in landmarks:
            for one in deeds:
                weights[one] -= cost
        while True:
            found = self._cut(so, weights)
            if found is None:
                return None
            cost, deeds = found
            if not cost:
                break
            landmarks.append((cost, deeds))
            for one in deeds:
                weights[one] -= cost
        return Promise(sum(cost for cost, _ in landmarks), tuple(landmarks), left, true, self._version)

    def _left(self, true: frozenset[Fact], before: Promise | None) -> frozenset[Fact]:
        """Return the facts that are so, are wanted at the end, and have to be left on every way there.

        What had to be left and is so still has to. Of what need not be left before it is asked again only where more is
        known to be needed by now: else it may be left out, as anything may.
        """
        again = [fact for fact in self._again if fact in true]
        if before is None:
            return frozenset(fact for fact in again if not self._can_do_without(true, fact))
        known = before.true if before.version == self._version else frozenset()
        return frozenset(
            fact
            for fact in again
            if fact in before.left or (fact not in known and not self._can_do_without(true, fact))
        )

    def _can_do_without(self, true: frozenset[Fact], fact: Fact) -> bool:
        writers = self._writers[fact[0]]
        if not writers:
            return True
        so = [self._number[one] for one in true if one in self._number]
        so += [self._number[again] for one, again in self._again.items() if one in true]
        return self._reaches(so, writers)

    def _reaches(self, so: Iterable[int], without: frozenset[int]) -> bool:
        met, known = [False] * len(self._facts_of), [False] * len(self._number)
        missing = self._missing.copy()
        queue = list(so)
        for fact in queue:
            known[fact] = True
        for deed in self._needless:
            if deed not in without:
                queue += self._fresh(deed, known)
        while queue:
            for clause in self._clauses_with[queue.pop()]:
                if met[clause]:
                    continue
                met[clause] = True
                for deed in self._needing[clause]:
                    missing[deed] -= 1
                    if not missing[deed] and deed not in without:
                        queue += self._fresh(deed, known)
        return all(met[clause] for clause in self._goals)

    def _fresh(self, deed: int, known: list[bool]) -> Iterator[int]:
        for fact in self._gives[deed]:
            if not known[fact]:
                known[fact] = True
                yield fact

    def _cut(self, so: Sequence[int], weights: Sequence[int]) -> tuple[int, frozenset[int]] | None:
        """Return a landmark by what deeds still weigh, with its cost: 0 where none is left. None: out of reach."""
        dear = self._dear(so, weights)
        if dear is None:
            return None
        of_clause, support = dear
        goal = max(self._goals, key=of_clause.__getitem__, default=-1)
        if goal < 0 or not of_clause[goal]:
            return 0, frozenset()
        # What leads to the goal for nothing lies behind the cut.
        behind, facts_behind, queue = {goal}, set[int](), [goal]
        while queue:
            for fact in self._facts_of[queue.pop()]:
                if fact in facts_behind:
                    continue
                facts_behind.add(fact)
                for deed in self._givers[fact]:
                    clause = support[deed]
                    if not weights[deed] and clause >= 0 and clause not in behind:
                        behind.add(clause)
                        queue.append(clause)
        # What is reached from what is so, up to there, lies before it; the deeds that lead across are the landmark.
        across = set[int]()
        seen = set[int](so)
        before, clauses = list(so), set[int]()
        supported = self._supported(support)
        ready = list(supported.get(-1, ()))
        while before or ready:
            while before:
                for clause in self._clauses_with[before.pop()]:
                    if clause not in clauses and clause not in behind:
                        clauses.add(clause)
                        ready += supported.get(clause, ())
            while ready:
                deed = ready.pop()
                for fact in self._gives[deed]:
                    if fact in facts_behind:
                        across.add(deed)
                    elif fact not in seen:
                        seen.add(fact)
                        before.append(fact)
        return min(weights[deed] for deed in across), frozenset(across)

    @staticmethod
    def _supported(support: Sequence[int]) -> Mapping[int, list[int]]:
        out: dict[int, list[int]] = {}
        for deed, clause in enumerate(support):
            if clause >= -1:
                out.setdefault(clause, []).append(deed)
        return out

    def _dear(self, so: Sequence[int], weights: Sequence[int]) -> tuple[list[float], list[int]] | None:
        """Return how dear the dearest thing is on the way to each clause, and for each deed which of its needs that is.

        Of a deed that needs nothing it is -1, of one that can't be done -2. None where a goal is out of reach.
        """
        of_clause: list[float] = [inf] * len(self._facts_of)
        done = [False] * len(self._number)
        missing = self._missing.copy()
        support = [-2] * len(self.deeds)
        needing, gives, clauses_with = self._needing, self._gives, self._clauses_with
        levels: dict[int, list[int]] = {0: list(so)}
        for deed in self._needless:
            support[deed] = -1
            levels.setdefault(weights[deed], []).extend(gives[deed])
        # What costs no more is reached at once; what costs more waits its turn.
        costs = sorted(levels)
        while costs:
            cost = heappop(costs)
            queue = levels[cost]
            while queue:
                fact = queue.pop()
                if done[fact]:
                    continue
                done[fact] = True
                for clause in clauses_with[fact]:
                    if of_clause[clause] < inf:
                        continue
                    of_clause[clause] = cost
                    for deed in needing[clause]:
                        missing[deed] -= 1
                        if missing[deed]:
                            continue
                        support[deed] = clause
                        weight = weights[deed]
                        if not weight:
                            queue += gives[deed]
                        elif (later := levels.get(cost + weight)) is not None:
                            later += gives[deed]
                        else:
                            levels[cost + weight] = gives[deed].copy()
                            heappush(costs, cost + weight)
        if any(of_clause[goal] == inf for goal in self._goals):
            return None
        return of_clause, support

    def is_open(self, number: int, true: frozenset[Fact]) -> bool:
        """Return whether a deed has all that the picture knows it to need."""
        return not any(true.isdisjoint(clause) for clause in self.deeds[number].needs)
