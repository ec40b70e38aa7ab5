"""Any order, against an answer set solver: clingo 5.8 (potassco.org/clingo).

Small plans on one unit, written for clingo from what an order is: steps are given turns, statuses are facts over time,
rules are what makes a turn bad; how long a clock can have run is any chain of steps that come after the one that
started it. The solver is asked for an order that goes wrong as early as can be; it finds none where all are clear.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from itertools import pairwise
from random import Random

import clingo
import pytest

from cfgtrack.analysis.orders import Ground, OrdersReport, orders, with_waits
from cfgtrack.model.action import Action
from cfgtrack.model.sequence import Outing, Sequence, Step
from tests.analysis.every_order import Limits
from tests.analysis.test_every_order import JOINED, begin, rules_of
from tests.rules.worlds import SECOND

MEANING = """
% An order: each step has a turn of its own, after all that directly comes before it.
{ turn(J, T) : step(J) } = 1 :- T = 1..n.
:- turn(J, T), turn(J, U), T < U.
comes(I, J) :- turn(I, T), turn(J, U), T < U.
:- direct(I, J), not comes(I, J).

% A chain of steps that all come after I, from its end to the end of J: by waits, tracks, and doers.
link(I, J) :- direct(I, J).
link(I, J) :- by(I, D), by(J, D), comes(I, J).
chain(I, J, H) :- comes(I, J), high(J, H).
chain(I, J, X + H) :- chain(I, K, X), link(K, J), high(J, H), comes(I, J), X + H <= most.

% What each action needs and makes.
needs(open, P, shut) :- valve(P).       makes(open, open).
needs(shut, P, open) :- valve(P).       makes(shut, shut).
needs(energise, s, off).                makes(energise, on).
needs(de_energise, s, on).              makes(de_energise, off).
needs(mate, f, demated).                makes(mate, mated).
needs(demate, f, mated).                makes(demate, demated).
needs(engage, b, released).             makes(engage, engaged).
needs(torque, b, (engaged; torqued)).   makes(torque, torqued).
needs(release, b, (engaged; torqued)).  makes(release, released).
valve(v; w).

% Statuses over time, up to the first turn that is bad.
holds(v, open, 0). holds(w, open, 0). holds(s, on, 0). holds(f, mated, 0). holds(b, torqued, 0).
alive(0).
alive(T) :- done(T), not bad(T).
try(T, A, P) :- alive(T - 1), turn(J, T), does(J, A, P).
done(T) :- try(T, A, P), needs(A, P, Z), holds(P, Z, T - 1).
holds(P, Z, T) :- done(T), try(T, A, P), makes(A, Z).
holds(P, Z, T) :- done(T), holds(P, Z, T - 1), not try(T, _, P).
bad(T) :- try(T, _, _), not done(T).

% One of two valves is open; F is parted dry; B is let go dead; B holds in the end.
bad(T) :- done(T), holds(v, shut, T), holds(w, shut, T).
bad(T) :- done(T), try(T, demate, f), not holds(v, shut, T - 1).
bad(T) :- done(T), try(T, release, b), not holds(s, off, T - 1).
bad(n) :- done(n), holds(b, released, n).

% S is off for no longer than is tolerated; F is demated within a time after V is shut.
off(T, T) :- done(T), try(T, de_energise, s).
off(S, T) :- off(S, T - 1), done(T), holds(s, off, T).
bad(T) :- off(S, T - 1), done(T), holds(s, on, T), turn(I, S), turn(J, T), chain(I, J, X), X > most_off.
wet(T, T) :- done(T), try(T, shut, v), not holds(f, demated, T).
wet(S, T) :- wet(S, T - 1), done(T), not holds(f, demated, T).
bad(T) :- wet(S, T - 1), done(T), holds(f, demated, T), turn(I, S), turn(J, T), chain(I, J, X), X > most_wet.
bad(n) :- off(_, n).
bad(n) :- wet(_, n).

