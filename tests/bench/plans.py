"""What the questions about a plan cost, in one table: ``python -m tests.bench plans`` (``--small`` for a quick look).

Seconds are of the processor, what a planner spends in processes of its own counted; memory is the peak of what Python
allocates, in a second run. Loading is not counted. The ratio is to the peer: a check of the same plan, the engine run
once through it, numpy's bare draws, or the same problem given to unified-planning's optimal engine.
"""

from __future__ import annotations

import argparse
import gc
import os
import time
from collections.abc import Callable, Iterator
from typing import NamedTuple

from cfgtrack.analysis.check import Start, check
from cfgtrack.analysis.duration_model import Shape
from cfgtrack.analysis.orders import Ground, orders
from cfgtrack.analysis.stops import stop_points
from cfgtrack.analysis.way import find_way
from cfgtrack.model.sequence import Schedule
from tests.bench import plans_orders, plans_stops, plans_times
from tests.bench.bench_rules import Yard, peak
from tests.bench.plans_way import as_problem, exchange, planned

AIM = 2.0


class Case(NamedTuple):
    """What is asked, what it is measured by, and what that is called; `told` says more of what came out."""

    name: str
    ours: Callable[[], object]
    theirs: Callable[[], object]
    peer: str
    told: Callable[[object], str] = lambda _found: ""


def spent() -> float:
    """Return the seconds of the processor that this process and those it waited for have had."""
    return time.process_time() + sum(os.times()[2:4])


def cost(work: Callable[[], object]) -> tuple[float, object]:
    """Return what some work costs, seconds, and what it gives."""
    gc.collect()
    begin = spent()
    found = work()
    return spent() - begin, found


def stops(links: int, steps: int) -> Case:
    """Return the case of stop points."""
    yard = Yard(links)
    plan, rules = plans_stops.plan_of(yard, steps)
    networks, begin = {"fluid": yard.network}, Start(yard.now)
    return Case(
        f"stop points, {steps} steps, {yard.links:,} links",
        lambda: stop_points(rules, begin, plan, networks=networks),
        lambda: check(rules, begin, plan, networks=networks),
        "a check",
    )


def any_order(name: str, ground: Ground) -> Case:
    """Return the case of every order of a plan."""
    ground.engine()
    return Case(
        f"any order, {name}",
        lambda: orders(ground, cures=False),
        plans_orders.floor(ground),
        "one run of the engine",
        lambda found: f"{found.verdict}, {found.situations} situations",  # type: ignore[attr-defined]
    )


def way(units: int) -> Case:
    """Return the case of the shortest way."""
    rules, begin, goal = exchange(units)
    return Case(
        f"shortest way, {units} unit{'s' * (units > 1)} exchanged",
        lambda: find_way(rules, begin, goal),
        lambda: planned(as_problem(units)),
        "unified-planning",
        lambda found: f"{found.found.cost} steps, proved: {found.found.proved}",  # type: ignore[attr-defined]
    )


def samples(many: int) -> Case:
    """Return the case of samples of a schedule of 200 steps."""
    plan = plans_times.sequence(200)
    schedule = Schedule(plan, 0)
    return Case(
        f"{many:,} samples of 200 steps",
        lambda: plans_times.ours(plan, many, Shape.TRIANGULAR),
        lambda: plans_times.floor(schedule, many, Shape.TRIANGULAR),
        "numpy",
    )


def cases(*, small: bool) -> Iterator[Case]:
    """Yield the cases, each made when its turn comes."""
    yield stops(1_000, 50) if small else stops(100_000, 500)
    if small:
        yield any_order("2 tracks of 30", plans_orders.exchanges(2, 30))
        yield samples(200)
        return
    yield any_order("demo up to its largest outing", plans_orders.demo())
    yield any_order("2 tracks of 200", plans_orders.exchanges(2, 200))
    yield any_order("3 tracks of 60", plans_orders.exchanges(3, 60))
    with plans_stops.demo_asked() as asked:
        yield Case("failures of the demo's exchange", asked.failures, asked.check, "a check")
    yield way(1)
    yield way(2)
    yield samples(10_000)


def row(case: Case) -> tuple[str, ...]:
    """Measure a case; return its row of the table."""
    seconds, found = cost(case.ours)
    peer, theirs = cost(case.theirs)
    memory = peak(case.ours)
    given_up = case.peer == "unified-planning" and theirs is None
    ratio = f"{'under ' if given_up else ''}{seconds / max(peer, 1e-6):.2g}"
    name = f"{case.peer} ({peer:.2g} s{', given up' * given_up})"
    return case.name, f"{seconds:.2f}{' !' * (seconds > AIM)}", f"{memory:.0f}", ratio, name, case.told(found)


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--small", action="store_true", help="tiny sizes")
    small = parser.parse_args().small
    gc.set_threshold(50_000, 20, 20)  # as the command does (cli/main.py)
    print(f"{'what a plan is asked (! more than 2 s)':44}  {'CPU s':>7}  {'MB':>4}  {'ratio':>10}  peer")
    for case in cases(small=small):
        name, seconds, memory, ratio, peer, told = row(case)
        print(f"{name:44}  {seconds:>7}  {memory:>4}  {ratio:>10}  {peer}{told and f'; {told}'}", flush=True)


if __name__ == "__main__":
    main()
