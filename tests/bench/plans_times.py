"""How fast a schedule is sampled, as ratios: run it with ``python -m tests.bench.plans_times``.

The schedule has 200 steps in two tracks that wait for each other at every tenth step; its outing has a budget, and
forty items have to be remarked on within a time after they are inspected, which is a clock each, met in the other
track for every fourth. The floor is numpy: the same durations drawn and the same schedule laid out, with no rule
and nothing told.
"""

from __future__ import annotations

import argparse
import random
import time

import numpy as np

from cfgtrack.analysis.check import Start
from cfgtrack.analysis.duration_model import Shape
from cfgtrack.analysis.how_long import HowLong, Sampling, how_long
from cfgtrack.model.action import Action
from cfgtrack.model.configuration import Configuration
from cfgtrack.model.part import Part, Port
from cfgtrack.model.plant import Plant, Unit
from cfgtrack.model.sequence import Outing, Schedule, Sequence, Step
from cfgtrack.rules.match import ActionMatch
from cfgtrack.rules.rule import Rule, RuleSet
from cfgtrack.rules.selection import Selection
from cfgtrack.rules.what.done import Done
from cfgtrack.rules.when.within import Within
from tests.bench.bench_rules import peak
from tests.rules.worlds import KINDS, MEDIA

MINUTE = 60_000_000
ITEMS = 40


def plant() -> Plant:
    """Return a plant of one unit with so many valves, and another."""
    part = Part("p", ports={f"V{n}": Port(f"V{n}", "valve") for n in range(ITEMS)})
    units = {"P": Unit("P", "p"), "Q": Unit("Q", "q")}
    return Plant(MEDIA, KINDS, {"p": part, "q": Part("q")}, units, {})


def rules() -> RuleSet:
    """Return the rule that what is inspected is remarked on within half an hour."""
    done = Done(Selection(of="it"), ("remark",), ("inspect",))
    mode = Within(30 * MINUTE, ActionMatch(("inspect",), Selection(ids=("P:V*",))))
    return RuleSet((Rule("soon", "It is written down", "it is forgotten", 2, "common practice", mode, done),))


def sequence(steps: int) -> Sequence:
    """Return so many steps in two tracks, with waits between them."""
    draw = random.Random(1)
    made: list[Step] = []
    for number in range(steps // 2):
        for track, other in ("ab", "ba"):
            low = draw.randint(1, 5)
            likely = low + draw.randint(0, 5)
            takes = (low * MINUTE, likely * MINUTE, (likely + draw.randint(1, 10)) * MINUTE)
            after = (f"{other}{number - 1}",) if number % 10 == 9 else ()
            pair, turn = divmod(number, 4)
            item = f"P:V{(2 * pair + (track == 'b')) % ITEMS}"
            if turn == 3 and pair % 4 == 0:
                item = f"P:V{(2 * pair + (track == 'a')) % ITEMS}"
            verb = {0: "inspect", 3: "remark"}.get(turn)
            action = Action("", verb or "inspect", (item if verb else "Q",), 0, remark="seen")
            made.append(Step(f"{track}{number}", "1", track, action, takes, after))
    budget = round(sum(step.takes[1] for step in made) * 0.62)
    return Sequence(outings=(Outing("1", 0, budget),), steps=tuple(made))


def ours(plan: Sequence, samples: int, shape: Shape) -> HowLong:
    """Ask how long the plan takes."""
    drawn = Sampling(samples, 1, shape)
    return how_long(rules(), Start(Configuration(plant())), plan, drawn=drawn)


def floor(schedule: Schedule, samples: int, shape: Shape) -> float:
    """Draw and lay out with numpy; return the mean length, in minutes."""
    generator = np.random.default_rng(1)
    times: list[np.ndarray] = []
    for before, begin, (low, likely, high) in zip(
        schedule.before, schedule.floor, schedule.takes, strict=True
    ):
        start = np.full(samples, max(begin, 0), dtype=np.int64)
        for p in before:
            np.maximum(start, times[p], out=start)
        if high > low and shape is Shape.TRIANGULAR:
            start += generator.triangular(low, likely, high, samples).astype(np.int64)
        elif high > low:
            share = (likely - low) / (high - low)
            start += (low + (high - low) * generator.beta(1 + 4 * share, 5 - 4 * share, samples)).astype(
                np.int64
            )
        else:
            start += low
        times.append(start)
    return float(times[-1].mean()) / MINUTE


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--small", action="store_true", help="leave out what takes more than seconds")
    small = parser.parse_args().small
    heads = ("steps", "samples", "shape", "seconds", "x numpy", "MB", "orders", "in budget")
    print(" ".join(f"{head:>10}" for head in heads))
    cases = ((200, 2_000),) if small else ((50, 10_000), (200, 1_000), (200, 10_000), (500, 10_000))
    for steps, samples in cases:
        for shape in Shape:
            row(steps, samples, shape)


def row(steps: int, samples: int, shape: Shape) -> None:
    """Print one row of the table."""
    plan = sequence(steps)
    begun = time.process_time()
    found = ours(plan, samples, shape)
    seconds = time.process_time() - begun
    begun = time.process_time()
    mean = floor(Schedule(plan, 0), samples, shape)
    least = time.process_time() - begun
    assert abs(found.outings[0].mean / 60 - mean) < mean / 50
    used = peak(lambda: ours(plan, samples, shape))
    sure = next(one.in_time.probability for one in found.limits if one.rule == "budget")
    told = (steps, samples, shape, f"{seconds:.2f}", f"{seconds / least:.0f}", f"{used:.0f}", found.judged)
    print(" ".join(f"{one:>10}" for one in (*told, f"{sure:.3f}")), flush=True)


if __name__ == "__main__":
    main()
