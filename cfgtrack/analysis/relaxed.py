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

from collections.abc import Container, Hashable, Iterable, Iterator, Mapping, Sequence
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
        for subject, wanted in self._again:
            self._values[subject] = self._turning(subject, wanted)
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

    def _of(self, fact: object) -> int:
        return self._number.setdefault(fact, len(self._number))

    def _clause(self, facts: Iterable[object]) -> int:
        key = frozenset(facts)
        found = self._clauses.get(key)
        if found is None:
            found = self._clauses[key] = len(self._facts_of)
            self._facts_of.append([self._of(fact) for fact in key])
        return found

    def _turning(self, subject: str, wanted: Hashable) -> list[Hashable]:
        """Add what brings a subject back to what is wanted of it; return its other values, farthest first."""
        writing = [(n, deed) for n, deed in enumerate(self.deeds) if subject in deed.writes]
        values = dict.fromkeys(v for _, deed in writing for s, v in deed.gives if s == subject)
        values.update((v, None) for _, deed in writing for c in deed.needs for s, v in c if s == subject)
        values[wanted] = None
        far = {wanted: 0}
        queue = [wanted]
        for value in values:
            self._free([(subject, value)], [("turn", subject, value)], ((subject, value), "back"))
        for number, deed in writing:
            starts = [v for c in deed.needs for s, v in c if s == subject] or list(values)
            ends = [v for s, v in deed.gives if s == subject]
            self._gives[number].append(self._of(("mark", number)))
            for end in ends:
                back = [((subject, v), "back") for v in starts]
                self._free([("mark", number)], back, ((subject, end), "back"))
        while queue:
            end = queue.pop(0)
            for _, deed in writing:
                if (subject, end) in deed.gives:
                    for s, v in (one for c in deed.needs for one in c):
                        if s == subject and v not in far:
                            far[v] = far[end] + 1
                            queue.append(v)
        return sorted((v for v in values if v != wanted), key=lambda v: -far.get(v, 0))

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
        """Return what the longest chain of deeds weighs, each needed for the next, that no way avoids: however many work."""
        if self._stale:
            self._compile()
        dear = self._dear(self._so(true, self._turns(true, None)), self._weights)
        return 0 if dear is None else int(max((dear[0][goal] for goal in self._goals), default=0))

    def _so(self, true: frozenset[Fact], turns: Mapping[str, tuple[Hashable, ...]]) -> list[int]:
        number = self._number
        so = [number[fact] for fact in true if fact in number]
        for subject, wanted in self._again:
            values = turns.get(subject, (wanted, *self._values[subject]))
            so += [number["turn", subject, value] for value in values]
        return so

    def _turns(self, true: frozenset[Fact], before: Promise | None) -> dict[str, tuple[Hashable, ...]]:
        """Return from which values subjects have to go back to what is wanted of them, on every way from here.

        What had to be before, and isn't yet, still has to. Of what hasn't changed, and hadn't to, it is asked again only
        where more is known to be needed by now: else it may be left out, as anything may.
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
            for value in others if len(others) > 1 else ():
                if value != now and not self._can_do_without(true, [(subject, value)]):
                    out[subject] = (value,)
                    break
            else:
                if now == wanted and not self._can_do_without(true, [(subject, value) for value in others]):
                    out[subject] = tuple(others)
        return out

    def _can_do_without(self, true: frozenset[Fact], facts: Sequence[Fact]) -> bool:
        """Return whether what is wanted is within reach without any deed that brings about one of some facts."""
        without = {d for fact in facts for d in self._givers[self._number[fact]] if fact in self._number}
        return not without or self._reaches(self._so(true, {}), without)

    def _reaches(self, so: Iterable[int], without: Container[int]) -> bool:
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
