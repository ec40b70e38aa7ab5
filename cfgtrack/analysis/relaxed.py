"""What a plan needs at least: the outlook of a search, from a picture of it in which nothing that is so is ever lost.

A *fact* is what may be so of a thing. A *deed* is a move as far as the picture knows it: it needs some of each of its
*clauses* (sets of facts), and gives facts. What a clause asks is always asked, whatever else is so: so the picture may
leave needs out, never make any up, and what it says is never too gloomy.

The outlook is a set of *landmarks*: sets of deeds of each of which any plan has at least one, found one after another
as cuts between what is so and what is wanted (the LM-cut of Helmert and Domshlak, ICAPS 2009). A landmark stays one
until one of its deeds is done, so what a situation promises is worked out from what the one before it promised.

A fact that is wanted at the end, and can't stay so on the way there, has to come about again: on the way back from what
must be so before that (`Picture._turning`).
"""

from __future__ import annotations

from collections.abc import Container, Hashable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from heapq import heappop, heappush
from math import inf
from typing import Any

Fact = tuple[str, Hashable]
"""Of what, and what of it: ``("PUMP:B1", "torqued")``."""

Clause = frozenset[Fact]


def in_order(facts: Iterable[object]) -> list[Any]:
    """Return facts in an order that doesn't change from run to run, as that of a set does."""
    return sorted(facts, key=repr)


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
    """What a situation promises: `landmarks`, each with what it costs; `turns`: from which values what is
    wanted has to come back.

    `true` is what is so there, `version` tells by how much knowledge of needs it was made.
    """

    cost: int
    landmarks: tuple[tuple[int, frozenset[int]], ...]
    turns: Mapping[str, tuple[Hashable, ...]]
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
        """Number the facts, the clauses and the deeds; of what is to come about again, tell the way back apart.

        A subject that is wanted at one value in the end, and must be at another before, has to go back from there. Its
        facts on the way back are facts of their own: a deed takes part in that if it is done at all (`mark`), and what
        it starts from is on the way back. Where that begins is told by who asks (`turn`).
        """
        self._stale = False
        self._version += 1
        self._number: dict[object, int] = {}
        self._facts_of: list[list[int]] = []
        self._clauses: dict[frozenset[object], int] = {}
        self._weights = [deed.weight for deed in self.deeds]
        self._needs = [[self._clause(clause) for clause in deed.needs] for deed in self.deeds]
        self._gives = [[self._of(fact) for fact in deed.gives] for deed in self.deeds]
        self._again = {fact: None for clause in self.wanted if len(clause) == 1 for fact in clause}
        self._values: dict[str, list[Hashable]] = {}
        self._straight: set[str] = set()
        for subject, wanted in self._again:
            self._values[subject] = self._turning(subject, wanted)
        self._plain = [self._clause(clause) for clause in self.wanted]
        self._goals = [
            self._clause((fact, "back") if len(clause) == 1 else fact for fact in clause)
            for clause in self.wanted
        ]
        self._missing = [len(needs) for needs in self._needs]
        self._needless = [deed for deed, lacks in enumerate(self._missing) if not lacks]
        self._clauses_with: list[list[int]] = [[] for _ in self._number]
        self._needing: list[list[int]] = [[] for _ in self._facts_of]
        self._givers: list[list[int]] = [[] for _ in self._number]
        for clause, facts in enumerate(self._facts_of):
            for fact in facts:
                self._clauses_with[fact].append(clause)
        for deed, needs in enumerate(self._needs):
            for clause in needs:
                self._needing[clause].append(deed)
        for deed, gives in enumerate(self._gives):
            for fact in gives:
                self._givers[fact].append(deed)
        self._narrow = sorted(self._goals, key=lambda g: sum(len(self._givers[f]) for f in self._facts_of[g]))

    def _of(self, fact: object) -> int:
        return self._number.setdefault(fact, len(self._number))

    def _clause(self, facts: Iterable[object]) -> int:
        key = frozenset(facts)
        found = self._clauses.get(key)
        if found is None:
            found = self._clauses[key] = len(self._facts_of)
            self._facts_of.append([self._of(fact) for fact in in_order(key)])
        return found

    def _turning(self, subject: str, wanted: Hashable) -> list[Hashable]:
        """Add what brings a subject back to what is wanted of it; return its other values, farthest first."""
        writing = [(n, deed) for n, deed in enumerate(self.deeds) if subject in deed.writes]
        values = dict.fromkeys(v for _, deed in writing for s, v in deed.gives if s == subject)
        starting = [
            (deed, [v for c in deed.needs for s, v in in_order(c) if s == subject]) for _, deed in writing
        ]
        values.update((v, None) for _, starts in starting for v in starts)
        values[wanted] = None
        steps = {
            (start, end)
            for deed, starts in starting
            for start in starts or list(values)
            for end in (v for s, v in deed.gives if s == subject)
        }
        out, home = (_distances(wanted, steps, onward=onward) for onward in (True, False))
        others = sorted((v for v in values if v != wanted), key=lambda v: -home.get(v, 0))
        if not any(out.get(v, 0) > 1 and home.get(v, 0) > 1 for v in others):
            # It goes out and comes back by other deeds: it is enough that the last of these is done.
            for number, deed in writing:
                if (subject, wanted) in deed.gives:
                    self._gives[number].append(self._of(((subject, wanted), "back")))
            self._of(((subject, wanted), "back"))
            self._straight.add(subject)
            return others
        for value in values:
            self._free([(subject, value)], [("turn", subject, value)], ((subject, value), "back"))
        for (number, deed), (_, starts) in zip(writing, starting, strict=True):
            self._gives[number].append(self._of(("mark", number)))
            for end in (v for s, v in deed.gives if s == subject):
                back = [((subject, v), "back") for v in starts or list(values)]
                self._free([("mark", number)], back, ((subject, end), "back"))
        return others

    def _free(self, first: Sequence[object], second: Sequence[object], gives: object) -> None:
        """Add what costs nothing: of some of each of two, a fact."""
        self._needs.append([self._clause(first), self._clause(second)])
        self._gives.append([self._of(gives)])
        self._weights.append(0)

    # --- what it promises ---

    def promise(self, true: frozenset[Fact], before: Promise | None = None, deed: int = -1) -> Promise | None:
        """Return what a situation in which so much is `true` promises; None where what is wanted is out of reach.

        `deed` led to it from a situation that promised `before`.
        """
        if self._stale:
            self._compile()
        turns = self._turns(true, before)
        so = self._so(true, turns)
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
        return Promise(sum(cost for cost, _ in landmarks), tuple(landmarks), turns, true, self._version)

    def chain(self, true: frozenset[Fact]) -> int:
        """Return what the longest chain of deeds weighs that no way avoids, each needed for the next."""
        if self._stale:
            self._compile()
        dear = self._dear(self._so(true, self._turns(true, None)), self._weights)
        return 0 if dear is None else int(max((dear[0][goal] for goal in self._goals), default=0))

    def _so(self, true: frozenset[Fact], turns: Mapping[str, tuple[Hashable, ...]]) -> list[int]:
        number = self._number
        so = sorted(number[fact] for fact in true if fact in number)
        for subject, wanted in self._again:
            if subject in self._straight:
                if subject not in turns and (subject, wanted) in true:
                    so.append(number[(subject, wanted), "back"])
                continue
            values = turns.get(subject, (wanted, *self._values[subject]))
            so += [number["turn", subject, value] for value in values]
        return so

    def _turns(self, true: frozenset[Fact], before: Promise | None) -> dict[str, tuple[Hashable, ...]]:
        """Return from which values subjects have to go back to what is wanted of them, on every way from here.

        What had to be before, and isn't yet, still has to. Of what hasn't changed, and hadn't to, it is asked again
        only where more is known to be needed by now: else it may be left out, as anything may.
        """
        known = before.true if before is not None and before.version == self._version else frozenset()
        out: dict[str, tuple[Hashable, ...]] = {}
        for subject, wanted in self._again:
            others = self._values[subject]
            kept = before.turns.get(subject) if before is not None else None
            if kept is not None and not any((subject, value) in true for value in kept):
                out[subject] = kept
                continue
            now = next((v for v in (wanted, *others) if (subject, v) in true), None)
            if not others or (kept is None and (subject, now) in known):
                continue
            for value in others if subject not in self._straight else ():
                if value != now and not self._can_do_without(true, [(subject, value)]):
                    out[subject] = (value,)
                    break
            else:
                if now == wanted and not self._can_do_without(true, [(subject, value) for value in others]):
                    out[subject] = tuple(others)
        return out

    def _can_do_without(self, true: frozenset[Fact], facts: Sequence[Fact]) -> bool:
        """Return whether what is wanted is within reach without any deed that brings about one of some facts."""
        without = {
            deed
            for fact in facts
            if fact in self._number
            for deed in self._givers[self._number[fact]]
            if deed < len(self.deeds)
        }
        return not without or self._reaches(true, without)

    def _reaches(self, true: frozenset[Fact], without: Container[int]) -> bool:
        """Return whether what is wanted is within reach of deeds: how it comes about again is nothing to that."""
        number, gives, needing, clauses_with = self._number, self._gives, self._needing, self._clauses_with
        last, missing = len(self.deeds), self._missing.copy()
        met, known = [False] * len(self._facts_of), [False] * len(number)
        queue = [number[fact] for fact in true if fact in number]
        for deed in self._needless:
            if deed not in without:
                queue += gives[deed]
        while queue:
            fact = queue.pop()
            if known[fact]:
                continue
            known[fact] = True
            for clause in clauses_with[fact]:
                if met[clause]:
                    continue
                met[clause] = True
                for deed in needing[clause]:
                    if deed < last:
                        missing[deed] -= 1
                        if not missing[deed] and deed not in without:
                            queue += gives[deed]
        return all(met[clause] for clause in self._plain)

    def _cut(self, so: Sequence[int], weights: Sequence[int]) -> tuple[int, frozenset[int]] | None:
        """Return a landmark by what deeds still weigh, with its cost: 0 where none is left. None: out of reach."""
        dear = self._dear(so, weights)
        if dear is None:
            return None
        of_clause, support = dear
        # Of the dearest, what fewest deeds bring about: what more do may then cost nothing any more.
        goal = max(self._narrow, key=of_clause.__getitem__, default=-1)
        if goal < 0 or not of_clause[goal]:
            return 0, frozenset()
        across = self._across(so, support, *self._behind(goal, weights, support))
        return min(weights[deed] for deed in across), frozenset(across)

    def _behind(self, goal: int, weights: Sequence[int], support: Sequence[int]) -> tuple[set[int], set[int]]:
        """Return the clauses and facts behind the cut: what leads to a goal for nothing."""
        behind, facts, queue = {goal}, set[int](), [goal]
        while queue:
            for fact in self._facts_of[queue.pop()]:
                if fact in facts:
                    continue
                facts.add(fact)
                for deed in self._givers[fact]:
                    clause = support[deed]
                    if not weights[deed] and clause >= 0 and clause not in behind:
                        behind.add(clause)
                        queue.append(clause)
        return behind, facts

    def _across(
        self, so: Sequence[int], support: Sequence[int], behind: set[int], facts_behind: set[int]
    ) -> set[int]:
        """Return the deeds that lead from what is reached before the cut to what lies behind it."""
        across, seen = set[int](), set[int](so)
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
        return across

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
        support = [-2] * len(self._needs)
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


def _distances(
    wanted: Hashable, steps: set[tuple[Hashable, Hashable]], *, onward: bool
) -> dict[Hashable, int]:
    """Return how many steps it takes from what is wanted to each value, or from each value to that."""
    far, queue = {wanted: 0}, [wanted]
    while queue:
        at = queue.pop(0)
        for start, end in steps if onward else {(end, start) for start, end in steps}:
            if start == at and end not in far:
                far[end] = far[at] + 1
                queue.append(end)
    return far