:- not bad(_).
#minimize { T : bad(T) }.
"""


@dataclass(frozen=True)
class Task:
    """A step: its id, track, action and port, doer, high duration, and those that it waits for."""

    id: str
    track: str
    word: tuple[str, str]
    by: str | None
    high: int
    after: tuple[str, ...] = ()


def shortest(tasks: list[Task], limits: Limits, first: tuple[str, ...] = ()) -> int | None:
    """Return after how many steps some order is bad, of those that begin with `first`; None where none is."""
    facts = [f"step({t.id}). high({t.id}, {t.high})." for t in tasks]
    facts += [f"does({t.id}, {t.word[0].replace('-', '_')}, {t.word[1].lower()})." for t in tasks]
    facts += [f"by({t.id}, {t.by})." for t in tasks if t.by]
    facts += [f"direct({a}, {t.id})." for t in tasks for a in t.after]
    for track in {t.track for t in tasks}:
        mine = [t.id for t in tasks if t.track == track]
        facts += [f"direct({a}, {b})." for a, b in pairwise(mine)]
    facts += [f":- not turn({name}, {turn})." for turn, name in enumerate(first, 1)]
    numbers = {
        "n": len(tasks), "most": sum(t.high for t in tasks), "most_off": limits.off, "most_wet": limits.drain,
    }  # fmt: skip
    solver = clingo.Control([*(f"-c{name}={value}" for name, value in numbers.items()), "--warn=none"])
    solver.add("base", [], MEANING + "\n".join(facts))
    solver.ground([("base", [])])
    best: list[int] = []
    solver.solve(on_model=lambda model: best.append(model.cost[0]))
    return best[-1] if best else None


def proposal(tasks: list[Task]) -> Sequence:
    """Return tasks as a sequence of one outing."""
    made = []
    for task in tasks:
        verb, port = task.word
        joins = port in JOINED and verb in ("mate", "engage")
        subjects = (f"U:{port}", f"BASE:{port}") if joins else (f"U:{port}",)
        takes = (0, task.high * SECOND, task.high * SECOND)
        action = Action("", verb, subjects, 0, by=task.by)
        made.append(Step(task.id, "1", task.track, action, takes, task.after))
    return Sequence(outings=(Outing("1"),), steps=tuple(made))


GOOD = {("shut", "V"): (), ("demate", "F"): (0,), ("mate", "F"): (1,), ("open", "V"): (2, 0), ("de-energise", "S"): (),
        ("release", "B"): (4,), ("engage", "B"): (5,), ("energise", "S"): (6, 4), ("shut", "W"): (3,),
        ("open", "W"): (8,)}  # fmt: skip
"""Actions that go well together, each with those before it that it should come after, if they are there."""

PAIRS = ((0, 3), (1, 2), (4, 7), (5, 6), (8, 9))


@cache
def draw(seed: int) -> tuple[list[Task], Limits]:
    """Draw a plan of up to eight steps on three tracks; now and then a wait, or one that another undoes, lacks."""
    r = Random(seed)
    out = {n for pair in PAIRS if r.random() < 0.35 for n in pair} | {
        n for n in range(10) if r.random() < 0.03
    }
    likely = r.choice((0.8, 0.95, 1))
    tasks: dict[int, Task] = {}
    for n, (word, needed) in enumerate(GOOD.items()):
        if n in out or len(tasks) == 8:
            continue
        first = next((tasks[i].id for i in needed if i in tasks), None)
        also = [r.choice([*tasks.values()]).id] if tasks and r.random() < 0.2 else []
        after = tuple(dict.fromkeys([*([first] if first and r.random() < likely else []), *also]))
        doer = r.choice((None, "ann", "bob"))
        tasks[n] = Task(f"s{n}", r.choice("abc"), word, doer, r.choice((0, 1, 2, 5)), after)
    return [*tasks.values()], Limits(r.choice((3, 6, 30)), r.choice((3, 6, 30)))


def searched(tasks: list[Task], limits: Limits) -> OrdersReport:
    """Return what the tool says of every order of some tasks."""
    return orders(Ground(rules_of(limits), begin(), proposal(tasks)))


@pytest.mark.parametrize("seeds", [range(n, n + 10) for n in range(0, 40, 10)], ids=str)
def test_shortest_bad_order_as_the_solver_has_it(seeds: range) -> None:
    """There is a bad order where the solver finds one; the witness has as few steps, and is one to the solver, too."""
    for seed in seeds:
        tasks, limits = draw(seed)
        found, theirs = searched(tasks, limits), shortest(tasks, limits)
        told = f"seed {seed}: {tasks}, {limits}"
        assert (None if found.bad is None else len(found.bad.steps)) == theirs, told
        if found.bad is None:
            continue
        assert shortest(tasks, limits, found.bad.steps) == theirs, told
        if found.cure is not None:
            mended = with_waits(proposal(tasks), found.cure)
            waits = {step.id: step.after for step in mended.steps}
            cured = [Task(t.id, t.track, t.word, t.by, t.high, waits[t.id]) for t in tasks]
            assert shortest(cured, limits) is None, told


def test_plans_of_both_sorts_are_drawn() -> None:
    """Of the plans that are drawn some are clear in every order, and bad ones go wrong at various lengths."""
    lengths = {shortest(*draw(seed)) for seed in range(0, 40, 2)}
    assert None in lengths
    assert len(lengths) > 4
