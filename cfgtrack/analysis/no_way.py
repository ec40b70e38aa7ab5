"""Why there is no way to a goal: a smallest set of rules that forbids it, or what makes it impossible.

A set of rules forbids a goal if there is no way to it that keeps those. Any way that keeps some of the rules breaks
others; whatever forbids it has to have one of those that each way found so far breaks. So the smallest set that has one
of each is tried: either there is a way that keeps it, which says more, or it is the answer, and none is smaller.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import combinations

from cfgtrack.analysis.check import Start, judged
from cfgtrack.analysis.goal import Goal
from cfgtrack.analysis.grounding import Grounding
from cfgtrack.analysis.relaxed import Clause, Fact
from cfgtrack.analysis.search import ALL_TRIED, Limit
from cfgtrack.analysis.way import OUTING, Way, find_way
from cfgtrack.model.action import END, Action
from cfgtrack.model.plant import owner_of
from cfgtrack.model.possibility import misfits, outright
from cfgtrack.network.network import Network
from cfgtrack.rules.rule import Rule, RuleSet

MOST_SETS = 40
"""So many sets of rules are tried at most."""


@dataclass(frozen=True, slots=True)
class NoWay:
    """Why there is none: `rules` that forbid it together, or what is `impossible`. `smallest`: proved to be so."""

    rules: tuple[Rule, ...] = ()
    impossible: tuple[str, ...] = ()
    smallest: bool = False


def why_none(
    rules: RuleSet,
    begin: Start,
    goal: Goal,
    *,
    networks: Mapping[str, Network] | None = None,
    limit: Callable[[], Limit] = Limit,
) -> NoWay:
    """Return why there is no way to a goal that keeps all the rules. `limit` is what each further search may take."""
    by_id = {rule.id: rule for rule in rules.rules}
    broken: list[frozenset[str]] = []
    proved = True
    for _ in range(MOST_SETS):
        kept = _smallest(broken)
        some = replace(rules, rules=tuple(by_id[name] for name in kept))
        way = find_way(some, begin, replace(goal, at_end=bool(kept)), networks=networks, limit=limit())
        if way.found.way is None:
            proved &= way.found.ended == ALL_TRIED
            if not kept:
                return NoWay(impossible=tuple(_impossible(way.grounding, goal)), smallest=False)
            return NoWay(rules=some.rules, smallest=proved)
        breaks = _breaks(rules, begin, goal, way, networks)
        if not breaks:
            return NoWay()
        broken.append(breaks)
    return NoWay(rules=tuple(by_id[name] for name in _smallest(broken)))


def _smallest(sets: Sequence[frozenset[str]]) -> tuple[str, ...]:
    """Return a smallest set of names that has one of each of some sets."""
    names = sorted({name for one in sets for name in one})
    every = (chosen for size in range(len(names) + 1) for chosen in combinations(names, size))
    return next((chosen for chosen in every if all(not one.isdisjoint(chosen) for one in sets)), ())


def _breaks(
    rules: RuleSet, begin: Start, goal: Goal, way: Way, networks: Mapping[str, Network] | None
) -> frozenset[str]:
    """Return the rules that a way breaks, of all."""
    engine = judged(rules, begin, networks, coming=way.events)
    noted = engine.noted
    for event in way.events:
        engine.step(event)
        engine.stop_point(event)
    clocks: Iterable[str] = ()
    if goal.at_end:
        engine.step(outright(Action("way:end", END, (), engine.world.now, outing=OUTING)))
        engine.end_sequence()
        outlive = {rule.id for rule in rules.rules if rule.may_outlive}
        clocks = [c.rule for c in engine.clocks() if c.deadline is not None and c.rule not in outlive]
    engine.settle()
    found = {breach.rule.id for breach in engine.breaches_since(noted).values()}
    return frozenset({*found, *clocks})


# --- impossible, whatever the rules -----------------------------------------------------------------------------------


def _impossible(grounding: Grounding, goal: Goal) -> Iterator[str]:
    """Yield what makes it impossible, as far as the picture tells: the fewest facts that nothing brings about."""
    picture = grounding.picture
    true = set(grounding.true(grounding.first))
    while True:
        fresh = {
            fact
            for deed in picture.deeds
            if all(not true.isdisjoint(clause) for clause in deed.needs)
            for fact in deed.gives
            if fact not in true
        }
        if not fresh:
            break
        true |= fresh
    lacking = [
        _missing(grounding, clause, true, frozenset()) for clause in picture.wanted if true.isdisjoint(clause)
    ]
    # Of as many facts those are told that say most: what doesn't fit what.
    for fact in min(
        lacking, key=lambda one: (len(one), not all(" to" in s for s, _ in one)), default=frozenset()
    ):
        yield from _said(grounding, goal, fact)


def _missing(
    grounding: Grounding, clause: Clause, true: set[Fact], above: frozenset[Fact]
) -> frozenset[Fact]:
    """Return facts that nothing brings about, for want of which a clause can't come true."""
    out: set[Fact] = set()
    for fact in clause - above:
        givers = [deed for deed in grounding.picture.deeds if fact in deed.gives]
        if not givers:
            out.add(fact)
        for deed in givers:
            unmet = [c for c in deed.needs if true.isdisjoint(c)]
            each = (_missing(grounding, one, true, above | clause) for one in unmet)
            out |= min((one for one in each if one), key=len, default=frozenset())
    return frozenset(out)


def _said(grounding: Grounding, goal: Goal, fact: Fact) -> Iterator[str]:
    subject, value = fact
    thing, _, sort = subject.partition(" ")
    plant = grounding.plant
    port = plant.port(thing)
    if port is not None and sort == "to" and isinstance(value, str) and plant.port(value) is not None:
        why = [refusal.sentence for refusal in misfits(plant, thing, value)]
        yield from why or [f"nothing that may be done joins {thing} to {value}"]
    elif port is not None and not sort:
        limits = " that the goal allows" if goal.actions or goal.without or goal.workers else ""
        yield f"no action{limits} brings {thing} to {value}"
    elif sort == "in":
        yield f"nothing brings {thing} to {value}"
    elif sort == "test":
        yield f"nothing that may be done measures or does what is asked of {thing}"
    else:
        yield f"nothing brings {owner_of(thing)} to {value}"
