"""How fast stop points and failures are told, as ratios to a check: run it with ``python -m tests.bench.plans_stops``.

Stop points: a yard of coolant lines (see `bench_rules`) on which 500 steps shut valves and open them again, up to
eight at a time, in two outings of 250; every valve must be open when an outing ends, and no volume may be cut off for
more than half an hour. So most stop points need a way out. Failures: the demo's exchange, every step in every way in
which it can fail.
"""

from __future__ import annotations

import gc
import random
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import NamedTuple

from cfgtrack.analysis.check import Start, check
from cfgtrack.analysis.failures import FailureReport, Question, failures, failures_of
from cfgtrack.analysis.leaving import May
from cfgtrack.analysis.stops import stop_points
from cfgtrack.files.failures import ways_of_failing
from cfgtrack.files.rules import read_rules
from cfgtrack.files.sequence import read_sequence
from cfgtrack.model.action import Action
from cfgtrack.model.sequence import Outing, Sequence, Step
from cfgtrack.network.network import Network
from cfgtrack.rules.rule import RuleSet
from cfgtrack.rules.selection import Selection
from cfgtrack.rules.what.path import Path as Reaches
from cfgtrack.rules.what.status import Status
from cfgtrack.rules.when.always import Always
from cfgtrack.rules.when.by import By
from tests.bench.bench_rules import IT, LIKELY, SECOND, TANK, Yard, peak, rule, timed
from tests.demo.as_run import DEMO, PLAN, demo_past

HOUR = 3600 * SECOND
AT_ONCE = 8


def plan_of(yard: Yard, steps: int) -> tuple[Sequence, RuleSet]:
    """Return a plan of so many steps after which all valves are open at each outing's end, and its rules."""
    r, pool = random.Random(5), random.Random(4).sample(yard.valves, 40)
    out: list[Step] = []
    for outing in ("1", "2"):
        shut: list[str] = []
        for left in range(steps // 2, 0, -1):
            full = len(shut) >= left or len(shut) == AT_ONCE
            opens = bool(shut) and (full or r.random() < 0.5)
            valve = (
                shut.pop(r.randrange(len(shut))) if opens else r.choice([v for v in pool if v not in shut])
            )
            if not opens:
                shut.append(valve)
            action = Action("", "open" if opens else "shut", (valve,), 0)
            out.append(Step(f"{outing}-{left}", outing, "1", action, LIKELY))
    rules = (
        rule(0, Always(HOUR // 2), Reaches("fluid", IT, TANK), Selection(liquid=True)),
        rule(1, By("outing"), Status(IT, ("open",)), Selection(ids=("L*:V",))),
    )
    return Sequence(outings=(Outing("1"), Outing("2", 20 * HOUR)), steps=tuple(out)), RuleSet(rules)


def stops(links: int, steps: int) -> None:
    """Print what the stop points of a plan take, against one check of it."""
    yard = Yard(links)
    plan, rules = plan_of(yard, steps)
    networks = {"fluid": yard.network}
    begin = Start(yard.now)
    once = timed(lambda: check(rules, begin, plan, networks=networks), 2)
    ours = timed(lambda: stop_points(rules, begin, plan, networks=networks), 2)
    report = stop_points(rules, begin, plan, networks=networks)
    told = {may: sum(point.may is may for point in report.points) for may in May}
    lost = sum(point.may is May.NO and point.way_out is None for point in report.points)
    used = peak(lambda: stop_points(rules, begin, plan, networks=networks))
    ratio = f"{ours / once:.1f} of one check ({once:.2f} s)"
    print(f"{yard.links} links, stop points of {steps} steps: {ours:.2f} s, {ratio}, {used:.0f} MB")
    print(
        f"  {told[May.YES]} yes, {told[May.UNTIL]} until a time, {told[May.NO]} no; {lost} of them without a way out"
    )


class Asked(NamedTuple):
    """What is asked about the demo's exchange, loaded."""

    question: Question
    networks: Mapping[str, Network]

    def check(self) -> object:
        """Check it once."""
        asked = self.question
        return check(asked.rules, asked.begin, asked.proposal, networks=self.networks)

    def failures(self) -> FailureReport:
        """Return what comes of every failure of its steps."""
        return failures(self.question, networks=self.networks)


@contextmanager
def demo_asked() -> Iterator[Asked]:
    """Give the demo's exchange as it is asked about: its journal is there for so long."""
    with TemporaryDirectory() as folder, demo_past(Path(folder)) as past:
        rules = read_rules([DEMO / "rules.toml"], past.plant)
        plan = read_sequence(PLAN, past.plant)
        begin = past.start_for(rules)
        yield Asked(Question(rules, begin, plan, ways_of_failing(), recorded=past.start), past.networks)


def demo() -> None:
    """Print what stop points and the failures of the demo's exchange take, against one check of it."""
    with demo_asked() as asked:
        question, networks = asked.question, asked.networks
        plan = question.proposal
        once = timed(asked.check, 2)
        points = timed(lambda: stop_points(question.rules, question.begin, plan, networks=networks), 1)
        reports: list[FailureReport] = []
        ours = timed(lambda: reports.append(asked.failures()), 1)
        report = reports[0]
        used = peak(lambda: failures_of(question, question.steps[:10], networks=networks))
    lost = sum(one.way_out is None for one in report.failures)
    print(
        f"demo, {len(plan.steps)} steps: stop points {points:.1f} s, {points / once:.0f} checks ({once:.2f} s)"
    )
    said = f"{len(report.failures)} failures, {lost} without a way out"
    print(f"  {said}: {ours:.1f} s, {ours / once:.0f} checks, {used:.0f} MB (of ten steps)")


def main() -> None:
    """Print the table."""
    gc.set_threshold(50_000, 20, 20)  # as the command does (cli/main.py)
    stops(10_000, 100)
    stops(100_000, 500)
    demo()


if __name__ == "__main__":
    main()
